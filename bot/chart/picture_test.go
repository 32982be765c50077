package chart

import (
	"bytes"
	"image"
	"image/color"
	"image/png"
	"math"
	"strings"
	"testing"

	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/recorder"
	"gonum.org/v1/plot/vg/vgimg"
)

// mostBytes is what a picture may weigh: it goes to phones where the network
// is poor.
const mostBytes = 60_000

// decode returns a picture after checking what holds for every one.
func decode(t testing.TB, b []byte, err error) image.Image {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
	m, err := png.Decode(bytes.NewReader(b))
	if err != nil {
		t.Fatal(err)
	}
	if got := m.Bounds(); got != image.Rect(0, 0, 720, 480) {
		t.Errorf("the picture is %v, want 720 by 480", got)
	}
	if len(b) > mostBytes {
		t.Errorf("the picture has %d bytes, want at most %d", len(b), mostBytes)
	}
	return m
}

// lettering is a text on a picture and the box around its capitals.
type lettering struct {
	text string
	box  vg.Rectangle
}

// record draws a figure on paper that remembers, and checks what holds for
// every one: all that is drawn is on the paper, and of finite size.
func record(t testing.TB, f *figure) []lettering {
	t.Helper()
	var paper recorder.Canvas
	f.draw(draw.NewCanvas(&paper, width, height))
	var all []lettering
	for _, a := range paper.Actions {
		switch a := a.(type) {
		case *recorder.FillString:
			size := a.Size
			wide := measure(font.From(a.Font, size), a.String)
			l := lettering{a.String, vg.Rectangle{Min: a.Point, Max: a.Point.Add(vg.Point{X: wide, Y: capital * size})}}
			all = append(all, l)
			if !onPaper(l.box.Min) || !onPaper(l.box.Max) {
				t.Errorf("%q is written at %v, off the paper", l.text, l.box)
			}
			if size < small {
				t.Errorf("%q is written in size %v: nobody can read that", l.text, size)
			}
		case *recorder.Fill:
			checkPath(t, a.Path)
		case *recorder.Stroke:
			checkPath(t, a.Path)
		}
	}
	return all
}

func checkPath(t testing.TB, path vg.Path) {
	t.Helper()
	for _, step := range path {
		if step.Type != vg.CloseComp && !onPaper(step.Pos) {
			t.Errorf("something is drawn at %v, off the paper", step.Pos)
		}
	}
}

// onPaper is false for what is not a number, too.
func onPaper(p vg.Point) bool {
	return p.X >= 0 && p.X <= width && p.Y >= 0 && p.Y <= height
}

func texts(all []lettering) string {
	var s []string
	for _, l := range all {
		s = append(s, l.text)
	}
	return strings.Join(s, "|")
}

// says reports whether one of the texts is just this.
func says(all []lettering, text string) bool {
	_, ok := find(all, text)
	return ok
}

func find(all []lettering, text string) (lettering, bool) {
	for _, l := range all {
		if l.text == text {
			return l, true
		}
	}
	return lettering{}, false
}

// checkApart checks that no two texts cover each other.
func checkApart(t testing.TB, all []lettering) {
	t.Helper()
	for i, a := range all {
		for _, b := range all[:i] {
			if meet(a.box, b.box) {
				t.Errorf("%q at %v and %q at %v cover each other", a.text, a.box, b.text, b.box)
			}
		}
	}
}

// pixels returns where a point of a figure's plot is on its picture.
func pixels(f *figure) func(x, y float64) (int, int) {
	var paper recorder.Canvas
	c := draw.NewCanvas(&paper, width, height)
	f.draw(c)
	data := f.plot.DataCanvas(ground(c))
	toX, toY := f.plot.Transforms(&data)
	const perPoint = dpi / 72
	return func(x, y float64) (int, int) {
		return int(math.Round(toX(x).Points() * perPoint)), int(math.Round((height - toY(y).Points()) * perPoint))
	}
}

// has reports whether a colour is at a pixel.
func has(m image.Image, x, y int, want color.NRGBA) bool {
	return color.NRGBAModel.Convert(m.At(x, y)) == want
}

// share returns how much of a line of pixels, from one end to the other, has a
// colour, in per cent.
func share(m image.Image, x1, y1, x2, y2 int, want color.NRGBA) int {
	n := max(x2-x1, y2-y1)
	found := 0
	for i := range n {
		if has(m, x1+(x2-x1)*i/n, y1+(y2-y1)*i/n, want) {
			found++
		}
	}
	return 100 * found / n
}

