package core

import (
	"fmt"
	"math/big"
	"slices"
	"time"
)

// Certainty says how sure a number of a method is.
type Certainty string

// The grades of Certainty.
const (
	FromSource     Certainty = "read in the source's own text"
	FromReport     Certainty = "read in a secondary text"
	FromMemory     Certainty = "from memory, not confirmed in a text"
	CommonPractice Certainty = "common practice"
	OwnRule        Certainty = "ours; the source states none"
	KeepersOwn     Certainty = "stated by the keeper in the configuration"
)

// Provenance says where one number of a method comes from.
type Provenance struct {
	What      string // "hold 6 min"
	Source    string
	Certainty Certainty
}

// Setting is a pressure to be set, with the range that is accepted,
// both ends included.
type Setting struct {
	Target Written
	Low    Pressure
	High   Pressure
}

// Around returns the setting target ± tolerance, the tolerance in the same unit.
func Around(target, tolerance Written) Setting {
	t, d := target.Pressure(), tolerance.Pressure()
	return Setting{Target: target, Low: t - d, High: t + d}
}

// Holds reports whether p is in the accepted range.
func (s Setting) Holds(p Pressure) bool { return s.Low <= p && p <= s.High }

// Limit is what the ending pressure of a hold is judged by. Just one of its
// forms is set: a greatest drop, a least ending pressure (floor), or a least
// ratio of ending to starting pressure (Num/Den). Equality passes.
type Limit struct {
	Drop  Written
	Floor Written
	// Nominal is the test pressure that a floor is meant for. A start above it
	// has to keep the same share: else the floor would prove less.
	Nominal Written
	Num     int64
	Den     int64
}

// Within reports whether end passes after a hold that began at start. The
// comparison is exact: Den·end ≥ Num·start, never end ≥ 0.8·start.
func (l Limit) Within(start, end Pressure) bool {
	return l.within(start, new(big.Rat).SetInt64(int64(end)))
}

func (l Limit) within(start Pressure, end *big.Rat) bool {
	return end.Cmp(l.lowest(start)) >= 0
}

// lowest returns the exact least ending pressure that passes, in nanopascals.
func (l Limit) lowest(start Pressure) *big.Rat {
	switch {
	case !l.Drop.IsZero():
		return new(big.Rat).SetInt64(int64(start - l.Drop.Pressure()))
	case !l.Floor.IsZero():
		floor := new(big.Rat).SetInt64(int64(l.Floor.Pressure()))
		if nominal := l.Nominal.Pressure(); nominal > 0 && start > nominal {
			return floor.Mul(floor, big.NewRat(int64(start), int64(nominal)))
		}
		return floor
	case l.Den == 0: // no limit at all: nothing passes
		return new(big.Rat).SetInt64(int64(maxPressure))
	}
	lowest := new(big.Rat).SetInt64(int64(start))
	return lowest.Mul(lowest, big.NewRat(l.Num, l.Den))
}

// Lowest returns the least ending pressure that passes, rounded up to the
// next nanopascal.
func (l Limit) Lowest(start Pressure) Pressure {
	r := l.lowest(start)
	n := new(big.Int).Add(r.Num(), new(big.Int).Sub(r.Denom(), big.NewInt(1)))
	return Pressure(n.Div(n, r.Denom()).Int64())
}

// GreatestDrop returns the drop that just passes.
func (l Limit) GreatestDrop(start Pressure) Pressure { return start - l.Lowest(start) }

// Method is a published test method, as data. Pressures and limits are in the
// method's own Unit.
type Method struct {
	Key    string // what one types: "en943"
	Title  string // "EN 943-1, by ISO 17491-1 method 2"
	Source string
	Unit   Unit

	Expansion     Setting // pre-test expansion pressure
	ExpansionTime time.Duration
	Test          Setting // test pressure
	Hold          time.Duration
	Limit         Limit

	// MakerSets is true if the suit's maker states both pressures; those of
	// the method are then the least that are allowed, and MakerMargin is how
	// far above its target a pressure may be.
	MakerSets   bool
	MakerMargin Written

	Provenance []Provenance
}

