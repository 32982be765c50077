package rehearsal

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"log/slog"
	"math"
	"os/exec"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"golang.org/x/text/unicode/norm"

	"benchbell/bot/chat"
	"benchbell/bot/config"
	"benchbell/bot/document"
	"benchbell/bot/paper"
	"benchbell/commands"
	"benchbell/core"
	"benchbell/store"
)

// The records of all runs of all scripts, held to what stands in the journal.
// What a record must have is worked out here from the entries, not by the code
// that makes the record; the record is read back by programs of Poppler.

// poppler runs one of its programs on a document and returns what it writes.
func poppler(t *testing.T, program string, pdf []byte, args ...string) []byte {
	t.Helper()
	cmd := exec.CommandContext(t.Context(), installed(t, program, "poppler-utils"), args...)
	cmd.Stdin = bytes.NewReader(pdf)
	var errs bytes.Buffer
	cmd.Stderr = &errs
	out, err := cmd.Output()
	if err != nil || errs.Len() > 0 {
		t.Fatalf("%s %v: %v\n%s", program, args, err, errs.String())
	}
	return out
}

// squashed is a text without blanks, since lines may be broken anywhere.
func squashed(s string) string { return strings.Join(strings.Fields(norm.NFC.String(s)), "") }

// An audit looks for what a record must have.
type audit struct {
	t     *testing.T
	zone  *time.Location
	text  string // of all pages, squashed
	pages []string
}

// has looks for words that must be there just so.
func (a audit) has(item string, words ...any) {
	a.t.Helper()
	if want := squashed(fmt.Sprint(words...)); !strings.Contains(a.text, want) {
		a.t.Errorf("%s: %q is not on the record", item, want)
	}
}

// matches looks for words that stand before, between and behind others: each
// word is either a pattern or a text.
func (a audit) matches(item string, words ...any) {
	a.t.Helper()
	var pattern strings.Builder
	for _, w := range words {
		if p, ok := w.(like); ok {
			pattern.WriteString(string(p))
			continue
		}
		pattern.WriteString(regexp.QuoteMeta(squashed(fmt.Sprint(w))))
	}
	if !regexp.MustCompile(pattern.String()).MatchString(a.text) {
		a.t.Errorf("%s: nothing on the record is like %q", item, pattern.String())
	}
}

// like is a pattern among words that are looked for.
type like string

func (a audit) moment(at time.Time) string {
	return at.In(a.zone).Format("2006-01-02 15:04:05 MST")
}

// near is a moment that may be told by the clock alone.
func (a audit) near(at time.Time) like {
	at = at.In(a.zone)
	return like("(?:" + at.Format("2006-01-02") + ")?" + at.Format("15:04:05") + `(?:[A-Z]+)?`)
}

// registered is what the register says, or that it says nothing.
func registered(s fmt.Stringer, none bool) string {
	if none {
		return "not in the register"
	}
	return s.String()
}

func registeredText(s string) string {
	if strings.TrimSpace(s) == "" {
		return "not in the register"
	}
	return s
}

func (a audit) suit(s core.Suit) {
	a.has("tag", "Suit", s.Tag)
	a.has("serial number", "Serial number", registeredText(s.Serial))
	a.has("maker", "Maker", registeredText(s.Maker))
	a.has("model", "Maker's model", registeredText(s.Model))
	a.has("material", "Material", registeredText(s.Material))
	a.has("size", "Size", registeredText(s.Size))
	a.has("made and purchased", "Made, purchased", registered(s.Made, s.Made.IsZero()), ",", registered(s.Purchased, s.Purchased.IsZero()))
	a.has("in service", "In service", registered(s.InService, s.InService.IsZero()))
	a.has("end of life", "End of life", registered(s.EndOfLife, s.EndOfLife.IsZero()))
	a.has("place", "Kept at", registeredText(s.Place))
	a.has("remarks", "Remarks", registeredText(s.Remarks))
	if s.Fittings.ExhaustValves > 0 {
		a.has("exhaust valves", s.Fittings.ExhaustValves, "exhaust valve")
	}
	for name, has := range map[string]bool{"glove rings": s.Fittings.GloveRings, "ventilating valve": s.Fittings.VentilatingValve, "pass-through": s.Fittings.PassThrough} {
		if has {
			a.matches("fittings", "Fittings", like(".{0,90}?"), name)
		}
	}
	if !s.MakerA.IsZero() {
		a.has("maker's pressures", "expansion A ", s.MakerA, ", test B ", s.MakerB)
	}
}

