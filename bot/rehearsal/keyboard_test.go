package rehearsal

import (
	"context"
	"errors"
	"io"
	"strings"
	"testing"
	"testing/iotest"
	"testing/synctest"
	"time"
)

// A typist is somebody at the keyboard of a rehearsal, in a bubble.
type typist struct {
	*bay
	keys  *io.PipeWriter
	seen  int // of what was printed
	ended chan error
}

func inKeyboard(t *testing.T, speed float64, test func(k *typist)) {
	t.Helper()
	synctest.Test(t, func(t *testing.T) {
		ctx, cancel := context.WithCancel(t.Context())
		defer cancel()
		in, keys := io.Pipe()
		k := &typist{bay: newBay(t), keys: keys, ended: make(chan error, 1)}
		go func() { k.ended <- k.Keyboard(ctx, in, speed) }()
		test(k)
		keys.Close()
		if err := <-k.ended; err != nil {
			t.Errorf("it ended with %v", err)
		}
	})
}

// types types lines at once and returns what is printed in answer.
func (k *typist) types(lines ...string) string {
	k.t.Helper()
	for _, line := range lines {
		if _, err := io.WriteString(k.keys, line+"\n"); err != nil {
			k.t.Fatal(err)
		}
		synctest.Wait()
	}
	return k.news()
}

// waits lets time pass on the wall and returns what is printed meanwhile.
func (k *typist) waits(d time.Duration) string {
	time.Sleep(d)
	synctest.Wait()
	return k.news()
}

func (k *typist) news() string {
	all := k.print.String()
	news := all[k.seen:]
	k.seen = len(all)
	return news
}

func (k *typist) mustPrint(news string, want ...string) {
	k.t.Helper()
	for _, w := range want {
		if !strings.Contains(news, w) {
			k.t.Errorf("printed is\n%s\nwithout %q", news, w)
		}
	}
}

// TestKeyboardRun is a whole run at sixty times the speed, by bare words, with
// bells at their time by the station's clock.
func TestKeyboardRun(t *testing.T) {
	inKeyboard(t, 60, func(k *typist) {
		k.mustPrint(k.waits(0), "It is 2026-03-02 08:00 at Harrow Point (invented), and time passes 60 times as fast.", "Ctrl-D")
		k.mustPrint(k.types("test HP-07 with M-1"), "bench.tester, direct with bench.tester", "benchbell, R-0001", "**Prepare** HP-07")
		k.mustPrint(k.types("ok 1 2"), "bench.tester, R-0001", "2 ✓ Looked over")
		k.mustPrint(k.types("tap bench.tester 3"), "3 ✓ Gloves whole")
		k.mustPrint(k.types("ok all", "17.5"), "Expansion until 08:10:00")
		k.mustPrint(k.waits(4*time.Second), "08:03:00  benchbell, R-0001\n    HP-07 · **Look:**")
		k.mustPrint(k.waits(6*time.Second), "08:10:00  benchbell, R-0001\n    HP-07 · **Expansion is over.**")
		k.mustPrint(k.types("16.5"), "Hold until 08:16:00")
		k.mustPrint(k.waits(time.Second), "08:11:00")
		k.mustPrint(k.types("where"), "08:11:00  benchbell, R-0001\n    Hands off until **08:16:00**, 5 min left.")
		k.mustPrint(k.types("+5m"), "08:15:30  benchbell, R-0001\n    HP-07 · **30 s left.**", "08:16:00  benchbell, R-0001\n    HP-07 · **Bell!")
		k.mustPrint(k.waits(time.Second/2), "08:16:30  benchbell, R-0001\n    HP-07 · **Still waiting.**")
		k.mustPrint(k.types("15.0"), "08:16:30  benchbell, R-0001\n    **PASS")
		k.mustPrint(k.types("ok 1", "ok 2", "ok all"), "R-0001 is closed")
		k.mustPrint(k.types("HP-07"), "HP-07: fit")
	})
}

// TestKeyboardLines: what is no line of a script is said; what cannot be done is
// told, and nothing ends because of it.
func TestKeyboardLines(t *testing.T) {
	inKeyboard(t, 1, func(k *typist) {
		k.waits(0)
		for line, want := range map[string]string{
			"":                                "",
			"# nothing":                       "",
			"what is this":                    "Not understood",
			"@benchbell HP-07":                "bench.tester, crew",
			"duty.officer dm: HP-07":          "duty.officer, direct with duty.officer",
			"tap bench.tester 3":              "?   there is no list to tap",
			"edit second.tester: 5":           "?   second.tester has posted nothing",
			"bench.tester ~R-9999: 5":         "?   there is no run R-9999",
			"! this was not said":             `?   line 1: "! this was not said" does not hold`,
			"at noon":                         `?   "noon" is not a date and time`,
			"at 2020-01-01 00:00":             "?   the station's clock is at",
			"up":                              "?   the program is down between",
			"+":                               "bench.tester, direct with bench.tester",
			strings.Repeat("long ", 10_000):   "Not understood",
			"restart":                         "(the program stops dead and starts again)",
			"bench.tester: @benchbell status": "of 23 fit",
		} {
			news := k.types(line)
			if want == "" && news != "" {
				t.Errorf("%q prints %q", line, news)
			}
			k.mustPrint(news, want)
		}
	})
}

// TestKeyboardDown: while the program is down its bells are due and do not ring,
// and the keyboard waits without haste.
func TestKeyboardDown(t *testing.T) {
	inKeyboard(t, 3600, func(k *typist) {
		k.types("test HP-07 with M-1", "ok all", "17.5", "+10m", "16.5", "+5m", "down")
		if news := k.waits(time.Second / 10); news != "" { // six minutes
			t.Errorf("printed while it is down: %s", news)
		}
		k.types("14.9")
		k.mustPrint(k.waits(time.Second/60)+k.types("up"), "(the program starts)", "**PASS**")
	})
}

func TestKeyboardEnds(t *testing.T) {
	t.Run("with its context", func(t *testing.T) {
		synctest.Test(t, func(t *testing.T) {
			d := newBay(t)
			ctx, cancel := context.WithCancel(t.Context())
			in, keys := io.Pipe()
			ended := make(chan error, 1)
			go func() { ended <- d.Keyboard(ctx, in, 1) }()
			time.Sleep(10 * time.Hour)
			cancel()
			if err := <-ended; err != nil {
				t.Errorf("it ended with %v", err)
			}
			keys.Close()
		})
	})
	t.Run("with its input", func(t *testing.T) {
		d := newBay(t)
		if err := d.Keyboard(t.Context(), strings.NewReader("test HP-07 with M-1\nok all"), 1); err != nil {
			t.Error(err)
		}
		if !strings.Contains(d.print.String(), "Inflate") {
			t.Errorf("printed is\n%s", d.print.String())
		}
	})
	t.Run("with an error of its input", func(t *testing.T) {
		broken := errors.New("the keyboard is broken")
		if err := newBay(t).Keyboard(t.Context(), iotest.ErrReader(broken), 1); !errors.Is(err, broken) {
			t.Errorf("it ended with %v", err)
		}
	})
	for _, speed := range []float64{0, 0.5, -1, 3601} {
		if err := newBay(t).Keyboard(t.Context(), strings.NewReader(""), speed); err == nil || !strings.Contains(err.Error(), "1 to 3600") {
			t.Errorf("at speed %g it ended with %v", speed, err)
		}
	}
}
