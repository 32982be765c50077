package estimate_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"benchbell/core/estimate"

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
		k := estimate.MannKendall(counted(len(tt.y)), tt.y)
		if k.S != tt.s {
			t.Errorf("%s: %+v, want S %d", tt.name, k, tt.s)
		}
		agrees(t, tt.name+": variance", k.Variance, tt.variance, 1e-9)
		agrees(t, tt.name+": Z", k.Z(), tt.z, 1e-5)
		agrees(t, tt.name+": p", k.Up, tt.up, tt.tol)
	}
	z := estimate.MannKendall(counted(10), []float64{4.81, 4.17, 4.41, 3.59, 5.87, 3.83, 6.03, 4.89, 4.32, 4.69}).Z()
	agrees(t, "both ways, by the approximation", 2*estimate.Conforms(-z, 1), 0.720515, 1e-6)

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
		k := estimate.MannKendall(counted(tt.n), ordered(t, tt.n, tt.s))
		if k.S != tt.s {
			t.Fatalf("%d tests: %+v, want S %d", tt.n, k, tt.s)
		}
		agrees(t, fmt.Sprintf("n %d, S %d", tt.n, tt.s), k.Up, tt.p, 5e-5)
		down := estimate.MannKendall(counted(tt.n), reversed(ordered(t, tt.n, tt.s)))
		agrees(t, fmt.Sprintf("n %d, S %d", tt.n, -tt.s), down.Down, tt.p, 5e-5)
	}
}

func reversed(y []float64) []float64 {
	y = slices.Clone(y)
	slices.Reverse(y)
	return y
}

// TestExactAgainstEveryOrder compares the probabilities to what comes of trying
// every order of the values. With ties of one variable they are exact; with ties
// of both, what is claimed by them is claimed by the exact ones.
func TestExactAgainstEveryOrder(t *testing.T) {
	rng := rand.New(rand.NewPCG(19, 45))
	few := func(n int) []float64 {
		v := make([]float64, n)
		for i := range v {
			v[i] = float64(rng.IntN(4))
		}
		return v
	}
	for i := range 150 {
		n := 1 + rng.IntN(7)
		x, y := few(n), few(n)
		exact := i%3 > 0
		switch i % 3 {
		case 1:
			x = counted(n)
		case 2:
			y = counted(n)
			rng.Shuffle(n, func(i, j int) { y[i], y[j] = y[j], y[i] })
		}
		k := estimate.MannKendall(x, y)
		var up, down, all, sum, squares float64
		everyOrder(slices.Clone(y), n, func(y []float64) {
			s := kendall(x, y)
			all++
			sum += float64(s)
			squares += float64(s * s)
			up += when(s >= k.S)
			down += when(s <= k.S)
		})
		if k.S != kendall(x, y) {
			t.Fatalf("%v over %v: S %d, want %d", y, x, k.S, kendall(x, y))
		}
		what := fmt.Sprintf("%v over %v", y, x)
		if exact {
			agrees(t, what+": up", k.Up, up/all, 1e-12)
			agrees(t, what+": down", k.Down, down/all, 1e-12)
		} else if k.Up <= 0.05 && up/all > 0.05 || k.Down <= 0.05 && down/all > 0.05 {
			t.Errorf("%s: %+v claims more than %v and %v", what, k, up/all, down/all)
		}
		agrees(t, what+": mean", sum/all, 0, 1e-12)
		agrees(t, what+": variance", k.Variance, squares/all, 1e-9)
	}
}

// TestTiesOfBoth tries every pattern of ties of both variables up to six tests,
// and every S: where ties of both make a trend, the exact distribution does too.
func TestTiesOfBoth(t *testing.T) {
	for n := 2; n <= 6; n++ {
		for px := range 1 << (n - 1) {
			for py := range 1 << (n - 1) {
				x, y := patterned(n, px), patterned(n, py)
				seen, all := make(map[int]float64), 0.0
				everyOrder(slices.Clone(y), n, func(y []float64) {
					seen[kendall(x, y)]++
					all++
				})
				tried := make(map[int]bool)
				everyOrder(slices.Clone(y), n, func(y []float64) {
					s := kendall(x, y)
					if tried[s] {
						return
					}
					tried[s] = true
					var up float64
					for other, ways := range seen {
						up += when(other >= s) * ways / all
					}
					if k := estimate.MannKendall(x, y); up > 0.05 && k.Up <= 0.05 {
						t.Errorf("%v over %v: %v, exactly %v", y, x, k.Up, up)
					}
				})
			}
		}
	}
}

