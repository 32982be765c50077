package paper

import (
	"slices"
	"strings"
	"testing"
	"unicode"
	"unicode/utf8"

	"benchbell/core"
)

// TestClean shows what becomes of what people type.
func TestClean(t *testing.T) {
	for _, tt := range []struct {
		in, want string
		lacks    bool
	}{
		{"hole in the left glove", "hole in the left glove", false},
		{"Łódź, Ærøskøbing, Besançon, Žďár, Győr, İzmir", "Łódź, Ærøskøbing, Besançon, Žďár, Győr, İzmir", false},
		{"Καλημέρα", "Καλημέρα", false},
		{"Щёлково, Київ, Њуша", "Щёлково, Київ, Њуша", false},
		{"e\u0301 o\u0308 c\u030c", "é ö č", false},                // letter and accent become one
		{"q\u0303", "q\u0303", false},                              // where there is no such one, both stay
		{"two\nlines\tand\u0085more", "two lines and more", false}, // breaks are blanks
		{"nul\x00bell\x07escape\x1b[31m", "nulbellescape[31m", false},
		{"a\u202eb\u2066c\u200bd\u00ade\ufefff", "abcdef", false}, // direction, zero width, soft hyphen, mark of byte order
		{"漢字", "□□", true},
		{"שלום", "□□□□", true}, // the font has these letters, but this is written from right to left
		{"سلام", "□□□□", true},
		{"🙂", "□", true},
		{"❤\ufe0f", "□", true},
		{"bad \xff byte", "bad □ byte", true},
		{"16.5 ± 0.5 mbar → ≥ 3 m³ “ok” – …", "16.5 ± 0.5 mbar → ≥ 3 m³ “ok” – …", false},
	} {
		got, lacks := clean(tt.in)
		if got != tt.want || lacks != tt.lacks {
			t.Errorf("clean(%q) = %q, %v; want %q, %v", tt.in, got, lacks, tt.want, tt.lacks)
		}
	}
}

func blankSheet(t testing.TB) *sheet {
	t.Helper()
	s, err := newSheet(about{at: morning, name: "blank"})
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func TestWrap(t *testing.T) {
	s := blankSheet(t)
	narrow := s.width(body, "iiiiiiiiii") + 0.01
	for _, tt := range []struct {
		text string
		want []string
	}{
		{"", []string{""}},
		{"iii iii iii iii", []string{"iii iii", "iii iii"}},
		{"iiiiiiiiii", []string{"iiiiiiiiii"}},
		{"iiiiiiiiiiiii i", []string{"iiiiiiiiii", "iii i"}},
		{"i iiiiiiiiiiiii", []string{"i", "iiiiiiiiii", "iii"}},
		{"iiii.iii-iiii.iii", []string{"iiii.iii-", "iiii.iii"}},
		{"iiii.\u0301iiiiiiiii", []string{"iiii.\u0301iiii", "iiiii"}}, // an accent stays where it is
		{"iii\niii", []string{"iii", "iii"}},
		{"iii   iii", []string{"iii iii"}},
	} {
		if got := s.wrap(body, narrow, tt.text); !slices.Equal(got, tt.want) {
			t.Errorf("wrap(%q) = %q, want %q", tt.text, got, tt.want)
		}
	}
	const accented = "q\u0303" // of which there is no single character
	three := s.width(body, "qqq") + 0.01
	if got := s.wrap(body, three, strings.Repeat(accented, 4)); !slices.Equal(got, []string{strings.Repeat(accented, 3), accented}) {
		t.Errorf("accents do not stay with their letters: %q", got)
	}
	if got := s.wrap(body, 0.1, "WM"); !slices.Equal(got, []string{"W", "M"}) {
		t.Errorf("with no room at all: %q", got)
	}
}

// FuzzWrap: wrapping loses nothing but blanks, and no line is wider than its
// room unless it is a single character.
func FuzzWrap(f *testing.F) {
	for _, text := range []string{
		"left glove ring stiff", strings.Repeat("W", 200), "漢字\u202e\x00 é\u0301\u0301", "a\nb\n\nc", "\xff\xfe", "−17,5 °C → 20 %",
	} {
		f.Add(text, 30.0)
		f.Add(text, 2.0)
	}
	s := blankSheet(f)
	f.Fuzz(func(t *testing.T, text string, room float64) {
		if !(room > 0.5 && room < 200) {
			t.Skip("no width of a column")
		}
		lines := s.wrap(body, room, text)
		var want strings.Builder
		for paragraph := range strings.SplitSeq(text, "\n") {
			cleaned, _ := clean(paragraph)
			want.WriteString(strings.ReplaceAll(cleaned, " ", ""))
		}
		if got := strings.ReplaceAll(strings.Join(lines, ""), " ", ""); got != want.String() {
			t.Errorf("%q became %q, and should have %q in it", text, lines, want.String())
		}
		for _, line := range lines {
			if w := s.width(body, line); w > room+0.001 && letters(line) > 1 {
				t.Errorf("%q is %.2f mm wide in %.2f mm", line, w, room)
			}
			if strings.ContainsFunc(line, unicode.IsControl) || !utf8.ValidString(line) {
				t.Errorf("%q is not safe to lay out", line)
			}
		}
	})
}

// letters counts characters without the accents that stand over others.
func letters(s string) int {
	n := 0
	for _, r := range s {
		if !unicode.Is(unicode.Mn, r) {
			n++
		}
	}
	return n
}

func TestCut(t *testing.T) {
	s := blankSheet(t)
	room := s.width(body, "Harrow Point works") + 0.01
	for text, want := range map[string]string{
		"Harrow Point works":              "Harrow Point works",
		"Harrow  Point\nworks":            "Harrow Point works",
		"Harrow Point works fire brigade": "Harrow Point wor…",
		"":                                "",
	} {
		if got := s.cut(body, room, text); got != want {
			t.Errorf("cut(%q) = %q, want %q", text, got, want)
		}
	}
}

// TestCompareTags: numbers in tags count as numbers.
func TestCompareTags(t *testing.T) {
	sorted := []string{"", "7", "A-1", "A-1-2", "A-1-10", "A-2", "HP-01", "HP-1", "HP-2", "HP-2a", "HP-10", "HP-010b", "Ä-1"}
	for i, a := range sorted {
		for j, b := range sorted {
			want := 0
			switch {
			case i < j:
				want = -1
			case i > j:
				want = 1
			}
			if got := compareTags(a, b); got != want {
				t.Errorf("compareTags(%q, %q) = %d, want %d", a, b, got, want)
			}
		}
	}
}

// TestUnitWords: a unit is named with what it is in pascals. The factors are
// those of NIST SP 811, conventional water and mercury.
func TestUnitWords(t *testing.T) {
	for u, want := range map[core.Unit]string{
		core.Mbar:  "mbar; 1 mbar = 100 Pa",
		core.Pa:    "Pa",
		core.MmH2O: "mm of water gauge, conventional; 1 mm = 9.80665 Pa",
		core.InH2O: "in of water gauge, conventional; 1 in = 249.08891 Pa",
		core.MmHg:  "mmHg; 1 mmHg = 133.322387415 Pa",
	} {
		if got := unitWords(u); got != want {
			t.Errorf("%v: %q, want %q", u, got, want)
		}
	}
}
