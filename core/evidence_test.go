package core_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"benchbell/core"
	"benchbell/core/estimate"
)

// agrees reports a number that is not within ± tolerance of what it should be.
func agrees(t testing.TB, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s is %.9g, want %.9g ± %g", what, got, want, tolerance)
	}
}

// relative is agrees with a tolerance that goes with the number.
func relative(t testing.TB, what string, got, want, tolerance float64) {
	t.Helper()
	agrees(t, what, got, want, tolerance*math.Abs(want))
}

// TestAcceptance: the guard band of one U, JCGM 106, 8.3.2.3. Of a drop where
// 300 Pa is allowed, with u = 12 Pa, 276 Pa is the most that is accepted.
func TestAcceptance(t *testing.T) {
	for _, tt := range []struct {
		rule core.Acceptance
		drop float64
		want core.Outcome
	}{
		{core.Guarded, 276, core.Pass},
		{core.Guarded, 276.001, core.NoVerdict},
		{core.Guarded, 300, core.NoVerdict},
		{core.Guarded, 300.001, core.Fail},
		{core.Guarded, -20, core.Pass},
		{core.Simple, 276, core.Pass},
		{core.Simple, 300, core.Pass},
		{core.Simple, 300.001, core.Fail},
	} {
		if got := tt.rule.Judge(300-tt.drop, 12); got != tt.want {
			t.Errorf("a drop of %v by %s is %q, want %q", tt.drop, tt.rule, got, tt.want)
		}
	}
	agrees(t, "risk at the edge of the guard band", 1-estimate.Conforms(300-276, 12), 0.02275, 1e-5)
	if got := core.Guarded.Judge(0, 0); got != core.Pass {
		t.Errorf("at the limit without uncertainty it is %q", got)
	}
}

// TestAcceptanceIsWhatItSays: whatever the numbers, a fail is more likely
// beyond than within, a pass is not, and a guarded pass is sure to 97.7 %. The
// guard band never changes a fail.
func TestAcceptanceIsWhatItSays(t *testing.T) {
	rng := rand.New(rand.NewPCG(106, 2012))
	for range 20_000 {
		margin, u := 100*rng.NormFloat64(), 50*rng.Float64()
		p := estimate.Conforms(margin, u)
		simple, guarded := core.Simple.Judge(margin, u), core.Guarded.Judge(margin, u)
		if (simple == core.Fail) != (p < 0.5) || (guarded == core.Fail) != (simple == core.Fail) {
			t.Fatalf("margin %v, u %v: %q and %q, p %v", margin, u, simple, guarded, p)
		}
		if (guarded == core.Pass) != (p >= 0.97724986) {
			t.Fatalf("margin %v, u %v: guarded %q, p %v", margin, u, guarded, p)
		}
	}
}

// evidence returns what a hold of two readings leaves, taken on time to the
// second. The start is at half past eight.
func evidence(m core.Method, gauge core.Manometer, start, end core.Written) core.Evidence {
	s := core.Reading{N: 1, Written: start, Posted: morning, Taken: morning}
	bell := morning.Add(m.Hold)
	e := core.Reading{N: 2, Written: end, Posted: bell, Taken: bell}
	return core.Evidence{
		Verdict: core.Verdict{Method: m.Key, Start: s, End: e, Bell: bell},
		Method:  m, Manometer: gauge, Readings: []core.Reading{e},
	}
}

// showing returns a manometer with a resolution; permissible may be empty.
func showing(t testing.TB, resolution, permissible string, u core.Unit) core.Manometer {
	t.Helper()
	m := core.Manometer{ID: "M-1", Unit: u, Resolution: write(t, resolution, u)}
	if permissible != "" {
		m.Permissible = write(t, permissible, u)
	}
	return m
}

func budget(t testing.TB, e core.Evidence) estimate.Budget {
	t.Helper()
	b, ok := e.Budget()
	if !ok {
		t.Fatal("no budget")
	}
	return b
}

// component returns what a source adds, zero if it is not in the budget.
func component(t testing.TB, b estimate.Budget, o string) float64 {
	t.Helper()
	u := 0.0
	for _, c := range b.Components {
		if c.Origin != o {
			continue
		}
		if u != 0 {
			t.Errorf("%q is in it twice", o)
		}
		u = c.U
	}
	return u
}

