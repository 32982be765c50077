package mattermost

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"maps"
	"net/http"
	"reflect"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/mattermost/mattermost/server/public/model"

	"benchbell/bot/chat"
	"benchbell/core"
)

// A book stands for the engine: it drops events it has had, keeps the marks of
// the others, and outlives the adapter.
type book struct {
	mu     sync.Mutex
	seen   map[string]bool
	marks  map[string]chat.Mark
	events []chat.Event
	people []chat.People // apart from the other events
	refuse func(chat.Event) error
}

func newBook() *book { return &book{seen: make(map[string]bool), marks: make(map[string]chat.Mark)} }

func (b *book) take(_ context.Context, e chat.Event) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.refuse != nil {
		if err := b.refuse(e); err != nil {
			return err
		}
	}
	if b.seen[e.ID] {
		return nil
	}
	b.seen[e.ID] = true
	if people, ok := e.What.(chat.People); ok {
		b.people = append(b.people, people)
		return nil
	}
	if e.Where.Channel != "" {
		b.marks[e.Where.Channel] = e.Mark
	}
	b.events = append(b.events, e)
	return nil
}

// news returns what was taken since the last call, a line an event.
func (b *book) news() (lines []string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, e := range b.events {
		lines = append(lines, line(e))
	}
	b.events = nil
	return lines
}

// line describes an event: "bench.tester: text".
func line(e chat.Event) string {
	switch what := e.What.(type) {
	case chat.Said:
		return e.Who.Name + ": " + what.Text
	case chat.Edited:
		return e.Who.Name + " edits: " + what.Text
	case chat.Deleted:
		return e.Who.Name + " deletes"
	case chat.Tapped:
		if what.On {
			return fmt.Sprintf("%s taps %d", e.Who.Name, what.N)
		}
		return fmt.Sprintf("%s untaps %d", e.Who.Name, what.N)
	case chat.TapsNow:
		text := "taps now:"
		for _, tap := range what.Taps {
			text += fmt.Sprintf(" %s %d", tap.Who.Name, tap.N)
		}
		return text
	case chat.Lost:
		return "lost"
	case chat.CaughtUp:
		return "caught up"
	default:
		return fmt.Sprintf("%T", what)
	}
}

// A crew is a fake server with the bot at work.
type crew struct {
	*fake
	t    *testing.T
	book *book
	bot  *Server
	log  *logBook
	stop func()

	officers []string // of the configuration
}

// inBubble runs a test in a synctest bubble, from a date on at which Benchbell
// could live.
func inBubble(t *testing.T, f func(t *testing.T)) {
	t.Helper()
	synctest.Test(t, func(t *testing.T) {
		time.Sleep(time.Until(time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)))
		f(t)
	})
}

// newCrew opens the fake server and starts the bot on it.
func newCrew(t *testing.T) *crew {
	c := &crew{fake: newFake(t), t: t, book: newBook(), log: &logBook{to: t}}
	c.start()
	c.expect("caught up")
	return c
}

// start starts the bot from what the book has kept.
func (c *crew) start() {
	c.t.Helper()
	c.bot = c.open()
	c.run(c.bot)
}

// run lets the bot receive, until stop.
func (c *crew) run(s *Server) {
	ctx, cancel := context.WithCancel(c.t.Context())
	ended := make(chan error)
	marks := maps.Clone(c.book.marks)
	go func() { ended <- s.Run(ctx, marks, c.book.take) }()
	c.stop = sync.OnceFunc(func() {
		cancel()
		if err := <-ended; !errors.Is(err, context.Canceled) {
			c.t.Errorf("Run ended with %v", err)
		}
	})
	c.t.Cleanup(c.stop)
}

func (c *crew) open() *Server {
	c.t.Helper()
	cfg := testConfig
	cfg.Officers = c.officers
	s, err := open(c.t.Context(), cfg, slog.New(slog.NewTextHandler(c.log, nil)), c.dial)
	if err != nil {
		c.t.Fatal(err)
	}
	return s
}

var testConfig = Config{URL: "http://chat.example.org", Token: testToken, Team: "harrow-point", Channel: "suit-bench"}

// expect lets things come to rest and checks what the engine has heard since.
func (c *crew) expect(want ...string) {
	c.t.Helper()
	time.Sleep(time.Second)
	synctest.Wait()
	if got := c.book.news(); !slices.Equal(got, want) {
		c.t.Errorf("heard:\n  %s\nwant:\n  %s", strings.Join(got, "\n  "), strings.Join(want, "\n  "))
	}
}

// gap breaks the link, lets things happen meanwhile, and mends it.
func (c *crew) gap(meanwhile func()) {
	c.t.Helper()
	c.unplug()
	c.expect("lost")
	meanwhile()
	c.plugIn()
	time.Sleep(longestPause)
}

// A logBook passes the log on to the test and keeps it.
type logBook struct {
	to *testing.T
	mu sync.Mutex
	bytes.Buffer
}

func (l *logBook) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.to.Output().Write(p)
	return l.Buffer.Write(p)
}

func (l *logBook) count(text string) int {
	l.mu.Lock()
	defer l.mu.Unlock()
	return strings.Count(l.String(), text)
}

