package bot

import (
	"iter"
	"maps"
	"slices"

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
	return fold(entries), nil
}

func fold(entries []core.Entry) core.File {
	var f core.File
	for _, entry := range entries {
		f = f.Apply(entry)
	}
	return f
}

// row is what the store's indexes know of a suit.
func row(p core.Policy, f core.File) store.SuitRow {
	// The row knows no date: its kind is that of the day of the last pass, and
	// Due and EndOfLife say until when.
	st := f.Standing(p, core.DateAt(f.Tested, p.Zone))
	return store.SuitRow{
		Tag: f.Suit.Tag, Size: f.Suit.Size, Place: f.Suit.Place,
		Kind: st.Kind, Bars: st.Bars, Due: st.Due, EndOfLife: f.Suit.EndOfLife,
	}
}

// findSuit looks a suit up by its tag as somebody typed it.
func (do *doing) findSuit(typed string) (core.File, error) {
	tag, ok, err := do.store.SuitTag(typed)
	if err != nil {
		return core.File{}, err
	}
	if !ok {
		return core.File{}, &core.Refusal{Why: core.UnknownSuit, Suit: typed}
	}
	return do.Engine.file(tag)
}

func (do *doing) askSuit(w core.AskSuit) error {
	file, err := do.findSuit(w.Suit)
	if err != nil {
		return err
	}
	st := file.Standing(do.bench.Policy, do.bench.Day(do.ev.At))
	do.answer(do.speak.Suit(file.Suit.Tag, st, do.ev.At))
	return nil
}

// askFleet reads only the suits that are barred or out of test.
func (do *doing) askFleet() error {
	day := do.bench.Day(do.ev.At)
	total, kinds, err := do.store.Count()
	if err != nil {
		return err
	}
	var not []commands.FleetLine
	add := func(tag string) error {
		file, err := do.Engine.file(tag)
		if err != nil {
			return err
		}
		if st := file.Standing(do.bench.Policy, day); !st.Wearable() && st.Kind != core.OutForGood {
			not = append(not, commands.FleetLine{Tag: tag, Standing: st})
		}
		return nil
	}
	tags, err := do.notFit(day)
	if err != nil {
		return err
	}
	for _, tag := range tags {
		if err := add(tag); err != nil {
			return err
		}
	}
	total -= kinds[core.OutForGood]
	do.answer(do.speak.Fleet(total, total-len(not), not))
	return nil
}

// notFit returns the tags, sorted, of all suits that may be barred on a day:
// those with a bar of their own, out of test, or past their end of life.
func (do *doing) notFit(day core.Date) ([]string, error) {
	tags := make(map[string]bool)
	yesterday := day.AddDays(-1)
	for _, rows := range []iter.Seq2[store.SuitRow, error]{
		do.store.Barred(), do.store.DueBy(yesterday), do.store.EndingBy(yesterday),
	} {
		for row, err := range rows {
			if err != nil {
				return nil, err
			}
			tags[row.Tag] = true
		}
	}
	return slices.Sorted(maps.Keys(tags)), nil
}

func (do *doing) help(h commands.Help) {
	var run *core.Run
	if do.hasRun {
		run = &do.run
	}
	do.answer(do.speak.Help(h, do.in, run))
}
