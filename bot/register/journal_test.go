package register

import (
	"bytes"
	"encoding/csv"
	"errors"
	"go/ast"
	"go/parser"
	"go/token"
	"io"
	"iter"
	"path/filepath"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"benchbell/core"
)

// factsOfCore names the types of core that are facts.
func factsOfCore(t *testing.T) []string {
	t.Helper()
	paths, err := filepath.Glob(filepath.Join("..", "..", "core", "*.go"))
	if err != nil {
		t.Fatal(err)
	}
	var facts []string
	for _, path := range paths {
		f, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.SkipObjectResolution)
		if err != nil {
			t.Fatal(err)
		}
		for _, decl := range f.Decls {
			if f, ok := decl.(*ast.FuncDecl); ok && f.Name.Name == "fact" && f.Recv != nil {
				facts = append(facts, f.Recv.List[0].Type.(*ast.Ident).Name)
			}
		}
	}
	if len(facts) < 10 {
		t.Fatalf("only %d facts were found in core", len(facts))
	}
	slices.Sort(facts)
	return facts
}

// Every type of core that is a fact has words in the table, and its own.
func TestEveryFactHasWords(t *testing.T) {
	var worded, whats []string
	for _, fw := range journalWords {
		worded, whats = append(worded, fw.fact.Name()), append(whats, fw.what)
		// A fact without anything in it is worded as well.
		if fw.what == "" || slices.Contains(whats[:len(whats)-1], fw.what) {
			t.Errorf("%v is called %q", fw.fact, fw.what)
		}
		journalRow(core.Entry{Fact: reflect.Zero(fw.fact).Interface().(core.Fact)}, time.UTC, Dialect{})
	}
	slices.Sort(worded)
	if facts := factsOfCore(t); !slices.Equal(worded, facts) {
		t.Errorf("facts of core, and those with words in table.go:\n%q\n%q", facts, worded)
	}
}

