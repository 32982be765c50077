package bot

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"benchbell/core"
	"benchbell/store"
	"benchbell/store/storetest"
)

// A board is a chat server in memory that fails as it is told to. Like a real
// one it finds a post again by its key, and only if it is told to look.
type board struct {
	mu    sync.Mutex
	posts []boardPost
	files map[string][]byte // attached to posts, by id
	calls []call
	// fault is asked before each call; during is called in the midst of one.
	fault  func(c call) error
	during func(c call)
	after  func(c call) error // the answer is lost
}

type boardPost struct {
	id, key, text string
	to            To
	numbers       int
}

// A call is one call of the board, as "post KEY", "edit ID" or "offer ID".
type call struct {
	what  string
	at    time.Time
	first time.Time
	text  string
	file  string // its name
}

func (b *board) begin(c call) error {
	c.at = time.Now()
	b.mu.Lock()
	b.calls = append(b.calls, c)
	fault, during := b.fault, b.during
	b.mu.Unlock()
	if during != nil {
		during(c)
	}
	if fault != nil {
		return fault(c)
	}
	return nil
}

func (b *board) Post(_ context.Context, m Message) (string, error) {
	c := call{what: "post " + m.Key, first: m.First, text: m.Text, file: m.FileName}
	if err := b.begin(c); err != nil {
		return "", err
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	i := slices.IndexFunc(b.posts, func(p boardPost) bool { return p.key == m.Key })
	if i < 0 || m.First.IsZero() {
		i = len(b.posts)
		b.posts = append(b.posts, boardPost{id: fmt.Sprintf("p%d", i+1), key: m.Key, text: m.Text, to: m.To})
	}
	if b.after != nil {
		if err := b.after(c); err != nil {
			return "", err
		}
	}
	return b.posts[i].id, nil
}

func (b *board) Edit(_ context.Context, id, text string) error {
	return b.change(call{what: "edit " + id, text: text}, id, func(p *boardPost) { p.text = text })
}

func (b *board) Offer(_ context.Context, id string, n int) error {
	return b.change(call{what: "offer " + id}, id, func(p *boardPost) { p.numbers = n })
}

func (b *board) change(c call, id string, how func(*boardPost)) error {
	if err := b.begin(c); err != nil {
		return err
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	for i := range b.posts {
		if b.posts[i].id == id {
			how(&b.posts[i])
			return nil
		}
	}
	return &SendError{Err: errors.New("no such post")}
}

// Person and File make it a Directory.
func (b *board) Person(_ context.Context, name string) (core.Person, error) {
	return core.Person{ID: name, Name: name}, b.begin(call{what: "person " + name})
}

func (b *board) File(_ context.Context, id string) (io.ReadCloser, error) {
	if err := b.begin(call{what: "file " + id}); err != nil {
		return nil, err
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	return io.NopCloser(bytes.NewReader(b.files[id])), nil
}

// set changes the board while others use it.
func (b *board) set(change func()) {
	b.mu.Lock()
	defer b.mu.Unlock()
	change()
}

// texts returns what stands on the board.
func (b *board) texts() (all []string) {
	b.set(func() {
		for _, p := range b.posts {
			all = append(all, p.text)
		}
	})
	return all
}

// called returns the calls with a beginning, and forgets none.
func (b *board) called(what string) (calls []call) {
	b.set(func() {
		for _, c := range b.calls {
			if strings.HasPrefix(c.what, what) {
				calls = append(calls, c)
			}
		}
	})
	return calls
}

// A disk is a store's engine that can be made to fail, as a full or a broken
// one does.
type disk struct {
	store.Engine
	full   atomic.Bool  // nothing can be written
	next   atomic.Int64 // which transaction from now on fails; none if it is not positive
	writes atomic.Int64 // how many were tried
}

var (
	errFull   = errors.New("no space left on device")
	errBroken = errors.New("the disk is broken")
)

func (d *disk) Update(fn func(store.Tx) error) error {
	d.writes.Add(1)
	if d.full.Load() {
		return errFull
	}
	if d.next.Add(-1) == 0 {
		return errBroken
	}
	return d.Engine.Update(fn)
}

func (d *disk) View(fn func(store.Tx) error) error {
	if d.next.Add(-1) == 0 {
		return errBroken
	}
	return d.Engine.View(fn)
}

// A round is a courier at work in a bubble.
type round struct {
	t     *testing.T
	disk  *disk
	store *store.Store
	board *board
	log   *logBook
	begun time.Time
	mail  *Courier
	kill  func() // ends its context
	stop  func() // and waits for it
}

// A logBook keeps the log and passes it on to the test.
type logBook struct {
	t  *testing.T
	mu sync.Mutex
	bytes.Buffer
}

func (l *logBook) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.t.Output().Write(p)
	return l.Buffer.Write(p)
}

func (l *logBook) count(text string) int {
	l.mu.Lock()
	defer l.mu.Unlock()
	return strings.Count(l.String(), text)
}

// inRound runs a test in a bubble with a courier on an empty store.
func inRound(t *testing.T, test func(r *round)) {
	t.Helper()
	synctest.Test(t, func(t *testing.T) {
		r := &round{t: t, board: new(board), log: &logBook{t: t}}
		r.disk = &disk{Engine: storetest.Memory()}
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
	r.mail = NewCourier(r.store, r.board, time.Now, slog.New(slog.NewTextHandler(r.log, nil)))
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
	r.mail.Kick()
	synctest.Wait()
}

// expect checks what stands on the board.
func (r *round) expect(want ...string) {
	r.t.Helper()
	synctest.Wait()
	if got := r.board.texts(); !slices.Equal(got, want) {
		r.t.Errorf("the board has %q, want %q", got, want)
	}
}

// tried returns at which times since the beginning calls were made.
func (r *round) tried(what string) (after []time.Duration) {
	for _, c := range r.board.called(what) {
		after = append(after, c.at.Sub(r.begun))
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

func card(run core.RunID, text string) store.Out {
	return store.Out{Kind: store.Post, Key: cardKey(run), Text: text}
}

func reply(run core.RunID, key, text string) store.Out {
	return store.Out{Kind: store.Post, Key: key, Thread: cardKey(run), Text: text}
}

func edit(run core.RunID, text string) store.Out {
	return store.Out{Kind: store.Edit, Target: cardKey(run), Text: text}
}

func retryAfter(after time.Duration) error {
	return &SendError{Err: errors.New("the line is bad"), Retry: true, After: after}
}

var never = &SendError{Err: errors.New("the text is not to its taste")}

// only makes calls fail that begin so.
func only(what string, err error) func(call) error {
	return func(c call) error {
		if strings.HasPrefix(c.what, what) {
			return err
		}
		return nil
	}
}

func TestCourierDelivers(t *testing.T) {
	inRound(t, func(r *round) {
		r.sends(
			card(1, "card"), reply(1, "a", "list"), edit(1, "card, later"),
			store.Out{Kind: store.Post, Key: "b", Person: "officer", Text: "direct"},
			store.Out{Kind: store.Post, Key: "c", Channel: "dm", Root: "p0", Text: "answer"},
		)
		r.expect("card, later", "list", "direct", "answer")
		want := []To{{}, {Root: "p1"}, {Person: "officer"}, {Channel: "dm", Root: "p0"}}
		for i, p := range r.board.posts {
			if p.to != want[i] {
				t.Errorf("%q went to %+v, want %+v", p.text, p.to, want[i])
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
	for name, err := range map[string]error{"by itself": retryAfter(0), "for a minute": retryAfter(time.Minute)} {
		t.Run(name, func(t *testing.T) {
			inRound(t, func(r *round) {
				r.board.fault = only("post a1", err)
				r.sends(card(1, "card 1"), reply(1, "a1", "first"), card(2, "card 2"), reply(1, "a2", "second"), reply(2, "b1", "bell 1"), edit(1, "card 1, later"))
				r.expect("card 1", "card 2", "bell 1")
				time.Sleep(10 * time.Second)
				r.sends(reply(1, "a3", "third"), reply(2, "b2", "bell 2"))
				r.expect("card 1", "card 2", "bell 1", "bell 2")
				r.board.set(func() { r.board.fault = nil })
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
		r.board.fault = only("post "+cardKey(1), retryAfter(time.Minute))
		r.sends(card(1, "card 1"))
		for range 5 {
			time.Sleep(10 * time.Second)
			r.mail.Kick()
		}
		r.sends(card(2, "card 2"))
		r.expect("card 2")
		time.Sleep(2 * time.Minute)
		if got, want := r.tried("post "+cardKey(1)), []time.Duration{0, time.Minute, 2 * time.Minute}; !slices.Equal(got, want) {
			t.Errorf("tried at %v, want %v", got, want)
		}
	})
}

// TestSlowNeighbour: a thread stays in order also if its pause is over before
// the slow delivery to another one is.
func TestSlowNeighbour(t *testing.T) {
	inRound(t, func(r *round) {
		r.sends(card(1, "card 1"), card(2, "card 2"))
		failed := false
		r.board.set(func() {
			r.board.fault = func(c call) error {
				if c.what == "post a1" && !failed {
					failed = true
					return retryAfter(0)
				}
				return nil
			}
			r.board.during = func(c call) {
				if c.what == "post b1" {
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
				r.board.fault = only("post", retryAfter(test.after))
				r.sends(card(1, "card"))
				time.Sleep(95 * time.Second)
				if got := r.tried("post"); !slices.Equal(got, test.want) {
					t.Errorf("tried at %v, want %v", got, test.want)
				}
				if n := r.log.count("not delivered yet"); n != 2 { // once, with the error in it
					t.Errorf("the same fault stands in the log %d times", n/2)
				}
				// Once the fault is over, the next one begins with a short pause.
				r.board.set(func() { r.board.fault = nil })
				time.Sleep(time.Minute)
				r.expect("card")
				r.board.set(func() { r.board.fault = only("edit", retryAfter(0)) })
				r.sends(edit(1, "later"))
				r.board.set(func() { r.board.fault = nil })
				time.Sleep(firstPause)
				r.expect("later")
			})
		})
	}
}

func TestParked(t *testing.T) {
	inRound(t, func(r *round) {
		r.board.fault = only("post a1", never)
		r.sends(card(1, "card"), reply(1, "a1", "bad"), reply(1, "a2", "good"))
		r.expect("card", "good")
		if n := r.log.count("put aside"); n != 1 {
			t.Errorf("it stands in the log %d times", n)
		}
		// What belongs to a post that was never made is of no use.
		r.board.set(func() { r.board.fault = only("post "+cardKey(2), never) })
		r.sends(card(2, "bad card"), reply(2, "b1", "orphan"), edit(2, "bad card, later"), card(3, "card 3"))
		r.expect("card", "good", "card 3")
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
		if want := []string{"bad", "bad card", "orphan", "bad card, later"}; !slices.Equal(got, want) {
			t.Errorf("put aside: %q, want %q", got, want)
		}
		if n := len(r.board.called("edit")); n != 0 {
			t.Errorf("%d edits of a post that is not there", n)
		}
	})
}

// TestEditsReplaced: of the edits that pile up only the last is made, after the
// one that was tried already and can have been made.
func TestEditsReplaced(t *testing.T) {
	inRound(t, func(r *round) {
		r.sends(card(1, "10 min left"))
		r.board.set(func() { r.board.fault = only("edit", retryAfter(0)) })
		for n := 9; n > 0; n-- {
			r.sends(edit(1, fmt.Sprintf("%d min left", n)))
		}
		r.board.set(func() { r.board.fault = nil })
		time.Sleep(time.Minute)
		r.expect("1 min left")
		var got []string
		for _, c := range r.board.called("edit") {
			got = append(got, c.text)
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
		r.sends(card(1, "card"))
		r.board.set(func() {
			gone := true
			r.board.fault = func(c call) error {
				if c.what != "post a1" {
					return nil
				}
				if gone = !gone; gone {
					return nil
				}
				return &SendError{Err: errors.New("no such thread"), RootGone: true}
			}
		})
		r.sends(reply(1, "a1", "bell"))
		r.expect("card", "bell")
		if to := r.board.posts[1].to; to != (To{}) {
			t.Errorf("it went to %+v", to)
		}
	})
}

// TestLostAnswer: whether a post was made is not known; the next try says since
// when it can be there, and under the same key.
func TestLostAnswer(t *testing.T) {
	inRound(t, func(r *round) {
		lost := 0
		r.board.after = func(call) error {
			if lost++; lost <= 3 {
				return retryAfter(0)
			}
			return nil
		}
		r.sends(card(1, "card"), reply(1, "a1", "list"))
		time.Sleep(time.Minute)
		r.expect("card", "list")
		for i, c := range r.board.called("post " + cardKey(1)) {
			if i == 0 && !c.first.IsZero() || i > 0 && !c.first.Equal(r.begun) {
				t.Errorf("try %d says that it was first tried at %v", i+1, c.first)
			}
		}
	})
}

// TestCrashAfterPosting stops the program between a post and the note of it,
// once by its end and once by a disk that cannot be written.
func TestCrashAfterPosting(t *testing.T) {
	for name, crash := range map[string]func(r *round){
		"killed": func(r *round) {
			r.board.set(func() { r.board.after = func(call) error { r.kill(); return context.Canceled } })
		},
		"disk full": func(r *round) {
			r.board.set(func() { r.board.after = func(call) error { r.disk.full.Store(true); return nil } })
		},
	} {
		t.Run(name, func(t *testing.T) {
			inRound(t, func(r *round) {
				crash(r)
				r.sends(card(1, "card"))
				r.expect("card")
				r.stop()
				first := r.begun
				if n := r.pending(); n != 1 {
					t.Errorf("%d in the outbox, want the card still there", n)
				}
				r.board.set(func() { r.board.after = nil })
				r.disk.full.Store(false)
				time.Sleep(time.Hour)
				r.reopen()
				r.sends(reply(1, "a1", "list"))
				r.expect("card", "list")
				tries := r.board.called("post " + cardKey(1))
				if n := len(tries); n != 2 || !tries[1].first.Equal(first) {
					t.Errorf("%d tries, the last says that it was first tried at %v, want %v", n, tries[n-1].first, first)
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
		r.disk.full.Store(true)
		if err := r.store.Commit(&store.Batch{Out: []store.Out{card(1, "card")}}); !errors.Is(err, errFull) {
			t.Fatalf("the full disk takes it: %v", err)
		}
		r.disk.full.Store(false)
		if err := r.store.Commit(&store.Batch{Out: []store.Out{card(1, "card")}}); err != nil {
			t.Fatal(err)
		}
		r.disk.full.Store(true)
		r.mail.Kick()
		time.Sleep(time.Hour)
		r.expect()
		if n := r.log.count(errFull.Error()); n != 1 {
			t.Errorf("the fault stands in the log %d times", n)
		}
		r.disk.full.Store(false)
		time.Sleep(longestPause)
		r.expect("card")
	})
}

func TestNumbersOffered(t *testing.T) {
	list := reply(1, "R-0001/list/1", "list")
	list.Offer = 10
	t.Run("all", func(t *testing.T) {
		inRound(t, func(r *round) {
			r.sends(card(1, "card"), list)
			r.expect("card", "list")
			if n := r.board.posts[1].numbers; n != 10 {
				t.Errorf("%d numbers under it", n)
			}
		})
	})
	// Numbers that cannot be put there hold up nothing: they can be typed.
	t.Run("refused", func(t *testing.T) {
		inRound(t, func(r *round) {
			r.board.fault = only("offer", retryAfter(0))
			r.sends(card(1, "card"), list, reply(1, "a", "next"))
			r.expect("card", "list", "next")
			if n := r.log.count("numbers could not be put"); n != 1 {
				t.Errorf("it stands in the log %d times", n)
			}
		})
	})
	// A list that was left without them by a power cut gets them.
	t.Run("killed meanwhile", func(t *testing.T) {
		inRound(t, func(r *round) {
			r.board.fault = func(c call) error {
				if strings.HasPrefix(c.what, "offer") {
					r.kill()
					return context.Canceled
				}
				return nil
			}
			r.sends(card(1, "card"), list)
			r.stop()
			r.board.fault = nil
			r.reopen()
			r.expect("card", "list")
			if n := r.board.posts[1].numbers; n != 10 {
				t.Errorf("%d numbers under it", n)
			}
		})
	})
}

// TestEndsWhileWaiting: the courier ends with its context, wherever it is.
func TestEndsWhileWaiting(t *testing.T) {
	inRound(t, func(r *round) {
		r.board.fault = only("post", retryAfter(time.Minute))
		r.sends(card(1, "card"))
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
		{card(1, ""), "R-0001"},
		{edit(1, ""), "R-0001"},
		{reply(1, "x/0", ""), "R-0001"},
		{store.Out{Kind: store.Edit, Target: "R-0001/list/2"}, "R-0001"},
		{store.Out{Kind: store.Post, Key: "x/1"}, "to///"},
		{store.Out{Kind: store.Post, Key: "x/2", Person: "p"}, "to/p//"},
		{store.Out{Kind: store.Post, Key: "x/3", Channel: "c", Root: "r"}, "to//c/r"},
	} {
		if got := lane(test.out); got != test.want {
			t.Errorf("%+v goes by %q, want %q", test.out, got, test.want)
		}
	}
}
