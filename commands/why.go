package commands

import (
	"fmt"

	"benchbell/core"
	"benchbell/core/estimate"
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
		s.certainty(run, v),
		s.leakOf(run, v),
		s.limitOf(run),
		measurable(run),
	)
}

// measurable offers to measure the capacity, where nothing is known of it.
func measurable(run core.Run) string {
	if !run.Measurable() || !run.KnownCapacity().IsZero() || run.Metering.Open() {
		return ""
	}
	return code("capacity") + " measures how much air it takes: then the leak has a size."
}

// certainty words the uncertainty of a verdict, and what it is made of.
func (s Speaker) certainty(run core.Run, v core.Verdict) string {
	b, ok := run.Evidence(v).Budget()
	if !ok {
		return ""
	}
	u := run.Method.Unit
	what := "Margin to the limit"
	low, high := b.Interval()
	if !run.Method.Limit.Drop.IsZero() {
		what = "Drop"
		low, high = v.Allowed.Pascals()-high, v.Allowed.Pascals()-low
	}
	sure := ""
	if v.Outcome != core.NoVerdict {
		sure = fmt.Sprintf("; %s sure that it is within the limit", percent(b.Conforms()))
	}
	out := []string{fmt.Sprintf("%s known to ± %s %s (k = 2)%s. Rule: %s.", what, pascals(b.Expanded(), u), u, sure, v.Rule)}
	for _, c := range b.Components {
		if 50*c.U < b.Combined() {
			continue // of no weight
		}
		out = append(out, fmt.Sprintf("- %s: %s %s", c.Origin, fine(c.U, u), u))
	}
	for _, o := range b.LeftOut {
		out = append(out, fmt.Sprintf("- %s: not known, not in it", o))
	}
	out = append(out, fmt.Sprintf("With 95 %% it was %s to %s %s.", pascals(low, u), pascals(high, u), u), airKnown(b, u))
	return lines(append(out, airEffect(run, v))...)
}

// airKnown says how well it is known what the air around the suit did of a drop.
func airKnown(b estimate.Budget, u core.Unit) string {
	out := []string{fmt.Sprintf("What the air did is known to ± %s %s (k = 2):", pascals(b.AirExpanded(), u), u)}
	for i, c := range b.Air {
		end := ";"
		if i == len(b.Air)-1 {
			end = "."
		}
		out = append(out, fmt.Sprintf("%s: %s %s%s", c.Origin, fine(c.U, u), u, end))
	}
	return lines(out...)
}

// percent prints a probability without claiming more than it knows.
func percent(p float64) string {
	switch {
	case p > 0.999:
		return "over 99.9 %"
	case p < 0.001:
		return "under 0.1 %"
	}
	return fmt.Sprintf("%.1f %%", 100*p)
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
		if !l.Nominal.IsZero() {
			limit += fmt.Sprintf(", or %s/%s of a start above %s", l.Floor.Digits, l.Nominal.Digits, l.Nominal)
		}
	default:
		limit = fmt.Sprintf("ending at least %d/%d of the start", l.Num, l.Den)
	}
	return fmt.Sprintf("%s: %s in %s.\nSource: %s", m.Title, limit, span(m.Hold), m.Source)
}
