package main

import (
	"net"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"benchbell/core"
	"benchbell/store"
)

// finds runs "check", which must end with an error, and returns what it prints.
func (s *station) finds() string {
	s.t.Helper()
	out, err := s.runs("check")
	if err == nil || !strings.HasSuffix(err.Error(), " not right") {
		s.t.Errorf("the check ends with %v", err)
	}
	return out
}

func TestCheck(t *testing.T) {
	s := newStation(t)
	mustHave(t, s.finds(), "NOT RIGHT: configuration: there is no benchbell.toml in "+s.dir)
	config := "[station]\nname = \"Harrow Point\"\nzone = \"Europe/London\"\n"
	s.file("benchbell.toml", config)
	mustHave(
		t, s.finds(), "ok: configuration: Harrow Point, time zone Europe/London, 0 further methods",
		"documents: A4, without an address", "station.address", "there is none at "+filepath.Join(s.dir, "benchbell.db")+" yet",
		"benchbell import suits.csv manometers.csv", "NOT RIGHT: chat server: ", "url, team and channel under [chat]",
		"NOT RIGHT: officers: none are named", "crew.officers", "ok: disk: ",
	)
	mustHave(t, s.mustRun("export", "templates"), "there is no store at "+filepath.Join(s.dir, "benchbell.db")+" yet", "a template")
	if s.has("benchbell.db") || !s.has("templates/suits.csv") {
		t.Error("a look has made a store, or there is no template")
	}
	s.mustRun("import", demo("suits.csv"), demo("manometers.csv"))
	out := s.finds()
	mustHave(t, out, "is sound, 24 suits, 4 manometers")
	if strings.Contains(out, "benchbell import") {
		t.Error("a register that is there is missed")
	}

	s.file("benchbell.toml", config+"address = \"Gate 3, Quay Road\"\npaper = \"letter\"\n[crew]\nofficers = [\"duty.officer\"]\n")
	out = s.finds()
	mustHave(t, out, "documents: Letter, Gate 3, Quay Road\n")
	if strings.Contains(out, "officers: none") {
		t.Error("an officer that is named is missed")
	}

	config += "[chat]\nurl = \"http://127.0.0.1:1\"\nteam = \"harrow-point\"\nchannel = \"suit-bench\"\n"
	s.file("benchbell.toml", config)
	mustHave(t, s.finds(), "token is missing")
	s.file("token", "x")
	s.file("benchbell.toml", config+"token_file = \"token\"\n")
	mustHave(t, s.finds(), "http://127.0.0.1:1", "does not answer")
}

// TestCheckReminders: the next looks are those of the rules in the file.
func TestCheckReminders(t *testing.T) {
	s := newStation(t)
	s.file("benchbell.toml", "[station]\nzone = \"Europe/London\"\n[reminders]\ndigest = \"30 6 1 5 *\"\ndaily = \"15 3 24 12 *\"\nquiet = \"21:00-05:45\"\n")
	said := regexp.MustCompile(`reminders: next digest \w+ \d{4}-05-01 06:30, next daily look \w+ \d{4}-12-24 05:45\n`)
	if out := s.finds(); !said.MatchString(out) {
		t.Errorf("printed is\n%s\nwithout %s", out, said)
	}
}

func TestCheckCalendarPort(t *testing.T) {
	s := newStation(t)
	busy, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	s.file("secret", "0123456789abcdef")
	s.file("benchbell.toml", "[calendar]\nlisten = \""+busy.Addr().String()+"\"\nsecret_file = \"secret\"\n")
	mustHave(t, s.finds(), "NOT RIGHT: calendar: ", "in use", "calendar.listen")
	if err := busy.Close(); err != nil {
		t.Fatal(err)
	}
	mustHave(t, s.finds(), "ok: calendar: "+busy.Addr().String()+" is free")
}

func TestCheckManometers(t *testing.T) {
	s := newConfigured(t)
	s.mustRun("import", s.file("m.csv", "id,unit,resolution,calibrated_until\nM-1,mbar,0.1,2149-12-31\nM-2,mbar,0.1,\nM-3,mbar,0.1,2020-01-31\n"))
	out := s.finds()
	mustHave(t, out, "NOT RIGHT: manometer M-2: it has no calibration", "manometer change M-2", "NOT RIGHT: manometer M-3: its calibration lapsed on 2020-01-31")
	if strings.Contains(out, "M-1") {
		t.Errorf("a manometer in calibration is found:\n%s", out)
	}
}

