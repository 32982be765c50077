package core

import (
	"fmt"
	"time"
)

// A correction is for a slip of the thumb. Within correctionTime of the post, and
// before anything else was done, it may change the reading to anything; later it
// counts only if it makes things worse for the suit. It never starts a clock and never
// changes an attempt that was given up. An answer to a question about a reading counts
// up to answerTime after the reading, a stated moment up to believed after it. The
// numbers are ours.
const (
	correctionTime = 2 * time.Minute
	answerTime     = 2 * time.Minute
	believed       = 3 * time.Minute
)

// Stopwatch prints a time of the hold as minutes and seconds: "6:00".
func Stopwatch(d time.Duration) string {
	d = d.Round(time.Second)
	return fmt.Sprintf("%d:%02d", int(d.Minutes()), int(d.Seconds())%60)
}

// worse reports whether an outcome is worse for the suit than another.
func (o Outcome) worse(than Outcome) bool { return o.rank() > than.rank() }

func (o Outcome) rank() int {
	switch o {
	case Pass:
		return 0
	case NoVerdict:
		return 1
	}
	return 2
}

// prompt reports whether a correction comes so soon that it can only be for a slip: the
// reading is the last one, minutes old, and nothing was done since. What was said
// before the reading corrects nothing of it.
func (r Run) prompt(at time.Time, of Reading) bool {
	last, ok := r.Last()
	return ok && last.N == of.N && !r.Handled && !at.Before(of.Posted) && !at.After(of.Posted.Add(correctionTime))
}

// yes takes the reading that was asked about, in the unit asked for.
func (r Run) yes(b Bench, a Asker) ([]Fact, error) {
	if r.Asked == nil {
		return nil, r.refuse(NothingAsked)
	}
	written := r.Asked.Reading.Written
	written.Unit = r.Asked.Perhaps
	return r.confirm(b, a, written)
}

// confirm takes the reading that was asked about, with the value of the answer. In a
// hold it counts from when it was posted. Before a hold it counts from the answer,
// since it may start a clock.
func (r Run) confirm(b Bench, a Asker, written Written) ([]Fact, error) {
	reading := r.Asked.Reading
	if a.At.After(reading.Posted.Add(answerTime)) {
		return nil, r.refuse(AnswerTooLate)
	}
	reading.Written = written
	if r.Phase != Hold {
		reading.Taken, reading.Posted = a.At, a.At
	}
	return r.take(b, reading)
}

// fix corrects the last reading, or the one that was asked about.
func (r Run) fix(b Bench, a Asker, w Fix) ([]Fact, error) {
	read := Read{Digits: w.Digits, Unit: w.Unit}
	if r.Asked != nil && r.Phase != Over {
		return r.answer(b, a, read)
	}
	if n := r.lastMetered(); n > 0 {
		return r.fixMetering(b, n, read)
	}
	last, ok := r.Last()
	switch {
	case !ok && len(r.Past) > 0:
		return nil, r.refuse(AttemptOver)
	case !ok:
		return nil, r.refuse(NothingToFix)
	}
	return r.correct(b, a, last, read)
}

// answer takes the reading that was asked about with other digits.
func (r Run) answer(b Bench, a Asker, w Read) ([]Fact, error) {
	reading, err := r.readingOf(a, w)
	if err != nil {
		return nil, err
	}
	if unit, doubt := r.doubt(w, reading.Written); doubt {
		return nil, r.refuse(Implausible, func(f *Refusal) {
			f.Digits, f.Unit = reading.Written.Digits, reading.Written.Unit
			if unit != NoUnit {
				f.Choices = []string{unit.String()}
			}
		})
	}
	return r.confirm(b, a, reading.Written)
}

// amend is a post edited.
func (r Run) amend(b Bench, a Asker, w Amend) ([]Fact, error) {
	if q := r.Asked; q != nil && q.Reading.Post == w.Post && r.Phase != Over {
		return r.answer(b, a, w.Read)
	}
	if n := r.metered(w.Post); n > 0 {
		return r.fixMetering(b, n, w.Read)
	}
	var posted Reading
	for _, reading := range r.AllReadings() {
		if reading.Post == w.Post {
			posted = reading
		}
	}
	switch {
	case posted.N == 0:
		return nil, r.refuse(NothingToFix)
	case w.Read.HasStated != posted.Stated || posted.Stated && r.has(posted.N) && !posted.Taken.Equal(r.HeldAt.Add(w.Read.Stated)):
		return nil, r.refuse(MomentKept)
	}
	return r.correct(b, a, posted, w.Read)
}

// correct replaces the value of a reading and returns what follows. The reading keeps
// its moment, and both values stay on record.
func (r Run) correct(b Bench, a Asker, old Reading, w Read) ([]Fact, error) {
	written, err := r.correction(old, w)
	switch {
	case err != nil:
		return nil, err
	case written == old.Written:
		return nil, nil
	case !r.has(old.N):
		return nil, r.refuse(AttemptOver)
	}
	fact := Corrected{N: old.N, Written: written}
	after := r.Apply(Entry{At: a.At, By: a.By, Fact: fact})
	stops := after.stops(b, old.N)
	if r.Phase == Restore || r.Phase == Over {
		stops = r.rejudged(b, after)
	}
	if !r.prompt(a.At, old) && !r.worsened(stops) {
		if r.Phase == Over {
			return nil, r.refuse(ClosedForGood)
		}
		return nil, r.refuse(TooLateToFix)
	}
	return append([]Fact{fact}, stops...), nil
}

// correction reads what a reading is to say instead.
func (r Run) correction(old Reading, w Read) (Written, error) {
	unit := w.Unit
	if unit == NoUnit {
		unit = old.Written.Unit
	}
	written, err := Write(w.Digits, unit)
	if err == nil && written.Pressure() <= r.most() {
		return written, nil
	}
	return Written{}, r.refuse(Implausible, func(f *Refusal) {
		f.Digits, f.Unit, f.Fix = w.Digits, unit, true
		if p, err := Write(w.Digits, r.Manometer.Unit); err == nil && unit != r.Manometer.Unit && p.Pressure() <= r.most() {
			f.Choices = []string{r.Manometer.Unit.String()} // the reading was written in another
		}
	})
}

// worsened reports whether the facts of a correction make things worse for the
// suit: a clock is stopped, or the verdict is worse than the present one.
func (r Run) worsened(facts []Fact) bool {
	for _, f := range facts {
		switch f := f.(type) {
		case ExpansionVoid, Again:
			return true
		case Judged:
			return f.Verdict.Outcome != Pass && (r.Verdict == nil || f.Verdict.Outcome.worse(r.Verdict.Outcome))
		}
	}
	return false
}

// rejudged returns the verdict after a correction. If the readings decide nothing any
// more and the manometer is still free, the hold goes on. It returns nothing if the
// run was stopped, or if the reading did not matter.
func (r Run) rejudged(b Bench, after Run) []Fact {
	if r.Verdict == nil || r.HeldBy == 0 {
		return nil
	}
	v, ok := after.judged(b)
	if _, busy := b.Holder(r.Manometer.ID, r.ID); !ok && !busy && r.Phase == Restore {
		return []Fact{HoldResumed{}}
	}
	if !ok {
		v = Verdict{Rules: Rules, Outcome: NoVerdict, Reason: CutShort, Method: r.Method.Key, Start: r.Verdict.Start, Bell: r.Verdict.Bell}
	}
	if ok && v.Outcome == r.Verdict.Outcome && v.Start.Written == r.Verdict.Start.Written && v.End.Written == r.Verdict.End.Written {
		return nil
	}
	return []Fact{Judged{v}}
}
