package rehearsal

import (
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"strings"
	"testing"
	"time"
)

// TestScriptLines has every form of line that the format knows.
func TestScriptLines(t *testing.T) {
	for line, want := range map[string]any{
		"":                              nil,
		"   ":                           nil,
		"# a suit that leaks":           nil,
		"  #! fail":                     nil,
		"bench.tester: 17.5":            stepPost{who: "bench.tester", words: "17.5"},
		"  bench.tester :17.5  ":        stepPost{who: "bench.tester", words: "17.5"},
		"bench.tester: @benchbell a: b": stepPost{who: "bench.tester", words: "@benchbell a: b"},
		"a-b_c.9: status":               stepPost{who: "a-b_c.9", words: "status"},
		"who ~R-0002: 16.5":             stepPost{who: "who", run: 2, words: "16.5"},
		"who ~r-2: 16.5":                stepPost{who: "who", run: 2, words: "16.5"},
		"who dm: HP-07":                 stepPost{who: "who", direct: true, words: "HP-07"},
		"who  dm : HP-07":               stepPost{who: "who", direct: true, words: "HP-07"},
		"dm: HP-07":                     stepPost{who: "dm", words: "HP-07"},
		"tap bench.tester 3":            stepTap{who: "bench.tester", n: 3, on: true},
		"untap bench.tester 10":         stepTap{who: "bench.tester", n: 10},
		"tap: 3":                        stepPost{who: "tap", words: "3"},
		"edit bench.tester: 13.9":       stepEdit{who: "bench.tester", words: "13.9"},
		"edit bench.tester:":            stepEdit{who: "bench.tester"},
		"delete bench.tester":           stepDelete{who: "bench.tester"},
		"delete ~R-0002":                stepDelete{run: 2},
		"gone bench.tester":             stepGone{"bench.tester"},
		"edit: 13.9":                    stepPost{who: "edit", words: "13.9"},
		"attach duty.officer a.csv":     stepAttach{who: "duty.officer", path: "a.csv"},
		"+6m":                           stepPass{6 * time.Minute},
		"+90s":                          stepPass{90 * time.Second},
		"+1h30m":                        stepPass{90 * time.Minute},
		"+2d":                           stepPass{48 * time.Hour},
		"+3w":                           stepPass{21 * 24 * time.Hour},
		"+1w2d3h4m5s":                   stepPass{9*24*time.Hour + 3*time.Hour + 4*time.Minute + 5*time.Second},
		"+0s":                           stepPass{},
		"at 2026-03-02 08:30":           stepAt{"2026-03-02 08:30"},
		"at  2026-03-02 08:30:15":       stepAt{"2026-03-02 08:30:15"},
		"at: 9":                         stepPost{who: "at", words: "9"},
		"restart":                       stepRestart{},
		"down":                          stepDown{},
		"up":                            stepUp{},
		"! fail":                        stepCheck{words: "fail"},
		"!fail":                         stepCheck{words: "fail"},
		"! **FAIL**  `HP-07`":           stepCheck{words: "fail hp-07"},
		"!! pass":                       stepCheck{words: "pass", not: true},
		"!! !":                          stepCheck{words: "!", not: true},
	} {
		got, err := parseStep(line)
		if err != nil || !reflect.DeepEqual(got, want) {
			t.Errorf("%q is %#v, %v; want %#v", line, got, err, want)
		}
	}
}

// TestScriptFormDocumented: the lines that the format's own description shows are
// lines of it.
func TestScriptFormDocumented(t *testing.T) {
	source, err := os.ReadFile("script.go")
	if err != nil {
		t.Fatal(err)
	}
	shown := regexp.MustCompile(`(?m)^//\t(\S.*?)(?:  +.*)?$`).FindAllSubmatch(source, -1)
	if len(shown) < 15 {
		t.Fatalf("only %d lines are shown", len(shown))
	}
	for _, line := range shown {
		if do, err := parseStep(string(line[1])); err != nil || do == nil && line[1][0] != '#' {
			t.Errorf("%q is shown, and is %v, %v", line[1], do, err)
		}
	}
}

