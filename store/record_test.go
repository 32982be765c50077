package store_test

import (
	"bytes"
	"errors"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"maps"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"benchbell/core"
	"benchbell/store"
)

// golden compares bytes with a file in testdata.
func golden(t *testing.T, name string, got []byte) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		if err := errors.Join(os.MkdirAll(filepath.Dir(path), 0o755), os.WriteFile(path, got, 0o644)); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(got, want) {
		t.Errorf("what stands on disk would change from %s: files written until now must stay readable, see \"What may change\" in doc.go.\n got %s\nwant %s", path, got, want)
	}
}

// Each kind of fact has one record in testdata/entry, with every field set.
// It must be written just so for ever, and read back whole.
func TestEntryRecords(t *testing.T) {
	for name, fact := range store.Kinds() {
		t.Run(name, func(t *testing.T) {
			e := filling{}.filled(fact)
			record, err := store.EncodeEntry(e)
			if err != nil {
				t.Fatal(err)
			}
			golden(t, filepath.Join("entry", name+".json"), append(bytes.Clone(record), '\n'))
			back, err := store.DecodeEntry(record)
			if err != nil {
				t.Fatal(err)
			}
			if !reflect.DeepEqual(back, e) {
				t.Errorf("the record of %T loses something: give it the fields it lacks.\n got %+v\nwant %+v", e.Fact, back, e)
			}
		})
	}
	files, err := filepath.Glob(filepath.Join("testdata", "entry", "*.json"))
	if err != nil {
		t.Fatal(err)
	}
	for _, file := range files {
		name := strings.TrimSuffix(filepath.Base(file), ".json")
		if _, ok := store.Kinds()[name]; !ok {
			t.Errorf("there is no kind of fact for %s: journals with it could not be read any more", file)
		}
	}
}

// coreSource parses the files of core that are not tests.
func coreSource(t *testing.T) []*ast.File {
	t.Helper()
	paths, err := filepath.Glob(filepath.Join("..", "core", "*.go"))
	if err != nil || len(paths) == 0 {
		t.Fatalf("no source of core: %v", err)
	}
	var files []*ast.File
	for _, path := range paths {
		if strings.HasSuffix(path, "_test.go") {
			continue
		}
		f, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.SkipObjectResolution)
		if err != nil {
			t.Fatal(err)
		}
		files = append(files, f)
	}
	return files
}

// Every type of core that is a fact has a record.
func TestEveryFactHasARecord(t *testing.T) {
	var facts []string
	for _, file := range coreSource(t) {
		for _, decl := range file.Decls {
			if f, ok := decl.(*ast.FuncDecl); ok && f.Name.Name == "fact" && f.Recv != nil {
				facts = append(facts, f.Recv.List[0].Type.(*ast.Ident).Name)
			}
		}
	}
	if len(facts) < 10 {
		t.Fatalf("only %d facts were found in core: %q", len(facts), facts)
	}
	var recorded []string
	for _, fact := range store.Kinds() {
		recorded = append(recorded, fact.Name())
	}
	slices.Sort(facts)
	slices.Sort(recorded)
	same(t, "types of fact in core, and those with a record in facts.go", recorded, facts)
}

// Every named value of core that a record may have stands by a code, and
// testdata/codes.txt says by which.
func TestCodes(t *testing.T) {
	var lines []string
	for _, file := range coreSource(t) {
		for _, decl := range file.Decls {
			if d, ok := decl.(*ast.GenDecl); ok && d.Tok == token.CONST {
				lines = append(lines, codeLines(t, d)...)
			}
		}
	}
	lines = append(lines, codeLine(t, "OutKind", "Post", reflect.ValueOf(store.Post)))
	lines = append(lines, codeLine(t, "OutKind", "Edit", reflect.ValueOf(store.Edit)))
	for _, class := range []store.OutClass{store.Bell, store.Verdict, store.Card, store.List, store.Notice} {
		lines = append(lines, codeLine(t, "OutClass", string(class), reflect.ValueOf(class)))
	}
	all := 0
	for _, book := range store.Codebooks {
		codes := reflect.ValueOf(book)
		all += codes.Len()
		seen := make(map[string]bool)
		for _, v := range codes.MapKeys() {
			seen[codes.MapIndex(v).String()] = true
		}
		if len(seen) != codes.Len() || seen[""] {
			t.Errorf("%v: a code stands for two values, or is empty", codes.Type())
		}
	}
	if len(lines) != all {
		t.Errorf("%d constants of core have a code, but there are codes for %d", len(lines), all)
	}
	slices.Sort(lines)
	golden(t, "codes.txt", []byte(strings.Join(lines, "\n")+"\n"))
}

