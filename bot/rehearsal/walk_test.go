package rehearsal

import (
	"cmp"
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"log/slog"
	"maps"
	"os"
	"path/filepath"
	"reflect"
	"runtime"
	"runtime/debug"
	"slices"
	"strings"
	"sync"
	"testing"

	"pgregory.net/rapid"

	"benchbell/bot/chat"
	"benchbell/bot/config"
	"benchbell/commands"
	"benchbell/core"
	"benchbell/store"
	"benchbell/store/storetest"
)

var (
	walks = flag.Int("walks", 500, "random walks that the model of \"may be worn\" is held against")
	finds = flag.String("finds", "", "folder for all that the walks find: each is shrunk, and the walks go on")
)

// unclosed keeps what is in an engine over a restart.
type unclosed struct{ store.Engine }

func (unclosed) Close() error { return nil }

// A walk is a rehearsal and the worlds that the same lines lead the model to.
type walk struct {
	*Rehearsal
	worlds []world
	script []string
	runs   []int
	files  map[string][]string // attached to a person's next post
	seen   map[string]int      // what the walk came to
	suits  map[string]core.File
	read   uint64 // entries of the journal that suits holds
	fault  string
	lost   bool // there were too many worlds
}

// walkRegister is the register of a walk: two suits with their last test, and
// all manometers.
func walkRegister(tb testing.TB, cfg config.Config) []core.Entry {
	all, err := Fleet(cfg, nil, Start(cfg))
	if err != nil {
		tb.Fatal(err)
	}
	return slices.DeleteFunc(all, func(e core.Entry) bool {
		paper, isPaper := e.Fact.(core.PaperTest)
		return e.Suit != "" && e.Suit != "HP-07" && e.Suit != "HP-08" || isPaper && paper.Day.Year < 2025
	})
}

func newWalk(cfg config.Config, register []core.Entry, folder string) (*walk, error) {
	engine := unclosed{storetest.Memory()}
	r := &Rehearsal{
		Folder: folder, cfg: cfg, plain: true, log: slog.New(slog.DiscardHandler),
		keeps: func() (*store.Store, error) { return store.New(engine) },
		stage: newStage(io.Discard, cfg.Policy.Zone, People...),
		in:    make(map[string]core.RunID), with: make(map[string][]chat.File),
	}
	w := &walk{Rehearsal: r, worlds: []world{newWorld(cfg.Policy.Zone)}, files: make(map[string][]string), seen: make(map[string]int), suits: make(map[string]core.File)}
	if err := r.begin(slices.Clone(register), Start(cfg)); err != nil {
		return nil, err
	}
	return w, w.catchUp()
}

// String keeps a failure from printing all that a walk holds.
func (w *walk) GoString() string { return fmt.Sprintf("of %d lines", len(w.script)) }