func (a audit) method(m core.Method) {
	a.has("method", "Method", m.Title, "(", m.Key, ")")
	a.has("source", "Source", m.Source)
	a.has("expansion", "Expansion", m.Expansion.Target)
	a.has("test pressure", "Test pressure", m.Test.Target)
	a.has("hold", "Hold", int(m.Hold.Minutes()), "min, suit not touched")
	switch l := m.Limit; {
	case !l.Drop.IsZero():
		a.has("limit", "Limit drop at most", l.Drop, "in", int(m.Hold.Minutes()), "min")
	case !l.Floor.IsZero():
		a.has("limit", "Limit ending at least", l.Floor)
	default:
		a.has("limit", "Limit ending at least", l.Num, "/", l.Den, "of the start")
	}
	for _, p := range m.Provenance {
		a.has("provenance", p.What, p.Source, string(p.Certainty))
	}
}

func (a audit) manometer(m core.Manometer, on core.Date) {
	permissible := "not known"
	if !m.Permissible.IsZero() {
		permissible = "± " + m.Permissible.String()
	}
	calibrated := "NEVER"
	if !m.CalibratedUntil.IsZero() {
		calibrated = "until " + m.CalibratedUntil.String() + ": valid when tested"
		if m.CalibratedUntil.Before(on) {
			calibrated = "until " + m.CalibratedUntil.String() + ": LAPSED when tested"
		}
	}
	a.matches("manometer", "Manometer", m.ID, ", of the station's register Maker", registeredText(m.Maker), "Serial number", registeredText(m.Serial),
		"Reads in", m.Unit, like(".{0,80}?"), "Resolution", m.Resolution, "Permissible error", permissible,
		like(".{0,60}?"), "Calibrated on", registered(m.CalibratedOn, m.CalibratedOn.IsZero()), "Calibrated", calibrated)
}

func (a audit) reading(r core.Reading) {
	value := like(`[0-9.]*`) // in the method's unit, if it is another
	how := "as posted"
	switch {
	case r.Stated:
		how = "at the moment stated, posted " + r.Posted.In(a.zone).Format("15:04:05")
	case !r.Posted.Equal(r.Taken):
		how = "at the bell, posted " + r.Posted.In(a.zone).Format("15:04:05")
	}
	a.matches(fmt.Sprint("reading ", r.N), r.N, like(`(?:prepare|expansion|hold|unplugandputaway)[a-z:,0-9]*?`), a.moment(r.Taken), like(`(?:[-−]?\d+:\d\d)?`),
		r.Written, value, r.Manometer, r.By.Name, how)
}

// reasons are words that stand for the reason of a verdict.
var reasons = map[core.Reason]string{
	core.OnTime: "Read at the bell", core.LateWithin: "late and still within", core.EarlyBeyond: "Beyond the limit", core.Bracketed: "the readings around the bell say",
	core.DefectByEye: "Seen:", core.LateBeyond: "late", core.BeyondAtBell: "beyond the limit at the bell already", core.TooLate: "after more than twice the hold", core.Rise: "The pressure rose", core.Jump: "faster than any leak", core.StartOutside: "is outside",
	core.ManometerStale: "lapsed on", core.ExpansionVoided: "A reading of the expansion", core.CutShort: "cut short",
	core.AirHides: "may hide a fail", core.GuardBand: "Within the limit by less than",
}

