package register

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"benchbell/core"
)

// Register is what files say about a station's suits, its manometers and its
// tests on paper.
type Register struct {
	Suits      []core.Suit
	Manometers []core.Manometer
	Tests      []PastTest
}

// PastTest is a test brought in from paper.
type PastTest struct {
	Suit string // tag
	Test core.PaperTest
}

// Known is what a file is read against: the methods, and what the register
// has so far. Nothing may have happened after Today, the day at the station.
type Known struct {
	Today      core.Date
	Dates      string // one of DateForms, or nothing for ISO 8601 alone
	Methods    []core.Method
	Suits      []core.Suit
	Manometers []core.Manometer
	// Find looks up a suit that is not among Suits, by its tag as somebody typed
	// it. It may be nil.
	Find func(typed string) (core.Suit, bool)
}

// with returns k with the suits and manometers of r added.
func (k Known) with(r Register) Known {
	k.Suits = slices.Concat(k.Suits, r.Suits)
	k.Manometers = slices.Concat(k.Manometers, r.Manometers)
	return k
}

// Read reads a file of suits, of manometers or of past tests; its
// header tells which. The file is CSV in UTF-8 as spreadsheets save it, with
// commas, semicolons or tabs between the cells.
//
// A file is taken whole or not at all: the error is an *[Error], which
// lists what must be mended, or one of r. A suit or a manometer that is known
// already is not refused, since it is entered again to change it.
func Read(name string, r io.Reader, known Known) (Register, error) {
	s, err := readSheet(name, r)
	if err != nil {
		return Register{}, err
	}
	return s.register(known)
}

// ReadFS reads all files of a folder whose names end in ".csv", those
// of past tests last. If some are not taken, the error says so of each.
func ReadFS(folder fs.FS, known Known) (Register, error) {
	names, err := fs.Glob(folder, "*.csv")
	if err != nil {
		return Register{}, err
	}
	if len(names) == 0 {
		return Register{}, errors.New("there is no CSV file: put suits.csv, manometers.csv or tests.csv in the folder")
	}
	return readAll(names, known, func(name string) (*sheet, error) { return openSheet(folder, name) })
}

// ReadFiles reads files by their paths as [ReadFS] does.
func ReadFiles(paths []string, known Known) (Register, error) {
	return readAll(paths, known, func(path string) (*sheet, error) {
		return openSheet(os.DirFS(filepath.Dir(path)), filepath.Base(path))
	})
}

// ReadContents reads files that are already in memory, by their names, as
// [ReadFS] does.
func ReadContents(names []string, content map[string][]byte, known Known) (Register, error) {
	return readAll(names, known, func(name string) (*sheet, error) {
		return readSheet(name, bytes.NewReader(content[name]))
	})
}

func readAll(names []string, known Known, open func(name string) (*sheet, error)) (Register, error) {
	var sheets []*sheet
	var faults []error
	for _, name := range names {
		s, err := open(name)
		if err != nil {
			faults = append(faults, err)
			continue
		}
		sheets = append(sheets, s)
	}
	slices.SortStableFunc(sheets, func(a, b *sheet) int { return cmp.Compare(a.kind, b.kind) })
	var all Register
	from := make(origins)
	for _, s := range sheets {
		if s.kind == testSheet && len(faults) > 0 {
			break // its suits may be in a file that was not taken
		}
		r, err := s.register(known)
		if err != nil {
			faults = append(faults, err)
			continue
		}
		if err := from.add(s.file, r); err != nil {
			faults = append(faults, err)
		}
		known = known.with(r)
		all.Suits = append(all.Suits, r.Suits...)
		all.Manometers = append(all.Manometers, r.Manometers...)
		all.Tests = append(all.Tests, r.Tests...)
	}
	if len(faults) > 0 {
		return Register{}, errors.Join(faults...)
	}
	return all, nil
}

// origins says which file a suit or a manometer is from.
type origins map[string]string

// add notes what is in a file. The error names what is in other files too.
func (o origins) add(file string, r Register) error {
	faults := faultsOf{file: file}
	note := func(kind, name string) {
		key := kind + "/" + core.NameKey(name)
		if other, twice := o[key]; twice {
			faults.add(Fault{Want: fmt.Sprintf("%s is in %s too: leave it in one of them", name, other)})
		}
		o[key] = file
	}
	for _, s := range r.Suits {
		note("suit", s.Tag)
	}
	for _, m := range r.Manometers {
		note("manometer", m.ID)
	}
	return faults.err()
}

