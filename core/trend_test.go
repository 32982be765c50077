package core_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"benchbell/core"

	"gonum.org/v1/gonum/stat"
)

// counted returns 1, 2, … n.
func counted(n int) []float64 {
	x := make([]float64, n)
	for i := range x {
		x[i] = float64(i + 1)
	}
	return x
}

// TestMannKendall holds the test to published data. S and the variance were
// worked out by hand; a Z is from its source where one is named.
func TestMannKendall(t *testing.T) {
	for _, tt := range []struct {
		name     string
		y        []float64
		s        int
		variance float64
		z        float64
		up, tol  float64
	}{
		// EPA QA/G-9S, page 109, with ties: Z 1.685. The approximation says
		// 1 − Φ(1.68495).
		{"EPA", []float64{10, 10, 10, 5, 10, 20, 18, 17, 15, 24, 15}, 22, 466. / 3, 1.68495, 0.045999, 1e-6},
		// The documentation of a published library: Z 0.357771, and 0.720515
		// both ways, by the approximation. Here ten points are done exactly: 0.364 one
		// way in Gilbert (1987), Table A18.
		{"ten", []float64{4.81, 4.17, 4.41, 3.59, 5.87, 3.83, 6.03, 4.89, 4.32, 4.69}, 5, 125, 0.357771, 0.364, 5e-4},
		// One wrong value: 21 pairs, of which one falls.
		{"seven", []float64{1, 2, 3, 4, 5, 16, 7}, 19, 133. / 3, 18 / math.Sqrt(133./3), 7. / 5040, 1e-9},
		{"five", []float64{5, 6, 11, 8, 10}, 6, 50. / 3, 5 / math.Sqrt(50./3), 0.1167, 5e-5},
	} {
		k := core.MannKendall(counted(len(tt.y)), tt.y)
		if k.S != tt.s || k.N != len(tt.y) || k.Exact != (len(tt.y) <= 10) {
			t.Errorf("%s: %+v, want S %d", tt.name, k, tt.s)
		}
		agrees(t, tt.name+": variance", k.Variance, tt.variance, 1e-9)
		agrees(t, tt.name+": Z", k.Z(), tt.z, 1e-5)
		agrees(t, tt.name+": p", k.Up, tt.up, tt.tol)
	}
	z := core.MannKendall(counted(10), []float64{4.81, 4.17, 4.41, 3.59, 5.87, 3.83, 6.03, 4.89, 4.32, 4.69}).Z()
	agrees(t, "both ways, by the approximation", 2*core.Conforms(-z, 1), 0.720515, 1e-6)

	// That is why Kendall's τ of the library is not used: it takes ties for
	// rises. 22 of 55 pairs is 0.4.
	epa := []float64{10, 10, 10, 5, 10, 20, 18, 17, 15, 24, 15}
	if tau := stat.Kendall(counted(11), epa, nil); math.Abs(tau-0.4) < 0.1 {
		t.Errorf("the library gives τ = %v now, and could be used", tau)
	}
}

// ordered returns n values in the order 1, 2, … n but for swaps of neighbours,
// so many that S is what is wanted.
func ordered(t testing.TB, n, s int) []float64 {
	t.Helper()
	y := counted(n)
	for falls := (n*(n-1)/2 - s) / 2; falls > 0; {
		before := falls
		for i := 0; i+1 < n && falls > 0; i++ {
			if y[i] < y[i+1] {
				y[i], y[i+1] = y[i+1], y[i]
				falls--
			}
		}
		if falls == before {
			t.Fatalf("no order of %d has S = %d", n, s)
		}
	}
	return y
}

// TestExactProbabilities holds the exact distribution to the table of Kendall
// that Gilbert (1987), Table A18 prints to three digits; to four they are
// counts of orders.
func TestExactProbabilities(t *testing.T) {
	for _, tt := range []struct {
		n, s int
		p    float64
	}{
		{3, 3, 0.1667},
		{4, 6, 0.0417},
		{4, 4, 0.1667},
		{4, 0, 0.6250},
		{5, 6, 0.1167},
		{5, 8, 0.0417},
		{5, 10, 0.0083},
		{6, 11, 0.0278},
		{7, 13, 0.0345},
		{8, 16, 0.0305},
		{9, 18, 0.0376},
		{10, 21, 0.0363},
	} {
		k := core.MannKendall(counted(tt.n), ordered(t, tt.n, tt.s))
		if k.S != tt.s || !k.Exact {
			t.Fatalf("%d tests: %+v, want S %d", tt.n, k, tt.s)
		}
		agrees(t, fmt.Sprintf("n %d, S %d", tt.n, tt.s), k.Up, tt.p, 5e-5)
		down := core.MannKendall(counted(tt.n), reversed(ordered(t, tt.n, tt.s)))
		agrees(t, fmt.Sprintf("n %d, S %d", tt.n, -tt.s), down.Down, tt.p, 5e-5)
		if tt.s > 0 {
			agrees(t, fmt.Sprintf("n %d, S ± %d", tt.n, tt.s), k.Both, 2*tt.p, 1e-4)
		}
	}
}