func TestHears(t *testing.T) {
	inBubble(t, func(t *testing.T) {
		c := newCrew(t)
		c.says(testerID, crewID, "", "@benchbell test HP-07")
		c.saves(&model.Post{UserId: testerID, ChannelId: crewID, Type: model.PostTypeMe, Message: "nods"})
		c.says(officerID, c.direct(officerID), "", "status")
		c.expect("bench.tester: @benchbell test HP-07", "bench.tester: nods", "duty.officer: status")

		// None of these is a person speaking to the bot's crew.
		c.saves(&model.Post{
			UserId: testerID, ChannelId: crewID, Message: "hook",
			Props: model.StringInterface{"from_webhook": "true"},
		})
		c.saves(&model.Post{UserId: testerID, ChannelId: crewID, Type: "system_join_channel", Message: "joined"})
		c.says(robotID, crewID, "", "beep")
		c.says(testerID, otherID, "", "@benchbell test HP-07")
		c.says(strayID, c.direct(strayID), "", "status")
		c.says(testerID, otherID, "", "again")
		c.expect()
		if n := c.log.count("ignored"); n != 1 {
			t.Errorf("the other channel was reported %d times, want once", n)
		}
	})
}

func TestEventFields(t *testing.T) {
	inBubble(t, func(t *testing.T) {
		c := newCrew(t)
		root := c.says(officerID, crewID, "", "benches")
		reply := c.saves(&model.Post{
			UserId: testerID, ChannelId: crewID, RootId: root.Id, Message: "see ![pic](/proxy)", MessageSource: "see @Benchbell.",
			FileIds:  model.StringArray{"f1"},
			Metadata: &model.PostMetadata{Files: []*model.FileInfo{{Id: "f1", Name: "suits.csv", Size: 120}}},
		})
		time.Sleep(time.Second)
		edited := c.edits(reply.Id, "16.5")
		c.says(officerID, c.direct(officerID), "", "hi")
		time.Sleep(time.Second)
		synctest.Wait()

		said := c.book.events[1]
		want := chat.Event{
			ID: reply.Id, At: time.UnixMilli(reply.CreateAt),
			Who: said.Who, Where: chat.Where{Channel: crewID, Root: root.Id},
			What: said.What,
			Mark: chat.Mark{Created: reply.CreateAt, Updated: reply.CreateAt, Anchor: reply.Id},
		}
		if !reflect.DeepEqual(said, want) || said.Who.ID != testerID || said.Who.Name != "bench.tester" {
			t.Errorf("got  %+v\nwant %+v", said, want)
		}
		what := said.What.(chat.Said)
		if what.Post != reply.Id || what.Text != "see @Benchbell." || !what.Mentioned ||
			!slices.Equal(what.Files, []chat.File{{ID: "f1", Name: "suits.csv", Size: 120}}) {
			t.Errorf("got %+v", what)
		}

		edit := c.book.events[2]
		if want := fmt.Sprintf("%s@%d", reply.Id, edited.EditAt); edit.ID != want {
			t.Errorf("edit has ID %q, want %q", edit.ID, want)
		}
		if !edit.At.Equal(time.UnixMilli(edited.EditAt)) || !edit.What.(chat.Edited).Posted.Equal(time.UnixMilli(reply.CreateAt)) {
			t.Errorf("edit at %v of %v", edit.At, edit.What.(chat.Edited).Posted)
		}
		if direct := c.book.events[3]; !direct.Where.Direct || direct.Where.Channel == crewID {
			t.Errorf("direct message at %+v", direct.Where)
		}
	})
}

func TestEdits(t *testing.T) {
	inBubble(t, func(t *testing.T) {
		c := newCrew(t)
		p := c.says(testerID, crewID, "", "16.5")
		c.expect("bench.tester: 16.5")
		c.pins(p.Id)
		c.expect()
		c.edits(p.Id, "16.4")
		c.pins(p.Id)
		c.expect("bench.tester edits: 16.4")
		time.Sleep(24 * time.Hour)
		c.says(testerID, crewID, "", "next day")
		c.book.mu.Lock()
		clear(c.book.seen) // an engine that forgot it would hear it twice
		c.book.mu.Unlock()
		c.pins(p.Id)
		c.expect("bench.tester: next day")
	})
}

func TestTaps(t *testing.T) {
	inBubble(t, func(t *testing.T) {
		c := newCrew(t)
		root := c.says(testerID, crewID, "", "go")
		id, err := c.bot.Post(t.Context(), chat.Message{Key: "list", To: chat.To{Root: root.Id}, Text: "1 2 3"})
		if err != nil {
			t.Fatal(err)
		}
		if err := c.bot.Offer(t.Context(), id, 3); err != nil {
			t.Fatal(err)
		}
		c.expect("bench.tester: go")
		c.taps(testerID, id, 2)
		c.untaps(testerID, id, 2)
		time.Sleep(time.Millisecond)
		c.taps(testerID, id, 2)
		c.taps(officerID, id, 10)
		c.taps(robotID, id, 1)
		c.taps(testerID, root.Id, 1) // not under the bot's post
		c.locked(func() { c.react(testerID, id, "thumbsup") })
		time.Sleep(time.Second)
		synctest.Wait()
		for _, e := range c.book.events {
			if want := (chat.Where{Channel: crewID, Root: root.Id}); e.Where != want {
				t.Errorf("tap at %+v, want %+v", e.Where, want)
			}
			if e.Key != "list" {
				t.Errorf("a tap on the post with the key %q, want list", e.Key)
			}
		}
		c.expect("bench.tester taps 2", "bench.tester untaps 2", "bench.tester taps 2", "duty.officer taps 10")

		// A restarted bot knows its post again.
		c.stop()
		c.start()
		c.expect("taps now: bench.tester 2 duty.officer 10", "caught up")
	})
}