func TestJournalRow(t *testing.T) {
	london, err := time.LoadLocation("Europe/London")
	if err != nil {
		t.Fatal(err)
	}
	at := time.Date(2026, 6, 2, 8, 30, 15, 0, time.UTC) // 09:30:15 in London
	mbar := func(digits string) core.Written { return core.MustWrite(digits, core.Mbar) }
	reading := func(n int, digits string, after time.Duration) core.Reading {
		return core.Reading{N: n, Written: mbar(digits), Posted: at.Add(after), Taken: at.Add(after), Manometer: "M-1"}
	}
	late := reading(3, "14.9", 7*time.Minute)
	late.Taken = at.Add(6 * time.Minute)
	gauge := core.Manometer{ID: "M-1", Unit: core.Mbar, Resolution: mbar("0.01"), CalibratedUntil: core.Date{Year: 2026, Month: 12, Day: 31}}
	suit := core.Suit{
		Tag: "HP-07", Model: "X1.5", Size: "L", Place: "rack 2; left", Method: "osha",
		MakerA: core.MustWrite("5.0", core.InH2O), MakerB: core.MustWrite("4.0", core.InH2O), Fittings: core.Fittings{ExhaustValves: 2},
	}
	verdict := core.Verdict{
		Outcome: core.Fail, Reason: core.OnTime, Start: reading(2, "16.50", 0), End: late,
		Drop: mbar("3.001").Pressure(), Allowed: mbar("3.0").Pressure(), Expanded: mbar("0.2").Pressure(),
	}
	for _, c := range []struct {
		fact          core.Fact
		what, details string
		comma         string // details with decimal comma, if they are others
	}{
		{
			core.SuitRegistered{Suit: suit},
			"suit registered",
			"tag HP-07; model X1.5; size L; place rack 2; left; glove_rings no; exhaust_valves 2; ventilating_valve no; pass_through no; method osha; maker_a 5.0 in; maker_b 4.0 in",
			"tag HP-07; model X1.5; size L; place rack 2; left; glove_rings no; exhaust_valves 2; ventilating_valve no; pass_through no; method osha; maker_a 5,0 in; maker_b 4,0 in",
		},
		{
			core.ManometerRegistered{Manometer: gauge},
			"manometer registered",
			"id M-1; unit mbar; resolution 0.01 mbar; calibrated_until 2026-12-31", "id M-1; unit mbar; resolution 0,01 mbar; calibrated_until 2026-12-31",
		},
		{core.Used{When: at, Note: "tank 1.2"}, "used", "2026-06-02 09:30:15; tank 1.2", ""},
		{core.Used{When: at}, "used", "2026-06-02 09:30:15", ""},
		{core.Repaired{What: "new zipper"}, "repaired", "new zipper", ""},
		{core.Found{What: "=1+1"}, "defect found", "=1+1", ""},
		{core.Withdrawn{Why: "on loan"}, "withdrawn", "on loan", ""},
		{core.Retired{Why: "torn"}, "retired", "torn", ""},
		{core.Released{}, "released", "", ""},
		{
			core.CapacityMeasured{Capacity: core.Capacity{Day: core.Date{Year: 2026, Month: 6, Day: 2}, Litres: "2.5", From: mbar("15.0"), To: mbar("16.2")}},
			"capacity measured",
			"2.5 L took it from 15.0 mbar to 16.2 mbar, 2026-06-02", "2,5 L took it from 15,0 mbar to 16,2 mbar, 2026-06-02",
		},
		{
			core.CapacityMeasured{Capacity: core.Capacity{
				Day: core.Date{Year: 2026, Month: 6, Day: 2}, Litres: "2.5", From: mbar("15.0"), To: mbar("16.2"),
				Manometer: "M-1", By: core.Person{ID: "u1", Name: "bench.tester"}, Room: core.MustWrite("1013.2", core.HPa), Fell: mbar("0.18").Pressure(),
			}},
			"capacity measured",
			"2.5 L took it from 15.0 mbar to 16.2 mbar, 2026-06-02; M-1; bench.tester; 1013.2 hPa; by itself it fell 18.0 Pa",
			"2,5 L took it from 15,0 mbar to 16,2 mbar, 2026-06-02; M-1; bench.tester; 1013,2 hPa; by itself it fell 18,0 Pa",
		},
		{core.MeteringBegun{}, "capacity begun", "", ""},
		{core.MeteringRead{Reading: reading(1, "15.06", 0)}, "capacity reading", "before the air: 15.06 mbar; M-1", "before the air: 15,06 mbar; M-1"},
		{core.AirAdded{Litres: "2.5"}, "air added", "2.5 L", "2,5 L"},
		{core.MeteringCorrected{N: 2, Written: mbar("16.1")}, "capacity reading corrected", "after the air: 16.1 mbar", "after the air: 16,1 mbar"},
		{core.MeteringLeft{}, "capacity left", "", ""},
		{core.MeteringLeft{TooHigh: mbar("18.2")}, "capacity left", "18.2 mbar was too high", "18,2 mbar was too high"},
		{
			core.PaperTest{
				Day: core.Date{Year: 2025, Month: 3, Day: 2}, Method: "en943", Manometer: "M-1", Start: mbar("16.5"), End: mbar("14.9"),
				Hold: 6*time.Minute + 30*time.Second, Tester: "bench.tester", Outcome: core.Pass, Reason: core.OnTime,
			},
			"test on paper",
			"pass: read at the bell; 16.5 mbar → 14.9 mbar in 6.5 min; method en943; M-1; bench.tester; 2025-03-02",
			"pass: read at the bell; 16,5 mbar → 14,9 mbar in 6,5 min; method en943; M-1; bench.tester; 2025-03-02",
		},
		{core.Opened{Method: core.Method{Key: "en943", Source: "EN 943-1"}, Manometer: gauge}, "run opened", "method en943; EN 943-1; manometer M-1", ""},
		{core.Ticked{Items: []int{1, 2, 10}}, "ticked", "1, 2, 10 on the list", ""},
		{core.Ticked{Items: []int{3}, ByTap: true}, "ticked", "3 on the list, by tap", ""},
		{core.Unticked{Items: []int{3}}, "tick taken back", "3 on the list", ""},
		{core.DefectSeen{Item: 2, What: "hole in left glove"}, "defect seen", "2 on the list; hole in left glove", ""},
		{core.Taken{Reading: reading(2, "16.50", 0)}, "reading", "number 2: 16.50 mbar; M-1", "number 2: 16,50 mbar; M-1"},
		{core.Taken{Reading: late}, "reading", "number 3: 14.9 mbar; M-1; counts as of 2026-06-02 09:36:15", "number 3: 14,9 mbar; M-1; counts as of 2026-06-02 09:36:15"},
		{core.Questioned{Reading: reading(2, "1650", 0), Perhaps: core.Pa}, "reading asked about", "number 2: 1650 mbar; M-1; perhaps Pa", ""},
		{core.Corrected{N: 2, Written: mbar("16.4")}, "reading corrected", "number 2: 16.4 mbar", "number 2: 16,4 mbar"},
		{core.ExpansionStarted{N: 1}, "expansion begun", "by reading 1", ""},
		{core.ExpansionVoid{}, "expansion void", "the pressure was not held", ""},
		{core.HoldStarted{N: 2}, "hold begun", "by reading 2", ""},
		{core.HoldVoid{}, "hold void", "the start was out of tolerance", ""},
		{core.HoldResumed{}, "hold resumed", "the verdict is taken back", ""},
		{core.Rung{Bell: core.BellHold, Due: at}, "bell", "hold; due 2026-06-02 09:30:15", ""},
		{core.Rung{Bell: core.BellLook, Due: at, Quiet: true}, "bell", "look; due 2026-06-02 09:30:15; too late, not said", ""},
		{
			core.Judged{Verdict: verdict},
			"verdict", // the limit must not look like the drop
			"fail: read at the bell; rules 1; 16.50 mbar → 14.9 mbar in 6 min; drop 3.001 mbar, limit 3.000 mbar; known to ± 0.2 mbar",
			"fail: read at the bell; rules 1; 16,50 mbar → 14,9 mbar in 6 min; drop 3,001 mbar, limit 3,000 mbar; known to ± 0,2 mbar",
		},
		{core.Judged{Verdict: core.Verdict{Outcome: core.Fail, Reason: core.DefectByEye, Defect: "-hole"}}, "verdict", "fail: defect seen; rules 1; -hole", ""},
		{core.Stopped{Why: "called out"}, "stopped", "called out", ""},
		{core.Again{}, "again", "", ""},
		{core.HandedOver{To: core.Person{Name: "second.tester"}}, "handed over", "to second.tester", ""},
		{core.ManometerChosen{Manometer: gauge}, "manometer chosen", "M-1, reads in mbar", ""},
		{core.AirNoted{Celsius: "-3.5"}, "air at the suit", "-3.5 °C", "-3,5 °C"},
		{core.BaroNoted{Written: core.MustWrite("1013.2", core.HPa)}, "barometer", "1013.2 hPa", "1013,2 hPa"},
		{core.LeakFound{Where: "seam, left knee"}, "leak found", "seam, left knee", ""},
		{core.Noted{Text: "two\nlines, 1.5"}, "note", "two\nlines, 1.5", ""},
		{
			core.PhotoPosted{File: "f1", Name: "IMG_1.jpg", Size: 970, Caption: "worn", With: core.Link{To: core.WithReading, N: 3, Phase: core.Hold}},
			"photo posted", "IMG_1.jpg; with reading 3; worn; 970 bytes; file f1", "",
		},
		{core.PhotoKept{File: "f1", Type: "image/jpeg", Sum: core.Sum{0xa1}}, "photo kept", "image/jpeg; SHA-256 a1" + strings.Repeat("0", 62) + "; file f1", ""},
		{core.PhotoLost{File: "f1", Why: core.PhotoGone}, "photo not kept", "the chat server does not have the file any more; file f1", ""},
		{core.Closed{}, "run closed", "nothing is left in the suit", ""},
	} {
		e := core.Entry{Seq: 17, At: at, By: core.Person{ID: "u1", Name: "bench.tester"}, Event: "p1", Suit: "HP-07", Run: 42, Fact: c.fact}
		want := []string{"17", "2026-06-02 09:30:15", "HP-07", "R-0042", "bench.tester", c.what, c.details}
		if got := journalRow(e, london, Dialect{}); !slices.Equal(got, want) {
			t.Errorf("%T:\n got %q\nwant %q", c.fact, got, want)
		}
		if c.comma != "" {
			want[6] = c.comma
		}
		if got := journalRow(e, london, Dialect{DecimalComma: true}); !slices.Equal(got, want) {
			t.Errorf("%T with decimal comma:\n got %q\nwant %q", c.fact, got, want)
		}
	}
	bare := journalRow(core.Entry{Seq: 1, At: at, Fact: core.Released{}}, time.UTC, Dialect{})
	if want := []string{"1", "2026-06-02 08:30:15", "", "", "", "released", ""}; !slices.Equal(bare, want) {
		t.Errorf("an entry with nothing: %q, want %q", bare, want)
	}
}