// BuiltIn returns the methods built in from published standards. Each call
// returns a fresh copy.
func BuiltIn() []Method {
	inches := func(s string) Written { return MustWrite(s, InH2O) }
	return []Method{
		{
			Key: "en943", Title: "EN 943-1, by ISO 17491-1 method 2",
			Source:        "EN 943-1; ISO 17491-1:2012 method 2 (formerly EN 464:1994)",
			Unit:          Mbar,
			Expansion:     Around(MustWrite("17.5", Mbar), MustWrite("0.5", Mbar)),
			ExpansionTime: 10 * time.Minute,
			Test:          Around(MustWrite("16.5", Mbar), MustWrite("0.5", Mbar)),
			Hold:          6 * time.Minute,
			Limit:         Limit{Drop: MustWrite("3.0", Mbar)},
			Provenance: []Provenance{
				{"expansion 17.5 mbar for 10 min, topped up", "ISO 17491-1:2012 method 2", CommonPractice},
				{"test pressure 16.5 mbar, hold 6 min, suit not touched", "ISO 17491-1:2012 method 2", CommonPractice},
				{"± 0.5 mbar on both pressures", "ISO 17491-1:2012 method 2", FromMemory},
				{"drop at most 3.0 mbar", "EN 943-1", FromMemory},
			},
		},
		{
			Key: "f1052", Title: "ASTM F1052, 80 mm floor of NFPA 1991",
			Source:        "ASTM F1052-20; NFPA 1991 (now in NFPA 1990)",
			Unit:          MmH2O,
			Expansion:     Around(MustWrite("125", MmH2O), MustWrite("5", MmH2O)),
			ExpansionTime: time.Minute,
			Test:          Around(MustWrite("100", MmH2O), MustWrite("5", MmH2O)),
			Hold:          4 * time.Minute,
			Limit:         Limit{Floor: MustWrite("80", MmH2O), Nominal: MustWrite("100", MmH2O)},
			Provenance: []Provenance{
				{"expansion 125 mm for at least 1 min", "ASTM F1052", CommonPractice},
				{"test pressure 100 mm, hold 4 min, suit not touched", "ASTM F1052", CommonPractice},
				{"± 5 mm on both pressures", "Benchbell", OwnRule},
				{"ending pressure at least 80 mm", "NFPA 1991", FromMemory},
				{"from above 100 mm at least 80/100 of the start", "Benchbell", OwnRule},
			},
		},
		{
			Key: "osha", Title: "29 CFR 1910.120 App A",
			Source:        "29 CFR 1910.120 Appendix A, part A (non-mandatory)",
			Unit:          InH2O,
			Expansion:     Setting{inches("3.0"), inches("3.0").Pressure(), inches("3.5").Pressure()},
			ExpansionTime: time.Minute,
			Test:          Setting{inches("2.0"), inches("2.0").Pressure(), inches("2.5").Pressure()},
			Hold:          3 * time.Minute,
			Limit:         Limit{Num: 4, Den: 5},
			MakerSets:     true,
			MakerMargin:   inches("0.5"),
			Provenance: []Provenance{
				{"expansion pressure A from the suit's maker, at least 3 in", "29 CFR 1910.120 App A", FromReport},
				{"expansion for at least 1 min", "29 CFR 1910.120 App A 6.1.5", FromMemory},
				{"test pressure B from the suit's maker, at least 2 in", "29 CFR 1910.120 App A 6.1.4", FromReport},
				{"hold 3 min, ending pressure C at least 80 % of B", "29 CFR 1910.120 App A 6.1.4, 6.1.6", FromReport},
				{"at most 0.5 in above A and B", "Benchbell", OwnRule},
			},
		},
	}
}

