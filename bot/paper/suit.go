package paper

import (
	"fmt"
	"strings"

	"benchbell/commands"
	"benchbell/core"
)

// unsaid stands where the register says nothing.
const unsaid = "not in the register"

// said is what the register says, if anything.
func said(s string) string {
	if s = typed(s); s == "" {
		return unsaid
	}
	return s
}

func day(d core.Date) string {
	if d.IsZero() {
		return unsaid
	}
	return d.String()
}

func orUnsaid(w core.Written) string {
	if w.IsZero() {
		return unsaid
	}
	return w.String()
}

// suitFacts is what the register says of a suit.
func suitFacts(s core.Suit, speak commands.Speaker) table {
	maker := ""
	if !s.MakerA.IsZero() || !s.MakerB.IsZero() {
		maker = fmt.Sprintf("expansion A %s, test B %s", orUnsaid(s.MakerA), orUnsaid(s.MakerB))
	}
	capacity := ""
	if !s.Capacity.IsZero() {
		capacity = oneLine(speak.CapacityWords(s.Tag, s.Capacity))
	}
	var tests []string
	if s.Method != "" {
		tests = append(tests, "by "+typed(s.Method))
	}
	if !s.Interval.IsZero() {
		tests = append(tests, "every "+s.Interval.String())
	}
	return facts("Suit", nameWidth,
		[2]string{"Suit", said(s.Tag)},
		[2]string{"Serial number", said(s.Serial)},
		[2]string{"Maker", said(s.Maker)},
		[2]string{"Maker's model", said(s.Model)},
		[2]string{"Material", said(s.Material)},
		[2]string{"Size", said(s.Size)},
		[2]string{"Fittings", fittings(s.Fittings)},
		[2]string{"Made, purchased", day(s.Made) + ", " + day(s.Purchased)},
		[2]string{"In service", day(s.InService)},
		[2]string{"End of life", day(s.EndOfLife)},
		[2]string{"Kept at", said(s.Place)},
		[2]string{"To be tested", strings.Join(tests, ", ")},
		[2]string{"Maker's pressures", maker},
		[2]string{"Free volume", typed(s.Volume.String())},
		[2]string{"Capacity", capacity},
		[2]string{"Remarks", said(s.Remarks)},
	)
}

func fittings(f core.Fittings) string {
	var all []string
	for _, fitting := range []struct {
		has  bool
		name string
	}{
		{f.GloveRings, "glove rings"},
		{f.ExhaustValves == 1, "1 exhaust valve"},
		{f.ExhaustValves > 1, fmt.Sprintf("%d exhaust valves", f.ExhaustValves)},
		{f.VentilatingValve, "ventilating valve"},
		{f.PassThrough, "pass-through"},
		{f.Boots == core.BootsFixed, "boots fixed to it"},
		{f.Boots == core.Socks, "socks, boots over them"},
	} {
		if fitting.has {
			all = append(all, fitting.name)
		}
	}
	if all == nil {
		return unsaid
	}
	return strings.Join(all, ", ")
}

// changes says what the register says differently of a suit than before.
func changes(before, after core.Suit, speak commands.Speaker) string {
	old := make(map[string]string)
	for _, r := range suitFacts(before, speak).rows {
		old[r.cells[0]] = r.cells[1]
	}
	var all []string
	say := func(name, from, to string) {
		if from != to {
			all = append(all, fmt.Sprintf("%s: %s → %s", name, from, to))
		}
	}
	for _, r := range suitFacts(after, speak).rows {
		name, value := r.cells[0], r.cells[1]
		was, ok := old[name]
		if !ok {
			was = unsaid
		}
		say(name, was, value)
		delete(old, name)
	}
	for _, r := range suitFacts(before, speak).rows { // what is said no more
		if was, ok := old[r.cells[0]]; ok {
			say(r.cells[0], was, unsaid)
		}
	}
	if all == nil {
		return "nothing that stands on paper"
	}
	return strings.Join(all, "; ")
}
