package paper

import (
	"fmt"
	"math"
	"strings"

	"benchbell/commands"
	"benchbell/core"
)

// banner is the word that a test comes to, in a frame of its own.
type banner struct {
	word  string
	ink   ink
	frame frame
}

// frame is how a banner is framed, each outcome in its own way.
type frame int

const (
	boxed frame = iota
	solid
	dashed
	heavy
)

func (r *record) banner() banner {
	v, ok := r.stands()
	switch {
	case ok && v.Outcome == core.Pass && r.run.Phase != core.Over:
		// Green says that all is well, and it is not before the list is complete.
		return banner{"PASS, NOT FIT YET", black, heavy}
	case ok && v.Outcome == core.Pass && r.run.FoundBad:
		return banner{"PASS, THEN A DEFECT: NOT FIT", black, heavy}
	case ok && v.Outcome == core.Pass:
		return banner{"PASS", green, boxed}
	case ok && v.Outcome == core.Fail:
		return banner{"FAIL", red, solid}
	case ok:
		return banner{strings.ToUpper(string(v.Outcome)), black, dashed}
	case r.stopped != nil:
		return banner{"STOPPED, NO VERDICT", black, dashed}
	case r.run.Phase == core.Over:
		return banner{"NO VERDICT", black, dashed}
	}
	return banner{"STILL OPEN, NO VERDICT YET", black, dashed}
}

// frameWord draws a banner and returns its width and height.
func (s *sheet) frameWord(b banner, x, y float64) (width, height float64) {
	f := face{size: 17, bold: true}
	const pad = 3.5
	capitals := f.size * point * capital
	width, height = s.width(f, b.word)+2*pad, capitals+2*pad
	letters := b.ink
	if b.frame == solid {
		s.block(x, y, width, height, b.ink)
		letters = white
	} else {
		s.pdf.SetDrawColor(b.ink.r, b.ink.g, b.ink.b)
		s.pdf.SetLineWidth(0.7)
		switch b.frame {
		case dashed:
			s.pdf.SetDashPattern([]float64{2, 1.4}, 0)
		case heavy:
			s.pdf.SetLineWidth(1.6)
		}
		s.pdf.Rect(x, y, width, height, "D")
		s.pdf.SetDashPattern(nil, 0)
	}
	s.write(x+pad, y+pad+capitals-f.baseline(), f, letters, b.word)
	return width, height
}

// result is the verdict and what it rests on.
func (r *record) result() {
	s := r.sheet
	s.skip(blockGap + 1)
	width, height := s.frameWord(r.banner(), margin, s.y)
	x, room := margin+width+4, s.inner()-width-4
	f := face{size: 11, bold: true}
	s.line(x, s.y+height/2-f.height(), room, f, black, r.run.Suit.Tag+" by "+r.run.Method.Title)
	s.line(x, s.y+height/2, room, f, black, r.headline())
	s.y += height + 1.2
	for _, line := range s.wrap(f, s.inner(), r.today()) {
		s.line(margin, s.y, s.inner(), f, black, line)
		s.y += f.height()
	}
	s.flow(r.verdict())
	s.flow(r.earlier())
}

// today says what the result means for whoever wants to wear the suit. A paper
// lies about for years, so that of a closed run only says what the run came to.
func (r *record) today() string {
	if not := r.notFit(); not != "" {
		return not + "."
	}
	if r.run.Phase != core.Over {
		return ""
	}
	return "This is what the run came to. It does not tell whether the suit may be worn today."
}

// headline is the result in one line.
func (r *record) headline() string {
	v, ok := r.stands()
	if !ok {
		return "The suit is not tested by this run."
	}
	text, _, _ := strings.Cut(commands.Figures(r.run, v.Verdict), "\n")
	switch {
	case text != "":
		return text
	case v.Reason == core.DefectByEye:
		return "Defect seen, not inflated."
	}
	return strings.ToUpper(string(v.Reason[:1])) + string(v.Reason[1:]) + "."
}

