// Package chart draws pictures for a phone: the hold of a run, and the drops
// of a suit over the years.
//
// A picture is a PNG of 720 by 480 pixels, made to be looked at 360 wide. What
// it must tell it tells twice: the verdict by its word and its frame, a method
// by its shape and its name, a limit by its dashes and its label. Colour only
// helps. What belongs to a point stands beside it, so that there is no legend.
//
// The expansion before a hold is not drawn: it takes longer than the hold and
// says nothing about the verdict that its few words in the thread do not say.
//
// The same input always gives the same bytes on one kind of processor; another
// may round the edge of a letter otherwise. Nothing is read from the machine:
// the typeface, Liberation Sans, is in the program.
package chart

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"strings"
	"unicode"

	xfont "golang.org/x/image/font"
	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgimg"
)

// A picture is laid out in points of which one is a pixel of a phone's screen
// as its app counts them, and two by two are rendered.
const (
	width  = 360
	height = 240
	dpi    = 2 * 72

	margin  = 7
	heading = 30 // height of the line with tag and verdict
	caption = 15 // height of the line over the frame
)

// The sizes of the letters. Below 12 nobody reads them at arm's length.
const (
	small  = 12
	normal = 13
	large  = 15
	title  = 18
)

// The colours are of the palette of Okabe and Ito, "Color Universal Design"
// (2008), which colour-blind people tell apart, the dark ones a shade darker.
var (
	paper  = color.NRGBA{0xff, 0xff, 0xff, 0xff}
	ink    = color.NRGBA{0x1a, 0x1a, 0x1a, 0xff}
	grey   = color.NRGBA{0x5f, 0x5f, 0x5f, 0xff}
	faint  = color.NRGBA{0xdd, 0xdd, 0xdd, 0xff}
	blue   = color.NRGBA{0x00, 0x5a, 0x93, 0xff}
	green  = color.NRGBA{0x00, 0x6f, 0x52, 0xff}
	red    = color.NRGBA{0xb3, 0x3c, 0x00, 0xff}
	purple = color.NRGBA{0x94, 0x45, 0x78, 0xff}
	barred = color.NRGBA{0xfc, 0xec, 0xe2, 0xff} // beyond the limit
	pale   = color.NRGBA{0xee, 0xe0, 0xea, 0xff} // the band of a fit
	veil   = color.NRGBA{0xff, 0xff, 0xff, 0xee} // under words that cross a line
)

var (
	dashes = []vg.Length{6, 3}
	dots   = []vg.Length{1.5, 2.5}
)

func sans(size vg.Length) font.Font {
	return font.From(font.Font{Typeface: "Liberation", Variant: "Sans"}, size)
}

func bold(size vg.Length) font.Font {
	f := sans(size)
	f.Weight = xfont.WeightBold
	return f
}

// figure is a picture in the making: a heading over a plot.
type figure struct {
	tag   string // first in the heading, cut if there is no room
	what  string // after it
	badge badge
	aside string // at the end of the heading, or else over the frame
	unit  string // over the vertical axis

	plot                   *plot.Plot
	xmin, xmax, ymin, ymax float64

	top    word          // over the frame
	labels []label       // in the order in which they choose their place
	marks  []mark        // what labels must not cover
	lines  []plotter.XYs // what they had better not cross
}

// word is some text over a place of the horizontal axis.
type word struct {
	x    float64
	text string
}

// mark is a glyph that was drawn.
type mark struct {
	at     plotter.XY
	radius vg.Length
}

func newFigure() *figure {
	p := plot.New()
	p.BackgroundColor = nil
	for _, a := range []*plot.Axis{&p.X, &p.Y} {
		a.Padding = 0
		a.LineStyle = draw.LineStyle{Color: ink, Width: 1}
		a.Tick.LineStyle = a.LineStyle
		a.Tick.Length = 3
		a.Tick.Label.Font = sans(small)
		a.Tick.Label.Color = ink
		a.Label.TextStyle.Font = sans(small)
		a.Label.TextStyle.Color = grey
		a.Label.Padding = 1
	}
	grid := plotter.NewGrid()
	grid.Vertical.Color = nil
	grid.Horizontal = draw.LineStyle{Color: faint, Width: 0.75}
	p.Add(grid)
	return &figure{plot: p}
}

// line draws a line through points and keeps labels off it.
func (f *figure) line(style draw.LineStyle, points ...plotter.XY) {
	f.lines = append(f.lines, points)
	f.plot.Add(&plotter.Line{XYs: points, LineStyle: style})
}

// area fills the polygon with these corners.
func (f *figure) area(fill color.Color, corners ...plotter.XY) {
	f.plot.Add(&plotter.Polygon{XYs: []plotter.XYs{corners}, Color: fill})
}

// point draws a glyph and keeps labels off it.
func (f *figure) point(at plotter.XY, style draw.GlyphStyle) {
	f.marks = append(f.marks, mark{at, style.Radius})
	f.plot.Add(&plotter.Scatter{XYs: plotter.XYs{at}, GlyphStyle: style})
}

// draw draws the figure on a canvas of width by height points.
func (f *figure) draw(c draw.Canvas) {
	c.SetColor(paper)
	c.Fill(c.Rectangle.Path())
	second := f.aside
	if f.heading(draw.Crop(c, margin, -margin, height-heading, 0)) {
		second = ""
	}
	f.plot.Add(words{f, second})
	f.plot.X.Min, f.plot.X.Max = f.xmin, f.xmax
	f.plot.Y.Min, f.plot.Y.Max = f.ymin, f.ymax
	f.plot.Draw(ground(c))
}

// ground returns where the plot goes on the canvas of a picture.
func ground(c draw.Canvas) draw.Canvas {
	return draw.Crop(c, margin, -margin, margin/2, -heading-caption)
}

// png renders the figure.
func (f *figure) png() ([]byte, error) {
	c := vgimg.NewWith(vgimg.UseWH(width, height), vgimg.UseDPI(dpi))
	f.draw(draw.New(c))
	var b bytes.Buffer
	if err := png.Encode(&b, reduced(c.Image().(*image.RGBA))); err != nil {
		return nil, fmt.Errorf("chart of %s: PNG: %w", f.tag, err)
	}
	return b.Bytes(), nil
}

// face returns a font as it is measured and drawn.
func face(f font.Font) font.Face { return font.DefaultCache.Lookup(f, f.Size) }

// measure returns how wide a text is.
func measure(f font.Font, s string) vg.Length {
	m := face(f)
	return m.Width(s)
}

// write writes one line of text that begins at a point of its baseline.
func write(c draw.Canvas, f font.Font, colour color.Color, at vg.Point, s string) {
	if s == "" {
		return
	}
	c.SetColor(colour)
	c.FillString(face(f), at, s)
}

// capital is how high capitals and digits are, as a share of the size.
const capital = 0.73

// plain makes a text of one line out of what a person may have typed.
func plain(s string) string {
	s = strings.Join(strings.Fields(strings.ToValidUTF8(s, "")), " ")
	return strings.Map(func(r rune) rune {
		if !unicode.IsPrint(r) {
			return -1
		}
		return r
	}, s)
}

// cut shortens a text to a width and says so by "…".
func cut(s string, f font.Font, room vg.Length) string {
	if measure(f, s) <= room {
		return s
	}
	runes := []rune(s)
	for len(runes) > 0 {
		runes = runes[:len(runes)-1]
		if t := strings.TrimRight(string(runes), " ") + "…"; measure(f, t) <= room {
			return t
		}
	}
	return ""
}
