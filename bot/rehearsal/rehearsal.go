// Package rehearsal plays conversations in virtual time: the demo, the training
// mode, and most tests of the whole bot.
//
// A [Rehearsal] joins the same engine, outbox and store as a bot that serves with a
// stage (stage.go), a chat server that is only printed. [Rehearsal.Play] plays a
// script, whose lines are listed in script.go; [Rehearsal.Keyboard] takes the same
// lines from somebody who types. [Fleet] and [Demo] are the invented station Harrow
// Point, and [ConfigOf] finds the configuration of a script.
package rehearsal

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"benchbell/bot/chat"
	"benchbell/bot/config"
	"benchbell/bot/document"
	"benchbell/bot/engine"
	"benchbell/bot/ledger"
	"benchbell/bot/outbox"
	"benchbell/bot/photo"
	"benchbell/commands"
	"benchbell/core"
	"benchbell/store"
)

// Rehearsal plays a station in virtual time: the same engine and store as a
// real one, with a chat server that is only printed.
type Rehearsal struct {
	Folder string // where the files of "attach" lie

	cfg    config.Config
	keeps  func() (*store.Store, error) // opens what it remembers in
	plain  bool                         // draws no pictures
	stage  *stage
	log    *slog.Logger
	store  *store.Store
	engine *engine.Engine
	mail   *outbox.Sender
	photos *photo.Fetcher

	begun  bool // something was said: the clock can only go forward now
	down   bool
	with   map[string][]chat.File // attached to a person's next post
	missed []chat.Event           // what was posted while it was down
	taps   int
	in     map[string]core.RunID // the run each person is in
	fails  []error
}

// People are those of the scenario that a rehearsal knows before they speak.
var People = []string{"bench.tester", "second.tester", "crew.member", "duty.officer"}

// New sets the stage: a new store at path with the given register in
// it, and the station's clock at start.
func New(path string, cfg config.Config, register []core.Entry, start time.Time, out io.Writer, log *slog.Logger) (*Rehearsal, error) {
	r := &Rehearsal{
		cfg: cfg, log: log,
		keeps: func() (*store.Store, error) { return store.OpenThrowaway(path) },
		stage: newStage(out, cfg.Policy.Zone, People...),
		in:    make(map[string]core.RunID),
		with:  make(map[string][]chat.File),
	}
	if err := r.begin(register, start); err != nil {
		return nil, err
	}
	return r, nil
}

// begin opens the store for the first time and puts the register in it.
func (r *Rehearsal) begin(register []core.Entry, start time.Time) error {
	r.stage.now = start
	if err := r.open(); err != nil {
		return err
	}
	if err := ledger.Enter(r.store, r.cfg.Policy, "register", start, register); err != nil {
		r.Close()
		return err
	}
	return r.restart(context.Background())
}

// Keep has every picture and document that is posted written to a folder,
// which is made if it is not there.
func (r *Rehearsal) Keep(folder string) error {
	r.stage.keep = folder
	return os.MkdirAll(folder, 0o755)
}

// Close ends the rehearsal.
func (r *Rehearsal) Close() error {
	if r.down {
		return nil
	}
	return r.store.Close()
}

func (r *Rehearsal) open() (err error) {
	if r.store, err = r.keeps(); err != nil {
		return err
	}
	if r.engine, err = engine.New(r.store, r.cfg, stageBot, r.log); err != nil {
		return err
	}
	if err := r.engine.Handle(r.stage.who()); err != nil {
		return err
	}
	now := func() time.Time { return r.stage.now }
	options := outbox.Options{
		Tell: r.bring, Late: commands.Speaker{Zone: r.cfg.Policy.Zone, Bot: stageBot}.Late, Failed: commands.DocumentFailed,
	}
	if !r.plain {
		options.Make = document.NewMaker(r.store, r.cfg, r.log).Make
	}
	r.mail = outbox.New(r.store, r.stage, now, r.log, options)
	r.photos = photo.NewFetcher(r.store, r.stage, r.bring, now, r.log)
	return nil
}

