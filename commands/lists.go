package commands

import (
	"fmt"
	"strings"

	"benchbell/core"
)

// task words one item of a checklist.
func task(it core.Item, run core.Run) string {
	valves := run.Suit.Fittings.ExhaustValves
	switch it.Task {
	case core.TaskDecontaminated:
		return "Decontaminated, clean and dry"
	case core.TaskLookedOver:
		return "Looked over, inside and out"
	case core.TaskGlovesWhole:
		return "Gloves whole"
	case core.TaskGloveRings:
		return "Gloves whole, O-ring in each ring"
	case core.TaskInletsShut:
		return inlets(run.Suit.Fittings) + " shut"
	case core.TaskInflationFitted:
		if valves == 0 {
			return "Inflation adapter fitted: 1"
		}
		return "Adapter in 1 exhaust valve"
	case core.TaskPlugsIn:
		return fmt.Sprintf("Plugs in the other valves: %d in", it.Count)
	case core.TaskZipperShut:
		return "Zipper shut to its end"
	case core.TaskLaidOut:
		return "Clean table, no sun, no draught"
	case core.TaskAirLimited:
		return "Air limited, relief in, eyes safe"
	case core.TaskManometerReady:
		return run.Manometer.ID + " zeroed and in calibration"
	case core.TaskPlugsOut:
		return fmt.Sprintf("Plugs out, count %d back", it.Count)
	case core.TaskAdapterOut:
		return "Adapter out, count 1 back"
	case core.TaskDiaphragms:
		return fmt.Sprintf("Diaphragms clean, seated: %d", it.Count)
	case core.TaskCovers:
		return fmt.Sprintf("Valve covers home: %d", it.Count)
	case core.TaskVentilatingBack:
		return "Ventilating valve back in use"
	case core.TaskPassThroughBack:
		return "Pass-through back in use"
	case core.TaskDried:
		return "Dry inside and out"
	case core.TaskStored:
		return "Folded and stored"
	}
	return string(it.Task)
}

func inlets(f core.Fittings) string {
	switch {
	case f.VentilatingValve && f.PassThrough:
		return "Ventilating valve, pass-through"
	case f.PassThrough:
		return "Pass-through"
	}
	return "Ventilating valve"
}

// The marks of an item. Clients draw characters that can be emoji as emoji, wide
// and in colour (▫ is one, ✔ another), and "- [ ]" as a box that nobody can tap. A
// dash and U+2713 are plain text everywhere and tell open from done without colour.
const (
	markOpen = "–"
	markDone = "✓"
	markBad  = "bad:" // done with, and the suit is blocked for it
)

// items prints the items of a list, a line for each.
func items(checks []core.Check, run core.Run) string {
	var b strings.Builder
	for i, c := range checks {
		mark := markOpen
		if c.Done {
			mark = markDone
		}
		if c.Bad != "" {
			mark = markBad
		}
		fmt.Fprintf(&b, "\n%d %s %s", i+1, mark, task(c.Item, run))
	}
	return strings.TrimPrefix(b.String(), "\n")
}

// list words the checklist on screen. The most dangerous items of the second
// list are ticked one by one, so no example there ticks anything when copied.
func list(run core.Run) string {
	if run.Phase == core.Prepare {
		expansion := run.Method.Expansion
		most := expansion.High.In(run.Method.Unit, expansion.Target.Decimals())
		return lines(
			fmt.Sprintf("%s %s: tap, or say %s", bold("Prepare"), run.Suit.Tag, code("ok all")),
			items(run.PrepareList, run),
			fmt.Sprintf("Never above %s %s.", most, run.Method.Unit),
			"Maker's and local rules come first.",
			at(run.Tester))
	}
	return lines(
		bold("Unplug and put away")+" "+run.Suit.Tag+".",
		"Tap each number once done, or say ok and its number.",
		"A plug or adapter left in can kill the wearer.",
		items(run.RestoreList, run),
		at(run.Tester))
}

// lastList words a list that is on screen no more, as it was when its phase
// ended: what it asks for is over, and nobody is called by it.
func lastList(phase core.Phase, checks []core.Check, run core.Run) string {
	name := "Prepare"
	if phase == core.Restore {
		name = "Unplug and put away"
	}
	state := "all ticked."
	if missing := len(core.Missing(checks)); missing > 0 {
		state = fmt.Sprintf("over, %d of %d not ticked.", missing, len(checks))
	}
	return lines(fmt.Sprintf("%s %s: %s", bold(name), run.Suit.Tag, state), items(checks, run))
}

// numbers prints the numbers of a list: "4, 5, 6".
func numbers(ns []int) string {
	words := make([]string, len(ns))
	for i, n := range ns {
		words[i] = fmt.Sprint(n)
	}
	return strings.Join(words, ", ")
}

// ListAgain is the checklist that stands open, for a post that takes the place of one
// that is gone.
func ListAgain(run core.Run) Message {
	return Message{Dest: ToList, New: true, N: run.Lists, Text: list(run), Offer: len(run.List())}
}
