package rehearsal

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"pgregory.net/rapid"

	"benchbell/core"
)

// A goer goes a random walk: mostly that of a tester who does what is asked,
// with pressures around the limits, and with every slip that people make.
type goer struct {
	*walk
	t *rapid.T
}

func (g *goer) upTo(n int) int { return rapid.IntRange(0, n-1).Draw(g.t, "n") }

// chance is true in so many of a hundred cases.
func (g *goer) chance(percent int) bool { return g.upTo(100) >= 100-percent }

func (g *goer) one(of ...string) string { return of[g.upTo(len(of))] }

// mostly draws the first in the given share of cases, else one of the others.
func (g *goer) mostly(percent int, first string, others ...string) string {
	if g.chance(100 - percent) {
		return g.one(others...)
	}
	return first
}

func (g *goer) say(form string, args ...any) { g.line(fmt.Sprintf(form, args...)) }

func (g *goer) wander() {
	if g.chance(25) {
		g.say("duty.officer dm: suit change HP-07 method=%s", g.one("f1052", "osha"))
	}
	if g.chance(60) { // so that it takes a test that is right
		g.say("crew.member: @benchbell used HP-07 tank 3")
	}
	for range rapid.IntRange(15, 60).Draw(g.t, "steps") {
		if g.fault != "" {
			return
		}
		g.next()
	}
	if g.down {
		g.line("up")
	}
	for _, suit := range []string{"HP-07", "HP-08"} {
		g.say("duty.officer dm: status %s", suit)
	}
}

// guide is the world that the program seems to be in.
func (g *goer) guide() world {
	phases := map[phaseModel]core.Phase{preparing: core.Prepare, inflating: core.Expansion, expanding: core.Expansion, holding: core.Hold, judged: core.Restore, stopped: core.Restore}
	for _, one := range g.worlds {
		agrees := true
		for id, run := range g.engine.Memory().Bench.Runs {
			r := one.runs[int(id)]
			agrees = agrees && phases[r.phase] == run.Phase && r.full.IsZero() == run.ExpandedAt.IsZero()
		}
		if agrees {
			return one
		}
	}
	return g.worlds[0]
}

func (g *goer) next() {
	guide := g.guide()
	var open []int
	for _, id := range g.runs {
		if r := guide.runs[id]; r.closed.IsZero() {
			open = append(open, id)
		}
	}
	switch {
	case g.down && g.chance(40):
		g.line("up")
	case g.chance(12):
		g.aside(guide)
	case len(open) == 0 || len(open) < 2 && g.chance(4):
		g.begin(guide)
	default:
		g.goOn(guide, open[g.upTo(len(open))])
	}
}

func (g *goer) suit() string { return g.mostly(75, "HP-07", "HP-08") }

func (g *goer) begin(guide world) {
	suit, who := g.suit(), g.mostly(75, "bench.tester", "second.tester")
	if len(g.runs) > 0 {
		if ok, why := guide.wearable(suit, g.stage.now, g.stage.zone); !ok && g.chance(60) {
			switch {
			case strings.HasPrefix(why, "fail"):
				g.say("%s: @benchbell %s %s left glove ring", who, g.mostly(70, "repaired", "cause"), suit)
			case strings.HasPrefix(why, "defect"):
				g.say("%s: @benchbell repaired %s new visor", who, suit)
			case strings.HasPrefix(why, "withdrawn"):
				g.say("duty.officer dm: release %s", suit)
			case strings.HasPrefix(why, "retired"):
				g.say("duty.officer dm: reinstate %s found again", suit)
			}
		}
	}
	method := guide.own[suit]
	if g.chance(25) {
		method = g.one("en943", "f1052", "osha")
	}
	gauge := map[string]string{"en943": "M-1", "f1052": "M-2", "osha": "M-3"}[method]
	if g.chance(10) {
		gauge = g.one("M-1", "M-2", "M-3", "M-4")
	}
	g.say("%s: @benchbell test %s %s with %s", who, suit, method, gauge)
}

