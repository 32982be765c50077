package estimate

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// Tendency is what can be said of drops over the years.
type Tendency string

// The tendencies. A suit whose drops rise is getting worse.
const (
	TooFewTests Tendency = "too few tests"
	NoTrend     Tendency = "no trend"
	Rising      Tendency = "rising"
	Falling     Tendency = "falling"
)

const (
	// leastTests is how many tests a trend is spoken of from. Of three, even
	// the best order comes about by chance once in six times.
	leastTests = 4
	// chance is how often a trend is claimed, each way, where there is none;
	// at most, and the intervals are made to match. Common practice.
	chance = 0.05
	// exactTests is up to how many tests the exact distribution of Kendall's
	// S is used; Gilbert (1987) has tables up to ten.
	exactTests = 10
	// daysInSight is how far ahead of the last test a date is worth telling:
	// a hundred years, more than any suit lasts.
	daysInSight = 36_525
	daysPerYear = 365.25
)

// Trend is what a series of drops tells, in pascals or as shares of the drop
// allowed, but all of a series alike.
type Trend struct {
	Tests    int
	Tendency Tendency
	Kendall  Kendall
	Line     Line // days against drops; zero if all are of one day
	// Reaches is the whole day on which the line reaches the limit, if the drops
	// are Rising, the line rises with them, and the day is in sight, at most a
	// hundred years ahead; NaN otherwise. If the line was beyond the limit
	// all along, it is day 0.
	Reaches float64
	// Earliest and Latest are the same for the interval of the slope; a Latest
	// of NaN is not in sight. It is an interval of the trend: one bad test may
	// come at any time.
	Earliest, Latest float64
}

// PerYear returns how much the drop rises in a year by the line.
func (t Trend) PerYear() float64 { return t.Line.Slope * daysPerYear }

// TrendOf works out the trend of drops on days that are in order, the first of
// them day 0, and when it reaches the limit. Drops must be finite.
func TrendOf(days, drops []float64, limit float64) Trend {
	k := mannKendall(days, drops)
	none := math.NaN()
	t := Trend{Tests: len(days), Kendall: k, Tendency: k.tendency(len(days)), Reaches: none, Earliest: none, Latest: none}
	t.Line, _ = theilSen(days, drops, chance)
	if t.Tendency != Rising {
		return t
	}
	reaches := func(slope float64, round func(float64) float64) float64 {
		day := max(0, t.Line.X+(limit-t.Line.Y)/slope)
		if !(slope > 0) || !(day <= days[len(days)-1]+daysInSight) {
			return none
		}
		return round(day)
	}
	t.Reaches = reaches(t.Line.Slope, math.Floor)
	t.Earliest, t.Latest = reaches(t.Line.High, math.Floor), reaches(t.Line.Low, math.Ceil)
	if t.Line.Y > limit { // the limit is behind the middle of the line: the steeper, the later
		t.Earliest, t.Latest = reaches(t.Line.Low, math.Floor), reaches(t.Line.High, math.Ceil)
		if math.IsNaN(t.Earliest) {
			t.Earliest = 0
		}
	}
	return t
}

// Line is a straight line through points by the method of Theil and Sen: its
// slope is the median of the slopes between any two of them. A point that is
// wrong hardly moves it.
type Line struct {
	Slope float64
	// Low and High enclose the true slope with the Confidence; they are
	// infinite where the points are too few to say.
	Low, High float64
	// Confidence is 1 − 2·tail, or what the exact distribution gives above
	// it; 1 where Low and High are infinite.
	Confidence float64
	X, Y       float64 // medians: the line goes through them (Conover)
}

// At returns the line's y at x.
func (l Line) At(x float64) float64 { return l.Y + l.Slope*(x-l.X) }

// theilSen draws a line through points. The interval of the slope is Sen's
// (1968): every slope from which the residuals show no trend by Kendall's test
// at tail each way. These are the slopes between two of those found, counted
// from either end (Gilbert 1987, 16.5); here just as many are left out as the
// test refuses, where Sen in his example leaves out one less. Up to ten points
// the distribution is exact. Residuals are taken to have no ties; x may have
// some.
//
// ok is false if no two points differ in x.
func theilSen(x, y []float64, tail float64) (l Line, ok bool) {
	slopes := slopesBetween(x, y)
	if len(slopes) == 0 {
		return Line{}, false
	}
	l = Line{Slope: median(slopes), X: median(x), Y: median(y), Low: math.Inf(-1), High: math.Inf(1), Confidence: 1}
	refused, beyond := critical(x, tail)
	// A slope below which lie k of the slopes has S = len(slopes) − 2k.
	if k := math.Floor((float64(len(slopes)) - refused) / 2); k >= 0 {
		l.Low, l.High = slopes[int(k)], slopes[len(slopes)-1-int(k)]
		l.Confidence = 1 - 2*beyond
	}
	return l, true
}

