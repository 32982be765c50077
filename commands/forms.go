package commands

import (
	"errors"
	"fmt"
	"regexp"
	"strconv"
	"strings"

	"benchbell/core"
)

// where says in which places a form can be said.
type where int

const (
	inTalk   = where(Talk)
	inThread = where(Thread)
	anywhere = where(-1)
)

// form is one thing that can be said. The table of forms makes the parser, the
// help, and the suggestions of what to say instead.
type form struct {
	verbs   []string
	in      where
	shape   string // as help shows it
	means   string
	example string // something of this form that parses
	parse   func(rest string) (any, error)
	// verbatim is true for forms that end in free text, which is kept as it
	// was typed.
	verbatim bool
}

// forms is filled in by init, since Help is one of them.
var forms []form

func init() {
	forms = []form{
		{
			[]string{"ok", "okay"},
			inThread, "ok · ok 1 3 · ok all", "tick the list (or tap a number)", "ok all",
			parseTick,
			false,
		},
		{
			[]string{"undo", "untick"},
			inThread, "undo 3", "take a tick back", "undo 3",
			func(rest string) (any, error) {
				items, err := parseItems(rest)
				if len(tagsIn(rest)) > 0 { // "undo used HP-08"
					err = &hint{"what is on record stays; a test that it passes lifts a bar", "test HP-07"}
				}
				if err == nil && len(items) == 0 {
					err = errors.New("which number?")
				}
				return core.Untick{Items: items}, err
			},
			false,
		},
		{
			[]string{"bad"},
			inThread, "bad 2 hole in left glove", "a defect at number 2: ends the run as a fail", "bad 2 hole in left glove",
			parseBad,
			true,
		},
		{
			[]string{"reading", "read", "pressure"},
			inThread, "16.5 · 168 mm · 13.9 at 6:00", "a reading, true when posted or at that time of the hold", "16.5",
			func(rest string) (any, error) { return parseReading(rest) },
			false,
		},
		{
			[]string{"fix"},
			inThread, "fix 14.9", "correct the last reading (or edit the post)", "fix 14.9",
			func(rest string) (any, error) {
				if isLitres(rest) {
					return parseLitres(rest)
				}
				r, err := parseReading(rest)
				if err == nil && r.HasStated {
					err = errors.New("a correction keeps the moment of the reading")
				}
				if among, ok := readingAmong(strings.Fields(rest)); err != nil && ok {
					err = &hint{err.Error(), "fix " + withUnit(among.Digits, among.Unit)}
				}
				return core.Fix{Digits: r.Digits, Unit: r.Unit}, err
			},
			false,
		},
		{
			[]string{"yes"},
			inThread, "yes", "take the reading as asked", "yes",
			bare(core.Yes{}),
			false,
		},
		{
			[]string{"where"},
			inThread, "where", "what the run waits for, time left", "where",
			asked(core.AskWhere{}),
			false,
		},
		{
			[]string{"with"},
			inThread, "with M-2", "use another manometer", "with M-2",
			func(rest string) (any, error) {
				id, err := oneWord(rest, "which manometer?")
				return core.Use{Manometer: id}, err
			},
			false,
		},
		{
			[]string{"air", "temp", "temperature"},
			inThread, "air 21.5", "temperature at the suit, °C", "air 21.5",
			parseAir,
			false,
		},
		{
			[]string{"baro", "barometer"},
			inThread, "baro 1013", "barometer, hPa", "baro 1013",
			func(rest string) (any, error) {
				r, err := parseReading(rest)
				if r.Unit == core.NoUnit {
					r.Unit = core.HPa
				}
				return core.Baro{Digits: r.Digits, Unit: r.Unit}, err
			},
			false,
		},
		{
			[]string{"leak"},
			inThread, "leak where", "a leak found after a fail", "leak seam, left knee",
			func(rest string) (any, error) {
				text, err := someText(rest, "where it is")
				return core.Leak{Where: text}, err
			},
			true,
		},
		{
			[]string{"why"},
			inThread, "why", "what the verdict rests on", "why",
			asked(core.AskWhy{}),
			false,
		},
		{
			[]string{"note", "remark"},
			inThread, "note …", "a remark for the record", "note visor scratched",
			func(rest string) (any, error) {
				text, err := someText(rest, "what to note")
				return core.Remark{Text: text}, err
			},
			true,
		},
		{
			[]string{"again"},
			inThread, "again", "repeat this phase", "again",
			bare(core.Repeat{}),
			false,
		},
		{
			[]string{"stop"},
			inThread, "stop why", "end without a verdict", "stop zipper jammed",
			func(rest string) (any, error) { return core.Stop{Why: rest}, nil },
			true,
		},
		{
			[]string{"over"},
			inThread, "over to @name", "hand the run over", "over to @second.tester",
			parseHandOver,
			false,
		},
		{
			[]string{"test"},
			anywhere, "test HP-07 [method] [with M-2]", "open a run", "test HP-07 with M-1",
			parseTest,
			false,
		},
		{
			[]string{"status"},
			anywhere, "status · status HP-07 · HP-07", "may it be worn", "status HP-07",
			func(rest string) (any, error) {
				if rest == "" {
					return core.AskFleet{}, nil
				}
				tag, text := cutSuit(rest)
				if text != "" || tag == "" {
					return core.AskSuit{Suit: rest}, nil // as it was typed: it is no tag
				}
				return core.AskSuit{Suit: tag}, nil
			},
			false,
		},
		{
			[]string{"used"},
			anywhere, "used HP-07 [when] [note]", "worn: barred until tested", "used HP-07 yesterday",
			aboutSuit(parseUsed, ""),
			true,
		},
		{
			[]string{"found"},
			anywhere, "found HP-07 what", "a defect: barred until tested", "found HP-07 seam lifts",
			aboutSuit(func(tag, text string) (any, error) { return core.NoteFound{Suit: tag, What: text}, nil }, "what was found"),
			true,
		},
		{
			[]string{"repaired"},
			anywhere, "repaired HP-07 what", "work done: barred until tested", "repaired HP-07 left glove",
			aboutSuit(func(tag, text string) (any, error) { return core.NoteRepaired{Suit: tag, What: text}, nil }, "what was repaired"),
			true,
		},
		{
			[]string{"withdraw"},
			anywhere, "withdraw HP-07 why", "out of service for now", "withdraw HP-07 recall",
			aboutSuit(func(tag, text string) (any, error) { return core.Withdraw{Suit: tag, Why: text}, nil }, "why"),
			true,
		},
		{
			[]string{"retire"},
			anywhere, "retire HP-07 why", "out of service for good", "retire HP-07 too old",
			aboutSuit(func(tag, text string) (any, error) { return core.Retire{Suit: tag, Why: text}, nil }, "why"),
			true,
		},
		{
			[]string{"release"},
			anywhere, "release HP-07", "an officer's word: it may be worn", "release HP-07",
			func(rest string) (any, error) {
				tag, err := oneSuit(rest)
				return core.Release{Suit: tag}, err
			},
			false,
		},
		{
			[]string{"capacity"},
			anywhere, "capacity HP-07 · capacity HP-07 2 L 15.0 16.2 mbar", "how much air the suit takes: measured after a verdict, or from paper", "capacity HP-07 2 L 15.0 16.2 mbar",
			parseMeasure,
			false,
		},
		{
			[]string{"added", "add"},
			inThread, "2 L", "air added to measure the capacity", "added 2 L",
			func(rest string) (any, error) { return parseLitres(rest) },
			false,
		},
		{
			[]string{"ready"},
			anywhere, "ready [size or place]", "the suits that can go out now", "ready L",
			func(rest string) (any, error) {
				for _, little := range []string{"for ", "in ", "at ", "on ", "from ", "size "} {
					rest = cutFold(rest, little)
				}
				return core.AskReady{Want: rest}, nil
			},
			false,
		},
		{
			[]string{"due", "overdue"},
			anywhere, "due [30d]", "what falls due, overdue first", "due 30d",
			parseDue,
			false,
		},
		{
			[]string{"history"},
			anywhere, "history HP-07", "its tests, newest first", "history HP-07",
			func(rest string) (any, error) {
				tag, err := oneSuit(rest)
				return core.AskHistory{Suit: tag}, err
			},
			false,
		},
		{
			[]string{"record"},
			anywhere, "record R-0042", "the test record as a PDF", "record R-0042",
			func(rest string) (any, error) {
				if rest == "" {
					return core.AskRecord{}, nil
				}
				id, ok := core.ParseRunID(rest)
				if !ok {
					if tags := tagsIn(rest); len(tags) > 0 {
						return nil, &hint{"a record is of one run: which? Its suit's history names them", "history " + tags[0]}
					}
					return nil, errors.New("which run?")
				}
				return core.AskRecord{Run: id}, nil
			},
			false,
		},
		{
			[]string{"logbook"},
			anywhere, "logbook HP-07", "all of a suit's life as a PDF", "logbook HP-07",
			func(rest string) (any, error) {
				tag, err := oneSuit(rest)
				return core.AskLogbook{Suit: tag}, err
			},
			false,
		},
		{
			[]string{"shelf"},
			anywhere, "shelf", "the list for the wall as a PDF", "shelf",
			bare(core.AskShelf{}),
			false,
		},
		{
			[]string{"suit"},
			anywhere, "suit add HP-25 column=value … · suit change …", "the register", "suit change HP-25 place=\"Station 1\"",
			parseEnter(false),
			true,
		},
		{
			[]string{"manometer"},
			anywhere, "manometer add M-5 column=value … · manometer change …", "the register", "manometer change M-1 calibrated_until=2027-03-31",
			parseEnter(true),
			true,
		},
		{
			[]string{"import"},
			anywhere, "import, with CSV files attached", "take them into the register", "import",
			bare(core.ImportFiles{}),
			false,
		},
		{
			[]string{"help", "?"},
			anywhere, "help [word]", "what can be said here", "help test",
			func(rest string) (any, error) { return Help{Word: strings.ToLower(rest)}, nil },
			false,
		},
	}
}

