// Package linear fits straight lines and planes by least squares, with the
// standard errors and the confidence and prediction bounds that a trend of
// attenuation over age is read with.
package linear

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"

	"sealbound/stats"
	"sealbound/stats/dist"
	"sealbound/stats/interval"
)

// ErrCollinear says that a predictor is constant beside an intercept, or a
// combination of others, so that its coefficient cannot be told.
var ErrCollinear = errors.New("predictors cannot be told apart")

// A Fit is a least-squares fit of y (dB) on predictors.
type Fit struct {
	Coef, SE []float64 // with an intercept, its coefficient comes first
	N        int       // observations
	DF       float64   // N - coefficients, at least 1
	SD       float64   // residual standard deviation of an observation of weight 1, dB
	R2       float64   // share of the sum of squares explained: about the mean with an intercept, about 0 without; NaN if that sum is 0
	F, P     float64   // of all predictors together; NaN where SD is 0

	intercept bool
	weight    float64    // sum of the weights
	center    []float64  // weighted means of the predictors, 0 without intercept
	mean      float64    // weighted mean of y, 0 without intercept
	slopes    []float64  // without the intercept
	cov       *mat.Dense // of the slopes, in units of SD^2
}

// Options say what else goes into a fit. The zero value is an unweighted line
// through the origin.
type Options struct {
	Intercept bool
	// Weights, nil for equal ones, are inverse to the variances: that of
	// observation i is SD^2/Weights[i]. They are positive and finite.
	Weights []float64
}

// Regress fits y on the predictors, each a column as long as y. It returns
// interval.ErrTooFew unless there are more observations than coefficients,
// interval.ErrNotFinite for NaN or infinite values, interval.ErrDomain for
// columns or weights that do not fit, and ErrCollinear.
//
// Method: the predictors are centred on their weighted means (with an
// intercept) and scaled, then solved by Householder QR.
func Regress(y []float64, predictors [][]float64, o Options) (*Fit, error) {
	n, k := len(y), len(predictors)
	coefs := k
	if o.Intercept {
		coefs++
	}
	if n <= coefs {
		return nil, fmt.Errorf("linear: %w: %d for %d coefficients", interval.ErrTooFew, n, coefs)
	}
	if coefs == 0 {
		return nil, fmt.Errorf("linear: %w: neither predictors nor intercept", interval.ErrDomain)
	}
	w, err := check(y, predictors, o.Weights)
	if err != nil {
		return nil, err
	}
	f := &Fit{N: n, DF: float64(n - coefs), intercept: o.Intercept, center: make([]float64, k)}
	for _, v := range w {
		f.weight += v
	}
	if o.Intercept {
		f.mean = weightedMean(y, w, f.weight)
		for j, col := range predictors {
			f.center[j] = weightedMean(col, w, f.weight)
		}
	}
	z := make([]float64, n) // centred, weighted y
	for i := range z {
		z[i] = math.Sqrt(w[i]) * (y[i] - f.mean)
	}
	if err := f.solve(z, predictors, w); err != nil {
		return nil, err
	}
	return f, f.finish(z, predictors, w)
}

// check returns the weights, all 1 if there are none.
func check(y []float64, predictors [][]float64, weights []float64) ([]float64, error) {
	bad := func(x []float64) bool {
		for _, v := range x {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				return true
			}
		}
		return false
	}
	if bad(y) {
		return nil, fmt.Errorf("linear: %w: in the response", interval.ErrNotFinite)
	}
	for j, col := range predictors {
		if len(col) != len(y) {
			return nil, fmt.Errorf("linear: %w: predictor %d has %d values for %d", interval.ErrDomain, j, len(col), len(y))
		}
		if bad(col) {
			return nil, fmt.Errorf("linear: %w: in predictor %d", interval.ErrNotFinite, j)
		}
	}
	if weights == nil {
		weights = make([]float64, len(y))
		for i := range weights {
			weights[i] = 1
		}
		return weights, nil
	}
	if len(weights) != len(y) || bad(weights) {
		return nil, fmt.Errorf("linear: %w: weights", interval.ErrDomain)
	}
	for _, v := range weights {
		if v <= 0 {
			return nil, fmt.Errorf("linear: %w: weight %v", interval.ErrDomain, v)
		}
	}
	return weights, nil
}

// weightedMean takes a second pass, which removes the rounding of the first.
func weightedMean(x, w []float64, sum float64) float64 {
	m := 0.0
	for range 2 {
		d := 0.0
		for i, v := range x {
			d += w[i] * (v - m)
		}
		m += d / sum
	}
	return m
}

