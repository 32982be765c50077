package calendar

import (
	"bytes"
	"errors"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode"
	"unicode/utf8"

	ical "github.com/emersion/go-ical"

	"benchbell/core"
)

var update = flag.Bool("update", false, "write the golden files anew")

// The invented station Harrow Point.
const domain = "harrow-point.example"

var morning = time.Date(2026, 3, 2, 8, 30, 15, 250e6, time.UTC)

func day(year int, month time.Month, d int) core.Date {
	return core.Date{Year: year, Month: month, Day: d}
}

func harrowPoint() Feed {
	return Feed{
		Name: "Suits of Harrow Point", Domain: domain, Remind: 7, Modified: morning,
		Events: []Event{
			{Kind: core.NoticeLastDay, Thing: "HP-07", Day: day(2027, 3, 2), Place: "rack 2", Sequence: 17, Stamp: morning},
			{Kind: core.NoticeLifeEnds, Thing: "HP-07", Day: day(2031, 12, 31), Place: "rack 2", Sequence: 17, Stamp: morning},
			{
				Kind: core.NoticeLastDay, Thing: "HP-08", Day: day(2026, 2, 28), Place: `locker "B"; row 4, left \ upper`,
				Note:     "Zipper stiff, see the last record: été, 冬, 🧤. The maker's letter of January says that the glove rings of this lot are to be looked at twice a year.\nAsk duty.officer.",
				Sequence: 1, Stamp: morning.In(time.FixedZone("", 3600)),
			},
			{Kind: core.NoticeCalibrate, Thing: "M-1", Day: day(2026, 12, 31), Sequence: 2, Stamp: morning},
		},
	}
}

