package core

import (
	"errors"
	"fmt"
	"math"
	"math/big"
	"strings"
)

// Pressure is a gauge pressure, or a difference of two, counted in
// nanopascals as time.Duration counts nanoseconds: every unit of the trade is
// a whole number of them, so that sums and comparisons are exact. The range is
// about ±9.2 GPa.
type Pressure int64

// The units of the trade. Conventional water (1000 kg/m³) and conventional
// mercury (13 595.1 kg/m³) at g = 9.806 65 m/s², as in NIST SP 811; a pound
// force per square inch is rounded to the nanopascal.
const (
	Nanopascal              Pressure = 1
	Pascal                           = 1_000_000_000 * Nanopascal
	Hectopascal                      = 100 * Pascal
	Millibar                         = 100 * Pascal
	Kilopascal                       = 1000 * Pascal
	MillimetreOfWater                = 9_806_650_000 * Nanopascal
	CentimetreOfWater                = 10 * MillimetreOfWater
	InchOfWater                      = 249_088_910_000 * Nanopascal
	MillimetreOfMercury              = 133_322_387_415 * Nanopascal
	InchOfMercury                    = 3_386_388_640_341 * Nanopascal
	PoundForcePerSquareInch          = 6_894_757_293_168 * Nanopascal
	maxPressure                      = Pressure(1<<63 - 1)
	maxDigits                        = 12
	maxDecimals                      = 6
)

// Pascals returns p in pascals, for formulas that are not exact anyway.
func (p Pressure) Pascals() float64 { return float64(p) / float64(Pascal) }

// FromPascals returns the result of a formula as a pressure, rounded to the nanopascal
// and limited to the range of a Pressure.
func FromPascals(p float64) Pressure {
	n := math.Round(p * float64(Pascal))
	switch {
	case n >= float64(maxPressure):
		return maxPressure
	case n <= -float64(maxPressure):
		return -maxPressure
	case math.IsNaN(n):
		return 0
	}
	return Pressure(n)
}

// Unit is a unit of pressure in which a manometer can read.
type Unit uint8

// The zero Unit is no unit.
const (
	NoUnit Unit = iota
	Mbar
	HPa
	Pa
	KPa
	MmH2O
	CmH2O
	InH2O
	MmHg
	Psi
	InHg // of a barometer alone: no suit's pressure is read in it
)

// units says for each Unit how it is printed, what one of it is, how many
// decimals suffice to print it, and how people write it (lower case, without
// blanks and full stops).
var units = [...]struct {
	symbol   string
	one      Pressure
	decimals int
	written  []string
}{
	NoUnit: {symbol: "no unit"},
	Mbar:   {"mbar", Millibar, 2, []string{"mbar", "mb", "millibar", "millibars"}},
	HPa:    {"hPa", Hectopascal, 2, []string{"hpa", "hectopascal", "hectopascals"}},
	Pa:     {"Pa", Pascal, 0, []string{"pa", "pascal", "pascals"}},
	KPa:    {"kPa", Kilopascal, 3, []string{"kpa", "kilopascal", "kilopascals"}},
	MmH2O: {"mm", MillimetreOfWater, 1, []string{
		"mm", "mmh2o", "mmh₂o", "mmwg", "mmwc", "mmws", "mmwatergauge", "mmwater", "mmwatercolumn", "kgf/m2", "kgf/m²",
	}},
	CmH2O: {"cm", CentimetreOfWater, 2, []string{"cm", "cmh2o", "cmh₂o", "cmwg", "cmwc", "cmws", "cmwatergauge", "cmwater"}},
	InH2O: {"in", InchOfWater, 2, []string{
		"in", "inch", "inches", `"`, "″", "”", "''", "inh2o", "inh₂o", "inwg", "inwc", "iwg", `"wg`, `"wc`, "″wg", "″wc", "”wg", "”wc", `"h2o`,
		"inwatergauge", "inwater", "inchwg", "incheswg", "incheswatergauge", "inchesofwater",
	}},
	MmHg: {"mmHg", MillimetreOfMercury, 2, []string{"mmhg", "torr"}},
	Psi:  {"psi", PoundForcePerSquareInch, 4, []string{"psi", "psig", "lbf/in2", "lbf/in²", "lb/in2"}},
	InHg: {symbol: "inHg", one: InchOfMercury, decimals: 2},
}

// Units returns every unit a manometer can read in: all but those of barometers.
func Units() []Unit { return []Unit{Mbar, HPa, Pa, KPa, MmH2O, CmH2O, InH2O, MmHg, Psi} }

// One returns the pressure of one unit.
func (u Unit) One() Pressure { return units[u].one }

// Decimals returns how many decimals suffice to print a reading in u.
func (u Unit) Decimals() int { return units[u].decimals }

// String returns the unit's symbol; water columns are just "mm", "cm", "in".
func (u Unit) String() string { return units[u].symbol }