// verdict is the statement of conformity: the result, what it is measured
// against, by which rule, and how far it can be trusted.
func (r *record) verdict() table {
	v, ok := r.stands()
	if !ok {
		why := "The run is not at its end."
		if r.stopped != nil {
			why = fmt.Sprintf("%s %s, %s", r.stopped.what, r.station.moment(r.stopped.at), typed(r.stopped.by.Name))
		}
		return facts("Verdict and statement of conformity", nameWidth, [2]string{"Verdict", "none: no statement of conformity is made"}, [2]string{"Why", why})
	}
	rule := ""
	if v.End.N != 0 {
		rule = ruleWords(r.run, v.Verdict)
	}
	return facts("Verdict and statement of conformity", nameWidth,
		[2]string{"Result", oneLine(commands.Figures(r.run, v.Verdict))},
		[2]string{"Specification", fmt.Sprintf("%s: %s %s", typed(r.run.Method.Title), r.speak.Limit(r.run.Method), conformity(v.Verdict))},
		[2]string{"Why", fmt.Sprintf("%s Given %s on what %s posted.", typed(r.speak.Reason(r.run, v.Verdict)), r.station.moment(v.at), typed(v.by.Name))},
		[2]string{"Decision rule", rule},
		[2]string{"Rules", rulesWords(v.Verdict) + ", those in force when the verdict was given"},
		[2]string{"Uncertainty", r.uncertainty(v.Verdict)},
		[2]string{"Capacity", r.measured()},
		[2]string{"Leak", oneLine(r.speak.Leak(r.run, v.Verdict))},
	)
}

// rulesWords names the version of the rules that a verdict was given by: what
// passed by one version need not by another.
func rulesWords(v core.Verdict) string { return fmt.Sprintf("rules %d", max(1, v.Rules)) }

// measured is the capacity that was measured after the verdict, if it was.
func (r *record) measured() string {
	if r.run.Measured.IsZero() {
		return ""
	}
	return "Measured after the verdict. " + typed(oneLine(r.speak.CapacityWords(r.run.Suit.Tag, r.run.Measured)))
}

// conformity says whether the specification is met.
func conformity(v core.Verdict) string {
	switch {
	case v.Outcome == core.Pass:
		return "Specification met."
	case v.Reason == core.DefectByEye:
		return "Specification NOT MET: a defect was seen at the visual check before it, and no pressure was measured."
	case v.Outcome == core.Fail:
		return "Specification NOT MET: the suit is identified as failing."
	}
	return "Not decided: the test must be repeated."
}

func oneLine(s string) string { return strings.ReplaceAll(s, "\n", " ") }

// ruleWords explains a decision rule. A verdict from before there was a choice
// was given by simple acceptance.
func ruleWords(run core.Run, v core.Verdict) string {
	if v.Rule == core.Guarded {
		band := "its expanded uncertainty"
		if v.Guard != 0 { // else it is one of before the air counted too
			u := run.Method.Unit
			band = fmt.Sprintf("the guard band of %s %s, the expanded uncertainty of the drop and the air together", v.Guard.In(u, 1), u)
		}
		return fmt.Sprintf("%s: a pass must be inside the limit by %s (JCGM 106:2012, 8.3)", v.Rule, band)
	}
	return string(core.Simple) + ": the value read decides; its uncertainty is told beside it (JCGM 106:2012, 8.2)"
}

// uncertainty words how far the figures are known. What was said with the verdict
// counts; it was worked out otherwise once, with the thermometer's resolution in it.
func (r *record) uncertainty(v core.Verdict) string {
	text := r.speak.Certainty(r.run, v)
	if text == "" {
		return ""
	}
	b, _ := r.run.Evidence(v).Budget()
	head, parts, _ := strings.Cut(text, "\n")
	text = lines(head, joined("Standard uncertainties: ", parts))
	if v.Expanded != 0 && math.Abs(b.Expanded()-v.Expanded.Pascals()) > 1e-6 {
		u := r.run.Method.Unit
		text = lines(fmt.Sprintf("When the verdict was given: ± %s %s (k = 2), %s sure. Worked out anew:", v.Expanded.In(u, 1), u, commands.Percent(v.Conforms)), text)
	}
	return text
}

// joined sets the items of a list, and what is said after it, into one paragraph.
func joined(head, items string) string {
	if items == "" {
		return ""
	}
	text := strings.ReplaceAll(strings.TrimPrefix(items, "- "), "\n- ", "; ")
	list, after, _ := strings.Cut(text, "\n")
	return oneLine(lines(head+list+".", after))
}

func lines(all ...string) string {
	var kept []string
	for _, line := range all {
		if line != "" {
			kept = append(kept, line)
		}
	}
	return strings.Join(kept, "\n")
}

// earlier is the verdicts that do not stand any more.
func (r *record) earlier() table {
	t := table{title: "Earlier verdicts of this run, all superseded", ruled: true, columns: []column{
		{head: "Given", width: momentWidth}, {head: "Verdict", width: 34}, {head: "Why and figures"}, {head: "What became of it", width: 56},
	}}
	for _, g := range r.given {
		if g.fate == "" {
			continue
		}
		figures := oneLine(commands.Figures(r.run, g.Verdict))
		t.rows = append(t.rows, rowOf(r.station.moment(g.at), fmt.Sprintf("%s, SUPERSEDED, %s", g.Outcome, rulesWords(g.Verdict)), typed(r.speak.Reason(r.run, g.Verdict)+" "+figures), typed(g.fate)))
	}
	return t
}
