package commands

import (
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"github.com/agnivade/levenshtein"

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

// Misunderstood is a text that means nothing here. Try is the nearest thing
// that would.
type Misunderstood struct {
	Text string
	Say  string // what is wrong, if something better than "not understood" is known
	Try  string
	// Faulty is true for a command or a reading that is not whole or not right,
	// false for words that begin none.
	Faulty bool
}

func (m *Misunderstood) Error() string {
	if m.Say != "" {
		return fmt.Sprintf("%q: %s; try %q", m.Text, m.Say, m.Try)
	}
	return fmt.Sprintf("%q is not understood; try %q", m.Text, m.Try)
}

// Parse reads what somebody typed. It returns a core.Intent, a Help, or an
// error that is always a *Misunderstood.
func Parse(text string, in Place) (any, error) {
	typed := clean(text)
	text = strings.Join(strings.Fields(emphasis.Replace(typed)), " ")
	if text == "" {
		return Help{}, nil
	}
	if polite, rest, _ := strings.Cut(text, " "); strings.EqualFold(polite, "please") && rest != "" {
		text = rest
		_, typed, _ = strings.Cut(typed, " ")
	}
	verb, rest, _ := strings.Cut(text, " ")
	verb = strings.ToLower(strings.Trim(verb, ":,.!?"))
	if f, ok := find(verb, in); ok {
		if f.verbatim {
			_, rest, _ = strings.Cut(typed, " ")
		}
		want, err := f.parse(rest)
		if err != nil {
			return nil, &Misunderstood{Text: text, Say: err.Error(), Try: f.example, Faulty: true}
		}
		return want, nil
	}
	if isLitres(text) {
		return parseLitres(text)
	}
	if startsNumber(text) {
		want, err := parseReading(text)
		switch {
		case err == nil:
			return want, nil // elsewhere it is answered with where it belongs
		case in == Thread:
			return nil, &Misunderstood{Text: text, Say: err.Error(), Try: "16.5 mbar", Faulty: true}
		}
	}
	if tag, ok := tagIn(text, in); ok {
		return core.AskSuit{Suit: tag}, nil
	}
	return nil, instead(text, verb, in)
}

// emphasis drops what only makes words look different.
var emphasis = strings.NewReplacer("*", "", "`", "")

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

// find looks up the form that a verb begins. What belongs in a run's thread is
// understood elsewhere too, to be answered with where it belongs.
func find(verb string, in Place) (form, bool) {
	for _, f := range forms {
		if (f.in == anywhere || f.in == where(in) || in == Talk) && slices.Contains(f.verbs, verb) {
			return f, true
		}
	}
	return form{}, false
}

// instead finds the nearest thing to a text that would be understood: by how
// its first word is spelt, by a later word that is a verb, by the suit, or by
// the number in it. In a run's thread anything else may have been a remark.
func instead(text, verb string, in Place) *Misunderstood {
	words := strings.Fields(text)
	for i := range words {
		words[i] = strings.Trim(words[i], ",;:.!?()")
	}
	if try, ok := alike(verb, in); ok {
		return &Misunderstood{Text: text, Try: try}
	}
	const longestTag = 20
	if i := slices.IndexFunc(words, func(w string) bool { return len(w) <= longestTag && tagForm.MatchString(w) }); i >= 0 {
		return &Misunderstood{Text: text, Try: "status " + words[i]}
	}
	if in == Talk {
		for _, w := range words {
			if f, ok := find(strings.ToLower(w), in); ok && f.in == anywhere {
				return &Misunderstood{Text: text, Try: f.example}
			}
		}
		return &Misunderstood{Text: text, Try: "help"}
	}
	for i := range words {
		for _, said := range []string{strings.Join(words[i:min(i+2, len(words))], " "), words[i]} {
			if r, err := parseReading(said); err == nil {
				return &Misunderstood{Text: text, Say: "a reading stands alone, and fix corrects the last", Try: Print(r)}
			}
		}
	}
	return &Misunderstood{Text: text, Say: "not understood; a remark begins with note", Try: "note visor scratched"}
}

// alike returns the example of the form whose verb is spelt most alike: one
// letter in three may be another, missing or too many, or two may be swapped.
func alike(verb string, in Place) (example string, ok bool) {
	const longest = 20
	if len(verb) > longest {
		return "", false
	}
	best := longest
	for _, f := range forms {
		if f.in != anywhere && f.in != where(in) {
			continue
		}
		for _, v := range f.verbs {
			d := levenshtein.ComputeDistance(verb, v)
			if d == 2 && sameLetters(verb, v) {
				d = 1
			}
			if d < best && 3*d <= max(3, len(v)) && d < len(v) {
				best, example = d, f.example
			}
		}
	}
	return example, example != ""
}

func sameLetters(a, b string) bool {
	return slices.Equal(slices.Sorted(slices.Values([]rune(a))), slices.Sorted(slices.Values([]rune(b))))
}

func startsNumber(text string) bool {
	return text[0] >= '0' && text[0] <= '9' || len(text) > 1 && strings.IndexByte("-+.,", text[0]) >= 0 && text[1] >= '0' && text[1] <= '9'
}

var readingForm = regexp.MustCompile(`^(\d+(?:[.,]\d+)?) ?([^\d@]*?)(?: ?(?:\bat|@) ?(.+))?$`)

// parseReading reads "16.5", "16,5 mbar", `6.6"`, "13.9 at 6:00".
func parseReading(text string) (core.Read, error) {
	m := readingForm.FindStringSubmatch(strings.TrimRight(text, ".!"))
	if m == nil {
		return core.Read{}, fmt.Errorf("a reading is a number and a unit")
	}
	read := core.Read{Digits: strings.Replace(m[1], ",", ".", 1)}
	if m[2] != "" {
		unit, err := core.ParseUnit(m[2])
		if err != nil {
			return core.Read{}, err
		}
		read.Unit = unit
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
	if m[3] != "" {
		at, err := parseClock(m[3])
		if err != nil {
			return core.Read{}, err
		}
		read.Stated, read.HasStated = at, true
	}
	return read, nil
}

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
	asks = []string{"is", "are", "can", "may", "does", "has", "how", "what", "when", "where", "which", "why"}
)

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
