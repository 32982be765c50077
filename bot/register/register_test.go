package register_test

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"slices"
	"strconv"
	"strings"
	"testing"
	"testing/fstest"
	"time"
	_ "time/tzdata" // zones on machines that have none
	"unicode/utf16"

	"benchbell/bot/register"
	"benchbell/core"
	"benchbell/testdata/demo"
)

func date(t testing.TB, s string) core.Date {
	t.Helper()
	d, err := core.ParseDate(s)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// station knows the built-in methods, two suits and two manometers, and has
// the second of March 2026.
func station(t testing.TB) register.Known {
	t.Helper()
	return register.Known{
		Today:   date(t, "2026-03-02"),
		Methods: core.BuiltIn(),
		Suits: []core.Suit{
			{Tag: "HP-90", Made: date(t, "2020-01-15"), Method: "en943"},
			{Tag: "HP-91", Method: "osha", MakerA: core.MustWrite("5.0", core.InH2O), MakerB: core.MustWrite("4.0", core.InH2O)},
		},
		Manometers: []core.Manometer{
			{ID: "M-1", Unit: core.Mbar, Resolution: core.MustWrite("0.01", core.Mbar), CalibratedUntil: core.Date{Year: 2026, Month: 2, Day: 28}},
			{ID: "M-2", Unit: core.MmH2O, Resolution: core.MustWrite("0.1", core.MmH2O), CalibratedUntil: core.Date{Year: 2026, Month: 2, Day: 28}},
			{ID: "M-5", Unit: core.HPa, Resolution: core.MustWrite("0.1", core.HPa), CalibratedUntil: core.Date{Year: 2026, Month: 2, Day: 28}},
		},
	}
}

func read(t testing.TB, text string) (register.Register, error) {
	t.Helper()
	return register.Read("file.csv", strings.NewReader(text), station(t))
}

func TestReadSuits(t *testing.T) {
	got, err := read(t, strings.Join([]string{
		"tag,serial,model,size,place,made,in_service,end_of_life,glove_rings,exhaust_valves,ventilating_valve,pass_through,boots,method,interval,maker_a,maker_b,volume,remarks",
		`HP-07,007,Example G6,L,Station 1,2021-04-19,2021-11-02,2041-04-30,yes,2,Y,no,fixed,EN 943,P18M,5.0 in,"4,0""","412,5 ± 20 l","re-taped, left"`,
		"hp8,,,,,,,,TRUE,0,false,1,Socks,osha,,127 mm,100 mm,400,=1+1",
	}, "\n"))
	if err != nil {
		t.Fatal(err)
	}
	want := []core.Suit{
		{
			Tag: "HP-07", Serial: "007", Model: "Example G6", Size: "L", Place: "Station 1",
			Made: date(t, "2021-04-19"), InService: date(t, "2021-11-02"), EndOfLife: date(t, "2041-04-30"),
			Fittings: core.Fittings{GloveRings: true, ExhaustValves: 2, VentilatingValve: true, Boots: core.BootsFixed},
			Method:   "en943", Interval: core.Period{Months: 18},
			MakerA: core.MustWrite("5.0", core.InH2O), MakerB: core.MustWrite("4.0", core.InH2O),
			Volume: core.Volume{Litres: "412.5", Off: "20"}, Remarks: "re-taped, left",
		},
		{
			Tag:      "hp8",
			Fittings: core.Fittings{GloveRings: true, PassThrough: true, Boots: core.Socks},
			Method:   "osha",
			MakerA:   core.MustWrite("127", core.MmH2O), MakerB: core.MustWrite("100", core.MmH2O),
			Volume: core.Volume{Litres: "400"}, Remarks: "=1+1",
		},
	}
	if !slices.Equal(got.Suits, want) {
		t.Errorf("read\n%+v\nwant\n%+v", got.Suits, want)
	}
}

// What a record of a test is asked to name of a suit and of a manometer has
// columns of its own: 29 CFR 1910.120 App A, 8.1.1 and 8.1.3.
func TestReadWhatRecordsName(t *testing.T) {
	got, err := read(t, "tag,serial,Maker,model,material,purchased,exhaust_valves,method\nHP-01,A7,Example Suitworks,Example G6,butyl on polyamide,2021-05-13,2,en943\n")
	if err != nil {
		t.Fatal(err)
	}
	suits := []core.Suit{{
		Tag: "HP-01", Serial: "A7", Maker: "Example Suitworks", Model: "Example G6", Material: "butyl on polyamide",
		Purchased: date(t, "2021-05-13"), Fittings: core.Fittings{ExhaustValves: 2}, Method: "en943",
	}}
	if !slices.Equal(got.Suits, suits) {
		t.Errorf("read\n%+v\nwant\n%+v", got.Suits, suits)
	}
	got, err = read(t, "id,maker,serial,unit,resolution\nM-9,Example Gauges 10,EG-9,mbar,0.01\n")
	if err != nil {
		t.Fatal(err)
	}
	gauges := []core.Manometer{{ID: "M-9", Maker: "Example Gauges 10", Serial: "EG-9", Unit: core.Mbar, Resolution: core.MustWrite("0.01", core.Mbar)}}
	if !slices.Equal(got.Manometers, gauges) {
		t.Errorf("read\n%+v\nwant\n%+v", got.Manometers, gauges)
	}
	var out bytes.Buffer
	if err := errors.Join(register.WriteSuits(&out, suits, register.Dialect{}), register.WriteManometers(&out, gauges, register.Dialect{})); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"tag,serial,maker,model,material,", "HP-01,A7,Example Suitworks,Example G6,butyl on polyamide,,,,2021-05-13,", "M-9,Example Gauges 10,EG-9,mbar,0.01 mbar,"} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("%q is not in\n%s", want, out.String())
		}
	}
}

func TestReadManometers(t *testing.T) {
	got, err := read(t, "id,unit,resolution,permissible_error,calibrated_until\n"+
		"M-1,mbar,0.01,±0.05,2037-06-30\nM-2,mm w.g.,0.1,0.5 mm,\n3/a,inches,\"0,01\",0.05 mbar,2026-01-31\n")
	if err != nil {
		t.Fatal(err)
	}
	want := []core.Manometer{
		{ID: "M-1", Unit: core.Mbar, Resolution: core.MustWrite("0.01", core.Mbar), Permissible: core.MustWrite("0.05", core.Mbar), CalibratedUntil: date(t, "2037-06-30")},
		{ID: "M-2", Unit: core.MmH2O, Resolution: core.MustWrite("0.1", core.MmH2O), Permissible: core.MustWrite("0.5", core.MmH2O)},
		{ID: "3/a", Unit: core.InH2O, Resolution: core.MustWrite("0.01", core.InH2O), Permissible: core.MustWrite("0.05", core.Mbar), CalibratedUntil: date(t, "2026-01-31")},
	}
	if !slices.Equal(got.Manometers, want) {
		t.Errorf("read\n%+v\nwant\n%+v", got.Manometers, want)
	}
}

