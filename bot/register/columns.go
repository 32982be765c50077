package register

import (
	"errors"
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"benchbell/commands"
	"benchbell/core"
)

var suitColumns = []column[core.Suit]{
	{
		name: "tag", must: true,
		read:  func(to *core.Suit, cell string, _ *lookup) (err error) { to.Tag, err = readTag(cell); return err },
		write: func(of *core.Suit) string { return of.Tag },
	},
	textColumn("serial", func(s *core.Suit) *string { return &s.Serial }),
	textColumn("maker", func(s *core.Suit) *string { return &s.Maker }),
	textColumn("model", func(s *core.Suit) *string { return &s.Model }),
	textColumn("material", func(s *core.Suit) *string { return &s.Material }),
	textColumn("size", func(s *core.Suit) *string { return &s.Size }),
	textColumn("place", func(s *core.Suit) *string { return &s.Place }),
	dateColumn("made", func(s *core.Suit) *core.Date { return &s.Made }),
	dateColumn("purchased", func(s *core.Suit) *core.Date { return &s.Purchased }),
	dateColumn("in_service", func(s *core.Suit) *core.Date { return &s.InService }),
	dateColumn("end_of_life", func(s *core.Suit) *core.Date { return &s.EndOfLife }),
	yesColumn("glove_rings", func(s *core.Suit) *bool { return &s.Fittings.GloveRings }),
	{
		name: "exhaust_valves", must: true,
		read: func(to *core.Suit, cell string, _ *lookup) error {
			if len(cell) != 1 || cell < "0" || cell > "8" {
				return errors.New("write how many there are, 0 to 8")
			}
			to.Fittings.ExhaustValves = int(cell[0] - '0')
			return nil
		},
		write: func(of *core.Suit) string { return strconv.Itoa(of.Fittings.ExhaustValves) },
	},
	yesColumn("ventilating_valve", func(s *core.Suit) *bool { return &s.Fittings.VentilatingValve }),
	yesColumn("pass_through", func(s *core.Suit) *bool { return &s.Fittings.PassThrough }),
	{
		name: "boots",
		read: func(to *core.Suit, cell string, _ *lookup) error {
			boots := core.Boots(strings.ToLower(cell))
			if boots != core.BootsFixed && boots != core.Socks {
				return fmt.Errorf("write %s or %s", core.BootsFixed, core.Socks)
			}
			to.Fittings.Boots = boots
			return nil
		},
		write: func(of *core.Suit) string { return string(of.Fittings.Boots) },
	},
	{
		name: "method", must: true,
		read: func(to *core.Suit, cell string, in *lookup) error {
			m, err := in.method(cell)
			to.Method = m.Key
			return err
		},
		write: func(of *core.Suit) string { return of.Method },
	},
	periodColumn("interval", func(s *core.Suit) *core.Period { return &s.Interval }),
	makerColumn("maker_a", func(s *core.Suit) *core.Written { return &s.MakerA }),
	makerColumn("maker_b", func(s *core.Suit) *core.Written { return &s.MakerB }),
	{
		name: "volume", measured: true,
		read: func(to *core.Suit, cell string, _ *lookup) (err error) {
			to.Volume, err = core.ParseVolume(cell)
			return err
		},
		write: func(of *core.Suit) string { return of.Volume.String() },
	},
	textColumn("remarks", func(s *core.Suit) *string { return &s.Remarks }),
}

// checkSuit finds tags that are there twice, dates in the wrong order, and
// pressures of the maker that no method can be made with.
func checkSuit(in *lookup) check[core.Suit] {
	seen := make(map[string]int)
	return func(row int, s *core.Suit, fault func(column, want string)) {
		known, _ := in.suit(s.Tag)
		if want := again(seen, row, s.Tag, known.Tag); want != "" {
			fault("tag", want)
		}
		if s.Made.After(in.Today) {
			fault("made", "must not be in the future")
		}
		if s.Purchased.After(in.Today) {
			fault("purchased", "must not be in the future")
		}
		first := s.Made
		if !s.InService.IsZero() {
			if s.InService.Before(first) {
				fault("in_service", "must not be before the day it was made")
			}
			first = s.InService
		}
		if !s.EndOfLife.IsZero() && s.EndOfLife.Before(first) {
			fault("end_of_life", "must not be before the day it was made or put in service")
		}
		checkMaker(*s, in.Methods, fault)
	}
}

