package outbox

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"benchbell/bot/chat"
	"benchbell/bot/chattest"
	"benchbell/bot/retry"
	"benchbell/core"
	"benchbell/store"
	"benchbell/store/storetest"
)

// A round is a courier at work in a bubble.
type round struct {
	t     *testing.T
	disk  *storetest.Disk
	store *store.Store
	board *chattest.Board
	log   *chattest.LogBook
	begun time.Time
	opt   Options
	mail  *Sender
	kill  func() // ends its context
	stop  func() // and waits for it
}

// inRound runs a test in a bubble with a courier on an empty store.
func inRound(t *testing.T, test func(r *round)) {
	t.Helper()
	synctest.Test(t, func(t *testing.T) {
		r := &round{t: t, board: new(chattest.Board), log: &chattest.LogBook{T: t}}
		r.disk = &storetest.Disk{Engine: storetest.Memory()}
		r.reopen()
		test(r)
	})
}

// reopen starts a courier as a new program does, on what the store holds.
func (r *round) reopen() {
	r.t.Helper()
	var err error
	if r.store, err = store.New(r.disk); err != nil {
		r.t.Fatal(err)
	}
	r.begun = time.Now()
	r.mail = New(r.store, r.board, time.Now, slog.New(slog.NewTextHandler(r.log, nil)), r.opt)
	ctx, cancel := context.WithCancel(r.t.Context())
	ended := make(chan error)
	go func() { ended <- r.mail.Run(ctx) }()
	r.kill = cancel
	r.stop = sync.OnceFunc(func() {
		cancel()
		if err := <-ended; !errors.Is(err, context.Canceled) {
			r.t.Errorf("the courier ended with %v", err)
		}
	})
	r.t.Cleanup(r.stop)
	synctest.Wait()
}

// sends puts messages into the outbox and tells the courier.
func (r *round) sends(outs ...store.Out) {
	r.t.Helper()
	if err := r.store.Commit(&store.Batch{Out: outs}); err != nil {
		r.t.Fatal(err)
	}
	r.mail.Set()
	synctest.Wait()
}

// expect checks what stands on the board: these texts, in this order within a
// thread and a place.
func (r *round) expect(want ...string) {
	r.t.Helper()
	synctest.Wait()
	got := r.board.Texts()
	if !slices.Equal(slices.Sorted(slices.Values(got)), slices.Sorted(slices.Values(want))) {
		r.t.Errorf("the board has %q, want %q", got, want)
		return
	}
	last := make(map[chat.To]int)
	for _, text := range want {
		i := slices.Index(got, text)
		var to chat.To
		r.board.Set(func() { to = r.board.Posts[i].To })
		if to != (chat.To{}) && i < last[to] {
			r.t.Errorf("the board has %q, want %q", got, want)
		}
		last[to] = i
	}
}

// post returns the post with a text.
func (r *round) post(text string) (found chattest.Post) {
	r.t.Helper()
	r.board.Set(func() {
		i := slices.IndexFunc(r.board.Posts, func(p chattest.Post) bool { return p.Text == text })
		if i < 0 {
			r.t.Fatalf("nothing on the board says %q", text)
		}
		found = r.board.Posts[i]
	})
	return found
}

// tried returns at which times since the beginning calls were made.
func (r *round) tried(what string) (after []time.Duration) {
	for _, c := range r.board.Called(what) {
		after = append(after, c.At.Sub(r.begun))
	}
	return after
}

func (r *round) pending() int {
	r.t.Helper()
	pending, err := r.store.Pending()
	if err != nil {
		r.t.Fatal(err)
	}
	return len(pending)
}

func newCard(run core.RunID, text string) store.Out {
	return store.Out{Kind: store.Post, Key: chat.CardKey(run), Text: text}
}

func reply(run core.RunID, key, text string) store.Out {
	return store.Out{Kind: store.Post, Key: key, Thread: chat.CardKey(run), Text: text}
}

func newEdit(run core.RunID, text string) store.Out {
	return store.Out{Kind: store.Edit, Target: chat.CardKey(run), Text: text}
}

