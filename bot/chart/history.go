package chart

import (
	"fmt"
	"image/color"
	"math"
	"math/big"
	"slices"
	"strconv"

	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"benchbell/core"
)

// Test is one test of a suit.
type Test struct {
	Day     core.Date
	Method  string // key
	Outcome core.Outcome
	Drop    core.Pressure
	Allowed core.Pressure // greatest drop that passed; a test without one is not drawn
	// Repaired is the day of the last repair since then, zero if there was none:
	// no line leads from the test across it.
	Repaired core.Date
}

// Trend is a straight line through the drops of a suit. Shares are of the
// allowed drop: 1 is the limit.
type Trend struct {
	Label    string // written beside the line: "limit in 2031"
	From, To core.Date
	// FromShare and ToShare are where the line is on those days.
	FromShare, ToShare float64
}

// drawable reports whether the line goes from a day to a later one and keeps
// to numbers that a picture can show.
func (t Trend) drawable() bool {
	const most = 1e6
	return onCalendar(t.From) && onCalendar(t.To) && t.From.Before(t.To) &&
		math.Abs(t.FromShare) <= most && math.Abs(t.ToShare) <= most
}

// History draws the drops of a suit's tests over the years, each as a share of
// the drop that was allowed, so that tests by different methods compare. The
// order of the tests does not matter. Those without a drop are left out, and
// the picture says how many. The result is a PNG.
//
// The error wraps ErrNothing if no test has a drop.
func History(tag string, tests []Test, trends ...Trend) ([]byte, error) {
	f, err := historyFigure(tag, tests, trends)
	if err != nil {
		return nil, err
	}
	return f.png()
}

// history is what a chart shows of a suit.
type history struct {
	tests  []Test    // by day
	epoch  core.Date // day 0 of the axis
	trends []Trend
}

func historyFigure(tag string, tests []Test, trends []Trend) (*figure, error) {
	drawn := slices.DeleteFunc(slices.Clone(tests), func(t Test) bool {
		return t.Allowed <= 0 || !onCalendar(t.Day)
	})
	tag = plain(tag)
	if len(drawn) == 0 {
		return nil, fmt.Errorf("chart of %s: no test has a drop: %w", tag, ErrNothing)
	}
	slices.SortStableFunc(drawn, func(a, b Test) int { return a.Day.Compare(b.Day) })
	h := history{tests: drawn, epoch: drawn[0].Day}
	for _, t := range trends {
		if t.drawable() {
			t.Label = plain(t.Label)
			h.trends = append(h.trends, t)
		}
	}
	f := newFigure()
	f.tag, f.unit = tag, "% of the allowed drop"
	f.badge = badge{counted(len(drawn)), grey, bare}
	if left := len(tests) - len(drawn); left > 0 {
		f.aside = fmt.Sprintf("%d more without a drop", left)
	}
	h.frame(f)
	h.draw(f)
	return f, nil
}

func onCalendar(d core.Date) bool {
	_, err := core.ParseDate(d.String())
	return err == nil
}

func counted(n int) string {
	if n == 1 {
		return "1 test"
	}
	return fmt.Sprintf("%d tests", n)
}

func (h history) x(d core.Date) float64 { return float64(d.Days(h.epoch)) }

// share returns the drop of a test in per cent of the allowed one.
func (t Test) share() float64 { return 100 * float64(t.Drop) / float64(t.Allowed) }

// print prints the share, so that it never looks like the limit if it is not.
func (t Test) print() string {
	share := big.NewRat(int64(t.Drop), int64(t.Allowed))
	share.Mul(share, big.NewRat(100, 1))
	text := share.FloatString(0)
	if text == "100" && t.Drop != t.Allowed {
		text = share.FloatString(2)
	}
	switch {
	case text == "100.00" && t.Drop > t.Allowed:
		text = "over 100"
	case text == "100.00":
		text = "under 100"
	case text == "-0":
		text = "0"
	case len(text) > 6:
		text = strconv.FormatFloat(t.share(), 'g', 2, 64)
	}
	return text + " %"
}

