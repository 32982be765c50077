package engine

import (
	"cmp"
	"iter"
	"maps"
	"slices"
	"strings"

	"benchbell/bot/document"
	"benchbell/bot/ledger"
	"benchbell/commands"
	"benchbell/core"
	"benchbell/store"
)

// file reads a suit's own entries.
func (e *Engine) file(tag string) (core.File, error) {
	entries, err := e.store.OfSuit(tag)
	if err != nil {
		return core.File{}, err
	}
	return ledger.FileOf(entries), nil
}

// findSuit looks a suit up by its tag as somebody typed it.
func (do *turn) findSuit(typed string) (core.File, error) {
	tag, ok, err := do.store.SuitTag(typed)
	if err != nil {
		return core.File{}, err
	}
	if !ok {
		return core.File{}, do.unknownSuit(typed)
	}
	return do.Engine.file(tag)
}

func (do *turn) askSuit(w core.AskSuit) error {
	file, err := do.findSuit(w.Suit)
	if err != nil {
		return err
	}
	st := file.Standing(do.bench.Policy, do.bench.Day(do.ev.At))
	do.answer(do.speak.Asked(file.Suit, st, do.ev.At))
	return nil
}

func (do *turn) askFleet() error {
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
func (do *turn) fleet(day core.Date) (total, retired int, not []commands.FleetLine, err error) {
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
		if st := ledger.SummaryOf(row).Standing(do.bench.Policy, day); !st.Wearable() {
			not = append(not, commands.FleetLine{Tag: row.Tag, Standing: st})
		}
	}
	retired = kinds[core.OutForGood]
	return total - retired, retired, not, nil
}

// rowsOf returns the rows of several indexes, each once, by tag.
func (do *turn) rowsOf(indexes ...iter.Seq2[store.SuitRow, error]) ([]store.SuitRow, error) {
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
func (do *turn) askReady(w core.AskReady) error {
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
		s := ledger.SummaryOf(row)
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
func (do *turn) askHistory(w core.AskHistory) error {
	file, err := do.findSuit(w.Suit)
	if err != nil {
		return err
	}
	entries, err := do.store.OfSuit(file.Suit.Tag)
	if err != nil {
		return err
	}
	tests := document.Tests(do.bench, entries)
	o := do.reply(do.speak.History(file.Suit.Tag, tests))
	do.picture(&o, file.Suit.Tag, func() ([]byte, error) { return document.HistoryChart(file.Suit.Tag, tests) })
	do.enqueue(o)
	return nil
}

func (do *turn) help(h commands.Help) {
	var run *core.Run
	if do.hasRun {
		run = &do.run
	}
	do.answer(do.speak.Help(h, do.in, run))
}
