package live

import (
	"bytes"
	"image/png"
	"os"
	"path/filepath"
	"testing"
	"time"
)

// everyMinute is a station that looks for what is due each minute, so that a
// test can wait for it.
const everyMinute = testMethods + `
[reminders]
digest = "* * * * *"
daily = "* * * * *"
`

// TestReminders attaches the demo station's past tests to a direct message,
// waits for the digest in the channel and the overdue message to the officer,
// asks what an officer asks, and starts the bot anew: nothing is told twice.
func TestReminders(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	b.bot.Configure("harrow-point", "suit-bench", everyMinute)
	b.bot.Start()
	tests, err := os.ReadFile(filepath.Join("..", "demo", "tests.csv"))
	if err != nil {
		t.Fatal(err)
	}
	b.officer.Attach(b.officer.Direct(), "import", "tests.csv", tests)
	b.officer.AwaitText("Taken: 0 suits, 0 manometers, 126 new past tests")
	b.tester.Attach(b.tester.Direct(), "import", "tests.csv", tests)
	b.tester.AwaitText("Not done: only duty.officer may do that")

	b.Patience = 100 * time.Second
	digest := b.crew.AwaitText("suits fit")
	if !digest.Says("Not fit:") || digest.Root != "" {
		t.Errorf("the digest is %q", digest.Text)
	}
	overdue := b.officer.AwaitText("Not to be worn or used")
	if !overdue.Says("Test overdue") || !overdue.Says("M-4") {
		t.Errorf("the officer is told %q", overdue.Text)
	}

	b.ask(b.officer, "due 1y")
	b.ask(b.officer, "ready")
	history := b.ask(b.officer, "history HP-20")
	if len(history.Files) != 1 {
		t.Fatalf("the history comes with %d pictures", len(history.Files))
	}
	name, content := b.officer.Download(history.Files[0])
	if picture, err := png.Decode(bytes.NewReader(content)); err != nil || name != "HP-20.png" || picture.Bounds().Dx() < 360 {
		t.Errorf("%s is no picture of a history: %v", name, err)
	}

	b.bot.Kill()
	b.bot.Start()
	if answer := b.ask(b.officer, "status"); !answer.Says("fit") {
		t.Errorf("the fleet is %q", answer.Text)
	}
	told := b.Transcript(b.officer.Direct()).By(botName).Saying("Not to be worn or used")
	if len(told) != 1 {
		t.Errorf("the officer was told %d times", len(told))
	}
	b.Transcript(b.officer.Direct()).CheckLines(t)
	b.settled(b.tester).CheckLines(t)
	checkLog(t, b.bot)
}