func bare(want any) func(string) (any, error) {
	return func(rest string) (any, error) {
		if rest != "" {
			return nil, errors.New("that word stands alone")
		}
		return want, nil
	}
}

// asked is for a word that asks: "where are we?" and "why fail?" are asked so too.
func asked(want any) func(string) (any, error) {
	return func(rest string) (any, error) {
		if len(strings.Fields(rest)) > 2 || len(tagsIn(rest)) > 0 {
			return nil, errors.New("that word stands alone")
		}
		return want, nil
	}
}

func oneWord(rest, missing string) (string, error) {
	if rest == "" || strings.Contains(rest, " ") {
		return "", errors.New(missing)
	}
	return rest, nil
}

func someText(rest, missing string) (string, error) {
	if rest == "" {
		return "", errors.New("say " + missing)
	}
	return rest, nil
}

// cutSuit takes a suit's tag off the beginning of a text: "HP-07: seam", "hp 7",
// "of HP-07".
func cutSuit(rest string) (tag, text string) {
	for _, little := range []string{"of ", "for ", "on ", "the ", "suit "} {
		rest = cutFold(rest, little)
	}
	tag, text, _ = strings.Cut(rest, " ")
	number, after, _ := strings.Cut(text, " ")
	if number = strings.TrimRight(number, tagEnd); number != "" && strings.Trim(number, "0123456789") == "" && lettersOnly.MatchString(tag) {
		tag, text = tag+"-"+number, after // "HP 07"
	}
	return strings.TrimRight(tag, tagEnd), strings.TrimLeft(text, "-–:;, ")
}

