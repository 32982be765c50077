package commands

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"benchbell/core"
)

// Digest is what the crew is told of its suits unasked, in one post.
type Digest struct {
	Day     core.Date
	Regular bool // the regular digest, not only what falls due today
	Total   int
	Fit     int
	Not     []FleetLine   // all suits not fit
	Soon    []DueLine     // suits and manometers that fall due soon
	Notices []core.Notice // whose time has come
	// Since is when people were last told, if something was missed meanwhile:
	// Missed digests, or a day on which something fell due.
	Since  time.Time
	Missed int
}

// DueLine is something that falls due.
type DueLine struct {
	Name string
	Due  core.Date
	What string // "test", "life ends", "calibration"
	// Standing is that of a suit today. The line shows the day of its next test only
	// while it is fit: a date next to an unfit suit would read as if it were fit
	// until then.
	Standing core.Standing
}

// notFit reports whether the line is about a suit that may not be worn today.
func (l DueLine) notFit() bool { return l.Standing.Kind != "" && !l.Standing.Wearable() }

// mostLines is how many lines of one kind a post shows.
const mostLines = 30

// Digest words a digest: what bars first, then what is near.
func (s Speaker) Digest(d Digest) string {
	var out []string
	if d.Regular {
		out = append(out, fmt.Sprintf("%s %s", bold(fmt.Sprintf("%d of %d suits fit.", d.Fit, d.Total)), d.Day))
	}
	if !d.Since.IsZero() {
		text := "Nobody was told since " + s.moment(d.Since) + ": this says what was missed."
		if d.Missed > 1 {
			text = fmt.Sprintf("It stands for %d digests. ", d.Missed) + text
		}
		out = append(out, text)
	}
	out = append(out, s.notices(d.Notices)...)
	if !d.Regular { // what fell due is not all that may not be worn
		return lines(strings.Join(out, "\n"), s.inAll(d.Notices, d.Not, "@"+s.Bot+" "))
	}
	out = append(out, s.notFit(d.Not)...)
	// What is not fit stands just above, with its reason.
	soon := slices.DeleteFunc(slices.Clone(d.Soon), func(l DueLine) bool { return l.What == "test" && l.notFit() })
	out = append(out, section("Due soon", len(soon), func(i int) string {
		return s.dueLine(soon[i], d.Day)
	})...)
	return strings.Join(out, "\n")
}

// Officers words what an officer is told directly. not is all suits that may
// not be worn, of which the notices name those whose time has come.
func (s Speaker) Officers(notices []core.Notice, not []FleetLine) string {
	return lines(bold("Not to be worn or used:"), strings.Join(s.notices(notices), "\n"), s.inAll(notices, not, ""))
}

// inAll says how many suits may not be worn and where they are named, unless the
// notices name them all: a list that names some must not be read as one of all.
func (s Speaker) inAll(notices []core.Notice, not []FleetLine, mention string) string {
	unnamed := func(l FleetLine) bool {
		return !slices.ContainsFunc(notices, func(n core.Notice) bool { return n.Thing == l.Tag })
	}
	if !slices.ContainsFunc(not, unnamed) {
		return ""
	}
	return fmt.Sprintf("Suits not fit, in all: %d. %s names them.", len(not), code(mention+"status"))
}

// notices words notices, those of one kind in one paragraph.
func (s Speaker) notices(all []core.Notice) []string {
	var out []string
	for len(all) > 0 {
		n := 1
		for n < len(all) && all[n].Kind == all[0].Kind {
			n++
		}
		kind := all[:n]
		out = append(out, section(noticeHead(kind[0].Kind), n, func(i int) string {
			text := kind[i].Thing + ", " + kind[i].Due.String()
			if weeks := kind[i].Stage; weeks > 0 {
				text += fmt.Sprintf(" (%d weeks)", weeks)
				text = strings.Replace(text, "(1 weeks)", "(1 week)", 1)
			}
			return text
		})...)
		all = all[n:]
	}
	return out
}

func noticeHead(k core.NoticeKind) string {
	switch k {
	case core.NoticeOverdue:
		return "Test overdue, was due"
	case core.NoticeLifeOver:
		return "Past end of life"
	case core.NoticeUntested:
		return "Used and still not tested"
	case core.NoticeLapsed:
		return "Calibration lapsed"
	case core.NoticeLastDay:
		return "Last day in test today"
	case core.NoticeLifeEnds:
		return "Last day of its life today"
	case core.NoticeCalibrate:
		return "Last day in calibration today"
	}
	return string(k)
}