// slip is how many times a method's least pressure the maker's can be at most:
// what is more is taken for a slip, since somebody would inflate to it. The
// number is ours.
const slip = 5

func checkMaker(s core.Suit, methods []core.Method, fault func(column, want string)) {
	if s.MakerA.IsZero() && !s.MakerB.IsZero() {
		fault("maker_a", "maker_a and maker_b belong together")
		return
	}
	if s.MakerB.IsZero() && !s.MakerA.IsZero() {
		fault("maker_b", "maker_a and maker_b belong together")
		return
	}
	for _, m := range methods {
		if !m.MakerSets {
			continue
		}
		if s.MakerA.IsZero() {
			if m.Key == s.Method {
				fault("maker_a", fmt.Sprintf("the method %s needs the maker's pressures, like 5.0 in", m.Key))
				fault("maker_b", fmt.Sprintf("the method %s needs the maker's pressures, like 4.0 in", m.Key))
			}
			continue
		}
		a, b := s.MakerA.Pressure(), s.MakerB.Pressure()
		if a < m.Expansion.Low || a > slip*m.Expansion.Low {
			fault("maker_a", fmt.Sprintf("the method %s needs at least %s, and more than %d times that is taken for a slip", m.Key, m.Expansion.Target, slip))
		}
		if b < m.Test.Low || b >= a {
			fault("maker_b", fmt.Sprintf("the method %s needs at least %s, and less than maker_a", m.Key, m.Test.Target))
		}
	}
}

// again says what is wrong with a name that was seen in the file already, or
// that is known but written in another way.
func again(seen map[string]int, row int, name, known string) string {
	if name == "" {
		return ""
	}
	key := core.NameKey(name)
	if first, ok := seen[key]; ok {
		return fmt.Sprintf("row %d has it already: case, hyphens and zeros do not make a difference", first)
	}
	seen[key] = row
	if known != "" && known != name {
		return fmt.Sprintf("it is in the register already: write it the same way, %s", known)
	}
	return ""
}

var manometerColumns = []column[core.Manometer]{
	{
		name: "id", must: true,
		read: func(to *core.Manometer, cell string, _ *lookup) error {
			if !idForm.MatchString(cell) || utf8.RuneCountInString(cell) > maxName {
				return errors.New("write letters and digits without blanks, like M-2")
			}
			to.ID = cell
			return nil
		},
		write: func(of *core.Manometer) string { return of.ID },
	},
	textColumn("maker", func(m *core.Manometer) *string { return &m.Maker }),
	textColumn("serial", func(m *core.Manometer) *string { return &m.Serial }),
	{
		name: "unit", must: true,
		read: func(to *core.Manometer, cell string, _ *lookup) (err error) {
			to.Unit, err = core.ParseUnit(cell)
			return err
		},
		write: func(of *core.Manometer) string { return of.Unit.String() },
	},
	{
		name: "resolution", must: true, measured: true,
		read: func(to *core.Manometer, cell string, _ *lookup) (err error) {
			to.Resolution, err = readStep(cell, to.Unit)
			return err
		},
		write: func(of *core.Manometer) string { return writePressure(of.Resolution) },
	},
	{
		name: "permissible_error", measured: true,
		read: func(to *core.Manometer, cell string, _ *lookup) (err error) {
			to.Permissible, err = readStep(strings.TrimSpace(strings.TrimPrefix(cell, "±")), to.Unit)
			return err
		},
		write: func(of *core.Manometer) string { return writePressure(of.Permissible) },
	},
	dateColumn("calibrated_on", func(m *core.Manometer) *core.Date { return &m.CalibratedOn }),
	periodColumn("interval", func(m *core.Manometer) *core.Period { return &m.Interval }),
	dateColumn("calibrated_until", func(m *core.Manometer) *core.Date { return &m.CalibratedUntil }),
}

func checkManometer(in *lookup) check[core.Manometer] {
	seen := make(map[string]int)
	return func(row int, m *core.Manometer, fault func(column, want string)) {
		known := in.manometers[core.NameKey(m.ID)]
		if want := again(seen, row, m.ID, known.ID); want != "" {
			fault("id", want)
		}
		if m.CalibratedOn.After(in.Today) {
			fault("calibrated_on", "must not be in the future")
		}
		if m.CalibratedOn.IsZero() || m.Interval.IsZero() {
			return
		}
		until := m.Interval.After(m.CalibratedOn)
		if m.CalibratedUntil.IsZero() {
			m.CalibratedUntil = until
		} else if m.CalibratedUntil != until {
			fault("calibrated_until", "does not agree with calibrated_on and interval, which make it "+until.String()+": leave it empty")
		}
	}
}

