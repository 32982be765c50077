// Package ledger reads and writes what the journal says of suits as a whole.
//
// [FileOf] makes a suit's file of its entries, [RowOf] makes of that file the
// row by which the store finds it, and [SummaryOf] reads a row back. [Tests]
// lists the tests of a suit.
//
// Files of a register are taken in two steps, so that the engine need not wait for the
// first: [PlanAttached] only reads, and the [Plan] that it makes is committed later,
// unless it is stale by then. [Import] does both at once. [Registered] is the inverse:
// it returns the register as such files would hold it.
package ledger

import (
	"benchbell/core"
	"benchbell/store"
)

// FileOf returns the file of a suit, made of its entries.
func FileOf(entries []core.Entry) core.File {
	var f core.File
	for _, entry := range entries {
		f = f.Apply(entry)
	}
	return f
}

// RowOf returns what the store's indexes know of a suit. A row has no date of
// its own: its kind is that of the day of the last pass, and Due and EndOfLife
// say until when.
func RowOf(p core.Policy, f core.File) store.SuitRow {
	s := f.Summary(p)
	day := core.DateAt(f.Tested, p.Zone)
	return store.SuitRow{
		Tag: s.Tag, Size: s.Size, Place: s.Place, Kind: s.Standing(p, day).Kind,
		Bars: s.Bars, Due: s.Due, EndOfLife: s.EndOfLife,
	}
}

// SummaryOf reads a row back.
func SummaryOf(r store.SuitRow) core.Summary {
	return core.Summary{
		Tag: r.Tag, Size: r.Size, Place: r.Place,
		Retired: r.Kind == core.OutForGood, OnBench: r.Kind == core.OnTheBench,
		Bars: r.Bars, Due: r.Due, EndOfLife: r.EndOfLife,
	}
}
