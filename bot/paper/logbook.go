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

// LogbookInput is what a suit's logbook is made from.
type LogbookInput struct {
	Station Station
	Head    Head
	Format  Format
	// Day is the day of printing, for which the standing is worked out by
	// Policy in the time zone of the station.
	Day    core.Date
	Policy core.Policy
	// Methods are those by which tests on paper are read.
	Methods []core.Method
	// Entries are all those about the suit, in the order of the journal.
	Entries []core.Entry
	// Chart is a picture of the tests over the years, a PNG; nothing if there
	// is none.
	Chart []byte
}

// logbook is a logbook in the making.
type logbook struct {
	in    LogbookInput
	speak commands.Speaker
	file  core.File
	items []item
	tally map[core.Outcome]int
	uses  int
}

// item is a line of the timeline.
type item struct {
	at     time.Time
	seq    uint64 // of the entry: of what was at the same moment, the first comes first
	moment string // as it is printed
	what   string
	more   string
	by     string
}

// Logbook makes the logbook of a suit: what it is, its standing on the day of
// printing, and all that happened to it and every test of it, oldest first.
func Logbook(in LogbookInput) ([]byte, error) {
	in.Policy.Zone = in.Station.zone()
	l := logbook{in: in, speak: commands.Speaker{Zone: in.Station.zone()}, tally: make(map[core.Outcome]int)}
	if err := l.read(); err != nil {
		return nil, err
	}
	at := in.Head.At
	if at.IsZero() {
		at = in.Entries[len(in.Entries)-1].At
	}
	tag := typed(l.file.Suit.Tag)
	s, err := newSheet(about{
		station: in.Station, head: in.Head, format: in.Format, at: at,
		name: fmt.Sprintf("Logbook of %s, %s", tag, in.Day),
		left: fmt.Sprintf("Logbook of suit %s, printed %s", tag, in.Day),
	})
	if err != nil {
		return nil, err
	}
	s.line(margin, s.y, s.inner()/2, title, black, "Logbook")
	s.lineRight(margin+s.inner()/2, s.y, s.inner()/2, title, black, tag)
	s.y += title.height()
	s.line(margin, s.y, s.inner(), body, grey, "A gas-tight chemical protective suit: all that happened to it, and its tests")
	s.y += body.height()
	l.standing(s)
	right, err := s.chart(in.Chart)
	if err != nil {
		return nil, err
	}
	right.tables = []table{l.summary()}
	s.beside(0.5, pane{tables: []table{suitFacts(l.file.Suit, l.speak)}}, right)
	s.flow(l.timeline())
	s.skip(blockGap)
	s.end(fmt.Sprintf("End of logbook of %s, %s, as of journal entry %d", tag, count(len(l.items), "line"), in.Head.Seq))
	return s.finish()
}

// read makes the suit's file and the timeline of the entries.
func (l *logbook) read() error {
	runs := make(map[core.RunID][]core.Entry)
	var order []core.RunID
	for _, e := range l.in.Entries {
		if e.Run != 0 {
			if runs[e.Run] == nil {
				order = append(order, e.Run)
			}
			runs[e.Run] = append(runs[e.Run], e)
		}
		l.event(e)
		l.file = l.file.Apply(e)
	}
	if l.file.Suit.Tag == "" {
		return fmt.Errorf("logbook: none of %d entries registers a suit: %w", len(l.in.Entries), errEntries)
	}
	for _, id := range order {
		if err := l.test(id, runs[id]); err != nil {
			return fmt.Errorf("logbook: %w", err)
		}
	}
	slices.SortStableFunc(l.items, func(a, b item) int { return cmp.Or(a.at.Compare(b.at), cmp.Compare(a.seq, b.seq)) })
	return nil
}

func (l *logbook) add(e core.Entry, what, more string) {
	l.items = append(l.items, item{e.At, e.Seq, l.in.Station.moment(e.At), what, more, e.By.Name})
}

// event adds what happened to the suit outside of runs.
func (l *logbook) event(e core.Entry) {
	switch f := e.Fact.(type) {
	case core.SuitRegistered:
		if l.file.Suit.Tag == "" {
			l.add(e, "Entered in the register", "")
		} else {
			l.add(e, "Register changed", changes(l.file.Suit, f.Suit, l.speak))
		}
	case core.Used:
		l.uses++
		l.items = append(l.items, item{
			at: f.When, seq: e.Seq, moment: l.in.Station.moment(f.When), what: "Used", by: e.By.Name,
			more: strings.TrimPrefix(typed(f.Note)+l.enteredLater(f.When, e.At), "; "),
		})
	case core.Found:
		l.add(e, "Defect found", typed(f.What))
	case core.Repaired:
		l.add(e, "Repaired", typed(f.What))
	case core.CauseStated:
		l.add(e, "Cause of the fail", typed(f.What))
	case core.Reinstated:
		l.add(e, "Reinstated", typed(f.Why))
	case core.Withdrawn:
		l.add(e, "Withdrawn", typed(f.Why))
	case core.Retired:
		l.add(e, "Retired for good", typed(f.Why))
	case core.Released:
		l.add(e, "Released: it may be worn", "")
	case core.CapacityMeasured:
		l.add(e, "Capacity measured", oneLine(l.speak.CapacityWords(l.file.Suit.Tag, f.Capacity)))
	case core.PaperTest:
		l.paperTest(e, f)
	}
}

func (l *logbook) enteredLater(when, entered time.Time) string {
	if when.Equal(entered) {
		return ""
	}
	return "; entered " + l.in.Station.moment(entered)
}

