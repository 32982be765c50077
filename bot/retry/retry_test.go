package retry

import (
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"benchbell/bot/chattest"
)

func TestBackoff(t *testing.T) {
	const s = time.Second
	b := Backoff{First: 1 * s, Longest: 5 * s}
	var got []time.Duration
	for range 5 {
		got = append(got, b.Next(0))
	}
	got = append(got, b.Next(20*s), b.Next(2*s))
	b.Reset()
	got = append(got, b.Next(0))
	if want := []time.Duration{1 * s, 2 * s, 4 * s, 5 * s, 5 * s, 20 * s, 5 * s, 1 * s}; !slices.Equal(got, want) {
		t.Errorf("the pauses are %v, want %v", got, want)
	}
	var zero Backoff
	if got := zero.Next(0); got != FirstPause {
		t.Errorf("the zero value begins with %v", got)
	}
	for range 20 {
		got = append(got, zero.Next(0))
	}
	if last := got[len(got)-1]; last != LongestPause {
		t.Errorf("the zero value ends with %v", last)
	}
	for range 100 {
		random := Backoff{First: 10 * s, Longest: 60 * s, Jitter: 0.5}
		if p := random.Next(0); p < 5*s || p > 15*s+1 {
			t.Errorf("a pause of 10 s, half of it random, is %v", p)
		}
	}
}

func TestOutages(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		book := &chattest.LogBook{T: t}
		o := NewOutages(slog.New(slog.NewTextHandler(book, nil)))
		logged := func(text string, want int) {
			t.Helper()
			if got := book.Count(text); got != want {
				t.Errorf("%q stands in the log %d times, want %d", text, got, want)
			}
		}
		refused := errors.New("refused")
		for range 61 { // for 10 minutes
			o.Failed("a", "cannot reach it", refused)
			o.Failed("b", "cannot reach it", refused)
			time.Sleep(10 * time.Second)
		}
		logged(`msg="cannot reach it" err=refused`, 1)
		logged("still down", 1)
		o.Over("a", "reached again")
		logged("reached again", 0) // b still fails
		o.Over("b", "reached again")
		o.Over("b", "reached again")
		logged(`msg="reached again" after=10m10s`, 1)

		// The same words are news again after the end.
		o.Failed("a", "cannot reach it", refused)
		logged(`msg="cannot reach it" err=refused`, 2)

		// Other words are news, and words that take turns are not.
		for range 10 {
			o.Failed("a", "cannot reach it", errors.New("timeout"))
			o.Failed("a", "cannot reach it", refused)
		}
		logged("err=timeout", 1)
		logged("err=refused", 2+1) // with the reminder
		o.Over("a", "reached again")
		logged("reached again", 2)

		// Words that are new every time do not fill the log.
		for n := range 1000 {
			o.Failed("a", "cannot reach it", fmt.Errorf("request %d failed", n))
		}
		logged("failed", mostWords+1)
	})
}
