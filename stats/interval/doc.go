// Package interval gives the bounds that one sample of attenuations supports:
// of its mean, of the next closing, of the level that a share of all closings
// exceeds, of its spread, without a distribution, and over nested levels. It
// also holds the summaries under them, the power of the one-sample test and the
// combination of uncertainties.
//
// Values are in dB unless said otherwise. Every bound is one-sided: 0.95 means
// that 5 % of the error lies beyond that one bound. A two-sided interval of
// confidence c is the pair of bounds at (1+c)/2.
//
// No function panics or returns NaN or Inf with a nil error, except in fields
// whose comment says that NaN means "not defined".
package interval

import (
	"errors"
	"fmt"
	"math"
)

var (
	// ErrTooFew says that there are too few values for the answer; the
	// message says how many are needed.
	ErrTooFew = errors.New("too few values")
	// ErrDomain says that an argument is outside its domain: a confidence or
	// coverage not between 0 and 1, a negative standard deviation.
	ErrDomain = errors.New("argument outside its domain")
	// ErrNotFinite says that a value, or the result, is NaN or infinite.
	ErrNotFinite = errors.New("not a finite number")
)

func tooFew(have, need int) error {
	return fmt.Errorf("interval: %w: %d, at least %d needed", ErrTooFew, have, need)
}

// share checks that a confidence, coverage or power lies strictly between 0
// and 1.
func share(name string, p float64) error {
	if !(p > 0 && p < 1) {
		return fmt.Errorf("interval: %w: %s %v is not between 0 and 1", ErrDomain, name, p)
	}
	return nil
}

func finite(name string, x ...float64) error {
	for _, v := range x {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return fmt.Errorf("interval: %w: %s %v", ErrNotFinite, name, v)
		}
	}
	return nil
}

func spread(name string, sd float64) error {
	if err := finite(name, sd); err != nil {
		return err
	}
	if sd < 0 {
		return fmt.Errorf("interval: %w: %s %v is negative", ErrDomain, name, sd)
	}
	return nil
}

// freedom checks degrees of freedom: positive, +Inf allowed.
func freedom(df float64) error {
	if !(df > 0) {
		return fmt.Errorf("interval: %w: %v degrees of freedom", ErrDomain, df)
	}
	return nil
}
