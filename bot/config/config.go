package config

import (
	"errors"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/pelletier/go-toml/v2"
	"github.com/pelletier/go-toml/v2/unstable"

	"benchbell/bot/calendar"
	"benchbell/bot/paper"
	"benchbell/bot/register"
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
	// Reminders says when to look for what is due, Officers who is told of
	// what is overdue and whose word releases a suit, by user name.
	Reminders Reminders
	Officers  []string
	Calendar  Calendar
	// DecimalComma is for spreadsheets of the languages that write 16,5.
	DecimalComma bool
	Dates        string        // how register files write days besides ISO 8601: one of DateForms
	Methods      []core.Method // besides the built-in ones
}

// ChatConfig says which chat server the bot serves, and which crew in it.
type Chat struct {
	URL     string
	Team    string
	Channel string
	Token   string
}

// CalendarConfig says where the calendar of due dates can be fetched, if Listen
// is set: at /calendar/SECRET.ics.
type Calendar struct {
	Domain string // in the events' ids
	Listen string // address and port
	Secret string
}

// SecretVariable is the environment variable that holds the calendar's secret.
const SecretVariable = "BENCHBELL_CALENDAR_SECRET"

// TokenVariable is the environment variable that holds the bot's token.
const TokenVariable = "BENCHBELL_TOKEN"

// file is the configuration as it is written, in TOML.
type configFile struct {
	Station struct {
		Name    string `toml:"name"`
		Address string `toml:"address"`
		Paper   string `toml:"paper"`
		Zone    string `toml:"zone"`
		Data    string `toml:"data"`
	} `toml:"station"`
	Chat struct {
		URL       string `toml:"url"`
		Team      string `toml:"team"`
		Channel   string `toml:"channel"`
		TokenFile string `toml:"token_file"`
	} `toml:"chat"`
	Policy struct {
		WarnBefore string `toml:"warn_before"`
		DueSoon    string `toml:"due_soon"`
		Interval   string `toml:"interval"`
		ChaseUsed  string `toml:"chase_used"`
		Release    bool   `toml:"release"`
		Acceptance string `toml:"acceptance"`
		AskAir     bool   `toml:"ask_air"`
	} `toml:"policy"`
	Reminders struct {
		Digest    string `toml:"digest"`
		Daily     string `toml:"daily"`
		NilReturn bool   `toml:"nil_return"`
		Quiet     string `toml:"quiet"`
	} `toml:"reminders"`
	Calendar struct {
		Domain     *string `toml:"domain"`
		Listen     string  `toml:"listen"`
		SecretFile string  `toml:"secret_file"`
	} `toml:"calendar"`
	Register struct {
		Dates        string `toml:"dates"`
		DecimalComma bool   `toml:"decimal_comma"`
	} `toml:"register"`
	Crew struct {
		Officers []string `toml:"officers"`
	} `toml:"crew"`
	Methods []methodTable `toml:"method"`
}

type methodTable struct {
	Key                string `toml:"key"`
	Title              string `toml:"title"`
	Source             string `toml:"source"`
	Unit               string `toml:"unit"`
	Expansion          string `toml:"expansion"`
	ExpansionTolerance string `toml:"expansion_tolerance"`
	ExpansionTime      string `toml:"expansion_time"`
	Pressure           string `toml:"pressure"`
	PressureTolerance  string `toml:"pressure_tolerance"`
	Hold               string `toml:"hold"`
	MaxDrop            string `toml:"max_drop"`
	Floor              string `toml:"floor"`
	Ratio              string `toml:"ratio"`
}

// DefaultConfig is the configuration of an empty file.
func Default() Config {
	cfg := Config{
		Name: "this station", Paper: paper.A4, Data: "benchbell.db",
		Policy: core.DefaultPolicy(), Calendar: Calendar{Domain: "benchbell.invalid"},
	}
	cfg.SetZone(time.UTC)
	return cfg
}

// setZone moves the station, with its usual looks, to a time zone.
func (c *Config) SetZone(zone *time.Location) {
	c.Policy.Zone = zone
	for _, look := range []struct {
		rule  *scheduler.Rule
		usual string
	}{{&c.Reminders.Digest, defaultDigest}, {&c.Reminders.Daily, defaultDaily}} {
		if err := setRule(look.rule, "", look.usual, zone); err != nil {
			panic(err) // they are constants
		}
	}
}

// LoadConfig reads a configuration file. A fault is named with the file, the
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

