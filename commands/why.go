package commands

import (
	"fmt"

	"benchbell/core"
)

// Why answers what a run's verdict rests on: more than the verdict itself says,
// for those who ask.
func (s Speaker) Why(run core.Run) string {
	if run.Verdict == nil {
		return lines("There is no verdict yet.", s.limitOf(run))
	}
	v := *run.Verdict
	return lines(
		bold(string(v.Outcome))+": "+s.why(run, v),
		figures(run, v),
		s.limitOf(run),
	)
}

// limitOf says what the method demands, and where that comes from.
func (s Speaker) limitOf(run core.Run) string {
	m := run.Method
	limit := ""
	switch l := m.Limit; {
	case !l.Drop.IsZero():
		limit = fmt.Sprintf("drop at most %s", l.Drop)
	case !l.Floor.IsZero():
		limit = fmt.Sprintf("ending at least %s", l.Floor)
	default:
		limit = fmt.Sprintf("ending at least %d/%d of the start", l.Num, l.Den)
	}
	return fmt.Sprintf("%s: %s in %s.\nSource: %s", m.Title, limit, span(m.Hold), m.Source)
}