// paperTest adds a test from before the journal began.
func (l *logbook) paperTest(e core.Entry, t core.PaperTest) {
	l.tally[t.Outcome]++
	more := fmt.Sprintf("%s → %s", t.Start, t.End)
	if t.End.IsZero() {
		more = string(t.Reason)
	} else if m, ok := (core.Bench{Methods: l.in.Methods}).Method(t.Method); ok {
		start := core.Reading{Written: t.Start, Taken: e.At}
		end := core.Reading{N: 1, Written: t.End, Taken: e.At.Add(t.Hold), Manometer: t.Manometer}
		p0 := t.Start.Pressure()
		more = oneLine(commands.Figures(core.Run{Method: m}, core.Verdict{
			Outcome: t.Outcome, Start: start, End: end, Drop: p0 - t.End.Pressure(), Allowed: m.Limit.GreatestDrop(p0),
		}))
	}
	l.items = append(l.items, item{
		at: e.At, seq: e.Seq, moment: t.Day.String() + ", on paper", by: t.Tester, more: more,
		what: "Test, " + t.Method + ": " + strings.ToUpper(string(t.Outcome)),
	})
}

// test adds a run, on the moment of its verdict if it has one.
func (l *logbook) test(run core.RunID, entries []core.Entry) error {
	c, err := newCourse(run, entries, l.in.Station)
	if err != nil {
		return err
	}
	it := item{at: c.run.Opened, seq: entries[0].Seq, by: c.run.Tester.Name}
	outcome := "no verdict yet"
	var more []string
	switch v, ok := c.stands(); {
	case ok:
		l.tally[v.Outcome]++
		it.at, it.seq, outcome = v.at, v.seq, strings.ToUpper(string(v.Outcome))
		more = append(more, oneLine(commands.Figures(c.run, v.Verdict)), typed(l.speak.Reason(c.run, v.Verdict)))
	case c.stopped != nil:
		it.at, it.seq, outcome = c.stopped.at, c.stopped.seq, "stopped"
		more = append(more, c.stopped.what)
	}
	it.moment = l.in.Station.moment(it.at)
	if not, _ := commands.NotFitYet(c.run); not != "" {
		outcome += ", " + not
	}
	it.what = fmt.Sprintf("Test %s, %s: %s", c.run.ID, c.run.Method.Key, outcome)
	for _, d := range c.defects {
		more = append(more, "Defect: "+d.Text+".")
	}
	for _, leak := range c.run.Leaks {
		more = append(more, "Leak: "+typed(leak.Text)+".")
	}
	for _, n := range c.notes() {
		more = append(more, "Note: "+typed(n.Text)+".")
	}
	if n := len(slices.DeleteFunc(slices.Clone(c.run.Photos), func(p core.Photo) bool { return p.Lost == core.NoPhoto })); n > 0 {
		more = append(more, "Photos on its record: "+strconv.Itoa(n)+".")
	}
	if c.run.Phase != core.Over {
		more = append(more, "The run is still open.")
	}
	it.more = strings.TrimSpace(strings.Join(more, " "))
	l.items = append(l.items, it)
	return nil
}

// standing draws what the suit may be used for on the day of printing.
func (l *logbook) standing(s *sheet) {
	st := l.file.Standing(l.in.Policy, l.in.Day)
	b := banner{strings.ToUpper(commands.StandingWords(st.Kind)), red, solid}
	if st.Wearable() {
		b.ink, b.frame = green, boxed
	}
	s.skip(blockGap + 1)
	width, height := s.frameWord(b, margin, s.y)
	x, room := margin+width+4, s.inner()-width-4
	f := face{size: 11, bold: true}
	s.line(x, s.y+height/2-f.height(), room, f, black, "on "+l.in.Day.String()+", the day of printing")
	s.line(x, s.y+height/2, room, f, black, dueWords(st))
	s.y += height + 1
	var reasons []string
	for _, bar := range st.Bars {
		reasons = append(reasons, l.speak.Bar(bar))
	}
	s.flow(list("Why it must not be worn", reasons...))
}

func dueWords(st core.Standing) string {
	switch {
	case st.Due.IsZero():
		return "It has no pass."
	case st.Wearable():
		return "In test until " + st.Due.String() + "."
	}
	return "By its last pass it would be in test until " + st.Due.String() + "."
}

// summary counts what is in the timeline.
func (l *logbook) summary() table {
	tests := 0
	for _, n := range l.tally {
		tests += n
	}
	last := "none"
	if !l.file.Tested.IsZero() {
		last = core.DateAt(l.file.Tested, l.in.Station.zone()).String()
		if l.file.TestedBy != 0 {
			last += ", " + l.file.TestedBy.String()
		} else {
			last += ", on paper"
		}
	}
	return facts("Summary", nameWidth,
		[2]string{"Station", said(l.in.Station.Name)},
		[2]string{"Address", typed(l.in.Station.Address)},
		[2]string{"Moments", "by the clock of " + l.in.Station.zone().String()},
		[2]string{"Tests", fmt.Sprintf("%d: %d pass, %d fail, %d no verdict", tests, l.tally[core.Pass], l.tally[core.Fail], l.tally[core.NoVerdict])},
		[2]string{"Last pass", last},
		[2]string{"Times used", fmt.Sprint(l.uses)},
		[2]string{"Records", "each run has a test record of its own"},
	)
}

func (l *logbook) timeline() table {
	t := table{title: "Timeline, oldest first", ruled: true, tail: ending(), columns: []column{
		{head: "Moment", width: momentWidth}, {head: "What", width: 42, face: strong}, {head: "More"}, {head: "By", width: 26},
	}}
	for _, it := range l.items {
		t.rows = append(t.rows, rowOf(it.moment, typed(it.what), typed(it.more), typed(it.by)))
	}
	return t
}
