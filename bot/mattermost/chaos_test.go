package mattermost

import (
	"errors"
	"fmt"
	"maps"
	"math/rand/v2"
	"net/http"
	"slices"
	"strconv"
	"testing"
	"testing/synctest"
	"time"

	"github.com/mattermost/mattermost/server/public/model"

	"benchbell/bot/chat"
)

// TestNothingIsLost lets people talk for a few hours while connections break,
// events come twice, late or not at all, requests fail, the engine balks, the
// server restarts and the bot crashes. In the end the engine must have heard every
// deletion, and every post that stands, with its last text, and after each gap in the order of the
// server's moments; and each of the bot's posts must be there once.
func TestNothingIsLost(t *testing.T) {
	for seed := range uint64(8) {
		t.Run(strconv.FormatUint(seed, 10), func(t *testing.T) {
			inBubble(t, func(t *testing.T) { storm(t, rand.New(rand.NewPCG(seed, 943))) })
		})
	}
}

// A squall is what goes wrong during a storm.
type squall struct {
	*crew
	rnd      *rand.Rand // behind the fake's lock
	text     map[string]string
	gone     map[string]bool         // posts that were deleted
	standing map[string]map[int]bool // the tester's taps, by post
	sent     []chat.Message
}

func storm(t *testing.T, rnd *rand.Rand) {
	s := &squall{crew: newCrew(t), rnd: rnd, text: make(map[string]string), gone: make(map[string]bool), standing: make(map[string]map[int]bool)}
	s.locked(func() { s.shape, s.before, s.loseAnswer = s.shapeEvent, s.failRequest, s.loseSome })
	s.book.refuse = func(chat.Event) error {
		if s.chance(50) {
			return errors.New("the engine balks")
		}
		return nil
	}
	rooms := []string{crewID, crewID, crewID, s.direct(testerID)}
	var posts []*model.Post
	for range 400 {
		time.Sleep(time.Duration(s.roll(20_000)) * time.Millisecond)
		switch s.roll(20) {
		case 0:
			s.trouble()
		case 5:
			if n := len(posts); n > 0 {
				i := s.roll(n)
				s.deletes(posts[i].Id)
				s.gone[posts[i].Id] = true
				delete(s.text, posts[i].Id)
				posts = slices.Delete(posts, i, i+1)
			}
		case 1:
			if len(posts) > 0 {
				p := posts[s.roll(len(posts))]
				s.text[p.Id] += "!"
				s.edits(p.Id, s.text[p.Id])
			}
		case 2:
			s.tap()
		case 3:
			s.botPosts()
		case 4:
			p := s.saysSlowly(testerID, crewID, "slow", time.Duration(s.roll(60))*time.Second)
			s.text[p.Id] = "slow"
		default:
			for range 1 + s.roll(4) { // often several in one millisecond
				text := fmt.Sprint("post ", len(posts), " of ", len(s.text))
				p := s.says(testerID, rooms[s.roll(len(rooms))], "", text)
				s.text[p.Id] = text
				posts = append(posts, p)
			}
		}
	}
	s.calm()
	s.check()
}

func (s *squall) roll(n int) (k int) {
	s.locked(func() { k = s.rnd.IntN(n) })
	return k
}

// chance is true one time in n.
func (s *squall) chance(n int) bool { return s.roll(n) == 0 }

// shapeEvent is called with the lock held.
func (s *squall) shapeEvent(to *socket, event []byte) {
	switch s.rnd.IntN(20) {
	case 0, 1:
		to.put(event)
		to.put(event)
	case 2, 3, 4:
		time.AfterFunc(time.Duration(s.rnd.IntN(40))*time.Millisecond, func() { to.put(event) })
	case 5:
		if s.rnd.IntN(10) == 0 {
			to.close() // its queue was full
		} else {
			to.put(event)
		}
	default:
		to.put(event)
	}
}

func (s *squall) failRequest(w http.ResponseWriter, _ *http.Request) bool {
	if !s.chance(40) {
		return false
	}
	switch s.roll(4) {
	case 0:
		sayHTML(w, 502)
	case 1:
		w.Write([]byte("{}"))
	case 2:
		limited(w)
	default:
		panic(http.ErrAbortHandler)
	}
	return true
}

func (s *squall) loseSome(*http.Request) bool { return s.chance(60) }

