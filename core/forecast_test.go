package core_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"benchbell/core"
)

// course makes the course of a hold of 6 min from samples of one uncertainty,
// at moments that are known, with the limit 300 Pa below the first.
func course(u float64, samples ...[2]float64) core.Course {
	c := core.Course{Bell: 360, Ending: core.Sample{T: 360, UP: u}}
	for _, s := range samples {
		c.Samples = append(c.Samples, core.Sample{T: s[0], P: s[1], UP: u})
	}
	if len(samples) > 0 {
		c.Lowest = samples[0][1] - 300
	}
	return c
}

func mustForecast(t *testing.T, c core.Course) core.Forecast {
	t.Helper()
	f, ok := c.Forecast()
	if !ok {
		t.Fatalf("no forecast of %+v", c)
	}
	return f
}

// TestForecastOrifice is worked by hand. The root of the pressure falls by 1 in
// two minutes, 40, 39, 38: it will be 37, which is 1369 Pa. At the start the
// pressure falls by 2·40/120 Pa/s.
func TestForecastOrifice(t *testing.T) {
	c := course(0.05, [2]float64{0, 1600}, [2]float64{120, 1521}, [2]float64{240, 1444})
	f := mustForecast(t, c)
	agrees(t, "end", f.End.Value, 1369, 0.1)
	agrees(t, "drop", f.Drop.Value, 231, 0.1)
	agrees(t, "orifice", f.Orifice, 1, 1e-3)
	agrees(t, "beyond", f.Beyond, 0, 1e-9)
	fall, ok := c.Fall()
	if !ok {
		t.Fatal("no fall")
	}
	agrees(t, "fall", fall.Value, 2.0/3, 1e-3)
}

// TestForecastLaminar is worked by hand. Each two minutes a tenth is lost:
// 1600, 1440, 1296, and it will be 1166.4 Pa. The time constant is
// -120/ln(0.9) s.
func TestForecastLaminar(t *testing.T) {
	c := course(0.05, [2]float64{0, 1600}, [2]float64{120, 1440}, [2]float64{240, 1296})
	f := mustForecast(t, c)
	agrees(t, "end", f.End.Value, 1166.4, 0.1)
	agrees(t, "drop", f.Drop.Value, 433.6, 0.1)
	agrees(t, "orifice", f.Orifice, 0, 1e-3)
	agrees(t, "beyond", f.Beyond, 1, 1e-9)
	fall, ok := c.Fall()
	if !ok {
		t.Fatal("no fall")
	}
	agrees(t, "fall", fall.Value, -1600*math.Log(0.9)/120, 2e-3)
}

// TestForecastUndecided: two readings fit both forms, however good they are.
// From 1600 to 1521 Pa in two minutes, an orifice leads to 1369 Pa at six (see
// above), a laminar leak to 1600·(1521/1600)³ = 1374.46. Both are told.
func TestForecastUndecided(t *testing.T) {
	f := mustForecast(t, course(0.05, [2]float64{0, 1600}, [2]float64{120, 1521}))
	agrees(t, "orifice", f.Orifice, 0.5, 0.03)
	agrees(t, "end", f.End.Value, (1369+1374.46)/2, 0.2)
	agrees(t, "low", f.End.Low, 1369-0.3, 0.3)
	agrees(t, "high", f.End.High, 1374.46+0.3, 0.3)
}