// TestWordsFit: whatever somebody has registered as a tag, the verdict is whole,
// and so is the number of the run.
func TestWordsFit(t *testing.T) {
	for _, tag := range []string{
		"", "7", "HP-07", "HARROW-POINT-07", strings.Repeat("W", 60), strings.Repeat("i", 200), "ÅØ ß ⅞ 消防 \U0001f692",
	} {
		for _, b := range []badge{{"PASS", green, boxed}, {"PASS, NOT FIT YET", ink, heavy}, {"NO VERDICT", ink, dashed}, {"hold", grey, bare}} {
			f := newFigure()
			f.tag, f.what, f.badge, f.aside = tag, "R-0042", b, "drop 12.75 of 13.00 mbar"
			f.unit, f.top, f.xmax, f.ymax = "mbar", word{1, "bell 6:00"}, 1, 1
			f.plot.Y.Tick.Marker = levelTicks(0, 1)
			all := record(t, f)
			checkApart(t, all)
			if got := texts(all); !says(all, b.word) || !strings.Contains(got, "R-0042|") {
				t.Errorf("tag %q, %s: the picture says %q", tag, b.word, got)
			}
		}
	}
}

// TestSecondLine: figures that find no room in the heading stand below it.
func TestSecondLine(t *testing.T) {
	for _, c := range []struct {
		tag, aside string
		fits       bool
	}{
		{"HP-07", "drop 1.5 of 3.0 mbar", true},
		{"HARROW-POINT-HP-07", "drop 1.5 of 3.0 mbar", false},
		{"HP-07", "", false},
	} {
		f := newFigure()
		f.tag, f.what, f.badge, f.aside, f.unit = c.tag, "R-0001", badge{"PASS", green, boxed}, c.aside, "mbar"
		f.xmax, f.ymax = 1, 1
		all := record(t, f)
		if _, fits := f.headingSize(width - 2*margin); fits != c.fits {
			t.Errorf("%s: the figures are in the heading: %v", c.tag, fits)
		}
		if c.aside != "" && !says(all, c.aside) {
			t.Errorf("%s: the picture says %q, not %q", c.tag, texts(all), c.aside)
		}
	}
}

// TestEveryLetter: there is no letter that cannot be measured and drawn, if
// only as the box that stands for one the typeface does not have.
func TestEveryLetter(t *testing.T) {
	c := vgimg.NewWith(vgimg.UseWH(width, height), vgimg.UseDPI(dpi))
	page := draw.New(c)
	for first := rune(0x20); first < 0x3000; first += 0x40 {
		var s strings.Builder
		for r := range rune(0x40) {
			s.WriteRune(first + r)
		}
		text := plain(s.String())
		if wide := measure(bold(title), text); !(wide >= 0 && wide < 0x80*title) {
			t.Errorf("%q is %v wide", text, wide)
		}
		write(page, bold(title), ink, vg.Point{X: 5, Y: 5}, text)
	}
}

func TestPlain(t *testing.T) {
	for in, want := range map[string]string{
		"HP-07":              "HP-07",
		" HP\n07\t":          "HP 07",
		"HP\x00\u202e\xff07": "HP07",
		"\u00a0":             "",
	} {
		if got := plain(in); got != want {
			t.Errorf("plain(%q) is %q, want %q", in, got, want)
		}
	}
}

func TestCut(t *testing.T) {
	for _, room := range []vg.Length{-5, 0, 1, 20, 40, 1000} {
		got := cut("HARROW POINT", bold(title), room)
		if measure(bold(title), got) > max(0, room) {
			t.Errorf("%q does not fit in %v", got, room)
		}
		if whole := got == "HARROW POINT"; whole != (room == 1000) || room == 40 && !strings.HasSuffix(got, "…") {
			t.Errorf("in %v it is cut to %q", room, got)
		}
	}
}

// TestContrast: every colour of letters is dark enough on both grounds. The
// ratio and its least value, 4.5, are those of WCAG 2.2, success criterion
// 1.4.3.
func TestContrast(t *testing.T) {
	luminance := func(c color.NRGBA) float64 {
		channel := func(v uint8) float64 {
			s := float64(v) / 255
			if s <= 0.04045 {
				return s / 12.92
			}
			return math.Pow((s+0.055)/1.055, 2.4)
		}
		return 0.2126*channel(c.R) + 0.7152*channel(c.G) + 0.0722*channel(c.B)
	}
	for name, c := range map[string]color.NRGBA{"ink": ink, "grey": grey, "blue": blue, "green": green, "red": red, "purple": purple} {
		for _, ground := range []color.NRGBA{paper, barred} {
			if ratio := (luminance(ground) + 0.05) / (luminance(c) + 0.05); ratio < 4.5 {
				t.Errorf("%s on %v has a contrast of %.2f", name, ground, ratio)
			}
		}
	}
}

// TestShades: what is drawn in full keeps its colour, and the palette is one
// that a PNG can have.
func TestShades(t *testing.T) {
	if len(shades) > 256 {
		t.Errorf("there are %d shades", len(shades))
	}
	for _, c := range []color.NRGBA{paper, ink, grey, faint, blue, green, red, purple, barred, pale} {
		if got := shades.Convert(c); got != c {
			t.Errorf("%v is shown as %v", c, got)
		}
	}
}