// line plays a line of a script and tells the model of it. A line that cannot
// be played where it stands is left out.
func (w *walk) line(text string) {
	if w.fault != "" {
		return
	}
	do, err := parseStep(text)
	if err != nil || do == nil {
		return
	}
	m := move{}
	switch do := do.(type) {
	case stepPost:
		words, mentioned := commands.WithoutMention(do.words, stageBot)
		m = move{who: do.who, words: words, post: len(w.stage.posts) + 1, run: int(do.run), files: w.files[do.who]}
		if do.run == 0 && !mentioned && !do.direct {
			m.run = int(w.runOf(do.who))
		}
	case stepEdit:
		for i, p := range slices.Backward(w.stage.posts) {
			if p.by == do.who {
				words, _ := commands.WithoutMention(do.words, stageBot)
				m = move{who: do.who, words: words, post: i + 1, edit: true, run: w.runIn(p.where.Root)}
				break
			}
		}
	case stepTap:
		m = move{who: do.who, run: int(w.runOf(do.who)), item: do.n, tap: 1}
		if !do.on {
			m.tap = -1
		}
	case stepAttach:
		if err := paperFile(w.Folder, do.path); err != nil {
			return
		}
	}
	known := maps.Clone(w.engine.Memory().Bench.Runs)
	barred := len(w.suits["HP-07"].Bars)
	if err := w.step(context.Background(), step{text: text, do: do}); err != nil {
		if errors.Is(err, context.Canceled) {
			w.fault = err.Error()
		}
		return
	}
	w.script = append(w.script, text)
	if a, ok := do.(stepAttach); ok {
		w.files[a.who] = append(w.files[a.who], a.path)
		return
	}
	for id := range w.engine.Memory().Bench.Runs {
		if _, ok := known[id]; !ok {
			m.opens = int(id)
			w.runs = append(w.runs, int(id))
		}
	}
	m.at = w.stage.now
	if verb, _, _ := strings.Cut(m.words, " "); m.edit {
		w.seen["says edit"]++
	} else if slices.Contains([]string{"again", "fix", "bad", "import", "repaired", "cause", "release", "reinstate", "air", "baro", "stop"}, verb) {
		w.seen["says "+verb]++
	}
	if m.who != "" {
		if m.tap == 0 && !m.edit {
			delete(w.files, m.who)
		}
		if err := w.catchUp(); err != nil {
			w.fault = err.Error()
		}
		m.half, m.unread = len(w.suits["HP-07"].Bars) > barred, w.down
		var next []world
		for _, one := range w.worlds {
			next = append(next, one.hear(m, w.stage.zone)...)
		}
		w.worlds = next
		w.thin()
	}
	if _, up := do.(stepUp); up { // what it says then was true when it was asked
		w.stage.said = nil
	}
	w.compare()
}

// thin leaves one of worlds that are alike.
func (w *walk) thin() {
	const most = 40
	if len(w.worlds) == 1 {
		return
	}
	var kept []world
	for _, one := range w.worlds {
		if !slices.ContainsFunc(kept, func(k world) bool {
			return reflect.DeepEqual(k.runs, one.runs) && reflect.DeepEqual(k.facts, one.facts)
		}) {
			kept = append(kept, one)
		}
	}
	w.worlds = kept[:min(len(kept), most)]
	if len(kept) > most { // the one that the program is in may be left out: nothing more is asked
		w.seen["too many worlds"]++
		w.lost = true
	}
}

// runIn is the run whose thread begins with a post.
func (w *walk) runIn(root string) int {
	for _, id := range w.runs {
		if p := w.stage.rootOf(core.RunID(id)); p != nil && p.id == root {
			return id
		}
	}
	return 0
}

// catchUp reads what is new in the journal: a suit's file is what the program
// answers from when it is asked whether the suit may be worn.
func (w *walk) catchUp() error {
	if w.down {
		return nil
	}
	for e, err := range w.store.Entries(w.read + 1) {
		if err != nil {
			return err
		}
		w.read++
		if e.Suit != "" {
			w.suits[e.Suit] = w.suits[e.Suit].Apply(e)
		}
	}
	return nil
}

// compare is the property: what the program calls fit, the model does.
func (w *walk) compare() {
	if err := w.catchUp(); err != nil {
		w.fault = err.Error()
		return
	}
	if w.lost {
		return
	}
	for _, tag := range []string{"HP-07", "HP-08"} {
		fit := slices.ContainsFunc(w.stage.said, func(s saying) bool { return strings.Contains(s.text, strings.ToLower(tag)+": fit") })
		if !w.down {
			fit = fit || w.suits[tag].Standing(w.cfg.Policy, w.engine.Memory().Bench.Day(w.stage.now)).Wearable()
		}
		var why []string
		for _, one := range w.worlds {
			ok, not := one.wearable(tag, w.stage.now, w.stage.zone)
			if ok {
				why = nil
				if !fit && !w.down {
					w.seen["the model alone says fit"]++
				}
				break
			}
			why = append(why, not)
		}
		if fit && len(why) > 0 {
			slices.Sort(why)
			w.fault = fmt.Sprintf("the program says that %s is fit; it is not: %s", tag, strings.Join(slices.Compact(why), ", or "))
		}
	}
	for _, s := range w.stage.said {
		for _, word := range []string{"pass ", "fail ", "no verdict", ": fit", "not taken", "taken back", "stopped", "closed", "changes the verdict", "mbar → ", "was pass", "was fail", "expansion until", "hold until"} {
			if strings.Contains(s.text, word) {
				w.seen[word]++
			}
		}
	}
}

