package paper

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"benchbell/commands"
	"benchbell/core"
)

// RecordInput is what a test record is made from.
type RecordInput struct {
	Station Station
	Head    Head
	Format  Format
	// Run is the run that the record is of.
	Run core.RunID
	// Entries are those of the run, in the order of the journal: the run is
	// replayed from them. Other entries of the suit may be among them; an
	// officer's release after the run's end is then on the record.
	Entries []core.Entry
	// Chart is a picture of the hold, a PNG; nothing if there is none.
	Chart []byte
}

// record is a test record in the making.
type record struct {
	*sheet
	course
	speak commands.Speaker
}

// Record makes the test record of a run: a PDF of one or two pages, or as many
// as long notes take. A run that is still open has a record too, which says so.
func Record(in RecordInput) ([]byte, error) {
	c, err := newCourse(in.Run, in.Entries, in.Station)
	if err != nil {
		return nil, fmt.Errorf("test record: %w", err)
	}
	name := fmt.Sprintf("Test record %s, %s", c.run.ID, typed(c.run.Suit.Tag))
	at := in.Head.At
	if at.IsZero() {
		at = c.last
	}
	left := name
	if not, _ := commands.NotFitYet(c.run); not != "" {
		left += ", " + not
	}
	s, err := newSheet(about{station: in.Station, head: in.Head, format: in.Format, name: name, left: left, at: at})
	if err != nil {
		return nil, err
	}
	r := record{sheet: s, course: c, speak: commands.Speaker{Zone: in.Station.zone()}}
	r.opening()
	r.result()
	r.beside(0.5, pane{tables: []table{r.suit(), r.persons()}}, pane{tables: []table{r.method(), r.apparatus()}})
	r.flow(r.numbers())
	r.flow(r.readings())
	if err := r.hold(in.Chart); err != nil {
		return nil, err
	}
	r.flow(r.chronicle())
	r.beside(0.5, pane{tables: []table{r.checklist("Prepare list", r.run.PrepareList)}}, pane{tables: []table{r.unplugList()}})
	r.flow(r.findings())
	r.flow(r.pictures())
	r.flow(r.deviations())
	r.closing()
	return s.finish()
}

// opening is the top of the first page: what this is, whose, and when.
func (r *record) opening() {
	s := r.sheet
	number := r.run.ID.String()
	s.line(margin, s.y, s.inner(), title, black, "Test record")
	s.lineRight(margin, s.y, s.inner(), title, black, number)
	s.y += title.height()
	s.line(margin, s.y, s.inner(), body, grey, "Timed internal-pressure test of a gas-tight chemical protective suit")
	s.lineRight(margin+s.inner()/2, s.y, s.inner()/2, strong, black, r.notFit())
	s.y += body.height()
	s.beside(0.5,
		pane{tables: []table{facts("Station", nameWidth,
			[2]string{"Name", said(r.station.Name)},
			[2]string{"Address", typed(r.station.Address)},
			[2]string{"Performed at", "the station's own bench, for its own use"},
			[2]string{"Moments", r.station.zoneNote(r.run.Opened)},
		)}},
		pane{tables: []table{facts("Record", nameWidth,
			[2]string{"Number", fmt.Sprintf("%s, as of journal entry %d", number, r.head.Seq)},
			[2]string{"Issued", r.station.moment(r.at) + ", from the journal"},
			[2]string{"Suit received", r.station.moment(r.run.Opened)},
			[2]string{"Tested", r.tested()},
			[2]string{"Scope", "the suit itself: no sampling, no results of others"},
			[2]string{"Run closed", r.closed()},
		)}})
}

// notFit says of a run whose suit is still to be unplugged that it is not fit.
func (r *record) notFit() string {
	not, why := commands.NotFitYet(r.run)
	if not == "" {
		return ""
	}
	return not + ": " + why
}

// The widths of the names of facts, and of a moment.
const (
	nameWidth   = 25
	momentWidth = 36
)

// tested tells when the first and the last reading were true.
func (r *record) tested() string {
	if len(r.run.AllReadings()) == 0 {
		return "no reading was taken"
	}
	first, last := r.run.AllReadings()[0].Taken, r.run.AllReadings()[0].Taken
	for _, reading := range r.run.AllReadings() {
		if reading.Taken.Before(first) {
			first = reading.Taken
		}
		if reading.Taken.After(last) {
			last = reading.Taken
		}
	}
	return r.station.span(first, last)
}

func (r *record) closed() string {
	if r.run.Closed.IsZero() {
		return "NOT YET: this record is not complete"
	}
	return r.station.moment(r.run.Closed)
}

// suit is the suit as the register knew it when the run began.
func (r *record) suit() table {
	t := suitFacts(r.run.Suit, r.speak)
	t.rows = append(t.rows, rowOf("Condition", r.condition()))
	return t
}

