package commands

import (
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"benchbell/core"
)

// Place is where words are said: what can be said depends on it.
type Place int

// The places.
const (
	// Talk is a direct message, or a post that mentions the bot.
	Talk Place = iota
	// Thread is a run's own thread, where bare words are for the run.
	Thread
)

// Help asks what can be said; Word narrows it down.
type Help struct{ Word string }

// Misunderstood is a text that means nothing here. Try is the nearest text that does. It
// consists of command words, the person's own words, and an ellipsis for what is
// missing.
type Misunderstood struct {
	Text string
	Say  string // what is wrong, if something better than "not understood" is known
	Try  string
	Also string // what else has to be said, where two things were meant
	// Faulty is true for an incomplete or wrong command or reading, false for words
	// that do not begin one.
	Faulty bool
	// Passing is true for words that sound like talk between people. Try then
	// says the same for sure.
	Passing bool
}

// Meant reports whether the person must be told even where people talk to each other:
// the text is an incomplete command that names a suit or is a single word.
func (m *Misunderstood) Meant() bool {
	return m.Faulty && !m.Passing && (m.Also != "" || len(tagsIn(m.Text)) > 0 || !strings.Contains(m.Text, " "))
}

func (m *Misunderstood) Error() string {
	if m.Say != "" {
		return fmt.Sprintf("%q: %s; try %q", m.Text, m.Say, m.Try)
	}
	return fmt.Sprintf("%q is not understood; try %q", m.Text, m.Try)
}

// Parse reads what somebody typed. It returns a core.Intent, a Help, Thanks, or
// an error that is always a *Misunderstood.
func Parse(text string, in Place) (any, error) {
	typed := clean(text)
	text = plain(typed)
	switch {
	case text == "" && typed != "" && in == Thread:
		return nil, &Misunderstood{Text: typed, Try: "where"}
	case text == "" || text == "?":
		return Help{}, nil
	case thanks[strings.ToLower(strings.TrimRight(text, ".!"))]:
		return Thanks{}, nil
	}
	if polite, rest, _ := strings.Cut(text, " "); strings.EqualFold(polite, "please") && rest != "" {
		text = rest
		typed = behind(polite, typed)
	}
	if startsHollow(text) { // as it was printed, with nothing filled in
		return nil, &Misunderstood{Text: text, Say: "say it in place of the …", Try: "help", Faulty: true}
	}
	verb, rest, _ := strings.Cut(text, " ")
	verb = strings.ToLower(strings.Trim(verb, ":,.!?"))
	if f, ok := find(verb, in); ok {
		if f.verbatim {
			word, _, _ := strings.Cut(text, " ")
			rest = behind(word, typed)
			if after, colon := cutColon(rest); f.passing != nil && (colon || strings.HasSuffix(word, ":")) {
				rest = after
			} else if in == Thread && f.twoRuns(rest) {
				return nil, &Misunderstood{Text: text, Say: "one run at a time", Try: "where", Faulty: true}
			} else if in == Thread && f.inPassing(rest) {
				return nil, f.askedBack(text, verb, rest)
			}
		} else {
			rest = strings.TrimSpace(cutPlease.ReplaceAllString(rest, ""))
		}
		want, err := f.parse(rest)
		if !f.verbatim && slices.ContainsFunc(strings.Fields(rest), elided) && err == nil {
			err = errors.New("say it in place of the …")
		}
		if err == nil && strings.HasSuffix(text, "?") && acts(want) {
			err = &hint{say: "a question changes nothing", try: "help"}
			if in == Thread {
				err = &hint{say: "a question changes nothing", try: "where"}
			}
		}
		if err == nil {
			return want, nil
		}
		if tag, ok := tagIn(text, in); ok && slices.Contains(asks, verb) { // "why is HP-13 not fit?"
			return core.AskSuit{Suit: tag}, nil
		}
		return nil, f.faulty(text, err, in)
	}
	if isLitres(text) {
		return parseLitres(text)
	}
	if want, ok, err := parseBare(text, in); ok {
		return want, err
	}
	if tag, ok := tagIn(text, in); ok {
		first, left := cutTag(text[strings.Index(text+tag, tag):])
		_, joined := another(first, left, true)
		if more := tagsIn(text); len(more) > 1 || joined { // the answer must not be taken for the other's
			return nil, &Misunderstood{Text: text, Say: "one suit at a time", Try: tag, Faulty: true}
		}
		return core.AskSuit{Suit: tag}, nil
	}
	if want, ok := askedOfFleet(text, in); ok {
		return want, nil
	}
	return nil, instead(text, verb, in)
}

