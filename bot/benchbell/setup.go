package main

import (
	"errors"
	"flag"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"benchbell/bot/config"
	"benchbell/store"
)

// setup is what a subcommand works on: the configuration, and with it the
// store.
type setup struct {
	config.Config
	file string // path of the configuration file; empty if there is none
}

// configured adds --config to the flags, parses them, and reads the
// configuration: the file named, else benchbell.toml if it is there, else the
// defaults.
func configured(flags *flag.FlagSet, args []string) (setup, []string, error) {
	const usual = "benchbell.toml"
	path := flags.String("config", "", "configuration file")
	rest, err := parse(flags, args)
	if err != nil {
		return setup{}, nil, err
	}
	if *path == "" {
		if _, err := os.Stat(usual); err != nil {
			return setup{Config: config.Default()}, rest, nil
		}
		*path = usual
	}
	cfg, err := config.Load(*path)
	return setup{cfg, *path}, rest, err
}

// open opens the store, which must be there.
func (s setup) open() (*store.Store, error) {
	st, err := store.Open(s.Data)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, s.noStore()
	}
	return st, err
}

// openOrCreate opens the store, or makes one if the configuration says where: without a
// configuration this may be the wrong folder. made is the path of a new store.
func (s setup) openOrCreate() (st *store.Store, made string, err error) {
	st, err = store.Open(s.Data)
	if !errors.Is(err, fs.ErrNotExist) {
		return st, "", err
	}
	if s.file == "" {
		return nil, "", s.noStore()
	}
	st, err = store.Create(s.Data)
	return st, absolute(s.Data), err
}

// noStore says where the store was looked for, and what to do.
func (s setup) noStore() error {
	if s.file == "" {
		return fmt.Errorf("there is no store and no benchbell.toml in %s: go to the station's folder, or name its configuration with --config", absolute("."))
	}
	return fmt.Errorf("there is no store at %s: station.data in %s says so; correct it, or begin a store with \"benchbell import\"", absolute(s.Data), s.file)
}

// absolute returns the whole of a path, for people.
func absolute(path string) string {
	if whole, err := filepath.Abs(path); err == nil {
		return whole
	}
	return path
}

func errorOr(err, other error) error {
	if err != nil {
		return err
	}
	return other
}
