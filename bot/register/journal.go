package register

import (
	"fmt"
	"io"
	"iter"
	"reflect"
	"slices"
	"strings"
	"time"

	"benchbell/commands"
	"benchbell/core"
)

// The journal as a table, for people and their spreadsheets. Other programs
// have store.WriteJSONL.

// WriteJournal writes a table of all entries, under a header: journalHeader and
// journalRow say what stands in it. The error is the first of the entries, or
// one of w.
func WriteJournal(w io.Writer, entries iter.Seq2[core.Entry, error], zone *time.Location, d Dialect) error {
	return writeTable(w, d, func(yield func([]string, error) bool) {
		if !yield(journalHeader(zone), nil) {
			return
		}
		for e, err := range entries {
			if err != nil {
				yield(nil, err)
				return
			}
			if !yield(journalRow(e, zone, d), nil) {
				return
			}
		}
	})
}

// journalHeader names the columns of a journal's table.
func journalHeader(zone *time.Location) []string {
	return []string{"entry", "moment (" + zone.String() + ")", "suit", "run", "person", "what", "details"}
}

// journalRow turns an entry into a row: its number, when it happened at the
// station, the suit's tag, the run, who did it, what it was, and more about it
// in plain words, with numbers as the dialect has them.
func journalRow(e core.Entry, zone *time.Location, d Dialect) []string {
	run := ""
	if e.Run != 0 {
		run = e.Run.String()
	}
	what, details := wording{zone, d}.fact(e.Fact)
	return []string{fmt.Sprint(e.Seq), wording{zone, d}.moment(e.At), e.Suit, run, e.By.Name, what, details}
}

// wording words facts for the table.
type wording struct {
	zone *time.Location
	Dialect
}

// factWords is how one type of fact is worded: what it is called, and what is
// to be said about it.
type factWords struct {
	fact    reflect.Type
	what    string
	details func(w wording, f core.Fact) string
}

func wordsOf[F core.Fact](what string, details func(w wording, f F) string) factWords {
	return factWords{
		fact: reflect.TypeFor[F](),
		what: what,
		details: func(w wording, f core.Fact) string {
			if details == nil {
				return ""
			}
			return details(w, f.(F))
		},
	}
}

