package mattermost

import (
	"cmp"
	"context"
	"fmt"
	"log/slog"
	"maps"
	"math/rand/v2"
	"net/http"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/mattermost/mattermost/server/public/model"

	"benchbell/bot/config"
	"benchbell/bot/engine"
	"benchbell/bot/ledger"
	"benchbell/bot/rehearsal"
	"benchbell/bot/serve"
	"benchbell/core"
	"benchbell/store"
)

// A bench is the demo station at work on the fake server: the program's own
// store, engine, courier and adapter, with nothing replaced but the network.
type bench struct {
	*fake
	t    *testing.T
	cfg  config.Config
	path string // of the store
	log  *logBook
	seen map[string]bool // posts that news has told of
	kill func()          // the program dies
}

// newBench sets up a station whose chat server's clock is ahead of the bot's.
func newBench(t *testing.T, skew time.Duration) *bench {
	t.Helper()
	b := &bench{
		fake: newFake(t), t: t, cfg: rehearsal.Demo(), path: filepath.Join(t.TempDir(), "bench.db"),
		log: &logBook{to: t}, seen: make(map[string]bool),
	}
	b.skew = skew
	register, err := rehearsal.Fleet(b.cfg, nil, b.clock())
	if err != nil {
		t.Fatal(err)
	}
	b.inStore(func(st *store.Store) error { return ledger.Enter(st, b.cfg.Policy, "register", b.clock(), register) })
	b.start()
	return b
}

// inStore uses the store while the program is not running.
func (b *bench) inStore(use func(*store.Store) error) {
	b.t.Helper()
	st, err := store.OpenThrowaway(b.path)
	if err != nil {
		b.t.Fatal(err)
	}
	defer st.Close()
	if err := use(st); err != nil {
		b.t.Fatal(err)
	}
}

// start starts the program on what the store holds. It waits for the server.
func (b *bench) start() {
	ctx, cancel := context.WithCancel(b.t.Context())
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		if err := b.serve(ctx); err != nil && ctx.Err() == nil {
			b.t.Errorf("the program ended with %v", err)
		}
	}()
	b.kill = sync.OnceFunc(func() {
		cancel()
		<-ended
	})
	b.t.Cleanup(b.kill)
}

func (b *bench) serve(ctx context.Context) error {
	st, err := store.OpenThrowaway(b.path)
	if err != nil {
		return err
	}
	defer st.Close()
	log := slog.New(slog.NewTextHandler(b.log, nil))
	srv, err := await(ctx, testConfig, log, b.dial)
	for err != nil && ctx.Err() == nil { // what keeps programs running starts it again
		time.Sleep(time.Second)
		srv, err = await(ctx, testConfig, log, b.dial)
	}
	if err != nil {
		return err
	}
	engine, err := engine.New(st, b.cfg, srv.Name(), log)
	if err != nil {
		return err
	}
	return serve.Run(ctx, serve.Station{Store: st, Engine: engine, Config: b.cfg, Server: srv, Log: log})
}

// clock is the chat server's.
func (b *bench) clock() time.Time { return time.Now().Add(b.skew).UTC() }

// at waits until the server's clock shows a time of this day.
func (b *bench) at(clock string) {
	b.t.Helper()
	want, err := time.Parse(time.DateTime, b.clock().Format(time.DateOnly)+" "+clock)
	if err != nil || want.Before(b.clock()) {
		b.t.Fatalf("it is %v, too late for %q: %v", b.clock(), clock, err)
	}
	time.Sleep(want.Sub(b.clock()))
	synctest.Wait()
}

// A botPost is a post of the bot's as it stands on the server.
type botPost struct {
	id, key, text string
	at            time.Time
}

// posted returns the bot's posts, oldest first.
func (b *bench) posted() (all []botPost) {
	b.locked(func() {
		for _, p := range b.rows {
			if p.UserId == botID && p.OriginalId == "" && p.DeleteAt == 0 && p.Type == "" {
				key, _ := p.GetProp(keyProp).(string)
				all = append(all, botPost{p.Id, key, p.Message, time.UnixMilli(p.CreateAt).UTC()})
			}
		}
	})
	slices.SortStableFunc(all, func(x, y botPost) int { return x.at.Compare(y.at) })
	return all
}

// withKey returns the id of the bot's post with a key.
func (b *bench) withKey(key string) string {
	b.t.Helper()
	for _, p := range b.posted() {
		if p.key == key {
			return p.id
		}
	}
	b.t.Fatalf("at %v there is no post %s", b.clock(), key)
	return ""
}

