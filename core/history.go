package core

import (
	"math"
	"slices"

	"benchbell/core/estimate"
)

// PastTest is the drop in a past test of a suit, in pascals or as a share of the drop
// allowed. All tests of a history use the same.
type PastTest struct {
	Day  Date
	Drop float64
}

// Trend is the trend of one suit's drops by one method, with the days on which it would
// reach the limit, zero if none is in sight (see estimate.Trend).
type Trend struct {
	estimate.Trend
	Reaches, Earliest, Latest Date
}

// TrendOf works out the trend of a suit's tests, in whatever order, and when
// it reaches the limit, in the unit of the drops.
func TrendOf(tests []PastTest, limit float64) Trend {
	days, drops, first := series(tests)
	t := Trend{Trend: estimate.TrendOf(days, drops, limit)}
	date := func(day float64) Date {
		if math.IsNaN(day) {
			return Date{}
		}
		return first.AddDays(int(day))
	}
	t.Reaches, t.Earliest, t.Latest = date(t.Trend.Reaches), date(t.Trend.Earliest), date(t.Trend.Latest)
	return t
}

// OutlierOf compares a suit's last test with its history.
func OutlierOf(tests []PastTest, uncertainty float64) estimate.Outlier {
	days, drops, _ := series(tests)
	return estimate.OutlierOf(days, drops, uncertainty)
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