func reversed(y []float64) []float64 {
	y = slices.Clone(y)
	slices.Reverse(y)
	return y
}

// TestExactAgainstEveryOrder compares the distribution with ties of both
// variables to what comes of trying every order of the values.
func TestExactAgainstEveryOrder(t *testing.T) {
	rng := rand.New(rand.NewPCG(19, 45))
	few := func(n int) []float64 {
		v := make([]float64, n)
		for i := range v {
			v[i] = float64(rng.IntN(4))
		}
		return v
	}
	for range 60 {
		n := 1 + rng.IntN(7)
		x, y := few(n), few(n)
		k := core.MannKendall(x, y)
		var up, down, both, all, sum, squares float64
		everyOrder(slices.Clone(y), n, func(y []float64) {
			s := kendall(x, y)
			all++
			sum += float64(s)
			squares += float64(s * s)
			up += when(s >= k.S)
			down += when(s <= k.S)
			both += when(max(s, -s) >= max(k.S, -k.S))
		})
		if k.S != kendall(x, y) {
			t.Fatalf("%v over %v: S %d, want %d", y, x, k.S, kendall(x, y))
		}
		what := fmt.Sprintf("%v over %v", y, x)
		agrees(t, what+": up", k.Up, up/all, 1e-12)
		agrees(t, what+": down", k.Down, down/all, 1e-12)
		agrees(t, what+": both", k.Both, both/all, 1e-12)
		agrees(t, what+": mean", sum/all, 0, 1e-12)
		agrees(t, what+": variance", k.Variance, squares/all, 1e-9)
	}
}

func when(yes bool) float64 {
	if yes {
		return 1
	}
	return 0
}

// kendall counts rises less falls, in a way that has nothing of the code's.
func kendall(x, y []float64) (s int) {
	for i := range x {
		for j := range x {
			if x[i] < x[j] && y[i] < y[j] {
				s++
			}
			if x[i] < x[j] && y[i] > y[j] {
				s--
			}
		}
	}
	return s
}

// everyOrder calls f with every order of the first n values (Heap's algorithm).
func everyOrder(y []float64, n int, f func([]float64)) {
	if n <= 1 {
		f(y)
		return
	}
	for i := range n {
		everyOrder(y, n-1, f)
		if n%2 == 0 {
			y[i], y[n-1] = y[n-1], y[i]
		} else {
			y[0], y[n-1] = y[n-1], y[0]
		}
	}
}

// TestApproximationMeetsExact: from ten tests to eleven the way to count
// changes, and the probabilities must not.
func TestApproximationMeetsExact(t *testing.T) {
	// For n = 10, S = 21 the approximation gives 1 − Φ(20/√125) = 0.0368; the
	// exact one 0.0363. For eleven, S = 23 of 1 − Φ(22/√165) = 0.0434.
	agrees(t, "ten", core.MannKendall(counted(10), ordered(t, 10, 21)).Up, 0.0363, 5e-5)
	eleven := core.MannKendall(counted(11), ordered(t, 11, 23))
	agrees(t, "eleven", eleven.Up, 0.0434, 5e-5)
	agrees(t, "eleven, both ways", eleven.Both, 0.0868, 1e-4)
	agrees(t, "eleven, down", eleven.Down, core.Conforms(24/math.Sqrt(165), 1), 1e-12)
	even := core.MannKendall(counted(13), ordered(t, 13, 0))
	agrees(t, "S of 0, both ways", even.Both, 1, 0)
	if even.Up <= 0.5 || even.Up != even.Down {
		t.Errorf("S of 0: up %v, down %v", even.Up, even.Down)
	}
}