// section is a heading and a line for each thing, cut where a post would get
// too long to read.
func section(head string, n int, line func(i int) string) []string {
	if n == 0 {
		return nil
	}
	out := []string{bold(head + ":")}
	for i := range min(n, mostLines) {
		out = append(out, "- "+line(i))
	}
	if n > mostLines {
		out = append(out, fmt.Sprintf("- and %d more: %s has every suit", n-mostLines, code("shelf")))
	}
	return out
}

func (s Speaker) dueLine(l DueLine, today core.Date) string {
	if l.What == "test" && l.notFit() && !l.Due.Before(today) {
		return l.Name + " not fit: " + s.short(l.Standing)
	}
	text := l.Name + " " + s.date(l.Due, today)
	if l.What != "test" {
		text += ", " + l.What
	}
	if l.notFit() {
		text += ", not fit: " + s.short(l.Standing)
	}
	return text
}

// Due answers what falls due, overdue first.
func (s Speaker) Due(all []DueLine, within core.Period, today core.Date) string {
	until := within.After(today)
	if len(all) == 0 {
		return bold("Nothing falls due") + " until " + until.String() + "."
	}
	return strings.Join(section(fmt.Sprintf("Due until %s", until), len(all), func(i int) string {
		return s.dueLine(all[i], today)
	}), "\n")
}

// Ready answers which suits can go out now. more is true if there are others.
func (s Speaker) Ready(want string, all []core.Summary, more bool) string {
	if len(all) == 0 {
		if want != "" {
			return bold("None ready") + fmt.Sprintf(" for %s. %s shows all.", quote(want), code("ready"))
		}
		return bold("None ready.") + " " + code("status") + " says why."
	}
	head := fmt.Sprintf("%d ready", len(all))
	if more {
		head = fmt.Sprintf("More than %d ready", len(all))
	}
	out := []string{bold(head + ":")}
	for _, suit := range all {
		out = append(out, strings.TrimSpace(fmt.Sprintf("- %s %s %s", suit.Tag, named(suit.Size), named(suit.Place))))
	}
	if more {
		out = append(out, "A size or a place narrows it down: "+code("ready L"))
	}
	return strings.Join(out, "\n")
}

// Tested is one test of a suit's history.
type Tested struct {
	Day     core.Date
	Method  core.Method
	Outcome core.Outcome
	Reason  core.Reason
	Start   core.Written
	End     core.Written // zero if there was none
	Run     core.RunID   // zero if it was brought in from paper
	// Repaired is the day of the last repair since then, zero if there was none:
	// the test says nothing of the suit as it is now.
	Repaired core.Date
	Open     bool // its run is not closed: the suit is not fit, whatever the outcome
	Defect   bool // one was found while the suit was put away
	// GivenUp are the reasons of the attempts that were given up before.
	GivenUp []string
}

// History answers with a suit's tests, newest first.
func (s Speaker) History(tag string, all []Tested) string {
	if len(all) == 0 {
		return bold(tag+": no test so far.") + " " + code("test "+tag)
	}
	all = slices.Clone(all)
	slices.Reverse(all) // those of one day too
	slices.SortStableFunc(all, func(a, b Tested) int { return b.Day.Compare(a.Day) })
	return lines(strings.Join(section(fmt.Sprintf("%s, %d tests", tag, len(all)), len(all), func(i int) string {
		return all[i].line()
	}), "\n"), trendLines(all))
}

func (t Tested) line() string {
	where := "paper"
	if t.Run != 0 {
		where = t.Run.String()
	}
	result := string(t.Outcome)
	if t.Open {
		result += ", not fit yet"
	}
	if t.Defect {
		result += ", then a defect"
	}
	for i, why := range t.GivenUp {
		where += fmt.Sprintf("\n  attempt %d given up", i+1)
		if why != "" {
			where += ": " + quote(why)
		}
	}
	if t.End.IsZero() {
		return fmt.Sprintf("%s %s (%s), %s", t.Day, result, t.Reason, where)
	}
	u := t.Method.Unit
	start, end := t.Start.Pressure(), t.End.Pressure()
	drop, allowed := apart(start-end, t.Method.Limit.GreatestDrop(start), u, decimals(t.Start, t.End, u))
	return fmt.Sprintf("%s %s, drop %s of %s %s, %s", t.Day, result, drop, allowed, u, where)
}