// TestKeys: an event carries the key of the bot's post that it is about, which
// the server knows before the outbox does.
func TestKeys(t *testing.T) {
	inBubble(t, func(t *testing.T) {
		c := newCrew(t)
		card, err := c.bot.Post(t.Context(), chat.Message{Key: "card", Text: "HP-07"})
		if err != nil {
			t.Fatal(err)
		}
		reply := c.says(testerID, crewID, card, "ok all")
		c.edits(reply.Id, "ok 1")
		own := c.says(testerID, crewID, "", "lunch?")
		c.says(officerID, crewID, own.Id, "yes")
		checkKeys := func(want ...string) {
			t.Helper()
			time.Sleep(time.Second)
			synctest.Wait()
			var got []string
			for _, e := range c.book.events {
				got = append(got, line(e)+" / "+e.Key)
			}
			if !slices.Equal(got, want) {
				t.Errorf("heard, with the keys: %q, want %q", got, want)
			}
			c.book.news()
		}
		checkKeys("bench.tester: ok all / card", "bench.tester edits: ok 1 / card",
			"bench.tester: lunch? / ", "duty.officer: yes / ")

		// A bot that died before it learnt of its own post knows it again.
		c.stop()
		c.says(testerID, crewID, card, "17.5")
		c.start()
		checkKeys("bench.tester: 17.5 / card", "caught up / ")
	})
}

// TestDeletions: a deletion is told once, whether it is seen live or read later.
func TestDeletions(t *testing.T) {
	inBubble(t, func(t *testing.T) {
		c := newCrew(t)
		card, err := c.bot.Post(t.Context(), chat.Message{Key: "card", Text: "HP-07"})
		if err != nil {
			t.Fatal(err)
		}
		reply := c.says(testerID, crewID, card, "15.0")
		other := c.says(officerID, crewID, card, "hm")
		beep := c.says(robotID, crewID, card, "beep")
		time.Sleep(time.Second)
		c.edits(reply.Id, "15.1")
		c.expect("bench.tester: 15.0", "duty.officer: hm", "bench.tester edits: 15.1")
		time.Sleep(time.Hour)
		c.deletes(reply.Id)
		c.deletes(beep.Id)
		time.Sleep(time.Second)
		synctest.Wait()
		deletedAt := c.row(reply.Id).DeleteAt
		want := chat.Event{
			ID: reply.Id + "-deleted", At: time.UnixMilli(deletedAt),
			Who: core.Person{ID: testerID, Name: "bench.tester"}, Where: chat.Where{Channel: crewID, Root: card}, Key: "card",
			What: chat.Deleted{Post: reply.Id},
			Mark: chat.Mark{Created: beep.CreateAt, Updated: deletedAt, Anchor: reply.Id},
		}
		if len(c.book.events) != 1 || !reflect.DeepEqual(c.book.events[0], want) {
			t.Errorf("got  %+v\nwant %+v", c.book.events, want)
		}
		c.expect("bench.tester deletes")

		c.deletes(card) // and with it the whole thread
		c.expect("duty.officer deletes")
		c.stop()
		c.start()
		c.expect("caught up")
		if !c.book.seen[other.Id+"-deleted"] {
			t.Errorf("the reply is not among the events")
		}
	})
}

// TestThreadsFoundAgain: a bot that does not know the first post of a thread any
// more asks the server for it, once.
func TestThreadsFoundAgain(t *testing.T) {
	inBubble(t, func(t *testing.T) {
		c := newCrew(t)
		card, err := c.bot.Post(t.Context(), chat.Message{Key: "card", Text: "HP-07"})
		if err != nil {
			t.Fatal(err)
		}
		own := c.says(testerID, crewID, "", "lunch?")
		time.Sleep(24 * time.Hour)
		c.says(testerID, crewID, "", "next day")
		c.expect("bench.tester: lunch?", "bench.tester: next day")
		c.stop()
		time.Sleep(time.Hour)
		c.start()
		c.expect("caught up")

		reply := func(root, wantKey string, wantAsked int) {
			t.Helper()
			c.asked("")
			c.says(testerID, crewID, root, "yes")
			time.Sleep(time.Minute)
			synctest.Wait()
			i := slices.IndexFunc(c.book.events, func(e chat.Event) bool { return line(e) == "bench.tester: yes" })
			if i < 0 || c.book.events[i].Key != wantKey {
				t.Errorf("heard %+v, want a reply with the key %q", c.book.events, wantKey)
			}
			if n := c.asked("GET /posts/" + root); n != wantAsked {
				t.Errorf("the server was asked %d times for the first post, want %d", n, wantAsked)
			}
			c.book.news()
		}
		fails := 1
		c.locked(func() {
			c.before = func(w http.ResponseWriter, r *http.Request) bool {
				if !strings.HasSuffix(r.URL.Path, "/posts/"+card) || fails == 0 {
					return false
				}
				fails--
				sayHTML(w, 404)
				return true
			}
		})
		reply(card, "card", 2) // the first answer is spoiled
		reply(card, "card", 0)
		reply(own.Id, "", 1)
		reply(own.Id, "", 0)
	})
}