// number looks for a number in the place of the pattern's parentheses that is
// the one wanted, rounded to its last digit.
func (a audit) number(item string, want float64, pattern string) {
	a.t.Helper()
	found := regexp.MustCompile(pattern).FindAllStringSubmatch(a.text, -1)
	for _, m := range found {
		_, decimals, _ := strings.Cut(m[1], ".")
		v, err := strconv.ParseFloat(m[1], 64)
		if err == nil && math.Abs(v-want) <= 0.5000001*math.Pow10(-len(decimals)) {
			return
		}
	}
	a.t.Errorf("%s: none of the numbers %q is %v", item, found, want)
}

// verdict checks the verdict that stands.
func (a audit) verdict(v core.Verdict, run core.Run, at time.Time, by core.Person) {
	banner := strings.ToUpper(string(v.Outcome))
	if v.Outcome == core.Pass && run.Phase != core.Over {
		banner += ", NOT FIT YET"
	} else if v.Outcome == core.Pass && run.FoundBad {
		banner += ", THEN A DEFECT: NOT FIT"
	}
	a.has("verdict", banner, run.Suit.Tag, "by")
	a.has("rules", "rules ", max(1, v.Rules), ", those in force")
	words := map[core.Outcome]string{core.Pass: "Specification met.", core.Fail: "Specification NOT MET", core.NoVerdict: "Not decided: the test must be repeated."}
	a.has("statement of conformity", words[v.Outcome])
	if reasons[v.Reason] == "" {
		a.t.Fatalf("no words for the reason %q", v.Reason)
	}
	a.matches("reason", "Why", like(".{0,200}?"), reasons[v.Reason])
	a.has("who brought the verdict", "Given", a.moment(at), "on what", by.Name, "posted")
	if v.Reason == core.DefectByEye {
		a.has("the defect of the verdict", v.Defect)
	}
	if v.End.N == 0 {
		return
	}
	rule := "simple acceptance"
	if v.Rule == core.Guarded {
		rule = "guarded acceptance"
	}
	a.has("decision rule", "Decision rule", rule)
	a.has("what it rests on", v.Start.Written, "→", v.End.Written)
	u := run.Method.Unit
	one := u.One().Pascals()
	switch {
	case !run.Method.Limit.Floor.IsZero() && v.AtBellHigh != 0:
		a.number("margin", v.AtBellLow.Pascals()/one, `Atthebell([0-9.]+)–[0-9.]+`+regexp.QuoteMeta(u.String()))
		a.number("margin", v.AtBellHigh.Pascals()/one, `Atthebell[0-9.]+–([0-9.]+)`+regexp.QuoteMeta(u.String()))
	case !run.Method.Limit.Floor.IsZero():
		a.number("margin", v.End.Written.Pressure().Pascals()/one, `Ending([0-9.]+)(?:±[0-9.]+)?`+regexp.QuoteMeta(u.String()))
	case v.AtBellHigh == 0:
		a.number("margin", (v.Start.Written.Pressure().Pascals()-v.End.Written.Pressure().Pascals())/one, `Drop([-−]?[0-9.]+)(?:±[0-9.]+)?`+regexp.QuoteMeta(u.String()))
	default:
		a.matches("margin", "Drop at the bell", like(`[0-9.]+`))
	}
	if v.Expanded != 0 {
		a.number("expanded uncertainty", v.Expanded.Pascals()/one, `±([0-9.]+)`+regexp.QuoteMeta(u.String())+`\(k=2\)`)
		if v.Outcome != core.NoVerdict {
			a.has("probability", "sure that it is within the limit")
		}
		a.has("what the uncertainty is made of", "Standard uncertainties:")
	}
}

func (a audit) list(name string, checks []core.Check, run core.Run) {
	for i, c := range checks {
		words := commands.Task(c.Item, run)
		switch {
		case !c.Done:
			a.has(name, i+1, words, "NOT TICKED")
		case c.ByTap:
			a.matches(name, i+1, words, a.near(c.At), ",", c.By.Name, ", tap")
		default:
			a.matches(name, i+1, words, a.near(c.At), ",", c.By.Name, ", words")
		}
	}
}