func TestCourierDelivers(t *testing.T) {
	inRound(t, func(r *round) {
		r.sends(
			newCard(1, "card"), reply(1, "a", "list"), newEdit(1, "card, later"),
			store.Out{Kind: store.Post, Key: "b", Person: "officer", Text: "direct"},
			store.Out{Kind: store.Post, Key: "c", Channel: "dm", Root: "p0", Text: "answer"},
		)
		r.expect("card, later", "list", "direct", "answer")
		for text, want := range map[string]chat.To{
			"card, later": {}, "list": {Root: r.post("card, later").Id},
			"direct": {Person: "officer"}, "answer": {Channel: "dm", Root: "p0"},
		} {
			if to := r.post(text).To; to != want {
				t.Errorf("%q went to %+v, want %+v", text, to, want)
			}
		}
		if n := r.pending(); n != 0 {
			t.Errorf("%d are still in the outbox", n)
		}
	})
}

// TestOneThreadWaits: the order within a thread is kept over any failure, and
// other threads are not held up.
func TestOneThreadWaits(t *testing.T) {
	for name, err := range map[string]error{"by itself": chattest.RetryAfter(0), "for a minute": chattest.RetryAfter(time.Minute)} {
		t.Run(name, func(t *testing.T) {
			inRound(t, func(r *round) {
				r.board.Fault = chattest.Only("post a1", err)
				r.sends(newCard(1, "card 1"), reply(1, "a1", "first"), newCard(2, "card 2"), reply(1, "a2", "second"), reply(2, "b1", "bell 1"), newEdit(1, "card 1, later"))
				r.expect("card 1", "card 2", "bell 1")
				time.Sleep(10 * time.Second)
				r.sends(reply(1, "a3", "third"), reply(2, "b2", "bell 2"))
				r.expect("card 1", "card 2", "bell 1", "bell 2")
				r.board.Set(func() { r.board.Fault = nil })
				time.Sleep(time.Minute)
				r.expect("card 1, later", "card 2", "bell 1", "bell 2", "first", "second", "third")
			})
		})
	}
}

// TestKickDuringPause: news for other threads is delivered while one waits,
// and does not make that one be tried sooner.
func TestKickDuringPause(t *testing.T) {
	inRound(t, func(r *round) {
		r.board.Fault = chattest.Only("post "+chat.CardKey(1), chattest.RetryAfter(time.Minute))
		r.sends(newCard(1, "card 1"))
		for range 5 {
			time.Sleep(10 * time.Second)
			r.mail.Set()
		}
		r.sends(newCard(2, "card 2"))
		r.expect("card 2")
		time.Sleep(2 * time.Minute)
		if got, want := r.tried("post "+chat.CardKey(1)), []time.Duration{0, time.Minute, 2 * time.Minute}; !slices.Equal(got, want) {
			t.Errorf("tried at %v, want %v", got, want)
		}
	})
}

// TestSlowNeighbour: a thread stays in order also if its pause is over before
// the slow delivery to another one is.
func TestSlowNeighbour(t *testing.T) {
	inRound(t, func(r *round) {
		r.sends(newCard(1, "card 1"), newCard(2, "card 2"))
		failed := false
		r.board.Set(func() {
			r.board.Fault = func(c chattest.Call) error {
				if c.What == "post a1" && !failed {
					failed = true
					return chattest.RetryAfter(0)
				}
				return nil
			}
			r.board.During = func(c chattest.Call) {
				if c.What == "post b1" {
					time.Sleep(20 * time.Second)
				}
			}
		})
		r.sends(reply(1, "a1", "first"), reply(2, "b1", "slow"), reply(1, "a2", "second"))
		time.Sleep(time.Minute)
		r.expect("card 1", "card 2", "slow", "first", "second")
	})
}