// parseBare reads what begins with a number: a reading, or numbers of the list
// without the word that ticks them.
func parseBare(text string, in Place) (want any, ok bool, err error) {
	if items, err := parseItems(text); err == nil && len(items) > 1 && in == Thread && !decimalComma.MatchString(text) {
		return nil, true, &Misunderstood{Text: text, Say: "a list is ticked by ok", Try: "ok " + text, Faulty: true}
	}
	for _, form := range notOK {
		if m := form.FindStringSubmatch(text); m != nil && in == Thread {
			return nil, true, &Misunderstood{Text: text, Say: "a defect begins with bad", Try: "bad " + m[1] + " …", Faulty: true}
		}
	}
	if !startsNumber(text) {
		return nil, false, nil
	}
	want, err = parseReading(text)
	switch {
	case err == nil:
		return want, true, nil // elsewhere it is answered with where it belongs
	case in != Thread:
		return nil, false, nil
	}
	m := &Misunderstood{Text: text, Say: err.Error(), Try: "reading …", Faulty: true}
	if h, is := errors.AsType[*hint](err); is {
		m.Try = h.try
	}
	if words := strings.Fields(text); negated(words) || slices.Contains(words, "wrong") {
		m.Try = "where" // nobody must post once more what was wrong
	}
	return nil, true, m
}

// decimalComma is a number with a comma somewhere, which no list has without a
// blank behind it.
var decimalComma = regexp.MustCompile(`(?:^| )\d+,\d+(?: |$)`)

// startsHollow reports whether a text begins with an ellipsis.
func startsHollow(text string) bool {
	return strings.HasPrefix(text, "…") || strings.HasPrefix(text, "..")
}

// elided reports whether a word is an ellipsis that was to be filled in.
func elided(word string) bool {
	return strings.Trim(word, "….") == "" && (strings.Contains(word, "…") || strings.Contains(word, ".."))
}

// acts reports whether an intent ends, clears or ticks something, which a question
// must not.
func acts(want any) bool {
	switch want.(type) {
	case core.Tick, core.Untick, core.Yes, core.Fix, core.Stop, core.NothingFitted, core.Repeat, core.HandOver,
		core.NoteRepaired, core.NoteCause, core.Release, core.Reinstate, core.Retire:
		return true
	}
	return false
}

var cutPlease = regexp.MustCompile(`(?i)(^|[ ,]+)please[.!]*$`)

// notOK is a number of a list that is not as it should be: "4 not ok".
var notOK = []*regexp.Regexp{
	regexp.MustCompile(`(?i)^([1-9]\d?)[:,]? (?:is )?(?:not|bad|nok)\b`),
	regexp.MustCompile(`(?i)^(?:not ok|nok)[:,]? ([1-9]\d?)[.!]*$`),
}

// Thanks is said to be polite, and needs no answer.
type Thanks struct{}

var thanks = map[string]bool{"thanks": true, "thank you": true, "thx": true, "ok thanks": true, "thanks a lot": true, "many thanks": true}

// hint is an error that knows better than its form what to type.
type hint struct{ say, try, also string }

func (h *hint) Error() string { return h.say }

