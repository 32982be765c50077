package engine

import (
	"cmp"
	"iter"
	"maps"
	"slices"
	"strings"

	"benchbell/bot/chat"
	"benchbell/bot/ledger"
	"benchbell/commands"
	"benchbell/core"
	"benchbell/store"
)

func (t *turn) askSuit(w core.AskSuit) error {
	file, err := t.findSuit(w.Suit)
	if err != nil {
		return err
	}
	st := file.Standing(t.bench.Policy, t.bench.Day(t.ev.At))
	t.answer(t.speak.Asked(file.Suit, st, t.ev.At))
	return nil
}

func (t *turn) askFleet() error {
	total, retired, not, err := t.fleet(t.bench.Day(t.ev.At))
	if err != nil {
		return err
	}
	t.answer(t.speak.Fleet(total, total-len(not), retired, not))
	return nil
}

// fleet counts the suits that are not retired and those that are, and returns
// those of the former that are not fit on a day. It reads only suits with a bar of their own, out of test, or
// past their end of life.
func (t *turn) fleet(day core.Date) (total, retired int, not []commands.FleetLine, err error) {
	total, kinds, err := t.store.Count()
	if err != nil {
		return 0, 0, nil, err
	}
	yesterday := day.AddDays(-1)
	rows, err := t.rowsOf(t.store.Barred(), t.store.DueBy(yesterday), t.store.EndingBy(yesterday))
	if err != nil {
		return 0, 0, nil, err
	}
	for _, row := range rows {
		if st := ledger.SummaryOf(row).Standing(t.bench.Policy, day); !st.Wearable() {
			not = append(not, commands.FleetLine{Tag: row.Tag, Standing: st})
		}
	}
	retired = kinds[core.OutForGood]
	return total - retired, retired, not, nil
}

// rowsOf returns the rows of several indexes, each once, by tag.
func (t *turn) rowsOf(indexes ...iter.Seq2[store.SuitRow, error]) ([]store.SuitRow, error) {
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
func (t *turn) askReady(w core.AskReady) error {
	const most = 30
	day := t.bench.Day(t.ev.At)
	var ready []core.Summary
	more := false
	for row, err := range t.store.Rows() {
		if err != nil {
			return err
		}
		if w.Want != "" && !strings.EqualFold(row.Size, w.Want) && !core.SameName(row.Place, w.Want) {
			continue
		}
		s := ledger.SummaryOf(row)
		if !s.Standing(t.bench.Policy, day).Wearable() {
			continue
		}
		if len(ready) == most {
			more = true
			break
		}
		ready = append(ready, s)
	}
	t.answer(t.speak.Ready(w.Want, ready, more))
	return nil
}

// askHistory lists a suit's tests, newest first.
func (t *turn) askHistory(w core.AskHistory) error {
	file, err := t.findSuit(w.Suit)
	if err != nil {
		return err
	}
	entries, err := t.store.OfSuit(file.Suit.Tag)
	if err != nil {
		return err
	}
	tests := ledger.Tests(t.bench, entries)
	o := t.reply(t.speak.History(file.Suit.Tag, tests))
	o.Doc = t.doc(chat.Doc{Kind: chat.HistoryDoc, Suit: file.Suit.Tag})
	t.enqueue(o)
	return nil
}

func (t *turn) help(h commands.Help) {
	var run *core.Run
	if t.hasRun {
		run = &t.run
	}
	t.answer(t.speak.Help(h, t.in, run))
}
