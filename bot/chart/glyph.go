package chart

import (
	"math"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// shape is the outline of a glyph: a polygon, or a circle if it has no
// corners. A hollow one shows the paper inside.
type shape struct {
	corners int
	turned  float64 // angle of the first corner, in radians
	hollow  bool
}

// The shapes, in the order in which they are easiest to tell apart.
var shapes = []shape{
	{},
	{corners: 4, turned: math.Pi / 4},
	{corners: 3, turned: math.Pi / 2},
	{corners: 4},
	{corners: 3, turned: -math.Pi / 2},
}

// DrawGlyph draws the shape with a thin rim of paper, which parts it from what
// it lies on.
func (s shape) DrawGlyph(c *draw.Canvas, style draw.GlyphStyle, at vg.Point) {
	path := s.path(at, style.Radius)
	fill, rim := style.Color, draw.LineStyle{Color: paper, Width: 1}
	if s.hollow {
		fill, rim = paper, draw.LineStyle{Color: style.Color, Width: 1.75}
	}
	c.SetColor(fill)
	c.Fill(path)
	if crowded := style.Radius < 3; crowded && !s.hollow {
		return
	}
	c.SetLineStyle(rim)
	c.Stroke(path)
}

func (s shape) path(at vg.Point, radius vg.Length) vg.Path {
	var p vg.Path
	if s.corners == 0 {
		p.Move(vg.Point{X: at.X + radius, Y: at.Y})
		p.Arc(at, radius, 0, 2*math.Pi)
		p.Close()
		return p
	}
	// With the same radius a polygon would look smaller than a circle.
	radius *= vg.Length(1 + 1/float64(s.corners))
	for i := range s.corners {
		sin, cos := math.Sincos(s.turned + 2*math.Pi*float64(i)/float64(s.corners))
		corner := at.Add(vg.Point{X: radius * vg.Length(cos), Y: radius * vg.Length(sin)})
		if i == 0 {
			p.Move(corner)
		} else {
			p.Line(corner)
		}
	}
	p.Close()
	return p
}

// radiusFor returns how large the glyphs of so many points are.
func radiusFor(points int) vg.Length {
	switch {
	case points > 80:
		return 2
	case points > 30:
		return 3
	}
	return 4.5
}
