package estimate_test

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"benchbell/core/estimate"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/stat/distuv"
)

// TestConforms holds the probability of conformity to the examples and the
// table of JCGM 106:2012, and to values worked out from tables of Φ.
func TestConforms(t *testing.T) {
	for _, tt := range []struct {
		name      string
		margin, u float64
		want, tol float64
	}{
		// Clause 7.3, example: a Zener diode of −5.47 V, upper limit −5.40 V,
		// u 0.05 V; printed 0.92.
		{"Zener diode", -5.40 - -5.47, 0.05, 0.919243, 1e-5},
		// Clause 8, example: a speed of 106.588 km/h (printed 107) where 100 is
		// allowed, u 2 % of it: beyond with 99.9 %.
		{"speed", 106.588 - 100, 0.02 * 106.588, 0.999, 1e-6},
		// Table 1.
		{"z of 0.95", 1.6449, 1, 0.95, 1e-5},
		{"z of 0.99", 2.3263, 1, 0.99, 1e-5},
		{"z of 0.999", 3.0902, 1, 0.999, 1e-6},
		// A drop of 270 Pa where 300 is allowed, u 15 Pa: Φ(2).
		{"drop of 270", 30, 15, 0.977250, 1e-6},
		// Just at the limit either is as likely (8.3.1.2).
		{"drop of 300", 0, 15, 0.5, 1e-12},
		{"beyond", -30, 15, 0.022750, 1e-6},
		// Without uncertainty there is only yes and no; equality passes.
		{"no uncertainty, within", 1e-9, 0, 1, 0},
		{"no uncertainty, at the limit", 0, 0, 1, 0},
		{"no uncertainty, beyond", -1e-9, 0, 0, 0},
	} {
		agrees(t, tt.name, estimate.Conforms(tt.margin, tt.u), tt.want, tt.tol)
	}
	// Clause 7, example: motor oil of 13.6 where 12.5 to 16.3 is allowed, u 1.8;
	// printed 0.66. Beyond one limit or the other exclude each other.
	agrees(t, "motor oil", estimate.Conforms(16.3-13.6, 1.8)+estimate.Conforms(13.6-12.5, 1.8)-1, 0.662630, 1e-5)
}

// posterior returns what is known after a measurement of what was known
// before, both normal (JCGM 106, A.13 and A.14).
func posterior(y0, u0, ym, um float64) (y, u float64) {
	w0, wm := 1/(u0*u0), 1/(um*um)
	return (w0*y0 + wm*ym) / (w0 + wm), 1 / math.Sqrt(w0+wm)
}

// TestRisks works out the global risks of consumer and producer that JCGM 106
// prints, from the probabilities that Conforms gives: once over true values,
// by how likely each is accepted, and once over measured values, by how likely
// each accepted one truly conforms.
func TestRisks(t *testing.T) {
	// 100 ± 30, measured 150 ± 40.
	y, u := posterior(100, 30, 150, 40)
	agrees(t, "posterior", y, 118, 1e-9)
	agrees(t, "its uncertainty", u, 24, 1e-9)

	within := func(half, y, u float64) float64 {
		return estimate.Conforms(half-y, u) + estimate.Conforms(half+y, u) - 1
	}
	for _, tt := range []struct {
		name             string
		half, process, u float64 // tolerance ± half, production ± process, measured ± u
		guard            float64
		conforming       float64
		consumer         float64
		producer         float64
	}{
		// Clause 9, example: resistors of 1500 ± 0.2 ohms.
		{"resistors", 0.2, 0.12, 0.04, 0.02, 0.904419, 0.009878, 0.069027},
		// 9.5.6: u₀ = T/6, no guard band, Cm = T/4u of 2 and of 10. T is 6 here.
		{"Cm of 2", 3, 1, 0.75, 0, 0.997300, 0.000982, 0.014677},
		{"Cm of 10", 3, 1, 0.15, 0, 0.997300, 0.000408, 0.000717},
	} {
		accepted := tt.half - tt.guard
		production := distuv.Normal{Sigma: tt.process}
		measured := distuv.Normal{Sigma: math.Hypot(tt.process, tt.u)}
		far := 10 * measured.Sigma
		integral := func(f func(float64) float64, from, to float64) float64 { return quad.Fixed(f, from, to, 400, nil, 0) }

		agrees(t, tt.name+": conforming", within(tt.half, 0, tt.process), tt.conforming, 2e-6)
		falsely := func(y float64) float64 { return production.Prob(y) * within(accepted, y, tt.u) }
		agrees(t, tt.name+": consumer's risk", 2*integral(falsely, tt.half, far), tt.consumer, 2e-6)
		wrongly := func(y float64) float64 { return production.Prob(y) * (1 - within(accepted, y, tt.u)) }
		agrees(t, tt.name+": producer's risk", integral(wrongly, -tt.half, tt.half), tt.producer, 2e-6)
		stillOut := func(m float64) float64 {
			y, u := posterior(0, tt.process, m, tt.u)
			return measured.Prob(m) * (1 - within(tt.half, y, u))
		}
		agrees(t, tt.name+": consumer's risk by what was measured", integral(stillOut, -accepted, accepted), tt.consumer, 2e-6)
	}
}

