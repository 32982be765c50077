package chart

import (
	"image/color"
	"math"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// label is a text that looks for a place near what it is about.
type label struct {
	text   string
	font   font.Font
	colour color.Color
	at     []anchor // where it may stand, best first
	must   bool     // said even if it covers something
}

// anchor is a place of a label: on which side of a point it stands, -1 for
// left or below, 0 for the middle, 1 for right or above, and how far off.
type anchor struct {
	plotter.XY
	dx, dy vg.Length
	gap    vg.Length
}

// around returns the places around a point on a curve that falls: where it
// comes from is below and left of it, and where it goes is not above it.
func around(p plotter.XY, gap vg.Length) []anchor {
	return []anchor{
		{p, 1, 1, gap},
		{p, 0, 1, gap},
		{p, 1, 0, gap},
		{p, -1, -1, gap},
		{p, 0, -1, gap},
		{p, 1, -1, gap},
		{p, -1, 1, gap},
		{p, -1, 0, gap},
	}
}

// offMark is how far a label stands from the middle of a glyph.
const offMark = 8

// The sides of a limit's line on which its label may stand.
const (
	below vg.Length = -1
	above vg.Length = 1
)

// along returns the label of a limit, on one side of its line, or on the other
// if there is something everywhere.
func along(text string, y, from, to float64, side vg.Length) label {
	l := label{text: text, font: bold(normal), colour: red, must: true}
	for _, dy := range []vg.Length{side, -side} {
		for _, share := range []float64{0.01, 0.2, 0.4, 0.6} {
			l.at = append(l.at, anchor{plotter.XY{X: from + share*(to-from), Y: y}, 1, dy, 5})
		}
	}
	return l
}

// beside returns the places around the end of a line of tests, those on the
// right first, where there are no more of them.
func beside(p plotter.XY) []anchor {
	const farther = 2.2 * offMark
	right := []anchor{{p, 1, 0, offMark}, {p, 1, 1, offMark}, {p, 1, -1, offMark}}
	return append(append(right, around(p, offMark)...), anchor{p, 1, 1, farther}, anchor{p, 1, -1, farther})
}

// words draws the labels of a figure, after all else.
type words struct {
	*figure
	second string // what found no room in the heading
}

// Plot writes on the canvas that the data stand on. What is outside of it to
// the right and above is free, too.
func (w words) Plot(c draw.Canvas, p *plot.Plot) {
	x, y := p.Transforms(&c)
	w.overFrame(c, x)
	s := site{free: vg.Rectangle{Min: c.Min, Max: vg.Point{X: width - 3, Y: c.Max.Y + 1}}}
	for _, m := range w.marks {
		s.marks = append(s.marks, square(vg.Point{X: x(m.at.X), Y: y(m.at.Y)}, m.radius))
	}
	for _, line := range w.lines {
		points := make([]vg.Point, len(line))
		for i, p := range line {
			points[i] = vg.Point{X: x(p.X), Y: y(p.Y)}
		}
		for _, clipped := range c.ClipLinesXY(points) {
			s.beads = append(s.beads, beads(clipped)...)
		}
	}
	for _, l := range w.labels {
		s.write(c, l, x, y)
	}
}

// overFrame writes the line over the frame: the unit of the vertical axis, the
// word over a place of the horizontal one, and the rest of the heading on that
// side of it where there is room.
func (w words) overFrame(c draw.Canvas, x func(float64) vg.Length) {
	base := c.Max.Y + 4
	left, right := margin+measure(sans(small), w.unit)+space, vg.Length(width-margin)
	write(c, sans(small), grey, vg.Point{X: margin, Y: base}, w.unit)
	if w.top.text != "" {
		wide := measure(bold(small), w.top.text)
		from := max(left, min(x(w.top.x)-wide/2, right-wide))
		write(c, bold(small), ink, vg.Point{X: from, Y: base}, w.top.text)
		if from-left > right-from-wide {
			right = from - space
		} else {
			left = from + wide + space
		}
	}
	if measure(sans(small), w.second) <= right-left {
		write(c, sans(small), ink, vg.Point{X: left, Y: base}, w.second)
	}
}

// site is the ground on which labels are placed.
type site struct {
	free  vg.Rectangle   // where they may stand
	marks []vg.Rectangle // glyphs
	taken []vg.Rectangle // labels that have their place
	beads []vg.Point     // points on lines, close together
}

// What it costs a label to stand in a place, besides a point for each that it
// is farther off than others. From spoilt on it is better left out, unless it
// must be said.
const (
	crossing = 1 // a bead of a line
	spoilt   = 100
	onMark   = 100
	onLabel  = 1000
	outside  = 10000
)

// write writes a label in its best place.
func (s *site) write(c draw.Canvas, l label, x, y func(float64) vg.Length) {
	text := cut(l.text, l.font, s.free.Max.X-s.free.Min.X)
	wide, high := measure(l.font, text), capital*l.font.Size
	best, least := vg.Rectangle{}, math.MaxInt
	for _, a := range l.at {
		corner := vg.Point{
			X: x(a.X) + a.dx*a.gap + (a.dx-1)/2*wide,
			Y: y(a.Y) + a.dy*a.gap + (a.dy-1)/2*high,
		}
		box := vg.Rectangle{Min: corner, Max: corner.Add(vg.Point{X: wide, Y: high})}
		if cost := s.cost(box) + int(max(0, a.gap-offMark)); cost < least {
			best, least = box, cost
		}
	}
	if least == math.MaxInt || least >= spoilt && !l.must {
		return
	}
	best = best.Add(shift(best, s.free))
	if least > 0 {
		c.SetColor(veil)
		c.Fill(grown(best, 1).Path())
	}
	write(c, l.font, l.colour, best.Min, text)
	s.taken = append(s.taken, grown(best, 2))
}

func (s *site) cost(box vg.Rectangle) int {
	cost := 0
	if shift(box, s.free) != (vg.Point{}) {
		cost += outside
	}
	for _, t := range s.taken {
		if meet(box, t) {
			cost += onLabel
		}
	}
	for _, m := range s.marks {
		if meet(box, m) {
			cost += onMark
		}
	}
	near := grown(box, 2)
	crossed := 0
	for _, b := range s.beads {
		if meet(near, vg.Rectangle{Min: b, Max: b}) {
			crossed += crossing
		}
	}
	return cost + min(crossed, spoilt-1)
}

// beads returns points along a line, at most four apart.
func beads(line []vg.Point) []vg.Point {
	const apart = 4
	var all []vg.Point
	for i, to := range line {
		if i == 0 {
			all = append(all, to)
			continue
		}
		way := to.Sub(line[i-1])
		n := math.Ceil(math.Hypot(float64(way.X), float64(way.Y)) / apart)
		for k := 1.0; k <= n; k++ {
			all = append(all, line[i-1].Add(way.Scale(vg.Length(k/n))))
		}
	}
	return all
}

// square returns the square around a point.
func square(p vg.Point, radius vg.Length) vg.Rectangle {
	return grown(vg.Rectangle{Min: p, Max: p}, radius)
}

func grown(r vg.Rectangle, by vg.Length) vg.Rectangle {
	return vg.Rectangle{Min: r.Min.Sub(vg.Point{X: by, Y: by}), Max: r.Max.Add(vg.Point{X: by, Y: by})}
}

func meet(a, b vg.Rectangle) bool {
	return a.Min.X <= b.Max.X && b.Min.X <= a.Max.X && a.Min.Y <= b.Max.Y && b.Min.Y <= a.Max.Y
}

// shift returns how far a box must be moved to lie in another.
func shift(box, in vg.Rectangle) vg.Point {
	return vg.Point{
		X: max(0, in.Min.X-box.Min.X) + min(0, in.Max.X-box.Max.X),
		Y: max(0, in.Min.Y-box.Min.Y) + min(0, in.Max.Y-box.Max.Y),
	}
}