// writeAll writes rows that are all there already.
func writeAll(w io.Writer, rows [][]string, d Dialect) error {
	return writeTable(w, d, func(yield func([]string, error) bool) {
		for _, row := range rows {
			if !yield(row, nil) {
				return
			}
		}
	})
}

func TestWriteTable(t *testing.T) {
	rows := [][]string{
		{"entry", "what, and more", "details; all"},
		{"1", "note", "two\nlines \"so\""},
		{"2", "=1+1", "-0.5"},
	}
	for _, c := range []struct {
		d    Dialect
		want string
	}{
		{Dialect{}, "\ufeffentry,\"what, and more\",details; all\r\n1,note,\"two\r\nlines \"\"so\"\"\"\r\n2,'=1+1,'-0.5\r\n"},
		{Dialect{DecimalComma: true}, "\ufeffentry;what, and more;\"details; all\"\r\n1;note;\"two\r\nlines \"\"so\"\"\"\r\n2;'=1+1;'-0.5\r\n"},
	} {
		var out bytes.Buffer
		if err := writeAll(&out, rows, c.d); err != nil || out.String() != c.want {
			t.Errorf("%+v: %v\n got %q\nwant %q", c.d, err, out.String(), c.want)
		}
	}
	full := errors.New("no space left")
	if err := writeAll(broken{full}, rows, Dialect{}); !errors.Is(err, full) {
		t.Errorf("a writer that fails: %v", err)
	}
}

