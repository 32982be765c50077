package serve

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
	"benchbell/bot/engine"
	"benchbell/bot/ledger"
	"benchbell/bot/rehearsal"
	"benchbell/core"
	"benchbell/store"
	"benchbell/store/storetest"
)

// A host is a board that also listens: a chat server whose clock is ahead of
// the bot's by skew. What happens on it is brought to the engine by the test.
type host struct {
	chattest.Board
	skew  time.Duration
	links chan link
}

// A link is what Serve gave to Run.
type link struct {
	marks map[string]chat.Mark
	sink  func(context.Context, chat.Event) error
	ctx   context.Context
	fail  chan error // ends Run
}

func (h *host) Run(ctx context.Context, marks map[string]chat.Mark, sink func(context.Context, chat.Event) error) error {
	l := link{marks, sink, ctx, make(chan error)}
	h.links <- l
	select {
	case err := <-l.fail:
		return err
	case <-ctx.Done():
		return ctx.Err()
	}
}

// people are those of the demo station.
func (h *host) people() (all []chat.Member) {
	for _, name := range rehearsal.People {
		all = append(all, chat.Member{Person: personOf(name)})
	}
	return all
}

func (h *host) Now() time.Time { return time.Now().Add(h.skew) }

// A service is the demo station served in a bubble.
type service struct {
	t     *testing.T
	disk  *storetest.Disk
	store *store.Store
	host  *host
	link  link
	log   *chattest.LogBook
	n     int
	stop  func() error
}

// inService runs a test on a service whose bot has a wrong clock.
func inService(t *testing.T, skew time.Duration, test func(s *service)) {
	t.Helper()
	synctest.Test(t, func(t *testing.T) {
		s := &service{t: t, disk: &storetest.Disk{Engine: storetest.Memory()}, log: &chattest.LogBook{T: t}}
		s.host = &host{skew: skew, links: make(chan link)}
		cfg := rehearsal.Demo()
		time.Sleep(time.Until(rehearsal.Start(cfg).Add(-skew)))
		register, err := rehearsal.Fleet(cfg, nil, s.host.Now())
		if err != nil {
			t.Fatal(err)
		}
		st, err := store.New(s.disk)
		if err != nil {
			t.Fatal(err)
		}
		if err := ledger.Enter(st, cfg.Policy, "register", s.host.Now(), register); err != nil {
			t.Fatal(err)
		}
		s.start()
		test(s)
	})
}

