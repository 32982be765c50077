package core_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"benchbell/core"
	"benchbell/core/estimate"
)

// past returns tests every so many days from New Year 2020 on.
func past(t testing.TB, days int, drops ...float64) []core.PastTest {
	t.Helper()
	first := mustDate(t, "2020-01-01")
	var tests []core.PastTest
	for i, d := range drops {
		tests = append(tests, core.PastTest{Day: first.AddDays(i * days), Drop: d})
	}
	return tests
}

// TestTrendOf is a table of histories against a limit of 300 Pa.
func TestTrendOf(t *testing.T) {
	for _, tt := range []struct {
		name     string
		tests    []core.PastTest
		tendency estimate.Tendency
		perYear  float64
		reaches  string // empty is no date
		earliest string
		latest   string
	}{
		{"none", nil, estimate.TooFewTests, 0, "", "", ""},
		{"one", past(t, 100, 100), estimate.TooFewTests, 0, "", "", ""},
		{"three, ever worse", past(t, 100, 100, 110, 120), estimate.TooFewTests, 36.525, "", "", ""},
		// 0.1 Pa a day from 100 Pa: 300 Pa after 2000 days, 2025-06-23. With
		// no scatter there is nothing for an interval.
		{"four, ever worse", past(t, 100, 100, 110, 120, 130), estimate.Rising, 36.525, "2025-06-23", "2025-06-23", "2025-06-23"},
		{"four, two alike", past(t, 100, 100, 110, 110, 120), estimate.NoTrend, (5 + 20./3) / 2 * 3.6525, "", "", ""}, // 1/12
		{"four, one better", past(t, 100, 100, 120, 110, 130), estimate.NoTrend, 7.5 * 3.6525, "", "", ""},            // 4/24
		{"four, ever better", past(t, 100, 130, 120, 110, 100), estimate.Falling, -36.525, "", "", ""},
		{"always the same", past(t, 100, 100, 100, 100, 100, 100, 100), estimate.NoTrend, 0, "", "", ""},
		// Slopes, ×100 days: 16, 11, 8, 9 from the first; 6, 4, 20/3 from the
		// second; 2, 7 from the third; 12 from the fourth. In order 2, 4, 6,
		// 20/3, 7, 8, 9, 11, 12, 16: the median is 7.5, and of five tests with
		// one left out at either end the interval is 4 to 12. Through day 200
		// and 122 Pa, 300 Pa are 178 Pa away: 2373.3, 4450 and 1483.3 days on.
		{"five with scatter", past(t, 100, 100, 116, 122, 124, 136), estimate.Rising, 7.5 * 3.6525, "2027-01-17", "2024-08-10", "2032-09-24"},
		// The first two tests were a year apart, then they came in another
		// order; the order they are given in does not matter.
		{"out of order", shuffled(past(t, 100, 100, 110, 120, 130)), estimate.Rising, 36.525, "2025-06-23", "2025-06-23", "2025-06-23"},
		// Beyond the limit already: 0.1 Pa a day, 310 Pa at first; never below.
		{"beyond from the first", past(t, 100, 310, 320, 330, 340), estimate.Rising, 36.525, "2020-01-01", "2020-01-01", "2020-01-01"},
		// 300 Pa is 20 Pa below the middle of 320 on day 200; slopes in order
		// as above, with 4 and 12 and 7.5 in 100 days: 266.7, 166.7 and 500
		// days before, so before the first test, and 33.3 days after it.
		{"beyond since", past(t, 100, 298, 314, 320, 322, 334), estimate.Rising, 7.5 * 3.6525, "2020-01-01", "2020-01-01", "2020-02-04"},
		// Here it is 2.5 Pa below: 62.5, 33.3 and 20.8 days before day 200.
		{"beyond of late", past(t, 100, 280.5, 296.5, 302.5, 304.5, 316.5), estimate.Rising, 7.5 * 3.6525, "2020-06-15", "2020-05-17", "2020-06-29"},
		// 0.001 Pa a day: 200 000 days are out of sight.
		{"slow", past(t, 100, 100, 100.1, 100.2, 100.3), estimate.Rising, 0.36525, "", "", ""},
		// 100 years are 36 525 days from the last test; 200/0.0055 are 36 363.6.
		{"slow, in sight", past(t, 100, 100, 100.55, 101.1, 101.65), estimate.Rising, 2.008875, "2119-07-24", "2119-07-24", "2119-07-25"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			got := core.TrendOf(tt.tests, 300)
			if got.Tests != len(tt.tests) || got.Tendency != tt.tendency {
				t.Errorf("%d tests are %q, want %d and %q", got.Tests, got.Tendency, len(tt.tests), tt.tendency)
			}
			agrees(t, "a year", got.PerYear(), tt.perYear, 1e-9)
			for what, d := range map[string]struct {
				got  core.Date
				want string
			}{"reaches": {got.Reaches, tt.reaches}, "earliest": {got.Earliest, tt.earliest}, "latest": {got.Latest, tt.latest}} {
				want := core.Date{}
				if d.want != "" {
					want = mustDate(t, d.want)
				}
				if d.got != want {
					t.Errorf("%s %v, want %v", what, d.got, want)
				}
			}
		})
	}
}

