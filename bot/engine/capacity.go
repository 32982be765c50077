package engine

import (
	"fmt"

	"benchbell/commands"
	"benchbell/core"
)

// measure begins a measurement of a suit's capacity in the run that is open on
// it, keeps one that was made elsewhere, or says what is known.
func (do *turn) measure(w core.Measure) error {
	if w.Suit == "" {
		if !do.hasRun {
			return do.noRunHere()
		}
		w.Suit = do.run.Suit.Tag
	}
	file, err := do.findSuit(w.Suit)
	if err != nil {
		return err
	}
	if w.Litres != "" {
		return do.keepCapacity(w, file)
	}
	run, open := do.bench.OnSuit(file.Suit.Tag)
	switch {
	case !open:
		do.answer(do.speak.Capacity(file.Suit, nil))
		return nil
	case !run.Measurable() || !run.Tester.Is(do.ev.Who):
		do.answer(do.speak.Capacity(file.Suit, &run))
		return nil
	}
	away := do.in != commands.Thread || do.run.ID != run.ID
	sign := do.reply(fmt.Sprintf("%s: go on in the thread of %s.", run.Suit.Tag, run.ID))
	do.run, do.after, do.hasRun = run, run, true
	if err := do.onRun(w); err != nil {
		return err
	}
	if away {
		do.enqueue(sign)
	}
	return nil
}

// keepCapacity keeps a measurement made elsewhere, by an officer's word.
func (do *turn) keepCapacity(w core.Measure, file core.File) error {
	suit := file.Suit
	if !do.isOfficer(do.ev.Who) { // what the air may have done to a test is computed by it
		return &core.Refusal{Why: core.NotAnOfficer, Suit: suit.Tag, Choices: do.officerNames}
	}
	c := core.Capacity{Day: do.bench.Day(do.ev.At), Litres: w.Litres}
	from, err1 := core.Write(w.From, w.Unit)
	to, err2 := core.Write(w.To, w.Unit)
	c.From, c.To = from, to
	if err1 != nil || err2 != nil || !c.Plausible() {
		return &core.Refusal{Why: core.BadCapacity, Suit: suit.Tag, Digits: w.Litres}
	}
	entry := core.Entry{At: do.ev.At, By: do.ev.Who, Event: do.cause(), Suit: suit.Tag, Fact: core.CapacityMeasured{Capacity: c}}
	do.entries = append(do.entries, entry)
	do.changed[suit.Tag] = file.Apply(entry)
	suit.Capacity = c
	do.answer(do.speak.Kept(suit))
	return nil
}