type broken struct{ err error }

func (b broken) Write([]byte) (int, error) { return 0, b.err }

// hostile are cells that somebody could try to run something by.
var hostile = []string{
	"=1+1", "+1+1", "-1+1", "@SUM(1)", "＝1+1", "＋1+1", "－1+1", "＠SUM(1)",
	" =1+1", "\t=1+1", "\n=1+1", "\r=1+1", "\u00a0=1+1", "\ufeff=1+1", "\u200b=1+1", "\x00=1+1", "\x1b=1+1",
	"'=1+1", "''=1+1", "=cmd|'/c calc'!A0", "=HYPERLINK(\"http://x.invalid\";\"look\")", "-2+3+cmd|' /C calc'!A0",
	"\xff=1+1", "x\n=1+1", "x\",=1+1", "\"=1+1\"", "x;=1+1", "x\r\n=1+1,=1+1",
}

// No cell is a formula, whatever is in it, and each is one cell again.
func TestHostileCells(t *testing.T) {
	for _, d := range []Dialect{{}, {DecimalComma: true}} {
		var out bytes.Buffer
		var rows [][]string
		for i, cell := range hostile {
			rows = append(rows, []string{strconv.Itoa(i), cell, "end"})
		}
		if err := writeAll(&out, rows, d); err != nil {
			t.Fatal(err)
		}
		r := csv.NewReader(strings.NewReader(strings.TrimPrefix(out.String(), "\ufeff")))
		r.Comma, r.FieldsPerRecord = d.separator(), 3
		read, err := r.ReadAll()
		if err != nil || len(read) != len(rows) {
			t.Fatalf("%d rows, want %d, %v", len(read), len(rows), err)
		}
		for i, row := range read {
			if row[0] != strconv.Itoa(i) || row[2] != "end" {
				t.Errorf("%q became %q", hostile[i], row)
			}
			if first := strings.TrimSpace(strings.Trim(row[1], "\ufeff\u200b")); strings.ContainsAny(first[:1], "=+-@") || strings.ContainsAny(string([]rune(first)[:1]), "＝＋－＠") {
				t.Errorf("%q may be worked out: %q", hostile[i], row[1])
			}
		}
	}
}

