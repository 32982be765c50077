package core

import (
	"cmp"
	"math"
	"math/bits"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// PastTest is how far the pressure dropped in a past test of a suit: in
// pascals, or as a share of the drop allowed, but all of a history alike.
type PastTest struct {
	Day  Date
	Drop float64
}

// Tendency is what can be said of the drops of one suit over the years.
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

// Trend is the history of the drops of one suit by one method.
type Trend struct {
	Tests    int
	Tendency Tendency
	Kendall  Kendall
	Line     Line // days since the first test against drops; zero if all are of one day
	// Reaches is the day on which the line reaches the limit, if the drops are
	// Rising, the line rises with them, and the day is in sight, at most a
	// hundred years ahead; zero otherwise. If the line was beyond the limit
	// all along, it is the day of the first test.
	Reaches Date
	// Earliest and Latest are the same for the interval of the slope; a zero
	// Latest is not in sight. It is an interval of the trend: one bad test may
	// come at any time.
	Earliest, Latest Date
}

// PerYear returns how much the drop rises in a year by the line.
func (t Trend) PerYear() float64 { return t.Line.Slope * daysPerYear }

// TrendOf works out the trend of a suit's tests, in whatever order, and when
// it reaches the limit, in the unit of the drops. Drops must be finite.
func TrendOf(tests []PastTest, limit float64) Trend {
	days, drops, first := series(tests)
	k := MannKendall(days, drops)
	t := Trend{Tests: len(tests), Kendall: k, Tendency: k.tendency()}
	t.Line, _ = TheilSen(days, drops, chance)
	if t.Tendency != Rising {
		return t
	}
	reaches := func(slope float64, round func(float64) float64) Date {
		day := max(0, t.Line.X+(limit-t.Line.Y)/slope)
		if !(slope > 0) || !(day <= days[len(days)-1]+daysInSight) {
			return Date{}
		}
		return first.AddDays(int(round(day)))
	}
	t.Reaches = reaches(t.Line.Slope, math.Floor)
	t.Earliest, t.Latest = reaches(t.Line.High, math.Floor), reaches(t.Line.Low, math.Ceil)
	if t.Line.Y > limit { // the limit is behind the middle of the line: the steeper, the later
		t.Earliest, t.Latest = reaches(t.Line.Low, math.Floor), reaches(t.Line.High, math.Ceil)
		if t.Earliest.IsZero() {
			t.Earliest = first
		}
	}
	return t
}

// tendency returns what the test lets one say.
func (k Kendall) tendency() Tendency {
	switch {
	case k.N < leastTests:
		return TooFewTests
	case k.Up <= chance:
		return Rising
	case k.Down <= chance:
		return Falling
	}
	return NoTrend
}

// series returns the tests in the order of their days, those of one day in
// the order they came in, as days since the first.
func series(tests []PastTest) (days, drops []float64, first Date) {
	tests = slices.Clone(tests)
	slices.SortStableFunc(tests, func(a, b PastTest) int { return a.Day.Compare(b.Day) })
	for _, t := range tests {
		days = append(days, float64(t.Day.Days(tests[0].Day)))
		drops = append(drops, t.Drop)
	}
	if len(tests) > 0 {
		first = tests[0].Day
	}
	return days, drops, first
}

// Line is a straight line through points by the method of Theil and Sen: its
// slope is the median of the slopes between any two of them. A point that is
// wrong hardly moves it.
type Line struct {
	Slope     float64
	Intercept float64 // at x = 0
	// Low and High enclose the true slope with the Confidence; they are
	// infinite where the points are too few to say.
	Low, High float64
	// Confidence is 1 − 2·tail, or what the exact distribution gives above
	// it; 1 where Low and High are infinite.
	Confidence float64
	X, Y       float64 // medians: the line goes through them
}

// At returns the line's y at x.
func (l Line) At(x float64) float64 { return l.Y + l.Slope*(x-l.X) }

// TheilSen draws a line through points. The intercept is Conover's: the line
// goes through the medians of x and y. The interval of the slope is Sen's
// (1968): every slope from which the residuals show no trend by Kendall's test
// at tail each way. These are the slopes between two of those found, counted
// from either end (Gilbert 1987, 16.5); here just as many are left out as the
// test refuses, where Sen in his example leaves out one less. Up to ten points
// the distribution is exact. Residuals are taken to have no ties; x may have
// some.
//
// ok is false if no two points differ in x.
func TheilSen(x, y []float64, tail float64) (l Line, ok bool) {
	slopes := slopesBetween(x, y)
	if len(slopes) == 0 {
		return Line{}, false
	}
	l = Line{Slope: median(slopes), X: median(x), Y: median(y), Low: math.Inf(-1), High: math.Inf(1), Confidence: 1}
	l.Intercept = l.Y - l.Slope*l.X
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
	distinct := make([]float64, len(x))
	for i := range distinct {
		distinct[i] = float64(i)
	}
	null := newNullS(ties(x), distinct)
	s = math.Inf(1)
	for c := null.most; c > 0; c-- {
		p := null.atLeast(c)
		if p > level {
			break
		}
		if p > 0 {
			s, beyond = float64(c), p
		}
	}
	return s, beyond
}

// Kendall is the test of Mann and Kendall for a trend.
type Kendall struct {
	N        int
	S        int     // pairs of tests that rise, less those that fall
	Variance float64 // of S where there is no trend, ties allowed for
	// How probable an S as high (Up), as low (Down) or as far from zero (Both)
	// is where there is no trend.
	Up, Down, Both float64
	Exact          bool // from the distribution itself, not its normal approximation
}

// Z returns S in standard deviations, a step of one nearer to zero for
// continuity; zero if S cannot vary.
func (k Kendall) Z() float64 {
	if k.Variance <= 0 || k.S == 0 {
		return 0
	}
	toward := math.Copysign(1, float64(k.S))
	return (float64(k.S) - toward) / math.Sqrt(k.Variance)
}

// MannKendall tests whether y rises or falls with x, against chance: that any
// order of the y is as probable as any other. Neither need be distinct: a pair
// that has an x or a y in common counts for nothing, and the distribution
// knows of it. Up to ten points it is exact, above it is the normal
// approximation with the correction for ties (Kendall; EPA QA/G-9S).
func MannKendall(x, y []float64) Kendall {
	k := Kendall{N: len(x), Up: 1, Down: 1, Both: 1}
	for j := range x {
		for i := range j {
			k.S += cmp.Compare(x[j], x[i]) * cmp.Compare(y[j], y[i])
		}
	}
	k.Variance = varianceOfS(k.N, ties(x), ties(y))
	if k.N <= exactTests {
		null := newNullS(ties(x), y)
		k.Exact = true
		k.Up, k.Down = null.atLeast(k.S), null.atMost(k.S)
		if far := max(k.S, -k.S); far > 0 {
			k.Both = null.atLeast(far) + null.atMost(-far)
		}
		return k
	}
	if k.Variance > 0 {
		sd := math.Sqrt(k.Variance)
		k.Up = distuv.UnitNormal.CDF(-(float64(k.S) - 1) / sd)
		k.Down = distuv.UnitNormal.CDF((float64(k.S) + 1) / sd)
		k.Both = 2 * distuv.UnitNormal.CDF(-math.Abs(k.Z()))
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

// nullS is the exact distribution of Kendall's S under chance.
type nullS struct {
	most int       // S is from −most to most
	ways []float64 // number of orders that give S = i − most
	all  float64
}

// newNullS counts the orders of y, of at most a few values, over times of
// which xs says how many are one. It goes from one time to the next, and keeps
// for each set of values used so far how many ways there are to each S.
func newNullS(xs []int, y []float64) nullS {
	n := len(y)
	null := nullS{most: n * (n - 1) / 2}
	below, above := make([]uint, n), make([]uint, n) // sets of indices into y
	for i := range y {
		for j := range y {
			switch cmp.Compare(y[j], y[i]) {
			case -1:
				below[i] |= 1 << j
			case 1:
				above[i] |= 1 << j
			}
		}
	}
	ways := make([][]float64, 1<<n)
	fresh := func() []float64 { return make([]float64, 2*null.most+1) }
	ways[0] = fresh()
	ways[0][null.most] = 1
	used := 0
	for _, size := range xs {
		for set := range uint(len(ways)) {
			if ways[set] == nil || bits.OnesCount(set) != used {
				continue
			}
			subsets(uint(len(ways))-1-set, size, func(next uint) {
				s := 0
				for left := next; left > 0; left &= left - 1 {
					i := bits.TrailingZeros(left)
					s += bits.OnesCount(set&below[i]) - bits.OnesCount(set&above[i])
				}
				if ways[set|next] == nil {
					ways[set|next] = fresh()
				}
				for i, w := range ways[set] {
					if w > 0 {
						ways[set|next][i+s] += w
					}
				}
			})
		}
		used += size
	}
	null.ways = ways[len(ways)-1]
	for _, w := range null.ways {
		null.all += w
	}
	return null
}

// subsets calls f with every subset of a set that has so many members.
func subsets(of uint, members int, f func(uint)) {
	if members == 0 {
		f(0)
		return
	}
	for left := of; bits.OnesCount(left) >= members; left &= left - 1 {
		lowest := left & -left
		subsets(left-lowest, members-1, func(others uint) { f(lowest | others) })
	}
}

// atLeast returns the probability of an S of at least s.
func (d nullS) atLeast(s int) float64 {
	sum := 0.0
	for i := max(0, s+d.most); i < len(d.ways); i++ {
		sum += d.ways[i]
	}
	return sum / d.all
}

// atMost returns the probability of an S of at most s.
func (d nullS) atMost(s int) float64 {
	sum := 0.0
	for i := 0; i <= min(s+d.most, len(d.ways)-1); i++ {
		sum += d.ways[i]
	}
	return sum / d.all
}

// median returns the middle value, or the mean of the two middle ones. There
// must be one.
func median(values []float64) float64 {
	sorted := slices.Sorted(slices.Values(values))
	n := len(sorted)
	return (sorted[(n-1)/2] + sorted[n/2]) / 2
}

// Departure is whether a suit's last test is in line with those before it.
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

// Stray says how far a suit's last test is off its own history. A test may be
// a good pass and yet be worth a second look.
type Stray struct {
	Tests     int
	Departure Departure
	Expected  float64 // drop by the line through all tests
	Off       float64 // by how much the last drop is more
	Spread    float64 // of the drops about the line
}

// StrayOf compares the last test with all of them, itself among them. The slope
// is that of Theil and Sen, and the line lies so that as many tests are above
// it as below: a single test hardly moves it. The spread about it is the median
// of the absolute residuals, as a standard deviation, raised by √(n/(n−2))
// since the line itself took two of the tests; it is at least the standard
// uncertainty of a drop, which must be more than zero. The last test is off if
// its residual is more than 3.5 times that. Of normally distributed drops that
// calls two to four in a hundred, the more the fewer tests there are.
func StrayOf(tests []PastTest, uncertainty float64) Stray {
	st := Stray{Tests: len(tests), Departure: CannotTell}
	days, drops, _ := series(tests)
	slopes := slopesBetween(days, drops)
	if len(slopes) == 0 || len(tests) < leastHistory || !(uncertainty > 0) {
		return st
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
	n, last := float64(len(tests)), len(tests)-1
	st.Expected = middle + slope*days[last]
	st.Off = drops[last] - st.Expected
	st.Spread = max(uncertainty, perMAD*median(off)*math.Sqrt(n/(n-2)))
	switch {
	case st.Off > farOff*st.Spread:
		st.Departure = Above
	case st.Off < -farOff*st.Spread:
		st.Departure = Below
	default:
		st.Departure = InLine
	}
	return st
}
