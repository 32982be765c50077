package paper

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
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
	// Entries are those of the run, in the order of the journal: the run is
	// replayed from them. Other entries of the suit may be among them; an
	// officer's release after the run's end is then on the record.
	Entries []core.Entry
	// Chart is a picture of the hold, a PNG; nothing if there is none.
	Chart []byte
	// Photos are the pictures that were posted with the run.
	Photos []Photo
}

// Photo is a picture known by its content. It is not itself on the record.
type Photo struct {
	Name string
	Sum  [sha256.Size]byte
}

// record is a test record in the making.
type record struct {
	*sheet
	course
	speak  commands.Speaker
	photos []Photo
}

// Record makes the test record of a run: a PDF of one or two pages, or as many
// as long notes take. A run that is still open has a record too, which says so.
func Record(in RecordInput) ([]byte, error) {
	c, err := newCourse(in.Entries, in.Station)
	if err != nil {
		return nil, err
	}
	name := fmt.Sprintf("Test record %s, %s", c.run.ID, typed(c.run.Suit.Tag))
	at := in.Head.At
	if at.IsZero() {
		at = c.last
	}
	s, err := newSheet(about{station: in.Station, head: in.Head, format: in.Format, name: name, left: name, at: at})
	if err != nil {
		return nil, err
	}
	r := record{sheet: s, course: c, speak: commands.Speaker{Zone: in.Station.zone()}, photos: in.Photos}
	r.opening()
	r.result()
	r.beside(r.suit(), r.method(), 0.5)
	r.flow(r.numbers())
	r.beside(r.apparatus(), r.persons(), 0.5)
	r.flow(r.readings())
	if err := r.hold(in.Chart); err != nil {
		return nil, err
	}
	r.flow(r.conditions())
	r.flow(r.chronicle())
	r.beside(r.checklist("Prepare list", r.run.PrepareList), r.checklist("Restore list", r.run.RestoreList), 0.5)
	r.flow(r.findings())
	r.flow(r.notes())
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
	s.y += body.height()
	first, last := r.tested()
	s.beside(
		facts("Laboratory", 27,
			[2]string{"Station", said(r.station.Name)},
			[2]string{"Address", typed(r.station.Address)},
			[2]string{"Performed at", "the station's own bench"},
			[2]string{"Tested for", "the station itself; there is no other customer"},
			[2]string{"External results", "none: all of it was done by the station"},
			[2]string{"Moments", r.station.zoneNote(r.run.Opened)},
		),
		facts("Record", 27,
			[2]string{"Number", fmt.Sprintf("%s, as of journal entry %d", number, r.head.Seq)},
			[2]string{"Issued", "from the journal as of " + r.station.moment(r.at)},
			[2]string{"Suit received", r.station.moment(r.run.Opened)},
			[2]string{"Tested", span(r.station, first, last)},
			[2]string{"Run closed", r.closed()},
			[2]string{"Sampling", "none: the suit itself was tested"},
		), 0.5)
}

// span tells from when to when something was.
func span(s Station, from, to time.Time) string {
	switch {
	case from.IsZero():
		return "no reading was taken"
	case core.DateAt(from, s.zone()) == core.DateAt(to, s.zone()):
		return s.moment(from) + " to " + s.clock(to)
	}
	return s.moment(from) + " to " + s.moment(to)
}

// tested returns when the first and the last reading were true.
func (r *record) tested() (first, last time.Time) {
	for _, reading := range r.run.Readings {
		if first.IsZero() || reading.Taken.Before(first) {
			first = reading.Taken
		}
		if reading.Taken.After(last) {
			last = reading.Taken
		}
	}
	return first, last
}

func (r *record) closed() string {
	if r.run.Closed.IsZero() {
		return "NOT YET: this record is not complete"
	}
	return r.station.moment(r.run.Closed)
}

// suit is the suit as the register knew it when the run began.
func (r *record) suit() table {
	s := r.run.Suit
	maker := ""
	if !s.MakerA.IsZero() || !s.MakerB.IsZero() {
		maker = fmt.Sprintf("expansion A %s, test B %s", orUnsaid(s.MakerA), orUnsaid(s.MakerB))
	}
	capacity := ""
	if !s.Capacity.IsZero() {
		capacity = r.speak.CapacityWords(s)
	}
	return facts("Suit", 27,
		[2]string{"Suit", said(s.Tag)},
		[2]string{"Serial number", said(s.Serial)},
		[2]string{"Maker's model", said(s.Model)},
		[2]string{"Size", said(s.Size)},
		[2]string{"Fittings", fittings(s.Fittings)},
		[2]string{"Made", day(s.Made)},
		[2]string{"In service since", day(s.InService)},
		[2]string{"End of life", day(s.EndOfLife)},
		[2]string{"Kept at", said(s.Place)},
		[2]string{"Maker's pressures", maker},
		[2]string{"Capacity", capacity},
		[2]string{"Material, remarks", said(s.Remarks)},
		[2]string{"Condition", r.condition()},
	)
}

func orUnsaid(w core.Written) string {
	if w.IsZero() {
		return unsaid
	}
	return w.String()
}