// tagEnd is what may stand behind a tag in a sentence.
const tagEnd = ",;:?!."

var lettersOnly = regexp.MustCompile(`^\pL{1,4}$`)

func cutFold(s, prefix string) string {
	if len(s) > len(prefix) && strings.EqualFold(s[:len(prefix)], prefix) {
		return s[len(prefix):]
	}
	return s
}

// oneSuit reads a suit's tag that stands alone.
func oneSuit(rest string) (string, error) {
	tag, text := cutSuit(rest)
	switch {
	case len(tagsIn(rest)) > 1:
		return "", &hint{"one suit at a time", "status " + tag}
	case tag == "" || text != "":
		return "", errors.New("which suit?")
	}
	return tag, nil
}

// aboutSuit parses a suit's tag and a text, which must be there if missing
// names what it is for. A second suit is refused: it would be taken for a word
// of the text, and stay fit.
func aboutSuit(make func(tag, text string) (any, error), missing string) func(string) (any, error) {
	return func(rest string) (any, error) {
		tag, text := cutSuit(rest)
		switch {
		case !tagForm.MatchString(tag):
			return nil, errors.New("which suit?")
		case another(tag, text):
			return nil, errors.New("one suit a post, so that none is missed")
		case text == "" && missing != "":
			return nil, errors.New("say " + missing)
		}
		return make(tag, text)
	}
}

