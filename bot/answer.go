package bot

import (
	"cmp"
	"fmt"
	"iter"
	"maps"
	"slices"
	"strings"

	"benchbell/bot/chart"
	"benchbell/commands"
	"benchbell/core"
	"benchbell/core/estimate"
	"benchbell/store"
)

// file reads a suit's own entries.
func (e *Engine) file(tag string) (core.File, error) {
	entries, err := e.store.OfSuit(tag)
	if err != nil {
		return core.File{}, err
	}
	return fold(entries), nil
}

func fold(entries []core.Entry) core.File {
	var f core.File
	for _, entry := range entries {
		f = f.Apply(entry)
	}
	return f
}

// row is what the store's indexes know of a suit. It knows no date: its kind is
// that of the day of the last pass, and Due and EndOfLife say until when.
func row(p core.Policy, f core.File) store.SuitRow {
	s := f.Summary(p)
	day := core.DateAt(f.Tested, p.Zone)
	return store.SuitRow{
		Tag: s.Tag, Size: s.Size, Place: s.Place, Kind: s.Standing(p, day).Kind,
		Bars: s.Bars, Due: s.Due, EndOfLife: s.EndOfLife,
	}
}

// summary is a row read back.
func summary(r store.SuitRow) core.Summary {
	return core.Summary{
		Tag: r.Tag, Size: r.Size, Place: r.Place,
		Retired: r.Kind == core.OutForGood, OnBench: r.Kind == core.OnTheBench,
		Bars: r.Bars, Due: r.Due, EndOfLife: r.EndOfLife,
	}
}

// findSuit looks a suit up by its tag as somebody typed it.
func (do *doing) findSuit(typed string) (core.File, error) {
	tag, ok, err := do.store.SuitTag(typed)
	if err != nil {
		return core.File{}, err
	}
	if !ok {
		return core.File{}, do.unknownSuit(typed)
	}
	return do.Engine.file(tag)
}

func (do *doing) askSuit(w core.AskSuit) error {
	file, err := do.findSuit(w.Suit)
	if err != nil {
		return err
	}
	st := file.Standing(do.bench.Policy, do.bench.Day(do.ev.At))
	do.answer(do.speak.Asked(file.Suit, st, do.ev.At))
	return nil
}

func (do *doing) askFleet() error {
	total, retired, not, err := do.fleet(do.bench.Day(do.ev.At))
	if err != nil {
		return err
	}
	do.answer(do.speak.Fleet(total, total-len(not), retired, not))
	return nil
}

// fleet counts the suits that are not retired and those that are, and returns
// those of the former that are not fit on a day. It reads only suits with a bar of their own, out of test, or
// past their end of life.
func (do *doing) fleet(day core.Date) (total, retired int, not []commands.FleetLine, err error) {
	total, kinds, err := do.store.Count()
	if err != nil {
		return 0, 0, nil, err
	}
	yesterday := day.AddDays(-1)
	rows, err := do.rowsOf(do.store.Barred(), do.store.DueBy(yesterday), do.store.EndingBy(yesterday))
	if err != nil {
		return 0, 0, nil, err
	}
	for _, row := range rows {
		if st := summary(row).Standing(do.bench.Policy, day); !st.Wearable() {
			not = append(not, commands.FleetLine{Tag: row.Tag, Standing: st})
		}
	}
	retired = kinds[core.OutForGood]
	return total - retired, retired, not, nil
}

// rowsOf returns the rows of several indexes, each once, by tag.
func (do *doing) rowsOf(indexes ...iter.Seq2[store.SuitRow, error]) ([]store.SuitRow, error) {
	found := make(map[string]store.SuitRow)
	for _, rows := range indexes {
		for row, err := range rows {
			if err != nil {
				return nil, err
			}
			found[row.Tag] = row
		}
	}
	all := slices.Collect(maps.Values(found))
	slices.SortFunc(all, func(a, b store.SuitRow) int { return strings.Compare(a.Tag, b.Tag) })
	return all, nil
}

func sortDue(all []commands.DueLine) {
	slices.SortFunc(all, func(a, b commands.DueLine) int {
		return cmp.Or(a.Due.Compare(b.Due), strings.Compare(a.Name, b.Name), strings.Compare(a.What, b.What))
	})
}

// askReady looks through the rows until a screenful of suits is found.
func (do *doing) askReady(w core.AskReady) error {
	const most = 30
	day := do.bench.Day(do.ev.At)
	var ready []core.Summary
	more := false
	for row, err := range do.store.Rows() {
		if err != nil {
			return err
		}
		if w.Want != "" && !strings.EqualFold(row.Size, w.Want) && !core.SameName(row.Place, w.Want) {
			continue
		}
		s := summary(row)
		if !s.Standing(do.bench.Policy, day).Wearable() {
			continue
		}
		if len(ready) == most {
			more = true
			break
		}
		ready = append(ready, s)
	}
	do.answer(do.speak.Ready(w.Want, ready, more))
	return nil
}

// askHistory lists a suit's tests, newest first.
func (do *doing) askHistory(w core.AskHistory) error {
	file, err := do.findSuit(w.Suit)
	if err != nil {
		return err
	}
	entries, err := do.store.OfSuit(file.Suit.Tag)
	if err != nil {
		return err
	}
	tests := testsIn(do.bench, entries)
	o := do.reply(do.speak.History(file.Suit.Tag, tests))
	do.picture(&o, file.Suit.Tag, func() ([]byte, error) { return historyChart(file.Suit.Tag, tests) })
	do.put(o)
	return nil
}

// historyChart draws a suit's tests, with the trend of each method that has one.
func historyChart(tag string, tests []commands.Tested) ([]byte, error) {
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
func testsIn(bench core.Bench, entries []core.Entry) []commands.Tested {
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

func (do *doing) help(h commands.Help) {
	var run *core.Run
	if do.hasRun {
		run = &do.run
	}
	do.answer(do.speak.Help(h, do.in, run))
}
