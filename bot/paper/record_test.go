package paper

import (
	"bytes"
	"crypto/sha256"
	"errors"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"strings"
	"sync"
	"testing"
	"time"

	"benchbell/core"
)

func mustRecord(t testing.TB, in RecordInput) []byte {
	t.Helper()
	pdf, err := Record(in)
	if err != nil {
		t.Fatal(err)
	}
	return pdf
}

// TestRecordHasWhatIsAskedFor holds the record to what published texts ask a
// record of a test for. 29 CFR 1910.120 App A, part A, 8.1 is quoted from
// memory and near to the letter; ISO/IEC 17025:2017, 7.8.2.1 and 7.8.6.2 from
// the standard's text, shortened. Where an item is met in a way that is not
// plain, the note says how.
func TestRecordHasWhatIsAskedFor(t *testing.T) {
	s := fails(t)
	s.by = officer
	s.now = s.now.Add(time.Hour)
	s.enters(0, core.Released{})
	in := s.input()
	in.Chart = s.chart()
	failed := mustRecord(t, in)
	s = passes(t)
	in = s.input()
	in.Chart = s.chart()
	passed := mustRecord(t, in)

	for _, clause := range []struct {
		id, asks string
		note     string
		of       []byte
		has      []string
	}{
		{"App A 8.1.1", "unique identification number", "", passed, []string{"Suit HP-07", "Serial number X19204"}},
		{"App A 8.1.1", "brand name", "", passed, []string{"Maker Example Suitworks (invented)", "Maker's model Example G6"}},
		{"App A 8.1.1", "date of purchase", "", passed, []string{"Made, purchased 2019-04-02, 2019-05-14"}},
		{"App A 8.1.1", "material of construction", "", passed, []string{"Material Butyl on polyamide"}},
		{"App A 8.1.1", "unique fit features", "size, fittings and remarks", passed, []string{"Size L", "Fittings glove rings, 2 exhaust valves, ventilating valve, boots fixed to it", "Remarks long sleeves"}},
		{"App A 8.1.2", "actual expansion pressure A with its time", "", passed, []string{"1 expansion: start 2026-03-02 08:32:10 CET 17.5 mbar"}},
		{"App A 8.1.2", "actual test pressure B with its time", "", passed, []string{"4 hold: start 2026-03-02 08:42:20 CET 0:00 16.5 mbar"}},
		{"App A 8.1.2", "actual ending pressure C with its time", "", passed, []string{"6 hold: ending pressure 2026-03-02 08:48:20 CET 6:00 15.2 mbar"}},
		{"App A 8.1.2", "a suit below the limit is identified as failing", "", failed, []string{"FAIL", "the suit is identified as failing"}},
		{"App A 8.1.2", "location of the leak, when possible", "", failed, []string{"Leak 1: seam at the left knee, two bubbles a second", "Leak 2: visor gasket, lower edge"}},
		{"App A 8.1.2", "a retest is recorded as an additional test", "", failed, []string{"A retest is recorded as a test of its own."}},
		{"App A 8.1.3", "source of the test apparatus", "", passed, []string{"Manometer M-1, of the station's register Maker Example Gauges (invented) Serial number EG-01"}},
		{"App A 8.1.3", "sensitivity of the gauge", "", passed, []string{"Resolution 0.01 mbar", "Permissible error ± 0.05 mbar"}},
		{"App A 8.1.4", "a record of each test, also if repairs are made at once", "what came before a test that was begun again stays on the record", failed, []string{
			"3 hold: ending pressure 2026-03-02 08:34:10 CET 1:00 101.9 mm", "hold: start, attempt 2", "test begun again 2026-03-02 08:34:40 CET",
		}},

		{"7.8.2.1 a)", "a title", "", passed, []string{"Test record"}},
		{"7.8.2.1 b)", "name and address of the laboratory", "", passed, []string{"Name Harrow Point works fire brigade (invented)", "Address Gate 3, Quay Road, Harrow Point"}},
		{"7.8.2.1 c)", "location of performance", "", passed, []string{"Performed at the station's own bench"}},
		{"7.8.2.1 d)", "unique identification of all parts", "", passed, []string{"Test record R-0042, HP-07", "Page 1 of 2", "Page 2 of 2", "R-0042, as of journal entry 1234", head.Hash}},
		{"7.8.2.1 d)", "a clear end", "", passed, []string{"End of record R-0042"}},
		{"7.8.2.1 e)", "name and contact of the customer", "the station tests its own suits", passed, []string{"for its own use"}},
		{"7.8.2.1 f)", "method used", "", passed, []string{"Method EN 943-1, by ISO 17491-1 method 2 (en943)", "Source EN 943-1; ISO 17491-1:2012 method 2 (formerly EN 464:1994)"}},
		{"7.8.2.1 g)", "description, identification and condition of the item", "", passed, []string{"Condition prepare list complete; no defect seen"}},
		{"7.8.2.1 h)", "date of receipt of the item", "", passed, []string{"Suit received 2026-03-02 08:30:00 CET"}},
		{"7.8.2.1 i)", "dates of performance", "", passed, []string{"Tested 2026-03-02 08:32:10 to 08:48:20 CET"}},
		{"7.8.2.1 j)", "date of issue", "", passed, []string{"Issued 2026-03-02 08:49:57 CET"}},
		{"7.8.2.1 k)", "sampling plan", "does not apply", passed, []string{"no sampling"}},
		{"7.8.2.1 l)", "relates only to the items tested", "", passed, []string{"This result relates only to the item tested"}},
		{"7.8.2.1 m)", "results with their units", "", passed, []string{"Drop 1.3", "limit 3.0 mbar.", "16.5 mbar → 15.2 mbar in 6:00"}},
		{"7.8.2.1 n)", "additions, deviations, exclusions", "", failed, []string{
			"Additions to, deviations from and exclusions from the method", "Added: ± 5 mm on both pressures, and from above 100 mm at least 80/100 of the start; the source states none.",
			"Counted at the moment that the tester stated: reading 7.", "Corrected after it was posted, both values on record: reading 7.", "The test was begun 2 times in this run.",
		}},
		{"7.8.2.1 o)", "who authorises the report", "an officer's release, and a line to sign on", failed, []string{"Released by duty.officer, 2026-03-02 09:52:39 CET", "Authorised by: name, signature"}},
		{"7.8.2.1 p)", "results of external providers", "there are none", passed, []string{"no results of others"}},
		{"7.8.6.2 a)", "which results the statement of conformity is about", "", passed, []string{"Verdict and statement of conformity Result Drop 1.3"}},
		{"7.8.6.2 b)", "which specification is met or not met", "", passed, []string{"drop at most 3.0 mbar in 6 min. Specification met."}},
		{"7.8.6.2 b)", "which specification is met or not met", "", failed, []string{"ending at least 80 mm, or 80/100 of a start above 100 mm in 4 min. Specification NOT MET"}},
		{"7.8.6.2 c)", "the decision rule", "", passed, []string{"Decision rule simple acceptance"}},
	} {
		t.Run(clause.id+" "+clause.asks, func(t *testing.T) { contains(t, clause.of, clause.has...) })
	}
}