// pressure writes a pressure as a tester reads it, so many of its gauge's steps
// off.
func pressure(r runModel, nanopascals float64, steps int) string {
	u := gaugeModels[r.gauge]
	digits := len(strings.TrimPrefix(strconv.FormatFloat(u.step, 'f', -1, 64), "0."))
	v := nanopascals/float64(nano[u.unit]) + float64(steps)*u.step
	return strconv.FormatFloat(max(v, 0.01), 'f', digits, 64)
}

// around draws a reading between two pressures, at their ends, or just beyond.
func (g *goer) around(r runModel, tolerance [2]float64) string {
	unit := float64(nano[methodModels[r.method].unit])
	low, high := tolerance[0]*unit, tolerance[1]*unit
	switch g.upTo(12) {
	case 9:
		return pressure(r, low, g.upTo(4)-2)
	case 10:
		return pressure(r, high, g.upTo(4)-1)
	case 11:
		return pressure(r, low+(high-low)*float64(g.upTo(30)-10)/10, 0)
	}
	return pressure(r, (low+high)/2, g.upTo(3)-1)
}

// ending draws an ending pressure around the limit.
func (g *goer) ending(r runModel) string {
	m := methodModels[r.method]
	start := float64(r.hold[0].p)
	limit := start - 3*float64(nano["mbar"])
	switch r.method {
	case "f1052":
		limit = max(80*float64(nano["mm"]), start*0.8)
		if g.chance(30) {
			limit = 80 * float64(nano["mm"])
		}
	case "osha":
		limit = start * 0.8
	}
	_ = m
	switch g.upTo(12) {
	case 6:
		return pressure(r, limit, g.upTo(5)-2)
	case 7:
		return pressure(r, limit, -g.upTo(20))
	case 8:
		return pressure(r, limit, g.upTo(20))
	case 9:
		return pressure(r, limit-(start-limit)*float64(g.upTo(20))/10, 0)
	case 10:
		return pressure(r, start, g.upTo(7)-2)
	case 11:
		return pressure(r, start*0.1, 0)
	}
	return pressure(r, start-(start-limit)*float64(2+g.upTo(7))/10, 0)
}

func (g *goer) until(t time.Time) {
	if t.After(g.stage.now) {
		g.say("+%s", t.Sub(g.stage.now).Round(time.Second))
	}
}

// wait lets time pass, up to a bell or around it.
func (g *goer) wait(bell time.Time, hold time.Duration) {
	switch g.upTo(14) {
	case 8:
		g.until(bell.Add(-time.Duration(1+g.upTo(40)) * time.Second))
	case 9:
		g.until(bell.Add(time.Duration(1+g.upTo(75)) * time.Second))
	case 10:
		g.until(bell.Add(time.Duration(g.upTo(600)) * time.Second))
	case 11:
		g.until(bell.Add(hold + time.Duration(g.upTo(5)-2)*time.Second))
	case 12:
		g.say("+%dm", 1+g.upTo(5))
	case 13:
		g.say("+%dm", 10+g.upTo(200))
	default:
		g.until(bell)
	}
}