func TestReadTests(t *testing.T) {
	const header = "date,suit,method,manometer,start,end,minutes,tester\n"
	for _, tt := range []struct {
		RowOf   string
		outcome core.Outcome
		reason  core.Reason
	}{
		// EN 943-1: a drop of 3.0 mbar passes (limit from memory, as core says).
		{"2025-02-10,HP-90,en943,M-1,16.5,13.5,6,", core.Pass, core.OnTime},
		{"2025-02-10,HP-90,en943,M-1,16.5,13.49,6,", core.Fail, core.OnTime},
		{"2025-02-10,hp 90,EN-943,m1,16.50 mbar,16.1 hPa,6.5,@bench.tester", core.Pass, core.OnTime},
		{"2025-02-10,HP-90,en943,,16.5,16.1,6,", core.Pass, core.OnTime},
		{"2025-02-10,HP-90,en943,M-5,16.5,16.1,6,", core.Pass, core.OnTime}, // 1 hPa = 1 mbar
		{"2025-02-10,HP-90,en943,M-2,168.3 mm,160 mm,6,", core.Pass, core.OnTime},
		{"2026-03-01,HP-90,en943,M-1,16.5,16.1,6,", core.NoVerdict, core.ManometerStale}, // lapsed the day before
		{"2025-02-10,HP-90,en943,M-1,17.01,16.1,6,", core.NoVerdict, core.StartOutside},
		{"2025-02-10,HP-90,en943,M-1,16.5,16.7,6,", core.NoVerdict, core.Rise},
		{"2025-02-10,HP-90,en943,M-1,16.5,16.1,5.99,", core.NoVerdict, core.CutShort},
		{"2025-02-10,HP-90,en943,M-1,16.5,13.0,5,", core.Fail, core.EarlyBeyond},
		{"2025-02-10,HP-90,en943,M-1,16.5,13.0,8,", core.NoVerdict, core.LateBeyond},
		{"2026-03-02,HP-90,en943,M-1,16.5,0,6,", core.Fail, core.OnTime},
		// 29 CFR 1910.120 App A: C of at least 80 % of B (read second-hand, as core says).
		{"2020-01-01,HP-91,osha,,4.0 in,3.2 in,3,", core.Pass, core.OnTime},
		{"2020-01-01,HP-91,osha,,4.0 in,3.19 in,3,", core.Fail, core.OnTime},
		{"2020-02-01,HP-90,osha,,2.0 in,1.6 in,3,", core.NoVerdict, core.StartOutside}, // no maker's pressures known
		// NFPA 1991: 80 mm at the least (from memory, as core says).
		{"2020-02-01,HP-90,f1052,M-2,100,80,4,", core.Pass, core.OnTime},
		{"2020-02-01,HP-90,f1052,M-2,100,79.9,4,", core.Fail, core.OnTime},
	} {
		got, err := read(t, header+tt.RowOf)
		if err != nil {
			t.Errorf("%s: %v", tt.RowOf, err)
			continue
		}
		if test := got.Tests[0].Test; test.Outcome != tt.outcome || test.Reason != tt.reason {
			t.Errorf("%s: %s, %s; want %s, %s", tt.RowOf, test.Outcome, test.Reason, tt.outcome, tt.reason)
		}
	}

	got, err := read(t, header+"2025-02-10,hp 90,EN-943,m1,16.50,16.1 hPa,\"6,5\",@bench.tester\n")
	if err != nil {
		t.Fatal(err)
	}
	want := register.PastTest{Suit: "HP-90", Test: core.PaperTest{
		Day: date(t, "2025-02-10"), Method: "en943", Manometer: "M-1",
		Start: core.MustWrite("16.50", core.Mbar), End: core.MustWrite("16.1", core.HPa), Hold: 6*time.Minute + 30*time.Second,
		Tester: "bench.tester", Outcome: core.Pass, Reason: core.OnTime, Rules: core.Rules,
	}}
	if len(got.Tests) != 1 || got.Tests[0] != want {
		t.Errorf("read\n%+v\nwant\n%+v", got.Tests, want)
	}
}

// The same file as different spreadsheets save it.
func TestDialects(t *testing.T) {
	const plain = "tag,exhaust_valves,method,place,maker_a,maker_b,remarks\n" +
		"HP-01,2,en943,Store,5.0 in,4.0 in,\"blue; left, \"\"old\"\"\"\n" +
		"HP-02,3,f1052,Größe 2,,,\n"
	want, err := read(t, plain)
	if err != nil {
		t.Fatal(err)
	}
	if len(want.Suits) != 2 || want.Suits[0].Remarks != `blue; left, "old"` {
		t.Fatalf("read %+v", want.Suits)
	}
	for name, text := range map[string]string{
		"byte order mark":  "\ufeff" + plain,
		"CRLF":             strings.ReplaceAll(plain, "\n", "\r\n"),
		"CR":               strings.ReplaceAll(plain, "\n", "\r"),
		"no end of line":   strings.TrimSuffix(plain, "\n"),
		"all cells quoted": "\"tag\",\"exhaust_valves\",\"method\",\"place\",\"maker_a\",\"maker_b\",\"remarks\"\n\"HP-01\",\"2\",\"en943\",\"Store\",\"5.0 in\",\"4.0 in\",\"blue; left, \"\"old\"\"\"\n\"HP-02\",\"3\",\"f1052\",\"Größe 2\",\"\",\"\",\"\"\n",
		"semicolons and decimal commas": "\ufefftag;exhaust_valves;method;place;maker_a;maker_b;remarks\r\n" +
			"HP-01;2;en943;Store;5,0 in;4,0 in;\"blue; left, \"\"old\"\"\"\r\nHP-02;3;f1052;Größe 2;;;\r\n",
		"tabs": "tag\texhaust_valves\tmethod\tplace\tmaker_a\tmaker_b\tremarks\n" +
			"HP-01\t2\ten943\tStore\t5.0 in\t4.0 in\t\"blue; left, \"\"old\"\"\"\nHP-02\t3\tf1052\tGröße 2\t\t\t\n",
		"columns in another order": "Remarks,Method,MAKER B,Maker_A, place ,ExhaustValves,Tag\n" +
			"\"blue; left, \"\"old\"\"\",en943,4.0 in,5.0 in,Store,2,HP-01\n,f1052,,,Größe 2,3,HP-02\n",
		"empty rows and columns": ",,,,,,,,\ntag,,exhaust valves,method,place,maker-a,maker-b,remarks,,\n\n" +
			"HP-01,,2,en943,Store,5.0 in,4.0 in,\"blue; left, \"\"old\"\"\",,,,\n,,,,,,,,\nHP-02,,3,f1052,Größe 2\n,,,,,,,\n\n\n",
		"no-break blanks": "tag\u00a0,exhaust\u202fvalves,method,place,maker_a,maker_b,remarks\n" +
			"\u00a0HP-01\u00a0,2\u00a0,en943,Store,5.0\u00a0in,\u2007 4.0 in,\"blue;\u00a0left, \"\"old\"\"\"\nHP-02,3, \u00a0f1052,Größe\u202f2,\u00a0,,\n",
		"blanks after commas": "tag, exhaust_valves, method, place, maker_a, maker_b, remarks\n" +
			"HP-01, 2, en943, Store, 5.0 in, 4.0 in, \"blue; left, \"\"old\"\"\"\nHP-02, 3, f1052, Größe 2, , , \n",
	} {
		got, err := read(t, text)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if !slices.Equal(got.Suits, want.Suits) {
			t.Errorf("%s: read\n%+v\nwant\n%+v", name, got.Suits, want.Suits)
		}
	}
}

