package estimate

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
)

// shape is what a fitted curve p·f(t, rate) does for a factor p of 1: its value
// at t, and the derivative of that by the rate.
type shape func(t, rate float64) (value, slope float64)

// fit is a curve fitted by weighted least squares, with the uncertainties that
// follow if those of the samples are right. If they only tell weights, the
// uncertainties are to be multiplied by scatter.
type fit struct {
	p, rate     float64
	up, uRate   float64
	correlation float64
	chiSquared  float64 // sum of ((y - curve)/u)²
	freedom     int     // degrees of freedom
}

// scatter returns how many times more the samples scatter about the curve than
// their u say; with u = 1 it is the residual standard deviation. It is NaN
// without a degree of freedom.
func (f fit) scatter() float64 {
	if f.freedom == 0 {
		return math.NaN()
	}
	return math.Sqrt(f.chiSquared / float64(f.freedom))
}

// errNoFit is returned for samples that do not determine the curve.
var errNoFit = errors.New("the readings do not determine the curve")

// Numbers of the search. They do not affect its result.
const (
	mostSteps   = 200
	mostHalves  = 60
	nearEnough  = 1e-7  // of the data's length: what the sum of squares cannot tell apart
	smallEnough = 1e-12 // likewise
	// leastAngle is the squared sine of the angle between factor and rate below
	// which no digit of either would be right.
	leastAngle = 1e-14
)

// observations are whitened pressures: in units of their uncertainties, with
// uncorrelated errors. Besides its own error, UP, each reading contains the random walk
// of the pressure up to its moment, so two readings share the walk up to the earlier.
type observations struct {
	samples []Sample
	wander  float64
	root    mat.TriDense // lower Cholesky root of the covariance
	white   []float64
}

// observe makes observations of samples; ok is false if they are fewer than a
// fit's parameters, or if there are no errors that have such covariances.
func observe(samples []Sample, wander float64) (o observations, ok bool) {
	o = observations{samples: samples, wander: wander}
	if len(samples) < 2 {
		return o, false
	}
	covariance := mat.NewSymDense(len(samples), nil)
	for i, a := range samples {
		for j, b := range samples[:i+1] {
			covariance.SetSym(i, j, o.shared(a.T, b.T))
		}
		covariance.SetSym(i, i, covariance.At(i, i)+a.UP*a.UP)
	}
	var chol mat.Cholesky
	if !chol.Factorize(covariance) {
		return o, false
	}
	chol.LTo(&o.root)
	o.white = o.whiten(func(s Sample) float64 { return s.P })
	return o, true
}

// shared returns the covariance of the random walk at two moments.
func (o observations) shared(s, t float64) float64 { return o.wander * o.wander * max(0, min(s, t)) }

// whiten whitens numbers that belong to the samples, one to each.
func (o observations) whiten(of func(Sample) float64) []float64 {
	v := make([]float64, len(o.samples))
	for i, s := range o.samples {
		v[i] = of(s)
		for j := range i {
			v[i] -= o.root.At(i, j) * v[j]
		}
		v[i] /= o.root.At(i, i)
	}
	return v
}

// factor returns the p by which a whitened shape fits best, its standard
// uncertainty, and the sum of squares that is left.
func (o observations) factor(value []float64) (p, u, chiSquared float64) {
	squares := floats.Dot(value, value)
	p = floats.Dot(value, o.white) / squares
	for i, y := range o.white {
		off := y - p*value[i]
		chiSquared += off * off
	}
	return p, 1 / math.Sqrt(squares), chiSquared
}

// fit fits a curve, from a first guess of its rate. For each rate the best
// factor is known, so that the search is over the rate alone (variable
// projection; Golub and Pereyra, SIAM J. Numer. Anal. 10, 1973): by the steps of
// Gauss and Newton, halved where they overshoot.
func (o observations) fit(curve shape, rate float64) (fit, error) {
	size := floats.Norm(o.white, 2)
	at, step := o.project(curve, rate)
	for range mostSteps {
		moves := math.Abs(step) / at.uRate
		if !(moves <= math.MaxFloat64) {
			break
		}
		next, nextStep := o.project(curve, at.rate+step)
		for range mostHalves {
			if next.chiSquared <= at.chiSquared || moves <= nearEnough*size {
				break
			}
			step /= 2
			next, nextStep = o.project(curve, at.rate+step)
		}
		if !(next.chiSquared <= at.chiSquared || moves <= nearEnough*size) {
			break
		}
		if at, step = next, nextStep; moves <= smallEnough*size && at.uRate > 0 {
			return at, nil
		}
	}
	return fit{}, errNoFit
}

// project returns the fit of a rate with its best factor, and the step to a better
// rate. The uncertainty of the rate is zero if the samples do not determine it.
func (o observations) project(curve shape, rate float64) (f fit, step float64) {
	value := o.whiten(func(s Sample) float64 { v, _ := curve(s.T, rate); return v })
	slope := o.whiten(func(s Sample) float64 { _, d := curve(s.T, rate); return d })
	f = fit{rate: rate, freedom: len(o.samples) - 2}
	f.p, f.up, f.chiSquared = o.factor(value)
	along := floats.Dot(value, slope) * f.up * f.up
	var squares, toward, whole float64
	for i := range value {
		d := f.p * (slope[i] - along*value[i]) // what the factor cannot make up for
		squares += d * d
		toward += d * (o.white[i] - f.p*value[i])
		whole += f.p * slope[i] * f.p * slope[i]
	}
	if !(squares > leastAngle*whole) {
		return f, math.NaN()
	}
	f.uRate = 1 / math.Sqrt(squares)
	common := -f.p * along * f.uRate
	f.up = math.Hypot(f.up, common)
	f.correlation = common / f.up
	return f, toward / squares
}
