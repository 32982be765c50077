package store_test

import (
	"slices"
	"strings"
	"testing"

	"benchbell/core"
	"benchbell/store"
)

// register registers suits.
func register(tags ...string) store.Batch {
	var b store.Batch
	for _, tag := range tags {
		b.Entries = append(b.Entries, entry(0, tag, 0, core.SuitRegistered{Suit: core.Suit{Tag: tag}}))
	}
	return b
}

func TestSuitTag(t *testing.T) {
	s := inMemory(t)
	commit(t, s, register("HP-07"))
	commit(t, s, register("HP-07")) // registered anew
	commit(t, s, register("HP-17"))
	for typed, want := range map[string]string{"HP-07": "HP-07", "hp7": "HP-07", "hp 007": "HP-07", "Hp.17": "HP-17", "HP-8": "", "": ""} {
		tag, ok, err := s.SuitTag(typed)
		if tag != want || ok != (want != "") || err != nil {
			t.Errorf("SuitTag(%q) = %q, %v, %v, want %q", typed, tag, ok, err, want)
		}
	}
	refused(t, s, register("HP7"), "suit tag HP7 cannot be told from HP-07 when somebody types it")
	refused(t, s, register("---"), "looked up by")
	refused(t, s, register("HP\x0007"), "NUL")
	refused(t, s, store.Batch{Entries: []core.Entry{entry(0, "\xff", 0, core.Released{})}}, `suit tag "\xff" cannot be kept: it is not UTF-8`)
	refused(t, s, store.Batch{Entries: []core.Entry{entry(0, "", 0, core.SuitRegistered{})}}, `suit tag "" cannot be kept: it is empty`)
	refused(t, s, register(strings.Repeat("x", 1025)), "longer than 1024 bytes")
}

// Names are the same only if their numbers are.
func TestSuitTagOfTwoNumbers(t *testing.T) {
	s := inMemory(t)
	commit(t, s, register("HP1-12", "HP11-2", "HP112"))
	for typed, want := range map[string]string{"hp 1 12": "HP1-12", "HP11-2": "HP11-2", "hp11.02": "HP11-2", "hp112": "HP112", "hp1-1-2": ""} {
		tag, ok, err := s.SuitTag(typed)
		if tag != want || ok != (want != "") || err != nil {
			t.Errorf("SuitTag(%q) = %q, %v, %v, want %q", typed, tag, ok, err, want)
		}
	}
}

func TestTagsLike(t *testing.T) {
	s := inMemory(t)
	like := func(typed string, most int, want string) {
		t.Helper()
		if got := strings.Join(must(s.TagsLike(typed, most))(t), " "); got != want {
			t.Errorf("%d like %.20q: %q, want %q", most, typed, got, want)
		}
	}
	like("7", 99, "")
	commit(t, s, register("HP-17", "TR-7", "HP-07", "HP-107", "HP-08", "A1-07", "Z", "Gelb-12", "HP-70", "HP-7B", "HP-00", "GÄ-3", "4021", "消防-9"))
	for _, c := range []struct{ typed, want string }{
		{"7", "A1-07 HP-07 TR-7"}, // the number that a tag ends in, not any digits in it
		{"07", "A1-07 HP-07 TR-7"},
		{" 0007.", "A1-07 HP-07 TR-7"},
		{"8", "HP-08"},
		{"17", "HP-17"},
		{"107", "HP-107"},
		{"1-07", "A1-07"},
		{"0", "HP-00"},
		{"70", "HP-70"},

		{"4012", "4021"}, // a number in which no tag ends
		{"8888", ""},

		{"HP-7", "HP-07"}, // which SuitTag finds
		{"HO-08", "HP-08 HP-00 HP-07"},
		{"PH-17", "HP-07 HP-17"},
		{"hpp-0017", "HP-17 HP-07 HP-107"},
		{"gelb", "Gelb-12"},
		{"gelb 13", "Gelb-12"},
		{"gleb 12", "Gelb-12"},
		{"gel 1", "Gelb-12"},
		{"elb", ""},     // three letters are missing
		{"ga3", "GÄ-3"}, // one letter is wrong, though it has two bytes
		{"消 9", "消防-9"}, // one is missing, though it has three
		{"y", ""},       // all letters of Z are wrong
		{"yes", ""},
		{"\xff", ""},
		{"", ""},
		{"--", ""},
		{strings.Repeat("hp7", 1000), ""},
	} {
		like(c.typed, 99, c.want)
	}
	like("7", 3, "A1-07 HP-07 TR-7")
	like("7", 2, "A1-07 HP-07")
	like("ho8", 1, "HP-08")
	like("7", 0, "")
	like("7", -1, "")
}

// Spelling is compared with the definition, for which a table of all pairs of
// prefixes is not needed: Levenshtein's distance, Soviet Physics Doklady 10
// (1966), 707-710, as the recursion over the first letters.
func TestTagsLikeByTheDefinition(t *testing.T) {
	var distance func(a, b string) int
	distance = func(a, b string) int {
		switch {
		case a == "" || b == "":
			return len(a) + len(b)
		case a[0] == b[0]:
			return distance(a[1:], b[1:])
		}
		return 1 + min(distance(a[1:], b), distance(a, b[1:]), distance(a[1:], b[1:]))
	}
	r, s := random(t), inMemory(t)
	word := func() string {
		var w strings.Builder
		for range r.IntN(5) {
			w.WriteByte("ab1-"[r.IntN(4)])
		}
		return w.String() + "x" // a letter, so that nothing is a number
	}
	tags := make(map[string]string) // by what they are looked up by
	for range 40 {
		tag := word()
		if key := core.NameKey(tag); tags[key] == "" {
			tags[key] = tag
			commit(t, s, register(tag))
		}
	}
	for range 200 {
		typed := core.NameKey(word() + word()[:1])
		var want []string
		for edits := range 3 {
			var these []string
			for key, tag := range tags {
				if distance(key, typed) == edits && edits < max(len(key), len(typed)) {
					these = append(these, tag)
				}
			}
			slices.Sort(these)
			want = append(want, these...)
			if edits == 0 && len(these) > 0 {
				break
			}
		}
		same(t, "like "+typed, slices.Concat(must(s.TagsLike(typed, 99))(t)), want)
	}
}