// another reports whether a text goes on with a further suit.
func another(tag, text string) bool {
	for _, w := range strings.Fields(text) {
		switch strings.ToLower(w) {
		case "and", "&", "+", "with":
			continue
		}
		w = strings.TrimRight(w, tagEnd)
		return tagForm.MatchString(w) && sameKind(tag, w)
	}
	return false
}

func parseTick(rest string) (any, error) {
	if strings.EqualFold(rest, "all") {
		return core.Tick{All: true}, nil
	}
	items, err := parseItems(rest)
	if err != nil { // "all but 4" must not be told to tick all
		return nil, &hint{err.Error() + ", like 1 3 or 5-7", "ok 1 3"}
	}
	return core.Tick{Items: items}, nil
}

var itemsForm = regexp.MustCompile(`^\d{1,2}(-\d{1,2})?$`)

// parseItems reads "1 3", "1,3" or "4-6".
func parseItems(s string) ([]int, error) {
	var items []int
	for _, w := range strings.FieldsFunc(s, func(r rune) bool { return r == ' ' || r == ',' || r == ';' }) {
		if strings.EqualFold(w, "and") {
			continue
		}
		if !itemsForm.MatchString(w) {
			return nil, fmt.Errorf("%q is not a number of the list", w)
		}
		first, last, isRange := strings.Cut(w, "-")
		from, _ := strconv.Atoi(first)
		to := from
		if isRange {
			to, _ = strconv.Atoi(last)
		}
		if to < from {
			return nil, fmt.Errorf("%q runs backwards", w)
		}
		for n := from; n <= to; n++ {
			items = append(items, n)
		}
	}
	return items, nil
}

func parseBad(rest string) (any, error) {
	number, what, _ := strings.Cut(rest, " ")
	n, err := strconv.Atoi(number)
	if err != nil || n < 1 {
		return nil, errors.New("which number of the list?")
	}
	if what == "" {
		return nil, errors.New("say what is bad")
	}
	return core.Bad{Item: n, What: what}, nil
}

var (
	airForm    = regexp.MustCompile(`^(-?\d{1,2}(?:[.,]\d{1,2})?) ?(?:°|deg(?:rees)?\.?)? ?(?:[cC](?:elsius)?)?$`)
	fahrenheit = regexp.MustCompile(`^(-?\d{1,3}(?:[.,]\d{1,2})?) ?(?:°|deg(?:rees)?\.?)? ?[fF](?:ahrenheit)?$`)
)

func parseAir(rest string) (any, error) {
	if m := airForm.FindStringSubmatch(rest); m != nil {
		return core.Air{Celsius: strings.Replace(m[1], ",", ".", 1)}, nil
	}
	err := errors.New("the temperature is in °C")
	if m := fahrenheit.FindStringSubmatch(rest); m != nil {
		f, _ := strconv.ParseFloat(strings.Replace(m[1], ",", ".", 1), 64)
		if c := (f - 32) / 1.8; c > -100 && c < 100 {
			return nil, &hint{err.Error(), fmt.Sprintf("air %.1f", c)}
		}
	}
	return nil, err
}

