package commands

import (
	"errors"
	"go/ast"
	"go/parser"
	"go/token"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"benchbell/core"
)

// quoted is what a reply shows as words to be copied.
var quoted = regexp.MustCompile("`([^`]*)`")

// lies returns the words that can be copied from a reply and that are neither an
// ellipsis, nor said to the bot, nor in what was said before.
func lies(reply string, said ...string) (found []string) {
	own := []string{"…", "@…", "all", "to", "at", "fitted", "change", "add", "l"}
	for _, f := range forms {
		own = append(own, f.verbs...)
	}
	for _, s := range said {
		own = append(own, strings.Fields(strings.ReplaceAll(strings.ToLower(plain(s)), ",", "."))...)
	}
	for _, m := range quoted.FindAllStringSubmatch(reply, -1) {
		for w := range strings.FieldsSeq(m[1]) {
			word := strings.Trim(strings.ReplaceAll(strings.ToLower(w), ",", "."), ".:;!?")
			if word != "" && !slices.ContainsFunc(own, func(o string) bool { return strings.Trim(o, ".:;!?()") == word || o == strings.ToLower(w) }) {
				found = append(found, w)
			}
		}
	}
	return found
}

// TestHelpHoldsNothingToCopy: whatever help shows can be copied and does nothing
// until it is filled in, in every place and phase.
func TestHelpHoldsNothingToCopy(t *testing.T) {
	var said []string
	for _, in := range []Place{Talk, Thread} {
		said = append(said, (Speaker{}).Help(Help{}, in, nil), (Speaker{}).Help(Help{Word: "all"}, in, nil))
		for _, f := range forms {
			said = append(said, (Speaker{}).Help(Help{Word: f.verbs[0]}, in, nil))
		}
		for _, phase := range []core.Phase{core.Prepare, core.Expansion, core.Hold, core.Restore, core.Over} {
			run := core.Run{Phase: phase, Suit: core.Suit{Tag: "HP-07"}}
			said = append(said, (Speaker{}).Help(Help{}, in, &run))
		}
	}
	for _, s := range said {
		if l := lies(s, "HP-07"); len(l) > 0 {
			t.Errorf("%s\nhas %q to copy", s, l)
		}
	}
	for _, f := range forms {
		for shape := range strings.SplitSeq(f.shape, " · ") {
			copied(t, shape)
		}
		copied(t, f.said("HP-07"))
		copied(t, f.said(""))
	}
}

// copied checks that what was printed with an ellipsis is refused as it stands,
// in every way to type one.
func copied(t *testing.T, printed string) {
	t.Helper()
	for _, typed := range []string{printed, strings.ReplaceAll(printed, "…", "..."), "please " + printed, "`" + printed + "`", strings.ReplaceAll(printed, "…", "“…”")} {
		for _, in := range []Place{Talk, Thread} {
			if want, err := Parse(typed, in); err == nil && strings.Contains(printed, "…") {
				t.Errorf("%q is taken for %#v", typed, want)
			}
		}
	}
}

// grave words end, block for good, or clear something.
var grave = []string{"retire", "withdraw", "release", "reinstate", "stop", "again", "undo", "nothing"}