func TestScriptFaults(t *testing.T) {
	for line, want := range map[string]string{
		"what is this":             "not a line of a script: write",
		"16.5":                     "not a line of a script: write",
		"bench tester: 16.5":       "not a line of a script: write",
		"bench.tester ~: 16.5":     "not a line of a script: write",
		"bench.tester in: 16.5":    "not a line of a script: write",
		"bench.tester:":            "nothing is said",
		"bench.tester dm:  ":       "nothing is said",
		"bench.tester ~X-1: 16.5":  "write it like ~R-0002",
		"bench.tester ~R-0: 16.5":  "write it like ~R-0002",
		"bench.tester ~R--1: 16.5": "write it like ~R-0002",
		"bench.tester ~R-x: 16.5":  "write it like ~R-0002",
		"tap bench.tester":         "\"tap who 3\"",
		"tap bench.tester three":   "\"tap who 3\"",
		"tap bench.tester 100":     "\"tap who 3\"",
		"untap":                    "\"tap who 3\"",
		"edit bench.tester 13.9":   "\"edit who: words\"",
		"attach bench.tester":      "not a line",
		"Restart":                  "\"restart\"",
		"restart now":              "\"restart\"",
		"!":                        "a check needs the words",
		"!!  ":                     "a check needs the words",
		"! ** ``":                  "a check needs the words",
		"+":                        "write it like +6m",
		"+6":                       "write it like +6m",
		"+six minutes":             "write it like +6m",
		"+-6m":                     "write it like +6m",
		"+1d-2h":                   "write it like +6m",
		"+1d2w":                    "write it like +6m",
		"+d":                       "write it like +6m",
		"+1.5d":                    "write it like +6m",
		"+ 6m":                     "write it like +6m",
		"+100000w":                 "write it like +6m",
		"+5000w2562047h":           "write it like +6m",
		"+99999999999999999999h":   "write it like +6m",
		"+99999999999999999999d":   "write it like +6m",
		"at":                       "\"at 2026-03-02 08:30\"",
		"bench.tester\x00: 16.5":   "not a line of a script",
		"\u202ebench.tester: 16.5": "not a line of a script",
	} {
		_, err := parseScript("# one\n" + line + "\nrestart")
		if err == nil {
			t.Errorf("%q is accepted", line)
			continue
		}
		if text := err.Error(); !strings.HasPrefix(text, "line 2: ") || !strings.Contains(text, want) {
			t.Errorf("%q: the error is %q, without %q", line, text, want)
		}
	}
	// All of them are named, and nothing is played.
	d := newBay(t)
	err := d.Play(t.Context(), "\ufeffbench.tester: @benchbell test HP-07\r\nwhat\r\nis\r\n! prepare\r\n")
	if err == nil || !strings.Contains(err.Error(), "line 2: \"what\"") || !strings.Contains(err.Error(), "line 3: \"is\"") {
		t.Errorf("the error is %v", err)
	}
	if len(d.stage.posts) != 0 {
		t.Errorf("%d posts were made", len(d.stage.posts))
	}
}