// For returns the method with the pressures that this suit is tested at. Only
// a method whose pressures are the maker's differs from suit to suit; the
// refusal is NoMakerPressures if the register does not have them, and
// MakerPressuresLow if they are below the method's own least.
func (m Method) For(s Suit) (Method, error) {
	if !m.MakerSets {
		return m, nil
	}
	if s.MakerA.IsZero() || s.MakerB.IsZero() {
		return Method{}, &Refusal{Why: NoMakerPressures, Suit: s.Tag, Method: m.Key}
	}
	a, b := s.MakerA.Pressure(), s.MakerB.Pressure()
	if a < m.Expansion.Low || b < m.Test.Low || b >= a {
		return Method{}, &Refusal{Why: MakerPressuresLow, Suit: s.Tag, Method: m.Key}
	}
	margin := m.MakerMargin.Pressure()
	m.Expansion = Setting{Target: s.MakerA, Low: a, High: a + margin}
	m.Test = Setting{Target: s.MakerB, Low: b, High: b + margin}
	return m, nil
}

// mostExpansion is far more than any suit is inflated to.
const mostExpansion = 100 * Kilopascal

// Validate says what is wrong with a method that does not come built in:
// every number must be there and make sense together, and it must name its
// source. A key that is built in is refused, so that a published limit cannot
// be loosened, and so is one that people would type for it.
func (m Method) Validate() error {
	if slices.ContainsFunc(BuiltIn(), func(b Method) bool { return SameName(b.Key, m.Key) }) {
		return fmt.Errorf("method %q is built in and cannot be redefined: give yours a name of its own", m.Key)
	}
	limits := 0
	for _, set := range []bool{!m.Limit.Drop.IsZero(), !m.Limit.Floor.IsZero(), m.Limit.Den != 0} {
		if set {
			limits++
		}
	}
	for _, check := range []struct {
		wrong bool
		say   string
	}{
		{m.Key == "" || !isKey(m.Key), "needs a key of small letters and digits, like \"acme12\""},
		{m.Title == "", "needs a title"},
		{m.Source == "", "needs a source line: where its numbers come from"},
		{!slices.Contains(Units(), m.Unit), "needs a unit"},
		{m.Expansion.Low <= 0 || m.Expansion.High < m.Expansion.Low, "needs an expansion pressure with a tolerance smaller than it"},
		{m.Test.Low <= 0 || m.Test.High < m.Test.Low, "needs a test pressure with a tolerance smaller than it"},
		{!m.Expansion.Holds(m.Expansion.Target.Pressure()), "has an expansion pressure outside its own range"},
		{!m.Test.Holds(m.Test.Target.Pressure()), "has a test pressure outside its own range"},
		{m.Expansion.High > mostExpansion, "has an expansion pressure above 100 kPa: no suit holds that"},
		{m.Test.Target.Pressure() > m.Expansion.Target.Pressure(), "has a test pressure above its expansion pressure"},
		{m.ExpansionTime <= 0 || m.ExpansionTime > 4*time.Hour, "needs an expansion time of up to 4h, like \"10m\""},
		{m.Hold <= 0 || m.Hold > 4*time.Hour, "needs a hold of up to 4h, like \"6m\""},
		{limits != 1, "needs exactly one limit: max_drop, floor or ratio"},
		{m.Limit.Drop.Pressure() >= m.Test.Low && !m.Limit.Drop.IsZero(), "has a limit that no suit could miss: max_drop must be below the test pressure"},
		{m.Limit.Floor.Pressure() >= m.Test.Low && !m.Limit.Floor.IsZero(), "has a floor that is not below the lowest start"},
		{m.Limit.Floor.Pressure() <= 0 && !m.Limit.Floor.IsZero(), "has a limit that no suit could miss: the floor must be above zero"},
		{m.Limit.Den != 0 && (m.Limit.Num <= 0 || m.Limit.Num >= m.Limit.Den || m.Limit.Den > 10000), "needs a ratio between 0 and 1, like \"4/5\""},
	} {
		if check.wrong {
			return fmt.Errorf("method %q %s", m.Key, check.say)
		}
	}
	return nil
}

func isKey(s string) bool {
	for i, r := range s {
		if (r < 'a' || r > 'z') && (i == 0 || r < '0' || r > '9') {
			return false
		}
	}
	return len(s) <= 16
}