func (s *squall) trouble() {
	switch s.roll(5) {
	case 0:
		s.cut()
	case 1:
		s.unplug()
		s.talkFor(s.roll(40))
		s.plugIn()
	case 2:
		s.swallow()
		s.talkFor(s.roll(40))
		s.plugIn()
	case 3:
		s.unplug()
		s.restart()
		time.Sleep(3 * time.Second)
		s.plugIn()
	default:
		s.stop()
		s.talkFor(s.roll(100))
		for { // Open fails, too
			server, err := open(s.t.Context(), testConfig, s.bot.log, s.dial)
			if err == nil {
				s.bot = server
				break
			}
			time.Sleep(time.Second)
		}
		s.run(s.bot)
	}
}

func (s *squall) talkFor(posts int) {
	for i := range posts {
		time.Sleep(time.Duration(s.roll(30_000)) * time.Millisecond)
		p := s.says(testerID, crewID, "", fmt.Sprint("meanwhile ", i))
		s.text[p.Id] = p.Message
	}
}

func (s *squall) botPosts() {
	m := chat.Message{Key: fmt.Sprint("key ", len(s.sent)), Text: fmt.Sprint("bot ", len(s.sent))}
	s.sent = append(s.sent, m)
	if id, err := s.deliver(m); err != nil {
		s.t.Errorf("not delivered: %v", err)
	} else {
		s.standing[id] = make(map[int]bool)
		for s.bot.Offer(s.t.Context(), id, 5) != nil {
			time.Sleep(time.Second)
		}
	}
}

func (s *squall) tap() {
	for _, id := range slices.Sorted(maps.Keys(s.standing)) {
		time.Sleep(time.Millisecond)
		if n := 1 + s.roll(5); s.standing[id][n] {
			s.untaps(testerID, id, n)
			delete(s.standing[id], n)
		} else {
			s.taps(testerID, id, n)
			s.standing[id][n] = true
		}
	}
}

// calm ends all trouble and lets the bot catch up once more.
func (s *squall) calm() {
	s.locked(func() { s.shape, s.before, s.loseAnswer = nil, nil, nil })
	time.Sleep(10 * time.Minute)
	s.unplug()
	s.talkFor(50)
	s.plugIn()
	time.Sleep(10 * time.Minute)
	synctest.Wait()
}

func (s *squall) check() {
	heard, deleted := make(map[string]string), make(map[string]bool)
	taps := make(map[string]map[int]bool)
	var gap []chat.Event
	linked := true
	for _, e := range s.book.events {
		switch what := e.What.(type) {
		case chat.Said:
			heard[what.Post] = what.Text
			if !linked {
				gap = append(gap, e)
			}
		case chat.Edited:
			heard[what.Post] = what.Text
		case chat.Deleted:
			if deleted[what.Post] || !s.gone[what.Post] {
				s.t.Errorf("the deletion of %s was heard twice, or did not happen", what.Post)
			}
			deleted[what.Post] = true
		case chat.Tapped:
			if taps[what.Post] == nil {
				taps[what.Post] = make(map[int]bool)
			}
			taps[what.Post][what.N] = what.On
		case chat.TapsNow:
			taps[what.Post] = make(map[int]bool)
			for _, tap := range what.Taps {
				taps[what.Post][tap.N] = true
			}
		case chat.Lost:
			linked, gap = false, nil
		case chat.CaughtUp:
			linked = true
		}
	}
	if len(gap) != 50 || !inOrder(gap) {
		s.t.Error("after the last gap the posts came out of order")
	}
	for id, text := range s.text {
		if got, ok := heard[id]; !ok || got != text {
			s.t.Errorf("post %s %q was heard as %q", id, text, got)
		}
	}
	for id := range s.gone { // whether it was heard before is left to chance
		delete(heard, id)
		if !deleted[id] {
			s.t.Errorf("the deletion of %s was not heard", id)
		}
	}
	if len(heard) != len(s.text) {
		s.t.Errorf("%d posts were heard of %d", len(heard), len(s.text))
	}
	for id, numbers := range s.standing {
		for n := range 6 {
			if taps[id][n] != numbers[n] {
				s.t.Errorf("post %s: number %d stands tapped: %v, heard %v", id, n, numbers[n], taps[id][n])
			}
		}
	}
	var want []string
	for _, m := range s.sent {
		want = append(want, m.Text)
	}
	s.expectPosts(want...)
}