func parseHandOver(rest string) (any, error) {
	name := cutFold(rest, "to ")
	name = strings.TrimRight(strings.TrimPrefix(name, "@"), ".")
	if name == "" || strings.Contains(name, " ") || strings.EqualFold(name, "to") {
		return nil, errors.New("to whom?")
	}
	return core.HandOver{To: core.Person{Name: name}}, nil
}

// parseTest reads "HP-07 [method] [with M-2]".
func parseTest(rest string) (any, error) {
	words := strings.Fields(rest)
	var want core.Open
	for i := 0; i < len(words); i++ {
		switch w := words[i]; {
		case strings.EqualFold(w, "with"):
			if i+1 == len(words) {
				return nil, errors.New("with which manometer?")
			}
			i++
			want.Manometer = words[i]
			if i+1 < len(words) {
				return nil, errors.New("the manometer comes last")
			}
		case i == 0:
			want.Suit = w
		case i == 1 && !strings.ContainsAny(want.Suit, "0123456789") && strings.Trim(w, "0123456789") == "":
			want.Suit += "-" + w // "HP 07"
		case strings.EqualFold(w, "by") && want.Method == "":
		default:
			want.Method = strings.TrimSpace(want.Method + " " + w)
		}
	}
	switch tags := tagsIn(rest); {
	case want.Suit == "":
		return nil, errors.New("which suit?")
	case len(tags) > 1:
		return nil, &hint{"one suit a run", "test " + tags[0]}
	}
	return want, nil
}

// parseUsed reads when a suit was used, and a note. What was meant as a day or a
// time and is none must not become a note about a use of today.
func parseUsed(tag, text string) (any, error) {
	when, note := splitMoment(text)
	note = strings.TrimLeft(note, "-–:;, ")
	first, _, _ := strings.Cut(note, " ")
	switch {
	case another(tag, note):
		return nil, errors.New("one suit a post, so that none is missed")
	case momentLike.MatchString(strings.TrimRight(first, tagEnd)) || ago.MatchString(note):
		return nil, errors.New("write the day as yesterday or 2026-03-01, the time as 22:15")
	}
	return core.NoteUsed{Suit: tag, When: when, Note: note}, nil
}

// splitMoment takes "yesterday", "today 14:30", "at 14:30" or "2026-03-01 14:30"
// off the beginning of a text.
func splitMoment(text string) (when, rest string) {
	if clock, after, ok := cutClock(text); ok {
		return clock, after
	}
	first, after, _ := strings.Cut(cutFold(text, "on "), " ")
	lower := strings.ToLower(strings.TrimRight(first, tagEnd))
	switch m := dottedDay.FindStringSubmatch(lower); {
	case m != nil:
		when = fmt.Sprintf("%s-%02s-%02s", m[3], m[2], m[1])
	case lower == "today" || lower == "yesterday" || lower == "tomorrow" || dayForm.MatchString(lower):
		when = lower
	default:
		return "", text
	}
	if clock, last, ok := cutClock(after); ok {
		return when + " " + clock, last
	}
	return when, after
}

// cutClock takes "22:15", "9:30" or "at 9:30" off the beginning of a text.
func cutClock(text string) (clock, rest string, ok bool) {
	first, rest, _ := strings.Cut(cutFold(text, "at "), " ")
	first = strings.TrimRight(first, ",;")
	if !clockOfDay.MatchString(first) {
		return "", text, false
	}
	return fmt.Sprintf("%05s", first), rest, true
}

var (
	clockOfDay = regexp.MustCompile(`^([01]?\d|2[0-3]):[0-5]\d$`)
	dayForm    = regexp.MustCompile(`^\d{4}-\d{2}-\d{2}$`)
	dottedDay  = regexp.MustCompile(`^(\d{1,2})\.(\d{1,2})\.(\d{4})$`) // day first wherever points are written
	momentLike = regexp.MustCompile(`(?i)^(\d{1,4}[./-]\d{1,2}([./-]\d{0,4})?|\d{1,2}([:.]\d{2})?(am|pm)|\d{1,2}:\d{2}|(mon|tues|wednes|thurs|fri|satur|sun)day)$`)
	ago        = regexp.MustCompile(`(?i)^(\d+|an?|one|two|three|few) ?\pL+ ago\b`)
	spanForm   = regexp.MustCompile(`^(\d{1,4}) ?(d|days?|w|weeks?|m|months?|y|years?)$`)
)

