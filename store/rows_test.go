package store_test

import (
	"fmt"
	"iter"
	"slices"
	"strings"
	"testing"

	"benchbell/core"
	"benchbell/store"
)

func row(tag string, kind core.StandingKind, due core.Date, bars ...core.BarKind) store.SuitRow {
	r := store.SuitRow{Tag: tag, Size: "L", Place: "rack 2", Kind: kind, Due: due}
	for _, b := range bars {
		r.Bars = append(r.Bars, core.Bar{Kind: b, Since: morning, Note: "seam", Run: 7})
	}
	return r
}

// tags names the suits of a sequence of rows.
func tags(t *testing.T, rows iter.Seq2[store.SuitRow, error]) string {
	t.Helper()
	var names []string
	for _, r := range all(t, rows) {
		names = append(names, r.Tag)
	}
	return strings.Join(names, " ")
}

func TestRows(t *testing.T) {
	s := inMemory(t)
	ending := row("HP-06", core.Fit, day(5, 1))
	ending.EndOfLife = day(4, 30)
	retired := row("HP-07", core.OutForGood, day(1, 1), core.BarOutOfReason)
	retired.EndOfLife = day(1, 1)
	first := []store.SuitRow{
		row("HP-05", core.Fit, day(4, 1)),
		row("HP-01", core.Fit, day(3, 31)),
		row("HP-02", core.NotFit, day(3, 1), core.BarUsed, core.BarFound),
		row("HP-03", core.OnTheBench, core.Date{}),
		row("HP-04", core.NotFit, core.Date{}),
		ending,
		retired,
	}
	commit(t, s, store.Batch{Rows: first})
	for _, want := range first {
		if got, ok, err := s.Row(want.Tag); !ok || err != nil {
			t.Errorf("Row(%s): %v, %v", want.Tag, ok, err)
		} else {
			same(t, want.Tag, got, want)
		}
	}
	if _, ok, err := s.Row("HP-99"); ok || err != nil {
		t.Errorf("Row of no suit: %v, %v", ok, err)
	}
	check := func(what, want string, rows iter.Seq2[store.SuitRow, error]) {
		t.Helper()
		if got := tags(t, rows); got != want {
			t.Errorf("%s: %q, want %q", what, got, want)
		}
	}
	check("rows", "HP-01 HP-02 HP-03 HP-04 HP-05 HP-06 HP-07", s.Rows())
	check("barred", "HP-02 HP-03 HP-04", s.Barred())
	check("due by the day before the first", "", s.DueBy(day(2, 28)))
	check("due by the day of the first", "HP-02", s.DueBy(day(3, 1)))
	check("due by the end of March", "HP-02 HP-01", s.DueBy(day(3, 31)))
	check("due by the end of the year", "HP-02 HP-01 HP-05 HP-06", s.DueBy(day(12, 31)))
	check("due by no date", "", s.DueBy(core.Date{}))
	check("ending by the day before", "", s.EndingBy(day(4, 29)))
	check("ending by the day", "HP-06", s.EndingBy(day(4, 30)))
	counts(t, s, 7, map[core.StandingKind]int{core.Fit: 3, core.NotFit: 2, core.OnTheBench: 1, core.OutForGood: 1})

	commit(t, s, store.Batch{Rows: []store.SuitRow{
		row("HP-02", core.Fit, day(3, 2).AddMonths(12)),
		row("HP-03", core.NotFit, core.Date{}, core.BarFailed),
		row("HP-05", core.NotFit, day(4, 1), core.BarUsed),
		row("HP-05", core.OutForGood, day(4, 1)), // twice in a batch: the last holds
	}})
	check("rows", "HP-01 HP-02 HP-03 HP-04 HP-05 HP-06 HP-07", s.Rows())
	check("barred", "HP-03 HP-04", s.Barred())
	check("due by the end of the year", "HP-01 HP-06", s.DueBy(day(12, 31)))
	counts(t, s, 7, map[core.StandingKind]int{core.Fit: 3, core.NotFit: 2, core.OutForGood: 2})

	refused(t, s, store.Batch{Rows: []store.SuitRow{{Kind: core.Fit}}}, `suit tag "" cannot be kept`)
	refused(t, s, store.Batch{Rows: []store.SuitRow{{Tag: "HP-08"}}}, "row of suit HP-08: ")
}

