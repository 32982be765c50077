package commands

import (
	"fmt"
	"math/big"
	"strconv"
	"strings"

	"benchbell/core"
)

// setting prints a pressure to be set and the range that is accepted, in the
// unit that the tester reads: "17.5 mbar (17.0–18.0)". Where the method has
// another unit than the manometer, its own figure comes first.
func setting(s core.Setting, gauge core.Manometer) string {
	if s.Target.Unit == gauge.Unit {
		return fmt.Sprintf("%s (%s)", s.Target, bounds(s, gauge.Unit, s.Target.Decimals()))
	}
	target := s.Target.Pressure().In(gauge.Unit, 1)
	return fmt.Sprintf("%s = %s %s (%s)", s.Target, target, gauge.Unit, bounds(s, gauge.Unit, gauge.Unit.Decimals()))
}

// target prints just the pressure to be set, as the manometer shows it.
func target(s core.Setting, gauge core.Manometer) string {
	if s.Target.Unit == gauge.Unit {
		return s.Target.String()
	}
	return s.Target.Pressure().In(gauge.Unit, 1) + " " + gauge.Unit.String()
}

// bounds prints the accepted range with its ends rounded inwards, so that a
// reading at a printed end is accepted.
func bounds(s core.Setting, u core.Unit, decimals int) string {
	return inward(s.Low, u, decimals, true) + "–" + inward(s.High, u, decimals, false)
}

func inward(p core.Pressure, u core.Unit, decimals int, up bool) string {
	scale := new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(decimals)), nil)
	n := new(big.Int).Mul(big.NewInt(int64(p)), scale)
	one := big.NewInt(int64(u.One()))
	if up {
		n.Add(n, new(big.Int).Sub(one, big.NewInt(1)))
	}
	n.Div(n, one)
	return new(big.Rat).SetFrac(n, scale).FloatString(decimals)
}

// atLeast prints the least pressure that is enough, rounded up so that a
// reading of it is, without needless zeros.
func atLeast(p core.Pressure, u core.Unit) string {
	text := inward(p, u, u.Decimals(), true)
	if whole, fraction, ok := strings.Cut(text, "."); ok {
		text = whole + "." + fraction[:1] + strings.TrimRight(fraction[1:], "0")
	}
	return text + " " + u.String()
}

// apart prints two pressures in a unit with the decimals asked for, or with as
// many more as it takes to tell them apart if they differ: a drop just over
// the limit must not look like the limit.
func apart(a, b core.Pressure, u core.Unit, decimals int) (string, string) {
	for ; decimals < 9; decimals++ {
		x, y := a.Fixed(u, decimals), b.Fixed(u, decimals)
		if x != y || a == b {
			return x, y
		}
	}
	return a.Fixed(u, decimals), b.Fixed(u, decimals)
}

// plusMinus prints what was measured, printed as digits already, with its
// expanded uncertainty if that is known, and with as many decimals as that has
// (JCGM 100:2008, 7.2.6).
func plusMinus(p core.Pressure, digits string, expanded core.Pressure, u core.Unit) string {
	if expanded == 0 {
		return digits
	}
	most := expanded.In(u, 1)
	_, fraction, _ := strings.Cut(most, ".")
	if _, written, _ := strings.Cut(digits, "."); len(written) < len(fraction) {
		digits = p.Fixed(u, len(fraction))
	}
	return digits + " ± " + most
}

// decimals returns how many decimals the result of two readings deserves in a
// unit: those that were written, or the unit's own after a conversion.
func decimals(a, b core.Written, u core.Unit) int {
	if a.Unit == u && b.Unit == u {
		return max(a.Decimals(), b.Decimals(), min(1, u.Decimals()))
	}
	return u.Decimals()
}

// pascals prints a number of pascals in a unit, to its usual decimals.
func pascals(p float64, u core.Unit) string {
	text := strconv.FormatFloat(p/u.One().Pascals(), 'f', u.Decimals(), 64)
	if strings.Trim(text, "-0.") == "" { // nobody writes -0.0
		return strings.TrimPrefix(text, "-")
	}
	return text
}

// fine is pascals with one more decimal, for what is small.
func fine(p float64, u core.Unit) string {
	return strconv.FormatFloat(p/u.One().Pascals(), 'f', u.Decimals()+1, 64)
}