// testRow is a past test with what its names stand for.
type testRow struct {
	PastTest
	suit   core.Suit
	method core.Method
	gauge  core.Manometer
}

var testColumns = []column[testRow]{
	{
		name: "suit", must: true,
		read: func(to *testRow, cell string, in *lookup) error {
			var ok bool
			if to.suit, ok = in.suit(cell); !ok {
				return errors.New("there is no such suit in the register: enter it first")
			}
			to.Suit = to.suit.Tag
			return nil
		},
		write: func(of *testRow) string { return of.Suit },
	},
	required(dateColumn("date", func(t *testRow) *core.Date { return &t.Test.Day })),
	{
		name: "method", must: true,
		read: func(to *testRow, cell string, in *lookup) (err error) {
			to.method, err = in.method(cell)
			to.Test.Method = to.method.Key
			return err
		},
		write: func(of *testRow) string { return of.Test.Method },
	},
	{
		name: "manometer",
		read: func(to *testRow, cell string, in *lookup) error {
			var ok bool
			if to.gauge, ok = in.manometers[core.NameKey(cell)]; !ok {
				return errors.New("there is no such manometer in the register: enter it first, or leave this empty")
			}
			to.Test.Manometer = to.gauge.ID
			return nil
		},
		write: func(of *testRow) string { return of.Test.Manometer },
	},
	readingColumn("start", func(t *core.PaperTest) *core.Written { return &t.Start }),
	readingColumn("end", func(t *core.PaperTest) *core.Written { return &t.End }),
	{
		name: "minutes", must: true, measured: true,
		read: func(to *testRow, cell string, _ *lookup) (err error) {
			to.Test.Hold, err = readMinutes(cell)
			return err
		},
		write: func(of *testRow) string { return writeMinutes(of.Test.Hold) },
	},
	{
		name: "tester",
		read: func(to *testRow, cell string, _ *lookup) error {
			to.Test.Tester = strings.TrimLeft(cell, "@ ") // a user name, as it is mentioned
			return CheckText(to.Test.Tester)
		},
		write: func(of *testRow) string { return of.Test.Tester },
	},
	{
		name: "remedy",
		read: func(to *testRow, cell string, _ *lookup) error {
			if commands.NothingDone(cell) {
				return errors.New("write what was done after it, or leave this empty")
			}
			to.Test.Remedy = cell
			return CheckText(cell)
		},
		write: func(of *testRow) string { return of.Test.Remedy },
	},
}

// checkTest judges a test by what paper tells, and finds what cannot be so.
func checkTest(in *lookup) check[testRow] {
	seen := make(map[PastTest]int)
	return func(row int, t *testRow, fault func(column, want string)) {
		if t.Test.Day.After(in.Today) {
			fault("date", "must not be in the future")
		}
		if t.Test.Day.Before(t.suit.Made) && !t.Test.Day.IsZero() {
			fault("date", fmt.Sprintf("%s was made only on %s", t.Suit, t.suit.Made))
		}
		if t.Suit == "" || t.method.Key == "" || t.Test.Start.IsZero() || t.Test.End.IsZero() {
			return
		}
		checkReadings(t, fault)
		t.Test.Rules = core.Rules
		m, err := t.method.For(t.suit)
		if err == nil {
			t.Test.Outcome, t.Test.Reason = m.JudgePaper(t.Test.Start, t.Test.End, t.Test.Hold)
		} else { // nobody knows from what pressure it should have started
			t.Test.Outcome, t.Test.Reason = core.NoVerdict, core.StartOutside
		}
		if t.Test.Outcome == core.Pass && t.gauge.ID != "" && t.gauge.Lapsed(t.Test.Day) {
			t.Test.Outcome, t.Test.Reason = core.NoVerdict, core.ManometerStale
		}
		if first, ok := seen[t.PastTest]; ok {
			fault("suit", fmt.Sprintf("row %d says the very same", first))
		}
		seen[t.PastTest] = row
	}
}

