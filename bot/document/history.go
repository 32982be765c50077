package document

import (
	"fmt"

	"benchbell/bot/chart"
	"benchbell/commands"
	"benchbell/core"
	"benchbell/core/estimate"
)

// historyChart draws a suit's tests, with the trend of each method that has one.
func historyChart(tag string, tests []commands.Tested) ([]byte, error) {
	var marks []chart.Test
	for _, t := range tests {
		if t.End.IsZero() {
			continue
		}
		start, end := t.Start.Pressure(), t.End.Pressure()
		marks = append(marks, chart.Test{
			Day: t.Day, Method: t.Method.Key, Outcome: t.Outcome,
			Drop: start - end, Allowed: t.Method.Limit.GreatestDrop(start), Repaired: t.Repaired,
		})
	}
	var trends []chart.Trend
	for _, m := range commands.Trends(tests) {
		if m.Trend.Tendency != estimate.Rising && m.Trend.Tendency != estimate.Falling {
			continue
		}
		line := chart.Trend{
			Label: m.Method.Key, From: m.First, To: m.Last,
			FromShare: m.Trend.Line.At(0), ToShare: m.Trend.Line.At(float64(m.Last.Days(m.First))),
		}
		if reaches := m.Trend.Reaches; reaches.After(m.Last) {
			line.Label += fmt.Sprintf(": limit in %d", reaches.Year)
			line.To, line.ToShare = reaches, 1
		}
		trends = append(trends, line)
	}
	return chart.History(tag, marks, trends...)
}

// fit returns the fitted course of a run's hold for its chart, if there are enough
// readings to fit one.
func fit(run core.Run) []chart.Fit {
	c, ok := run.Course()
	if !ok || len(c.Samples) < 3 {
		return nil
	}
	var course chart.Fit
	const steps = 40
	until := max(c.Bell, c.Samples[len(c.Samples)-1].T)
	var moments [steps + 1]float64
	for i := range moments {
		moments[i] = until * float64(i) / steps
	}
	for i, p := range c.Curve(moments[:]...) {
		course.Points = append(course.Points, chart.FitPoint{Seconds: moments[i], Low: p.Low, Mid: p.Value, High: p.High})
	}
	return []chart.Fit{course}
}
