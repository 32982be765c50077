package commands

import (
	"errors"
	"reflect"
	"strings"
	"testing"
	"time"

	"benchbell/core"
)

func TestParse(t *testing.T) {
	for _, tt := range []struct {
		in   Place
		text string
		want any
	}{
		{Talk, "test HP-07", core.Open{Suit: "HP-07"}},
		{Talk, "TEST hp7 f1052 With m-2", core.Open{Suit: "hp7", Method: "f1052", Manometer: "m-2"}},
		{Talk, "test HP 07 EN 943", core.Open{Suit: "HP-07", Method: "EN 943"}},
		{Talk, "test HP-07 by osha", core.Open{Suit: "HP-07", Method: "osha"}},
		{Talk, "HP-07", core.AskSuit{Suit: "HP-07"}},
		{Talk, "hp7?", core.AskSuit{Suit: "hp7"}},
		{Talk, "HP-7", core.AskSuit{Suit: "HP-7"}},
		{Talk, "used a-1b", core.NoteUsed{Suit: "a-1b"}},
		{Talk, "HP 07", core.AskSuit{Suit: "HP-07"}},
		{Talk, "can HP-07 go out?", core.AskSuit{Suit: "HP-07"}},
		{Talk, "status HP-07", core.AskSuit{Suit: "HP-07"}},
		{Talk, "Status", core.AskFleet{}},
		{Talk, "", Help{}},
		{Talk, "help test", Help{Word: "test"}},
		{Talk, "used HP-07 tank 3, chlorine", core.NoteUsed{Suit: "HP-07", Note: "tank 3, chlorine"}},
		{Talk, "found HP-07 seam lifts", core.NoteFound{Suit: "HP-07", What: "seam lifts"}},
		{Thread, "ok", core.Tick{}},
		{Thread, "OK All", core.Tick{All: true}},
		{Thread, "ok 1 3", core.Tick{Items: []int{1, 3}}},
		{Thread, "ok 1, 3 and 5-7", core.Tick{Items: []int{1, 3, 5, 6, 7}}},
		{Thread, "bad 2 hole in left glove", core.Bad{Item: 2, What: "hole in left glove"}},
		{Thread, "16.5", core.Read{Digits: "16.5"}},
		{Thread, "**16,5** mbar", core.Read{Digits: "16.5", Unit: core.Mbar}},
		{Thread, "16.5mbar.", core.Read{Digits: "16.5", Unit: core.Mbar}},
		{Thread, "1650 Pa", core.Read{Digits: "1650", Unit: core.Pa}},
		{Thread, "168 mm wg", core.Read{Digits: "168", Unit: core.MmH2O}},
		{Thread, `6.6"wg`, core.Read{Digits: "6.6", Unit: core.InH2O}},
		{Thread, "6.6 in. w.g.", core.Read{Digits: "6.6", Unit: core.InH2O}},
		{Thread, "13.9 at 6:00", core.Read{Digits: "13.9", Stated: 6 * time.Minute, HasStated: true}},
		{Thread, "13,9 mbar @ 5 min", core.Read{Digits: "13.9", Unit: core.Mbar, Stated: 5 * time.Minute, HasStated: true}},
		{Thread, "13.9 at 5m30s", core.Read{Digits: "13.9", Stated: 5*time.Minute + 30*time.Second, HasStated: true}},
		{Thread, "fix 14,9", core.Fix{Digits: "14.9"}},
		{Thread, "air 21,5 °C", core.Air{Celsius: "21.5"}},
		{Thread, "air -3", core.Air{Celsius: "-3"}},
		{Thread, "baro 1013", core.Baro{Digits: "1013", Unit: core.HPa}},
		{Thread, "with M-2", core.Use{Manometer: "M-2"}},
		{Thread, "note visor scratched", core.Remark{Text: "visor scratched"}},
		{Thread, "stop", core.Stop{}},
		{Thread, "Stop: zipper jammed", core.Stop{Why: "zipper jammed"}},
		{Thread, "again", core.Repeat{}},
		{Thread, "again please", core.Repeat{}},
		{Thread, "Again: the hose slipped off", core.Repeat{Why: "the hose slipped off"}},
		{Thread, "nothing fitted", core.NothingFitted{}},
		{Thread, "Nothing was fitted yet.", core.NothingFitted{}},
		{Thread, "nothing in it", core.NothingFitted{}},
		{Thread, "tick 1", core.Tick{Items: []int{1}}},
		{Thread, "Tick all", core.Tick{All: true}},
		{Thread, "ok 1,3", core.Tick{Items: []int{1, 3}}},
		{Thread, "15,1", core.Read{Digits: "15.1"}},
		{Thread, "1,3", core.Read{Digits: "1.3"}},
		{Thread, "baro 1013.25 hPa", core.Baro{Digits: "1013.25", Unit: core.HPa}},
		{Thread, "baro 1013 mbar", core.Baro{Digits: "1013", Unit: core.Mbar}},
		{Thread, "baro 101,3 kPa", core.Baro{Digits: "101.3", Unit: core.KPa}},
		{Thread, "baro 760 mmHg", core.Baro{Digits: "760", Unit: core.MmHg}},
		{Thread, "baro 29.92", core.Baro{Digits: "29.92", Unit: core.InHg}},
		{Thread, "baro 29,92 in", core.Baro{Digits: "29.92", Unit: core.InHg}},
		{Thread, "baro 29.92inches", core.Baro{Digits: "29.92", Unit: core.InHg}},
		{Thread, `baro 29.92"`, core.Baro{Digits: "29.92", Unit: core.InHg}},
		{Thread, "baro 29.92 in. Hg", core.Baro{Digits: "29.92", Unit: core.InHg}},
		{Thread, "barometer 22.4 inches of mercury", core.Baro{Digits: "22.4", Unit: core.InHg}},
		{Thread, "baro 33", core.Baro{Digits: "33", Unit: core.InHg}},
		{Thread, "baro 33.01", core.Baro{Digits: "33.01", Unit: core.HPa}},
		{Talk, "cause HP-07: the hose was split", core.NoteCause{Suit: "HP-07", What: "the hose was split"}},
		{Talk, "reinstate hp7 wrong suit", core.Reinstate{Suit: "hp7", Why: "wrong suit"}},
		{Talk, "repaired HP-07 seam taped", core.NoteRepaired{Suit: "HP-07", What: "seam taped"}},
		{Talk, "repaired HP-07 1 3: seam taped", core.NoteRepaired{Suit: "HP-07", What: "seam taped", Of: []int{1, 3}}},
		{Talk, "repaired HP-07 1, 2 and 3: seam taped", core.NoteRepaired{Suit: "HP-07", What: "seam taped", Of: []int{1, 2, 3}}},
		{Talk, "repaired HP-07 2: new valve", core.NoteRepaired{Suit: "HP-07", What: "new valve", Of: []int{2}}},
		{Talk, "repaired HP-07 2 new valves", core.NoteRepaired{Suit: "HP-07", What: "2 new valves"}},
		{Talk, "repaired HP-07 seam taped, no leak now", core.NoteRepaired{Suit: "HP-07", What: "seam taped, no leak now"}},
		{Talk, "cause HP-13 hose not seated", core.NoteCause{Suit: "HP-13", What: "hose not seated"}},
		{Talk, "repaired HP-07 all by the maker", core.NoteRepaired{Suit: "HP-07", What: "by the maker", All: true}},
		{Talk, "found HP-07 2 holes", core.NoteFound{Suit: "HP-07", What: "2 holes"}},
		{Talk, "used HP-07 14:30", core.NoteUsed{Suit: "HP-07", When: "14:30"}},
		{Talk, "used HP-07, 14:30 tank 3", core.NoteUsed{Suit: "HP-07", When: "14:30", Note: "tank 3"}},
		{Talk, "used HP-07, 2026-03-01 10:00", core.NoteUsed{Suit: "HP-07", When: "2026-03-01 10:00"}},
		{Talk, "used HP-07, 1.3.2026", core.NoteUsed{Suit: "HP-07", When: "2026-03-01"}},
		{Thread, "over to @second.tester", core.HandOver{To: core.Person{Name: "second.tester"}}},
		{Thread, "over to me", core.HandOver{Me: true}},
		{Thread, "Over to myself!", core.HandOver{Me: true}},
		{Thread, "over to @me", core.HandOver{To: core.Person{Name: "me"}}},
		{Thread, "where?", core.AskWhere{}},
		{Thread, "capacity", core.Measure{}},
		{Talk, "capacity hp7", core.Measure{Suit: "hp7"}},
		{Talk, "capacity HP-07 2,5 l 15,0 to 16,2 mbar", core.Measure{Suit: "HP-07", Litres: "2.5", From: "15.0", To: "16.2", Unit: core.Mbar}},
		{Talk, "capacity HP-07 2500 mL 150 162 mm", core.Measure{Suit: "HP-07", Litres: "2.500", From: "150", To: "162", Unit: core.MmH2O}},
		{Talk, "capacity hp 7 2L from 15.0mbar to 16.2mbar", core.Measure{Suit: "hp-7", Litres: "2", From: "15.0", To: "16.2", Unit: core.Mbar}},
		{Talk, "import please", core.ImportFiles{}},
		{Talk, "suit change HP-30 place=“Station 1”, size = L", core.Enter{Name: "HP-30", Change: true, Fields: []core.Field{{Column: "place", Value: "Station 1"}, {Column: "size", Value: "L"}}}},
		{Talk, "manometer change M-1 resolution=0,01, unit=mbar", core.Enter{Manometer: true, Name: "M-1", Change: true, Fields: []core.Field{{Column: "resolution", Value: "0,01"}, {Column: "unit", Value: "mbar"}}}},
		{Thread, "2 L", core.AddAir{Litres: "2"}},
		{Thread, "2,50 litres.", core.AddAir{Litres: "2.50"}},
		{Thread, "added 1.5l", core.AddAir{Litres: "1.5"}},
		{Thread, "fix 2 L", core.AddAir{Litres: "2"}},
		{Thread, "500 mL", core.AddAir{Litres: "0.500"}},
		{Thread, "50 ml", core.AddAir{Litres: "0.050"}},
		{Thread, "1999,5 ML", core.AddAir{Litres: "1.9995"}},
		{Thread, "12000 millilitres", core.AddAir{Litres: "12.000"}},
		{Talk, "16.5", core.Read{Digits: "16.5"}},
		{Talk, "where", core.AskWhere{}},
		{Thread, "HP-08", core.AskSuit{Suit: "HP-08"}},
		{Talk, "Please test HP-07", core.Open{Suit: "HP-07"}},
		{Thread, "please note visor  scratched", core.Remark{Text: "visor scratched"}},
		{Talk, "is HP-07 ok", core.AskSuit{Suit: "HP-07"}},
		{Thread, "temp 21", core.Air{Celsius: "21"}},
		{Thread, "temperature 21,5 °C", core.Air{Celsius: "21.5"}},
		{Thread, "barometer 1013", core.Baro{Digits: "1013", Unit: core.HPa}},
		{Thread, "air 21.5 degrees", core.Air{Celsius: "21.5"}},
		{Thread, "OK ALL 👍", core.Tick{All: true}},
		{Thread, "16.5 :+1:", core.Read{Digits: "16.5"}},
		{Thread, "👍 note 1:2:3 fits 👍", core.Remark{Text: "1:2:3 fits 👍"}},
		{Thread, "**note** `x` *y*", core.Remark{Text: "`x` *y*"}},
		{Thread, "please😀note👍x", core.Remark{Text: "👍x"}},
		{Thread, "pressure: 16,5 mbar", core.Read{Digits: "16.5", Unit: core.Mbar}},
		{Thread, "over @second.tester", core.HandOver{To: core.Person{Name: "second.tester"}}},
		{Thread, "where are we?", core.AskWhere{}},
		{Thread, "why fail?", core.AskWhy{}},
		{Thread, "thank you!", Thanks{}},
		{Talk, "?", Help{}},
		{Talk, "why is HP-13 not fit?", core.AskSuit{Suit: "HP-13"}},
		{Talk, "can HP-07 go to tank3?", core.AskSuit{Suit: "HP-07"}},
		{Talk, "status of hp 7", core.AskSuit{Suit: "hp-7"}},
		{Talk, "which suits are ready", core.AskReady{}},
		{Talk, "what can go out?", core.AskReady{}},
		{Talk, "ready for Tender 1", core.AskReady{Want: "Tender 1"}},
		{Talk, "which suits are not fit?", core.AskFleet{}},
		{Talk, "what's due?", core.AskDue{}},
		{Talk, "overdue", core.AskDue{}},
		{Talk, "history hp 7", core.AskHistory{Suit: "hp-7"}},
		{Talk, "logbook for HP-07", core.AskLogbook{Suit: "HP-07"}},
		{Talk, "release HP-10 please", core.Release{Suit: "HP-10"}},
		{Talk, "found HP-10: hole in left glove", core.NoteFound{Suit: "HP-10", What: "hole in left glove"}},
		{Talk, "used hp 8 tank3", core.NoteUsed{Suit: "hp-8", Note: "tank3"}},
		{Talk, "used HP-08 yesterday at 9:30, tank 3", core.NoteUsed{Suit: "HP-08", When: "yesterday 09:30", Note: "tank 3"}},
		{Talk, "used the HP-08.", core.NoteUsed{Suit: "HP-08"}},
		{Talk, "used HP-08 on 2026-03-01: drill", core.NoteUsed{Suit: "HP-08", When: "2026-03-01", Note: "drill"}},
		{Talk, "used HP-08 1.3.2026 22:15", core.NoteUsed{Suit: "HP-08", When: "2026-03-01 22:15"}},
	} {
		got, err := Parse(tt.text, tt.in)
		if err != nil {
			t.Errorf("Parse(%q): %v", tt.text, err)
		} else if !reflect.DeepEqual(got, tt.want) {
			t.Errorf("Parse(%q) = %#v, want %#v", tt.text, got, tt.want)
		}
	}
}

