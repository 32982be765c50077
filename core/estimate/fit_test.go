package estimate_test

import (
	"errors"
	"math"
	"testing"

	"benchbell/core/estimate"
)

// straight is a straight line by its slope and by where it is zero: slope·(x + at).
func straight(x, at float64) (value, slope float64) { return x + at, 1 }

// unweighted makes samples of one weight.
func unweighted(x, y []float64) []estimate.Sample {
	samples := make([]estimate.Sample, len(x))
	for i := range x {
		samples[i] = estimate.Sample{T: x[i], P: y[i], UP: 1}
	}
	return samples
}

type curve func(x, rate float64) (value, slope float64)

func mustFit(t *testing.T, c curve, samples []estimate.Sample, rate float64) estimate.Fit {
	t.Helper()
	f, err := estimate.FitRate(c, samples, rate)
	if err != nil {
		t.Fatalf("from %v: %v", rate, err)
	}
	return f
}

// line is a straight line as it is published: intercept and slope, with their
// standard uncertainties and correlation, by the scatter about it.
type line struct{ intercept, slope, uIntercept, uSlope, correlation float64 }

func lineOf(f estimate.Fit) line {
	s := f.Scatter
	common := f.Correlation * f.UP * f.URate
	u := math.Sqrt(f.Rate*f.Rate*f.UP*f.UP + f.P*f.P*f.URate*f.URate + 2*f.P*f.Rate*common)
	return line{f.P * f.Rate, f.P, s * u, s * f.UP, (f.Rate*f.UP*f.UP + f.P*common) / (u * f.UP)}
}

