package commands

import (
	"regexp"
	"strings"
	"testing"
	"time"

	"benchbell/core"
)

// TestQuote shows what hostile words look like. The chat server alerts for
// @name in quotes, bold, tables and after a backslash, but not inside inline
// code, nor where an invisible space follows the "@".
func TestQuote(t *testing.T) {
	const zw = "\u200b"
	for _, tt := range []struct{ in, want string }{
		{"hole in left glove", "`hole in left glove`"},
		{"@channel @All", "`@" + zw + "channel @" + zw + "All`"},
		{"#tag ~town", "`#" + zw + "tag ~" + zw + "town`"},
		{"two\nlines\tand\x00more", "`two lines andmore`"},
		{"a `fence` b", "`` a `fence` b ``"},
		{"```\n@here", "```` ``` @" + zw + "here ````"},
		{"http://example.org", "`http:" + zw + "//example.org`"},
		{"\u202e\t", "`–`"},
		{strings.Repeat("x", 300), "`" + strings.Repeat("x", 200) + "…`"},
	} {
		if got := quote(tt.in); got != tt.want {
			t.Errorf("quote(%q) = %q, want %q", tt.in, got, tt.want)
		}
	}
}

// FuzzQuote: whatever is typed stays on one line, inside a fence longer than
// any it contains, and mentions nobody.
func FuzzQuote(f *testing.F) {
	for _, s := range []string{"@channel", "``` `", "`", "``````````", "\u202e@here", "a`b``c```d", " "} {
		f.Add(s)
	}
	mention := regexp.MustCompile(`[@#~][\pL\pN]`)
	f.Fuzz(func(t *testing.T, s string) {
		got := quote(s)
		if strings.ContainsAny(got, "\n\r\x00") {
			t.Errorf("quote(%q) = %q: more than one line", s, got)
		}
		fence := len(got) - len(strings.TrimLeft(got, "`"))
		inner := got[fence : len(got)-fence]
		if strings.Contains(inner, strings.Repeat("`", fence)) {
			t.Errorf("quote(%q) = %q: the fence can be broken", s, got)
		}
		if mention.MatchString(got) {
			t.Errorf("quote(%q) = %q: alerts somebody", s, got)
		}
	})
}

// TestSetting checks what the tester is told to set: in the manometer's unit,
// with the ends of the range rounded inwards (17.0 mbar is 173.35 mm, 18.0 mbar
// is 183.55 mm), so that a reading at a printed end is accepted.
func TestSetting(t *testing.T) {
	mbar := core.Manometer{ID: "M-1", Unit: core.Mbar}
	mm := core.Manometer{ID: "M-2", Unit: core.MmH2O}
	methods := core.BuiltIn()
	for _, tt := range []struct {
		s     core.Setting
		gauge core.Manometer
		want  string
	}{
		{methods[0].Expansion, mbar, "17.5 mbar (17.0–18.0)"},
		{methods[0].Expansion, mm, "17.5 mbar = 178.5 mm (173.4–183.5)"},
		{methods[1].Test, mm, "100 mm (95–105)"},
		{methods[1].Test, mbar, "100 mm = 9.81 mbar (9.32–10.29)"},
	} {
		got := setting(tt.s, tt.gauge)
		if got != tt.want {
			t.Errorf("setting = %q, want %q", got, tt.want)
		}
		ends := regexp.MustCompile(`\((.*)–(.*)\)`).FindStringSubmatch(got)
		for _, end := range ends[1:] {
			if p := core.MustWrite(end, tt.gauge.Unit).Pressure(); !tt.s.Holds(p) {
				t.Errorf("%s is printed as in tolerance and is not", end)
			}
		}
	}
}

// TestApart: a drop just over the limit must not look like the limit.
func TestApart(t *testing.T) {
	limit := core.MustWrite("3.0", core.Mbar).Pressure()
	a, b := apart(limit+core.Pascal/2, limit, core.Mbar, 1)
	if a != "3.01" || b != "3.00" {
		t.Errorf("apart = %s, %s, want 3.01, 3.00", a, b)
	}
	if a, b := apart(limit, limit, core.Mbar, 1); a != "3.0" || b != "3.0" {
		t.Errorf("apart of equals = %s, %s", a, b)
	}
}

// TestTwoFigures: an estimate is told to two figures, and never with an
// exponent.
func TestTwoFigures(t *testing.T) {
	for x, want := range map[float64]string{
		1097: "1100", 394.6: "390", 99.6: "100", 16.2: "16", 9.96: "10", 1.94: "1.9", 0.664: "0.66", 0.0712: "0.071", 0.00104: "0.0010",
	} {
		if got := twoFigures(x); got != want {
			t.Errorf("twoFigures(%v) = %q, want %q", x, got, want)
		}
	}
}

// TestShare: the share of a stiff suit's change is rounded outwards.
func TestShare(t *testing.T) {
	if got := share(core.Give{Low: 0.198885, High: 0.280719}); got != "19 to 29 %" {
		t.Errorf("share = %q", got)
	}
}

// TestCapacityOf: what is known of a suit's capacity, and what is missing to
// compute the air's effect.
func TestCapacityOf(t *testing.T) {
	suit := core.Suit{Tag: "HP-07", Capacity: core.Capacity{Litres: "2", From: core.MustWrite("15.0", core.Mbar), To: core.MustWrite("16.2", core.Mbar)}}
	for volume, want := range map[string]string{
		"": "free volume is not in the register", "400": "With 400 L free volume: air does to it 19 to 29 %",
		"2000": "does not go with the free volume", "1600": "86 to 100 %",
	} {
		suit.Volume = core.Volume{Litres: volume}
		if volume == "2000" || volume == "1600" {
			suit.Volume.Off = "40"
		}
		if got := (Speaker{Zone: time.UTC}).Capacity(suit, nil); !strings.Contains(got, want) || !strings.Contains(got, "1.69 ± 0.12 m³ effective") {
			t.Errorf("with %q L: %s", volume, got)
		}
	}
}

func TestSpan(t *testing.T) {
	for d, want := range map[time.Duration]string{
		0:                            "0 s",
		30 * time.Second:             "30 s",
		6 * time.Minute:              "6 min",
		90 * time.Second:             "1 min 30 s",
		2*time.Hour + 5*time.Second:  "2 h 5 s",
		59*time.Second + 600_000_000: "1 min",
	} {
		if got := span(d); got != want {
			t.Errorf("span(%v) = %q, want %q", d, got, want)
		}
	}
}

// TestNamed: a place is shown as it is, unless the chat server would make
// something of it.
func TestNamed(t *testing.T) {
	for text, want := range map[string]string{
		"Jetty 2": "Jetty 2", "Ångström-Kai, 3.": "Ångström-Kai, 3.", "": "",
		"@channel": "`@\u200bchannel`", "**big**": "`**big**`", "a [link](x)": "`a [link](x)`", "`": "`` ` ``",
	} {
		if got := named(text); got != want {
			t.Errorf("named(%q) = %q, want %q", text, got, want)
		}
	}
}
