package ledger

import (
	"fmt"
	"path/filepath"
	"testing"
	"time"

	"benchbell/bot/config"
	"benchbell/core"
	"benchbell/store"
)

var morning = time.Date(2026, 3, 2, 8, 30, 0, 0, time.UTC)

func openStore(tb testing.TB) *store.Store {
	tb.Helper()
	st, err := store.OpenThrowaway(filepath.Join(tb.TempDir(), "benchbell.db"))
	if err != nil {
		tb.Fatal(err)
	}
	tb.Cleanup(func() { st.Close() })
	return st
}

// largeStore has so many suits with six past tests each: of 24,000 they are
// 168,001 entries.
func largeStore(tb testing.TB, suits int) *store.Store {
	tb.Helper()
	st := openStore(tb)
	gauge := core.Manometer{ID: "M-1", Unit: core.Mbar, Resolution: core.MustWrite("0.1", core.Mbar)}
	entries := []core.Entry{{At: morning, Event: "fleet", Fact: core.ManometerRegistered{Manometer: gauge}}}
	for i := range suits {
		tag := fmt.Sprintf("ZZ-%05d", i+1)
		entries = append(entries, core.Entry{At: morning, Event: "fleet", Suit: tag, Fact: core.SuitRegistered{Suit: core.Suit{
			Tag: tag, Fittings: core.Fittings{ExhaustValves: 2}, Method: "en943",
		}}})
		for year := range 6 {
			entries = append(entries, core.Entry{At: morning, Event: "fleet", Suit: tag, Fact: core.PaperTest{
				Day: core.Date{Year: 2020 + year, Month: time.March, Day: 2}, Method: "en943", Manometer: "M-1", Tester: "bench.tester",
				Start: core.MustWrite("16.5", core.Mbar), End: core.MustWrite("15.0", core.Mbar), Hold: 6 * time.Minute, Outcome: core.Pass, Rules: core.Rules,
			}})
		}
		if len(entries) > 5_000 {
			if err := Enter(st, config.Default().Policy, fmt.Sprint("fleet", i), morning, entries); err != nil {
				tb.Fatal(err)
			}
			entries = nil
		}
	}
	if err := Enter(st, config.Default().Policy, "fleet", morning, entries); err != nil {
		tb.Fatal(err)
	}
	return st
}