// TestKendallLaws: what the test must say whatever the data are.
func TestKendallLaws(t *testing.T) {
	rng := rand.New(rand.NewPCG(16, 4))
	for range 200 {
		n := 1 + rng.IntN(16)
		x, y := make([]float64, n), make([]float64, n)
		for i := range x {
			x[i], y[i] = float64(rng.IntN(20)), float64(rng.IntN(8))
		}
		k := core.MannKendall(x, y)
		same := func(what string, got, want core.Kendall) {
			t.Helper()
			for _, d := range []float64{float64(got.S - want.S), got.Variance - want.Variance, got.Up - want.Up, got.Down - want.Down, got.Both - want.Both} {
				if math.Abs(d) > 1e-9 {
					t.Fatalf("%v over %v: %s gives %+v, want %+v", y, x, what, got, want)
				}
			}
		}
		// Any growing function of the drops or of the days changes nothing.
		same("the exponential", core.MannKendall(x, mapped(y, math.Exp)), k)
		same("a cube of the days", core.MannKendall(mapped(x, func(x float64) float64 { return x*x*x - 7 }), y), k)
		// The order in which the points are given does not either.
		px, py := slices.Clone(x), slices.Clone(y)
		rng.Shuffle(n, func(i, j int) { px[i], px[j], py[i], py[j] = px[j], px[i], py[j], py[i] })
		same("another order", core.MannKendall(px, py), k)
		// Days and drops are alike to it.
		same("days for drops", core.MannKendall(y, x), k)
		// The other way round, up is down.
		turned := k
		turned.S, turned.Up, turned.Down = -k.S, k.Down, k.Up
		same("drops negated", core.MannKendall(x, mapped(y, func(y float64) float64 { return -y })), turned)
		same("days negated", core.MannKendall(mapped(x, func(x float64) float64 { return -x }), y), turned)
		// What is observed is never impossible, and one of both ways is likely.
		if k.Up <= 0 || k.Down <= 0 || k.Both <= 0 || k.Up > 1+1e-12 || k.Down > 1+1e-12 || k.Both > 1+1e-12 || k.Up+k.Down < 1-1e-9 {
			t.Fatalf("%v over %v: %+v", y, x, k)
		}
	}
	two, three := make([]float64, 2), make([]float64, 3)
	for _, k := range []core.Kendall{core.MannKendall(nil, nil), core.MannKendall(two, two), core.MannKendall(three, three), core.MannKendall(counted(12), make([]float64, 12)), core.MannKendall(make([]float64, 12), counted(12)), core.MannKendall(counted(7), make([]float64, 7))} {
		if k.S != 0 || k.Up != 1 || k.Down != 1 || k.Both != 1 || k.Z() != 0 || math.Abs(k.Variance) > 1e-9 {
			t.Errorf("nothing varies, but %+v", k)
		}
	}
}

func mapped(v []float64, f func(float64) float64) []float64 {
	v = slices.Clone(v)
	for i := range v {
		v[i] = f(v[i])
	}
	return v
}

func line(t testing.TB, x, y []float64, tail float64) core.Line {
	t.Helper()
	l, ok := core.TheilSen(x, y, tail)
	if !ok {
		t.Fatalf("no line through %v over %v", y, x)
	}
	return l
}

// TestTheilSen holds slope, intercept and interval to published data.
func TestTheilSen(t *testing.T) {
	// Sen (1968): slope 4, and 26/7 to 35/8 (statistical packages print 3.71
	// and 4.38 for his data). The intercept is Conover's. Sen leaves out three
	// slopes of 21 at either end, those from which S would be 15 or more, and
	// with 13 by Kendall's table calls that 93 %. By the same table an S of 15
	// has 0.0151 and one of 13 has 0.0345 each way: his interval is one of
	// 97 %, and that of 93 % leaves out four, to 15/4 and 46/11.
	x, y := []float64{1, 2, 3, 4, 10, 12, 18}, []float64{9, 15, 19, 20, 45, 55, 78}
	l := line(t, x, y, 0.0152)
	agrees(t, "Sen's slope", l.Slope, 4, 1e-12)
	agrees(t, "Sen's intercept", l.Intercept, 4, 1e-12)
	agrees(t, "Sen's lower limit", l.Low, 26./7, 1e-12)
	agrees(t, "Sen's upper limit", l.High, 35./8, 1e-12)
	agrees(t, "its confidence", l.Confidence, 1-2*0.0151, 1e-4)
	l = line(t, x, y, 0.035)
	agrees(t, "the lower limit with 93 %", l.Low, 15./4, 1e-12)
	agrees(t, "the upper limit with 93 %", l.High, 46./11, 1e-12)
	agrees(t, "its confidence", l.Confidence, 1-2*0.0345, 1e-4)

	for _, tt := range []struct {
		name  string
		y     []float64
		slope float64
	}{
		{"seven", []float64{1, 2, 3, 4, 5, 16, 7}, 1},
		{"five", []float64{5, 6, 11, 8, 10}, 1.125},
		// The documentation of a published library.
		{"ten", []float64{4.81, 4.17, 4.41, 3.59, 5.87, 3.83, 6.03, 4.89, 4.32, 4.69}, 0.04},
		// By that of another one: the median of 1/2, 1, 0 over 0, 1, 2.
		{"three", []float64{0, 1, 1}, 0.5},
	} {
		l := line(t, counted(len(tt.y)), tt.y, 0.05)
		agrees(t, tt.name, l.Slope, tt.slope, 1e-9)
	}

	// JCGM 100, H.3: corrections of a thermometer against its reading. Least
	// squares gives −0.171204 °C at 20 °C and 0.00218270 a degree, u 0.000668,
	// s 0.00350, and −0.149377 at 30 °C; from a line that few bad points move
	// one expects the same within about one u.
	x = []float64{21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511}
	y = []float64{-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160}
	at20, slope := stat.LinearRegression(mapped(x, func(x float64) float64 { return x - 20 }), y, nil, false)
	agrees(t, "least squares at 20 °C", at20, -0.171204, 2e-6)
	agrees(t, "least squares, slope", slope, 0.00218270, 2e-8)
	agrees(t, "least squares at 30 °C", at20+10*slope, -0.149377, 2e-6)
	s := 0.0
	for i := range x {
		r := y[i] - at20 - slope*(x[i]-20)
		s += r * r / 9
	}
	agrees(t, "least squares, s", math.Sqrt(s), 0.00349756, 1e-7)
	l = line(t, x, y, 0.025)
	agrees(t, "slope", l.Slope, 0.00218270, 0.000668)
	agrees(t, "at 30 °C", l.At(30), -0.149377, 0.0041)
	if l.Low > slope || l.High < slope || l.Low < 0 {
		t.Errorf("the interval is %v to %v", l.Low, l.High)
	}
}

