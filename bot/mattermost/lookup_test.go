package mattermost

import (
	"io"
	"net/http"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/mattermost/mattermost/server/public/model"

	"benchbell/bot/chat"
)

// spoils lets every request fail whose path ends so, in a way; nil ends that.
func (c *crew) spoils(end string, how func(http.ResponseWriter)) {
	c.locked(func() {
		c.before = func(w http.ResponseWriter, r *http.Request) bool {
			if how == nil || r.Method != http.MethodGet || !strings.HasSuffix(r.URL.Path, end) {
				return false
			}
			how(w)
			return true
		}
	})
}

// failures are ways in which a single look-up can fail.
var failures = map[string]func(http.ResponseWriter){
	"a proxy's rule": func(w http.ResponseWriter) { sayHTML(w, 403) },
	"a damaged row":  func(w http.ResponseWriter) { refuse(w, 500, "app.post.get.app_error") },
	"a bad request":  func(w http.ResponseWriter) { refuse(w, 400, "api.context.invalid_url_param.app_error") },
	"no answer":      func(http.ResponseWriter) { panic(http.ErrAbortHandler) },
	"it hangs":       func(w http.ResponseWriter) { time.Sleep(requestTimeout); sayHTML(w, 504) },
	"a limit":        limited,
}

// TestOneLookUpFails: one post whose thread, or one person who cannot be looked up
// does not keep the bot from hearing the rest, with and without a websocket.
func TestOneLookUpFails(t *testing.T) {
	for name, how := range failures {
		for _, noSockets := range []bool{false, true} {
			t.Run(name+map[bool]string{true: ", no websocket"}[noSockets], func(t *testing.T) {
				inBubble(t, func(t *testing.T) {
					c := &crew{fake: newFake(t), t: t, book: newBook(), log: &logBook{to: t}}
					c.noSockets = noSockets
					c.start()
					time.Sleep(time.Minute)
					c.expect("caught up")
					root := c.says(robotID, crewID, "", "lunch?")
					c.spoils("/posts/"+root.Id, how)
					c.says(testerID, crewID, root.Id, "pizza")
					time.Sleep(10 * time.Second)
					c.expect("bench.tester: pizza")
					c.says(testerID, crewID, "", "@benchbell test HP-07")
					time.Sleep(10 * time.Minute)
					c.expect("bench.tester: @benchbell test HP-07")
					if n := c.log.count("a look-up fails although the chat server answers"); n != 1 {
						t.Errorf("it is in the log %d times", n)
					}

					c.spoils("/users/"+strayID, how)
					c.says(strayID, crewID, "", "who am I?")
					c.says(testerID, crewID, "", "@benchbell where")
					time.Sleep(10 * time.Second)
					c.expect("bench.tester: @benchbell where")
					c.spoils("", nil)
					time.Sleep(2*requestTimeout + lookUpRest) // for the last request to end
					c.book.news()
				})
			})
		}
	}
}

// TestLookedUpAgain: a thread is known as a run's as soon as its first post can be
// looked up again.
func TestLookedUpAgain(t *testing.T) {
	inBubble(t, func(t *testing.T) {
		c := newCrew(t)
		id, err := c.deliver(chat.Message{Key: "run", Text: "card"})
		if err != nil {
			t.Fatal(err)
		}
		time.Sleep(time.Hour)
		c.says(testerID, crewID, "", "later")
		c.expect("bench.tester: later")
		c.stop()
		c.start()
		c.expect("caught up")
		key := func() string {
			c.says(testerID, crewID, id, "17.5")
			time.Sleep(10 * time.Second)
			synctest.Wait()
			defer c.book.news()
			return c.book.events[len(c.book.events)-1].Key
		}
		c.spoils("/posts/"+id, failures["a damaged row"])
		if got := key(); got != "" {
			t.Errorf("key %q", got)
		}
		c.spoils("", nil)
		time.Sleep(lookUpRest)
		if got := key(); got != "run" {
			t.Errorf("key %q once it can be looked up", got)
		}
	})
}

// TestOneDirectMessageFails: one channel of direct messages that cannot be read
// does not keep the bot from reading the others.
func TestOneDirectMessageFails(t *testing.T) {
	inBubble(t, func(t *testing.T) {
		c := &crew{fake: newFake(t), t: t, book: newBook(), log: &logBook{to: t}}
		c.noSockets = true
		channel := c.direct(testerID)
		c.start()
		time.Sleep(time.Minute)
		c.expect("caught up")
		c.spoils("/channels/"+channel+"/posts", failures["a damaged row"])
		c.says(testerID, channel, "", "secret")
		c.says(testerID, crewID, "", "aloud")
		time.Sleep(10 * time.Second)
		c.expect("bench.tester: aloud")
		c.spoils("", nil)
		time.Sleep(lookUpRest + time.Minute)
		c.expect("bench.tester: secret")
	})
}

