package live

import (
	"slices"
	"strings"
	"testing"
	"time"
)

// TestServerRestart is about a chat server that goes down in the middle of a
// hold, while the phone of the tester tries to post the ending pressure.
func TestServerRestart(t *testing.T) {
	for _, tt := range []struct {
		name string
		down func(*Server)
	}{
		{"stopped", (*Server).Stop},
		{"killed", (*Server).Kill},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			b := openBench(t)
			card, bell := b.hold(b.tester, "HP-08 quick with M-1", quickHold)
			tt.down(b.Server)
			posted := b.tester.BeginReply(card, "14.1")
			b.WaitUntil(bell)
			b.Server.Start()
			reading := posted()
			verdict := b.tester.AwaitText("PASS HP-08")
			if !verdict.Says("Drop 2.4") || !verdict.Says("Read at the bell") {
				t.Errorf("of a reading %v after the bell, the verdict is %q", reading.At.Sub(bell), verdict.Text)
			}
			if said := finish(b, card); len(said.Saying("Bell!")) > 1 {
				t.Errorf("the bell rang more than once:\n%s", said)
			}
		})
	}
	t.Run("power cut", func(t *testing.T) {
		t.Parallel()
		b := openBench(t)
		card, bell := b.hold(b.tester, "HP-08 quick with M-1", quickHold)
		b.Server.Kill()
		b.bot.Kill()
		posted := b.tester.BeginReply(card, "13.4")
		b.bot.Launch() // and it waits for the server
		b.WaitUntil(bell)
		b.Server.Start()
		posted()
		b.tester.AwaitText("FAIL HP-08")
		finish(b, card)
	})
}

// TestBotKilled is about a bot that dies as by a power cut: it goes on where it
// was, says nothing twice, and rings a bell late rather than never.
func TestBotKilled(t *testing.T) {
	t.Run("before the bell", func(t *testing.T) {
		t.Parallel()
		b := openBench(t)
		card, _ := b.hold(b.tester, "HP-07 short with M-1", shortHold)
		b.bot.Kill()
		b.bot.Start()
		b.tester.AwaitText("Bell! Post the ending pressure")
		b.tester.Reply(card, "13.6")
		b.tester.AwaitText("PASS HP-07")
		finish(b, card)
	})
	t.Run("over the bell, read meanwhile", func(t *testing.T) {
		t.Parallel()
		b := openBench(t)
		card, bell := b.hold(b.tester, "HP-08 quick with M-1", quickHold)
		b.bot.Kill()
		b.WaitUntil(bell)
		b.tester.Reply(card, "31.4")
		b.tester.Edit("13.4")
		b.second.DM("status")
		b.bot.Start()
		verdict := b.tester.AwaitText("FAIL HP-08")
		if !verdict.Says("Drop 3.1") || !verdict.Says("Read at the bell") {
			t.Errorf("the verdict is %q", verdict.Text)
		}
		b.second.AwaitText("0 of 24 fit")
		if said := finish(b, card); len(said.Saying("Bell!")) > 0 {
			t.Errorf("the bell rang although the reading was there:\n%s", said)
		}
	})
	t.Run("over the bell, nobody read", func(t *testing.T) {
		t.Parallel()
		b := openBench(t)
		card, bell := b.hold(b.tester, "HP-08 quick with M-1", quickHold)
		b.bot.Kill()
		b.WaitUntil(bell.Add(lateFrom))
		b.bot.Start()
		rung := b.tester.AwaitText("Bell! Post the ending pressure")
		london, err := time.LoadLocation("Europe/London")
		if err != nil {
			t.Fatal(err)
		}
		if !rung.Says("late, it was due at " + bell.In(london).Format(time.TimeOnly)) {
			t.Errorf("the bell, due at %v, says %q", bell, rung.Text)
		}
		b.tester.Reply(card, "14.0")
		b.tester.AwaitText("PASS HP-08")
		finish(b, card)
	})
	t.Run("while it is put away", func(t *testing.T) {
		t.Parallel()
		b := openBench(t)
		card, _ := b.hold(b.tester, "HP-08 quick with M-1", quickHold)
		b.tester.AwaitText("Bell!")
		b.tester.Reply(card, "14.2")
		list := b.tester.AwaitText("Unplug and put away HP-08")
		b.tester.React(list, "one")
		b.tester.React(list, "two")
		b.tester.React(list, "three")
		b.tester.Await(ticked(list, 1, 2, 3))
		b.bot.Kill()
		b.tester.React(list, "four")
		b.tester.Unreact(list, "one")
		b.tester.Unreact(list, "two")
		b.second.React(list, "six")
		b.bot.Start()
		b.tester.Await(ticked(list, 3, 4))
		finish(b, card)
	})
	t.Run("at every step", testKilledAtEveryStep)
}

// testKilledAtEveryStep kills the bot whenever it has just been told something,
// before it took that in or while it answers, and as soon as its answer shows,
// before it could note that it is delivered.
func testKilledAtEveryStep(t *testing.T) {
	t.Parallel()
	b := openBench(t)
	restart := func() {
		b.bot.Kill()
		b.bot.Start()
	}
	b.tester.Post(b.Crew, "@benchbell test HP-07 short with M-1")
	restart()
	card := b.tester.AwaitText("R-0001 · prepare")
	b.tester.AwaitText("Prepare HP-07")
	for _, step := range []struct{ say, answer string }{
		{"ok 1-9", "10"},
		{"ok all", "Inflate to"},
		{"17.5", "Expansion until"},
		{"where", "16.5 mbar (16.0–17.0)"},
		{"16.5", "Hold until"},
		{"note killed often", "Noted"},
		{"", "Bell!"},
		{"14.1", "PASS HP-07"},
		{"ok 1", "one at a time: ok 2"},
		{"ok 2", "3, 4, 5, 6, 7"},
		{"ok all", "HP-07: fit"},
	} {
		switch {
		case strings.HasPrefix(step.say, "ok "):
			b.tick(b.tester, card, step.say, step.answer, restart)
		case step.say != "":
			b.tester.Reply(card, step.say)
			restart()
			fallthrough
		default:
			b.tester.AwaitText(step.answer)
		}
		restart()
	}
	said := b.settled(b.tester)
	checkSaid(t, said, "bench.tester")
	checkLog(t, b.bot)
	for _, list := range said.Saying("tap, or say ok all") {
		if offered := tapsOf(list, botName); !slices.Equal(offered, numerals[:len(offered)]) || len(offered) < 7 {
			t.Errorf("the numbers under the list are %q:\n%s", offered, said)
		}
	}
	b.bot.Stop()
	if found := b.bot.Run("verify"); !strings.Contains(found, "The journal is whole") {
		t.Errorf("benchbell verify found\n%s", found)
	}
}

// lateFrom is how late a bell must be to say so.
const lateFrom = 5 * time.Second

// finish ticks the last list, and checks what was said in the whole run.
func finish(b *bench, card Post) Transcript {
	b.t.Helper()
	b.putAway(b.tester, card)
	said := b.settled(b.tester)
	checkSaid(b.t, said, "bench.tester")
	checkLog(b.t, b.bot)
	return said
}
