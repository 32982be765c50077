package chart

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"strings"
	"sync"
	"testing"
	"time"

	"gonum.org/v1/plot/plotter"

	"benchbell/core"
)

// The limits in these tests are those of the built-in methods: a drop of 3.0
// mbar (EN 943-1, from memory), a floor of 80 mm (NFPA 1991, from memory), and
// 80 % of the start (29 CFR 1910.120 App A 6.1.6, read in a secondary text).

// alone plays a run whose hold has only a start and an ending reading.
func alone(t testing.TB, method, start, end string) core.Run {
	t.Helper()
	s := opens(t, "HP-07", method)
	s.holds(start)
	s.reads(s.run.Method.Hold, end)
	return s.run
}

// crowded plays a run of 201 readings.
func crowded(t testing.TB) core.Run {
	t.Helper()
	s := opens(t, "HP-07", "en943")
	s.holds("16.5")
	for i := range 199 {
		s.reads(1700*time.Millisecond, fmt.Sprintf("%.2f", 16.5-2.8*(1-math.Exp(-float64(i+1)/100))))
	}
	s.reads(20*time.Second, "14.0")
	return s.run
}

// forecast is a fit of an exponential decay with a band that widens.
func forecast() Fit {
	fit := Fit{Label: "forecast"}
	for s := 0.0; s <= 400; s += 10 {
		mid := 1650 * math.Exp(-s/1880)
		fit.Points = append(fit.Points, FitPoint{s, mid - 5 - s/10, mid, mid + 5 + s/10})
	}
	return fit
}