// restart stops dead and starts again from the file.
func (r *Rehearsal) restart(ctx context.Context) error {
	if err := r.stop(); err != nil {
		return err
	}
	return r.start(ctx)
}

func (r *Rehearsal) stop() error {
	r.down = true
	return r.store.Close()
}

// start reads, in order, what was posted while the program was down, and then
// rings what is due.
func (r *Rehearsal) start(ctx context.Context) error {
	if err := r.open(); err != nil {
		return err
	}
	r.down = false
	for _, ev := range r.missed {
		if err := r.bring(ctx, ev); err != nil {
			return err
		}
	}
	r.missed = nil
	return r.settle(ctx)
}

// settle rings what is due, reads photos and delivers what is to be said.
func (r *Rehearsal) settle(ctx context.Context) error {
	if err := r.engine.Wake(r.stage.now); err != nil {
		return err
	}
	if _, err := r.photos.Flush(ctx); err != nil {
		return err
	}
	_, err := r.mail.Flush(ctx)
	return err
}

// Play plays a script to its end. The error lists the lines that are none, or
// else the checks that did not hold.
func (r *Rehearsal) Play(ctx context.Context, script string) error {
	steps, err := parseScript(script)
	if err != nil {
		return err
	}
	for _, s := range steps {
		if err := r.step(ctx, s); err != nil {
			return fmt.Errorf("line %d: %q: %w", s.line, s.text, err)
		}
	}
	return errors.Join(r.fails...)
}

// step plays one line. An error stops the play; a check that does not hold is
// only noted.
func (r *Rehearsal) step(ctx context.Context, s step) error {
	if check, ok := s.do.(stepCheck); ok {
		r.check(s, check)
		return nil
	}
	r.stage.said = nil
	switch do := s.do.(type) {
	case stepAttach:
		return r.attach(do)
	case stepPost:
		return r.post(ctx, do)
	case stepEdit:
		return r.edit(ctx, do)
	case stepTap:
		return r.tap(ctx, do)
	case stepDelete:
		return r.remove(ctx, do)
	case stepGone:
		return r.deactivate(ctx, do.who)
	case stepPass:
		return r.advance(ctx, r.stage.now.Add(do.by))
	case stepAt:
		t, err := parseStationClock(do.clock, r.stage.zone)
		if err != nil {
			return err
		}
		if t.Before(r.stage.now) {
			if r.begun {
				return fmt.Errorf("the station's clock is at %s already and only goes forward", r.stage.now.In(r.stage.zone).Format("2006-01-02 15:04:05"))
			}
			r.stage.now = t
			return nil
		}
		return r.advance(ctx, t)
	case stepRestart, stepDown, stepUp:
		r.begun = true
		return r.power(ctx, do)
	}
	return nil
}

// power stops and starts the program.
func (r *Rehearsal) power(ctx context.Context, do any) error {
	_, up := do.(stepUp)
	if up != r.down {
		return fmt.Errorf("the program is down between \"down\" and \"up\", and only then")
	}
	fmt.Fprintf(r.stage.out, "\n%s  %s\n", r.stage.now.In(r.stage.zone).Format("2006-01-02 15:04:05"), powerWords(do))
	switch do.(type) {
	case stepRestart:
		return r.restart(ctx)
	case stepDown:
		return r.stop()
	}
	return r.start(ctx)
}

func powerWords(do any) string {
	switch do.(type) {
	case stepRestart:
		return "(the program stops dead and starts again)"
	case stepDown:
		return "(the program stops dead)"
	}
	return "(the program starts)"
}

