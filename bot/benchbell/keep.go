package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"benchbell/bot/config"
	"benchbell/bot/document"
	"benchbell/bot/ledger"
	"benchbell/core"
	"benchbell/store"
)

// configured adds --config to the flags, parses them, and reads the
// configuration: the file named, else benchbell.toml if it is there, else the
// defaults.
func configured(flags *flag.FlagSet, args []string) (config.Config, []string, error) {
	path := flags.String("config", "", "configuration file")
	rest, err := parse(flags, args)
	if err != nil {
		return config.Config{}, nil, err
	}
	if *path == "" {
		const usual = "benchbell.toml"
		if _, err := os.Stat(usual); err != nil {
			return config.Default(), rest, nil
		}
		*path = usual
	}
	cfg, err := config.Load(*path)
	return cfg, rest, err
}

func importFiles(_ context.Context, t terminal, flags *flag.FlagSet, args []string) (err error) {
	cfg, files, err := configured(flags, args)
	if err != nil {
		return err
	}
	if len(files) == 0 {
		return fmt.Errorf("import needs a CSV file: %w", errUsage)
	}
	st, err := openOrCreate(cfg.Data)
	if err != nil {
		return err
	}
	defer func() { err = errorOr(err, st.Close()) }()
	if len(files) == 1 && strings.HasSuffix(files[0], ".jsonl") {
		n, err := ledger.Restore(st, cfg, files[0])
		if err != nil {
			return err
		}
		_, err = fmt.Fprintf(t.out, "restored: %d entries of the journal\n", n)
		return err
	}
	now := time.Now()
	reg, err := ledger.Import(st, cfg, files, now)
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(t.out, "taken into the register: %d suits, %d manometers, %d new past tests\n", len(reg.Suits), len(reg.Manometers), len(reg.Tests))
	return err
}

func exportFiles(_ context.Context, t terminal, flags *flag.FlagSet, args []string) (err error) {
	suit := flags.String("suit", "", "a suit's tag")
	records := flags.Bool("records", false, "documents too")
	cfg, folders, err := configured(flags, args)
	if err != nil {
		return err
	}
	if len(folders) != 1 {
		return fmt.Errorf("export needs the one folder to write into: %w", errUsage)
	}
	open := openThere
	if _, err := os.Stat(cfg.Data); errors.Is(err, fs.ErrNotExist) && *suit == "" && !*records {
		// What is asked for are the templates: no store is made for that.
		dir, err := os.MkdirTemp("", "benchbell-export-")
		if err != nil {
			return err
		}
		defer os.RemoveAll(dir)
		open = func(config.Config) (*store.Store, error) { return store.OpenThrowaway(filepath.Join(dir, "none.db")) }
		fmt.Fprintf(t.out, "there is no store at %s yet\n", cfg.Data)
	}
	st, err := open(cfg)
	if err != nil {
		return err
	}
	defer func() { err = errorOr(err, st.Close()) }()
	folder, today := folders[0], core.DateAt(time.Now(), cfg.Policy.Zone)
	if *suit != "" {
		tag, done, err := document.ExportSuit(st, cfg, *suit, folder, today, t.log)
		if err != nil {
			return err
		}
		_, err = fmt.Fprintf(t.out, "written to %s: all about %s, with its logbook and %d records\n", folder, tag, done.Records)
		return err
	}
	reg, err := document.Export(st, cfg, folder)
	if err != nil {
		return err
	}
	fmt.Fprintf(t.out, "written to %s: %d suits, %d manometers, %d past tests\n", folder, len(reg.Suits), len(reg.Manometers), len(reg.Tests))
	if len(reg.Suits) == 0 {
		fmt.Fprintln(t.out, "no suit is in the register: fill in suits.csv as a template, then \"benchbell import\" it")
	}
	if !*records {
		return nil
	}
	done, err := document.ExportDocuments(st, cfg, folder, today, t.log)
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(t.out, "and as PDF: %d records, %d logbooks, the list for the wall\n", done.Records, done.Logbooks)
	return err
}

// verifyAgainst verifies the journal against a seal noted elsewhere.
func verifyAgainst(st *store.Store, entry, hash string) (store.Hash, uint64, error) {
	n, err := strconv.ParseUint(entry, 10, 64)
	if err != nil {
		return store.Hash{}, 0, fmt.Errorf("%q is not the number of an entry: %w", entry, errUsage)
	}
	noted, err := store.ParseHash(hash)
	if err != nil {
		return store.Hash{}, 0, fmt.Errorf("%q is not the hash of a seal: %w", hash, errUsage)
	}
	return st.VerifyAgainst(n, noted)
}

func errorOr(err, other error) error {
	if err != nil {
		return err
	}
	return other
}

func backupCmd(_ context.Context, t terminal, flags *flag.FlagSet, args []string) (err error) {
	cfg, files, err := configured(flags, args)
	if err != nil {
		return err
	}
	if len(files) != 1 {
		return fmt.Errorf("backup needs the one file to write: %w", errUsage)
	}
	st, err := openThere(cfg)
	if err != nil {
		return err
	}
	defer func() { err = errorOr(err, st.Close()) }()
	// Written beside and renamed, so that a copy that broke off never stands
	// where a whole one is looked for.
	f, err := os.CreateTemp(filepath.Dir(files[0]), ".backup-*")
	if err != nil {
		return err
	}
	defer os.Remove(f.Name())
	if err := st.Backup(f); err != nil {
		f.Close()
		return err
	}
	if err := f.Sync(); err != nil {
		f.Close()
		return err
	}
	if err := f.Close(); err != nil {
		return err
	}
	if err := os.Rename(f.Name(), files[0]); err != nil {
		return err
	}
	_, err = fmt.Fprintf(t.out, "%s is a whole copy of %s.\n", files[0], cfg.Data)
	return err
}

// openThere opens the store that must be there already.
func openThere(cfg config.Config) (*store.Store, error) {
	if _, err := os.Stat(cfg.Data); err != nil {
		return nil, fmt.Errorf("there is no store: %w", err)
	}
	return store.Open(cfg.Data)
}

// openOrCreate opens a store, or makes it if it is not there.
func openOrCreate(path string) (*store.Store, error) {
	st, err := store.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return store.Create(path)
	}
	return st, err
}

func verifyCmd(_ context.Context, t terminal, flags *flag.FlagSet, args []string) (err error) {
	cfg, noted, err := configured(flags, args)
	if err != nil {
		return err
	}
	st, err := openThere(cfg)
	if err != nil {
		return err
	}
	defer func() { err = errorOr(err, st.Close()) }()
	var head store.Hash
	var n uint64
	switch len(noted) {
	case 0:
		head, n, err = st.Verify()
	case 2:
		head, n, err = verifyAgainst(st, noted[0], noted[1])
	default:
		return fmt.Errorf("verify takes nothing, or the number and the hash of a seal: %w", errUsage)
	}
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(t.out, "The journal is whole: %d entries, head %v.\n", n, head)
	return err
}