// await waits until the bot's post with a key shows, and returns its id.
func (b *bench) await(key string) string {
	b.t.Helper()
	for range 10 * 60 * 6 {
		if slices.ContainsFunc(b.posted(), func(p botPost) bool { return p.key == key }) {
			break
		}
		time.Sleep(100 * time.Millisecond)
	}
	return b.withKey(key)
}

// tester says something in the thread of the first run.
func (b *bench) tester(text string) string {
	b.t.Helper()
	return b.says(testerID, crewID, b.withKey("R-0001/card"), text).Id
}

// expect checks what the bot has posted since it was last asked: how each post
// begins, with the server's time to the second.
func (b *bench) expect(want ...string) {
	b.t.Helper()
	synctest.Wait()
	var news []string
	for _, p := range b.posted() {
		if !b.seen[p.id] {
			b.seen[p.id] = true
			text := strings.NewReplacer("*", "", "`", "", "\n", " ").Replace(p.text)
			news = append(news, p.at.Round(time.Second).Format(time.TimeOnly)+" "+text)
		}
	}
	same := len(news) == len(want)
	left := slices.Clone(news)
	for _, text := range want { // what is said at the same moment has no order
		i := slices.IndexFunc(left, func(line string) bool { return strings.HasPrefix(line, text) })
		if i < 0 {
			same = false
			break
		}
		left = slices.Delete(left, i, i+1)
	}
	if !same {
		b.t.Errorf("at %v the bot has posted\n  %s\nwant\n  %s", b.clock(), strings.Join(news, "\n  "), strings.Join(want, "\n  "))
	}
}

// text returns a post of the bot's as it stands now.
func (b *bench) text(key string) (text string) {
	id := b.withKey(key)
	b.locked(func() { text = b.row(id).Message })
	return text
}

// checkInTheEnd stops the program, looks at what must always be so, and returns
// the first run.
func (b *bench) checkInTheEnd() (run core.Run) {
	b.t.Helper()
	b.kill()
	keys := make(map[string]int)
	for _, p := range b.posted() {
		keys[p.key]++
	}
	b.inStore(func(st *store.Store) error {
		entries, err := st.OfRun(1)
		if err != nil {
			return err
		}
		run = core.Replay(entries)
		pending, err := st.Pending()
		if err != nil {
			return err
		}
		parked, err := st.Parked()
		if err != nil {
			return err
		}
		if len(pending)+len(parked) > 0 {
			b.t.Errorf("still to be said: %v; given up: %v", pending, parked)
		}
		for key, n := range keys {
			if _, ok, err := st.PostID(key); n != 1 || !ok || err != nil {
				b.t.Errorf("%s was posted %d times; the store knows of it: %v, %v", key, n, ok, err)
			}
		}
		if _, _, err := st.Verify(); err != nil {
			return err
		}
		return st.Check()
	})
	return run
}