// TestThreadOfDeletedPost: the first post of a thread may be gone.
func TestThreadOfDeletedPost(t *testing.T) {
	inBubble(t, func(t *testing.T) {
		c := newCrew(t)
		c.locked(func() {
			gone := &model.Post{UserId: botID, ChannelId: crewID}
			c.stamp(gone)
			gone.DeleteAt = gone.CreateAt
			c.rows = append(c.rows, gone)
			p := &model.Post{UserId: testerID, ChannelId: crewID, RootId: gone.Id, Message: "15.0"}
			c.stamp(p)
			c.show(p) // as one that was made at the same moment
		})
		c.expect("bench.tester: 15.0")
	})
}

func TestMentions(t *testing.T) {
	mention := mentionOf("bench.bell")
	for text, want := range map[string]bool{
		"@bench.bell status": true, "status @Bench.Bell": true, "(@bench.bell)": true, "@bench.bell, hello": true,
		"done @bench.bell.": true, "@bench.bell...": true, "**@bench.bell**": true, "ask @bench.bell: now": true,
		"bench.bell status": false, "mail@bench.bell": false, "@bench.bells": false, "@bench.bell2": false,
		"@bench.bell.x": false, "@benchxbell": false, "@@bench.bell": false, "é@bench.bell": false, "": false,
	} {
		if got := mention.MatchString(text); got != want {
			t.Errorf("%q mentions the bot: %v, want %v", text, got, want)
		}
	}
}