func parse(text, dir string) (Config, error) {
	var f configFile
	d := toml.NewDecoder(strings.NewReader(text)).DisallowUnknownFields()
	if err := d.Decode(&f); err != nil {
		return Config{}, explain(err)
	}
	cfg := Default()
	lines := keyLines(text)
	var faults []error
	fault := func(key string, err error) {
		switch line := lines[key]; {
		case err == nil:
		case line > 0:
			faults = append(faults, fmt.Errorf("line %d: %s: %w", line, key, err))
		default:
			faults = append(faults, fmt.Errorf("%s: %w", key, err))
		}
	}
	set(&cfg.Name, f.Station.Name)
	cfg.Address = f.Station.Address
	fault("station.address", register.CheckText(cfg.Address))
	fault("station.paper", setPaper(&cfg.Paper, f.Station.Paper))
	set(&cfg.Data, f.Station.Data)
	if !filepath.IsAbs(cfg.Data) {
		cfg.Data = filepath.Join(dir, cfg.Data)
	}
	if f.Station.Zone != "" {
		zone, err := time.LoadLocation(f.Station.Zone)
		if err != nil {
			err = fmt.Errorf("no time zone %q: write one like \"Europe/London\"", f.Station.Zone)
		} else {
			cfg.Policy.Zone = zone
		}
		fault("station.zone", err)
	}
	cfg.Chat.URL, cfg.Chat.Team, cfg.Chat.Channel = strings.TrimRight(f.Chat.URL, "/"), f.Chat.Team, strings.TrimPrefix(f.Chat.Channel, "~")
	token, err := secret(TokenVariable, f.Chat.TokenFile, dir)
	fault("chat.token_file", err)
	cfg.Chat.Token = token

	fault("policy.warn_before", setDuration(&cfg.Policy.WarnBefore, f.Policy.WarnBefore))
	fault("policy.due_soon", setPeriod(&cfg.Policy.DueSoon, f.Policy.DueSoon))
	fault("policy.interval", setPeriod(&cfg.Policy.Interval, f.Policy.Interval))
	fault("policy.chase_used", setDuration(&cfg.Policy.ChaseUsed, f.Policy.ChaseUsed))
	cfg.Policy.Release, cfg.Policy.AskAir = f.Policy.Release, f.Policy.AskAir
	switch f.Policy.Acceptance {
	case "", "simple":
	case "guarded":
		cfg.Policy.Acceptance = core.Guarded
	default:
		fault("policy.acceptance", fmt.Errorf("%q is no decision rule: write \"simple\" or \"guarded\"", f.Policy.Acceptance))
	}
	cfg.Reminders.NilReturn = f.Reminders.NilReturn
	fault("reminders.digest", setRule(&cfg.Reminders.Digest, f.Reminders.Digest, defaultDigest, cfg.Policy.Zone))
	fault("reminders.daily", setRule(&cfg.Reminders.Daily, f.Reminders.Daily, defaultDaily, cfg.Policy.Zone))
	if f.Reminders.Quiet != "" {
		var err error
		cfg.Reminders.QuietFrom, cfg.Reminders.QuietTo, err = parseQuiet(f.Reminders.Quiet)
		fault("reminders.quiet", err)
	}
	if cfg.Dates = strings.ToUpper(f.Register.Dates); cfg.Dates != "" && register.DateForms[cfg.Dates] == "" {
		fault("register.dates", fmt.Errorf("%q is no form of dates: write one of %s", f.Register.Dates, strings.Join(slices.Sorted(maps.Keys(register.DateForms)), ", ")))
	}
	cfg.DecimalComma = f.Register.DecimalComma
	cfg.Calendar.Listen = f.Calendar.Listen
	if domain := f.Calendar.Domain; domain != nil {
		cfg.Calendar.Domain = *domain
		fault("calendar.domain", calendar.CheckDomain(*domain))
	}
	cfg.Calendar.Secret, err = secret(SecretVariable, f.Calendar.SecretFile, dir)
	fault("calendar.secret_file", err)
	if cfg.Calendar.Listen != "" {
		fault("calendar.secret_file", calendar.CheckSecret(cfg.Calendar.Secret))
	}
	for _, name := range f.Crew.Officers {
		// User names are of small letters, and compared with those of people.
		name = strings.ToLower(strings.TrimPrefix(strings.TrimSpace(name), "@"))
		if name == "" {
			fault("crew.officers", errors.New("a name is empty: write user names like \"duty.officer\""))
			continue
		}
		cfg.Officers = append(cfg.Officers, name)
	}
	keys := make(map[string]bool)
	for i, table := range f.Methods {
		m, err := table.method()
		if err == nil && keys[core.NameKey(m.Key)] {
			err = fmt.Errorf("method %q is there twice", m.Key)
		}
		keys[core.NameKey(m.Key)] = true
		fault(fmt.Sprintf("method %d", i+1), err)
		cfg.Methods = append(cfg.Methods, m)
	}
	return cfg, errors.Join(faults...)
}

