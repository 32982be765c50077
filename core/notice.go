package core

import (
	"cmp"
	"fmt"
	"slices"
	"time"
)

// NoticeKind names what people are told unasked.
type NoticeKind string

// The kinds of notice, those that bar first.
const (
	NoticeOverdue   NoticeKind = "test overdue"
	NoticeLifeOver  NoticeKind = "past end of life"
	NoticeUntested  NoticeKind = "not tested since use"
	NoticeLapsed    NoticeKind = "calibration lapsed"
	NoticeLastDay   NoticeKind = "last day in test"
	NoticeLifeEnds  NoticeKind = "last day of life"
	NoticeCalibrate NoticeKind = "last day in calibration"
)

var noticeOrder = []NoticeKind{
	NoticeOverdue, NoticeLifeOver, NoticeUntested, NoticeLapsed, NoticeLastDay, NoticeLifeEnds, NoticeCalibrate,
}

// ForOfficers reports whether a notice goes to the officers, who must act,
// rather than to the crew.
func (k NoticeKind) ForOfficers() bool {
	return k == NoticeOverdue || k == NoticeLifeOver || k == NoticeLapsed
}

// Notice is one thing that people are told, once.
type Notice struct {
	Kind  NoticeKind
	Thing string    // tag of a suit, or id of a manometer
	Due   Date      // the day it is about
	Since time.Time // for NoticeUntested, when the suit was used
	Stage int       // whole weeks since it began to matter
}

// Key names a notice for ever: one whose key was used is never given again.
func (n Notice) Key() string {
	about := n.Due.String()
	if n.Kind == NoticeUntested {
		about = fmt.Sprint(n.Since.Unix())
	}
	return fmt.Sprintf("%s/%s/%s/%d", n.Kind, n.Thing, about, n.Stage)
}

// First returns the notice as it was when it began to matter. Later stages
// wait for the regular digest once the first was told.
func (n Notice) First() Notice {
	n.Stage = 0
	return n
}

// noticeEvery is after how many days people are told again that something is overdue.
const noticeEvery = 7

// SuitNotices returns the notices about a suit that are due. Of a repeated notice it
// returns only the present stage, so that missed ones do not arrive as many posts.
func SuitNotices(p Policy, s Summary, now time.Time) []Notice {
	if s.Retired {
		return nil
	}
	day := DateAt(now, p.Zone)
	var all []Notice
	lifeOver := !s.EndOfLife.IsZero() && s.EndOfLife.Before(day)
	switch {
	case lifeOver:
		all = append(all, dated(NoticeLifeOver, s.Tag, s.EndOfLife, day))
	case s.EndOfLife == day:
		all = append(all, Notice{Kind: NoticeLifeEnds, Thing: s.Tag, Due: day})
	}
	if withdrawn := slices.ContainsFunc(s.Bars, func(b Bar) bool { return b.Kind == BarWithdrawn }); lifeOver || withdrawn {
		return all // it is out of service: nobody is to test it
	}
	switch {
	case s.Due.IsZero():
	case s.Due.Before(day):
		all = append(all, dated(NoticeOverdue, s.Tag, s.Due, day))
	case s.Due == day && s.Standing(p, day).Wearable(): // "last day" would make a blocked suit sound fit
		all = append(all, Notice{Kind: NoticeLastDay, Thing: s.Tag, Due: day})
	}
	if used, ok := firstUse(s.Bars); ok && p.ChaseUsed > 0 && !used.Add(p.ChaseUsed).After(now) && !s.OnBench {
		all = append(all, Notice{Kind: NoticeUntested, Thing: s.Tag, Due: DateAt(used, p.Zone), Since: used})
	}
	return all
}

// firstUse returns when a suit was first used of the uses not yet tested.
func firstUse(bars []Bar) (first time.Time, ok bool) {
	for _, b := range bars {
		if b.Kind == BarUsed && (!ok || b.Since.Before(first)) {
			first, ok = b.Since, true
		}
	}
	return first, ok
}

// ManometerNotices returns the notices of a manometer whose time has come.
func ManometerNotices(p Policy, m Manometer, now time.Time) []Notice {
	day := DateAt(now, p.Zone)
	switch until := m.CalibratedUntil; {
	case until.IsZero():
	case until.Before(day):
		return []Notice{dated(NoticeLapsed, m.ID, until, day)}
	case until == day:
		return []Notice{{Kind: NoticeCalibrate, Thing: m.ID, Due: day}}
	}
	return nil
}

func dated(kind NoticeKind, thing string, due, day Date) Notice {
	return Notice{Kind: kind, Thing: thing, Due: due, Stage: (day.Days(due) - 1) / noticeEvery}
}

// SortNotices sorts by what bars first, then by date and name.
func SortNotices(all []Notice) {
	slices.SortStableFunc(all, func(a, b Notice) int {
		return cmp.Or(
			cmp.Compare(slices.Index(noticeOrder, a.Kind), slices.Index(noticeOrder, b.Kind)),
			a.Due.Compare(b.Due),
			cmp.Compare(a.Thing, b.Thing),
		)
	})
}
