package ledger

import (
	"benchbell/core"
	"benchbell/store"
)

func FileOf(entries []core.Entry) core.File {
	var f core.File
	for _, entry := range entries {
		f = f.Apply(entry)
	}
	return f
}

// row is what the store's indexes know of a suit. It knows no date: its kind is
// that of the day of the last pass, and Due and EndOfLife say until when.
func RowOf(p core.Policy, f core.File) store.SuitRow {
	s := f.Summary(p)
	day := core.DateAt(f.Tested, p.Zone)
	return store.SuitRow{
		Tag: s.Tag, Size: s.Size, Place: s.Place, Kind: s.Standing(p, day).Kind,
		Bars: s.Bars, Due: s.Due, EndOfLife: s.EndOfLife,
	}
}

// summary is a row read back.
func SummaryOf(r store.SuitRow) core.Summary {
	return core.Summary{
		Tag: r.Tag, Size: r.Size, Place: r.Place,
		Retired: r.Kind == core.OutForGood, OnBench: r.Kind == core.OnTheBench,
		Bars: r.Bars, Due: r.Due, EndOfLife: r.EndOfLife,
	}
}