// condition is the condition of the suit when it came to the test.
func (r *record) condition() string {
	text := "prepare list complete"
	if missing := core.Missing(r.run.PrepareList); len(missing) > 0 {
		text = fmt.Sprintf("%d of %d items of the prepare list not ticked", len(missing), len(r.run.PrepareList))
	}
	if n := len(r.defects); n > 0 {
		return text + fmt.Sprintf("; defects seen: %d", n)
	}
	return text + "; no defect seen"
}

// method is what was asked of the suit.
func (r *record) method() table {
	m := r.run.Method
	return facts("Method", nameWidth,
		[2]string{"Method", fmt.Sprintf("%s (%s)", typed(m.Title), m.Key)},
		[2]string{"Source", typed(m.Source)},
		[2]string{"Expansion", fmt.Sprintf("%s, at least %s", commands.Range(m.Expansion), commands.Span(m.ExpansionTime))},
		[2]string{"Test pressure", commands.Range(m.Test)},
		[2]string{"Hold", commands.Span(m.Hold) + ", suit not touched"},
		[2]string{"Limit", r.speak.Limit(m)},
		[2]string{"Unit", unitWords(m.Unit)},
	)
}

// unitWords names a unit with what it is in pascals, since there are several
// of a column of water.
func unitWords(u core.Unit) string {
	name := u.String()
	switch u {
	case core.MmH2O, core.CmH2O, core.InH2O:
		name += " of water gauge, conventional"
	}
	if u == core.Pa || u == core.NoUnit {
		return name
	}
	pascals := strings.TrimSuffix(strings.TrimRight(u.One().Fixed(core.Pa, 9), "0"), ".")
	return fmt.Sprintf("%s; 1 %s = %s Pa", name, u, pascals)
}

// numbers is where each number of the method comes from.
func (r *record) numbers() table {
	t := table{title: "Where the method's numbers come from", ruled: true, columns: []column{
		{head: "Number", width: 75}, {head: "Source"}, {head: "How sure it is"},
	}}
	for _, p := range r.run.Method.Provenance {
		t.rows = append(t.rows, rowOf(typed(p.What), typed(p.Source), string(p.Certainty)))
	}
	return t
}

// apparatus is the manometer, or all that were used.
func (r *record) apparatus() table {
	t := facts("Manometer", nameWidth)
	for i, m := range r.gauges {
		if i > 0 {
			t.rows = append(t.rows, rowOf("", ""))
		}
		t.rows = append(t.rows, r.gauge(m).rows...)
	}
	if coarse := r.speak.Coarse(r.run); coarse != "" {
		t.rows = append(t.rows, rowOf("Fineness", coarse))
	}
	return t
}

func (r *record) gauge(m core.Manometer) table {
	permissible := "± " + m.Permissible.String()
	if m.Permissible.IsZero() {
		permissible = "not known, so not in the uncertainty"
	}
	calibrated := ""
	switch {
	case m.CalibratedUntil.IsZero():
		calibrated = "NEVER"
	case m.Lapsed(r.day()):
		calibrated = "until " + m.CalibratedUntil.String() + ": LAPSED when tested"
	default:
		calibrated = "until " + m.CalibratedUntil.String() + ": valid when tested"
	}
	reads := m.Unit.String()
	if m.Unit != r.run.Method.Unit {
		reads = unitWords(m.Unit)
	}
	return facts("", nameWidth,
		[2]string{"Manometer", typed(m.ID) + ", of the station's register"},
		[2]string{"Maker", said(m.Maker)},
		[2]string{"Serial number", said(m.Serial)},
		[2]string{"Reads in", reads},
		[2]string{"Resolution", m.Resolution.String()},
		[2]string{"Permissible error", permissible},
		[2]string{"Calibrated on", day(m.CalibratedOn)},
		[2]string{"Calibrated", calibrated},
	)
}

// day is the day of the test at the station: that on which the hold began, as
// far as it did.
func (r *record) day() core.Date {
	at := r.run.Opened
	if !r.run.HeldAt.IsZero() {
		at = r.run.HeldAt
	}
	return core.DateAt(at, r.station.zone())
}

// persons is who did it. The id is the chat server's and never changes.
func (r *record) persons() table {
	t := facts("Persons", nameWidth)
	for i, p := range r.testers {
		role, text := "Tester", typed(p.Name)
		if p.ID != "" {
			text += ", id " + typed(p.ID)
		}
		if i > 0 {
			role, text = "Handed over to", text+", "+r.station.moment(p.from)
		}
		t.rows = append(t.rows, rowOf(role, text))
	}
	released := "no officer's release is on this record"
	if e := r.released; e != nil {
		released = fmt.Sprintf("%s, %s", typed(e.by.Name), r.station.moment(e.at))
	}
	t.rows = append(t.rows, rowOf("Released by", released))
	return t
}

