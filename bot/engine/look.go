package engine

import (
	"fmt"
	"time"

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
func (t *turn) lookForDue() error {
	now, r := t.ev.At, t.reminders
	if until := r.QuietUntil(now, t.bench.Policy.Zone); until.After(now) {
		t.setLook(until, t.looked)
		return nil
	}
	if t.looked.IsZero() { // the first start: nothing was missed
		t.setLook(r.Next(now), now)
		return nil
	}
	n, last := r.Digests(t.looked, now)
	notices, err := t.notices(now, n > 0)
	if err != nil {
		return err
	}
	digest := commands.Digest{Day: t.bench.Day(now), Regular: n > 0}
	zone := t.bench.Policy.Zone
	isLate := func(due time.Time) bool { return now.Sub(r.QuietUntil(due, zone)) > late }
	missed := n > 1 || n == 1 && isLate(last) || isLate(r.Next(t.looked))
	if missed {
		digest.Since, digest.Missed = t.looked, n
	}
	officers, _ := t.reachable()
	var direct []core.Notice
	for _, notice := range notices {
		if notice.Kind.ForOfficers() && len(officers) > 0 {
			direct = append(direct, notice)
		}
		if !notice.Kind.ForOfficers() || len(officers) == 0 || missed {
			digest.Notices = append(digest.Notices, notice)
		}
		t.given = append(t.given, notice.Key(), notice.First().Key())
	}
	if digest.Regular || len(notices) > 0 {
		if err := t.fleetDigest(&digest); err != nil {
			return err
		}
	}
	if err := t.seal(officers); err != nil {
		return err
	}
	something := len(digest.Notices) > 0 || digest.Regular && len(digest.Not)+len(digest.Soon) > 0
	if something || digest.Regular && r.NilReturn {
		t.enqueue(store.Out{Class: store.Notice, Text: t.speak.Digest(digest)})
	}
	if len(direct) > 0 {
		for _, officer := range officers {
			t.enqueue(store.Out{Class: store.Notice, Person: officer.ID, Text: t.speak.Officers(direct, digest.Not)})
		}
	}
	t.setLook(r.Next(now), now)
	return nil
}

// seal tells the officers once a month how the journal stands, so that one that
// is written anew later no longer matches what was posted.
func (t *turn) seal(officers []core.Person) error {
	day := t.bench.Day(t.ev.At)
	key := fmt.Sprintf("seal/%04d-%02d", day.Year, day.Month)
	given, err := t.store.Given(key)
	if err != nil || given[key] || len(officers) == 0 {
		return err
	}
	n, head, err := t.store.Head()
	if err != nil {
		return err
	}
	t.given = append(t.given, key)
	for _, officer := range officers {
		t.enqueue(store.Out{Class: store.Notice, Person: officer.ID, Text: t.speak.Seal(day.Month, n, head.String())})
	}
	return nil
}

// setLook sets when the next look is and when the last was.
func (t *turn) setLook(next, looked time.Time) {
	t.nextLook, t.lastLook = next, looked
}

// notices returns what has come due and was not told yet; of what stays
// overdue, only a regular look tells again. It reads only suits whose day has
// come and those that are blocked.
func (t *turn) notices(now time.Time, regular bool) ([]core.Notice, error) {
	day := t.bench.Day(now)
	rows, err := t.rowsOf(t.store.DueBy(day), t.store.EndingBy(day), t.store.Barred())
	if err != nil {
		return nil, err
	}
	var all []core.Notice
	for _, row := range rows {
		all = append(all, core.SuitNotices(t.bench.Policy, ledger.SummaryOf(row), now)...)
	}
	for _, id := range t.bench.ManometerIDs() {
		all = append(all, core.ManometerNotices(t.bench.Policy, t.bench.Manometers[id], now)...)
	}
	keys := make([]string, 0, 2*len(all))
	for _, n := range all {
		keys = append(keys, n.Key(), n.First().Key())
	}
	given, err := t.store.Given(keys...)
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
func (t *turn) fleetDigest(d *commands.Digest) error {
	total, _, not, err := t.fleet(d.Day)
	if err != nil {
		return err
	}
	d.Total, d.Fit, d.Not = total, total-len(not), not
	d.Soon, err = t.dueLines(d.Day, d.Day, t.bench.Policy.DueSoon)
	return err
}

// dueLines returns what falls due from a day on, within a period, by date.
func (t *turn) dueLines(from, today core.Date, within core.Period) ([]commands.DueLine, error) {
	until := within.After(today)
	var all []commands.DueLine
	add := func(name string, due core.Date, what string, st core.Standing) {
		if !due.IsZero() && !due.Before(from) && !due.After(until) {
			all = append(all, commands.DueLine{Name: name, Due: due, What: what, Standing: st})
		}
	}
	rows, err := t.rowsOf(t.store.DueBy(until), t.store.EndingBy(until))
	if err != nil {
		return nil, err
	}
	for _, row := range rows {
		st := ledger.SummaryOf(row).Standing(t.bench.Policy, today)
		if row.EndOfLife.IsZero() || !row.EndOfLife.Before(today) { // no test is due after that
			add(row.Tag, row.Due, "test", st)
		}
		add(row.Tag, row.EndOfLife, "life ends", st)
	}
	for _, id := range t.bench.ManometerIDs() {
		add(id, t.bench.Manometers[id].CalibratedUntil, "calibration", core.Standing{})
	}
	sortDue(all)
	return all, nil
}

func (t *turn) askDue(w core.AskDue) error {
	within := w.Within
	if within.IsZero() {
		within = t.bench.Policy.DueSoon
	}
	today := t.bench.Day(t.ev.At)
	all, err := t.dueLines(core.Date{}, today, within)
	if err != nil {
		return err
	}
	t.answer(t.speak.Due(all, within, today))
	return nil
}