// The shares, in per cent, that the frame shows at least and at most. A test
// beyond is drawn at the edge with an arrow: it must not press all the others
// flat.
const (
	limitShare  = 100
	leastTop    = 120
	mostTop     = 230
	leastBottom = -40
)

// frame sets what the axes span.
func (h history) frame(f *figure) {
	last := h.x(h.tests[len(h.tests)-1].Day)
	const month = 30
	f.xmin, f.xmax = -max(last*0.05, month), last+max(last*0.35, 2*month) // for the labels of the last tests
	if last == 0 {
		f.xmin, f.xmax = -6*month, 6*month
	}
	// A trend that comes to the limit in a lifetime is not followed so far.
	farthest := last + max(last*0.7, 12*month)
	f.ymax = leastTop
	for _, t := range h.tests {
		f.ymin = max(min(f.ymin, t.share()*1.1), leastBottom)
		f.ymax = min(max(f.ymax, t.share()*1.15), mostTop)
	}
	for _, t := range h.trends {
		f.xmax = max(f.xmax, min(h.x(t.To)+month, farthest))
	}
	f.plot.X.Tick.Marker = dayTicks(h.epoch, f.xmin, f.xmax)
	f.plot.Y.Tick.Marker = levelTicks(f.ymin, f.ymax)
}

// draw draws the history, what is least important first.
func (h history) draw(f *figure) {
	f.area(barred, plotter.XY{X: f.xmin, Y: limitShare}, plotter.XY{X: f.xmin, Y: f.ymax}, plotter.XY{X: f.xmax, Y: f.ymax}, plotter.XY{X: f.xmax, Y: limitShare})
	f.line(draw.LineStyle{Color: red, Width: 2, Dashes: dashes}, plotter.XY{X: f.xmin, Y: limitShare}, plotter.XY{X: f.xmax, Y: limitShare})
	for _, on := range h.repairs() {
		f.line(draw.LineStyle{Color: grey, Width: 1, Dashes: dots}, plotter.XY{X: h.x(on), Y: f.ymin}, plotter.XY{X: h.x(on), Y: f.ymax})
	}
	for _, t := range h.trends {
		f.line(draw.LineStyle{Color: ink, Width: 1.5, Dashes: dots},
			plotter.XY{X: h.x(t.From), Y: 100 * t.FromShare}, plotter.XY{X: h.x(t.To), Y: 100 * t.ToShare})
	}
	all := h.series()
	for _, s := range all {
		h.drawSeries(f, s)
	}
	for _, s := range all {
		f.labels = append(f.labels, h.lastLabel(f, s))
	}
	f.labels = append(f.labels, along("limit", limitShare, f.xmin, f.xmax, above))
	for _, t := range h.trends {
		f.labels = append(f.labels, h.trendLabel(f, t))
	}
	for _, s := range all {
		f.labels = append(f.labels, h.oddLabels(f, s)...)
	}
	for _, on := range h.repairs() {
		l := label{text: "repaired", font: sans(small), colour: grey}
		for _, share := range []float64{0.98, 0.05, 0.7, 0.5} {
			p := plotter.XY{X: h.x(on), Y: f.ymin + share*(f.ymax-f.ymin)}
			l.at = append(l.at, anchor{p, -1, 0, 4}, anchor{p, 1, 0, 4})
		}
		f.labels = append(f.labels, l)
	}
}

// repairs returns the days of the repairs between tests that are drawn.
func (h history) repairs() []core.Date {
	var days []core.Date
	for _, t := range h.tests {
		if onCalendar(t.Repaired) && !slices.Contains(days, t.Repaired) {
			days = append(days, t.Repaired)
		}
	}
	return days
}

// series is the tests by one method, which look alike.
type series struct {
	method string
	tests  []Test
	shape  shape
	colour color.Color
	dashes []vg.Length
}

