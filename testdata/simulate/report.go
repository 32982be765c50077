package main

import (
	"fmt"
	"io"

	"benchbell/core"
)

// print writes the tables, and the command that makes them.
func (t tally) print(out io.Writer, command string, methods []core.Method) error {
	_, err := fmt.Fprintf(out, `%d tests of invented suits, by `+"`%s`"+`.

%s
False pass: passes of the suits that, in steady air and exactly at the bell, are beyond the limit.
False fail: fails of those that are within. Six suits in ten are drawn near the limit: where fewer
are, both are rarer. U: its mean. U holds: the margin as it really was is within ± U of the one
measured. Just beyond: passes of the suits that are beyond the limit by U at most, in steady air; and
in the air as it was, since two pressures cannot tell a leak from a change of the air.

%s
%s
%s
%s
%s`,
		t.of(kind{by: byAll, rule: core.Simple}).passed.of, command,
		t.byGauge(methods), t.byShare(), t.byGive(), t.byReading(), t.byForecast(), t.aims())
	return err
}

// byGauge is the table by method, manometer and rule.
func (t tally) byGauge(methods []core.Method) *table {
	tab := &table{words: 3, header: []string{
		"method", "manometer", "rule", "false pass", "false fail", "no verdict", "U, Pa", "U holds",
		"just beyond, steady air", "just beyond, as it was",
	}}
	row := func(method, gauge string, k kind) {
		f := t.of(k)
		tab.row(method, gauge, name(k.rule), f.falsePass.String(), f.falseFail.String(), f.undecided.String(),
			f.expanded.String(), f.holds.String(), f.edge.String(), f.realEdge.String())
	}
	for _, m := range methods {
		for _, g := range gauges {
			for _, rule := range rules {
				row(m.Key, g.name, kind{byGauge, m.Key, g.name, rule})
			}
		}
	}
	for _, rule := range rules {
		row("all", "all", kind{by: byAll, rule: rule})
	}
	return tab
}

func name(rule core.Acceptance) string {
	if rule == core.Guarded {
		return "guarded"
	}
	return "simple"
}

// byShare is the table by how large the true drop is.
func (t tally) byShare() *table {
	tab := &table{words: 1, header: []string{"true drop, of what is allowed", "tests"}}
	for _, rule := range rules {
		tab.header = append(tab.header, name(rule)+": pass", "fail", "no verdict")
	}
	for i := range len(shares) - 1 {
		var cells []string
		for _, rule := range rules {
			f := t.of(kind{by: byShare, which: shareName(i), rule: rule})
			if cells == nil {
				cells = []string{shareName(i), fmt.Sprint(f.passed.of)}
			}
			cells = append(cells, f.passed.String(), f.failed.String(), f.undecided.String())
		}
		tab.row(cells...)
	}
	return tab
}

// byGive is the table by how stiff the suit is and whether the air was noted.
func (t tally) byGive() *table {
	tab := &table{words: 2, header: []string{"suit", "air", "tests"}}
	for _, rule := range rules {
		tab.header = append(tab.header, name(rule)+": false pass", "false fail", "no verdict", "just beyond, steady air")
	}
	for _, suits := range []string{stiff, medium, limp} {
		for _, air := range []string{noted, unnoted} {
			cells := []string{suits, air, ""}
			for _, rule := range rules {
				f := t.of(kind{byGive, suits, air, rule})
				cells[2] = fmt.Sprint(f.passed.of)
				cells = append(cells, f.falsePass.String(), f.falseFail.String(), f.undecided.String(), f.edge.String())
			}
			tab.row(cells...)
		}
	}
	return tab
}

// byReading is the table by how the ending pressure was read.
func (t tally) byReading() *table {
	tab := &table{words: 1, header: []string{"ending pressure read", "tests", "false pass", "false fail", "no verdict", "U holds"}}
	for _, which := range endings {
		f := t.of(kind{by: byReading, which: which, rule: core.Simple})
		tab.row(which, fmt.Sprint(f.passed.of), f.falsePass.String(), f.falseFail.String(), f.undecided.String(), f.holds.String())
	}
	return tab
}

// byForecast is the table of what is told of the pressure at the bell, by
// manometer: beforehand, from readings in the hold, and afterwards, from
// readings before and after the bell.
func (t tally) byForecast() *table {
	tab := &table{words: 1, header: []string{
		"manometer", "forecasts", "± Pa", "95 % interval holds", "late", "± Pa", "95 % interval holds",
	}}
	row := func(gauge string, k kind) {
		f := t.of(k)
		tab.row(gauge, fmt.Sprint(f.forecast.of), f.width.String(), f.forecast.String(),
			fmt.Sprint(f.late.of), f.lateWidth.String(), f.late.String())
	}
	for _, g := range gauges {
		row(g.name, kind{by: byForecast, which: g.name, rule: core.Simple})
	}
	row("all", kind{by: byAll, rule: core.Simple})
	return tab
}

// aims holds what was measured against what it should be.
func (t tally) aims() *table {
	tab := &table{words: 4, header: []string{"aim", "should be", "is", ""}}
	aim := func(what string, low, high float64, is rate) {
		verdict := "met"
		switch {
		case is.of == 0:
			verdict = "no case"
		case is.share() < low || is.share() > high:
			verdict = "missed"
		}
		tab.row(what, fmt.Sprintf("%.1f to %.1f %%", 100*low, 100*high), is.String(), verdict)
	}
	simple, guarded := t.of(kind{by: byAll, rule: core.Simple}), t.of(kind{by: byAll, rule: core.Guarded})
	low, high := t.extremes(core.Simple, func(f *figures) rate { return f.holds })
	_, steadyWorst := t.extremes(core.Guarded, func(f *figures) rate { return f.edge })
	_, realWorst := t.extremes(core.Guarded, func(f *figures) rate { return f.realEdge })
	const least, most, risk = 0.94, 0.96, 0.025
	aim("± U holds the margin", least, most, simple.holds)
	aim("… where it does so least, of method and manometer", least, most, low)
	aim("… where it does so most", least, most, high)
	aim("± U holds it, readings around the bell", least, most, t.of(kind{by: byReading, which: readAround, rule: core.Simple}).holds)
	aim("forecast's 95 % interval holds", least, most, simple.forecast)
	aim("95 % interval from readings around the bell holds", least, most, simple.late)
	aim("guarded rule passes just beyond, as it was", 0, risk, guarded.realEdge)
	aim("… worst of method and manometer", 0, risk, realWorst)
	aim("guarded rule passes just beyond, steady air", 0, risk, guarded.edge)
	aim("… worst of method and manometer", 0, risk, steadyWorst)
	aim("… stiff suits, air not noted", 0, risk, t.of(kind{byGive, stiff, unnoted, core.Guarded}).edge)
	return tab
}

// extremes returns the lowest and the highest of a rate by method and
// manometer, of those with enough runs to tell.
func (t tally) extremes(rule core.Acceptance, of func(*figures) rate) (low, high rate) {
	for k, f := range t {
		r := of(f)
		if k.by != byGauge || k.rule != rule || r.of < enough {
			continue
		}
		if low.of == 0 || r.less(low) {
			low = r
		}
		if high.of == 0 || high.less(r) {
			high = r
		}
	}
	return low, high
}