func TestBackOff(t *testing.T) {
	ms := time.Millisecond
	for name, test := range map[string]struct {
		after time.Duration
		want  []time.Duration
	}{
		"doubling up to 30 s": {0, []time.Duration{0, 250 * ms, 750 * ms, 1750 * ms, 3750 * ms, 7750 * ms, 15750 * ms, 31750 * ms, 61750 * ms, 91750 * ms}},
		"Retry-After":         {20 * time.Second, []time.Duration{0, 20 * time.Second, 40 * time.Second, 60 * time.Second, 80 * time.Second}},
		"longer than any":     {45 * time.Second, []time.Duration{0, 45 * time.Second, 90 * time.Second}},
	} {
		t.Run(name, func(t *testing.T) {
			inRound(t, func(r *round) {
				r.board.Fault = chattest.Only("post", chattest.RetryAfter(test.after))
				r.sends(newCard(1, "card"))
				time.Sleep(95 * time.Second)
				if got := r.tried("post"); !slices.Equal(got, test.want) {
					t.Errorf("tried at %v, want %v", got, test.want)
				}
				if n := r.log.Count("a message is not delivered yet"); n != 1 {
					t.Errorf("the same fault stands in the log %d times", n)
				}
				// Once the fault is over, the next one begins with a short pause.
				r.board.Set(func() { r.board.Fault = nil })
				time.Sleep(time.Minute)
				r.expect("card")
				r.board.Set(func() { r.board.Fault = chattest.Only("edit", chattest.RetryAfter(0)) })
				r.sends(newEdit(1, "later"))
				r.board.Set(func() { r.board.Fault = nil })
				time.Sleep(retry.FirstPause)
				r.expect("later")
			})
		})
	}
}

func TestParked(t *testing.T) {
	inRound(t, func(r *round) {
		r.board.Fault = chattest.Only("post a1", chattest.Never)
		r.sends(newCard(1, "card"), reply(1, "a1", "bad"), reply(1, "a2", "good"))
		r.expect("card", "good")
		if n := r.log.Count("put aside"); n != 1 {
			t.Errorf("it stands in the log %d times", n)
		}
		// A card is never given up, and what is said in its thread does not
		// wait for it.
		r.board.Set(func() { r.board.Fault = chattest.Only("post "+chat.CardKey(2), chattest.Never) })
		r.sends(newCard(2, "bad card"), reply(2, "b1", "orphan"), newEdit(2, "bad card, later"), newCard(3, "card 3"))
		r.expect("card", "good", "card 3", "orphan")
		parked, err := r.store.Parked()
		if err != nil {
			t.Fatal(err)
		}
		var got []string
		for _, p := range parked {
			if p.Why == "" {
				t.Errorf("%q was put aside without a reason", p.Text)
			}
			got = append(got, p.Text)
		}
		if want := []string{"bad"}; !slices.Equal(got, want) {
			t.Errorf("put aside: %q, want %q", got, want)
		}
		if n := len(r.board.Called("edit")); n != 0 {
			t.Errorf("%d edits of a post that is not there", n)
		}
		r.board.Set(func() { r.board.Fault = nil })
		time.Sleep(time.Minute)
		r.expect("card", "good", "card 3", "orphan", "bad card, later")
	})
}

// TestEditsReplaced: of the edits that pile up only the last is made, after the
// one that was tried already and can have been made.
func TestEditsReplaced(t *testing.T) {
	inRound(t, func(r *round) {
		r.sends(newCard(1, "10 min left"))
		r.board.Set(func() { r.board.Fault = chattest.Only("edit", chattest.RetryAfter(0)) })
		for n := 9; n > 0; n-- {
			r.sends(newEdit(1, fmt.Sprintf("%d min left", n)))
		}
		r.board.Set(func() { r.board.Fault = nil })
		time.Sleep(time.Minute)
		r.expect("1 min left")
		var got []string
		for _, c := range r.board.Called("edit") {
			got = append(got, c.Text)
		}
		if got = slices.Compact(got); !slices.Equal(got, []string{"9 min left", "1 min left"}) {
			t.Errorf("edits made: %q", got)
		}
	})
}