// TestEndToEnd is a run with all that can come between: cut links, events twice
// and out of order, a server that restarts, a program that is killed over the
// bell. The server's clock is three minutes ahead of the bot's.
func TestEndToEnd(t *testing.T) {
	inBubble(t, func(t *testing.T) {
		b := newBench(t, 3*time.Minute)
		b.at("08:30:00")
		b.says(testerID, crewID, "", "@benchbell test HP-07 with M-1")
		synctest.Wait()
		b.expect("08:30:00 HP-07 · R-0001 · prepare", "08:30:00 Prepare HP-07")
		list := b.withKey("R-0001/list/1")

		b.at("08:30:20")
		b.taps(testerID, list, 1)
		b.taps(testerID, list, 2)
		b.at("08:30:30")
		b.unplug()
		b.taps(testerID, list, 3)
		b.untaps(testerID, list, 1)
		b.at("08:30:50")
		b.plugIn()
		b.at("08:31:30") // the pauses between tries are random
		if text := b.text("R-0001/list/1"); !strings.Contains(text, "1 –") || !strings.Contains(text, "2 ✓") || !strings.Contains(text, "3 ✓") || !strings.Contains(text, "4 –") {
			t.Errorf("after taps in a gap the list is\n%s", text)
		}

		// From now on every event comes twice, once later than others.
		b.locked(func() {
			b.shape = func(to *socket, event []byte) {
				to.put(event)
				time.AfterFunc(50*time.Millisecond, func() { to.put(event) })
			}
		})
		b.tester("ok all")
		b.at("08:31:40")
		b.expect("08:31:30 HP-07 · Inflate to 17.5 mbar")

		b.unplug()
		b.at("08:32:00")
		b.tester("17.5")
		b.at("08:32:15")
		b.plugIn()
		b.at("08:33:00")
		b.expectAround("HP-07 · 17.5 mbar. Expansion until 08:42:00.")

		b.at("08:36:00")
		b.expect("08:35:00 HP-07 · Look: post the reading.")
		b.tester("17.3")
		b.at("08:42:30")
		b.expect("08:36:00 HP-07 · 17.3 mbar taken.", "08:39:00 HP-07 · Look", "08:42:00 HP-07 · Expansion is over.")
		b.tester("16.5")

		b.at("08:44:00")
		b.expect("08:42:30 HP-07 · 16.5 mbar. Hold until 08:48:30. Hands off.")
		b.unplug()
		b.restart()
		b.at("08:44:20")
		b.plugIn()
		b.at("08:45:30")
		b.tester("15.8")
		b.at("08:48:20")
		b.expect("08:45:30 HP-07 · 15.8 mbar noted at 3:00 of the hold.", "08:48:00 HP-07 · 30 s left.")

		b.kill()
		b.at("08:50:00")
		b.start()
		b.at("08:50:20")
		b.expect("08:50:00 HP-07 · Bell! Post the ending pressure. This bell is 1 min 30 s late, it was due at 08:48:30.")
		b.tester("14.9 at 6:00")
		b.at("08:50:40")
		b.expect("08:50:20 PASS HP-07 · R-0001", "08:50:20 Unplug and put away HP-07")
		b.locked(func() {
			if i := slices.IndexFunc(b.rows, func(p *model.Post) bool { return strings.HasPrefix(p.Message, "**PASS**") }); len(b.rows[i].FileIds) != 1 {
				t.Errorf("the verdict has %d pictures, want one", len(b.rows[i].FileIds))
			}
		})
		restore := b.withKey("R-0001/list/2")
		for n := 1; n <= 7; n++ {
			b.taps(testerID, restore, n)
		}
		b.at("08:51:00")
		b.expect("08:50:40 HP-07: fit.")

		// The officer, on the way to a call.
		b.says(officerID, b.direct(officerID), "", "can HP-07 go out?")
		b.at("09:30:00")
		b.expect("08:51:00 HP-07: fit")
		run := b.checkInTheEnd()
		if v := run.Verdict; v == nil || v.Outcome != core.Pass || v.Reason != core.OnTime || len(run.Verdicts) != 1 || run.Phase != core.Over {
			t.Errorf("the run is %v with the verdict %+v", run.Phase, v)
		}
	})
}

// TestVerdictWithoutPicture: a server that takes no files does not hold up a
// verdict, and whoever looks for the picture is told.
func TestVerdictWithoutPicture(t *testing.T) {
	inBubble(t, func(t *testing.T) {
		b := newBench(t, 0)
		b.locked(func() {
			b.before = func(w http.ResponseWriter, r *http.Request) bool {
				if r.Method != http.MethodPost || !strings.HasSuffix(r.URL.Path, "/files") {
					return false
				}
				refuse(w, 501, "api.file.attachments.disabled.app_error")
				return true
			}
		})
		b.at("08:30:00")
		b.says(testerID, crewID, "", "@benchbell test HP-07 with M-1")
		synctest.Wait()
		for _, said := range []struct{ at, text string }{{"08:30:10", "ok all"}, {"08:31:00", "17.5"}, {"08:41:00", "16.5"}} {
			b.at(said.at)
			b.tester(said.text)
		}
		b.at("08:44:00")
		b.expectAround("HP-07 · 16.5 mbar. Hold until 08:47:00.")
		b.tester("12.9")
		b.at("08:44:10")
		b.expect("08:44:00 FAIL HP-07 · R-0001 Drop 3.60 ± 0.15 mbar, limit 3.0 mbar. 16.5 mbar → 12.9 mbar in 3:00, M-1. "+
			"93.9 % sure that the true drop is beyond the limit. Beyond the limit 3 min before the bell. HP-07 is blocked: not fit. "+
			"The chat server refused the file R-0001.png, so it is not attached. Ask its administrator. @bench.tester", "08:44:00 Unplug and put away HP-07", "08:44:00 Leak hunt", "08:44:00 HP-07 failed", "08:44:00 HP-07 FAILED")
		if n := b.log.count("a file could not be handed over"); n != 1 {
			t.Errorf("it stands in the log %d times", n)
		}
		b.checkInTheEnd()
	})
}

