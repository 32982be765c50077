package bot

import (
	"context"
	"errors"
	"io"
	"log/slog"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"benchbell/commands"
	"benchbell/core"
	"benchbell/store"
)

// known is a directory of some people. With mute it never answers.
type known struct {
	names []string
	mute  bool
	fault error
}

func (k known) Person(ctx context.Context, name string) (core.Person, error) {
	switch {
	case k.mute:
		<-ctx.Done()
		return core.Person{}, &SendError{Err: ctx.Err(), Retry: true}
	case k.fault != nil:
		return core.Person{}, k.fault
	case !slices.Contains(k.names, name):
		return core.Person{}, ErrNobody
	}
	return core.Person{ID: "id of " + name, Name: name}, nil
}

func (known) File(context.Context, string) (io.ReadCloser, error) { return nil, ErrGone }

// TestToOfficers: what is for the officers is told each of them directly, and in
// the crew channel where one of them cannot be told; the event is not held up for
// long, and does not fail.
// What the crew channel is told anyway, it is told once.
func TestToOfficers(t *testing.T) {
	const crew = ""
	for name, c := range map[string]struct {
		officers []string
		world    known
		known    bool     // the crew is told as well
		told     []string // ids of persons
	}{
		"each":             {[]string{"a", "b"}, known{names: []string{"a", "b"}}, false, []string{"id of a", "id of b"}},
		"none named":       {nil, known{}, false, []string{crew}},
		"one not found":    {[]string{"a", "b"}, known{names: []string{"b"}}, false, []string{"id of b", crew}},
		"nobody found":     {[]string{"a", "b"}, known{}, false, []string{crew}},
		"server refuses":   {[]string{"a"}, known{fault: &SendError{Err: errors.New("no")}}, false, []string{crew}},
		"server is mute":   {[]string{"a", "b"}, known{mute: true}, false, []string{crew}},
		"none, crew knows": {nil, known{}, true, nil},
		"one, crew knows":  {[]string{"a", "b"}, known{names: []string{"b"}}, true, []string{"id of b"}},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				e := &Engine{world: c.world, officerNames: c.officers, log: slog.New(slog.DiscardHandler)}
				do := &doing{Engine: e, ctx: t.Context(), ev: Event{ID: "e"}}
				begun := time.Now()
				do.say(commands.Message{Dest: commands.ToOfficers, Text: "a fail became a pass", Known: c.known})
				if took := time.Since(begun); took > 5*time.Second {
					t.Errorf("it took %v", took)
				}
				var told []string
				for _, o := range do.out {
					told = append(told, o.Person)
					if o.Kind != store.Post || o.Key == "" || o.Text != "a fail became a pass" || o.Channel+o.Thread+o.Root != "" {
						t.Errorf("it says %+v", o)
					}
				}
				if !slices.Equal(told, c.told) {
					t.Errorf("told: %q, want %q", told, c.told)
				}
			})
		})
	}
}

// TestEditOfNothing: to refresh a post that never was, as the verdict of a run
// begun by an earlier version, changes nothing and loses nothing else.
func TestEditOfNothing(t *testing.T) {
	d := newBay(t, "bench.tester: @benchbell test HP-07")
	do := &doing{Engine: d.engine, ctx: t.Context(), ev: Event{ID: "e", At: d.stage.now}, heard: true}
	do.refresh(verdictKey(1, 1), "superseded")
	do.put(store.Out{Text: "said all the same"})
	do.put(store.Out{Key: verdictKey(1, 2), Text: "a verdict"})
	do.refresh(verdictKey(1, 2), "superseded") // of a post that the same event makes
	if err := do.commit(); err != nil {
		t.Fatal(err)
	}
	pending, err := d.store.Pending()
	if err != nil {
		t.Fatal(err)
	}
	var what []string
	for _, o := range pending {
		what = append(what, string(o.Kind)+" "+o.Key+o.Target)
	}
	if want := []string{"post e/1", "post R-0001/verdict/2", "edit R-0001/verdict/2"}; !slices.Equal(what, want) {
		t.Errorf("pending is %q, want %q", what, want)
	}
}