func TestCatchUp(t *testing.T) {
	tests := map[string]func(t *testing.T, c *crew){
		"posts of a gap, in order, once": func(t *testing.T, c *crew) {
			c.says(testerID, crewID, "", "before")
			c.expect("bench.tester: before")
			c.gap(func() {
				c.says(testerID, crewID, "", "first")
				time.Sleep(time.Hour)
				c.says(officerID, crewID, "", "second")
			})
			c.says(testerID, crewID, "", "after")
			c.expect("bench.tester: first", "duty.officer: second", "caught up", "bench.tester: after")
		},
		"several channels, in the order of their moments": func(t *testing.T, c *crew) {
			direct := c.direct(officerID)
			c.gap(func() {
				for i := range 3 {
					c.says(officerID, direct, "", fmt.Sprint("direct ", i))
					time.Sleep(time.Second)
					c.says(testerID, crewID, "", fmt.Sprint("crew ", i))
					time.Sleep(time.Second)
				}
			})
			c.expect("duty.officer: direct 0", "bench.tester: crew 0", "duty.officer: direct 1",
				"bench.tester: crew 1", "duty.officer: direct 2", "bench.tester: crew 2", "caught up")
		},
		"a direct message by somebody new, after a long weekend": func(t *testing.T, c *crew) {
			c.says(testerID, crewID, "", "friday")
			c.expect("bench.tester: friday")
			c.stop()
			c.says(officerID, c.direct(officerID), "", "saturday")
			time.Sleep(60 * time.Hour)
			c.start()
			c.expect("duty.officer: saturday", "caught up")
		},
		"nothing was ever said before the bot went down": func(t *testing.T, c *crew) {
			c.stop()
			c.says(testerID, crewID, "", "saturday")
			time.Sleep(60 * time.Hour)
			c.start()
			c.expect("bench.tester: saturday", "caught up")
		},
		"of what was deleted only that is said, and nothing of an old version": func(t *testing.T, c *crew) {
			c.gap(func() {
				gone := c.says(testerID, crewID, "", "gone")
				kept := c.says(testerID, crewID, "", "16.5")
				time.Sleep(time.Minute)
				c.edits(kept.Id, "16.4")
				time.Sleep(time.Second)
				c.deletes(gone.Id)
			})
			c.expect("bench.tester: 16.4", "bench.tester edits: 16.4", "bench.tester deletes", "caught up")
		},
		"a post heard before was deleted": func(t *testing.T, c *crew) {
			p := c.says(testerID, crewID, "", "16.5")
			c.expect("bench.tester: 16.5")
			time.Sleep(10 * time.Hour)
			c.says(testerID, crewID, "", "next")
			c.expect("bench.tester: next")
			c.gap(func() {
				c.says(testerID, crewID, "", "during")
				time.Sleep(time.Second)
				c.deletes(p.Id)
				time.Sleep(time.Second)
				c.says(testerID, crewID, "", "later")
			})
			c.expect("bench.tester: during", "bench.tester deletes", "bench.tester: later", "caught up")
		},
		"an edit of a post heard before": func(t *testing.T, c *crew) {
			p := c.says(testerID, crewID, "", "16.5")
			c.expect("bench.tester: 16.5")
			time.Sleep(10 * time.Hour)
			c.says(testerID, crewID, "", "next")
			c.expect("bench.tester: next")
			c.gap(func() {
				c.says(testerID, crewID, "", "during")
				time.Sleep(time.Second)
				c.edits(p.Id, "16.4")
			})
			c.expect("bench.tester: during", "bench.tester edits: 16.4", "caught up")
		},
		"old posts that a reply or a pin brings up again are not said again": func(t *testing.T, c *crew) {
			root := c.says(testerID, crewID, "", "root")
			pinned := c.says(testerID, crewID, "", "pinned")
			c.expect("bench.tester: root", "bench.tester: pinned")
			time.Sleep(10 * time.Hour)
			c.says(testerID, crewID, "", "next")
			c.expect("bench.tester: next")
			c.book.mu.Lock()
			clear(c.book.seen) // an engine that forgot them would hear them twice
			c.book.mu.Unlock()
			c.gap(func() {
				time.Sleep(time.Hour)
				c.says(officerID, crewID, root.Id, "reply")
				c.pins(pinned.Id)
			})
			c.expect("bench.tester: next", "duty.officer: reply", "caught up")
		},
		"a post that becomes visible after later ones": func(t *testing.T, c *crew) {
			c.saysSlowly(testerID, crewID, "slow", 8*time.Minute)
			time.Sleep(time.Second)
			c.says(testerID, crewID, "", "quick")
			c.expect("bench.tester: quick")
			c.gap(func() { time.Sleep(9 * time.Minute) })
			c.expect("bench.tester: slow", "caught up")
		},
		"an answer from a cache that is too old": func(t *testing.T, c *crew) {
			c.says(testerID, crewID, "", "known")
			c.expect("bench.tester: known")
			c.gap(func() {
				c.says(testerID, crewID, "", "missed")
				c.locked(func() {
					c.before = func(w http.ResponseWriter, r *http.Request) bool {
						if !r.URL.Query().Has("since") {
							return false
						}
						(&answer{value: model.NewPostList()}).write(w)
						return true
					}
				})
			})
			c.expect("bench.tester: missed", "caught up")
		},
		"more posts than the server gives at once, many of one moment": func(t *testing.T, c *crew) {
			old := c.says(officerID, crewID, "", "15.0")
			time.Sleep(time.Second)
			for range pageSize {
				c.says(robotID, crewID, "", "beep")
			}
			time.Sleep(30 * time.Minute)
			c.says(testerID, crewID, "", "known")
			c.expect("duty.officer: 15.0", "bench.tester: known")
			var want []string
			c.gap(func() {
				for i := range 2750 {
					if i%3 == 0 && (i < 1700 || i > 2200) { // 500 posts in one moment, else three
						time.Sleep(time.Second)
					}
					c.says(testerID, crewID, "", fmt.Sprintf("%04d", i))
					want = append(want, fmt.Sprintf("bench.tester: %04d", i))
				}
				time.Sleep(time.Second)
				c.edits(old.Id, "15.1")
			})
			time.Sleep(time.Second)
			synctest.Wait()
			got := c.book.news()
			if n := len(got); n != len(want)+2 || got[n-2] != "duty.officer edits: 15.1" || got[n-1] != "caught up" {
				t.Fatalf("heard %d events, want %d; the last: %q", n, len(want)+2, got[max(0, n-2):])
			}
			got = got[:len(want)]
			slices.Sort(got) // ties have no order
			if !slices.Equal(got, want) {
				t.Error("some posts were missed, or heard twice")
			}
		},
		"taps and untaps": func(t *testing.T, c *crew) {
			post := func(key string) string {
				id, err := c.bot.Post(t.Context(), chat.Message{Key: key, Text: key})
				if err != nil {
					t.Fatal(err)
				}
				if err := c.bot.Offer(t.Context(), id, 3); err != nil {
					t.Fatal(err)
				}
				return id
			}
			one, two := post("one"), post("two")
			c.taps(testerID, one, 1)
			c.taps(testerID, two, 1)
			c.expect("bench.tester taps 1", "bench.tester taps 1")
			time.Sleep(time.Hour)
			c.says(testerID, crewID, "", "later")
			c.expect("bench.tester: later")
			c.gap(func() {
				c.untaps(testerID, one, 1)
				time.Sleep(time.Second)
				c.taps(officerID, two, 3)
				time.Sleep(time.Second)
				c.says(testerID, crewID, two, "16.5") // after the taps, and so heard after them
				time.Sleep(time.Second)
				c.says(testerID, crewID, two, "16.4")
			})
			c.expect("taps now:", "taps now: bench.tester 1 duty.officer 3",
				"bench.tester: 16.5", "bench.tester: 16.4", "caught up")
			c.gap(func() {})
			c.expect("caught up")
		},
		"a post made while catching up": func(t *testing.T, c *crew) {
			c.says(testerID, crewID, "", "known")
			c.expect("bench.tester: known")
			c.gap(func() {
				c.locked(func() {
					c.loseAnswer = func(r *http.Request) bool {
						if strings.HasSuffix(r.URL.Path, "/posts") {
							c.locked(func() { c.loseAnswer = nil })
							c.says(testerID, crewID, "", "meanwhile")
							time.Sleep(time.Millisecond) // the event is there before the answer
						}
						return false
					}
				})
			})
			c.expect("bench.tester: meanwhile", "caught up")
		},
		"events of a link that was too slow are not lost": func(t *testing.T, c *crew) {
			c.locked(func() { c.shape = func(s *socket, _ []byte) { s.close() } })
			c.says(testerID, crewID, "", "dropped")
			c.locked(func() { c.shape = nil })
			time.Sleep(10 * time.Second)
			c.expect("bench.tester: dropped") // which is no reason to let bells wait
		},
		"answers that are none": func(t *testing.T, c *crew) {
			for _, spoil := range []func(http.ResponseWriter){
				func(w http.ResponseWriter) { w.Write([]byte("{}")) },
				func(w http.ResponseWriter) { sayHTML(w, 200) },
				func(w http.ResponseWriter) { sayHTML(w, 502) },
				func(w http.ResponseWriter) { sayHTML(w, 404) },
				func(w http.ResponseWriter) { w.Write([]byte(`{"order":["x"],"posts":{}}`)) },
				func(w http.ResponseWriter) {
					w.Header().Set("Retry-After", "2")
					http.Error(w, "limit exceeded", http.StatusTooManyRequests)
				},
			} {
				text := model.NewId()
				c.unplug()
				c.expect("lost")
				c.says(testerID, crewID, "", text)
				spoiled := make(map[string]int)
				c.locked(func() {
					c.before = func(w http.ResponseWriter, r *http.Request) bool {
						var tries int
						c.locked(func() { spoiled[r.URL.Path]++; tries = spoiled[r.URL.Path] })
						if tries > 2 {
							return false
						}
						spoil(w)
						return true
					}
				})
				c.plugIn()
				time.Sleep(10 * time.Minute)
				c.expect("bench.tester: "+text, "caught up")
			}
		},
	}
	for name, test := range tests {
		t.Run(name, func(t *testing.T) {
			inBubble(t, func(t *testing.T) { test(t, newCrew(t)) })
		})
	}
}