// TestBudgets is budgets of each kind of limit, worked by hand.
func TestBudgets(t *testing.T) {
	const mm, inch = 9.80665, 249.08891
	root3, root12 := math.Sqrt(3), math.Sqrt(12)
	for _, tt := range []struct {
		name       string
		method     string
		gauge      core.Manometer
		start, end string
		margin     float64
		want       map[string]float64
		u          float64
	}{
		{
			// A drop of 250 Pa of 300 in 360 s. The digits are coarser than
			// the manometer: 10 Pa. Of the 5 Pa of permissible error, and of the
			// half pascal that zeroing leaves, a drop keeps 250/1650, 0.7576 and
			// 0.0758 Pa; each look was up to 8 s before its post, 4 s either way,
			// in which the pressure falls by 2.7778 Pa.
			"drop", "en943", showing(t, "0.01", "0.05", core.Mbar), "16.5", "14.0", 50,
			map[string]float64{
				core.StartResolution:  10 / root12, // 2.88675
				core.EndResolution:    10 / root12,
				core.PermissibleError: 5. * 250 / 1650 / root3,  // 0.43739
				core.Zero:             0.5 * 250 / 1650 / root3, // 0.04374
				core.StartMoment:      250. / 360 * 4 / root3,   // 1.60375
				core.EndMoment:        250. / 360 * 4 / root3,
			},
			4.69083, // √(2·8.33333 + 0.19131 + 0.00191 + 2·2.57202)
		},
		{
			// The same with all digits: now the moments count most.
			"drop, finely read", "en943", showing(t, "0.01", "0.05", core.Mbar), "16.50", "14.00", 50,
			map[string]float64{
				core.StartResolution:  1 / root12,
				core.EndResolution:    1 / root12,
				core.PermissibleError: 5. * 250 / 1650 / root3,
				core.Zero:             0.5 * 250 / 1650 / root3,
				core.StartMoment:      250. / 360 * 4 / root3,
				core.EndMoment:        250. / 360 * 4 / root3,
			},
			2.34604, // √(2·0.08333 + 0.19131 + 0.00191 + 2·2.57202)
		},
		{
			// 85 mm against a floor of 80 in 240 s: the start's rounding does
			// not count. Of the permissible error 85/100 are left, of what zeroing
			// leaves the rest.
			"floor", "f1052", showing(t, "0.1", "0.5", core.MmH2O), "100.0", "85.0", 5 * mm,
			map[string]float64{
				core.EndResolution:    0.1 * mm / root12,          // 0.28309
				core.PermissibleError: 0.85 * 0.5 * mm / root3,    // 2.40630
				core.Zero:             0.15 * 0.05 * mm / root3,   // 0.04246
				core.StartMoment:      15. / 240 * 4 * mm / root3, // 1.41547
				core.EndMoment:        15. / 240 * 4 * mm / root3,
			},
			3.14314, // √(0.08014 + 5.79026 + 0.00180 + 2·2.00355)
		},
		{
			// 3.40 in against 80 % of 4.00 in 180 s, which is 5/100 of the start
			// more: so much is left of the permissible 0.02 in, and 15/100 of what
			// zeroing leaves.
			"ratio", "osha", showing(t, "0.01", "0.02", core.InH2O), "4.00", "3.40", 0.2 * inch,
			map[string]float64{
				core.StartResolution:  0.8 * 0.01 * inch / root12,   // 0.57525
				core.EndResolution:    0.01 * inch / root12,         // 0.71906
				core.PermissibleError: 0.05 * 0.02 * inch / root3,   // 0.14381
				core.Zero:             0.15 * 0.005 * inch / root3,  // 0.10786
				core.StartMoment:      0.6 / 180 * 4 * inch / root3, // 1.91749
				core.EndMoment:        0.6 / 180 * 4 * inch / root3,
			},
			2.86946, // √(0.33091 + 0.51704 + 0.02068 + 0.01163 + 2·3.67676)
		},
		{
			// 2.0 in is short by 1.2, three tenths of the start.
			"ratio, far beyond", "osha", showing(t, "0.01", "0.02", core.InH2O), "4.00", "2.00", -1.2 * inch,
			map[string]float64{
				core.StartResolution:  0.8 * 0.01 * inch / root12,
				core.EndResolution:    0.01 * inch / root12,
				core.PermissibleError: 0.02 * 0.3 * inch / root3,
				core.Zero:             0.005 * 0.5 * inch / root3,
				core.StartMoment:      2. / 180 * 4 * inch / root3,
				core.EndMoment:        2. / 180 * 4 * inch / root3,
			},
			0,
		},
	} {
		t.Run(tt.name, func(t *testing.T) {
			m := method(t, tt.method)
			b := budget(t, evidence(m, tt.gauge, write(t, tt.start, m.Unit), write(t, tt.end, m.Unit)))
			agrees(t, "the margin", b.Margin, tt.margin, 1e-9)
			for _, c := range b.Components {
				if _, ok := tt.want[c.Origin]; !ok {
					t.Errorf("%q is in it with %v", c.Origin, c.U)
				}
			}
			for o, want := range tt.want {
				agrees(t, o, component(t, b, o), want, 1e-9)
			}
			if tt.u != 0 {
				agrees(t, "the combined uncertainty", b.Combined(), tt.u, 1e-5)
			}
			if len(b.LeftOut) != 0 || b.Late != 0 {
				t.Errorf("left out are %q, the hold was longer by %v Pa", b.LeftOut, b.Late)
			}
		})
	}
}

