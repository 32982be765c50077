package commands

import (
	"fmt"

	"benchbell/core"
)

func nowRunBy(run core.Run, p core.Person) string {
	return fmt.Sprintf("%s is now %s's run.", run.ID, p.Name)
}

// takeoverOf returns the takeover of a step: a run that its tester did not hand over.
func takeoverOf(st Step) (core.HandedOver, bool) {
	for _, fact := range st.Facts {
		if f, ok := fact.(core.HandedOver); ok && f.Why != "" {
			return f, true
		}
	}
	return core.HandedOver{}, false
}

// takenOver says from whom a run was taken over, and why that was allowed.
func (s Speaker) takenOver(st Step) string {
	f, ok := takeoverOf(st)
	if !ok {
		return ""
	}
	why := "by an officer"
	switch f.Why {
	case core.TakeoverDeactivated:
		why = "the account is deactivated"
	case core.TakeoverSilent:
		why = "silent since " + s.clock(st.Before.Heard)
	}
	return fmt.Sprintf("Taken over from %s: %s.", st.Before.Tester.Name, why)
}

// mentions calls the new and the old tester of a run that was taken over. A
// deactivated account hears nothing.
func mentions(st Step) string {
	f, ok := takeoverOf(st)
	switch {
	case !ok:
		return ""
	case f.Why == core.TakeoverDeactivated:
		return at(f.To)
	}
	return at(f.To) + " " + at(st.Before.Tester)
}

// busy says which other run has the manometer of a run that was just opened. The
// suit can be prepared meanwhile.
func (s Speaker) busy(run, holder core.Run) string {
	if holder.ID == 0 {
		return ""
	}
	until := ""
	if free := holder.FreesManometer(); !free.IsZero() {
		until = " until about " + s.clock(free)
	}
	return lines(fmt.Sprintf("%s is in %s (%s, %s)%s.", run.Manometer.ID, holder.ID, holder.Suit.Tag, holder.Tester.Name, until),
		fmt.Sprintf("Prepare meanwhile, or say %s for another.", code("with …")))
}
