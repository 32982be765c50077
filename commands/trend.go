package commands

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"benchbell/core"
	"benchbell/core/estimate"
)

// share returns the drop of a test as a share of the drop that its limit
// allowed, so that tests from different starts compare. ok is false for a test
// that measured none at the bell.
func (t Tested) share() (share float64, ok bool) {
	late := t.Reason == core.LateWithin || t.Reason == core.Bracketed
	if t.End.IsZero() || t.Start.IsZero() || t.Outcome == core.NoVerdict || late {
		return 0, false
	}
	start := t.Start.Pressure()
	allowed := t.Method.Limit.GreatestDrop(start)
	if allowed <= 0 {
		return 0, false
	}
	return (start - t.End.Pressure()).Pascals() / allowed.Pascals(), true
}

// ofMethod returns the drops of the tests by one method since the suit was last
// repaired: a repair makes another suit of it, and what it did before would
// hide a drop that rises since.
func ofMethod(all []Tested, key string) []core.PastTest {
	var past []core.PastTest
	for _, t := range all {
		if share, ok := t.share(); ok && t.Method.Key == key && t.Repaired.IsZero() {
			past = append(past, core.PastTest{Day: t.Day, Drop: share})
		}
	}
	return past
}

// Trends returns what can be said of a suit's tests since its last repair,
// method by method: tests by different methods are never mixed.
func Trends(all []Tested) []MethodTrend {
	var trends []MethodTrend
	seen := make(map[string]bool)
	for _, t := range all {
		if seen[t.Method.Key] {
			continue
		}
		seen[t.Method.Key] = true
		past := ofMethod(all, t.Method.Key)
		if len(past) == 0 {
			continue
		}
		byDay := func(a, b core.PastTest) int { return a.Day.Compare(b.Day) }
		m := MethodTrend{
			Method: t.Method, Trend: core.TrendOf(past, 1),
			First: slices.MinFunc(past, byDay).Day, Last: slices.MaxFunc(past, byDay).Day,
		}
		for _, t := range all {
			if t.Method.Key == m.Method.Key && m.Repaired.Before(t.Repaired) {
				m.Repaired = t.Repaired
			}
		}
		trends = append(trends, m)
	}
	return trends
}

// MethodTrend is the trend of a suit's tests by one method.
type MethodTrend struct {
	Method      core.Method
	Trend       core.Trend
	First, Last core.Date // days of the tests it is of
	Repaired    core.Date // earlier tests were before this repair; zero if there are none
}

// words says a trend in a line.
func (m MethodTrend) words() string {
	t, key := m.Trend, m.Method.Key
	if !m.Repaired.IsZero() {
		key += ", since the repair of " + m.Repaired.String()
	}
	perYear := fmt.Sprintf("%+.0f %% of the limit a year", 100*t.PerYear())
	switch t.Tendency {
	case estimate.TooFewTests:
		return fmt.Sprintf("%s: %s too few for a trend.", key, testsAre(t.Tests))
	case estimate.NoTrend:
		return fmt.Sprintf("%s: no trend in %d tests.", key, t.Tests)
	case estimate.Falling:
		return fmt.Sprintf("%s: the drop falls, %s.", key, perYear)
	}
	text := fmt.Sprintf("%s: the drop rises, %s", key, perYear)
	if t.Reaches.IsZero() {
		return text + "; the limit is not in sight."
	}
	until := "later"
	if !t.Latest.IsZero() {
		until = fmt.Sprint(t.Latest.Year)
	}
	return text + fmt.Sprintf(";\nit would reach the limit in %d (%d to %s).", t.Reaches.Year, t.Earliest.Year, until)
}

func testsAre(n int) string {
	if n == 1 {
		return "1 test is"
	}
	return fmt.Sprintf("%d tests are", n)
}

// leastUnsure is the least standard uncertainty of a drop, as a share of the
// limit, that a departure from a suit's history is measured against: what
// rounding and a third of a kelvin in a limp suit make of 3.0 mbar. Ours.
const leastUnsure = 0.03

// departure points out a pass that is not in line with the suit's history.
func departure(all []Tested, m core.Method) string {
	last := core.OutlierOf(ofMethod(all, m.Key), leastUnsure)
	if last.Departure != estimate.Above {
		return ""
	}
	return fmt.Sprintf("A bigger drop than before: %.0f %% of the limit, %.0f %% expected. Look the suit over.",
		100*(last.Expected+last.Off), 100*last.Expected)
}

// muchLess is the share of a suit's usual drop below which a drop is so small that
// the gauge may have been shut off. Ours.
const muchLess = 1.0 / 4

// noDrop asks whether the gauge line was open, where the pressure did not fall, or
// fell much less than this suit's ever did.
func noDrop(run core.Run, v core.Verdict, all []Tested) string {
	const ask = "Was the gauge line open, and the hose in the suit?"
	if v.End.N == 0 {
		return ""
	}
	if v.Drop <= run.Manometer.Resolution.Pressure() {
		return "No drop at all. " + ask
	}
	others := slices.DeleteFunc(slices.Clone(all), func(t Tested) bool { return t.Run == run.ID })
	past := ofMethod(others, run.Method.Key)
	if len(past) == 0 {
		return ""
	}
	least := slices.MinFunc(past, func(a, b core.PastTest) int { return cmp.Compare(a.Drop, b.Drop) })
	if v.Drop.Pascals() >= muchLess*least.Drop*v.Allowed.Pascals() {
		return ""
	}
	return "Much less than ever before. " + ask
}

func trendLines(all []Tested) string {
	var out []string
	for _, m := range Trends(all) {
		out = append(out, m.words())
	}
	return strings.Join(out, "\n")
}