// slopesBetween returns the slopes between any two points that differ in x, in
// their order.
func slopesBetween(x, y []float64) []float64 {
	var slopes []float64
	for j := range x {
		for i := range j {
			if x[i] != x[j] {
				slopes = append(slopes, (y[j]-y[i])/(x[j]-x[i]))
			}
		}
	}
	slices.Sort(slopes)
	return slopes
}

// critical returns the least S that Kendall's test refuses at a level, each
// way, and how probable it is to be reached; +Inf if there is none.
func critical(x []float64, level float64) (s, beyond float64) {
	if n := len(x); n > exactTests {
		sd := math.Sqrt(varianceOfS(n, ties(x), nil))
		return 1 + sd*distuv.UnitNormal.Quantile(1-level), level // 1 for continuity
	}
	orders := ordersOf(ties(x))
	s = math.Inf(1)
	for falls := range orders {
		p := orders.share(falls)
		if p > level {
			break
		}
		s, beyond = float64(len(orders)-1-2*falls), p
	}
	return s, beyond
}

// Kendall is the test of Mann and Kendall for a trend.
type Kendall struct {
	S        int     // pairs of tests that rise, less those that fall
	Variance float64 // of S where there is no trend, ties allowed for
	// How probable an S as high (Up) or as low (Down) is where there is no trend.
	Up, Down float64
}

// tendency returns what the test lets one say of n drops.
func (k Kendall) tendency(n int) Tendency {
	switch {
	case n < leastTests:
		return TooFewTests
	case k.Up <= chance:
		return Rising
	case k.Down <= chance:
		return Falling
	}
	return NoTrend
}

// mannKendall tests whether y rises or falls with x, against chance: that any
// order of the y is as probable as any other. A pair that has an x or a y in
// common counts for nothing. Up to ten points the probabilities are exact, ties
// of one variable in it; with ties of both they are the greater of the two that
// leave out those of one, so that a trend is claimed less often. Above it is the
// normal approximation with the correction for ties (Kendall; EPA QA/G-9S).
func mannKendall(x, y []float64) Kendall {
	k := Kendall{Up: 1, Down: 1}
	n, xs, ys := len(x), ties(x), ties(y)
	for j := range x {
		for i := range j {
			k.S += cmp.Compare(x[j], x[i]) * cmp.Compare(y[j], y[i])
		}
	}
	k.Variance = varianceOfS(n, xs, ys)
	switch {
	case n <= exactTests && (len(xs) == n || len(ys) == n):
		orders := ordersOf(ys)
		if len(ys) == n {
			orders = ordersOf(xs)
		}
		k.Up, k.Down = orders.atLeast(k.S), orders.atLeast(-k.S)
	case n <= exactTests:
		a, b := ordersOf(xs), ordersOf(ys)
		k.Up, k.Down = max(a.atLeast(k.S), b.atLeast(k.S)), max(a.atLeast(-k.S), b.atLeast(-k.S))
	case k.Variance > 0:
		sd := math.Sqrt(k.Variance)
		k.Up = distuv.UnitNormal.CDF(-(float64(k.S) - 1) / sd)
		k.Down = distuv.UnitNormal.CDF((float64(k.S) + 1) / sd)
	}
	return k
}

// ties returns how many times each different value stands there, in the
// order of the values.
func ties(values []float64) []int {
	var groups []int
	sorted := slices.Sorted(slices.Values(values))
	for i, v := range sorted {
		if i == 0 || v != sorted[i-1] {
			groups = append(groups, 0)
		}
		groups[len(groups)-1]++
	}
	return groups
}

// varianceOfS returns the variance of Kendall's S under chance, with ties of
// both variables (Kendall, Rank Correlation Methods; Gilbert 1987, chapter 16).
func varianceOfS(n int, xs, ys []int) float64 {
	sum := func(groups []int, term func(t float64) float64) (total float64) {
		for _, t := range groups {
			total += term(float64(t))
		}
		return total
	}
	pairs := func(t float64) float64 { return t * (t - 1) }
	triples := func(t float64) float64 { return t * (t - 1) * (t - 2) }
	weighed := func(t float64) float64 { return t * (t - 1) * (2*t + 5) }
	m := float64(n)
	v := (weighed(m) - sum(xs, weighed) - sum(ys, weighed)) / 18
	if n > 1 {
		v += sum(xs, pairs) * sum(ys, pairs) / (2 * pairs(m))
	}
	if n > 2 {
		v += sum(xs, triples) * sum(ys, triples) / (9 * triples(m))
	}
	return v
}

