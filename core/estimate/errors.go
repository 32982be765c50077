package estimate

import "math"

// errorSum is the distribution of a sum of independent errors, each anywhere
// within a bound of its own and symmetric about zero: that of the sum of
// rectangular distributions, put together one by one (JCGM 101:2008, 5.2, by
// convolution in place of trials). It is the distribution function at points an
// equal step apart from -half to half, outside of which the sum cannot be.
type errorSum struct {
	half   float64
	points []float64
}

const (
	// fineness is how many steps a distribution has.
	fineness = 1000
	// negligible is the share of half below which a bound is left out: its effect is
	// less than a step, and blur would divide rounding errors by it.
	negligible = 1e-6
)

// sumOf returns the distribution of the sum of errors with these bounds.
func sumOf(bounds []float64) errorSum {
	var s errorSum
	for _, b := range bounds {
		s.half += b
	}
	if s.half == 0 {
		return s
	}
	s.points = make([]float64, fineness+1)
	s.points[fineness/2] = 0.5 // no error at all, to begin with
	for i := fineness/2 + 1; i <= fineness; i++ {
		s.points[i] = 1
	}
	for _, b := range bounds {
		if b > negligible*s.half {
			s.blur(b)
		}
	}
	return s
}

func (s errorSum) step() float64 { return 2 * s.half / fineness }

// at returns the error of a point.
func (s errorSum) at(i int) float64 { return s.half * float64(2*i-fineness) / fineness }

// blur adds an error within ± bound: the mean of the distribution function over
// as far on both sides, from its integral.
func (s errorSum) blur(bound float64) {
	var integral [fineness + 1]float64
	half, step := s.half, s.step()
	for i := range fineness {
		integral[i+1] = integral[i] + step*(s.points[i]+s.points[i+1])/2
	}
	upTo := func(x float64) float64 {
		place := (x + half) / step
		if place < 0 {
			return 0
		}
		i := min(int(place), fineness-1)
		return integral[i] + (place-float64(i))*(integral[i+1]-integral[i])
	}
	for i := range s.points {
		s.points[i] = (upTo(s.at(i)+bound) - upTo(s.at(i)-bound)) / (2 * bound)
	}
}

// below returns the probability of an error below x.
func (s errorSum) below(x float64) float64 {
	place := (x + s.half) / s.step()
	switch {
	case !(place > 0):
		return 0
	case place >= fineness:
		return 1
	}
	i := int(place)
	return s.points[i] + (place-float64(i))*(s.points[i+1]-s.points[i])
}

// quantile returns the error with the probability q below it.
func (s errorSum) quantile(q float64) float64 {
	low, high := -s.half, s.half
	for range 50 {
		if middle := (low + high) / 2; s.below(middle) < q {
			low = middle
		} else {
			high = middle
		}
	}
	return (low + high) / 2
}

// bell returns six equal bounds that approximate a normal distribution with standard
// uncertainty u: the quantiles for 95 % are 1 % too small.
func bell(u float64) []float64 {
	const many = 6
	bounds := make([]float64, many)
	for i := range bounds {
		bounds[i] = u * math.Sqrt(3.0/many)
	}
	return bounds
}