// codeLines returns "type constant code" for the constants of a declaration
// whose types have codes. A constant is a string, or counted by iota.
func codeLines(t *testing.T, d *ast.GenDecl) []string {
	var lines []string
	counted := ""
	for i, spec := range d.Specs {
		spec := spec.(*ast.ValueSpec)
		typ, _ := spec.Type.(*ast.Ident)
		name := spec.Names[0].Name
		switch {
		case typ != nil && codebook(typ.Name).IsValid():
			keys := codebook(typ.Name).Type().Key()
			if lit, ok := spec.Values[0].(*ast.BasicLit); ok {
				text, err := strconv.Unquote(lit.Value)
				if err != nil {
					t.Fatal(err)
				}
				lines = append(lines, codeLine(t, typ.Name, name, reflect.ValueOf(text).Convert(keys)))
				continue
			}
			counted = typ.Name // the zero value, which needs no code
		case typ == nil && len(spec.Values) == 0 && counted != "":
			keys := codebook(counted).Type().Key()
			lines = append(lines, codeLine(t, counted, name, reflect.ValueOf(i).Convert(keys)))
		}
	}
	return lines
}

func codeLine(t *testing.T, typ, name string, v reflect.Value) string {
	t.Helper()
	code := codebook(typ).MapIndex(v)
	if !code.IsValid() {
		t.Errorf("%s %s has no code: give it one in codes.go", typ, name)
		return ""
	}
	return fmt.Sprintf("%s %s %s", typ, name, code)
}

func codebook(typ string) reflect.Value {
	for _, book := range store.Codebooks {
		if v := reflect.ValueOf(book); v.Type().Key().Name() == typ {
			return v
		}
	}
	return reflect.Value{}
}

// twice encodes, decodes and encodes: the records must be the same to the
// byte, since the journal's hashes are of bytes.
func twice(t *testing.T, e core.Entry) {
	t.Helper()
	first, err := store.EncodeEntry(e)
	if err != nil {
		t.Fatalf("encode %+v: %v", e, err)
	}
	back, err := store.DecodeEntry(first)
	if err != nil {
		t.Fatalf("decode %s: %v", first, err)
	}
	second, err := store.EncodeEntry(back)
	if err != nil {
		t.Fatalf("encode %+v: %v", back, err)
	}
	if !bytes.Equal(first, second) {
		t.Errorf("encoded, decoded and encoded again:\n%s\n%s", first, second)
	}
}

func TestRandomEntries(t *testing.T) {
	r := random(t)
	for name, fact := range store.Kinds() {
		t.Run(name, func(t *testing.T) {
			for range 50 {
				e := filling{r}.filled(fact)
				twice(t, e)
				record, err := store.EncodeEntry(e)
				if err != nil {
					t.Fatal(err)
				}
				if back, err := store.DecodeEntry(record); err != nil || !reflect.DeepEqual(back, e) {
					t.Fatalf("decoded: %v\n got %+v\nwant %+v", err, back, e)
				}
			}
		})
	}
}

// A row and a post with every field set come back whole.
func TestOtherRecords(t *testing.T) {
	s := inMemory(t)
	var row store.SuitRow
	var out store.Out
	filling{}.fill(reflect.ValueOf(&row).Elem(), "row")
	filling{}.fill(reflect.ValueOf(&out).Elem(), "out")
	out.Seq, out.Target, out.Tries = 1, "", 1
	commit(t, s, store.Batch{Rows: []store.SuitRow{row}, Out: []store.Out{out}})
	do(t, s.Tried(1, out.First))
	if got, _, err := s.Row(row.Tag); !reflect.DeepEqual(got, row) || err != nil {
		t.Errorf("row: %v\n got %+v\nwant %+v", err, got, row)
	}
	same(t, "post", must(s.Pending())(t), []store.Out{out})
	for _, bucket := range []string{"rows", "out"} {
		for _, record := range dump(t, s)[bucket] {
			golden(t, bucket+".json", []byte(record+"\n"))
		}
	}
}

// What has no fields set at all comes back as it was, too.
func TestZeroEntries(t *testing.T) {
	for name, fact := range store.Kinds() {
		e := core.Entry{Fact: reflect.Zero(fact).Interface().(core.Fact)}
		record, err := store.EncodeEntry(e)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if back, err := store.DecodeEntry(record); err != nil || !reflect.DeepEqual(back, e) {
			t.Errorf("%s: %v\n got %+v\nwant %+v", name, err, back, e)
		}
	}
}

// JSON cannot hold text that is not UTF-8; RFC 8259, section 8.1.
func TestTextNotUTF8(t *testing.T) {
	for text, want := range map[string]string{
		"caf\xe9":          "caf\ufffd",
		`\ufffd`:           `\ufffd`,
		"\\\xff":           "\\\ufffd",
		"\\\\\xff\ufffd\"": "\\\\\ufffd\ufffd\"",
	} {
		e := note(1)
		e.Fact = core.Noted{Text: text}
		twice(t, e)
		back := must(store.DecodeEntry(must(store.EncodeEntry(e))(t)))(t)
		same(t, fmt.Sprintf("%q", text), back.Fact, core.Noted{Text: want})
	}
}

