package bot

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
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

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
	fault  string
}

// walkRegister is the register of a walk: two suits, and all manometers.
func walkRegister(tb testing.TB, cfg Config) []core.Entry {
	all, err := RehearsalRegister(cfg, nil, RehearsalStart(cfg))
	if err != nil {
		tb.Fatal(err)
	}
	return slices.DeleteFunc(all, func(e core.Entry) bool { return e.Suit != "" && e.Suit != "HP-07" && e.Suit != "HP-08" })
}

func newWalk(cfg Config, register []core.Entry, folder string) (*walk, error) {
	engine := unclosed{storetest.Memory()}
	r := &Rehearsal{
		Folder: folder, cfg: cfg, plain: true, log: slog.New(slog.DiscardHandler),
		keeps: func() (*store.Store, error) { return store.New(engine) },
		stage: newStage(io.Discard, cfg.Policy.Zone, People...),
		in:    make(map[string]core.RunID), with: make(map[string][]File),
	}
	w := &walk{Rehearsal: r, worlds: []world{newWorld(cfg.Policy.Zone)}, files: make(map[string][]string), seen: make(map[string]int)}
	return w, r.begin(register, RehearsalStart(cfg))
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
	known := maps.Clone(w.engine.bench.Runs)
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
	for id := range w.engine.bench.Runs {
		if _, ok := known[id]; !ok {
			m.opens = int(id)
			w.runs = append(w.runs, int(id))
		}
	}
	m.at = w.stage.now
	if m.who != "" {
		if m.tap == 0 && !m.edit {
			delete(w.files, m.who)
		}
		var next []world
		for _, one := range w.worlds {
			next = append(next, one.hear(m, w.stage.zone)...)
		}
		w.worlds = next
		w.thin()
	}
	w.compare()
}

// thin leaves one of worlds that are alike.
func (w *walk) thin() {
	const most = 24
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
	if len(kept) > most {
		w.seen["too many worlds"]++
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

// compare is the property: what the program calls fit, the model does.
func (w *walk) compare() {
	for _, tag := range []string{"HP-07", "HP-08"} {
		fit := slices.ContainsFunc(w.stage.said, func(s string) bool { return strings.Contains(s, strings.ToLower(tag)+": fit") })
		if !w.down {
			file, err := w.engine.file(tag)
			if err != nil {
				w.fault = err.Error()
				return
			}
			fit = fit || file.Standing(w.cfg.Policy, w.engine.bench.Day(w.stage.now)).Wearable()
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
			if strings.Contains(s, word) {
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
func replay(cfg Config, register []core.Entry, folder string, script []string) (*walk, error) {
	w, err := newWalk(cfg, register, folder)
	if err != nil {
		return nil, err
	}
	for _, line := range script {
		w.line(line)
	}
	return w, nil
}

// shrink leaves out of a script what the fault does not need.
func shrink(script []string, faulty func([]string) bool) []string {
	for size := len(script) / 2; size > 0; {
		shorter := false
		for from := 0; from < len(script); {
			without := slices.Concat(script[:from], script[min(from+size, len(script)):])
			if faulty(without) {
				script, shorter = without, true
				continue
			}
			from += size
		}
		if !shorter || size > 1 {
			size /= 2
		}
		if shorter && size == 0 {
			size = 1
		}
	}
	return script
}

// TestMayBeWorn holds random walks against the model.
func TestMayBeWorn(t *testing.T) {
	cfg := DemoConfig()
	register := walkRegister(t, cfg)
	folder := t.TempDir()
	_ = flag.Set("rapid.checks", fmt.Sprint(*walks*map[bool]int{false: 1, true: 5}[testing.Short()]))
	_ = flag.Set("rapid.nofailfile", "true")
	came := make(map[string]int) // walks that came to something
	total := 0
	kept := make(map[string]int)
	var last *walk
	defer func() {
		if t.Failed() && last != nil {
			faulty := func(script []string) bool {
				w, err := replay(cfg, register, folder, script)
				return err == nil && w.fault != ""
			}
			script := shrink(last.script, faulty)
			w, _ := replay(cfg, register, folder, script)
			t.Errorf("%s\n%s", w.fault, strings.Join(script, "\n"))
		}
		for _, what := range slices.SortedFunc(maps.Keys(came), func(a, b string) int { return cmp.Or(came[b]-came[a], strings.Compare(a, b)) }) {
			t.Logf("%5.1f %% of walks: %s", 100*float64(came[what])/float64(total), what)
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
		total++
		for what := range w.seen {
			came[what]++
		}
		if w.fault == "" {
			return
		}
		if *finds == "" {
			last = w
			rt.Fatal("the program calls a suit fit that is not")
		}
		came["FOUND"]++
		_, why, _ := strings.Cut(w.fault, "not: ")
		class := strings.Map(func(r rune) rune {
			if r >= 'a' && r <= 'z' || r == ' ' {
				return r
			}
			return -1
		}, why)
		if kept[class]++; kept[class] > 40 {
			return
		}
		faulty := func(script []string) bool {
			w, err := replay(cfg, register, folder, script)
			return err == nil && w.fault != ""
		}
		script := shrink(w.script, faulty)
		s, _ := replay(cfg, register, folder, script)
		name := filepath.Join(*finds, fmt.Sprintf("%s-%02d.txt", strings.ReplaceAll(class[:min(len(class), 40)], " ", "-"), kept[class]))
		_ = os.WriteFile(name, []byte("# "+s.fault+"\n"+strings.Join(script, "\n")+"\n"), 0o644)
		for _, line := range script {
			if do, _ := parseStep(line); do != nil {
				if a, ok := do.(stepAttach); ok {
					_ = paperFile(*finds, a.path)
				}
			}
		}
	})
}
