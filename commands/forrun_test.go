package commands

import (
	"testing"

	"benchbell/core"
)

func TestForRun(t *testing.T) {
	for _, tt := range []struct {
		text string
		id   core.RunID
		rest string
	}{
		{"R-0001 15.0", 1, "15.0"},
		{"r12 16,5 mbar", 12, "16,5 mbar"},
		{"R-0001: ok 1 3", 1, "ok 1 3"},
		{"R-0001:ok all", 1, "ok all"},
		{"R-0001, stop", 1, "stop"},
		{"R-0001 - bad 2 hole in glove", 1, "bad 2 hole in glove"},
		{"**R-0042**: 15.0", 42, "15.0"},
		{"**R-0042:** 15.0", 42, "15.0"},
		{"`R-0001` where", 1, "where"},
		{"R-0001", 1, "where"},
		{"R-0001?", 1, "where"},
		{"R-0001 -0.2", 1, "-0.2"},
		{"R-0001 stop valve leaking at collar", 1, "stop valve leaking at collar"},
		{"stop R-0001 valve leaking at collar", 1, "stop valve leaking at collar"},
		{"Stop: R-0001, valve leaking", 1, "Stop: valve leaking"},
		{"stop R-0001", 1, "stop"},
		{"please stop R-0001", 1, "please stop"},
		{"R-0001 please stop R-0001", 1, "please stop"},
		{"note R-0001: visor  scratched", 1, "note visor scratched"},
		{"note R-0001 *visor* `x`", 1, "note *visor* `x`"},
		{"where R-0001", 1, "where"},
		{"where R-0001?", 1, "where"},
		{"why R-0001", 1, "why"},
		{"over R-0001 to @second.tester", 1, "over to @second.tester"},
		{"over R-0001 to me", 1, "over to me"},
		{"ok R-0001 1 3", 1, "ok 1 3"},
		{"fix R-0001 14.9", 1, "fix 14.9"},
		{"again R-0001 the hose slipped", 1, "again the hose slipped"},
		{"with R-0001 M-2", 1, "with M-2"},
		{"air R-0001 21", 1, "air 21"},
		{"capacity R-0001", 1, "capacity"},
		{"R-0001 record", 1, "record"},
		{"R-0001 used HP-08", 1, "used HP-08"},
	} {
		id, rest, ok := ForRun(tt.text)
		if !ok || id != tt.id || rest != tt.rest {
			t.Errorf("ForRun(%q) = %v, %q, %t, want %v, %q", tt.text, id, rest, ok, tt.id, tt.rest)
		}
	}
	for _, text := range []string{
		"", "15.0", "R-", "R-0", "R-0001.5", "R-0001,5", "R-0001a", "HP-07", "M-1 15.0", "record R-0001", "history R-0001", "status R-0001",
		"used R-0001", "test R-0001", "found R-0001 a hole", "release R-0001", "help R-0001", "stop", "stop it R-0001",
		"stop R-0001 R-0002", "R-0001 R-0002 15.0", "R-0001 stop R-0002", "is R-0001 done?", "R-0001x 15.0", "R-99999999999 15.0",
	} {
		if id, rest, ok := ForRun(text); ok {
			t.Errorf("ForRun(%q) = %v, %q, want none", text, id, rest)
		}
	}
}

// FuzzForRun: words without their run name none any more, and are words of a
// thread like any other.
func FuzzForRun(f *testing.F) {
	for _, s := range []string{
		"R-0001 15.0", "stop R-0001: x", "please please note r1 r1 r1", "R-1 R-2", "`*R-0001*` - ok", "R-0001:R-0001:", "where R-0001?", "over r9 to me", "please R-0001", "R-1 please R-1",
	} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		id, rest, ok := ForRun(text)
		if !ok {
			return
		}
		if id < 1 || rest == "" {
			t.Fatalf("ForRun(%q) = %v, %q", text, id, rest)
		}
		if id, more, ok := ForRun(rest); ok {
			t.Fatalf("ForRun(%q) leaves %q, which is for %v: %q", text, rest, id, more)
		}
		_, _ = Parse(rest, Thread)
	})
}
