package chat

import "testing"

// TestBaseKey: only a number from 2 on behind the last ~ is that of a copy, as in
// the store.
func TestBaseKey(t *testing.T) {
	for key, base := range map[string]string{
		"R-0001/card":   "R-0001/card",
		"R-0001/card~2": "R-0001/card",
		"x~y~12":        "x~y",
		"x~1":           "x~1",
		"x~02":          "x~02",
		"x~":            "x~",
		"x~y":           "x~y",
	} {
		if got := BaseKey(key); got != base {
			t.Errorf("the base of %q is %q, not %q", key, got, base)
		}
	}
}
