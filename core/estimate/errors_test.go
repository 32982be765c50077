package estimate_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"benchbell/core/estimate"
)

// bounded is a budget of errors that are each within a bound, but for a normal
// one of the standard uncertainty normal.
func bounded(margin, normal float64, bounds ...float64) estimate.Budget {
	b := estimate.Budget{Margin: margin}
	for _, a := range bounds {
		b.Components = append(b.Components, estimate.Component{Origin: "bound", U: a / math.Sqrt(3)})
	}
	if normal > 0 {
		b.Components = append(b.Components, estimate.Component{Origin: "normal", U: normal, Law: estimate.Normal})
	}
	return b
}

// TestInterval is worked by hand. Of a rectangular distribution the interval of
// 95 % is 0.95 of the bound. Of two equal ones, a triangular one, it is to where
// x²/2 is 0.025 of it, at 2a·(1 − √0.05); of two unequal ones, a trapezium, the
// slope is as wide as twice the smaller. Four of one standard uncertainty each make
// ± 3.88, where 2u is 4, and ± 17.0 if one of them is ten times as wide, where it is
// 20.2: JCGM 101:2008, 9.2.3 and 9.2.4 (from memory).
func TestInterval(t *testing.T) {
	four := slices.Repeat([]float64{math.Sqrt(3)}, 4)
	for _, tt := range []struct {
		name   string
		budget estimate.Budget
		half   float64
		tol    float64
	}{
		{"one", bounded(0, 0, 10), 9.5, 1e-9},
		{"two", bounded(0, 0, 10, 10), 20 * (1 - math.Sqrt(0.05)), 1e-3},
		{"two unequal ones", bounded(0, 0, 10, 4), 14 - math.Sqrt(2*0.025*20*8), 1e-3},
		{"one and next to nothing", bounded(0, 0, 10, 1e-4), 9.5, 1e-3},
		{"four, as printed", bounded(0, 0, four...), 3.88, 0.005},
		{"one of ten times the others, as printed", bounded(0, 0, append([]float64{10 * math.Sqrt(3)}, four[:3]...)...), 17.0, 0.05},
		{"a normal one", bounded(0, 10), 19.6, 0.2},
		{"a normal one and a rectangular", bounded(0, 10, 10), 22.4, 0.25}, // by simulation
		// 12.08 in of 15.10 in are 4/5, and in floating point 1e-16 more: that much
		// of a permissible error is left where the limit is a ratio.
		{"one and a rounding error", bounded(0, 0, 10, 1e-15), 9.5, 1e-9},
		{"a rounding error and two", bounded(0, 0, 1e-14, 10, 10), 20 * (1 - math.Sqrt(0.05)), 1e-3},
		{"none", bounded(0, 0), 0, 0},
	} {
		for _, margin := range []float64{0, 50, -50} {
			tt.budget.Margin = margin
			low, high := tt.budget.Interval()
			agrees(t, tt.name+": low", low, margin-tt.half, tt.tol)
			agrees(t, tt.name+": high", high, margin+tt.half, tt.tol)
		}
	}
	// Read 3 Pa late on the average, the true margin is about so much greater; the
	// margin stays what was read.
	b := bounded(50, 0, 10)
	b.Late = 3
	b.Components = append(b.Components, estimate.Component{Origin: "delay", U: 3, Law: estimate.Offset})
	low, high := b.Interval()
	agrees(t, "late: low", low, 43.5, 1e-9)
	agrees(t, "late: high", high, 62.5, 1e-9)
	agrees(t, "late: u", b.Combined(), math.Sqrt(100./3+9), 1e-9)
	b.Margin = -3
	agrees(t, "late: as likely as not", b.Conforms(), 0.5, 1e-9)
	b.Components = b.Components[1:]
	agrees(t, "late and certain", b.Conforms(), 1, 0)
}

// TestSpreadByTrials holds what budgets say to trials, as JCGM 101:2008 makes
// them: sums of errors of which each is drawn from within its bound. The seed is
// fixed.
func TestSpreadByTrials(t *testing.T) {
	random := rand.New(rand.NewPCG(101, 2008))
	const trials = 40_000
	for range 20 {
		bounds := make([]float64, 1+random.IntN(6))
		for i := range bounds {
			bounds[i] = math.Pow(10, 2*random.Float64())
		}
		b := bounded(0, 0, bounds...)
		b.Margin = b.Combined() * (3*random.Float64() - 1.5)
		low, high := b.Interval()
		var within, conform int
		for range trials {
			margin := b.Margin
			for _, a := range bounds {
				margin += a * (2*random.Float64() - 1)
			}
			if low <= margin && margin <= high {
				within++
			}
			if margin >= 0 {
				conform++
			}
		}
		name := fmt.Sprintf("%.3g within %.3g", b.Margin, bounds)
		agrees(t, name+": in the interval", float64(within)/trials, 0.95, 0.005)
		agrees(t, name+": conforming", b.Conforms(), float64(conform)/trials, 0.01)
		// An expanded uncertainty of k = 2 holds as much, or more.
		if high-b.Margin > b.Expanded() {
			t.Errorf("%s: ± %g is wider than U, %g", name, high-b.Margin, b.Expanded())
		}
	}
}
