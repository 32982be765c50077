package config

import (
	"errors"
	"fmt"
	"maps"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"github.com/pelletier/go-toml/v2"
	"github.com/pelletier/go-toml/v2/unstable"

	"benchbell/bot/calendar"
	"benchbell/core"
)

// parse reads the text of a configuration file that stands in the folder dir.
// The error lists all faults, or the one that keeps the text from being TOML.
func parse(text, dir string) (Config, error) {
	var tree map[string]any
	if err := toml.Unmarshal([]byte(text), &tree); err != nil {
		return Config{}, explain(err)
	}
	f := faults{lines: keyLines(text)}
	f.unknownKeys(tree)
	c := reading{Config: Default()}
	for _, k := range keys {
		table, name, _ := strings.Cut(k.name, ".")
		in, _ := tree[table].(map[string]any)
		value, there := in[name]
		if !there {
			continue
		}
		err := k.set(&c, value)
		if errors.Is(err, errType) {
			err = fmt.Errorf("write %s", k.write)
		}
		f.add(k.name, err)
	}
	if !filepath.IsAbs(c.Data) {
		c.Data = filepath.Join(dir, c.Data)
	}
	var err error
	c.Chat.Token, err = secret(TokenVariable, c.tokenFile, dir)
	f.add("chat.token_file", err)
	c.Calendar.Secret, err = secret(secretVariable, c.secretFile, dir)
	if err == nil && c.Calendar.Listen != "" {
		err = calendar.CheckSecret(c.Calendar.Secret)
	}
	f.add("calendar.secret_file", err)
	c.Methods = parseMethods(tree["method"], &f)
	return c.Config, errors.Join(f.all...)
}

// faults gathers what is wrong with a file.
type faults struct {
	lines map[string]int
	all   []error
}

// add notes a fault of a key, with its line if the key is in the file.
func (f *faults) add(key string, err error) {
	switch line := f.lines[key]; {
	case err == nil:
	case line > 0:
		f.all = append(f.all, fmt.Errorf("line %d: %s: %w", line, key, err))
	default:
		f.all = append(f.all, fmt.Errorf("%s: %w", key, err))
	}
}

// unknown records an unknown key.
func (f *faults) unknown(key string) {
	f.all = append(f.all, fmt.Errorf("line %d: no key %q is known here", f.lines[key], key))
}

// unknownKeys records unknown keys outside the tables of methods, and values where a
// table should be.
func (f *faults) unknownKeys(tree map[string]any) {
	known := make(map[string]bool)
	for _, k := range keys {
		table, _, _ := strings.Cut(k.name, ".")
		known[table], known[k.name] = true, true
	}
	for _, table := range f.inOrder("", tree) {
		if table == "method" {
			continue
		}
		if !known[table] {
			f.unknown(table)
			continue
		}
		in, ok := tree[table].(map[string]any)
		if !ok {
			f.add(table, fmt.Errorf("write it as a table: a line [%s], and its keys in the lines below", table))
		}
		for _, name := range f.inOrder(table+".", in) {
			if !known[table+"."+name] {
				f.unknown(table + "." + name)
			}
		}
	}
}

// inOrder returns the keys of a table in the order in which they stand in the
// file.
func (f *faults) inOrder(prefix string, in map[string]any) []string {
	return slices.SortedFunc(maps.Keys(in), func(a, b string) int {
		if n := f.lines[prefix+a] - f.lines[prefix+b]; n != 0 {
			return n
		}
		return strings.Compare(a, b)
	})
}

// keyLines returns the line in which each table and each key begins. A key of
// the second table of a method is called "method 2.hold".
func keyLines(text string) map[string]int {
	lines := make(map[string]int)
	note := func(name string, line int) {
		if _, there := lines[name]; !there {
			lines[name] = line
		}
	}
	var p unstable.Parser
	p.Reset([]byte(text))
	table, methods := "", 0
	for p.NextExpression() {
		e := p.Expression()
		key := e.Key()
		if !key.Next() {
			continue
		}
		line := p.Shape(key.Node().Raw).Start.Line
		switch e.Kind {
		case unstable.Table:
			table = dotted("", e.Key())
			note(table, line)
		case unstable.ArrayTable:
			table = dotted("", e.Key())
			note(table, line)
			if table == "method" {
				methods++
				table = methodName(methods)
				note(table, line)
			}
		case unstable.KeyValue:
			name := dotted(table, e.Key())
			note(name, line)
			first, _, _ := strings.Cut(name, ".")
			note(first, line)
		}
	}
	return lines
}

