package config

import (
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"benchbell/bot/paper"
	"benchbell/core"
	"benchbell/scheduler"
)

// whole is a configuration with every key in it.
const whole = `
[station]
name = "Harrow Point"
address = "Gate 3, Quay Road, Harrow Point"
paper = "letter"
zone = "Europe/London"
data = "bench/bell.db"

[chat]
url = "https://chat.example.org/mm/"
team = "harrow-point"
channel = "~suit-bench"
token_file = "secrets/token"

[calendar]
domain = "suits.example.org"
listen = "127.0.0.1:8090"
secret_file = "secrets/calendar"

[crew]
officers = ["duty.officer", " @Second.Officer ", "q3t6zzzkibn7upjxhw5wqnnhoc"]

[policy]
warn_before = "20s"
due_soon = "P2W"
interval = "P18M"
chase_used = "36h"
take_over_after = "90m"
release = true
acceptance = "guarded"
ask_air = true

[reminders]
digest = "30 6 * * 5"
daily = "15 8 * * *"
nil_return = true
quiet = "21:30-06:15"

[register]
dates = "dd.mm.yyyy"
decimal_comma = true

[[method]]
key = "acme12"
title = "Acme type 12, as its manual says"
source = "Acme type 12 manual, 2024, page 31"
unit = "mbar"
expansion = "20.0"
expansion_tolerance = "0.5"
expansion_time = "5m"
pressure = "17,0"
pressure_tolerance = "0.5"
hold = "6m30s"
max_drop = "2.5"

[[method]]
key = "floor3"
source = "page 3"
unit = "mm"
expansion = "125"
expansion_tolerance = "5"
expansion_time = "1m"
pressure = "100"
pressure_tolerance = "5"
hold = "4m"
floor = "82"

[[method]]
key = "ratio4"
source = "page 4"
unit = "in"
expansion = "4.0"
expansion_tolerance = "0.2"
expansion_time = "1m"
pressure = "3.0"
pressure_tolerance = "0.2"
hold = "3m"
ratio = "9/10"
`