// parseDue reads "30d", "6 weeks", "3m", "1y", or a period as ISO 8601 has it.
func parseDue(rest string) (any, error) {
	if rest == "" {
		return core.AskDue{}, nil
	}
	if m := spanForm.FindStringSubmatch(strings.ToLower(rest)); m != nil {
		rest = "P" + m[1] + strings.ToUpper(m[2][:1])
	}
	p, err := core.ParsePeriod(rest)
	if err != nil {
		return nil, errors.New("within what time?")
	}
	return core.AskDue{Within: p}, nil
}

var (
	fieldForm = regexp.MustCompile(`^([\pL_]+) ?= ?("[^"]*"|[^\s"]*?),?(?: |$)`)
	straight  = strings.NewReplacer("“", `"`, "”", `"`, "„", `"`) // a phone bends quotes
)

// parseEnter reads "add HP-25 place=\"Station 1\" size=L".
func parseEnter(manometer bool) func(string) (any, error) {
	return func(rest string) (any, error) {
		rest = straight.Replace(rest)
		verb, rest, _ := strings.Cut(rest, " ")
		want := core.Enter{Manometer: manometer}
		switch strings.ToLower(verb) {
		case "add":
		case "change":
			want.Change = true
		default:
			return nil, errors.New("add or change?")
		}
		want.Name, rest, _ = strings.Cut(rest, " ")
		if want.Name == "" || strings.ContainsAny(want.Name, "=\"") {
			return nil, errors.New("which one?")
		}
		for rest = strings.TrimSpace(rest); rest != ""; rest = strings.TrimSpace(rest) {
			m := fieldForm.FindStringSubmatch(rest)
			if m == nil {
				return nil, errors.New("write column=value, with quotes around blanks")
			}
			want.Fields = append(want.Fields, core.Field{Column: strings.ToLower(m[1]), Value: strings.Trim(m[2], "\"")})
			rest = rest[len(m[0]):]
		}
		return want, nil
	}
}

var measureForm = regexp.MustCompile(`^(\S+)(?: (\d+(?:[.,]\d+)? ?\pL+),? (?:from )?(\d+(?:[.,]\d+)?)(?: ?(\pL+))??,? (?:to |→ |-> )?(\d+(?:[.,]\d+)?) ?(.*))?$`)

// parseMeasure reads "HP-07 2 L 15.0 16.2 mbar", "HP-07", or nothing for the
// suit of the run at hand.
func parseMeasure(rest string) (any, error) {
	if rest == "" {
		return core.Measure{}, nil
	}
	tag, text := cutSuit(rest)
	rest = strings.TrimSpace(tag + " " + text)
	m := measureForm.FindStringSubmatch(rest)
	if m == nil || !tagForm.MatchString(m[1]) {
		return nil, errors.New("say the suit, the litres added, and the pressure before and after")
	}
	want := core.Measure{Suit: m[1]}
	if m[2] == "" {
		return want, nil
	}
	added, err := parseLitres(m[2])
	if err != nil {
		return nil, err
	}
	want.Litres = added.Litres
	if m[4] != "" && m[6] == "" {
		m[6] = m[4]
	}
	if m[6] == "" {
		return nil, errors.New("say the unit of the pressures")
	}
	want.From, want.To = strings.Replace(m[3], ",", ".", 1), strings.Replace(m[5], ",", ".", 1)
	unit, err := core.ParseUnit(m[6])
	if err != nil {
		return nil, err
	}
	if first, err := core.ParseUnit(m[4]); m[4] != "" && (err != nil || first != unit) {
		return nil, errors.New("say both pressures in one unit")
	}
	want.Unit = unit
	for _, digits := range []string{want.From, want.To} {
		if _, err := core.Write(digits, unit); err != nil {
			return nil, err
		}
	}
	return want, nil
}
