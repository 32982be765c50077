package paper

import (
	"bytes"
	"encoding/xml"
	"os"
	"os/exec"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// These tests read documents back with pdftotext of Poppler, as somebody else's
// program would.

// pdftotext runs it on a document and returns what it writes. Where it is not
// installed the test is skipped, except where everything must be tested.
func pdftotext(t testing.TB, pdf []byte, args ...string) string {
	t.Helper()
	program, err := exec.LookPath("pdftotext")
	if err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("pdftotext is not installed: on Debian it is in poppler-utils")
		}
		t.Skip("pdftotext is not installed, so the document is not read back: on Debian it is in poppler-utils")
	}
	cmd := exec.Command(program, append(args, "-", "-")...)
	cmd.Stdin = bytes.NewReader(pdf)
	var errs bytes.Buffer
	cmd.Stderr = &errs
	out, err := cmd.Output()
	if err != nil || errs.Len() > 0 {
		t.Fatalf("pdftotext %v: %v\n%s", args, err, errs.String())
	}
	return string(out)
}

// text is the text of a document in the order in which it was written, with
// one blank between words.
func text(t testing.TB, pdf []byte) string {
	t.Helper()
	return strings.Join(strings.Fields(pdftotext(t, pdf, "-raw")), " ")
}

// pages are the lines of each page, from top to bottom.
func pages(t testing.TB, pdf []byte) [][]string {
	t.Helper()
	var all [][]string
	for page := range strings.SplitSeq(strings.TrimSuffix(pdftotext(t, pdf, "-layout"), "\f"), "\f") {
		var lines []string
		for line := range strings.SplitSeq(page, "\n") {
			if line = strings.Join(strings.Fields(line), " "); line != "" {
				lines = append(lines, line)
			}
		}
		all = append(all, lines)
	}
	return all
}

// box is where a word stands on its page, in points from the top left corner.
type box struct {
	XMin float64 `xml:"xMin,attr"`
	YMin float64 `xml:"yMin,attr"`
	XMax float64 `xml:"xMax,attr"`
	YMax float64 `xml:"yMax,attr"`
	Word string  `xml:",chardata"`
}

type pageBoxes struct {
	Width  float64 `xml:"width,attr"`
	Height float64 `xml:"height,attr"`
	Words  []box   `xml:"word"`
}

func boxes(t testing.TB, pdf []byte) []pageBoxes {
	t.Helper()
	var doc struct {
		Pages []pageBoxes `xml:"body>doc>page"`
	}
	decoder := xml.NewDecoder(strings.NewReader(pdftotext(t, pdf, "-bbox")))
	decoder.Strict = false
	if err := decoder.Decode(&doc); err != nil {
		t.Fatal(err)
	}
	return doc.Pages
}

// laidOutWell reports words that stand outside the margins or over each other.
func laidOutWell(t *testing.T, pdf []byte) {
	t.Helper()
	const hair = 0.5 // points
	for i, page := range boxes(t, pdf) {
		if len(page.Words) == 0 {
			t.Errorf("page %d is empty", i+1)
		}
		slices.SortFunc(page.Words, func(a, b box) int {
			switch {
			case a.YMin < b.YMin:
				return -1
			case a.YMin > b.YMin:
				return 1
			}
			return 0
		})
		for j, w := range page.Words {
			if w.XMin < margin/point-hair || w.XMax > page.Width-margin/point+hair || w.YMin < 0 || w.YMax > page.Height {
				t.Errorf("page %d: %q stands outside the margins: %+v", i+1, w.Word, w)
			}
			for _, other := range page.Words[j+1:] {
				if other.YMin >= w.YMax-hair {
					break
				}
				if w.XMin+hair < other.XMax && other.XMin+hair < w.XMax {
					t.Errorf("page %d: %q stands over %q", i+1, w.Word, other.Word)
				}
			}
		}
	}
}

// framed checks that each page has its head and foot, and that no heading and
// no line of heads stands alone at the end of a page.
func framed(t *testing.T, pdf []byte, headings ...string) {
	t.Helper()
	all := pages(t, pdf)
	for i, lines := range all {
		page := strings.Join(lines, "\n")
		want := []string{"Page " + strconv.Itoa(i+1) + " of " + strconv.Itoa(len(all)), "journal up to entry 1234", head.Hash, "Harrow Point works fire brigade"}
		for _, w := range want {
			if !strings.Contains(page, w) {
				t.Errorf("page %d has no %q", i+1, w)
			}
		}
		if len(lines) < 4 {
			t.Errorf("page %d has just %q", i+1, lines)
			continue
		}
		last := strings.TrimSuffix(lines[len(lines)-2], " (continued)") // above the foot
		if slices.Contains(headings, last) {
			t.Errorf("page %d ends with the heading %q", i+1, last)
		}
	}
}

// contains reports what a document should have and has not.
func contains(t *testing.T, pdf []byte, want ...string) {
	t.Helper()
	all := text(t, pdf)
	for _, w := range want {
		if !strings.Contains(all, w) {
			t.Errorf("%q is not in it", w)
		}
	}
	if t.Failed() {
		t.Log(all)
	}
}

func lacksWords(t *testing.T, pdf []byte, unwanted ...string) {
	t.Helper()
	all := text(t, pdf)
	for _, w := range unwanted {
		if strings.Contains(all, w) {
			t.Errorf("%q is in it", w)
		}
	}
}