// TestFirstStart has no marks: the bot begins where it was let in.
func TestFirstStart(t *testing.T) {
	inBubble(t, func(t *testing.T) {
		c := &crew{fake: newFake(t), t: t, book: newBook(), log: &logBook{to: t}}
		c.says(testerID, crewID, "", "before the bot was let in")
		time.Sleep(time.Minute)
		c.saves(&model.Post{
			UserId: officerID, ChannelId: crewID, Type: model.PostTypeAddToChannel,
			Props: model.StringInterface{model.PostPropsAddedUserId: botID},
		})
		time.Sleep(time.Minute)
		c.says(testerID, crewID, "", "after")
		c.start()
		c.expect("bench.tester: after", "caught up")
	})
}

func TestBlackHole(t *testing.T) {
	inBubble(t, func(t *testing.T) {
		c := newCrew(t)
		time.Sleep(3 * time.Minute)
		c.swallow()
		began := time.Now()
		c.says(testerID, crewID, "", "into the hole")
		time.Sleep(pingEvery + pingWait + briefly + time.Second)
		synctest.Wait()
		c.book.mu.Lock()
		lost := c.book.events[0]
		c.book.mu.Unlock()
		if after := lost.At.Sub(began); after > pingEvery+pingWait+briefly+time.Second {
			t.Errorf("noticed after %v", after)
		}
		c.plugIn()
		time.Sleep(longestPause + requestTimeout)
		c.expect("lost", "bench.tester: into the hole", "caught up")
	})
}

func TestServerRestart(t *testing.T) {
	inBubble(t, func(t *testing.T) {
		c := newCrew(t)
		c.says(testerID, crewID, "", "before")
		c.expect("bench.tester: before")
		c.unplug()
		c.restart()
		time.Sleep(3 * time.Second)
		c.plugIn()
		c.says(testerID, crewID, "", "after")
		time.Sleep(10 * time.Second)
		c.expect("lost", "bench.tester: after", "caught up")
	})
}

// TestShut: while the crew channel is archived, or the bot is not in it, the
// engine knows that nothing is heard. When the channel is open again the bot hears
// again, although the websocket's list of channels is out of date.
func TestShut(t *testing.T) {
	tests := map[string]struct {
		shut, open func(c *crew)
		says       string
	}{
		"archived": {
			func(c *crew) { c.archives(true, true) }, func(c *crew) { c.archives(false, true) }, "is archived: bring it back",
		},
		"archived, events lost": {
			func(c *crew) { c.archives(true, false) }, func(c *crew) { c.archives(false, false) }, "is archived: bring it back",
		},
		"taken out": {
			func(c *crew) { c.admits(false, true) }, func(c *crew) { c.admits(true, true) }, "/invite @benchbell",
		},
		"taken out, events lost": {
			func(c *crew) { c.admits(false, false) }, func(c *crew) { c.admits(true, false) }, "/invite @benchbell",
		},
	}
	for name, test := range tests {
		t.Run(name, func(t *testing.T) {
			inBubble(t, func(t *testing.T) {
				c := newCrew(t)
				c.says(testerID, crewID, "", "before")
				c.expect("bench.tester: before")
				test.shut(c)
				time.Sleep(watchEvery)
				c.expect("lost")
				c.says(testerID, crewID, "", "during")
				time.Sleep(time.Hour)
				c.expect()
				if n := c.log.count(test.says); n < 1 || n > 6 {
					t.Errorf("it stands in the log %d times", n)
				}
				test.open(c)
				time.Sleep(shutPause + time.Second)
				c.expect("bench.tester: during", "caught up")
				c.says(testerID, crewID, "", "after")
				c.expect("bench.tester: after")
				if c.log.count("is open again") != 1 {
					t.Error("that the channel is open again is not in the log")
				}

				// So short that only the lists show it.
				test.shut(c)
				test.open(c)
				c.says(testerID, crewID, "", "soon")
				time.Sleep(watchEvery + 2*time.Second)
				heard := c.book.news()
				if !slices.Contains(heard, "bench.tester: soon") && !strings.Contains(name, "taken out, events lost") {
					t.Errorf("heard %q", heard)
				}
			})
		})
	}
}

