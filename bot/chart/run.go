package chart

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg/draw"

	"benchbell/core"
)

// ErrNothing is wrapped by the error for something of which there is nothing
// to draw: a run that has no hold, a suit that has no test with a drop.
var ErrNothing = errors.New("there is nothing to draw")

// Fit is a curve fitted to the readings of a hold, with the band in which the
// true pressure should lie.
type Fit struct {
	Label  string // what the curve is, written beside it: "forecast"
	Points []FitPoint
}

// FitPoint is a point of a fitted curve, in seconds since the start reading
// and gauge pressures in pascals. A point that is not a number, or that no
// suit could come to, is left out.
type FitPoint struct {
	Seconds        float64
	Low, Mid, High float64
}

// Run draws the hold of a run: its readings, the ending pressure that just
// passes, and the bell, with the verdict if there is one, all in the method's
// unit. The axis counts minutes since the start reading, whose moment is told
// as a clock in zone shows it; nil means UTC. The result is a PNG.
//
// The error wraps ErrNothing while no hold has begun, and after one was given
// up.
func Run(run core.Run, zone *time.Location, fits ...Fit) ([]byte, error) {
	f, err := runFigure(run, zone, fits)
	if err != nil {
		return nil, err
	}
	return f.png()
}

// hold is what a chart shows of a run.
type hold struct {
	run      core.Run
	unit     core.Unit
	readings []core.Reading // the start reading first
	limited  bool           // there is a limit at all
	limit    core.Pressure  // least ending pressure that passes
	bell     float64        // minutes
	fits     []Fit
}

func runFigure(run core.Run, zone *time.Location, fits []Fit) (*figure, error) {
	start, ok := run.Start()
	if !ok || run.HeldAt.IsZero() {
		return nil, fmt.Errorf("chart of %s: no hold has begun: %w", run.ID, ErrNothing)
	}
	if !slices.Contains(core.Units(), run.Method.Unit) {
		return nil, fmt.Errorf("chart of %s: method %q has no unit: %w", run.ID, run.Method.Key, ErrNothing)
	}
	if zone == nil {
		zone = time.UTC
	}
	h := hold{
		run: run, unit: run.Method.Unit,
		readings: append([]core.Reading{start}, run.HoldReadings()...),
		bell:     run.Method.Hold.Minutes(),
	}
	if l := run.Method.Limit; !l.Drop.IsZero() || !l.Floor.IsZero() || l.Den != 0 {
		h.limited, h.limit = true, l.Lowest(start.Pressure())
	}
	for _, fit := range fits {
		h.fits = append(h.fits, fit.cleaned())
	}
	f := newFigure()
	f.tag, f.what, f.unit = plain(run.Suit.Tag), run.ID.String(), h.unit.String()
	f.badge, f.aside = runBadge(run), h.figures()
	f.plot.X.Label.Text = "minutes since " + run.HeldAt.In(zone).Format("15:04:05, 2006-01-02")
	h.frame(f)
	h.draw(f)
	return f, nil
}

// cleaned returns the fit with the points that can be drawn, in the order of
// time.
func (fit Fit) cleaned() Fit {
	const farthest, highest = 1e6, 1e9 // seconds, pascals
	points := slices.DeleteFunc(slices.Clone(fit.Points), func(p FitPoint) bool {
		return !(p.Seconds >= 0 && p.Seconds <= farthest &&
			math.Abs(p.Low) <= highest && math.Abs(p.Mid) <= highest && math.Abs(p.High) <= highest)
	})
	slices.SortStableFunc(points, func(a, b FitPoint) int {
		return cmp.Compare(a.Seconds, b.Seconds)
	})
	return Fit{Label: plain(fit.Label), Points: points}
}

func runBadge(run core.Run) badge {
	switch v := run.Verdict; {
	case v != nil && v.Outcome == core.Pass && run.Phase != core.Over:
		// A picture is looked at by itself, and green means that all is well.
		return badge{"PASS, NOT FIT YET", ink, heavy}
	case v != nil && v.Outcome == core.Pass && run.FoundBad:
		return badge{"PASS, THEN A DEFECT", ink, heavy}
	case v != nil && v.Outcome == core.Pass:
		return badge{"PASS", green, boxed}
	case v != nil && v.Outcome == core.Fail:
		return badge{"FAIL", red, solid}
	case v != nil:
		return badge{strings.ToUpper(string(v.Outcome)), ink, dashed}
	case run.Phase == core.Hold:
		return badge{"hold", grey, bare}
	}
	return badge{"stopped", grey, bare}
}