// start serves what the disk holds, as a new program does.
func (s *service) start() {
	s.t.Helper()
	var err error
	if s.store, err = store.New(s.disk); err != nil {
		s.t.Fatal(err)
	}
	log := slog.New(slog.NewTextHandler(s.log, nil))
	e, err := engine.New(s.store, rehearsal.Demo(), botName, log)
	if err != nil {
		s.t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(s.t.Context())
	ended := make(chan error, 1)
	go func() {
		ended <- Run(ctx, Station{Store: s.store, Engine: e, Config: rehearsal.Demo(), Server: s.host, Log: log})
	}()
	s.link = <-s.host.links
	s.mustBring("", chat.Where{}, chat.People{All: s.host.people()})
	s.stop = sync.OnceValue(func() error {
		cancel()
		return <-ended
	})
	s.t.Cleanup(func() {
		if err := s.stop(); err != nil {
			s.t.Errorf("serving ended with %v", err)
		}
	})
}

// bring hands an event of now, by the server's clock, to the engine.
func (s *service) bring(who string, where chat.Where, what chat.What) error {
	s.n++
	ev := chat.Event{ID: fmt.Sprintf("e%d", s.n), At: s.host.Now(), Where: where, What: what}
	if who != "" {
		ev.Who = personOf(who)
	}
	return s.handOver(ev)
}

func (s *service) handOver(ev chat.Event) error {
	err := s.link.sink(s.link.ctx, ev)
	synctest.Wait()
	return err
}

func (s *service) mustBring(who string, where chat.Where, what chat.What) {
	s.t.Helper()
	if err := s.bring(who, where, what); err != nil {
		s.t.Fatal(err)
	}
}

func (s *service) caughtUp() {
	s.t.Helper()
	s.mustBring("", chat.Where{Channel: crewChannel}, chat.CaughtUp{})
}
func (s *service) lost() { s.t.Helper(); s.mustBring("", chat.Where{}, chat.Lost{}) }

// says is a post of the bench tester in the thread of the first run.
func (s *service) says(text string) {
	s.t.Helper()
	s.mustBring("bench.tester", s.thread(), s.said(text))
}

func (s *service) said(text string) chat.Said {
	return chat.Said{Post: fmt.Sprintf("e%d", s.n+1), Text: text}
}

// thread is that of the first run.
func (s *service) thread() chat.Where {
	var root string
	s.host.Set(func() {
		for _, p := range s.host.Posts {
			if p.Key == chat.CardKey(1) {
				root = p.Id
			}
		}
	})
	return chat.Where{Channel: crewChannel, Root: root}
}

// opens begins a run, and goes on with a script of posts and waits.
func (s *service) opens(script ...string) {
	s.t.Helper()
	s.caughtUp()
	s.mustBring("bench.tester", chat.Where{Channel: "dm", Direct: true}, chat.Said{Post: "open", Text: "test HP-07 with M-1"})
	for _, text := range script {
		if by, err := time.ParseDuration(text); err == nil {
			time.Sleep(by)
			synctest.Wait()
			continue
		}
		s.says(text)
	}
}

// news returns the texts of the posts made since the last call of a kind, with
// the server's time of each: "08:46:00 Bell!".
func (s *service) news() (news []string) {
	synctest.Wait()
	s.host.Set(func() {
		for _, c := range s.host.Calls {
			if strings.HasPrefix(c.What, "post ") {
				news = append(news, c.At.Add(s.host.skew).UTC().Format("15:04:05 ")+bare(c.Text))
			}
		}
		s.host.Calls = nil
	})
	return news
}

// expect checks that the news begin so, one after another. Those of one moment
// can go to several places, and then come in any order.
func (s *service) expect(want ...string) {
	s.t.Helper()
	news := s.news()
	left := slices.Clone(news)
	same := len(news) == len(want)
	for _, prefix := range want {
		i := slices.IndexFunc(left, func(text string) bool { return strings.HasPrefix(text, prefix) })
		if same = same && i >= 0 && left[i][:8] == left[0][:8]; !same {
			break
		}
		left = slices.Delete(left, i, i+1)
	}
	if !same {
		s.t.Errorf("the news are\n  %s\nwant\n  %s", strings.Join(news, "\n  "), strings.Join(want, "\n  "))
	}
}

var intoTheHold = []string{"ok all", "17.5", "10m", "16.5"}

// TestBellsByTheServersClock: the bot's clock may be off by any amount; bells
// ring by the server's.
func TestBellsByTheServersClock(t *testing.T) {
	for name, skew := range map[string]time.Duration{"right": 0, "slow": 7 * time.Minute, "fast": -7 * time.Minute, "a year off": 365 * 24 * time.Hour} {
		t.Run(name, func(t *testing.T) {
			inService(t, skew, func(s *service) {
				s.opens(intoTheHold...)
				s.news()
				time.Sleep(6 * time.Minute)
				s.expect("08:15:30 hp-07 · 30 s left", "08:16:00 hp-07 · bell!")
				time.Sleep(59 * time.Second)
				s.says("15.0")
				s.expect("08:16:30 hp-07 · still waiting", "08:16:59 pass hp-07", "08:16:59 unplug and put away")
				if n := s.log.Count("level=ERROR") + s.log.Count("level=WARN"); n != 0 {
					t.Errorf("%d complaints in the log", n)
				}
			})
		})
	}
}

// TestNothingRingsWhileLost: what was posted during a gap is read before bells
// are found late.
func TestNothingRingsWhileLost(t *testing.T) {
	t.Run("a reading at the bell", func(t *testing.T) {
		inService(t, 0, func(s *service) {
			s.opens(intoTheHold...)
			s.news()
			s.lost()
			time.Sleep(6*time.Minute + 5*time.Second)
			reading := chat.Event{ID: "reading", At: s.host.Now(), Who: personOf("bench.tester"), Where: s.thread(), What: chat.Said{Post: "reading", Text: "12.9"}}
			time.Sleep(30 * time.Minute)
			s.expect()
			if err := s.handOver(reading); err != nil {
				t.Fatal(err)
			}
			s.caughtUp()
			s.expect("08:46:05 fail hp-07", "08:46:05 unplug and put away", "08:46:05 leak hunt", "08:46:05 hp-07 failed", "08:46:05 hp-07 failed", "08:46:05 hp-07 · still waiting")
		})
	})
	t.Run("none", func(t *testing.T) {
		inService(t, 0, func(s *service) {
			s.opens(intoTheHold...)
			s.news()
			s.lost()
			time.Sleep(9 * time.Minute)
			s.expect()
			s.caughtUp()
			s.expect("08:19:00 hp-07 · bell! post the ending pressure. this bell is 3 min late, it was due at 08:16:00.")
			time.Sleep(3 * time.Minute)
			s.expect()
		})
	})
	// The program was not there; nothing rings before the first catch-up.
	t.Run("killed", func(t *testing.T) {
		inService(t, 0, func(s *service) {
			s.opens(intoTheHold...)
			s.news()
			if err := s.stop(); err != nil {
				t.Fatal(err)
			}
			time.Sleep(7 * time.Minute)
			s.start()
			time.Sleep(time.Minute)
			s.expect()
			s.caughtUp()
			s.expect("08:18:00 hp-07 · bell! post the ending pressure. this bell is 2 min late")
		})
	})
}

// TestMarksAtTheStart: the adapter begins where the store says.
func TestMarksAtTheStart(t *testing.T) {
	inService(t, 0, func(s *service) {
		if len(s.link.marks) != 0 {
			t.Errorf("a new store has marks: %v", s.link.marks)
		}
		mark := chat.Mark{Created: 1, Updated: 2, Anchor: "a"}
		ev := chat.Event{ID: "e", At: s.host.Now(), Who: personOf("crew.member"), Where: chat.Where{Channel: crewChannel}, Mark: mark, What: chat.Said{Post: "e", Text: "lunch?"}}
		if err := s.handOver(ev); err != nil {
			t.Fatal(err)
		}
		if err := s.stop(); err != nil {
			t.Fatal(err)
		}
		s.start()
		if len(s.link.marks) != 1 || s.link.marks[crewChannel] != mark {
			t.Errorf("marks %v, want %v", s.link.marks, mark)
		}
	})
}

const alarm = "readings are not being recorded"

// TestDiskAlarm: that nothing can be recorded is said once, past the outbox;
// what could not be recorded is not answered, and taken when it comes again.
func TestDiskAlarm(t *testing.T) {
	inService(t, 0, func(s *service) {
		s.opens("ok all")
		s.news()
		s.disk.Full.Store(true)
		reading := chat.Event{ID: "reading", At: s.host.Now(), Who: personOf("bench.tester"), Where: s.thread(), What: chat.Said{Post: "reading", Text: "17.5"}}
		for range 3 {
			if err := s.handOver(reading); !errors.Is(err, storetest.ErrFull) {
				t.Fatalf("the error is %v", err)
			}
			time.Sleep(time.Second)
		}
		if err := s.bring("duty.officer", chat.Where{Channel: "dm", Direct: true}, s.said("status")); !errors.Is(err, storetest.ErrFull) {
			t.Fatalf("the error is %v", err)
		}
		s.expect("08:00:00 " + alarm)

		s.disk.Full.Store(false)
		if err := s.handOver(reading); err != nil {
			t.Fatal(err)
		}
		s.expect("08:00:03 hp-07 · 17.5 mbar. expansion until 08:10:00")
		s.disk.Full.Store(true)
		if err := s.bring("bench.tester", s.thread(), s.said("17.4")); err == nil {
			t.Fatal("the full disk takes it")
		}
		s.expect("08:00:03 " + alarm)
	})
}

// TestDiskFullAtTheBell: a bell that cannot be recorded is tried again every
// few seconds, no faster.
func TestDiskFullAtTheBell(t *testing.T) {
	inService(t, 0, func(s *service) {
		s.opens(append(intoTheHold, "5m50s")...)
		s.news()
		s.disk.Full.Store(true)
		before := s.disk.Writes.Load()
		time.Sleep(time.Minute + 2*time.Second)
		if n := s.disk.Writes.Load() - before; n > 30 {
			t.Errorf("the disk was tried %d times in a minute", n)
		}
		s.expect("08:16:00 " + alarm)
		s.disk.Full.Store(false)
		time.Sleep(5 * time.Second)
		s.expect("08:16:55 hp-07 · bell! post the ending pressure. this bell is 55 s late")
	})
}

// TestAttachedFiles: an import is read beside the engine. A file that cannot be had is
// told to who attached it, and holds up nothing.
func TestAttachedFiles(t *testing.T) {
	direct := chat.Where{Channel: "dm", Direct: true}
	const again = "nothing taken. to mend: 1 - the chat server did not hand the file out: attach it again"
	for name, fault := range map[string]error{"refused": chattest.Never, "out of reach": chattest.RetryAfter(0)} {
		t.Run(name, func(t *testing.T) {
			inService(t, 0, func(s *service) {
				s.opens("ok all")
				s.news()
				ask := s.said("import")
				ask.Files = []chat.File{{ID: "f1", Name: "suits.csv", Size: 9}}
				s.host.Set(func() { s.host.Fault = chattest.Only("file", fault) })
				s.mustBring("duty.officer", direct, ask)
				s.expect("08:00:00 " + again)
			})
		})
	}
	t.Run("slow", func(t *testing.T) {
		inService(t, 0, func(s *service) {
			s.opens(intoTheHold...)
			s.news()
			time.Sleep(5*time.Minute + 20*time.Second) // 10 s before the warning
			ask := s.said("import")
			ask.Files = []chat.File{{ID: "f1", Name: "suits.csv", Size: 9}}
			s.host.Set(func() {
				s.host.Files = map[string][]byte{"f1": []byte("tag,exhaust_valves,method\nZZ-1,2,en943\n")}
				s.host.During = func(c chattest.Call) {
					if c.What == "file f1" {
						time.Sleep(15 * time.Second)
					}
				}
			})
			s.mustBring("duty.officer", direct, ask)
			s.news()
			time.Sleep(20 * time.Second)
			s.expect("08:15:30 hp-07", "08:15:35 taken: 1 suits")
		})
	})
}

// TestReminders: a station where no run was ever opened is told what is due, and the
// officers too.
func TestReminders(t *testing.T) {
	inService(t, 0, func(s *service) {
		s.caughtUp()
		time.Sleep(22*time.Hour + 55*time.Minute) // to 06:55
		s.expect()
		s.opens("ok all", "17.5", "10m")
		time.Sleep(time.Minute)
		s.expect(
			"06:55:00 hp-07", "06:55:00 prepare", "06:55:00 r-0001 was opened", "06:55:00 hp-07 · inflate", "06:55:00 hp-07 · 17.5 mbar. expansion until 07:05:00",
			"06:58:00 hp-07 · look", "07:00:00 seal of the records, march", "07:00:00 not to be worn or used: test overdue", "07:01:00 hp-07 · look", "07:05:00 hp-07 · expansion is over",
		)
	})
}

// TestCommitInDoubt: a bell whose commit reports a failure although it reached the
// disk rings once, and what comes next is answered from what is on disk.
func TestCommitInDoubt(t *testing.T) {
	inService(t, 0, func(s *service) {
		s.opens(intoTheHold...)
		s.news()
		time.Sleep(5*time.Minute + 25*time.Second)
		s.disk.Doubt.Store(true)
		time.Sleep(45 * time.Second)
		s.expect("08:15:30 hp-07 · 30 s left", "08:16:00 hp-07 · bell! post the ending pressure")
		s.says("15.0")
		s.expect("08:16:10 pass hp-07", "08:16:10 unplug and put away hp-07")
	})
}

// TestBadEvent: an event that panics is tried again a few times, then answered and
// done with; what stands behind it is handled.
func TestBadEvent(t *testing.T) {
	inService(t, 0, func(s *service) {
		s.opens("ok all")
		s.news()
		bad := s.said("17.5")
		s.disk.Poison.Store("bad")
		for range 3 {
			_ = s.handOver(chat.Event{ID: "bad", At: s.host.Now(), Who: personOf("bench.tester"), Where: s.thread(), What: bad})
		}
		s.expect("08:00:00 nothing was changed: i could not do that")
		if n := s.log.Count("given up"); n != 1 {
			t.Errorf("the keeper is told %d times", n)
		}
		s.says("17.5")
		s.expect("08:00:00 hp-07 · 17.5 mbar. expansion until 08:10:00")
	})
}

// TestServeEnds: it ends with its context, and with the adapter if that gives up.
func TestServeEnds(t *testing.T) {
	inService(t, 0, func(s *service) {
		s.opens(intoTheHold...)
		gaveUp := errors.New("the adapter gave up")
		s.link.fail <- gaveUp
		synctest.Wait()
		if err := s.stop(); !errors.Is(err, gaveUp) {
			t.Errorf("serving ended with %v, want that %v", err, gaveUp)
		}
		if err := s.bring("bench.tester", s.thread(), s.said("15.0")); err == nil {
			t.Error("an event is taken after the end")
		}
		s.stop = func() error { return nil }
	})
}

const (
	crewChannel = "crew"
	botName     = "benchbell"
)

func personOf(name string) core.Person { return core.Person{ID: name, Name: name} }

// bare returns a text without emphasis, in small letters and on one line.
func bare(text string) string {
	return strings.ToLower(strings.Join(strings.Fields(strings.NewReplacer("*", "", "`", "", "_", "", "\u200b", "").Replace(text)), " "))
}