// TestSlopeInterval checks how many slopes are left out at either end. Of n
// points without ties there are N slopes; with C the least S that is refused,
// the interval is from the (N−C)/2+1-th to the same from the end.
func TestSlopeInterval(t *testing.T) {
	for _, tt := range []struct {
		n          int
		tail       float64
		out        int // slopes left out at either end; −1 is all
		confidence float64
	}{
		{3, 0.05, -1, 1},              // at best 1/6
		{4, 0.05, 0, 1 - 2*0.0417},    // C = 6 of 6
		{4, 0.025, -1, 1},             // 1/24 is more than that
		{4, 1. / 24, 0, 1 - 2*0.0417}, // and just as much as this
		{5, 0.05, 1, 1 - 2*0.0417},    // C = 8 of 10
		{5, 0.025, 0, 1 - 2*0.0083},   // C = 10
		{6, 0.05, 2, 1 - 2*0.0278},    // C = 11 of 15
		{8, 0.05, 6, 1 - 2*0.0305},    // C = 16 of 28
		{10, 0.05, 12, 1 - 2*0.0363},  // C = 21 of 45
		// By the approximation C = 1 + 1.6449·√165 = 22.13 of 55, so that 16
		// are left out; Gilbert's M₁ is (55 − 1.6449·√165)/2 = 16.9.
		{11, 0.05, 16, 0.90},
		// C = 1 + 1.96·√(20·19·45/18) = 61.4 of 190: 64.
		{20, 0.025, 64, 0.95},
	} {
		// No two slopes of 2ⁱ over i are alike.
		x, y := counted(tt.n), mapped(counted(tt.n), math.Exp2)
		var slopes []float64
		for i := range x {
			for j := range i {
				slopes = append(slopes, (y[i]-y[j])/(x[i]-x[j]))
			}
		}
		slices.Sort(slopes)
		low, high := math.Inf(-1), math.Inf(1)
		if tt.out >= 0 {
			low, high = slopes[tt.out], slopes[len(slopes)-1-tt.out]
		}
		l := line(t, x, y, tt.tail)
		if l.Low != low || l.High != high {
			t.Errorf("%d points, %v: %v to %v, want %v to %v", tt.n, tt.tail, l.Low, l.High, low, high)
		}
		agrees(t, fmt.Sprintf("%d points, %v: confidence", tt.n, tt.tail), l.Confidence, tt.confidence, 1.2e-4)
	}
}

// TestSlopeIntervalIsKendallsTest: a slope is in the interval just if the
// residuals from it show no trend. So is the definition of Sen.
func TestSlopeIntervalIsKendallsTest(t *testing.T) {
	rng := rand.New(rand.NewPCG(19, 68))
	const tail = 0.05
	for range 120 {
		n := 2 + rng.IntN(13)
		x, y := make([]float64, n), make([]float64, n)
		for i := range x {
			x[i], y[i] = float64(rng.IntN(30)), rng.NormFloat64()
		}
		l, ok := core.TheilSen(x, y, tail)
		if !ok {
			continue
		}
		for range 12 {
			slope := l.Slope + rng.NormFloat64()*0.2
			residuals := make([]float64, n)
			for i := range x {
				residuals[i] = y[i] - slope*x[i]
			}
			k := core.MannKendall(x, residuals)
			if in := l.Low <= slope && slope <= l.High; in != (k.Up > tail && k.Down > tail) {
				t.Fatalf("%v over %v: %v is in %v to %v: %v, but %+v", y, x, slope, l.Low, l.High, in, k)
			}
		}
	}
}

