package paper

import (
	"bytes"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"benchbell/bot/chart"
	"benchbell/core"
)

// years is an invented suit's life: five tests on paper, the register entered
// and changed, a use, a run, and what was found two days after it.
func years(t testing.TB) LogbookInput {
	t.Helper()
	outside := func(at time.Time, fact core.Fact) core.Entry {
		return core.Entry{At: at, By: officer, Suit: "HP-07", Fact: fact}
	}
	all := []core.Entry{outside(morning.AddDate(0, -3, 0), core.SuitRegistered{Suit: suit("HP-07")})}
	for n := range 5 {
		all = append(all, outside(morning.AddDate(n-5, 0, 0), core.PaperTest{
			Day: core.Date{Year: 2021 + n, Month: time.March, Day: 2}, Method: "en943", Manometer: "M-4",
			Start: core.MustWrite("16.5", core.Mbar), End: core.MustWrite(fmt.Sprintf("15.%d", 6-n), core.Mbar), Hold: 6 * time.Minute,
			Tester: "former.tester", Outcome: core.Pass, Reason: core.OnTime,
		}))
	}
	moved := suit("HP-07")
	moved.Place, moved.Remarks, moved.MakerA, moved.MakerB = "Store", "re-taped, left", core.Written{}, core.Written{}
	all = append(
		all,
		outside(morning.AddDate(0, -1, 0), core.SuitRegistered{Suit: moved}),
		outside(morning.AddDate(0, 0, -1), core.Used{When: morning.AddDate(0, 0, -2), Note: "ammonia, quay 4"}),
		outside(morning.Add(-time.Hour), core.Repaired{What: "zip waxed"}),
	)
	s := passes(t)
	all = append(all, s.entries...)
	all = append(
		all,
		outside(s.now.Add(time.Hour), core.Released{}),
		outside(s.now.Add(2*time.Hour), core.CapacityMeasured{Capacity: core.Capacity{
			Day: core.Date{Year: 2026, Month: time.March, Day: 2}, Litres: "2", Step: core.MustWrite("0.01", core.Mbar),
			From: core.MustWrite("15.00", core.Mbar), To: core.MustWrite("16.20", core.Mbar),
		}}),
		outside(s.now.Add(48*time.Hour), core.Found{What: "zip stiff at the dock"}),
	)
	return LogbookInput{
		Station: harrowPoint(t), Head: head, Day: core.Date{Year: 2026, Month: time.March, Day: 4},
		Policy: core.DefaultPolicy(), Methods: core.BuiltIn(), Entries: all,
	}
}

func mustLogbook(t testing.TB, in LogbookInput) []byte {
	t.Helper()
	pdf, err := Logbook(in)
	if err != nil {
		t.Fatal(err)
	}
	return pdf
}

func TestLogbook(t *testing.T) {
	in := years(t)
	drops := []chart.Test{
		{Day: core.Date{Year: 2025, Month: time.March, Day: 2}, Method: "en943", Outcome: core.Pass, Drop: 130 * core.Pascal, Allowed: 300 * core.Pascal},
	}
	picture, err := chart.History("HP-07", drops)
	if err != nil {
		t.Fatal(err)
	}
	in.Chart = picture
	for _, fact := range []core.Fact{
		core.PhotoPosted{File: "f1", Name: "ring.jpg"},
		core.PhotoPosted{File: "f2", Name: "zip.jpg"},
		core.PhotoPosted{File: "f3", Name: "certificate.pdf"},
		core.PhotoLost{File: "f3", Why: core.NoPhoto},
	} {
		in.Entries = append(in.Entries, core.Entry{At: morning.AddDate(0, 0, 1), By: tester, Suit: "HP-07", Run: 42, Fact: fact})
	}
	pdf := mustLogbook(t, in)
	contains(t, pdf,
		"Logbook", "HP-07", "NOT FIT", "on 2026-03-04, the day of printing", "By its last pass it would be in test until 2027-03-02.",
		"defect found, 2026-03-04: “zip stiff at the dock”",
		"Serial number X19204", "Kept at Store", "Capacity HP-07:",
		"Tests 6: 6 pass, 0 fail, 0 no verdict", "Last pass 2026-03-02, R-0042", "Times used 1",
		"2021-03-02, on paper Test, en943: PASS Drop 0.9 mbar, limit 3.0 mbar. 16.5 mbar → 15.6 mbar in 6:00, M-4. former.tester",
		"Entered in the register",
		"Register changed Kept at: Station 1 → Store;",
		"Maker's pressures: expansion A 5.0 in, test B 4.0 in → not in the register",
		"2026-02-28 08:30:00 CET Used ammonia, quay 4; entered 2026-03-01 08:30:00 CET",
		"Repaired zip waxed",
		"Test R-0042, en943: PASS Drop 1.3", "Note: left glove ring stiff, greased. Photos on its record: 2.",
		"Released: it may be worn", "Capacity measured",
		"Defect found zip stiff at the dock",
		"End of logbook of HP-07, 13 lines, as of journal entry 1234",
	)
	laidOutWell(t, pdf)
	framed(t, pdf, "Timeline, oldest first", "Moment What More By", "Suit Summary", "Why it must not be worn")

	all := text(t, pdf)
	order := []string{"2021-03-02, on paper", "2025-03-02, on paper", "Entered in the register", "Register changed", "ammonia, quay 4", "Repaired", "Test R-0042", "Released", "Defect found"}
	last := strings.Index(all, "Timeline")
	for _, what := range order {
		i := strings.Index(all[last:], what)
		if i < 0 {
			t.Fatalf("%q is not after what was before it", what)
		}
		last += i
	}
}