// TestRecordOfAPass looks for what else belongs on a record.
func TestRecordOfAPass(t *testing.T) {
	s := passes(t)
	sum := core.Sum(sha256.Sum256([]byte("a picture")))
	photo := func(file, name, caption string, with core.Link) core.PhotoPosted {
		return core.PhotoPosted{File: file, Name: name, Caption: caption, With: with}
	}
	s.enters(42,
		photo("f1", "left glove.jpg", "", core.Link{To: core.WithReading, N: 5, Phase: core.Hold}), core.PhotoKept{File: "f1", Type: "image/jpeg", Sum: sum},
		photo("f2", "IMG_2.HEIC", "stiff, see the ring", core.Link{To: core.WithPhase, Phase: core.Restore}), core.PhotoLost{File: "f2", Why: core.PhotoGone},
		photo("f3", "certificate.pdf", "", core.Link{To: core.WithPhase, Phase: core.Restore}), core.PhotoLost{File: "f3", Why: core.NoPhoto},
		photo("f4", "late.png", "", core.Link{To: core.WithPhase, Phase: core.Over}))
	in := s.input()
	in.Chart = s.chart()
	contains(t, mustRecord(t, in),
		"PASS", "HP-07 by EN 943-1",
		"by the clock of Europe/Warsaw; CET is UTC+01:00",
		"Expansion 17.5 mbar (17.0–18.0), at least 10 min", "Test pressure 16.5 mbar (16.0–17.0)", "Hold 6 min, suit not touched",
		"drop at most 3.0 mbar EN 943-1 from memory, not confirmed in a text",
		"± 0.5 mbar on both pressures ISO 17491-1:2012 method 2 from memory, not confirmed in a text",
		"Calibrated on 2026-01-31", "Calibrated until 2027-01-31: valid when tested",
		"Tester bench.tester, id u1",
		"2 expansion 2026-03-02 08:35:10 CET 17.1 mbar M-1 bench.tester as posted",
		"at the bell, posted 08:48:28",
		"Topped up once", "Expansion time 10 min 10 s of at least 10 min", "Bell due 08:48:20", "Hold time 6:00 of 6:00",
		"08:39:10 20.5 °C, bench.tester", "1013 hPa",
		"Drop known to ±", "(k = 2)", "sure that it is within the limit",
		"1 Decontaminated, clean and dry 08:30:07, bench.tester, tap",
		"1 Plugs out, count 1 back 08:49:", "Diaphragms clean, seated: 2",
		"Note: left glove ring stiff, greased",
		"left glove.jpg with reading 5, 08:49:57, bench.tester "+sum.String()+" file f1",
		"IMG_2.HEIC: stiff, see the ring while unplugging, 08:49:57, bench.tester none: the chat server does not have the file any more file f2",
		"late.png after the run was closed, 08:49:57, bench.tester not known yet: the file was not read so far file f4",
		"A pass says nothing on permeation", "exhaust valves", "inward leakage",
		"The maker's instructions and local rules come first. A competent, authorised person decides",
		"can kill its wearer", "has not been decontaminated", "eye protection",
		"Tested by: name, signature",
	)
}