// TestKnownAuthor: somebody who cannot be looked up any more is who the last list
// of people said.
func TestKnownAuthor(t *testing.T) {
	inBubble(t, func(t *testing.T) {
		c := newCrew(t)
		c.locked(func() {
			c.before = func(w http.ResponseWriter, r *http.Request) bool {
				if r.URL.Query().Has("in_channel") || strings.HasSuffix(r.URL.Path, testerID) {
					sayHTML(w, 403)
					return true
				}
				return false
			}
		})
		time.Sleep(2 * acquaintance)
		c.says(testerID, crewID, "", "it is me")
		time.Sleep(10 * time.Second)
		c.expect("bench.tester: it is me")
	})
}

// TestTapsOfUnknown: which numbers are tapped is not told without the taps of
// somebody who cannot be looked up: they would count as taken back.
func TestTapsOfUnknown(t *testing.T) {
	inBubble(t, func(t *testing.T) {
		c := newCrew(t)
		id, err := c.deliver(chat.Message{Key: "list", Text: "list"})
		if err == nil {
			err = c.bot.Offer(t.Context(), id, 2)
		}
		if err != nil {
			t.Fatal(err)
		}
		c.taps(testerID, id, 1)
		c.expect("bench.tester taps 1")
		c.locked(func() { c.inside[crewID][testerID] = false })
		c.stop()
		c.spoils("/users/"+testerID, failures["a damaged row"])
		c.start()
		time.Sleep(10 * time.Second)
		c.expect("caught up")
	})
}

// membersOf describes the last list of people told, and forgets it.
func (c *crew) membersOf() string {
	c.book.mu.Lock()
	defer c.book.mu.Unlock()
	if len(c.book.people) == 0 {
		return "nothing"
	}
	var names []string
	for _, m := range c.book.people[len(c.book.people)-1].All {
		if m.Gone {
			m.Name += " (gone)"
		}
		names = append(names, m.Name)
	}
	c.book.people = nil
	return strings.Join(names, " ")
}

// TestMissingPeople: somebody who is missing from a new list of people is looked
// up: only a deactivated account is gone, and only who has left is dropped.
func TestMissingPeople(t *testing.T) {
	inBubble(t, func(t *testing.T) {
		c := newCrew(t)
		check := func(when, want string) {
			t.Helper()
			time.Sleep(rosterEvery + 2*longestPause)
			synctest.Wait()
			if got := c.membersOf(); got != want {
				t.Errorf("%s: told of %s, want %s", when, got, want)
			}
		}
		check("at the start", "bench.tester duty.officer")

		var down string // what fails
		c.locked(func() {
			c.before = func(w http.ResponseWriter, r *http.Request) bool {
				switch {
				case r.URL.Query().Has("in_channel") && down == "slips":
					io.WriteString(w, toJSON([]*model.User{c.users[officerID]}))
				case down != "" && strings.HasSuffix(r.URL.Path, down):
					sayHTML(w, 403)
				default:
					return false
				}
				return true
			}
		})
		c.locked(func() { down = "slips" })
		check("slipped between two pages", "nothing")
		c.locked(func() { down = "" })
		check("found again", "nothing")

		c.locked(func() { down, c.inside[crewID][testerID] = "/users/ids", false })
		check("left, and cannot be looked up", "nothing")
		c.locked(func() { down = "/members/ids" })
		check("left, and the channel cannot be looked at", "nothing")
		if n := c.log.count("those missing from the list of people cannot be looked up"); n == 0 {
			t.Error("it is not in the log")
		}
		c.locked(func() { down = "" })
		check("left", "duty.officer")
		c.locked(func() { c.inside[crewID][testerID] = true })
		check("joined", "bench.tester duty.officer")

		c.locked(func() { c.inside[crewID][testerID], c.users[testerID].DeleteAt = false, c.now() })
		check("deactivated and out of the channel", "bench.tester (gone) duty.officer")
		check("later", "nothing")
		c.locked(func() { c.users[testerID].DeleteAt = 0 })
		check("active again, not in the channel", "duty.officer")
	})
}
