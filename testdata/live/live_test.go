package live

import (
	"context"
	"fmt"
	"log/slog"
	"os"
	"testing"
)

// ground is what all tests of this package share; TestMain prepares it.
var ground *Ground

func TestMain(m *testing.M) {
	os.Exit(run(m))
}

func run(m *testing.M) int {
	var err error
	ground, err = Prepare(context.Background(), slog.New(slog.NewTextHandler(os.Stderr, nil)))
	if err != nil {
		fmt.Fprintln(os.Stderr, "the live tests cannot run:", err)
		return 1
	}
	defer ground.Close()
	return m.Run()
}

// TestServerRuns tries the tests' own means without the bot: two people see what
// the other does, in order and once, though the server stops and dies between.
func TestServerRuns(t *testing.T) {
	station := ground.Open(t)
	bench, second := station.Person("bench.tester"), station.Person("second.tester")

	root := bench.Post(station.Crew, "HP-07 is on the *bench*")
	if got := second.AwaitText("on the bench"); got.ID != root.ID || got.Author != "bench.tester" || got.Edited {
		t.Errorf("second.tester saw %+v, want the post %+v", got, root)
	}
	second.React(root, "eyes")
	bench.Await(func(p Post) bool { return p.ID == root.ID && p.Tapped("second.tester", "eyes") })
	second.Unreact(root, "eyes")
	bench.Await(func(p Post) bool { return p.ID == root.ID && !p.Tapped("second.tester", "eyes") })
	bench.Edit("HP-08 is on the bench")
	if got := second.AwaitText("HP-08"); got.ID != root.ID || !got.Edited {
		t.Errorf("second.tester saw %+v, want the edited post %s", got, root.ID)
	}

	station.Server.Stop()
	posted := second.BeginReply(root, "as soon as I can")
	station.Server.Start()
	reply := posted()
	if got := bench.AwaitText("as soon as I can"); got.ID != reply.ID || got.Root != root.ID {
		t.Errorf("bench.tester saw %+v, want the reply %+v", got, reply)
	}

	// What is done at once after a start is done while the phones still knock:
	// some of it they read, some of it their websockets bring.
	station.Server.Kill()
	posted = second.BeginReply(root, "nearly done")
	station.Server.Start()
	reply = posted()
	bench.React(reply, "one")
	second.Edit("done")
	for _, person := range []*Person{bench, second} {
		person.Await(func(p Post) bool {
			return p.ID == reply.ID && p.Text == "done" && p.Tapped("bench.tester", "one")
		})
	}

	bench.Attach(station.Crew, "the register", "suits.csv", []byte("tag\nHP-07\n"))
	seen := second.AwaitText("the register")
	if name, content := second.Download(seen.Files[0]); name != "suits.csv" || string(content) != "tag\nHP-07\n" {
		t.Errorf("downloaded %s with %q", name, content)
	}
	direct := bench.DM("for the bot alone")
	bench.Await(func(p Post) bool { return p.ID == direct.ID })
	bench.Post(station.Crew, "a slip")
	bench.Delete()
	second.Await(func(p Post) bool { return p.Text == "a slip" && p.Deleted })

	transcript := station.Transcript(station.Crew)
	var texts []string
	for _, post := range transcript {
		if post.Author != "" {
			texts = append(texts, post.Text+post.marks())
		}
	}
	want := []string{
		"HP-08 is on the bench (edited)",
		"as soon as I can",
		"done (edited) :one: by bench.tester",
		"the register (files: 1)",
		" (deleted)", // the server keeps its text to itself
	}
	if fmt.Sprint(texts) != fmt.Sprint(want) {
		t.Errorf("the channel shows %q, want %q:\n%s", texts, want, transcript)
	}
	if direct := station.Transcript(direct.Channel); len(direct) != 1 || direct[0].Text != "for the bot alone" {
		t.Errorf("the direct messages are\n%s", direct)
	}
}