func openSheet(folder fs.FS, name string) (*sheet, error) {
	f, err := folder.Open(name)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return readSheet(name, f)
}

// Entries returns the journal entries for a register that an event brought at a
// moment: the suits, the manometers, then the past tests, oldest first, those of
// one day in the order of their rows. A past test counts as
// made at noon at the station, or at the moment itself if that is earlier.
func (r Register) Entries(at time.Time, by core.Person, event string, zone *time.Location) []core.Entry {
	entries := make([]core.Entry, 0, len(r.Suits)+len(r.Manometers)+len(r.Tests))
	for _, s := range r.Suits {
		entries = append(entries, core.Entry{At: at, By: by, Event: event, Suit: s.Tag, Fact: core.SuitRegistered{Suit: s}})
	}
	for _, m := range r.Manometers {
		entries = append(entries, core.Entry{At: at, By: by, Event: event, Fact: core.ManometerRegistered{Manometer: m}})
	}
	tests := slices.Clone(r.Tests)
	slices.SortStableFunc(tests, func(a, b PastTest) int { return a.Test.Day.Compare(b.Test.Day) })
	for _, t := range tests {
		day := t.Test.Day
		noon := time.Date(day.Year, day.Month, day.Day, 12, 0, 0, 0, zone)
		if noon.After(at) {
			noon = at
		}
		entries = append(entries, core.Entry{At: noon, By: by, Event: event, Suit: t.Suit, Fact: t.Test})
	}
	return entries
}

// WriteSuits writes suits as [Read] reads them.
func WriteSuits(w io.Writer, suits []core.Suit, d Dialect) error {
	return writeRows(w, suitColumns, suits, d)
}

// WriteManometers writes manometers as [Read] reads them.
func WriteManometers(w io.Writer, manometers []core.Manometer, d Dialect) error {
	return writeRows(w, manometerColumns, manometers, d)
}

// WriteTests writes past tests as [Read] reads them.
func WriteTests(w io.Writer, tests []PastTest, d Dialect) error {
	rows := make([]testRow, len(tests))
	for i, t := range tests {
		rows[i].PastTest = t
	}
	return writeRows(w, testColumns, rows, d)
}

// maxFaults is how many faults of a file are listed.
const maxFaults = 50

// Error says why nothing of a file was taken.
type Error struct {
	File   string
	Faults []Fault // at most 50, in the order of the file
	More   int     // faults that are not listed
}

func (e *Error) Error() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s: nothing was taken; to mend: %d", e.File, len(e.Faults)+e.More)
	for _, f := range e.Faults {
		b.WriteString("\n" + f.String())
	}
	if e.More > 0 {
		fmt.Fprintf(&b, "\nand %d more", e.More)
	}
	return b.String()
}

// Fault is something in a file that cannot be taken.
type Fault struct {
	Row    int    // as spreadsheets number them, 0 if it is about the whole file
	Column string // its name, empty if it is about the whole row
	Found  string // what the cell says
	Want   string // what is wrong with it, or what is accepted
}

// String returns the fault in a line, a long cell cut short.
func (f Fault) String() string {
	if f.Row == 0 {
		return f.Want
	}
	s := fmt.Sprintf("row %d", f.Row)
	if f.Column == "" {
		return s + ": " + f.Want
	}
	found := "empty"
	if f.Found != "" {
		found = strconv.Quote(cut(f.Found, 40))
	}
	return s + ", " + f.Column + ": " + found + ": " + f.Want
}

// cut returns at most n runes of s.
func cut(s string, n int) string {
	count := 0
	for i := range s {
		if count == n {
			return s[:i] + "…"
		}
		count++
	}
	return s
}

// faultsOf gathers the faults of a file.
type faultsOf struct {
	file   string
	faults []Fault
	more   int
}

func (f *faultsOf) add(fault Fault) {
	if len(f.faults) == maxFaults {
		f.more++
		return
	}
	f.faults = append(f.faults, fault)
}

func (f *faultsOf) err() error {
	if len(f.faults) == 0 {
		return nil
	}
	return &Error{File: f.file, Faults: f.faults, More: f.more}
}
