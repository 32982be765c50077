package register

import (
	"archive/zip"
	"bytes"
	"encoding/xml"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"benchbell/core"
)

// What is exported as CSV, opened in a real spreadsheet program.

// A workbook is what a spreadsheet program made of a CSV file: its cells, as
// the text or the number that they show, and the formulas in them.
type workbook struct {
	cells    map[string]string
	formulas []string
}

// spreadsheet opens CSV files in a real spreadsheet program, as read in a
// language.
func spreadsheet(t *testing.T, files map[string][]byte, separator rune, language int) map[string]workbook {
	t.Helper()
	program := needs(t, "soffice", "libreoffice-calc-nogui")
	dir := t.TempDir()
	// Its filter options: separator, quotation mark, UTF-8, first row 1, no
	// column formats, language, text in quotation marks may be a number,
	// special numbers are recognised, and, last, formulas are worked out.
	options := fmt.Sprintf("CSV:%d,34,76,1,,%d,false,true,false,false,false,-1,true", separator, language)
	args := []string{
		"-env:UserInstallation=file://" + filepath.Join(dir, "profile"),
		"--headless", "--infilter=" + options, "--convert-to", "xlsx", "--outdir", dir,
	}
	for name, data := range files {
		path := filepath.Join(dir, name+".csv")
		if err := os.WriteFile(path, data, 0o644); err != nil {
			t.Fatal(err)
		}
		args = append(args, path)
	}
	if out, err := exec.CommandContext(t.Context(), program, args...).CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	books := make(map[string]workbook)
	for name := range files {
		books[name] = readWorkbook(t, filepath.Join(dir, name+".xlsx"))
	}
	return books
}

// readWorkbook reads the first sheet of a workbook (ECMA-376, part 1, 18.3 and
// 18.4).
func readWorkbook(t *testing.T, path string) workbook {
	t.Helper()
	book, err := zip.OpenReader(path)
	if err != nil {
		t.Fatal(err)
	}
	defer book.Close()
	read := func(name string, into any) {
		f, err := book.Open(name)
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		if err := xml.NewDecoder(f).Decode(into); err != nil {
			t.Fatal(err)
		}
	}
	var strs struct {
		Items []struct {
			Text string   `xml:"t"`
			Runs []string `xml:"r>t"`
		} `xml:"si"`
	}
	var sheet struct {
		Cells []struct {
			Ref     string  `xml:"r,attr"`
			Type    string  `xml:"t,attr"`
			Formula *string `xml:"f"`
			Value   string  `xml:"v"`
		} `xml:"sheetData>row>c"`
	}
	read("xl/sharedStrings.xml", &strs)
	read("xl/worksheets/sheet1.xml", &sheet)
	made := workbook{cells: make(map[string]string)}
	for _, c := range sheet.Cells {
		if c.Formula != nil {
			made.formulas = append(made.formulas, c.Ref+": "+*c.Formula)
		}
		if c.Type != "s" {
			made.cells[c.Ref] = c.Type + ":" + c.Value
			continue
		}
		i, err := strconv.Atoi(c.Value)
		if err != nil {
			t.Fatal(err)
		}
		made.cells[c.Ref] = strs.Items[i].Text + strings.Join(strs.Items[i].Runs, "")
	}
	return made
}

// The languages by Microsoft's identifiers, which the program takes.
const (
	english = 1033
	german  = 1031
)

