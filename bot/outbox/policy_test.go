package outbox

import (
	"errors"
	"fmt"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"benchbell/bot/chat"
	"benchbell/bot/chattest"
	"benchbell/store"
)

// ofClass returns a message of each class, in the thread of a run.
func ofClass(c class) store.Out {
	o := reply(1, "x", "x")
	o.Fallback = "tester"
	switch c {
	case bell:
		o.Class = store.Bell
	case verdict:
		o.Class, o.Key = store.Verdict, chat.VerdictKey(1, 1)
	case card:
		o = newCard(1, "x")
		o.Class, o.Fallback = store.Card, "tester"
	case list:
		o.Class = store.List
	case notice:
		o.Class = store.Notice
	case edit:
		return newEdit(1, "x")
	case taps:
		o.Class, o.Offer = store.List, 3
	}
	o.File, o.FileName = []byte("png"), "x.png"
	return o
}

// callOf returns how the call of a class begins that is to fail.
func callOf(c class, o store.Out) string {
	switch c {
	case edit:
		return "edit"
	case taps:
		return "offer"
	}
	return "post " + o.Key
}

// fate says what became of a message that failed for a while, from the board
// and the store.
func (r *round) fate(o store.Out) string {
	r.t.Helper()
	var says []string
	r.board.Set(func() {
		root := ""
		for _, p := range r.board.Posts {
			if p.Key == chat.CardKey(1) {
				root = p.Id
			}
		}
		for _, p := range r.board.Posts {
			if p.Key != o.Key && p.Key != o.Key+"/direct" || o.Kind == store.Edit {
				continue
			}
			switch {
			case p.To.Person != "":
				says = append(says, "direct")
			case p.To.Root != "" && p.To.Root == root:
				says = append(says, "thread")
			default:
				says = append(says, "channel")
			}
			if strings.Contains(p.Text, "x.png") {
				says = append(says, "bare")
			}
		}
	})
	pending, err := r.store.Pending()
	if err != nil {
		r.t.Fatal(err)
	}
	for _, p := range pending {
		if p.Key == o.Key && p.Target == o.Target || o.Key != "" && p.Target == o.Key {
			says = append(says, "pending")
		}
	}
	parked, err := r.store.Parked()
	if err != nil {
		r.t.Fatal(err)
	}
	if len(parked) > 0 {
		says = append(says, "parked")
	}
	if len(says) == 0 {
		return "dropped"
	}
	return strings.Join(says, ", ")
}

// TestPolicy walks the whole table: each class of message fails with each
// outcome, said by each origin, while everything else works, and it is looked
// after a moment and after two and a half minutes what became of it. Of a
// failure of the thread, or of a file, only what goes there fails.
func TestPolicy(t *testing.T) {
	const (
		waits   = "pending | pending"
		leads   = "pending | direct"
		strayed = "pending | channel"
		detour  = "direct | direct"
		channel = "channel | channel"
		bare    = "thread, bare | thread, bare"
		hands   = "pending | thread, bare"
		parked  = "parked | parked"
		dropped = "dropped | dropped"
		offers  = "thread, pending | thread, pending"
		there   = "thread | thread"
		copied  = "direct, pending | direct, pending"
		copies  = "pending | direct, pending"
		card0   = "channel, bare | channel, bare"
	)
	server := [classes][outcomesCount]string{
		//         later  shut    thread   post     file     refused  never
		bell:    {leads, leads, channel, detour, bare, bare, detour},
		verdict: {leads, leads, channel, detour, hands, bare, detour},
		card:    {copies, copies, channel, copied, card0, card0, copied},
		list:    {waits, waits, channel, parked, hands, bare, parked},
		answer:  {waits, waits, channel, parked, hands, bare, parked},
		notice:  {waits, waits, channel, parked, hands, bare, parked},
		edit:    {waits, waits, dropped, dropped, parked, parked, parked},
		taps:    {offers, offers, there, there, there, there, there},
	}
	others := [classes][2]string{
		//        anything  a file
		bell:    {leads, bare}, // if a proxy answers; else it waits: nothing else gets through
		verdict: {leads, hands},
		card:    {waits, card0},
		list:    {waits, hands},
		answer:  {waits, hands},
		notice:  {waits, hands},
		edit:    {waits, waits},
		taps:    {offers, offers},
	}
	for c := range classes {
		for what := range chat.Outcome(outcomesCount) {
			for _, by := range []chat.Origin{chat.ByNobody, chat.ByProxy, chat.ByServer} {
				want := server[c][what]
				if by != chat.ByServer {
					want = others[c][0]
					if what == chat.FileTrouble || what == chat.FileRefused {
						want = others[c][1]
					}
					switch {
					case want == leads && by == chat.ByNobody:
						want = waits
					case want == leads && what == chat.ThreadGone: // only there
						want = strayed
					}
				}
				if c == card && what == chat.ThreadGone { // it is in none
					want = channel
				}
				t.Run(fmt.Sprintf("%v/%v/%v", c, what, by), func(t *testing.T) {
					inRound(t, func(r *round) {
						if got := r.follow(c, what, by, time.Second, 150*time.Second); got != want {
							t.Errorf("its fate is %q, want %q", got, want)
						}
					})
				})
			}
		}
	}
}

