package live

import (
	"strings"
	"testing"
)

// hostile is what somebody may type, or paste, as the note of a defect. The chat
// server alerts for each of the names in it, in any case, in quotes, tables, bold
// and after a backslash.
const hostile = "@channel @Here (@all) \\@second.tester **@crew.member** `@duty.officer` ```` ``` ~suit-bench #tag " +
	"![dead](http://127.0.0.1:1/dead.png) [click](http://127.0.0.1:1/) | a | b | :siren_gif: <b>bold</b> $\\pi$"

// TestHostileWords is about what people type being data: however often the bot
// repeats it, it alerts nobody, and stays on its line.
func TestHostileWords(t *testing.T) {
	t.Parallel()
	b := openBench(t)
	// Told in private, so that all that alerts the others is the bot's.
	for _, words := range []string{
		"found HP-07 " + hostile,
		"repaired HP-07 two\nlines @all",
		"withdraw HP-08 " + strings.Repeat("@channel ", 60),
		"used HP-09 `@all` ``@here``",
		"found HP-10 " + strings.Repeat("\U0001f525@all ", 2500), // nearly all that a post may be
	} {
		b.ask(b.tester, words)
	}
	b.ask(b.tester, "status @channel")
	b.ask(b.tester, "test @all @here with @channel")

	b.officer.Post(b.Crew, "@benchbell status HP-07")
	checkQuoted(t, b.officer.AwaitText("defect found"))
	for _, tag := range []string{"HP-08", "HP-09", "HP-10"} {
		b.officer.Post(b.Crew, "@benchbell status "+tag)
		checkQuoted(t, b.officer.AwaitText(tag+": not fit"))
	}
	b.officer.Post(b.Crew, "@benchbell test HP-07 en943 with `@here`")
	b.officer.AwaitText("No manometer")

	card, _ := b.open(b.tester, "HP-07 short with M-1")
	for _, say := range []struct{ words, answer string }{
		{"note " + hostile, "Noted"},
		{"over to @channel", "Nobody here is called"},
		{"over to @all", "Nobody here is called"},
		{"over to @benchbell", "to whom"},
		{"with @here", "No manometer"},
		{"air @all", "°C"},
		{"bad 2 " + hostile, "FAIL HP-07"},
	} {
		b.tester.Reply(card, say.words)
		checkQuoted(t, b.tester.AwaitText(say.answer))
	}
	said := b.settled(b.tester)
	said.CheckMentions(t, "bench.tester")
	b.Transcript(b.tester.Direct()).CheckMentions(t)
	for _, bystander := range []*Person{b.second, b.crew} {
		checkAlerts(t, bystander)
	}
	checkLog(t, b.bot)
}

// checkQuoted fails the test if a typed word stands in a post of the bot's outside
// of inline code, or if one of its lines leaves inline code open.
func checkQuoted(t *testing.T, post Post) {
	t.Helper()
	for line := range strings.SplitSeq(post.Text, "\n") {
		outside := outsideCode(line)
		for _, word := range []string{"`", "@channel", "dead.png", "~suit-bench", "#tag", "<b>", "siren", "| a |", "pi$"} {
			if strings.Contains(outside, word) {
				t.Errorf("%q stands outside of inline code in the line\n%s\nof\n%s", word, line, post.Text)
			}
		}
	}
}

// TestDirectMessage is about people who talk to the bot in private, and about
// runs that change hands.
func TestDirectMessage(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	b.crew.DM("HP 7") // the bot is not there yet, and has never heard of this channel
	b.bot.Start()
	b.crew.AwaitText("HP-07: not fit. - no pass yet")
	if answer := b.ask(b.officer, "can HP-11 go out?"); !answer.Says("HP-11: not fit") {
		t.Errorf("the answer is %q", answer.Text)
	}
	if answer := b.ask(b.officer, "shall we have lunch"); !answer.Says("Not understood") {
		t.Errorf("the answer is %q", answer.Text)
	}
	if answer := b.ask(b.officer, "16.5"); !answer.Says("thread") {
		t.Errorf("the answer to a reading is %q", answer.Text)
	}

	if answer := b.ask(b.tester, "test HP-07 short with M-1"); !answer.Says("R-0001 was opened in the crew channel") {
		t.Errorf("the answer is %q", answer.Text)
	}
	card := b.second.AwaitText("R-0001 · prepare")
	b.tester.Reply(card, "over to @nobody.here")
	b.tester.AwaitText("Nobody here is called nobody.here")
	b.tester.Reply(card, "over to @Second.Tester.")
	b.second.AwaitText("R-0001 is now second.tester's run")
	list := b.second.AwaitText("Never above 18.0 mbar. Maker's and local rules come first. @second.tester")
	b.tester.Reply(card, "ok all")
	b.tester.AwaitText("Not taken: this is second.tester's run")
	b.second.React(list, "one")
	b.second.Await(ticked(list, 1))
	b.second.Reply(card, "stop: the bench is needed")
	b.second.AwaitText("No verdict")
	b.second.AwaitText("Unplug and put away HP-07")

	said := b.settled(b.tester)
	said.CheckLines(t)
	said.CheckMentions(t, "bench.tester", "second.tester")
	checkAlerts(t, b.second, "R-0001 is now second.tester's run", "Prepare", "Unplug and put away")
	checkLog(t, b.bot)
	if private := b.Transcript(b.crew.Direct()).By(botName); len(private) != 1 {
		t.Errorf("in private the bot told crew.member %v", private)
	}
}
