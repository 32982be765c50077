package engine

import (
	"benchbell/commands"
	"benchbell/core"
)

// measure begins a measurement of a suit's capacity in the run that is open on
// it, keeps one that was made elsewhere, or says what is known.
func (t *turn) measure(w core.Measure) error {
	if w.Suit == "" {
		if !t.hasRun {
			return t.noRunHere()
		}
		w.Suit = t.run.Suit.Tag
	}
	file, err := t.findSuit(w.Suit)
	if err != nil {
		return err
	}
	if w.Litres != "" {
		return t.keepCapacity(w, file)
	}
	run, open := t.bench.OnSuit(file.Suit.Tag)
	switch {
	case !open:
		t.answer(t.speak.Capacity(file.Suit, nil))
		return nil
	case !run.Measurable() || !run.Tester.Is(t.ev.Who):
		t.answer(t.speak.Capacity(file.Suit, &run))
		return nil
	}
	away := t.in != commands.Thread || t.run.ID != run.ID
	sign := t.whereSaid(commands.GoOnInThread(run))
	t.run, t.after, t.hasRun = run, run, true
	if err := t.onRun(w); err != nil {
		return err
	}
	if away {
		t.enqueue(sign)
	}
	return nil
}

// keepCapacity keeps a measurement made elsewhere, by an officer's word.
func (t *turn) keepCapacity(w core.Measure, file core.File) error {
	suit := file.Suit
	if !t.isOfficer(t.ev.Who) { // what the air may have done to a test is computed by it
		return &core.Refusal{Why: core.NotAnOfficer, Suit: suit.Tag, Choices: t.officerNames()}
	}
	c := core.Capacity{Day: t.bench.Day(t.ev.At), Litres: w.Litres}
	from, err1 := core.Write(w.From, w.Unit)
	to, err2 := core.Write(w.To, w.Unit)
	c.From, c.To = from, to
	if err1 != nil || err2 != nil || !c.Plausible() {
		return &core.Refusal{Why: core.BadCapacity, Suit: suit.Tag, Digits: w.Litres}
	}
	entry := core.Entry{At: t.ev.At, By: t.ev.Who, Event: t.cause(), Suit: suit.Tag, Fact: core.CapacityMeasured{Capacity: c}}
	t.entries = append(t.entries, entry)
	t.changed[suit.Tag] = file.Apply(entry)
	suit.Capacity = c
	t.answer(t.speak.Kept(suit))
	return nil
}
