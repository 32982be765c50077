package commands

import (
	"slices"
	"strings"

	"github.com/agnivade/levenshtein"

	"benchbell/core"
)

// instead finds the nearest thing to a text that would be understood: by what
// people say for it, by how its first word is spelt, by a later word that is a
// verb, by the suit, or by the number in it. In a run's thread anything else may
// have been a remark.
func instead(text, verb string, in Place) *Misunderstood {
	words := strings.Fields(text)
	for i := range words {
		words[i] = strings.ToLower(strings.Trim(words[i], ",;:.!?()"))
	}
	said, isReading := readingAmong(words)
	if in == Thread {
		switch m, ok := saidForRun[verb]; {
		case ok && isReading && m == "fix 14.9":
			return &Misunderstood{Text: text, Try: "fix " + withUnit(said.Digits, said.Unit)}
		case ok && (!isReading || verb == "not"):
			return &Misunderstood{Text: text, Try: m}
		}
	}
	if try, ok := alike(verb, in); ok {
		return &Misunderstood{Text: text, Try: try}
	}
	tags := tagsIn(text)
	for _, w := range words {
		if try, ok := saidOfSuit[w]; ok && (len(tags) > 0 || in == Talk) {
			return &Misunderstood{Text: text, Try: try}
		}
		if f, ok := find(w, in); ok && f.in == anywhere && in == Talk {
			return &Misunderstood{Text: text, Try: f.example}
		}
	}
	switch {
	case len(tags) > 1:
		return &Misunderstood{Text: text, Say: "one suit at a time", Try: "status " + tags[0]}
	case len(tags) > 0:
		return &Misunderstood{Text: text, Try: "status " + tags[0]}
	case in == Talk:
		return &Misunderstood{Text: text, Try: "help"}
	case isReading:
		return &Misunderstood{Text: text, Say: "a reading stands alone, and fix corrects the last", Try: Print(said)}
	}
	return &Misunderstood{Text: text, Say: "not understood; a remark begins with note", Try: "note visor scratched"}
}

// What people say instead of the words there are. None of it is done by itself:
// it is asked whether that was meant.
var (
	saidForRun = map[string]string{
		"all": "ok all", "done": "ok all", "finished": "ok all", "everything": "ok all", "tick": "ok all", "check": "ok all",
		"how": "where", "time": "where", "what": "where", "what's": "where", "wait": "where", "skip": "where", "next": "where", "now": "where", "when": "where",
		"top": "where", "topped": "where", "vented": "where", "inflated": "where", "no": "where", "nope": "where",
		"correct": "fix 14.9", "correction": "fix 14.9", "wrong": "fix 14.9", "typo": "fix 14.9",
		"cancel": "stop zipper jammed", "abort": "stop zipper jammed", "quit": "stop zipper jammed", "end": "stop zipper jammed",
		"not":  "bad 2 hole in left glove",
		"hand": "over to @second.tester", "handover": "over to @second.tester",
		"repeat": "again", "restart": "again", "redo": "again",
	}
	saidOfSuit = map[string]string{
		"use": "used HP-07 yesterday", "wore": "used HP-07 yesterday", "worn": "used HP-07 yesterday",
		"defect": "found HP-07 seam lifts", "defective": "found HP-07 seam lifts", "damaged": "found HP-07 seam lifts", "broken": "found HP-07 seam lifts",
		"torn": "found HP-07 seam lifts", "leaks": "found HP-07 seam lifts", "leaking": "found HP-07 seam lifts", "hole": "found HP-07 seam lifts",
		"repair": "repaired HP-07 left glove", "fixed": "repaired HP-07 left glove", "mended": "repaired HP-07 left glove", "replaced": "repaired HP-07 left glove",
		"remove": "withdraw HP-07 recall", "recall": "withdraw HP-07 recall", "withdrawn": "withdraw HP-07 recall",
		"scrap": "retire HP-07 too old", "scrapped": "retire HP-07 too old",
		"retest": "test HP-07 with M-1",
		"last":   "history HP-07", "tested": "history HP-07", "tests": "history HP-07",
	}
)

// readingAmong finds a reading among words that are not one.
func readingAmong(words []string) (core.Read, bool) {
	for i := range words {
		for _, said := range []string{strings.Join(words[i:min(i+2, len(words))], " "), words[i]} {
			if r, err := parseReading(said); err == nil {
				return r, true
			}
		}
	}
	return core.Read{}, false
}

// aboutIts makes an example be about the suit that a text speaks of: who copies
// it must not bar another.
func aboutIts(example, text string) string {
	if tags := tagsIn(text); len(tags) > 0 {
		return strings.NewReplacer("HP-07", tags[0], "HP-25", tags[0]).Replace(example)
	}
	return example
}

// askedOfFleet takes a question that names no suit for the list that answers it.
// It changes nothing, so that a guess does no harm.
func askedOfFleet(text string, in Place) (core.Intent, bool) {
	words := strings.Fields(strings.ToLower(text))
	if in != Talk || !strings.HasSuffix(text, "?") && !slices.Contains(asks, words[0]) {
		return nil, false
	}
	says := func(some ...string) bool {
		return slices.ContainsFunc(words, func(w string) bool { return slices.Contains(some, strings.Trim(w, ",;:.!?()")) })
	}
	switch {
	case says("how") && !says("many"): // "how do I test a suit?"
		return nil, false
	case says("due", "overdue"):
		return core.AskDue{}, true
	case says("not", "unfit", "barred", "bench", "many"):
		return core.AskFleet{}, true
	case says("ready", "out", "fit", "available", "suit", "suits"):
		return core.AskReady{}, true
	}
	return nil, false
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
