package core

// CurvePoint is where the pressure of a hold was or will be at a moment, by the
// fit of its readings.
type CurvePoint struct {
	T float64  // s since the start reading was looked at
	P Estimate // Pa
}

// Curve returns the fitted course of a hold from its start to a moment, in
// equal steps. It is empty if the readings say nothing yet.
func (c Course) Curve(until float64, steps int) []CurvePoint {
	leaks, ok := c.leaks()
	if !ok || steps < 1 {
		return nil
	}
	points := make([]CurvePoint, steps+1)
	for i := range points {
		t := until * float64(i) / float64(steps)
		points[i] = CurvePoint{T: t, P: leaks.at(t).estimate()}
	}
	return points
}