func (g *goer) goOn(guide world, id int) {
	r := guide.runs[id]
	who := r.tester
	if g.chance(2) {
		who = g.one("bench.tester", "second.tester", "crew.member")
	}
	post := func(form string, args ...any) { g.say("%s ~R-%04d: %s", who, id, fmt.Sprintf(form, args...)) }
	m := methodModels[r.method]
	if g.chance(4) {
		g.slip(post, guide, r)
		return
	}
	switch r.phase {
	case preparing:
		switch g.upTo(20) {
		case 15:
			post("ok %d %d %d", 1+g.upTo(10), 1+g.upTo(10), 1+g.upTo(10))
		case 16:
			g.say("%s %s %d", g.mostly(80, "tap", "untap"), who, 1+g.upTo(10))
		case 17:
			post("bad %d hole", 1+g.upTo(10))
		case 18:
			post("%s", g.one("stop fire call", "stop", "with M-2", "with M-1", "again", "letting it down"))
		case 19:
			post("%s", g.around(r, m.full))
		default:
			post("ok all")
		}
	case inflating:
		switch g.upTo(20) {
		case 18:
			post("%s", g.one("stop fire call", "with M-2", "with M-4", "again", "letting it down", "175", "1750 Pa"))
		case 16, 17:
			g.correct(guide, id, r)
		default:
			post("%s", g.around(r, m.full))
		}
	case expanding:
		over := r.full.Add(m.expansion)
		if g.stage.now.Before(over) && g.chance(85) {
			g.wait(over, m.hold)
			return
		}
		switch g.upTo(20) {
		case 17:
			post("%s", g.around(r, m.full))
		case 16:
			post("letting it down")
			g.correct(guide, id, r)
		case 18:
			post("%s", g.one("stop zipper", "again", "letting it down", "air 20.0", "baro 1013"))
		case 15, 19:
			g.correct(guide, id, r)
		default:
			post("%s", g.around(r, m.test))
		}
	case holding:
		g.airOfHold(post, r)
		bell := r.hold[0].at.Add(m.hold)
		if g.stage.now.Before(bell) && g.chance(65) {
			g.wait(bell, m.hold)
			return
		}
		switch g.upTo(20) {
		case 13:
			post("air %d.%d", 19+g.upTo(3), g.upTo(10))
		case 14:
			post("baro %d", 1008+g.upTo(10))
		case 15:
			post("%s at %d:%02d", g.ending(r), int(m.hold.Minutes())-g.upTo(2), g.upTo(2)*30)
		case 16:
			post("%s", g.one("again", "again hose came off"))
		case 17:
			g.correct(guide, id, r)
		case 18:
			post("%s", g.one("stop zipper", "note all quiet", "letting it down", "baro 29.92 in", "over to @second.tester"))
		default:
			post("%s", g.ending(r))
		}
	default:
		g.putAway(post, who, guide, id, r)
	}
}

// airOfHold tells the air at the beginning of a hold, or when its bell has rung.
func (g *goer) airOfHold(post func(string, ...any), r runModel) {
	start := r.hold[0].at
	near := g.stage.now.Equal(start) && len(r.air) == 0 || !g.stage.now.Before(start.Add(methodModels[r.method].hold)) && len(r.air) < 2
	if !near || g.chance(75) {
		return
	}
	if g.chance(10) {
		g.say("+%dm", 1+g.upTo(40))
	}
	if g.chance(70) {
		post("air %s", g.one("20.0", "20.1", "20.5", "21", "19.0", "99"))
	} else {
		post("baro %s", g.one("1013", "1012", "1010", "1015", "29.92 in", "29.92", "29.85 in"))
	}
}

func (g *goer) correct(guide world, id int, r runModel) {
	if g.chance(30) {
		g.say("+%ds", 1+g.upTo(400))
	}
	m := methodModels[r.method]
	var p string
	if r.phase == inflating {
		p = g.around(r, m.full)
	} else if len(r.hold) == 0 || len(r.hold) == 1 && g.chance(70) {
		p = g.around(r, m.test)
	} else {
		p = g.ending(r)
	}
	if g.chance(40) {
		g.say("edit %s: %s", r.tester, p)
	} else {
		g.say("%s ~R-%04d: fix %s", r.tester, id, p)
	}
}

func (g *goer) putAway(post func(string, ...any), who string, guide world, id int, r runModel) {
	switch g.upTo(24) {
	case 13:
		post("bad %d diaphragm torn", 1+g.upTo(7))
	case 14, 15:
		if len(r.hold) > 0 {
			g.correct(guide, id, r)
		}
	case 16:
		if len(r.hold) > 0 {
			post("%s", g.ending(r))
		}
	case 17:
		post("%s", g.one("again", "again hose came off"))
	case 18:
		post("%s", g.one("air 20.5", "air 20.0", "baro 1013", "nothing fitted", "leak left knee", "stop", "note done"))
	case 19:
		post("undo %d", 1+g.upTo(7))
	case 20:
		g.say("%s %s %d", g.mostly(80, "tap", "untap"), who, 1+g.upTo(7))
	case 21:
		post("%s", g.one("ok", "ok 3-7"))
	case 22:
		g.say("+%ds", 1+g.upTo(300))
	case 23:
		if r.outcome == repeat {
			post("again")
		}
	default:
		for _, n := range tickedAlone {
			if r.unplugged[n] == "" && g.chance(60) {
				post("ok %d", n)
				return
			}
		}
		post("ok all")
	}
}

