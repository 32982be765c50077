package register

import (
	"cmp"
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/agnivade/levenshtein"

	"benchbell/core"
)

// sheetKind is what a file is about. Tests come last: they need what the
// others bring.
type sheetKind int

const (
	noSheet sheetKind = iota
	suitSheet
	manometerSheet
	testSheet
)

const headerWanted = "the first row must name the columns: for suits at least tag, exhaust_valves and method; " +
	"for manometers at least id, unit and resolution; for past tests at least date, suit, method, start, end and minutes"

// kindOf returns what a file is about, by its header: by the column that names
// the things, or else by the kind with which it shares most columns.
func kindOf(header []string) sheetKind {
	const named = 100
	best, most := noSheet, 0
	for kind, columns := range map[sheetKind][]string{
		suitSheet:      columnNames(suitColumns),
		manometerSheet: columnNames(manometerColumns),
		testSheet:      columnNames(testColumns),
	} {
		score := 0
		for i, name := range columns {
			has := slices.ContainsFunc(header, func(h string) bool { return sameColumn(h, name) })
			if has {
				score++
			}
			if has && i == 0 {
				score += named
			}
		}
		switch {
		case score > most:
			best, most = kind, score
		case score == most:
			best = noSheet
		}
	}
	return best
}

// sameColumn reports whether a header's cell names a column: case, blanks,
// underscores and hyphens do not count.
func sameColumn(cell, name string) bool { return plainColumn(cell) == plainColumn(name) }

func plainColumn(s string) string { return blanks.Replace(strings.ToLower(s)) }

var blanks = strings.NewReplacer(" ", "", "_", "", "-", "")

func (s *sheet) register(known Known) (Register, error) {
	var r Register
	in := newLookup(known)
	switch s.kind {
	case suitSheet:
		r.Suits = readRows(s, suitColumns, in, checkSuit(in))
	case manometerSheet:
		r.Manometers = readRows(s, manometerColumns, in, checkManometer(in))
	case testSheet:
		for _, t := range readRows(s, testColumns, in, checkTest(in)) {
			r.Tests = append(r.Tests, t.PastTest)
		}
	}
	if err := s.err(); err != nil {
		return Register{}, err
	}
	return r, nil
}

// lookup is Known, made ready to find things by the names people type.
type lookup struct {
	Known
	suits      map[string]core.Suit // by core.NameKey
	manometers map[string]core.Manometer
}

func newLookup(k Known) *lookup {
	in := &lookup{Known: k, suits: make(map[string]core.Suit), manometers: make(map[string]core.Manometer)}
	for _, s := range k.Suits {
		in.suits[core.NameKey(s.Tag)] = s
	}
	for _, m := range k.Manometers {
		in.manometers[core.NameKey(m.ID)] = m
	}
	return in
}

// suit looks a suit up by its tag as somebody typed it.
func (in *lookup) suit(typed string) (core.Suit, bool) {
	s, ok := in.suits[core.NameKey(typed)]
	if !ok && in.Find != nil {
		return in.Find(typed)
	}
	return s, ok
}

func (in *lookup) method(typed string) (core.Method, error) {
	bench := core.Bench{Methods: in.Methods}
	m, ok := bench.Method(typed)
	if !ok {
		return m, fmt.Errorf("no such method: write one of %s", strings.Join(bench.MethodKeys(), ", "))
	}
	return m, nil
}

// column is one column of a kind of file. The first of a kind names the thing
// that a row is about; a column may only use what columns before it have read.
type column[T any] struct {
	name string
	must bool // cells must not be empty
	// measured cells are numbers, with their unit or without.
	measured bool
	// read takes in a cell that is not empty. The error says what is accepted.
	read  func(to *T, cell string, in *lookup) error
	write func(of *T) string
}

// required returns a column whose cells must not be empty.
func required[T any](c column[T]) column[T] {
	c.must = true
	return c
}

func columnNames[T any](columns []column[T]) []string {
	names := make([]string, len(columns))
	for i, c := range columns {
		names[i] = c.name
	}
	return names
}

// check looks for faults that only a whole row shows. Only the first fault of a
// column counts.
type check[T any] func(row int, of *T, fault func(column, want string))

