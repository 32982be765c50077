package core_test

import (
	"cmp"
	"encoding/json"
	"math/rand/v2"
	"strings"
	"testing"
	"time"
	_ "time/tzdata" // zones on machines that have none

	"benchbell/core"
)

func mustDate(t testing.TB, s string) core.Date {
	t.Helper()
	d, err := core.ParseDate(s)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func mustPeriod(t testing.TB, s string) core.Period {
	t.Helper()
	p, err := core.ParsePeriod(s)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func mustZone(t testing.TB, name string) *time.Location {
	t.Helper()
	loc, err := time.LoadLocation(name)
	if err != nil {
		t.Fatal(err)
	}
	return loc
}

func TestParseDate(t *testing.T) {
	for _, s := range []string{"2026-03-02", "2024-02-29", "2000-02-29", "0001-01-01", "9999-12-31"} {
		if got := mustDate(t, s).String(); got != s {
			t.Errorf("ParseDate(%q) prints %q", s, got)
		}
	}
	for _, tt := range []struct{ s, say string }{
		{"", "write year-month-day, like 2026-03-02"},
		{"02.03.2026", "write year-month-day, like 2026-03-02"},
		{"3/2/2026", "write year-month-day, like 2026-03-02"},
		{"2026-3-2", "write year-month-day"},
		{"26-03-02", "write year-month-day"},
		{"20260302", "write year-month-day"},
		{"2026-03-02T00:00:00Z", "write year-month-day"},
		{" 2026-03-02", "write year-month-day"},
		{"2026-03-02\n", "write year-month-day"},
		{"+2026-03-02", "write year-month-day"},
		{"2026-03-0２", "write year-month-day"},
		{"2026-02-29", "not in the calendar"},
		{"1900-02-29", "not in the calendar"}, // a century that is no leap year
		{"2026-04-31", "not in the calendar"},
		{"2026-13-01", "not in the calendar"},
		{"2026-00-01", "not in the calendar"},
		{"2026-01-00", "not in the calendar"},
		{"0000-01-01", "not in the calendar"},
	} {
		d, err := core.ParseDate(tt.s)
		if err == nil || !strings.Contains(err.Error(), tt.say) || !d.IsZero() {
			t.Errorf("ParseDate(%q) = %v, %v; want an error that says %q", tt.s, d, err, tt.say)
		}
	}
}

func TestNoDate(t *testing.T) {
	var none core.Date
	first := mustDate(t, "0001-01-01")
	switch {
	case !none.IsZero() || first.IsZero():
		t.Error("only the zero Date is no date")
	case none.String() != "no date":
		t.Errorf("no date prints as %q", none)
	case !none.Before(first) || none.After(first):
		t.Error("no date does not sort before the first")
	case none.AddDays(1) != none || none.AddMonths(1) != none:
		t.Error("no date became one")
	case !none.Start(time.UTC).IsZero() || !none.End(time.UTC).IsZero():
		t.Error("no date has a start or an end")
	case core.DateAt(time.Time{}, time.UTC) != none:
		t.Error("no time has a date")
	}
}

func TestCompare(t *testing.T) {
	sorted := []string{"0001-01-01", "2025-12-31", "2026-01-01", "2026-01-31", "2026-02-01", "2027-01-01"}
	for i, a := range sorted {
		for j, b := range sorted {
			d, e := mustDate(t, a), mustDate(t, b)
			if got := d.Compare(e); got != cmp.Compare(i, j) || d.Before(e) != (i < j) || d.After(e) != (i > j) {
				t.Errorf("%v compares with %v as %d", d, e, got)
			}
		}
	}
}

func TestAddMonths(t *testing.T) {
	for _, tt := range []struct {
		from   string
		months int
		want   string
	}{
		// The documentation of dateutil's relativedelta: a day that the month
		// lacks becomes its last.
		{"2003-01-31", 1, "2003-02-28"},
		{"2003-01-31", 2, "2003-03-31"},
		{"2003-05-31", -1, "2003-04-30"},
		// Derived from the same rule. time.Time.AddDate has 2026-03-03 and
		// 2025-03-01, both later than allowed.
		{"2026-01-31", 1, "2026-02-28"},
		{"2024-02-29", 12, "2025-02-28"},
		{"2024-02-29", 48, "2028-02-29"},
		{"2024-02-29", -12, "2023-02-28"},
		{"2096-02-29", 48, "2100-02-28"}, // 2100 is no leap year
		{"2026-10-31", 1, "2026-11-30"},
		{"2026-12-31", 2, "2027-02-28"},
		{"2026-01-31", -1, "2025-12-31"},
		{"2026-03-02", 0, "2026-03-02"},
		{"2026-03-02", 10, "2027-01-02"},
		{"2026-03-02", -3, "2025-12-02"},
	} {
		if got := mustDate(t, tt.from).AddMonths(tt.months); got.String() != tt.want {
			t.Errorf("%s and %d months = %v, want %s", tt.from, tt.months, got, tt.want)
		}
	}
}

// Clamped is never later than time.Time.AddDate, which overflows into the next
// month, and never goes back as months are added or as the first day is later.
func TestAddMonthsLaws(t *testing.T) {
	rnd := rand.New(rand.NewPCG(1, 2))
	for range 20_000 {
		d := mustDate(t, "1999-12-01").AddDays(rnd.IntN(20_000))
		n := rnd.IntN(600) - 300
		got := d.AddMonths(n)
		overflowing := core.DateAt(time.Date(d.Year, d.Month, d.Day, 12, 0, 0, 0, time.UTC).AddDate(0, n, 0), time.UTC)
		switch {
		case mustDate(t, got.String()) != got:
			t.Fatalf("%v and %d months = %v, printed otherwise", d, n, got)
		case got.After(overflowing):
			t.Fatalf("%v and %d months = %v, later than %v", d, n, got, overflowing)
		case d.Day <= 28 && got != overflowing:
			t.Fatalf("%v and %d months = %v, want %v", d, n, got, overflowing)
		case got.Day > d.Day:
			t.Fatalf("%v and %d months = %v, a later day of the month", d, n, got)
		case !d.AddMonths(n + 1).After(got):
			t.Fatalf("%v and %d months is not before %d months", d, n, n+1)
		case d.AddDays(1).AddMonths(n).Before(got):
			t.Fatalf("the day after %v and %d months is before %v", d, n, got)
		}
	}
}

func TestAddDays(t *testing.T) {
	for _, tt := range []struct {
		from string
		days int
		want string
	}{
		{"2026-02-28", 1, "2026-03-01"},
		{"2024-02-28", 1, "2024-02-29"},
		{"2026-12-31", 1, "2027-01-01"},
		{"2026-01-01", -1, "2025-12-31"},
		{"2026-03-02", 365, "2027-03-02"},
		{"2024-01-01", 365, "2024-12-31"},
		{"2026-03-28", 2, "2026-03-30"}, // over the 23-hour day of central Europe
		// 400 years of the Gregorian calendar are 146 097 days; a
		// time.Duration ends after 292 years.
		{"1601-01-01", 146_097, "2001-01-01"},
		{"2026-03-02", 0, "2026-03-02"},
	} {
		from, want := mustDate(t, tt.from), mustDate(t, tt.want)
		if got := from.AddDays(tt.days); got != want {
			t.Errorf("%s and %d days = %v, want %s", tt.from, tt.days, got, tt.want)
		}
		if got := want.Days(from); got != tt.days {
			t.Errorf("%s to %s = %d days, want %d", tt.from, tt.want, got, tt.days)
		}
	}
}

// The instants at which days begin and end, in UTC. Zone changes as in the IANA
// time zone database; those of the European Union also as in directive
// 2000/84/EC (01:00 UTC on the last Sundays of March and October), those of the
// United States in 15 U.S.C. 260a (02:00, second Sunday of March, first of November).
func TestStartAndEnd(t *testing.T) {
	for _, tt := range []struct {
		zone, day, start, end string
		long                  time.Duration
	}{
		{"UTC", "2026-03-02", "2026-03-02T00:00:00Z", "2026-03-03T00:00:00Z", 24 * time.Hour},
		{"Europe/Warsaw", "2026-03-28", "2026-03-27T23:00:00Z", "2026-03-28T23:00:00Z", 24 * time.Hour},
		{"Europe/Warsaw", "2026-03-29", "2026-03-28T23:00:00Z", "2026-03-29T22:00:00Z", 23 * time.Hour},
		{"Europe/Warsaw", "2026-10-25", "2026-10-24T22:00:00Z", "2026-10-25T23:00:00Z", 25 * time.Hour},
		{"America/New_York", "2026-03-08", "2026-03-08T05:00:00Z", "2026-03-09T04:00:00Z", 23 * time.Hour},
		{"America/New_York", "2026-11-01", "2026-11-01T04:00:00Z", "2026-11-02T05:00:00Z", 25 * time.Hour},
		// Half an hour forward on the first Sunday of October, back on the first of April.
		{"Australia/Lord_Howe", "2026-10-04", "2026-10-03T13:30:00Z", "2026-10-04T13:00:00Z", 23*time.Hour + 30*time.Minute},
		{"Australia/Lord_Howe", "2026-04-05", "2026-04-04T13:00:00Z", "2026-04-05T13:30:00Z", 24*time.Hour + 30*time.Minute},
		// Midnight is skipped: the day begins at 01:00.
		{"America/Santiago", "2024-09-08", "2024-09-08T04:00:00Z", "2024-09-09T03:00:00Z", 23 * time.Hour},
		{"America/Santiago", "2024-09-07", "2024-09-07T04:00:00Z", "2024-09-08T04:00:00Z", 24 * time.Hour},
		{"Asia/Beirut", "2022-03-27", "2022-03-26T22:00:00Z", "2022-03-27T21:00:00Z", 23 * time.Hour},
		// The last hour of the day comes twice, midnight once.
		{"America/Santiago", "2024-04-06", "2024-04-06T03:00:00Z", "2024-04-07T04:00:00Z", 25 * time.Hour},
		// The last hour of the day is skipped.
		{"America/Nuuk", "2024-03-30", "2024-03-30T02:00:00Z", "2024-03-31T01:00:00Z", 23 * time.Hour},
		// Midnight comes twice: the clock goes from 00:01 back to 23:01, so
		// that Saturday is over only at the second midnight, while Sunday was
		// first shown at the first.
		{"America/St_Johns", "2010-11-06", "2010-11-06T02:30:00Z", "2010-11-07T03:30:00Z", 25 * time.Hour},
		{"America/St_Johns", "2010-11-07", "2010-11-07T02:30:00Z", "2010-11-08T03:30:00Z", 25 * time.Hour},
		// Samoa went from 29 to 31 December 2011 over the date line.
		{"Pacific/Apia", "2011-12-29", "2011-12-29T10:00:00Z", "2011-12-30T10:00:00Z", 24 * time.Hour},
		{"Pacific/Apia", "2011-12-30", "2011-12-30T10:00:00Z", "2011-12-30T10:00:00Z", 0},
		{"Pacific/Apia", "2011-12-31", "2011-12-30T10:00:00Z", "2011-12-31T10:00:00Z", 24 * time.Hour},
		// Beyond the tabulated years, on the last day of a leap year, where
		// time.Time.ZoneBounds ends a zone in the past.
		{"Europe/Warsaw", "2096-12-30", "2096-12-29T23:00:00Z", "2096-12-30T23:00:00Z", 24 * time.Hour},
		{"Europe/Warsaw", "2096-12-31", "2096-12-30T23:00:00Z", "2096-12-31T23:00:00Z", 24 * time.Hour},
		{"America/New_York", "2096-12-31", "2096-12-31T05:00:00Z", "2097-01-01T05:00:00Z", 24 * time.Hour},
	} {
		day, loc := mustDate(t, tt.day), mustZone(t, tt.zone)
		start, end := day.Start(loc), day.End(loc)
		if got := start.UTC().Format(time.RFC3339); got != tt.start {
			t.Errorf("%s %s starts %s, want %s", tt.zone, tt.day, got, tt.start)
		}
		if got := end.UTC().Format(time.RFC3339); got != tt.end {
			t.Errorf("%s %s ends %s, want %s", tt.zone, tt.day, got, tt.end)
		}
		if got := end.Sub(start); got != tt.long {
			t.Errorf("%s %s has %v, want %v", tt.zone, tt.day, got, tt.long)
		}
		if start.Location() != loc || end.Location() != loc {
			t.Errorf("%s %s: start and end are not in the zone", tt.zone, tt.day)
		}
	}
}

// For every day, whatever the clock does: before Start the calendar shows an
// earlier date, from Start on the day itself, until just before End; from End
// on it shows a later one for good.
func TestStartAndEndLaws(t *testing.T) {
	for _, zone := range []string{
		"UTC", "Europe/Warsaw", "Europe/London", "America/New_York", "America/Santiago", "America/St_Johns",
		"America/Nuuk", "Asia/Beirut", "Asia/Kathmandu", "Australia/Lord_Howe", "Africa/Casablanca", "Pacific/Apia", "Pacific/Kwajalein",
	} {
		loc := mustZone(t, zone)
		for _, from := range []string{"1993-08-01", "2009-06-01", "2026-01-01", "2040-06-01"} {
			for day, n := mustDate(t, from), 0; n < 1200; day, n = day.AddDays(1), n+1 {
				start, end := day.Start(loc), day.End(loc)
				if start.Equal(end) {
					if got := core.DateAt(start, loc); got != day.AddDays(1) {
						t.Errorf("%s %v is empty, but the calendar shows %v", zone, day, got)
					}
					continue
				}
				for _, check := range []struct {
					what string
					ok   bool
				}{
					{"before its start", core.DateAt(start.Add(-1), loc).Before(day)},
					{"at its start", core.DateAt(start, loc) == day},
					{"before its end", core.DateAt(end.Add(-1), loc) == day},
					{"at its end", core.DateAt(end, loc).After(day)},
					{"half an hour after its end", core.DateAt(end.Add(30*time.Minute), loc).After(day)},
					{"length", 22*time.Hour < end.Sub(start) && end.Sub(start) < 26*time.Hour},
					{"next day", !day.AddDays(1).Start(loc).After(end)},
				} {
					if !check.ok {
						t.Errorf("%s %v (%v to %v) is wrong: %s", zone, day, start, end, check.what)
					}
				}
			}
		}
	}
}

// One instant, three days: which day it is depends on the station.
func TestDateAt(t *testing.T) {
	at := time.Date(2026, time.March, 2, 10, 30, 0, 0, time.UTC)
	for zone, want := range map[string]string{
		"Pacific/Pago_Pago":  "2026-03-01",
		"Europe/Warsaw":      "2026-03-02",
		"Pacific/Kiritimati": "2026-03-03",
	} {
		if got := core.DateAt(at, mustZone(t, zone)); got.String() != want {
			t.Errorf("%v in %s = %v, want %s", at, zone, got, want)
		}
	}
}

func TestParsePeriod(t *testing.T) {
	for _, tt := range []struct {
		s    string
		want core.Period
		out  string
	}{
		{"P1Y", core.Period{Months: 12}, "P1Y"},
		{"P12M", core.Period{Months: 12}, "P1Y"},
		{"P18M", core.Period{Months: 18}, "P18M"},
		{"P1Y6M", core.Period{Months: 18}, "P18M"},
		{"P365D", core.Period{Days: 365}, "P365D"},
		{"P2W", core.Period{Days: 14}, "P14D"},
		{"P1M1D", core.Period{Months: 1, Days: 1}, "P1M1D"},
		{"P1Y2M3D", core.Period{Months: 14, Days: 3}, "P14M3D"},
		{"P0Y6M", core.Period{Months: 6}, "P6M"},
		{"p30d", core.Period{Days: 30}, "P30D"},
		{"P100Y", core.Period{Months: 1200}, "P100Y"},
		{"P36525D", core.Period{Days: 36525}, "P36525D"},
	} {
		got, err := core.ParsePeriod(tt.s)
		if err != nil || got != tt.want || got.String() != tt.out {
			t.Errorf("ParsePeriod(%q) = %#v, %v, printed %q; want %#v, printed %q", tt.s, got, err, got, tt.want, tt.out)
		}
	}
	const accepted = "like P1Y, P18M, P1Y6M, P2W or P365D"
	for _, tt := range []struct{ s, say string }{
		{"", accepted},
		{"P", accepted},
		{"1Y", accepted},
		{"12 months", accepted},
		{"P1Y ", accepted},
		{"PT6M", accepted}, // six minutes
		{"P1DT12H", accepted},
		{"P1YT", accepted},
		{"P0.5Y", accepted},
		{"P1,5M", accepted},
		{"-P1Y", accepted},
		{"P-1Y", accepted},
		{"+P1Y", accepted},
		{"P6M1Y", accepted},
		{"P1Y2W", accepted},
		{"P123456D", accepted},
		{"P٣M", accepted},
		{"P0D", "is no time at all"},
		{"P0Y0M0D", "is no time at all"},
		{"P0W", "is no time at all"},
		{"P101Y", "at most 100 years"},
		{"P99999M", "at most 100 years"},
		{"P36526D", "at most 100 years"},
	} {
		p, err := core.ParsePeriod(tt.s)
		if err == nil || !strings.Contains(err.Error(), tt.say) || !p.IsZero() {
			t.Errorf("ParsePeriod(%q) = %#v, %v; want an error that says %q", tt.s, p, err, tt.say)
		}
	}
}

func TestNth(t *testing.T) {
	for _, tt := range []struct {
		from, period string
		want         string // from the date itself on
	}{
		// RFC 7529, SKIP=BACKWARD: FREQ=MONTHLY from 31 January 2014. RFC 5545
		// would skip the months without a 31st.
		{"2014-01-31", "P1M", "2014-01-31 2014-02-28 2014-03-31 2014-04-30"},
		// Derived: counted from the original date, month ends do not drift.
		{"2026-01-31", "P1M", "2026-01-31 2026-02-28 2026-03-31 2026-04-30 2026-05-31"},
		{"2024-02-29", "P1Y", "2024-02-29 2025-02-28 2026-02-28 2027-02-28 2028-02-29"},
		{"2024-08-31", "P18M", "2024-08-31 2026-02-28 2027-08-31 2029-02-28"},
		// A year, twelve months and 365 days are not the same.
		{"2027-03-02", "P1Y", "2027-03-02 2028-03-02 2029-03-02"},
		{"2027-03-02", "P12M", "2027-03-02 2028-03-02 2029-03-02"},
		{"2027-03-02", "P365D", "2027-03-02 2028-03-01 2029-03-01"},
		{"2026-03-02", "P2W", "2026-03-02 2026-03-16 2026-03-30 2026-04-13"},
		// XML Schema 1.0 part 2, appendix E, on the order of addition: months
		// before days.
		{"2000-03-30", "P1M1D", "2000-03-30 2000-05-01"},
	} {
		d, p := mustDate(t, tt.from), mustPeriod(t, tt.period)
		for n, want := range strings.Fields(tt.want) {
			if got := p.Nth(d, n); got.String() != want {
				t.Errorf("%s, number %d of every %s = %v, want %s", tt.from, n, tt.period, got, want)
			}
		}
		if p.After(d) != p.Nth(d, 1) {
			t.Errorf("%s after %s is not the first", tt.period, tt.from)
		}
	}
	var none core.Period
	if d := mustDate(t, "2026-03-02"); none.After(d) != d {
		t.Error("no period after a date is not the date")
	}
	if got := none.String(); got != "no period" {
		t.Errorf("no period prints as %q", got)
	}
}

func TestDatesAsText(t *testing.T) {
	type record struct {
		Last  core.Date               `json:"last"`
		Next  core.Date               `json:"next,omitzero"`
		Every core.Period             `json:"every"`
		Extra core.Period             `json:"extra"`
		By    map[core.Date]string    `json:"by"`
		Of    map[string]*core.Period `json:"of,omitempty"`
	}
	in := record{
		Last:  mustDate(t, "2026-03-02"),
		Every: mustPeriod(t, "P1Y6M"),
		By:    map[core.Date]string{mustDate(t, "2024-02-29"): "bench.tester"},
	}
	text, err := json.Marshal(in)
	if err != nil {
		t.Fatal(err)
	}
	const want = `{"last":"2026-03-02","every":"P18M","extra":"","by":{"2024-02-29":"bench.tester"}}`
	if string(text) != want {
		t.Errorf("written as %s, want %s", text, want)
	}
	var out record
	if err := json.Unmarshal(text, &out); err != nil {
		t.Fatal(err)
	}
	if out.Last != in.Last || !out.Next.IsZero() || out.Every != in.Every || !out.Extra.IsZero() || len(out.By) != 1 {
		t.Errorf("read back as %+v, want %+v", out, in)
	}

	for _, wrong := range []any{
		core.Date{Year: 2026, Month: time.February, Day: 30},
		core.Date{Year: 10_000, Month: time.January, Day: 1},
		core.Period{Months: -1},
		core.Period{Months: 12, Days: -1},
		core.Period{Days: 40_000},
	} {
		if text, err := json.Marshal(wrong); err == nil {
			t.Errorf("%#v is written as %s", wrong, text)
		}
	}
	d, p := in.Last, in.Every
	if d.UnmarshalText([]byte("today")) == nil || d != in.Last {
		t.Errorf("a date that cannot be read left %v", d)
	}
	if p.UnmarshalText([]byte("PT1H")) == nil || p != in.Every {
		t.Errorf("a period that cannot be read left %v", p)
	}
}

// What is read is printed as it was written.
func FuzzParseDate(f *testing.F) {
	for _, s := range []string{"", "2026-03-02", "2024-02-29", "2026-02-29", "0000-00-00", "0001-01-01", "9999-12-31", "2026-3-2", "-026-01-01"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		d, err := core.ParseDate(s)
		if err != nil {
			if !d.IsZero() {
				t.Errorf("ParseDate(%q) = %v and %v", s, d, err)
			}
			return
		}
		if d.String() != s {
			t.Errorf("ParseDate(%q) prints %q", s, d)
		}
		if d.AddDays(1).Days(d) != 1 || d.AddMonths(0) != d {
			t.Errorf("ParseDate(%q) is not a day of the calendar", s)
		}
	})
}

// What is read, printed and read again is the same.
func FuzzParsePeriod(f *testing.F) {
	for _, s := range []string{"", "P", "P1Y", "P18M", "P1Y6M", "P365D", "P2W", "P0D", "PT1H", "P0.5Y", "-P1Y", "P1Y2M3D", "P99999M", "p1m"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		p, err := core.ParsePeriod(s)
		if err != nil {
			if !p.IsZero() {
				t.Errorf("ParsePeriod(%q) = %v and %v", s, p, err)
			}
			return
		}
		again, err := core.ParsePeriod(p.String())
		if err != nil || again != p {
			t.Errorf("ParsePeriod(%q) = %#v, printed %q, read again %#v, %v", s, p, p, again, err)
		}
		if d := (core.Date{Year: 2026, Month: time.January, Day: 31}); !p.After(d).After(d) {
			t.Errorf("%v after %v is %v", p, d, p.After(d))
		}
	})
}
