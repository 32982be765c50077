package register

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"strings"
	"unicode"
	"unicode/utf8"
)

// maxSheet is the size of the largest file that is read, in bytes. A hundred
// thousand suits with all they have are a third of it.
const maxSheet = 64 << 20

// sheet is a CSV file cut into cells.
type sheet struct {
	faultsOf
	kind   sheetKind
	header sheetRow
	rows   []sheetRow
}

// sheetRow is a row with its number as spreadsheets count it, from 1.
type sheetRow struct {
	n     int
	cells []string
}

// cell returns the cell of a column, empty if the row ends before it.
func (r sheetRow) cell(i int) string {
	if i < len(r.cells) {
		return r.cells[i]
	}
	return ""
}

func (r sheetRow) blank() bool { return strings.Join(r.cells, "") == "" }

const saveAs = `save it as "CSV UTF-8"`

// readSheet cuts a file into cells and finds out what it is about.
func readSheet(name string, r io.Reader) (*sheet, error) {
	data, err := io.ReadAll(io.LimitReader(r, maxSheet+1))
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	s := &sheet{faultsOf: faultsOf{file: name}}
	data = bytes.TrimPrefix(data, []byte("\ufeff"))
	if why := unreadable(data); why != "" {
		s.add(Fault{Want: why})
		return nil, s.err()
	}
	if !bytes.Contains(data, []byte("\n")) { // the rows end as they once did on a Mac
		data = bytes.ReplaceAll(data, []byte("\r"), []byte("\n"))
	}
	s.split(data)
	if len(s.header.cells) == 0 {
		s.add(Fault{Want: "the file is empty: its first row must name the columns"})
		return nil, s.err()
	}
	if s.kind = kindOf(s.header.cells); s.kind == noSheet {
		s.add(Fault{Row: s.header.n, Want: headerWanted})
		return nil, s.err()
	}
	return s, nil
}

// unreadable returns why a file is not CSV in UTF-8; it is empty if the file is.
func unreadable(data []byte) string {
	starts := func(with string) bool { return bytes.HasPrefix(data, []byte(with)) }
	switch {
	case len(data) > maxSheet:
		return fmt.Sprintf("the file is larger than %d MiB: split it", maxSheet>>20)
	case starts("PK\x03\x04"), starts("\xd0\xcf\x11\xe0"):
		return "the file is a spreadsheet's own: " + saveAs
	case starts("\xff\xfe"), starts("\xfe\xff"), bytes.IndexByte(data, 0) >= 0:
		return "the file is not UTF-8 but perhaps UTF-16: " + saveAs
	}
	for i, line := range bytes.Split(data, []byte("\n")) {
		if !utf8.Valid(line) {
			return fmt.Sprintf("line %d has letters that are not UTF-8: %s", i+1, saveAs)
		}
	}
	return ""
}

// split cuts data into a header and rows. Rows without content are left out,
// but counted.
func (s *sheet) split(data []byte) {
	r := csv.NewReader(bytes.NewReader(data))
	r.Comma = separator(data)
	r.FieldsPerRecord = -1
	r.TrimLeadingSpace = r.Comma != '\t'
	row, line, offset := 0, 1, int64(0)
	for {
		cells, err := r.Read()
		if errors.Is(err, io.EOF) {
			return
		}
		var at int
		broken, isBroken := errors.AsType[*csv.ParseError](err)
		if isBroken {
			at = broken.StartLine
		} else {
			at, _ = r.FieldPos(0)
		}
		row += 1 + at - line // lines that are empty are skipped, and are rows
		if isBroken {
			s.add(Fault{Row: row, Want: `a quotation mark stands alone from here on: put the whole cell in quotation marks, and double those in it, like "5.0"""`})
			return
		}
		line += bytes.Count(data[offset:r.InputOffset()], []byte("\n"))
		offset = r.InputOffset()
		for i, cell := range cells {
			cells[i] = unguard(tidy(cell))
		}
		next := sheetRow{row, cells}
		switch {
		case next.blank():
		case s.header.cells == nil:
			s.header = next
		default:
			s.rows = append(s.rows, next)
		}
	}
}

// separator returns what separates the names of the columns. No name has a comma,
// a semicolon or a tab in it.
func separator(data []byte) rune {
	for line := range bytes.Lines(data) {
		if len(bytes.Trim(line, ",;\t\" \r\n")) == 0 {
			continue
		}
		best, most := ',', 0
		for _, sep := range ",;\t" {
			if n := bytes.Count(line, []byte(string(sep))); n > most {
				best, most = sep, n
			}
		}
		return best
	}
	return ','
}

// tidy makes every kind of blank a plain one, and drops those at the ends.
func tidy(cell string) string {
	return strings.TrimSpace(strings.Map(func(r rune) rune {
		if unicode.Is(unicode.Zs, r) {
			return ' '
		}
		return r
	}, cell))
}

// formula has the characters with which a formula begins. Some spreadsheets
// accept the wide forms as well.
const formula = "=+-@＝＋－＠"

// wouldRun reports whether a spreadsheet would treat a cell as a formula. Some
// skip blanks and invisible characters first; leading apostrophes come from guard.
func wouldRun(cell string) bool {
	shown := strings.TrimLeftFunc(cell, func(r rune) bool {
		return r == '\'' || unicode.IsSpace(r) || unicode.Is(unicode.Cf, r)
	})
	first, _ := utf8.DecodeRuneInString(shown)
	return shown != "" && strings.ContainsRune(formula, first)
}

// guard puts an apostrophe before text that a spreadsheet would treat as a
// formula; unguard removes it.
func guard(cell string) string {
	if wouldRun(cell) {
		return "'" + cell
	}
	return cell
}

func unguard(cell string) string {
	if rest, guarded := strings.CutPrefix(cell, "'"); guarded && wouldRun(rest) {
		return rest
	}
	return cell
}
