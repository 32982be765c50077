package core

import "time"

// What the tests see of the inside.

func (c AirChange) CouldCause(l Limit, start, end Pressure) bool { return c.couldCause(l, start, end) }

func (c AirChange) CouldHide(l Limit, start, end Pressure) bool { return c.couldHide(l, start, end) }

func (a Acceptance) Judge(margin, u float64) Outcome { return a.judge(margin, u) }

func (p Period) Nth(d Date, n int) Date { return p.nth(d, n) }

func (f File) Unreleased(p Policy) bool { return f.unreleased(p) }

func (r Run) FreeAt(p Policy) time.Time { return r.freeAt(p) }
