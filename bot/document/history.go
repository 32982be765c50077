package document

import (
	"fmt"
	"slices"

	"benchbell/bot/chart"
	"benchbell/commands"
	"benchbell/core"
	"benchbell/core/estimate"
)

// historyChart draws a suit's tests, with the trend of each method that has one.
func HistoryChart(tag string, tests []commands.Tested) ([]byte, error) {
	var marks []chart.Test
	for _, t := range tests {
		if t.End.IsZero() {
			continue
		}
		start, end := t.Start.Pressure(), t.End.Pressure()
		marks = append(marks, chart.Test{
			Day: t.Day, Method: t.Method.Key, Outcome: t.Outcome,
			Drop: start - end, Allowed: t.Method.Limit.GreatestDrop(start), Repaired: t.Repaired,
		})
	}
	var trends []chart.Trend
	for _, m := range commands.Trends(tests) {
		if m.Trend.Tendency != estimate.Rising && m.Trend.Tendency != estimate.Falling {
			continue
		}
		line := chart.Trend{
			Label: m.Method.Key, From: m.First, To: m.Last,
			FromShare: m.Trend.Line.At(0), ToShare: m.Trend.Line.At(float64(m.Last.Days(m.First))),
		}
		if reaches := m.Trend.Reaches; reaches.After(m.Last) {
			line.Label += fmt.Sprintf(": limit in %d", reaches.Year)
			line.To, line.ToShare = reaches, 1
		}
		trends = append(trends, line)
	}
	return chart.History(tag, marks, trends...)
}

// testsIn returns the tests in a suit's entries, newest first. Of a run, the
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

// fitOf is the fitted course of a run's hold for its chart, if there are
// readings in between that tell it.
func Fit(run core.Run) []chart.Fit {
	c, ok := run.Course()
	if !ok || len(c.Samples) < 3 {
		return nil
	}
	var fit chart.Fit
	const steps = 40
	until := max(c.Bell, c.Samples[len(c.Samples)-1].T)
	var moments [steps + 1]float64
	for i := range moments {
		moments[i] = until * float64(i) / steps
	}
	for i, p := range c.Curve(moments[:]...) {
		fit.Points = append(fit.Points, chart.FitPoint{Seconds: moments[i], Low: p.Low, Mid: p.Value, High: p.High})
	}
	return []chart.Fit{fit}
}