// readings is every reading that was taken. Where all are in the unit of the
// method, they stand in it once.
func (r *record) readings() table {
	u := r.run.Method.Unit
	converted := slices.ContainsFunc(r.run.AllReadings(), func(reading core.Reading) bool { return reading.Written.Unit != u })
	t := table{title: "Readings", ruled: true, columns: []column{
		{head: "No", width: 4, face: dense},
		{head: "Phase", width: 27, face: dense},
		{head: "True at", width: 34, face: dense},
		{head: "In hold", width: 10, face: dense, right: true},
		{head: "As written", width: 15, face: dense, right: true},
	}}
	if converted {
		t.columns = append(t.columns, column{head: "Value, " + u.String(), width: 16, face: dense, right: true})
	}
	t.columns = append(
		t.columns,
		column{head: "With", width: 8, face: dense},
		column{head: "By", width: 19, face: dense},
		column{head: "How it counts", face: dense},
	)
	for _, reading := range r.run.AllReadings() {
		t.rows = append(t.rows, r.readingRow(reading, converted))
	}
	if len(t.rows) == 0 {
		return list("Readings", "None was taken.")
	}
	return t
}

func (r *record) readingRow(reading core.Reading, converted bool) row {
	var of taken
	if reading.N <= len(r.taken) {
		of = r.taken[reading.N-1]
	}
	held := ""
	if !of.heldAt.IsZero() {
		held = commands.Stopwatch(reading.Taken.Sub(of.heldAt))
	}
	cells := []string{strconv.Itoa(reading.N), of.words(), r.station.moment(reading.Taken), held, reading.Written.String()}
	if u := r.run.Method.Unit; converted {
		value := reading.Pressure().In(u, 1)
		if reading.Written.Unit == u {
			value = reading.Written.Digits
		}
		cells = append(cells, value)
	}
	v, stands := r.stands()
	return row{
		cells:  append(cells, typed(reading.Manometer), typed(reading.By.Name), r.howItCounts(reading, of)),
		shaded: stands && (reading.N == v.Start.N || reading.N == v.End.N),
	}
}

// words says where in the run a reading was taken.
func (of taken) words() string {
	text := commands.PhaseWords(of.phase)
	if of.role != "" {
		text += ": " + of.role
	}
	if of.attempt > 0 {
		text += fmt.Sprintf(", attempt %d", of.attempt+1)
	}
	return text
}

// howItCounts says why a reading counts at its moment, and what it was before
// it was corrected.
func (r *record) howItCounts(reading core.Reading, of taken) string {
	var out []string
	posted := "posted " + r.station.clock(reading.Posted)
	switch {
	case reading.Stated:
		out = append(out, "at the moment stated, "+posted)
	case !reading.Posted.Equal(reading.Taken):
		out = append(out, "at the bell, "+posted)
	default:
		out = append(out, "as posted")
	}
	for _, c := range of.corrections {
		out = append(out, fmt.Sprintf("was %s until corrected %s by %s", c.what, r.station.clock(c.at), typed(c.by.Name)))
	}
	return strings.Join(out, ";\n")
}

// timing is how long the phases took.
func (r *record) timing() table {
	run := r.run
	t := facts("Times", nameWidth)
	add := func(name, text string) { t.rows = append(t.rows, rowOf(name, text)) }
	if n := r.attempts(); n > 1 {
		add("Attempt", fmt.Sprintf("%d; the earlier ones stand among readings and course", n))
	}
	if run.ExpandedAt.IsZero() {
		add("Expansion", "not reached")
	} else {
		begun := r.reading(run.ExpandedBy).Written.String()
		if run.Expanded {
			begun = "in the attempt before"
		}
		add("Expansion from", r.when(run.ExpandedAt)+", "+begun)
		if run.HeldAt.IsZero() {
			add("Expansion time", "the hold was not reached")
		} else {
			add("Expansion time", commands.Span(run.HeldAt.Sub(run.ExpandedAt))+" of at least "+commands.Span(run.Method.ExpansionTime))
		}
		add("Topped up", times(run.TopUps()))
	}
	if run.HeldAt.IsZero() {
		add("Hold", "not reached")
		return t
	}
	add("Hold from", r.when(run.HeldAt)+", "+r.reading(run.HeldBy).Written.String())
	add("Bell due", r.when(run.HoldEnds()))
	if v := run.Verdict; v != nil && v.End.N != 0 {
		add("Ending pressure", r.when(v.End.Taken)+", "+v.End.Written.String())
		add("Hold time", commands.Stopwatch(v.End.Taken.Sub(v.Start.Taken))+" of "+commands.Stopwatch(run.Method.Hold))
	}
	return t
}

func times(n int) string {
	switch n {
	case 0:
		return "never"
	case 1:
		return "once"
	}
	return fmt.Sprintf("%d times", n)
}