// TestSuggestionsHoldNothingToCopy goes over what people say instead of what
// there is.
func TestSuggestionsHoldNothingToCopy(t *testing.T) {
	for text := range strings.SplitSeq(phrases, "\n") {
		if text = strings.TrimSpace(text); text == "" {
			continue
		}
		for _, in := range []Place{Talk, Thread} {
			_, err := Parse(text, in)
			m, is := errors.AsType[*Misunderstood](err)
			if !is {
				continue
			}
			reply, _ := (Speaker{}).Refuse(err, in)
			said := []string{text}
			if m.Also != "" { // both suits, spelled out
				said = append(said, m.Try, m.Also)
			}
			if airForm.MatchString(text) || fahrenheit.MatchString(strings.TrimPrefix(text, "air ")) {
				said = append(said, m.Try) // said in the other degree
			}
			if r, ok := readingAmong(strings.Fields(text)); ok {
				said = append(said, Print(r)) // 15.9 mbar for 15,9mbar!
			}
			if l := lies(reply, said...); len(l) > 0 {
				t.Errorf("%q, in %d: %s\nhas %q to copy", text, in, reply, l)
			}
			for _, try := range []string{m.Try, m.Also} {
				copied(t, try)
				verb, rest, _ := strings.Cut(try, " ")
				first, _, _ := strings.Cut(strings.ToLower(text), " ")
				if !slices.Contains(grave, verb) {
					continue
				}
				if d := edits(strings.Trim(first, ":,.!?"), verb); d > 1 {
					t.Errorf("%q suggests %q", text, try)
				}
				if tag, _, _ := strings.Cut(rest, " "); m.Also == "" && tag != "" && tag != "…" && !strings.Contains(text, tag) {
					t.Errorf("%q suggests %q about another suit", text, try)
				}
			}
		}
	}
}

// phrases are what people say in a crew's chat and in a run's thread.
const phrases = `
	return HP-07 to service
	put HP-07 back in service
	HP-07 not used
	HP-07 wasn't used
	HP-07 was never used
	HP-07 unused
	HP-07 isn't damaged
	HP-07 is undamaged
	no holes in HP-07
	no leaks found on HP-07
	HP-07 has not been repaired
	HP-07 needs repair
	HP-07 must be repaired
	HP-07 will be used tomorrow
	HP-07 should be withdrawn
	don't retire HP-07
	don't use HP-07
	not retired HP-07
	unretire HP-07
	unrelease HP-07
	retired HP-07
	retire HP-07
	retire
	retir HP-07 too old
	scrap HP-07
	HP-07 scrapped
	bin HP-07
	remove HP-07
	recall of HP-07
	withdrawn HP-07
	wihdraw HP-07 valve sticks
	released HP-07
	relese HP-07
	release the lot
	reinstated HP-07
	reinstat HP-07 wrong one
	revive HP-07
	tick 3 and 4 please
	check 3
	undo it
	unod 3
	undo used HP-07
	done
	done 1 3
	all done
	all
	everything
	finished
	ok not 4
	ok all but 4
	ok except 4
	4 not ok
	not ok 4
	4 5 6
	4, 5
	5-7, 9
	15,1 16
	15 1
	oops 15.9
	it says 15,9mbar!
	it says 15.9 mbar now
	15.9 was wrong
	not 15.9
	the reading was 15.9
	wrong
	wrong: 14.9
	correct 17,4 mbar
	correction
	typo
	fix that: 17.4
	fix it
	fix not 17.4
	fxi 14.9
	fit
	15.5 at 1
	13.9 at noon
	13.9 mbar at noon
	16.5 bananas
	15.2 mbra
	16 bar
	0.49 inHg
	29.92 inHg
	-0.2
	1.2.3
	21,5 °C
	70 °F
	air 70 °F
	air hot
	air
	21.5 degrees in here
	room 21
	valve 2
	baro high
	baro 760 mm
	baro 407 in
	baro 29.92 at 6:00
	baro
	top up
	topped up to 17.5
	vented a bit
	how long?
	how much longer
	next
	skip
	wait
	cancel
	abort
	quit
	end it
	stpo zipper jammed
	stopp zipper jammed
	step 3
	top
	repeat
	redo the test
	restart
	agian
	gain
	nothing happens
	nothing fits
	nothin fitted
	none fitted
	no plugs in it
	no
	nope
	bad
	bad hole
	bad 3
	mad 3 torn
	hand over to second.tester
	over to
	over
	note
	not
	leak
	with
	with M-2 please now
	with which one
	record
	record HP-07
	recrod R-0042
	recrod HP-07
	history
	histroy HP-07
	logbok HP-07
	last test of HP-07
	when was HP-07 tested
	HP-07 last used
	test
	tset HP-07
	tset HP-07 f1052
	test HP-07 and HP-08
	test HP-07 & 08
	retest HP-07
	rest HP-07
	how do I test a suit?
	untested HP-07
	statsu
	stauts HP-07
	status HP-07, 08
	status HP-07 HP-08
	is HP-07 or HP-08 ok?
	is HP-07 & 08 ok?
	HP-07 HP-08
	used
	use HP-07
	ued HP-07 yesterday
	wore HP-07
	wore HP-07 yesterday
	HP-07 was used yesterday
	HP-07 worn at the farm
	reused HP-07
	used. hm, wore HP-07
	used HP-07 Monday
	used HP-07 3/1/2026
	used HP-07 10pm tank 3
	used HP-07 2h ago
	used HP-07 & 08
	used HP-07, 08
	used HP-07 and 8
	used HP-07 08
	used HP-07/08
	used HP-07 HP-08
	used HP-07 at the farm, HP-10 too
	used HP-07 yesterday & 08
	found
	found HP-07
	found a hole in HP-07
	fuond HP-07 seam lifts
	sound HP-07
	HP-07 sounds fine
	HP-07 is leaking
	HP-07 is damaged
	HP-07 hole repaired
	found HP-07, 08 torn
	repaired
	repaired HP-07
	repaired HP-07 1 3:
	repaired HP-07 all
	repair HP-07 glove
	fixed HP-07 seam
	unrepaired HP-07
	mended the glove of HP-07
	repaired HP-07 and HP-08
	repaired HP-07, 08 seam
	cause
	cause HP-07
	casue HP-07 hose
	because of HP-07
	cause HP-07 & 08 hose
	withdraw HP-07
	withdraw HP-07 & 08 recall
	retire HP-07 + HP-08 too old
	release HP-07 & 08
	reinstate HP-07, 08
	suit
	suit HP-30
	suit add
	suit change HP-30 place
	suit change HP-30 place=…
	manometer
	manometer M-2
	manometer change M-2 …
	capacity HP-07 2 gallons 15.0 16.2 mbar
	capacity HP-07 2 L 15.0 16.2
	capacity HP-07 2 L 15.0 mbar 162 mm
	capacity tank
	added air
	add 2 gallons
	due when
	dew
	redy
	ready …
	shelf now
	import it
	imprt
	hlep
	good morning
	good morning @channel HP-07 rteire
	looks worn at the knee
	the zipper does not close
	👍
	…
	...
	… at …
	HP-07 …
	`

