package main

import (
	"fmt"
	"io"

	"benchbell/core"
)

// print writes the tables, and the command that makes them; a brief print is
// the first of them.
func (t tally) print(out io.Writer, command string, methods []core.Method, brief bool) error {
	_, err := fmt.Fprintf(out, `%d tests of invented suits, by `+"`%s`"+`.

%s
Of the suits beyond the limit by so much of the drop allowed, in steady air and exactly at the bell,
so many pass a single test:

%s
And so many are cleared unmended, after all that is done about them, in six runs at most. Sound: how
many of those within the limit are cleared. Runs: their mean number.

%s`,
		t.of(kind{by: byAll, rule: core.Simple}).passed.of, command, t.aims(), t.byBand(methods, brief), t.byPerson())
	if err != nil || brief {
		return err
	}
	_, err = fmt.Fprintf(out, `
False pass: passes of the suits that are beyond the limit. False fail: fails of those that are
within. Six suits in ten are drawn near the limit: where fewer are, both are rarer. U: its mean.
Holds: the margin as it really was is within. Just beyond: passes of the suits that are beyond the
limit by U at most, in steady air.

%s
%s
%s
%s
%s`, t.byGauge(methods), t.byShare(), t.byGive(), t.byReading(), t.byForecast())
	return err
}

// byBand is the table of passes just beyond the limit, in brief of all and of the
// worst method and manometer.
func (t tally) byBand(methods []core.Method, brief bool) *table {
	tab := &table{words: 3, header: append([]string{"method", "manometer", "rule"}, bandNames[:]...)}
	row := func(method, gauge string, k kind) {
		cells := []string{method, gauge, name(k.rule)}
		for _, r := range t.of(k).beyond {
			cells = append(cells, r.String())
		}
		tab.row(cells...)
	}
	for _, rule := range rules {
		if !brief {
			for _, m := range methods {
				for _, g := range gauges {
					row(m.Key, g.name, kind{byGauge, m.Key, g.name, rule})
				}
			}
		}
		row("all", "all", kind{by: byAll, rule: rule})
		cells := []string{"worst", "", name(rule)}
		for i := range bandNames {
			_, worst := t.extremes(byGauge, rule, func(f *figures) rate { return f.beyond[i] })
			cells = append(cells, worst.String())
		}
		tab.row(cells...)
	}
	return tab
}

// byPerson is the table of suits cleared, by what people do.
func (t tally) byPerson() *table {
	tab := &table{words: 1, header: append(append([]string{"what people do"}, bandNames[:]...), "guarded, "+bandNames[0], "sound", "runs")}
	for _, p := range people {
		f, g := t.of(kind{byPerson, p.who, "", core.Simple}), t.of(kind{byPerson, p.who, "", core.Guarded})
		cells := []string{p.who}
		for _, r := range f.beyond {
			cells = append(cells, r.String())
		}
		tab.row(append(cells, g.beyond[0].String(), f.sound.String(), f.runs.String())...)
	}
	return tab
}

// byGauge is the table by method and manometer.
func (t tally) byGauge(methods []core.Method) *table {
	tab := &table{words: 2, header: []string{
		"method", "manometer", "false pass", "false fail", "no verdict", "U, Pa", "± U holds", "95 % holds",
		"forecast holds", "guarded, just beyond",
	}}
	row := func(method, gauge string, k kind) {
		f := t.of(k)
		k.rule = core.Guarded
		g := t.of(k)
		tab.row(method, gauge, f.falsePass.String(), f.falseFail.String(), f.undecided.String(), f.expanded.String(),
			f.holds.String(), f.interval.String(), f.forecast.String(), g.edge.String())
	}
	for _, m := range methods {
		for _, g := range gauges {
			row(m.Key, g.name, kind{byGauge, m.Key, g.name, core.Simple})
		}
	}
	row("all", "all", kind{by: byAll, rule: core.Simple})
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
	tab := &table{words: 3, header: []string{"rule", "suit", "air", "tests", "false pass", "false fail", "no verdict", "just beyond"}}
	for _, rule := range rules {
		for _, suits := range []string{stiff, medium, limp} {
			for _, air := range []string{noted, unnoted} {
				f := t.of(kind{byGive, suits, air, rule})
				tab.row(name(rule), suits, air, fmt.Sprint(f.passed.of), f.falsePass.String(), f.falseFail.String(), f.undecided.String(), f.edge.String())
			}
		}
	}
	return tab
}