// TestForecastUncertainty is worked by hand for a fall so slow that both forms
// are lines, 20 Pa in three minutes: the line through 0 and 3 min is at 6 min
// at (1-2)·p0 + 2·p1, so that with the reading there u² is 1+4+1 times that of
// a reading. With a third reading in between that is just on the line, the
// slope's is u²/(90²+90²) and the mean's u²/3 at 90 s, so u² at 360 s is
// 1/3 + 270²/16200 + 1.
func TestForecastUncertainty(t *testing.T) {
	f := mustForecast(t, course(1, [2]float64{0, 1650}, [2]float64{180, 1630}))
	agrees(t, "end", f.End.Value, 1610, 0.3)
	relative(t, "u", f.End.U, math.Sqrt(6), 0.01)
	relative(t, "half", f.End.Half(), 1.96*math.Sqrt(6), 0.01)
	agrees(t, "drop", f.Drop.Value, 1650-f.End.Value, 1e-9)
	agrees(t, "drop, low", f.Drop.Low, 1650-f.End.High, 1e-9)
	agrees(t, "drop, high", f.Drop.High, 1650-f.End.Low, 1e-9)

	c := course(1, [2]float64{0, 1650}, [2]float64{90, 1640}, [2]float64{180, 1630})
	f = mustForecast(t, c)
	relative(t, "u of three", f.End.U, math.Sqrt(1.0/3+270*270/16200.0+1), 0.01)

	// How fast it falls is known to u·√2/180 s.
	fall, _ := course(0.5, [2]float64{0, 1650}, [2]float64{180, 1640}).Fall()
	relative(t, "fall", fall.Value, 1.0/18, 0.01)
	relative(t, "its u", fall.U, 0.5*math.Sqrt2/180, 0.01)
	relative(t, "its half", fall.Half(), 0.98*math.Sqrt2/180, 0.01)

	// From 10 s on to 6 min, u² is 35² + 36² + 1 times that of a reading.
	early := mustForecast(t, course(0.1, [2]float64{0, 1650}, [2]float64{10, 1649}))
	relative(t, "u from 10 s", early.End.U, 0.1*math.Sqrt(35*35+36*36+1), 0.02)
	relative(t, "half from 10 s", early.End.Half(), 0.196*math.Sqrt(35*35+36*36+1), 0.02)

	// Moments off by 9 s, while 20 Pa are lost in 180 s, are 1 Pa.
	for i := range c.Samples {
		c.Samples[i].UT = 9
	}
	c.Ending.UT = 9
	timed := mustForecast(t, c)
	relative(t, "u with moments", timed.End.U, math.Sqrt2*f.End.U, 0.01)

	// The reading itself 18 s later, and known to 3 Pa instead of 1: 2 Pa less,
	// u² at 378 s 1/3 + 288²/16200 + 9.
	for i := range c.Samples {
		c.Samples[i].UT = 0
	}
	c.Ending = core.Sample{T: 378, UP: 3}
	later := mustForecast(t, c)
	agrees(t, "end later", later.End.Value, 1608, 0.3)
	relative(t, "u later", later.End.U, math.Sqrt(1.0/3+288*288/16200.0+9), 0.01)
	c.Ending = core.Sample{T: 360, UP: 1}

	// One standard uncertainty from the limit: Φ(1) and Φ(-1).
	c.Lowest = f.End.Value + f.End.U
	agrees(t, "beyond", mustForecast(t, c).Beyond, 0.8413, 0.003)
	c.Lowest = f.End.Value - f.End.U
	agrees(t, "beyond", mustForecast(t, c).Beyond, 0.1587, 0.003)
}

// TestForecastWander is worked by hand, for a fall so slow that both forms are
// lines, with readings so good that only a pressure that wanders by 0.2 Pa in the
// root of a second is uncertain. Each stretch then tells the slope with its length
// as weight, so that only the ends count: 20 Pa in 180 s, with u² = 0.04/180
// Pa²/s². It goes on wandering from the last reading: u² at 360 s is 0.04 times
// 180 + 180²/180.
func TestForecastWander(t *testing.T) {
	c := course(1e-3, [2]float64{0, 1650}, [2]float64{70, 1643}, [2]float64{180, 1630})
	c.Wander = 0.2
	f := mustForecast(t, c)
	agrees(t, "end", f.End.Value, 1610, 0.3)
	relative(t, "u", f.End.U, 0.2*math.Sqrt(180+180), 0.02)

	// Between two readings it is on the line, but for what a bridge of 120 s
	// wanders in its middle, 60·60/120 s. What was before and the rate, which the
	// bridge takes up, do not count.
	c = course(1e-3, [2]float64{0, 1650}, [2]float64{300, 1620}, [2]float64{420, 1612})
	c.Wander = 1
	e, ok := c.AtBell()
	if !ok {
		t.Fatal("nothing is known of the bell")
	}
	agrees(t, "at the bell", e.Value, 1616, 0.1)
	relative(t, "its u", e.U, math.Sqrt(30), 0.01)

	// A wandering that is small beside the rounding does not matter, one beside
	// which the rounding is small makes all readings but the ends of no weight.
	still := course(1, [2]float64{0, 1650}, [2]float64{90, 1640}, [2]float64{180, 1630})
	u := mustForecast(t, still).End.U
	still.Wander = 1e-6
	relative(t, "u of a pressure that is as good as still", mustForecast(t, still).End.U, u, 1e-6)
}

