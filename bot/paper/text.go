package paper

import (
	"fmt"
	"strings"
	"sync"
	"unicode"
	"unicode/utf8"

	"codeberg.org/go-fonts/liberation/liberationsansbold"
	"codeberg.org/go-fonts/liberation/liberationsansregular"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/text/unicode/bidi"
	"golang.org/x/text/unicode/norm"
)

// lacking stands for a character that cannot be shown.
const lacking = '□'

// fonts are the typefaces of all documents.
var fonts = sync.OnceValue(func() [2]*sfnt.Font {
	var all [2]*sfnt.Font
	for i, data := range [][]byte{liberationsansregular.TTF, liberationsansbold.TTF} {
		f, err := sfnt.Parse(data)
		if err != nil {
			panic("paper: the typeface in the program is damaged: " + err.Error())
		}
		all[i] = f
	}
	return all
})

// shown reports whether a character can be shown: both fonts have it, and it
// is of a script that is written from left to right. The others would come out
// in the wrong order.
func shown(r rune) bool {
	if r < unicode.MaxASCII {
		return r >= ' '
	}
	const lastOfPlane = 0xFFFF // the PDF library numbers characters by 16 bits
	if r > lastOfPlane || r == utf8.RuneError {
		return false
	}
	if p, _ := bidi.LookupRune(r); p.Class() == bidi.R || p.Class() == bidi.AL {
		return false
	}
	var b sfnt.Buffer
	for _, f := range fonts() {
		if glyph, err := f.GlyphIndex(&b, r); err != nil || glyph == 0 {
			return false
		}
	}
	return true
}

// clean makes a text of one paragraph safe to lay out. Letters and their
// accents become one character where there is one; control characters and
// invisible ones that steer the layout are gone; a character that cannot be
// shown is replaced by one that is seen to stand for it, and lacks is true.
func clean(text string) (cleaned string, lacks bool) {
	var b strings.Builder
	for _, r := range norm.NFC.String(text) {
		switch {
		case unicode.IsSpace(r):
			b.WriteByte(' ')
		case unicode.IsControl(r), unicode.Is(unicode.Cf, r), unicode.Is(unicode.Variation_Selector, r):
		case shown(r):
			b.WriteRune(r)
		default:
			b.WriteRune(lacking)
			lacks = true
		}
	}
	return b.String(), lacks
}

// typed takes what a person typed as one paragraph, whatever breaks it has.
func typed(s string) string { return strings.Join(strings.Fields(s), " ") }

// count is a number of things, of which one has this name.
func count(n int, name string) string {
	if n != 1 {
		name += "s"
	}
	return fmt.Sprintf("%d %s", n, name)
}

// wrap breaks a text into lines that are not wider than so many millimetres in
// a face. Line feeds part paragraphs. A word that is too wide is broken; there
// is at least one line, and at least one character in each.
func (s *sheet) wrap(f face, width float64, text string) []string {
	s.use(f)
	var lines []string
	for paragraph := range strings.SplitSeq(text, "\n") {
		paragraph, lacks := clean(paragraph)
		s.lacks = s.lacks || lacks
		lines = append(lines, s.fill(width, strings.Fields(paragraph))...)
	}
	return lines
}

// fill sets words into lines, as many into each as it takes.
func (s *sheet) fill(width float64, words []string) []string {
	blank := s.pdf.GetStringWidth(" ")
	var lines []string
	line, used := "", 0.0
	for _, word := range words {
		for {
			w := s.pdf.GetStringWidth(word)
			if line != "" && used+blank+w <= width {
				line, used = line+" "+word, used+blank+w
				break
			}
			if line != "" {
				lines = append(lines, line)
				line, used = "", 0
			}
			if w <= width {
				line, used = word, w
				break
			}
			head := s.breakAt(width, word)
			if head == len(word) {
				line, used = word, w
				break
			}
			lines = append(lines, word[:head])
			word = word[head:]
		}
	}
	return append(lines, line)
}

// breakAt returns how many bytes of a word that is too wide stay on the line:
// user names and the like are broken behind a mark in them, if there is one.
func (s *sheet) breakAt(width float64, word string) int {
	head := s.longest(width, word)
	if head == len(word) {
		return head
	}
	mark := strings.LastIndexAny(word[:head], ".-_/") + 1
	if next, _ := utf8.DecodeRuneInString(word[mark:]); mark > 0 && !unicode.Is(unicode.Mn, next) {
		return mark
	}
	return head
}

// longest returns how many bytes of a word fit into a width, at least its
// first character. Accents stay with their letter.
func (s *sheet) longest(width float64, word string) int {
	used, fits := 0.0, 0
	for i, r := range word {
		if i > 0 && !unicode.Is(unicode.Mn, r) {
			switch {
			case used <= width:
				fits = i
			case fits > 0:
				return fits
			default:
				return i
			}
		}
		used += s.pdf.GetStringWidth(string(r))
	}
	if used > width && fits > 0 {
		return fits
	}
	return len(word)
}

// cut shortens a text to one line of a width.
func (s *sheet) cut(f face, width float64, text string) string {
	text, lacks := clean(typed(text))
	s.lacks = s.lacks || lacks
	s.use(f)
	if s.pdf.GetStringWidth(text) <= width {
		return text
	}
	const ellipsis = "…"
	return strings.TrimRight(text[:s.longest(width-s.pdf.GetStringWidth(ellipsis), text)], " ") + ellipsis
}