// TestNoWebsocket: a proxy that lets no websocket pass costs seconds, not the
// bells.
func TestNoWebsocket(t *testing.T) {
	inBubble(t, func(t *testing.T) {
		c := &crew{fake: newFake(t), t: t, book: newBook(), log: &logBook{to: t}}
		c.noSockets = true
		c.start()
		time.Sleep(dialGrace)
		c.expect("caught up")
		direct := c.direct(officerID)
		within := func(want ...string) {
			t.Helper()
			time.Sleep(pollEvery)
			c.expect(want...)
		}
		list, err := c.bot.Post(t.Context(), chat.Message{Key: "list", To: chat.To{Person: officerID}, Text: "1 2 3"})
		if err != nil {
			t.Fatal(err)
		}
		if err := c.bot.Offer(t.Context(), list, 3); err != nil {
			t.Fatal(err)
		}
		time.Sleep(time.Millisecond)
		p := c.says(testerID, crewID, "", "17.5")
		within("taps now:", "bench.tester: 17.5")
		c.says(officerID, direct, "", "status")
		within("duty.officer: status")
		c.edits(p.Id, "17.4")
		within("bench.tester edits: 17.4")
		c.deletes(p.Id)
		within("bench.tester deletes")
		c.taps(officerID, list, 2)
		time.Sleep(pollEvery * fullPoll)
		c.expect("taps now: duty.officer 2")
		c.changesUser(testerID, func(u *model.User) { u.Username = "renamed.tester" })
		time.Sleep(rosterEvery + pollEvery)
		c.says(testerID, crewID, "", "16.5")
		within("renamed.tester: 16.5")
		const warning = `msg="no websocket, polling instead; let the proxy pass websockets" `
		if n := c.log.count(warning); n != 1 {
			t.Errorf("it was reported %d times", n)
		}
		time.Sleep(time.Hour)
		c.asked("")
		time.Sleep(time.Minute)
		if n := c.asked(""); n > 100 {
			t.Errorf("%d requests a minute", n)
		}

		c.locked(func() { c.noSockets = false })
		time.Sleep(2 * longestPause)
		c.says(testerID, crewID, "", "16.4")
		c.expect("renamed.tester: 16.4")
		if n := c.log.count("the websocket is back"); n != 1 {
			t.Errorf("that it is back was reported %d times", n)
		}

		// Without it again, and then without the server.
		c.locked(func() { c.noSockets = true })
		c.cut()
		time.Sleep(time.Minute)
		c.says(testerID, crewID, "", "16.3")
		within("renamed.tester: 16.3")
		if n := c.log.count(warning); n != 2 {
			t.Errorf("it was reported %d times", n)
		}
		c.unplug()
		time.Sleep(pollEvery + briefly)
		c.expect("lost")
		c.plugIn()
		time.Sleep(longestPause + dialGrace)
		c.expect("caught up")
	})
}

// TestPeople: the engine is told who is who before it is told that it has heard
// everything, and whenever that changes.
func TestPeople(t *testing.T) {
	inBubble(t, func(t *testing.T) {
		c := &crew{fake: newFake(t), t: t, book: newBook(), log: &logBook{to: t}}
		c.officers = []string{"@Stray", officerID, "nobody", "robot"}
		var order []string
		c.book.refuse = func(e chat.Event) error { order = append(order, fmt.Sprintf("%T", e.What)); return nil }
		c.start()
		c.expect("caught up")
		if want := []string{"chat.People", "chat.CaughtUp"}; !slices.Equal(order, want) {
			t.Errorf("heard %v, want %v", order, want)
		}
		check := func(want ...string) {
			t.Helper()
			time.Sleep(time.Second)
			synctest.Wait()
			var got []string
			for _, people := range c.book.people {
				text := ""
				for _, m := range people.All {
					text += " " + m.Name
					if m.Gone {
						text += " (gone)"
					}
				}
				got = append(got, text[1:])
			}
			c.book.people = nil
			if !slices.Equal(got, want) {
				t.Errorf("told of %q, want %q", got, want)
			}
		}
		check("bench.tester duty.officer stray")
		c.says(testerID, crewID, "", "one")
		c.expect("bench.tester: one")

		c.changesUser(testerID, func(u *model.User) { u.Username = "tester.two" })
		c.says(testerID, crewID, "", "two")
		c.expect("tester.two: two")
		check("duty.officer stray tester.two")
		c.changesUser(officerID, func(u *model.User) { u.DeleteAt = c.now() })
		check("duty.officer (gone) stray tester.two")
		c.changesUser(officerID, func(u *model.User) { u.DeleteAt = 0 })
		check("duty.officer stray tester.two")
		c.moves(testerID, false)
		check("duty.officer stray")
		c.moves(testerID, true)
		check("duty.officer stray tester.two")
		c.changesUser(robotID, func(u *model.User) { u.Nickname = "beep" })
		check()

		// A change of which no event tells, and one during a gap.
		c.locked(func() { c.users[testerID].Username = "tester.three" })
		time.Sleep(rosterEvery)
		check("duty.officer stray tester.three")
		c.gap(func() { c.locked(func() { c.users[testerID].Username = "tester.four" }) })
		c.says(testerID, crewID, "", "four")
		c.expect("caught up", "tester.four: four")
		check("duty.officer stray tester.four")
	})
}

