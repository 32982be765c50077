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
		return fmt.Sprintf("Plugs out: %d went in, %d back", it.Count, it.Count)
	case core.TaskAdapterOut:
		return "Adapter out: 1 went in, 1 back"
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

// list words the checklist on screen.
func list(run core.Run) string {
	var b strings.Builder
	for i, c := range run.List() {
		mark := "▫"
		if c.Done {
			mark = "✓"
		}
		fmt.Fprintf(&b, "\n%d %s %s", i+1, mark, task(c.Item, run))
	}
	if run.Phase == core.Prepare {
		expansion := run.Method.Expansion
		most := expansion.High.In(run.Method.Unit, expansion.Target.Decimals())
		return fmt.Sprintf("%s %s: tap, or say %s%s\nNever above %s %s.\nMaker's and local rules come first.\n%s",
			bold("Prepare"), run.Suit.Tag, code("ok all"), b.String(), most, run.Method.Unit, at(run.Tester))
	}
	return fmt.Sprintf("%s %s: tap, or say %s\nA plug or adapter left in can kill the wearer.%s\n%s",
		bold("Restore"), run.Suit.Tag, code("ok all"), b.String(), at(run.Tester))
}

// numbers prints the numbers of a list: "4, 5, 6".
func numbers(ns []int) string {
	words := make([]string, len(ns))
	for i, n := range ns {
		words[i] = fmt.Sprint(n)
	}
	return strings.Join(words, ", ")
}