// paperFile writes a test on paper, "2025-12-01_HP-07_f1052_M-2_100mm_85mm_4.csv",
// into a file of that name.
func paperFile(folder, name string) error {
	path := filepath.Join(folder, name)
	if _, err := os.Stat(path); err == nil {
		return nil
	}
	f := strings.Split(strings.TrimSuffix(name, ".csv"), "_")
	if len(f) != 7 {
		return fmt.Errorf("%q is no test on paper", name)
	}
	f = append(f, "former.tester")
	return os.WriteFile(path, []byte("date,suit,method,manometer,start,end,minutes,tester\n"+strings.Join(f, ",")+"\n"), 0o644)
}

// replay plays a script anew.
func replay(cfg config.Config, register []core.Entry, folder string, script []string) (*walk, error) {
	w, err := newWalk(cfg, register, folder)
	if err != nil {
		return nil, err
	}
	for _, line := range script {
		w.line(line)
	}
	return w, nil
}

// shrink leaves out of a script what the fault does not need: runs, then lines.
func shrink(script []string, faulty func([]string) bool) []string {
	for before := 0; before != len(script); {
		before = len(script)
		for run := 1; run <= 20; run++ {
			if without := withoutRun(script, run); len(without) < len(script) && faulty(without) {
				script, run = without, run-1
			}
		}
		for size := max(len(script)/2, 1); size > 0; size /= 2 {
			for from := 0; from < len(script); {
				without := slices.Concat(script[:from], script[min(from+size, len(script)):])
				if faulty(without) {
					script = without
					continue
				}
				from += size
			}
		}
	}
	return script
}

// withoutRun leaves out the run of a number; later ones move up.
func withoutRun(script []string, run int) (without []string) {
	opened := 0
	for _, line := range script {
		if strings.Contains(line, "@benchbell test ") {
			if opened++; opened == run {
				continue
			}
		}
		if strings.Contains(line, fmt.Sprintf("~R-%04d:", run)) {
			continue
		}
		for n := run + 1; n <= run+20; n++ {
			line = strings.Replace(line, fmt.Sprintf("~R-%04d:", n), fmt.Sprintf("~R-%04d:", n-1), 1)
		}
		without = append(without, line)
	}
	return without
}

// A tally says what walks came to, and keeps what they find.
type tally struct {
	sync.Mutex
	walks int
	came  map[string]int // walks that came to something
	kept  map[string]int // finds, by what the model said
}

// TestMayBeWorn holds random walks against the model.
func TestMayBeWorn(t *testing.T) {
	defer debug.SetGCPercent(debug.SetGCPercent(400)) // a walk leaves much behind, and little of it lasts
	cfg := Demo()
	register := walkRegister(t, cfg)
	folder := t.TempDir()
	shards := runtime.GOMAXPROCS(0)
	each := (*walks + shards - 1) / shards
	if testing.Short() {
		each = max(50, each/5) * 5 // of which rapid does a fifth then
	}
	_ = flag.Set("rapid.checks", fmt.Sprint(each))
	_ = flag.Set("rapid.nofailfile", "true")
	all := &tally{came: make(map[string]int), kept: make(map[string]int)}
	t.Run("walks", func(t *testing.T) {
		for n := range shards {
			t.Run(fmt.Sprint(n), func(t *testing.T) {
				t.Parallel()
				walkOn(t, cfg, register, folder, all)
			})
		}
	})
	for _, what := range slices.SortedFunc(maps.Keys(all.came), func(a, b string) int { return cmp.Or(all.came[b]-all.came[a], strings.Compare(a, b)) }) {
		t.Logf("%5.1f %% of %d walks: %s", 100*float64(all.came[what])/float64(all.walks), all.walks, what)
	}
	if t.Failed() || all.walks < 200 {
		return
	}
	if share := 100 * float64(all.came["too many worlds"]) / float64(all.walks); share > 3 {
		t.Errorf("%.1f %% of the walks were given up, since the model forked too often", share)
	}
	for what, least := range leastShares {
		if least < 1 && all.walks < 5000 {
			continue // too rare to be seen in a few walks
		}
		if share := 100 * float64(all.came[what]) / float64(all.walks); share < least {
			t.Errorf("only %.1f %% of the walks came to %q, and %.1f %% should: they test too little", share, what, least)
		}
	}
}

