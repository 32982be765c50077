package core

// Task names one thing to do or to look at before or after a test.
type Task string

// The tasks of the prepare list.
const (
	TaskDecontaminated  Task = "decontaminated"
	TaskLookedOver      Task = "looked over"
	TaskGlovesWhole     Task = "gloves whole"
	TaskGloveRings      Task = "O-rings in the glove rings"
	TaskInletsShut      Task = "inlets shut"
	TaskInflationFitted Task = "inflation adapter fitted"
	TaskPlugsIn         Task = "plugs in"
	TaskZipperShut      Task = "zipper shut"
	TaskLaidOut         Task = "laid out"
	TaskAirLimited      Task = "air supply limited"
	TaskManometerReady  Task = "manometer ready"
)

// The tasks of the restore list.
const (
	TaskPlugsOut        Task = "plugs out"
	TaskAdapterOut      Task = "adapter out"
	TaskDiaphragms      Task = "diaphragms seated"
	TaskCovers          Task = "covers home"
	TaskVentilatingBack Task = "ventilating valve back in use"
	TaskPassThroughBack Task = "pass-through back in use"
	TaskDried           Task = "dried"
	TaskStored          Task = "stored"
)

// Item is one line of a checklist. Count is the number of pieces that the
// task is about, zero if it is not about a number of pieces.
type Item struct {
	Task  Task
	Count int
	// Closes is true if doing it leaves the suit closed up, so that it must be
	// restored before anybody may wear it.
	Closes bool
}

// ByName reports whether the item counts something back that can kill a wearer
// if it is left in: it is ticked by its own number, one at a time.
func (i Item) ByName() bool { return i.Task == TaskPlugsOut || i.Task == TaskAdapterOut }

// PrepareList returns what must be done before a suit with these fittings is
// inflated: at most ten items, since there are ten numbers to tap.
func PrepareList(f Fittings) []Item {
	items := []Item{
		{Task: TaskDecontaminated},
		{Task: TaskLookedOver},
		{Task: TaskGlovesWhole},
	}
	if f.GloveRings {
		items[2] = Item{Task: TaskGloveRings, Count: 2}
	}
	if f.VentilatingValve || f.PassThrough {
		items = append(items, Item{Task: TaskInletsShut, Closes: true})
	}
	items = append(items, Item{Task: TaskInflationFitted, Count: 1, Closes: true})
	if n := f.Plugs(); n > 0 {
		items = append(items, Item{Task: TaskPlugsIn, Count: n, Closes: true})
	}
	return append(items,
		Item{Task: TaskZipperShut},
		Item{Task: TaskLaidOut},
		Item{Task: TaskAirLimited},
		Item{Task: TaskManometerReady},
	)
}

// RestoreList returns what must be undone before a suit with these fittings
// may be worn, whatever the verdict.
func RestoreList(f Fittings) []Item {
	var items []Item
	if n := f.Plugs(); n > 0 {
		items = append(items, Item{Task: TaskPlugsOut, Count: n})
	}
	items = append(items,
		Item{Task: TaskAdapterOut, Count: 1},
		Item{Task: TaskDiaphragms, Count: f.ExhaustValves},
		Item{Task: TaskCovers, Count: f.ExhaustValves},
	)
	if f.VentilatingValve {
		items = append(items, Item{Task: TaskVentilatingBack})
	}
	if f.PassThrough {
		items = append(items, Item{Task: TaskPassThroughBack})
	}
	return append(items, Item{Task: TaskDried}, Item{Task: TaskStored})
}