// walk goes through the entries of a run and looks for each on the record.
func (a audit) walk(entries []core.Entry) {
	type given struct {
		core.Verdict
		at     time.Time
		by     core.Person
		undone bool
	}
	run := core.Replay(entries)
	on := core.DateAt(run.Opened, a.zone)
	if !run.HeldAt.IsZero() {
		on = core.DateAt(run.HeldAt, a.zone)
	}
	var verdicts []given
	undo := func() {
		if n := len(verdicts); n > 0 {
			verdicts[n-1].undone = true
		}
	}
	var stopped *core.Entry
	written := make(map[int]core.Written) // of each reading, as it stands
	for _, e := range entries {
		switch f := e.Fact.(type) {
		case core.Opened:
			a.has("opened", "Suit received", a.moment(e.At))
			a.has("tester", "Tester", e.By.Name)
			a.suit(f.Suit)
			a.method(f.Method)
			a.manometer(f.Manometer, on)
		case core.ManometerChosen:
			a.manometer(f.Manometer, on)
			a.has("manometer chosen", a.moment(e.At), "Manometer", f.Manometer.ID, "taken.")
		case core.HandedOver:
			a.matches("handed over", "Handed over to", f.To.Name, like(".{0,40}?"), a.moment(e.At))
			right := "."
			if f.Why != "" {
				right = ", since " + string(f.Why) + "."
			}
			a.has("handed over", a.moment(e.At), "Handed over to", f.To.Name, right, e.By.Name)
		case core.Taken:
			written[f.Reading.N] = f.Reading.Written
		case core.Corrected:
			a.has("correction", "was", written[f.N], "until corrected", e.At.In(a.zone).Format("15:04:05"), "by", e.By.Name)
			a.has("correction", a.moment(e.At), "Reading", f.N, "corrected:", written[f.N], "→", f.Written, ".", e.By.Name)
			written[f.N] = f.Written
			a.has("deviation", "Corrected after it was posted, both values on record: reading")
		case core.Questioned:
			a.has("doubted", a.moment(e.At), f.Reading.Written, "doubted, not taken: asked whether it is", f.Perhaps)
		case core.ExpansionStarted:
			a.has("expansion", a.moment(e.At), "Expansion begins with reading", f.N)
		case core.ExpansionVoid:
			a.has("expansion void", a.moment(e.At), "Expansion void")
		case core.HoldStarted:
			a.has("hold", a.moment(e.At), "Hold begins with reading", f.N)
		case core.HoldVoid:
			a.has("hold void", a.moment(e.At), "Hold void")
		case core.HoldResumed:
			undo()
			a.has("hold resumed", a.moment(e.At), "Verdict taken back")
		case core.Again:
			undo()
			stopped = nil
			why := ""
			if f.Why != "" {
				why = ": " + f.Why
			}
			a.has("again", a.moment(e.At), "Begun again"+why+".")
		case core.NoneFitted:
			a.has("nothing fitted", a.moment(e.At), "Nothing was fitted, by the tester's word.", e.By.Name)
		case core.Rung:
			switch {
			case f.Quiet:
			case f.Bell == core.BellExpansion:
				a.has("bell", a.moment(e.At), "Bell: end of the expansion")
			case f.Bell == core.BellHold:
				a.has("bell", a.moment(e.At), "Bell: end of the hold")
			}
		case core.Judged:
			undo()
			verdicts = append(verdicts, given{f.Verdict, e.At, e.By, false})
			a.has("verdict", a.moment(e.At), "Verdict:", strings.ToUpper(string(f.Verdict.Outcome)))
		case core.Stopped:
			stopped = &e
			a.has("stopped", a.moment(e.At), "Stopped without a verdict", strings.TrimSuffix(": "+f.Why, ": "))
		case core.Unticked:
			a.has("tick taken back", a.moment(e.At), "Ticks taken back:", f.Items[0], "(")
		case core.DefectSeen:
			a.matches("defect", a.moment(e.At), "Defect at item", f.Item, like(`\(.*?\)`), ":", f.What, e.By.Name)
		case core.AirNoted:
			a.matches("air", a.near(e.At), f.Celsius, "°C,", e.By.Name)
		case core.BaroNoted:
			a.matches("barometer", a.near(e.At), f.Written, ",", e.By.Name)
		case core.MeteringBegun:
			a.has("capacity", a.moment(e.At), "The capacity is to be measured.", e.By.Name)
		case core.MeteringRead:
			a.has("capacity", a.moment(e.At), "Capacity:", f.Reading.Manometer, "read", f.Reading.Written, ".", e.By.Name)
		case core.AirAdded:
			a.has("capacity", a.moment(e.At), "Capacity:", f.Litres, "L of air added.", e.By.Name)
		case core.MeteringCorrected:
			a.matches("capacity", a.moment(e.At), "Capacity: the reading", like("(?:before|after).{0,20}?"), "corrected to", f.Written, ".", e.By.Name)
		case core.MeteringLeft:
			a.has("capacity", a.moment(e.At), "Capacity left unmeasured")
		case core.CapacityMeasured:
			a.has("capacity", a.moment(e.At), "Capacity measured.", e.By.Name)
		case core.PhotoPosted:
			if p, _ := run.Photo(f.File); p.Lost != core.NoPhoto {
				a.has("photo", f.Name, strings.TrimSuffix(": "+f.Caption, ": "), commands.LinkWords(p.With), ",")
				a.matches("photo", a.near(e.At), ",", e.By.Name, like("(?:[0-9a-f]{64}|none:.{0,80}?|notknownyet.{0,60}?)"), "file", f.File)
			}
		case core.PhotoKept:
			a.has("photo", f.Sum.String(), "file", f.File)
		case core.PhotoLost:
			if f.Why != core.NoPhoto {
				a.has("photo", "none:", string(f.Why), "file", f.File)
			}
		case core.LeakFound:
			a.matches("leak", a.moment(e.At), like(`Leak\d+:`), f.Where, e.By.Name)
		case core.Noted:
			a.has("note", a.moment(e.At), "Note:", f.Text, e.By.Name)
		case core.Closed:
			a.has("closed", "Run closed", a.moment(e.At))
		case core.Released:
			a.has("released", "Released by", e.By.Name, ",", a.moment(e.At))
		case core.Ticked: // the lists below tell
		default:
			a.t.Errorf("nobody knows where a record has %T", f)
		}
	}
	for _, r := range run.AllReadings() {
		r.Written = written[r.N]
		a.reading(r)
		if r.Stated {
			a.has("deviation", "Counted at the moment that the tester stated: reading")
		}
	}
	for _, v := range verdicts {
		if v.undone {
			a.has("earlier verdict", "Earlier verdicts of this run")
			a.matches("earlier verdict", a.moment(v.at), string(v.Outcome), ", SUPERSEDED, rules ", max(1, v.Rules), like(".{0,80}?"), reasons[v.Reason])
		}
	}
	switch n := len(verdicts); {
	case n > 0 && !verdicts[n-1].undone:
		a.verdict(verdicts[n-1].Verdict, run, verdicts[n-1].at, verdicts[n-1].by)
	case stopped != nil:
		a.has("no verdict", "STOPPED, NO VERDICT", run.Suit.Tag, "by")
		a.has("no verdict", "no statement of conformity is made")
	default:
		a.has("no verdict", "STILL OPEN, NO VERDICT YET", run.Suit.Tag, "by")
		a.has("no verdict", "no statement of conformity is made")
	}
	a.list("prepare list", run.PrepareList, run)
	switch {
	case run.Phase == core.Over && !run.Shut:
		a.has("list of unplugging", "Not needed: nothing had been shut")
	default:
		a.list("list of unplugging", run.RestoreList, run)
	}
	if run.Phase == core.Restore {
		a.has("not fit", "Test record", run.ID, ",", run.Suit.Tag, ", NOT FIT")
		a.matches("not fit", like("NOTFIT(?:YET)?:"))
	}
	if run.Phase == core.Over {
		a.has("no standing", "It does not tell whether the suit may be worn today.")
	}
	if run.Phase != core.Over {
		a.has("not closed", "NOT YET: this record is not complete")
	}
	if !slices.ContainsFunc(entries, func(e core.Entry) bool { _, ok := e.Fact.(core.Released); return ok }) {
		a.has("not released", "no officer's release is on this record")
	}
	if run.Manometer.CalibratedUntil.Before(on) {
		a.has("deviation", "The manometer was not in calibration.")
	}
	a.has("issued", "Issued", a.moment(entries[len(entries)-1].At))
}