func shuffled(tests []core.PastTest) []core.PastTest {
	rand.New(rand.NewPCG(1, 1)).Shuffle(len(tests), func(i, j int) { tests[i], tests[j] = tests[j], tests[i] })
	return tests
}

// TestTrendIsOfTheWholeHistory: the trend is that of Kendall's test, the dates
// that of the line through the tests, and none of it changes if the drops are
// shares of what is allowed instead of pascals.
func TestTrendIsOfTheWholeHistory(t *testing.T) {
	rng := rand.New(rand.NewPCG(300, 360))
	seen := make(map[estimate.Tendency]int)
	for range 400 {
		day, n := mustDate(t, "2015-06-30"), 1+rng.IntN(14)
		growth := float64(rng.IntN(3) - 1)
		var pascals, shares []core.PastTest
		for i := range n {
			day = day.AddDays(rng.IntN(300))
			drop := 150 + 10*growth*float64(i) + 20*rng.NormFloat64()
			pascals = append(pascals, core.PastTest{Day: day, Drop: drop})
			shares = append(shares, core.PastTest{Day: day, Drop: drop / 512}) // exact
		}
		got, same := core.TrendOf(pascals, 512), core.TrendOf(shuffled(shares), 1)
		seen[got.Tendency]++
		if got.Tendency != same.Tendency || got.Kendall.S != same.Kendall.S || got.Reaches != same.Reaches || got.Earliest != same.Earliest || got.Latest != same.Latest {
			t.Fatalf("%v: %+v, as shares %+v", pascals, got, same)
		}
		want := estimate.NoTrend
		switch {
		case n < 4:
			want = estimate.TooFewTests
		case got.Kendall.Up <= 0.05:
			want = estimate.Rising
		case got.Kendall.Down <= 0.05:
			want = estimate.Falling
		}
		if got.Tendency != want {
			t.Fatalf("%v is %q, want %q", pascals, got.Tendency, want)
		}
		if got.Tendency != estimate.Rising {
			if got.Reaches != (core.Date{}) || got.Earliest != (core.Date{}) || got.Latest != (core.Date{}) {
				t.Fatalf("%v is %q, and reaches the limit %v", pascals, got.Tendency, got)
			}
			continue
		}
		// Without ties among the drops the interval is above zero just if the
		// trend is claimed, and the dates are in order.
		if got.Line.Low < 0 || got.Earliest.After(got.Reaches) || !got.Latest.IsZero() && got.Latest.Before(got.Reaches) {
			t.Fatalf("%v: %+v", pascals, got)
		}
		// On the day before the line is within the limit, a day on beyond it.
		if d := float64(got.Reaches.Days(pascals[0].Day)); d > 0 && (got.Line.At(d) > 512+1e-6 || got.Line.At(d+1) < 512-1e-6) {
			t.Fatalf("%v: %v is %v on the day it reaches 512", pascals, got.Reaches, got.Line.At(d))
		}
	}
	for _, k := range []estimate.Tendency{estimate.TooFewTests, estimate.NoTrend, estimate.Rising, estimate.Falling} {
		if seen[k] < 20 {
			t.Errorf("%q came up %d times only", k, seen[k])
		}
	}
}