// TestLineLaws: the line follows what is done to the points.
func TestLineLaws(t *testing.T) {
	rng := rand.New(rand.NewPCG(19, 50))
	for range 200 {
		n := 2 + rng.IntN(13)
		x, y := make([]float64, n), make([]float64, n)
		for i := range x {
			x[i], y[i] = float64(i)+rng.Float64(), 100*rng.Float64()
		}
		l := line(t, x, y, 0.05)
		same := func(what string, got, want float64) {
			t.Helper()
			if got != want && math.Abs(got-want) > 1e-7*(1+math.Abs(want)) {
				t.Fatalf("%v over %v: %s is %v, want %v", y, x, what, got, want)
			}
		}
		same("the median", l.At(l.X), l.Y)
		same("at zero", l.At(0), l.Intercept)
		if l.Low > l.Slope || l.High < l.Slope {
			t.Fatalf("%v is not within %v and %v", l.Slope, l.Low, l.High)
		}
		steeper := line(t, x, addLine(x, y, 10, 3), 0.05)
		same("the slope of a line added", steeper.Slope, l.Slope+3)
		same("its lower limit", steeper.Low, l.Low+3)
		same("its upper limit", steeper.High, l.High+3)
		upside := line(t, x, mapped(y, func(y float64) float64 { return -2 * y }), 0.05)
		same("the slope upside down", upside.Slope, -2*l.Slope)
		same("its lower limit", upside.Low, -2*l.High)
		same("its upper limit", upside.High, -2*l.Low)
		later := line(t, mapped(x, func(x float64) float64 { return x/2 + 50 }), y, 0.05)
		same("the slope in half the time", later.Slope, 2*l.Slope)
	}
	// A single wrong point moves the line little: its slope not at all, and its
	// height by half a step, since the median of y is the next one now.
	x, y := counted(9), mapped(counted(9), func(x float64) float64 { return 10 + 2*x })
	y[4] = 1e6
	if l := line(t, x, y, 0.05); l.Slope != 2 || l.Intercept != 12 {
		t.Errorf("a wrong point makes the line %+v", l)
	}
	if _, ok := core.TheilSen([]float64{3, 3, 3}, []float64{1, 2, 3}, 0.05); ok {
		t.Error("points of one day make a line")
	}
	if _, ok := core.TheilSen(nil, nil, 0.05); ok {
		t.Error("no points make a line")
	}
}

func addLine(x, y []float64, a, b float64) []float64 {
	y = slices.Clone(y)
	for i := range y {
		y[i] += a + b*x[i]
	}
	return y
}

// past returns tests every so many days from New Year 2020 on.
func past(t testing.TB, days int, drops ...float64) []core.PastTest {
	t.Helper()
	first := mustDate(t, "2020-01-01")
	var tests []core.PastTest
	for i, d := range drops {
		tests = append(tests, core.PastTest{Day: first.AddDays(i * days), Drop: d})
	}
	return tests
}

