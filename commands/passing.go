package commands

import (
	"regexp"
	"slices"
	"strings"
)

// In a run's thread people also talk to each other: "stop laughing, guys", "note to
// self: tea". Some of it begins with a word that ends or keeps something, without a
// suit's tag behind it that would tell. The first word of what follows decides: see
// the passing field of the forms. Such words are asked back and change nothing. A
// colon behind the command word settles it: "stop: laughing gas in the hall".

// toPeople are first words that show that the rest is said to people: it names them, or
// is laughter.
const toPeople = "guys folks everyone everybody anyone people mate mates lads ladies girls boys friends you ya your yours yourself " +
	"it its it's that that's this these those there here them him her us " +
	"lol haha hahaha sorry thanks thank pls and or but yes wait right"

// First words after which a command word is taken for conversation, besides toPeople.
var (
	talkAfterStop = words(toPeople + " me please at by in on off over for with to before after until till when if a an the as being who what where how why then")
	talkAfterNote = words("to that how of on taken taking well me him them us guys folks everyone everybody lol haha thanks sorry")
	talkAgain     = words(toPeople + " please in at on later tomorrow tonight today next monday tuesday wednesday thursday friday saturday sunday with for to i i'm we he she they you're who what where how why when if")
	talkAfterLeak = words(toPeople + " test tests testing tester is was are has will")
)

func words(list string) []string { return strings.Fields(list) }

// thingsInIng are nouns in -ing: a test can be stopped for a ring.
var thingsInIng = words("ring o-ring wing string spring thing nothing something everything anything evening morning building meeting warning lightning " +
	"fitting coupling coating lining housing bearing tubing piping stitching seating sealing opening casing ceiling training wiring plumbing clothing")

// theRun is the test itself, which "stop the test" is about.
var theRun = regexp.MustCompile(`(?i)^(?:the|this) (?:test|run)\b`)

var rightHere = regexp.MustCompile(`^right (here|there)`)

// inPassing reports whether what follows a command word makes talk of it.
func (f form) inPassing(rest string) bool {
	if f.passing == nil || rest == "" || hollow(rest) || theRun.MatchString(rest) || cutPleaseAlone.MatchString(rest) {
		return false
	}
	first, _, _ := strings.Cut(rightHere.ReplaceAllString(strings.ToLower(plain(rest)), "$1"), " ")
	first = strings.ReplaceAll(strings.Trim(first, ",;:.!?…()\"'“”-–"), "’", "'")
	if slices.Contains(f.passing, first) {
		return true
	}
	return f.verbs[0] == "stop" && endsInIng(first)
}

// endsInIng reports whether a word looks like something that people do: "laughing".
func endsInIng(word string) bool {
	const shortest = len("being")
	return len(word) >= shortest && strings.HasSuffix(word, "ing") && !slices.Contains(thingsInIng, word)
}

// cutColon takes the colon off that stands before a text by itself.
func cutColon(rest string) (text string, ok bool) {
	text, ok = strings.CutPrefix(rest, ":")
	return strings.TrimLeft(text, ": "), ok
}

// askedBack answers a text that is probably conversation, and shows the unmistakable
// form.
func (f form) askedBack(text, verb, rest string) *Misunderstood {
	const longest = 60
	try := verb + ": " + rest
	if len(try) > longest || strings.ContainsAny(rest, "@#~`*") || strings.Contains(rest, "://") {
		try = verb + ": …"
	}
	return &Misunderstood{Text: text, Say: "nothing was done: that sounds like talk", Try: try, Faulty: true, Passing: true}
}

// twoRuns is a run's number where the words for another run would stand.
func (f form) twoRuns(rest string) bool {
	_, _, is := cutRunID(rest)
	return is && f.passing != nil
}

// withColon prints a command word and its text so that it is not taken for talk.
func withColon(verb, text string) string {
	if f, _ := find(verb, Thread); f.inPassing(text) || f.twoRuns(text) {
		return verb + ": " + text
	}
	return strings.TrimSpace(verb + " " + text)
}
