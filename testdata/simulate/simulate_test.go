package main

import (
	"math/rand/v2"
	"runtime"
	"strings"
	"testing"

	"benchbell/core"
)

// printed returns what the program prints.
func printed(t *testing.T, args ...string) string {
	t.Helper()
	var out, complaints strings.Builder
	if err := run(args, &out, &complaints); err != nil {
		t.Fatalf("%v: %v", args, err)
	}
	return out.String()
}

// TestReproducible checks that the same flags print the same tables, on however
// many processors, and another seed others.
func TestReproducible(t *testing.T) {
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(0))
	want := printed(t, "-runs", "160", "-seed", "5")
	for _, processors := range []int{1, 2, 7} {
		runtime.GOMAXPROCS(processors)
		if got := printed(t, "-runs", "160", "-seed", "5"); got != want {
			t.Errorf("on %d processors:\n%s\nbefore:\n%s", processors, got, want)
		}
	}
	if got := printed(t, "-runs", "160", "-seed", "6"); got == strings.ReplaceAll(want, "-seed 5", "-seed 6") {
		t.Error("another seed gives the same tables")
	}
}

// TestCoverage plays 4,500 runs of a fixed seed, with as many stories, and checks
// that what is said with a probability comes true as often, that no more suits
// beyond the limit get by than the README says, and that nothing is off by far. What
// the rates are exactly is for the tables to say.
func TestCoverage(t *testing.T) {
	const seed, many = 1, 4500
	t.Logf("seed %d, %d runs", seed, many)
	all, err := simulate(seed, many, core.BuiltIn())
	if err != nil {
		t.Fatal(err)
	}
	simple, guarded := all.of(kind{by: byAll, rule: core.Simple}), all.of(kind{by: byAll, rule: core.Guarded})
	interval := func(f *figures) rate { return f.interval }
	intervalLeast, _ := all.extremes(byGauge, core.Simple, interval)
	forecastLeast, forecastMost := all.extremes(byGauge, core.Simple, func(f *figures) rate { return f.forecast })
	under := func(c circumstances) rate { return all.of(kind{byAll, c.name, "", core.Simple}).interval }
	cleared := func(who string) *figures { return all.of(kind{byPerson, who, "", core.Simple}) }
	late := all.of(kind{by: byReading, which: readLost, rule: core.Simple})
	for _, tt := range []struct {
		what      string
		is        rate
		low, high float64
	}{
		{"95 % interval of the drop holds", simple.interval, 0.95, 0.98},
		{"the same, least of method and manometer", intervalLeast, 0.925, 0.975},
		{"the same, typing twice as long", under(slowly), 0.82, 0.95},
		{"the same, a curved error", under(curved), 0.89, 0.97},
		{"95 % interval of the forecast holds", simple.forecast, 0.935, 0.975},
		{"the same, least of method and manometer", forecastLeast, 0.89, 0.965},
		{"the same, most", forecastMost, 0.94, 1},
		{"± U (k = 2) holds", simple.holds, 0.955, 0.985},
		{"guarded passes just beyond, as it was", guarded.realEdge, 0, 0.005},
		{"guarded passes just beyond, steady air", guarded.edge, 0, 0.012},
		{"tests beyond the limit, of all", rate{simple.falsePass.of, simple.passed.of}, 0.35, 0.75},
		{"false pass, simple", simple.falsePass, 0, 0.05},
		{"false pass, 0 to 5 % beyond", simple.beyond[0], 0.08, 0.22},
		{"false pass, 5 to 10 % beyond", simple.beyond[1], 0.01, 0.09},
		{"false pass, 10 to 20 % beyond", simple.beyond[2], 0, 0.045},
		{"false pass, more beyond", simple.beyond[3], 0, 0.012},
		{"false pass, guarded, 0 to 5 % beyond", guarded.beyond[0], 0, 0.025},
		{"false pass, guarded, 5 to 10 % beyond", guarded.beyond[1], 0, 0.02},
		{"false pass, guarded", guarded.falsePass, 0, 0.01},
		{"false fail", simple.falseFail, 0, 0.25},
		{"no verdict, simple", simple.undecided, 0.02, 0.13},
		{"no verdict, guarded", guarded.undecided, 0.05, 0.35},
		{"late and beyond, passed", late.passed, 0, 0},
		{"cleared, 0 to 5 % beyond, a fail left at that", cleared("leaves a fail at that").beyond[0], 0, 0.2},
		{"the same, tried again in silence", cleared("tries again after a fail, says nothing").beyond[0], 0, 0.2},
		{"the same, by another method", cleared("tries another method after a fail").beyond[0], 0, 0.2},
		{"the same, nothing mended", cleared("says `repaired`, nothing is mended").beyond[0], 0.2, 0.6},
		{"the same, read late", cleared("reads late").beyond[0], 0, 0.1},
	} {
		if s := tt.is.share(); !(s >= tt.low && s <= tt.high) {
			t.Errorf("%s: %d of %d, %.2f %%, want %g to %g %%", tt.what, tt.is.hits, tt.is.of, 100*s, 100*tt.low, 100*tt.high)
		}
	}
	if simple.passed.of != many || simple.passed.hits+simple.failed.hits+simple.undecided.hits != many {
		t.Errorf("of %d runs %d passed, %d failed, %d came to no verdict", many, simple.passed.hits, simple.failed.hits, simple.undecided.hits)
	}
	if guarded.passed.hits > simple.passed.hits || guarded.failed != simple.failed {
		t.Errorf("guarded: %d pass and %d fail; simple: %d and %d", guarded.passed.hits, guarded.failed.hits, simple.passed.hits, simple.failed.hits)
	}
}

