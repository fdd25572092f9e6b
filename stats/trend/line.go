package trend

import (
	"fmt"
	"math"

	"sealbound/stats"
	"sealbound/stats/dist"
	"sealbound/stats/interval"
	"sealbound/stats/linear"
)

// A Line is a straight line through values over time, by least squares. It
// stays as fitted; make one with FitLine.
type Line struct {
	N                    int
	Intercept, Slope     float64 // dB at time 0, dB per year
	SEIntercept, SESlope float64
	SD                   float64 // residual standard deviation of a value of weight 1, dB
	DF                   float64 // N - 2
	R2                   float64 // NaN where all values are equal
	MeanTime             float64 // weighted mean of the times
	T                    float64 // Slope/SESlope; NaN where SESlope is 0
	PTwoSided            float64 // of no slope; NaN as T
	PDecreasing          float64 // one-sided, small where values fall; NaN as T

	fit *linear.Fit
}

// FitLine fits values y (dB) over times t (years). weights, nil for equal ones,
// are inverse to the variances: that of value i is SD^2/weights[i]; they are
// positive. It needs three values and two different times, and returns ErrTooFew,
// ErrDomain, ErrNotFinite or linear.ErrCollinear.
//
// Values on an exact line have SD 0 and bounds on the line itself. That is
// arithmetic, not evidence.
func FitLine(t, y, weights []float64) (*Line, error) {
	if err := check(t, y, 3); err != nil {
		return nil, err
	}
	fit, err := linear.Regress(y, [][]float64{t}, linear.Options{Intercept: true, Weights: weights})
	if err != nil {
		return nil, err
	}
	l := &Line{
		N: fit.N, Intercept: fit.Coef[0], Slope: fit.Coef[1], SEIntercept: fit.SE[0], SESlope: fit.SE[1],
		SD: fit.SD, DF: fit.DF, R2: fit.R2, MeanTime: meanTime(t, weights),
		T: math.NaN(), PTwoSided: math.NaN(), PDecreasing: math.NaN(), fit: fit,
	}
	if l.SESlope > 0 {
		l.T = l.Slope / l.SESlope
		l.PTwoSided = 2 * dist.TSurvival(math.Abs(l.T), l.DF)
		l.PDecreasing = dist.TCDF(l.T, l.DF)
	}
	if notFinite(l.Intercept, l.Slope, l.SEIntercept, l.SESlope, l.SD, l.MeanTime) {
		return nil, fmt.Errorf("trend: %w: the line", interval.ErrNotFinite)
	}
	return l, nil
}

// meanTime takes a second pass, which removes the rounding of the first.
func meanTime(t, weights []float64) float64 {
	mean := 0.0
	for range 2 {
		var off, sum float64
		for i, v := range t {
			w := 1.0
			if weights != nil {
				w = weights[i]
			}
			off += w * (v - mean)
			sum += w
		}
		mean += off / sum
	}
	return mean
}

// SlopeBounds returns the slope with its one-sided bounds, dB per year.
func (l *Line) SlopeBounds(confidence float64) (stats.Estimate, error) {
	return l.fit.Coefficient(1, confidence)
}

// At returns the line at time t with the one-sided bounds of the true mean
// there, dB.
func (l *Line) At(t, confidence float64) (stats.Estimate, error) {
	return l.fit.Mean([]float64{t}, confidence)
}

// NextAt returns the line at time t with the one-sided bounds of one new value
// of weight 1 there, dB.
func (l *Line) NextAt(t, confidence float64) (stats.Estimate, error) {
	return l.fit.Next([]float64{t}, confidence)
}