// TestLogbookStanding: the standing is that of the day of printing.
func TestLogbookStanding(t *testing.T) {
	in := years(t)
	in.Entries = in.Entries[:len(in.Entries)-1] // nothing was found
	for _, tt := range []struct {
		day  core.Date
		want string
	}{
		{core.Date{Year: 2026, Month: time.March, Day: 4}, "FIT on 2026-03-04, the day of printing In test until 2027-03-02."},
		{core.Date{Year: 2027, Month: time.February, Day: 10}, "FIT, DUE SOON on 2027-02-10"},
		{core.Date{Year: 2027, Month: time.March, Day: 3}, "NOT FIT on 2027-03-03"},
	} {
		in.Day = tt.day
		contains(t, mustLogbook(t, in), tt.want)
	}
	n := slices.IndexFunc(in.Entries, func(e core.Entry) bool { _, ok := e.Fact.(core.Opened); return ok })
	in.Day, in.Entries = core.Date{Year: 2026, Month: time.March, Day: 2}, in.Entries[:n+1]
	contains(t, mustLogbook(t, in), "ON THE BENCH, NOT FIT", "run open, R-0042", "Test R-0042, en943: no verdict yet The run is still open.")
	in.Entries = in.Entries[:1]
	contains(t, mustLogbook(t, in), "NOT FIT", "It has no pass.", "Last pass none", string(core.BarReceived), "1 line,")
}

// TestLongLogbook: a long life goes on as many pages as it takes.
func TestLongLogbook(t *testing.T) {
	for i, words := range longWords {
		in := years(t)
		for n := range 60 {
			in.Entries = append(in.Entries, core.Entry{At: morning.AddDate(0, n, 0), By: tester, Suit: "HP-07", Fact: core.Used{
				When: morning.AddDate(0, n, 0), Note: fmt.Sprintf("use %d", n),
			}})
		}
		in.Entries = append(in.Entries, core.Entry{At: morning.AddDate(6, 0, 0), By: tester, Suit: "HP-07", Fact: core.Withdrawn{Why: words}})
		in.Format = []Format{A4, Letter}[i%2]
		pdf := mustLogbook(t, in)
		laidOutWell(t, pdf)
		framed(t, pdf, "Timeline, oldest first", "Moment What More By", "Suit Summary", "Why it must not be worn")
		contains(t, pdf, "use 0", "use 59", "Timeline, oldest first (continued)")
	}
}

func TestLogbookRefuses(t *testing.T) {
	in := years(t)
	in.Entries = in.Entries[1:]
	in.Entries = slices.DeleteFunc(slices.Clone(in.Entries), func(e core.Entry) bool { _, ok := e.Fact.(core.SuitRegistered); return ok })
	if _, err := Logbook(in); !errors.Is(err, errEntries) {
		t.Errorf("a suit that is not in the register: %v", err)
	}
	in = years(t)
	in.Chart = []byte{0x89}
	if _, err := Logbook(in); err == nil {
		t.Error("a chart that is none was taken")
	}
	if _, err := Logbook(LogbookInput{}); !errors.Is(err, errEntries) {
		t.Errorf("nothing: %v", err)
	}
}

