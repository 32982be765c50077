package live

import (
	"slices"
	"strings"
	"testing"
)

// TestWholeRun takes a suit through a test, from the register to "fit", by the
// phone of its tester; a colleague and an officer look on.
func TestWholeRun(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	// One manometer of the demo station has lapsed.
	if found := b.bot.Refused("check"); strings.Count(found, "NOT RIGHT") != 1 || !strings.Contains(found, "NOT RIGHT: manometer M-4") || !strings.Contains(found, "24 suits, 4 manometers") {
		t.Errorf("benchbell check found\n%s", found)
	}
	b.bot.Start()
	card := prepare(b)
	expand(b, card)
	holdAndRead(b, card)
	putAway(b, card)

	answer := b.ask(b.officer, "status HP-07")
	if first, _, _ := strings.Cut(answer.Text, "\n"); plain(first) != "hp-07: fit." {
		t.Errorf("the officer's first line is %q, want HP-07: fit", first)
	}

	said := b.settled(b.tester)
	checkSaid(t, said, "bench.tester")
	t.Logf("%d posts of the bot, %d of them alerted the tester", len(said.By(botName)), len(b.tester.Alerts().By(botName)))
	checkAlerts(t, b.tester, "Prepare", "Inflate to", "Expansion is over", "Be at the manometer", "Bell!", "PASS", "Unplug and put away")
	for _, bystander := range []*Person{b.second, b.crew} {
		checkAlerts(t, bystander)
	}
}

// prepare opens the run and ticks its list: by taps, by words, and back.
func prepare(b *bench) (card Post) {
	t := b.t
	t.Helper()
	b.tester.Post(b.Crew, "@benchbell test HP-07 short")
	b.tester.AwaitText("Which manometer? M-1, M-2, M-3")
	card, list := b.open(b.tester, "HP-07 short with M-1")
	if !card.Says("R-0001") || !card.Says("0 of 10") {
		t.Errorf("the card is %q", card.Text)
	}

	list = b.tester.Await(func(p Post) bool { return p.ID == list.ID && len(p.Taps) == len(numerals) })
	if offered := tapsOf(list, botName); !slices.Equal(offered, numerals) {
		t.Errorf("the numbers under the list are %q, want %q", offered, numerals)
	}

	b.tester.Reply(card, "17.5")
	b.tester.AwaitText("Not taken: the list comes first")
	b.tester.React(list, "two")
	b.tester.React(list, "keycap_ten")
	b.tester.Await(ticked(list, 2, 10))
	b.second.React(list, "three")
	b.tester.AwaitText("Not taken: this is bench.tester's run")
	b.tester.Unreact(list, "two")
	b.tester.Await(ticked(list, 10))
	b.tester.Reply(card, "ok 1-9")
	b.tester.AwaitText("Inflate to 17.5 mbar (17.0–18.0)")
	return card
}

func expand(b *bench, card Post) {
	b.t.Helper()
	b.tester.Reply(card, "16,8 mbar")
	b.tester.AwaitText("16.8 mbar is too low")
	b.second.Reply(card, "17.5")
	b.tester.AwaitText("Not taken: this is bench.tester's run")
	b.tester.Reply(card, "17.6")
	b.tester.AwaitText("17.6 mbar. Expansion until")
	b.tester.AwaitText("Expansion is over. Let down to 16.5 mbar (16.0–17.0),")
}

func holdAndRead(b *bench, card Post) {
	b.t.Helper()
	b.tester.Reply(card, "16.6")
	b.tester.AwaitText("Limit: ending 13.6 mbar or more")
	b.tester.Reply(card, "15.2")
	b.tester.AwaitText("15.2 mbar noted, not yet the end: the bell asks again")
	b.tester.Edit("16.2")
	b.tester.AwaitText("Corrected: 15.2 mbar → 16.2 mbar")
	b.tester.AwaitText("s left. Be at the manometer")
	b.tester.AwaitText("Bell! Post the ending pressure")
	b.tester.Reply(card, "14.9")
	verdict := b.tester.AwaitText("PASS HP-07")
	if !verdict.Says("Drop 1.7") || !verdict.Says("Read at the bell") {
		b.t.Errorf("the verdict is %q, want a drop of 16.6 − 14.9 at the bell", verdict.Text)
	}
}

func putAway(b *bench, card Post) {
	b.t.Helper()
	list := b.tester.AwaitText("Unplug and put away HP-07")
	if answer := b.ask(b.officer, "can HP-07 go out?"); !answer.Says("HP-07: on the bench, not fit") {
		b.t.Errorf("with the plugs in, the officer is told %q", answer.Text)
	}
	b.tester.React(list, "one")
	b.tester.React(list, "two")
	b.tester.Await(ticked(list, 1, 2))
	b.tester.Reply(card, "ok all")
	b.tester.AwaitText("R-0001 is closed")
	b.tester.Await(func(p Post) bool {
		return p.ID == card.ID && p.Says("closed") && p.Says("Result: PASS, unplugged and put away") && !p.Says("fit")
	})
}

// TestFailedRun is about a suit that leaks: it is blocked at once, the crew and
// the officer are told, and the plugs come out of it all the same.
func TestFailedRun(t *testing.T) {
	t.Parallel()
	b := openBench(t)
	card, _ := b.hold(b.tester, "HP-08 quick with M-2", quickHold)
	b.tester.AwaitText("Bell!")
	b.tester.Reply(card, "137.5 mm") // 13.48 mbar, of the 16.5 mbar of the start
	verdict := b.tester.AwaitText("FAIL HP-08")
	if !verdict.Says("limit 3.00 mbar") {
		t.Errorf("the verdict is %q", verdict.Text)
	}
	told := b.crew.AwaitText("HP-08 failed")
	if told.Root != "" {
		t.Errorf("the crew was told in the thread %s: %q", told.Root, told.Text)
	}
	// The bot and the officer may open their direct messages at the same moment.
	direct := b.officer.Direct()
	b.officer.Await(func(p Post) bool {
		return p.Channel.ID == direct.ID && p.Says("HP-08 FAILED") && p.Says("Read at the bell")
	})
	if answer := b.ask(b.officer, "HP-08"); !answer.Says("HP-08: on the bench, not fit") {
		t.Errorf("before it is put away, the officer is told %q", answer.Text)
	}
	b.putAway(b.tester, card)
	b.tester.Await(func(p Post) bool { return p.ID == card.ID && p.Says("FAIL") && p.Says("closed") })
	if answer := b.ask(b.officer, "status HP-08"); !answer.Says("HP-08: not fit.") || !answer.Says("- failed, R-0001") {
		t.Errorf("after it, the officer is told %q", answer.Text)
	}
	said := b.settled(b.tester)
	checkSaid(t, said, "bench.tester")
	if told := said.By(botName).Saying("HP-08 failed"); len(told) != 1 {
		t.Errorf("the crew was told %d times:\n%s", len(told), told)
	}
	checkAlerts(t, b.crew)
}

// checkAlerts fails the test if the posts of the bot that alerted somebody do
// not contain these words, one after another.
func checkAlerts(t *testing.T, who *Person, want ...string) {
	t.Helper()
	alerts := who.Alerts().By(botName)
	matching := len(alerts) == len(want)
	for i := 0; matching && i < len(want); i++ {
		matching = alerts[i].Says(want[i])
	}
	if !matching {
		t.Errorf("%s was alerted by\n%swant posts that say %q", who.Name, alerts, want)
	}
}
