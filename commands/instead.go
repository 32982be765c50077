package commands

import (
	"slices"
	"strings"

	"github.com/agnivade/levenshtein"

	"benchbell/core"
)

// instead finds the nearest thing to a text that would be understood: by how its
// first word is spelt, by what people say for it, by a later word that is a verb,
// by the suit, or by the number in it. In a run's thread anything else may have
// been a remark.
//
// A suggestion never does more than what was typed, nor the opposite, since people copy
// it. For a text that denies something, or is about the future, only questions are
// suggested.
func instead(text, verb string, in Place) *Misunderstood {
	var words []string
	for w := range strings.FieldsSeq(text) {
		words = append(words, strings.ToLower(strings.Trim(w, ",;:.!?()")))
	}
	tags := tagsIn(text)
	tag := ""
	if len(tags) > 0 {
		tag = tags[0]
	}
	said, isReading := readingAmong(words)
	no := negated(words)
	m := &Misunderstood{Text: text}
	if in == Thread && len(tags) == 0 {
		switch try, ok := saidForRun[verb]; {
		case ok && no && verb != "no" && verb != "nope":
			m.Try = "where"
			return m
		case ok && isReading && try == "fix …":
			m.Try = "fix " + withUnit(said.Digits, said.Unit)
			return m
		case ok && (!isReading || try != "where"):
			m.Try = try
			return m
		}
	}
	if !no && len(tags) < 2 {
		if try, ok := slip(text, verb, tag, in); ok {
			m.Try = try
			return m
		}
		if try, ok := saidOf(text, words, tag, in); ok {
			m.Try = try
			return m
		}
	}
	switch {
	case len(tags) > 1:
		m.Say, m.Try = "one suit at a time", "status "+tag
	case tag != "" || in == Talk:
		m.Try = harmless(tag, in)
	case isReading && no:
		m.Try = "where"
	case isReading:
		m.Say, m.Try = "a reading stands alone, and fix corrects the last", Print(said)
	default:
		m.Say, m.Try = "not understood; a remark begins with note", "note …"
	}
	return m
}

// What people say instead of the command words. The program never acts on these; it asks
// whether the command was meant.
var (
	saidForRun = map[string]string{
		"all": "where", "done": "where", "finished": "where", "everything": "where", "check": "where",
		"how": "where", "time": "where", "what": "where", "what's": "where", "wait": "where", "skip": "where", "next": "where", "now": "where", "when": "where",
		"top": "where", "topped": "where", "vented": "where", "inflated": "where", "no": "where", "nope": "where",
		"correct": "fix …", "correction": "fix …", "wrong": "fix …", "typo": "fix …",
		"cancel": "help", "abort": "help", "quit": "help", "end": "help", "repeat": "help", "restart": "help", "redo": "help",
		"hand": "over to @…", "handover": "over to @…",
	}
	saidOfSuit = map[string]string{
		"use": "used", "wore": "used", "worn": "used",
		"defect": "found", "defective": "found", "damaged": "found", "broken": "found", "torn": "found", "leaks": "found", "leaking": "found", "hole": "found",
		"fixed": "repaired", "mended": "repaired", "replaced": "repaired",
		"retest": "test",
		"last":   "history", "tested": "history", "tests": "history",
	}
	// asking are the verbs that change nothing.
	asking = []string{"history", "status", "ready", "due", "logbook", "shelf", "record", "help"}
	// noes say that something is not so, hedges that it is not so yet.
	noes   = []string{"not", "no", "never", "nothing", "none", "nobody", "without", "cannot", "nor", "neither", "hardly", "dont", "didnt", "isnt", "wasnt", "wont", "cant", "doesnt", "hasnt"}
	hedges = []string{
		"will", "would", "shall", "should", "must", "may", "might", "can", "could", "be", "if", "before", "until", "unless", "to",
		"want", "wants", "need", "needs", "needed", "plan", "planned", "tomorrow", "soon", "almost", "nearly",
	}
	// innocent are ordinary words that are spelt nearly like a command word.
	innocent = []string{"fit", "sound", "round", "step", "top", "rest", "best", "text", "six", "mix", "had", "bar", "return", "reused", "fused", "user", "users", "now", "hot", "gain", "cover", "case", "quit"}
)

