package store_test

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"reflect"
	"slices"
	"strings"
	"testing"
	"testing/iotest"
	"time"

	"benchbell/core"
	"benchbell/store"
	"benchbell/store/storetest"
)

// exported returns the journal of a store in JSON Lines.
func exported(t testing.TB, s *store.Store) []byte {
	t.Helper()
	var out bytes.Buffer
	if err := s.WriteJSONL(&out); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

// fromJournal are the buckets that follow from the journal alone.
var fromJournal = []string{"journal", "by suit", "by run", "open runs", "numbers", "manometers", "last used", "tags"}

// roundTrip reads a store's journal into an empty one and compares them.
func roundTrip(t *testing.T, from, to *store.Store) {
	t.Helper()
	lines := exported(t, from)
	n, h, err := to.ReadJSONL(bytes.NewReader(lines))
	if err != nil {
		t.Fatal(err)
	}
	head, entries, err := from.Verify()
	if h != head || n != entries || err != nil {
		t.Errorf("read %d entries, head %v; want %d, %v, %v", n, h, entries, head, err)
	}
	if head, entries, err := to.VerifyAgainst(n, h); h != head || n != entries || err != nil {
		t.Errorf("verified %d entries, head %v, %v; want %d, %v", entries, head, err, n, h)
	}
	was, is := dump(t, from), dump(t, to)
	for _, bucket := range fromJournal {
		same(t, bucket, is[bucket], was[bucket])
	}
	if !bytes.Equal(exported(t, to), lines) {
		t.Error("written again, the lines are others")
	}
	same(t, "rows", all(t, to.Rows()), []store.SuitRow(nil))
	same(t, "rows made with", must(to.RowsMadeWith())(t), "")
	for e, err := range from.Entries(0) {
		if err != nil {
			t.Fatal(err)
		}
		if seen := must(to.Seen(e.Event))(t); seen != (e.Event != "") {
			t.Fatalf("event %q of entry %d was handled: %v", e.Event, e.Seq, seen)
		}
	}
	do(t, to.Check())
}

func TestJSONLRoundTrip(t *testing.T) {
	stays := func(s *store.Store) *store.Store { return s }
	for name, fill := range map[string]func(*testing.T) *store.Store{
		"nothing": func(t *testing.T) *store.Store { return inMemory(t) },
		"pages of notes": func(t *testing.T) *store.Store {
			s := inFile(t)
			commit(t, s, store.Batch{Entries: notes(1, 2*store.PageSize+3)})
			return s
		},
		"a little of everything": played,
		"every kind of fact":     oneOfEach,
		"a simulation": func(t *testing.T) *store.Store {
			s := inFile(t)
			simulate(t, s, 240, stays)
			return s
		},
		"a simulation in memory": func(t *testing.T) *store.Store {
			s := inMemory(t)
			simulate(t, s, 600, stays)
			return s
		},
	} {
		t.Run(name, func(t *testing.T) {
			from := fill(t)
			roundTrip(t, from, inFile(t))
			roundTrip(t, from, inMemory(t))
		})
	}
}

// oneOfEach returns a store with one fact of each kind.
func oneOfEach(t *testing.T) *store.Store {
	t.Helper()
	s := inMemory(t)
	var b store.Batch
	for i, name := range slices.Sorted(maps.Keys(store.Kinds())) {
		e := filling{}.filled(store.Kinds()[name])
		e.Event, e.Run = fmt.Sprintf("post:%d", i/2), core.RunID(i+1)
		b.Entries = append(b.Entries, e)
	}
	commit(t, s, b)
	return s
}

// The lines of one suit are those of the whole journal, in its order, up to one
// that is missing or damaged.
func TestLinesOfSuit(t *testing.T) {
	s := played(t)
	whole := strings.SplitAfter(string(exported(t, s)), "\n")
	for tag := range s.Tags() {
		var want strings.Builder
		for _, line := range whole {
			if strings.Contains(line, `"suit":"`+tag+`"`) && strings.HasPrefix(line, `{"hash"`) {
				want.WriteString(line)
			}
		}
		var got strings.Builder
		if err := s.WriteLinesOfSuit(&got, tag); err != nil || got.String() != want.String() || got.Len() == 0 {
			t.Errorf("%s: %v\n got %s\nwant %s", tag, err, got.String(), want.String())
		}
	}
	var none strings.Builder
	if err := s.WriteLinesOfSuit(&none, "HP-9999"); err != nil || none.Len() > 0 {
		t.Errorf("of a suit that is not there: %v, %q", err, none.String())
	}
	full := errors.New("no space left")
	for tag := range s.Tags() {
		if err := s.WriteLinesOfSuit(failing{full}, tag); !errors.Is(err, full) {
			t.Errorf("a writer that fails: %v", err)
		}
		break
	}
	s = tampered(t, func(tx store.Tx) error { return tx.Delete("journal", journalKey(5)) })
	var out strings.Builder
	err := s.WriteLinesOfSuit(&out, "HP-07")
	if bad, ok := errors.AsType[*store.EntryError](err); !ok || bad.Seq != 5 || strings.Count(out.String(), "\n") != 4 {
		t.Errorf("with an entry missing: %v, %q", err, out.String())
	}
}

// A file written once is read for ever, and every file is written like it.
func TestJSONLGolden(t *testing.T) {
	s := inMemory(t)
	suit := core.Suit{Tag: "HP-07", Size: "L", Place: "rack 2 \"wet\"", Fittings: core.Fittings{ExhaustValves: 2}}
	commit(t, s, store.Batch{Entries: []core.Entry{
		entry(0, "HP-07", 0, core.SuitRegistered{Suit: suit}),
		entry(0, "", 0, core.ManometerRegistered{Manometer: manometer("M-1")}),
		entry(1, "HP-07", 1, opened("HP-07", manometer("M-1"))),
		entry(2, "HP-07", 1, core.Noted{Text: "zipper stiff\nété, 冬 \u2028 <&>"}),
		entry(3, "HP-07", 1, core.Closed{}),
	}})
	golden(t, "journal.jsonl", exported(t, s))
	roundTrip(t, s, inMemory(t))
}

// The hashes are worked out from the file by what the doc comment says alone.
func TestJSONLIsWhatTheDocSays(t *testing.T) {
	lines := bytes.Split(exported(t, oneOfEach(t)), []byte("\n"))
	if last := len(lines) - 1; len(lines[last]) != 0 {
		t.Fatalf("the file does not end with a line feed but %q", lines[last])
	}
	lines = lines[:len(lines)-1]
	var header struct {
		Format        string
		Version       int
		Entries       int
		Head          string
		Other, Excess json.RawMessage
	}
	if err := json.Unmarshal(lines[0], &header); err != nil {
		t.Fatal(err)
	}
	last := make([]byte, 32)
	for i, line := range lines[1:] {
		var is struct {
			Hash  string
			Entry struct{ V, Seq int }
		}
		if err := json.Unmarshal(line, &is); err != nil {
			t.Fatal(err)
		}
		record := line[84-1 : len(line)-1]
		hash := sha256.Sum256(append(bytes.Clone(last), record...))
		last = hash[:]
		if is.Hash != hex.EncodeToString(last) || is.Entry.Seq != i+1 || is.Entry.V != 1 {
			t.Errorf("line %d has hash %s and is entry %d of version %d, want %x, %d, 1", i+2, is.Hash, is.Entry.Seq, is.Entry.V, last, i+1)
		}
	}
	if header.Format != "benchbell journal" || header.Version != 1 || header.Entries != len(lines)-1 || header.Head != hex.EncodeToString(last) {
		t.Errorf("the first line is %+v, want %d entries, head %x", header, len(lines)-1, last)
	}
}

// tenLines are the lines of a journal of ten entries.
func tenLines(t testing.TB) [][]byte {
	t.Helper()
	s := inMemory(t)
	commit(t, s, store.Batch{Entries: notes(1, 10)})
	return bytes.SplitAfter(bytes.TrimSuffix(exported(t, s), []byte("\n")), []byte("\n"))
}

// refusedLines reads lines that must not be taken, and then those that must.
func refusedLines(t *testing.T, text []byte, line uint64, want string) {
	t.Helper()
	s := inMemory(t)
	empty := dump(t, s)
	n, h, err := s.ReadJSONL(bytes.NewReader(text))
	bad, ok := errors.AsType[*store.LineError](err)
	if !ok || bad.Line != line || !strings.Contains(err.Error(), want) || n != 0 || h != (store.Hash{}) {
		t.Errorf("read %d entries, head %v, %v; want an error about line %d that says %q", n, h, err, line, want)
	}
	same(t, "after the error", dump(t, s), empty)
	if n, _, err := s.ReadJSONL(bytes.NewReader(bytes.Join(tenLines(t), nil))); n != 10 || err != nil {
		t.Errorf("then read %d entries, %v", n, err)
	}
}

func TestJSONLNamesTheFirstBadLine(t *testing.T) {
	replace := func(i int, from, to string) func([][]byte) [][]byte {
		return func(lines [][]byte) [][]byte {
			if !bytes.Contains(lines[i], []byte(from)) {
				t.Fatalf("line %d does not say %q", i+1, from)
			}
			lines[i] = bytes.Replace(lines[i], []byte(from), []byte(to), 1)
			return lines
		}
	}
	remove := func(from, to int) func([][]byte) [][]byte {
		return func(lines [][]byte) [][]byte { return slices.Delete(lines, from, to) }
	}
	hash := func(line []byte) string { return string(line[9:73]) }
	// forge writes a chain of its own from an entry on, without a flaw in it.
	forge := func(lines [][]byte, from, to int) [][]byte {
		h := must(store.ParseHash(hash(lines[from-1])))(t)
		for i := from; i <= to; i++ {
			e := note(i + 100)
			e.Seq = uint64(i)
			value, next, err := store.Entry(h, e)
			if err != nil {
				t.Fatal(err)
			}
			lines[i] = fmt.Appendf(nil, `{"hash":"%v","entry":%s}`+"\n", next, value[32:])
			h = next
		}
		return lines
	}
	for _, c := range []struct {
		name string
		with func([][]byte) [][]byte
		line uint64
		want string
	}{
		{"first changed", replace(1, "note 1", "note 9"), 2, "line 2: journal entry 1: it is not as it was written: its hash does not fit"},
		{"one changed", replace(5, "note 5", "note 6"), 6, "hash does not fit"},
		{"last changed", replace(10, "note 10", "note 11"), 11, "hash does not fit"},
		{"a blank added to a record", replace(5, `{"v":1`, `{ "v":1`), 6, "hash does not fit"},
		{"a blank added to a line", replace(5, `,"entry":`, `, "entry":`), 6, "changed or cut short"},
		{"a hash in capitals", func(lines [][]byte) [][]byte {
			copy(lines[5][9:73], bytes.ToUpper(lines[5][9:73]))
			return lines
		}, 6, "hash does not fit"},
		{"a hash changed", func(lines [][]byte) [][]byte {
			lines[5][20] ^= 1
			return lines
		}, 6, "hash does not fit"},
		{"cut short", func(lines [][]byte) [][]byte {
			lines[5] = append(lines[5][:40], '\n')
			return lines
		}, 6, "changed or cut short"},
		{"an empty line", func(lines [][]byte) [][]byte { return slices.Insert(lines, 5, []byte("\n")) }, 6, "changed or cut short"},
		{"first removed", remove(1, 2), 2, "journal entry 1: it is missing: entry 2 stands in its place"},
		{"one removed", remove(5, 6), 6, "journal entry 5: it is missing: entry 6 stands in its place"},
		{"last removed", remove(10, 11), 11, "journal entry 10: it is missing"},
		{"the end cut off", remove(5, 11), 6, "journal entry 5: it is missing"},
		{"the end cut off in a line", func(lines [][]byte) [][]byte {
			lines[5] = lines[5][:200]
			return lines[:6]
		}, 6, "changed or cut short"},
		{"all removed", remove(1, 11), 2, "journal entry 1: it is missing"},
		{"one repeated", func(lines [][]byte) [][]byte { return slices.Insert(lines, 6, lines[5]) }, 7, "journal entry 6: in its place stands entry 5 once more"},
		{"last repeated", func(lines [][]byte) [][]byte { return append(lines, []byte("\n"), lines[10]) }, 12, "behind the entry that the first line names"},
		{"one inserted", func(lines [][]byte) [][]byte {
			five := bytes.Clone(lines[5])
			return slices.Insert(forge(lines, 5, 5), 6, five)
		}, 7, "in its place stands entry 5 once more"},
		{"two swapped", func(lines [][]byte) [][]byte {
			lines[4], lines[7] = lines[7], lines[4]
			return lines
		}, 5, "journal entry 4: it is missing: entry 7 stands in its place"},
		{"one forged with its hash", func(lines [][]byte) [][]byte { return forge(lines, 5, 5) }, 7, "hash does not fit"},
		{"the last forged with its hash", func(lines [][]byte) [][]byte { return forge(lines, 10, 10) }, 1, "its head is not the hash of the last entry"},
		{"forged up to the end", func(lines [][]byte) [][]byte { return forge(lines, 5, 10) }, 1, "its head is not the hash of the last entry"},

		{"the first line removed", remove(0, 1), 1, "it does not say that a journal of benchbell follows"},
		{"of something else", replace(0, "benchbell journal", "shopping list"), 1, "it does not say that a journal"},
		{"of a newer program", replace(0, `"version":1`, `"version":2,"zone":"UTC"`), 1, "of version 2, and this program reads up to version 1: use the benchbell that wrote it"},
		{"of no version", replace(0, `"version":1`, `"version":0`), 1, "version 0"},
		{"with more in the first line", replace(0, `"version":1`, `"version":1,"zone":"UTC"`), 1, `unknown field "zone"`},
		{"fewer entries named", replace(0, `"entries":10`, `"entries":9`), 11, "journal entry 10: it stands behind the entry"},
		{"more entries named", replace(0, `"entries":10`, `"entries":11`), 12, "journal entry 11: it is missing"},
		{"no head", func(lines [][]byte) [][]byte {
			lines[0] = []byte(`{"format":"benchbell journal","version":1,"entries":10}` + "\n")
			return lines
		}, 1, "is no hash"},
		{"nothing at all", remove(0, 11), 1, "the file is empty"},
		{"a line without end", func(lines [][]byte) [][]byte {
			return slices.Insert(lines, 5, bytes.Repeat([]byte("x"), 17<<20))
		}, 6, "token too long"},
	} {
		t.Run(c.name, func(t *testing.T) {
			refusedLines(t, bytes.Join(c.with(tenLines(t)), nil), c.line, c.want)
		})
	}
}

// No byte can be another, and no line be away, twice or elsewhere, without its
// being found, in the first line that is not as it was.
func TestJSONLEveryChangeIsFound(t *testing.T) {
	lines := tenLines(t)
	whole := bytes.Join(lines, nil)
	read := func(what string, text []byte, line int) {
		t.Helper()
		s := inMemory(t)
		_, _, err := s.ReadJSONL(bytes.NewReader(text))
		if bad, ok := errors.AsType[*store.LineError](err); !ok || bad.Line != uint64(line) {
			t.Errorf("%s: %v, want an error about line %d", what, err, line)
		}
	}
	for i := len(lines[0]); i < len(whole); i++ {
		text := bytes.Clone(whole)
		text[i] ^= 1
		read(fmt.Sprintf("byte %d", i), text, 1+bytes.Count(whole[:i], []byte("\n")))
	}
	for i := range lines[1:] {
		i++
		read(fmt.Sprintf("without line %d", i+1), bytes.Join(slices.Delete(slices.Clone(lines), i, i+1), nil), i+1)
		for j := range lines[:i] {
			if j == 0 {
				continue
			}
			swapped := slices.Clone(lines)
			swapped[i], swapped[j] = lines[j], lines[i]
			read(fmt.Sprintf("lines %d and %d swapped", j+1, i+1), bytes.Join(swapped, []byte{}), j+1)
		}
	}
}

// An entry of a later program is refused, whatever else is right.
func TestJSONLWithAnEntryFromTheFuture(t *testing.T) {
	record := `{"v":1,"seq":1,"kind":"exploded","fact":{}}`
	hash := sha256.Sum256(append(make([]byte, 32), record...))
	text := fmt.Appendf(nil, `{"format":"benchbell journal","version":1,"entries":1,"head":"%x"}`+"\n"+`{"hash":"%x","entry":%s}`, hash, hash, record)
	refusedLines(t, text, 2, `journal entry 1: it has a fact of the kind "exploded", not known to this program`)
}

// A chain that holds but says what cannot be is refused as Commit refuses it.
func TestJSONLThatCannotBe(t *testing.T) {
	var h store.Hash
	var lines []byte
	for seq := range uint64(2) {
		e := entry(0, "HP-07", 1, opened("HP-07", manometer("M-1")))
		e.Seq = seq + 1
		value, next, err := store.Entry(h, e)
		if err != nil {
			t.Fatal(err)
		}
		lines = fmt.Appendf(lines, `{"hash":"%v","entry":%s}`+"\n", next, value[32:])
		h = next
	}
	text := fmt.Appendf(nil, `{"format":"benchbell journal","version":1,"entries":2,"head":"%v"}`+"\n%s", h, lines)
	refusedLines(t, text, 3, "run R-0001 cannot be opened: the journal has a run of that number")
}

// Programs that carry text about may end lines in their way, or not end the
// last one.
func TestJSONLLineEnds(t *testing.T) {
	whole := bytes.Join(tenLines(t), nil)
	for name, text := range map[string][]byte{
		"CRLF":   bytes.ReplaceAll(whole, []byte("\n"), []byte("\r\n")),
		"no end": bytes.TrimSuffix(whole, []byte("\n")),
	} {
		if n, _, err := inMemory(t).ReadJSONL(bytes.NewReader(text)); n != 10 || err != nil {
			t.Errorf("%s: read %d entries, %v", name, n, err)
		}
	}
}

// Whatever has happened in a store, its journal is its own.
func TestJSONLIntoAStoreInUse(t *testing.T) {
	text := bytes.Join(tenLines(t), nil)
	for name, b := range map[string]store.Batch{
		"an entry":  {Entries: notes(1, 1)},
		"an event":  {Event: "e1", At: morning},
		"a row":     {Rows: []store.SuitRow{row("HP-07", core.Fit, day(12, 31))}},
		"a policy":  {RowsMadeWith: "P1Y"},
		"a notice":  {Notices: []string{"n"}, At: morning},
		"a wake":    {Wakes: map[string]time.Time{"w": morning}},
		"a post":    {Out: []store.Out{post("a")}},
		"a mark":    {Channel: "c1"},
		"a name":    {Accounts: map[string]string{"officer": "u1"}},
		"a journal": {Entries: notes(1, 10)},
	} {
		t.Run(name, func(t *testing.T) {
			s := inMemory(t)
			commit(t, s, b)
			before := dump(t, s)
			n, _, err := s.ReadJSONL(bytes.NewReader(text))
			if n != 0 || err == nil || !strings.Contains(err.Error(), "the store is not empty") {
				t.Errorf("read %d entries, %v", n, err)
			}
			same(t, "after the error", dump(t, s), before)
		})
	}
}

// Every bucket but that of the store itself is looked at.
func TestJSONLLooksAtEveryBucket(t *testing.T) {
	for _, bucket := range store.Buckets {
		s := inMemoryUnchecked(t)
		do(t, store.EngineOf(s).Update(func(tx store.Tx) error { return tx.Put(bucket, []byte("key"), nil) }))
		if _, _, err := s.ReadJSONL(bytes.NewReader(bytes.Join(tenLines(t), nil))); err == nil {
			t.Errorf("something in %q does not keep the journal out", bucket)
		}
	}
}

// A journal that is not whole is written up to its first flaw.
func TestJSONLOfATamperedJournal(t *testing.T) {
	remove := func(seq byte) func(store.Tx) error {
		return func(tx store.Tx) error { return tx.Delete("journal", journalKey(seq)) }
	}
	for name, c := range map[string]struct {
		with  func(store.Tx) error
		bad   uint64
		lines int
	}{
		"one changed": {func(tx store.Tx) error {
			v := tx.Get("journal", journalKey(5))
			return tx.Put("journal", journalKey(5), bytes.Replace(v, []byte("note 5"), []byte("note 6"), 1))
		}, 5, 5},
		"one removed":  {remove(5), 5, 5},
		"last removed": {remove(10), 10, 10},
		"head changed": {func(tx store.Tx) error {
			v := tx.Get("benchbell", []byte("head"))
			v[20] ^= 1
			return tx.Put("benchbell", []byte("head"), v)
		}, 10, 11},
		"head damaged": {func(tx store.Tx) error { return tx.Put("benchbell", []byte("head"), nil) }, 0, 0},
	} {
		t.Run(name, func(t *testing.T) {
			var out bytes.Buffer
			err := tampered(t, c.with).WriteJSONL(&out)
			bad, ok := errors.AsType[*store.EntryError](err)
			if ok != (c.bad > 0) || ok && bad.Seq != c.bad || err == nil {
				t.Errorf("error %v, want one about entry %d", err, c.bad)
			}
			if n := bytes.Count(out.Bytes(), []byte("\n")); n != c.lines {
				t.Errorf("%d lines were written, want %d", n, c.lines)
			}
		})
	}
}

// writing calls a function before each write.
type writing struct {
	io.Writer
	before func()
}

func (w writing) Write(p []byte) (int, error) {
	w.before()
	return w.Writer.Write(p)
}

// What is written is the journal at one moment, whatever is added meanwhile.
func TestJSONLWhileWriting(t *testing.T) {
	s := inFile(t)
	const n = store.PageSize + 10
	commit(t, s, store.Batch{Entries: notes(1, n)})
	var out bytes.Buffer
	last := n
	do(t, s.WriteJSONL(writing{&out, func() {
		last++
		commit(t, s, store.Batch{Entries: notes(last, last)})
	}}))
	if last == n {
		t.Fatal("nothing was written meanwhile")
	}
	if got, _, err := inMemory(t).ReadJSONL(&out); got != n || err != nil {
		t.Errorf("read %d entries, %v, want %d", got, err, n)
	}
}

func TestJSONLFailures(t *testing.T) {
	full := errors.New("no space left")
	s := inMemory(t)
	commit(t, s, store.Batch{Entries: notes(1, 500)})
	if err := s.WriteJSONL(writing{iotest.TruncateWriter(io.Discard, 0), func() {}}); err != nil {
		t.Errorf("a writer that forgets: %v", err)
	}
	if err := s.WriteJSONL(failing{full}); !errors.Is(err, full) {
		t.Errorf("a full disk: %v", err)
	}
	text := exported(t, s)
	into := inMemory(t)
	empty := dump(t, into)
	for _, at := range []int{0, 100, len(text) / 2, len(text)} {
		broken := io.MultiReader(bytes.NewReader(text[:at]), iotest.ErrReader(full))
		if n, _, err := into.ReadJSONL(broken); n != 0 || !errors.Is(err, full) {
			t.Errorf("broken off at byte %d: read %d entries, %v", at, n, err)
		}
		same(t, "after the error", dump(t, into), empty)
	}
	if n, _, err := into.ReadJSONL(iotest.OneByteReader(bytes.NewReader(text))); n != 500 || err != nil {
		t.Errorf("byte by byte: read %d entries, %v", n, err)
	}
}

type failing struct{ err error }

func (f failing) Write([]byte) (int, error) { return 0, f.err }

// What is read is written just the same.
func FuzzReadJSONL(f *testing.F) {
	f.Add(bytes.Join(tenLines(f), nil))
	f.Add([]byte(`{"format":"benchbell journal","version":1,"entries":0,"head":"` + strings.Repeat("0", 64) + "\"}\n"))
	f.Fuzz(func(t *testing.T, text []byte) {
		s := must(store.New(storetest.Memory()))(t)
		n, h, err := s.ReadJSONL(bytes.NewReader(text))
		if err != nil {
			return
		}
		do(t, s.Check())
		again := must(store.New(storetest.Memory()))(t)
		if m, g, err := again.ReadJSONL(bytes.NewReader(exported(t, s))); m != n || g != h || err != nil {
			t.Errorf("written and read again: %d entries, head %v, %v; want %d, %v", m, g, err, n, h)
		}
		if !reflect.DeepEqual(dump(t, s), dump(t, again)) {
			t.Error("written and read again it is another")
		}
	})
}
