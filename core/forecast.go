package core

import (
	"math"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/stat/distuv"
)

// How a hold is carried on to its bell. What is chosen here is ours:
//
//   - The leak is an orifice or laminar (see LeakForm); before the readings
//     say more, either is as likely, and so is every rate of leaking at the
//     start. Air does not leak in: no rate is below zero.
//   - The start reading is a reading like the others. The true pressure at the
//     start is a parameter, as the rate is.
//   - Besides the leak, the air around and the material move the pressure. A
//     change that goes on steadily looks like a leak and is fitted as one. What is
//     left of it comes and goes: from one moment to the next the pressure wanders
//     as often up as down (a random walk), so that two readings have in common
//     what it wandered until the earlier. See wander and settling.
//   - The other errors of readings are independent and normal. What all readings
//     of a manometer share does not show in a drop and is left out.
//   - Each form is fitted by least squares, weighted by what the errors of the
//     readings are and have in common. That says where the rate lies; around it,
//     each form's likelihood is integrated over the rate (over the pressure at
//     the start in closed form), which needs no straight line put in for the
//     curve and keeps to rates that can be.
//   - Both forms have two parameters, so that AICc would add the same to both.
//     They are weighed by their integrated likelihoods, and neither is dropped:
//     what is told is the average of the two.
//   - Readings that scatter about both forms more than one set in twenty would
//     (chi-squared) are taken to be so much the less certain.

// Sample is a reading in numbers.
type Sample struct {
	T  float64 // when it was looked at, s since the start reading was
	P  float64 // Pa
	UT float64 // standard uncertainty of T, s
	UP float64 // standard uncertainty of P, Pa, above zero
}

// Course is a hold as far as it was read.
type Course struct {
	Samples []Sample // in the order of time, the start reading first
	Bell    float64  // the end of the hold, s since the start reading was looked at
	Ending  Sample   // the reading at the bell as it will be, but for its P
	Lowest  float64  // least ending pressure that passes, Pa
	Wander  float64  // of the pressure besides the leak, Pa in the root of a second
}

// Estimate is a value with its standard uncertainty, and the interval that
// holds it with a probability of 95 %: what is outside is as likely on either
// side.
type Estimate struct{ Value, U, Low, High float64 }

// Half returns half the width of the interval, to be written after a ±.
func (e Estimate) Half() float64 { return (e.High - e.Low) / 2 }

// Forecast is what a hold is on course for.
type Forecast struct {
	End     Estimate // the reading at the bell, Pa
	Drop    Estimate // from the start reading to it, Pa
	Beyond  float64  // probability that it is beyond the limit
	Orifice float64  // probability of the orifice form, else it is laminar
}

// Forecast tells the reading to be expected at the bell, if it is as good as
// the start reading. ok is false with fewer than two samples at different
// moments, and if the suit ran empty.
func (c Course) Forecast() (f Forecast, ok bool) {
	leaks, ok := c.leaks()
	if !ok {
		return Forecast{}, false
	}
	start := c.Samples[0]
	end := leaks.reading(c.Ending)
	f.End = end.estimate()
	f.Drop = Estimate{Value: start.P - f.End.Value, U: f.End.U, Low: start.P - f.End.High, High: start.P - f.End.Low}
	f.Beyond = end.below(c.Lowest)
	f.Orifice = leaks.share(OrificeLeak)
	return f, true
}

// AtBell tells the pressure at the bell (Pa) from readings on both sides of it:
// ok is false without one at or after it, and one before it that is late enough
// after the start to say what became of the start. That is a quarter of the hold;
// the number is ours. However little the readings agree with the law of a leak,
// the pressure was not above the last one before the bell, nor below the first
// one after it, by more than those are uncertain.
func (c Course) AtBell() (e Estimate, ok bool) {
	before := len(c.Samples) - 2 // the last one up to the bell that has one after it
	for before > 0 && c.Samples[before].T > c.Bell {
		before--
	}
	if before < 1 || 4*c.Samples[before].T < c.Bell || c.Samples[before+1].T < c.Bell {
		return Estimate{}, false
	}
	leaks, ok := c.leaks()
	if !ok {
		return Estimate{}, false
	}
	e = leaks.at(c.Bell).estimate()
	early, late := c.Samples[before], c.Samples[before+1]
	high, low := early.P+c.reach(early), late.P-c.reach(late)
	if low < high {
		e.Low, e.High = min(max(e.Low, low), high), max(min(e.High, high), low)
		e.Value = min(max(e.Value, e.Low), e.High)
	}
	return e, true
}