// TestPlayFaults: lines that cannot be played where they stand stop the play, with
// their number.
func TestPlayFaults(t *testing.T) {
	for name, test := range map[string]struct{ script, want string }{
		"no such run":        {"bench.tester: @benchbell test HP-07\nbench.tester ~R-9999: 16.5", `line 2: "bench.tester ~R-9999: 16.5": there is no run R-9999`},
		"no list":            {"+1m\ntap bench.tester 3", `line 2: "tap bench.tester 3": there is no list to tap`},
		"no post":            {"crew.member: hello\nedit bench.tester: 16.5", `line 2: "edit bench.tester: 16.5": bench.tester has posted nothing`},
		"clock back":         {"at 2026-03-02 09:00\nbench.tester: hello\nat 2026-03-02 08:59:59", "line 3: \"at 2026-03-02 08:59:59\": the station's clock is at 2026-03-02 09:00:00 already"},
		"clock back at once": {"at 2026-03-02 09:00\nat 2026-03-02 08:59", "line 2"},
		"no date":            {"at noon", `line 1: "at noon": "noon" is not a date and time: write it like "at 2026-03-02 08:30"`},
		"no such day":        {"at 2026-02-30 08:00", "line 1"},
		"up without down":    {"up", "line 1"},
		"down twice":         {"down\ndown", "line 2"},
		"restart while down": {"down\nrestart", "line 2"},
		"no file":            {"attach bench.tester nowhere.csv", "line 1"},
	} {
		t.Run(name, func(t *testing.T) {
			d := newBay(t)
			err := d.Play(t.Context(), test.script+"\nbench.tester: later")
			if err == nil || !strings.Contains(err.Error(), test.want) {
				t.Errorf("the error is %v, want %s", err, test.want)
			}
			if strings.Contains(d.print.String(), "later") {
				t.Error("it went on")
			}
		})
	}
}

// TestClock: before anything happens the clock may be set back; then it only
// moves on, at the station's own time.
func TestClock(t *testing.T) {
	d := newBay(t)
	if d.stage.now.In(d.stage.zone).Format("2006-01-02 15:04") != "2026-03-02 08:00" {
		t.Errorf("it begins at %v", d.stage.now)
	}
	d.plays(
		"at 2025-07-01 08:00", "at 2025-06-30", "at 2025-07-01 09:30",
		"bench.tester: @benchbell test HP-07 with M-1", "+0s", "at 2025-07-01 09:30", "at 2025-07-01 09:30:01",
	)
	// Summer time: 09:30 at Harrow Point is 08:30 by Greenwich.
	if want := time.Date(2025, 7, 1, 8, 30, 0, 0, time.UTC); !d.run(1).Opened.Equal(want) {
		t.Errorf("the run was opened at %v, want %v", d.run(1).Opened, want)
	}
	if !strings.Contains(d.print.String(), "2025-07-01 09:30:00  bench.tester, crew") {
		t.Errorf("printed:\n%s", d.print.String())
	}
}

// TestChecks: case, emphasis and line breaks do not count, and what was said since
// the last line that is no check does.
func TestChecks(t *testing.T) {
	const before = "bench.tester: @benchbell test HP-07\n"
	for check, holds := range map[string]bool{
		"! prepare HP-07: tap, or say ok all":       true,
		"! **PREPARE** hp-07":                       true,
		"! `ok all` 1 – decontaminated":             true, // over a line break
		"! 9 air limited":                           false,
		"! prepare   hp-07":                         true,
		"! en943 · M-1":                             true, // the card
		"! inflate":                                 false,
		"!! inflate":                                true,
		"!! prepare":                                false,
		"!! **Prepare** HP-07":                      false,
		"! test hp-07":                              false, // what people say does not count
		"# comment\n\n! prepare\n! M-1\n!! m-2":     true,
		"+0s\n! prepare":                            false, // that was before
		"bench.tester: ok all\n! inflate":           true,
		"bench.tester: ok all\n!! tap, or say":      true,
		"down\nbench.tester: ok all\n! inflate":     false,
		"down\nbench.tester: ok all\nup\n! inflate": true,
	} {
		d := newBay(t)
		err := d.Play(t.Context(), before+check)
		if holds != (err == nil) {
			t.Errorf("%q holds: %v, want %v", check, err, holds)
		}
	}
}