// byReading is the table by how the ending pressure was read.
func (t tally) byReading() *table {
	tab := &table{words: 1, header: []string{"ending pressure read", "tests", "false pass", "false fail", "no verdict", "± U holds", "95 % holds"}}
	for _, which := range endings {
		f := t.of(kind{by: byReading, which: which, rule: core.Simple})
		tab.row(which, fmt.Sprint(f.passed.of), f.falsePass.String(), f.falseFail.String(), f.undecided.String(), f.holds.String(), f.interval.String())
	}
	return tab
}

// byForecast is the table of what is told of the pressure at the bell, by
// manometer, from readings in the hold.
func (t tally) byForecast() *table {
	tab := &table{words: 1, header: []string{
		"manometer", "forecasts", "± Pa", "95 % interval holds",
	}}
	row := func(gauge string, k kind) {
		f := t.of(k)
		tab.row(gauge, fmt.Sprint(f.forecast.of), f.width.String(), f.forecast.String())
	}
	for _, g := range gauges {
		row(g.name, kind{by: byForecast, which: g.name, rule: core.Simple})
	}
	row("all", kind{by: byAll, rule: core.Simple})
	return tab
}

// aims holds what was measured against what it should be. An interval of 95 % is
// to hold in 94 to 96 of a hundred, of every method and manometer in 93 to 97; an
// expanded uncertainty of k = 2 holds more than 95 % where one bound outweighs the
// others.
func (t tally) aims() *table {
	tab := &table{words: 4, header: []string{"aim", "should be", "is", ""}}
	aim := func(what string, low, high float64, is rate) {
		verdict := "met"
		switch {
		case is.of < enough:
			verdict = "no case"
		case is.share() < low || is.share() > high:
			verdict = "missed"
		}
		bounds := fmt.Sprintf("%.1f to %.1f %%", 100*low, 100*high)
		if high == 1 {
			bounds = fmt.Sprintf("%.1f %% or more", 100*low)
		}
		tab.row(what, bounds, is.String(), verdict)
	}
	simple, guarded := t.of(kind{by: byAll, rule: core.Simple}), t.of(kind{by: byAll, rule: core.Guarded})
	covers := func(what, by string, of func(*figures) rate) {
		low, high := t.extremes(by, core.Simple, of)
		aim(what, overall.least, overall.most, of(simple))
		aim("… least, by "+by, each.least, each.most, low)
		aim("… most", each.least, each.most, high)
	}
	interval := func(f *figures) rate { return f.interval }
	least, _ := t.extremes(byGauge, core.Simple, interval)
	aim("95 % interval of the drop holds", overall.least, 1, simple.interval)
	aim("… least, by "+byGauge, each.least, 1, least)
	covers("forecast's 95 % interval holds", byGauge, func(f *figures) rate { return f.forecast })
	holds, _ := t.extremes(byGauge, core.Simple, func(f *figures) rate { return f.holds })
	aim("± U (k = 2) holds the drop", overall.least, 1, simple.holds)
	aim("… least, by "+byGauge, overall.least, 1, holds)
	for _, c := range []circumstances{slowly, curved} {
		low, _ := t.extremes(byGauge+c.name, core.Simple, interval)
		aim("95 % interval, "+c.name, overall.least, 1, t.of(kind{byAll, c.name, "", core.Simple}).interval)
		aim("… least, by "+byGauge, each.least, 1, low)
	}
	_, worst := t.extremes(byGauge, core.Guarded, func(f *figures) rate { return f.edge })
	const risk = 0.025
	aim("guarded rule passes just beyond", 0, risk, guarded.edge)
	aim("… most, by "+byGauge, 0, risk, worst)
	return tab
}

// band is between which shares a 95 % interval is to hold.
type band struct{ least, most float64 }

var (
	overall = band{0.94, 0.96}
	each    = band{0.93, 0.97}
)

// extremes returns the lowest and the highest of a rate, of the kinds told apart
// by something that have enough runs to tell.
func (t tally) extremes(by string, rule core.Acceptance, of func(*figures) rate) (low, high rate) {
	for k, f := range t {
		r := of(f)
		if k.by != by || k.rule != rule || r.of < enough {
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