// TestRuleWords: a guarded verdict tells its guard band, but for one from before
// the air counted too.
func TestRuleWords(t *testing.T) {
	run := passes(t).run
	for _, tt := range []struct {
		v    core.Verdict
		want string
	}{
		{core.Verdict{}, "simple acceptance: the value read decides"},
		{core.Verdict{Rule: core.Guarded, Expanded: 20 * core.Pascal}, "inside the limit by its expanded uncertainty (JCGM"},
		{core.Verdict{Rule: core.Guarded, Expanded: 20 * core.Pascal, Guard: 90 * core.Pascal}, "by the guard band of 0.9 mbar, the expanded uncertainty of the drop and the air together (JCGM"},
	} {
		if got := ruleWords(run, tt.v); !strings.Contains(got, tt.want) {
			t.Errorf("%+v: %s", tt.v, got)
		}
	}
}

// TestRecordOfAMeasuredSuit: where the capacity is known, the leak is on record.
func TestRecordOfAMeasuredSuit(t *testing.T) {
	on := suit("HP-07")
	on.Interval = core.Period{Months: 18}
	on.Capacity = core.Capacity{
		Day: core.Date{Year: 2026, Month: time.January, Day: 12}, Litres: "2", Step: core.MustWrite("0.01", core.Mbar),
		From: core.MustWrite("15.00", core.Mbar), To: core.MustWrite("16.20", core.Mbar),
	}
	s := opens(t, on, "en943", "M-1")
	s.does(0, core.Tick{All: true})
	s.reads(time.Minute, "17.5")
	s.reads(10*time.Minute, "16.5")
	s.reads(3*time.Minute, "15.4")
	s.reads(3*time.Minute, "14.5")
	contains(t, mustRecord(t, s.input()), "To be tested by en943, every P18M", "Capacity HP-07: 1.69", "Leak at 16.5 mbar, an estimate", "mL/min")
}