// No cell begins, for any program, as a formula does, and what is written is
// read back.
func FuzzPlainCell(f *testing.F) {
	for _, cell := range append(hostile, "rack 2", "M-2", "16.5 mbar", "é冬🧤", "") {
		f.Add(cell)
	}
	f.Fuzz(func(t *testing.T, cell string) {
		var out bytes.Buffer
		if err := writeAll(&out, [][]string{{"x", cell, "y"}}, Dialect{}); err != nil {
			t.Fatal(err)
		}
		rows, err := csv.NewReader(strings.NewReader(strings.TrimPrefix(out.String(), "\ufeff"))).ReadAll()
		if err != nil || len(rows) != 1 || len(rows[0]) != 3 {
			t.Fatalf("%q became %q, %v", cell, rows, err)
		}
		got := rows[0][1]
		if wouldRun(got) && !strings.HasPrefix(got, "'") {
			t.Errorf("%q may be worked out: %q", cell, got)
		}
		if want := plainCell(cell); got != want {
			t.Errorf("%q is read back as %q, want %q", cell, got, want)
		}
	})
}

// sequence yields entries, then an error if it is not nil.
func sequence(entries []core.Entry, err error) iter.Seq2[core.Entry, error] {
	return func(yield func(core.Entry, error) bool) {
		for _, e := range entries {
			if !yield(e, nil) {
				return
			}
		}
		if err != nil {
			yield(core.Entry{}, err)
		}
	}
}

func TestWriteJournal(t *testing.T) {
	at := time.Date(2026, 3, 2, 8, 30, 0, 0, time.UTC)
	entries := []core.Entry{
		{Seq: 1, At: at, By: core.Person{ID: "bench.tester", Name: "bench.tester"}, Suit: "HP-07", Run: 1, Fact: core.Noted{Text: "=1+1"}},
		{Seq: 2, At: at.Add(time.Second), By: core.Person{ID: "bench.tester", Name: "bench.tester"}, Suit: "HP-07", Run: 1, Fact: core.AirNoted{Celsius: "21.5"}},
	}
	const want = "\ufeffentry;moment (UTC);suit;run;person;what;details\r\n" +
		"1;2026-03-02 08:30:00;HP-07;R-0001;bench.tester;note;'=1+1\r\n" +
		"2;2026-03-02 08:30:01;HP-07;R-0001;bench.tester;air at the suit;21,5 °C\r\n"
	var out bytes.Buffer
	if err := WriteJournal(&out, sequence(entries, nil), time.UTC, Dialect{DecimalComma: true}); err != nil || out.String() != want {
		t.Errorf("%v\n got %q\nwant %q", err, out.String(), want)
	}
	out.Reset()
	damaged := errors.New("damaged")
	if err := WriteJournal(&out, sequence(entries[:1], damaged), time.UTC, Dialect{}); !errors.Is(err, damaged) || strings.Count(out.String(), "\r\n") != 2 {
		t.Errorf("%v after %q", err, out.String())
	}
}
