package ledger

import (
	"slices"

	"benchbell/commands"
	"benchbell/core"
)

// Tests returns the tests in a suit's entries, newest first. Of a run, the
// last verdict counts.
func Tests(bench core.Bench, entries []core.Entry) []commands.Tested {
	var all []commands.Tested
	of := make(map[core.RunID]int)
	methods := make(map[core.RunID]core.Method)
	givenUp := make(map[core.RunID][]string)
	read := make(map[core.RunID]bool)
	var repaired core.Date
	for _, e := range entries {
		switch f := e.Fact.(type) {
		case core.PaperTest:
			m, _ := bench.Method(f.Method)
			t := commands.Tested{Day: f.Day, Method: m, Outcome: f.Outcome, Reason: f.Reason, Start: f.Start, End: f.End}
			if !t.Day.After(repaired) {
				t.Repaired = repaired
			}
			all = append(all, t)
		case core.Opened:
			methods[e.Run] = f.Method
		case core.Repaired:
			repaired = bench.Day(e.At)
			for i := range all {
				if !all[i].Day.After(repaired) {
					all[i].Repaired = repaired
				}
			}
		case core.Closed:
			if i, judged := of[e.Run]; judged {
				all[i].Open = false
			}
		case core.Taken:
			read[e.Run] = true
		case core.Stopped:
			if read[e.Run] {
				of[e.Run] = len(all)
				all = append(all, commands.Tested{
					Day: bench.Day(e.At), Method: methods[e.Run], Outcome: core.NoVerdict, Reason: "stopped",
					Run: e.Run, Open: true, GivenUp: givenUp[e.Run],
				})
			}
		case core.DefectSeen:
			if i, judged := of[e.Run]; judged {
				all[i].Defect = true
			}
		case core.Again:
			givenUp[e.Run] = append(givenUp[e.Run], f.Why)
			if i, judged := of[e.Run]; judged {
				all[i].Repaired = core.Date{} // it is tested as it is now
			}
		case core.Judged:
			t := commands.Tested{
				Day: bench.Day(e.At), Method: methods[e.Run], Outcome: f.Verdict.Outcome, Reason: f.Verdict.Reason,
				Start: f.Verdict.Start.Written, End: f.Verdict.End.Written, Run: e.Run, Open: true,
				GivenUp: givenUp[e.Run],
			}
			if i, again := of[e.Run]; again {
				t.Repaired, t.Open = all[i].Repaired, all[i].Open
				all[i] = t
				continue
			}
			of[e.Run] = len(all)
			all = append(all, t)
		}
	}
	slices.SortStableFunc(all, func(a, b commands.Tested) int { return b.Day.Compare(a.Day) })
	return all
}