func (r *Rehearsal) check(s step, c stepCheck) {
	found := slices.ContainsFunc(r.stage.said, func(said saying) bool {
		return strings.Contains(said.text, c.words) && (c.to == "" || c.to == said.to)
	})
	if found != c.not {
		return
	}
	said := "nothing"
	if len(r.stage.said) > 0 {
		var texts []string
		for _, s := range r.stage.said {
			texts = append(texts, s.text)
		}
		said = strings.Join(texts, " | ")
	}
	r.fails = append(r.fails, fmt.Errorf("line %d: %q does not hold; the bot said: %s", s.line, s.text, said))
}

// advance moves the clock on, ringing on its way what is due.
func (r *Rehearsal) advance(ctx context.Context, to time.Time) error {
	r.begun = true
	for !r.down {
		next := r.engine.NextWake()
		if next.IsZero() || next.After(to) {
			break
		}
		if next.After(r.stage.now) {
			r.stage.now = next
		}
		if err := r.settle(ctx); err != nil {
			return err
		}
	}
	r.stage.now = to
	if r.down {
		return nil
	}
	return r.settle(ctx)
}

func (r *Rehearsal) post(ctx context.Context, do stepPost) error {
	if do.words == "" && len(r.with[do.who]) == 0 {
		return errNothingSaid
	}
	if err := r.meet(do.who); err != nil {
		return err
	}
	_, mentioned := commands.WithoutMention(do.words, stageBot)
	where := chat.Where{Channel: stageCrew}
	run := do.run
	if run == 0 && !mentioned && !do.direct {
		run = r.runOf(do.who)
	}
	switch {
	case do.direct:
		where = chat.Where{Channel: "dm/" + do.who, Direct: true}
	case run != 0:
		root := r.stage.rootOf(run)
		if root == nil {
			return fmt.Errorf("there is no run %s so far", run)
		}
		where.Root = root.id
		r.in[do.who] = run
	}
	p := &stagePost{by: do.who, where: where, text: do.words}
	r.stage.add(p)
	said := chat.Said{Post: p.id, Text: do.words, Mentioned: mentioned, Files: r.with[do.who]}
	for _, f := range said.Files {
		fmt.Fprintf(r.stage.out, "    [%s attached]\n", f.Name)
	}
	delete(r.with, do.who)
	return r.handle(ctx, chat.Event{ID: p.id, Who: person(do.who), Where: where, What: said})
}

// attach keeps a file for somebody's next post.
func (r *Rehearsal) attach(do stepAttach) error {
	path := do.path
	if !filepath.IsAbs(path) {
		path = filepath.Join(r.Folder, path)
	}
	file, err := r.stage.attach(path)
	if err != nil {
		return err
	}
	r.with[do.who] = append(r.with[do.who], file)
	return nil
}

// runOf returns the run that a person is in: of those they test, the open one
// they last opened or spoke in; else the one whose thread they last spoke in.
func (r *Rehearsal) runOf(who string) core.RunID {
	in := r.in[who]
	if run, open := r.engine.Memory().Bench.Runs[in]; open && run.Tester.ID == who {
		return in
	}
	var newest core.RunID
	for id, run := range r.engine.Memory().Bench.Runs {
		if run.Tester.ID == who {
			newest = max(newest, id)
		}
	}
	if newest != 0 {
		return newest
	}
	return in
}

func (r *Rehearsal) edit(ctx context.Context, do stepEdit) error {
	for _, p := range slices.Backward(r.stage.posts) {
		if p.by != do.who {
			continue
		}
		p.text = do.words
		p.edits++
		r.stage.print(p, " (edited)")
		_, mentioned := commands.WithoutMention(do.words, stageBot)
		return r.handle(ctx, chat.Event{
			ID: fmt.Sprintf("%s@%d", p.id, p.edits), Who: person(do.who), Where: p.where,
			What: chat.Edited{Post: p.id, Text: do.words, Mentioned: mentioned, Posted: p.at},
		})
	}
	return fmt.Errorf("%s has posted nothing that could be edited", do.who)
}