// TestResolution holds the rounding of readings to JCGM 100, F.2.2.1, and to
// the worked examples of 4.3.7 and 5.1.5.
func TestResolution(t *testing.T) {
	drop, floor := method(t, "en943"), method(t, "f1052")
	coarse := showing(t, "10", "", core.Pa)

	// Steps of 10 Pa: 2.88675 Pa for one reading, 4.08248 for a difference.
	b := budget(t, evidence(drop, coarse, write(t, "1650", core.Pa), write(t, "1650", core.Pa)))
	agrees(t, "one reading", component(t, b, core.EndResolution), 2.88675, 1e-5)
	agrees(t, "the difference of two", b.Combined(), 4.08248, 1e-5)
	agrees(t, "the difference of two, beforehand", drop.Fineness(coarse).Expanded, 2*4.08248, 2e-5)
	agrees(t, "one against a floor, beforehand", floor.Fineness(coarse).Expanded, 2*2.88675, 2e-5)

	// A voltmeter accurate to 14e-6 of the reading and 2e-6 of the range of
	// 1 V, at 0.928571 V: ± 15 µV, u 8.66 µV, and with a Type A of 12 µV 14.80
	// (14.82 with the 8.7 that is printed; printed 15). Pascals will do for µV.
	most := 14*0.928571 + 2
	agrees(t, "most", most, 15.0, 0.01)
	bounded := core.Manometer{Resolution: write(t, "0", core.Pa), Permissible: write(t, "15", core.Pa)}
	b = budget(t, evidence(floor, bounded, write(t, "980", core.Pa), write(t, "980", core.Pa)))
	agrees(t, "a bound of 15", component(t, b, core.PermissibleError), 8.66, 0.005)
	combined := estimate.Budget{Components: []estimate.Component{{U: component(t, b, core.PermissibleError)}, {U: 12}}}
	agrees(t, "and a Type A of 12", combined.Combined(), 14.80, 0.005)

	// The coarsest manometer that App A allows, 0.25 in, from 2.00 to 1.75 in:
	// against a greatest drop of 0.40 in it is 0.25/√6 in and 92.9 % by a normal
	// distribution. Two rectangular ones of ± 0.125 in make a triangular one, by
	// which 0.1²/(2·0.25²) is beyond 0.15. Against the ratio it really is, the
	// start counts for 0.8 of itself: 0.25/√12·√1.64 = 0.09242 in, and beyond is
	// 0.075²/(2·0.2·0.25) of a trapezium.
	const inch = 249.08891
	quarter := showing(t, "0.25", "", core.InH2O)
	byDrop := method(t, "osha")
	byDrop.Limit = core.Limit{Drop: write(t, "0.40", core.InH2O)}
	for _, tt := range []struct {
		method          core.Method
		u, normal, sure float64
	}{{byDrop, 0.10206, 0.92918, 0.92}, {method(t, "osha"), 0.09242, 0.94771, 0.94375}} {
		e := evidence(tt.method, quarter, write(t, "2.00", core.InH2O), write(t, "1.75", core.InH2O))
		b = budget(t, e)
		b.Air = nil
		b.Components = slices.DeleteFunc(b.Components, func(c estimate.Component) bool {
			return c.Origin == core.StartMoment || c.Origin == core.EndMoment
		})
		agrees(t, "the margin in inches", b.Margin/inch, 0.15, 1e-9)
		agrees(t, "u in inches", b.Combined()/inch, tt.u, 1e-5)
		agrees(t, "probability by a normal distribution", estimate.Conforms(b.Margin, b.Combined()), tt.normal, 1e-5)
		agrees(t, "probability", b.Conforms(), tt.sure, 1e-5)
	}
}