// always checks what every record has.
func (a audit) always(cfg config.Config, id core.RunID, n uint64, head string) {
	a.has("number", "Test record", id)
	a.has("station", "Name", cfg.Name, "Address", cfg.Address)
	a.has("zone", "by the clock of", cfg.Policy.Zone)
	for _, caution := range []string{
		"This result relates only to the item tested", "A pass says nothing on permeation", "on the exhaust valves", "on inward leakage",
		"The maker's instructions and local rules come first. A competent, authorised person decides; the verdict is an aid.",
		"A suit with a plug or an adapter left in its valve can kill its wearer.", "Never test a suit that has not been decontaminated.",
		"Compressed air: a regulator or relief, eye protection, never above the expansion pressure.",
	} {
		a.has("caution", caution)
	}
	for i, page := range a.pages {
		for _, want := range []string{fmt.Sprintf("Page %d of %d", i+1, len(a.pages)), fmt.Sprint("up to entry ", n), head, cfg.Name, "Test record " + id.String()} {
			if !strings.Contains(page, squashed(want)) {
				a.t.Errorf("page %d has no %q", i+1, want)
			}
		}
	}
	if !strings.Contains(a.pages[len(a.pages)-1], squashed("End of record "+id.String())) {
		a.t.Error("the last page has no end")
	}
}