// patterned returns n values in order, of which neighbours are alike where a bit
// is set.
func patterned(n, pattern int) []float64 {
	v := make([]float64, n)
	for i := 1; i < n; i++ {
		v[i] = v[i-1] + when(pattern&(1<<(i-1)) == 0)
	}
	return v
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
	agrees(t, "ten", estimate.MannKendall(counted(10), ordered(t, 10, 21)).Up, 0.0363, 5e-5)
	eleven := estimate.MannKendall(counted(11), ordered(t, 11, 23))
	agrees(t, "eleven", eleven.Up, 0.0434, 5e-5)
	agrees(t, "eleven, down", eleven.Down, estimate.Conforms(24/math.Sqrt(165), 1), 1e-12)
	even := estimate.MannKendall(counted(13), ordered(t, 13, 0))
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
		k := estimate.MannKendall(x, y)
		same := func(what string, got, want estimate.Kendall) {
			t.Helper()
			for _, d := range []float64{float64(got.S - want.S), got.Variance - want.Variance, got.Up - want.Up, got.Down - want.Down} {
				if math.Abs(d) > 1e-9 {
					t.Fatalf("%v over %v: %s gives %+v, want %+v", y, x, what, got, want)
				}
			}
		}
		// Any growing function of the drops or of the days changes nothing.
		same("the exponential", estimate.MannKendall(x, mapped(y, math.Exp)), k)
		same("a cube of the days", estimate.MannKendall(mapped(x, func(x float64) float64 { return x*x*x - 7 }), y), k)
		// The order in which the points are given does not either.
		px, py := slices.Clone(x), slices.Clone(y)
		rng.Shuffle(n, func(i, j int) { px[i], px[j], py[i], py[j] = px[j], px[i], py[j], py[i] })
		same("another order", estimate.MannKendall(px, py), k)
		// Days and drops are alike to it.
		same("days for drops", estimate.MannKendall(y, x), k)
		// The other way round, up is down.
		turned := k
		turned.S, turned.Up, turned.Down = -k.S, k.Down, k.Up
		same("drops negated", estimate.MannKendall(x, mapped(y, func(y float64) float64 { return -y })), turned)
		same("days negated", estimate.MannKendall(mapped(x, func(x float64) float64 { return -x }), y), turned)
		// What is observed is never impossible, and one of both ways is likely.
		if k.Up <= 0 || k.Down <= 0 || k.Up > 1+1e-12 || k.Down > 1+1e-12 || k.Up+k.Down < 1-1e-9 {
			t.Fatalf("%v over %v: %+v", y, x, k)
		}
	}
	two, three := make([]float64, 2), make([]float64, 3)
	for _, k := range []estimate.Kendall{estimate.MannKendall(nil, nil), estimate.MannKendall(two, two), estimate.MannKendall(three, three), estimate.MannKendall(counted(12), make([]float64, 12)), estimate.MannKendall(make([]float64, 12), counted(12)), estimate.MannKendall(counted(7), make([]float64, 7))} {
		if k.S != 0 || k.Up != 1 || k.Down != 1 || k.Z() != 0 || math.Abs(k.Variance) > 1e-9 {
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

func theilSen(t testing.TB, x, y []float64, tail float64) estimate.Line {
	t.Helper()
	l, ok := estimate.TheilSen(x, y, tail)
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
	l := theilSen(t, x, y, 0.0152)
	agrees(t, "Sen's slope", l.Slope, 4, 1e-12)
	agrees(t, "Sen's intercept", l.At(0), 4, 1e-12)
	agrees(t, "Sen's lower limit", l.Low, 26./7, 1e-12)
	agrees(t, "Sen's upper limit", l.High, 35./8, 1e-12)
	agrees(t, "its confidence", l.Confidence, 1-2*0.0151, 1e-4)
	l = theilSen(t, x, y, 0.035)
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
		l := theilSen(t, counted(len(tt.y)), tt.y, 0.05)
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
	l = theilSen(t, x, y, 0.025)
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
		l := theilSen(t, x, y, tt.tail)
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
		l, ok := estimate.TheilSen(x, y, tail)
		if !ok {
			continue
		}
		for range 12 {
			slope := l.Slope + rng.NormFloat64()*0.2
			residuals := make([]float64, n)
			for i := range x {
				residuals[i] = y[i] - slope*x[i]
			}
			k := estimate.MannKendall(x, residuals)
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
		l := theilSen(t, x, y, 0.05)
		same := func(what string, got, want float64) {
			t.Helper()
			if got != want && math.Abs(got-want) > 1e-7*(1+math.Abs(want)) {
				t.Fatalf("%v over %v: %s is %v, want %v", y, x, what, got, want)
			}
		}
		same("the median", l.At(l.X), l.Y)
		if l.Low > l.Slope || l.High < l.Slope {
			t.Fatalf("%v is not within %v and %v", l.Slope, l.Low, l.High)
		}
		steeper := theilSen(t, x, addLine(x, y, 10, 3), 0.05)
		same("the slope of a line added", steeper.Slope, l.Slope+3)
		same("its lower limit", steeper.Low, l.Low+3)
		same("its upper limit", steeper.High, l.High+3)
		upside := theilSen(t, x, mapped(y, func(y float64) float64 { return -2 * y }), 0.05)
		same("the slope upside down", upside.Slope, -2*l.Slope)
		same("its lower limit", upside.Low, -2*l.High)
		same("its upper limit", upside.High, -2*l.Low)
		later := theilSen(t, mapped(x, func(x float64) float64 { return x/2 + 50 }), y, 0.05)
		same("the slope in half the time", later.Slope, 2*l.Slope)
	}
	// A single wrong point moves the line little: its slope not at all, and its
	// height by half a step, since the median of y is the next one now.
	x, y := counted(9), mapped(counted(9), func(x float64) float64 { return 10 + 2*x })
	y[4] = 1e6
	if l := theilSen(t, x, y, 0.05); l.Slope != 2 || l.At(0) != 12 {
		t.Errorf("a wrong point makes the line %+v", l)
	}
	if _, ok := estimate.TheilSen([]float64{3, 3, 3}, []float64{1, 2, 3}, 0.05); ok {
		t.Error("points of one day make a line")
	}
	if _, ok := estimate.TheilSen(nil, nil, 0.05); ok {
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