// TestTrendOf is a table of histories against a limit of 300 Pa.
func TestTrendOf(t *testing.T) {
	for _, tt := range []struct {
		name     string
		tests    []core.PastTest
		tendency core.Tendency
		perYear  float64
		reaches  string // empty is no date
		earliest string
		latest   string
	}{
		{"none", nil, core.TooFewTests, 0, "", "", ""},
		{"one", past(t, 100, 100), core.TooFewTests, 0, "", "", ""},
		{"three, ever worse", past(t, 100, 100, 110, 120), core.TooFewTests, 36.525, "", "", ""},
		// 0.1 Pa a day from 100 Pa: 300 Pa after 2000 days, 2025-06-23. With
		// no scatter there is nothing for an interval.
		{"four, ever worse", past(t, 100, 100, 110, 120, 130), core.Rising, 36.525, "2025-06-23", "2025-06-23", "2025-06-23"},
		{"four, two alike", past(t, 100, 100, 110, 110, 120), core.NoTrend, (5 + 20./3) / 2 * 3.6525, "", "", ""}, // 1/12
		{"four, one better", past(t, 100, 100, 120, 110, 130), core.NoTrend, 7.5 * 3.6525, "", "", ""},            // 4/24
		{"four, ever better", past(t, 100, 130, 120, 110, 100), core.Falling, -36.525, "", "", ""},
		{"always the same", past(t, 100, 100, 100, 100, 100, 100, 100), core.NoTrend, 0, "", "", ""},
		// Slopes, ×100 days: 16, 11, 8, 9 from the first; 6, 4, 20/3 from the
		// second; 2, 7 from the third; 12 from the fourth. In order 2, 4, 6,
		// 20/3, 7, 8, 9, 11, 12, 16: the median is 7.5, and of five tests with
		// one left out at either end the interval is 4 to 12. Through day 200
		// and 122 Pa, 300 Pa are 178 Pa away: 2373.3, 4450 and 1483.3 days on.
		{"five with scatter", past(t, 100, 100, 116, 122, 124, 136), core.Rising, 7.5 * 3.6525, "2027-01-17", "2024-08-10", "2032-09-24"},
		// The first two tests were a year apart, then they came in another
		// order; the order they are given in does not matter.
		{"out of order", shuffled(past(t, 100, 100, 110, 120, 130)), core.Rising, 36.525, "2025-06-23", "2025-06-23", "2025-06-23"},
		// Beyond the limit already: 0.1 Pa a day, 310 Pa at first; never below.
		{"beyond from the first", past(t, 100, 310, 320, 330, 340), core.Rising, 36.525, "2020-01-01", "2020-01-01", "2020-01-01"},
		// 300 Pa is 20 Pa below the middle of 320 on day 200; slopes in order
		// as above, with 4 and 12 and 7.5 in 100 days: 266.7, 166.7 and 500
		// days before, so before the first test, and 33.3 days after it.
		{"beyond since", past(t, 100, 298, 314, 320, 322, 334), core.Rising, 7.5 * 3.6525, "2020-01-01", "2020-01-01", "2020-02-04"},
		// Here it is 2.5 Pa below: 62.5, 33.3 and 20.8 days before day 200.
		{"beyond of late", past(t, 100, 280.5, 296.5, 302.5, 304.5, 316.5), core.Rising, 7.5 * 3.6525, "2020-06-15", "2020-05-17", "2020-06-29"},
		// 0.001 Pa a day: 200 000 days are out of sight.
		{"slow", past(t, 100, 100, 100.1, 100.2, 100.3), core.Rising, 0.36525, "", "", ""},
		// 100 years are 36 525 days from the last test; 200/0.0055 are 36 363.6.
		{"slow, in sight", past(t, 100, 100, 100.55, 101.1, 101.65), core.Rising, 2.008875, "2119-07-24", "2119-07-24", "2119-07-25"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			got := core.TrendOf(tt.tests, 300)
			if got.Tests != len(tt.tests) || got.Tendency != tt.tendency {
				t.Errorf("%d tests are %q, want %d and %q", got.Tests, got.Tendency, len(tt.tests), tt.tendency)
			}
			agrees(t, "a year", got.PerYear(), tt.perYear, 1e-9)
			for what, d := range map[string]struct {
				got  core.Date
				want string
			}{"reaches": {got.Reaches, tt.reaches}, "earliest": {got.Earliest, tt.earliest}, "latest": {got.Latest, tt.latest}} {
				want := core.Date{}
				if d.want != "" {
					want = mustDate(t, d.want)
				}
				if d.got != want {
					t.Errorf("%s %v, want %v", what, d.got, want)
				}
			}
		})
	}
}

func shuffled(tests []core.PastTest) []core.PastTest {
	rand.New(rand.NewPCG(1, 1)).Shuffle(len(tests), func(i, j int) { tests[i], tests[j] = tests[j], tests[i] })
	return tests
}

// TestTrendIsOfTheWholeHistory: the trend is that of Kendall's test, the dates
// that of the line through the tests, and none of it changes if the drops are
// shares of what is allowed instead of pascals.
func TestTrendIsOfTheWholeHistory(t *testing.T) {
	rng := rand.New(rand.NewPCG(300, 360))
	seen := make(map[core.Tendency]int)
	for range 400 {
		day, n := mustDate(t, "2015-06-30"), 1+rng.IntN(14)
		growth := float64(rng.IntN(3) - 1)
		var pascals, shares []core.PastTest
		for i := range n {
			day = day.AddDays(rng.IntN(300))
			drop := 150 + 10*growth*float64(i) + 20*rng.NormFloat64()
			pascals = append(pascals, core.PastTest{Day: day, Drop: drop})
			shares = append(shares, core.PastTest{Day: day, Drop: drop / 512}) // exact
		}
		got, same := core.TrendOf(pascals, 512), core.TrendOf(shuffled(shares), 1)
		seen[got.Tendency]++
		if got.Tendency != same.Tendency || got.Kendall.S != same.Kendall.S || got.Reaches != same.Reaches || got.Earliest != same.Earliest || got.Latest != same.Latest {
			t.Fatalf("%v: %+v, as shares %+v", pascals, got, same)
		}
		want := core.NoTrend
		switch {
		case n < 4:
			want = core.TooFewTests
		case got.Kendall.Up <= 0.05:
			want = core.Rising
		case got.Kendall.Down <= 0.05:
			want = core.Falling
		}
		if got.Tendency != want {
			t.Fatalf("%v is %q, want %q", pascals, got.Tendency, want)
		}
		if got.Tendency != core.Rising {
			if got.Reaches != (core.Date{}) || got.Earliest != (core.Date{}) || got.Latest != (core.Date{}) {
				t.Fatalf("%v is %q, and reaches the limit %v", pascals, got.Tendency, got)
			}
			continue
		}
		// Without ties among the drops the interval is above zero just if the
		// trend is claimed, and the dates are in order.
		if got.Line.Low < 0 || got.Earliest.After(got.Reaches) || !got.Latest.IsZero() && got.Latest.Before(got.Reaches) {
			t.Fatalf("%v: %+v", pascals, got)
		}
		// On the day before the line is within the limit, a day on beyond it.
		if d := float64(got.Reaches.Days(pascals[0].Day)); d > 0 && (got.Line.At(d) > 512+1e-6 || got.Line.At(d+1) < 512-1e-6) {
			t.Fatalf("%v: %v is %v on the day it reaches 512", pascals, got.Reaches, got.Line.At(d))
		}
	}
	for _, k := range []core.Tendency{core.TooFewTests, core.NoTrend, core.Rising, core.Falling} {
		if seen[k] < 20 {
			t.Errorf("%q came up %d times only", k, seen[k])
		}
	}
}

