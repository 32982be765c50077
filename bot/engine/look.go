package engine

import (
	"context"
	"errors"
	"fmt"
	"time"

	"benchbell/bot/chat"
	"benchbell/bot/ledger"
	"benchbell/commands"
	"benchbell/core"
	"benchbell/store"
)

// The wake keys of the looks: when the next one is due, and when the last was.
const (
	wakeLook   = "look"
	wakeLooked = "looked"
)

// late is how much later than due a look is called late. Shorter delays are
// those of a restart.
const late = 15 * time.Minute

// lookForDue tells people what has come due since the last look.
func (do *turn) lookForDue() error {
	now, r := do.ev.At, do.reminders
	if until := r.QuietUntil(now, do.bench.Policy.Zone); until.After(now) {
		do.setLook(until, do.looked)
		return nil
	}
	if do.looked.IsZero() { // the first start: nothing was missed
		do.setLook(r.Next(now), now)
		return nil
	}
	n, last := r.Digests(do.looked, now)
	notices, err := do.notices(now, n > 0)
	if err != nil {
		return err
	}
	digest := commands.Digest{Day: do.bench.Day(now), Regular: n > 0}
	zone := do.bench.Policy.Zone
	isLate := func(due time.Time) bool { return now.Sub(r.QuietUntil(due, zone)) > late }
	missed := n > 1 || n == 1 && isLate(last) || isLate(r.Next(do.looked))
	if missed {
		digest.Since, digest.Missed = do.looked, n
	}
	officers, err := do.officers()
	if err != nil {
		return err
	}
	var direct []core.Notice
	for _, notice := range notices {
		if notice.Kind.ForOfficers() && len(officers) > 0 {
			direct = append(direct, notice)
		}
		if !notice.Kind.ForOfficers() || len(officers) == 0 || missed {
			digest.Notices = append(digest.Notices, notice)
		}
		do.given = append(do.given, notice.Key(), notice.First().Key())
	}
	if digest.Regular || len(notices) > 0 {
		if err := do.fleetDigest(&digest); err != nil {
			return err
		}
	}
	if err := do.seal(officers); err != nil {
		return err
	}
	something := len(digest.Notices) > 0 || digest.Regular && len(digest.Not)+len(digest.Soon) > 0
	if something || digest.Regular && r.NilReturn {
		do.enqueue(store.Out{Text: do.speak.Digest(digest)})
	}
	if len(direct) > 0 {
		for _, officer := range officers {
			do.enqueue(store.Out{Person: officer.ID, Text: do.speak.Officers(direct, digest.Not)})
		}
	}
	do.setLook(r.Next(now), now)
	return nil
}

// seal tells the officers once a month how the journal stands, so that one that
// is written anew later no longer matches what was posted.
func (do *turn) seal(officers []core.Person) error {
	day := do.bench.Day(do.ev.At)
	key := fmt.Sprintf("seal/%04d-%02d", day.Year, day.Month)
	given, err := do.store.Given(key)
	if err != nil || given[key] || len(officers) == 0 {
		return err
	}
	n, head, err := do.store.Head()
	if err != nil {
		return err
	}
	do.given = append(do.given, key)
	for _, officer := range officers {
		do.enqueue(store.Out{Person: officer.ID, Text: do.speak.Seal(day.Month, n, head.String())})
	}
	return nil
}

// setLook sets when the next look is and when the last was.
func (do *turn) setLook(next, looked time.Time) {
	do.nextLook, do.lastLook = next, looked
}

// tellOfficers tells each officer directly what cannot wait for them to look. It
// is told in the crew channel instead where nobody is found for it, and besides
// where one of them is not, unless it is known there anyway: in silence it is
// never lost. The event waits a moment for the chat server to say who they are,
// and does not fail if it does not.
func (do *turn) tellOfficers(text string, known bool) {
	const patience = 3 * time.Second
	ctx, cancel := context.WithTimeout(do.ctx, patience)
	defer cancel()
	missed := len(do.officerNames) == 0
	for _, name := range do.officerNames {
		p, err := do.world.Person(ctx, name)
		if err != nil {
			do.log.Warn("an officer is told in the crew channel", "name", name, "error", err)
			missed = true
			continue
		}
		do.enqueue(store.Out{Person: p.ID, Text: text})
	}
	if missed && !known {
		do.enqueue(store.Out{Text: text})
	}
}

