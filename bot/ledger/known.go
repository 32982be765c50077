package ledger

import (
	"benchbell/bot/register"
	"benchbell/core"
	"benchbell/store"
)

// knownOf returns what a register file is read against, and the past tests
// that are on record, numbered so that those of one suit stay in order.
func KnownOf(st *store.Store, methods []core.Method, dates string, today core.Date) (register.Known, map[register.PastTest]int, error) {
	known := register.Known{Today: today, Dates: dates, Methods: methods}
	had := make(map[register.PastTest]int)
	for row, err := range st.Rows() {
		if err != nil {
			return register.Known{}, nil, err
		}
		entries, err := st.OfSuit(row.Tag)
		if err != nil {
			return register.Known{}, nil, err
		}
		known.Suits = append(known.Suits, FileOf(entries).Suit)
		for _, e := range entries {
			if test, ok := e.Fact.(core.PaperTest); ok {
				had[register.PastTest{Suit: e.Suit, Test: test}] = len(had) + 1
			}
		}
	}
	var err error
	known.Manometers, err = st.Manometers()
	return known, had, err
}

// onRecord returns a function that reports whether a past test is one of those,
// as the paper has it: what it was judged to be, and by which rules, may differ.
func OnRecord(had map[register.PastTest]int) func(register.PastTest) bool {
	asWritten := func(t register.PastTest) register.PastTest {
		t.Test.Outcome, t.Test.Reason, t.Test.Rules = "", "", 0
		return t
	}
	known := make(map[register.PastTest]bool, len(had))
	for t := range had {
		known[asWritten(t)] = true
	}
	return func(t register.PastTest) bool { return known[asWritten(t)] }
}