// TestMisunderstood checks that what is not understood gets the nearest thing
// that is, and that this really parses; with an ellipsis in it, that it does not.
func TestMisunderstood(t *testing.T) {
	for _, tt := range []struct {
		in        Place
		text, try string
	}{
		{Talk, "tset HP-07", "test HP-07"},
		{Talk, "statsu", "status"},
		{Talk, "test", "test …"},
		{Talk, "16.5 bananas", "help"},
		{Talk, "good morning", "help"},
		{Talk, "used. hm, wore HP-07", "used HP-07 …"},
		{Talk, "use HP-09", "used HP-09"},
		{Thread, "oops 15.9", "15.9"},
		{Thread, "it says 15,9mbar!", "15.9 mbar"},
		{Thread, "it says 15.9 mbar now", "15.9 mbar"},
		{Thread, "done", "where"},
		{Thread, "all ok", "where"},
		{Thread, "top up", "where"},
		{Thread, "topped up to 17.5", "17.5"},
		{Thread, "how long?", "where"},
		{Thread, "ok all but 4", "ok …"},
		{Thread, "ok except 4", "ok …"},
		{Thread, "4 5 6", "ok 4 5 6"},
		{Thread, "4 not ok", "bad 4 …"},
		{Thread, "not ok 4", "bad 4 …"},
		{Thread, "15.5 at 1", "15.5 at …"},
		{Talk, "test HP-08 and HP-09", "test HP-08"},
		{Talk, "suit HP-30", "suit change HP-30 …"},
		{Talk, "capacity HP-09 2 L 15.0 16.2", "capacity HP-09 …"},
		{Talk, "capacity HP-09 2 L 15.0 mbar 162 mm", "capacity HP-09 …"},
		{Thread, "cancel", "help"},
		{Thread, "correct 17,4 mbar", "fix 17.4 mbar"},
		{Thread, "fix that: 17.4", "fix 17.4"},
		{Thread, "👍", "where"},
		{Thread, "15.2 mbra", "15.2 …"},
		{Thread, "17,5 ok", "17.5 …"},
		{Thread, "21,5 °C", "air 21.5"},
		{Talk, "is HP-07 or HP-05 ok?", "HP-07"},
		{Talk, "HP-09 HP-08", "status HP-09"},
		{Talk, "used HP-08 and HP-09", "used HP-08"},
		{Talk, "used HP-08, hp9 tank 3", "used HP-08 …"},
		{Talk, "used HP-08 yesterday with HP-09", "used HP-08 …"},
		{Talk, "used HP-08 3/1/2026", "used HP-08 …"},
		{Talk, "used HP-08 Monday", "used HP-08 …"},
		{Talk, "used HP-08 10pm tank 3", "used HP-08 …"},
		{Talk, "used HP-08 2h ago", "used HP-08 …"},
		{Talk, "HP-07 is leaking", "found HP-07 …"},
		{Talk, "HP-08 was used yesterday", "used HP-08 …"},
		{Talk, "wore HP-09", "used HP-09"},
		{Talk, "found a hole in HP-10", "found HP-10 …"},
		{Talk, "HP-10 is damaged", "found HP-10 …"},
		{Talk, "repair HP-10 glove", "status HP-10"},
		{Talk, "withdraw HP-10", "withdraw HP-10 …"},
		{Talk, "released HP-13", "release HP-13"},
		{Talk, "tset hp9 en943", "test hp9 en943"},
		{Talk, "record HP-07", "history HP-07"},
		{Talk, "how do I test a suit?", "test …"},
		{Talk, "last test of HP-09", "history HP-09"},
		{Thread, "room 21", "note …"},
		{Thread, "looks worn at the knee", "note …"},
		{Thread, "fxi 14.9", "fix 14.9"},
		{Thread, "16.5 bananas", "16.5 …"},
		{Thread, "-0.2", "reading …"},
		{Thread, "1.2.3", "reading …"},
		{Thread, "13.9 at noon", "13.9 at …"},
		{Thread, "bad hole", "bad …"},
		{Thread, "ok 7-5", "ok …"},
		{Thread, "added air", "added …"},
		{Talk, "capacity HP-07 2 gallons 15.0 16.2 mbar", "capacity HP-07 …"},
		{Thread, "air hot", "air …"},
		{Thread, "air 70 °F", "air 21.1"},
		{Thread, "over to", "over to @…"},
		{Thread, "hand over to second.tester", "over to @…"},
	} {
		_, err := Parse(tt.text, tt.in)
		m, ok := errors.AsType[*Misunderstood](err)
		if !ok {
			t.Errorf("Parse(%q): error %v, want a *Misunderstood", tt.text, err)
			continue
		}
		if m.Try != tt.try {
			t.Errorf("Parse(%q) suggests %q, want %q", tt.text, m.Try, tt.try)
		}
		if _, err := Parse(m.Try, tt.in); (err == nil) == strings.Contains(m.Try, "…") {
			t.Errorf("the suggestion %q, as it stands: %v", m.Try, err)
		}
	}
}

