package chart

import (
	"image"
	"image/color"
)

// shades is the colours of a picture: those that are drawn, and the steps from
// paper or from the ground beyond a limit to each of them, as the edges of
// letters and lines have them. A picture of only these is half as large, which
// counts where the network is poor, and nobody sees the difference.
var shades = func() color.Palette {
	all := color.Palette{paper, barred, pale}
	mix := func(ground, top color.NRGBA, steps int) {
		for i := 1; i <= steps; i++ {
			part := func(a, b uint8) uint8 { return uint8((int(a)*(steps-i) + int(b)*i) / steps) }
			all = append(all, color.NRGBA{part(ground.R, top.R), part(ground.G, top.G), part(ground.B, top.B), 0xff})
		}
	}
	for _, c := range []color.NRGBA{ink, grey, blue, green, red, purple} {
		mix(paper, c, 20)
		mix(barred, c, 12)
	}
	mix(paper, faint, 4)
	mix(paper, barred, 4)
	mix(paper, pale, 4)
	return all
}()

// reduced returns a picture in shades alone.
func reduced(m *image.RGBA) *image.Paletted {
	small := image.NewPaletted(m.Bounds(), shades)
	nearest := make(map[color.RGBA]uint8)
	var last color.RGBA // most pixels are like the one before
	index := uint8(shades.Index(last))
	for y := m.Bounds().Min.Y; y < m.Bounds().Max.Y; y++ {
		for x := m.Bounds().Min.X; x < m.Bounds().Max.X; x++ {
			if c := m.RGBAAt(x, y); c != last {
				i, known := nearest[c]
				if !known {
					i = uint8(shades.Index(c))
					nearest[c] = i
				}
				last, index = c, i
			}
			small.SetColorIndex(x, y, index)
		}
	}
	return small
}