// faulty says what is wrong with a text that was nearly understood. A text that denies
// something gets no suggestion that would affirm it.
func (f form) faulty(text string, err error, in Place) *Misunderstood {
	m := &Misunderstood{Text: text, Say: err.Error(), Faulty: true}
	tag := ""
	if tags := tagsIn(text); len(tags) > 0 {
		tag = tags[0]
	}
	if h, is := errors.AsType[*half](err); is {
		err = h.hint(f)
	}
	h, hinted := errors.AsType[*hint](err)
	switch {
	case hinted:
		m.Try, m.Also = h.try, h.also
	case negated(strings.Fields(text)):
		m.Try = harmless(tag, in)
	default:
		m.Try = f.said(tag)
	}
	return m
}

// harmless is what can be said of anything: it changes nothing.
func harmless(tag string, in Place) string {
	switch {
	case tag != "":
		return "status " + tag
	case in == Thread:
		return "where"
	}
	return "help"
}

// emphasis drops what only makes words look different.
var emphasis = strings.NewReplacer("*", "", "`", "")

// plain is a text without emphasis and emoji: phones insert emoji that mean nothing.
func plain(typed string) string {
	words := strings.FieldsFunc(strings.Map(func(r rune) rune {
		if isPicture(r) {
			return ' '
		}
		return r
	}, emphasis.Replace(typed)), unicode.IsSpace)
	return strings.Join(slices.DeleteFunc(words, shortcode.MatchString), " ")
}

func isPicture(r rune) bool {
	return r != '°' && r != '`' && unicode.In(r, unicode.So, unicode.Sk, unicode.Variation_Selector)
}

// behind returns what stands behind the first word of a text, as it was typed.
func behind(word, typed string) string {
	const farthest = 200
	for i, r := range typed {
		if i > farthest {
			break
		}
		if (r == ' ' || isPicture(r)) && plain(typed[:i]) == word {
			return strings.TrimLeft(typed[i:], " ")
		}
	}
	return ""
}

// shortcode is a picture as the chat server writes it: ":+1:".
var shortcode = regexp.MustCompile(`^(?::(?:[a-z][a-z0-9_+-]*|[+-]1):)+$`)

// clean drops runs of blanks, line breaks and invisible characters.
func clean(text string) string {
	text = strings.Map(func(r rune) rune {
		switch {
		case unicode.IsSpace(r):
			return ' '
		case !unicode.IsPrint(r):
			return -1
		}
		return r
	}, text)
	return strings.Join(strings.Fields(text), " ")
}

var mention = regexp.MustCompile(`(?i)@[a-z0-9._-]+`)

// WithoutMention drops every mention of the bot from a text, and says whether
// there was one.
func WithoutMention(text, bot string) (rest string, mentioned bool) {
	rest = mention.ReplaceAllStringFunc(text, func(m string) string {
		if strings.EqualFold(strings.TrimRight(m[1:], ".-_"), bot) {
			mentioned = true
			return ""
		}
		return m
	})
	return strings.TrimLeft(rest, " ,:"), mentioned
}

// find looks up the form that a verb begins. Words for a run's thread are found in other
// places too, so that the answer can say where they belong.
func find(verb string, in Place) (form, bool) {
	for _, f := range forms {
		if (f.in == anywhere || f.in == where(in) || in == Talk) && slices.Contains(f.verbs, verb) {
			return f, true
		}
	}
	return form{}, false
}

func startsNumber(text string) bool {
	return text[0] >= '0' && text[0] <= '9' || len(text) > 1 && strings.IndexByte("-+.,", text[0]) >= 0 && text[1] >= '0' && text[1] <= '9'
}

var readingForm = regexp.MustCompile(`^(\d+(?:[.,]\d+)?) ?([^\d@]*?)(?: ?(?:\bat|@) ?(.+))?$`)

