package live

import (
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"
)

// shortHold and quickHold are the holds of the further methods of the tests.
const (
	shortHold = 8 * time.Second
	quickHold = 4 * time.Second
)

// testMethods is the configuration of the tests' bots: an officer, and two
// methods that a test can wait for. A reading counts as read at the bell up to a
// minute after it, as with any method.
const testMethods = `[crew]
officers = ["@duty.officer"]

[policy]
warn_before = "3s"

[[method]]
key = "short"
title = "Short, to be waited for"
source = "invented for tests, not a test method for suits"
unit = "mbar"
expansion = "17.5"
expansion_tolerance = "0.5"
expansion_time = "3s"
pressure = "16.5"
pressure_tolerance = "0.5"
hold = "8s"
max_drop = "3.0"

[[method]]
key = "quick"
title = "Quick, to be missed"
source = "invented for tests, not a test method for suits"
unit = "mbar"
expansion = "17.5"
expansion_tolerance = "0.5"
expansion_time = "1s"
pressure = "16.5"
pressure_tolerance = "0.5"
hold = "4s"
max_drop = "3.0"
`

// bench is a station whose bot has the demo register and the tests' methods.
type bench struct {
	*Station
	bot                           *Bot
	tester, second, crew, officer *Person
}

// ownMethods are lines of the demo register that begin so, with the method of
// the tests that is the suit's own: a test by another clears it never.
var ownMethods = map[string]string{"HP-07,": ",short,", "HP-08,": ",quick,"}

// register returns a file of the demo register, with the tests' own methods.
func register(t *testing.T, name string) string {
	t.Helper()
	content, err := os.ReadFile(filepath.Join("..", "demo", name))
	if err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	for line := range strings.Lines(string(content)) {
		for suit, method := range ownMethods {
			if strings.HasPrefix(line, suit) {
				line = strings.Replace(line, ",en943,", method, 1)
			}
		}
		b.WriteString(line)
	}
	return b.String()
}

// newBench opens a station with a bot that is set up and not started yet.
func newBench(t *testing.T) *bench {
	t.Helper()
	station := ground.Open(t)
	b := &bench{
		Station: station,
		bot:     station.NewBot(testMethods),
		tester:  station.Person("bench.tester"),
		second:  station.Person("second.tester"),
		crew:    station.Person("crew.member"),
		officer: station.Person("duty.officer"),
	}
	b.bot.Run("import",
		b.bot.Write("suits.csv", register(t, "suits.csv")),
		b.bot.Write("manometers.csv", register(t, "manometers.csv")))
	return b
}

// openBench opens a station with its bot at work.
func openBench(t *testing.T) *bench {
	t.Helper()
	b := newBench(t)
	b.bot.Start()
	return b
}

// open begins a run in the crew channel, by what is said after "test", and
// returns its card and its list.
func (b *bench) open(who *Person, words string) (card, list Post) {
	b.t.Helper()
	who.Post(b.Crew, "@benchbell test "+words)
	card = who.Await(func(p Post) bool { return p.Author == botName && p.Root == "" && p.Says("prepare") })
	list = who.Await(func(p Post) bool { return p.Author == botName && p.Root == card.ID && p.Says("Prepare") })
	return card, list
}

// hold begins a run and takes it up to its hold. It returns its card and the
// moment of its bell.
func (b *bench) hold(who *Person, words string, length time.Duration) (card Post, bell time.Time) {
	b.t.Helper()
	card, _ = b.open(who, words)
	who.Reply(card, "ok all")
	who.AwaitText("Inflate to")
	who.Reply(card, "17.5 mbar")
	who.AwaitText("Expansion until")
	who.AwaitText("Expansion is over")
	start := who.Reply(card, "16.5 mbar")
	who.AwaitText("Hold until")
	return card, start.At.Add(length)
}

// putAway ticks the list after the verdict: what was plugged in is counted back
// by name, one post each, and the rest at once.
func (b *bench) putAway(who *Person, card Post) {
	b.t.Helper()
	b.tick(who, card, "ok all", "Count back, one at a time: ok 1, ok 2")
	who.Reply(card, "ok 1")
	who.AwaitText("Count back, one at a time: ok 2")
	who.Reply(card, "ok 2")
	who.AwaitText("R-0001 is closed")
}

// tick says words for a list until the answer comes. A list that is still on its way
// to the chat is not ticked.
func (b *bench) tick(who *Person, card Post, words, answer string, meanwhile ...func()) {
	b.t.Helper()
	for early := true; early; {
		who.Reply(card, words)
		for _, do := range meanwhile {
			do()
		}
		early = who.Await(func(p Post) bool {
			return p.Author == botName && (p.Says("has not reached the chat yet") || p.Says(answer))
		}).Says("has not reached the chat yet")
	}
}

// ask says something to the bot in a direct message and returns the answer.
func (b *bench) ask(who *Person, words string) Post {
	b.t.Helper()
	asked := who.DM(words)
	return who.Await(func(p Post) bool {
		return p.Author == botName && p.Channel.ID == asked.Channel.ID && p.At.After(asked.At)
	})
}

// settled returns the crew channel as it is when all that the bot had to say has
// arrived on everybody's phone: its answers are delivered in their order.
func (b *bench) settled(asker *Person) Transcript {
	b.t.Helper()
	asker.Post(b.Crew, "@benchbell help status")
	last := asker.AwaitText("all suits, or one")
	for _, person := range b.people {
		if person != asker {
			person.Await(func(p Post) bool { return p.ID == last.ID })
		}
	}
	return b.Transcript(b.Crew)
}

// checkSaid fails the test if the bot said something twice, too wide for a
// phone, or with a mention of anybody but the people named. Words that are
// refused twice are refused in the same words.
func checkSaid(t *testing.T, said Transcript, may ...string) {
	t.Helper()
	said.CheckOnce(t, "Not taken")
	said.CheckLines(t)
	said.CheckMentions(t, may...)
}

// ticked matches a list in which the numbers that are ticked are these.
func ticked(list Post, numbers ...int) func(Post) bool {
	return func(p Post) bool { return p.ID == list.ID && slices.Equal(ticks(p), numbers) }
}

var item = regexp.MustCompile(`(?m)^(\d+) (✓|–) `)

// ticks returns the numbers that are ticked in a list.
func ticks(list Post) []int {
	var numbers []int
	for _, line := range item.FindAllStringSubmatch(list.Text, -1) {
		if n, _ := strconv.Atoi(line[1]); line[2] == "✓" {
			numbers = append(numbers, n)
		}
	}
	return numbers
}

// tapsOf returns the reactions that somebody put under a post, in their order.
func tapsOf(post Post, by string) []string {
	var emojis []string
	for _, tap := range post.Taps {
		if tap.By == by {
			emojis = append(emojis, tap.Emoji)
		}
	}
	return emojis
}

// numerals are the reactions that stand for the numbers of a list, from 1 up.
var numerals = []string{
	"one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "keycap_ten",
}

// checkLog fails the test if the bot had to log an error: a message that was put
// aside, an event that could not be handled.
func checkLog(t *testing.T, bot *Bot) {
	t.Helper()
	for line := range strings.Lines(bot.Log()) {
		if strings.Contains(line, "level=ERROR") {
			t.Errorf("the bot logged %s", line)
		}
	}
}