// reach returns how far the pressure at the bell can have been, with 97.5 % to one
// side, from a reading for what is uncertain of that and for what the pressure
// wandered between.
func (c Course) reach(s Sample) float64 {
	u := math.Hypot(c.u(s), c.Wander*math.Sqrt(math.Abs(s.T-c.Bell)))
	return u * distuv.UnitNormal.Quantile((1+credible)/2)
}

// Fall tells how fast the pressure fell at the start, -dp/dt in Pa/s, which
// LeakRate makes a leak rate of. ok is as for Forecast.
func (c Course) Fall() (e Estimate, ok bool) {
	leaks, ok := c.leaks()
	if !ok {
		return Estimate{}, false
	}
	return leaks.fall().estimate(), true
}

// FallAt tells how fast a suit that leaks so loses pressure when it is p (Pa), in
// Pa/s. ok is as for Forecast.
func (c Course) FallAt(p float64) (e Estimate, ok bool) {
	leaks, ok := c.leaks()
	if !ok || !(p > 0) {
		return Estimate{}, false
	}
	m := leaks.fall()
	for i, k := range leaks.all {
		if k.p0 > 0 {
			share := k.form.Fall(1, k.p0, p) / k.p0
			m[i].mean *= share
			m[i].u *= share
		}
	}
	return m.estimate(), true
}

// u returns the standard uncertainty of a sample with that of its moment,
// while the pressure falls as it did on the whole.
func (c Course) u(s Sample) float64 { return math.Hypot(s.UP, s.UT*c.meanFall()) }

func (c Course) meanFall() float64 {
	first, last := c.Samples[0], c.Samples[len(c.Samples)-1]
	return (first.P - last.P) / (last.T - first.T)
}

// empty is how many u a pressure must be above zero to say anything of the
// rate: all faster leaks end there as well.
const empty = 2

// data returns the samples as data to be fitted; ok is false if there are none
// that could be.
func (c Course) data() (data []Datum, ok bool) {
	n := len(c.Samples)
	if n < 2 || !(c.Samples[0].T < c.Samples[n-1].T) {
		return nil, false
	}
	data = make([]Datum, n)
	for i, s := range c.Samples {
		u := c.u(s)
		if !(s.UP > 0) || !(s.P > empty*u) {
			return nil, false
		}
		data[i] = Datum{X: s.T, Y: s.P, U: u}
	}
	return data, true
}

// leaks are all that a hold may suffer from, each with its probability, and
// how many times more the readings scatter than their u say, at least 1.
type leaks struct {
	all     []leak
	scatter float64
	read    observations
	white   []float64 // the pressures read, whitened
	wander  float64   // Pa in the root of a second, scatter in it
}

// leak is one form of leak with a rate, standing for all rates within width,
// and the pressure at the start that goes with it.
type leak struct {
	form   LeakForm
	rate   float64 // 1/s
	width  float64
	weight float64
	p0     float64   // Pa
	u0     float64   // standard uncertainty of p0, Pa
	white  []float64 // what is left at the readings, whitened
}

const (
	// cells is how many rates stand for all of a form: over the span of
	// reach standard uncertainties on either side they are close enough.
	cells = 60
	reach = 6
	// unexplained is how rarely readings scatter so much by themselves.
	unexplained = 0.05
)

func (c Course) leaks() (leaks, bool) {
	data, ok := c.data()
	if !ok {
		return leaks{}, false
	}
	o := observations{data: data, shared: wandered(c.Wander)}
	forms := []LeakForm{OrificeLeak, LaminarLeak}
	fits := make([]Fitted, len(forms))
	least := math.Inf(1)
	for i, form := range forms {
		fit, err := o.fit(form.curve, []float64{c.Samples[0].P, c.meanFall() / c.Samples[0].P})
		if err != nil {
			return leaks{}, false
		}
		fits[i] = fit
		least = min(least, fit.ChiSquared)
	}
	l := leaks{scatter: scatter(least, fits[0].Freedom), white: make([]float64, len(data))}
	l.wander = c.Wander * l.scatter
	for i := range data {
		data[i].U *= l.scatter
		l.white[i] = data[i].Y
	}
	if l.read, ok = (observations{data: data, shared: wandered(l.wander)}).correlate(); !ok {
		return leaks{}, false
	}
	l.read.whiten(l.white)
	for i, form := range forms {
		l.around(form, fits[i].Parameters[1], fits[i].U(1)*l.scatter)
	}
	return l, l.normalise()
}

// wandered returns the covariance of two readings of a pressure that wanders:
// what it has gone until the earlier one is in both.
func wandered(perRoot float64) func(a, b Datum) float64 {
	return func(a, b Datum) float64 { return perRoot * perRoot * max(0, min(a.X, b.X)) }
}