// TestForecastByGrid works the same model out in another way: the likelihood of
// every pressure at the start and every rate on a fine grid, for each form,
// where the readings are so uncertain that it is far from normal, and no leak
// at all is as likely as one.
func TestForecastByGrid(t *testing.T) {
	const u, low, high, most, cells = 60, 1200.0, 2100.0, 0.01, 900
	c := course(u, [2]float64{0, 1650}, [2]float64{90, 1500}, [2]float64{150, 1480})
	var total, orifice, mean, beyond, fall float64
	for _, form := range []core.LeakForm{core.OrificeLeak, core.LaminarLeak} {
		for i := range cells {
			rate := most * (float64(i) + 0.5) / cells
			for j := range cells {
				p0 := low + (high-low)*(float64(j)+0.5)/cells
				var off float64
				for _, s := range c.Samples {
					off += (s.P - p0*form.Left(rate, s.T)) * (s.P - p0*form.Left(rate, s.T))
				}
				likely := math.Exp(-off / (2 * u * u))
				end := p0 * form.Left(rate, c.Bell)
				total += likely
				mean += likely * end
				fall += likely * p0 * rate
				beyond += likely * math.Erfc((end-c.Lowest)/u/math.Sqrt2) / 2
				if form == core.OrificeLeak {
					orifice += likely
				}
			}
		}
	}
	f := mustForecast(t, c)
	relative(t, "end", f.End.Value, mean/total, 1e-4)
	relative(t, "beyond", f.Beyond, beyond/total, 1e-3)
	relative(t, "orifice", f.Orifice, orifice/total, 1e-4)
	e, _ := c.Fall()
	relative(t, "fall", e.Value, fall/total, 1e-3)
}

// TestForecastTight: a suit that loses nothing is not said to take air in.
func TestForecastTight(t *testing.T) {
	const u = 2.9 // a step of 0.1 mbar
	for name, c := range map[string]core.Course{
		"one reading":  course(u, [2]float64{0, 1650}, [2]float64{120, 1650}),
		"four":         course(u, [2]float64{0, 1650}, [2]float64{60, 1650}, [2]float64{120, 1650}, [2]float64{180, 1650}),
		"a step up":    course(u, [2]float64{0, 1650}, [2]float64{120, 1660}),
		"up at length": course(u, [2]float64{0, 1650}, [2]float64{120, 1660}, [2]float64{240, 1670}),
		"far up":       course(u, [2]float64{0, 1650}, [2]float64{120, 1750}),
	} {
		f := mustForecast(t, c)
		var most, mean float64
		for _, s := range c.Samples {
			most = max(most, s.P)
			mean += s.P / float64(len(c.Samples))
		}
		fall, _ := c.Fall()
		if fall.Low < -1e-3 || fall.Value <= 0 {
			t.Errorf("%s: it falls by %+v", name, fall)
		}
		if f.End.Value > mean || f.End.High > most+3*u*max(1, (most-1650)/(2*u)) {
			t.Errorf("%s: %+v is higher than the readings", name, f.End)
		}
		if f.End.Low < 1590 || f.Beyond > 1e-9 {
			t.Errorf("%s: %+v, %g beyond, although nothing is lost", name, f.End, f.Beyond)
		}
	}
}