// expectAround is expect for the last post only, made at any time.
func (b *bench) expectAround(text string) {
	b.t.Helper()
	all := b.posted()
	last := all[len(all)-1]
	if b.seen[last.id] {
		b.t.Errorf("at %v nothing more was posted", b.clock())
		return
	}
	for _, p := range all[:len(all)-1] {
		b.seen[p.id] = true
	}
	b.expect(last.at.Round(time.Second).Format(time.TimeOnly) + " " + text)
}

// TestAnyTrouble has the same conversation in all kinds of weather. The verdict,
// what it rests on and all that is said in answer are the same as on a quiet day.
func TestAnyTrouble(t *testing.T) {
	quiet := weather(t, func(*bench, *squall) {})
	if t.Failed() {
		return
	}
	for seed := range uint64(12) {
		t.Run(strconv.FormatUint(seed, 10), func(t *testing.T) {
			rough := weather(t, func(b *bench, s *squall) {
				s.rnd = rand.New(rand.NewPCG(seed, 1052))
				b.locked(func() { b.shape, b.before, b.loseAnswer = s.shapeEvent, s.failRequest, s.loseSome })
				b.bad(s)
				b.locked(func() { b.shape, b.before, b.loseAnswer = nil, nil, nil })
			})
			for _, key := range slices.Sorted(maps.Keys(quiet)) {
				if rough[key] != quiet[key] {
					t.Errorf("%s is\n%s\nand on a quiet day\n%s", key, rough[key], quiet[key])
				}
				delete(rough, key)
			}
			for key, text := range rough {
				t.Errorf("on a quiet day there is no %s:\n%s", key, text)
			}
		})
	}
}

// bad lets things go wrong until nine, most of them when they hurt.
func (b *bench) bad(s *squall) {
	moments := []string{"08:30:01", "08:30:03", "08:35:00", "08:37:00", "08:40:00", "08:40:30", "08:44:00", "08:50:30", "08:50:40", "08:53:10", "08:55:00", "08:56:40", "08:56:50", "08:58:00"}
	for _, clock := range moments {
		moment, err := time.Parse(time.DateTime, b.clock().Format(time.DateOnly)+" "+clock)
		if err != nil {
			b.t.Error(err)
		}
		before := time.Duration(s.roll(3000)) * time.Millisecond
		if s.chance(2) {
			before *= 10
		}
		wait := moment.Sub(b.clock()) - before
		if wait < 0 || s.chance(3) {
			continue
		}
		time.Sleep(wait)
		b.trouble(s)
	}
}

// trouble is something that goes wrong for a while.
func (b *bench) trouble(s *squall) {
	span := time.Duration(1+s.roll(45)) * time.Second
	switch s.roll(6) {
	case 0:
		b.cut()
	case 1:
		b.unplug()
		time.Sleep(span)
		b.plugIn()
	case 2:
		b.dieAfterPosting(s, span)
	case 3:
		b.swallow()
		time.Sleep(span)
		b.plugIn()
	case 4:
		b.unplug()
		b.restart()
		time.Sleep(span)
		b.plugIn()
	default:
		b.kill()
		time.Sleep(span)
		b.start()
	}
}

// dieAfterPosting lets the program die, if it posts within span, before it
// learns that it did, and be away for longer than the server knows a repeat.
func (b *bench) dieAfterPosting(s *squall, span time.Duration) {
	posted := make(chan struct{})
	now := sync.OnceFunc(func() { close(posted) })
	b.locked(func() {
		b.loseAnswer = func(r *http.Request) bool {
			if r.Method != http.MethodPost || !strings.HasSuffix(r.URL.Path, "/posts") {
				return false
			}
			now()
			b.locked(func() { b.loseAnswer = s.loseSome })
			return true
		}
	})
	select {
	case <-posted:
	case <-time.After(span):
	}
	b.kill()
	b.locked(func() { b.loseAnswer = s.loseSome })
	time.Sleep(memory + time.Second)
	b.start()
}