// TestTrendOfTies: a rise made of a few steps, with most tests alike, is a
// trend, but its slope is zero and reaches nothing; and one with an interval
// down to zero has no latest day.
func TestTrendOfTies(t *testing.T) {
	steps := core.TrendOf(past(t, 100, 1, 1, 1, 1, 1, 1, 1, 1, 2, 2), 3)
	if steps.Tendency != core.Rising || steps.Line.Slope != 0 || !steps.Reaches.IsZero() {
		t.Errorf("two steps up at the end: %+v", steps)
	}
	// 2 of 10·9/2 orders have both of the two at the end: 1/45.
	agrees(t, "two steps up at the end", steps.Kendall.Up, 1./45, 1e-12)
	open := core.TrendOf(past(t, 100, 1, 1, 1, 2, 2, 2), 3)
	agrees(t, "three and three", open.Kendall.Up, 1./20, 1e-12)
	if open.Tendency != core.Rising || open.Reaches.IsZero() || open.Line.Low != 0 || !open.Latest.IsZero() || open.Earliest.IsZero() {
		t.Errorf("three and three: %+v", open)
	}
	if got := core.TrendOf(past(t, 100, 2, 2, 2, 1, 1, 1), 3); got.Tendency != core.Falling {
		t.Errorf("three and three, better: %+v", got)
	}
	// Tests of one day have no order: these are two days, not eight tests.
	day := past(t, 100, 1, 2)
	many := slices.Concat(slices.Repeat(day[:1], 4), slices.Repeat(day[1:], 4))
	agrees(t, "two days", core.TrendOf(many, 3).Kendall.Up, 1./70, 1e-12)
	if got := core.TrendOf(slices.Repeat(day[:1], 8), 3); got.Tendency != core.NoTrend || got.Line != (core.Line{}) {
		t.Errorf("one day: %+v", got)
	}
}

// TestTrendClaims: where there is no trend, one is claimed at most once in
// twenty each way.
func TestTrendClaims(t *testing.T) {
	rng := rand.New(rand.NewPCG(1987, 16))
	for _, n := range []int{4, 5, 7, 10, 11} {
		const histories = 400
		rising, falling := 0, 0
		for range histories {
			drops := make([]float64, n)
			for i := range drops {
				drops[i] = math.Round(10 * rng.NormFloat64()) // with ties
			}
			switch core.TrendOf(past(t, 90, drops...), 1000).Tendency {
			case core.Rising:
				rising++
			case core.Falling:
				falling++
			}
		}
		// Three standard deviations above 5 % are 8.3 %.
		if rising > 33 || falling > 33 {
			t.Errorf("%d tests: %d rising and %d falling of %d", n, rising, falling, histories)
		}
	}
}

// TestNoNumbers: what is no number gives no claim, and no panic.
func TestNoNumbers(t *testing.T) {
	for _, bad := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		for n := range 13 {
			drops := make([]float64, n)
			for i := range drops {
				drops[i] = bad
			}
			if got := core.TrendOf(past(t, 100, drops...), 300); !got.Reaches.IsZero() || got.Tendency == core.Rising {
				t.Errorf("%d of %v: %+v", n, bad, got)
			}
			if got := core.StrayOf(past(t, 100, drops...), 1); got.Departure == core.Above || got.Departure == core.Below {
				t.Errorf("%d of %v: %+v", n, bad, got)
			}
		}
		if got := core.TrendOf(past(t, 100, 1, 2, 3, 4, 5), bad); !got.Reaches.IsZero() && !math.IsInf(bad, -1) {
			t.Errorf("a limit of %v is reached: %+v", bad, got)
		}
	}
}