// TestExamplesParse holds the table of forms to what it says of itself.
func TestExamplesParse(t *testing.T) {
	for _, f := range forms {
		in := Place(f.in)
		if f.in == anywhere {
			in = Talk
		}
		if _, err := Parse(f.example, in); err != nil {
			t.Errorf("the example %q of %q does not parse: %v", f.example, f.shape, err)
		}
		if got := (Speaker{}).Help(Help{Word: f.verbs[0]}, in, nil); !strings.Contains(got, shapes(f.shape)) {
			t.Errorf("help %s = %q, which does not show %q", f.verbs[0], got, f.shape)
		}
	}
}

// FuzzParse holds what people type to one law: what was understood, printed as
// it is best typed, is understood as the same.
func FuzzParse(f *testing.F) {
	for _, form := range forms {
		f.Add(form.example, true)
		f.Add(form.example, false)
	}
	for _, s := range []string{
		"16,5 mbar", `6.6"wg at 3:00`, "ok 1-3, 7", "HP 07", "can HP-07 go out?", "13.9 at 5 min", "air -3,5 °C",
		"note @channel ```", "repaired a1 1 and 2, - 3 x", "repaired a1 all all y", "cause a1 z", "reinstate a1 z", "nothing fitted", "again x", "tick 1", "15,1", "\u202ffix\u00a014.9", "baro 29.92 inHg", "test a1 with", "0000.5000 kPa", "over to @a.b.", "help ok",
		"repaired a0 !01 a", "stop: it", "note : to", "2,5 L", "500.5 mL", "fix 0 l", "capacity", "capacity a1 00020 ml 1 2 Pa",
	} {
		f.Add(s, true)
		f.Add(s, false)
	}
	f.Fuzz(func(t *testing.T, text string, thread bool) {
		in := Talk
		if thread {
			in = Thread
		}
		got, err := Parse(text, in)
		if err != nil {
			if _, ok := errors.AsType[*Misunderstood](err); !ok {
				t.Fatalf("Parse(%q): %v is no *Misunderstood", text, err)
			}
			if reply, ok := (Speaker{}).Refuse(err, in); !ok || reply == "" {
				t.Fatalf("no reply to %q", text)
			}
			return
		}
		printed := Print(got)
		again, err := Parse(printed, in)
		if err != nil {
			t.Fatalf("Parse(%q) = %#v, printed %q, which is not understood: %v", text, got, printed, err)
		}
		if !reflect.DeepEqual(again, got) {
			t.Fatalf("Parse(%q) = %#v, printed %q, understood as %#v", text, got, printed, again)
		}
	})
}
