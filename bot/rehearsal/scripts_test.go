package rehearsal

import (
	"bytes"
	"flag"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode/utf8"

	"benchbell/bot/config"
	"benchbell/store"
)

var update = flag.Bool("update", false, "write the golden files anew")

// play plays a script on the demo fleet and returns what was printed, and the file
// of the store.
func play(t *testing.T, script string, cfg config.Config) (printed, file string, err error) {
	t.Helper()
	var out bytes.Buffer
	start := Start(cfg)
	register, err := Fleet(cfg, nil, start)
	if err != nil {
		t.Fatal(err)
	}
	log := slog.New(slog.NewTextHandler(t.Output(), nil))
	file = filepath.Join(t.TempDir(), "rehearsal.db")
	r, err := New(file, cfg, register, start, &out, log)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	r.Folder = "../../testdata/scripts"
	err = r.Play(t.Context(), script)
	if r.down {
		return out.String(), file, err
	}
	if err := r.store.Check(); err != nil {
		t.Errorf("the store after the play: %v", err)
	}
	if _, _, err := r.store.Verify(); err != nil {
		t.Errorf("the journal after the play: %v", err)
	}
	if parked, err := r.store.Parked(); err != nil || len(parked) > 0 {
		t.Errorf("%d messages were put aside, error %v", len(parked), err)
	}
	return out.String(), file, err
}

// eachScript runs a test for every conversation of testdata/scripts; with -short for
// one of five.
func eachScript(t *testing.T, test func(t *testing.T, path string)) {
	scripts, err := filepath.Glob("../../testdata/scripts/*.txt")
	if err != nil || len(scripts) == 0 {
		t.Fatalf("no scripts: %v", err)
	}
	for i, path := range scripts {
		if testing.Short() && i%5 != 0 {
			continue
		}
		t.Run(strings.TrimSuffix(filepath.Base(path), ".txt"), func(t *testing.T) {
			t.Parallel()
			test(t, path)
		})
	}
}

// TestScripts plays every conversation of testdata/scripts: its checks must
// hold, and the whole of it must read as the golden file beside it, which
// "go test ./bot/rehearsal -update" writes anew. Then the journal is read back,
// and the record of each run.
func TestScripts(t *testing.T) {
	eachScript(t, func(t *testing.T, path string) {
		script, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		cfg := scriptConfig(t, path)
		got, file, err := play(t, string(script), cfg)
		if err != nil {
			t.Error(err)
		}
		golden := strings.TrimSuffix(path, ".txt") + ".golden"
		if *update {
			if err := os.WriteFile(golden, []byte(got), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		want, err := os.ReadFile(golden)
		if err != nil {
			t.Fatalf("%v: write it by \"go test ./bot/rehearsal -update\" and read it", err)
		}
		if got != string(want) {
			t.Errorf("%s differs from what was played:\n%s", golden, firstDifference(string(want), got))
		}
		checkLayout(t, got)
		st, err := store.Open(file)
		if err != nil {
			t.Fatal(err)
		}
		defer st.Close()
		t.Run("journal", func(t *testing.T) {
			notInShort(t)
			tableOf(t, st, cfg)
			linesOf(t, st, cfg)
		})
		t.Run("records", func(t *testing.T) { everyRunHasItsRecord(t, st, cfg) })
	})
}

// scriptConfig is the demo station's configuration, or the one beside the
// script.
func scriptConfig(t *testing.T, script string) config.Config {
	cfg, err := ConfigOf(script)
	if err != nil {
		t.Fatal(err)
	}
	return cfg
}

func firstDifference(want, got string) string {
	w, g := strings.Split(want, "\n"), strings.Split(got, "\n")
	for i := range max(len(w), len(g)) {
		var a, b string
		if i < len(w) {
			a = w[i]
		}
		if i < len(g) {
			b = g[i]
		}
		if a != b || i >= len(w) || i >= len(g) {
			return fmt.Sprintf("line %d\nwant %s\ngot  %s", i+1, a, b)
		}
	}
	return ""
}

// widest is how long a line may be that the bot posts: three lines of a phone.
const widest = 120

// checkLayout holds every line to what a phone can show.
func checkLayout(t *testing.T, printed string) {
	t.Helper()
	fromBot := false
	for line := range strings.SplitSeq(printed, "\n") {
		text, indented := strings.CutPrefix(line, "    ")
		if !indented {
			fromBot = strings.Contains(line, "  benchbell, ")
			continue
		}
		if !fromBot {
			continue
		}
		if n := utf8.RuneCountInString(text); n > widest {
			t.Errorf("a line of %d characters: %s", n, text)
		}
		for _, bad := range []string{"@channel", "@all", "@here", "```\n", "| --"} {
			if strings.Contains(text, bad) {
				t.Errorf("%q is posted: %s", bad, text)
			}
		}
	}
}