// TestForecastScatter: readings that scatter more than they should make the
// forecast so much wider, and such as may well be do not. The second reading is
// off the line through the others.
func TestForecastScatter(t *testing.T) {
	bent := func(off float64) core.Course {
		return course(1, [2]float64{0, 1650}, [2]float64{90, 1640 + off}, [2]float64{180, 1630})
	}
	smooth := mustForecast(t, bent(0)).End.U
	// χ² is off²·2/3: the 95 % point of one degree of freedom, 3.841, is at 2.4.
	agrees(t, "a little off", mustForecast(t, bent(2.3)).End.U/smooth, 1, 0.02)
	for _, off := range []float64{2.5, 4} {
		agrees(t, fmt.Sprint(off, " off"), mustForecast(t, bent(off)).End.U/smooth, off*math.Sqrt(2.0/3), 0.02*off)
	}
}

// TestForecastUnits: what unit pressure and time are in makes no difference.
func TestForecastUnits(t *testing.T) {
	c := course(3, [2]float64{0, 1650}, [2]float64{70, 1600}, [2]float64{150, 1560}, [2]float64{200, 1520})
	c.Wander = 0.5
	for i := range c.Samples {
		c.Samples[i].UT = 2
	}
	want := mustForecast(t, c)
	const pascals, seconds = 1 / 249.08891, 1.0 / 60
	for i := range c.Samples {
		c.Samples[i].T *= seconds
		c.Samples[i].P *= pascals
		c.Samples[i].UT *= seconds
		c.Samples[i].UP *= pascals
	}
	c.Ending.T *= seconds
	c.Ending.UP *= pascals
	c.Bell *= seconds
	c.Lowest *= pascals
	c.Wander *= pascals / math.Sqrt(seconds)
	got := mustForecast(t, c)
	relative(t, "end", got.End.Value, want.End.Value*pascals, 1e-9)
	relative(t, "u", got.End.U, want.End.U*pascals, 1e-7)
	relative(t, "low", got.End.Low, want.End.Low*pascals, 1e-8)
	relative(t, "high", got.End.High, want.End.High*pascals, 1e-8)
	relative(t, "beyond", got.Beyond, want.Beyond, 1e-6)
	relative(t, "orifice", got.Orifice, want.Orifice, 1e-7)
}

// TestNoForecast: what cannot be carried on is not.
func TestNoForecast(t *testing.T) {
	nan := math.NaN()
	for name, c := range map[string]core.Course{
		"nothing":          course(1),
		"the start alone":  course(1, [2]float64{0, 1650}),
		"one moment":       course(1, [2]float64{0, 1650}, [2]float64{0, 1640}),
		"back in time":     course(1, [2]float64{60, 1650}, [2]float64{0, 1640}),
		"certain":          course(0, [2]float64{0, 1650}, [2]float64{60, 1640}),
		"no uncertainty":   course(nan, [2]float64{0, 1650}, [2]float64{60, 1640}),
		"no pressure":      course(1, [2]float64{0, 0}, [2]float64{60, 0}),
		"run empty":        course(1, [2]float64{0, 1650}, [2]float64{60, 20}, [2]float64{90, 2}),
		"not a number":     course(1, [2]float64{0, 1650}, [2]float64{60, nan}),
		"not a number yet": course(1, [2]float64{0, nan}, [2]float64{60, 1650}),
		"no moment":        course(1, [2]float64{0, 1650}, [2]float64{nan, 1640}),
	} {
		if f, ok := c.Forecast(); ok {
			t.Errorf("%s: %+v", name, f)
		}
		if e, ok := c.Fall(); ok {
			t.Errorf("%s: falls by %+v", name, e)
		}
	}
}

// madeUp is a hold made up: a leak of some form from p0, read off a manometer
// with a step, at moments that are off by chance.
type madeUp struct {
	form      core.LeakForm
	p0, drop  float64 // Pa; the drop is that of 6 min
	step      float64 // Pa
	uMoment   float64 // s
	randomise *rand.Rand
}

func (h madeUp) pressure(at float64) float64 {
	return h.p0 * h.form.Left(h.form.Rate((h.p0-h.drop)/h.p0, 360), at)
}

func (h madeUp) read(at float64) core.Sample {
	off := h.uMoment * h.randomise.NormFloat64()
	return core.Sample{
		T:  at,
		P:  math.Round(h.pressure(at+off)/h.step) * h.step,
		UT: h.uMoment, UP: h.step / math.Sqrt(12),
	}
}