// checkReadings doubts pressures that are far from those of the method: such a
// number is most likely in another unit. How far is ours.
func checkReadings(t *testRow, fault func(column, want string)) {
	m := t.method
	highest := m.Expansion.High
	if own, err := m.For(t.suit); err == nil {
		m, highest = own, own.Expansion.High
	} else if m.MakerSets {
		highest = slip * m.Expansion.High
	}
	far := fmt.Sprintf("far from the test pressure of %s, %s: look at the number and the unit", m.Key, m.Test.Target)
	if p := t.Test.Start.Pressure(); 2*p < m.Test.Low || 2*p > 3*highest {
		fault("start", far)
	}
	if 2*t.Test.End.Pressure() > 3*highest {
		fault("end", far)
	}
}

// readingColumn is a reading of a past test. A number without a unit is in the
// method's, unless the manometer reads in another.
func readingColumn(name string, field func(*core.PaperTest) *core.Written) column[testRow] {
	return column[testRow]{
		name: name, must: true, measured: true,
		read: func(to *testRow, cell string, _ *lookup) (err error) {
			bare := to.method.Unit
			if to.gauge.ID != "" && to.gauge.Unit.One() != bare.One() {
				bare = core.NoUnit
			}
			w, err := readPressure(cell, bare)
			if errors.Is(err, errUnitless) {
				if to.method.Unit == core.NoUnit {
					return nil // the method is at fault, and says so
				}
				return fmt.Errorf("write the unit too: %s reads in %s, but %s is in %s", to.gauge.ID, to.gauge.Unit, to.method.Key, to.method.Unit)
			}
			*field(&to.Test) = w
			return err
		},
		write: func(of *testRow) string { return writePressure(*field(&of.Test)) },
	}
}

// maxName is how many letters a tag or an id can have.
const maxName = 32

var idForm = regexp.MustCompile(`^[\pL\pN]+(?:[-_./][\pL\pN]+)*$`)

// readTag takes a tag that the chat understands as one.
func readTag(cell string) (string, error) {
	want, err := commands.Parse("used "+cell, commands.Talk)
	if err != nil || want != (core.NoteUsed{Suit: cell}) || utf8.RuneCountInString(cell) > maxName {
		return "", errors.New("write a letter first and a number last, without blanks, like HP-07")
	}
	return cell, nil
}

func textColumn[T any](name string, field func(*T) *string) column[T] {
	return column[T]{
		name: name,
		read: func(to *T, cell string, _ *lookup) error {
			*field(to) = cell
			return CheckText(cell)
		},
		write: func(of *T) string { return *field(of) },
	}
}

// maxText is how many letters a text can have.
const maxText = 200

// spoilt is what spreadsheets leave of a formula that failed, of a number that
// did not fit in its column, and of the digits of a long number.
var spoilt = regexp.MustCompile(`^(?:#(?:REF!|N/A|NAME\?|VALUE!|DIV/0!|NULL!|NUM!|SPILL!|CALC!)|##+|Err:\d+|\d(?:[.,]\d+)?E\+\d+)$`)

func CheckText(s string) error {
	switch {
	case utf8.RuneCountInString(s) > maxText:
		return fmt.Errorf("write at most %d letters", maxText)
	case strings.ContainsRune(s, utf8.RuneError):
		return errors.New("a letter was lost when this was saved: write it anew")
	case strings.ContainsFunc(s, func(r rune) bool {
		return unicode.In(r, unicode.Cc, unicode.Zl, unicode.Zp, unicode.Bidi_Control)
	}):
		return errors.New("write one line, without control characters")
	case spoilt.MatchString(s):
		return errors.New("the spreadsheet did not save what was typed: make the column wider and its format text, and write it anew")
	}
	return nil
}

// The first and last years of a date that is not taken for a slip.
const (
	firstYear = 1950
	lastYear  = 2149
)

func periodColumn[T any](name string, field func(*T) *core.Period) column[T] {
	return column[T]{
		name: name,
		read: func(to *T, cell string, _ *lookup) error {
			if field(to).UnmarshalText([]byte(cell)) != nil {
				return errors.New("write a period of up to 100 years, like P1Y, P18M or P26W")
			}
			return nil
		},
		write: func(of *T) string {
			if field(of).IsZero() {
				return ""
			}
			return field(of).String()
		},
	}
}

// DateForms are the ways of writing a day that a station can configure besides
// ISO 8601, which is always understood.
var DateForms = map[string]string{"DD.MM.YYYY": "2.1.2006", "DD/MM/YYYY": "2/1/2006", "MM/DD/YYYY": "1/2/2006"}

