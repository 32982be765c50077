package commands

import (
	"regexp"
	"slices"
	"strings"

	"benchbell/core"
)

// ForRun finds the run that words are for, at their beginning or right behind the
// command word: "R-0001 15.0", "stop R-0001 valve leaks", "note R-0001: …". It
// returns the words without it, as they are said in that run's thread. Of words
// that name nothing but a run that is "where".
//
// Words that take a run by themselves ("record R-0001") or are about a suit are
// left alone, and so are words that name two runs. A suit may have a tag like a
// run's: the caller checks that the run exists.
func ForRun(text string) (id core.RunID, rest string, ok bool) {
	rest = clean(text)
	for {
		named, left, found := cutRun(rest)
		switch {
		case !found:
			return id, rest, ok
		case ok && named != id:
			return 0, "", false
		}
		id, rest, ok = named, left, true
	}
}

// cutRun takes the first run that words are for out of them.
func cutRun(text string) (id core.RunID, rest string, ok bool) {
	if id, rest, ok = cutRunID(text); ok {
		if rest == "" {
			rest = "where"
		}
		return id, rest, true
	}
	first, left, _ := strings.Cut(text, " ")
	word := strings.ToLower(strings.Trim(first, "*`:,.!?"))
	if word == "please" {
		if id, rest, ok = cutRun(left); ok {
			rest = first + " " + rest
		}
		return id, rest, ok
	}
	if f, known := find(word, Thread); !known || f.in != inThread && !slices.Contains(f.verbs, "capacity") {
		return 0, text, false
	}
	if id, rest, ok = cutRunID(left); !ok {
		return 0, text, false
	}
	return id, strings.TrimSpace(first + " " + rest), true
}

// addressed is a run at the beginning of words, and what sets it off.
var addressed = regexp.MustCompile("(?i)^[*`]*(r-?\\d{1,9})[*`]*(?::(?:[*`]+(?: |$))?|[,;.!?]*[*`]*(?: |$)) *(?:[-–—] )?")

func cutRunID(text string) (id core.RunID, rest string, ok bool) {
	m := addressed.FindStringSubmatchIndex(text)
	if m == nil {
		return 0, text, false
	}
	if id, ok = core.ParseRunID(text[m[2]:m[3]]); !ok {
		return 0, text, false
	}
	return id, strings.TrimSpace(text[m[1]:]), true
}