// officers looks the officers up. One whom nobody knows any more is left out,
// and the keeper told.
func (do *turn) officers() ([]core.Person, error) {
	var all []core.Person
	for _, name := range do.officerNames {
		p, err := do.world.Person(do.ctx, name)
		switch {
		case errors.Is(err, chat.ErrNobody):
			do.log.Warn("an officer of the configuration is not found on the chat server", "name", name)
		case err != nil:
			return nil, err
		default:
			all = append(all, p)
		}
	}
	return all, nil
}

// notices returns what has come due and was not told yet; of what stays
// overdue, only a regular look tells again. It reads only suits whose day has
// come and those that are blocked.
func (do *turn) notices(now time.Time, regular bool) ([]core.Notice, error) {
	day := do.bench.Day(now)
	rows, err := do.rowsOf(do.store.DueBy(day), do.store.EndingBy(day), do.store.Barred())
	if err != nil {
		return nil, err
	}
	var all []core.Notice
	for _, row := range rows {
		all = append(all, core.SuitNotices(do.bench.Policy, ledger.SummaryOf(row), now)...)
	}
	for _, id := range do.bench.ManometerIDs() {
		all = append(all, core.ManometerNotices(do.bench.Policy, do.bench.Manometers[id], now)...)
	}
	keys := make([]string, 0, 2*len(all))
	for _, n := range all {
		keys = append(keys, n.Key(), n.First().Key())
	}
	given, err := do.store.Given(keys...)
	if err != nil {
		return nil, err
	}
	fresh := all[:0]
	for _, n := range all {
		if !given[n.Key()] && (regular || !given[n.First().Key()]) {
			fresh = append(fresh, n)
		}
	}
	core.SortNotices(fresh)
	return fresh, nil
}

// fleetDigest adds the state of the fleet to a digest.
func (do *turn) fleetDigest(d *commands.Digest) error {
	total, _, not, err := do.fleet(d.Day)
	if err != nil {
		return err
	}
	d.Total, d.Fit, d.Not = total, total-len(not), not
	d.Soon, err = do.dueLines(d.Day, d.Day, do.bench.Policy.DueSoon)
	return err
}

// dueLines returns what falls due from a day on, within a period, by date.
func (do *turn) dueLines(from, today core.Date, within core.Period) ([]commands.DueLine, error) {
	until := within.After(today)
	var all []commands.DueLine
	add := func(name string, due core.Date, what string, st core.Standing) {
		if !due.IsZero() && !due.Before(from) && !due.After(until) {
			all = append(all, commands.DueLine{Name: name, Due: due, What: what, Standing: st})
		}
	}
	rows, err := do.rowsOf(do.store.DueBy(until), do.store.EndingBy(until))
	if err != nil {
		return nil, err
	}
	for _, row := range rows {
		st := ledger.SummaryOf(row).Standing(do.bench.Policy, today)
		if row.EndOfLife.IsZero() || !row.EndOfLife.Before(today) { // no test is due after that
			add(row.Tag, row.Due, "test", st)
		}
		add(row.Tag, row.EndOfLife, "life ends", st)
	}
	for _, id := range do.bench.ManometerIDs() {
		add(id, do.bench.Manometers[id].CalibratedUntil, "calibration", core.Standing{})
	}
	sortDue(all)
	return all, nil
}

func (do *turn) askDue(w core.AskDue) error {
	within := w.Within
	if within.IsZero() {
		within = do.bench.Policy.DueSoon
	}
	today := do.bench.Day(do.ev.At)
	all, err := do.dueLines(core.Date{}, today, within)
	if err != nil {
		return err
	}
	do.answer(do.speak.Due(all, within, today))
	return nil
}

// release clears what waits for an officer's word.
func (do *turn) release(w core.Release) error {
	file, err := do.findSuit(w.Suit)
	if err != nil {
		return err
	}
	if !do.isOfficer(do.ev.Who) {
		return &core.Refusal{Why: core.NotAnOfficer, Suit: file.Suit.Tag, Choices: do.officerNames}
	}
	fact, err := file.Release(do.bench.Policy)
	if err == nil {
		do.enterSuitFact(file, fact)
	}
	return err
}

// isOfficer reports whether a person may do what takes an officer: anybody, as
// long as the configuration names none.
func (e *Engine) isOfficer(p core.Person) bool {
	if len(e.officerNames) == 0 {
		return true
	}
	for _, name := range e.officerNames {
		if p.Name == name {
			return true
		}
	}
	return false
}