// TestStep: a reading is rounded to the manometer's resolution or to its own
// last digit, whichever is coarser, also if it is in another unit.
func TestStep(t *testing.T) {
	m := method(t, "en943")
	for _, tt := range []struct {
		gauge core.Manometer
		end   core.Written
		step  float64 // in pascals
	}{
		{showing(t, "0.01", "", core.Mbar), write(t, "14.00", core.Mbar), 1},
		{showing(t, "0.01", "", core.Mbar), write(t, "14.0", core.Mbar), 10},
		{showing(t, "0.01", "", core.Mbar), write(t, "14", core.Mbar), 100},
		{showing(t, "0.1", "", core.Mbar), write(t, "14.00", core.Mbar), 10},
		{showing(t, "0.02", "", core.Mbar), write(t, "14.00", core.Mbar), 2},
		{showing(t, "0.01", "", core.Mbar), write(t, "5.6", core.InH2O), 24.908891},
		{showing(t, "0.1", "", core.MmH2O), write(t, "1400", core.Pa), 1},
		{showing(t, "0.1", "", core.MmH2O), write(t, "1400.0", core.Pa), 0.980665},
	} {
		b := budget(t, evidence(m, tt.gauge, write(t, "16.50", core.Mbar), tt.end))
		agrees(t, fmt.Sprintf("%v on %v", tt.end, tt.gauge.Resolution), component(t, b, core.EndResolution), tt.step*0.288675, 1e-5*tt.step)
	}
}

// TestMoments: a look is up to 8 s before its post; who was called by the bell
// looks 3 s around it, and later by what typing does not explain. The pressure
// falls by 250 Pa in 360 s.
func TestMoments(t *testing.T) {
	m := method(t, "en943")
	const slope = 250. / 360
	for _, tt := range []struct {
		name     string
		posted   time.Duration // from the bell
		stated   bool
		from, to float64 // of the look, seconds from the bell
	}{
		{"at the bell", 0, false, -8, 0},
		{"10 s early", -10 * time.Second, false, -18, -10},
		{"2 s late", 2 * time.Second, false, -6, 2},
		{"5 s late", 5 * time.Second, false, -3, 3},
		{"11 s late", 11 * time.Second, false, -3, 3},
		{"20 s late", 20 * time.Second, false, -3, 12},
		{"60 s late", time.Minute, false, -3, 52},
		// Stated, the moment is rounded; the post came when it came.
		{"stated", 3 * time.Minute, true, -5, 5},
		// A reading that was asked about was posted again later; when it was
		// first posted it still was in the minute after the bell.
		{"asked about", 3 * time.Minute, false, -3, 52},
	} {
		e := evidence(m, showing(t, "0.01", "", core.Mbar), write(t, "16.50", core.Mbar), write(t, "14.00", core.Mbar))
		e.Verdict.End.Posted = e.Verdict.Bell.Add(tt.posted)
		e.Verdict.End.Stated = tt.stated
		b := budget(t, e)
		agrees(t, tt.name+": end", component(t, b, core.EndMoment), slope*(tt.to-tt.from)/2/math.Sqrt(3), 1e-9)
		agrees(t, tt.name+": start", component(t, b, core.StartMoment), slope*4/math.Sqrt(3), 1e-9)
		// The start was looked at 4 s before its post, on the average.
		late := slope * ((tt.from+tt.to)/2 + 4)
		agrees(t, tt.name+": longer", b.Late, late, 1e-9)
		agrees(t, tt.name+": delay", component(t, b, core.Delay), math.Abs(late), 1e-9)
	}
}