func fittings(f core.Fittings) string {
	var all []string
	for _, fitting := range []struct {
		has  bool
		name string
	}{
		{f.GloveRings, "glove rings"},
		{f.ExhaustValves == 1, "1 exhaust valve"},
		{f.ExhaustValves > 1, fmt.Sprintf("%d exhaust valves", f.ExhaustValves)},
		{f.VentilatingValve, "ventilating valve"},
		{f.PassThrough, "pass-through"},
		{f.Boots == core.BootsFixed, "boots fixed to it"},
		{f.Boots == core.Socks, "socks, boots over them"},
	} {
		if fitting.has {
			all = append(all, fitting.name)
		}
	}
	if all == nil {
		return unsaid
	}
	return strings.Join(all, ", ")
}

// condition is the condition of the suit when it came to the test.
func (r *record) condition() string {
	text := "every item of the prepare list ticked"
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
	return facts("Method", 27,
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
		{head: "Number"}, {head: "Source"}, {head: "How sure it is"},
	}}
	for _, p := range r.run.Method.Provenance {
		t.rows = append(t.rows, rowOf(typed(p.What), typed(p.Source), string(p.Certainty)))
	}
	return t
}

// apparatus is the manometer, or all that were used.
func (r *record) apparatus() table {
	t := facts("Manometer", 27)
	for i, m := range r.gauges {
		if i > 0 {
			t.rows = append(t.rows, rowOf("", ""))
		}
		t.rows = append(t.rows, r.gauge(m).rows...)
	}
	return t
}

func (r *record) gauge(m core.Manometer) table {
	permissible := "± " + m.Permissible.String()
	if m.Permissible.IsZero() {
		permissible = "not known, so not in the uncertainty"
	}
	calibrated := "on " + day(m.CalibratedOn)
	if m.CalibratedOn.IsZero() {
		calibrated = "day " + unsaid
	}
	until := "until " + day(m.CalibratedUntil)
	switch on := core.DateAt(r.run.Opened, r.station.zone()); {
	case m.CalibratedUntil.IsZero():
		until = "NEVER"
	case m.Lapsed(on):
		until += ": LAPSED when tested"
	default:
		until += ": valid when tested"
	}
	return facts("", 27,
		[2]string{"Manometer", m.ID + ", of the station's register"},
		[2]string{"Reads in", unitWords(m.Unit)},
		[2]string{"Resolution", m.Resolution.String()},
		[2]string{"Permissible error", permissible},
		[2]string{"Calibrated", calibrated + ", " + until},
	)
}