// TestRecordOfAMeasurement: a capacity measured after the verdict is on record
// with its way, and so is the air's effect with what it is computed by.
func TestRecordOfAMeasurement(t *testing.T) {
	on := suit("HP-07")
	on.Volume = core.Volume{Litres: "400"}
	s := opens(t, on, "en943", "M-1")
	s.does(0, core.Tick{All: true})
	s.reads(time.Minute, "17.5")
	s.reads(10*time.Minute, "16.50")
	s.does(0, core.Air{Celsius: "20.0"})
	s.reads(6*time.Minute, "15.00")
	s.does(0, core.Air{Celsius: "20.2"})
	contains(t, mustRecord(t, s.input()), "Free volume 400 L", "bounded, from a limp suit to a stiff one, since its capacity is not known")
	s.does(0, core.Measure{})
	s.reads(10*time.Second, "14.80")
	s.does(0, core.Fix{Digits: "14.98"})
	s.does(30*time.Second, core.AddAir{Litres: "2"})
	s.reads(30*time.Second, "15.95")
	contains(t, mustRecord(t, s.input()),
		"Capacity Measured after the verdict. HP-07: 1.", "2 L took it from 14.98 mbar to 15.95 mbar, 2026-03-02, M-1, bench.tester", "By itself it fell",
		"Leak at 16.50 mbar, an estimate", "The capacity is to be measured.", "Capacity: M-1 read 14.80 mbar.",
		"Capacity: the reading before the air corrected to 14.98 mbar.", "Capacity: 2 L of air added.", "Capacity measured.")

	on.Capacity = s.run.Measured
	s = opens(t, on, "en943", "M-1")
	s.does(0, core.Tick{All: true})
	s.reads(time.Minute, "17.5")
	s.reads(10*time.Minute, "16.50")
	s.does(0, core.Air{Celsius: "20.0"})
	s.reads(6*time.Minute, "15.00")
	s.does(0, core.Air{Celsius: "20.2"})
	s.does(0, core.Measure{})
	s.reads(0, "18.10")
	pdf := mustRecord(t, s.input())
	contains(t, pdf, "% of what a stiff suit shows, with 400 L (± 10 % assumed) free volume and 1.", "Capacity left unmeasured: 18.10 mbar is above the expansion range.")
	laidOutWell(t, pdf)
}

// TestRecordOfTwoManometers: each that was chosen is on record, and a reading
// in another unit than the method's stands in both.
func TestRecordOfTwoManometers(t *testing.T) {
	s := opens(t, suit("HP-07"), "en943", "M-4")
	s.does(0, core.Tick{All: true})
	s.does(time.Minute, core.Use{Manometer: "M-2"})
	s.reads(time.Minute, "178.5")
	s.does(time.Minute, core.Read{Digits: "168"})
	pdf := mustRecord(t, s.input())
	contains(t, pdf, "Manometer M-4, of the station's register", "until 2025-01-31: LAPSED when tested",
		"Manometer M-2, of the station's register", "Reads in mm of water gauge, conventional; 1 mm = 9.80665 Pa",
		"Manometer M-2 taken.", "The manometer was changed before the first reading of an attempt.",
		"178.5 mm 17.5 M-2", "Expansion time the hold was not reached", "Hold not reached")
	lacksWords(t, pdf, "The manometer was not in calibration.")
	laidOutWell(t, pdf)
}

// TestRecordOfAFail has what was corrected and taken back, and who did it.
func TestRecordOfAFail(t *testing.T) {
	s := fails(t)
	contains(t, mustRecord(t, s.input()),
		"FAIL", "Ending 78.0 ± 1.3 mm, floor 80.8 mm.",
		"no verdict, SUPERSEDED, rules 2 The pressure rose", "pass, SUPERSEDED, rules 2 Read at the bell.", "replaced 2026-03-02 08:44:50 CET by second.tester",
		"at the moment stated, posted 08:44:30; was 87.0 mm until corrected 08:44:50 by second.tester",
		"Handed over to second.tester, id u2, 2026-03-02 08:35:10 CET",
		"Ticks taken back: 2 (Looked over, inside and out).",
		"Begun again.", "Bell: end of the hold, rung 9 s late.", "Reading 7 corrected: 87.0 mm → 78.0 mm.",
		"Note: goes to the workshop duty.officer", "Neither temperature nor barometer was read.",
		"Left out: the temperature of the air",
	)
}

// TestRecordsWithoutAVerdict: a record says plainly that there is none, and why.
func TestRecordsWithoutAVerdict(t *testing.T) {
	s := opens(t, suit("HP-07"), "en943", "M-4")
	open := mustRecord(t, s.input())
	contains(t, open, "STILL OPEN, NO VERDICT YET", "NOT YET: this record is not complete", "no statement of conformity is made",
		"LAPSED when tested", "10 of 10 items of the prepare list not ticked", "NOT TICKED", "None was taken.")
	lacksWords(t, open, "PASS", "FAIL", "Specification met")

	s.does(time.Minute, core.Tick{Items: []int{1}})
	s.does(time.Minute, core.Bad{Item: 2, What: "hole in the left glove"})
	s.does(time.Minute, core.NothingFitted{})
	bad := mustRecord(t, s.input())
	contains(t, bad, "FAIL", "Defect seen, not inflated.", "Seen: “hole in the left glove”. Not inflated.", "no pressure was measured",
		"Defect at item 2 (Looked over, inside and out): hole in the left glove", "Not needed: nothing had been shut")
	lacksWords(t, bad, "Decision rule", "Note: hole")

	s = passesUntilHold(t)
	s.does(time.Minute, core.Stop{Why: "alarm at the quay"})
	contains(t, mustRecord(t, s.input()), "STOPPED, NO VERDICT", "Stopped without a verdict: alarm at the quay.", "The test was stopped before its end.")

	s = opens(t, suit("HP-07"), "en943", "M-4")
	s.does(0, core.Tick{All: true})
	s.reads(time.Minute, "17.5")
	s.reads(10*time.Minute, "16.5")
	s.reads(6*time.Minute, "15.2")
	contains(t, mustRecord(t, s.input()), "NO VERDICT", "Not decided: the test must be repeated.", "The calibration of M-4 lapsed on 2025-01-31.", "The manometer was not in calibration.")
}