// TestSlope: the slope is that of the last stretch of a quarter of the hold or
// more, 90 s here.
func TestSlope(t *testing.T) {
	type point struct {
		at    time.Duration
		words string
	}
	for _, tt := range []struct {
		name    string
		between []point
		slope   float64 // Pa/s
	}{
		{"two readings", nil, 250. / 360},
		{"a third", []point{{clock(3, 0), "15.00"}}, 100. / 180},
		{"the last of several", []point{{clock(2, 0), "15.50"}, {clock(4, 0), "14.50"}}, 50. / 120},
		{"just a quarter before", []point{{clock(2, 0), "15.50"}, {clock(4, 30), "14.40"}}, 40. / 90},
		{"nearer than that", []point{{clock(2, 0), "15.50"}, {clock(4, 31), "14.40"}}, 150. / 240},
		{"a rise of 0.02 at the end", []point{{clock(3, 0), "13.98"}}, 2. / 180},
		{"posted out of turn", []point{{clock(4, 0), "14.50"}, {clock(2, 0), "15.50"}}, 50. / 120},
	} {
		e := evidence(method(t, "en943"), showing(t, "0.01", "", core.Mbar), write(t, "16.50", core.Mbar), write(t, "14.00", core.Mbar))
		e.Readings = nil
		for _, p := range tt.between {
			at := morning.Add(p.at)
			e.Readings = append(e.Readings, core.Reading{Written: write(t, p.words, core.Mbar), Posted: at, Taken: at})
		}
		e.Readings = append(e.Readings, e.Verdict.End)
		agrees(t, tt.name, component(t, budget(t, e), core.EndMoment), tt.slope*4/math.Sqrt(3), 1e-9)
	}
}

// TestWithoutMoments: on paper there is no moment, so what it adds is left out
// and said to be.
func TestWithoutMoments(t *testing.T) {
	e := evidence(method(t, "en943"), showing(t, "0.01", "", core.Mbar), write(t, "16.50", core.Mbar), write(t, "14.00", core.Mbar))
	e.Verdict.End.Taken = e.Verdict.Start.Taken
	want := []string{core.PermissibleError, core.StartMoment, core.EndMoment}
	if b := budget(t, e); !slices.Equal(b.LeftOut, want) {
		t.Errorf("left out are %q, want %q", b.LeftOut, want)
	}
}

// TestBudgetOfRuns plays holds and looks at the budgets of their verdicts.
func TestBudgetOfRuns(t *testing.T) {
	root3, root12 := math.Sqrt(3), math.Sqrt(12)

	// Posted 40 s after the bell: looked at from 3 s before it to 32 s after it,
	// and the start 4 s before its post; from 16.50 over 15.20 at three minutes to
	// 14.00 mbar.
	r := hold(t, "en943", "M-1", "16.50", post{clock(3, 0), "15.20", 0}, post{clock(6, 40), "14.00", 0})
	b := budget(t, r.Evidence(*r.Verdict))
	agrees(t, "the margin", b.Margin, 50, 1e-9)
	agrees(t, "the moment of the end", component(t, b, core.EndMoment), 120./180*17.5/root3, 1e-9)
	agrees(t, "what it was longer", b.Late, 120./180*18.5, 1e-9)
	agrees(t, "the rounding of the end", component(t, b, core.EndResolution), 1/root12, 1e-9)

	// 13.95 at five minutes and 12.75 at eight: by the first rules a fit said between
	// what the pressure at the bell was. Its interval is the budget's, instead of the
	// rounding and the moment of the end.
	r = hold(t, "en943", "M-1", "16.50", post{clock(5, 0), "13.95", 0}, post{clock(8, 0), "12.75", 0})
	agreesOn(t, r, core.NoVerdict, core.LateBeyond)
	old := *r.Verdict
	old.AtBellLow, old.AtBellHigh = 1340*core.Pascal, 1362*core.Pascal
	low, high := 1340., 1362.
	b = budget(t, r.Evidence(old))
	agrees(t, "the margin between", b.Margin, (low+high)/2-1350, 1e-6)
	agrees(t, "what lies between", component(t, b, core.BellEstimate), (high-low)/2/1.959964, 1e-5)
	agrees(t, "the end", component(t, b, core.EndMoment)+component(t, b, core.EndResolution)+b.Late, 0, 0)
	agrees(t, "the moment of the start", component(t, b, core.StartMoment), 120./180*4/root3, 1e-9)

	// No readings, no budget: a defect seen, and a run that was stopped.
	if _, ok := r.Evidence(core.Verdict{Outcome: core.Fail, Reason: core.DefectByEye}).Budget(); ok {
		t.Error("a defect has a budget")
	}
	if _, ok := r.Evidence(core.Verdict{Start: r.Verdict.Start}).Budget(); ok {
		t.Error("a start alone has a budget")
	}
}