// figures words what the verdict rests on: the figures, or why there is none.
func (h hold) figures() string {
	v := h.run.Verdict
	switch {
	case v == nil:
		return ""
	case v.Outcome == core.NoVerdict || v.End.N == 0:
		return string(v.Reason)
	case v.Reason == core.Bracketed:
		return h.between(v) + " at the bell"
	case !h.run.Method.Limit.Floor.IsZero():
		end, floor := h.apart(v.End.Pressure(), h.limit)
		return fmt.Sprintf("ending %s, floor %s %s", end, floor, h.unit)
	}
	drop, allowed := h.apart(v.Drop, v.Allowed)
	return fmt.Sprintf("drop %s of %s %s", drop, allowed, h.unit)
}

// apart prints two pressures with as many decimals as the readings have, or
// with more if they would look the same and are not: what is just beyond the
// limit must not look like the limit.
func (h hold) apart(a, b core.Pressure) (string, string) {
	decimals := 0
	for _, r := range []core.Reading{h.readings[0], h.decisive()} {
		if r.Written.Unit != h.unit {
			decimals = h.unit.Decimals()
			break
		}
		decimals = max(decimals, r.Written.Decimals(), min(1, h.unit.Decimals()))
	}
	const nanopascals = 9
	for a != b && decimals < nanopascals && a.Fixed(h.unit, decimals) == b.Fixed(h.unit, decimals) {
		decimals++
	}
	return a.Fixed(h.unit, decimals), b.Fixed(h.unit, decimals)
}

// decisive returns the reading that the verdict rests on, else the last one.
func (h hold) decisive() core.Reading {
	if v := h.run.Verdict; v != nil {
		for _, r := range h.readings {
			if r.N == v.End.N {
				return r
			}
		}
	}
	return h.readings[len(h.readings)-1]
}

func (h hold) at(r core.Reading) plotter.XY {
	return plotter.XY{X: r.Taken.Sub(h.run.HeldAt).Minutes(), Y: h.value(r.Pressure())}
}

// value returns a pressure in the unit of the chart.
func (h hold) value(p core.Pressure) float64 { return float64(p) / float64(h.unit.One()) }

// fitted returns a pressure in pascals in the unit of the chart.
func (h hold) fitted(pascals float64) float64 { return pascals / h.unit.One().Pascals() }

// frame sets what the axes span: the hold and a little more, the readings and
// the limit, and of a fit not much beyond them.
func (h hold) frame(f *figure) {
	f.xmax, f.ymin, f.ymax = h.bell, math.Inf(1), math.Inf(-1)
	for _, r := range h.readings {
		p := h.at(r)
		f.xmax, f.ymin, f.ymax = max(f.xmax, p.X), min(f.ymin, p.Y), max(f.ymax, p.Y)
	}
	if h.limited {
		f.ymin, f.ymax = min(f.ymin, h.value(h.limit)), max(f.ymax, h.value(h.limit))
	}
	h.frameFits(f)
	if f.xmax <= 0 {
		f.xmax = 1
	}
	f.xmax *= 1.13 // for the value of the last reading
	high := f.ymax - f.ymin
	if high <= 1e-6*math.Abs(f.ymax) {
		high = max(math.Abs(f.ymax)/10, 1)
	}
	foot := high * 0.22 // for the label of the limit
	if f.ymin >= 0 {
		foot = min(foot, f.ymin)
	}
	f.ymin, f.ymax = f.ymin-foot, f.ymax+high*0.16
	f.plot.X.Tick.Marker = minuteTicks(f.xmax)
	f.plot.Y.Tick.Marker = levelTicks(f.ymin, f.ymax)
}

func (h hold) frameFits(f *figure) {
	more := (f.ymax - f.ymin) / 2
	lowest, highest := f.ymin-more, f.ymax+more
	for _, fit := range h.fits {
		for _, p := range fit.Points {
			if p.Seconds/60 <= f.xmax {
				f.ymin = min(f.ymin, max(h.fitted(p.Low), lowest))
				f.ymax = max(f.ymax, min(h.fitted(p.High), highest))
			}
		}
	}
}

// draw draws the hold, what is least important first.
func (h hold) draw(f *figure) {
	h.drawLimit(f)
	for _, fit := range h.fits {
		h.drawFit(f, fit)
	}
	if h.bell > 0 {
		f.line(draw.LineStyle{Color: ink, Width: 1.5, Dashes: dots}, plotter.XY{X: h.bell, Y: f.ymin}, plotter.XY{X: h.bell, Y: f.ymax})
		f.top = word{h.bell, "bell " + stopwatch(h.run.Method.Hold)}
	}
	h.drawAtBell(f)
	h.drawReadings(f)
}

// stopwatch prints a time of the hold: "6:00".
func stopwatch(d time.Duration) string {
	d = d.Round(time.Second)
	return fmt.Sprintf("%d:%02d", int(d.Minutes()), int(d.Seconds())%60)
}

