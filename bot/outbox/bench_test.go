package outbox

import (
	"context"
	"fmt"
	"log/slog"
	"path/filepath"
	"slices"
	"sync"
	"testing"
	"time"

	"benchbell/bot/chat"
	"benchbell/core"
	"benchbell/store"
)

// A slowChat takes as long as a real chat server does: 3 ms a call, 30 ms more
// for a file.
type slowChat struct {
	mu   sync.Mutex
	n    int
	made func(key string)
}

func (c *slowChat) Post(_ context.Context, m chat.Message) (string, error) {
	if len(m.File) > 0 {
		time.Sleep(30 * time.Millisecond)
	}
	time.Sleep(3 * time.Millisecond)
	c.mu.Lock()
	defer c.mu.Unlock()
	c.n++
	if c.made != nil {
		c.made(m.Key)
	}
	return fmt.Sprint("p", c.n), nil
}

func (c *slowChat) Edit(context.Context, string, string) error {
	time.Sleep(3 * time.Millisecond)
	return nil
}

func (c *slowChat) Offer(_ context.Context, _ string, n int) error {
	time.Sleep(time.Duration(n) * 3 * time.Millisecond)
	return nil
}

// BenchmarkBells measures how late bells come that are due at the same moment,
// each in a thread of its own, on a disk; with verdicts before them, each with
// its picture and a list.
func BenchmarkBells(b *testing.B) {
	for _, load := range []struct{ bells, verdicts int }{{200, 0}, {0, 50}, {200, 50}} {
		b.Run(fmt.Sprintf("%d bells %d verdicts", load.bells, load.verdicts), func(b *testing.B) {
			for range b.N {
				measure(b, load.bells, load.verdicts)
			}
		})
	}
}

func measure(b *testing.B, bells, verdicts int) {
	st, err := store.Create(filepath.Join(b.TempDir(), "bench.db"))
	if err != nil {
		b.Fatal(err)
	}
	defer st.Close()
	var late []time.Duration
	var left sync.WaitGroup
	c := &slowChat{}
	s := New(st, c, time.Now, slog.New(slog.DiscardHandler), Options{})
	ctx, cancel := context.WithCancel(b.Context())
	var ended sync.WaitGroup
	ended.Go(func() { s.Run(ctx) })
	defer ended.Wait()
	defer cancel()
	put := func(outs ...store.Out) {
		left.Add(len(outs))
		if err := st.Commit(&store.Batch{Out: outs}); err != nil {
			b.Fatal(err)
		}
		s.Set()
	}
	c.made = func(string) { left.Done() }
	var cards []store.Out
	for n := range max(bells, verdicts) {
		cards = append(cards, newCard(core.RunID(n+1), "card"))
	}
	put(cards...)
	left.Wait()

	begun := make(map[string]time.Time)
	var mu sync.Mutex
	from := time.Now()
	var all time.Duration
	c.mu.Lock()
	c.made = func(key string) {
		mu.Lock()
		if t, ok := begun[key]; ok {
			late = append(late, time.Since(t))
		}
		all = time.Since(from)
		mu.Unlock()
		left.Done()
	}
	c.mu.Unlock()
	for n := range verdicts {
		put(verdictOf(core.RunID(n + 1))...)
	}
	// The engine takes some time for each bell.
	for n := range bells {
		run := core.RunID(n + 1)
		bell := reply(run, fmt.Sprint(run, "/bell"), "bell")
		bell.Class, bell.Due = store.Bell, time.Now()
		mu.Lock()
		begun[bell.Key] = time.Now()
		mu.Unlock()
		put(bell)
	}
	left.Wait()
	report(b, all, late)
}

// verdictOf is a verdict with its picture, and the list that follows it.
func verdictOf(run core.RunID) []store.Out {
	v, l := reply(run, chat.VerdictKey(run, 1), "PASS"), reply(run, chat.NumberedKey(run, "list", 3), "list")
	v.Class, v.File, v.FileName = store.Verdict, make([]byte, 50_000), "chart.png"
	l.Class, l.Offer = store.List, 6
	return []store.Out{v, l}
}

func report(b *testing.B, all time.Duration, late []time.Duration) {
	b.ReportMetric(all.Seconds()*1000, "ms-all")
	if len(late) > 0 {
		slices.Sort(late)
		b.ReportMetric(float64(late[len(late)/2].Milliseconds()), "ms-median")
		b.ReportMetric(float64(late[len(late)-1].Milliseconds()), "ms-worst")
	}
}