func (h madeUp) course(moments ...float64) core.Course {
	c := core.Course{Bell: 360, Ending: core.Sample{T: 360, UT: h.uMoment, UP: h.step / math.Sqrt(12)}}
	for _, at := range append([]float64{0}, moments...) {
		c.Samples = append(c.Samples, h.read(at))
	}
	c.Lowest = c.Samples[0].P - 300
	return c
}

// TestForecastCoverage plays thousands of made-up holds and counts how often the
// reading at the bell is where it was said to be, how often it is beyond the
// limit of 300 Pa, and how often the pressure at the bell was where late
// readings say. The seed is fixed.
func TestForecastCoverage(t *testing.T) {
	const trials = 2000
	for _, form := range []core.LeakForm{core.OrificeLeak, core.LaminarLeak} {
		for _, step := range []float64{1, 10} { // 0.01 and 0.1 mbar
			for _, uMoment := range []float64{0, 3} {
				t.Run(fmt.Sprintf("%s, %g Pa, %g s", form, step, uMoment), func(t *testing.T) {
					var covered, beyond, told, bracketed int
					var expected float64
					random := rand.New(rand.NewPCG(943, 1))
					for i := range trials {
						h := madeUp{form, 1600 + 100*random.Float64(), 20 + 480*random.Float64(), step, uMoment, random}
						early := make([]float64, 1+i%6)
						for k := range early {
							early[k] = 300 * (float64(k) + 0.2 + 0.8*random.Float64()) / float64(len(early))
						}
						c := h.course(early...)
						f := mustForecast(t, c)
						end := h.read(360).P
						if f.End.Low <= end && end <= f.End.High {
							covered++
						}
						if end < c.Lowest {
							beyond++
						}
						expected += f.Beyond

						if i%2 == 1 || early[len(early)-1] < 90 {
							continue
						}
						late := h.course(append(early, 420+60*random.Float64())...)
						e, ok := late.AtBell()
						if !ok {
							t.Fatalf("nothing is known of the bell from %+v", late)
						}
						told++
						if p := h.pressure(360); e.Low <= p && p <= e.High {
							bracketed++
						}
					}
					agrees(t, "readings at the bell foretold", float64(covered)/trials, 0.95, 0.02)
					agrees(t, "pressures at the bell told", float64(bracketed)/float64(told), 0.95, 0.03)
					agrees(t, "beyond the limit", float64(beyond)/trials, expected/trials, 0.02)
				})
			}
		}
	}
}

// TestAtBell: a late reading beyond the limit, and readings before the bell,
// tell what the pressure at the bell was. By hand: the root of the pressure
// falls by 1 in two minutes from 40, so that at six it was 37.
func TestAtBell(t *testing.T) {
	c := course(0.05, [2]float64{0, 1600}, [2]float64{120, 1521}, [2]float64{240, 1444}, [2]float64{480, 1296})
	e, ok := c.AtBell()
	if !ok {
		t.Fatal("nothing is known of the bell")
	}
	agrees(t, "at the bell", e.Value, 1369, 0.1)
	if !(e.Low < 1369 && 1369 < e.High) || e.U > 0.05 {
		t.Errorf("at the bell: %+v", e)
	}

	// A fall so slow that it is a line, read at 0, 4 and 8 min with u = 1 Pa: at
	// 6 min, 2 min off the middle, u² is 1/3 + 2²/(4²+4²).
	c = course(1, [2]float64{0, 1650}, [2]float64{240, 1630}, [2]float64{480, 1610})
	if e, ok = c.AtBell(); !ok {
		t.Fatal("nothing is known of the bell")
	}
	agrees(t, "at the bell", e.Value, 1620, 0.2)
	relative(t, "its u", e.U, math.Sqrt(1.0/3+1.0/8), 0.01)

	// A suit that fell fast and then hardly at all obeys neither law, and a fit of
	// it knows nothing. But it was between the readings around the bell, each with
	// 1.96 of its own 1 Pa.
	c = course(1, [2]float64{0, 1650}, [2]float64{120, 1400}, [2]float64{560, 1340})
	if odd, ok := c.AtBell(); !ok || odd.High > 1402 || odd.Low < 1338 || odd.Half() < 20 {
		t.Errorf("of an odd suit: %+v, %v", odd, ok)
	}
	c = course(1, [2]float64{0, 1650}, [2]float64{240, 1630}, [2]float64{480, 1610})

	// The forecast of a reading there has that of a reading besides.
	relative(t, "u of a reading", mustForecast(t, c).End.U, math.Sqrt(1.0/3+1.0/8+1), 0.01)
}

