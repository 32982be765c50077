package config

import (
	"errors"
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strings"
	"time"

	"benchbell/bot/calendar"
	"benchbell/bot/register"
	"benchbell/core"
)

// key is one key of the file. Its value goes into the configuration by set, whose error
// says what to write instead; write is the hint for a value of the wrong type.
type key struct {
	name  string
	write string
	set   func(c *reading, value any) error
}

// reading is the configuration while its file is read.
type reading struct {
	Config
	tokenFile, secretFile string
}

var errType = errors.New("another type is needed")

// text is a key whose value stands in quotes. An empty text is the default.
func text(name, write string, set func(c *reading, s string) error) key {
	return key{name, write, func(c *reading, value any) error {
		switch s, ok := value.(string); {
		case !ok:
			return errType
		case s == "":
			return nil
		default:
			return set(c, s)
		}
	}}
}

func yesNo(name string, at func(c *reading) *bool) key {
	return key{name, "true or false, without quotes", func(c *reading, value any) error {
		yes, ok := value.(bool)
		if !ok {
			return errType
		}
		*at(c) = yes
		return nil
	}}
}

func duration(name, write string, at func(c *reading) *time.Duration) key {
	return text(name, write, func(c *reading, s string) error { return setDuration(at(c), s) })
}

func period(name, write string, at func(c *reading) *core.Period) key {
	return text(name, write, func(c *reading, s string) error { return setPeriod(at(c), s) })
}