// solve finds the slopes and their covariance from centred, weighted columns
// scaled to length 1.
func (f *Fit) solve(z []float64, predictors [][]float64, w []float64) error {
	n, k := len(z), len(predictors)
	f.slopes = make([]float64, k)
	if k == 0 {
		return nil
	}
	x, scale := mat.NewDense(n, k, nil), make([]float64, k)
	for j, col := range predictors {
		var size float64
		for i, v := range col {
			d := math.Sqrt(w[i]) * (v - f.center[j])
			x.Set(i, j, d)
			scale[j] = math.Hypot(scale[j], d)
			size = math.Hypot(size, math.Sqrt(w[i])*v)
		}
		if !(scale[j] > 1e-13*size) { // constant: nothing but rounding is left
			return fmt.Errorf("linear: %w: predictor %d is constant", ErrCollinear, j)
		}
		for i := range n {
			x.Set(i, j, x.At(i, j)/scale[j])
		}
	}
	var qr mat.QR
	qr.Factorize(x)
	var full mat.Dense
	qr.RTo(&full)
	r := mat.NewTriDense(k, mat.Upper, nil)
	for i := range k {
		if math.Abs(full.At(i, i)) < 1e-9 { // the columns have length 1
			return fmt.Errorf("linear: %w: predictor %d depends on those before it", ErrCollinear, i)
		}
		for j := i; j < k; j++ {
			r.SetTri(i, j, full.At(i, j))
		}
	}
	// The second round solves for what the first left over: an intercept far
	// from the data shows the last digit of a slope.
	rest := mat.NewVecDense(n, nil)
	rest.CopyVec(mat.NewVecDense(n, z))
	for range 2 {
		var b, fitted mat.VecDense
		if err := qr.SolveVecTo(&b, false, rest); err != nil {
			return fmt.Errorf("linear: %w", ErrCollinear)
		}
		fitted.MulVec(x, &b)
		rest.SubVec(rest, &fitted)
		for j := range k {
			f.slopes[j] += b.AtVec(j) / scale[j]
		}
	}
	var inv mat.TriDense
	if err := inv.InverseTri(r); err != nil {
		return fmt.Errorf("linear: %w", ErrCollinear)
	}
	f.cov = mat.NewDense(k, k, nil)
	f.cov.Mul(&inv, inv.T())
	for i := range k {
		for j := range k {
			f.cov.Set(i, j, f.cov.At(i, j)/(scale[i]*scale[j]))
		}
	}
	return nil
}

// finish computes what follows from the slopes.
func (f *Fit) finish(z []float64, predictors [][]float64, w []float64) error {
	var rss, total float64
	for i, v := range z {
		r := v
		for j, col := range predictors {
			r -= f.slopes[j] * math.Sqrt(w[i]) * (col[i] - f.center[j])
		}
		rss += r * r
		total += v * v
	}
	f.SD = math.Sqrt(rss / f.DF)
	f.R2, f.F, f.P = math.NaN(), math.NaN(), math.NaN()
	if total > 0 {
		f.R2 = 1 - rss/total
	}
	if k := float64(len(predictors)); k > 0 && f.SD > 0 {
		f.F = (total - rss) / k / (f.SD * f.SD)
		f.P = dist.FSurvival(f.F, k, f.DF)
	}
	if f.intercept {
		at := make([]float64, len(predictors))
		value, variance := f.at(at)
		f.Coef, f.SE = append(f.Coef, value), append(f.SE, f.SD*math.Sqrt(variance))
	}
	for j := range predictors {
		f.Coef, f.SE = append(f.Coef, f.slopes[j]), append(f.SE, f.SD*math.Sqrt(f.cov.At(j, j)))
	}
	for j := range f.Coef {
		if math.IsNaN(f.Coef[j]+f.SE[j]) || math.IsInf(f.Coef[j]+f.SE[j], 0) {
			return fmt.Errorf("linear: %w: coefficient %d", interval.ErrNotFinite, j)
		}
	}
	return nil
}

// at returns the fitted value at x and its variance in units of SD^2.
func (f *Fit) at(x []float64) (value, variance float64) {
	value = f.mean
	if f.intercept {
		variance = 1 / f.weight
	}
	for i := range f.slopes {
		di := x[i] - f.center[i]
		value += f.slopes[i] * di
		for j := range f.slopes {
			variance += di * f.cov.At(i, j) * (x[j] - f.center[j])
		}
	}
	return value, variance
}

// Coefficient returns a coefficient with its one-sided bounds; j counts as in
// Coef.
func (f *Fit) Coefficient(j int, confidence float64) (stats.Estimate, error) {
	if j < 0 || j >= len(f.Coef) {
		return stats.Estimate{}, fmt.Errorf("linear: %w: coefficient %d of %d", interval.ErrDomain, j, len(f.Coef))
	}
	return interval.FromSE(f.Coef[j], f.SE[j], f.DF, confidence)
}

// Mean returns the fitted mean at predictors x, with the one-sided bounds of
// the true mean there.
func (f *Fit) Mean(x []float64, confidence float64) (stats.Estimate, error) {
	if len(x) != len(f.slopes) {
		return stats.Estimate{}, fmt.Errorf("linear: %w: %d predictors for %d", interval.ErrDomain, len(x), len(f.slopes))
	}
	value, variance := f.at(x)
	return interval.FromSE(value, f.SD*math.Sqrt(variance), f.DF, confidence)
}

// Next returns the fitted mean at x, with the one-sided bounds of one new
// observation of weight 1 there.
func (f *Fit) Next(x []float64, confidence float64) (stats.Estimate, error) {
	if len(x) != len(f.slopes) {
		return stats.Estimate{}, fmt.Errorf("linear: %w: %d predictors for %d", interval.ErrDomain, len(x), len(f.slopes))
	}
	value, variance := f.at(x)
	return interval.FromSE(value, f.SD*math.Sqrt(1+variance), f.DF, confidence)
}