// TestStrayOf is a table of histories with a last test; the standard
// uncertainty of a drop is 5 Pa if none is said.
func TestStrayOf(t *testing.T) {
	for _, tt := range []struct {
		name        string
		drops       []float64
		uncertainty float64
		departure   core.Departure
		expected    float64
		spread      float64
	}{
		{"none", nil, 5, core.CannotTell, 0, 0},
		{"five", []float64{100, 100, 100, 100, 200}, 5, core.CannotTell, 0, 0},
		{"no uncertainty", []float64{100, 100, 100, 100, 100, 200}, 0, core.CannotTell, 0, 0},
		{"all alike", []float64{100, 100, 100, 100, 100, 100}, 5, core.InLine, 100, 5},
		// 3.5 times 5 Pa are 17.5.
		{"within the uncertainty", []float64{100, 100, 100, 100, 100, 117}, 5, core.InLine, 100, 5},
		{"beyond the uncertainty", []float64{100, 100, 100, 100, 100, 118}, 5, core.Above, 100, 5},
		{"better by as much", []float64{100, 100, 100, 100, 100, 83}, 5, core.InLine, 100, 5},
		{"better by more", []float64{100, 100, 100, 100, 100, 82}, 5, core.Below, 100, 5},
		// A trend that goes on is no departure, one that breaks off is.
		{"a trend", []float64{100, 110, 120, 130, 140, 150}, 5, core.InLine, 150, 5},
		{"a trend that leaps", []float64{100, 110, 120, 130, 140, 170}, 5, core.Above, 150, 5},
		{"a trend that ends", []float64{100, 110, 120, 130, 140, 130}, 5, core.Below, 150, 5},
		// One bad test of before does not hide another.
		{"a second bad one", []float64{100, 100, 180, 100, 100, 100, 100, 180}, 5, core.Above, 100, 5},
		// A scatter of its own: the slope is zero. The middle of four times 90,
		// four times 110 and the last is 110; four are as much, four are 20
		// off, and the last is more: 20 is the middle, the spread
		// 1.4826·20·√(9/7) = 33.62, and 117.7 Pa may be.
		{"a suit that scatters", []float64{110, 90, 90, 110, 110, 90, 90, 110, 227}, 5, core.InLine, 110, 33.622},
		{"a suit that scatters, and more", []float64{110, 90, 90, 110, 110, 90, 90, 110, 228}, 5, core.Above, 110, 33.622},
	} {
		got := core.StrayOf(past(t, 100, tt.drops...), tt.uncertainty)
		if got.Departure != tt.departure || got.Tests != len(tt.drops) {
			t.Errorf("%s: %+v, want %q", tt.name, got, tt.departure)
		}
		agrees(t, tt.name+": expected", got.Expected, tt.expected, 1e-9)
		agrees(t, tt.name+": spread", got.Spread, tt.spread, 0.005)
		if got.Departure != core.CannotTell {
			agrees(t, tt.name+": off", got.Off, tt.drops[len(tt.drops)-1]-tt.expected, 1e-9)
		}
	}
}

// TestStrayOfOneDay: tests of one day have no line.
func TestStrayOfOneDay(t *testing.T) {
	if got := core.StrayOf(past(t, 0, 100, 100, 100, 100, 100, 200), 5); got != (core.Stray{Tests: 6, Departure: core.CannotTell}) {
		t.Errorf("six tests of one day: %+v", got)
	}
}

// TestStraysAreRare: normally distributed drops, with a trend or without, are
// called off rarely; six standard deviations mostly are not missed.
func TestStraysAreRare(t *testing.T) {
	rng := rand.New(rand.NewPCG(35, 10))
	for _, tt := range []struct{ n, most, found int }{{6, 50, 350}, {8, 40, 550}, {12, 30, 700}, {20, 20, 850}} {
		called, found := 0, 0
		for i := range 2000 {
			drops := make([]float64, tt.n)
			for j := range drops {
				drops[j] = rng.NormFloat64() + float64(j*(i%3))
			}
			if core.StrayOf(past(t, 100, drops...), 0.01).Departure != core.InLine {
				called++
			}
			drops[tt.n-1] += 6
			if core.StrayOf(past(t, 100, drops...), 0.01).Departure == core.Above {
				found++
			}
		}
		if called > 2*tt.most || found < 2*tt.found {
			t.Errorf("%d tests: %d called off and %d found of 2000", tt.n, called, found)
		}
	}
}