// TestTrendOfTies: a rise made of a few steps, with most tests alike, is a
// trend, but its slope is zero and reaches nothing; and one with an interval
// down to zero has no latest day.
func TestTrendOfTies(t *testing.T) {
	steps := core.TrendOf(past(t, 100, 1, 1, 1, 1, 1, 1, 1, 1, 2, 2), 3)
	if steps.Tendency != estimate.Rising || steps.Line.Slope != 0 || !steps.Reaches.IsZero() {
		t.Errorf("two steps up at the end: %+v", steps)
	}
	// 2 of 10·9/2 orders have both of the two at the end: 1/45.
	agrees(t, "two steps up at the end", steps.Kendall.Up, 1./45, 1e-12)
	open := core.TrendOf(past(t, 100, 1, 1, 1, 2, 2, 2), 3)
	agrees(t, "three and three", open.Kendall.Up, 1./20, 1e-12)
	if open.Tendency != estimate.Rising || open.Reaches.IsZero() || open.Line.Low != 0 || !open.Latest.IsZero() || open.Earliest.IsZero() {
		t.Errorf("three and three: %+v", open)
	}
	if got := core.TrendOf(past(t, 100, 2, 2, 2, 1, 1, 1), 3); got.Tendency != estimate.Falling {
		t.Errorf("three and three, better: %+v", got)
	}
	// Tests of one day have no order: these are two days, not eight tests.
	day := past(t, 100, 1, 2)
	many := slices.Concat(slices.Repeat(day[:1], 4), slices.Repeat(day[1:], 4))
	agrees(t, "two days", core.TrendOf(many, 3).Kendall.Up, 1./70, 1e-12)
	if got := core.TrendOf(slices.Repeat(day[:1], 8), 3); got.Tendency != estimate.NoTrend || got.Line != (estimate.Line{}) {
		t.Errorf("one day: %+v", got)
	}
}

// TestTrendClaims: where there is no trend, one is claimed at most once in
// twenty each way.
func TestTrendClaims(t *testing.T) {
	rng := rand.New(rand.NewPCG(1987, 16))
	for _, n := range []int{4, 5, 7, 10, 11} {
		const histories = 400
		rising, falling := 0, 0
		for range histories {
			drops := make([]float64, n)
			for i := range drops {
				drops[i] = math.Round(10 * rng.NormFloat64()) // with ties
			}
			switch core.TrendOf(past(t, 90, drops...), 1000).Tendency {
			case estimate.Rising:
				rising++
			case estimate.Falling:
				falling++
			}
		}
		// Three standard deviations above 5 % are 8.3 %.
		if rising > 33 || falling > 33 {
			t.Errorf("%d tests: %d rising and %d falling of %d", n, rising, falling, histories)
		}
	}
}

// TestNoNumbers: what is no number gives no claim, and no panic.
func TestNoNumbers(t *testing.T) {
	for _, bad := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		for n := range 13 {
			drops := make([]float64, n)
			for i := range drops {
				drops[i] = bad
			}
			if got := core.TrendOf(past(t, 100, drops...), 300); !got.Reaches.IsZero() || got.Tendency == estimate.Rising {
				t.Errorf("%d of %v: %+v", n, bad, got)
			}
			if got := core.OutlierOf(past(t, 100, drops...), 1); got.Departure == estimate.Above || got.Departure == estimate.Below {
				t.Errorf("%d of %v: %+v", n, bad, got)
			}
		}
		if got := core.TrendOf(past(t, 100, 1, 2, 3, 4, 5), bad); !got.Reaches.IsZero() && !math.IsInf(bad, -1) {
			t.Errorf("a limit of %v is reached: %+v", bad, got)
		}
	}
}