// leastShares are percentages of walks that come to something, else the walks
// prove nothing.
var leastShares = map[string]float64{
	": fit": 20, "pass ": 20, "fail ": 20, "no verdict": 15, "hold until": 75, "stopped": 5, "was fail": 0.3, "was pass": 0.3,
	"says again": 5, "says fix": 10, "says edit": 5, "says bad": 5, "says import": 3, "says repaired": 10, "says air": 5,
}

func walkOn(t *testing.T, cfg config.Config, register []core.Entry, folder string, all *tally) {
	faulty := func(script []string) bool {
		w, err := replay(cfg, register, folder, script)
		return err == nil && w.fault != ""
	}
	var last *walk
	defer func() {
		if t.Failed() && last != nil {
			script := shrink(last.script, faulty)
			w, _ := replay(cfg, register, folder, script)
			t.Errorf("%s\n%s", w.fault, strings.Join(script, "\n"))
		}
	}()
	// Drawn as one, so that a failure prints no list of what was drawn.
	going := rapid.Custom(func(rt *rapid.T) *walk {
		w, err := newWalk(cfg, register, folder)
		if err != nil {
			rt.Fatal(err)
		}
		g := &goer{walk: w, t: rt}
		g.wander()
		return w
	})
	rapid.Check(t, func(rt *rapid.T) {
		w := going.Draw(rt, "walk")
		all.Lock()
		all.walks++
		for what := range w.seen {
			all.came[what]++
		}
		all.Unlock()
		switch {
		case w.fault == "":
		case *finds == "":
			last = w
			rt.Fatal("the program calls a suit fit that is not")
		default:
			all.keep(w, faulty, func(script []string) *walk { w, _ := replay(cfg, register, folder, script); return w })
		}
	})
}

// keep writes what a walk found, shrunk, to the folder of finds.
func (all *tally) keep(w *walk, faulty func([]string) bool, replay func([]string) *walk) {
	const most = 12 // of a kind
	all.Lock()
	all.came["FOUND"]++
	class := kindOfFind(w.fault)
	if all.kept[class]++; all.kept[class] > most {
		all.Unlock()
		return
	}
	all.Unlock()
	script := shrink(w.script, faulty)
	w = replay(script)
	class = kindOfFind(w.fault)
	all.Lock()
	defer all.Unlock()
	all.kept["/"+class]++
	name := filepath.Join(*finds, fmt.Sprintf("%s-%02d.txt", class, all.kept["/"+class]))
	_ = os.WriteFile(name, []byte("# "+w.fault+"\n"+strings.Join(script, "\n")+"\n"), 0o644)
	for _, line := range script {
		if do, _ := parseStep(line); do != nil {
			if a, ok := do.(stepAttach); ok {
				_ = paperFile(*finds, a.path)
			}
		}
	}
}

func kindOfFind(fault string) string {
	_, why, _ := strings.Cut(fault, "not: ")
	return strings.Join(strings.FieldsFunc(why, func(r rune) bool { return r < 'a' || r > 'z' }), "-")
}