func counts(t *testing.T, s *store.Store, total int, byKind map[core.StandingKind]int) {
	t.Helper()
	n, kinds, err := s.Count()
	if n != total || err != nil {
		t.Errorf("%d rows, %v, want %d", n, err, total)
	}
	same(t, "counts", kinds, byKind)
}

func TestNoRows(t *testing.T) {
	s := inMemory(t)
	counts(t, s, 0, map[core.StandingKind]int{})
	same(t, "rows", all(t, s.Rows()), []store.SuitRow(nil))
}

func TestRowsMadeWith(t *testing.T) {
	s := inMemory(t)
	madeWith := func(want string) {
		t.Helper()
		if got, err := s.RowsMadeWith(); got != want || err != nil {
			t.Errorf("rows made with %q, %v, want %q", got, err, want)
		}
	}
	madeWith("")
	commit(t, s, store.Batch{Rows: []store.SuitRow{row("HP-01", core.Fit, day(4, 1))}})
	madeWith("")
	policy := "P1Y, an officer releases\n\x00\xff"
	commit(t, s, store.Batch{RowsMadeWith: policy})
	madeWith(policy)
	commit(t, s, store.Batch{Rows: []store.SuitRow{row("HP-01", core.Fit, day(4, 2))}})
	madeWith(policy)
	refused(t, s, store.Batch{RowsMadeWith: "P6M", Rows: []store.SuitRow{{Tag: "HP-08"}}}, "row of suit HP-08: ")
	madeWith(policy)
	commit(t, s, store.Batch{RowsMadeWith: "P6M", Rows: []store.SuitRow{row("HP-01", core.Fit, day(3, 2))}})
	madeWith("P6M")
}

// A date sorts as a date, and not by the tag behind it.
func TestDueInOrderOfDates(t *testing.T) {
	s := inMemory(t)
	var batch store.Batch
	var want []string
	for i, d := range []core.Date{{Year: 1999, Month: 12, Day: 31}, day(1, 31), day(2, 1), day(10, 9), day(10, 10), {Year: 10000 - 1, Month: 1, Day: 1}} {
		tag := fmt.Sprintf("HP-%02d", 20-i)
		batch.Rows = append(batch.Rows, row(tag, core.Fit, d))
		want = append(want, tag)
	}
	slices.Reverse(batch.Rows)
	commit(t, s, batch)
	if got := tags(t, s.DueBy(core.Date{Year: 9999, Month: 12, Day: 31})); got != strings.Join(want, " ") {
		t.Errorf("due: %s, want %s", got, want)
	}
}

func TestRowsByThePage(t *testing.T) {
	s := inFile(t)
	const n = 3 * store.PageSize
	var batch store.Batch
	for i := range n {
		batch.Rows = append(batch.Rows, row(fmt.Sprintf("HP-%04d", i), core.NotFit, day(3, 2).AddDays(i), core.BarUsed))
	}
	commit(t, s, batch)
	for what, rows := range map[string]iter.Seq2[store.SuitRow, error]{"rows": s.Rows(), "barred": s.Barred(), "due": s.DueBy(day(3, 2).AddDays(n))} {
		if got := all(t, rows); !slices.EqualFunc(got, batch.Rows, func(a, b store.SuitRow) bool { return a.Tag == b.Tag }) {
			t.Errorf("%s: %d of them, or in another order, want %d", what, len(got), n)
		}
	}
}

// A loop over rows may change the rows.
func TestChangeRowsInALoop(t *testing.T) {
	s := inFile(t)
	commit(t, s, store.Batch{Rows: []store.SuitRow{
		row("HP-01", core.NotFit, day(3, 1), core.BarUsed), row("HP-02", core.NotFit, day(3, 1), core.BarUsed),
	}})
	for r, err := range s.Barred() {
		if err != nil {
			t.Fatal(err)
		}
		commit(t, s, store.Batch{Rows: []store.SuitRow{row(r.Tag, core.Fit, r.Due)}})
	}
	if got := tags(t, s.Barred()); got != "" {
		t.Errorf("still barred: %s", got)
	}
}