// TestRecordOfAVerdictTakenBack: a verdict that does not stand is no verdict,
// and the reading it was given on no ending pressure.
func TestRecordOfAVerdictTakenBack(t *testing.T) {
	s := passesUntilHold(t)
	s.reads(3*time.Minute, "12.4")
	s.does(10*time.Second, core.Fix{Digits: "15.4"})
	pdf := mustRecord(t, s.input())
	contains(t, pdf, "STILL OPEN, NO VERDICT YET", "fail, SUPERSEDED, rules 2 Beyond the limit 3 min before the bell.", "taken back 2026-03-02 08:44:10 CET by bench.tester",
		"Verdict taken back: the hold goes on.")
	lacksWords(t, pdf, "ending pressure 2026")
}

// passesUntilHold plays a run into its hold.
func passesUntilHold(t testing.TB) *scene {
	t.Helper()
	s := opens(t, suit("HP-07"), "en943", "M-1")
	s.does(0, core.Tick{All: true})
	s.reads(time.Minute, "17.5")
	s.reads(10*time.Minute, "16.5")
	return s
}

// TestRecordOfOneRunAmongOthers: entries of other runs of the suit change
// nothing, and a release after the next test is about that one.
func TestRecordOfOneRunAmongOthers(t *testing.T) {
	s := passes(t)
	alone := mustRecord(t, s.input())
	in := s.input()
	other := core.Entry{At: s.now.Add(time.Hour), By: second, Suit: "HP-07", Run: 43, Fact: s.entries[0].Fact}
	before := other
	before.Run, before.At = 41, morning.Add(-time.Hour)
	in.Entries = append([]core.Entry{before}, in.Entries...)
	in.Entries = append(in.Entries, other, core.Entry{At: s.now.Add(2 * time.Hour), By: officer, Suit: "HP-07", Fact: core.Released{}})
	if !bytes.Equal(alone, mustRecord(t, in)) {
		t.Error("entries that are not about the run have changed its record")
	}
}

// TestRecordOfALatePhoto: what came to the run after the next one had begun is
// on its record.
func TestRecordOfALatePhoto(t *testing.T) {
	s := passes(t)
	in := s.input()
	next := core.Entry{At: s.now.Add(time.Hour), By: second, Suit: "HP-07", Run: 43, Fact: s.entries[0].Fact}
	in.Entries = append(in.Entries, next)
	sum := core.Sum(sha256.Sum256([]byte("a picture")))
	for _, fact := range []core.Fact{
		core.PhotoPosted{File: "f1", With: core.Link{To: core.WithPhase, Phase: core.Over}}, core.PhotoKept{File: "f1", Sum: sum},
	} {
		in.Entries = append(in.Entries, core.Entry{At: s.now.Add(24 * time.Hour), By: tester, Suit: "HP-07", Run: 42, Fact: fact})
	}
	contains(t, mustRecord(t, in), "no name after the run was closed, 2026-03-03 08:49:57 CET, bench.tester "+sum.String()+" file f1")
}