// refuses has the board refuse, for a proxy or for nobody, what has one of some
// words in its key and does not go to a person.
func (r *round) refuses(by chat.Origin, within bool, keys ...string) {
	r.board.Set(func() {
		r.board.Fault = func(c chattest.Call) error {
			for _, key := range keys {
				if strings.HasPrefix(c.What, "post "+key) && c.To.Person == "" && (c.To.Root != "" || !within) {
					return &chat.SendError{Err: errors.New("no"), Outcome: chat.Later, By: by}
				}
			}
			return nil
		}
	})
}

// TestStrays: a bell or a verdict that alone does not get through, whoever
// refuses it, is led another way after two minutes, is said once, and is tried
// in its thread as well all the while.
func TestStrays(t *testing.T) {
	for _, by := range []chat.Origin{chat.ByNobody, chat.ByProxy} {
		for _, c := range []class{bell, verdict} {
			for _, within := range []bool{true, false} {
				t.Run(fmt.Sprint(c, by, within), func(t *testing.T) {
					inRound(t, func(r *round) {
						o := ofClass(c)
						r.sends(newCard(1, "card"), newCard(2, "card 2"))
						r.refuses(by, within, o.Key)
						r.sends(o)
						time.Sleep(time.Minute)
						r.sends(reply(2, "other", "other"))
						time.Sleep(time.Minute - 1)
						r.expect("card", "card 2", "other")
						time.Sleep(retryAside)
						want := chat.To{Person: "tester"}
						if within {
							want = chat.To{}
						}
						if to := r.post("x").To; to != want {
							t.Errorf("it went to %+v, want %+v", to, want)
						}
						r.refuses(by, within)
						time.Sleep(time.Hour)
						r.expect("card", "card 2", "other", "x")
						if n := r.pending(); n != 0 {
							t.Errorf("%d are still in the outbox", n)
						}
					})
				})
			}
		}
	}
}

// TestStraysBack: what no way takes is tried in its thread again and again, and
// is said there after an outage.
func TestStraysBack(t *testing.T) {
	for _, by := range []chat.Origin{chat.ByNobody, chat.ByProxy} {
		inRound(t, func(r *round) {
			r.sends(newCard(1, "card"), newCard(2, "card 2"))
			root := r.post("card").Id
			r.board.Set(func() {
				r.board.Fault = chattest.Only("post", &chat.SendError{Err: errors.New("no"), By: by})
			})
			r.sends(newBell(1, "b", "bell"), newCard(3, "card 3"), reply(3, "c", "answer 3"))
			time.Sleep(time.Hour)
			r.board.Set(func() { r.board.Fault = nil })
			time.Sleep(retryAside)
			r.expect("card", "card 2", "card 3", "bell", "answer 3")
			if to := r.post("bell").To; to.Root != root {
				t.Errorf("by %v: it went to %+v", by, to)
			}
			if to := r.post("answer 3").To; to.Root != r.post("card 3").Id {
				t.Errorf("by %v: the answer went to %+v", by, to)
			}
		})
	}
}