// Each fault is said with its place, what is there, and what is accepted.
func TestFaults(t *testing.T) {
	suit := func(columns, cells string) string {
		return "tag,exhaust_valves,method," + columns + "\nHP-01,2,en943," + cells
	}
	gauge := func(cells string) string {
		return "id,unit,resolution,permissible_error,calibrated_until\n" + cells
	}
	test := func(cells string) string {
		return "date,suit,method,manometer,start,end,minutes,tester\n" + cells
	}
	for _, tt := range []struct{ text, say string }{
		{"tag,exhaust_valves,method\n,2,en943", `row 2, tag: empty: must be filled in`},
		{"tag,exhaust_valves,method\nHP-01,,en943", `row 2, exhaust_valves: empty: must be filled in`},
		{"tag,exhaust_valves,method\nHP-01,2,", `row 2, method: empty: must be filled in`},
		{"tag,exhaust_valves,method\nHP-01", `row 2, method: empty: must be filled in`},
		{"tag,exhaust_valves\nHP-01,2", `row 1: the column method is missing`},
		{"tag,exhaust_valves,method,glove ring\nHP-01,2,en943,yes", `row 1, column D: "glove ring": there is no such column; the nearest is glove_rings`},
		{"tag,exhaust_valves,method,endoflive\nHP-01,2,en943,", `the nearest is end_of_life`},
		{"Tagg,exhaust_valves,method\nHP-01,2,en943", `row 1, column A: "Tagg": there is no such column; the nearest is tag`},
		{"tag,exhaust_valves,method,Exhaust Valves\nHP-01,2,en943,2", `row 1, column D: "Exhaust Valves": the column is there twice`},
		{"tag,exhaust_valves,method\nHP-01,2,en943,,x", `row 2, column E: "x": the header has no name for this column`},
		{"tag,exhaust_valves,,method\nHP-01,2,x,en943", `row 2, column C: "x": the header has no name for this column`},
		{"tag,exhaust_valves,method,maker_a,maker_b\nHP-01,2,en943,5,0 in,4,0 in", `row 2, column G: "0 in": the header has no name for this column; where commas stand between the cells, a cell with a comma needs quotation marks`},

		{"tag,exhaust_valves,method\nHP-01,2,en943\n\nhp1,2,en943", `row 4, tag: "hp1": row 2 has it already`},
		{"tag,exhaust_valves,method\nHP-01,2,en943\nHP-01,2,en943", `row 3, tag: "HP-01": row 2 has it already`},
		{"tag,exhaust_valves,method\n\"HP-01\",2,en943\n,,\nHP.001,2,en943", `row 4, tag: "HP.001": row 2 has it already`},
		{"tag,exhaust_valves,method\nhp90,2,en943", `row 2, tag: "hp90": it is in the register already: write it the same way, HP-90`},
		{"tag,exhaust_valves,method\nHP 01,2,en943", `row 2, tag: "HP 01": write a letter first and a number last, without blanks, like HP-07`},
		{"tag,exhaust_valves,method\n7,2,en943", `row 2, tag: "7": write a letter first`},
		{"tag,exhaust_valves,method\nHP,2,en943", `row 2, tag: "HP": write a letter first`},
		{"tag,exhaust_valves,method\n@all-1,2,en943", `row 2, tag: "@all-1": write a letter first`},
		{"tag,exhaust_valves,method\n*HP*-1,2,en943", `row 2, tag: "*HP*-1": write a letter first`},
		{"tag,exhaust_valves,method\nH\u200bP-1,2,en943", `row 2, tag: "H\u200bP-1": write a letter first`},
		{"tag,exhaust_valves,method\nA" + strings.Repeat("1", 32) + ",2,en943", `: write a letter first`},
		{"tag,exhaust_valves,method\nHP-01,9,en943", `row 2, exhaust_valves: "9": write how many there are, 0 to 8`},
		{"tag,exhaust_valves,method\nHP-01,-1,en943", `row 2, exhaust_valves: "-1": write how many there are, 0 to 8`},
		{"tag,exhaust_valves,method\nHP-01,two,en943", `row 2, exhaust_valves: "two": write how many there are, 0 to 8`},
		{"tag,exhaust_valves,method\nHP-01,2.5,en943", `row 2, exhaust_valves: "2.5": write how many there are, 0 to 8`},
		{"tag,exhaust_valves,method\nHP-01,2,en944", `row 2, method: "en944": no such method: write one of en943, f1052, osha`},
		{suit("made", "02/03/2026"), `row 2, made: "02/03/2026": write a day that exists as year-month-day, like 2026-03-02`},
		{suit("made", "46083"), `row 2, made: "46083": write a day that exists`},
		{suit("made", "2025-02-29"), `row 2, made: "2025-02-29": write a day that exists`},
		{suit("made", "0021-04-19"), `row 2, made: "0021-04-19": write a day that exists as year-month-day, like 2026-03-02, from 1950 to 2149`},
		{suit("made", "2026-03-03"), `row 2, made: "2026-03-03": must not be in the future`},
		{suit("purchased", "2026-03-03"), `row 2, purchased: "2026-03-03": must not be in the future`},
		{suit("made,in_service", "2020-01-02,2020-01-01"), `row 2, in_service: "2020-01-01": must not be before the day it was made`},
		{suit("in_service,end_of_life", "2020-01-02,2020-01-01"), `row 2, end_of_life: "2020-01-01": must not be before the day it was made or put in service`},
		{suit("made,end_of_life", "2020-01-02,2020-01-01"), `row 2, end_of_life: "2020-01-01": must not be before`},
		{suit("glove_rings", "maybe"), `row 2, glove_rings: "maybe": write yes or no`},
		{suit("boots", "sox"), `row 2, boots: "sox": write fixed or socks`},
		{suit("interval", "1 year"), `row 2, interval: "1 year": write a period of up to 100 years, like P1Y, P18M or P26W`},
		{suit("interval", "PT6H"), `row 2, interval: "PT6H": write a period`},
		{suit("interval", "P0D"), `row 2, interval: "P0D": write a period`},
		{suit("maker_a,maker_b", "5.0,4.0 in"), `row 2, maker_a: "5.0": write the unit too, like 5.0 in`},
		{suit("maker_a,maker_b", "5.0 inn,4.0 in"), `row 2, maker_a: "5.0 inn": unit "inn" is not known: write mbar`},
		{suit("maker_a,maker_b", "in 5.0,4.0 in"), `row 2, maker_a: "in 5.0": write a number and its unit, like 16.5 mbar`},
		{suit("maker_a,maker_b", "5.0000000 in,4.0 in"), `row 2, maker_a: "5.0000000 in": write a number of at most 12 digits, 6 of them decimals`},
		{suit("maker_a,maker_b", "5.0 in,"), `row 2, maker_b: empty: maker_a and maker_b belong together`},
		{suit("maker_b", "4.0 in"), `row 2, maker_a: empty: maker_a and maker_b belong together`},
		// 29 CFR 1910.120 App A: A of at least 3 in, B of at least 2 in (read second-hand, as core says).
		{suit("maker_a,maker_b", "2.99 in,2.0 in"), `row 2, maker_a: "2.99 in": the method osha needs at least 3.0 in`},
		{suit("maker_a,maker_b", "3.0 in,1.99 in"), `row 2, maker_b: "1.99 in": the method osha needs at least 2.0 in, and less than maker_a`},
		{suit("maker_a,maker_b", "4.0 in,5.0 in"), `row 2, maker_b: "5.0 in": the method osha needs at least 2.0 in, and less than maker_a`},
		{suit("maker_a,maker_b", "5.0 psi,4.0 in"), `row 2, maker_a: "5.0 psi": the method osha needs at least 3.0 in, and more than 5 times that is taken for a slip`},
		{suit("volume", "0.4 m3"), `row 2, volume: "0.4 m3": write litres from 50 to 2000, like 400 or 400 ± 20`},
		{suit("volume", "49.9"), `row 2, volume: "49.9": write litres`},
		{suit("volume", "2001"), `row 2, volume: "2001": write litres`},
		{suit("volume", "400 ± 400"), `row 2, volume: "400 ± 400": write litres`},
		{"tag,exhaust_valves,method\nHP-01,2,osha", `row 2, maker_a: empty: the method osha needs the maker's pressures, like 5.0 in`},
		{suit("remarks", strings.Repeat("ü", 201)), `: write at most 200 letters`},
		{suit("remarks", "a\x07b"), `row 2, remarks: "a\ab": write one line, without control characters`},
		{suit("remarks", "\"a\nb\""), `row 2, remarks: "a\nb": write one line`},
		{suit("remarks", "a\u202eb"), `row 2, remarks: "a\u202eb": write one line`},
		{suit("remarks", "Gr\ufffd\ufffde"), `row 2, remarks: "Gr��e": a letter was lost when this was saved: write it anew`},
		{suit("serial", "1.23457E+11"), `row 2, serial: "1.23457E+11": the spreadsheet did not save what was typed`},
		{suit("serial", "#REF!"), `row 2, serial: "#REF!": the spreadsheet did not save`},
		{suit("serial", "########"), `row 2, serial: "########": the spreadsheet did not save`},
		{suit("size", strings.Repeat("x", 300)), `row 2, size: "` + strings.Repeat("x", 40) + `…": write at most 200 letters`},
		{"tag,exhaust_valves,method,remarks\nHP-01,2,en943,\"two\nlines\"\nHP-02,10,en943,", `row 3, exhaust_valves: "10"`},
		{"tag,exhaust_valves,method,remarks\nHP-01,9,en943,\nHP-02,2,en943,5.0\" long\nHP-03,2,en943,", `row 3: a quotation mark stands alone from here on: put the whole cell in quotation marks`},
		{"tag,exhaust_valves,method,remarks\n\n\nHP-01,9,en943,\"no end\nHP-03,2,en943,", `row 4: a quotation mark stands alone`},

		{gauge("M 1,mbar,0.01,,"), `row 2, id: "M 1": write letters and digits without blanks, like M-2`},
		{gauge("@here,mbar,0.01,,"), `row 2, id: "@here": write letters and digits`},
		{gauge("M-1,mbar,0.01,,\nm01,mbar,0.01,,"), `row 3, id: "m01": row 2 has it already`},
		{gauge("m1,mbar,0.01,,"), `row 2, id: "m1": it is in the register already: write it the same way, M-1`},
		{gauge("M-1,bar,0.01,,"), `row 2, unit: "bar": unit "bar" is not known: write mbar, hPa, Pa, kPa, mm, cm, in, mmHg or psi`},
		{gauge("M-1,mbar,,,"), `row 2, resolution: empty: must be filled in`},
		{gauge("M-1,mbar,0,,"), `row 2, resolution: "0": write a number above 0, like 0.01`},
		{gauge("M-1,mbar,fine,,"), `row 2, resolution: "fine": write a number and its unit, like 16.5 mbar`},
		{gauge("M-1,mbar,0.01,0.1 % FS,"), `row 2, permissible_error: "0.1 % FS": unit "% FS" is not known`},
		{gauge("M-1,mbar,0.01,,31.01.2026"), `row 2, calibrated_until: "31.01.2026": write a day that exists`},

		{test(",HP-90,en943,M-1,16.5,16.1,6,"), `row 2, date: empty: must be filled in`},
		{test("2026-03-03,HP-90,en943,M-1,16.5,16.1,6,"), `row 2, date: "2026-03-03": must not be in the future`},
		{test("2020-01-14,HP-90,en943,M-1,16.5,16.1,6,"), `row 2, date: "2020-01-14": HP-90 was made only on 2020-01-15`},
		{test("2025-02-10,HP-99,en943,M-1,16.5,16.1,6,"), `row 2, suit: "HP-99": there is no such suit in the register: enter it first`},
		{test("2025-02-10,HP-90,en,M-1,16.5,16.1,6,"), `row 2, method: "en": no such method`},
		{test("2025-02-10,HP-90,en943,M-9,16.5,16.1,6,"), `row 2, manometer: "M-9": there is no such manometer in the register`},
		{test("2025-02-10,HP-90,en943,M-2,168,163,6,"), `row 2, start: "168": write the unit too: M-2 reads in mm, but en943 is in mbar`},
		{test("2025-02-10,HP-90,en943,M-1,168,16.1,6,"), `row 2, start: "168": far from the test pressure of en943, 16.5 mbar: look at the number and the unit`},
		{test("2025-02-10,HP-90,en943,M-1,1.650 Pa,16.1,6,"), `row 2, start: "1.650 Pa": far from the test pressure`},
		{test("2025-02-10,HP-90,en943,M-1,16.5,161,6,"), `row 2, end: "161": far from the test pressure`},
		{test("2025-02-10,HP-91,osha,,10 in,9 in,3,"), `row 2, start: "10 in": far from the test pressure of osha, 4.0 in`},
		{test("2025-02-10,HP-90,en943,M-1,-16.5,16.1,6,"), `row 2, start: "-16.5": write a number and its unit`},
		{test("2025-02-10,HP-90,en943,M-1,16.5,,6,"), `row 2, end: empty: must be filled in`},
		{test("2025-02-10,HP-90,en943,M-1,16.5,16.1,,"), `row 2, minutes: empty: must be filled in`},
		{test("2025-02-10,HP-90,en943,M-1,16.5,16.1,0,"), `row 2, minutes: "0": write minutes above 0 and up to 1440, like 6 or 6.5`},
		{test("2025-02-10,HP-90,en943,M-1,16.5,16.1,6:00,"), `row 2, minutes: "6:00": write minutes`},
		{test("2025-02-10,HP-90,en943,M-1,16.5,16.1,1440.01,"), `row 2, minutes: "1440.01": write minutes`},
		{test("2025-02-10,HP-90,en943,M-1,16.5,16.1,6,a\tb"), `row 2, tester: "a\tb": write one line`},
		{test("2025-02-10,HP-90,en943,M-1,16.5,16.1,6,\n2025-02-10,hp90,EN943,m1,16.5,16.1,6.0,"), `row 3, suit: "hp90": row 2 says the very same`},

		{"", "the file is empty: its first row must name the columns"},
		{"\n,,,\n\n", "the file is empty"},
		{"HP-01,2,en943", "row 1: the first row must name the columns: for suits at least tag, exhaust_valves and method"},
		{"\n\nSuits of the station,,\n", "row 3: the first row must name the columns"},
	} {
		got, err := read(t, tt.text)
		if err == nil {
			t.Errorf("%q is taken: %+v", tt.text, got)
			continue
		}
		if !strings.Contains(err.Error(), tt.say) {
			t.Errorf("%q:\n%v\nwant it to say\n%s", tt.text, err, tt.say)
		}
		if _, ok := errors.AsType[*register.Error](err); !ok || !strings.HasPrefix(err.Error(), "file.csv: nothing was taken; to mend: ") {
			t.Errorf("%q: the error does not say what becomes of the file: %v", tt.text, err)
		}
		if len(got.Suits)+len(got.Manometers)+len(got.Tests) > 0 {
			t.Errorf("%q: taken in part: %+v", tt.text, got)
		}
	}
}