// parseReading reads "16.5", "16,5 mbar", `6.6"`, "13.9 at 6:00".
func parseReading(text string) (core.Read, error) {
	if hollow(text) {
		return core.Read{}, errors.New("which value?")
	}
	if short := strings.TrimRight(text, ". "); strings.HasSuffix(text, "..") {
		text = short + " …" // nobody ends a number so: nothing was filled in
	}
	m := readingForm.FindStringSubmatch(strings.TrimRight(text, ".!"))
	if m == nil {
		return core.Read{}, errors.New("a reading is a number and a unit")
	}
	read := core.Read{Digits: strings.Replace(m[1], ",", ".", 1)}
	if m[2] != "" {
		unit, err := core.ParseUnit(m[2])
		switch {
		case err == nil:
			read.Unit = unit
		case airForm.MatchString(text):
			return core.Read{}, &hint{say: "a temperature begins with air", try: "air " + strings.Replace(airForm.FindStringSubmatch(text)[1], ",", ".", 1)}
		case mercury.MatchString(m[2]):
			return core.Read{}, &hint{say: "inches of mercury are for the barometer; a suit's pressure is in mbar, hPa, Pa, kPa, mm, cm, in, mmHg or psi", try: "baro " + strings.TrimRight(text, ".!")}
		case fahrenheit.MatchString(text):
			_, err := parseAir(text)
			return core.Read{}, err
		case elided(m[2]):
			err = errors.New("in which unit?")
			fallthrough
		default: // alone the number would be in the manometer's unit
			return core.Read{}, &hint{say: err.Error(), try: alone(m[1]) + " …"}
		}
	}
	unit := read.Unit
	if unit == core.NoUnit {
		unit = core.Mbar // any: only the digits are looked at
	}
	written, err := core.Write(read.Digits, unit)
	if err != nil {
		return core.Read{}, err
	}
	read.Digits = written.Digits
	if m[3] != "" && hollow(m[3]) {
		return core.Read{}, errors.New("at which minutes:seconds of the hold?")
	}
	if m[3] != "" {
		at, err := parseClock(m[3])
		if err != nil {
			return core.Read{}, &hint{say: err.Error() + ": say minutes:seconds", try: withUnit(read.Digits, read.Unit) + " at …"}
		}
		read.Stated, read.HasStated = at, true
	}
	return read, nil
}

// alone is how digits are read that stand alone.
func alone(digits string) string {
	if w, err := core.Write(digits, core.Mbar); err == nil {
		return w.Digits
	}
	return "reading"
}

// mercury is how people write inches of mercury.
var mercury = regexp.MustCompile(`(?i)^(?:in|inch|inches|"|″|”|'')\.? ?(?:of )?(?:hg|mercury)\.?$`)

// parseBaro reads a barometer: hectopascals, unless the unit or the number says
// inches of mercury. No other unit has a number from 25 to 33 where people live.
func parseBaro(rest string) (core.Baro, error) {
	number, unit, _ := strings.Cut(readingParts.ReplaceAllString(strings.TrimRight(rest, ".!"), "$1 $2"), " ")
	least, _ := core.Write("25", core.InHg)
	most, _ := core.Write("33", core.InHg)
	inches, err := core.Write(number, core.InHg)
	mercuryInches := err == nil && inches.Pressure() >= least.Pressure() && inches.Pressure() <= most.Pressure()
	if u, err := core.ParseUnit(unit); mercury.MatchString(unit) || mercuryInches && (unit == "" || err == nil && u == core.InH2O && !strings.ContainsAny(strings.ToLower(unit), "wo")) {
		if inches.IsZero() {
			return core.Baro{}, errors.New("a barometer is a number and a unit")
		}
		return core.Baro{Digits: inches.Digits, Unit: core.InHg}, nil
	}
	r, err := parseReading(rest)
	switch {
	case err != nil:
		if h, is := errors.AsType[*hint](err); is {
			err = errors.New(h.say)
		}
		return core.Baro{}, err
	case r.HasStated:
		return core.Baro{}, errors.New("a barometer is true when posted")
	case r.Unit == core.NoUnit:
		r.Unit = core.HPa
	case r.Unit == core.MmH2O || r.Unit == core.CmH2O || r.Unit == core.InH2O: // of water, which no barometer has
		return core.Baro{}, errors.New("a barometer is in hPa, mbar, kPa, mmHg or inHg")
	}
	return core.Baro{Digits: r.Digits, Unit: r.Unit}, nil
}