// TestCoverage: the factor of 2 for 95 % is that of infinitely many degrees of
// freedom. What fewer would ask for is in JCGM 100, G.4.1 and Table G.2, and
// the F test of H.5; they show that the library agrees with the guide.
func TestCoverage(t *testing.T) {
	b := estimate.Budget{Components: []estimate.Component{{Origin: "end", U: 3}, {Origin: "moment", U: 4}}}
	agrees(t, "u", b.Combined(), 5, 1e-12)
	agrees(t, "U", b.Expanded(), 10, 1e-12)
	agrees(t, "level of confidence", estimate.Conforms(b.Expanded(), b.Combined())-estimate.Conforms(-b.Expanded(), b.Combined()), 0.9545, 5e-5)

	// G.4.1: 0.25, 0.57 and 0.82 % with 9, 4 and 14 degrees of freedom.
	u := math.Sqrt(0.25*0.25 + 0.57*0.57 + 0.82*0.82)
	nu := math.Pow(u, 4) / (math.Pow(0.25, 4)/9 + math.Pow(0.57, 4)/4 + math.Pow(0.82, 4)/14)
	agrees(t, "effective degrees of freedom", nu, 19.0, 0.1)
	quantile := distuv.StudentsT{Sigma: 1, Nu: 19}.Quantile(0.975)
	agrees(t, "t95(19)", quantile, 2.0930, 1e-4)
	agrees(t, "U95 in percent", quantile*u, 2.2, 0.05)
	for nu, want := range map[float64]float64{5: 2.57, 9: 2.26, 16: 2.12, 19: 2.09} {
		agrees(t, fmt.Sprintf("t95(%v)", nu), distuv.StudentsT{Sigma: 1, Nu: nu}.Quantile(0.975), want, 0.005)
	}
	f := distuv.F{D1: 9, D2: 40}
	agrees(t, "F of H.5", 5*57*57/(85.*85.), 2.2484, 1e-4)
	agrees(t, "F0.95(9,40)", f.Quantile(0.95), 2.1240, 1e-4)
	agrees(t, "F0.975(9,40)", f.Quantile(0.975), 2.4519, 1e-4)
}

// TestIntervalHoldsWhatWasRead: however late the reading, the margin that was read
// is in the interval, and so is the one when the hold was over.
func TestIntervalHoldsWhatWasRead(t *testing.T) {
	b := bounded(50, 0, 10)
	for late, want := range map[float64][2]float64{3: {43.5, 62.5}, -3: {37.5, 56.5}, 30: {50, 89.5}, -30: {10.5, 50}} {
		b.Late = late
		low, high := b.Interval()
		agrees(t, fmt.Sprint(late, ": low"), low, want[0], 1e-9)
		agrees(t, fmt.Sprint(late, ": high"), high, want[1], 1e-9)
	}
}

// TestConformsWithAir is worked by hand, for a margin of 50 Pa in a rigid suit.
// That the air raised it by 20 at most leaves 30; that it lowered it speaks for
// nothing. What is not known of the air, ± 40 Pa anywhere, leaves 30 within with
// 70/80. In a suit of an unknown share s that is 1 up to s = 3/4, and beyond it
// (30 + 40s)/80s, in the mean 7/8 + 3/8·ln(4/3).
func TestConformsWithAir(t *testing.T) {
	air := []estimate.Component{{Origin: "air", U: 40 / math.Sqrt(3)}}
	rigid := estimate.Share{Low: 1, High: 1}
	for _, tt := range []struct {
		name      string
		low, high float64
		air       []estimate.Component
		share     estimate.Share
		want, tol float64
	}{
		{"nothing", 0, 0, nil, rigid, 1, 0},
		{"raised", 0, 20, nil, rigid, 1, 0},
		{"raised by too much", 0, 51, nil, rigid, 0, 0},
		{"lowered", -60, -20, nil, rigid, 1, 0},
		{"unsure", 0, 20, air, rigid, 7. / 8, 1e-3},
		{"unsure of the share as well", 0, 20, air, estimate.Share{}, 7./8 + 3./8*math.Log(4./3), 2e-3},
	} {
		b := estimate.Budget{Margin: 50, AirLow: tt.low, AirHigh: tt.high, Air: slices.Clone(tt.air), Share: tt.share}
		for i := range b.Air {
			b.Air[i].U *= tt.share.RMS()
		}
		agrees(t, tt.name, b.Conforms(), tt.want, tt.tol)
	}
}