// folder returns a new folder with a file of each name and content.
func folder(t *testing.T, files map[string]string) string {
	t.Helper()
	dir := t.TempDir()
	for name, text := range files {
		path := filepath.Join(dir, name)
		if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

func zone(t *testing.T, name string) *time.Location {
	t.Helper()
	z, err := time.LoadLocation(name)
	if err != nil {
		t.Fatal(err)
	}
	return z
}

func rule(t *testing.T, expr string, zone *time.Location) scheduler.Rule {
	t.Helper()
	r, err := scheduler.ParseRule(expr, zone)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func TestConfigWhole(t *testing.T) {
	t.Setenv(TokenVariable, "")
	dir := folder(t, map[string]string{"benchbell.toml": whole, "secrets/token": " the-token\n", "secrets/calendar": "0123456789abcdef\n"})
	got, err := Load(filepath.Join(dir, "benchbell.toml"))
	if err != nil {
		t.Fatal(err)
	}
	london := zone(t, "Europe/London")
	keepersOwn := func(source string) []core.Provenance {
		return []core.Provenance{{What: "all numbers", Source: source, Certainty: core.KeepersOwn}}
	}
	mbar := func(s string) core.Written { return core.MustWrite(s, core.Mbar) }
	mm := func(s string) core.Written { return core.MustWrite(s, core.MmH2O) }
	inch := func(s string) core.Written { return core.MustWrite(s, core.InH2O) }
	want := Config{
		Name:     "Harrow Point",
		Address:  "Gate 3, Quay Road, Harrow Point",
		Paper:    paper.Letter,
		Data:     filepath.Join(dir, "bench/bell.db"),
		Chat:     Chat{URL: "https://chat.example.org/mm", Team: "harrow-point", Channel: "suit-bench", Token: "the-token"},
		Calendar: Calendar{Domain: "suits.example.org", Listen: "127.0.0.1:8090", Secret: "0123456789abcdef"},
		Policy: core.Policy{
			Zone: london, WarnBefore: 20 * time.Second, Release: true, ChaseUsed: 36 * time.Hour, TakeOver: 90 * time.Minute,
			Acceptance: core.Guarded, AskAir: true,
			DueSoon: core.Period{Days: 14}, Interval: core.Period{Months: 18},
		},
		Reminders: Reminders{
			Digest: rule(t, "30 6 * * 5", london), Daily: rule(t, "15 8 * * *", london), NilReturn: true,
			QuietFrom: 21*time.Hour + 30*time.Minute, QuietTo: 6*time.Hour + 15*time.Minute,
		},
		Officers: []string{"duty.officer", "second.officer", "q3t6zzzkibn7upjxhw5wqnnhoc"},
		Dates:    "DD.MM.YYYY", DecimalComma: true,
		Methods: []core.Method{
			{
				Key: "acme12", Title: "Acme type 12, as its manual says", Source: "Acme type 12 manual, 2024, page 31", Unit: core.Mbar,
				Expansion: core.Around(mbar("20.0"), mbar("0.5")), ExpansionTime: 5 * time.Minute,
				Test: core.Around(mbar("17.0"), mbar("0.5")), Hold: 6*time.Minute + 30*time.Second,
				Limit: core.Limit{Drop: mbar("2.5")}, Provenance: keepersOwn("Acme type 12 manual, 2024, page 31"),
			},
			{
				Key: "floor3", Title: "floor3", Source: "page 3", Unit: core.MmH2O,
				Expansion: core.Around(mm("125"), mm("5")), ExpansionTime: time.Minute,
				Test: core.Around(mm("100"), mm("5")), Hold: 4 * time.Minute,
				Limit: core.Limit{Floor: mm("82")}, Provenance: keepersOwn("page 3"),
			},
			{
				Key: "ratio4", Title: "ratio4", Source: "page 4", Unit: core.InH2O,
				Expansion: core.Around(inch("4.0"), inch("0.2")), ExpansionTime: time.Minute,
				Test: core.Around(inch("3.0"), inch("0.2")), Hold: 3 * time.Minute,
				Limit: core.Limit{Num: 9, Den: 10}, Provenance: keepersOwn("page 4"),
			},
		},
	}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("got\n%+v\nwant\n%+v", got, want)
	}
}

// allKeys yields every key of the file with what is told to write for it; those
// of methods as "method.hold".
func allKeys(yield func(name, write string) bool) {
	for _, k := range keys {
		if !yield(k.name, k.write) {
			return
		}
	}
	for _, k := range methodKeys {
		if !yield("method."+k.name, k.write) {
			return
		}
	}
}

// TestConfigKeys: every key there is stands in the text above, so that none goes
// untested.
func TestConfigKeys(t *testing.T) {
	for name := range allKeys {
		table, key, _ := strings.Cut(name, ".")
		if !strings.Contains(whole, "\n"+key+" = ") || !strings.Contains(whole, "["+table+"]") {
			t.Errorf("not in the test's configuration: %s", name)
		}
	}
}

// TestConfigTypes: a value of the wrong type is told by its line and key, with
// what to write instead, in words of the file and not of Go.
func TestConfigTypes(t *testing.T) {
	t.Setenv(TokenVariable, "")
	goWords := regexp.MustCompile(`(?i)\b(toml|struct|field|int64|string|slice|bool|cannot|decode|interface|config\.)\b`)
	for name, write := range allKeys {
		table, key, _ := strings.Cut(name, ".")
		for _, wrong := range []string{"30", "1.5", "07:00:00", "2026-03-02", "[1]", "[[\"x\"]]", "{ a = 1 }"} {
			text := fmt.Sprintf("[%s]\n\n%s = %s\n", table, key, wrong)
			want := fmt.Sprintf("line 3: %s: write %s", name, write)
			if table == "method" {
				text = fmt.Sprintf("[[method]]\nsource = \"x\"\n[[method]]\n%s = %s\n", key, wrong)
				want = fmt.Sprintf("line 4: method 2.%s: write %s", key, write)
			}
			_, err := parse(text, "/station")
			if err == nil || !strings.Contains(err.Error(), want) || goWords.MatchString(err.Error()) {
				t.Errorf("%s = %s: the error is %v, without %q", name, wrong, err, want)
			}
		}
	}
	for name := range allKeys {
		table, _, _ := strings.Cut(name, ".")
		for _, text := range []string{table + " = 3\n", table + " = \"x\"\n", table + " = [1]\n"} {
			if _, err := parse(text, "/station"); err == nil || !strings.Contains(err.Error(), "line 1: "+table+": write ") {
				t.Errorf("%q: the error is %v", text, err)
			}
		}
	}
}

func TestConfigDefaults(t *testing.T) {
	t.Setenv(TokenVariable, "")
	got, err := parse("", "/station")
	if err != nil {
		t.Fatal(err)
	}
	want := Config{
		Name: "this station", Paper: paper.A4, Data: "/station/benchbell.db", Policy: core.DefaultPolicy(),
		Reminders: Reminders{Digest: rule(t, "0 7 * * 1", time.UTC), Daily: rule(t, "0 7 * * *", time.UTC)},
		Calendar:  Calendar{Domain: "benchbell.invalid"},
	}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("got\n%+v\nwant\n%+v", got, want)
	}
	want.Data = "benchbell.db"
	if got := Default(); !reflect.DeepEqual(got, want) {
		t.Errorf("without a file: got\n%+v\nwant\n%+v", got, want)
	}
	// The usual looks follow the station's own clock.
	cfg, err := parse("[station]\nzone = \"America/New_York\"\ndata = \"/var/lib/bell.db\"", "/station")
	if err != nil {
		t.Fatal(err)
	}
	noon := time.Date(2026, 3, 2, 17, 0, 0, 0, time.UTC)
	if next := cfg.Reminders.Next(noon); !next.Equal(time.Date(2026, 3, 3, 12, 0, 0, 0, time.UTC)) {
		t.Errorf("in New York the look after %v is at %v", noon, next)
	}
	if cfg.Data != "/var/lib/bell.db" {
		t.Errorf("the store is at %s", cfg.Data)
	}
}

func TestToken(t *testing.T) {
	dir := folder(t, map[string]string{"token": "from-file\n", "empty": "\n"})
	absolute := filepath.Join(dir, "token")
	for name, test := range map[string]struct {
		env, file string
		want      string
	}{
		"neither":                {"", "", ""},
		"file beside the config": {"", "token", "from-file"},
		"file by its whole path": {"", absolute, "from-file"},
		"environment":            {" from-env ", "", "from-env"},
		"both":                   {"from-env", "token", "from-env"},
		"an unused missing file": {"from-env", "nowhere", "from-env"},
		"an empty file":          {"", "empty", ""},
	} {
		t.Run(name, func(t *testing.T) {
			t.Setenv(TokenVariable, test.env)
			cfg, err := parse("[chat]\ntoken_file = '"+test.file+"'", dir)
			if err != nil || cfg.Chat.Token != test.want {
				t.Errorf("the token is %q, %v; want %q", cfg.Chat.Token, err, test.want)
			}
		})
	}
	t.Setenv(TokenVariable, "")
	if _, err := parse("[chat]\ntoken_file = 'nowhere'", dir); err == nil || !strings.Contains(err.Error(), "chat.token_file: open "+filepath.Join(dir, "nowhere")) {
		t.Errorf("of a file that is not there: %v", err)
	}
}

// method is a further method with some lines replaced, or left out if the new
// one is empty.
func method(replace ...string) string {
	text := whole[strings.Index(whole, "[[method]]"):]
	text, _, _ = strings.Cut(text, "\n\n")
	lines := strings.Split(text, "\n")
	for _, line := range replace {
		key, _, _ := strings.Cut(line, " ")
		i := slices.IndexFunc(lines, func(l string) bool { return strings.HasPrefix(l, key+" ") })
		switch {
		case i < 0:
			lines = append(lines, line)
		case strings.HasSuffix(line, "= "):
			lines = slices.Delete(lines, i, i+1)
		default:
			lines[i] = line
		}
	}
	return strings.Join(lines, "\n") + "\n"
}

// TestConfigFaults: a fault is named by its line or its key, with what to write
// instead.
func TestConfigFaults(t *testing.T) {
	t.Setenv(TokenVariable, "")
	for name, test := range map[string]struct {
		text string
		want []string
	}{
		"syntax":                 {"[station]\nname = Harrow Point\n", []string{"line 2, column 8"}},
		"no end of a text":       {"[station]\n\nname = \"Harrow\n", []string{"line 3"}},
		"key twice":              {"[station]\nname = \"a\"\nname = \"b\"\n", []string{"line 3", "name"}},
		"unknown key":            {"[station]\nname = \"a\"\nnane = \"b\"\n", []string{`line 3: no key "station.nane" is known here`}},
		"unknown table":          {"\n[statoin]\nname = \"a\"\n", []string{"line 2", `"statoin`}},
		"unknown key of methods": {"\n" + method(`max_dorp = "3"`), []string{"line 14", "max_dorp"}},
		"several unknown keys":   {"a = 1\nb = 2\n", []string{"line 1", `"a"`, "line 2", `"b"`}},
		"a secret in the file":   {"[chat]\ntoken = \"x\"\n", []string{"line 2", `"chat.token"`}},
		"number for a text":      {"[policy]\nwarn_before = 30\n", []string{`line 2: policy.warn_before: write a time in quotes, like "30s"`}},
		"text for yes or no":     {"[policy]\nrelease = \"yes\"\n", []string{"line 2"}},
		"paper":                  {"[station]\nname = \"x\"\npaper = \"A5\"\n", []string{"line 3: station.paper", `"A5"`, `write "A4" or "letter"`}},
		"paper, of another key":  {"station.paper = \"US\"\n", []string{"line 1: station.paper", `"US"`}},
		"address":                {"[station]\naddress = \"two\\nlines\"\n", []string{"line 2: station.address", "write one line"}},
		"address, too long":      {"[station]\naddress = \"" + strings.Repeat("x", 201) + "\"\n", []string{"line 2: station.address", "at most 200 letters"}},
		"domain, empty":          {"[calendar]\n\ndomain = \"\"\n", []string{"line 3: calendar.domain", `"" is no domain`, "suits.example.org"}},
		"domain, one word":       {"[calendar]\ndomain = \"station\"\n", []string{"line 2: calendar.domain", `"station" is no domain`}},
		"domain, an address":     {"[calendar]\ndomain = \"https://example.org\"\n", []string{"line 2: calendar.domain", "is no domain"}},
		"domain, a line of it":   {"[calendar]\ndomain = \"example.org\\r\\nX:y\"\n", []string{"line 2: calendar.domain", "is no domain"}},
		"zone":                   {"[station]\nzone = \"London\"\n", []string{"line 2: station.zone", `no time zone "London"`, "Europe/London"}},
		"zone outside":           {"[station]\nzone = \"../../etc/passwd\"\n", []string{"station.zone", "Europe/London"}},
		"warn_before":            {"[policy]\nwarn_before = \"30\"\n", []string{"policy.warn_before", `"30"`, `"20s"`}},
		"warn_before, negative":  {"[policy]\nwarn_before = \"-30s\"\n", []string{"policy.warn_before", `"20s"`}},
		"due_soon":               {"[policy]\ndue_soon = \"30d\"\n", []string{"policy.due_soon", `"30d"`, "P2W"}},
		"interval":               {"[policy]\ninterval = \"P0D\"\n", []string{"policy.interval", "at least one day"}},
		"chase_used":             {"[policy]\nchase_used = \"1 day\"\n", []string{"policy.chase_used", `"20s"`}},
		"digest":                 {"[reminders]\ndigest = \"monday\"\n", []string{"reminders.digest", "monday"}},
		"daily, never":           {"[reminders]\ndaily = \"0 7 31 2 *\"\n", []string{"reminders.daily", "never come"}},
		"quiet":                  {"[reminders]\nquiet = \"at night\"\n", []string{"reminders.quiet", `"at night"`, "21:00-06:00"}},
		"quiet, no time":         {"[reminders]\nquiet = \"9pm-6am\"\n", []string{"reminders.quiet", `"9pm"`, `"6am"`, "07:00"}},
		"dates":                  {"[register]\ndates = \"YYYY/MM/DD\"\n", []string{"register.dates", "DD.MM.YYYY, DD/MM/YYYY, MM/DD/YYYY"}},
		"take_over_after":        {"[policy]\ntake_over_after = \"2 hours\"\n", []string{"line 2: policy.take_over_after", `"2 hours"`, `"20s"`}},
		"an officer's full name": {"[crew]\nofficers = [\"Duty Officer\"]\n", []string{"line 2: crew.officers", "account id", "duty.officer"}},
		"officers":               {"[crew]\nofficers = [\"a\", \"@\"]\n", []string{"crew.officers", "duty.officer"}},
		"several":                {"[station]\nzone = \"x\"\n[policy]\ninterval = \"y\"\n", []string{"station.zone", "policy.interval"}},

		"method built in":      {method(`key = "en943"`), []string{"method 1", `"en943" is built in and cannot be redefined`, "a name of its own"}},
		"method like built in": {method(`key = "f01052"`), []string{"is built in"}},
		"method without key":   {method(`key = `), []string{"method 1", "needs a key"}},
		"method, bad key":      {method(`key = "Acme 12"`), []string{"small letters and digits", "acme12"}},
		"method twice":         {method() + method(), []string{"method 2", `"acme12" is there twice`}},
		"method almost twice":  {method() + method(`key = "acme012"`), []string{"method 2", `"acme012" is there twice`}},
		"without source":       {method(`source = `), []string{"acme12", "needs a source line"}},
		"without unit":         {method(`unit = `), []string{"acme12", "unit"}},
		"unknown unit":         {method(`unit = "bar g"`), []string{`unit "bar g" is not known`, "mbar"}},
		"without expansion":    {method(`expansion = `), []string{"expansion", "as numbers in quotes"}},
		"without tolerance":    {method(`pressure_tolerance = `), []string{"pressure", "pressure_tolerance"}},
		"a number, no text":    {method(`pressure = 17.0`), []string{"line 9"}},
		"a word for a number":  {method(`pressure = "high"`), []string{"acme12", "pressure", `"high"`, "16.5"}},
		"a word for a time":    {method(`hold = "long"`), []string{"hold", `"long"`, `"6m"`}},
		"without hold":         {method(`hold = `), []string{"needs a hold"}},
		"without limit":        {method(`max_drop = `), []string{"needs exactly one limit: max_drop, floor or ratio"}},
		"two limits":           {method(`floor = "14.0"`), []string{"needs exactly one limit"}},
		"no ratio":             {method(`max_drop = `, `ratio = "0.8"`), []string{"ratio", `"0.8"`, `"4/5"`}},
		"ratio of one":         {method(`max_drop = `, `ratio = "5/5"`), []string{"ratio between 0 and 1"}},
		"a limit no suit miss": {method(`max_drop = "17.0"`), []string{"no suit could miss"}},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := parse(test.text, "/station")
			if err == nil {
				t.Fatalf("accepted:\n%s", test.text)
			}
			for _, want := range test.want {
				if !strings.Contains(err.Error(), want) {
					t.Errorf("the error is %q, without %q", err, want)
				}
			}
		})
	}
}

