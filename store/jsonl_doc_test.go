package store_test

import (
	"encoding/json"
	"go/ast"
	"go/parser"
	"go/token"
	"maps"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"

	"benchbell/store"
)

// described is what the doc comment of WriteJSONL says: for each entry, fact
// and part the names of its fields, each with the part it is, or nothing; a
// fact that just is a part has one field without a name. Codes are by the name
// of their set.
type described struct {
	fields map[string]map[string]string
	codes  map[string][]string
}

var (
	thingLine = regexp.MustCompile(`^([a-z_]+) +(?:([a-z]+): )?[^ ]`)
	fieldLine = regexp.MustCompile(`^  ([a-z_]+) +(?:([a-z]+): )?[^ ]`)
)

// description reads that comment.
func description(t *testing.T) described {
	t.Helper()
	file, err := parser.ParseFile(token.NewFileSet(), "jsonl.go", nil, parser.ParseComments)
	if err != nil {
		t.Fatal(err)
	}
	d := described{fields: make(map[string]map[string]string), codes: make(map[string][]string)}
	for _, decl := range file.Decls {
		f, ok := decl.(*ast.FuncDecl)
		if !ok || f.Name.Name != "WriteJSONL" {
			continue
		}
		d.read(f.Doc.Text())
	}
	return d
}

func (d described) read(doc string) {
	section, thing := "", ""
	for line := range strings.Lines(doc) {
		if title, ok := strings.CutPrefix(line, "# "); ok {
			section = strings.TrimSpace(title)
		}
		line, table := strings.CutPrefix(line, "\t")
		if !table {
			continue
		}
		switch section {
		case "Codes":
			words := strings.Fields(line)
			if !strings.HasPrefix(line, " ") {
				thing, words = words[0], words[1:]
			}
			d.codes[thing] = append(d.codes[thing], words...)
		case "Entries", "Facts", "Parts":
			if m := thingLine.FindStringSubmatch(line); m != nil {
				thing = m[1]
				d.fields[thing] = make(map[string]string)
				if m[2] != "" {
					d.fields[thing][""] = m[2]
				}
			}
			if m := fieldLine.FindStringSubmatch(line); m != nil {
				d.fields[thing][m[1]] = m[2]
			}
		}
	}
}

// check compares an object with what is said about a thing of that name, and
// notes that the name is of use.
func (d described) check(t *testing.T, thing string, value any, used map[string]bool) {
	t.Helper()
	if d.codes[thing] != nil {
		used[thing] = true
		return
	}
	fields, ok := d.fields[thing]
	if !ok {
		t.Errorf("the doc comment of WriteJSONL does not describe %q: add it there", thing)
		return
	}
	used[thing] = true
	if part := fields[""]; part != "" {
		d.check(t, part, value, used)
		return
	}
	object, ok := value.(map[string]any)
	if !ok {
		t.Errorf("%s is no object but %v", thing, value)
		return
	}
	names, have := slices.Sorted(maps.Keys(fields)), slices.Sorted(maps.Keys(object))
	if !slices.Equal(names, have) {
		t.Errorf("the doc comment of WriteJSONL gives %s the fields %q, and it has %q", thing, names, have)
	}
	for name, part := range fields {
		switch value := object[name].(type) {
		case map[string]any:
			if thing != "entry" || name != "fact" {
				d.check(t, part, value, used)
			}
		case []any:
			if one, ok := strings.CutSuffix(part, "s"); ok {
				d.check(t, one, value[0], used)
			}
		default:
			if part != "" {
				d.check(t, part, value, used)
			}
		}
	}
}

// Whoever reads the doc comment of WriteJSONL knows every field and every code
// there is.
func TestJSONLIsDescribed(t *testing.T) {
	d := description(t)
	used := make(map[string]bool)
	for kind, fact := range store.Kinds() {
		record, err := store.EncodeEntry(filling{}.filled(fact))
		if err != nil {
			t.Fatal(err)
		}
		var entry map[string]any
		if err := json.Unmarshal(record, &entry); err != nil {
			t.Fatal(err)
		}
		d.check(t, "entry", entry, used)
		d.check(t, kind, entry["fact"], used)
	}
	for thing := range d.fields {
		if !used[thing] {
			t.Errorf("the doc comment of WriteJSONL describes %q, and there is no such thing", thing)
		}
	}
	sets := make(map[string]bool)
	for _, book := range store.Codebooks {
		var words []string
		for iter := reflect.ValueOf(book).MapRange(); iter.Next(); {
			words = append(words, iter.Value().String())
		}
		slices.Sort(words)
		sets[strings.Join(words, " ")] = true
	}
	for set, words := range d.codes {
		if !used[set] {
			t.Errorf("the codes of %q are described, and nothing has them", set)
		}
		if all := strings.Join(slices.Sorted(slices.Values(words)), " "); !sets[all] {
			t.Errorf("the doc comment of WriteJSONL gives %q the codes %q: they are not all, or others", set, words)
		}
	}
}
