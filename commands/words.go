package commands

import (
	"strings"
	"time"

	"benchbell/core"
)

// These functions return for documents what the chat says: the same words, without
// emphasis and quotes. They return people's own words unchanged; the caller makes them
// safe for its layout.

// Task words an item of a checklist.
func Task(it core.Item, run core.Run) string { return task(it, run) }

// Span prints a length of time: "6 min", "1 min 30 s".
func Span(d time.Duration) string { return span(d) }

// Stopwatch prints a time of the hold: "6:00".
func Stopwatch(d time.Duration) string { return core.Stopwatch(d) }

// Percent prints a probability without claiming more than it knows.
func Percent(p float64) string { return percent(p) }

// StandingWords names a standing.
func StandingWords(k core.StandingKind) string { return standingWords(k) }

// Range prints a pressure to be set and the range that is accepted, in its own
// unit: "17.5 mbar (17.0–18.0)".
func Range(s core.Setting) string { return setting(s, core.Manometer{Unit: s.Target.Unit}) }

// Figures prints what was measured against what is allowed, a line for each;
// nothing for a verdict without an ending pressure.
func Figures(run core.Run, v core.Verdict) string { return figures(run, v) }

// Reason words why a verdict is what it is.
func (s Speaker) Reason(run core.Run, v core.Verdict) string {
	const standIn = "defect"
	typed := v.Defect
	v.Defect = standIn
	return strings.Replace(s.why(run, v), quote(standIn), "“"+strings.TrimSpace(typed)+"”", 1)
}

// Certainty words the uncertainty of a verdict: how far it is known and how
// sure it is, then a line for each source; nothing for a verdict without an
// ending pressure.
func (s Speaker) Certainty(run core.Run, v core.Verdict) string { return s.certainty(run, v) }

// Leak words how large the leak is, where the suit's capacity is known; nothing
// where it is not.
func (s Speaker) Leak(run core.Run, v core.Verdict) string { return s.leakOf(run, v) }

// Limit words what a method demands of the ending pressure.
func (s Speaker) Limit(m core.Method) string {
	text := strings.TrimPrefix(s.limitOf(core.Run{Method: m}), m.Title+": ")
	text, _, _ = strings.Cut(text, "\n")
	return text
}

// Bar words one reason why a suit must not be worn.
func (s Speaker) Bar(b core.Bar) string {
	typed := b.Note
	b.Note = ""
	text := s.bar(b)
	if typed != "" {
		text += ": “" + typed + "”"
	}
	return text
}

// Short words a standing in a few words: every reason, without its date.
func (s Speaker) Short(st core.Standing) string { return s.short(st) }

// CapacityWords says how much air a suit takes, by a measurement.
func (s Speaker) CapacityWords(tag string, c core.Capacity) string {
	return strings.ReplaceAll(s.measured(tag, c), "**", "")
}

// Coarse warns of a manometer that is too coarse for the run's method; nothing
// if it is fine enough.
func (s Speaker) Coarse(run core.Run) string { return s.coarse(run) }
