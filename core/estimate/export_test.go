package estimate

import "math"

// Fit is a fitted curve, for tests against published fits.
type Fit struct {
	P, Rate, UP, URate   float64
	Correlation, Squares float64
	Freedom              int
	Scatter              float64
}

// FitRate fits p·f(t, rate) to samples from a first guess of the rate.
func FitRate(f func(t, rate float64) (value, slope float64), samples []Sample, rate float64) (Fit, error) {
	o, ok := observe(samples, 0)
	if !ok {
		return Fit{}, errNoFit
	}
	r, err := o.fit(f, rate)
	return Fit{r.p, r.rate, r.up, r.uRate, r.correlation, r.chiSquared, r.freedom, r.scatter()}, err
}

// ErrNoFit is what FitRate returns for samples that determine no curve.
var ErrNoFit = errNoFit

// WeightedMean returns the mean of samples by their weights.
func WeightedMean(samples []Sample) (mean, u, chiSquared float64) {
	o, _ := observe(samples, 0)
	return o.factor(o.whiten(func(Sample) float64 { return 1 }))
}

// Z returns S in standard deviations, a step of one nearer to zero for
// continuity; zero if S cannot vary.
func (k Kendall) Z() float64 {
	if k.Variance <= 0 || k.S == 0 {
		return 0
	}
	return (float64(k.S) - math.Copysign(1, float64(k.S))) / math.Sqrt(k.Variance)
}

// Rate is the inverse of Left: the rate at the start, in 1/s, if the fraction
// left of the starting pressure remains after t seconds. The product rate·t
// depends on left alone, so Rate(left, rate) is the time that it takes.
func (f LeakForm) Rate(left, t float64) float64 {
	if f == OrificeLeak {
		return 2 * (1 - math.Sqrt(left)) / t
	}
	return -math.Log(left) / t
}

// The two methods that a trend is made of.
var (
	MannKendall = mannKendall
	TheilSen    = theilSen
)