// TestNorris fits NIST's reference data set Norris (J. Norris, calibration of
// ozone monitors; Statistical Reference Datasets, linear regression, lower
// level of difficulty) and expects its certified values.
func TestNorris(t *testing.T) {
	samples := unweighted(
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
	for _, at := range []float64{0, 100, -3} {
		f := mustFit(t, straight, samples, at)
		l := lineOf(f)
		relative(t, "intercept", l.intercept, -0.262323073774029, 1e-9)
		relative(t, "slope", l.slope, 1.00211681802045, 1e-12)
		relative(t, "its deviation", l.uIntercept, 0.232818234301152, 1e-9)
		relative(t, "its deviation", l.uSlope, 0.000429796848199937, 1e-9)
		relative(t, "residual deviation", f.Scatter, 0.884796396144373, 1e-9)
		relative(t, "residual sum of squares", f.Squares, 26.6173985294224, 1e-9)
		if f.Freedom != 34 {
			t.Errorf("%d degrees of freedom, want 34", f.Freedom)
		}
	}
}

// TestStRD fits the non-linear reference data sets of NIST (Statistical Reference
// Datasets) that have two parameters, one of them linear, from both of the starts
// given there, and expects the certified values. Misra1a to Misra1d are of D.
// Misra (dental research, 1978), BoxBOD of Box, Hunter and Hunter (1978, pages 483
// to 487), DanWood of Daniel and Wood (1980, pages 428 to 431).
func TestStRD(t *testing.T) {
	pressure := []float64{77.6, 114.9, 141.1, 190.8, 239.9, 289.0, 332.8, 378.4, 434.8, 477.3, 536.8, 593.1, 689.1, 760.0}
	volume := []float64{10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02, 44.82, 50.76, 55.05, 61.01, 66.40, 75.47, 81.78}
	misra := unweighted(pressure, volume)
	saturating := func(x, b float64) (float64, float64) { return 1 - math.Exp(-b*x), x * math.Exp(-b*x) }
	for _, tt := range []struct {
		name           string
		curve          curve
		samples        []estimate.Sample
		starts         []float64
		b1, u1, b2, u2 float64
		squares, s     float64
	}{
		{
			"Misra1a", saturating, misra,
			[]float64{0.0001, 0.0005, 0.01},
			2.3894212918e+02, 2.7070075241e+00, 5.5015643181e-04, 7.2668688436e-06, 1.2455138894e-01, 1.0187876330e-01,
		},
		{
			"Misra1b", func(x, b float64) (float64, float64) {
				return 1 - math.Pow(1+b*x/2, -2), x * math.Pow(1+b*x/2, -3)
			}, misra,
			[]float64{0.0001, 0.0002},
			3.3799746163e+02, 3.1643950207e+00, 3.9039091287e-04, 4.2547321834e-06, 7.5464681533e-02, 7.9301471998e-02,
		},
		{
			"Misra1c", func(x, b float64) (float64, float64) {
				return 1 - math.Pow(1+2*b*x, -0.5), x * math.Pow(1+2*b*x, -1.5)
			}, misra,
			[]float64{0.0001, 0.0002},
			6.3642725809e+02, 4.6638326572e+00, 2.0813627256e-04, 1.7728423155e-06, 4.0966836971e-02, 5.8428615257e-02,
		},
		{
			"Misra1d", func(x, b float64) (float64, float64) {
				return b * x / (1 + b*x), x / ((1 + b*x) * (1 + b*x))
			}, misra,
			[]float64{0.0001, 0.0003},
			4.3736970754e+02, 3.6489174345e+00, 3.0227324449e-04, 2.9334354479e-06, 5.6419295283e-02, 6.8568272111e-02,
		},
		{
			"BoxBOD", saturating, unweighted([]float64{1, 2, 3, 5, 7, 10}, []float64{109, 149, 149, 191, 213, 224}),
			[]float64{1, 0.75},
			2.1380940889e+02, 1.2354515176e+01, 5.4723748542e-01, 1.0455993237e-01, 1.1680088766e+03, 1.7088072423e+01,
		},
		{
			"DanWood", func(x, b float64) (float64, float64) {
				return math.Pow(x, b), math.Pow(x, b) * math.Log(x)
			}, unweighted([]float64{1.309, 1.471, 1.490, 1.565, 1.611, 1.680}, []float64{2.138, 3.421, 3.597, 4.340, 4.882, 5.660}),
			[]float64{5, 4},
			7.6886226176e-01, 1.8281973860e-02, 3.8604055871e+00, 5.1726610913e-02, 4.3173084083e-03, 3.2853114039e-02,
		},
	} {
		for _, start := range tt.starts {
			t.Run(tt.name, func(t *testing.T) {
				f := mustFit(t, tt.curve, tt.samples, start)
				relative(t, "b1", f.P, tt.b1, 1e-9)
				relative(t, "b2", f.Rate, tt.b2, 1e-9)
				relative(t, "deviation of b1", f.UP*f.Scatter, tt.u1, 1e-8)
				relative(t, "deviation of b2", f.URate*f.Scatter, tt.u2, 1e-8)
				relative(t, "residual sum of squares", f.Squares, tt.squares, 1e-9)
				relative(t, "residual deviation", f.Scatter, tt.s, 1e-9)
			})
		}
	}
}

// TestLeakStandard fits the decay of a helium leak standard over seven and a
// half years, from the tests of an open uncertainty calculator, which expects
// a = 6.621e-8 and b = 4.404e-5 a day. A line through the logarithms gives
// another b, 4.386e-5.
func TestLeakStandard(t *testing.T) {
	samples := unweighted(
		[]float64{1, 380, 794, 1247, 1673, 2031, 2747},
		[]float64{6.635e-8, 6.531e-8, 6.354e-8, 6.255e-8, 6.212e-8, 5.97e-8, 5.907e-8},
	)
	decay := func(x, b float64) (float64, float64) { return math.Exp(-b * x), -x * math.Exp(-b*x) }
	for _, start := range []float64{4.5e-5, 0, 1e-3} {
		f := mustFit(t, decay, samples, start)
		agrees(t, "a, as printed", f.P, 6.621e-8, 0.001e-8)
		agrees(t, "b, as printed", f.Rate, 4.404e-5, 0.001e-5)
		relative(t, "a", f.P, 6.62097e-8, 1e-5)
		relative(t, "b", f.Rate, 4.40424e-5, 1e-5)
	}
}

// TestThermometer works example H.3 of JCGM 100:2008, a thermometer calibrated
// against a standard, with the line's zero put at 20 °C.
func TestThermometer(t *testing.T) {
	readings := []float64{21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511}
	corrections := []float64{-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160}
	samples := unweighted(readings, corrections)
	for i := range samples {
		samples[i].T -= 20
	}
	f := mustFit(t, straight, samples, -50) // as good as level: zero is far off
	l := lineOf(f)
	agrees(t, "y1, as printed", l.intercept, -0.1712, 5e-5)
	agrees(t, "y2, as printed", l.slope, 0.00218, 5e-6)
	agrees(t, "s, as printed", f.Scatter, 0.0035, 5e-5)
	agrees(t, "correlation, as printed", l.correlation, -0.930, 5e-4)
	relative(t, "y1", l.intercept, -0.171204, 1e-5)
	relative(t, "y2", l.slope, 0.00218270, 1e-5)
	relative(t, "s", f.Scatter, 0.00349756, 1e-5)
	relative(t, "u(y1)", l.uIntercept, 0.00287760, 1e-5)
	relative(t, "u(y2)", l.uSlope, 0.000667939, 1e-5)

	at30 := l.intercept + 10*l.slope
	u := math.Sqrt(l.uIntercept*l.uIntercept + 100*l.uSlope*l.uSlope + 20*l.uIntercept*l.uSlope*l.correlation)
	relative(t, "b(30 °C)", at30, -0.149377, 1e-5)
	agrees(t, "its uncertainty, as printed", u, 0.0041, 5e-5)
}

// TestWeights: the weighted mean of 100 with u 30 and 150 with u 40 is 118 with
// u 24, by JCGM 106:2012, A.13 and A.14.
func TestWeights(t *testing.T) {
	mean, u, squares := estimate.WeightedMean([]estimate.Sample{{T: 0, P: 100, UP: 30}, {T: 1, P: 150, UP: 40}})
	agrees(t, "mean", mean, 118, 1e-9)
	agrees(t, "u", u, 24, 1e-9)
	agrees(t, "chi-squared", squares, 1, 1e-12) // 50²/(30²+40²)
}

// TestExactFit: as many data as parameters leave nothing over.
func TestExactFit(t *testing.T) {
	f := mustFit(t, straight, unweighted([]float64{1, 3}, []float64{5, 9}), 0)
	agrees(t, "intercept", f.P*f.Rate, 3, 1e-9)
	agrees(t, "slope", f.P, 2, 1e-9)
	agrees(t, "u(slope)", f.UP, math.Sqrt2/2, 1e-9)
	if f.Freedom != 0 || !math.IsNaN(f.Scatter) {
		t.Errorf("%d degrees of freedom, scatter %v; want 0 and none", f.Freedom, f.Scatter)
	}
}

// TestNoFit: data that say nothing of a parameter are refused, and so are
// numbers that are none.
func TestNoFit(t *testing.T) {
	nan := math.NaN()
	for name, tt := range map[string]struct {
		x, y  []float64
		u     float64
		start float64
	}{
		"nothing":                  {nil, nil, 1, 0},
		"too few":                  {[]float64{1}, []float64{1}, 1, 0},
		"all at one moment":        {[]float64{2, 2, 2}, []float64{1, 3, 2}, 1, 0},
		"as good as at one moment": {[]float64{2, 2 + 1e-7}, []float64{1, 3}, 1, 0},
		"not a number":             {[]float64{1, 2}, []float64{1, nan}, 1, 0},
		"no such moment":           {[]float64{1, nan}, []float64{1, 1}, 1, 0},
		"endless":                  {[]float64{1, 2}, []float64{1, math.Inf(1)}, 1, 0},
		"certain":                  {[]float64{1, 2}, []float64{1, 2}, 0, 0},
		"a guess that's none":      {[]float64{1, 2}, []float64{1, 2}, 1, nan},
		"nothing there":            {[]float64{1, 2}, []float64{0, 0}, 1, 0},
	} {
		samples := unweighted(tt.x, tt.y)
		for i := range samples {
			samples[i].UP = tt.u
		}
		if f, err := estimate.FitRate(straight, samples, tt.start); !errors.Is(err, estimate.ErrNoFit) {
			t.Errorf("%s: %+v, %v; want %v", name, f, err, estimate.ErrNoFit)
		}
	}
}