func agreesOn(t *testing.T, r core.Run, outcome core.Outcome, reason core.Reason) {
	t.Helper()
	if r.Verdict == nil || r.Verdict.Outcome != outcome || r.Verdict.Reason != reason {
		t.Fatalf("the verdict is %+v, want %q, %q", r.Verdict, outcome, reason)
	}
}

// TestBudgetOfNothing: no pressure at the start and no limit at all make no
// sense, but they make numbers.
func TestBudgetOfNothing(t *testing.T) {
	unlimited := method(t, "en943")
	unlimited.Limit = core.Limit{}
	for _, m := range append(core.BuiltIn(), unlimited) {
		for _, start := range []string{"0", "16.5"} {
			b := budget(t, evidence(m, showing(t, "0.1", "0.2", core.Mbar), write(t, start, core.Mbar), write(t, "0", core.Mbar)))
			if u := b.Combined(); math.IsNaN(u) || math.IsInf(u, 0) || u < 10/math.Sqrt(12) || u > 50 || math.IsNaN(b.Margin) {
				t.Errorf("%+v from %s: a margin of %v with u %v", m.Limit, start, b.Margin, u)
			}
		}
	}
	e := evidence(unlimited, showing(t, "0.1", "", core.Mbar), write(t, "16.5", core.Mbar), write(t, "16.5", core.Mbar))
	agrees(t, "without a limit the start", component(t, budget(t, e), core.StartResolution), 0, 0)
	e = evidence(method(t, "en943"), showing(t, "0.1", "0.2", core.Mbar), write(t, "0", core.Mbar), write(t, "0", core.Mbar))
	agrees(t, "what a drop from nothing keeps", component(t, budget(t, e), core.PermissibleError), 0, 0)
}

// TestMarginHasTheVerdictsSign: the margin is a rounded number, but never on
// the other side of the limit.
func TestMarginHasTheVerdictsSign(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 4))
	for _, m := range core.BuiltIn() {
		for range 5000 {
			start := m.Test.Low + core.Pressure(rng.Int64N(int64(m.Test.High-m.Test.Low)+1))
			lowest := m.Limit.Lowest(start)
			for _, end := range []core.Pressure{lowest - 1, lowest, lowest + 1, core.Pressure(rng.Int64N(int64(start)))} {
				if margin := m.Limit.Margin(start, end); (margin >= 0) != m.Limit.Within(start, end) {
					t.Fatalf("%s: %d from %d has a margin of %v, within is %v", m.Key, end, start, margin, m.Limit.Within(start, end))
				}
			}
		}
	}
}

