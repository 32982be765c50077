package main

import (
	"context"
	"flag"
	"fmt"
	"os"
	"path/filepath"

	"benchbell/bot/config"
	"benchbell/bot/rehearsal"
)

// fileList is a flag that may be given more than once.
type fileList []string

func (l *fileList) String() string     { return fmt.Sprint(*l) }
func (l *fileList) Set(s string) error { *l = append(*l, s); return nil }

func rehearseCmd(ctx context.Context, t terminal, flags *flag.FlagSet, args []string) (err error) {
	var fleet fileList
	flags.Var(&fleet, "fleet", "CSV file of suits, manometers or past tests, in place of the demo fleet")
	speed := flags.Float64("speed", 1, "from the keyboard: how many times as fast time passes")
	keep := flags.String("keep", "", "folder to write the pictures and documents to that are posted")
	path := flags.String("config", "", "configuration file, for methods and policy")
	scripts, err := parse(flags, args)
	if err != nil {
		return err
	}
	if len(scripts) > 1 {
		return fmt.Errorf("rehearse plays one script: %w", errUsage)
	}
	cfg := rehearsal.Demo()
	switch {
	case *path != "":
		cfg, err = config.Load(*path)
	case len(scripts) == 1:
		cfg, err = rehearsal.ConfigOf(scripts[0])
	}
	if err != nil {
		return err
	}
	dir, err := os.MkdirTemp("", "benchbell-rehearsal-")
	if err != nil {
		return err
	}
	defer func() { err = errorOr(err, os.RemoveAll(dir)) }()
	start := rehearsal.Start(cfg)
	entries, err := rehearsal.Fleet(cfg, fleet, start)
	if err != nil {
		return err
	}
	r, err := rehearsal.New(filepath.Join(dir, "rehearsal.db"), cfg, entries, start, t.out, t.log)
	if err != nil {
		return err
	}
	defer func() { err = errorOr(err, r.Close()) }()
	if *keep != "" {
		if err := r.Keep(*keep); err != nil {
			return err
		}
	}
	if len(scripts) == 0 {
		return r.Keyboard(ctx, t.in, *speed)
	}
	script, err := t.readArg(scripts[0])
	if err != nil {
		return err
	}
	r.Folder = filepath.Dir(scripts[0])
	if err := r.Play(ctx, script); err != nil {
		return fmt.Errorf("%s:\n%w", scripts[0], err)
	}
	return nil
}