// keys are all keys outside the tables of methods, in the order in which they
// are set: the reminders need the time zone.
var keys = []key{
	text("station.name", `the name in quotes, like "Harrow Point"`, func(c *reading, s string) error {
		c.Name = s
		return nil
	}),
	text("station.address", `the address in quotes, like "Gate 3, Quay Road"`, func(c *reading, s string) error {
		c.Address = s
		return register.CheckText(s)
	}),
	text("station.paper", `"A4" or "letter", in quotes`, func(c *reading, s string) error { return setPaper(&c.Paper, s) }),
	text("station.zone", `the time zone in quotes, like "Europe/London"`, func(c *reading, s string) error {
		zone, err := time.LoadLocation(s)
		if err != nil {
			return fmt.Errorf("no time zone %q: write one like \"Europe/London\"", s)
		}
		c.SetZone(zone)
		return nil
	}),
	text("station.data", `the name of the store's file in quotes, like "benchbell.db"`, func(c *reading, s string) error {
		c.Data = s
		return nil
	}),

	text("chat.url", `the chat server's address in quotes, like "https://chat.example.org"`, func(c *reading, s string) error {
		c.Chat.URL = strings.TrimRight(s, "/")
		return nil
	}),
	text("chat.team", `the team's name in quotes, as in the address bar, like "harrow-point"`, func(c *reading, s string) error {
		c.Chat.Team = s
		return nil
	}),
	text("chat.channel", `the channel's name in quotes, as in the address bar, like "suit-bench"`, func(c *reading, s string) error {
		c.Chat.Channel = strings.TrimPrefix(s, "~")
		return nil
	}),
	text("chat.token_file", `the name of the file with the token in quotes, like "token"`, func(c *reading, s string) error {
		c.tokenFile = s
		return nil
	}),

	duration("policy.warn_before", `a time in quotes, like "30s"`, func(c *reading) *time.Duration { return &c.Policy.WarnBefore }),
	period("policy.due_soon", `a number of days in quotes, like "P30D"`, func(c *reading) *core.Period { return &c.Policy.DueSoon }),
	period("policy.interval", `a number of years or months in quotes, like "P1Y"`, func(c *reading) *core.Period { return &c.Policy.Interval }),
	duration("policy.chase_used", `a time in quotes, like "24h"`, func(c *reading) *time.Duration { return &c.Policy.ChaseUsed }),
	duration("policy.take_over_after", `a time in quotes, like "2h"`, func(c *reading) *time.Duration { return &c.Policy.TakeOver }),
	yesNo("policy.release", func(c *reading) *bool { return &c.Policy.Release }),
	text("policy.acceptance", `"simple" or "guarded", in quotes`, func(c *reading, s string) error {
		switch s {
		case "simple":
		case "guarded":
			c.Policy.Acceptance = core.Guarded
		default:
			return fmt.Errorf("%q is no decision rule: write \"simple\" or \"guarded\"", s)
		}
		return nil
	}),
	yesNo("policy.ask_air", func(c *reading) *bool { return &c.Policy.AskAir }),

	text("reminders.digest", `minute, hour, day, month and weekday in quotes, as cron has them, like "0 7 * * 1"`, func(c *reading, s string) error {
		return setRule(&c.Reminders.Digest, s, c.Policy.Zone)
	}),
	text("reminders.daily", `minute, hour, day, month and weekday in quotes, as cron has them, like "0 7 * * *"`, func(c *reading, s string) error {
		return setRule(&c.Reminders.Daily, s, c.Policy.Zone)
	}),
	yesNo("reminders.nil_return", func(c *reading) *bool { return &c.Reminders.NilReturn }),
	text("reminders.quiet", `the quiet hours in quotes, like "21:00-06:00"`, func(c *reading, s string) (err error) {
		c.Reminders.QuietFrom, c.Reminders.QuietTo, err = parseQuiet(s)
		return err
	}),

	{"calendar.domain", `your own domain in quotes, like "suits.example.org"`, func(c *reading, value any) error {
		domain, ok := value.(string)
		if !ok {
			return errType
		}
		c.Calendar.Domain = domain
		return calendar.CheckDomain(domain)
	}},
	text("calendar.listen", `address and port in quotes, like "127.0.0.1:8090"`, func(c *reading, s string) error {
		c.Calendar.Listen = s
		return nil
	}),
	text("calendar.secret_file", `the name of the file with the secret in quotes, like "calendar-secret"`, func(c *reading, s string) error {
		c.secretFile = s
		return nil
	}),

	text("register.dates", `how days are written in quotes, like "DD.MM.YYYY"`, func(c *reading, s string) error {
		if c.Dates = strings.ToUpper(s); register.DateForms[c.Dates] == "" {
			return fmt.Errorf("%q is no form of dates: write one of %s", s, strings.Join(slices.Sorted(maps.Keys(register.DateForms)), ", "))
		}
		return nil
	}),
	yesNo("register.decimal_comma", func(c *reading) *bool { return &c.DecimalComma }),

	{"crew.officers", `the officers' user names or account ids, like ["duty.officer"]`, func(c *reading, value any) error {
		names, ok := value.([]any)
		if !ok {
			return errType
		}
		for _, name := range names {
			s, ok := name.(string)
			if !ok {
				return errType
			}
			// The chat server writes user names and ids in small letters.
			s = strings.ToLower(strings.TrimPrefix(strings.TrimSpace(s), "@"))
			if !account.MatchString(s) {
				return fmt.Errorf("%q is neither a user name nor an account id: write user names like \"duty.officer\"", s)
			}
			c.Officers = append(c.Officers, s)
		}
		return nil
	}},
}

// account is the form of a user name, and of the 26 letters and digits of an
// account id.
var account = regexp.MustCompile(`^[a-z0-9._-]+$`)

// methodKeys are the keys of a table of a method. All of them are texts.
var methodKeys = []struct{ name, write string }{
	{"key", `the method's key in quotes, like "acme12"`},
	{"title", `the title in quotes, like "Acme type 12, as its manual says"`},
	{"source", `the source in quotes, like "Acme type 12 manual, 2024, page 31"`},
	{"unit", `the unit in quotes, like "mbar"`},
	{"expansion", `a number in quotes, like "20.0"`},
	{"expansion_tolerance", `a number in quotes, like "0.5"`},
	{"expansion_time", `a time in quotes, like "5m"`},
	{"pressure", `a number in quotes, like "17.0"`},
	{"pressure_tolerance", `a number in quotes, like "0.5"`},
	{"hold", `a time in quotes, like "6m"`},
	{"max_drop", `a number in quotes, like "2.5"`},
	{"floor", `a number in quotes, like "14.0"`},
	{"ratio", `a ratio in quotes, like "4/5"`},
}