func shelfOf24(t testing.TB) ShelfInput {
	t.Helper()
	in := ShelfInput{Station: harrowPoint(t), Head: head, Day: core.Date{Year: 2026, Month: time.March, Day: 4}, Policy: core.DefaultPolicy()}
	for n := range 24 {
		s := core.Summary{
			Tag:  fmt.Sprintf("HP-%d", 24-n),
			Size: []string{"M", "L", "XL"}[n%3], Place: []string{"Station 1", "Store", "Vehicle 12, left side"}[n%3],
			Due: core.Date{Year: 2026, Month: time.March, Day: 1 + n},
		}
		if n%5 == 0 {
			s.Bars = []core.Bar{{Kind: core.BarUsed, Since: morning, Note: "not for the wall"}, {Kind: core.BarFailed, Run: 41, Since: morning}}
		}
		if n%7 == 3 {
			s.OnBench, s.Bars = true, append(s.Bars, core.Bar{Kind: core.BarRunOpen, Run: 43})
		}
		in.Suits = append(in.Suits, s)
	}
	in.Suits[4].Due = core.Date{Year: 2027, Month: time.January, Day: 31}
	in.Suits[6].Retired = true
	return in
}

func TestShelfList(t *testing.T) {
	pdf, err := ShelfList(shelfOf24(t))
	if err != nil {
		t.Fatal(err)
	}
	contains(t, pdf,
		"14 of 23 suits fit 2026-03-04", "Right on the day of printing only",
		"HP-20 L Store FIT 2027-01-31", "HP-22 XL Vehicle 12, left side NOT FIT 2026-03-03 test overdue",
		"HP-24 M Station 1 NOT FIT 2026-03-01 used, failed R-0041, test overdue",
		"ON THE BENCH, NOT FIT", "Retired, never to be worn: HP-18", "HP-1 XL",
		"End of list, 23 suits, as of journal entry 1234",
	)
	lacksWords(t, pdf, "not for the wall")
	laidOutWell(t, pdf)
	framed(t, pdf, "Suit Size Place Standing Test due Why not")
	all := text(t, pdf)
	if !(strings.Index(all, "HP-2 ") < strings.Index(all, "HP-10 ")) {
		t.Error("HP-10 is before HP-2")
	}
	for _, page := range boxes(t, pdf) {
		for _, w := range page.Words {
			if strings.HasPrefix(w.Word, "HP-") && w.YMax-w.YMin < 12 {
				t.Errorf("%s is %.1f points high: nobody reads that on a wall", w.Word, w.YMax-w.YMin)
			}
		}
	}
}

func TestShelfListOfMany(t *testing.T) {
	in := shelfOf24(t)
	for n := range 200 {
		s := in.Suits[n%24]
		s.Tag = fmt.Sprintf("Łódź-%03d", n)
		if n%100 == 0 {
			s.Place = longWords[1]
		}
		in.Suits = append(in.Suits, s)
	}
	in.Format = Letter
	pdf, err := ShelfList(in)
	if err != nil {
		t.Fatal(err)
	}
	laidOutWell(t, pdf)
	framed(t, pdf, "Suit Size Place Standing Test due Why not")
	contains(t, pdf, "Łódź-199", "End of list, 214 suits")

	pdf, err = ShelfList(ShelfInput{})
	if err != nil {
		t.Fatal(err)
	}
	contains(t, pdf, "0 of 0 suits fit", "End of list, 0 suits")
}

// TestEndIsNotAlone: the line at the end has something above it, however full
// the last page is.
func TestEndIsNotAlone(t *testing.T) {
	one := shelfOf24(t)
	one.Suits = one.Suits[1:2]
	for n := range 10 {
		in := one
		in.Format, in.Suits = Letter, slices.Clone(one.Suits)
		for i := range 24 + n {
			s := one.Suits[0]
			s.Tag = fmt.Sprintf("XY-%d", i)
			in.Suits = append(in.Suits, s)
		}
		pdf, err := ShelfList(in)
		if err != nil {
			t.Fatal(err)
		}
		all := pages(t, pdf)
		if last := all[len(all)-1]; !slices.ContainsFunc(last, func(line string) bool { return strings.HasPrefix(line, "XY-") }) {
			t.Errorf("of %d suits, the last page has just %q", len(in.Suits), last)
		}
		framed(t, pdf, "Suit Size Place Standing Test due Why not")
	}
}

// TestOthersAreTheSame: the other documents too come out the same each time.
func TestOthersAreTheSame(t *testing.T) {
	in := years(t)
	if !bytes.Equal(mustLogbook(t, in), mustLogbook(t, in)) {
		t.Error("the logbook is not the same")
	}
	a, errA := ShelfList(shelfOf24(t))
	b, errB := ShelfList(shelfOf24(t))
	if errA != nil || errB != nil || !bytes.Equal(a, b) {
		t.Errorf("the list is not the same: %v, %v", errA, errB)
	}
}