// TestHalfHeard: a second suit in a post is never swallowed, and the refusal says
// that nothing was recorded.
func TestHalfHeard(t *testing.T) {
	for _, tt := range []struct{ text, try, also string }{
		{"used HP-07 & 08", "used HP-07", "used HP-08"},
		{"used HP-07, 08", "used HP-07", "used HP-08"},
		{"used HP-07,08", "used HP-07", "used HP-08"},
		{"used HP-07+08", "used HP-07", "used HP-08"},
		{"used hp 7 and 8", "used hp-7", "used hp-8"},
		{"used HP-07 and 8", "used HP-07", "used HP-08"},
		{"used HP-07 and also 8", "used HP-07", "used HP-08"},
		{"used HP-07/08", "used HP-07", "used HP-08"},
		{"used HP-07 / 08", "used HP-07", "used HP-08"},
		{"used HP-07 08", "used HP-07", "used HP-08"},
		{"used HP-07 HP-08", "used HP-07", "used HP-08"},
		{"used HP-07 to 09", "used HP-07", "used HP-09"},
		{"used HP-07 at the farm, HP-10 too", "used HP-07 …", "used HP-10 …"},
		{"used HP-07 at the farm with hp 10", "used HP-07 …", "used hp-10 …"},
		{"used HP-07 & 08 at the farm", "used HP-07 …", "used HP-08 …"},
		{"used HP-07 yesterday & 08", "used HP-07 …", "used HP-08 …"},
		{"found HP-07, 08 torn", "found HP-07 …", "found HP-08 …"},
		{"found HP-10 as in HP-09", "found HP-10 …", "found HP-09 …"},
		{"repaired HP-07 & 08 seam", "repaired HP-07 …", "repaired HP-08 …"},
		{"repaired HP-07 08 seam", "repaired HP-07 …", "repaired HP-08 …"},
		{"cause HP-07, HP-08 the hose", "cause HP-07 …", "cause HP-08 …"},
		{"withdraw HP-07 and 8, recall", "withdraw HP-07 …", "withdraw HP-08 …"},
		{"retire HP-07/08 too old", "retire HP-07 …", "retire HP-08 …"},
		{"reinstate HP-07;HP-08 found", "reinstate HP-07 …", "reinstate HP-08 …"},
		{"release HP-07 & 08", "release HP-07", "release HP-08"},
		{"test HP-07 & 08", "test HP-07", "test HP-08"},
		{"test HP-07 with HP-08", "test HP-07", "test HP-08"},
		{"used HP-07 & 0815", "used HP-07 …", ""},
	} {
		_, err := Parse(tt.text, Talk)
		m, ok := errors.AsType[*Misunderstood](err)
		if !ok || m.Try != tt.try || m.Also != tt.also {
			t.Errorf("Parse(%q): %v, want %q and %q", tt.text, err, tt.try, tt.also)
			continue
		}
		reply, _ := (Speaker{}).Refuse(err, Talk)
		if !strings.Contains(reply, "One suit a post") || !strings.Contains(reply, "othing was recorded") || !m.Meant() {
			t.Errorf("%q: %s", tt.text, reply)
		}
	}
}

