package commands

import (
	"cmp"
	"errors"
	"fmt"
	"regexp"
	"slices"
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
//
// Whatever help and suggestions show of a form has an ellipsis where a person must
// fill something in, and never an invented value, reason, day or suit, since people
// copy it as it stands. Typed with the ellipsis, it is refused.
type form struct {
	verbs   []string
	in      where
	shape   string // as help shows it
	means   string
	example string // something of this form that parses; for tests, never shown
	parse   func(rest string) (any, error)
	// verbatim is true for forms that end in free text, which is kept as it
	// was typed.
	verbatim bool
	// fill is what has to follow the verb.
	fill fill
	// grave is true for a word that ends, clears or takes back something. It is
	// suggested only if the typed word is one letter off.
	grave bool
	// passing are the words that make talk of it if they come next.
	passing []string
}

// fill is what has to follow a verb.
type fill int

const (
	noMore       fill = iota
	anyWords          // anything
	aSuit             // a suit's tag
	aSuitAndMore      // a suit's tag, and anything
)

// said is how to say this, about a suit if the form is about one: "found HP-07 …".
func (f form) said(tag string) string {
	switch {
	case f.fill == noMore:
		return f.verbs[0]
	case f.fill == anyWords || tag == "":
		return f.verbs[0] + " …"
	case f.fill == aSuit:
		return f.verbs[0] + " " + tag
	}
	return f.verbs[0] + " " + tag + " …"
}

// hollow reports whether a text says nothing: it is empty, or an ellipsis that
// was to be filled in.
func hollow(text string) bool {
	return strings.Trim(text, "….-–_:;,!?`*\"'“”„@()[]<> ") == ""
}

// forms is filled in by init, since Help is one of them. Help shows them in this order.
var forms []form

func init() {
	forms = slices.Concat(
		formsOfLists(),
		formsOfReadings(),
		formsOfRuns(),
		formsOfSuits(),
		formsOfAir(),
		formsOfFleet(),
		formsOfRegister(),
	)
}

// formsOfLists are the words about the checklists, and what is seen at an item of one.
func formsOfLists() []form {
	return []form{
		{
			verbs: []string{"ok", "okay", "tick"}, in: inThread,
			shape: "ok · ok … · ok all", means: "tick the next item, those numbers, or the list", example: "ok all",
			parse: parseTick,
		},
		{
			verbs: []string{"undo", "untick"}, in: inThread,
			shape: "undo …", means: "take the tick of a number back", example: "undo 3",
			parse: parseUntick, fill: anyWords, grave: true,
		},
		{
			verbs: []string{"bad"}, in: inThread,
			shape: "bad …", means: "number and what: a defect there; before the test it ends the run as a fail", example: "bad 2 hole in left glove",
			parse: parseBad, verbatim: true, fill: anyWords,
		},
	}
}

// formsOfReadings are the words about readings, the air, and leaks.
func formsOfReadings() []form {
	return []form{
		{
			verbs: []string{"reading", "read", "pressure"}, in: inThread,
			shape: "… · … at …", means: "a reading: number and unit, true when posted; or at minutes:seconds of the hold", example: "16.5",
			parse: func(rest string) (any, error) { return parseReading(rest) }, fill: anyWords,
		},
		{
			verbs: []string{"fix"}, in: inThread,
			shape: "fix …", means: "correct the last reading (or edit the post)", example: "fix 14.9",
			parse: parseFix, fill: anyWords,
		},
		{
			verbs: []string{"yes"}, in: inThread,
			shape: "yes", means: "take the reading as asked", example: "yes",
			parse: bare(core.Yes{}), grave: true,
		},
		{
			verbs: []string{"where"}, in: inThread,
			shape: "where", means: "what the run waits for, time left", example: "where",
			parse: asked(core.AskWhere{}),
		},
		{
			verbs: []string{"with"}, in: inThread,
			shape: "with …", means: "use another manometer", example: "with M-2",
			parse: func(rest string) (any, error) {
				id, err := oneWord(rest, "which manometer?")
				return core.Use{Manometer: id}, err
			}, fill: anyWords,
		},
		{
			verbs: []string{"air", "temp", "temperature"}, in: inThread,
			shape: "air …", means: "temperature at the suit, °C", example: "air 21.5",
			parse: parseAir, fill: anyWords,
		},
		{
			verbs: []string{"baro", "barometer"}, in: inThread,
			shape: "baro …", means: "barometer, hPa or inHg", example: "baro 1013",
			parse: func(rest string) (any, error) { return parseBaro(rest) }, fill: anyWords,
		},
		{
			verbs: []string{"leak"}, in: inThread,
			shape: "leak …", means: "where: a leak found after a fail", example: "leak seam, left knee",
			parse: func(rest string) (any, error) {
				text, err := someText(rest, "where it is")
				return core.Leak{Where: text}, err
			}, verbatim: true, fill: anyWords, passing: talkAfterLeak,
		},
	}
}

// formsOfRuns are the words about a run as a whole: its record, its end, its tester.
func formsOfRuns() []form {
	return []form{
		{
			verbs: []string{"why"}, in: inThread,
			shape: "why", means: "what the verdict rests on", example: "why",
			parse: asked(core.AskWhy{}),
		},
		{
			verbs: []string{"note", "remark"}, in: inThread,
			shape: "note …", means: "a remark for the record", example: "note visor scratched",
			parse: func(rest string) (any, error) {
				text, err := someText(rest, "what to note")
				return core.Remark{Text: text}, err
			}, verbatim: true, fill: anyWords, passing: talkAfterNote,
		},
		{
			verbs: []string{"again"}, in: inThread,
			shape: "again · again …", means: "repeat this phase; a hold that goes badly takes a reason", example: "again the hose slipped off",
			parse: func(rest string) (any, error) {
				why, err := maybeText(rest)
				return core.Repeat{Why: why}, err
			}, verbatim: true, fill: anyWords, passing: talkAgain, grave: true,
		},
		{
			verbs: []string{"stop"}, in: inThread,
			shape: "stop …", means: "why: end without a verdict", example: "stop zipper jammed",
			parse: func(rest string) (any, error) {
				why, err := maybeText(rest)
				return core.Stop{Why: why}, err
			}, verbatim: true, fill: anyWords, passing: talkAfterStop, grave: true,
		},
		{
			verbs: []string{"nothing"}, in: inThread,
			shape: "nothing fitted", means: "after a stop: no plug and no adapter is in the suit", example: "nothing fitted",
			parse: func(rest string) (any, error) {
				if !nothingFitted.MatchString(rest) {
					return nil, &hint{say: "not understood; a remark begins with note", try: "note …"}
				}
				return core.NothingFitted{}, nil
			}, fill: anyWords, grave: true,
		},
		{
			verbs: []string{"over"}, in: inThread,
			shape: "over to @…", means: "hand the run over", example: "over to @second.tester",
			parse: parseHandOver, fill: anyWords,
		},
	}
}

// formsOfSuits are the words about one suit: its test, its standing, its life.
func formsOfSuits() []form {
	return []form{
		{
			verbs: []string{"test"}, in: anywhere,
			shape: "test … · test … with …", means: "suit, and method if another: open a run; and with which manometer", example: "test HP-07 with M-1",
			parse: parseTest, fill: aSuit,
		},
		{
			verbs: []string{"status"}, in: anywhere,
			shape: "status · status …", means: "all suits, or one: may it be worn (its tag alone asks so too)", example: "status HP-07",
			parse: parseStatus, fill: aSuit,
		},
		{
			verbs: []string{"used"}, in: anywhere,
			shape: "used …", means: "suit, when, note: worn, blocked until tested", example: "used HP-07 yesterday",
			parse: aboutSuit(parseUsed, ""), verbatim: true, fill: aSuitAndMore,
		},
		{
			verbs: []string{"found"}, in: anywhere,
			shape: "found …", means: "suit and what: a defect, blocked until repaired and tested", example: "found HP-07 seam lifts",
			parse: aboutSuit(func(tag, text string) (any, error) { return core.NoteFound{Suit: tag, What: text}, nil }, "what was found"), verbatim: true, fill: aSuitAndMore,
		},
		{
			verbs: []string{"repaired"}, in: anywhere,
			shape: "repaired …", means: "suit and what: work done; the numbers of its defects before the what, or all", example: "repaired HP-07 left glove",
			parse: aboutSuit(parseRepaired, "what was repaired"), verbatim: true, fill: aSuitAndMore,
		},
		{
			verbs: []string{"cause"}, in: anywhere,
			shape: "cause …", means: "suit and what outside it made the test fail", example: "cause HP-07 the hose was split",
			parse: aboutSuit(parseCause, "what made it fail"), verbatim: true, fill: aSuitAndMore, grave: true,
		},
		{
			verbs: []string{"withdraw"}, in: anywhere,
			shape: "withdraw …", means: "suit and why: out of service for now", example: "withdraw HP-07 recall",
			parse: aboutSuit(func(tag, text string) (any, error) { return core.Withdraw{Suit: tag, Why: text}, nil }, "why"), verbatim: true, fill: aSuitAndMore, grave: true,
		},
		{
			verbs: []string{"retire"}, in: anywhere,
			shape: "retire …", means: "suit and why, by an officer: out of service for good", example: "retire HP-07 too old",
			parse: aboutSuit(func(tag, text string) (any, error) { return core.Retire{Suit: tag, Why: text}, nil }, "why"), verbatim: true, fill: aSuitAndMore, grave: true,
		},
		{
			verbs: []string{"reinstate"}, in: anywhere,
			shape: "reinstate …", means: "suit and why, by an officer: a retired suit is back", example: "reinstate HP-07 the wrong one",
			parse: aboutSuit(func(tag, text string) (any, error) { return core.Reinstate{Suit: tag, Why: text}, nil }, "why"), verbatim: true, fill: aSuitAndMore, grave: true,
		},
		{
			verbs: []string{"release"}, in: anywhere,
			shape: "release …", means: "suit, by an officer: it may be worn", example: "release HP-07",
			parse: func(rest string) (any, error) {
				tag, err := oneSuit("release", rest)
				return core.Release{Suit: tag}, err
			}, fill: aSuit, grave: true,
		},
	}
}

// formsOfAir are the words about how much air a suit takes.
func formsOfAir() []form {
	return []form{
		{
			verbs: []string{"capacity"}, in: anywhere,
			shape: "capacity · capacity …", means: "how much air the suit takes: measured after a verdict; or suit, and from paper the litres added, the pressure before and after, its unit", example: "capacity HP-07 2 L 15.0 16.2 mbar",
			parse: parseMeasure, fill: aSuitAndMore,
		},
		{
			verbs: []string{"added", "add"}, in: inThread,
			shape: "… L", means: "litres of air added to measure the capacity", example: "added 2 L",
			parse: func(rest string) (any, error) { return parseLitres(rest) }, fill: anyWords,
		},
	}
}

// formsOfFleet are questions about many suits, and documents.
func formsOfFleet() []form {
	return []form{
		{
			verbs: []string{"ready"}, in: anywhere,
			shape: "ready · ready …", means: "the suits that can go out now, of a size or at a place", example: "ready L",
			parse: parseReady,
		},
		{
			verbs: []string{"due", "overdue"}, in: anywhere,
			shape: "due · due …", means: "what falls due, overdue first; within so many days, weeks or months", example: "due 30d",
			parse: parseDue,
		},
		{
			verbs: []string{"history"}, in: anywhere,
			shape: "history …", means: "suit: its tests, newest first", example: "history HP-07",
			parse: func(rest string) (any, error) {
				tag, err := oneSuit("history", rest)
				return core.AskHistory{Suit: tag}, err
			}, fill: aSuit,
		},
		{
			verbs: []string{"record"}, in: anywhere,
			shape: "record …", means: "run: its test record as a PDF", example: "record R-0042",
			parse: parseRecord, fill: anyWords,
		},
		{
			verbs: []string{"logbook"}, in: anywhere,
			shape: "logbook …", means: "suit: all of its life as a PDF", example: "logbook HP-07",
			parse: func(rest string) (any, error) {
				tag, err := oneSuit("logbook", rest)
				return core.AskLogbook{Suit: tag}, err
			}, fill: aSuit,
		},
		{
			verbs: []string{"shelf"}, in: anywhere,
			shape: "shelf", means: "the list for the wall as a PDF", example: "shelf",
			parse: bare(core.AskShelf{}),
		},
	}
}

// formsOfRegister are the words about the register, and help.
func formsOfRegister() []form {
	return []form{
		{
			verbs: []string{"suit"}, in: anywhere,
			shape: "suit add … · suit change …", means: "tag, then column=value for each: the register", example: "suit change HP-25 place=\"Station 1\"",
			parse: parseEnter(false), verbatim: true, fill: anyWords,
		},
		{
			verbs: []string{"manometer"}, in: anywhere,
			shape: "manometer add … · manometer change …", means: "id, then column=value for each: the register", example: "manometer change M-1 calibrated_until=2027-03-31",
			parse: parseEnter(true), verbatim: true, fill: anyWords,
		},
		{
			verbs: []string{"import"}, in: anywhere,
			shape: "import", means: "with CSV files attached: take them into the register", example: "import",
			parse: bare(core.ImportFiles{}),
		},
		{
			verbs: []string{"help", "?"}, in: anywhere,
			shape: "help · help …", means: "what can be said here; what a word does", example: "help test",
			parse: func(rest string) (any, error) {
				if rest != "" && hollow(rest) {
					return nil, errors.New("which word?")
				}
				return Help{Word: strings.ToLower(rest)}, nil
			},
		},
	}
}

// nothingFitted is what may follow "nothing" in the answer after a stop.
var nothingFitted = regexp.MustCompile(`(?i)^(?:(?:is |was )?fitted|(?:is |was )?in (?:it|the suit))(?: yet)?[.!]*$`)

func bare(want any) func(string) (any, error) {
	return func(rest string) (any, error) {
		if rest != "" {
			return nil, errors.New("that word stands alone")
		}
		return want, nil
	}
}

// asked is for a question word, alone or followed by at most two words: "where are
// we?", "why fail?".
func asked(want any) func(string) (any, error) {
	return func(rest string) (any, error) {
		if len(strings.Fields(rest)) > 2 || len(tagsIn(rest)) > 0 {
			return nil, errors.New("that word stands alone")
		}
		return want, nil
	}
}

func oneWord(rest, missing string) (string, error) {
	if hollow(rest) || strings.Contains(rest, " ") {
		return "", errors.New(missing)
	}
	return rest, nil
}

func someText(rest, missing string) (string, error) {
	if hollow(rest) {
		return "", errors.New("say " + missing)
	}
	return rest, nil
}

// maybeText reads a reason that need not be there.
func maybeText(rest string) (string, error) {
	if rest = cutPleaseAlone.ReplaceAllString(rest, ""); rest == "" {
		return "", nil
	}
	return someText(rest, "why")
}

var cutPleaseAlone = regexp.MustCompile(`(?i)^please[.!]*$`)

// cutTag takes a suit's tag off the beginning of a text: "HP-07: seam", "hp 7",
// "of HP-07". The rest keeps what joins it to the tag, as in "& 08".
func cutTag(rest string) (tag, left string) {
	for _, little := range []string{"of ", "for ", "on ", "the ", "suit "} {
		rest = cutFold(rest, little)
	}
	tag, left = cutWord(rest)
	if number, after := cutWord(strings.TrimLeft(left, " ")); lettersOnly.MatchString(tag) && number != "" && strings.Trim(number, "0123456789") == "" {
		tag, left = tag+"-"+number, after // "HP 07"
	}
	return tag, left
}

// cutWord takes a word off the beginning of a text, without the punctuation that may
// follow a tag.
func cutWord(text string) (word, left string) {
	if i := strings.IndexAny(text, " ,;:!?&+–"); i >= 0 {
		word, left = text[:i], text[i:]
	} else {
		word = text
	}
	short := strings.TrimRight(word, ".")
	return short, word[len(short):] + left
}

// cutSuit takes a suit's tag off the beginning of a text and off what it is
// joined by.
func cutSuit(rest string) (tag, text string) {
	tag, left := cutTag(rest)
	return tag, strings.TrimLeft(left, joints)
}

// tagEnd is what may stand behind a tag in a sentence.
const tagEnd = ",;:?!."

// joints is what may stand between a tag and a text.
const joints = tagEnd + "-– "

var lettersOnly = regexp.MustCompile(`^\pL{1,4}$`)

func cutFold(s, prefix string) string {
	if len(s) > len(prefix) && strings.EqualFold(s[:len(prefix)], prefix) {
		return s[len(prefix):]
	}
	return s
}

// oneSuit reads a suit's tag that stands alone.
func oneSuit(verb, rest string) (string, error) {
	tag, left := cutTag(rest)
	if other, is := another(tag, left, false); is {
		return "", oneAPost(verb, tag, other)
	}
	if hollow(tag) || !hollow(left) || strings.Contains(left, "…") {
		return "", errors.New("which suit?")
	}
	return tag, nil
}

// aboutSuit parses a suit's tag and a text, which must be there if missing
// names what it is for. A second suit is refused: it would be taken for a word
// of the text, and stay fit.
func aboutSuit(make func(tag, text string) (any, error), missing string) func(string) (any, error) {
	return func(rest string) (any, error) {
		tag, left := cutTag(rest)
		text := strings.TrimLeft(left, joints)
		counts := missing == "what was repaired" || missing == "what was found"
		other, more := another(tag, left, counts)
		if !more { // "HP-07 !08": what joins it is no part of the text
			other, more = another(tag, " "+text, counts)
		}
		switch {
		case more:
			return nil, &half{tag, other, text}
		case !tagForm.MatchString(tag):
			return nil, errors.New("which suit?")
		case hollow(text) && (missing != "" || text != "" || strings.Contains(left, "..")):
			return nil, errors.New("say " + cmp.Or(missing, "when, or leave it out"))
		}
		return make(tag, text)
	}
}

// half is a text about a suit that also names another. Neither half may be done.
type half struct{ tag, other, text string }

func (h *half) Error() string { return "one suit a post: nothing was recorded" }

// onlySuits is a text with nothing in it but further suits.
var onlySuits = regexp.MustCompile(`(?i)^(?:\pL{1,4}[-_.]?\d+\pL?|\d+|and|also|or|to|too|und|[ &,/+;.!–-])*$`)

// hint spells the post out for each of the suits, if the second is clear.
func (h *half) hint(f form) *hint {
	tag := h.tag
	if m := slashed.FindStringSubmatch(tag); m != nil {
		tag = m[1] + m[2]
	}
	say := func(tag string) string {
		if f.verbs[0] == "used" && h.other != "" && onlySuits.MatchString(h.text) {
			return "used " + tag
		}
		return f.said(tag)
	}
	help := &hint{say: h.Error(), try: say(tag)}
	if h.other != "" {
		help.also = say(h.other)
	}
	return help
}

// oneAPost refuses a text about a suit that names another.
func oneAPost(verb, tag, other string) error {
	f, _ := find(verb, Talk)
	return (&half{tag: tag, other: other}).hint(f)
}

var (
	// joined is a bare number that goes on from a tag: "& 08", ", 08", "and 8".
	joined = regexp.MustCompile(`(?i)^ *(?:[&,/+;–]| - |and\b|or\b|to\b|und\b)[ &,/+;]*(?:also )?(\d{1,5}\pL?)(?:[.!?,;:&/+ ]+(?:\D.*)?|[,;&+ ]+.*)?$`)
	// numbered is a text that is nothing but numbers, or begins with one as only
	// tags have it.
	numbered = regexp.MustCompile(`^ *(?:(\d{1,5})(?:[ ,;&+]+\d{1,5})*[.!]?|(0\d{1,4})(?: .*)?)$`)
	// slashed is two numbers of one width: "HP-07/08".
	slashed = regexp.MustCompile(`^(\pL+[-_.]?)(\d+)/(\d+)$`)
)

// another finds a second suit in what follows a tag: another tag of its kind, a number
// joined to it, or a number alone if it can mean nothing else. The name is empty if it
// is not clear which suit is meant.
func another(tag, left string, counts bool) (other string, is bool) {
	if m := slashed.FindStringSubmatch(tag); m != nil && len(m[2]) == len(m[3]) {
		return m[1] + m[3], true
	}
	words := strings.FieldsFunc(left, func(r rune) bool { return strings.ContainsRune(" ,;:&+/()!?–", r) })
	for i, w := range words {
		w = strings.TrimRight(strings.TrimSuffix(strings.TrimSuffix(w, "'s"), "’s"), tagEnd)
		if next := i + 1; next < len(words) && lettersOnly.MatchString(w) && strings.Trim(words[next], "0123456789.") == "" {
			w += "-" + strings.TrimRight(words[next], ".") // "HP 08"
		}
		if tagForm.MatchString(w) && len(w) <= longestTag && sameKind(tag, w) && !core.SameName(tag, w) {
			return w, true
		}
	}
	number := ""
	if n := numberLike(tag, left, counts); n != "" {
		number = n
	} else if m := joined.FindStringSubmatch(left); m != nil {
		number = m[1]
	} else if m := numbered.FindStringSubmatch(left); m != nil && !(counts && m[2] == "") {
		number = m[1] + m[2]
	}
	if number == "" || !tagForm.MatchString(tag) || core.SameName(number, lastOf(tag)) {
		return "", false
	}
	own := lastOf(tag)
	if len(number) > len(own) {
		return "", true
	}
	if n := len(own) - len(number); n > 0 && own[0] == '0' { // "HP-07 and 8"
		number = strings.Repeat("0", n) + number
	}
	return strings.TrimSuffix(tag, own) + number, true
}

// numberLike finds a bare number with as many digits as the tag's own: right behind the
// tag, unless things are counted there, or later behind "and" or the like. Times, dates
// and amounts do not count.
func numberLike(tag, left string, counts bool) string {
	own := lastNumber.FindString(tag)
	for i, m := range furtherNumber.FindAllStringSubmatchIndex(left, -1) {
		number, after := left[m[4]:m[5]], left[m[5]:]
		behind := strings.TrimSpace(left[m[0]:m[4]]) == ""
		switch {
		case len(number) != len(own) || len(own) < 2 || number == own || amount.MatchString(after):
		case behind && (counts || i > 0 || strings.TrimSpace(left[:m[4]]) != ""):
		default:
			return number
		}
	}
	return ""
}

var (
	furtherNumber = regexp.MustCompile(`(?i)(^ *|[,;&+/] ?|\b(?:and|also|plus|or) )(?:suit |no\.? ?|number |#)?(\d{2,5})\b`)
	amount        = regexp.MustCompile(`(?i)^(?:[:.\-/]\d| ?(?:mm|cm|m|min|minutes?|h|hours?|s|l|litres?|mbar|h?pa|%|°|x|times|holes?|people|persons?|days?|years?|o'?clock|am|pm)\b)`)
)

// lastOf returns the number that a tag ends in, with its letter.
func lastOf(tag string) string { return lastNumber.FindString(tag) }

var lastNumber = regexp.MustCompile(`\d+\pL?$`)

func parseTick(rest string) (any, error) {
	if strings.EqualFold(strings.TrimRight(rest, ".!"), "all") {
		return core.Tick{All: true}, nil
	}
	if rest != "" && hollow(rest) {
		return nil, errors.New("which numbers?")
	}
	items, err := parseItems(rest)
	if err != nil { // "all but 4" must not be told to tick all
		return nil, &hint{say: err.Error() + ": say each number", try: "ok …"}
	}
	return core.Tick{Items: items}, nil
}

func parseUntick(rest string) (any, error) {
	items, err := parseItems(rest)
	if tags := tagsIn(rest); len(tags) > 0 { // "undo used HP-08"
		return nil, &hint{say: "what is on record stays, and a passed test clears a block", try: "status " + tags[0]}
	}
	if err == nil && len(items) == 0 {
		err = errors.New("which number?")
	}
	return core.Untick{Items: items}, err
}

func parseFix(rest string) (any, error) {
	if isLitres(rest) {
		return parseLitres(rest)
	}
	r, err := parseReading(rest)
	if err == nil && r.HasStated {
		err = errors.New("a correction keeps the moment of the reading")
	}
	if err != nil {
		try := "fix …"
		if among, ok := readingAmong(strings.Fields(rest)); ok && !negated(strings.Fields(rest)) {
			try = "fix " + withUnit(among.Digits, among.Unit)
		}
		return nil, &hint{say: err.Error(), try: try}
	}
	return core.Fix{Digits: r.Digits, Unit: r.Unit}, nil
}

func parseStatus(rest string) (any, error) {
	if rest == "" {
		return core.AskFleet{}, nil
	}
	tag, left := cutTag(rest)
	other, more := another(tag, left, false)
	switch {
	case more && tagForm.MatchString(tag):
		return nil, oneAPost("status", tag, other)
	case hollow(rest):
		return nil, errors.New("which suit?")
	case !hollow(left) || tag == "":
		return core.AskSuit{Suit: rest}, nil // as it was typed: it is no tag
	}
	return core.AskSuit{Suit: tag}, nil
}

func parseReady(rest string) (any, error) {
	for _, little := range []string{"for ", "in ", "at ", "on ", "from ", "size "} {
		rest = cutFold(rest, little)
	}
	if rest != "" && hollow(rest) {
		return nil, errors.New("of which size, or where?")
	}
	return core.AskReady{Want: rest}, nil
}

func parseRecord(rest string) (any, error) {
	if rest == "" {
		return core.AskRecord{}, nil
	}
	id, ok := core.ParseRunID(rest)
	if !ok {
		if tags := tagsIn(rest); len(tags) > 0 {
			return nil, &hint{say: "a record is of one run: which? Its suit's history names them", try: "history " + tags[0]}
		}
		return nil, errors.New("which run?")
	}
	return core.AskRecord{Run: id}, nil
}

// ofDefects is the numbers of the defects that a repair was about. The colon tells
// them from a count: "1 3: seam taped" and "2 new gloves".
var ofDefects = regexp.MustCompile(`^(\d{1,2}(?:-\d{1,2})?(?:(?:,| and|,? &| )+ ?\d{1,2}(?:-\d{1,2})?)*) ?:(?: +(.*))?$`)

// ofAll is a repair of all of them, unless some are excepted.
var ofAll = regexp.MustCompile(`(?i)^all\b[ ,;:–-]*(.*)$`)

// parseRepaired reads what was repaired, after the numbers of the defects that
// it was about.
func parseRepaired(tag, text string) (any, error) {
	want := core.NoteRepaired{Suit: tag, What: text}
	said := ""
	if m := ofAll.FindStringSubmatch(text); m != nil {
		want.All, want.What, said = true, m[1], "all: "
		if excepts.MatchString(want.What) {
			return nil, &hint{say: "say which were repaired, by their numbers: nothing was recorded", try: "repaired " + tag + " …"}
		}
	} else if m := ofDefects.FindStringSubmatch(text); m != nil {
		items, err := parseItems(strings.ReplaceAll(m[1], "&", " "))
		if err != nil {
			return nil, err
		}
		slices.Sort(items)
		want.Of, want.What, said = slices.Compact(items), m[2], m[1]+": "
	}
	switch {
	case hollow(want.What):
		return nil, &hint{say: "say what was repaired", try: "repaired " + tag + " " + said + "…"}
	case notDone.MatchString(want.What):
		return nil, &hint{say: "that is no repair: nothing was recorded. Say what was done", try: "repaired " + tag + " …"}
	}
	return want, nil
}

func parseCause(tag, text string) (any, error) {
	if noCause.MatchString(text) {
		return nil, &hint{say: "that is no cause: nothing was recorded. Say it once it is known", try: "cause " + tag + " …"}
	}
	return core.NoteCause{Suit: tag, What: text}, nil
}

// NothingDone reports whether a text says of a repair that there was none, or none
// yet.
func NothingDone(text string) bool { return hollow(text) || notDone.MatchString(text) }

// cleanNumbers prints numbers as they are typed: "1 3".
func cleanNumbers(items []int) string { return strings.ReplaceAll(numbers(items), ",", "") }

var (
	excepts = regexp.MustCompile(`(?i)^(?:but|except|apart|without|minus|save|not|bar|excluding|other than)\b`)
	// notDone matches a text that says of a repair that it was not done, or not yet.
	// It also matches doubtful texts: a real repair can be put in other words.
	notDone = regexp.MustCompile(`(?i)^[^\pL\pN]*(?:$|(?:not|no|none|nothing|never|nobody|n/?a|nil|unknown|unclear|pending|later|tomorrow|soon|tbd|to ?do|needs?|must|should|shall|will|would|can(?:no|')?t|cannot|could(?:n't| not)?|wait\w*|await\w*|order(?:ed)?|sent|to be|planned|open)\b)` +
		`|\b(?:not yet|not (?:done|possible|repaired|fixed|mended|finished|complete[d]?)|unrepaired|unfinished|will be|to be done|(?:must|needs?|has|have|had) to be|could not|couldn't|cannot|can't|wasn't|isn't|wait\w* for|on order|pending|still (?:open|leaks|torn|to)|next week)\b|\?`)
	// noCause is a text by which no cause was found.
	noCause = regexp.MustCompile(`(?i)^[^\pL\pN]*(?:$|(?:no|none|nothing|never|nobody|n/?a|nil|unknown|unclear|unsure|pending|later|tomorrow|tbd|not (?:found|known|clear|sure|seen|yet))\b)` +
		`|\b(?:not (?:found|known|yet known|clear|yet)|unknown|unclear|no idea|no cause)\b|\?`)
)

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

// moreItems is a text that goes on with a further number of the list.
var moreItems = regexp.MustCompile(`(?i)^(?:and|&|\+|,|or|to|-|–)? ?\d{1,2}(?:[ ,;&+].*)?$`)

func parseBad(rest string) (any, error) {
	number, what, _ := strings.Cut(rest, " ")
	n, err := strconv.Atoi(number)
	if err != nil || n < 1 {
		return nil, errors.New("which number of the list?")
	}
	if moreItems.MatchString(what) {
		return nil, &hint{say: "one number a post: nothing was recorded", try: "bad " + strconv.Itoa(n) + " …"}
	}
	if hollow(what) {
		return nil, &hint{say: "say what is bad", try: "bad " + strconv.Itoa(n) + " …"}
	}
	return core.Bad{Item: n, What: what}, nil
}

var (
	airForm    = regexp.MustCompile(`^(-?\d{1,2}(?:[.,]\d{1,2})?) ?(?:°|deg(?:rees)?\.?)? ?(?:[cC](?:elsius)?)?$`)
	fahrenheit = regexp.MustCompile(`^(-?\d{1,3}(?:[.,]\d{1,2})?) ?(?:°|deg(?:rees)?\.?)? ?[fF](?:ahrenheit)?$`)
)

func parseAir(rest string) (any, error) {
	if hollow(rest) {
		return nil, errors.New("which value?")
	}
	if m := airForm.FindStringSubmatch(rest); m != nil {
		return core.Air{Celsius: strings.Replace(m[1], ",", ".", 1)}, nil
	}
	err := errors.New("the temperature is in °C")
	if m := fahrenheit.FindStringSubmatch(rest); m != nil {
		f, _ := strconv.ParseFloat(strings.Replace(m[1], ",", ".", 1), 64)
		if c := (f - 32) / 1.8; c > -100 && c < 100 {
			return nil, &hint{say: err.Error(), try: fmt.Sprintf("air %.1f", c)}
		}
	}
	return nil, err
}

// mine is the speaker, who takes a run over. "@me" is somebody of that name.
var mine = regexp.MustCompile(`(?i)^(?:me|myself)[.!]*$`)

func parseHandOver(rest string) (any, error) {
	name := cutFold(rest, "to ")
	if name == rest && !strings.HasPrefix(rest, "@") { // "over there"
		name = ""
	}
	if mine.MatchString(name) {
		return core.HandOver{Me: true}, nil
	}
	name = strings.TrimRight(strings.TrimPrefix(name, "@"), ".")
	if hollow(name) || strings.Contains(name, " ") || strings.EqualFold(name, "to") {
		return nil, &hint{say: "to whom?", try: "over to @…"}
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
	beforeWith, _, _ := strings.Cut(strings.ToLower(rest), " with ")
	tag, left := cutTag(rest[:min(len(rest), len(beforeWith))])
	other, more := another(tag, left, true)
	if second := want.Manometer; !more && sameKind(tag, second) && tagForm.MatchString(second) && !notTag(second) { // "with HP-08"
		other, more = second, true
	}
	switch {
	case hollow(want.Suit):
		return nil, errors.New("which suit?")
	case more && (tagForm.MatchString(tag) || slashed.MatchString(tag)):
		return nil, oneAPost("test", tag, other)
	case want.Method != "" && hollow(want.Method):
		return nil, errors.New("which method?")
	case want.Manometer != "" && hollow(want.Manometer):
		return nil, errors.New("with which manometer?")
	}
	return want, nil
}

// parseUsed reads when a suit was used, and a note. What was meant as a day or a
// time and is none must not become a note about a use of today.
func parseUsed(tag, text string) (any, error) {
	when, note := splitMoment(text)
	note = strings.TrimLeft(note, "-–:;, ")
	first, _, _ := strings.Cut(note, " ")
	other, more := another(tag, " "+note, false)
	switch {
	case more:
		return nil, &half{tag, other, text}
	case note != "" && hollow(note):
		return nil, errors.New("say when, or leave it out")
	case momentLike.MatchString(strings.TrimRight(first, tagEnd)) || ago.MatchString(note):
		return nil, errors.New("write the day as yesterday or year-month-day, the time as hours:minutes")
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
	what := "suit"
	if manometer {
		what = "manometer"
	}
	return func(rest string) (any, error) {
		rest = straight.Replace(rest)
		verb, rest, _ := strings.Cut(rest, " ")
		want := core.Enter{Manometer: manometer}
		switch strings.ToLower(verb) {
		case "add":
		case "change":
			want.Change = true
		default:
			try := what + " …"
			if tagForm.MatchString(verb) {
				try = what + " change " + verb + " …"
			}
			return nil, &hint{say: "add or change?", try: try}
		}
		want.Name, rest, _ = strings.Cut(rest, " ")
		if hollow(want.Name) || strings.ContainsAny(want.Name, "=\"") {
			return nil, &hint{say: "which one?", try: what + " " + strings.ToLower(verb) + " …"}
		}
		for rest = strings.TrimSpace(rest); rest != ""; rest = strings.TrimSpace(rest) {
			m := fieldForm.FindStringSubmatch(rest)
			if m == nil || strings.ContainsAny(m[2], "….") && strings.Trim(m[2], "….\" ") == "" {
				return nil, &hint{say: "write column=value, with quotes around blanks", try: what + " " + strings.ToLower(verb) + " " + plain(want.Name) + " …"}
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