// All faults of a file are listed, in the order of its cells.
func TestAllFaults(t *testing.T) {
	_, err := read(t, "method,exhaust valves,tag,sise,made\n"+
		"en944,9,HP 1,L,yesterday\nen943,2,HP-02,,2026-01-01\nosha,2,hp2,,\n")
	want := `file.csv: nothing was taken; to mend: 8
row 1, column D: "sise": there is no such column; the nearest is size
row 2, method: "en944": no such method: write one of en943, f1052, osha
row 2, exhaust_valves: "9": write how many there are, 0 to 8
row 2, tag: "HP 1": write a letter first and a number last, without blanks, like HP-07
row 2, made: "yesterday": write a day that exists as year-month-day, like 2026-03-02, from 1950 to 2149
row 4, tag: "hp2": row 3 has it already: case, hyphens and zeros do not make a difference
row 4, maker_a: empty: the method osha needs the maker's pressures, like 5.0 in
row 4, maker_b: empty: the method osha needs the maker's pressures, like 4.0 in`
	if err == nil || err.Error() != want {
		t.Errorf("got\n%v\nwant\n%s", err, want)
	}
}

func TestFaultsAreCapped(t *testing.T) {
	for _, n := range []int{49, 50, 51, 2000} {
		_, err := read(t, "tag,exhaust_valves,method\n"+strings.Repeat("HP,2,en943\n", n))
		refused, ok := errors.AsType[*register.Error](err)
		if !ok {
			t.Fatalf("%d faults: %v", n, err)
		}
		if len(refused.Faults) != min(n, 50) || refused.More != max(0, n-50) {
			t.Errorf("%d faults: %d listed, %d more", n, len(refused.Faults), refused.More)
		}
		if last := "\nand " + strconv.Itoa(n-50) + " more"; strings.HasSuffix(err.Error(), last) != (n > 50) {
			t.Errorf("%d faults: the error ends in %q", n, err.Error()[len(err.Error())-40:])
		}
	}
}

