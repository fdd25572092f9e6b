package interval

import (
	"fmt"
	"math"

	"sealbound/stats"
	"sealbound/stats/dist"
)

// FromSE returns the one-sided bounds value -/+ t*se, t the confidence quantile
// of Student's t with df degrees of freedom (df > 0, +Inf for a known se). It
// returns ErrDomain for a confidence outside (0, 1), a negative se or a df not
// positive, and ErrNotFinite for a value that is not a number.
//
// An se of 0 gives bounds equal to the value. That is arithmetic, not evidence:
// whoever shows it says that all values were equal.
func FromSE(value, se, df, confidence float64) (stats.Estimate, error) {
	if err := finite("value", value); err != nil {
		return stats.Estimate{}, err
	}
	if err := spread("standard error", se); err != nil {
		return stats.Estimate{}, err
	}
	if err := freedom(df); err != nil {
		return stats.Estimate{}, err
	}
	if err := share("confidence", confidence); err != nil {
		return stats.Estimate{}, err
	}
	e := stats.Estimate{Value: value, SE: se, DF: df, Lower: value, Upper: value, Confidence: confidence}
	if se > 0 {
		w := dist.TQuantile(confidence, df) * se
		e.Lower, e.Upper = value-w, value+w
	}
	return e, finite("bound", e.Lower, e.Upper)
}

// MeanBounds returns the one-sided bounds of the mean of all closings from n
// independent ones with that sample mean and standard deviation (divisor n-1):
//
//	mean -/+ t(confidence; n-1) * sd/sqrt(n)
//
// It returns ErrTooFew for n < 2, and what FromSE returns.
func MeanBounds(n int, mean, sd, confidence float64) (stats.Estimate, error) {
	if n < 2 {
		return stats.Estimate{}, tooFew(n, 2)
	}
	if err := spread("standard deviation", sd); err != nil {
		return stats.Estimate{}, err
	}
	return FromSE(mean, sd/math.Sqrt(float64(n)), float64(n-1), confidence)
}

// NextBounds returns the one-sided prediction bounds of the mean of m closings
// still to be made (m = 1: the next closing), from n made:
//
//	mean -/+ t(confidence; n-1) * sd*sqrt(1/m + 1/n)
//
// SE of the result is the standard deviation of the error of prediction. It
// returns ErrTooFew for n < 2 and ErrDomain for m < 1.
//
// Source: NIST/SEMATECH e-Handbook 7.2; Hahn & Meeker, Statistical Intervals,
// section 4.7 (from memory).
func NextBounds(n int, mean, sd float64, m int, confidence float64) (stats.Estimate, error) {
	if n < 2 {
		return stats.Estimate{}, tooFew(n, 2)
	}
	if m < 1 {
		return stats.Estimate{}, fmt.Errorf("interval: %w: %d closings to come", ErrDomain, m)
	}
	if err := spread("standard deviation", sd); err != nil {
		return stats.Estimate{}, err
	}
	return FromSE(mean, sd*math.Sqrt(1/float64(m)+1/float64(n)), float64(n-1), confidence)
}

// SDBounds returns the one-sided bounds of a standard deviation that was
// estimated as sd with df degrees of freedom from normal values:
//
//	lower sd*sqrt(df/chi2(confidence; df)), upper sd*sqrt(df/chi2(1-confidence; df))
//
// SE is NaN: the distribution is too skew for one to be of use. It returns
// ErrDomain for df not positive or infinite, a negative sd or a confidence
// outside (0, 1).
func SDBounds(sd, df, confidence float64) (stats.Estimate, error) {
	if err := spread("standard deviation", sd); err != nil {
		return stats.Estimate{}, err
	}
	if err := freedom(df); err != nil {
		return stats.Estimate{}, err
	}
	if math.IsInf(df, 1) {
		return stats.Estimate{}, fmt.Errorf("interval: %w: infinite degrees of freedom", ErrDomain)
	}
	if err := share("confidence", confidence); err != nil {
		return stats.Estimate{}, err
	}
	e := stats.Estimate{
		Value: sd, SE: math.NaN(), DF: df, Confidence: confidence,
		Lower: sd * math.Sqrt(df/dist.ChiSquareQuantile(confidence, df)),
		Upper: sd * math.Sqrt(df/dist.ChiSquareQuantile(1-confidence, df)),
	}
	return e, finite("bound", e.Lower, e.Upper)
}