// TestSpreadsheet opens all that is exported as CSV in a real spreadsheet
// program: numbers and days are such, and nothing is worked out that people
// typed, whatever it begins with.
func TestSpreadsheet(t *testing.T) {
	leaveOutInShort(t)
	at := time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)
	typed := append([]string{"Ærøskøbing, Łódź, Καλημέρα, Щёлково", "two\nlines", `"quoted"`, "'quoted'", "16,5; 16.5", "+49 30 1234", "- left glove"}, hostile...)
	var entries []core.Entry
	var suits []core.Suit
	var gauges []core.Manometer
	var tests []PastTest
	day := core.Date{Year: 2026, Month: time.March, Day: 2}
	for i, cell := range typed {
		entries = append(entries, core.Entry{Seq: uint64(i + 1), At: at, By: core.Person{ID: "bench.tester", Name: "bench.tester"}, Suit: "HP-07", Run: 1, Fact: core.Noted{Text: cell}})
		suits = append(suits, core.Suit{Tag: fmt.Sprintf("HP-%02d", i), Serial: cell, Maker: cell, Material: cell, Made: day, Fittings: core.Fittings{ExhaustValves: 2}, Remarks: cell})
		gauges = append(gauges, core.Manometer{ID: fmt.Sprintf("M-%d", i), Maker: cell, Unit: core.Mbar, Resolution: core.MustWrite("0.01", core.Mbar)})
		tests = append(tests, PastTest{Suit: "HP-07", Test: core.PaperTest{
			Day: day, Method: "en943", Start: core.MustWrite("16.5", core.Mbar), End: core.MustWrite("15.2", core.Mbar), Hold: 390 * time.Second, Tester: cell,
		}})
	}
	for _, c := range []struct {
		d        Dialect
		language int
		point    string // between the digits of what is no number but a pressure
	}{{Dialect{}, english, "."}, {Dialect{DecimalComma: true}, german, ","}} {
		files := make(map[string][]byte)
		for name, write := range map[string]func(io.Writer) error{
			"journal":    func(w io.Writer) error { return WriteJournal(w, sequence(entries, nil), time.UTC, c.d) },
			"suits":      func(w io.Writer) error { return WriteSuits(w, suits, c.d) },
			"manometers": func(w io.Writer) error { return WriteManometers(w, gauges, c.d) },
			"tests":      func(w io.Writer) error { return WriteTests(w, tests, c.d) },
		} {
			var out bytes.Buffer
			if err := write(&out); err != nil {
				t.Fatal(err)
			}
			files[name] = out.Bytes()
		}
		books := spreadsheet(t, files, c.d.separator(), c.language)
		for name, book := range books {
			if len(book.formulas) > 0 {
				t.Errorf("language %d: formulas in %s: %q", c.language, name, book.formulas)
			}
		}
		check := func(name, ref, want string) {
			t.Helper()
			if got := books[name].cells[ref]; got != want {
				t.Errorf("language %d: %s of %s is %q, want %q", c.language, ref, name, got, want)
			}
		}
		for name, header := range map[string][]string{
			"journal": journalHeader(time.UTC), "suits": columnNames(suitColumns), "manometers": columnNames(manometerColumns), "tests": columnNames(testColumns),
		} {
			for i, column := range header {
				check(name, letters(i)+"1", column)
			}
		}
		column := func(name string, names []string) string { return letters(slices.Index(names, name)) }
		suit := func(name string) string { return column(name, columnNames(suitColumns)) }
		gauge := func(name string) string { return column(name, columnNames(manometerColumns)) }
		test := func(name string) string { return column(name, columnNames(testColumns)) }
		for i, cell := range typed {
			row, want := strconv.Itoa(i+2), plainCell(cell)
			// Day 46083 from 1899-12-30 is 2026-03-02.
			check("journal", "A"+row, "n:"+strconv.Itoa(i+1))
			check("journal", "B"+row, "n:46083.5")
			check("journal", "C"+row, "HP-07")
			check("journal", "F"+row, "note")
			check("journal", "G"+row, want)
			check("suits", suit("tag")+row, suits[i].Tag)
			check("suits", suit("serial")+row, want)
			check("suits", suit("maker")+row, want)
			check("suits", suit("material")+row, want)
			check("suits", suit("made")+row, "n:46083")
			check("suits", suit("exhaust_valves")+row, "n:2")
			check("suits", suit("remarks")+row, want)
			check("manometers", gauge("maker")+row, want)
			check("manometers", gauge("resolution")+row, "0"+c.point+"01 mbar")
			check("tests", test("date")+row, "n:46083")
			check("tests", test("start")+row, "16"+c.point+"5 mbar")
			check("tests", test("minutes")+row, "n:6.5")
			check("tests", test("tester")+row, want)
		}
	}
}

// The test above can fail: the same cells, not guarded, are worked out.
func TestSpreadsheetWorksOutFormulas(t *testing.T) {
	leaveOutInShort(t)
	book := spreadsheet(t, map[string][]byte{"table": []byte("a,b\r\n=1+1,x\r\n")}, ',', english)["table"]
	if len(book.formulas) != 1 || book.cells["A2"] != "n:2" {
		t.Errorf("cells %q, formulas %q", book.cells, book.formulas)
	}
}

// needs returns the path of a program that a test needs, and that is in a
// package of Debian's. Where it is not installed the test is skipped, except
// where everything must be tested.
func needs(t *testing.T, program, in string) string {
	t.Helper()
	path, err := exec.LookPath(program)
	switch {
	case err == nil:
		return path
	case os.Getenv("CI") == "true":
		t.Fatalf("%s is not installed: on Debian it is in %s", program, in)
	default:
		t.Skipf("%s is not installed: on Debian it is in %s", program, in)
	}
	return ""
}

// leaveOutInShort skips a test that takes long and has nothing to race.
func leaveOutInShort(t *testing.T) {
	t.Helper()
	if testing.Short() {
		t.Skip("left out by -short")
	}
}
