package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"benchbell/store"
)

func backupCmd(_ context.Context, t terminal, flags *flag.FlagSet, args []string) (err error) {
	cfg, files, err := configured(flags, args)
	if err != nil {
		return err
	}
	if len(files) != 1 {
		return fmt.Errorf("backup needs the one file to write: %w", errUsage)
	}
	target := files[0]
	if err := mayWrite(target, cfg.Data); err != nil {
		return err
	}
	st, err := cfg.open()
	if err != nil {
		return err
	}
	defer func() { err = errorOr(err, st.Close()) }()
	last, err := writeBackup(st, target)
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(t.out, "%s is a whole copy of %s, up to journal entry %d.\n", target, cfg.Data, last)
	return err
}

// mayWrite refuses to write a copy of the store over anything, and first of all
// over the store itself, by whatever path.
func mayWrite(target, data string) error {
	if _, err := os.Lstat(target); errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	there, err1 := os.Stat(target)
	of, err2 := os.Stat(data)
	if err1 == nil && err2 == nil && os.SameFile(there, of) {
		return fmt.Errorf("%s is the store itself: give the copy a new name", target)
	}
	return fmt.Errorf("%s is there already: give the copy a new name", target)
}

// writeBackup writes a copy of the store, examines it, and only then gives it
// its name. It returns the number of the last entry in the copy.
func writeBackup(st *store.Store, target string) (last uint64, err error) {
	f, err := os.CreateTemp(filepath.Dir(target), ".backup-*")
	if err != nil {
		return 0, err
	}
	defer os.Remove(f.Name())
	if err := errors.Join(st.Backup(f), f.Sync(), f.Close()); err != nil {
		return 0, err
	}
	if last, err = examineBackup(f.Name()); err != nil {
		return 0, fmt.Errorf("the copy is not whole and was not kept: try again, on another disk if need be: %w", err)
	}
	if err := rename(f.Name(), target); err != nil {
		return 0, err
	}
	return last, nil
}

// examineBackup opens a copy and checks all of it.
func examineBackup(path string) (last uint64, err error) {
	st, err := store.Open(path)
	if err != nil {
		return 0, err
	}
	defer func() { err = errorOr(err, st.Close()) }()
	if err := st.Check(); err != nil {
		return 0, err
	}
	last, _, err = st.Head()
	return last, err
}

// rename gives a file a new name, unless that name is taken.
func rename(from, to string) error {
	err := os.Link(from, to)
	switch {
	case err == nil:
		return os.Remove(from)
	case errors.Is(err, fs.ErrExist):
		return fmt.Errorf("%s is there already: give the copy a new name", to)
	}
	return os.Rename(from, to) // this file system has no links
}
