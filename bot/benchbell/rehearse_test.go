package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

const passing = `# a suit that holds
at 2026-03-02 08:30
bench.tester: @benchbell test HP-07 with M-1
bench.tester: ok all
bench.tester: 17.5
+10m
bench.tester: 16.5
+6m
bench.tester: 15.0
! pass
`

func TestRehearse(t *testing.T) {
	s := newStation(t)
	script := s.file("scripts/pass.txt", passing)
	for name, run := range map[string]func() (string, error){
		"a file":         func() (string, error) { return s.runs("rehearse", script) },
		"standard input": func() (string, error) { return s.reads(passing, "rehearse", "-") },
	} {
		out, err := run()
		if err != nil {
			t.Errorf("%s: %v", name, err)
		}
		mustHave(t, out, "2026-03-02 08:30:00  bench.tester, crew", "2026-03-02 08:46:00  benchbell, R-0001", "**PASS**")
	}
	left, err := os.ReadDir(os.TempDir())
	if err != nil || len(left) > 0 {
		t.Errorf("rehearsals leave behind %v, %v", left, err)
	}
	if s.has("benchbell.db") {
		t.Error("a rehearsal touches the station's store")
	}
}

func TestRehearseFails(t *testing.T) {
	s := newStation(t)
	script := s.file("fail.txt", strings.Replace(passing, "! pass", "! fail\n!! pass\nbench.tester: ok 1\nbench.tester: ok 2\nbench.tester: ok all", 1))
	out, err := s.runs("rehearse", script)
	if err == nil {
		t.Fatal("checks that do not hold are no error")
	}
	mustHave(t, err.Error(), script+":\n", `line 10: "! fail" does not hold; the bot said: pass hp-07`, `line 11: "!! pass" does not hold`)
	mustHave(t, out, "R-0001 is closed")

	s.mustFail([]string{"rehearse", s.file("bad.txt", "what\n+6m\n")}, "bad.txt:\nline 1: \"what\"", "write \"who: words\"")
	s.mustFail([]string{"rehearse", "nowhere.txt"}, "nowhere.txt")
	s.mustFail([]string{"rehearse", "--config", "nowhere.toml"}, "nowhere.toml")
	s.mustFail([]string{"rehearse", "--speed", "0"}, "1 to 3600")
}

func readFile(t *testing.T, path string) string {
	t.Helper()
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// TestRehearseFleet: suits and methods of one's own, with flags before and after
// the script.
func TestRehearseFleet(t *testing.T) {
	s := newStation(t)
	suits := s.file("suits.csv", "tag,exhaust_valves,method\nZZ-1,1,acme12\n")
	gauges := s.file("manometers.csv", "id,unit,resolution,calibrated_until\nG-1,mbar,0.1,2030-01-01\n")
	config := s.file("bell.toml", "[station]\nzone = \"America/New_York\"\n"+`[[method]]
key = "acme12"
source = "an invented manual"
unit = "mbar"
expansion = "20.0"
expansion_tolerance = "0.5"
expansion_time = "2m"
pressure = "17.0"
pressure_tolerance = "0.5"
hold = "3m"
max_drop = "1.0"
`)
	script := s.file("own.txt", `at 2026-07-01 09:00
bench.tester: @benchbell test zz1
bench.tester: ok all
! 20.0 mbar (19.5–20.5)
bench.tester: 20
+2m
bench.tester: 17
+3m
! bell
bench.tester: 15.9
! fail
bench.tester: @benchbell HP-07
! no suit
`)
	for _, args := range [][]string{
		{"rehearse", "--fleet", suits, "--fleet=" + gauges, "--config", config, script},
		{"rehearse", script, "--config", config, "--fleet", suits, "--fleet", gauges},
		{"rehearse", "-fleet", gauges, script, "-config=" + config, "-fleet", suits},
	} {
		mustHave(t, s.mustRun(args...), "2026-07-01 09:05:00  benchbell, R-0001", "acme12 · G-1")
	}
	// The configuration beside the script is its own, unless one is named.
	s.file("own.toml", readFile(t, config))
	mustHave(t, s.mustRun("rehearse", "--fleet", suits, "--fleet", gauges, script), "2026-07-01 09:05:00  benchbell, R-0001", "acme12 · G-1")
	other := s.file("other.toml", "[station]\nname = \"elsewhere\"\n")
	s.mustFail([]string{"rehearse", "--config", other, "--fleet", suits, "--fleet", gauges, script}, "acme12")
	if err := os.Remove("own.toml"); err != nil {
		t.Fatal(err)
	}
	s.mustFail([]string{"rehearse", "--fleet", suits, "--config", config, script}, "no manometer", "id, unit, resolution")
	s.mustFail([]string{"rehearse", "--fleet", suits, "--fleet", gauges, script}, "suits.csv", "acme12")
	s.mustFail([]string{"rehearse", "--fleet", "nowhere.csv", script}, "nowhere.csv")
}

// TestRehearseAttached: files that a script attaches lie beside it.
func TestRehearseAttached(t *testing.T) {
	s := newStation(t)
	s.file("scripts/more.csv", "tag,exhaust_valves,method\nZZ-1,1,f1052\n")
	script := s.file("scripts/attach.txt", "attach duty.officer more.csv\nduty.officer dm: import\n! taken: 1 suits\n")
	mustHave(t, s.mustRun("rehearse", script), "[more.csv attached]")
}

// TestRehearseKeep: what is posted as a file can be looked at afterwards.
func TestRehearseKeep(t *testing.T) {
	s := newStation(t)
	script := s.file("own.txt", "at 2026-03-02 09:00\nbench.tester dm: history HP-20\nbench.tester dm: shelf\n")
	folder := filepath.Join(s.dir, "kept")
	s.mustRun("rehearse", "--keep", folder, script)
	for name, begins := range map[string]string{"01-HP-20.png": "\x89PNG", "02-shelf-2026-03-02.pdf": "%PDF"} {
		file, err := os.ReadFile(filepath.Join(folder, name))
		if err != nil {
			t.Error(err)
		} else if !strings.HasPrefix(string(file), begins) {
			t.Errorf("%s begins %q, want %q", name, file[:min(8, len(file))], begins)
		}
	}
}

// TestRehearseKeyboard takes the same lines from a pipe.
func TestRehearseKeyboard(t *testing.T) {
	s := newStation(t)
	out, err := s.reads("test HP-07 with M-1\nok all\n17.5\n+10m\n16.5\nwhat is this\n+6m\n15.0\n", "rehearse", "--speed", "60")
	if err != nil {
		t.Fatal(err)
	}
	mustHave(t, out, "time passes 60 times as fast", "HP-07 · **Expansion is over.**", "Bell!", "**PASS**")
}
