package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"benchbell/bot/document"
	"benchbell/bot/ledger"
	"benchbell/core"
	"benchbell/store"
)

func importFiles(_ context.Context, t terminal, flags *flag.FlagSet, args []string) (err error) {
	cfg, files, err := configured(flags, args)
	if err != nil {
		return err
	}
	if len(files) == 0 {
		return fmt.Errorf("import needs a CSV file: %w", errUsage)
	}
	restores := len(files) == 1 && strings.HasSuffix(files[0], ".jsonl")
	var contents map[string][]byte
	if restores {
		err = lookAt(files[0])
	} else {
		contents, err = readFiles(files)
	}
	if err != nil {
		return err
	}
	st, made, err := cfg.openOrCreate()
	if err != nil {
		return err
	}
	var taken string
	if restores {
		taken, err = restore(st, cfg, files[0])
	} else {
		taken, err = register(st, cfg, files, contents)
	}
	if err != nil && made != "" {
		return errors.Join(err, discard(st, made))
	}
	if err = errorOr(err, st.Close()); err != nil {
		return err
	}
	if made != "" {
		fmt.Fprintf(t.out, "made a new store: %s\n", made)
	}
	_, err = fmt.Fprintln(t.out, taken)
	return err
}

// lookAt reports why a file cannot be read, or that it is empty.
func lookAt(path string) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer f.Close()
	if _, err := f.Read(make([]byte, 1)); err != nil && !errors.Is(err, io.EOF) {
		return err
	} else if err != nil {
		return fmt.Errorf("%s is empty", path)
	}
	return nil
}

// restore and register take files into a store, and say what was taken.
func restore(st *store.Store, cfg setup, file string) (taken string, err error) {
	n, err := ledger.Restore(st, cfg.Config, file)
	return fmt.Sprintf("restored: %d entries of the journal", n), err
}

func register(st *store.Store, cfg setup, files []string, contents map[string][]byte) (taken string, err error) {
	reg, err := ledger.Import(st, cfg.Config, files, contents, time.Now())
	return fmt.Sprintf("taken into the register: %d suits, %d manometers, %d new past tests", len(reg.Suits), len(reg.Manometers), len(reg.Tests)), err
}

// discard removes a store that was made for what then could not be taken: found
// later, an empty store would pass for the station's own. It is removed while it
// is still locked, so that nobody else can have begun to use it; where an open
// file cannot be removed, just after.
func discard(st *store.Store, path string) error {
	if err := os.Remove(path); err == nil {
		return st.Close()
	}
	return errors.Join(st.Close(), os.Remove(path))
}

// readFiles reads files by their paths.
func readFiles(paths []string) (map[string][]byte, error) {
	contents := make(map[string][]byte)
	var faults []error
	for _, path := range paths {
		content, err := os.ReadFile(path)
		if err != nil {
			faults = append(faults, err)
		}
		contents[path] = content
	}
	return contents, errors.Join(faults...)
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
	open := cfg.open
	if _, err := os.Stat(cfg.Data); errors.Is(err, fs.ErrNotExist) && *suit == "" && !*records {
		// What is asked for are the templates: no store is made for that.
		dir, err := os.MkdirTemp("", "benchbell-export-")
		if err != nil {
			return err
		}
		defer os.RemoveAll(dir)
		open = func() (*store.Store, error) { return store.OpenThrowaway(filepath.Join(dir, "none.db")) }
		fmt.Fprintf(t.out, "there is no store at %s yet\n", absolute(cfg.Data))
	}
	st, err := open()
	if err != nil {
		return err
	}
	defer func() { err = errorOr(err, st.Close()) }()
	folder, today := folders[0], core.DateAt(time.Now(), cfg.Policy.Zone)
	if *suit != "" {
		tag, done, err := document.ExportSuit(st, cfg.Config, *suit, folder, today, t.log)
		if err != nil {
			return err
		}
		_, err = fmt.Fprintf(t.out, "written to %s: all about %s, with its logbook and %d records\n", folder, tag, done.Records)
		return err
	}
	reg, err := document.Export(st, cfg.Config, folder)
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
	done, err := document.ExportDocuments(st, cfg.Config, folder, today, t.log)
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(t.out, "and as PDF: %d records, %d logbooks, the list for the wall\n", done.Records, done.Logbooks)
	return err
}
