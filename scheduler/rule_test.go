package scheduler_test

import (
	"slices"
	"strings"
	"testing"
	"time"
	_ "time/tzdata" // zones on machines that have none

	"github.com/robfig/cron/v3"

	"benchbell/scheduler"
)

func zone(t testing.TB, name string) *time.Location {
	t.Helper()
	loc, err := time.LoadLocation(name)
	if err != nil {
		t.Fatal(err)
	}
	return loc
}

func parse(t testing.TB, expr string, loc *time.Location) scheduler.Rule {
	t.Helper()
	r, err := scheduler.ParseRule(expr, loc)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// instant reads "2026-03-29T01:00:00Z".
func instant(t testing.TB, s string) time.Time {
	t.Helper()
	at, err := time.Parse(time.RFC3339Nano, s)
	if err != nil {
		t.Fatal(err)
	}
	return at
}

func TestParseRule(t *testing.T) {
	utc := time.UTC
	for _, expr := range []string{
		"0 7 * * *", "*/15 6-18 * * mon-fri", "0 7 1 */3 ?", "30 6 * jan,JUL 1-5", "0 7 29 2 *", "0 7 31 2 1", "5/20 0 * * 0",
		"@hourly", "@daily", "@midnight", "@weekly", "@monthly", "@yearly", "@annually", " \t0  7 * * *\n",
	} {
		r, err := scheduler.ParseRule(expr, utc)
		if err != nil {
			t.Errorf("ParseRule(%q): %v", expr, err)
		} else if want := strings.Join(strings.Fields(expr), " "); r.String() != want {
			t.Errorf("ParseRule(%q) prints %q", expr, r)
		}
	}
	for _, tt := range []struct{ expr, say string }{
		{"", "like \"0 7 * * *\""},
		{"  ", "like \"0 7 * * *\""},
		{"07:00", "like \"0 7 * * *\""},
		{"every day", "like \"0 7 * * *\""},
		{"0 7 * *", "like \"0 7 * * *\""},
		{"0 0 7 * * *", "like \"0 7 * * *\""}, // with seconds
		{"60 7 * * *", "like \"0 7 * * *\""},
		{"0 24 * * *", "like \"0 7 * * *\""},
		{"0 7 0 * *", "like \"0 7 * * *\""},
		{"0 7 * 13 *", "like \"0 7 * * *\""},
		{"0 7 * * 7", "Sunday is 0"},
		{"0 7 * * fri-mon", "like \"0 7 * * *\""},
		{"0 7 * * monday", "like \"0 7 * * *\""},
		{"*/0 7 * * *", "like \"0 7 * * *\""},
		{"-5 7 * * *", "like \"0 7 * * *\""},
		// Taken by the library, but not for what they seem to say.
		{"*-5 7 * * *", "\"*-5\" cannot be read"},
		{"0 7 1,,2 * *", "\"1,,2\" cannot be read"},
		{", 7 * * *", "\",\" cannot be read"},
		{"+5 7 * * *", "\"+5\" cannot be read"},
		{"0 7 * * */99999999999", "cannot be read"},
		// The library panics on these, which have no rule after the zone.
		{"TZ=Europe/Paris", "leave the time zone out"},
		{"CRON_TZ=UTC", "leave the time zone out"},
		{"TZ=", "leave the time zone out"},
		{" TZ=UTC", "leave the time zone out"},
		{"TZ=Europe/Paris 0 7 * * *", "leave the time zone out"},
		{"CRON_TZ=Nowhere 0 7 * * *", "leave the time zone out"},
		// The library takes these for one second.
		{"@every -1h", "write a time of the clock"},
		{"@every 1ms", "write a time of the clock"},
		{"@every 24h", "write a time of the clock"},
		{"@every", "write a time of the clock"},
		{"@every1h", "or @daily"},
		{"@reboot", "or @daily"},
		{"@daily 7", "or @daily"},
		{"@", "or @daily"},
		// The library takes these, and they never come.
		{"0 7 31 2 *", "would never come"},
		{"0 7 30 feb *", "would never come"},
		{"0 7 31 4,6,9,11 *", "would never come"},
	} {
		r, err := scheduler.ParseRule(tt.expr, utc)
		if err == nil || !strings.Contains(err.Error(), tt.say) || !strings.HasPrefix(err.Error(), "rule ") {
			t.Errorf("ParseRule(%q): %v; want an error that says %q", tt.expr, err, tt.say)
		}
		if !r.Next(time.Now()).IsZero() {
			t.Errorf("ParseRule(%q) comes although it was refused", tt.expr)
		}
	}
	if _, err := scheduler.ParseRule("@daily", nil); err == nil || !strings.Contains(err.Error(), "time zone") {
		t.Errorf("ParseRule without a zone: %v", err)
	}
}

func TestZeroRule(t *testing.T) {
	var none scheduler.Rule
	at := instant(t, "2026-03-02T08:30:00Z")
	if !none.Next(at).IsZero() || !none.Last(at).IsZero() || none.String() != "" {
		t.Error("the zero Rule means something")
	}
}

// What the library does by itself on the days on which clocks are set, measured
// with v3.0.1 in Warsaw, against what a Rule does: the skipped 02:30 is not
// dropped, the repeated one does not come twice.
func TestLibraryAlone(t *testing.T) {
	warsaw := zone(t, "Europe/Warsaw")
	const expr = "30 2 * * *"
	alone, err := cron.ParseStandard(expr)
	if err != nil {
		t.Fatal(err)
	}
	rule := parse(t, expr, warsaw)
	for _, tt := range []struct {
		after       string
		alone, rule string
	}{
		{"2026-03-28T03:00:00+01:00", "2026-03-30T02:30:00+02:00 2026-03-31T02:30:00+02:00", "2026-03-29T03:00:00+02:00 2026-03-30T02:30:00+02:00"},
		{"2026-10-24T03:00:00+02:00", "2026-10-25T02:30:00+02:00 2026-10-25T02:30:00+01:00", "2026-10-25T02:30:00+02:00 2026-10-26T02:30:00+01:00"},
	} {
		for _, got := range []struct {
			who, want string
			next      func(time.Time) time.Time
		}{{"the library", tt.alone, alone.Next}, {"the rule", tt.rule, rule.Next}} {
			first := got.next(instant(t, tt.after).In(warsaw))
			second := got.next(first)
			if have := first.Format(time.RFC3339) + " " + second.Format(time.RFC3339); have != got.want {
				t.Errorf("%s after %s: %s, want %s", got.who, tt.after, have, got.want)
			}
		}
	}
}

// Zone changes as in the IANA time zone database. The European ones also as in
// directive 2000/84/EC (01:00 UTC, last Sundays of March and October), those of
// the United States in 15 U.S.C. 260a (02:00, second Sunday of March, first of
// November). London follows the European dates.
func TestRuleWhenClocksAreSet(t *testing.T) {
	for _, tt := range []struct {
		zone, expr, after string
		want              string // the next instants, at the station
	}{
		// Warsaw, forward 02:00 to 03:00 on 29 March, back 03:00 to 02:00 on 25 October.
		{"Europe/Warsaw", "0 7 * * *", "2026-03-28T12:00:00+01:00", "2026-03-29T07:00:00+02:00 2026-03-30T07:00:00+02:00"},
		{"Europe/Warsaw", "59 1 * * *", "2026-03-28T12:00:00+01:00", "2026-03-29T01:59:00+01:00 2026-03-30T01:59:00+02:00"},
		{"Europe/Warsaw", "0 2 * * *", "2026-03-28T12:00:00+01:00", "2026-03-29T03:00:00+02:00 2026-03-30T02:00:00+02:00"},
		{"Europe/Warsaw", "0 3 * * *", "2026-03-28T12:00:00+01:00", "2026-03-29T03:00:00+02:00 2026-03-30T03:00:00+02:00"},
		{"Europe/Warsaw", "*/15 * * * *", "2026-03-29T01:30:00+01:00", "2026-03-29T01:45:00+01:00 2026-03-29T03:00:00+02:00 2026-03-29T03:15:00+02:00"},
		{"Europe/Warsaw", "30 2 29 3 *", "2026-01-01T00:00:00+01:00", "2026-03-29T03:00:00+02:00 2027-03-29T02:30:00+02:00"},
		{"Europe/Warsaw", "30 2 * * sun", "2026-03-23T00:00:00+01:00", "2026-03-29T03:00:00+02:00 2026-04-05T02:30:00+02:00"},
		{"Europe/Warsaw", "30 2,3 * * *", "2026-03-29T00:00:00+01:00", "2026-03-29T03:00:00+02:00 2026-03-29T03:30:00+02:00 2026-03-30T02:30:00+02:00"},
		{"Europe/Warsaw", "0 2 * * *", "2026-10-24T12:00:00+02:00", "2026-10-25T02:00:00+02:00 2026-10-26T02:00:00+01:00"},
		{"Europe/Warsaw", "59 2 * * *", "2026-10-24T12:00:00+02:00", "2026-10-25T02:59:00+02:00 2026-10-26T02:59:00+01:00"},
		{"Europe/Warsaw", "0 3 * * *", "2026-10-24T12:00:00+02:00", "2026-10-25T03:00:00+01:00 2026-10-26T03:00:00+01:00"},
		{"Europe/Warsaw", "@hourly", "2026-10-25T01:30:00+02:00", "2026-10-25T02:00:00+02:00 2026-10-25T03:00:00+01:00"},
		{"Europe/Warsaw", "30 2 * * *", "2026-10-25T02:15:00+01:00", "2026-10-26T02:30:00+01:00"}, // asked in the repeated hour
		{"Europe/Warsaw", "0 3 * * *", "2026-10-25T02:15:00+01:00", "2026-10-25T03:00:00+01:00"},
		{"Europe/Warsaw", "30 2 * * *", "2026-10-25T02:29:59.999999999+02:00", "2026-10-25T02:30:00+02:00"},
		{"Europe/Warsaw", "30 2 * * *", "2026-10-25T02:30:00+02:00", "2026-10-26T02:30:00+01:00"},
		// London, forward 01:00 to 02:00 on 29 March, back 02:00 to 01:00 on 25 October.
		{"Europe/London", "30 1 * * *", "2026-03-28T12:00:00Z", "2026-03-29T02:00:00+01:00 2026-03-30T01:30:00+01:00"},
		{"Europe/London", "30 1 * * *", "2026-10-24T12:00:00+01:00", "2026-10-25T01:30:00+01:00 2026-10-26T01:30:00Z"},
		{"Europe/London", "0 0 * * *", "2026-10-24T12:00:00+01:00", "2026-10-25T00:00:00+01:00 2026-10-26T00:00:00Z"},
		// New York, forward 02:00 to 03:00 on 8 March, back 02:00 to 01:00 on 1 November.
		{"America/New_York", "30 2 * * *", "2026-03-07T12:00:00-05:00", "2026-03-08T03:00:00-04:00 2026-03-09T02:30:00-04:00"},
		{"America/New_York", "0 1 * * *", "2026-10-31T12:00:00-04:00", "2026-11-01T01:00:00-04:00 2026-11-02T01:00:00-05:00"},
		{"America/New_York", "0 2 * * *", "2026-10-31T12:00:00-04:00", "2026-11-01T02:00:00-05:00 2026-11-02T02:00:00-05:00"},
		// Lord Howe, forward 02:00 to 02:30 on 4 October, back 02:00 to 01:30 on 5 April.
		{"Australia/Lord_Howe", "15 2 * * *", "2026-10-03T12:00:00+10:30", "2026-10-04T02:30:00+11:00 2026-10-05T02:15:00+11:00"},
		{"Australia/Lord_Howe", "45 2 * * *", "2026-10-03T12:00:00+10:30", "2026-10-04T02:45:00+11:00 2026-10-05T02:45:00+11:00"},
		{"Australia/Lord_Howe", "45 1 * * *", "2026-04-04T12:00:00+11:00", "2026-04-05T01:45:00+11:00 2026-04-06T01:45:00+10:30"},
		{"Australia/Lord_Howe", "0 2 * * *", "2026-04-04T12:00:00+11:00", "2026-04-05T02:00:00+10:30 2026-04-06T02:00:00+10:30"},
		// Santiago skips midnight, forward 00:00 to 01:00 on 8 September 2024.
		{"America/Santiago", "@daily", "2024-09-07T12:00:00-04:00", "2024-09-08T01:00:00-03:00 2024-09-09T00:00:00-03:00"},
		{"America/Santiago", "30 23 * * *", "2024-04-06T12:00:00-03:00", "2024-04-06T23:30:00-03:00 2024-04-07T23:30:00-04:00"},
		// Nuuk skips the last hour of 30 March 2024: what it misses comes at midnight.
		{"America/Nuuk", "30 22 * * *", "2024-03-30T12:00:00-02:00", "2024-03-30T22:30:00-02:00 2024-03-31T22:30:00-01:00"},
		{"America/Nuuk", "30 23 * * *", "2024-03-29T22:00:00-02:00", "2024-03-29T23:30:00-02:00"},
		// St John's went from 00:01 back to 23:01 on 7 November 2010: midnight came twice.
		{"America/St_Johns", "@daily", "2010-11-06T12:00:00-02:30", "2010-11-07T00:00:00-02:30 2010-11-08T00:00:00-03:30"},
		{"America/St_Johns", "1 0 * * *", "2010-11-06T12:00:00-02:30", "2010-11-07T00:01:00-03:30 2010-11-08T00:01:00-03:30"},
		// Samoa skipped 30 December 2011: what that day missed comes at the start of the next.
		{"Pacific/Apia", "30 2 * * *", "2011-12-29T12:00:00-10:00", "2011-12-31T00:00:00+14:00 2011-12-31T02:30:00+14:00 2012-01-01T02:30:00+14:00"},
		// The last day of a leap year in years that are not tabulated, and 2100,
		// which is no leap year: the library alone gives up after five years.
		{"Europe/Warsaw", "30 12 * * *", "2096-12-30T13:00:00+01:00", "2096-12-31T12:30:00+01:00 2097-01-01T12:30:00+01:00"},
		{"Europe/Warsaw", "0 7 29 2 *", "2096-02-29T07:00:00+01:00", "2104-02-29T07:00:00+01:00"},
	} {
		loc := zone(t, tt.zone)
		rule, at := parse(t, tt.expr, loc), instant(t, tt.after)
		var got []string
		wants := strings.Fields(tt.want)
		for range wants {
			at = rule.Next(at)
			got = append(got, at.Format(time.RFC3339))
			if at.Location() != loc {
				t.Errorf("%s %q: %v is not in the zone", tt.zone, tt.expr, at)
			}
			if last := rule.Last(at); !last.Equal(at) {
				t.Errorf("%s %q: comes at %v, but the last then is %v", tt.zone, tt.expr, at, last)
			}
		}
		if !slices.Equal(got, wants) {
			t.Errorf("%s %q after %s:\n got %s\nwant %s", tt.zone, tt.expr, tt.after, strings.Join(got, " "), tt.want)
		}
	}
}

// What went by while the program was not running.
func TestLast(t *testing.T) {
	for _, tt := range []struct{ zone, expr, now, want string }{
		{"Europe/Warsaw", "0 7 * * *", "2026-03-02T06:59:59.999+01:00", "2026-03-01T07:00:00+01:00"},
		{"Europe/Warsaw", "0 7 * * *", "2026-03-02T07:00:00+01:00", "2026-03-02T07:00:00+01:00"},
		{"Europe/Warsaw", "0 7 * * mon", "2026-03-01T12:00:00+01:00", "2026-02-23T07:00:00+01:00"},
		{"Europe/Warsaw", "* * * * *", "2026-03-02T06:59:59.999+01:00", "2026-03-02T06:59:00+01:00"},
		{"Europe/Warsaw", "@yearly", "2026-03-02T07:00:00+01:00", "2026-01-01T00:00:00+01:00"},
		{"Europe/Warsaw", "0 7 31 * *", "2026-03-02T07:00:00+01:00", "2026-01-31T07:00:00+01:00"},
		{"Europe/Warsaw", "0 7 29 2 *", "2026-03-02T07:00:00+01:00", "2024-02-29T07:00:00+01:00"},
		{"Europe/Warsaw", "0 7 29 2 *", "2104-02-29T06:59:00+01:00", "2096-02-29T07:00:00+01:00"},
		{"Europe/Warsaw", "30 2 * * *", "2026-03-29T01:59:59+01:00", "2026-03-28T02:30:00+01:00"},
		{"Europe/Warsaw", "30 2 * * *", "2026-03-29T03:00:00+02:00", "2026-03-29T03:00:00+02:00"},
		{"Europe/Warsaw", "30 2 * * *", "2026-10-25T02:10:00+01:00", "2026-10-25T02:30:00+02:00"},
		{"Europe/Warsaw", "30 2 * * *", "2026-10-25T02:50:00+01:00", "2026-10-25T02:30:00+02:00"},
		{"Europe/Warsaw", "@hourly", "2026-10-25T02:50:00+01:00", "2026-10-25T02:00:00+02:00"},
		{"Australia/Lord_Howe", "15 2 * * *", "2026-10-04T02:30:00+11:00", "2026-10-04T02:30:00+11:00"},
		{"Pacific/Apia", "30 2 * * *", "2011-12-31T02:29:00+14:00", "2011-12-31T00:00:00+14:00"},
	} {
		if got := parse(t, tt.expr, zone(t, tt.zone)).Last(instant(t, tt.now)).Format(time.RFC3339); got != tt.want {
			t.Errorf("%s %q, last at %s = %s, want %s", tt.zone, tt.expr, tt.now, got, tt.want)
		}
	}
}

// A daily rule comes exactly once on every civil day of ten years.
func TestDailyComesOnceADay(t *testing.T) {
	for _, name := range []string{
		"UTC", "Europe/Warsaw", "Europe/London", "America/New_York", "Australia/Lord_Howe", "America/Santiago", "Asia/Beirut", "America/St_Johns",
	} {
		loc := zone(t, name)
		for _, expr := range []string{"@daily", "30 0 * * *", "15 1 * * *", "15 2 * * *", "30 2 * * *", "0 3 * * *", "45 23 * * *"} {
			rule := parse(t, expr, loc)
			day := time.Date(2010, time.January, 1, 12, 0, 0, 0, time.UTC)
			at := time.Date(2009, time.December, 31, 23, 59, 0, 0, loc)
			for ; day.Year() < 2020; day = day.AddDate(0, 0, 1) {
				at = rule.Next(at)
				if at.Format(time.DateOnly) != day.Format(time.DateOnly) {
					t.Fatalf("%s %q comes at %v, on %s at no time or twice", name, expr, at, day.Format(time.DateOnly))
				}
			}
		}
	}
}

// Next and Last against a clock that is watched minute by minute: an instant
// belongs to the rule if the clock then passes a reading of the rule for the
// first time.
func TestRuleAgainstAClock(t *testing.T) {
	rules := map[string]func(hour, minute int) bool{
		"*/10 * * * *":   func(_, m int) bool { return m%10 == 0 },
		"30 2 * * *":     func(h, m int) bool { return h == 2 && m == 30 },
		"5,35 0-2 * * *": func(h, m int) bool { return h <= 2 && (m == 5 || m == 35) },
		"0 0,23 * * *":   func(h, m int) bool { return (h == 0 || h == 23) && m == 0 },
	}
	for name, around := range map[string]string{
		"Europe/Warsaw":       "2026-03-29T01:00:00Z",
		"Europe/London":       "2026-10-25T01:00:00Z",
		"America/New_York":    "2026-11-01T06:00:00Z",
		"Australia/Lord_Howe": "2026-10-03T15:30:00Z",
		"America/Santiago":    "2024-09-08T04:00:00Z",
		"America/Nuuk":        "2024-03-31T01:00:00Z",
		"America/St_Johns":    "2010-11-07T02:31:00Z",
		"Pacific/Apia":        "2011-12-30T10:00:00Z",
		"Pacific/Kwajalein":   "1993-08-21T12:00:00Z",
		"Africa/Casablanca":   "2026-03-22T02:00:00Z",
	} {
		loc := zone(t, name)
		middle := instant(t, around)
		from, to := middle.Add(-6*time.Hour), middle.Add(6*time.Hour)
		for expr, matches := range rules {
			rule := parse(t, expr, loc)
			var instants []time.Time
			shown := onTheWall(from.Add(-48*time.Hour), loc)
			for at := from.Add(-48 * time.Hour); at.Before(to.Add(48 * time.Hour)); at = at.Add(time.Minute) {
				passes := false
				for wall := onTheWall(at, loc); shown.Before(wall); {
					shown = shown.Add(time.Minute)
					passes = passes || matches(shown.Hour(), shown.Minute())
				}
				if passes {
					instants = append(instants, at)
				}
			}
			for now, n := from, 0; now.Before(to); now, n = now.Add(30*time.Second), n+1 {
				i, found := slices.BinarySearchFunc(instants, now, time.Time.Compare)
				if found {
					i++
				}
				if got := rule.Next(now); !got.Equal(instants[i]) {
					t.Fatalf("%s %q: next after %v is %v, want %v", name, expr, now.In(loc), got, instants[i].In(loc))
				}
				if n%5 != 0 {
					continue
				}
				if got := rule.Last(now); !got.Equal(instants[i-1]) {
					t.Fatalf("%s %q: last at %v is %v, want %v", name, expr, now.In(loc), got, instants[i-1].In(loc))
				}
			}
		}
	}
}

// onTheWall returns what a clock shows, as an instant in UTC.
func onTheWall(at time.Time, loc *time.Location) time.Time {
	at = at.In(loc)
	return time.Date(at.Year(), at.Month(), at.Day(), at.Hour(), at.Minute(), 0, 0, time.UTC)
}

// Whatever is accepted comes again and again, and Last undoes Next.
func FuzzParseRule(f *testing.F) {
	for _, expr := range []string{
		"", "0 7 * * *", "*/15 6-18 * * mon-fri", "0 7 29 2 *", "0 7 31 2 *", "@daily", "@every 1h", "TZ=", "CRON_TZ=UTC", "TZ=UTC 0 7 * * *", "*-5 , 1,,2 /3 -",
	} {
		f.Add(expr, int64(1_774_746_000))
	}
	warsaw := zone(f, "Europe/Warsaw")
	f.Fuzz(func(t *testing.T, expr string, unix int64) {
		rule, err := scheduler.ParseRule(expr, warsaw)
		if err != nil {
			return
		}
		const years = 200 * 366 * 24 * 60 * 60
		now := time.Unix(unix%years, 0)
		next, last := rule.Next(now), rule.Last(now)
		again, err := scheduler.ParseRule(rule.String(), warsaw)
		switch {
		case !next.After(now) || next.Sub(now) > 9*366*24*time.Hour:
			t.Errorf("%q comes at %v after %v", expr, next, now)
		case last.After(now) || last.IsZero():
			t.Errorf("%q: last at %v is %v", expr, now, last)
		case !rule.Last(next).Equal(next) || !rule.Last(next.Add(-1)).Equal(last) || !rule.Next(last).Equal(next):
			t.Errorf("%q around %v: last %v and next %v do not meet", expr, now, last, next)
		case err != nil || !again.Next(now).Equal(next):
			t.Errorf("%q printed and read again is %q, %v", expr, again, err)
		}
	})
}
