// Package config reads the configuration of a station, one TOML file.
//
// [Load] makes a [Config] of it, and [Default] makes the one of an empty file.
// Every key is a row of the table in keys.go, which says how its value is set
// and what to write instead of a wrong one; parse.go walks that table. A
// [Config] is complete: every key has a default that works. Secrets come from
// the environment or from files of their own.
//
// [Reminders] says when a station looks for what is due.
package config

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"benchbell/bot/paper"
	"benchbell/core"
	"benchbell/scheduler"
)

// Config is what a station sets for itself. Every key has a default that
// works; secrets come from the environment or from a file of their own.
type Config struct {
	Name    string
	Address string // of the bench; documents have it
	Paper   paper.Format
	Data    string // path of the store
	Chat    Chat
	Policy  core.Policy
	// Reminders says when to look for what is due.
	Reminders Reminders
	// Officers are told of what is overdue, and may release a suit. Each is a
	// user name or an account id.
	Officers []string
	Calendar Calendar
	// DecimalComma is for spreadsheets of the languages that write 16,5.
	DecimalComma bool
	Dates        string        // how register files write days besides ISO 8601: one of DateForms
	Methods      []core.Method // besides the built-in ones
}

// Chat says which chat server the bot serves, and which crew in it.
type Chat struct {
	URL     string
	Team    string
	Channel string
	Token   string
}

// Calendar says where the calendar of due dates can be fetched, if Listen
// is set: at /calendar/SECRET.ics.
type Calendar struct {
	Domain string // in the events' ids
	Listen string // address and port
	Secret string
}

// secretVariable is the environment variable that holds the calendar's secret.
const secretVariable = "BENCHBELL_CALENDAR_SECRET"

// TokenVariable is the environment variable that holds the bot's token.
const TokenVariable = "BENCHBELL_TOKEN"

// Default is the configuration of an empty file.
func Default() Config {
	cfg := Config{
		Name: "this station", Paper: paper.A4, Data: "benchbell.db",
		Policy: core.DefaultPolicy(), Calendar: Calendar{Domain: "benchbell.invalid"},
	}
	cfg.SetZone(time.UTC)
	return cfg
}

// SetZone moves the station, with its usual looks, to a time zone.
func (c *Config) SetZone(zone *time.Location) {
	c.Policy.Zone = zone
	for _, look := range []struct {
		rule  *scheduler.Rule
		usual string
	}{{&c.Reminders.Digest, defaultDigest}, {&c.Reminders.Daily, defaultDaily}} {
		if err := setRule(look.rule, look.usual, zone); err != nil {
			panic(err) // they are constants
		}
	}
}

// Load reads a configuration file. A fault is named with the file, the
// line where there is one, and what to write instead.
func Load(path string) (Config, error) {
	text, err := os.ReadFile(path)
	if err != nil {
		return Config{}, fmt.Errorf("configuration: %w", err)
	}
	cfg, err := parse(string(text), filepath.Dir(path))
	if err != nil {
		return Config{}, fmt.Errorf("%s: %w", path, err)
	}
	return cfg, nil
}

func setDuration(to *time.Duration, s string) error {
	if s == "" {
		return nil
	}
	d, err := time.ParseDuration(s)
	if err != nil || d < 0 {
		return fmt.Errorf("%q is not a length of time: write one like \"20s\" or \"6m\"", s)
	}
	*to = d
	return nil
}

// When a station without [reminders] looks for what is due: on Mondays, and every day,
// at seven.
const (
	defaultDigest = "0 7 * * 1"
	defaultDaily  = "0 7 * * *"
)

func setRule(to *scheduler.Rule, s string, zone *time.Location) error {
	rule, err := scheduler.ParseRule(s, zone)
	if err == nil {
		*to = rule
	}
	return err
}

func setPaper(to *paper.Format, s string) error {
	switch strings.ToLower(s) {
	case "a4":
		*to = paper.A4
	case "letter":
		*to = paper.Letter
	default:
		return fmt.Errorf("%q is no paper that documents are made for: write \"A4\" or \"letter\"", s)
	}
	return nil
}

func setPeriod(to *core.Period, s string) error {
	p, err := core.ParsePeriod(s)
	if err != nil {
		return err
	}
	*to = p
	return nil
}

// secret returns what an environment variable or else a file holds.
func secret(variable, file, dir string) (string, error) {
	if s := strings.TrimSpace(os.Getenv(variable)); s != "" || file == "" {
		return s, nil
	}
	if !filepath.IsAbs(file) {
		file = filepath.Join(dir, file)
	}
	b, err := os.ReadFile(file)
	return strings.TrimSpace(string(b)), err
}

// AllMethods returns the built-in methods and those of the configuration.
func (c Config) AllMethods() []core.Method { return append(core.BuiltIn(), c.Methods...) }
