package register

import (
	"encoding/csv"
	"io"
	"iter"
	"strings"
	"unicode"
)

// Dialect is how a spreadsheet program expects CSV and numbers, by the language
// that it is set to.
type Dialect struct {
	// DecimalComma is for the languages that write 16,5: the cells are then
	// parted by semicolons.
	DecimalComma bool
}

func (d Dialect) separator() rune {
	if d.DecimalComma {
		return ';'
	}
	return ','
}

// number writes the digits of a number in this dialect.
func (d Dialect) number(digits string) string {
	if d.DecimalComma {
		return strings.ReplaceAll(digits, ".", ",")
	}
	return digits
}

// writeTable writes rows as CSV (RFC 4180) that spreadsheet programs open without
// questions: UTF-8 with a byte order mark, lines that end in CRLF, and no cell that
// they would calculate. The numbers in the rows are in the dialect already.
func writeTable(w io.Writer, d Dialect, rows iter.Seq2[[]string, error]) error {
	// Without this mark, some spreadsheets assume an older encoding.
	if _, err := io.WriteString(w, "\ufeff"); err != nil {
		return err
	}
	out := csv.NewWriter(w)
	out.Comma, out.UseCRLF = d.separator(), true
	for row, err := range rows {
		if err != nil {
			out.Flush()
			return err
		}
		cells := make([]string, len(row))
		for i, cell := range row {
			cells[i] = plainCell(cell)
		}
		if err := out.Write(cells); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}

// plainCell makes a cell plain text: valid UTF-8 without control characters, and
// guarded if a spreadsheet would treat it as a formula.
func plainCell(cell string) string {
	cell = strings.NewReplacer("\r\n", "\n", "\r", "\n").Replace(strings.ToValidUTF8(cell, "\ufffd"))
	return guard(strings.Map(func(r rune) rune {
		if unicode.IsControl(r) && r != '\n' && r != '\t' {
			return -1
		}
		return r
	}, cell))
}