// inside reports words that stand outside of the margins, 15 mm at the sides.
func inside(t *testing.T, pdf []byte) {
	t.Helper()
	const point, side, edge = 25.4 / 72, 15.0, 5.0 // mm
	var doc struct {
		Pages []struct {
			Width  float64 `xml:"width,attr"`
			Height float64 `xml:"height,attr"`
			Words  []struct {
				XMin float64 `xml:"xMin,attr"`
				YMin float64 `xml:"yMin,attr"`
				XMax float64 `xml:"xMax,attr"`
				YMax float64 `xml:"yMax,attr"`
				Text string  `xml:",chardata"`
			} `xml:"word"`
		} `xml:"body>doc>page"`
	}
	decoder := xml.NewDecoder(bytes.NewReader(poppler(t, "pdftotext", pdf, "-bbox", "-", "-")))
	decoder.Strict = false
	if err := decoder.Decode(&doc); err != nil {
		t.Fatal(err)
	}
	if len(doc.Pages) == 0 {
		t.Error("there is no page")
	}
	for i, page := range doc.Pages {
		for _, w := range page.Words {
			if w.XMin*point < side-0.2 || w.XMax*point > page.Width*point-side+0.2 || w.YMin*point < edge || w.YMax*point > page.Height*point-edge {
				t.Errorf("page %d: %q stands outside: %+v", i+1, w.Text, w)
			}
		}
	}
}