// TestOutlierOf is a table of histories with a last test; the standard
// uncertainty of a drop is 5 Pa if none is said.
func TestOutlierOf(t *testing.T) {
	for _, tt := range []struct {
		name        string
		drops       []float64
		uncertainty float64
		departure   estimate.Departure
		expected    float64
		spread      float64
	}{
		{"none", nil, 5, estimate.CannotTell, 0, 0},
		{"five", []float64{100, 100, 100, 100, 200}, 5, estimate.CannotTell, 0, 0},
		{"no uncertainty", []float64{100, 100, 100, 100, 100, 200}, 0, estimate.CannotTell, 0, 0},
		{"all alike", []float64{100, 100, 100, 100, 100, 100}, 5, estimate.InLine, 100, 5},
		// 3.5 times 5 Pa are 17.5.
		{"within the uncertainty", []float64{100, 100, 100, 100, 100, 117}, 5, estimate.InLine, 100, 5},
		{"beyond the uncertainty", []float64{100, 100, 100, 100, 100, 118}, 5, estimate.Above, 100, 5},
		{"better by as much", []float64{100, 100, 100, 100, 100, 83}, 5, estimate.InLine, 100, 5},
		{"better by more", []float64{100, 100, 100, 100, 100, 82}, 5, estimate.Below, 100, 5},
		// A trend that goes on is no departure, one that breaks off is.
		{"a trend", []float64{100, 110, 120, 130, 140, 150}, 5, estimate.InLine, 150, 5},
		{"a trend that leaps", []float64{100, 110, 120, 130, 140, 170}, 5, estimate.Above, 150, 5},
		{"a trend that ends", []float64{100, 110, 120, 130, 140, 130}, 5, estimate.Below, 150, 5},
		// One bad test of before does not hide another.
		{"a second bad one", []float64{100, 100, 180, 100, 100, 100, 100, 180}, 5, estimate.Above, 100, 5},
		// A scatter of its own: the slope is zero. The middle of four times 90,
		// four times 110 and the last is 110; four are as much, four are 20
		// off, and the last is more: 20 is the middle, the spread
		// 1.4826·20·√(9/7) = 33.62, and 117.7 Pa may be.
		{"a suit that scatters", []float64{110, 90, 90, 110, 110, 90, 90, 110, 227}, 5, estimate.InLine, 110, 33.622},
		{"a suit that scatters, and more", []float64{110, 90, 90, 110, 110, 90, 90, 110, 228}, 5, estimate.Above, 110, 33.622},
	} {
		got := core.OutlierOf(past(t, 100, tt.drops...), tt.uncertainty)
		if got.Departure != tt.departure {
			t.Errorf("%s: %+v, want %q", tt.name, got, tt.departure)
		}
		agrees(t, tt.name+": expected", got.Expected, tt.expected, 1e-9)
		agrees(t, tt.name+": spread", got.Spread, tt.spread, 0.005)
		if got.Departure != estimate.CannotTell {
			agrees(t, tt.name+": off", got.Off, tt.drops[len(tt.drops)-1]-tt.expected, 1e-9)
		}
	}
}

// TestOutlierOfOneDay: tests of one day have no line.
func TestOutlierOfOneDay(t *testing.T) {
	if got := core.OutlierOf(past(t, 0, 100, 100, 100, 100, 100, 200), 5); got != (estimate.Outlier{Departure: estimate.CannotTell}) {
		t.Errorf("six tests of one day: %+v", got)
	}
}

// TestOutliersAreRare: normally distributed drops, with a trend or without, are
// called off rarely; six standard deviations mostly are not missed.
func TestOutliersAreRare(t *testing.T) {
	rng := rand.New(rand.NewPCG(35, 10))
	for _, tt := range []struct{ n, most, found int }{{6, 50, 350}, {8, 40, 550}, {12, 30, 700}, {20, 20, 850}} {
		called, found := 0, 0
		for i := range 2000 {
			drops := make([]float64, tt.n)
			for j := range drops {
				drops[j] = rng.NormFloat64() + float64(j*(i%3))
			}
			if core.OutlierOf(past(t, 100, drops...), 0.01).Departure != estimate.InLine {
				called++
			}
			drops[tt.n-1] += 6
			if core.OutlierOf(past(t, 100, drops...), 0.01).Departure == estimate.Above {
				found++
			}
		}
		if called > 2*tt.most || found < 2*tt.found {
			t.Errorf("%d tests: %d called off and %d found of 2000", tt.n, called, found)
		}
	}
}