// TestCardLags: a card that alone does not get through holds up nothing for
// longer than two minutes, and a copy of it is told directly. While nothing
// gets through its lane waits for it.
func TestCardLags(t *testing.T) {
	for _, by := range []chat.Origin{chat.ByNobody, chat.ByProxy} {
		inRound(t, func(r *round) {
			card := newCard(1, "card")
			card.Class, card.Fallback = store.Card, "tester"
			r.refuses(by, false, card.Key)
			r.sends(card, reply(1, "a", "answer"))
			time.Sleep(10 * time.Minute)
			r.expect()
			r.sends(newCard(2, "card 2"))
			time.Sleep(retryAside)
			r.expect("card 2", "card", "answer")
			if to := r.post("card").To; to != (chat.To{Person: "tester"}) {
				t.Errorf("the copy went to %+v", to)
			}
			time.Sleep(time.Hour)
			r.refuses(by, false)
			time.Sleep(retryAside)
			r.expect("card 2", "card", "answer", "card")
			if n := r.pending(); n != 0 {
				t.Errorf("%d are still in the outbox", n)
			}
		})
	}
}

// TestOneCopy: the copy of a card that is refused is told directly once, also if
// the answer to it is lost, and if the program is started anew.
func TestOneCopy(t *testing.T) {
	inRound(t, func(r *round) {
		card := newCard(1, "card")
		card.Class, card.Fallback = store.Card, "tester"
		lost := false
		r.board.Set(func() {
			r.board.Fault = func(c chattest.Call) error {
				if c.To.Person == "" {
					return chattest.Never
				}
				return nil
			}
			r.board.After = func(chattest.Call) error {
				if lost = !lost; lost {
					return &chat.SendError{Err: errors.New("cut off")}
				}
				return nil
			}
		})
		r.sends(card)
		time.Sleep(time.Hour)
		r.expect("card")
		r.stop()
		r.reopen()
		time.Sleep(time.Hour)
		r.expect("card")
		if n := len(r.board.Called("post " + card.Key + "/direct")); n < 3 {
			t.Errorf("the copy was tried %d times", n)
		}
	})
}

// TestNobodyPutsAside: whatever a proxy or nobody says, and for however long,
// puts nothing aside, and nothing is dropped for it but taps. Bells, verdicts
// and cards are not given up whoever says it.
func TestNobodyPutsAside(t *testing.T) {
	for c := range classes {
		for what := range chat.Outcome(outcomesCount) {
			for _, by := range []chat.Origin{chat.ByNobody, chat.ByProxy, chat.ByServer} {
				do := ruleFor(c, what, by).at(1000*time.Hour, 1000)
				given := do == putAside || do == drop || do == dropAsk
				if given && (by != chat.ByServer || c <= card) && c != taps {
					t.Errorf("%v, %v by %v: %v in the end", c, what, by, do)
				}
			}
		}
	}
}

// TestDayWithout: what the server refuses for a day is put aside; what does not
// get through to it for a day is not.
func TestDayWithout(t *testing.T) {
	for by, want := range map[chat.Origin]string{
		chat.ByServer: "pending | parked", chat.ByProxy: "pending | pending", chat.ByNobody: "pending | pending",
	} {
		inRound(t, func(r *round) {
			if got := r.follow(list, chat.Later, by, 23*time.Hour, 2*time.Hour); got != want {
				t.Errorf("said by %v, its fate is %q, want %q", by, got, want)
			}
			if n := r.log.Count("put aside"); by == chat.ByServer && n != 1 {
				t.Errorf("it stands in the log %d times", n)
			}
		})
	}
}

// follow has a message of a class fail, and returns its fates after each of some
// times.
func (r *round) follow(c class, what chat.Outcome, by chat.Origin, after ...time.Duration) string {
	o := ofClass(c)
	if c == taps || c == edit {
		o.File, o.FileName = nil, ""
	}
	fault := &chat.SendError{Err: errors.New("no"), Outcome: what, By: by}
	call := callOf(c, o)
	if c != card {
		r.sends(newCard(1, "card"))
	}
	r.board.Set(func() {
		r.board.Fault = func(now chattest.Call) error {
			switch {
			case !strings.HasPrefix(now.What, call) || strings.HasSuffix(now.What, "/direct"):
			case (what == chat.FileTrouble || what == chat.FileRefused) && now.File == "" && c != edit && c != taps:
			case now.To.Person != "":
			case what == chat.ThreadGone && now.To.Root == "" && c != edit && c != taps:
			default:
				return fault
			}
			return nil
		}
	})
	r.sends(o)
	var fates []string
	for _, d := range after {
		time.Sleep(d)
		synctest.Wait()
		fates = append(fates, r.fate(o))
	}
	return strings.Join(fates, " | ")
}