func (h hold) drawLimit(f *figure) {
	if !h.limited {
		return
	}
	y := h.value(h.limit)
	f.area(barred, plotter.XY{X: 0, Y: f.ymin}, plotter.XY{X: 0, Y: y}, plotter.XY{X: f.xmax, Y: y}, plotter.XY{X: f.xmax, Y: f.ymin})
	f.line(draw.LineStyle{Color: red, Width: 2, Dashes: dashes}, plotter.XY{X: 0, Y: y}, plotter.XY{X: f.xmax, Y: y})
	what := "limit"
	if !h.run.Method.Limit.Floor.IsZero() {
		what = "floor"
	}
	_, least := h.apart(h.decisive().Pressure(), h.limit)
	f.labels = append(f.labels, along(what+" "+least, y, 0, f.xmax, below))
}

// drawFit draws a fitted curve as a thin line in its band.
func (h hold) drawFit(f *figure, fit Fit) {
	if len(fit.Points) == 0 {
		return
	}
	var curve, band plotter.XYs
	for _, p := range fit.Points {
		curve = append(curve, plotter.XY{X: p.Seconds / 60, Y: h.fitted(p.Mid)})
		band = append(band, plotter.XY{X: p.Seconds / 60, Y: h.fitted(p.High)})
	}
	for _, p := range slices.Backward(fit.Points) {
		band = append(band, plotter.XY{X: p.Seconds / 60, Y: h.fitted(p.Low)})
	}
	f.area(pale, band...)
	f.line(draw.LineStyle{Color: purple, Width: 1.5}, curve...)
	if fit.Label == "" {
		return
	}
	l := label{text: fit.Label, font: sans(small), colour: purple}
	for _, share := range []int{2, 3, 1} {
		l.at = append(l.at, around(curve[share*(len(curve)-1)/4], 8)...)
	}
	f.labels = append(f.labels, l)
}

// drawAtBell draws what the pressure must have been at the bell, if the
// verdict had to find that out.
func (h hold) drawAtBell(f *figure) {
	v := h.run.Verdict
	if v == nil || v.AtBellHigh == 0 {
		return
	}
	low, high := plotter.XY{X: h.bell, Y: h.value(v.AtBellLow)}, plotter.XY{X: h.bell, Y: h.value(v.AtBellHigh)}
	f.line(draw.LineStyle{Color: blue, Width: 5}, low, high)
	f.labels = append(f.labels, label{
		text: h.between(v), font: sans(small), colour: blue,
		at: append(around(plotter.XY{X: h.bell, Y: (low.Y + high.Y) / 2}, offMark), around(high, offMark)...),
	})
}

// between prints what the pressure must have been at the bell.
func (h hold) between(v *core.Verdict) string {
	low, _ := h.apart(v.AtBellLow, h.limit)
	high, _ := h.apart(v.AtBellHigh, h.limit)
	if low == high {
		return low
	}
	return low + "–" + high
}

// mostValues is how many readings there may be for each to have its value
// beside it. With more, nobody could tell whose a value is.
const mostValues = 14

// drawReadings draws the readings with their values, the one that the verdict
// rests on with a glyph of its own.
func (h hold) drawReadings(f *figure) {
	points := make(plotter.XYs, len(h.readings))
	for i, r := range h.readings {
		points[i] = h.at(r)
	}
	if len(h.fits) == 0 {
		f.line(draw.LineStyle{Color: blue, Width: 1.5}, points...)
	}
	decisive := h.decisive()
	var first, rest []label
	for i, r := range h.readings {
		style := draw.GlyphStyle{Color: blue, Radius: radiusFor(len(points)), Shape: shapes[0]}
		if r.N == decisive.N && h.run.Verdict != nil {
			style.Radius, style.Shape = 6, shapes[3]
		}
		f.point(points[i], style)
		l := label{text: h.print(r), font: sans(normal), colour: ink, at: around(points[i], offMark)}
		switch {
		case r.N == decisive.N:
			l.text, l.font, l.must = h.ending(r), bold(large), true
		case i == 0:
			l.font, l.must = bold(normal), true
		}
		if l.must {
			first = append(first, l)
		} else {
			rest = append(rest, l)
		}
	}
	f.labels = append(f.labels, first...)
	if len(h.readings) <= mostValues {
		f.labels = append(f.labels, rest...)
	}
}

// ending prints the decisive reading so that it compares with the limit.
func (h hold) ending(r core.Reading) string {
	if !h.limited {
		return h.print(r)
	}
	end, _ := h.apart(r.Pressure(), h.limit)
	return end
}

// print prints a reading as it was written, or converted to the method's unit.
func (h hold) print(r core.Reading) string {
	if r.Written.Unit == h.unit {
		return r.Written.Digits
	}
	return r.Pressure().In(h.unit, min(1, h.unit.Decimals()))
}