// TestManyPeople: the server gives them in pages.
func TestManyPeople(t *testing.T) {
	inBubble(t, func(t *testing.T) {
		c := &crew{fake: newFake(t), t: t, book: newBook(), log: &logBook{to: t}}
		for i := range 2*pageSize - len(c.inside[crewID]) { // the last page is empty
			id := model.NewId()
			c.users[id] = &model.User{Id: id, Username: fmt.Sprintf("crew.%03d", i)}
			c.inside[crewID][id] = true
		}
		c.start()
		c.expect("caught up")
		if n := len(c.book.people[0].All); n != 2*pageSize-2 { // two are bots
			t.Errorf("told of %d people", n)
		}
	})
}

// TestNoPeople: bells do not wait for a list of people that cannot be had.
func TestNoPeople(t *testing.T) {
	inBubble(t, func(t *testing.T) {
		c := newCrew(t)
		c.book.people = nil
		spoiled := func(hang time.Duration) {
			c.locked(func() {
				c.before = func(w http.ResponseWriter, r *http.Request) bool {
					if !r.URL.Query().Has("in_channel") {
						return false
					}
					time.Sleep(hang)
					sayHTML(w, 404)
					return true
				}
			})
		}
		for _, hang := range []time.Duration{0, 2 * requestTimeout} {
			spoiled(hang)
			c.unplug()
			c.expect("lost")
			c.plugIn()
			time.Sleep(3*time.Second + rosterWait) // for the pauses between tries, too
			c.expect("caught up")
			if len(c.book.people) != 0 {
				t.Errorf("told of %v", c.book.people)
			}
		}
		if c.log.count("cannot read the list of members") == 0 {
			t.Error("it is not in the log")
		}
		c.locked(func() {
			c.before = nil
			c.users[testerID].Username = "tester.two"
		})
		time.Sleep(longestPause + requestTimeout)
		synctest.Wait()
		if n := len(c.book.people); n != 1 || c.book.people[0].All[1].Name != "tester.two" {
			t.Errorf("told of %v", c.book.people)
		}
		time.Sleep(2 * requestTimeout) // for the last request to end
	})
}

// TestTokenRevoked: the server leaves the link open and says nothing more.
func TestTokenRevoked(t *testing.T) {
	inBubble(t, func(t *testing.T) {
		c := newCrew(t)
		c.locked(func() { c.token = "" })
		time.Sleep(pingEvery)
		c.expect("lost")
		c.asked("")
		time.Sleep(time.Hour)
		if n := c.asked("GET /users/me"); n < 30 || n > 130 {
			t.Errorf("asked %d times in an hour, want about every minute", n)
		}
		if n := c.log.count(`msg="refused by the chat server: token, account, team or channel is wrong" err`); n != 1 {
			t.Errorf("the alarm was given %d times, want once", n)
		}
		if n := c.log.count("still down"); n < 2 || n > 6 {
			t.Errorf("the alarm was repeated %d times in an hour", n)
		}
		c.says(testerID, crewID, "", "unheard")
		c.locked(func() { c.token = testToken })
		time.Sleep(2 * tokenPause)
		c.expect("bench.tester: unheard", "caught up")
	})
}

func TestSinkRefuses(t *testing.T) {
	inBubble(t, func(t *testing.T) {
		c := newCrew(t)
		tries := 0
		c.book.refuse = func(e chat.Event) error {
			if tries++; tries <= 8 {
				return errors.New("the disk is full")
			}
			return nil
		}
		c.says(testerID, crewID, "", "one")
		c.says(testerID, crewID, "", "two")
		time.Sleep(5 * time.Minute)
		c.expect("bench.tester: one", "bench.tester: two")
		if n := c.log.count("the disk is full"); n != 1 {
			t.Errorf("the same error was reported %d times", n)
		}
	})
}

func TestDirectMessagesOfThoseWhoLeft(t *testing.T) {
	inBubble(t, func(t *testing.T) {
		c := newCrew(t)
		direct := c.direct(officerID)
		c.says(officerID, direct, "", "status")
		c.expect("duty.officer: status")
		c.locked(func() { c.inTeam[officerID], c.inside[crewID][officerID] = false, false })
		time.Sleep(acquaintance)
		c.says(officerID, direct, "", "status HP-07")
		c.expect()
	})
}

// inOrder reports whether events are in the order of the server's moments.
func inOrder(events []chat.Event) bool {
	return slices.IsSortedFunc(events, func(a, b chat.Event) int {
		return cmp.Or(a.At.Compare(b.At), strings.Compare(a.ID, b.ID))
	})
}