// curve is the Curve of a leak: its parameters are the pressure at the start
// and the rate.
func (f LeakForm) curve(t float64, parameters, slopes []float64) float64 {
	left, slope := f.left(parameters[1], t)
	slopes[0], slopes[1] = left, parameters[0]*slope
	return parameters[0] * left
}

// scatter returns by how much the u of data are too small, 1 if chance
// explains how far they are off.
func scatter(chiSquared float64, freedom int) float64 {
	if freedom == 0 || chiSquared <= (distuv.ChiSquared{K: float64(freedom)}).Quantile(1-unexplained) {
		return 1
	}
	return math.Sqrt(chiSquared / float64(freedom))
}

// around adds leaks with rates of zero and more about a rate known with the
// standard uncertainty u. Their weights are logarithms, but for a constant.
func (l *leaks) around(f LeakForm, rate, u float64) {
	low := max(0, rate-reach*u)
	// Where the likelihood is e^(-reach²/2) of what it is at rate, or at zero
	// if rate is below it.
	high := rate + math.Hypot(min(0, rate), reach*u)
	width := (high - low) / cells
	for i := range cells {
		l.all = append(l.all, l.given(f, low+(float64(i)+0.5)*width, width))
	}
}

// given returns the leak with a rate and what the readings say of it. The
// pressure at the start is then but a factor, and its integral is known: that
// of a normal distribution.
func (l leaks) given(f LeakForm, rate, width float64) leak {
	left := make([]float64, len(l.white))
	for i, d := range l.read.data {
		left[i] = f.Left(rate, d.X)
	}
	l.read.whiten(left)
	ss := floats.Dot(left, left)
	k := leak{form: f, rate: rate, width: width, p0: floats.Dot(left, l.white) / ss, u0: 1 / math.Sqrt(ss), white: left}
	var chiSquared float64
	for i, y := range l.white {
		off := y - k.p0*left[i]
		chiSquared += off * off
	}
	k.weight = math.Log(width*k.u0) - chiSquared/2
	return k
}

// normalise makes probabilities of the weights, which are logarithms before.
func (l leaks) normalise() bool {
	most := math.Inf(-1)
	for _, k := range l.all {
		most = max(most, k.weight)
	}
	var sum float64
	for i := range l.all {
		l.all[i].weight = math.Exp(l.all[i].weight - most)
		sum += l.all[i].weight
	}
	for i := range l.all {
		l.all[i].weight /= sum
	}
	return sum > 0 && !math.IsInf(sum, 0)
}

// share returns the probability of a form.
func (l leaks) share(form LeakForm) float64 {
	var sum float64
	for _, k := range l.all {
		if k.form == form {
			sum += k.weight
		}
	}
	return sum
}

// at returns what the pressure is at t: what a leak has left by then, and how
// far it has wandered. Of the latter the readings tell a part, by what they have
// in common with it.
func (l leaks) at(t float64) mixture {
	told := make([]float64, len(l.white))
	for i, d := range l.read.data {
		told[i] = l.read.shared(d, Datum{X: t})
	}
	l.read.whiten(told)
	untold := max(0, l.read.shared(Datum{X: t}, Datum{X: t})-floats.Dot(told, told))
	seen := floats.Dot(told, l.white)
	m := make(mixture, len(l.all))
	for i, k := range l.all {
		left, slope := k.form.left(k.rate, t)
		own := left - floats.Dot(told, k.white)
		m[i] = part{k.weight, k.p0*own + seen, norm(k.u0*own, rounded(k.width)*k.p0*slope, math.Sqrt(untold))}
	}
	return m
}

// reading returns what a reading is but for whose pressure all is known.
func (l leaks) reading(r Sample) mixture {
	m := l.at(r.T)
	for i, k := range l.all {
		fall := k.form.Fall(k.rate, k.p0, max(0, m[i].mean))
		m[i].u = math.Hypot(m[i].u, l.scatter*math.Hypot(r.UP, r.UT*fall))
	}
	return m
}

func norm(u ...float64) float64 { return floats.Norm(u, 2) }

// fall returns what -dp/dt is at the start.
func (l leaks) fall() mixture {
	m := make(mixture, len(l.all))
	for i, k := range l.all {
		m[i] = part{k.weight, k.p0 * k.rate, math.Hypot(k.u0*k.rate, rounded(k.width)*k.p0)}
	}
	return m
}

// mixture is a distribution put together of normal ones.
type mixture []part

type part struct{ weight, mean, u float64 }

// below returns the probability of less than x.
func (m mixture) below(x float64) float64 {
	var sum float64
	for _, p := range m {
		sum += p.weight * distuv.UnitNormal.CDF((x-p.mean)/p.u)
	}
	return sum
}