// TestObvious checks runs whose verdict is clear: a suit in still air that is
// far from the limit, read at the bell.
func TestObvious(t *testing.T) {
	for _, method := range core.BuiltIn() {
		for _, g := range gauges {
			for _, tt := range []struct {
				share float64
				want  core.Outcome
			}{{0.3, core.Pass}, {1.7, core.Fail}} {
				p := playStill(t, method, g, tt.share)
				if got := p.verdicts[0].Outcome; got != tt.want {
					t.Errorf("%s with %s, %g of the drop allowed: %s, want %s", method.Key, g.name, tt.share, got, tt.want)
				}
			}
		}
	}
}

// TestTruth checks that, in still air, the margin that really was at the bell is
// the one that the suit has in steady air.
func TestTruth(t *testing.T) {
	p := playStill(t, core.BuiltIn()[0], gauges[0], 0.8)
	near(t, "margin at the bell", p.real, p.steady, 1e-6)
	near(t, "margin", p.steady, 0.2*300, 6)
	near(t, "margin measured", p.said, p.real, 12)
	if p.verdicts[0].Reason != core.OnTime || !(p.expanded > 0) {
		t.Errorf("the verdict is %+v", p.verdicts[0])
	}
}

// playStill plays a run in still air, with a rigid suit whose leak makes a share
// of the drop allowed, by a tester who does as asked.
func playStill(t *testing.T, method core.Method, g gauge, share float64) played {
	t.Helper()
	s, err := open(rand.New(rand.NewPCG(3, 5)), method, g, usual)
	if err != nil {
		t.Fatal(err)
	}
	still := s.room.at(0)
	s.room = weather{[]air{still, still}}
	s.suit = shape(0.4, 0, s.task.start, still)
	s.suit.leak = sized(porous, s.suit, s.task.start, share*s.task.allowed(s.task.start), s.task.hold, still)
	s.habits = habits{care: 60, patience: 5}
	s.manometer = manometer{gauge: g}
	for _, part := range []func() error{s.expand, s.begin, s.endure} {
		if err := part(); err != nil {
			t.Fatal(err)
		}
	}
	p, err := s.result()
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// TestRefused checks what the program does not take.
func TestRefused(t *testing.T) {
	for _, tt := range []struct {
		args []string
		says string
	}{
		{[]string{"-runs", "0"}, "from 1 up"},
		{[]string{"-method", "en464"}, `method "en464" is not built in`},
		{[]string{"en943"}, "nothing but flags"},
		{[]string{"-bell"}, "not defined"},
	} {
		err := run(tt.args, new(strings.Builder), new(strings.Builder))
		if err == nil || !strings.Contains(err.Error(), tt.says) {
			t.Errorf("%v: %v, want it to say %q", tt.args, err, tt.says)
		}
	}
}

// TestShutLine checks that a reading that stands still passes, that the line opened
// after the question does not clear the suit, and that only the next test does.
func TestShutLine(t *testing.T) {
	for _, who := range people {
		if !who.shut {
			continue
		}
		for n := range uint64(40) {
			end, err := tell(5, n, who, core.BuiltIn()[0], gauges[0], core.Simple)
			if err != nil {
				t.Fatal(err)
			}
			if who.heeds && end.cleared && (end.runs < 2 || end.excess > 0.2) || !who.heeds && !end.cleared {
				t.Errorf("%s, story %d: %+v", who.who, n, end)
			}
		}
	}
}

// TestRemedies checks that after a fail nobody's suit is cleared who did nothing
// about it, and said nothing.
func TestRemedies(t *testing.T) {
	for _, who := range people {
		if who.remedy != retries && who.remedy != switches {
			continue
		}
		for n := range uint64(40) {
			end, err := tell(6, n, who, core.BuiltIn()[0], gauges[0], core.Simple)
			if err != nil {
				t.Fatal(err)
			}
			if end.failed && end.cleared {
				t.Errorf("%s, story %d: %+v", who.who, n, end)
			}
		}
	}
}

// TestOneMethod checks that only the method asked for is played.
func TestOneMethod(t *testing.T) {
	got := printed(t, "-runs", "60", "-method", "f1052")
	if !strings.Contains(got, "| f1052 ") || strings.Contains(got, "| en943 ") {
		t.Errorf("it prints\n%s", got)
	}
	if !strings.Contains(got, "go run ./testdata/simulate -runs 60 -seed 1 -method f1052") {
		t.Errorf("the command is not in\n%s", got)
	}
}

// TestTable checks the layout of a table, and that a rate of a few is none.
func TestTable(t *testing.T) {
	tab := &table{words: 1, header: []string{"what", "rate"}}
	tab.row("±", rate{1, 40}.String())
	tab.row("few", rate{1, 29}.String())
	const want = `| what |  rate |
| ---- | ----: |
| ±    | 2.5 % |
| few  |     – |
`
	if got := tab.String(); got != want {
		t.Errorf("the table is\n%swant\n%s", got, want)
	}
	for drop, want := range map[float64]string{0: "0 to 50 %", 149: "0 to 50 %", 151: "50 to 80 %", 299: "95 to 100 %", 301: "100 to 105 %", 900: "over 150 %"} {
		p := played{task: newTask(core.BuiltIn()[0]), start: 1650, steady: 300 - drop}
		if got := p.share(); got != want {
			t.Errorf("a drop of %g of 300 Pa is %q, want %q", drop, got, want)
		}
	}
}

// TestAims checks that a rate outside what it should be is told as missed, and
// that the extremes are those of single methods and manometers.
func TestAims(t *testing.T) {
	few := make(tally)
	for gauge, holds := range map[string]rate{"a": {50, 100}, "b": {95, 100}, "c": {20, 20}} {
		few.of(kind{byGauge, "en943", gauge, core.Simple}).interval = holds
	}
	few.of(kind{by: byAll, rule: core.Simple}).interval = rate{165, 220}
	low, high := few.extremes(byGauge, core.Simple, func(f *figures) rate { return f.interval })
	if (low != rate{50, 100}) || (high != rate{95, 100}) {
		t.Errorf("the extremes are %v and %v", low, high)
	}
	got := few.aims().String()
	for _, want := range []string{"75.0 % | missed", "50.0 % | missed", "– | no case"} {
		if !strings.Contains(strings.Join(strings.Fields(got), " "), want) {
			t.Errorf("no %q in\n%s", want, got)
		}
	}
}
