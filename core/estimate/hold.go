package estimate

import (
	"math"
	"slices"

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
//   - Besides the leak, the ambient air and the material change the pressure. A
//     steady change looks like a leak and is fitted as one. The rest is modelled as
//     a random walk of the pressure; see Hold.Wander.
//   - The other errors of readings are independent and normal. An error common to
//     all readings of a manometer cancels in a drop and is left out.
//   - Each form is fitted by generalised least squares. Around the fitted rate, each
//     form's likelihood is integrated over the rate (over the pressure at the start
//     in closed form). That needs no linearisation and uses only possible rates.
//   - Both forms have two parameters, so that AICc would add the same to both.
//     They are weighted by their integrated likelihoods, and neither is dropped:
//     the result is the average of the two.
//   - If the readings scatter about both forms more than one set in twenty would
//     (chi-squared), their uncertainty is scaled up to match. Since the scale comes
//     from few residuals, intervals are widened by the ratio of Student's t to the
//     normal quantile.

// Sample is a reading in numbers.
type Sample struct {
	T  float64 // moment of the look, s since that of the start reading
	P  float64 // Pa
	UT float64 // standard uncertainty of T, s
	UP float64 // standard uncertainty of P, Pa, above zero
}

// Hold is a hold as far as it was read.
type Hold struct {
	Samples []Sample // in the order of time, the start reading first
	Bell    float64  // the end of the hold, s since the start reading was looked at
	Ending  Sample   // the future reading at the bell; its P is not used
	Lowest  float64  // least ending pressure that passes, Pa
	Wander  float64  // random walk of the pressure besides the leak, Pa per root second
}

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
func (h Hold) Forecast() (f Forecast, ok bool) {
	leaks, ok := h.leaks()
	if !ok {
		return Forecast{}, false
	}
	start := h.Samples[0]
	end := leaks.reading(h.Ending)
	f.End = end.estimate()
	f.Drop = Estimate{Value: start.P - f.End.Value, U: f.End.U, Low: start.P - f.End.High, High: start.P - f.End.Low}
	f.Beyond = end.below(f.End.Value + (h.Lowest-f.End.Value)/leaks.stretch)
	for _, k := range leaks.all {
		if k.form == OrificeLeak {
			f.Orifice += k.weight
		}
	}
	return f, true
}

// Curve tells where the pressure (Pa) was or will be at some moments, in seconds
// since the start. It is empty if the readings say nothing yet.
func (h Hold) Curve(moments ...float64) []Estimate {
	leaks, ok := h.leaks()
	if !ok {
		return nil
	}
	curve := make([]Estimate, len(moments))
	for i, t := range moments {
		curve[i] = leaks.at(t).estimate()
	}
	return curve
}

// Fall estimates how fast the pressure fell at the start, -dp/dt in Pa/s, the input to
// LeakRate. ok is as for Forecast.
func (h Hold) Fall() (e Estimate, ok bool) {
	return h.fall(func(leak) float64 { return 1 })
}

// FallAt estimates how fast the pressure of this suit falls at p (Pa), in Pa/s. ok is as
// for Forecast.
func (h Hold) FallAt(p float64) (e Estimate, ok bool) {
	if !(p > 0) {
		return Estimate{}, false
	}
	return h.fall(func(k leak) float64 {
		if !(k.p0 > 0) {
			return 1
		}
		return k.form.Fall(1, k.p0, p) / k.p0
	})
}

// fall estimates how fast the pressure falls where the rate is a share of that at the
// start.
func (h Hold) fall(share func(leak) float64) (e Estimate, ok bool) {
	leaks, ok := h.leaks()
	if !ok {
		return Estimate{}, false
	}
	e = leaks.telling(func(k *leak) {
		k.mean = share(*k) * k.p0 * k.rate
		k.u = share(*k) * math.Hypot(k.u0*k.rate, Rounded(k.width)*k.p0)
	}).estimate()
	e.Low = max(0, e.Low)
	return e, true
}

// empty is how many u a pressure must be above zero to determine the rate: near zero all
// faster leaks look the same.
const empty = 2

// samples returns the samples with the uncertainty of their moments included in UP. It
// is converted with the mean fall of the pressure, the first guess of the rate. ok is
// false if no samples can be fitted.
func (h Hold) samples() (all []Sample, rate float64, ok bool) {
	n := len(h.Samples)
	if n < 2 || !(h.Samples[0].T < h.Samples[n-1].T) {
		return nil, 0, false
	}
	first, last := h.Samples[0], h.Samples[n-1]
	fall := (first.P - last.P) / (last.T - first.T)
	all = slices.Clone(h.Samples)
	for i, s := range all {
		u := math.Hypot(s.UP, s.UT*fall)
		if !(s.UP > 0) || !(s.P > empty*u) {
			return nil, 0, false
		}
		all[i].UP = u
	}
	return all, fall / first.P, true
}

// leaks are the leaks that a hold may have, each with its probability.
type leaks struct {
	all     []leak
	read    observations
	scatter float64 // ratio of the readings' scatter to their u, at least 1
	stretch float64 // factor by which that widens an interval, at least 1
}

// leak is one form of leak with a rate that represents all rates within width, the best
// pressure at the start for it, and its prediction of some quantity.
type leak struct {
	form    LeakForm
	rate    float64 // 1/s
	width   float64
	weight  float64   // its probability
	p0, u0  float64   // pressure at the start and its standard uncertainty, Pa
	left    []float64 // what is left at the readings, whitened
	mean, u float64   // prediction, with its standard uncertainty
}

const (
	// cells is how many rates represent all rates of a form, over reach standard
	// uncertainties on either side.
	cells = 60
	reach = 6
	// unexplained is the probability below which chance does not explain the scatter.
	unexplained = 0.05
)

// forms are both forms of a leak.
var forms = [...]LeakForm{OrificeLeak, LaminarLeak}

func (h Hold) leaks() (leaks, bool) {
	samples, rate, ok := h.samples()
	if !ok {
		return leaks{}, false
	}
	o, ok := observe(samples, h.Wander)
	if !ok {
		return leaks{}, false
	}
	var fits [len(forms)]fit
	for i, form := range forms {
		var err error
		if fits[i], err = o.fit(form.left, rate); err != nil {
			return leaks{}, false
		}
	}
	l := leaks{scatter: 1, stretch: 1}
	if least := min(fits[0].chiSquared, fits[1].chiSquared); unlikely(least, fits[0].freedom) {
		freedom := float64(fits[0].freedom)
		l.scatter = math.Sqrt(least / freedom)
		l.stretch = distuv.StudentsT{Sigma: 1, Nu: freedom}.Quantile((1+credible)/2) / distuv.UnitNormal.Quantile((1+credible)/2)
	}
	for i := range samples {
		samples[i].UP *= l.scatter
	}
	if l.read, ok = observe(samples, h.Wander*l.scatter); !ok {
		return leaks{}, false
	}
	for i, form := range forms {
		l.around(form, fits[i].rate, fits[i].uRate*l.scatter)
	}
	return l, l.normalise()
}

// unlikely reports whether chance does not explain a sum of squares.
func unlikely(chiSquared float64, freedom int) bool {
	return freedom > 0 && chiSquared > distuv.ChiSquared{K: float64(freedom)}.Quantile(1-unexplained)
}

// around adds leaks with rates of zero and more about a rate known with the
// standard uncertainty u.
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

// given returns the leak with a rate, weighted by the readings. For a given rate the
// pressure at the start is a linear factor, so its integral is that of a normal
// distribution. The weight is a logarithm, up to a constant.
func (l leaks) given(f LeakForm, rate, width float64) leak {
	left := l.read.whiten(func(s Sample) float64 { return f.Left(rate, s.T) })
	p0, u0, chiSquared := l.read.factor(left)
	return leak{form: f, rate: rate, width: width, weight: math.Log(width*u0) - chiSquared/2, p0: p0, u0: u0, left: left}
}

// normalise turns logarithmic weights into probabilities.
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

// telling returns the leaks with another prediction in each of them.
func (l leaks) telling(tell func(*leak)) leaks {
	l.all = slices.Clone(l.all)
	for i := range l.all {
		tell(&l.all[i])
	}
	return l
}

// at predicts the pressure at t: what a leak has left by then, plus the random walk. The
// readings determine part of the walk, by their covariance with it.
func (l leaks) at(t float64) leaks {
	told := l.read.whiten(func(s Sample) float64 { return l.read.shared(s.T, t) })
	untold := max(0, l.read.shared(t, t)-floats.Dot(told, told))
	seen := floats.Dot(told, l.read.white)
	return l.telling(func(k *leak) {
		left, slope := k.form.left(t, k.rate)
		own := left - floats.Dot(told, k.left)
		k.mean = k.p0*own + seen
		k.u = floats.Norm([]float64{k.u0 * own, Rounded(k.width) * k.p0 * slope, math.Sqrt(untold)}, 2)
	})
}

// reading predicts what the manometer will show at a reading whose pressure is not known
// yet.
func (l leaks) reading(r Sample) leaks {
	return l.at(r.T).telling(func(k *leak) {
		fall := k.form.Fall(k.rate, k.p0, max(0, k.mean))
		k.u = math.Hypot(k.u, l.scatter*math.Hypot(r.UP, r.UT*fall))
	})
}

// below returns the probability that the predicted quantity is less than x, from normal
// distributions.
func (l leaks) below(x float64) float64 {
	var sum float64
	for _, k := range l.all {
		sum += k.weight * distuv.UnitNormal.CDF((x-k.mean)/k.u)
	}
	return sum
}

// estimate returns the prediction of all leaks together.
func (l leaks) estimate() Estimate {
	var e Estimate
	for _, k := range l.all {
		e.Value += k.weight * k.mean
	}
	for _, k := range l.all {
		e.U = math.Hypot(e.U, math.Sqrt(k.weight)*math.Hypot(k.mean-e.Value, k.u))
	}
	e.Low = e.Value + l.stretch*(l.quantile((1-credible)/2, e)-e.Value)
	e.High = e.Value + l.stretch*(l.quantile((1+credible)/2, e)-e.Value)
	return e
}

// quantile halves its way to the value with the probability q below it. By
// Cantelli's inequality it is less than 7 u off the mean if q is from 0.025 to
// 0.975.
func (l leaks) quantile(q float64, about Estimate) float64 {
	low, high := about.Value-7*about.U, about.Value+7*about.U
	for range 26 {
		middle := (low + high) / 2
		if l.below(middle) < q {
			low = middle
		} else {
			high = middle
		}
	}
	return (low + high) / 2
}
