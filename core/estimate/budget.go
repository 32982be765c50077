package estimate

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Coverage is the factor k of an expanded uncertainty.
const Coverage = 2

// credible is the probability of an interval.
const credible = 0.95

// Estimate is a value with its standard uncertainty, and an interval: where
// nothing else is said that which holds it with a probability of 95 %, and what
// is outside is as likely on either side.
type Estimate struct{ Value, U, Low, High float64 }

// Half returns half the width of the interval, to be written after a ±.
func (e Estimate) Half() float64 { return (e.High - e.Low) / 2 }

// Expanded returns a value with the interval of its expanded uncertainty.
func Expanded(v, u float64) Estimate {
	return Estimate{Value: v, U: u, Low: v - Coverage*u, High: v + Coverage*u}
}

// Rectangular returns the standard uncertainty of a value that is known to lie
// within ± a, anywhere in it (JCGM 100, 4.3.7).
func Rectangular(a float64) float64 { return a / math.Sqrt(3) }

// Rounded returns the standard uncertainty of a value that is shown in steps
// (JCGM 100, F.2.2.1: 0.29 of a step).
func Rounded(step float64) float64 { return Rectangular(step / 2) }

// Conforms returns the conformance probability of a value that was measured a
// margin inside a limit, negative outside, with a standard uncertainty of u:
// Φ(margin/u), JCGM 106:2012, 7.3. Both are in one unit. With no uncertainty it
// is 1 or 0; just at the limit is within.
func Conforms(margin, u float64) float64 {
	switch {
	case u > 0:
		return distuv.UnitNormal.CDF(margin / u)
	case margin >= 0:
		return 1
	}
	return 0
}

// Law is how the errors of a component are distributed.
type Law uint8

// The laws. An Offset is one that is known, and not corrected: it adds to the
// uncertainty (JCGM 100, F.2.4.5), but does not spread.
const (
	Uniform Law = iota // anywhere within ± √3·U
	Normal
	Offset
)

// Component is what one source adds to the uncertainty of a margin: a standard
// uncertainty in pascals, the sensitivity of the margin already in it.
type Component struct {
	Origin string
	U      float64
	Law    Law
}

// Budget is the uncertainty budget of a margin after JCGM 100:2008 (GUM).
//
// The margin is the ending pressure less the least that passes, in pascals:
// negative beyond the limit. Where the limit is a drop, the budget is the drop's
// own; where it is a floor, it is that of the ending pressure.
//
// The components are independent; correlated sources are added linearly into one. Each
// component that is not Normal is a known or stated bound with a rectangular
// distribution (Type B, 4.3.7). Such bounds count as having infinitely many degrees of
// freedom (G.4.3), so the coverage factor is 2.
type Budget struct {
	Margin     float64
	Components []Component
	// Late is by how much the margin was greater on average when the hold was over,
	// since the pressure was read some seconds later. The margin is not corrected
	// by it: the verdict uses the reading, and a correction could only help the
	// suit. It is an Offset among the components instead.
	Late float64
	// Air is the uncertainty of the change of the ambient air. AirLow to AirHigh is
	// by how much a change that was read can have raised the ending pressure, Share
	// how much of it the suit shows. The drop is not corrected for the air, so the
	// drop's uncertainty does not include it. The uncertainty of the leak's part of
	// the drop does (see CombinedWithAir), and so does Conforms.
	Air             []Component
	AirLow, AirHigh float64
	Share           Share
	LeftOut         []string // sources of which nothing is known: they are not in it
}

// Add adds a component, if there is something to it.
func (b *Budget) Add(c Component) {
	if c.U > 0 {
		b.Components = append(b.Components, c)
	}
}

// Combined returns the combined standard uncertainty of the margin, in pascals.
func (b Budget) Combined() float64 { return combined(b.Components) }

func combined(components []Component) float64 {
	sum := 0.0
	for _, c := range components {
		sum += c.U * c.U
	}
	return math.Sqrt(sum)
}

// Expanded returns the expanded uncertainty U = 2u of the margin, in pascals. The true
// margin lies within ± U of it with a probability of 95 % or more: more if one bound
// dominates, since 2u then exceeds it (JCGM 100, G.6.5). Interval returns 95 %.
func (b Budget) Expanded() float64 { return Coverage * b.Combined() }

// CombinedWithAir returns the standard uncertainty, in pascals, of the margin that the
// leak alone would have left: it includes the uncertainty of the air's change. The
// guard band is twice that.
func (b Budget) CombinedWithAir() float64 { return math.Hypot(b.Combined(), combined(b.Air)) }

// AirExpanded returns the expanded uncertainty (k = 2) of what the air did, in
// pascals.
func (b Budget) AirExpanded() float64 { return Coverage * combined(b.Air) }

// shares is how many shares the average over all possible shares uses.
const shares = 8

// Conforms returns the conformance probability (JCGM 106:2012, 7.1): that the margin
// which the leak alone would have left is not negative, by the distribution of the sum
// of the errors. A possible rise by the air is subtracted in full; a fall never counts
// in the suit's favour. The unread part of the air's change is multiplied by the
// suit's share, averaged over all possible shares.
func (b Budget) Conforms() float64 {
	margin := b.Margin + b.Late - max(0, b.AirHigh)
	low, high := b.Share.Bounds()
	var sum float64
	for i := range shares {
		share := low + (high-low)*(float64(i)+0.5)/shares
		all := bounds(b.Components, 1)
		if len(b.Air) > 0 {
			all = append(all, bounds(b.Air, share/b.Share.RMS())...)
		}
		errors := sumOf(all)
		if errors.half == 0 {
			sum += Conforms(margin, 0)
			continue
		}
		sum += 1 - errors.below(-margin)
	}
	return sum / shares
}

// Interval returns an interval that the true margin lies in with 95 % or more,
// in pascals: the probabilistically symmetric one (JCGM 101:2008, 3.15) about
// the margin when the hold was over, and as far as the margin that was read.
func (b Budget) Interval() (low, high float64) {
	errors := sumOf(bounds(b.Components, 1))
	when := b.Margin + b.Late
	low, high = when+errors.quantile((1-credible)/2), when+errors.quantile((1+credible)/2)
	return min(low, b.Margin), max(high, b.Margin)
}

// bounds returns the bounds of rectangular errors that together are distributed
// as those of the components, each multiplied by a factor.
func bounds(components []Component, factor float64) []float64 {
	var all []float64
	for _, c := range components {
		switch c.Law {
		case Offset: // where the middle is
		case Normal:
			all = append(all, bell(factor*c.U)...)
		case Uniform:
			all = append(all, factor*c.U*math.Sqrt(3))
		}
	}
	return all
}