// TestRefusalsHoldNothingToCopy words every reason there is: each has words of its
// own, and nothing to copy but what the person said or what it is about.
func TestRefusalsHoldNothingToCopy(t *testing.T) {
	file, err := parser.ParseFile(token.NewFileSet(), "../core/refusal.go", nil, 0)
	if err != nil {
		t.Fatal(err)
	}
	count := 0
	ast.Inspect(file, func(n ast.Node) bool {
		v, ok := n.(*ast.ValueSpec)
		if !ok {
			return true
		}
		if id, ok := v.Type.(*ast.Ident); !ok || id.Name != "Why" {
			return true
		}
		text, err := strconv.Unquote(v.Values[0].(*ast.BasicLit).Value)
		if err != nil {
			t.Fatal(err)
		}
		count++
		for _, choices := range [][]string{nil, {"X-91", "X-92"}} {
			for _, fix := range []bool{false, true} {
				r := &core.Refusal{
					Why: core.Why(text), Suit: "HP-07", Run: 42, Method: "en943", Manometer: "M-1", Person: core.Person{Name: "second"},
					Item: 4, Digits: "15.5", Unit: core.Mbar, Until: time.Unix(0, 0), Choices: choices, Like: "16.5", Fix: fix,
				}
				reply, ok := (Speaker{Zone: time.UTC}).Refuse(r, Thread)
				if !ok || reply == text+"." {
					t.Errorf("%s has no words", v.Names[0])
				}
				said := []string{"HP-07", "15.5", "en943", "M-1", "second"}
				switch r.Why {
				case core.NotTheTester: // who asks says who they are
					said = append(said, "@X-91")
				case core.WhichDefect, core.NoSuchDefect: // quoted, with their numbers
					said = append(said, "X-91", "X-92", "1")
				}
				if l := lies(reply, said...); len(l) > 0 {
					t.Errorf("%s: %s\nhas %q to copy", v.Names[0], reply, l)
				}
				if strings.Contains(reply, "ok all") && r.Why != core.NotPrepared {
					t.Errorf("%s: %s", v.Names[0], reply)
				}
			}
		}
		return true
	})
	if count < 60 {
		t.Errorf("%d reasons found: this test no longer reads them", count)
	}
}