// hold draws the times of the phases, and the chart beside them.
func (r *record) hold(chart []byte) error {
	picture, err := r.sheet.chart(chart)
	if err != nil {
		return err
	}
	if picture.picture == "" {
		r.beside(0.5, pane{tables: []table{r.timing()}}, pane{tables: []table{r.conditions()}})
		return nil
	}
	r.beside(0.56, pane{tables: []table{r.timing(), r.conditions()}}, picture)
	return nil
}

// conditions is what was read of the air around the suit.
func (r *record) conditions() table {
	t := facts("Air around the suit", nameWidth)
	for _, c := range r.run.AllAir() {
		text := c.Air.Baro.String()
		if c.Air.Celsius != "" {
			text = typed(c.Air.Celsius) + " °C"
		}
		t.rows = append(t.rows, rowOf(r.when(c.At), text+", "+typed(c.By.Name)))
	}
	if len(t.rows) == 0 {
		return list(t.title, "Neither temperature nor barometer was read.")
	}
	return t
}

// chronicle is what happened besides readings, ticks and notes.
func (r *record) chronicle() table {
	t := table{title: "Course of the run", columns: []column{
		{head: "Moment", width: momentWidth}, {head: "What"}, {head: "By", width: 36},
	}, ruled: true}
	for _, e := range r.events {
		t.rows = append(t.rows, rowOf(r.station.moment(e.at), typed(e.what), typed(e.by.Name)))
	}
	return t
}

// checklist is a list as it was ticked.
func (r *record) checklist(name string, checks []core.Check) table {
	t := table{title: name, ruled: true, columns: []column{
		{head: "No", width: 4, face: dense}, {head: "Item", face: dense}, {head: "Ticked, by, how", width: 37, face: dense},
	}}
	for i, c := range checks {
		ticked := "NOT TICKED"
		if c.Done {
			how := "words"
			if c.ByTap {
				how = "tap"
			}
			ticked = fmt.Sprintf("%s, %s, %s", r.when(c.At), typed(c.By.Name), how)
		}
		t.rows = append(t.rows, rowOf(strconv.Itoa(i+1), commands.Task(c.Item, r.run), ticked))
	}
	return t
}

func (r *record) unplugList() table {
	const name = "Unplug and put away"
	if r.run.Phase == core.Over && !r.run.Shut {
		return list(name, "Not needed: nothing had been shut, plugged or fitted on the suit.")
	}
	return r.checklist(name, r.run.RestoreList)
}

// when tells a moment of a run that is near its beginning.
func (r *record) when(t time.Time) string { return r.station.near(t, r.run.Opened) }

// findings is the defects seen, the leaks found and what was remarked.
func (r *record) findings() table {
	t := table{title: "Defects, leaks and notes", ruled: true, columns: []column{
		{head: "Moment", width: momentWidth}, {head: "What"}, {head: "By", width: 36},
	}}
	add := func(n core.Note, what string) {
		t.rows = append(t.rows, rowOf(r.station.moment(n.At), what, typed(n.By.Name)))
	}
	for _, d := range r.defects {
		add(d, "Defect at item "+typed(d.Text))
	}
	for i, l := range r.run.Leaks {
		add(l, fmt.Sprintf("Leak %d: %s", i+1, typed(l.Text)))
	}
	if v, ok := r.stands(); ok && v.Outcome == core.Fail && v.Reason != core.DefectByEye && len(r.run.Leaks) == 0 {
		t.rows = append(t.rows, rowOf("", "Leak: where it is was not recorded.", ""))
	}
	for _, n := range r.notes() {
		add(n, "Note: "+typed(n.Text))
	}
	if len(t.rows) == 0 {
		return list(t.title, "None recorded.")
	}
	return t
}

// pictures names the photos, each with what it came with and its SHA-256, by
// which whoever has the file can tell that it is the one.
func (r *record) pictures() table {
	t := table{title: "Photos, kept apart from this record", ruled: true, columns: []column{
		{head: "Name", face: dense},
		{head: "Posted", width: 44, face: dense},
		{head: "SHA-256, file of the chat server", width: 104, face: dense},
	}}
	for _, p := range r.run.Photos {
		name := cmp.Or(typed(p.Name), "no name")
		if p.Caption != "" {
			name += ": " + typed(p.Caption)
		}
		known := p.Sum.String()
		switch {
		case p.Lost == core.NoPhoto:
			continue
		case p.Lost != "":
			known = "none: " + string(p.Lost)
		case !p.Settled():
			known = "not known yet: the file was not read so far"
		}
		t.rows = append(t.rows, rowOf(name,
			fmt.Sprintf("%s, %s, %s", commands.LinkWords(p.With), r.when(p.At), typed(p.By.Name)),
			known+" file "+typed(p.File)))
	}
	return t
}