// TestFineness: JCGM 106, 8.2.3 quotes U ≤ a third of what is allowed.
func TestFineness(t *testing.T) {
	const inch, mm = 249.08891, 9.80665
	two := method(t, "osha") // B of 2 in
	four, err := two.For(newSuit(t, "HP-07"))
	if err != nil {
		t.Fatal(err)
	}
	for _, tt := range []struct {
		name     string
		method   core.Method
		gauge    core.Manometer
		expanded float64
		allowed  float64
		coarse   bool
	}{
		{"0.01 mbar", method(t, "en943"), showing(t, "0.01", "", core.Mbar), 2 * 1 / math.Sqrt(6), 300, false},
		{"1 mbar", method(t, "en943"), showing(t, "1", "", core.Mbar), 2 * 100 / math.Sqrt(6), 300, false}, // 81.6 of 100
		{"1.25 mbar", method(t, "en943"), showing(t, "1.25", "", core.Mbar), 2 * 125 / math.Sqrt(6), 300, true},
		// ± 4 mbar keep 4·3.0/16.5 = 0.727 mbar, u 0.420: not too much. With
		// steps of 0.5 mbar, u 0.204, and half of one at zero, of which 3.0/16.5 are
		// 0.045 mbar, u 0.026: 2·√(0.420² + 0.204² + 0.026²) = 0.935 of 1 mbar.
		{"0.5 ± 4 mbar", method(t, "en943"), showing(t, "0.5", "4", core.Mbar), 93.52, 300, false},
		{"0.5 ± 4.5 mbar", method(t, "en943"), showing(t, "0.5", "4.5", core.Mbar), 103.05, 300, true},
		// Against the floor of 80 mm 80/100 count: 2·0.8·8/√3 = 7.39 mm of 6.67.
		{"0.1 ± 7 mm", method(t, "f1052"), showing(t, "0.1", "7", core.MmH2O), 2 * mm * math.Sqrt(5.6*5.6/3+0.01/12+0.01*0.01/3), 20 * mm, false},
		{"0.1 ± 8 mm", method(t, "f1052"), showing(t, "0.1", "8", core.MmH2O), 2 * mm * math.Sqrt(6.4*6.4/3+0.01/12+0.01*0.01/3), 20 * mm, true},
		// App A allows 0.25 in: 2·0.0924 in against a third of 0.4 in is too
		// coarse, and against a third of 0.8 in is not.
		{"0.25 in at 2 in", two, showing(t, "0.25", "", core.InH2O), 2 * 0.25 / math.Sqrt(12) * math.Sqrt(1.64) * inch, 0.4 * inch, true},
		{"0.25 in at 4 in", four, showing(t, "0.25", "", core.InH2O), 2 * 0.25 / math.Sqrt(12) * math.Sqrt(1.64) * inch, 0.8 * inch, false},
	} {
		got := tt.method.Fineness(tt.gauge)
		agrees(t, tt.name+": U", got.Expanded, tt.expanded, 0.01)
		agrees(t, tt.name+": allowed", got.Allowed, tt.allowed, 1e-6)
		if got.TooCoarse() != tt.coarse {
			t.Errorf("%s for %s: too coarse is %v, want %v", tt.name, tt.method.Key, got.TooCoarse(), tt.coarse)
		}
	}
}

// TestWorseEvidenceIsLessCertain: coarser digits, a larger permissible error
// and a later post never make a budget smaller, by any method.
func TestWorseEvidenceIsLessCertain(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 100))
	for _, m := range core.BuiltIn() {
		start := m.Test.Target
		for range 300 {
			end, err := core.Write((m.Limit.Lowest(start.Pressure())+core.Pressure(rng.Int64N(int64(start.Pressure()/10)))).Fixed(core.Pa, 1), core.Pa)
			if err != nil {
				t.Fatal(err)
			}
			step, most := fmt.Sprintf("%.3f", rng.Float64()), fmt.Sprintf("%.2f", rng.Float64())
			fine := evidence(m, showing(t, step, most, core.Mbar), start, end)
			for what, worsen := range map[string]func(*core.Evidence){
				"a coarser manometer":        func(e *core.Evidence) { e.Manometer.Resolution = write(t, "1.001", core.Mbar) },
				"a larger permissible error": func(e *core.Evidence) { e.Manometer.Permissible = write(t, "1.01", core.Mbar) },
				"a later post":               func(e *core.Evidence) { e.Verdict.End.Posted = e.Verdict.End.Posted.Add(time.Minute) },
			} {
				worse := fine
				worsen(&worse)
				if a, b := budget(t, fine), budget(t, worse); !(a.Combined() < b.Combined()) || a.Margin != b.Margin {
					t.Fatalf("%s, %v to %v: %s makes u %v of %v", m.Key, start, end, what, b.Combined(), a.Combined())
				}
			}
		}
	}
}
