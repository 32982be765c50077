package core

import "time"

// Takeover says by what right a run got another tester. The zero value means that
// its tester handed it over.
type Takeover string

// The rights to hand a run over.
const (
	TakeoverByOfficer   Takeover = "an officer decided it"
	TakeoverDeactivated Takeover = "the tester's account is deactivated"
	TakeoverSilent      Takeover = "the tester was silent in it for too long"
)

// freeAt returns when anybody may take the run over if its tester stays silent;
// zero if silence never allows it.
func (r Run) freeAt(p Policy) time.Time {
	if p.TakeOver <= 0 {
		return time.Time{}
	}
	return r.Heard.Add(p.TakeOver)
}

// takeover returns the right by which somebody who is not the tester may stop the
// run or hand it over.
func (r Run) takeover(p Policy, a Asker) (why Takeover, ok bool) {
	switch free := r.freeAt(p); {
	case a.Officer:
		return TakeoverByOfficer, true
	case a.Absent:
		return TakeoverDeactivated, true
	case !free.IsZero() && !a.At.Before(free):
		return TakeoverSilent, true
	}
	return "", false
}

// notTheTester decides for everybody but the tester. They may stop the run or hand
// it over if they have a right to, and nothing else.
func (r Run) notTheTester(b Bench, a Asker, want Intent) ([]Fact, error) {
	why, ok := r.takeover(b.Policy, a)
	stop, stops := want.(Stop)
	over, hands := want.(HandOver)
	switch {
	case (stops || hands) && r.Phase == Over:
		return nil, r.refuse(RunClosed)
	case ok && stops:
		return r.stopForTester(a, stop, why)
	case ok && hands:
		return r.handOver(a, over, why)
	}
	reason := NotTheTester
	if stops || hands {
		reason = NotTheirRun
	}
	return nil, r.refuse(reason, func(f *Refusal) {
		f.Person, f.Choices, f.Until, f.TakeOver = r.Tester, []string{a.By.Name}, r.freeAt(b.Policy), ok && r.Phase != Over
	})
}

// stopForTester stops the run for somebody who is not its tester. They become its
// tester, so that they can tick the list of unplugging.
func (r Run) stopForTester(a Asker, w Stop, why Takeover) ([]Fact, error) {
	facts, err := r.stop(w)
	if err != nil {
		return nil, r.refuse(AlreadyStopped, func(f *Refusal) { f.Person, f.TakeOver = r.Tester, true })
	}
	return append([]Fact{HandedOver{To: a.By, Why: why}}, facts...), nil
}

// handOver gives the run to another person, or to the one who asks.
func (r Run) handOver(a Asker, w HandOver, why Takeover) ([]Fact, error) {
	to := w.To
	if w.Me {
		to = a.By
	}
	switch {
	case to.ID == "":
		return nil, r.refuse(UnknownPerson, func(f *Refusal) { f.Person = to })
	case to.Is(r.Tester):
		return nil, r.refuse(AlreadyTheirs, func(f *Refusal) { f.Person = to })
	}
	return []Fact{HandedOver{To: to, Why: why}}, nil
}