// series parts the tests by method, in the order in which the methods were
// first used: a method that comes later changes the look of none before it.
func (h history) series() []series {
	colours := []color.Color{blue, green, purple, grey, ink}
	strokes := [][]vg.Length{nil, {8, 2}, {2, 2}, {8, 2, 2, 2}}
	var all []series
	for _, t := range h.tests {
		i := slices.IndexFunc(all, func(s series) bool { return s.method == t.Method })
		if i < 0 {
			i = len(all)
			all = append(all, series{
				method: t.Method, shape: shapes[i%len(shapes)], colour: colours[i%len(colours)], dashes: strokes[i%len(strokes)],
			})
		}
		all[i].tests = append(all[i].tests, t)
	}
	return all
}

// at returns where a test is drawn: at the edge if it is beyond.
func (h history) at(f *figure, t Test) plotter.XY {
	return plotter.XY{X: h.x(t.Day), Y: max(f.ymin, min(t.share(), f.ymax))}
}

// drawSeries draws the tests by one method. Those without a verdict are
// hollow, and the line that leads from test to test leaves them out.
func (h history) drawSeries(f *figure, s series) {
	var line plotter.XYs
	end := func() {
		if len(line) > 1 {
			f.line(draw.LineStyle{Color: s.colour, Width: 1.25, Dashes: s.dashes}, line...)
		}
		line = nil
	}
	for i, t := range s.tests {
		if i > 0 && t.Repaired != s.tests[i-1].Repaired {
			end()
		}
		if t.Outcome != core.NoVerdict {
			line = append(line, h.at(f, t))
		}
	}
	end()
	radius := radiusFor(len(h.tests))
	for _, t := range s.tests {
		look := s.shape
		look.hollow = t.Outcome == core.NoVerdict
		style := draw.GlyphStyle{Color: s.colour, Radius: radius, Shape: look}
		if t.Outcome == core.Fail {
			style.Color, style.Radius = red, radius+1.5
		}
		f.point(h.at(f, t), style)
	}
}

// lastLabel names a method beside its last test.
func (h history) lastLabel(f *figure, s series) label {
	last := s.tests[len(s.tests)-1]
	what, colour := h.print(f, last), s.colour
	switch last.Outcome {
	case core.Fail:
		colour = red
	case core.NoVerdict:
		what = string(last.Outcome)
	}
	return label{
		text: joined(plain(s.method), what), font: bold(normal), colour: colour, must: true,
		at: beside(h.at(f, last)),
	}
}

// oddLabels words the tests before the last one that did not pass.
func (h history) oddLabels(f *figure, s series) []label {
	var odd []label
	for _, t := range s.tests[:len(s.tests)-1] {
		l := label{text: h.print(f, t), font: bold(normal), colour: red, at: around(h.at(f, t), offMark)}
		switch t.Outcome {
		case core.Pass:
			continue
		case core.NoVerdict:
			l.text, l.font, l.colour = string(t.Outcome), sans(small), grey
		}
		odd = append(odd, l)
	}
	return odd
}

// print prints the share of a test, with an arrow if the frame ends before.
func (h history) print(f *figure, t Test) string {
	switch share := t.share(); {
	case share > f.ymax:
		return "↑ " + t.print()
	case share < f.ymin:
		return "↓ " + t.print()
	}
	return t.print()
}

// trendLabel is written along the trend's line, near its end.
func (h history) trendLabel(f *figure, t Trend) label {
	l := label{text: t.Label, font: sans(small), colour: ink}
	from, to := h.x(t.From), min(h.x(t.To), f.xmax)
	slope := 100 * (t.ToShare - t.FromShare) / (h.x(t.To) - from)
	for share := 0.95; share > 0.2; share -= 0.05 {
		x := from + share*(to-from)
		p := plotter.XY{X: x, Y: 100*t.FromShare + slope*(x-from)}
		l.at = append(l.at, anchor{p, 1, -1, 5}, anchor{p, -1, 1, 5})
	}
	return l
}
