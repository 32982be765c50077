package core

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/mat"
)

// Datum is an observation y at x, known with the standard uncertainty u > 0.
type Datum struct{ X, Y, U float64 }

// Curve is a function with parameters to be fitted. It returns its value at x
// and sets slopes to its derivatives there by each of the parameters.
type Curve func(x float64, parameters, slopes []float64) float64

// Fitted is a curve fitted by weighted least squares.
type Fitted struct {
	Parameters []float64
	ChiSquared float64 // sum of ((y - curve)/u)²
	Freedom    int     // degrees of freedom: data less parameters
	// Covariance is that of the parameters if the u of the data are right.
	// If they only tell the data's weights, it is to be multiplied by the
	// square of Scatter.
	Covariance *mat.SymDense
}

// U returns the standard uncertainty of parameter i.
func (f Fitted) U(i int) float64 { return math.Sqrt(f.Covariance.At(i, i)) }

// Correlation returns the correlation of two parameters.
func (f Fitted) Correlation(i, j int) float64 {
	return f.Covariance.At(i, j) / (f.U(i) * f.U(j))
}

// Scatter returns how many times more the data scatter about the curve than
// their u say; with u = 1 it is the residual standard deviation. It is NaN
// without a degree of freedom.
func (f Fitted) Scatter() float64 {
	if f.Freedom == 0 {
		return math.NaN()
	}
	return math.Sqrt(f.ChiSquared / float64(f.Freedom))
}

// ErrNoFit is returned by FitCurve for data that do not determine the
// parameters.
var ErrNoFit = errors.New("the readings do not determine the curve")

// Numbers of the descent, of no consequence to what it finds.
const (
	mostSteps   = 500
	leastDamp   = 1e-6
	firstDamp   = 1e-3
	mostDamp    = 1e16
	damping     = 10 // factor
	smallEnough = 1e-8
	// mostCondition is where the inverse has no digit left that is right.
	mostCondition = 1e14
)

// FitCurve fits a curve to data from a first guess of the parameters, by the
// method of Gauss and Newton, damped where that overshoots (D. W. Marquardt,
// J. SIAM 11, 1963). The error is ErrNoFit, if anything.
func FitCurve(c Curve, data []Datum, guess []float64) (Fitted, error) {
	if len(data) < len(guess) || len(guess) == 0 {
		return Fitted{}, ErrNoFit
	}
	at := lay(c, data, guess)
	damp := 0.0
	for range mostSteps {
		next, small, ok := at.step(c, data, damp)
		switch {
		case ok && small && damp == 0:
			// The sum of squares cannot tell the two apart any more, and the
			// last step is the better one.
			return next.fit()
		case ok && next.chiSquared <= at.chiSquared:
			at = next
			if damp /= damping; damp < leastDamp {
				damp = 0
			}
		case damp > mostDamp:
			return Fitted{}, ErrNoFit
		default:
			damp = max(firstDamp, damp*damping)
		}
	}
	return Fitted{}, ErrNoFit
}

// laid is a curve laid over data with certain parameters. Everything is in
// units of the data's u.
type laid struct {
	parameters []float64
	residuals  *mat.VecDense
	slopes     *mat.Dense
	scales     []float64 // lengths of the columns of slopes
	chiSquared float64
	size       float64 // length of the data
}

func lay(c Curve, data []Datum, parameters []float64) laid {
	n, k := len(data), len(parameters)
	l := laid{
		parameters: parameters,
		residuals:  mat.NewVecDense(n, nil),
		slopes:     mat.NewDense(n, k, nil),
		scales:     make([]float64, k),
	}
	for i, d := range data {
		row := l.slopes.RawRowView(i)
		r := (d.Y - c(d.X, parameters, row)) / d.U
		for j := range row {
			row[j] /= d.U
			l.scales[j] = math.Hypot(l.scales[j], row[j])
		}
		l.residuals.SetVec(i, r)
		l.chiSquared += r * r
		l.size = math.Hypot(l.size, d.Y/d.U)
	}
	return l
}

// step goes to where the sum of squares is least if the curve is taken as
// linear in its parameters. Damping adds a row to the slopes for each parameter
// that holds it back. The step is small if it hardly moves the curve; ok is
// false if there is none.
func (l laid) step(c Curve, data []Datum, damp float64) (next laid, small, ok bool) {
	n, k := l.slopes.Dims()
	damped := mat.NewDense(n+k, k, nil)
	damped.Slice(0, n, 0, k).(*mat.Dense).Copy(l.slopes)
	want := mat.NewVecDense(n+k, nil)
	want.SliceVec(0, n).(*mat.VecDense).CopyVec(l.residuals)
	for j, scale := range l.scales {
		damped.Set(n+j, j, math.Sqrt(damp)*scale)
	}
	var change, moves mat.VecDense
	if err := change.SolveVec(damped, want); err != nil {
		return laid{}, false, false
	}
	moves.MulVec(l.slopes, &change)
	return lay(c, data, sum(l.parameters, &change)), mat.Norm(&moves, 2) <= smallEnough*l.size, true
}

func sum(a []float64, b *mat.VecDense) []float64 {
	out := make([]float64, len(a))
	for i := range a {
		out[i] = a[i] + b.AtVec(i)
	}
	return out
}

// fit ends a descent. The parameters are brought to one scale before the
// inversion, so that their units do not matter.
func (l laid) fit() (Fitted, error) {
	if math.IsNaN(l.chiSquared) || math.IsInf(l.chiSquared, 0) {
		return Fitted{}, ErrNoFit
	}
	n, k := l.slopes.Dims()
	normal := mat.NewSymDense(k, nil)
	for i := range k {
		for j := i; j < k; j++ {
			normal.SetSym(i, j, mat.Dot(l.slopes.ColView(i), l.slopes.ColView(j))/(l.scales[i]*l.scales[j]))
		}
	}
	var chol mat.Cholesky
	cov := new(mat.SymDense)
	if !chol.Factorize(normal) || chol.Cond() > mostCondition || chol.InverseTo(cov) != nil {
		return Fitted{}, ErrNoFit
	}
	for i := range k {
		for j := i; j < k; j++ {
			cov.SetSym(i, j, cov.At(i, j)/(l.scales[i]*l.scales[j]))
		}
	}
	return Fitted{Parameters: l.parameters, ChiSquared: l.chiSquared, Freedom: n - k, Covariance: cov}, nil
}