// journalWords has the words of every type of fact.
var journalWords = []factWords{
	wordsOf("suit registered", func(w wording, f core.SuitRegistered) string {
		return columnsOf(w, suitColumns, f.Suit)
	}),
	wordsOf("manometer registered", func(w wording, f core.ManometerRegistered) string {
		return columnsOf(w, manometerColumns, f.Manometer)
	}),

	wordsOf(string(core.BarUsed), func(w wording, f core.Used) string { return parts(w.moment(f.When), f.Note) }),
	wordsOf(string(core.BarRepaired), func(_ wording, f core.Repaired) string {
		if len(f.Of) > 0 {
			return parts(f.What, "of defects "+strings.TrimSuffix(onList(f.Of), " on the list"))
		}
		return f.What
	}),
	wordsOf("cause of a fail", func(_ wording, f core.CauseStated) string { return f.What }),
	wordsOf(string(core.BarFound), func(_ wording, f core.Found) string { return f.What }),
	wordsOf(string(core.BarWithdrawn), func(_ wording, f core.Withdrawn) string { return f.Why }),
	wordsOf(string(core.BarOutOfReason), func(_ wording, f core.Retired) string { return f.Why }),
	wordsOf(string(core.BarReinstated), func(_ wording, f core.Reinstated) string { return f.Why }),
	wordsOf[core.Released]("released", nil),
	wordsOf("capacity measured", func(w wording, f core.CapacityMeasured) string {
		c := f.Capacity
		fell := ""
		if c.Fell != 0 {
			fell = fmt.Sprintf("by itself it fell %s Pa", w.number(c.Fell.In(core.Pa, 1)))
		}
		return parts(
			fmt.Sprintf("%s L took it from %s to %s, %s", w.number(c.Litres), w.written(c.From), w.written(c.To), c.Day),
			c.Manometer, c.By.Name, w.written(c.Room), fell)
	}),
	wordsOf("test on paper", func(w wording, f core.PaperTest) string {
		return parts(
			verdictWords(f.Outcome, f.Reason),
			w.hold(f.Start, f.End, f.Hold),
			"method "+f.Method, f.Manometer, f.Tester, f.Day.String(), f.Remedy)
	}),

	wordsOf("run opened", func(_ wording, f core.Opened) string {
		return parts("method "+f.Method.Key, f.Method.Source, "manometer "+f.Manometer.ID)
	}),
	wordsOf("ticked", func(_ wording, f core.Ticked) string {
		if f.ByTap {
			return onList(f.Items) + ", by tap"
		}
		return onList(f.Items)
	}),
	wordsOf("tick taken back", func(_ wording, f core.Unticked) string { return onList(f.Items) }),
	wordsOf("defect seen", func(_ wording, f core.DefectSeen) string {
		return parts(onList([]int{f.Item}), f.What)
	}),
	wordsOf("reading", func(w wording, f core.Taken) string { return w.reading(f.Reading) }),
	wordsOf("reading asked about", func(w wording, f core.Questioned) string {
		return parts(w.reading(f.Reading), "perhaps "+f.Perhaps.String())
	}),
	wordsOf("reading corrected", func(w wording, f core.Corrected) string {
		return fmt.Sprintf("number %d: %s", f.N, w.written(f.Written))
	}),
	wordsOf("expansion begun", func(_ wording, f core.ExpansionStarted) string { return byReading(f.N) }),
	wordsOf("expansion void", func(wording, core.ExpansionVoid) string { return "the pressure was not held" }),
	wordsOf("hold begun", func(_ wording, f core.HoldStarted) string { return byReading(f.N) }),
	wordsOf("hold void", func(wording, core.HoldVoid) string { return "the start was out of tolerance" }),
	wordsOf("hold resumed", func(wording, core.HoldResumed) string { return "the verdict is taken back" }),
	wordsOf("bell", func(w wording, f core.Rung) string {
		said := ""
		if f.Quiet {
			said = "too late, not said"
		}
		return parts(string(f.Bell), "due "+w.moment(f.Due), said)
	}),
	wordsOf("verdict", func(w wording, f core.Judged) string { return w.verdict(f.Verdict) }),
	wordsOf("stopped", func(_ wording, f core.Stopped) string { return f.Why }),
	wordsOf("again", func(_ wording, f core.Again) string { return f.Why }),
	wordsOf("nothing fitted", func(wording, core.NoneFitted) string { return "said by the tester" }),
	wordsOf("handed over", func(_ wording, f core.HandedOver) string { return parts("to "+f.To.Name, string(f.Why)) }),
	wordsOf("manometer chosen", func(_ wording, f core.ManometerChosen) string {
		return fmt.Sprintf("%s, reads in %s", f.Manometer.ID, f.Manometer.Unit)
	}),
	wordsOf("air at the suit", func(w wording, f core.AirNoted) string { return w.number(f.Celsius) + " °C" }),
	wordsOf("barometer", func(w wording, f core.BaroNoted) string { return w.written(f.Written) }),
	wordsOf[core.MeteringBegun]("capacity begun", nil),
	wordsOf("capacity reading", func(w wording, f core.MeteringRead) string {
		return parts(fmt.Sprintf("%s: %s", commands.BeforeOrAfter(f.Reading.N), w.written(f.Reading.Written)), f.Reading.Manometer)
	}),
	wordsOf("air added", func(w wording, f core.AirAdded) string { return w.number(f.Litres) + " L" }),
	wordsOf("capacity reading corrected", func(w wording, f core.MeteringCorrected) string {
		return fmt.Sprintf("%s: %s", commands.BeforeOrAfter(f.N), w.written(f.Written))
	}),
	wordsOf("capacity left", func(w wording, f core.MeteringLeft) string {
		if f.TooHigh.IsZero() {
			return ""
		}
		return w.written(f.TooHigh) + " was too high"
	}),
	wordsOf("leak found", func(_ wording, f core.LeakFound) string { return f.Where }),
	wordsOf("note", func(_ wording, f core.Noted) string {
		if f.Recalled {
			return parts(f.Text, "a reading stated too late to be taken")
		}
		return f.Text
	}),
	wordsOf("photo posted", func(_ wording, f core.PhotoPosted) string {
		return parts(f.Name, commands.LinkWords(f.With), f.Caption, fmt.Sprintf("%d bytes", f.Size), "file "+f.File)
	}),
	wordsOf("photo kept", func(_ wording, f core.PhotoKept) string {
		return parts(f.Type, "SHA-256 "+f.Sum.String(), "file "+f.File)
	}),
	wordsOf("photo not kept", func(_ wording, f core.PhotoLost) string {
		return parts(string(f.Why), "file "+f.File)
	}),
	wordsOf("run closed", func(wording, core.Closed) string { return "nothing is left in the suit" }),
}