func TestCheckDamagedStore(t *testing.T) {
	s := newConfigured(t)
	s.mustRun("import", demo("suits.csv"))
	file, err := os.ReadFile("benchbell.db")
	if err != nil {
		t.Fatal(err)
	}
	s.file("benchbell.db", strings.Replace(string(file), `"made":"2021-04-19"`, `"made":"2024-04-19"`, 1))
	mustHave(t, s.finds(), "NOT RIGHT: store: ", "is damaged", "backup in its place", "journal entry 7", "chat server")
	s.file("benchbell.db", "this is no database, and was never meant to be one")
	mustHave(t, s.finds(), "NOT RIGHT: store: ", "no benchbell file", "backup in its place")
}

func TestDiskFinding(t *testing.T) {
	for _, c := range []struct {
		free, size uint64
		good       bool
	}{
		{200_000_000, 0, true},
		{199_999_999, 0, false},
		{200_000_000, 100_000_000, true},
		{1_000_000_000, 500_000_001, false},
		{1_000_000_000, 500_000_000, true},
	} {
		f := diskFinding(c.free, c.size)
		if f.Good != c.good || !f.Good && !strings.Contains(f.Text, "make room") {
			t.Errorf("%d bytes free for a store of %d: %v", c.free, c.size, f)
		}
	}
	if free, ok := freeSpace(t.TempDir()); ok && free == 0 {
		t.Error("no space is found on a disk that is being written to")
	}
}

// parks gives up some messages in the station's store.
func (s *station) parks(outs ...store.Out) {
	s.t.Helper()
	st, err := store.Open("benchbell.db")
	if err != nil {
		s.t.Fatal(err)
	}
	defer st.Close()
	at := time.Date(2026, 3, 2, 8, 30, 0, 0, time.UTC)
	if err := st.Commit(&store.Batch{Event: "e1", At: at, Out: outs, Accounts: map[string]string{"duty.officer": "u1"}}); err != nil {
		s.t.Fatal(err)
	}
	pending, err := st.Pending()
	if err != nil {
		s.t.Fatal(err)
	}
	for _, o := range pending {
		if o.Seq%2 == 1 { // the others were never tried
			err = st.Tried(o.Seq, at)
		}
		if err == nil {
			err = st.Park(o.Seq, "the channel is archived")
		}
		if err != nil {
			s.t.Fatal(err)
		}
	}
}

func TestUndelivered(t *testing.T) {
	s := newConfigured(t)
	s.mustRun("import", demo("suits.csv"))
	mustHave(t, s.mustRun("undelivered"), "Every message was delivered")
	card := core.RunID(1).String() + "/card"
	s.parks(
		store.Out{Kind: store.Post, Key: card, Text: "**HP-07** is tested\nby bench.tester"},
		store.Out{Kind: store.Post, Key: "k2", Thread: card, Text: strings.Repeat("a very long line ", 9)},
		store.Out{Kind: store.Post, Key: "k3", Person: "u1", FileName: "R-0001.pdf", Doc: "record/R-0001@9"},
		store.Out{Kind: store.Post, Key: "k4", Person: "u2", Text: "overdue"},
		store.Out{Kind: store.Edit, Target: card, Text: "HP-07: over"},
	)
	mustHave(t, s.finds(), "NOT RIGHT: messages: 5 could not be delivered", "benchbell undelivered")
	for range 2 { // a look changes nothing
		mustHave(
			t, s.mustRun("undelivered"),
			"2026-03-02 08:30, in the crew channel: **HP-07** is tested\n  the channel is archived\n",
			"never tried, in the thread of R-0001: a very long line", "…\n",
			"2026-03-02 08:30, to @duty.officer: R-0001.pdf\n", "to the account u2: overdue\n",
			"change of a post of R-0001: HP-07: over\n", "5 messages were not delivered", "--again",
		)
	}
	mustHave(t, s.mustRun("undelivered", "--again"), "will be sent again", "a newer text", "4 of 5 will be sent when the bot runs")
	mustHave(t, s.mustRun("undelivered"), "1 message was not delivered")
	st, err := store.Open("benchbell.db")
	if err != nil {
		t.Fatal(err)
	}
	defer st.Close()
	if pending, err := st.Pending(); err != nil || len(pending) != 4 {
		t.Errorf("%d messages are in the outbox, %v", len(pending), err)
	}
}
