// Package trend says what a handful of yearly values of one series shows: a
// rank test for a trend, a robust slope, a straight line with its bounds and
// the time at which they reach a target, two slopes compared, and the largest
// step between sessions. Where strips and boxes share sessions a mixed model is
// needed instead; what is here takes every value as independent.
//
// Times are in years (any unit serves, slopes are per unit), values in dB. All
// functions leave their arguments as they are. Bounds are one-sided: a two-sided
// interval of confidence c is the pair of bounds at (1+c)/2.
//
// No function panics or returns NaN or Inf with a nil error, except in fields
// whose comment says what NaN or Inf means there. Errors are those of package
// interval (ErrTooFew, ErrDomain, ErrNotFinite), and linear.ErrCollinear where
// all times are equal.
package trend

import (
	"fmt"
	"math"

	"sealbound/stats/interval"
)

// mostValues keeps the number of pairs in memory: 2000 values have 2 million.
// More than a handful is averaged within sessions first anyway.
const mostValues = 2000

// check refuses series that no function here takes.
func check(t, y []float64, need int) error {
	if len(t) != len(y) {
		return fmt.Errorf("trend: %w: %d times for %d values", interval.ErrDomain, len(t), len(y))
	}
	for i := range t {
		if math.IsNaN(t[i]) || math.IsInf(t[i], 0) || math.IsNaN(y[i]) || math.IsInf(y[i], 0) {
			return fmt.Errorf("trend: %w: value %d is %v at %v", interval.ErrNotFinite, i+1, y[i], t[i])
		}
	}
	if len(y) < need {
		return fmt.Errorf("trend: %w: %d, at least %d needed", interval.ErrTooFew, len(y), need)
	}
	if len(y) > mostValues {
		return fmt.Errorf("trend: %w: %d values, at most %d; average within sessions first", interval.ErrDomain, len(y), mostValues)
	}
	return nil
}

func checkConfidence(confidence float64) error {
	if !(confidence > 0 && confidence < 1) {
		return fmt.Errorf("trend: %w: confidence %v is not between 0 and 1", interval.ErrDomain, confidence)
	}
	return nil
}

func notFinite(x ...float64) bool {
	for _, v := range x {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return true
		}
	}
	return false
}