// TestRootGone: what belongs in a thread that somebody deleted is said in the
// channel, since it may be a bell.
func TestRootGone(t *testing.T) {
	inRound(t, func(r *round) {
		r.sends(newCard(1, "card"))
		r.board.Set(func() {
			gone := true
			r.board.Fault = func(c chattest.Call) error {
				if c.What != "post a1" {
					return nil
				}
				if gone = !gone; gone {
					return nil
				}
				return &chat.SendError{Err: errors.New("no such thread"), Outcome: chat.ThreadGone, By: chat.ByServer}
			}
		})
		r.sends(reply(1, "a1", "bell"))
		r.expect("card", "bell")
		var to chat.To
		r.board.Set(func() { to = r.board.Posts[1].To })
		if to != (chat.To{}) {
			t.Errorf("it went to %+v", to)
		}
	})
}

// TestLostAnswer: whether a post was made is not known; the next try says since
// when it can be there, and under the same key.
func TestLostAnswer(t *testing.T) {
	inRound(t, func(r *round) {
		lost := 0
		r.board.After = func(chattest.Call) error {
			if lost++; lost <= 3 {
				return chattest.RetryAfter(0)
			}
			return nil
		}
		r.sends(newCard(1, "card"), reply(1, "a1", "list"))
		time.Sleep(time.Minute)
		r.expect("card", "list")
		for i, c := range r.board.Called("post " + chat.CardKey(1)) {
			if i == 0 && !c.First.IsZero() || i > 0 && !c.First.Equal(r.begun) {
				t.Errorf("try %d says that it was first tried at %v", i+1, c.First)
			}
		}
	})
}

// TestCrashAfterPosting stops the program between a post and the note of it,
// once by its end and once by a disk that cannot be written.
func TestCrashAfterPosting(t *testing.T) {
	for name, crash := range map[string]func(r *round){
		"killed": func(r *round) {
			r.board.Set(func() { r.board.After = func(chattest.Call) error { r.kill(); return context.Canceled } })
		},
		"disk full": func(r *round) {
			r.board.Set(func() { r.board.After = func(chattest.Call) error { r.disk.Full.Store(true); return nil } })
		},
	} {
		t.Run(name, func(t *testing.T) {
			inRound(t, func(r *round) {
				crash(r)
				r.sends(newCard(1, "card"))
				r.expect("card")
				r.stop()
				first := r.begun
				if n := r.pending(); n != 1 {
					t.Errorf("%d in the outbox, want the card still there", n)
				}
				r.board.Set(func() { r.board.After = nil })
				r.disk.Full.Store(false)
				time.Sleep(time.Hour)
				r.reopen()
				r.sends(reply(1, "a1", "list"))
				r.expect("card", "list")
				tries := r.board.Called("post " + chat.CardKey(1))
				if n := len(tries); n != 2 || !tries[1].First.Equal(first) {
					t.Errorf("%d tries, the last says that it was first tried at %v, want %v", n, tries[n-1].First, first)
				}
				if n := r.pending(); n != 0 {
					t.Errorf("%d are still in the outbox", n)
				}
			})
		})
	}
}

// TestDiskFails: the courier outlives a disk that cannot be written, posts
// nothing that it could not note first, and goes on where it was.
func TestDiskFails(t *testing.T) {
	inRound(t, func(r *round) {
		r.disk.Full.Store(true)
		if err := r.store.Commit(&store.Batch{Out: []store.Out{newCard(1, "card")}}); !errors.Is(err, storetest.ErrFull) {
			t.Fatalf("the full disk takes it: %v", err)
		}
		r.disk.Full.Store(false)
		if err := r.store.Commit(&store.Batch{Out: []store.Out{newCard(1, "card")}}); err != nil {
			t.Fatal(err)
		}
		r.disk.Full.Store(true)
		r.mail.Set()
		time.Sleep(time.Hour)
		r.expect()
		if n := r.log.Count(`msg="outbox: store error, retrying" `); n != 1 {
			t.Errorf("the fault stands in the log %d times", n)
		}
		r.disk.Full.Store(false)
		time.Sleep(retry.LongestPause)
		r.expect("card")
	})
}