func TestNotAtBell(t *testing.T) {
	for name, c := range map[string]core.Course{
		"nothing":              course(1),
		"none late":            course(1, [2]float64{0, 1650}, [2]float64{100, 1600}, [2]float64{350, 1500}),
		"none before":          course(1, [2]float64{0, 1650}, [2]float64{400, 1600}, [2]float64{500, 1500}),
		"the start and it":     course(1, [2]float64{0, 1650}, [2]float64{360, 1400}),
		"the start before":     course(1, [2]float64{0, 1650}, [2]float64{400, 1400}),
		"just after the start": course(1, [2]float64{0, 1650}, [2]float64{89, 1600}, [2]float64{400, 1400}),
		"certain":              course(0, [2]float64{0, 1650}, [2]float64{100, 1600}, [2]float64{500, 1500}),
	} {
		if e, ok := c.AtBell(); ok {
			t.Errorf("%s: %+v", name, e)
		}
	}
	for name, c := range map[string]core.Course{
		"just at the bell": course(1, [2]float64{0, 1650}, [2]float64{100, 1600}, [2]float64{360, 1500}),
		"twice at it":      course(1, [2]float64{0, 1650}, [2]float64{360, 1500}, [2]float64{360, 1500}),
	} {
		if _, ok := c.AtBell(); !ok {
			t.Errorf("%s: nothing is known of the bell", name)
		}
	}
}

// TestRunForecast forecasts runs as they are read. The second is worked by
// hand: 16.5 and, two minutes on, 15.2 mbar lead to 1260 Pa by a line, to
// 1290 Pa by an exponential, 1650·(1520/1650)³, and to 1276 Pa with roots that
// fall linearly, (3·√1520 - 2·√1650)²: 3.6 or 3.74 mbar are lost. A reading is
// known to √(2.89² + 2.5²) = 3.8 Pa, from the step of 0.1 mbar and from a look
// 0 to 8 s before its post, while 1.3 mbar are lost in two minutes; the start
// besides to 2/7·100/√27 = 5.5 Pa, for the air's cooling, so 6.7 Pa. In two minutes
// the pressure wanders by 4·√2 Pa. Three times the reading, twice the start,
// twice what it wandered, once what it will in four minutes, and the reading at
// the bell, √(2.89² + 1.9²), make 23 Pa, and ± 0.44 mbar.
func TestRunForecast(t *testing.T) {
	for _, tt := range []struct {
		manometer string
		method    string
		start     string
		readings  []string // a minute apart; empty is none
		want      string   // "drop ± half", in the method's unit
		beyond    string   // in per cent
	}{
		{"M-5", "en943", "16.5", nil, "none", ""},
		{"M-5", "en943", "16.5", []string{"", "15.2"}, "3.7 ± 0.4", "100"},
		{"M-5", "en943", "16.5", []string{"15.8"}, "3.9 ± 0.8", "99"},
		{"M-5", "en943", "16.5", []string{"16.5"}, "0.3 ± 0.5", "0"},
		{"M-5", "en943", "16.5", []string{"16.0", "15.5", "15.0"}, "2.9 ± 0.3", "29"},
		{"M-1", "en943", "16.5", []string{"16.0", "15.5", "15.0"}, "2.9 ± 0.3", "29"},
		{"M-1", "en943", "16.50", []string{"16.00", "15.51", "15.03"}, "2.87 ± 0.22", "12"},
		{"M-2", "f1052", "100", []string{"95.0", "90.3"}, "18.9 ± 2.2", "16"},
		{"M-3", "osha", "4.2", []string{"3.90", "3.62"}, "0.86 ± 0.06", "75"},
	} {
		s := newScene(t)
		s.opens(newSuit(t, "HP-07"), tt.method, tt.manometer)
		s.expands()
		if f, ok := s.run.Forecast(); ok {
			t.Errorf("before the hold: %+v", f)
		}
		s.reads(tt.start)
		for _, words := range tt.readings {
			s.waits(time.Minute)
			if words != "" {
				s.reads(words)
			}
		}
		got, beyond := "none", ""
		if f, ok := s.run.Forecast(); ok {
			_, decimals, _ := strings.Cut(tt.want[strings.Index(tt.want, "±"):], ".")
			in := func(p float64) string { return core.FromPascals(p).Fixed(s.run.Method.Unit, len(decimals)) }
			got = in(f.Drop.Value) + " ± " + in(f.Drop.Half())
			beyond = fmt.Sprintf("%.0f", 100*f.Beyond)
		}
		if got != tt.want || beyond != tt.beyond {
			t.Errorf("%s from %s, %q: %s, beyond %s %%; want %s, %s %%", tt.method, tt.start, tt.readings, got, beyond, tt.want, tt.beyond)
		}
	}
}