func figureOf(t testing.TB, run core.Run, fits ...Fit) *figure {
	t.Helper()
	f, err := runFigure(run, time.UTC, fits)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// TestRunSays: the words of a picture, for every way in which a hold ends.
func TestRunSays(t *testing.T) {
	inMbar := opens(t, "HP-07", "f1052")
	inMbar.holds("100")
	inMbar.readsIn(4*time.Minute, "7.845", core.Mbar) // 79.997 mm
	between := opens(t, "HP-07", "en943")
	between.holds("16.5")
	between.reads(2*time.Minute, "15.6")
	between.reads(3*time.Minute, "14.2")
	between.reads(3*time.Minute, "13.0")
	old := *between.run.Verdict // as the first rules gave it
	old.Outcome, old.Reason = core.Pass, core.Bracketed
	old.AtBellLow, old.AtBellHigh = 1370*core.Pascal, 1390*core.Pascal
	between.run.Verdict = &old
	tooLate := opens(t, "HP-07", "en943")
	tooLate.holds("16.5")
	tooLate.reads(time.Minute, "16.0")
	tooLate.reads(3*time.Hour, "13.0")
	stopped := opens(t, "HP-07", "en943")
	stopped.holds("16.5")
	stopped.does(core.Stop{Why: "call"})
	for name, c := range map[string]struct {
		run  core.Run
		want string // words parted by |, in any order
	}{
		"pass": {
			held(t, "en943", "16.5", "16.2", "15.9", "15.6", "15.4", "15.2", "15.0"),
			"HP-07 R-0001|PASS, NOT FIT YET|drop 1.5 of 3.0 mbar|mbar|bell 6:00|limit 13.5|16.5|16.2|15.9|15.6|15.4|15.2|15.0|minutes since 08:41:00, 2026-03-02|0|6",
		},
		"fail":              {alone(t, "en943", "16.5", "12.9"), "FAIL|drop 3.6 of 3.0 mbar|12.9|limit 13.5"},
		"just at the limit": {alone(t, "en943", "16.5", "13.5"), "PASS, NOT FIT YET|drop 3.0 of 3.0 mbar|13.5|limit 13.5"},
		"just beyond":       {alone(t, "en943", "16.5", "13.499"), "FAIL|drop 3.001 of 3.000 mbar|13.499|limit 13.500"},
		"no drop":           {alone(t, "en943", "16.5", "16.5"), "PASS, NOT FIT YET|drop 0.0 of 3.0 mbar|16.5"},
		"all of it":         {held(t, "en943", "16.5", "0"), "NO VERDICT|a jump no leak makes|0.0|limit 13.5"},
		"floor":             {held(t, "f1052", "100", "95.5", "91", "86.5", "79.5"), "FAIL|ending 79.5, floor 80.0 mm|floor 80.0|mm|79.5|bell 4:00"},
		"in another unit":   {inMbar.run, "FAIL|ending 79.997, floor 80.000 mm|79.997|floor 80.000"},
		"ratio":             {held(t, "osha", "4.05", "3.8", "3.5", "3.3"), "PASS, NOT FIT YET|drop 0.75 of 0.81 in|limit 3.24|3.30|in|bell 3:00"},
		"running":           {held(t, "en943", "16.5", "16.0"), "HP-07 R-0001|hold|16.0|limit 13.5"},
		"just begun":        {held(t, "en943", "16.5"), "hold|16.5|limit 13.5|bell 6:00"},
		"stopped":           {stopped.run, "stopped|16.5"},
		"rise":              {held(t, "en943", "16.5", "16.0", "16.9"), "NO VERDICT|the pressure rose|16.9"},
		"between readings":  {between.run, "PASS, NOT FIT YET|13.7–13.9 at the bell|13.7–13.9|13.0"},
		"too late":          {tooLate.run, "NO VERDICT|read too late to tell|13.0"},
	} {
		all := record(t, figureOf(t, c.run))
		for want := range strings.SplitSeq(c.want, "|") {
			if !says(all, want) {
				t.Errorf("%s: the picture says %q, want %q", name, texts(all), want)
			}
		}
		checkApart(t, all)
		b, err := Run(c.run, time.UTC)
		decode(t, b, err)
	}
}

// TestRunShows: what a picture shows is where it should be.
func TestRunShows(t *testing.T) {
	run := held(t, "en943", "16.5", "16.2", "15.9", "15.6", "15.4", "15.2", "15.0")
	b, err := Run(run, time.UTC)
	m := decode(t, b, err)
	at := pixels(figureOf(t, run))
	for minute, mbar := range []float64{16.5, 16.2, 15.9, 15.6, 15.4, 15.2, 15.0} {
		if x, y := at(float64(minute), mbar); !has(m, x, y, blue) {
			t.Errorf("at %d min, %v mbar there is no reading, but %v", minute, mbar, m.At(x, y))
		}
	}
	x1, y1 := at(0.5, 13.5)
	x2, _ := at(5.5, 13.5)
	if got := share(m, x1, y1, x2, y1, red); got < 50 || got > 85 {
		t.Errorf("the limit's line is red by %d %%, want dashes", got)
	}
	x, top := at(6, 16.5)
	_, bottom := at(6, 15.2)
	if got := share(m, x, top, x, bottom, ink); got < 20 || got > 70 {
		t.Errorf("the bell's line is black by %d %%, want dots", got)
	}
	if x, y := at(3, 13.0); !has(m, x, y, barred) {
		t.Errorf("beyond the limit is %v", m.At(x, y))
	}
	if x, y := at(3, 14.2); !has(m, x, y, paper) {
		t.Errorf("within the limit is %v", m.At(x, y))
	}
}

// TestRunOrder: a reading stands above a lower one, and right of an earlier one,
// and its value is next to it.
func TestRunOrder(t *testing.T) {
	run := held(t, "en943", "16.5", "16.2", "15.9", "15.6", "15.4", "15.2", "15.0")
	all := record(t, figureOf(t, run))
	var last lettering
	for i, text := range []string{"16.5", "16.2", "15.9", "15.6", "15.4", "15.2", "15.0"} {
		l, ok := find(all, text)
		if !ok || i > 0 && (l.box.Min.X <= last.box.Min.X || l.box.Min.Y >= last.box.Min.Y) {
			t.Errorf("%q is at %v, the value before at %v", text, l.box, last.box)
		}
		last = l
	}
}

// TestPassBeforeUnplugging: until the list after it is complete, a pass says that
// the suit is not fit yet, and is not green; it is once the run is closed.
func TestPassBeforeUnplugging(t *testing.T) {
	s := opens(t, "HP-07", "en943")
	s.holds("16.5")
	s.reads(s.run.Method.Hold, "15.0")
	if b := runBadge(s.run); b.word != "PASS, NOT FIT YET" || b.colour == green || b.frame == boxed {
		t.Errorf("before the list is complete the picture says %+v", b)
	}
	for _, n := range core.Missing(s.run.RestoreList) {
		s.does(core.Tick{Items: []int{n}})
	}
	if b := runBadge(s.run); s.run.Phase != core.Over || b != (badge{"PASS", green, boxed}) {
		t.Errorf("once the run is closed the picture says %+v", b)
	}
}

// TestVerdictsDiffer: verdicts can be told apart without a colour.
func TestVerdictsDiffer(t *testing.T) {
	closed := alone(t, "en943", "16.5", "15.0")
	closed.Phase = core.Over
	frames := make(map[frame]string)
	for _, run := range []core.Run{
		closed,
		alone(t, "en943", "16.5", "15.0"),
		alone(t, "en943", "16.5", "12.9"),
		held(t, "en943", "16.5", "16.9"),
		held(t, "en943", "16.5"),
	} {
		b := runBadge(run)
		if other, taken := frames[b.frame]; taken {
			t.Errorf("%s is framed like %s", b.word, other)
		}
		frames[b.frame] = b.word
	}
}

func TestRunWithFit(t *testing.T) {
	run := held(t, "en943", "16.5", "15.9", "15.4")
	b, err := Run(run, time.UTC, forecast())
	m := decode(t, b, err)
	f := figureOf(t, run, forecast())
	all := record(t, f)
	checkApart(t, all)
	if !says(all, "forecast") {
		t.Errorf("the picture says %q", texts(all))
	}
	at := pixels(f)
	for _, minute := range []float64{2.7, 3.3, 5} {
		mid := 16.5 * math.Exp(-minute*60/1880)
		if x, y := at(minute, mid); !has(m, x, y, purple) {
			t.Errorf("at %v min, %.2f mbar there is %v, want the curve", minute, mid, m.At(x, y))
		}
		if x, y := at(minute, mid+0.03*minute); !has(m, x, y, pale) {
			t.Errorf("at %v min, above %.2f mbar there is %v, want its band", minute, mid, m.At(x, y))
		}
	}
	var half, whole Fit
	whole = forecast()
	for i, p := range whole.Points {
		half.Points = append(half.Points, whole.Points[len(whole.Points)-1-i], FitPoint{Seconds: p.Seconds, Mid: math.NaN()})
	}
	half.Label = whole.Label
	again, err := Run(run, time.UTC, half)
	if err != nil || !bytes.Equal(b, again) {
		t.Errorf("another order and points that are no numbers make another picture, %v", err)
	}
}

// TestWildFit: a fit that went wild does not press the readings flat.
func TestWildFit(t *testing.T) {
	run := held(t, "en943", "16.5", "16.0")
	tame := figureOf(t, run)
	for _, wild := range []Fit{
		{Label: "wild", Points: []FitPoint{{0, -1e8, 1650, 1e8}, {400, -1e8, -1e8, 1e8}}},
		{Points: []FitPoint{{0, math.Inf(-1), 0, 0}, {1e300, 1, 2, 3}, {-1, 1, 2, 3}, {math.NaN(), 1, 2, 3}, {1, 1e300, 1, 1}}},
		{Label: "one point", Points: []FitPoint{{60, 1500, 1550, 1600}}},
		{Label: "none"},
	} {
		f := figureOf(t, run, wild)
		record(t, f)
		if high := f.ymax - f.ymin; high > 3*(tame.ymax-tame.ymin) {
			t.Errorf("%s: the axis spans %v mbar", wild.Label, high)
		}
		b, err := Run(run, nil, wild)
		decode(t, b, err)
	}
}

// TestCrowdedRun: with 201 readings the start, the end and the limit can still
// be read, and each reading is drawn.
func TestCrowdedRun(t *testing.T) {
	run := crowded(t)
	f := figureOf(t, run)
	all := record(t, f)
	checkApart(t, all)
	if len(f.marks) != 201 || len(all) > 25 {
		t.Errorf("%d readings are drawn, with %d texts", len(f.marks), len(all))
	}
	for _, want := range []string{"16.5", "14.0", "limit 13.5", "PASS, NOT FIT YET"} {
		if !says(all, want) {
			t.Errorf("the picture says %q, want %q", texts(all), want)
		}
	}
	b, err := Run(run, time.UTC)
	m := decode(t, b, err)
	at := pixels(f)
	for _, mark := range f.marks {
		if x, y := at(mark.at.X, mark.at.Y); !has(m, x, y, blue) {
			t.Errorf("at %v there is no reading", mark.at)
		}
	}
}

// TestReadingsOfOneMoment: readings said to be of one moment are all drawn.
func TestReadingsOfOneMoment(t *testing.T) {
	s := opens(t, "HP-07", "en943")
	s.holds("16.5")
	s.now = s.now.Add(3 * time.Minute)
	for _, digits := range []string{"15.8", "15.8", "15.7"} {
		s.does(core.Read{Digits: digits, Stated: 2 * time.Minute, HasStated: true})
	}
	f := figureOf(t, s.run)
	record(t, f)
	if len(f.marks) != 4 || f.marks[3].at != (plotter.XY{X: 2, Y: 15.7}) {
		t.Errorf("drawn are %v", f.marks)
	}
}

func TestNothingToDraw(t *testing.T) {
	s := opens(t, "HP-07", "en943")
	defect := opens(t, "HP-07", "en943")
	defect.does(core.Bad{Item: 1, What: "hole"})
	again := opens(t, "HP-07", "en943")
	again.holds("16.5")
	again.does(core.Repeat{Why: "draught"})
	for name, run := range map[string]core.Run{"zero": {}, "prepare": s.run, "defect": defect.run, "again": again.run} {
		if b, err := Run(run, time.UTC); !errors.Is(err, ErrNothing) || b != nil {
			t.Errorf("%s: %d bytes, %v", name, len(b), err)
		}
	}
}

// TestZone: the start is told as a clock at the station shows it.
func TestZone(t *testing.T) {
	run := held(t, "en943", "16.5")
	f, err := runFigure(run, time.FixedZone("east", 16*3600), nil)
	if err != nil {
		t.Fatal(err)
	}
	if all := record(t, f); !says(all, "minutes since 00:41:00, 2026-03-03") {
		t.Errorf("the picture says %q", texts(all))
	}
	f, err = runFigure(run, nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	if all := record(t, f); !says(all, "minutes since 08:41:00, 2026-03-02") {
		t.Errorf("without a zone the picture says %q", texts(all))
	}
}

// TestSameBytes: the same run makes the same picture, also if many are drawn
// at once, and drawing changes nothing.
func TestSameBytes(t *testing.T) {
	run, tests := held(t, "en943", "16.5", "15.9", "15.4"), years()
	wantRun, err := Run(run, time.UTC, forecast())
	if err != nil {
		t.Fatal(err)
	}
	wantHistory, err := History("HP-07", tests)
	if err != nil {
		t.Fatal(err)
	}
	var wait sync.WaitGroup
	for range 4 {
		wait.Go(func() {
			if b, err := Run(run, time.UTC, forecast()); err != nil || !bytes.Equal(b, wantRun) {
				t.Errorf("another picture of the run, %v", err)
			}
			if b, err := History("HP-07", tests); err != nil || !bytes.Equal(b, wantHistory) {
				t.Errorf("another picture of the suit, %v", err)
			}
		})
	}
	wait.Wait()
}

// TestOtherMethods: a method may have any unit and a hold of up to four hours.
func TestOtherMethods(t *testing.T) {
	for _, u := range core.Units() {
		for _, hold := range []time.Duration{time.Second, 90 * time.Second, 4 * time.Hour} {
			full := core.MustWrite("1000", core.Pa).Pressure()
			written := func(p core.Pressure) core.Written { return core.MustWrite(p.Fixed(u, 6), u) }
			m := core.Method{
				Key: "own", Unit: u, Hold: hold,
				Test: core.Setting{Target: written(full), Low: 0, High: 2 * full}, Limit: core.Limit{Drop: written(full / 10)},
			}
			f := figureOf(t, replay(m, "HP-07", full, []core.Pressure{full - full/40, full - full/20}, hold/2))
			all := record(t, f)
			checkApart(t, all)
			if !says(all, u.String()) {
				t.Errorf("%s, %v: the picture says %q", u, hold, texts(all))
			}
		}
	}
}

// replay makes a run of readings so long after each other, whatever they say.
func replay(m core.Method, tag string, start core.Pressure, since []core.Pressure, every time.Duration) core.Run {
	at := morning
	entries := []core.Entry{{At: at, Run: 1, Fact: core.Opened{Suit: core.Suit{Tag: tag}, Method: m}}}
	for i, p := range append([]core.Pressure{start}, since...) {
		digits := max(p, 0).Fixed(core.Pa, 6)
		written, err := core.Write(digits, core.Pa)
		if err != nil {
			written, _ = core.Write(max(p, 0).Fixed(core.Pa, 0), core.Pa)
		}
		entries = append(entries, core.Entry{At: at, Run: 1, Fact: core.Taken{Reading: core.Reading{
			N: i + 1, Written: written, Posted: at, Taken: at,
		}}})
		if i == 0 {
			entries = append(entries, core.Entry{At: at, Run: 1, Fact: core.HoldStarted{N: 1}})
		}
		at = at.Add(every)
	}
	return core.Replay(entries)
}

// FuzzRun draws holds that no bench sees: nothing panics, nothing is drawn off
// the paper, and nothing that must be said is left out.
func FuzzRun(f *testing.F) {
	f.Add("HP-07", uint8(core.Mbar), int64(6*time.Minute), int64(time.Minute), int64(1650), int64(1500), int64(1350), int64(300), int64(1350), 1500.0, 60.0)
	f.Add("", uint8(core.Psi), int64(0), int64(0), int64(0), int64(0), int64(0), int64(0), int64(0), math.NaN(), math.Inf(1))
	f.Add("\x00\xff\u202e", uint8(core.MmH2O), int64(-1), int64(-5), int64(1<<62), int64(1), int64(1<<62), int64(-1), int64(1<<62), 1e308, 1e308)
	f.Add("long long long", uint8(200), int64(1<<62), int64(1<<62), int64(9e9), int64(9e9-1), int64(9e9), int64(1), int64(2), -1e9, 1e6)
	f.Fuzz(func(t *testing.T, tag string, unit uint8, hold, every, start, second, last, drop, bell int64, pascals, seconds float64) {
		const most = 9_000_000_000
		pressure := func(pa int64) core.Pressure { return core.Pressure(min(max(pa, 0), most)) * core.Pascal }
		m := core.Method{Key: "odd", Unit: core.Unit(unit), Hold: time.Duration(hold)}
		if limit, err := core.Write(pressure(drop).Fixed(core.Pa, 0), core.Pa); err == nil && drop != 0 {
			m.Limit.Drop = limit
		}
		run := replay(m, tag, pressure(start), []core.Pressure{pressure(second), pressure(last)}, time.Duration(every))
		if drop%2 == 1 {
			end := run.Readings[len(run.Readings)-1]
			run = run.Apply(core.Entry{Run: 1, Fact: core.Judged{Verdict: core.Verdict{
				Outcome: core.NoVerdict, Reason: core.LateBeyond, End: end, AtBellLow: 1, AtBellHigh: pressure(bell),
			}}})
		}
		fit := Fit{Label: tag, Points: []FitPoint{{0, pascals, pascals, pascals}, {seconds, pascals / 2, pascals, -pascals}}}
		drawn, err := runFigure(run, time.UTC, []Fit{fit})
		if errors.Is(err, ErrNothing) {
			return
		}
		if err != nil {
			t.Fatal(err)
		}
		all := record(t, drawn)
		if !strings.Contains(texts(all), run.ID.String()) {
			t.Errorf("the picture says %q", texts(all))
		}
	})
}

func BenchmarkRun(b *testing.B) {
	for name, run := range map[string]core.Run{
		"seven": held(b, "en943", "16.5", "16.2", "15.9", "15.6", "15.4", "15.2", "15.0"), "201": crowded(b),
	} {
		b.Run(name, func(b *testing.B) {
			size := 0
			for b.Loop() {
				picture, err := Run(run, time.UTC, forecast())
				if err != nil {
					b.Fatal(err)
				}
				size = len(picture)
			}
			b.ReportMetric(float64(size), "bytes/picture")
		})
	}
}