func TestNumbersOffered(t *testing.T) {
	list := reply(1, "R-0001/list/1", "list")
	list.Offer = 10
	t.Run("all", func(t *testing.T) {
		inRound(t, func(r *round) {
			r.sends(newCard(1, "card"), list)
			r.expect("card", "list")
			if n := r.post("list").Numbers; n != 10 {
				t.Errorf("%d numbers under it", n)
			}
		})
	})
	// Numbers that cannot be put there hold up nothing: they can be typed.
	t.Run("refused", func(t *testing.T) {
		inRound(t, func(r *round) {
			r.board.Fault = chattest.Only("offer", chattest.RetryAfter(0))
			r.sends(newCard(1, "card"), list, reply(1, "a", "next"))
			r.expect("card", "list", "next")
			if n := r.log.Count("not delivered yet"); n != 1 {
				t.Errorf("it stands in the log %d times", n)
			}
			time.Sleep(2 * tapsPatience)
			r.expect("card", "list", "next")
			if n := r.pending(); n != 0 {
				t.Errorf("%d are still in the outbox", n)
			}
		})
	})
	// A list that was left without them by a power cut gets them.
	t.Run("killed meanwhile", func(t *testing.T) {
		inRound(t, func(r *round) {
			r.board.Fault = func(c chattest.Call) error {
				if strings.HasPrefix(c.What, "offer") {
					r.kill()
					return context.Canceled
				}
				return nil
			}
			r.sends(newCard(1, "card"), list)
			r.stop()
			r.board.Fault = nil
			r.reopen()
			r.expect("card", "list")
			if n := r.post("list").Numbers; n != 10 {
				t.Errorf("%d numbers under it", n)
			}
		})
	})
}

// TestEndsWhileWaiting: the courier ends with its context, wherever it is.
func TestEndsWhileWaiting(t *testing.T) {
	inRound(t, func(r *round) {
		r.board.Fault = chattest.Only("post", chattest.RetryAfter(time.Minute))
		r.sends(newCard(1, "card"))
		r.stop()
		if since := time.Since(r.begun); since != 0 {
			t.Errorf("it took %v to end", since)
		}
	})
}

// TestLanes: what must stay in order goes one way.
func TestLanes(t *testing.T) {
	for _, test := range []struct {
		out  store.Out
		want string
	}{
		{newCard(1, ""), "R-0001"},
		{newEdit(1, ""), "R-0001"},
		{reply(1, "x/0", ""), "R-0001"},
		{store.Out{Kind: store.Edit, Target: "R-0001/list/2"}, "R-0001"},
		{store.Out{Kind: store.Post, Key: "x/1"}, "to///"},
		{store.Out{Kind: store.Post, Key: "x/2", Person: "p"}, "to/p//"},
		{store.Out{Kind: store.Post, Key: "x/3", Channel: "c", Root: "r"}, "to//c/r"},
	} {
		if got := laneOf(test.out); got != test.want {
			t.Errorf("%+v goes by %q, want %q", test.out, got, test.want)
		}
	}
}

// TestFileRefused: a file that the server does not take holds nothing up, and
// whoever looks for it is told, before the mention that ends the post.
func TestFileRefused(t *testing.T) {
	inRound(t, func(r *round) {
		r.sends(newCard(1, "card"))
		r.board.Set(func() {
			r.board.Fault = func(c chattest.Call) error {
				if c.File != "" {
					return &chat.SendError{Err: errors.New("no files here"), Outcome: chat.FileRefused, By: chat.ByServer}
				}
				return nil
			}
		})
		verdict, record := reply(1, "a1", "PASS\n@bench.tester"), reply(1, "a2", "Record of R-0001.")
		verdict.File, verdict.FileName = []byte("png"), "R-0001.png"
		record.File, record.FileName = []byte("pdf"), "R-0001.pdf"
		r.sends(verdict, record)
		r.expect("card",
			"PASS\nThe chat server refused the file R-0001.png, so it is not attached. Ask its administrator.\n@bench.tester",
			"Record of R-0001.\nThe chat server refused the file R-0001.pdf, so it is not attached. Ask its administrator.")
		if pending, err := r.store.Pending(); err != nil || len(pending) > 0 {
			t.Errorf("still to be said: %v, %v", pending, err)
		}
	})
}