// TestFailedCheck: a check that does not hold is told with its line and what was
// said instead, and the play goes on.
func TestFailedCheck(t *testing.T) {
	d := newBay(t)
	err := d.Play(t.Context(), "! something\nbench.tester: @benchbell HP-07\n! not fit\n!! HP-07\nbench.tester: @benchbell test HP-07\n! prepare\n")
	if err == nil {
		t.Fatal("it holds")
	}
	for _, want := range []string{
		`line 1: "! something" does not hold; the bot said: nothing`,
		`line 3: "! not fit" does not hold; the bot said: hp-07: fit`,
		`line 4: "!! HP-07" does not hold; the bot said: hp-07: fit`,
	} {
		if !strings.Contains(err.Error(), want) {
			t.Errorf("the error is\n%v\nwithout %s", err, want)
		}
	}
	if n := strings.Count(err.Error(), "line "); n != 3 {
		t.Errorf("%d lines are blamed:\n%v", n, err)
	}
	if !strings.Contains(d.print.String(), "**Prepare** HP-07") {
		t.Error("the rest was not played")
	}
}

// TestWhereWordsGo: a post that does not say where it goes is for the run that the
// person is in.
func TestWhereWordsGo(t *testing.T) {
	d := newBay(t,
		"crew.member: hello", "bench.tester: @benchbell test HP-07 with M-1", "second.tester: @benchbell test HP-08 with M-2",
		"bench.tester: ok 1", "second.tester: ok 1", "crew.member: and me?", "crew.member ~R-0002: nice",
		"crew.member: nice too", "bench.tester: @benchbell status", "bench.tester dm: status",
		"bench.tester: @benchbell test HP-09", "bench.tester: ok 2", "bench.tester ~R-0001: ok 3", "bench.tester: ok 4",
	)
	var got []string
	for _, p := range d.stage.posts {
		if p.by != stageBot {
			got = append(got, p.label+": "+p.text)
		}
	}
	want := []string{
		"crew: hello", "crew: @benchbell test HP-07 with M-1", "crew: @benchbell test HP-08 with M-2",
		"R-0001: ok 1", "R-0002: ok 1", "crew: and me?", "R-0002: nice",
		"R-0002: nice too", "crew: @benchbell status", "direct with bench.tester: status",
		"crew: @benchbell test HP-09", "R-0003: ok 2", "R-0001: ok 3", "R-0001: ok 4",
	}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("got\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}

// A line that is accepted means the same when it is written once more, and time
// never runs back.
func FuzzParseScript(f *testing.F) {
	scripts, err := filepath.Glob("../../testdata/scripts/*.txt")
	if err != nil {
		f.Fatal(err)
	}
	for _, path := range scripts {
		text, err := os.ReadFile(path)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(string(text))
	}
	f.Add("+100000w\n+5000w1ns\n!\n!!\nat \nwho ~R-9999999999999999999: x\ntap a 99\n\xff\x00: \u202e")
	f.Fuzz(func(t *testing.T, text string) {
		steps, err := parseScript(text)
		if err != nil && !strings.HasPrefix(err.Error(), "line ") {
			t.Errorf("the error is %q", err)
		}
		last := 0
		attached := make(map[string]bool)
		for _, s := range steps {
			if s.line <= last || s.text == "" {
				t.Errorf("line %d after line %d: %q", s.line, last, s.text)
			}
			last = s.line
			if do, err := parseStep(s.text); err != nil || !reflect.DeepEqual(do, s.do) {
				t.Errorf("%q was %#v and is %#v, %v", s.text, s.do, do, err)
			}
			switch do := s.do.(type) {
			case stepPass:
				if do.by < 0 {
					t.Errorf("%q goes back by %v", s.text, do.by)
				}
			case stepCheck:
				if do.words != plain(do.words) {
					t.Errorf("%q looks for %q, which nothing said has", s.text, do.words)
				}
			case stepAttach:
				attached[do.who] = true
			case stepPost:
				// Where another line is none, nobody plays what is left.
				if do.words == "" && !attached[do.who] && err == nil || do.run < 0 || do.run != 0 && do.direct {
					t.Errorf("%q is %+v", s.text, do)
				}
				delete(attached, do.who)
			}
		}
	})
}