// keyLines says in which line of a file the value of each key begins. Keys of
// tables that there are several of are left out.
func keyLines(text string) map[string]int {
	lines := make(map[string]int)
	var p unstable.Parser
	p.Reset([]byte(text))
	table := ""
	for p.NextExpression() {
		e := p.Expression()
		switch e.Kind {
		case unstable.Table, unstable.ArrayTable:
			table = dotted("", e.Key())
			if e.Kind == unstable.ArrayTable {
				table = "[]"
			}
		case unstable.KeyValue:
			key := e.Key()
			if key.Next() {
				lines[dotted(table, e.Key())] = p.Shape(key.Node().Raw).Start.Line
			}
		}
	}
	return lines
}

func dotted(table string, key unstable.Iterator) string {
	for key.Next() {
		if table != "" {
			table += "."
		}
		table += string(key.Node().Data)
	}
	return table
}

// explain says where a file is not what it should be.
func explain(err error) error {
	if unknown, ok := errors.AsType[*toml.StrictMissingError](err); ok {
		var all []error
		for _, e := range unknown.Errors {
			row, _ := e.Position()
			all = append(all, fmt.Errorf("line %d: no key %q is known here", row, strings.Join(e.Key(), ".")))
		}
		return errors.Join(all...)
	}
	if bad, ok := errors.AsType[*toml.DecodeError](err); ok {
		row, col := bad.Position()
		return fmt.Errorf("line %d, column %d: %w", row, col, bad)
	}
	return err
}

func set(to *string, s string) {
	if s != "" {
		*to = s
	}
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

// The looks of a station that configured nothing: Mondays, and every day, at
// seven.
const (
	defaultDigest = "0 7 * * 1"
	defaultDaily  = "0 7 * * *"
)

func setRule(to *scheduler.Rule, s, usual string, zone *time.Location) error {
	if s == "" {
		s = usual
	}
	rule, err := scheduler.ParseRule(s, zone)
	if err == nil {
		*to = rule
	}
	return err
}

func setPaper(to *paper.Format, s string) error {
	switch strings.ToLower(s) {
	case "":
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
	if s == "" {
		return nil
	}
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

func (t methodTable) method() (core.Method, error) {
	m := core.Method{Key: t.Key, Title: t.Title, Source: t.Source}
	if m.Title == "" {
		m.Title = t.Key
	}
	var faults []error
	fault := func(key string, err error) {
		if err != nil {
			faults = append(faults, fmt.Errorf("method %q: %s: %w", t.Key, key, err))
		}
	}
	unit, err := core.ParseUnit(t.Unit)
	if err != nil {
		return m, fmt.Errorf("method %q: %w", t.Key, err)
	}
	m.Unit = unit
	number := func(key, digits string) core.Written {
		if digits == "" {
			return core.Written{}
		}
		w, err := core.Write(digits, unit)
		fault(key, err)
		return w
	}
	around := func(key, digits, tolerance string) core.Setting {
		at, off := number(key, digits), number(key+"_tolerance", tolerance)
		if at.IsZero() || off.IsZero() {
			fault(key, fmt.Errorf("needs %s and %s_tolerance, as numbers in quotes like \"17.5\"", key, key))
			return core.Setting{}
		}
		return core.Around(at, off)
	}
	m.Expansion = around("expansion", t.Expansion, t.ExpansionTolerance)
	m.Test = around("pressure", t.Pressure, t.PressureTolerance)
	fault("expansion_time", setDuration(&m.ExpansionTime, t.ExpansionTime))
	fault("hold", setDuration(&m.Hold, t.Hold))
	m.Limit.Drop = number("max_drop", t.MaxDrop)
	m.Limit.Floor = number("floor", t.Floor)
	if t.Ratio != "" {
		num, den, _ := strings.Cut(t.Ratio, "/")
		var e1, e2 error
		m.Limit.Num, e1 = strconv.ParseInt(num, 10, 32)
		m.Limit.Den, e2 = strconv.ParseInt(den, 10, 32)
		if e1 != nil || e2 != nil {
			fault("ratio", fmt.Errorf("%q is not a ratio: write one like \"4/5\"", t.Ratio))
		}
	}
	m.Provenance = []core.Provenance{{What: "all numbers", Source: t.Source, Certainty: core.KeepersOwn}}
	if len(faults) > 0 {
		return m, errors.Join(faults...)
	}
	return m, m.Validate()
}
