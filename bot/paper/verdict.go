package paper

import (
	"fmt"
	"math"
	"strings"

	"benchbell/commands"
	"benchbell/core"
)

// banner is the word that a record comes to, in a frame of its own.
type banner struct {
	word   string
	colour ink
	solid  bool // white on a block
	dashed bool
}

func (r *record) banner() banner {
	v, ok := r.stands()
	switch {
	case ok && v.Outcome == core.Pass:
		return banner{word: "PASS", colour: green}
	case ok && v.Outcome == core.Fail:
		return banner{word: "FAIL", colour: red, solid: true}
	case ok:
		return banner{word: strings.ToUpper(string(v.Outcome)), colour: black, dashed: true}
	case r.stopped != nil:
		return banner{word: "STOPPED: NO VERDICT", colour: black, dashed: true}
	}
	return banner{word: "STILL OPEN: NO VERDICT YET", colour: black, dashed: true}
}

// draw draws the banner at a place and returns its width and height.
func (s *sheet) banner(b banner, x, y float64) (width, height float64) {
	f := face{size: 17, bold: true}
	const pad = 3.0
	width, height = s.width(f, b.word)+2*pad, f.height()+pad
	letters := b.colour
	if b.solid {
		s.block(x, y, width, height, b.colour)
		letters = white
	} else {
		s.pdf.SetDrawColor(b.colour.r, b.colour.g, b.colour.b)
		s.pdf.SetLineWidth(0.7)
		if b.dashed {
			s.pdf.SetDashPattern([]float64{2, 1.4}, 0)
		}
		s.pdf.Rect(x, y, width, height, "D")
		s.pdf.SetDashPattern(nil, 0)
	}
	capitals := f.size * point * capital
	s.write(x+pad, y+(height-capitals)/2-(f.baseline()-capitals), f, letters, b.word)
	return width, height
}

// result is the verdict and what stands behind it.
func (r *record) result() {
	s := r.sheet
	s.skip(blockGap)
	x, wide := margin, s.inner()
	width, height := s.banner(r.sheet.about.banner0(r), x, s.y)
	_ = wide
	_ = width
	s.y += height
	s.flow(r.verdict())
	s.flow(r.earlier())
}
