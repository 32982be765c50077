// Package commands is the chat language: words to intent, and facts to words.
//
// The rules for everything that is said:
//
//   - A phone shows about 35 characters by 12 lines. The answer, or the next
//     thing to do, comes first; one fact a line; one question a post.
//   - What needs a person is a new post that mentions them, at its end, so that
//     a notification begins with what matters. An edit only refreshes what is
//     on screen: it makes no phone buzz.
//   - One word for one thing, the trade's where it has one: suit, run, reading,
//     expansion, hold, test pressure, ending pressure, verdict, fit.
//   - Every number has its unit. A pressure is shown in the method's unit, and
//     in the manometer's where that is another one.
//   - A refusal says what is wrong and what to say instead.
//   - No code block and no table: a phone shows four lines of them.
//   - What people typed stands in quote, which nothing gets out of.
package commands

import (
	"fmt"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"benchbell/core"
)

// Dest is where a message goes.
type Dest int

// The destinations.
const (
	ToAsker    Dest = iota // where it was asked
	ToRun                  // the run's thread
	ToCrew                 // a new post in the crew channel
	ToCard                 // the run's card: the first post of its thread
	ToList                 // the checklist on screen, in the run's thread
	ToOfficers             // to each officer, directly
	ToVerdict              // a verdict, in the run's thread
	ToEnd                  // the suit's standing at the end of its run, in the thread
)

// Message is something to be said. Messages to the card, a list, a verdict
// and the end refresh that post if it is there already and New is not set.
type Message struct {
	Dest  Dest
	Text  string
	New   bool
	N     int  // which list or verdict of the run it is, from 1: its post is found again by it
	Offer int  // numbers to put under it for people to tap
	Chart bool // with the chart of the run
	Known bool // to the officers: the crew channel is told the same anyway
}

// Speaker words what a station says.
type Speaker struct {
	Zone *time.Location
	Bot  string // user name, for examples in a channel
	// AskAir is true if the policy asks for the temperature at the suit.
	AskAir bool
}

// quote makes what a person typed safe to show: it mentions nobody, is no
// link and no tag, breaks no layout and stays on one line.
func quote(s string) string {
	const most = 200
	var b strings.Builder
	count, run, longest := 0, 0, 0
	for _, r := range s {
		if unicode.IsSpace(r) {
			r = ' '
		}
		if !unicode.IsPrint(r) {
			continue
		}
		if count++; count > most {
			b.WriteString("…")
			break
		}
		b.WriteRune(r)
		if r == '`' {
			run++
			longest = max(longest, run)
		} else {
			run = 0
		}
		if strings.ContainsRune("@#~:", r) {
			b.WriteRune(unseen)
		}
	}
	fence := strings.Repeat("`", longest+1)
	text := strings.TrimSpace(b.String())
	if text == "" {
		text = "–"
	}
	if longest > 0 {
		text = " " + text + " "
	}
	return fence + text + fence
}

// unseen is a blank of no width. Between a sign and a word it keeps the chat server
// from seeing a mention, a tag or a link; clean drops it from what is copied.
const unseen = '\u200b'

// defused drops backticks from a text and parts the signs that the chat server
// makes something of from the words behind them.
func defused(text string) string {
	var b strings.Builder
	var last rune
	for _, r := range text {
		if r == '`' || !unicode.IsPrint(r) {
			continue
		}
		word := r == '_' || unicode.IsLetter(r) || unicode.IsDigit(r)
		if strings.ContainsRune("@#~", last) && word || last == ':' && r == '/' {
			b.WriteRune(unseen)
		}
		b.WriteRune(r)
		last = r
	}
	return b.String()
}

// layout is what the chat server lays text out by.
var layout = strings.NewReplacer("*", `\*`, "[", `\[`, "<", `\<`, "|", `\|`)

// shown makes a sentence of ours safe in which a person's own words may stand.
func shown(sentence string) string { return layout.Replace(defused(sentence)) }

// typed is for words that can be typed, a person's own among them.
func typed(s string) string { return code(defused(s)) }

// named prints a word of the register, a size or a place: as it is if it is plain
// words, else in quote.
func named(s string) string {
	plain := func(r rune) bool {
		return unicode.IsLetter(r) || unicode.IsDigit(r) || strings.ContainsRune(" .,-'", r)
	}
	if strings.ContainsFunc(s, func(r rune) bool { return !plain(r) }) {
		return quote(s)
	}
	return s
}

// bold is for the few words that must be seen.
func bold(s string) string { return "**" + s + "**" }

// code is for words that can be typed.
func code(s string) string { return "`" + s + "`" }

func at(p core.Person) string { return "@" + p.Name }

// clock prints a moment of the day with its seconds, since bells need them.
func (s Speaker) clock(t time.Time) string { return t.In(s.Zone).Format("15:04:05") }

// moment prints a day and time.
func (s Speaker) moment(t time.Time) string { return t.In(s.Zone).Format("2006-01-02 15:04") }

// span prints a length of time as people say it: "6 min", "1 min 30 s".
func span(d time.Duration) string {
	d = d.Round(time.Second)
	h, m, sec := int(d.Hours()), int(d.Minutes())%60, int(d.Seconds())%60
	var parts []string
	for _, p := range []struct {
		n    int
		unit string
	}{{h, "h"}, {m, "min"}, {sec, "s"}} {
		if p.n > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", p.n, p.unit))
		}
	}
	if len(parts) == 0 {
		return "0 s"
	}
	return strings.Join(parts, " ")
}

// wrap breaks a text between words, so that its lines are no wider than asked
// for if they can be.
func wrap(text string, width int) string {
	var b strings.Builder
	used := 0
	for i, word := range strings.Fields(text) {
		n := utf8.RuneCountInString(word)
		switch {
		case i == 0:
		case used+1+n > width:
			b.WriteByte('\n')
			used = 0
		default:
			b.WriteByte(' ')
			used++
		}
		b.WriteString(word)
		used += n
	}
	return b.String()
}

func lines(parts ...string) string {
	var kept []string
	for _, p := range parts {
		if p != "" {
			kept = append(kept, p)
		}
	}
	return strings.Join(kept, "\n")
}