// remove deletes a post.
func (r *Rehearsal) remove(ctx context.Context, do stepDelete) error {
	for _, p := range slices.Backward(r.stage.posts) {
		isRoot := do.run != 0 && chat.BaseKey(p.key) == chat.CardKey(do.run)
		if p.deleted || !isRoot && (do.run != 0 || p.by != do.who) {
			continue
		}
		r.stage.head(p, " (deleted)")
		p.deleted = true
		if isRoot { // a thread goes with its first post
			for _, reply := range r.stage.posts {
				reply.deleted = reply.deleted || reply.where.Root == p.id
			}
			return nil
		}
		return r.handle(ctx, chat.Event{ID: p.id + "-", Who: person(do.who), Where: p.where, What: chat.Deleted{Post: p.id}})
	}
	return errors.New("there is no such post to delete")
}

// deactivate takes somebody's account away.
func (r *Rehearsal) deactivate(ctx context.Context, who string) error {
	r.stage.people[who], r.stage.gone[who] = true, true
	fmt.Fprintf(r.stage.out, "\n%s  (the account of %s is deactivated)\n", r.stage.now.In(r.stage.zone).Format("2006-01-02 15:04:05"), who)
	return r.handle(ctx, r.stage.who())
}

func (r *Rehearsal) tap(ctx context.Context, do stepTap) error {
	if err := r.meet(do.who); err != nil {
		return err
	}
	var root string
	if p := r.stage.rootOf(r.runOf(do.who)); p != nil {
		root = p.id
	}
	p := r.stage.latestList(root)
	if p == nil {
		return errors.New("there is no list to tap")
	}
	verb := "taps"
	if !do.on {
		verb = "takes back the tap on"
	}
	fmt.Fprintf(r.stage.out, "\n%s  %s %s %d, %s\n", r.stage.now.In(r.stage.zone).Format("2006-01-02 15:04:05"), do.who, verb, do.n, p.label)
	r.taps++
	return r.handle(ctx, chat.Event{
		ID: fmt.Sprintf("tap/%s/%s/%d/%d", p.id, do.who, do.n, r.taps), Who: person(do.who), Where: p.where,
		What: chat.Tapped{Post: p.id, N: do.n, On: do.on},
	})
}

func (r *Rehearsal) handle(ctx context.Context, ev chat.Event) error {
	r.begun = true
	ev.At = r.stage.now
	if r.down {
		r.missed = append(r.missed, ev)
		return nil
	}
	known := make(map[core.RunID]bool)
	for id := range r.engine.Memory().Bench.Runs {
		known[id] = true
	}
	if err := r.bring(ctx, ev); err != nil {
		return err
	}
	for id, run := range r.engine.Memory().Bench.Runs {
		if !known[id] {
			r.in[run.Tester.ID] = id
		}
	}
	return r.settle(ctx)
}

func person(name string) core.Person { return core.Person{ID: name, Name: name} }

// bring hands an event to the engine.
func (r *Rehearsal) bring(ctx context.Context, ev chat.Event) error {
	return handle(ctx, r.engine, r.store, r.cfg, r.stage, ev)
}

// handle hands an event to an engine. What it needs from attached files is read at
// once.
func handle(ctx context.Context, e *engine.Engine, st *store.Store, cfg config.Config, files chat.Files, ev chat.Event) error {
	err := e.Handle(ev)
	for _, needs := errors.AsType[*engine.Needs](err); needs; _, needs = errors.AsType[*engine.Needs](err) {
		plan, fault := ledger.PlanAttached(ctx, st, cfg, files, ev)
		err = e.HandleImport(ev, plan, fault)
	}
	return err
}

// meet makes somebody known who speaks for the first time.
func (r *Rehearsal) meet(who string) error {
	if r.stage.people[who] {
		return nil
	}
	r.stage.people[who] = true
	if r.down {
		return nil
	}
	return r.engine.Handle(r.stage.who())
}
