package chart

import (
	"image/color"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// badge is a word in a frame. Frames differ, so that nobody needs the colour.
type badge struct {
	word   string
	colour color.Color
	frame  frame
}

// frame is how a badge is framed.
type frame int

// The frames of badges.
const (
	bare   frame = iota // no frame at all
	boxed               // a line around the word
	dashed              // a dashed line around it
	solid               // the word in white on a block
	heavy               // a thick line around it
)

const (
	padding = 5 // between a badge's word and its frame
	space   = 8 // between the parts of the heading
)

// headingSize returns the size of the letters in a heading with so much room,
// and whether the figures fit in beside the rest.
func (f *figure) headingSize(room vg.Length) (size vg.Length, fits bool) {
	size = title
	beside := measure(sans(normal), f.aside) + space
	fits = f.aside != "" && f.headingWidth(large)+beside <= room
	if fits {
		room -= beside
	}
	for size > small && f.headingWidth(size) > room {
		size--
	}
	return size, fits
}

// heading writes the line at the top: which suit, which run, what came of it,
// and the figures if there is room. It returns false if there is none. The
// verdict is never cut, and the tag only if it does not fit in small letters.
func (f *figure) heading(c draw.Canvas) bool {
	room := c.Max.X - c.Min.X
	size, fits := f.headingSize(room)
	tag := f.tag
	if over := f.headingWidth(size) - room; over > 0 {
		tag = cut(tag, bold(size), measure(bold(size), tag)-over)
	}
	at := vg.Point{X: c.Min.X, Y: c.Min.Y + 8}
	name := joined(tag, f.what)
	write(c, bold(size), ink, at, name)
	if fits {
		write(c, sans(normal), ink, vg.Point{X: c.Max.X - measure(sans(normal), f.aside), Y: at.Y}, f.aside)
	}
	if f.badge.word != "" {
		at.X += measure(bold(size), name) + space
		f.badge.draw(c, at, size)
	}
	return fits
}

func (f *figure) headingWidth(size vg.Length) vg.Length {
	w := measure(bold(size), joined(f.tag, f.what))
	if f.badge.word != "" {
		w += space + measure(bold(size), f.badge.word)
		if f.badge.frame != bare {
			w += 2 * padding
		}
	}
	return w
}

func joined(tag, what string) string {
	if tag == "" || what == "" {
		return tag + what
	}
	return tag + " " + what
}

// draw draws the badge from a point of its baseline on.
func (b badge) draw(c draw.Canvas, at vg.Point, size vg.Length) {
	word := at
	if b.frame != bare {
		word.X += padding
	}
	around := vg.Rectangle{
		Min: vg.Point{X: at.X, Y: at.Y - padding},
		Max: vg.Point{X: at.X + measure(bold(size), b.word) + 2*padding, Y: at.Y + capital*size + padding},
	}
	letters := b.colour
	switch b.frame {
	case solid:
		c.SetColor(b.colour)
		c.Fill(around.Path())
		letters = paper
	case boxed, dashed, heavy:
		style := draw.LineStyle{Color: b.colour, Width: 1.5}
		switch b.frame {
		case dashed:
			style.Dashes = []vg.Length{4, 3}
		case heavy:
			style.Width = 3
		}
		c.SetLineStyle(style)
		c.Stroke(around.Path())
	}
	write(c, bold(size), letters, word, b.word)
}