// What is not CSV in UTF-8 is refused, since its letters would be guessed.
func TestEncodings(t *testing.T) {
	const plain = "tag,exhaust_valves,method,place\nHP-01,2,en943,Größe\n"
	var little, big bytes.Buffer
	for _, u := range utf16.Encode([]rune("\ufeff" + plain)) {
		little.Write([]byte{byte(u), byte(u >> 8)})
		big.Write([]byte{byte(u >> 8), byte(u)})
	}
	for name, tt := range map[string]struct{ text, say string }{
		"UTF-16 little end first": {little.String(), "perhaps UTF-16"},
		"UTF-16 big end first":    {big.String(), "perhaps UTF-16"},
		"UTF-16 without a mark":   {little.String()[2:], "perhaps UTF-16"},
		"Latin-1":                 {strings.NewReplacer("ö", "\xf6", "ß", "\xdf").Replace(plain), "line 2 has letters that are not UTF-8"},
		"a zipped workbook":       {"PK\x03\x04\x14\x00", "a spreadsheet's own"},
		"an old workbook":         {"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "a spreadsheet's own"},
	} {
		_, err := read(t, tt.text)
		if err == nil || !strings.Contains(err.Error(), tt.say) || !strings.Contains(err.Error(), `save it as "CSV UTF-8"`) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := register.Read("large.csv", endless{}, station(t)); err == nil || !strings.Contains(err.Error(), "larger than 64 MiB: split it") {
		t.Errorf("a file without end: %v", err)
	}
}

// endless is a file that never ends.
type endless struct{}

func (endless) Read(p []byte) (int, error) {
	for i := range p {
		p[i] = '\n'
	}
	return len(p), nil
}

// What people typed must not run as a formula when a spreadsheet opens an
// export, and must come back as it was.
func TestWrittenTextIsNoFormula(t *testing.T) {
	var suits []core.Suit
	for i, remark := range []string{
		`=HYPERLINK("http://example.org")`, "+49 30 1234", "-5 °C", "@SUM(A1)", "＝1+1", "'=1", "''-", "'quoted'", "plain, \"and\" more", "=", "O'Hara",
	} {
		suits = append(suits, core.Suit{Tag: fmt.Sprintf("HP-%02d", 10+i), Method: "en943", Remarks: remark, Serial: remark})
	}
	var out bytes.Buffer
	if err := register.WriteSuits(&out, suits, register.Dialect{}); err != nil {
		t.Fatal(err)
	}
	for line := range strings.Lines(out.String()) {
		for _, cell := range strings.FieldsFunc(line, func(r rune) bool { return r == ',' || r == '"' }) {
			if strings.ContainsAny(cell[:1], "=+-@") || strings.HasPrefix(cell, "＝") {
				t.Errorf("a spreadsheet would work out %q", cell)
			}
		}
	}
	got, err := register.Read("suits.csv", &out, station(t))
	if err != nil {
		t.Fatal(err)
	}
	if !slices.Equal(got.Suits, suits) {
		t.Errorf("read back\n%+v\nwant\n%+v", got.Suits, suits)
	}
}

func TestReadRegisterFS(t *testing.T) {
	file := func(text string) *fstest.MapFile { return &fstest.MapFile{Data: []byte(text)} }
	folder := fstest.MapFS{
		"a.csv":     file("date,suit,method,manometer,start,end,minutes\n2025-02-10,hp1,en943,m7,16.5,16.1,6\n"),
		"b.csv":     file("id,unit,resolution\nM-7,mbar,0.01\n"),
		"c.csv":     file("tag,exhaust_valves,method\nHP-01,2,en943\n"),
		"readme.md": file("not a register"),
	}
	got, err := register.ReadFS(folder, station(t))
	if err != nil {
		t.Fatal(err)
	}
	if len(got.Suits) != 1 || len(got.Manometers) != 1 || len(got.Tests) != 1 || got.Tests[0].Suit != "HP-01" || got.Tests[0].Test.Manometer != "M-7" {
		t.Errorf("read %+v", got)
	}

	folder["d.csv"] = file("tag,exhaust_valves,method\nHP-02,2,en943\nHP-01,2,en943\n")
	if _, err := register.ReadFS(folder, station(t)); err == nil || err.Error() != "d.csv: nothing was taken; to mend: 1\nHP-01 is in c.csv too: leave it in one of them" {
		t.Errorf("a suit in two files: %v", err)
	}

	folder["c.csv"] = file("tag,exhaust_valves,method\nHP-01,9,en943\n")
	folder["d.csv"] = file("\xff\xfe")
	_, err = register.ReadFS(folder, station(t))
	for _, say := range []string{`c.csv: nothing was taken`, `row 2, exhaust_valves: "9"`, "d.csv: nothing was taken"} {
		if err == nil || !strings.Contains(err.Error(), say) {
			t.Errorf("the error does not say %q: %v", say, err)
		}
	}
	if err != nil && strings.Contains(err.Error(), "a.csv") {
		t.Errorf("a test is refused for a suit that is in another file: %v", err)
	}
	if _, err := register.ReadFS(fstest.MapFS{}, station(t)); err == nil || !strings.Contains(err.Error(), "there is no CSV file") {
		t.Errorf("an empty folder: %v", err)
	}
}

func TestEntries(t *testing.T) {
	london, err := time.LoadLocation("Europe/London")
	if err != nil {
		t.Fatal(err)
	}
	r := register.Register{
		Suits:      []core.Suit{{Tag: "HP-01"}, {Tag: "HP-02"}},
		Manometers: []core.Manometer{{ID: "M-1"}},
		Tests: []register.PastTest{
			{Suit: "HP-02", Test: core.PaperTest{Day: date(t, "2025-07-01"), Outcome: core.Fail}},
			{Suit: "HP-02", Test: core.PaperTest{Day: date(t, "2025-07-01"), Outcome: core.Pass}},
			{Suit: "HP-01", Test: core.PaperTest{Day: date(t, "2026-03-02")}},
			{Suit: "HP-01", Test: core.PaperTest{Day: date(t, "2024-10-27")}}, // a day of 25 hours
		},
	}
	at := time.Date(2026, 3, 2, 8, 30, 0, 0, london)
	keeper := core.Person{ID: "k", Name: "keeper"}
	got := r.Entries(at, keeper, "import", london)
	want := []struct {
		at, suit string
		fact     core.Fact
	}{
		{"2026-03-02T08:30:00Z", "HP-01", core.SuitRegistered{Suit: r.Suits[0]}},
		{"2026-03-02T08:30:00Z", "HP-02", core.SuitRegistered{Suit: r.Suits[1]}},
		{"2026-03-02T08:30:00Z", "", core.ManometerRegistered{Manometer: r.Manometers[0]}},
		{"2024-10-27T12:00:00Z", "HP-01", r.Tests[3].Test},
		{"2025-07-01T11:00:00Z", "HP-02", r.Tests[0].Test},
		{"2025-07-01T11:00:00Z", "HP-02", r.Tests[1].Test},
		{"2026-03-02T08:30:00Z", "HP-01", r.Tests[2].Test}, // noon is still to come
	}
	if len(got) != len(want) {
		t.Fatalf("%d entries, want %d", len(got), len(want))
	}
	for i, w := range want {
		e := got[i]
		if e.At.UTC().Format(time.RFC3339) != w.at || e.Suit != w.suit || e.Fact != w.fact || e.By != keeper || e.Event != "import" || e.Run != 0 {
			t.Errorf("entry %d is %+v, want %+v", i+1, e, w)
		}
	}
}

// demoRegister reads the demo fleet as a station does on a day.
func demoRegister(t *testing.T, day string) register.Register {
	t.Helper()
	r, err := register.ReadFS(demo.Files(), register.Known{Today: date(t, day), Methods: core.BuiltIn()})
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// The scripts and examples rest on what the demo fleet is on 2026-03-02.
func TestDemoFleet(t *testing.T) {
	const day = "2026-03-02"
	r := demoRegister(t, day)
	policy := core.DefaultPolicy()
	at := date(t, day).Start(policy.Zone).Add(8 * time.Hour)
	files := make(map[string]core.File)
	for _, e := range r.Entries(at, core.Person{}, "demo", policy.Zone) {
		if e.Suit != "" {
			files[e.Suit] = files[e.Suit].Apply(e)
		}
	}
	var tags []string
	for i := range 24 {
		tags = append(tags, fmt.Sprintf("HP-%02d", i+1))
	}
	if got := slices.Sorted(maps.Keys(files)); !slices.Equal(got, tags) {
		t.Fatalf("the suits are %v", got)
	}

	special := map[string]string{
		"HP-02": "not fit: past end of life",
		"HP-03": "fit, due soon", "HP-11": "fit, due soon", "HP-16": "fit, due soon",
		"HP-05": "not fit: test overdue", "HP-19": "not fit: test overdue",
		"HP-13": "not fit: failed",
		"HP-23": "not fit: no pass yet", "HP-24": "not fit: no pass yet",
	}
	for _, tag := range tags {
		st := files[tag].Standing(policy, date(t, day))
		got := string(st.Kind)
		for _, b := range st.Bars {
			got += ": " + string(b.Kind)
		}
		want, ok := special[tag]
		if !ok {
			want = "fit"
		}
		if got != want {
			t.Errorf("on %s %s is %q, want %q", day, tag, got, want)
		}
	}

	gauges := make(map[string]core.Manometer)
	for _, m := range r.Manometers {
		gauges[m.ID] = m
		if m.Permissible.IsZero() || m.Permissible.Unit != m.Unit || m.Resolution.Unit != m.Unit {
			t.Errorf("%s is not described in its own unit: %+v", m.ID, m)
		}
	}
	for id, want := range map[string]string{"M-1": "mbar 0.01", "M-2": "mm 0.1", "M-3": "in 0.01", "M-4": "mbar 0.1"} {
		if m := gauges[id]; m.Unit.String()+" "+m.Resolution.Digits != want {
			t.Errorf("%s is %s %s, want %s", id, m.Unit, m.Resolution.Digits, want)
		}
		if far := date(t, "2036-12-31"); id != "M-4" && gauges[id].Lapsed(far) {
			t.Errorf("%s lapses by %s", id, far)
		}
	}
	if len(gauges) != 4 || gauges["M-4"].CalibratedUntil != date(t, "2026-01-31") {
		t.Errorf("the manometers are %+v", r.Manometers)
	}

	bench := core.Bench{Methods: core.BuiltIn(), Manometers: gauges, LastUsed: lastUsed(r.Tests), Policy: policy}
	for name, want := range map[string]string{"bench.tester": "M-1", "second.tester": "M-2"} {
		if got := bench.LastUsed[name]; got != want {
			t.Errorf("%s used %s last, want %s", name, got, want)
		}
	}
	for _, tag := range []string{"HP-07", "HP-08"} {
		s := files[tag].Suit
		fittings := s.Fittings
		fittings.Boots = ""
		if want := (core.Fittings{GloveRings: true, ExhaustValves: 2, VentilatingValve: true}); fittings != want {
			t.Errorf("%s has %+v", tag, s.Fittings)
		}
		if s.Method != "en943" || s.MakerA.String() != "5.0 in" || s.MakerB.String() != "4.0 in" || s.EndOfLife.Year < 2040 {
			t.Errorf("%s is %+v", tag, s)
		}
		for _, later := range []string{"2026-03-02", "2026-12-31", "2031-07-01"} {
			for _, method := range []string{"", "f1052", "osha"} {
				standing := files[tag].Standing(policy, date(t, later))
				if _, err := bench.Open(core.Open{Suit: tag, Method: method}, s, standing, core.Person{Name: "bench.tester"}); err != nil {
					t.Errorf("%s cannot be put on the bench on %s: %v", tag, later, err)
				}
			}
		}
	}
}

// lastUsed returns the manometer of each person's latest test.
func lastUsed(tests []register.PastTest) map[string]string {
	used := make(map[string]string)
	latest := make(map[string]core.Date)
	for _, t := range tests {
		if !t.Test.Day.Before(latest[t.Test.Tester]) {
			latest[t.Test.Tester] = t.Test.Day
			used[t.Test.Tester] = t.Test.Manometer
		}
	}
	return used
}

// The tests on paper show what happens in five years: fails that pass after a
// repair, a test to be repeated, suits that leak more from year to year.
func TestDemoHistory(t *testing.T) {
	r := demoRegister(t, "2026-03-02")
	bySuit := make(map[string][]core.PaperTest)
	outcomes := make(map[core.Outcome]int)
	for i, past := range r.Tests {
		if i > 0 && past.Test.Day.Before(r.Tests[i-1].Test.Day) {
			t.Errorf("the tests are not in the order of their days at %s of %s", past.Suit, past.Test.Day)
		}
		bySuit[past.Suit] = append(bySuit[past.Suit], past.Test)
		outcomes[past.Test.Outcome]++
	}
	if outcomes[core.Fail] < 4 || outcomes[core.NoVerdict] < 1 || outcomes[core.Pass] < 9*outcomes[core.Fail] {
		t.Errorf("the outcomes are %v", outcomes)
	}
	for tag, tests := range bySuit {
		for i, test := range tests[:len(tests)-1] {
			if next := tests[i+1]; test.Outcome != core.Pass && (next.Outcome != core.Pass || next.Day.Days(test.Day) > 30) {
				t.Errorf("%s: %s on %s is not followed by a pass", tag, test.Outcome, test.Day)
			}
		}
		if first := tests[0].Day.Year; first > 2021 && tag != "HP-21" {
			t.Errorf("%s has no test before %d", tag, first)
		}
	}
	for _, tag := range []string{"HP-07", "HP-20"} {
		var last core.Pressure
		for _, test := range bySuit[tag] {
			drop := test.Start.Pressure() - test.End.Pressure()
			if drop <= last {
				t.Errorf("%s does not leak more on %s than before", tag, test.Day)
			}
			last = drop
		}
	}
	for _, m := range r.Manometers {
		for _, past := range r.Tests {
			if past.Test.Manometer == m.ID && m.Lapsed(past.Test.Day) {
				t.Errorf("%s was tested on %s with %s, whose calibration had lapsed", past.Suit, past.Test.Day, m.ID)
			}
		}
	}
}

// write writes what a register has, which must be of one kind.
func write(t *testing.T, r register.Register, d register.Dialect) string {
	t.Helper()
	var out bytes.Buffer
	var err error
	switch {
	case len(r.Suits) > 0:
		err = register.WriteSuits(&out, r.Suits, d)
	case len(r.Manometers) > 0:
		err = register.WriteManometers(&out, r.Manometers, d)
	default:
		err = register.WriteTests(&out, r.Tests, d)
	}
	if err != nil {
		t.Fatal(err)
	}
	return out.String()
}

// FuzzReadRegister: whatever the bytes, nothing panics and every fault has a
// wording; what is accepted is written and read again as it was.
func FuzzReadRegister(f *testing.F) {
	files := demo.Files()
	names, err := fs.Glob(files, "*.csv")
	if err != nil {
		f.Fatal(err)
	}
	for _, name := range names {
		data, err := fs.ReadFile(files, name)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data[:min(len(data), 900)])
	}
	f.Add([]byte("tag;exhaust_valves;method;maker_a;maker_b;remarks\r\nHP-01;2;osha;5,0 in;4,0 in;'=1\r\n"))
	f.Add([]byte("\ufeffid\tunit\tresolution\nM-1\tmm wg\t0,1\n"))
	f.Add([]byte("date,suit,method,manometer,start,end,minutes,tester\n2025-02-10,hp90,en943,m1,16.5,13.5,6.25,@'=x\n"))
	known := station(f)
	f.Fuzz(func(t *testing.T, data []byte) { checkRoundTrip(t, data, known) })
}

// FuzzRegisterCell does the same with good files in which one cell is not.
func FuzzRegisterCell(f *testing.F) {
	files := [][][]string{
		{
			strings.Split("tag,exhaust_valves,method,serial,made,in_service,end_of_life,glove_rings,boots,interval,maker_a,maker_b,remarks,volume", ","),
			strings.Split("HP-01,2,osha,7,2020-01-01,2020-02-01,2035-01-01,yes,socks,P1Y,5.0 in,4.0 in,old,400 ± 20 L", ","),
		},
		{
			strings.Split("id,unit,resolution,permissible_error,calibrated_until", ","),
			strings.Split("M-7,mbar,0.01,0.05 hPa,2037-06-30", ","),
		},
		{
			strings.Split("date,suit,method,manometer,start,end,minutes,tester", ","),
			strings.Split("2025-02-10,HP-90,en943,M-1,16.5,13.5,6.25,bench.tester", ","),
		},
	}
	for i, file := range files {
		for j, cell := range file[1] {
			f.Add(uint8(i), uint8(j), cell)
		}
	}
	for _, remark := range []string{"'=1", "@x", "\u200b=1", "'\u200b=1", "=1\u200b", "''@", "\u00a0a\u2003b", "a,b;c\td\"e", "\ufeff", "#N/A", "1E+5"} {
		f.Add(uint8(0), uint8(12), remark)
	}
	f.Add(uint8(2), uint8(7), "@ '=x")
	known := station(f)
	f.Fuzz(func(t *testing.T, kind, column uint8, cell string) {
		file := files[int(kind)%len(files)]
		row := slices.Clone(file[1])
		row[int(column)%len(row)] = cell
		var text bytes.Buffer
		w := csv.NewWriter(&text)
		if err := w.WriteAll([][]string{file[0], row}); err != nil {
			t.Fatal(err)
		}
		checkRoundTrip(t, text.Bytes(), known)
	})
}

// checkRoundTrip reads a file, and what it says is written and read again.
func checkRoundTrip(t *testing.T, data []byte, known register.Known) {
	t.Helper()
	r, err := register.Read("fuzz.csv", bytes.NewReader(data), known)
	if err != nil {
		refused, ok := errors.AsType[*register.Error](err)
		if !ok || len(refused.Faults) == 0 || len(refused.Faults) > 50 {
			t.Fatalf("refused without faults: %v", err)
		}
		for _, fault := range refused.Faults {
			if fault.Want == "" {
				t.Errorf("a fault that does not say what is accepted: %+v", fault)
			}
		}
		return
	}
	for _, s := range r.Suits {
		if m, ok := (core.Bench{Methods: known.Methods}).Method(s.Method); !ok {
			t.Errorf("%s has the unknown method %q", s.Tag, s.Method)
		} else if _, err := m.For(s); err != nil {
			t.Errorf("%s cannot be tested: %v", s.Tag, err)
		}
	}
	if len(r.Suits)+len(r.Manometers)+len(r.Tests) == 0 {
		return
	}
	for _, d := range []register.Dialect{{}, {DecimalComma: true}} {
		text := write(t, r, d)
		again, err := register.Read("again.csv", strings.NewReader(text), known)
		if err != nil {
			t.Fatalf("%v\nin\n%s", err, text)
		}
		if !slices.Equal(again.Suits, r.Suits) || !slices.Equal(again.Manometers, r.Manometers) || !slices.Equal(again.Tests, r.Tests) {
			t.Errorf("read\n%+v\nthen\n%+v\nfrom\n%s", r, again, text)
		}
	}
}