// credible is the probability of an Estimate's interval.
const credible = 0.95

func (m mixture) estimate() Estimate {
	var e Estimate
	for _, p := range m {
		e.Value += p.weight * p.mean
	}
	for _, p := range m {
		e.U = math.Hypot(e.U, math.Sqrt(p.weight)*math.Hypot(p.mean-e.Value, p.u))
	}
	e.Low = m.quantile((1-credible)/2, e)
	e.High = m.quantile((1+credible)/2, e)
	return e
}

// quantile halves its way to the value with the probability q below it. By
// Cantelli's inequality it is less than 7 u off the mean if q is from 0.025 to
// 0.975.
func (m mixture) quantile(q float64, about Estimate) float64 {
	low, high := about.Value-7*about.U, about.Value+7*about.U
	for range 26 {
		middle := (low + high) / 2
		if m.below(middle) < q {
			low = middle
		} else {
			high = middle
		}
	}
	return (low + high) / 2
}

// Course returns the hold of a run as far as it was read; ok is false if none
// began.
func (r Run) Course() (c Course, ok bool) {
	start, ok := r.Start()
	if !ok {
		return Course{}, false
	}
	return courseOf(r.Method, r.Manometer.Resolution.Pressure(), start, r.HoldReadings()), true
}

// courseOf returns the course of a hold from its readings. A pressure's
// uncertainty is that of its rounding (JCGM 100:2008, F.2.2.1): to a step of the
// manometer, or to the last digit written if that is coarser in all of them,
// since 16.50 is written 16.5 as well. What is wrong with the manometer itself
// shifts all alike and is left out.
func courseOf(m Method, resolution Pressure, start Reading, since []Reading) (c Course) {
	readings := append([]Reading{start}, since...)
	finest := step(start)
	for _, s := range readings {
		finest = min(finest, step(s))
	}
	u := rounded(max(finest, resolution).Pascals())
	zero := start.Taken.Add(look(start).middle())
	for _, s := range readings {
		seen := look(s)
		c.Samples = append(c.Samples, Sample{
			T: s.Taken.Add(seen.middle()).Sub(zero).Seconds(), UT: rectangular(seen.half().Seconds()),
			P: s.Pressure().Pascals(), UP: u,
		})
	}
	c.Bell = m.Hold.Seconds()
	c.Ending = Sample{T: start.Taken.Add(m.Hold).Sub(zero).Seconds(), UT: rectangular(reaction.Seconds()), UP: u}
	c.Lowest = m.Limit.Lowest(start.Pressure()).Pascals()
	c.Wander = wander
	c.Samples[0].UP = math.Hypot(u, m.settling())
	return c
}

// wander is how far the pressure in a suit wanders besides its leak, in pascals
// in the root of a second: 4 Pa in a minute, 10 Pa in six. In a stiff suit 0.01 K
// does as much, in a limp one several times that; and so do some hundredths of a
// hectopascal. The number is ours.
const wander = 4 / 7.745966692414834 // √60

// settling is how far the pressure at the start may be off the course of the hold
// for the air's temperature, as a standard uncertainty in pascals. Air that is let
// down quickly cools by the share (γ − 1)/γ of what its pressure falls by, air that
// is pumped up warms so, and within a minute it is as the suit is again. It may
// have been let down by all that lies between the two pressures of the method, or
// pumped up by as much after it had sunk; all of the change may still be there when
// the start is read, or none; and all of it shows in a stiff suit and none in a limp
// one. Each is taken as rectangular.
func (m Method) settling() float64 {
	const share = 0.4 / 1.4 // γ of air is 1.4
	between := m.Expansion.Target.Pressure() - m.Test.Target.Pressure()
	return share * rectangular(1) * rectangular(1) * rectangular(between.Pascals())
}

// Forecast tells what a hold is on course for; ok is false outside a hold, and
// before there is a reading besides the start reading.
func (r Run) Forecast() (f Forecast, ok bool) {
	if r.Phase != Hold {
		return Forecast{}, false
	}
	c, ok := r.Course()
	if !ok {
		return Forecast{}, false
	}
	return c.Forecast()
}

// FromPascals returns a pressure, rounded to the nanopascal, for telling what
// a formula gave. What is beyond a Pressure's range is the nearest in it.
func FromPascals(p float64) Pressure {
	n := math.Round(p * float64(Pascal))
	switch {
	case n >= float64(maxPressure):
		return maxPressure
	case n <= -float64(maxPressure):
		return -maxPressure
	case math.IsNaN(n):
		return 0
	}
	return Pressure(n)
}
