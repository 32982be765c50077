package core

// believable are the units that people mix up. A number that does not fit in its own
// unit is tried in these.
var believable = []Unit{Mbar, MmH2O, InH2O, Pa, KPa}

// doubt reports whether a number is too implausible to be taken, and the unit in which
// it would fit, if there is one. A number with the manometer's own unit is doubted
// only if no suit could hold such a pressure.
func (r Run) doubt(w Read, written Written) (perhaps Unit, doubt bool) {
	p := written.Pressure()
	if start, held := r.Start(); held && 4*p < start.Pressure() {
		return NoUnit, w.Unit == NoUnit // a suit that collapsed, or a slip: the unit must be said
	}
	said := w.Unit != NoUnit && w.Unit == r.Manometer.Unit
	if p <= r.most() && (said || r.near(p)) {
		return NoUnit, false
	}
	for _, u := range believable {
		if u == written.Unit {
			continue
		}
		other, err := Write(written.Digits, u)
		if err == nil && r.expects(other.Pressure()) {
			return u, true
		}
	}
	return NoUnit, p > r.most()
}

// most is the highest pressure that is believed. No suit holds more.
func (r Run) most() Pressure { return 3 * r.Method.Expansion.Target.Pressure() }

// near reports whether a pressure is plausible as it stands. In a hold that is every
// pressure that a leak can lead to (see jumped): a bad reading must never be asked
// about in a unit in which it would be a good one.
func (r Run) near(p Pressure) bool {
	most := r.Method.Expansion.Target.Pressure()
	if _, held := r.Start(); held {
		return 10*p <= 13*most
	}
	return 5*p >= 3*most && 10*p <= 13*most
}

// expects reports whether a pressure is what this phase of the run is about.
func (r Run) expects(p Pressure) bool {
	if start, ok := r.Start(); ok {
		lowest := r.Method.Limit.Lowest(start.Pressure())
		return p <= start.Pressure() && 10*p >= 9*lowest
	}
	return r.Method.Test.Low <= p && p <= r.Method.Expansion.High
}
