package core_test

import (
	"slices"
	"testing"

	"benchbell/core"
)

// TestLists: what a suit is closed with is what is counted out of it.
func TestLists(t *testing.T) {
	for _, f := range []core.Fittings{
		{},
		{ExhaustValves: 1},
		{ExhaustValves: 2, GloveRings: true},
		{ExhaustValves: 3, VentilatingValve: true},
		{ExhaustValves: 4, VentilatingValve: true, PassThrough: true, GloveRings: true},
		{PassThrough: true},
	} {
		prepare, restore := core.PrepareList(f), core.RestoreList(f)
		if len(prepare) > 10 || len(restore) > 10 {
			t.Errorf("%+v: lists of %d and %d, and there are ten numbers to tap", f, len(prepare), len(restore))
		}
		count := func(items []core.Item, task core.Task) int {
			i := slices.IndexFunc(items, func(it core.Item) bool { return it.Task == task })
			if i < 0 {
				return -1
			}
			return items[i].Count
		}
		if in, out := count(prepare, core.TaskPlugsIn), count(restore, core.TaskPlugsOut); in != out || in > f.ExhaustValves-1 {
			t.Errorf("%+v: %d plugs in, %d out", f, in, out)
		}
		if in, out := count(prepare, core.TaskInflationFitted), count(restore, core.TaskAdapterOut); in != 1 || out != 1 {
			t.Errorf("%+v: %d adapters in, %d out", f, in, out)
		}
		for task, has := range map[core.Task]bool{
			core.TaskVentilatingBack: f.VentilatingValve, core.TaskPassThroughBack: f.PassThrough,
			core.TaskDiaphragms: true, core.TaskCovers: true, core.TaskDried: true,
		} {
			if (count(restore, task) >= 0) != has {
				t.Errorf("%+v: the restore list has %q: %v", f, task, !has)
			}
		}
		if (count(prepare, core.TaskInletsShut) >= 0) != (f.VentilatingValve || f.PassThrough) {
			t.Errorf("%+v: inlets", f)
		}
		if prepare[0].Task != core.TaskDecontaminated {
			t.Errorf("%+v: %q comes before decontamination", f, prepare[0].Task)
		}
		closes := 0
		for _, it := range prepare {
			if it.Closes {
				closes++
			}
		}
		if closes == 0 {
			t.Errorf("%+v: nothing on the list closes the suit", f)
		}
	}
}