// TestRecordPages: a test with all that belongs to it goes on two pages of
// either paper, by each method.
func TestRecordPages(t *testing.T) {
	for _, tt := range []struct{ method, gauge, expansion, topUp, test, between, end string }{
		{"en943", "M-1", "17.5", "17.55", "16.5", "15.9", "15.2"},
		{"f1052", "M-2", "125.0", "125.5", "100.0", "96.0", "91.4"},
		{"osha", "M-3", "5.00", "5.05", "4.00", "3.90", "3.71"},
	} {
		for _, format := range []Format{A4, Letter} {
			t.Run(tt.method+" "+string(format), func(t *testing.T) {
				s := opens(t, suit("HP-07"), tt.method, tt.gauge)
				s.taps()
				s.reads(time.Minute, tt.expansion)
				s.reads(30*time.Second, tt.topUp)
				s.does(0, core.Air{Celsius: "20.5"})
				s.reads(s.run.Method.ExpansionTime, tt.test)
				s.reads(s.run.Method.Hold/3, tt.between)
				s.reads(s.run.Method.Hold-s.run.Method.Hold/3, tt.end)
				s.does(0, core.Air{Celsius: "20.5"})
				s.does(0, core.Remark{Text: "left glove ring stiff, greased"})
				s.taps()
				in := s.input()
				in.Format, in.Chart = format, s.chart()
				pdf := mustRecord(t, in)
				all := boxes(t, pdf)
				if len(all) != 2 {
					t.Errorf("%d pages", len(all))
				}
				if w := all[0].Width; (w < 600) != (format == A4) {
					t.Errorf("the paper is %v points wide", w)
				}
				laidOutWell(t, pdf)
				framed(t, pdf, recordHeadings...)
			})
		}
	}
}

// recordHeadings are what no page of a record may end with.
var recordHeadings = []string{
	"Station Record", "Station", "Record", "Verdict and statement of conformity",
	"Earlier verdicts of this run, all superseded", "Given Verdict Why and figures What became of it",
	"Suit Method", "Suit", "Method", "Persons", "Manometer",
	"Where the method's numbers come from", "Number Source How sure it is",
	"Readings", "No Phase True at In hold As written With By How it counts", "No Phase True at In hold As written Value, mbar With By How it counts",
	"Times", "Air around the suit", "Times Air around the suit",
	"Course of the run", "Defects, leaks and notes", "Moment What By",
	"Prepare list Unplug and put away", "Prepare list", "Unplug and put away", "No Item Ticked, by, how No Item Ticked, by, how", "No Item Ticked, by, how",
	"Photos, kept apart from this record", "Name Posted SHA-256, file of the chat server",
	"Additions to, deviations from and exclusions from the method", "Cautions",
}

// longWords are what people may type at worst.
var longWords = []string{
	strings.Repeat("W", 12000),
	strings.Repeat("the zip is stiff at the dock ", 500),
	strings.Repeat("a\n", 3000),
	strings.Repeat("漢字🙂", 300),
	"e\u0301\u202eevil\u0000 Łódź Καλημέρα Київ שלום",
}

// TestLongWords: however long a text is, it stays in its place, and the pages
// have their heads and feet.
func TestLongWords(t *testing.T) {
	for i, words := range longWords {
		t.Run(fmt.Sprint(i), func(t *testing.T) {
			on := suit("HP-07" + words[:min(len(words), 40)])
			on.Serial, on.Maker, on.Model, on.Material, on.Place, on.Remarks, on.Size = words, words, words, words, words, words, words
			s := opens(t, on, "en943", "M-1")
			s.by.Name += words[:min(len(words), 64)]
			s.does(0, core.Remark{Text: words})
			s.does(0, core.Tick{Items: []int{1}})
			s.does(0, core.Bad{Item: 2, What: words})
			s.enters(42, core.PhotoPosted{File: "f1", Name: words, Caption: words, With: core.Link{To: core.WithDefect, N: 2, Phase: core.Prepare}})
			in := s.input()
			in.Station.Name += " " + words[:min(len(words), 200)]
			pdf := mustRecord(t, in)
			laidOutWell(t, pdf)
			framed(t, pdf, recordHeadings...)
			if _, lacks := clean(words); lacks {
				contains(t, pdf, "□ stands for a character that this typeface does not have.")
			} else {
				lacksWords(t, pdf, "□")
			}
			if all := text(t, pdf); strings.ContainsAny(all, "\u202e\u0000") {
				t.Error("a character that steers the layout is in it")
			}
		})
	}
}