// slip is something else than what is asked, in the run's thread.
func (g *goer) slip(post func(string, ...any), guide world, r runModel) {
	switch g.upTo(6) {
	case 0:
		post("where")
	case 1:
		g.say("+%ds", 1+g.upTo(130))
	case 2:
		g.say("edit %s: %s", r.tester, g.around(r, methodModels[r.method].test))
	case 3:
		post("stop fire call")
	case 4:
		g.say("+%dh", 1+g.upTo(30))
	case 5:
		post("%s", g.one("15,1", "yes", "ok", "16.5 mbar", "168 mm", "fix 16.5", "9999"))
	}
}

// aside is what happens beside a run.
func (g *goer) aside(guide world) {
	suit := g.suit()
	who := g.mostly(60, "crew.member", "bench.tester", "second.tester", "duty.officer")
	day := func() string { return g.stage.now.In(g.stage.zone).AddDate(0, 0, -g.upTo(40)).Format("2006-01-02") }
	switch g.upTo(17) {
	case 16:
		g.say("%s: @benchbell %s", who, g.one("used HP-07 & 08", "used HP-07, 08", "used HP-07 and 08", "used HP-07, at the farm, HP-08 too", "found HP-07 and HP-08 torn"))
	case 0:
		g.say("%s: @benchbell used %s tank 3", who, suit)
	case 1:
		g.say("%s: @benchbell found %s exhaust valve diaphragm torn", who, suit)
	case 2, 3:
		g.say("%s: @benchbell repaired %s %s", who, suit, g.one("left glove", "1: left glove", "2: visor"))
	case 4:
		g.say("%s: @benchbell cause %s inflation hose", who, suit)
	case 5:
		g.say("%s: @benchbell withdraw %s recall", who, suit)
	case 6:
		g.say("%s: @benchbell release %s", g.one("duty.officer", who), suit)
	case 7:
		if g.chance(30) {
			g.say("%s: @benchbell retire %s too old", g.one("duty.officer", who), suit)
		}
	case 8:
		g.say("%s: @benchbell reinstate %s found again", g.one("duty.officer", who), suit)
	case 9, 10:
		method := g.one("en943", "f1052", "osha")
		m := methodModels[method]
		gauge := map[string]string{"en943": "M-1", "f1052": "M-2", "osha": "M-3"}[method]
		if g.chance(10) {
			gauge = "M-4"
		}
		r := runModel{method: method, gauge: gauge}
		unit := gaugeModels[gauge].unit
		start := g.around(r, m.test)
		p, step := pressureModel(start, unit)
		r.hold = []readModel{{p: p, step: step}}
		end := g.ending(r)
		minutes := int(m.hold.Minutes())
		if g.chance(20) {
			minutes += g.upTo(12) - 4
		}
		g.say("attach duty.officer %s_%s_%s_%s_%s%s_%s%s_%d.csv", day(), suit, method, gauge, start, unit, end, unit, max(minutes, 1))
		g.say("duty.officer dm: import")
	case 11:
		if !g.down {
			g.line("restart")
		}
	case 12:
		if !g.down {
			g.line("down")
		}
	case 13:
		g.say("+%dh", 1+g.upTo(72))
	case 14:
		at := g.stage.now.In(g.stage.zone).AddDate(0, 1+g.upTo(12), g.upTo(3)-1)
		if at.Year() < 2036 {
			g.say("at %s %s", at.Format("2006-01-02"), g.one("08:30", "00:00", "23:59:59", "23:50"))
		}
	case 15:
		g.say("duty.officer dm: status %s", suit)
	}
}