var readingParts = regexp.MustCompile(`^(\d+(?:[.,]\d+)?) ?(.*)$`)

var clockForm = regexp.MustCompile(`^(\d{1,3}):([0-5]\d)$`)

// parseClock reads a time of the hold: "6:00", "5m30s", "6 min".
func parseClock(s string) (time.Duration, error) {
	s = strings.ReplaceAll(strings.ToLower(strings.TrimSpace(s)), " ", "")
	if m := clockForm.FindStringSubmatch(s); m != nil {
		minutes, _ := strconv.Atoi(m[1])
		seconds, _ := strconv.Atoi(m[2])
		return time.Duration(minutes)*time.Minute + time.Duration(seconds)*time.Second, nil
	}
	s = strings.NewReplacer("minutes", "m", "min", "m", "sec", "s").Replace(s)
	d, err := time.ParseDuration(s)
	if err != nil || d < 0 || d != d.Truncate(time.Second) || d > 999*time.Minute {
		return 0, fmt.Errorf("%q is not a time of the hold", s)
	}
	return d, nil
}

var (
	tagForm = regexp.MustCompile(`^\pL(?:[-_./]?[\pL\pN])*[-_./]?\d\pL?$`)
	// asks is how questions about a suit begin.
	asks = []string{"is", "are", "can", "may", "does", "do", "has", "any", "how", "what", "what's", "when", "where", "which", "who", "why"}
)

// tagsIn returns the words of a text that are tags of one kind: of "can HP-07
// and hp8 go to tank3?" the first two.
func tagsIn(text string) (tags []string) {
	for _, w := range strings.Fields(text) {
		w = strings.Trim(w, ",;:.!?()")
		if len(w) > longestTag || !tagForm.MatchString(w) || notTag(w) {
			continue
		}
		if len(tags) == 0 || sameKind(tags[0], w) && !slices.ContainsFunc(tags, func(t string) bool { return core.SameName(t, w) }) {
			tags = append(tags, w)
		}
	}
	return tags
}

const longestTag = 20

// sameKind reports whether two tags begin with the same letters.
func sameKind(a, b string) bool {
	return strings.EqualFold(letters(a), letters(b))
}

// letters returns what a tag begins with.
func letters(tag string) string {
	if i := strings.IndexAny(tag, tail); i >= 0 {
		return tag[:i]
	}
	return tag
}

const tail = "-_./0123456789"

// notTag reports whether a word that looks like a tag names something else: a
// run, a manometer, a method.
func notTag(w string) bool {
	if _, isRun := core.ParseRunID(w); isRun || strings.EqualFold(strings.TrimRight(w, tail), "m") {
		return true
	}
	return slices.ContainsFunc(core.BuiltIn(), func(m core.Method) bool { return core.SameName(m.Key, w) })
}

// tagIn finds the one word that looks like a suit's tag in "HP-07", "hp 7" or
// "can HP-07 go out?". Anything that is no question may have been meant to
// change something, and is not answered as one.
func tagIn(text string, in Place) (string, bool) {
	words := strings.Fields(strings.TrimRight(text, "?!."))
	longest := 4
	if in == Thread {
		longest = 3 // "room 21" is no suit
	}
	if len(words) == 2 && !strings.ContainsAny(words[0], "0123456789") && utf8.RuneCountInString(words[0]) <= longest && strings.Trim(words[1], "0123456789") == "" {
		return words[0] + "-" + words[1], true // "HP 07"
	}
	question := strings.HasSuffix(text, "?") || len(words) > 0 && slices.Contains(asks, strings.ToLower(words[0]))
	if len(words) != 1 && !question {
		return "", false
	}
	for _, w := range words {
		if w = strings.Trim(w, ",;:()"); tagForm.MatchString(w) {
			return w, true
		}
	}
	return "", false
}