// readRows reads the rows of a sheet. Use the result only if the sheet has no
// faults afterwards.
func readRows[T any](s *sheet, columns []column[T], in *lookup, look check[T]) []T {
	places := findColumns(s, columns)
	read := make([]T, 0, len(s.rows))
	for _, row := range s.rows {
		var t T
		var faults []Fault
		fault := func(name, want string) {
			if slices.ContainsFunc(faults, func(f Fault) bool { return f.Column == name }) {
				return
			}
			f := Fault{Row: row.n, Column: name, Want: want}
			if at, ok := places[name]; ok {
				f.Found = row.cell(at)
			}
			faults = append(faults, f)
		}
		for _, c := range columns {
			at, there := places[c.name]
			cell := row.cell(at)
			switch {
			case !there:
			case cell != "":
				if err := c.read(&t, cell, in); err != nil {
					fault(c.name, err.Error())
				}
			case c.must:
				fault(c.name, "must be filled in")
			}
		}
		look(row.n, &t, fault)
		place := func(f Fault) int {
			if at, there := places[f.Column]; there {
				return at
			}
			return len(row.cells)
		}
		slices.SortStableFunc(faults, func(a, b Fault) int { return cmp.Compare(place(a), place(b)) })
		for _, f := range append(faults, strayCells(s.header, row)...) {
			s.add(f)
		}
		read = append(read, t)
	}
	return read
}

// findColumns returns the place of each column, and notes what is wrong with
// the header.
func findColumns[T any](s *sheet, columns []column[T]) map[string]int {
	places := make(map[string]int)
	for i, cell := range s.header.cells {
		if cell == "" {
			continue
		}
		known := slices.IndexFunc(columns, func(c column[T]) bool { return sameColumn(cell, c.name) })
		if known < 0 {
			s.add(Fault{Row: s.header.n, Column: "column " + letters(i), Found: cell, Want: "there is no such column; the nearest is " + nearestColumn(cell, columnNames(columns))})
			continue
		}
		name := columns[known].name
		if _, twice := places[name]; twice {
			s.add(Fault{Row: s.header.n, Column: "column " + letters(i), Found: cell, Want: "the column is there twice"})
			continue
		}
		places[name] = i
	}
	for _, c := range columns {
		if _, there := places[c.name]; c.must && !there {
			s.add(Fault{Row: s.header.n, Want: "the column " + c.name + " is missing"})
		}
	}
	return places
}

func nearestColumn(cell string, names []string) string {
	distance := func(name string) int {
		return levenshtein.ComputeDistance(plainColumn(cut(cell, 40)), plainColumn(name))
	}
	return slices.MinFunc(names, func(a, b string) int { return cmp.Compare(distance(a), distance(b)) })
}

// strayCells finds content to which the header gives no name.
func strayCells(header, row sheetRow) []Fault {
	var stray []Fault
	for i, cell := range row.cells {
		if cell != "" && header.cell(i) == "" {
			stray = append(stray, Fault{
				Row: row.n, Column: "column " + letters(i), Found: cell,
				Want: "the header has no name for this column; where commas stand between the cells, a cell with a comma needs quotation marks",
			})
		}
	}
	return stray
}

// letters returns what spreadsheets call a column: A, B, … Z, AA, AB, …
func letters(i int) string {
	s := ""
	for i++; i > 0; i = (i - 1) / 26 {
		s = string(rune('A'+(i-1)%26)) + s
	}
	return s
}

func writeRows[T any](w io.Writer, columns []column[T], rows []T, d Dialect) error {
	return writeTable(w, d, func(yield func([]string, error) bool) {
		if !yield(columnNames(columns), nil) {
			return
		}
		for _, row := range rows {
			cells := make([]string, len(columns))
			for i, c := range columns {
				cells[i] = c.cell(&row, d)
			}
			if !yield(cells, nil) {
				return
			}
		}
	})
}

// cell writes a cell in a dialect.
func (c column[T]) cell(of *T, d Dialect) string {
	if c.measured {
		return d.number(c.write(of))
	}
	return c.write(of)
}