func TestMomentsAreKeptInUTC(t *testing.T) {
	e := note(1)
	e.At = morning.In(time.FixedZone("here", 3600))
	back := must(store.DecodeEntry(must(store.EncodeEntry(e))(t)))(t)
	same(t, "moment", back.At, morning)
}

func TestRecordsThatCannotBeRead(t *testing.T) {
	for _, c := range []struct{ name, record, want string }{
		{"no JSON", `noted`, "invalid character"},
		{"cut short", `{"v":1,"seq":1,"kind":"noted","fact":{"text":"a`, "EOF"},
		{"something behind it", `{"v":1,"seq":1,"kind":"noted","fact":{}} {}`, "more behind the end"},
		{"a newer version", `{"v":2,"seq":1,"kind":"noted","fact":{}}`, "it is of version 2, and this program reads up to version 1: use the benchbell that wrote it"},
		{"a newer version with more", `{"v":7,"site":"B","seq":1,"kind":"noted","fact":{}}`, "it is of version 7"},
		{"no version", `{"seq":1,"kind":"noted","fact":{}}`, "version 0"},
		{"an unknown kind", `{"v":1,"seq":1,"kind":"exploded","fact":{}}`, `kind "exploded", not known to this program: use the benchbell that wrote it`},
		{"an unknown field", `{"v":1,"seq":1,"kind":"noted","fact":{},"site":"B"}`, `unknown field "site"`},
		{"an unknown field of the fact", `{"v":1,"seq":1,"kind":"noted","fact":{"loud":true}}`, `noted: json: unknown field "loud"`},
		{"an unknown code", `{"v":1,"seq":1,"kind":"rung","fact":{"bell":"gong"}}`, `core.Bell "gong" is not known`},
		{"a moment that is none", `{"v":1,"seq":1,"at":"yesterday","kind":"noted","fact":{}}`, `moment "yesterday"`},
		{"a date that is none", `{"v":1,"seq":1,"kind":"paper_test","fact":{"day":"2026-02-30"}}`, "not in the calendar"},
	} {
		t.Run(c.name, func(t *testing.T) {
			if e, err := store.DecodeEntry([]byte(c.record)); err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("decoded %+v, error %v; want one that says %q", e, err, c.want)
			}
		})
	}
}

func TestFactsThatCannotBeKept(t *testing.T) {
	for _, c := range []struct {
		name string
		fact core.Fact
		want string
	}{
		{"none", nil, "no record for a fact of type <nil>"},
		{"a pointer", &core.Noted{}, "no record for a fact of type *core.Noted"},
		{"a value of no code", core.Rung{Bell: "gong"}, `rung: json: error calling MarshalText for type store.coded[benchbell/core.Bell]: core.Bell "gong" has no code on disk`},
		{"a moment of five digits", core.Used{When: morning.AddDate(8000, 0, 0)}, "year outside of range"},
	} {
		t.Run(c.name, func(t *testing.T) {
			if _, err := store.EncodeEntry(core.Entry{Fact: c.fact}); err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("error %v, want one that says %q", err, c.want)
			}
		})
	}
}

// Whatever record can be read is written just the same once it was read.
func FuzzDecodeEntry(f *testing.F) {
	for _, fact := range store.Kinds() {
		record, err := store.EncodeEntry(filling{}.filled(fact))
		if err != nil {
			f.Fatal(err)
		}
		f.Add(record)
	}
	f.Fuzz(func(t *testing.T, record []byte) {
		e, err := store.DecodeEntry(record)
		if err != nil {
			return
		}
		twice(t, e)
	})
}

// Text of any bytes and entries of any field go through without harm.
func FuzzEntry(f *testing.F) {
	f.Add(uint64(1), "note", "HP-07")
	f.Add(uint64(2), "\xff\\\ufffd\u2028", "\"")
	f.Fuzz(func(t *testing.T, n uint64, text, suit string) {
		r := rand.New(rand.NewPCG(n, 0))
		names := slices.Sorted(maps.Keys(store.Kinds()))
		e := filling{r}.filled(store.Kinds()[names[r.IntN(len(names))]])
		e.Suit, e.By.Name = suit, text
		twice(t, e)
		e.Fact = core.Noted{Text: text}
		twice(t, e)
	})
}

// TestHandedOverBefore: an entry from before a run could be taken over says that its
// tester handed it over.
func TestHandedOverBefore(t *testing.T) {
	e, err := store.DecodeEntry([]byte(`{"v":1,"seq":7,"at":"2026-03-02T08:31:00Z","by":{"id":"u1","name":"bench.tester"},"run":1,"kind":"handed_over","fact":{"id":"u2","name":"second.tester"}}`))
	if want := (core.HandedOver{To: core.Person{ID: "u2", Name: "second.tester"}}); err != nil || e.Fact != want {
		t.Errorf("it says %+v, %v, want %+v", e.Fact, err, want)
	}
}