func written(t testing.TB, f Feed) []byte {
	t.Helper()
	var out bytes.Buffer
	if err := Write(&out, f); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

// parsed reads a calendar by another program than the one that wrote it.
func parsed(t testing.TB, data []byte) *ical.Calendar {
	t.Helper()
	cal, err := ical.NewDecoder(bytes.NewReader(data)).Decode()
	if err != nil {
		t.Fatalf("%v in\n%s", err, data)
	}
	return cal
}

func property(t testing.TB, c *ical.Component, name string) string {
	t.Helper()
	if n := len(c.Props.Values(name)); n != 1 {
		t.Fatalf("%s has %d of %s", c.Name, n, name)
	}
	value, err := c.Props.Get(name).Text()
	if err != nil {
		t.Fatalf("%s of %s: %v", name, c.Name, err)
	}
	return value
}

func TestWrite(t *testing.T) {
	got := written(t, harrowPoint())
	path := filepath.Join("testdata", "harrow-point.ics")
	if *update {
		if err := errors.Join(os.MkdirAll("testdata", 0o755), os.WriteFile(path, got, 0o644)); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(got, want) {
		t.Errorf("the calendar is another than %s:\n%s", path, got)
	}
	holdToRules(t, got)
}

func TestEventsComeBack(t *testing.T) {
	feed := harrowPoint()
	cal := parsed(t, written(t, feed))
	for name, want := range map[string]string{
		"VERSION": "2.0", "METHOD": "PUBLISH", "PRODID": "-//Benchbell//Due dates//EN",
		"NAME": feed.Name, "X-WR-CALNAME": feed.Name, "REFRESH-INTERVAL": "PT6H",
	} {
		if p := cal.Props.Get(name); p == nil || p.Value != want {
			t.Errorf("%s is %v, want %q", name, p, want)
		}
	}
	events := cal.Events()
	if len(events) != len(feed.Events) {
		t.Fatalf("%d events, want %d", len(events), len(feed.Events))
	}
	uids := []string{"test.HP-07@" + domain, "life.HP-07@" + domain, "test.HP-08@" + domain, "calibration.M-1@" + domain}
	summaries := []string{"HP-07: last day in test", "HP-07: last day of life", "HP-08: last day in test", "M-1: last day in calibration"}
	for i, event := range events {
		want, c := feed.Events[i], event.Component
		for name, value := range map[string]string{
			"UID": uids[i], "SUMMARY": summaries[i], "LOCATION": want.Place, "DESCRIPTION": want.Note, "TRANSP": "TRANSPARENT",
		} {
			if value == "" {
				if c.Props.Get(name) != nil {
					t.Errorf("%s has %s", uids[i], name)
				}
				continue
			}
			if got := property(t, c, name); got != value {
				t.Errorf("%s of %s is %q, want %q", name, uids[i], got, value)
			}
		}
		if n, err := c.Props.Get("SEQUENCE").Int(); uint64(n) != want.Sequence || err != nil {
			t.Errorf("SEQUENCE of %s is %d, %v", uids[i], n, err)
		}
		stamp := c.Props.Get("DTSTAMP")
		if at, err := stamp.DateTime(nil); !at.Equal(morning.Truncate(time.Second)) || stamp.Value != "20260302T083015Z" || err != nil {
			t.Errorf("DTSTAMP of %s is %s, %v", uids[i], stamp.Value, err)
		}
		start := c.Props.Get("DTSTART")
		if at, err := start.DateTime(nil); core.DateAt(at, time.UTC) != want.Day || start.ValueType() != ical.ValueDate || err != nil {
			t.Errorf("DTSTART of %s is %+v, %v", uids[i], start, err)
		}
		alarm := c.Children[0]
		if alarm.Name != ical.CompAlarm || property(t, alarm, "ACTION") != "DISPLAY" || property(t, alarm, "DESCRIPTION") != summaries[i] || alarm.Props.Get("TRIGGER").Value != "-P6DT15H" {
			t.Errorf("alarm of %s: %+v", uids[i], alarm)
		}
	}
}

// Nine in the morning, so many days before the day begins.
func TestTrigger(t *testing.T) {
	for days, want := range map[int]time.Duration{1: -15 * time.Hour, 2: -39 * time.Hour, 7: -159 * time.Hour, 30: -711 * time.Hour} {
		p := ical.NewProp("TRIGGER")
		p.Value = trigger(days)
		if got, err := p.Duration(); got != want || err != nil {
			t.Errorf("%d days before: %s is %v, %v, want %v", days, p.Value, got, err, want)
		}
		if !duration.MatchString(p.Value) {
			t.Errorf("%s is no duration", p.Value)
		}
	}
	feed := harrowPoint()
	feed.Remind = 0
	if bytes.Contains(written(t, feed), []byte("VALARM")) {
		t.Error("there is an alarm, and nobody wanted one")
	}
}

// An empty calendar still has the component that RFC 5545, 3.6, asks for.
func TestNothingDue(t *testing.T) {
	data := written(t, Feed{Domain: domain})
	holdToRules(t, data)
	cal := parsed(t, data)
	if len(cal.Children) != 1 || cal.Children[0].Name != ical.CompTimezone || len(cal.Events()) != 0 {
		t.Errorf("components %+v", cal.Children)
	}
}

func TestWhatCannotBeWritten(t *testing.T) {
	good := harrowPoint().Events[0]
	with := func(change func(*Event)) Feed {
		e := good
		change(&e)
		return Feed{Domain: domain, Events: []Event{good, e}}
	}
	for want, f := range map[string]Feed{
		"without a domain":                    {Events: []Event{good}},
		`nothing falls due by "test overdue"`: with(func(e *Event) { e.Kind = core.NoticeOverdue }),
		"it is about nothing":                 with(func(e *Event) { e.Thing = " \x00" }),
		"it has no day":                       with(func(e *Event) { e.Day = core.Date{} }),
		"it has no moment":                    with(func(e *Event) { e.Stamp = time.Time{} }),
		"its sequence 2147483648 is too high": with(func(e *Event) { e.Sequence = 1 << 31 }),
		`of "HP-07" is in the calendar twice`: with(func(e *Event) { e.Day = day(2028, 1, 1) }),
	} {
		var out bytes.Buffer
		if err := Write(&out, f); err == nil || !strings.Contains(err.Error(), want) || out.Len() > 0 {
			t.Errorf("error %v after %d bytes, want one that says %q", err, out.Len(), want)
		}
	}
	full := errors.New("no space left")
	if err := Write(failing{full}, harrowPoint()); !errors.Is(err, full) {
		t.Errorf("a writer that fails: %v", err)
	}
}

type failing struct{ err error }

func (f failing) Write([]byte) (int, error) { return 0, f.err }

// What the RFC's rules speak of, as far as it is in these calendars.
var (
	contentLine = regexp.MustCompile(`^([A-Z-]+)((?:;[A-Z-]+=[A-Z-]+)*):(.*)$`)
	utc         = regexp.MustCompile(`^\d{8}T\d{6}Z$`)
	date        = regexp.MustCompile(`^\d{8}$`)
	// dur-value of RFC 5545, 3.3.6, but for weeks.
	duration = regexp.MustCompile(`^[+-]?P(?:\d+D(?:T(?:\d+H)?(?:\d+M)?(?:\d+S)?)?|T\d+H(?:\d+M(?:\d+S)?)?|T\d+M(?:\d+S)?|T\d+S)$`)
	// TEXT of 3.3.11: a backslash, a comma or a semicolon stands only behind a
	// backslash.
	textValue = regexp.MustCompile(`^(?:[^\\,;\x00-\x08\x0a-\x1f\x7f]|\\[\\,;nN])*$`)
)

// unfolded checks the lines as they are sent (RFC 5545, 3.1) and returns the
// content lines.
func unfolded(t testing.TB, data []byte) []string {
	t.Helper()
	text, ok := strings.CutSuffix(string(data), "\r\n")
	if !ok {
		t.Fatal("the last line has no end")
	}
	var lines []string
	for line := range strings.SplitSeq(text, "\r\n") {
		switch {
		case len(line) > 75:
			t.Errorf("a line of %d octets: %q", len(line), line)
		case !utf8.ValidString(line):
			t.Errorf("a letter was cut in two: %q", line)
		case strings.ContainsFunc(line, func(r rune) bool { return unicode.IsControl(r) && r != '\t' }):
			t.Errorf("a control character: %q", line)
		case line == "" || line == " ":
			t.Errorf("an empty line")
		}
		if more, ok := strings.CutPrefix(line, " "); ok && len(lines) > 0 {
			lines[len(lines)-1] += more
			continue
		}
		lines = append(lines, line)
	}
	return lines
}

// holdToRules holds a calendar to RFC 5545, by its bytes alone.
func holdToRules(t testing.TB, data []byte) {
	t.Helper()
	var open []string
	had := []map[string]int{{}}
	uids := make(map[string]bool)
	components := 0
	for _, line := range unfolded(t, data) {
		m := contentLine.FindStringSubmatch(line)
		if m == nil {
			t.Fatalf("no content line: %q", line)
		}
		name, param, value := m[1], m[2], m[3]
		switch name {
		case "BEGIN":
			open, had = append(open, value), append(had, map[string]int{})
			if len(open) == 2 {
				components++
			}
			continue
		case "END":
			last := len(open) - 1
			if last < 0 || open[last] != value {
				t.Fatalf("END of %s inside %v", value, open)
			}
			complete(t, value, had[last+1])
			open, had = open[:last], had[:last+1]
			continue
		}
		if len(open) == 0 {
			t.Fatalf("%s stands outside", name)
		}
		had[len(had)-1][name]++
		checkValue(t, name, param, value)
		if name == "UID" && uids[value] {
			t.Errorf("UID %s is there twice", value)
		}
		uids[value] = uids[value] || name == "UID"
	}
	if len(open) > 0 || components == 0 {
		t.Errorf("%v is open, %d components", open, components)
	}
}

func checkValue(t testing.TB, name, param, value string) {
	t.Helper()
	wantParam, form := "", textValue
	switch name {
	case "DTSTAMP":
		form = utc
	case "DTSTART":
		if strings.Contains(value, "T") {
			return // of a time zone
		}
		wantParam, form = ";VALUE=DATE", date
	case "SEQUENCE":
		form = regexp.MustCompile(`^\d{1,10}$`)
	case "TRIGGER":
		form = duration
	case "REFRESH-INTERVAL":
		wantParam, form = ";VALUE=DURATION", duration
	}
	if param != wantParam || !form.MatchString(value) {
		t.Errorf("%s has the parameters %q and the value %q", name, param, value)
	}
}

// complete checks which properties a component has: 3.6 (with METHOD of RFC
// 5546, 3.2.1), 3.6.1, 3.6.5 and 3.6.6.
func complete(t testing.TB, component string, had map[string]int) {
	t.Helper()
	must, may := map[string][]string{
		"VCALENDAR": {"PRODID", "VERSION", "METHOD"},
		"VEVENT":    {"UID", "DTSTAMP", "DTSTART", "SUMMARY", "SEQUENCE"},
		"VALARM":    {"ACTION", "TRIGGER", "DESCRIPTION"},
		"VTIMEZONE": {"TZID"},
		"STANDARD":  {"DTSTART", "TZOFFSETTO", "TZOFFSETFROM"},
	}[component], map[string][]string{
		"VCALENDAR": {"NAME", "X-WR-CALNAME", "REFRESH-INTERVAL"},
		"VEVENT":    {"LOCATION", "DESCRIPTION", "TRANSP"},
	}[component]
	for _, name := range must {
		if had[name] != 1 {
			t.Errorf("%s has %d of %s", component, had[name], name)
		}
	}
	for name, n := range had {
		if n > 1 || !slices.Contains(must, name) && !slices.Contains(may, name) {
			t.Errorf("%s has %d of %s", component, n, name)
		}
	}
}

// Lines are folded wherever they are long: at each length, of letters of one
// to four bytes, with and without blanks.
func TestFolding(t *testing.T) {
	for _, unit := range []string{"x", "é", "冬", "🧤", "x ", "é é", "a,", `\`, "<b>", "e\u0301", "\n"} {
		for n := range 120 {
			note := "." + strings.Repeat(unit, n) + "."
			feed := harrowPoint()
			feed.Events = feed.Events[:1]
			feed.Events[0].Note = note
			data := written(t, feed)
			holdToRules(t, data)
			if got := property(t, parsed(t, data).Children[0], "DESCRIPTION"); got != note {
				t.Fatalf("%d times %q came back as %q", n, unit, got)
			}
		}
	}
}

// Whatever is typed comes back as it was, but for what no TEXT can hold.
func FuzzText(f *testing.F) {
	for _, s := range []string{"rack 2", `a\b;c,d:e"f`, "two\nlines\r\nand\rthree", "été 冬 🧤", "\xff\x00\x1b", "BEGIN:VEVENT\r\nUID:x", `\n`, `\\n`, strings.Repeat("long ", 50), "\u2028\u0085\ufeff", "END:VCALENDAR\r\n"} {
		f.Add(s, s)
	}
	f.Fuzz(func(t *testing.T, thing, note string) {
		feed := Feed{Name: note, Domain: domain, Events: []Event{{
			Kind: core.NoticeLastDay, Thing: thing, Day: day(2027, 3, 2), Place: note, Note: note + thing, Stamp: morning,
		}}}
		var out bytes.Buffer
		if err := Write(&out, feed); err != nil {
			if text(thing) != "" {
				t.Fatal(err)
			}
			return
		}
		holdToRules(t, out.Bytes())
		cal := parsed(t, out.Bytes())
		if len(cal.Children) != 1 || len(cal.Children[0].Children) != 0 {
			t.Fatalf("it made components of its own: %+v", cal.Children)
		}
		event := cal.Children[0]
		for name, want := range map[string]string{
			"UID":         text("test." + thing + "@" + domain),
			"SUMMARY":     text(thing + ": last day in test"),
			"LOCATION":    text(note),
			"DESCRIPTION": text(note + thing),
		} {
			if want == "" {
				continue
			}
			if got := property(t, event, name); got != want {
				t.Errorf("%s is %q, want %q", name, got, want)
			}
		}
		if want := text(note); want != "" && property(t, cal.Component, "X-WR-CALNAME") != want {
			t.Errorf("the name is %q, want %q", property(t, cal.Component, "X-WR-CALNAME"), want)
		}
		// And what can be held is held.
		if plain := strings.Map(func(r rune) rune {
			if r == utf8.RuneError || unicode.IsControl(r) || unicode.IsSpace(r) {
				return -1
			}
			return r
		}, note); utf8.ValidString(note) && plain == note && text(note) != note {
			t.Errorf("%q is written as %q", note, text(note))
		}
	})
}

// TestExamplesOfTheRFC writes what RFC 5545 has among its examples: TEXT of
// 3.3.11, the dates and the stamp of the anniversary of 3.6.1. What reads
// calendars in these tests is held to the folded line of 3.1 and the durations
// of 3.3.6 and 3.8.6.3.
func TestExamplesOfTheRFC(t *testing.T) {
	data := written(t, Feed{Domain: domain, Events: []Event{{
		Kind: core.NoticeLastDay, Thing: "HP-07", Day: day(1997, 11, 2), Stamp: time.Date(1997, 9, 1, 13, 0, 0, 0, time.UTC),
		Note: "Project XYZ Final Review\nConference Room - 3B\nCome Prepared.",
	}}})
	lines := unfolded(t, data)
	for _, want := range []string{
		`DESCRIPTION:Project XYZ Final Review\nConference Room - 3B\nCome Prepared.`,
		"DTSTART;VALUE=DATE:19971102", "DTSTAMP:19970901T130000Z", "TRANSP:TRANSPARENT",
	} {
		if !slices.Contains(lines, want) {
			t.Errorf("%q is not in %q", want, lines)
		}
	}
	got := unfolded(t, []byte("DESCRIPTION:This is a lo\r\n ng description\r\n  that exists on a long line.\r\n"))
	if want := []string{"DESCRIPTION:This is a long description that exists on a long line."}; !slices.Equal(got, want) {
		t.Errorf("unfolded: %q", got)
	}
	for value, want := range map[string]bool{"P15DT5H0M20S": true, "-PT15M": true, "P15D5H": false, "-P": false, "PT": false} {
		if duration.MatchString(value) != want {
			t.Errorf("the duration %s: %v", value, !want)
		}
	}
}

// Host names by RFC 1034, 3.5, and RFC 1123, 2.1.
func TestCheckDomain(t *testing.T) {
	label := strings.Repeat("a", 63)
	for name, good := range map[string]bool{
		"suits.example.org": true, "benchbell.invalid": true, "3com.example": true, "xn--bcher-kva.example": true, "A-b.C": true, label + ".org": true,
		"": false, " ": false, "station": false, ".example.org": false, "example.org.": false, "a..b": false, "-a.org": false, "a-.org": false,
		"exa mple.org": false, "a@example.org": false, "https://example.org": false, "example.org:443": false, "bücher.example": false,
		"a.org\r\nX:y": false, "a.org\n": false, label + "a.org": false, strings.Repeat("abcdefg.", 31) + "abcdef": false,
		strings.Repeat("abcdefg.", 31) + "abcde": true,
	} {
		if err := CheckDomain(name); (err == nil) != good {
			t.Errorf("%q: %v", name, err)
		}
	}
}

func ExampleWrite() {
	feed := Feed{Domain: "harrow-point.example", Events: []Event{{
		Kind: core.NoticeLastDay, Thing: "HP-07", Day: core.Date{Year: 2027, Month: time.March, Day: 2},
		Sequence: 17, Stamp: time.Date(2026, 3, 2, 8, 50, 0, 0, time.UTC),
	}}}
	var out bytes.Buffer
	if err := Write(&out, feed); err != nil {
		panic(err)
	}
	fmt.Println(strings.ReplaceAll(out.String(), "\r\n", "\n"))
	// Output:
	// BEGIN:VCALENDAR
	// VERSION:2.0
	// PRODID:-//Benchbell//Due dates//EN
	// METHOD:PUBLISH
	// REFRESH-INTERVAL;VALUE=DURATION:PT6H
	// BEGIN:VEVENT
	// UID:test.HP-07@harrow-point.example
	// DTSTAMP:20260302T085000Z
	// SEQUENCE:17
	// DTSTART;VALUE=DATE:20270302
	// SUMMARY:HP-07: last day in test
	// TRANSP:TRANSPARENT
	// END:VEVENT
	// END:VCALENDAR
}
