package core

import (
	"maps"
	"slices"
	"strings"
	"time"
)

// Bench is what a decision may need to know besides one suit and one run. Decisions
// read it and never change it.
type Bench struct {
	Methods    []Method
	Manometers map[string]Manometer // by id
	Runs       map[RunID]Run        // those not closed
	LastUsed   map[string]string    // manometer a person used last, by user name
	Policy     Policy
}

// Method finds a method by its key as somebody typed it.
func (b Bench) Method(typed string) (Method, bool) {
	want := squash(typed)
	for _, m := range b.Methods {
		if squash(m.Key) == want {
			return m, true
		}
	}
	return Method{}, false
}

// Manometer finds a manometer by its id as somebody typed it: "m2" is M-2.
func (b Bench) Manometer(typed string) (Manometer, bool) {
	want := squash(typed)
	for id, m := range b.Manometers {
		if squash(id) == want {
			return m, true
		}
	}
	return Manometer{}, false
}

// squash makes names comparable as people type them: it drops case, blanks, hyphens
// and zeros before a number. A hyphen between two numbers stays: HP11-2 is not
// HP1-12.
func squash(s string) string {
	digit := func(c byte) bool { return c >= '0' && c <= '9' }
	var out []byte
	apart := false // from what stands before
	for _, c := range []byte(strings.ToLower(s)) {
		if strings.IndexByte(" -_./", c) >= 0 {
			apart = true
			continue
		}
		n := len(out)
		switch {
		case apart && digit(c) && n > 0 && digit(out[n-1]):
			out = append(out, '-', c)
		case digit(c) && n > 0 && out[n-1] == '0' && (n == 1 || !digit(out[n-2])):
			out[n-1] = c
		default:
			out = append(out, c)
		}
		apart = false
	}
	return string(out)
}

// SameName reports whether two tags or ids, as people type them, name the
// same thing: "hp7", "HP 07" and "HP-07" do.
func SameName(a, b string) bool { return squash(a) == squash(b) }

// NameKey returns what SameName compares, to look names up by.
func NameKey(s string) string { return squash(s) }

// Holder returns the run that has a manometer from its first reading to its
// ending pressure, other than the run asking.
func (b Bench) Holder(manometer string, asking RunID) (Run, bool) {
	for _, id := range slices.Sorted(maps.Keys(b.Runs)) {
		if r := b.Runs[id]; id != asking && r.Manometer.ID == manometer && r.HoldsManometer() {
			return r, true
		}
	}
	return Run{}, false
}

// busy refuses a manometer that another run has at the moment; nil if it is free.
func (b Bench) busy(m Manometer, asking RunID) *Refusal {
	holder, busy := b.Holder(m.ID, asking)
	if !busy {
		return nil
	}
	return &Refusal{
		Why: ManometerBusy, Manometer: m.ID, Run: holder.ID, Suit: holder.Suit.Tag,
		Until: holder.FreesManometer(), Person: holder.Tester,
	}
}

// OnSuit returns the run that is open on a suit.
func (b Bench) OnSuit(tag string) (Run, bool) {
	for _, r := range b.Runs {
		if r.Suit.Tag == tag {
			return r, true
		}
	}
	return Run{}, false
}

// Open decides whether a run may begin on a suit, and with what.
func (b Bench) Open(want Open, suit Suit, standing Standing, by Person) ([]Fact, error) {
	if standing.Kind == OutForGood {
		return nil, &Refusal{Why: SuitRetired, Suit: suit.Tag}
	}
	for _, bar := range standing.Bars {
		if bar.Kind == BarEndOfLife {
			return nil, &Refusal{Why: SuitLifeOver, Suit: suit.Tag}
		}
	}
	if r, ok := b.OnSuit(suit.Tag); ok {
		return nil, &Refusal{Why: SuitOnBench, Suit: suit.Tag, Run: r.ID, Person: r.Tester}
	}
	key := want.Method
	if key == "" {
		key = suit.Method
	}
	m, ok := b.Method(key)
	if !ok {
		return nil, &Refusal{Why: UnknownMethod, Suit: suit.Tag, Method: key, Choices: b.MethodKeys()}
	}
	m, err := m.For(suit)
	if err != nil {
		return nil, err
	}
	m = m.judging()
	gauge, err := b.choose(want, suit, m, by)
	if err != nil {
		return nil, err
	}
	if want.Manometer != "" {
		if err := b.busy(gauge, 0); err != nil {
			err.Opening = suit.Tag
			if want.Method != "" {
				err.Method = m.Key
			}
			return nil, err
		}
	}
	return []Fact{Opened{
		Suit: suit, Method: m, Manometer: gauge,
		Prepare: PrepareList(suit.Fittings), Restore: RestoreList(suit.Fittings),
	}}, nil
}

func (b Bench) choose(want Open, suit Suit, m Method, by Person) (Manometer, error) {
	if want.Manometer != "" {
		return b.named(want.Manometer)
	}
	if gauge, ok := b.Manometers[b.LastUsed[by.Name]]; ok {
		return gauge, nil
	}
	if len(b.Manometers) == 1 {
		for _, gauge := range b.Manometers {
			return gauge, nil
		}
	}
	return Manometer{}, &Refusal{Why: ManometerUnsaid, Suit: suit.Tag, Method: m.Key, Choices: b.ManometerIDs()}
}

// InCalibration returns the ids of the manometers that can give a verdict at a
// moment, or all of them if there is none.
func (b Bench) InCalibration(at time.Time) []string {
	all := b.ManometerIDs()
	good := slices.DeleteFunc(slices.Clone(all), func(id string) bool { return b.Manometers[id].Lapsed(b.Day(at)) })
	if len(good) == 0 {
		return all
	}
	return good
}

func (b Bench) named(id string) (Manometer, error) {
	gauge, ok := b.Manometer(id)
	if !ok {
		return Manometer{}, &Refusal{Why: UnknownManometer, Manometer: id, Choices: b.ManometerIDs()}
	}
	return gauge, nil
}

// MethodKeys returns the keys of all methods, in their order.
func (b Bench) MethodKeys() []string {
	var keys []string
	for _, m := range b.Methods {
		keys = append(keys, m.Key)
	}
	return keys
}

// ManometerIDs returns the ids of all manometers, sorted.
func (b Bench) ManometerIDs() []string { return slices.Sorted(maps.Keys(b.Manometers)) }

// Day returns the civil day at the station.
func (b Bench) Day(t time.Time) Date { return DateAt(t, b.Policy.Zone) }