// TestRecordOfALongRun: thirty readings, three hand-overs, people and places with
// long names in three alphabets, and long notes go in whole and stand well.
func TestRecordOfALongRun(t *testing.T) {
	on := suit("HP-07")
	on.Place, on.Maker = "Ærøskøbing, Φορτηγό 12, left side, upper locker", "Žďárské ochranné obleky, příklad (invented)"
	s := opens(t, on, "en943", "M-1")
	s.taps()
	s.reads(time.Minute, "17.5")
	for n := range 14 {
		s.reads(40*time.Second, fmt.Sprintf("17.%d", 4-n%3))
		s.reads(2*time.Second, "17.5")
	}
	names := []string{"dobrosława.wiśniewska-brzęczyszczykiewicz", "νίκος.παπαδόπουλος", "святослав.красно-переможенко"}
	for n, name := range names {
		to := core.Person{ID: fmt.Sprint("u", 8+n), Name: name}
		s.does(10*time.Second, core.HandOver{To: to})
		s.by = to
	}
	s.does(0, core.Air{Celsius: "20.5"})
	s.reads(time.Minute, "16.5")
	note := "Ο δακτύλιος του αριστερού γαντιού είναι σκληρός, Щёлково, Łódź; " + strings.Repeat("greased and looked at once more ", 12) + "end of it"
	s.does(time.Minute, core.Remark{Text: note})
	s.reads(s.run.HoldEnds().Sub(s.now), "15.2")
	s.taps()
	if n := len(s.run.Readings); n != 31 {
		t.Fatalf("%d readings", n)
	}
	for _, format := range []Format{A4, Letter} {
		in := s.input()
		in.Chart, in.Format = s.chart(), format
		pdf := mustRecord(t, in)
		laidOutWell(t, pdf)
		framed(t, pdf, recordHeadings...)
		contains(t, pdf, "Note: "+note, on.Maker, "Kept at "+on.Place)
		plain := strings.ReplaceAll(text(t, pdf), " ", "") // a long name is broken in a narrow column
		for _, want := range append(names, "31 hold: ending pressure 2026-03-02") {
			if !strings.Contains(plain, strings.ReplaceAll(want, " ", "")) {
				t.Errorf("%q is not in it", want)
			}
		}
		lacksWords(t, pdf, "□")
		if n := len(boxes(t, pdf)); n != 3 {
			t.Errorf("%d pages", n)
		}
	}
}

// TestLongWordsAreWhole: nothing of a long note is lost where pages part it.
func TestLongWordsAreWhole(t *testing.T) {
	var words strings.Builder
	for n := range 3000 {
		fmt.Fprintf(&words, "w%04d ", n)
	}
	s := passes(t)
	s.does(0, core.Remark{Text: words.String()})
	all := text(t, mustRecord(t, s.input()))
	last := -1
	for n := range 3000 {
		i := strings.Index(all, fmt.Sprintf("w%04d", n))
		if i <= last {
			t.Fatalf("word %d of the note is not where it should be", n)
		}
		last = i
	}
}

// TestScripts: letters of the scripts that the typeface has come out as such.
func TestScripts(t *testing.T) {
	s := passes(t)
	for _, words := range []string{"Łódź Ærøskøbing Győr", "Καλημέρα κόσμε", "Щёлково Київ"} {
		s.does(time.Second, core.Remark{Text: words})
	}
	pdf := mustRecord(t, s.input())
	contains(t, pdf, "Łódź Ærøskøbing Győr", "Καλημέρα κόσμε", "Щёлково Київ")
	lacksWords(t, pdf, "□")
}

// TestRecordIsTheSame: the same input makes the same bytes, also when several
// are made at once.
func TestRecordIsTheSame(t *testing.T) {
	s := fails(t)
	in := s.input()
	in.Chart = s.chart()
	first := mustRecord(t, in)
	var all sync.WaitGroup
	for range 8 {
		all.Go(func() {
			again, err := Record(in)
			if err != nil || !bytes.Equal(first, again) {
				t.Errorf("made again, it is not the same: %v", err)
			}
		})
	}
	all.Wait()
	in.Head.Seq++
	if bytes.Equal(first, mustRecord(t, in)) {
		t.Error("made from another journal, it is the same")
	}
}

// TestCreationDate: a document says it was made at the moment of the last
// entry, and never asks the clock.
func TestCreationDate(t *testing.T) {
	s := passes(t)
	in := s.input()
	if pdf := mustRecord(t, in); !bytes.Contains(pdf, []byte("/CreationDate (D:20260302074957)")) {
		t.Error("it was not made at the moment of the last entry")
	}
	in.Head.At = time.Date(2027, time.May, 4, 10, 0, 0, 0, time.UTC)
	pdf := mustRecord(t, in)
	if !bytes.Contains(pdf, []byte("/CreationDate (D:20270504100000)")) {
		t.Error("it was not made at the moment of the journal's last entry")
	}
	contains(t, pdf, "Issued 2027-05-04 12:00:00 CEST")
}