// fact returns what a fact is called, and more about it. A test sees to it that
// there are words for every fact.
func (w wording) fact(f core.Fact) (what, details string) {
	i := slices.IndexFunc(journalWords, func(fw factWords) bool { return fw.fact == reflect.TypeOf(f) })
	if i < 0 {
		return fmt.Sprintf("%T", f), fmt.Sprintf("%+v", f)
	}
	return journalWords[i].what, journalWords[i].details(w, f)
}

// parts joins what is not empty.
func parts(all ...string) string {
	return strings.Join(slices.DeleteFunc(all, func(s string) bool { return s == "" }), "; ")
}

// columnsOf writes the columns of the register that are not empty.
func columnsOf[T any](w wording, columns []column[T], of T) string {
	var all []string
	for _, c := range columns {
		if cell := c.cell(&of, w.Dialect); cell != "" {
			all = append(all, c.name+" "+cell)
		}
	}
	return parts(all...)
}

// moment writes a moment at the station, to the second, as spreadsheets know
// one.
func (w wording) moment(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.In(w.zone).Format(time.DateTime)
}

func (w wording) written(p core.Written) string {
	if p.IsZero() {
		return ""
	}
	return w.number(p.Digits) + " " + p.Unit.String()
}

// reading writes a reading, with the moment at which it was true if that is not
// the one of its post.
func (w wording) reading(r core.Reading) string {
	when := ""
	if !r.Taken.Equal(r.Posted) {
		when = "counts as of " + w.moment(r.Taken)
	}
	return parts(fmt.Sprintf("number %d: %s", r.N, w.written(r.Written)), r.Manometer, when)
}

// hold writes what a hold began and ended with.
func (w wording) hold(start, end core.Written, took time.Duration) string {
	if start.IsZero() || end.IsZero() {
		return ""
	}
	return fmt.Sprintf("%s → %s in %s min", w.written(start), w.written(end), w.number(writeMinutes(took)))
}

func verdictWords(o core.Outcome, r core.Reason) string {
	if r == "" {
		return string(o)
	}
	return fmt.Sprintf("%s: %s", o, r)
}

func (w wording) verdict(v core.Verdict) string {
	drop, known := "", ""
	if v.End.N != 0 {
		u := v.End.Written.Unit
		d, limit := told(v.Drop, v.Allowed, u, max(v.Start.Written.Decimals(), v.End.Written.Decimals(), 1))
		drop = fmt.Sprintf("drop %s %s, limit %s %s", w.number(d), u, w.number(limit), u)
		if v.Expanded != 0 {
			known = fmt.Sprintf("known to ± %s %s", w.number(v.Expanded.In(u, 1)), u)
		}
	}
	return parts(
		verdictWords(v.Outcome, v.Reason), fmt.Sprintf("rules %d", max(1, v.Rules)), v.Defect,
		w.hold(v.Start.Written, v.End.Written, v.End.Taken.Sub(v.Start.Taken)), drop, known)
}

// told writes two pressures with the given decimals, or with more until they
// differ: a drop just over the limit must not look like the limit.
func told(a, b core.Pressure, u core.Unit, decimals int) (string, string) {
	const most = 9
	for decimals < most && a != b && a.Fixed(u, decimals) == b.Fixed(u, decimals) {
		decimals++
	}
	return a.Fixed(u, decimals), b.Fixed(u, decimals)
}

func onList(items []int) string {
	words := make([]string, len(items))
	for i, n := range items {
		words[i] = fmt.Sprint(n)
	}
	return strings.Join(words, ", ") + " on the list"
}

func byReading(n int) string { return fmt.Sprintf("by reading %d", n) }
