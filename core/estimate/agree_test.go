package estimate_test

import (
	"math"
	"testing"
)

// agrees reports a number that is not within ± tolerance of what it should be.
func agrees(t testing.TB, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s is %.9g, want %.9g ± %g", what, got, want, tolerance)
	}
}

// relative is agrees with a tolerance that goes with the number.
func relative(t testing.TB, what string, got, want, tolerance float64) {
	t.Helper()
	agrees(t, what, got, want, tolerance*math.Abs(want))
}