// TestRunForecastEnds: a run that is judged has nothing to forecast, but its
// course is still there, with the readings in the order of their moments.
func TestRunForecastEnds(t *testing.T) {
	s := newScene(t)
	s.holds(newSuit(t, "HP-07"), "en943", "M-5", "16.5")
	if _, ok := s.run.Course(); !ok {
		t.Error("a hold has no course")
	}
	s.waits(3 * time.Minute)
	s.reads("14.6")
	s.does(stated("15.2", 2*time.Minute))
	s.waits(5 * time.Minute)
	s.reads("11.9")
	if o, why := s.verdict(); o != core.Fail || why != core.Bracketed {
		t.Fatalf("the verdict is %s, %s", o, why)
	}
	if f, ok := s.run.Forecast(); ok {
		t.Errorf("after the verdict: %+v", f)
	}
	c, ok := s.run.Course()
	if !ok {
		t.Fatal("the course is gone")
	}
	// A look is 4 ± 4 s before its post, and the start's as well; a stated moment
	// counts from the start's post and is known to ± 5 s. Who is called by the bell
	// looks 3 s around it.
	u, root3 := 10/math.Sqrt(12), math.Sqrt(3)
	want := core.Course{
		Samples: []core.Sample{
			{0, 1650, 4 / root3, math.Hypot(u, 2./7*100/math.Sqrt(27))},
			{124, 1520, 5 / root3, u},
			{180, 1460, 4 / root3, u},
			{480, 1190, 4 / root3, u},
		},
		Bell: 360, Ending: core.Sample{T: 364, UT: 3 / root3, UP: u},
		Lowest: 1350, Wander: 4 / math.Sqrt(60),
	}
	if fmt.Sprintf("%.6f", c) != fmt.Sprintf("%.6f", want) {
		t.Errorf("the course is %+v, want %+v", c, want)
	}
	e, ok := c.AtBell()
	if v := s.run.Verdict; !ok || v.AtBellLow != core.FromPascals(e.Low) || v.AtBellHigh != core.FromPascals(e.High) {
		t.Errorf("at the bell: %+v, %v; the verdict says %s to %s", e, ok, v.AtBellLow.In(core.Mbar, 1), v.AtBellHigh.In(core.Mbar, 1))
	}
	if _, ok := (core.Run{}).Course(); ok {
		t.Error("no run has a course")
	}
}

