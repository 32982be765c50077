package core_test

import (
	"errors"
	"math"
	"testing"

	"benchbell/core"
)

// straight is a straight line: intercept and slope.
func straight(x float64, p, slopes []float64) float64 {
	slopes[0], slopes[1] = 1, x
	return p[0] + p[1]*x
}

// unweighted makes data of one weight.
func unweighted(x, y []float64) []core.Datum {
	data := make([]core.Datum, len(x))
	for i := range x {
		data[i] = core.Datum{X: x[i], Y: y[i], U: 1}
	}
	return data
}

func mustFit(t *testing.T, c core.Curve, data []core.Datum, guess ...float64) core.Fitted {
	t.Helper()
	f, err := core.FitCurve(c, data, guess)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// TestNorris fits NIST's reference data set Norris (J. Norris, calibration of
// ozone monitors; Statistical Reference Datasets, linear regression, lower
// level of difficulty) and expects its certified values.
func TestNorris(t *testing.T) {
	data := unweighted(
		[]float64{
			0.2, 337.4, 118.2, 884.6, 10.1, 226.5, 666.3, 996.3, 448.6, 777.0, 558.2, 0.4,
			0.6, 775.5, 666.9, 338.0, 447.5, 11.6, 556.0, 228.1, 995.8, 887.6, 120.2, 0.3,
			0.3, 556.8, 339.1, 887.2, 999.0, 779.0, 11.1, 118.3, 229.2, 669.1, 448.9, 0.5,
		},
		[]float64{
			0.1, 338.8, 118.1, 888.0, 9.2, 228.1, 668.5, 998.5, 449.1, 778.9, 559.2, 0.3,
			0.1, 778.1, 668.8, 339.3, 448.9, 10.8, 557.7, 228.3, 998.0, 888.8, 119.6, 0.3,
			0.6, 557.6, 339.3, 888.0, 998.5, 778.9, 10.2, 117.6, 228.9, 668.4, 449.2, 0.2,
		},
	)
	f := mustFit(t, straight, data, 0, 0)
	relative(t, "intercept", f.Parameters[0], -0.262323073774029, 1e-9)
	relative(t, "slope", f.Parameters[1], 1.00211681802045, 1e-12)
	relative(t, "its deviation", f.U(0)*f.Scatter(), 0.232818234301152, 1e-9)
	relative(t, "its deviation", f.U(1)*f.Scatter(), 0.000429796848199937, 1e-9)
	relative(t, "residual deviation", f.Scatter(), 0.884796396144373, 1e-9)
	relative(t, "residual sum of squares", f.ChiSquared, 26.6173985294224, 1e-9)
	if f.Freedom != 34 {
		t.Errorf("%d degrees of freedom, want 34", f.Freedom)
	}
}

// TestMisra1a fits NIST's reference data set Misra1a (D. Misra, dental
// research; Statistical Reference Datasets, non-linear regression, lower level
// of difficulty) from both of the starts given there, and from two further off.
func TestMisra1a(t *testing.T) {
	data := unweighted(
		[]float64{77.6, 114.9, 141.1, 190.8, 239.9, 289.0, 332.8, 378.4, 434.8, 477.3, 536.8, 593.1, 689.1, 760.0},
		[]float64{10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02, 44.82, 50.76, 55.05, 61.01, 66.40, 75.47, 81.78},
	)
	curve := func(x float64, b, slopes []float64) float64 {
		e := math.Exp(-b[1] * x)
		slopes[0], slopes[1] = 1-e, b[0]*x*e
		return b[0] * (1 - e)
	}
	for _, start := range [][]float64{{500, 0.0001}, {250, 0.0005}, {1, 0.01}, {1e6, 0.1}} {
		f := mustFit(t, curve, data, start...)
		relative(t, "b1", f.Parameters[0], 238.94212918, 1e-9)
		relative(t, "b2", f.Parameters[1], 5.5015643181e-4, 1e-9)
		relative(t, "deviation of b1", f.U(0)*f.Scatter(), 2.7070075241, 1e-8)
		relative(t, "deviation of b2", f.U(1)*f.Scatter(), 7.2668688436e-6, 1e-8)
		relative(t, "residual sum of squares", f.ChiSquared, 0.12455138894, 1e-9)
		relative(t, "residual deviation", f.Scatter(), 0.1018787633, 1e-9)
	}
}

// TestLeakStandard fits the decay of a helium leak standard over seven and a
// half years, from the tests of an open uncertainty calculator, which expects
// a = 6.621e-8 and b = 4.404e-5 a day. A line through the logarithms gives
// another b, 4.386e-5.
func TestLeakStandard(t *testing.T) {
	data := unweighted(
		[]float64{1, 380, 794, 1247, 1673, 2031, 2747},
		[]float64{6.635e-8, 6.531e-8, 6.354e-8, 6.255e-8, 6.212e-8, 5.97e-8, 5.907e-8},
	)
	curve := func(x float64, p, slopes []float64) float64 {
		e := math.Exp(-p[1] * x)
		slopes[0], slopes[1] = e, -p[0]*x*e
		return p[0] * e
	}
	for _, start := range [][]float64{{6.5e-8, 4.5e-5}, {1e-7, 0}, {1e-8, 1e-3}} {
		f := mustFit(t, curve, data, start...)
		agrees(t, "a, as printed", f.Parameters[0], 6.621e-8, 0.001e-8)
		agrees(t, "b, as printed", f.Parameters[1], 4.404e-5, 0.001e-5)
		relative(t, "a", f.Parameters[0], 6.62097e-8, 1e-5)
		relative(t, "b", f.Parameters[1], 4.40424e-5, 1e-5)
	}
}

// TestThermometer works example H.3 of JCGM 100:2008, a thermometer calibrated
// against a standard, with the line's zero put at 20 °C.
func TestThermometer(t *testing.T) {
	readings := []float64{21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511}
	corrections := []float64{-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160}
	data := unweighted(readings, corrections)
	for i := range data {
		data[i].X -= 20
	}
	f := mustFit(t, straight, data, 0, 0)
	agrees(t, "y1, as printed", f.Parameters[0], -0.1712, 5e-5)
	agrees(t, "y2, as printed", f.Parameters[1], 0.00218, 5e-6)
	agrees(t, "s, as printed", f.Scatter(), 0.0035, 5e-5)
	agrees(t, "correlation, as printed", f.Correlation(0, 1), -0.930, 5e-4)
	relative(t, "y1", f.Parameters[0], -0.171204, 1e-5)
	relative(t, "y2", f.Parameters[1], 0.00218270, 1e-5)
	relative(t, "s", f.Scatter(), 0.00349756, 1e-5)
	u1, u2 := f.U(0)*f.Scatter(), f.U(1)*f.Scatter()
	relative(t, "u(y1)", u1, 0.00287760, 1e-5)
	relative(t, "u(y2)", u2, 0.000667939, 1e-5)

	at30 := f.Parameters[0] + 10*f.Parameters[1]
	u := math.Sqrt(u1*u1 + 100*u2*u2 + 20*u1*u2*f.Correlation(0, 1))
	relative(t, "b(30 °C)", at30, -0.149377, 1e-5)
	agrees(t, "its uncertainty, as printed", u, 0.0041, 5e-5)
}

// TestWeights: the weighted mean of 100 with u 30 and 150 with u 40 is 118 with
// u 24, by JCGM 106:2012, A.13 and A.14.
func TestWeights(t *testing.T) {
	constant := func(_ float64, p, slopes []float64) float64 {
		slopes[0] = 1
		return p[0]
	}
	f := mustFit(t, constant, []core.Datum{{0, 100, 30}, {1, 150, 40}}, 0)
	agrees(t, "mean", f.Parameters[0], 118, 1e-9)
	agrees(t, "u", f.U(0), 24, 1e-9)
	agrees(t, "chi-squared", f.ChiSquared, 1, 1e-12) // 50²/(30²+40²)
	agrees(t, "scatter", f.Scatter(), 1, 1e-12)
}

// TestExactFit: as many data as parameters leave nothing over.
func TestExactFit(t *testing.T) {
	f := mustFit(t, straight, []core.Datum{{1, 5, 1}, {3, 9, 1}}, 0, 0)
	agrees(t, "intercept", f.Parameters[0], 3, 1e-9)
	agrees(t, "slope", f.Parameters[1], 2, 1e-9)
	agrees(t, "u(slope)", f.U(1), math.Sqrt2/2, 1e-9)
	if f.Freedom != 0 || !math.IsNaN(f.Scatter()) {
		t.Errorf("%d degrees of freedom, scatter %v; want 0 and none", f.Freedom, f.Scatter())
	}
}

// TestNoFit: data that say nothing of a parameter are refused, and so are
// numbers that are none.
func TestNoFit(t *testing.T) {
	nan := math.NaN()
	for name, tt := range map[string]struct {
		data  []core.Datum
		guess []float64
	}{
		"nothing":                  {nil, []float64{0, 0}},
		"no parameters":            {[]core.Datum{{1, 1, 1}}, nil},
		"too few":                  {[]core.Datum{{1, 1, 1}}, []float64{0, 0}},
		"all at one moment":        {[]core.Datum{{2, 1, 1}, {2, 3, 1}, {2, 2, 1}}, []float64{0, 0}},
		"as good as at one moment": {[]core.Datum{{2, 1, 1}, {2 + 1e-7, 3, 1}}, []float64{0, 0}},
		"a parameter unseen":       {[]core.Datum{{0, 1, 1}, {0, 3, 1}}, []float64{0, 0}},
		"not a number":             {[]core.Datum{{1, 1, 1}, {2, nan, 1}}, []float64{0, 0}},
		"no such moment":           {[]core.Datum{{1, 1, 1}, {nan, 1, 1}}, []float64{0, 0}},
		"endless":                  {[]core.Datum{{1, 1, 1}, {2, math.Inf(1), 1}}, []float64{0, 0}},
		"certain":                  {[]core.Datum{{1, 1, 0}, {2, 2, 0}}, []float64{0, 0}},
		"a guess that's none":      {[]core.Datum{{1, 1, 1}, {2, 2, 1}}, []float64{nan, 0}},
	} {
		if f, err := core.FitCurve(straight, tt.data, tt.guess); !errors.Is(err, core.ErrNoFit) {
			t.Errorf("%s: %+v, %v; want %v", name, f, err, core.ErrNoFit)
		}
	}
}