// readDate reads a day as ISO 8601 has it, or in the form of the station.
func readDate(cell, form string) (core.Date, error) {
	if layout, ok := DateForms[form]; ok {
		if t, err := time.Parse(layout, cell); err == nil {
			return core.DateAt(t, time.UTC), nil
		}
	}
	return core.ParseDate(cell)
}

func dateColumn[T any](name string, field func(*T) *core.Date) column[T] {
	return column[T]{
		name: name,
		read: func(to *T, cell string, in *lookup) error {
			d, err := readDate(cell, in.Dates)
			if err != nil || d.Year < firstYear || d.Year > lastYear {
				form := "year-month-day, like 2026-03-02"
				if in.Dates != "" {
					form += " or " + in.Dates
				}
				return fmt.Errorf("write a day that exists as %s, from %d to %d", form, firstYear, lastYear)
			}
			*field(to) = d
			return nil
		},
		write: func(of *T) string {
			if field(of).IsZero() {
				return ""
			}
			return field(of).String()
		},
	}
}

func yesColumn[T any](name string, field func(*T) *bool) column[T] {
	return column[T]{
		name: name,
		read: func(to *T, cell string, _ *lookup) error {
			switch strings.ToLower(cell) {
			case "yes", "y", "true", "1":
				*field(to) = true
			case "no", "n", "false", "0":
			default:
				return errors.New("write yes or no")
			}
			return nil
		},
		write: func(of *T) string {
			if *field(of) {
				return "yes"
			}
			return "no"
		},
	}
}

func makerColumn(name string, field func(*core.Suit) *core.Written) column[core.Suit] {
	return column[core.Suit]{
		name: name, measured: true,
		read: func(to *core.Suit, cell string, _ *lookup) (err error) {
			*field(to), err = readPressure(cell, core.NoUnit)
			return err
		},
		write: func(of *core.Suit) string { return writePressure(*field(of)) },
	}
}

var (
	pressureForm = regexp.MustCompile(`^(\d+(?:[.,]\d+)?) ?(.*)$`)
	errUnitless  = errors.New("write the unit too, like 5.0 in")
)

// readPressure reads a number and its unit. A number alone is in the bare
// unit; the error is errUnitless if that is no unit.
func readPressure(cell string, bare core.Unit) (core.Written, error) {
	m := pressureForm.FindStringSubmatch(cell)
	if m == nil {
		return core.Written{}, errors.New("write a number and its unit, like 16.5 mbar")
	}
	unit := bare
	if m[2] != "" {
		var err error
		if unit, err = core.ParseUnit(m[2]); err != nil {
			return core.Written{}, err
		}
	}
	if unit == core.NoUnit {
		return core.Written{}, errUnitless
	}
	w, err := core.Write(m[1], unit)
	if err != nil {
		return core.Written{}, errors.New("write a number of at most 12 digits, 6 of them decimals, that a manometer can show")
	}
	return w, nil
}

// readStep reads a difference of two pressures as manometers have it, of which
// none is nothing.
func readStep(cell string, unit core.Unit) (core.Written, error) {
	w, err := readPressure(cell, unit)
	switch {
	case errors.Is(err, errUnitless):
		return core.Written{}, nil // the unit is at fault, and says so
	case err == nil && w.Pressure() == 0:
		return core.Written{}, errors.New("write a number above 0, like 0.01")
	}
	return w, err
}

func writePressure(w core.Written) string {
	if w.IsZero() {
		return ""
	}
	return w.String()
}

var minutesForm = regexp.MustCompile(`^(\d{1,4})(?:[.,](\d{1,2}))?$`)

// readMinutes reads minutes with up to two decimals, up to a day of them.
func readMinutes(cell string) (time.Duration, error) {
	const hundredth = time.Minute / 100
	m := minutesForm.FindStringSubmatch(cell)
	if m != nil {
		n, err := strconv.Atoi(m[1] + (m[2] + "00")[:2])
		if d := time.Duration(n) * hundredth; err == nil && d > 0 && d <= 24*time.Hour {
			return d, nil
		}
	}
	return 0, errors.New("write minutes above 0 and up to 1440, like 6 or 6.5")
}

func writeMinutes(d time.Duration) string {
	return strconv.FormatFloat(d.Round(time.Minute/100).Minutes(), 'f', -1, 64)
}