func methodName(n int) string { return fmt.Sprintf("method %d", n) }

func dotted(table string, key unstable.Iterator) string {
	for key.Next() {
		if table != "" {
			table += "."
		}
		table += string(key.Node().Data)
	}
	return table
}

// explain says where a file is not TOML.
func explain(err error) error {
	if bad, ok := errors.AsType[*toml.DecodeError](err); ok {
		row, col := bad.Position()
		return fmt.Errorf("line %d, column %d: %w", row, col, bad)
	}
	return err
}

// parseMethods reads the tables of methods.
func parseMethods(value any, f *faults) []core.Method {
	if value == nil {
		return nil
	}
	list, ok := value.([]any)
	var all []core.Method
	taken := make(map[string]bool)
	for i, one := range list {
		table, isTable := one.(map[string]any)
		if ok = ok && isTable; !ok {
			break
		}
		name := methodName(i + 1)
		t, sound := parseMethodTable(name, table, f)
		if !sound {
			continue
		}
		m, err := t.method()
		if err == nil && taken[core.NameKey(m.Key)] {
			err = fmt.Errorf("method %q is there twice", m.Key)
		}
		taken[core.NameKey(m.Key)] = true
		f.add(name, err)
		all = append(all, m)
	}
	if !ok {
		f.add("method", errors.New("write each method as a table of its own: a line [[method]], and its keys in the lines below"))
	}
	return all
}

// methodTable is the table of a method, as it is written.
type methodTable map[string]string

// parseMethodTable takes the texts out of a table. It is not sound if a key is
// unknown or a value is no text.
func parseMethodTable(name string, table map[string]any, f *faults) (t methodTable, sound bool) {
	t, sound = make(methodTable), true
	for _, key := range f.inOrder(name+".", table) {
		i := slices.IndexFunc(methodKeys, func(k struct{ name, write string }) bool { return k.name == key })
		if i < 0 {
			f.unknown(name + "." + key)
			sound = false
			continue
		}
		s, ok := table[key].(string)
		if !ok {
			f.add(name+"."+key, fmt.Errorf("write %s", methodKeys[i].write))
			sound = false
		}
		t[key] = s
	}
	return t, sound
}

// method makes a method of its table.
func (t methodTable) method() (core.Method, error) {
	m := core.Method{Key: t["key"], Title: t["title"], Source: t["source"]}
	if m.Title == "" {
		m.Title = m.Key
	}
	var all []error
	fault := func(key string, err error) {
		if err != nil {
			all = append(all, fmt.Errorf("method %q: %s: %w", m.Key, key, err))
		}
	}
	unit, err := core.ParseUnit(t["unit"])
	if err != nil {
		return m, fmt.Errorf("method %q: %w", m.Key, err)
	}
	m.Unit = unit
	number := func(key string) core.Written {
		if t[key] == "" {
			return core.Written{}
		}
		w, err := core.Write(t[key], unit)
		fault(key, err)
		return w
	}
	around := func(key string) core.Setting {
		at, off := number(key), number(key+"_tolerance")
		if at.IsZero() || off.IsZero() {
			fault(key, fmt.Errorf("needs %s and %s_tolerance, as numbers in quotes like \"17.5\"", key, key))
			return core.Setting{}
		}
		return core.Around(at, off)
	}
	m.Expansion, m.Test = around("expansion"), around("pressure")
	fault("expansion_time", setDuration(&m.ExpansionTime, t["expansion_time"]))
	fault("hold", setDuration(&m.Hold, t["hold"]))
	m.Limit.Drop, m.Limit.Floor = number("max_drop"), number("floor")
	if t["ratio"] != "" {
		m.Limit.Num, m.Limit.Den, err = parseRatio(t["ratio"])
		fault("ratio", err)
	}
	m.Provenance = []core.Provenance{{What: "all numbers", Source: m.Source, Certainty: core.KeepersOwn}}
	if len(all) > 0 {
		return m, errors.Join(all...)
	}
	return m, m.Validate()
}

// parseRatio reads "4/5".
func parseRatio(s string) (num, den int64, err error) {
	above, below, _ := strings.Cut(s, "/")
	num, err1 := strconv.ParseInt(above, 10, 32)
	den, err2 := strconv.ParseInt(below, 10, 32)
	if err1 != nil || err2 != nil {
		return 0, 0, fmt.Errorf("%q is not a ratio: write one like \"4/5\"", s)
	}
	return num, den, nil
}