// persons is who did it. The id is the chat server's and never changes.
func (r *record) persons() table {
	t := facts("Persons", 27)
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

// readings is every reading that was taken.
func (r *record) readings() table {
	u := r.run.Method.Unit
	t := table{title: "Readings", ruled: true, columns: []column{
		{head: "No", width: 6},
		{head: "Phase", width: 23},
		{head: "True at", width: 35},
		{head: "In hold", width: 10, right: true},
		{head: "As written", width: 18, right: true},
		{head: "In " + u.String(), width: 13, right: true},
		{head: "With", width: 10},
		{head: "By", width: 22},
		{head: "How it counts"},
	}}
	for _, reading := range r.run.Readings {
		t.rows = append(t.rows, r.reading(reading, u))
	}
	if len(t.rows) == 0 {
		return list("Readings", "None was taken.")
	}
	return t
}

func (r *record) reading(reading core.Reading, u core.Unit) row {
	var of taken
	if reading.N <= len(r.taken) {
		of = r.taken[reading.N-1]
	}
	held := ""
	start := of.heldAt
	if reading.N == r.run.HeldBy {
		start = r.run.HeldAt
	}
	if !start.IsZero() {
		held = commands.Stopwatch(reading.Taken.Sub(start))
	}
	return row{
		cells: []string{
			strconv.Itoa(reading.N), r.phase(reading.N, of), r.station.moment(reading.Taken), held,
			reading.Written.String(), reading.Pressure().In(u, 1), typed(reading.Manometer), typed(reading.By.Name),
			r.howItCounts(reading, of),
		},
		shaded: reading.N == r.run.HeldBy || r.ends(reading.N),
	}
}

// ends reports whether reading n is the ending pressure of the verdict.
func (r *record) ends(n int) bool { return r.run.Verdict != nil && r.run.Verdict.End.N == n }

func (r *record) phase(n int, of taken) string {
	text := string(of.phase)
	switch {
	case n == r.run.HeldBy:
		text = "hold: start"
	case r.ends(n):
		text = "hold: ending pressure"
	case n == r.run.ExpandedBy:
		text += ": start"
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
	return strings.Join(out, "; ")
}

// timing is how long the phases took.
func (r *record) timing() table {
	run := r.run
	t := facts("Times", 27)
	add := func(name, text string) { t.rows = append(t.rows, rowOf(name, text)) }
	if n := r.attempts(); n > 1 {
		add("Attempt", fmt.Sprintf("%d; the earlier ones stand among readings and course", n))
	}
	if run.ExpandedAt.IsZero() {
		add("Expansion", "not reached")
	} else {
		begun := r.reading0(run.ExpandedBy)
		add("Expansion from", r.station.moment(run.ExpandedAt)+", "+begun)
		if run.HeldAt.IsZero() {
			add("Expansion time", "the hold was not reached")
		} else {
			add("Expansion time", commands.Span(run.HeldAt.Sub(run.ExpandedAt))+", at least "+commands.Span(run.Method.ExpansionTime)+" asked for")
		}
		add("Topped up", times(run.TopUps()))
	}
	if run.HeldAt.IsZero() {
		add("Hold", "not reached")
		return t
	}
	add("Hold from", r.station.moment(run.HeldAt)+", "+r.reading0(run.HeldBy))
	add("Bell due", r.station.moment(run.HoldEnds()))
	if v := run.Verdict; v != nil && v.End.N != 0 {
		add("Ending pressure", r.station.moment(v.End.Taken)+", "+v.End.Written.String())
		add("Hold time", commands.Stopwatch(v.End.Taken.Sub(v.Start.Taken))+" min, "+commands.Stopwatch(run.Method.Hold)+" asked for")
	}
	return t
}

// reading0 prints the value of a reading.
func (r *record) reading0(n int) string { return r.course.reading(n).Written.String() }

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
	if chart == nil {
		r.flow(r.timing())
		return nil
	}
	plain, err := plainPNG(chart)
	if err != nil {
		return fmt.Errorf("%s: the chart cannot be put in: %w", r.name, err)
	}
	r.besidePicture(r.timing(), "chart", plain, 0.45)
	return nil
}

// conditions is what was read of the air around the suit.
func (r *record) conditions() table {
	if len(r.run.Air) == 0 {
		return list("Air around the suit", "Neither temperature nor barometer was read.")
	}
	t := table{title: "Air around the suit", ruled: true, columns: []column{
		{head: "Moment", width: 36}, {head: "Temperature", width: 30}, {head: "Barometer", width: 30}, {head: "By"},
	}}
	for _, c := range r.run.Air {
		temperature, baro := "", ""
		if c.Air.Celsius != "" {
			temperature = typed(c.Air.Celsius) + " °C"
		}
		if !c.Air.Baro.IsZero() {
			baro = c.Air.Baro.String()
		}
		t.rows = append(t.rows, rowOf(r.station.moment(c.At), temperature, baro, typed(c.By.Name)))
	}
	return t
}

// chronicle is what happened besides readings, ticks and notes.
func (r *record) chronicle() table {
	t := table{title: "Course of the run", columns: []column{
		{head: "Moment", width: 36}, {head: "What"}, {head: "By", width: 36},
	}, ruled: true}
	for _, e := range r.events {
		t.rows = append(t.rows, rowOf(r.station.moment(e.at), typed(e.what), typed(e.by.Name)))
	}
	return t
}

// checklist is a list as it was ticked.
func (r *record) checklist(name string, checks []core.Check) table {
	t := table{title: name, columns: []column{
		{head: "No", width: 6}, {head: "Item"}, {head: "Ticked", width: 38},
	}, ruled: true}
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

// when tells a moment, with its day if that is not the one the run began on.
func (r *record) when(t time.Time) string {
	zone := r.station.zone()
	if core.DateAt(t, zone) == core.DateAt(r.run.Opened, zone) {
		return r.station.clock(t)
	}
	return r.station.moment(t)
}

// findings is the defects seen and the leaks found.
func (r *record) findings() table {
	t := r.remarks("Defects and leaks")
	for _, d := range r.defects {
		t.rows = append(t.rows, rowOf(r.station.moment(d.At), "Defect at item "+typed(d.Text), typed(d.By.Name)))
	}
	for i, l := range r.run.Leaks {
		t.rows = append(t.rows, rowOf(r.station.moment(l.At), fmt.Sprintf("Leak %d: %s", i+1, typed(l.Text)), typed(l.By.Name)))
	}
	switch {
	case len(t.rows) > 0:
		return t
	case r.run.Verdict != nil && r.run.Verdict.Outcome == core.Fail:
		return list(t.title, "The location of the leak was not recorded.")
	}
	return list(t.title, "None recorded.")
}

// remarks is a table of what people said when.
func (r *record) remarks(title string) table {
	return table{title: title, ruled: true, columns: []column{
		{head: "Moment", width: 36}, {head: "What"}, {head: "By", width: 36},
	}}
}

func (r *record) notes() table {
	t := r.remarks("Notes")
	for _, n := range r.run.Notes {
		t.rows = append(t.rows, rowOf(r.station.moment(n.At), typed(n.Text), typed(n.By.Name)))
	}
	if len(t.rows) == 0 {
		return list("Notes", "None.")
	}
	return t
}

// pictures names the photos.
func (r *record) pictures() table {
	t := table{title: "Photos, kept apart from this record", ruled: true, columns: []column{
		{head: "Name"}, {head: "SHA-256", width: 112},
	}}
	for _, p := range r.photos {
		t.rows = append(t.rows, rowOf(typed(p.Name), hex.EncodeToString(p.Sum[:])))
	}
	return t
}
