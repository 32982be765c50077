package estimate

import "math"

// Atmosphere is the standard atmosphere in pascals.
const Atmosphere = 101325.0

// Share is how much of a rigid vessel's change of pressure a suit shows,
// between bounds above 0 and up to 1. With a volume V, an absolute pressure P in
// it, and a compliance C (m³ more for each pascal), it is 1/(1 + C·P/V). The
// zero Share is not known: the suit may be rigid or limp, or anything between.
type Share struct{ Low, High float64 }

// ShareOf returns the share of a suit that has a free volume, and takes as much
// air for each pascal as a rigid vessel of the effective volume would. Both are
// in cubic metres; their intervals bound the share, each at its worse end. It is
// not known if either is not, or if the effective volume must be the smaller
// one, which cannot be.
func ShareOf(free, effective Estimate) Share {
	low, high := free.Low/effective.High, free.High/effective.Low
	if !(low > 0 && low <= 1 && high >= low) {
		return Share{}
	}
	return Share{Low: low, High: min(1, high)}
}

// Known reports whether the suit was measured, so that the effect of the air
// can be computed. If not, it is only bounded.
func (s Share) Known() bool { return s.High > 0 }

// Bounds returns the least and the greatest that the share can be.
func (s Share) Bounds() (low, high float64) {
	if s.Known() {
		return s.Low, s.High
	}
	return 0, 1
}

// RMS returns the factor for a small uncertain change of a rigid vessel's pressure: the
// root mean square of all possible shares.
func (s Share) RMS() float64 {
	low, high := s.Bounds()
	return math.Sqrt((low*low + low*high + high*high) / 3)
}

// AirEffect returns how much the gauge pressure can have risen, from low to
// high, only because the air went from t0 to t1 (K) and the barometer from pb0 to pb1
// (Pa, absolute). In a rigid vessel
//
//	p₂ = (Pb₁ + p₁)·T₂/T₁ − Pb₂
//
// In a limp one nothing changes. Both ends of the suit's share are used.
func AirEffect(t0, t1, pb0, pb1, gauge float64, share Share) (low, high float64) {
	rigid := (pb0+gauge)*(t1/t0-1) - (pb1 - pb0)
	least, most := share.Bounds()
	return min(least*rigid, most*rigid), max(least*rigid, most*rigid)
}

// volumeError is how far off an added volume of air may be, as a share of it:
// that of a common syringe or meter. The number is ours.
const volumeError = 0.02

// EffectiveVolume returns the effective volume Veff = V + C·P of a suit in m³
// from the rise of its pressure by a volume of air that was added to it: the
// room's pressure times that volume, over the rise. Both readings were rounded
// to a step, and the rise is known to u besides. The rise of temperature by
// blowing air in is neglected. It is zero if nothing was added, or nothing rose.
func EffectiveVolume(room, added, rise, step, u float64) Estimate {
	if !(rise > 0 && added > 0) {
		return Estimate{}
	}
	v := room * added / rise
	return Expanded(v, v*math.Hypot(Rectangular(volumeError), math.Hypot(step/math.Sqrt(6), u)/rise))
}