// rendered draws each page and reports what is not white at its edges, where
// printers cannot print, and pages on which there is nothing.
func rendered(t *testing.T, pdf []byte, pages int) {
	t.Helper()
	const dpi, edge = 40, 7 // pixels: 4.4 mm
	out := poppler(t, "pdftoppm", pdf, "-gray", "-r", strconv.Itoa(dpi), "-")
	n := 0
	for ; len(out) > 0; n++ {
		var w, h, most int
		if _, err := fmt.Sscanf(string(out[:min(40, len(out))]), "P5\n%d %d\n%d\n", &w, &h, &most); err != nil {
			t.Fatalf("page %d: %v", n+1, err)
		}
		header := len(fmt.Sprintf("P5\n%d %d\n%d\n", w, h, most))
		pixels := out[header : header+w*h]
		out = out[header+w*h:]
		dark := 0
		for i, grey := range pixels {
			if int(grey) == most {
				continue
			}
			dark++
			if x, y := i%w, i/w; x < edge || y < edge || x >= w-edge || y >= h-edge {
				t.Fatalf("page %d: something is drawn at the edge, at %d, %d of %d, %d", n+1, x, y, w, h)
			}
		}
		if dark < 1000 {
			t.Errorf("page %d is nearly empty: %d pixels", n+1, dark)
		}
	}
	if n != pages {
		t.Errorf("%d pages are drawn of %d", n, pages)
	}
}

// runsOf returns the runs of a store in the order in which they were opened,
// each with its entries and an officer's release that came before the suit's
// next run.
func runsOf(t *testing.T, st *store.Store) (order []core.RunID, of map[core.RunID][]core.Entry) {
	t.Helper()
	of = make(map[core.RunID][]core.Entry)
	latest := make(map[string]core.RunID) // of a suit, once it is closed
	for e, err := range st.Entries(1) {
		if err != nil {
			t.Fatal(err)
		}
		switch e.Fact.(type) {
		case core.Opened:
			order = append(order, e.Run)
			delete(latest, e.Suit)
		case core.Closed:
			latest[e.Suit] = e.Run
		case core.Released:
			if run, ok := latest[e.Suit]; ok {
				of[run] = append(of[run], e)
			}
		}
		if e.Run != 0 {
			of[e.Run] = append(of[e.Run], e)
		}
	}
	return order, of
}

// everyRunHasItsRecord makes the record of every run of a played script, open ones
// too, on both papers, and misses nothing on any.
func everyRunHasItsRecord(t *testing.T, st *store.Store, cfg config.Config) {
	notInShort(t)
	cfg.Address = "Gate 3, Quay Road (invented)"
	n, head, err := st.Head()
	if err != nil {
		t.Fatal(err)
	}
	order, of := runsOf(t, st)
	for i, id := range order {
		for _, format := range []paper.Format{paper.A4, paper.Letter} {
			t.Run(fmt.Sprintf("%s/%s", id, format), func(t *testing.T) {
				cfg := cfg
				cfg.Paper = format
				documents := document.NewMaker(st, cfg, slog.Default())
				ref := chat.Doc{Kind: chat.RecordDoc, Run: id, Seq: n}.String()
				_, made, err := documents.Make(ref)
				if err != nil {
					t.Fatal(err)
				}
				text := string(poppler(t, "pdftotext", made, "-raw", "-", "-"))
				a := audit{t: t, zone: cfg.Policy.Zone, text: squashed(text)}
				for page := range strings.SplitSeq(strings.TrimSuffix(text, "\f"), "\f") {
					a.pages = append(a.pages, squashed(page))
				}
				a.always(cfg, id, n, head.String())
				a.walk(of[id])
				inside(t, made)
				held := core.Replay(of[id]).HeldBy != 0
				if held && !bytes.Contains(made, []byte("/Subtype /Image")) {
					t.Error("a hold was begun, and the record has no chart")
				}
				if i == 0 {
					rendered(t, made, len(a.pages))
					_, again, err := documents.Make(ref)
					if err != nil || !bytes.Equal(again, made) {
						t.Errorf("made again it is not the same, %v", err)
					}
				}
				if t.Failed() {
					t.Log(text)
				}
			})
		}
	}
}
