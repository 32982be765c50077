package paper

import (
	"fmt"
	"slices"
	"strings"

	"benchbell/commands"
	"benchbell/core"
)

// deviations is what was added to the method, left out of it or done in
// another way, as far as the journal shows it.
func (r *record) deviations() table {
	var all []string
	say := func(format string, args ...any) { all = append(all, fmt.Sprintf(format, args...)) }
	for _, p := range r.run.Method.Provenance {
		if p.Certainty == core.OwnRule {
			say("Added: %s; the source states none.", typed(p.What))
		}
	}
	if r.atBell() {
		say("Added: an ending pressure posted close to the bell, up to %s after it, counts as read at the bell (our rule).", commands.Span(core.GraceAfter))
	}
	r.deviationsOfReadings(say)
	if n := r.attempts(); n > 1 {
		say("The test was begun %d times in this run.", n)
	}
	if len(r.gauges) > 1 {
		say("The manometer was changed before the first reading of an attempt.")
	}
	if len(r.testers) > 1 {
		say("The run was handed over: see persons.")
	}
	if m := r.run.Manometer; m.Lapsed(r.day()) {
		say("The manometer was not in calibration.")
	}
	if before, after := r.run.Surroundings(); before.Celsius == "" || after.Celsius == "" {
		say("Left out: the temperature of the air was not read at both ends of the hold.")
	}
	if r.stopped != nil {
		say("The test was stopped before its end.")
	}
	r.unticked(say, "prepare", r.run.PrepareList)
	if r.run.Shut {
		r.unticked(say, "unplugging", r.run.RestoreList)
	}
	if all == nil {
		all = []string{"None recorded."}
	}
	return list("Additions to, deviations from and exclusions from the method", all...)
}

func (r *record) unticked(say func(format string, args ...any), name string, checks []core.Check) {
	if n := len(core.Missing(checks)); n > 0 {
		say("%d of %d items of the %s list are not ticked.", n, len(checks), name)
	}
}

// atBell reports whether the ending pressure counts as read at the bell.
func (r *record) atBell() bool {
	v, ok := r.stands()
	return ok && v.End.N != 0 && !v.End.Stated && v.End.Taken.Equal(v.Bell)
}

// deviationsOfReadings tells of readings that are not just as they were posted.
func (r *record) deviationsOfReadings(say func(format string, args ...any)) {
	var stated, corrected []string
	for _, reading := range r.run.AllReadings() {
		if reading.Stated {
			stated = append(stated, fmt.Sprint(reading.N))
		}
		if len(reading.Was) > 0 {
			corrected = append(corrected, fmt.Sprint(reading.N))
		}
	}
	if stated != nil {
		say("Counted at the moment that the tester stated: reading %s.", strings.Join(stated, ", "))
	}
	if corrected != nil {
		say("Corrected after it was posted, both values on record: reading %s.", strings.Join(corrected, ", "))
	}
	if slices.ContainsFunc(r.given, func(g given) bool { return g.fate != "" }) {
		say("A verdict was given and did not stand: see earlier verdicts.")
	}
}

// cautions stand on every record.
var cautions = []string{
	"This result relates only to the item tested, as it was when it was tested. A retest is recorded as a test of its own.",
	"A pass says nothing on permeation, penetration or degradation of the material, on the exhaust valves, or on inward leakage.",
	"The maker's instructions and local rules come first. A competent, authorised person decides; the verdict is an aid.",
	"A suit with a plug or an adapter left in its valve can kill its wearer. Before use, each exhaust valve must be free and the suit dry.",
	"Never test a suit that has not been decontaminated. Compressed air: a regulator or relief, eye protection, never above the expansion pressure.",
}

// closing is what stands at the end of a record, on one page.
func (r *record) closing() {
	s := r.sheet
	caution := s.lay(list("Cautions", cautions...), margin, s.inner())
	const signatures, above = 16.0, 9.5 // of the lines to sign on; the room above them
	last := lacksNote(s.lacks)
	height := caution.height() + signatures + body.height()*float64(1+len(last))
	s.skip(blockGap)
	s.need(height)
	s.y = s.draw(caution, s.y)
	s.y += above
	third := (s.inner() - 2*gutter) / 3
	for i, what := range []string{"Tested by: name, signature", "Authorised by: name, signature", "Date"} {
		x := margin + float64(i)*(third+gutter)
		s.rule(x, s.y, third, 0.2, black)
		s.line(x, s.y+0.7, third, running, grey, what)
	}
	s.y += signatures - above
	s.end("End of record " + r.run.ID.String())
}

// end closes a document: nothing comes after this line.
func (s *sheet) end(words string) {
	for _, note := range lacksNote(s.lacks) {
		s.need(2 * body.height())
		s.line(margin, s.y, s.inner(), body, grey, note)
		s.y += body.height()
	}
	s.need(body.height())
	s.line(margin, s.y, s.inner(), strong, black, words)
	s.y += body.height()
}

// lacksNote explains the characters that stand for others, if there are any.
func lacksNote(lacks bool) []string {
	if !lacks {
		return nil
	}
	return []string{string(lacking) + " stands for a character that this typeface does not have. The journal has it."}
}
