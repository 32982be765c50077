package chart

import (
	"bytes"
	"errors"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"benchbell/core"
)

func day(t testing.TB, s string) core.Date {
	t.Helper()
	d, err := core.ParseDate(s)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// tested is a test with a drop of so many per cent of what was allowed.
func tested(d core.Date, method string, outcome core.Outcome, percent int64) Test {
	const allowed = 3 * core.Millibar
	return Test{Day: d, Method: method, Outcome: outcome, Drop: allowed / 100 * core.Pressure(percent), Allowed: allowed}
}

// years is an invented suit's tests of seven years by two methods.
func years() []Test {
	on := func(year int, month time.Month) core.Date { return core.Date{Year: year, Month: month, Day: 4} }
	return []Test{
		tested(on(2019, 3), "en943", core.Pass, 22), tested(on(2020, 3), "en943", core.Pass, 30),
		tested(on(2021, 2), "en943", core.Pass, 34), tested(on(2022, 3), "en943", core.Pass, 45),
		tested(on(2022, 11), "f1052", core.Pass, 48), tested(on(2023, 3), "en943", core.NoVerdict, 12),
		tested(on(2023, 4), "en943", core.Pass, 51), tested(on(2024, 3), "en943", core.Fail, 112),
		tested(on(2024, 5), "en943", core.Pass, 42), tested(on(2025, 3), "f1052", core.Pass, 60),
		tested(on(2026, 3), "en943", core.Pass, 55),
	}
}

// mended is tests of a suit that was repaired once.
func mended(on core.Date, tests []Test) []Test {
	tests = slices.Clone(tests)
	for i := range tests {
		if tests[i].Day.Before(on) {
			tests[i].Repaired = on
		}
	}
	return tests
}

func historyOf(t testing.TB, tag string, tests []Test, trends ...Trend) *figure {
	t.Helper()
	f, err := historyFigure(tag, tests, trends)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

func TestHistorySays(t *testing.T) {
	seven := years()
	for name, c := range map[string]struct {
		tests  []Test
		trends []Trend
		want   string
	}{
		"seven years": {seven, nil, "HP-07|11 tests|% of the allowed drop|limit|en943 55 %|f1052 60 %|112 %|no verdict|2020|2026|100|0"},
		"trend": {
			seven,
			[]Trend{{"limit in 2031", day(t, "2019-03-04"), day(t, "2031-03-01"), 0.2, 1}},
			"limit in 2031|en943 55 %|f1052 60 %|2030",
		},
		"one":                {seven[:1], nil, "1 test|en943 22 %|limit|2019-04"},
		"without a drop":     {append(slices.Clone(seven), Test{Day: seven[0].Day, Method: "en943", Outcome: core.Fail}), nil, "11 tests|1 more without a drop"},
		"burst":              {append(slices.Clone(seven), tested(day(t, "2026-08-01"), "osha", core.Fail, 550)), nil, "osha ↑ 550 %|12 tests"},
		"rise":               {[]Test{tested(day(t, "2026-08-01"), "osha", core.NoVerdict, -90)}, nil, "osha no verdict"},
		"risen then passed":  {[]Test{tested(day(t, "2026-08-01"), "osha", core.Pass, -90)}, nil, "osha ↓ -90 %"},
		"repaired":           {mended(day(t, "2024-04-02"), seven), nil, "repaired|en943 55 %"},
		"same day":           {[]Test{tested(seven[0].Day, "en943", core.Fail, 120), tested(seven[0].Day, "en943", core.Pass, 20)}, nil, "2 tests|en943 20 %|120 %"},
		"same day, same":     {[]Test{seven[0], seven[0], seven[0]}, nil, "3 tests|en943 22 %"},
		"zero":               {[]Test{tested(seven[0].Day, "en943", core.Pass, 0)}, nil, "en943 0 %"},
		"huge":               {[]Test{{Day: seven[0].Day, Method: "en943", Outcome: core.Fail, Drop: math.MaxInt64, Allowed: 1}}, nil, "en943 ↑ 9.2e+20 %"},
		"of another century": {[]Test{tested(day(t, "0001-01-01"), "en943", core.Pass, 20), tested(day(t, "9999-12-31"), "en943", core.Pass, 20)}, nil, "2 tests|en943 20 %|6000"},
	} {
		all := record(t, historyOf(t, "HP-07", c.tests, c.trends...))
		for want := range strings.SplitSeq(c.want, "|") {
			if !says(all, want) {
				t.Errorf("%s: the picture says %q, want %q", name, texts(all), want)
			}
		}
		checkApart(t, all)
		b, err := History("HP-07", c.tests, c.trends...)
		decode(t, b, err)
	}
}

// TestShareIsNotRoundedToTheLimit: what is beyond never looks as if it were
// not.
func TestShareIsNotRoundedToTheLimit(t *testing.T) {
	const allowed = 3 * core.Millibar
	for drop, want := range map[core.Pressure]string{
		allowed:                        "100 %",
		allowed + core.Pascal:          "100.33 %",
		allowed - core.Pascal:          "99.67 %",
		allowed + 1:                    "over 100 %",
		allowed - 1:                    "under 100 %",
		allowed / 2:                    "50 %",
		0:                              "0 %",
		-1:                             "0 %",
		-allowed:                       "-100 %",
		33 * allowed / 10:              "330 %",
		10_000 * allowed:               "1e+06 %",
		core.Pressure(math.MaxInt64):   "3.1e+09 %",
		-core.Pressure(math.MaxInt64):  "-3.1e+09 %",
		allowed + 4*core.Pascal/10_000: "over 100 %",
	} {
		if got := (Test{Drop: drop, Allowed: allowed}).print(); got != want {
			t.Errorf("%d nPa of %d: %q, want %q", drop, allowed, got, want)
		}
	}
}

func TestHistoryShows(t *testing.T) {
	tests := years()
	b, err := History("HP-07", tests)
	m := decode(t, b, err)
	f := historyOf(t, "HP-07", tests)
	at := pixels(f)
	for i, mark := range f.marks {
		x, y := at(mark.at.X, mark.at.Y)
		hollow := has(m, x, y, paper)
		if mark.at.Y == 12 != hollow {
			t.Errorf("mark %d at %v has %v in the middle", i, mark.at, m.At(x, y))
		}
	}
	epoch := tests[0].Day
	for _, c := range []struct {
		test  Test
		share float64
		want  string
	}{
		{tests[0], 22, "blue"}, {tests[4], 48, "green"}, {tests[7], 112, "red"},
	} {
		x, y := at(float64(c.test.Day.Days(epoch)), c.share)
		if got := map[bool]string{has(m, x, y, blue): "blue", has(m, x, y, green): "green", has(m, x, y, red): "red"}[true]; got != c.want {
			t.Errorf("the test of %s is %q, want %s", c.test.Day, got, c.want)
		}
	}
	x1, y1 := at(f.xmin, 100)
	x2, _ := at(f.xmax, 100)
	if got := share(m, x1, y1, x2, y1, red); got < 50 || got > 85 {
		t.Errorf("the limit's line is red by %d %%, want dashes", got)
	}
}

// TestMethodsDiffer: methods can be told apart without a colour, and one that
// comes later does not change how those before it look.
func TestMethodsDiffer(t *testing.T) {
	var tests []Test
	for i, method := range []string{"en943", "f1052", "osha", "acme12", "acme15"} {
		tests = append(tests, tested(core.Date{Year: 2020 + i, Month: 1, Day: 1}, method, core.Pass, 50))
	}
	before := history{tests: tests[:2]}.series()
	seen := make(map[shape]string)
	for i, s := range (history{tests: tests}).series() {
		if other, taken := seen[s.shape]; taken {
			t.Errorf("%s has the shape of %s", s.method, other)
		}
		seen[s.shape] = s.method
		if i < len(before) && s.shape != before[i].shape {
			t.Errorf("%s changed its shape", s.method)
		}
	}
	checkApart(t, record(t, historyOf(t, "HP-07", tests)))
}

// TestHistoryOrder: the order of the tests does not count, and they stay as
// they are.
func TestHistoryOrder(t *testing.T) {
	tests := years()
	want, err := History("HP-07", tests)
	if err != nil {
		t.Fatal(err)
	}
	slices.Reverse(tests)
	reversed := slices.Clone(tests)
	got, err := History("HP-07", tests)
	if err != nil || !bytes.Equal(got, want) {
		t.Errorf("another order makes another picture, %v", err)
	}
	if !slices.Equal(tests, reversed) {
		t.Error("the tests were changed")
	}
}

func TestCrowdedHistory(t *testing.T) {
	var tests []Test
	for i := range 200 {
		method := []string{"en943", "f1052", "osha"}[i%3]
		tests = append(tests, tested(core.Date{Year: 2010, Month: 1, Day: 1}.AddDays(30*i), method, core.Pass, int64(20+i*37%60)))
	}
	f := historyOf(t, "HP-07", tests)
	all := record(t, f)
	checkApart(t, all)
	if len(f.marks) != 200 || !says(all, "200 tests") {
		t.Errorf("%d tests are drawn, the picture says %q", len(f.marks), texts(all))
	}
	b, err := History("HP-07", tests)
	decode(t, b, err)
}

func TestNoTests(t *testing.T) {
	for name, tests := range map[string][]Test{
		"none":           nil,
		"without a drop": {{Day: core.Date{Year: 2026, Month: 3, Day: 2}, Outcome: core.Fail}},
		"without a day":  {{Drop: 1, Allowed: 1}},
		"of no calendar": {{Day: core.Date{Year: math.MaxInt, Month: 99, Day: -5}, Drop: 1, Allowed: 1}},
	} {
		if b, err := History("HP-07", tests); !errors.Is(err, ErrNothing) || b != nil {
			t.Errorf("%s: %d bytes, %v", name, len(b), err)
		}
	}
}

// TestUndrawableTrends: a trend that is none leaves no trace.
func TestUndrawableTrends(t *testing.T) {
	tests := years()
	want, err := History("HP-07", tests)
	if err != nil {
		t.Fatal(err)
	}
	from, to := day(t, "2019-03-04"), day(t, "2026-03-04")
	for name, trend := range map[string]Trend{
		"zero":     {},
		"one day":  {"x", from, from, 0, 1},
		"backward": {"x", to, from, 0, 1},
		"no share": {"x", from, to, math.NaN(), 1},
		"infinite": {"x", from, to, 0, math.Inf(1)},
		"no date":  {"x", from, core.Date{Year: math.MaxInt, Month: 1, Day: 1}, 0, 1},
	} {
		got, err := History("HP-07", tests, trend)
		if err != nil || !bytes.Equal(got, want) {
			t.Errorf("%s: another picture, %v", name, err)
		}
	}
	// One that leads far away is drawn as far as the tests can still be seen.
	far := historyOf(t, "HP-07", tests, Trend{"limit in 2900", from, day(t, "2900-01-01"), 0.2, 1})
	if last := float64(tests[len(tests)-1].Day.Days(from)); far.xmax > 2*last {
		t.Errorf("the axis goes to day %v, the tests to %v", far.xmax, last)
	}
	if all := record(t, far); !says(all, "limit in 2900") {
		t.Errorf("the picture says %q", texts(all))
	}
}

// FuzzHistory draws suits that nobody has.
func FuzzHistory(f *testing.F) {
	f.Add("HP-07", "en943", "f1052", 2019, 3, 4, 2026, 3, 2, int64(1e11), int64(2e11), int64(3e11), 0.2, 1.0)
	f.Add("", "", "", 0, 0, 0, 0, 0, 0, int64(0), int64(0), int64(0), math.NaN(), math.Inf(-1))
	f.Add("HP-07", strings.Repeat("A", 50), "en943", 2019, 3, 4, 2026, 3, 2, int64(1e11), int64(2e11), int64(3e11), 0.2, 1.0)
	f.Add("\n", "\x00", "消防", 1, 1, 1, 9999, 12, 31, int64(math.MinInt64), int64(math.MaxInt64), int64(1), -1e6, 1e6)
	f.Fuzz(func(t *testing.T, tag, method, other string, y1, m1, d1, y2, m2, d2 int, first, last, allowed int64, from, to float64) {
		one := core.Date{Year: y1, Month: time.Month(m1), Day: d1}
		two := core.Date{Year: y2, Month: time.Month(m2), Day: d2}
		tests := []Test{
			{Day: one, Method: method, Outcome: core.Pass, Drop: core.Pressure(first), Allowed: core.Pressure(allowed)},
			{Day: two, Method: method, Outcome: core.NoVerdict, Drop: core.Pressure(last), Allowed: core.Pressure(allowed)},
			{Day: two, Method: other, Outcome: core.Fail, Drop: core.Pressure(last), Allowed: core.Pressure(first)},
		}
		trend := Trend{Label: other, From: one, To: two, FromShare: from, ToShare: to}
		drawn, err := historyFigure(tag, tests, []Trend{trend})
		if errors.Is(err, ErrNothing) {
			return
		}
		if err != nil {
			t.Fatal(err)
		}
		record(t, drawn)
	})
}

func BenchmarkHistory(b *testing.B) {
	tests, size := years(), 0
	for b.Loop() {
		picture, err := History("HP-07", tests)
		if err != nil {
			b.Fatal(err)
		}
		size = len(picture)
	}
	b.ReportMetric(float64(size), "bytes/picture")
}