// negated reports whether words say that something is not so.
func negated(words []string) bool {
	return slices.ContainsFunc(words, func(w string) bool {
		w = strings.ToLower(strings.Trim(w, ",;:.!?()"))
		if strings.HasSuffix(w, "n't") || strings.HasSuffix(w, "n’t") || slices.Contains(noes, w) {
			return true
		}
		for _, prefix := range []string{"un", "non-", "non", "de", "dis"} {
			rest, ok := strings.CutPrefix(w, prefix)
			_, synonym := saidOfSuit[rest]
			if _, verb := find(rest, Talk); ok && (verb || synonym) && !isVerb(w) {
				return true
			}
		}
		return false
	})
}

func isVerb(w string) bool {
	_, ok := find(w, Talk)
	return ok
}

// saidOf finds the one thing that words say of a suit.
func saidOf(text string, words []string, tag string, in Place) (string, bool) {
	if tag == "" && in == Thread {
		return "", false
	}
	var found []form
	for i, w := range words {
		verb, isSynonym := saidOfSuit[w]
		f, ok := find(w, Talk)
		if isSynonym {
			f, ok = find(verb, Talk)
		}
		if !ok || f.in != anywhere || f.grave || f.fill == anyWords || !isSynonym && i == 0 {
			continue
		}
		if slices.Contains(asking, f.verbs[0]) {
			return f.said(tag), true
		}
		if !slices.ContainsFunc(found, func(g form) bool { return g.verbs[0] == f.verbs[0] }) {
			found = append(found, f)
		}
	}
	if len(found) != 1 || slices.ContainsFunc(words, func(w string) bool { return slices.Contains(hedges, w) }) {
		return "", false
	}
	if _, first := saidOfSuit[words[0]]; first {
		if try, ok := rewritten(text, found[0].verbs[0], in); ok {
			return try, true
		}
	}
	return found[0].said(tag), true
}

// slip finds the form whose verb differs from a text's first word by one letter that is
// wrong, missing or added, or by two swapped letters; in long words that end or clear
// nothing, by two letters. A word that only adds letters in front, or lacks them, is
// another word ("unused", "top"), and so is "repair".
func slip(text, verb, tag string, in Place) (try string, ok bool) {
	const shortest, long, longest = 3, 8, 20
	if len(verb) > longest || slices.Contains(innocent, verb) {
		return "", false
	}
	best := 3
	var meant form
	var word string
	for _, f := range forms {
		if f.in != anywhere && f.in != where(in) || f.grave && f.in == anywhere && tag == "" {
			continue
		}
		for _, v := range f.verbs {
			d := edits(verb, v)
			if len(v) < shortest || d > 1 && (f.grave || len(v) < long || strings.HasPrefix(v, verb)) || d >= best || strings.HasSuffix(verb, v) || strings.HasSuffix(v, verb) {
				continue
			}
			best, meant, word = d, f, v
		}
	}
	if word == "" {
		return "", false
	}
	if try, ok := rewritten(text, word, in); ok {
		return try, true
	}
	return meant.said(tag), true
}

// rewritten is a text with another first word, if it is understood so.
func rewritten(text, verb string, in Place) (string, bool) {
	const longest = 60
	_, rest, _ := strings.Cut(text, " ")
	try := strings.TrimSpace(verb + " " + rest)
	if len(try) > longest || strings.ContainsAny(try, "@#~`") {
		return "", false
	}
	_, err := Parse(try, in)
	return try, err == nil
}

// edits counts the letters in which two words differ; two that are swapped are
// one.
func edits(a, b string) int {
	d := levenshtein.ComputeDistance(a, b)
	for i := 1; d == 2 && len(a) == len(b) && i < len(a); i++ {
		if a[:i-1]+a[i:i+1]+a[i-1:i]+a[i+1:] == b {
			return 1
		}
	}
	return d
}

// readingAmong finds a reading among words that are not one. A number alone is
// one only if it has decimals: "room 21" has none.
func readingAmong(words []string) (core.Read, bool) {
	for i, w := range words {
		two := strings.Join(words[i:min(i+2, len(words))], " ")
		if airForm.MatchString(two) && !airForm.MatchString(w) || fahrenheit.MatchString(two) {
			return core.Read{}, false
		}
		for _, said := range []string{two, w} {
			if r, err := parseReading(said); err == nil && (r.Unit != core.NoUnit || strings.Contains(r.Digits, ".")) {
				return r, true
			}
		}
	}
	return core.Read{}, false
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
	case says("not", "unfit", "barred", "blocked", "bench", "many"):
		return core.AskFleet{}, true
	case says("ready", "out", "fit", "available", "suit", "suits"):
		return core.AskReady{}, true
	}
	return nil, false
}