// weather has the conversation while bad happens to it, and returns what came
// of it: what was said in answer, by what it answers, and what is on record.
func weather(t *testing.T, bad func(*bench, *squall)) (came map[string]string) {
	inBubble(t, func(t *testing.T) {
		b := newBench(t, -time.Minute)
		b.at("08:30:00")
		ended := make(chan struct{})
		go func() {
			defer close(ended)
			bad(b, &squall{crew: &crew{fake: b.fake, t: t}})
		}()

		label := make(map[string]string) // of events, by the id of their post
		says := func(who, channel, root, text string) string {
			id := b.says(who, channel, root, text).Id
			label[id] = fmt.Sprintf("%q", text)
			return id
		}
		tester := func(text string) string { return says(testerID, crewID, b.withKey("R-0001/card"), text) }
		says(testerID, crewID, "", "@benchbell test HP-07 with M-1")
		// A quick hand replies to the card, and taps the list, as soon as it shows.
		b.await("R-0001/card")
		label[tester("ok 5")] = "" // refused, if the list has not reached the chat yet
		time.Sleep(time.Second)
		list := b.await("R-0001/list/1")
		b.taps(testerID, list, 1)
		b.at("08:37:10")
		b.taps(testerID, list, 2)
		b.at("08:37:30")
		b.untaps(testerID, list, 1)
		b.at("08:40:00")
		tester("ok all")
		b.at("08:40:30")
		tester("17.5")
		b.at("08:44:00")
		tester("17.4")
		b.at("08:50:40")
		tester("16.5")
		b.at("08:53:00")
		slip := tester("15.9x")
		label[slip] = "" // answered in one way or in two, see below
		b.at("08:53:20")
		b.edits(slip, "15.9")
		b.at("08:56:50")
		tester("15.0")
		b.at("08:58:00")
		tester("note all well")
		b.at("09:00:00")
		tester("ok 1")
		tester("ok 2")
		tester("ok all")
		b.at("09:10:00")
		says(officerID, crewID, "", "@benchbell HP-07")
		<-ended
		time.Sleep(30 * time.Minute)
		synctest.Wait()

		run := b.checkInTheEnd()
		came = map[string]string{"verdict": fmt.Sprintf("%+v", run.Verdict), "phase": string(run.Phase)}
		// A post that was edited before it was read is read as edited: one answer
		// fewer. What was read is the same.
		for _, r := range run.Readings {
			came[fmt.Sprint("reading ", r.N)] = fmt.Sprint(r.Written, " at ", r.Taken)
		}
		came["verdict"] = strings.ReplaceAll(came["verdict"], slip, "slip")
		for id, name := range label {
			came["verdict"] = strings.ReplaceAll(came["verdict"], id, cmp.Or(name, "slip"))
		}
		bells := make(map[string]int)
		for _, p := range b.posted() {
			event, n, _ := cutLast(strings.TrimPrefix(p.key, "R-0001/"), "/")
			id, _, _ := strings.Cut(event, "@")
			name, known := label[id]
			switch {
			case strings.HasPrefix(p.key, "R-0001/wake/R-0001/"):
				b.checkBell(p, bells)
			case !known && strings.HasPrefix(p.key, "R-0001/"):
				came[p.key] = p.text
			case known && name != "":
				came[name+" "+n] = p.text
			case !known:
				t.Errorf("%s at %v is no answer and no bell:\n%s", p.key, p.at, p.text)
			}
		}
		for _, bell := range []string{"**Expansion is over.**", "**Bell!", "s left.**"} {
			if bells[bell] > 1 {
				t.Errorf("%s rang %d times", bell, bells[bell])
			}
		}
	})
	return came
}

func cutLast(s, sep string) (before, after string, found bool) {
	i := strings.LastIndex(s, sep)
	if i < 0 {
		return s, "", false
	}
	return s[:i], s[i+len(sep):], true
}

// checkBell checks that a bell did not ring early, and says so if it rang late.
func (b *bench) checkBell(p botPost, bells map[string]int) {
	b.t.Helper()
	for _, bell := range []string{"**Expansion is over.**", "**Bell!", "s left.**"} {
		if strings.Contains(p.text, bell) {
			bells[bell]++
		}
	}
	parts := strings.Split(strings.TrimPrefix(p.key, "R-0001/"), "/") // wake/R-0001/due/now/number
	due, err1 := strconv.ParseInt(parts[2], 10, 64)
	now, err2 := strconv.ParseInt(parts[3], 10, 64)
	if err1 != nil || err2 != nil || now < due || p.at.UnixNano() < due-int64(time.Millisecond) {
		b.t.Errorf("%s was posted at %v, before its time:\n%s", p.key, p.at, p.text)
	}
	if late := time.Duration(now - due); late < 5*time.Second && strings.Contains(p.text, " late,") {
		b.t.Errorf("%s is not late:\n%s", p.key, p.text)
	}
}