// TestConfigFile: a fault is named with the file it is in.
func TestConfigFile(t *testing.T) {
	dir := folder(t, map[string]string{"bell.toml": "x = 1\n"})
	path := filepath.Join(dir, "bell.toml")
	if _, err := Load(path); err == nil || !strings.HasPrefix(err.Error(), path+": line 1: ") {
		t.Errorf("of a fault: %v", err)
	}
	if _, err := Load(path + "x"); !os.IsNotExist(err) && (err == nil || !strings.Contains(err.Error(), "bell.tomlx")) {
		t.Errorf("of a file that is not there: %v", err)
	}
}

// TestConfigOfReadme: what the README shows is understood.
func TestConfigOfReadme(t *testing.T) {
	t.Setenv(TokenVariable, "x")
	readme, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	blocks := regexp.MustCompile("(?s)```toml\n(.*?)```").FindAllSubmatch(readme, -1)
	if len(blocks) == 0 {
		t.Fatal("the README shows no configuration")
	}
	for _, block := range blocks {
		if _, err := parse(string(block[1]), "/station"); err != nil {
			t.Errorf("%v:\n%s", err, block[1])
		}
	}
}

// Whatever is accepted makes sense: methods hold by themselves and beside the
// built-in ones, the looks come, the station has a clock.
func FuzzParseConfig(f *testing.F) {
	f.Setenv(TokenVariable, "x") // no file that the text names is read
	f.Setenv(secretVariable, "0123456789abcdef")
	for _, text := range []string{"", whole, method(), "[station]\nname = Harrow", "a.b.c = [1, {x = 2}]", "[[method]]\n[[method]]", "\x00", "[policy]\nwarn_before = \"2562047h\"", "[reminders]\nquiet=\"00:00-00:00\""} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		cfg, err := parse(text, "/station")
		if err != nil {
			if err.Error() == "" {
				t.Error("an error without words")
			}
			return
		}
		known := make(map[string]bool)
		for _, m := range cfg.AllMethods() {
			if known[core.NameKey(m.Key)] {
				t.Errorf("two methods are called %q", m.Key)
			}
			known[core.NameKey(m.Key)] = true
		}
		for _, m := range cfg.Methods {
			if err := m.Validate(); err != nil {
				t.Error(err)
			}
		}
		now := time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)
		next := cfg.Reminders.Next(now)
		if quiet := cfg.Reminders.QuietUntil(next, cfg.Policy.Zone); next.IsZero() || quiet.Before(next) || quiet.Sub(next) > 25*time.Hour {
			t.Errorf("the next look is at %v, or after quiet hours at %v", next, quiet)
		}
		if cfg.Policy.Zone == nil || cfg.Policy.WarnBefore < 0 || cfg.Policy.ChaseUsed < 0 || !filepath.IsAbs(cfg.Data) {
			t.Errorf("accepted: %+v", cfg)
		}
	})
}