func TestRecordRefuses(t *testing.T) {
	s := passes(t)
	in := s.input()
	in.Run = 7
	if _, err := Record(in); !errors.Is(err, errEntries) {
		t.Errorf("a run that is not there: %v", err)
	}
	in = s.input()
	in.Entries = in.Entries[1:]
	if _, err := Record(in); !errors.Is(err, errEntries) {
		t.Errorf("a run without its beginning: %v", err)
	}
	if _, err := Record(RecordInput{}); !errors.Is(err, errEntries) {
		t.Errorf("nothing: %v", err)
	}
	in = s.input()
	in.Format = "A5"
	if _, err := Record(in); err == nil || !strings.Contains(err.Error(), `"A5"`) {
		t.Errorf("another paper: %v", err)
	}
	in = s.input()
	in.Chart = []byte("no picture")
	if _, err := Record(in); err == nil || !strings.Contains(err.Error(), "chart") {
		t.Errorf("a chart that is none: %v", err)
	}
}

// TestChartsOfAnyKind: a picture that a PDF cannot hold as it is goes in all
// the same.
func TestChartsOfAnyKind(t *testing.T) {
	place := image.Rect(0, 0, 30, 20)
	clear := image.NewPaletted(place, color.Palette{color.Transparent, color.Black})
	for _, img := range []image.Image{
		image.NewNRGBA(place), image.NewNRGBA64(place), image.NewGray16(place), clear, image.NewPaletted(place, color.Palette{color.White}),
	} {
		var chart bytes.Buffer
		if err := png.Encode(&chart, img); err != nil {
			t.Fatal(err)
		}
		in := passes(t).input()
		in.Chart = chart.Bytes()
		contains(t, mustRecord(t, in), "End of record R-0042")
	}
}

// TestRecordBeforeUnplugging: until the list after it is complete, a record with
// a pass says that the suit is not fit, beside the verdict and at the head of its
// pages, and is not green; then it says that it tells no standing.
func TestRecordBeforeUnplugging(t *testing.T) {
	s := opens(t, suit("HP-07"), "en943", "M-1")
	s.does(0, core.Tick{All: true})
	s.reads(time.Minute, "17.5")
	s.reads(10*time.Minute, "16.5")
	s.reads(6*time.Minute, "15.1")
	b := func() banner {
		c, err := newCourse(s.run.ID, s.entries, harrowPoint(t))
		if err != nil {
			t.Fatal(err)
		}
		r := record{course: c}
		return r.banner()
	}
	const claim = "This is what the run came to. It does not tell whether the suit may be worn today."
	if b := b(); b != (banner{"PASS, NOT FIT YET", black, heavy}) {
		t.Errorf("with the plugs in, the banner is %+v", b)
	}
	pdf := mustRecord(t, s.input())
	contains(t, pdf, "PASS, NOT FIT YET", "Test record R-0042, HP-07, NOT FIT YET", "NOT FIT YET: plugs and adapter are still in", "Rules rules 2")
	lacksWords(t, pdf, claim)
	for n := range s.run.RestoreList[1:] {
		s.does(time.Second, core.Tick{Items: []int{n + 1}, ByTap: true})
	}
	contains(t, mustRecord(t, s.input()), "PASS, NOT FIT YET", "NOT FIT YET: not put away")
	s.does(time.Second, core.Tick{Items: []int{len(s.run.RestoreList)}, ByTap: true})
	if b := b(); b != (banner{"PASS", green, boxed}) {
		t.Errorf("once the run is closed, the banner is %+v", b)
	}
	pdf = mustRecord(t, s.input())
	contains(t, pdf, claim)
	lacksWords(t, pdf, "NOT FIT YET")
}

// TestRules: every verdict names the rules that it was given by; the first ones
// had no number then.
func TestRules(t *testing.T) {
	for rules, want := range map[int]string{0: "rules 1", 1: "rules 1", 2: "rules 2"} {
		if got := rulesWords(core.Verdict{Rules: rules}); got != want {
			t.Errorf("version %d is %q, want %q", rules, got, want)
		}
	}
}

// TestRecordOfEveryBeginning: a run has a record at each of its moments.
func TestRecordOfEveryBeginning(t *testing.T) {
	for _, s := range []*scene{passes(t), fails(t)} {
		for n := range s.entries {
			in := s.input()
			in.Entries = in.Entries[:n+1]
			if pdf := mustRecord(t, in); n%6 == 0 {
				laidOutWell(t, pdf)
			}
		}
	}
}