// TestCourseDigits: a reading is as good as the manometer's step, and as the
// last digit that was written in any of them.
func TestCourseDigits(t *testing.T) {
	for _, tt := range []struct {
		manometer string
		readings  []string
		step      float64 // Pa
	}{
		{"M-1", []string{"16.5", "16.2"}, 10},
		{"M-1", []string{"16.5", "16.25"}, 1},
		{"M-1", []string{"16.50", "16.2"}, 1},
		{"M-1", []string{"16.5", "1620 Pa"}, 1},
		{"M-5", []string{"16.50", "16.25"}, 10},
		{"M-5", []string{"16.5", "16"}, 10},
		{"M-2", []string{"168", "165"}, 9.80665},
		{"M-6", []string{"6.625", "6.50"}, 0.25 * 249.08891},
	} {
		s := newScene(t)
		s.opens(newSuit(t, "HP-07"), "en943", tt.manometer)
		s.does(core.Tick{All: true})
		s.reads("1750 Pa")
		s.waits(10 * time.Minute)
		for _, words := range tt.readings {
			s.reads(words)
			s.waits(time.Minute)
		}
		c, ok := s.run.Course()
		if !ok || len(c.Samples) != len(tt.readings) {
			t.Errorf("%s, %q: %+v, %v", tt.manometer, tt.readings, c, ok)
			continue
		}
		for _, sample := range append(c.Samples[1:], c.Ending) {
			relative(t, fmt.Sprint(tt.manometer, tt.readings), sample.UP, tt.step/math.Sqrt(12), 1e-9)
		}
		// The air has not settled at the start.
		relative(t, fmt.Sprint(tt.manometer, tt.readings), c.Samples[0].UP, math.Hypot(tt.step/math.Sqrt(12), 2./7*100/math.Sqrt(27)), 1e-9)
	}
}

func TestFromPascals(t *testing.T) {
	for pascals, want := range map[float64]core.Pressure{
		0: 0, 1: core.Pascal, -0.25: -core.Pascal / 4, 1650: 1650 * core.Pascal,
		1e-9: 1, 4e-10: 0, 1e30: math.MaxInt64, -1e30: -math.MaxInt64,
		math.Inf(1): math.MaxInt64, math.Inf(-1): -math.MaxInt64,
	} {
		if got := core.FromPascals(pascals); got != want {
			t.Errorf("%g Pa is %d nPa, want %d", pascals, got, want)
		}
	}
	if got := core.FromPascals(math.NaN()); got != 0 {
		t.Errorf("no number is %d nPa, want 0", got)
	}
}

// FuzzForecast: whatever was read, what is told of it makes sense.
func FuzzForecast(f *testing.F) {
	f.Add(1650.0, 1600.0, 1550.0, 60.0, 120.0, 10.0, 3.0)
	f.Add(1650.0, 0.0, 0.0, 60.0, 120.0, 10.0, 3.0)
	f.Add(1650.0, 1650.0, 3300.0, 1.0, 1.0, 1.0, 0.0)
	f.Add(500.0, 499.0, 1.0, 1.5, 600.0, 0.01, 60.0)
	f.Fuzz(func(t *testing.T, p0, p1, p2, t1, t2, step, uMoment float64) {
		for _, p := range []float64{p0, p1, p2} {
			if !(p >= 0 && p <= 1e5) {
				t.Skip("no pressure of a suit")
			}
		}
		if max(p1, p2) > 1.1*p0 || p2 > 1.1*p1 {
			t.Skip("no leak")
		}
		if uMoment > t1 {
			t.Skip("nobody knows which reading came first")
		}
		if !(t1 >= 1 && t1 <= t2 && t2 <= 36000 && step >= 1e-2 && step <= 1000 && uMoment >= 0 && uMoment <= 600) {
			t.Skip("no hold")
		}
		c := course(step/math.Sqrt(12), [2]float64{0, p0}, [2]float64{t1, p1}, [2]float64{t2, p2})
		for i := range c.Samples {
			c.Samples[i].UT = uMoment
		}
		sane := func(what string, e core.Estimate) {
			if !(e.U >= 0 && e.Low <= e.High && math.Abs(e.Value)+e.U+e.Half() < 1e8 && e.High >= e.Value-5*e.U && e.Low <= e.Value+5*e.U) {
				t.Errorf("%s of %+v: %+v", what, c, e)
			}
		}
		if got, ok := c.Forecast(); ok {
			sane("end", got.End)
			sane("drop", got.Drop)
			if !(got.Beyond >= 0 && got.Beyond <= 1+1e-9 && got.Orifice >= 0 && got.Orifice <= 1+1e-9) {
				t.Errorf("%+v: %+v", c, got)
			}
		}
		if e, ok := c.AtBell(); ok {
			sane("at the bell", e)
		}
		if e, ok := c.Fall(); ok {
			sane("fall", e)
			if e.Value < 0 {
				t.Errorf("%+v falls by %+v", c, e)
			}
		}
	})
}
