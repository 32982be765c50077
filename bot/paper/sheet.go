package paper

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"image/png"
	"time"

	"codeberg.org/go-fonts/liberation/liberationsansbold"
	"codeberg.org/go-fonts/liberation/liberationsansregular"
	"codeberg.org/go-pdf/fpdf"
)

// Where things stand on a page, in millimetres.
const (
	margin   = 15.0
	headline = 10.0 // baseline of the line at the head of the page
	top      = 16.0 // where the text begins
	foot     = 13.0 // height of what is below the text
	gutter   = 6.0  // between what stands side by side
	leading  = 1.2  // height of a line, in heights of its letters
	capital  = 0.73 // height of a capital, in heights of letters
	point    = 25.4 / 72
)

// face is how letters look. Its size is in points.
type face struct {
	size float64
	bold bool
}

// height is that of a line.
func (f face) height() float64 { return f.size * point * leading }

// baseline is how far below the top of its line a text stands.
func (f face) baseline() float64 { return f.size * point * 0.95 }

var (
	running = face{size: 7}
	dense   = face{size: 7.5}
	body    = face{size: 8}
	strong  = face{size: 8, bold: true}
	section = face{size: 9, bold: true}
	title   = face{size: 20, bold: true}
)

// ink is a colour. Those of verdicts are the colours of the chart, from the
// palette of Okabe and Ito, "Color Universal Design" (2008).
type ink struct{ r, g, b int }

var (
	black = ink{0x1a, 0x1a, 0x1a}
	grey  = ink{0x5f, 0x5f, 0x5f}
	faint = ink{0xc8, 0xc8, 0xc8}
	shade = ink{0xee, 0xee, 0xee}
	green = ink{0x00, 0x6f, 0x52}
	red   = ink{0xb3, 0x3c, 0x00}
	white = ink{0xff, 0xff, 0xff}
)

// about says what a document is, for its pages and for whoever files it.
type about struct {
	station Station
	head    Head
	format  Format
	name    string // "Test record R-0042, HP-07"
	left    string // at the left of the head of each page
	at      time.Time
}

// sheet is a document in the making: pages, and how far down the last of them
// is filled.
type sheet struct {
	about
	pdf   *fpdf.Fpdf
	w, h  float64
	y     float64
	face  face // selected in pdf on this page; zero if none is
	lacks bool // a character that cannot be shown was replaced
}

func newSheet(a about) (*sheet, error) {
	switch a.format {
	case "":
		a.format = A4
	case A4, Letter:
	default:
		return nil, fmt.Errorf("%s: there is no paper of size %q here: use %s or %s", a.name, a.format, A4, Letter)
	}
	pdf := fpdf.New("P", "mm", string(a.format), "")
	pdf.AddUTF8FontFromBytes("sans", "", liberationsansregular.TTF)
	pdf.AddUTF8FontFromBytes("sans", "B", liberationsansbold.TTF)
	pdf.SetAutoPageBreak(false, 0)
	pdf.SetCatalogSort(true)
	pdf.SetCreationDate(a.at.UTC())
	pdf.SetModificationDate(a.at.UTC())
	pdf.SetProducer("Benchbell", true)
	pdf.SetLang("en")
	name, _ := clean(a.name)
	pdf.SetTitle(name, true)
	author, _ := clean(typed(a.station.Name))
	pdf.SetAuthor(author, true)
	pdf.SetSubject(fmt.Sprintf("Made from journal entry %d, %s", a.head.Seq, a.head.Hash), true)
	s := &sheet{about: a, pdf: pdf}
	s.w, s.h = pdf.GetPageSize()
	s.newPage()
	return s, nil
}

// inner is the width of the text.
func (s *sheet) inner() float64 { return s.w - 2*margin }

// room is how much of the page is left.
func (s *sheet) room() float64 { return s.h - foot - s.y }

// fullRoom is how much a page takes.
func (s *sheet) fullRoom() float64 { return s.h - foot - top }

func (s *sheet) newPage() {
	s.pdf.AddPage()
	s.face, s.y = face{}, top
}

// need begins a new page if there is not so much room left on this one.
func (s *sheet) need(height float64) {
	if s.room() < height && s.y > top {
		s.newPage()
	}
}

// skip leaves some room, unless a page has just begun.
func (s *sheet) skip(height float64) {
	if s.y > top {
		s.y += height
	}
}

// use selects a face.
func (s *sheet) use(f face) {
	if s.face == f {
		return
	}
	style := ""
	if f.bold {
		style = "B"
	}
	s.pdf.SetFont("sans", style, f.size)
	s.face = f
}