// orders is in how many orders of some values, with ties, so many pairs fall:
// none, one, and so on to all that differ.
type orders []float64

// ordersOf counts the orders of values of which so many are alike each. Their
// generating function is the Gaussian multinomial coefficient (MacMahon): the
// product of 1 − qⁱ up to all of the values, over those up to each group's.
func ordersOf(groups []int) orders {
	n, alike := 0, 0
	for _, t := range groups {
		n += t
		alike += t * (t - 1) / 2
	}
	o := make(orders, n*(n-1)/2-alike+1)
	o[0] = 1
	for _, t := range groups {
		for i := 1; i <= t; i++ {
			for k := i; k < len(o); k++ {
				o[k] += o[k-i]
			}
		}
	}
	for i := 1; i <= n; i++ {
		for k := len(o) - 1; k >= i; k-- {
			o[k] -= o[k-i]
		}
	}
	return o
}

// share returns the share of the orders of which at most so many pairs fall.
func (o orders) share(falls int) float64 {
	var sum, all float64
	for k, ways := range o {
		all += ways
		if k <= falls {
			sum += ways
		}
	}
	return sum / all
}

// atLeast returns the probability of an S of at least s. One that no order has
// counts as the next lower one that some have.
func (o orders) atLeast(s int) float64 { return o.share((len(o) - s) / 2) }

// median returns the middle value, or the mean of the two middle ones. There
// must be one.
func median(values []float64) float64 {
	sorted := slices.Sorted(slices.Values(values))
	n := len(sorted)
	return (sorted[(n-1)/2] + sorted[n/2]) / 2
}

// Departure is whether the last drop is in line with those before it.
type Departure string

// The departures.
const (
	CannotTell Departure = "too few tests to tell"
	InLine     Departure = "in line with its history"
	Above      Departure = "above its history"
	Below      Departure = "below its history"
)

const (
	// leastHistory is how many tests, the last among them, a departure is
	// spoken of from; farOff is how many times the spread it must be off by.
	// Iglewicz and Hoaglin (1993) give 3.5 for the modified z-score, which this
	// is; that it is taken from a line, and from how many tests, is ours.
	leastHistory = 6
	farOff       = 3.5
	// perMAD makes the median of absolute deviations of normally distributed
	// values their standard deviation.
	perMAD = 1.4826
)

// Outlier says how far the last of a series of drops is off the others. A test
// may be a good pass and yet be worth a second look.
type Outlier struct {
	Departure Departure
	Expected  float64 // drop by the line through all tests
	Off       float64 // by how much the last drop is more
	Spread    float64 // of the drops about the line
}

// OutlierOf compares the last drop with all of them, itself among them. The slope
// is that of Theil and Sen, and the line lies so that as many tests are above
// it as below: a single test hardly moves it. The spread about it is the median
// of the absolute residuals, as a standard deviation, raised by √(n/(n−2))
// since the line itself took two of the tests; it is at least the standard
// uncertainty of a drop, which must be more than zero. The last test is off if
// its residual is more than 3.5 times that. Of normally distributed drops that
// calls two to four in a hundred, the more the fewer tests there are.
func OutlierOf(days, drops []float64, uncertainty float64) Outlier {
	slopes := slopesBetween(days, drops)
	if len(slopes) == 0 || len(days) < leastHistory || !(uncertainty > 0) {
		return Outlier{Departure: CannotTell}
	}
	slope := median(slopes)
	level := make([]float64, len(days)) // what is left of the drops without the slope
	for i := range days {
		level[i] = drops[i] - slope*days[i]
	}
	middle := median(level)
	off := make([]float64, len(days))
	for i := range level {
		off[i] = math.Abs(level[i] - middle)
	}
	n, last := float64(len(days)), len(days)-1
	o := Outlier{Departure: InLine, Expected: middle + slope*days[last]}
	o.Off = drops[last] - o.Expected
	o.Spread = max(uncertainty, perMAD*median(off)*math.Sqrt(n/(n-2)))
	switch {
	case o.Off > farOff*o.Spread:
		o.Departure = Above
	case o.Off < -farOff*o.Spread:
		o.Departure = Below
	}
	return o
}
