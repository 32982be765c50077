package core

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/floats"
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
	return observations{data: data}.fit(c, guess)
}

// observations are data that are to be fitted. What the errors of two of them
// have in common is the covariance shared; their own is not in it. With nil,
// they have nothing in common.
type observations struct {
	data   []Datum
	shared func(a, b Datum) float64
	root   *mat.TriDense // set by correlate
}

// correlate makes the observations ready; ok is false if there are no errors
// that have such covariances.
func (o observations) correlate() (_ observations, ok bool) {
	if o.shared == nil {
		return o, true
	}
	covariance := mat.NewSymDense(len(o.data), nil)
	for i, a := range o.data {
		for j, b := range o.data[:i+1] {
			covariance.SetSym(i, j, o.shared(a, b))
		}
		covariance.SetSym(i, i, covariance.At(i, i)+a.U*a.U)
	}
	var chol mat.Cholesky
	if !chol.Factorize(covariance) {
		return o, false
	}
	o.root = new(mat.TriDense)
	chol.LTo(o.root)
	return o, true
}

// whiten brings numbers that belong to the observations, one to each, into
// units of their uncertainties, and takes out what their errors have in common:
// by the inverse of the covariance's lower Cholesky root.
func (o observations) whiten(v []float64) {
	if o.root == nil {
		for i, d := range o.data {
			v[i] /= d.U
		}
		return
	}
	for i := range v {
		for j := range i {
			v[i] -= o.root.At(i, j) * v[j]
		}
		v[i] /= o.root.At(i, i)
	}
}

// fit is FitCurve.
func (o observations) fit(c Curve, guess []float64) (Fitted, error) {
	if len(o.data) < len(guess) || len(guess) == 0 {
		return Fitted{}, ErrNoFit
	}
	o, ok := o.correlate()
	if !ok {
		return Fitted{}, ErrNoFit
	}
	at := o.lay(c, guess)
	damp := 0.0
	for range mostSteps {
		next, small, ok := at.step(c, o, damp)
		switch {
		case ok && small && damp == 0:
			// The sum of squares cannot tell the two apart any more, and the
			// last step is the better one.
			return next.end()
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

func (o observations) lay(c Curve, parameters []float64) laid {
	n, k := len(o.data), len(parameters)
	size, residuals, row := make([]float64, n), make([]float64, n), make([]float64, k)
	slopes := make([][]float64, k)
	for j := range slopes {
		slopes[j] = make([]float64, n)
	}
	for i, d := range o.data {
		size[i] = d.Y
		residuals[i] = d.Y - c(d.X, parameters, row)
		for j := range row {
			slopes[j][i] = row[j]
		}
	}
	l := laid{parameters: parameters, residuals: mat.NewVecDense(n, residuals), slopes: mat.NewDense(n, k, nil)}
	for j := range slopes {
		o.whiten(slopes[j])
		l.slopes.SetCol(j, slopes[j])
		l.scales = append(l.scales, floats.Norm(slopes[j], 2))
	}
	o.whiten(residuals)
	o.whiten(size)
	l.chiSquared, l.size = floats.Dot(residuals, residuals), floats.Norm(size, 2)
	return l
}

// step goes to where the sum of squares is least if the curve is taken as
// linear in its parameters. Damping adds a row to the slopes for each parameter
// that holds it back. The step is small if it hardly moves the curve; ok is
// false if there is none.
func (l laid) step(c Curve, o observations, damp float64) (next laid, small, ok bool) {
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
	return o.lay(c, sum(l.parameters, &change)), mat.Norm(&moves, 2) <= smallEnough*l.size, true
}

func sum(a []float64, b *mat.VecDense) []float64 {
	out := make([]float64, len(a))
	for i := range a {
		out[i] = a[i] + b.AtVec(i)
	}
	return out
}

// end ends a descent. The parameters are brought to one scale before the
// inversion, so that their units do not matter.
func (l laid) end() (Fitted, error) {
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