var unitsWritten = func() map[string]Unit {
	m := make(map[string]Unit)
	for _, u := range Units() {
		for _, w := range units[u].written {
			m[w] = u
		}
	}
	return m
}()

// ParseUnit reads a unit as people write it: "mbar", "mm wg", `"wg`, "in. w.g.".
func ParseUnit(s string) (Unit, error) {
	key := strings.NewReplacer(" ", "", "\u00a0", "", ".", "").Replace(strings.ToLower(s))
	if u, ok := unitsWritten[key]; ok {
		return u, nil
	}
	const known = "write mbar, hPa, Pa, kPa, mm, cm, in, mmHg or psi"
	if key == "" {
		return NoUnit, errors.New("the unit is missing: " + known)
	}
	return NoUnit, fmt.Errorf("unit %q is not known: %s", s, known)
}

// Written is a pressure as somebody wrote it: the digits, the unit, and the
// exact value they stand for.
type Written struct {
	Digits string // decimal point, as "16.50"; no sign, no blanks
	Unit   Unit
}

// ErrDigits is wrapped by errors about a number that cannot be read.
var ErrDigits = errors.New("not a pressure")

// Write makes a Written from digits with a decimal comma or point.
// At most 12 digits, 6 of them decimals, and at most 9.2 GPa.
func Write(digits string, u Unit) (Written, error) {
	whole, decimals, hasPoint := strings.Cut(strings.Replace(digits, ",", ".", 1), ".")
	if strings.Trim(whole+decimals, "0123456789") != "" || whole == "" || hasPoint && decimals == "" {
		return Written{}, fmt.Errorf("%q: %w: write it like 16.5", digits, ErrDigits)
	}
	if len(whole)+len(decimals) > maxDigits || len(decimals) > maxDecimals {
		return Written{}, fmt.Errorf("%q: %w: too many digits", digits, ErrDigits)
	}
	if u == NoUnit || int(u) >= len(units) {
		return Written{}, fmt.Errorf("%q: %w: no unit", digits, ErrDigits)
	}
	whole = strings.TrimLeft(whole[:len(whole)-1], "0") + whole[len(whole)-1:]
	w := Written{Digits: whole, Unit: u}
	if hasPoint {
		w.Digits += "." + decimals
	}
	if w.rational().Cmp(new(big.Rat).SetInt64(int64(maxPressure))) > 0 {
		return Written{}, fmt.Errorf("%q %s: %w: far too much", digits, u, ErrDigits)
	}
	return w, nil
}

// MustWrite is Write for numbers that stand in the program text.
func MustWrite(digits string, u Unit) Written {
	w, err := Write(digits, u)
	if err != nil {
		panic(err)
	}
	return w
}

func (w Written) rational() *big.Rat {
	r, ok := new(big.Rat).SetString(w.Digits)
	if !ok {
		return new(big.Rat)
	}
	return r.Mul(r, new(big.Rat).SetInt64(int64(w.Unit.One())))
}

// Pressure returns the value. It is exact but for digits finer than a
// nanopascal, which are rounded half up.
func (w Written) Pressure() Pressure {
	r := w.rational()
	n := new(big.Int).Mul(r.Num(), big.NewInt(2))
	n.Add(n, r.Denom())
	return Pressure(n.Div(n, new(big.Int).Mul(r.Denom(), big.NewInt(2))).Int64())
}

// Decimals returns how many decimals were written.
func (w Written) Decimals() int {
	_, d, _ := strings.Cut(w.Digits, ".")
	return len(d)
}

// step returns one count of the last digit.
func (w Written) step() Pressure {
	one := w.Unit.One()
	for range w.Decimals() {
		one /= 10
	}
	return one
}

// IsZero reports whether nothing was written.
func (w Written) IsZero() bool { return w.Digits == "" }

// String returns digits and unit, as "16.5 mbar".
func (w Written) String() string { return w.Digits + " " + w.Unit.String() }

// In prints p in unit u with just the decimals it needs, from least up to the
// unit's own; further digits are rounded half away from zero. Limits and
// verdicts are never decided on what In prints.
func (p Pressure) In(u Unit, least int) string {
	s := p.Fixed(u, max(least, u.Decimals()))
	if !strings.Contains(s, ".") {
		return s
	}
	for len(s)-strings.IndexByte(s, '.')-1 > least && s[len(s)-1] == '0' {
		s = s[:len(s)-1]
	}
	return strings.TrimSuffix(s, ".")
}

// Fixed prints p in unit u with exactly the given number of decimals. What
// rounds to zero has no sign.
func (p Pressure) Fixed(u Unit, decimals int) string {
	s := big.NewRat(int64(p), int64(u.One())).FloatString(decimals)
	if strings.Trim(s, "-0.") == "" {
		return strings.TrimPrefix(s, "-")
	}
	return s
}