// width measures a text that is clean.
func (s *sheet) width(f face, text string) float64 {
	s.use(f)
	return s.pdf.GetStringWidth(text)
}

// write sets a line of clean text, y being the top of the line.
func (s *sheet) write(x, y float64, f face, colour ink, text string) {
	if text == "" {
		return
	}
	s.use(f)
	s.pdf.SetTextColor(colour.r, colour.g, colour.b)
	s.pdf.Text(x, y+f.baseline(), text)
}

// line sets a text on one line, cut if it is too long.
func (s *sheet) line(x, y, width float64, f face, colour ink, text string) {
	s.write(x, y, f, colour, s.cut(f, width, text))
}

// lineRight does the same at the right end of the width.
func (s *sheet) lineRight(x, y, width float64, f face, colour ink, text string) {
	text = s.cut(f, width, text)
	s.write(x+width-s.width(f, text), y, f, colour, text)
}

// rule draws a line across from x on.
func (s *sheet) rule(x, y, width, thick float64, colour ink) {
	s.pdf.SetDrawColor(colour.r, colour.g, colour.b)
	s.pdf.SetLineWidth(thick)
	s.pdf.Line(x, y, x+width, y)
}

// block fills a rectangle.
func (s *sheet) block(x, y, width, height float64, colour ink) {
	s.pdf.SetFillColor(colour.r, colour.g, colour.b)
	s.pdf.Rect(x, y, width, height, "F")
}

var asPNG = fpdf.ImageOptions{ImageType: "PNG"}

// chart takes in a chart, a PNG, and returns the pane that has it, empty if
// there is none.
func (s *sheet) chart(data []byte) (pane, error) {
	if data == nil {
		return pane{}, nil
	}
	plain, err := plainPNG(data)
	if err != nil {
		return pane{}, fmt.Errorf("%s: the chart cannot be put in: %w", s.name, err)
	}
	const name = "chart"
	info := s.pdf.RegisterImageOptionsReader(name, asPNG, bytes.NewReader(plain))
	if info == nil || info.Width() <= 0 {
		return pane{}, nil // finish tells of it
	}
	return pane{picture: name, ratio: info.Height() / info.Width()}, nil
}

// picture puts an image that is registered at a place, as wide as given.
func (s *sheet) picture(name string, x, y, width float64) {
	s.pdf.ImageOptions(name, x, y, width, 0, false, asPNG, 0, "")
}

// plainPNG makes any PNG one that a PDF can hold as it is: not interlaced, not
// transparent, with 8 bits at most. One that is so already stays as it is.
func plainPNG(data []byte) ([]byte, error) {
	const interlace = 8 + 8 + 12 // place in the file: after signature, chunk head, sizes and kinds
	img, err := png.Decode(bytes.NewReader(data))
	if err != nil {
		return nil, err
	}
	p, paletted := img.(*image.Paletted)
	switch {
	case paletted && p.Opaque() && data[interlace] == 0:
		return data, nil
	case !paletted || !p.Opaque():
		flat := image.NewNRGBA(img.Bounds())
		draw.Draw(flat, flat.Bounds(), image.NewUniform(color.White), image.Point{}, draw.Src)
		draw.Draw(flat, flat.Bounds(), img, img.Bounds().Min, draw.Over)
		img = flat
	}
	var out bytes.Buffer
	err = png.Encode(&out, img)
	return out.Bytes(), err
}

// finish writes head and foot of all pages, which need their number, and
// returns the document.
func (s *sheet) finish() ([]byte, error) {
	pages := s.pdf.PageCount()
	for n := 1; n <= pages; n++ {
		s.pdf.SetPage(n)
		s.face = face{}
		s.frame(n, pages)
	}
	var out bytes.Buffer
	if err := s.pdf.Output(&out); err != nil {
		return nil, fmt.Errorf("%s cannot be made: %w", s.name, err)
	}
	return out.Bytes(), nil
}

// frame writes head and foot of the page selected.
func (s *sheet) frame(n, pages int) {
	half := s.inner() / 2
	y := headline - running.baseline()
	s.line(margin, y, half-2, running, grey, s.left)
	s.lineRight(margin+half, y, half, running, grey, s.station.Name)
	s.rule(margin, headline+1.8, s.inner(), 0.2, faint)

	y = s.h - foot + 5
	s.rule(margin, y-1.5, s.inner(), 0.2, faint)
	number := fmt.Sprintf("Page %d of %d", n, pages)
	s.lineRight(margin, y, s.inner(), running, black, number)
	s.line(margin, y, s.inner()-22, running, grey, fmt.Sprintf("Benchbell, from the journal up to entry %d, SHA-256 %s", s.head.Seq, s.head.Hash))
}
