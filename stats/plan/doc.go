// Package plan answers what has to be settled before measuring: how many
// closings, sessions and boxes show a wanted margin; how many closings without a
// failure show a share; what a set-up can show at all; and in which order to
// take the readings.
//
// Levels and margins are in dB, variances in dB^2. Confidence is that of the
// one-sided lower bound which is to clear the target, power the probability that
// it does. Everything is deterministic: the same arguments give the same answer
// to the bit, and what is drawn at random takes a seed.
//
// No function panics or returns NaN or Inf with a nil error. Errors are those of
// package interval (ErrTooFew, ErrDomain, ErrNotFinite) and ErrOutOfReach.
package plan

import (
	"errors"
	"fmt"
	"math"

	"sealbound/stats/interval"
)

// ErrOutOfReach says that nothing within the limits reaches the power; the
// message says what the most attained is.
var ErrOutOfReach = errors.New("out of reach")

// An Aim is what the measurement is to show.
type Aim struct {
	MarginDB   float64 // true mean less target, > 0
	Confidence float64 // of the lower bound, in (0, 1)
	Power      float64 // wanted probability that the bound clears the target, in (0, 1)
}

func (a Aim) check() error {
	if err := share("confidence", a.Confidence); err != nil {
		return err
	}
	if err := share("power", a.Power); err != nil {
		return err
	}
	if err := finite("margin", a.MarginDB); err != nil {
		return err
	}
	if a.MarginDB <= 0 {
		return fmt.Errorf("plan: %w: margin %v dB; no number of closings shows a mean to lie above a target that it does not exceed", interval.ErrDomain, a.MarginDB)
	}
	return nil
}

func share(name string, p float64) error {
	if !(p > 0 && p < 1) {
		return fmt.Errorf("plan: %w: %s %v is not between 0 and 1", interval.ErrDomain, name, p)
	}
	return nil
}

func finite(name string, x ...float64) error {
	for _, v := range x {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return fmt.Errorf("plan: %w: %s %v", interval.ErrNotFinite, name, v)
		}
	}
	return nil
}

// notNegative checks numbers that are finite and 0 or more.
func notNegative(name string, x ...float64) error {
	if err := finite(name, x...); err != nil {
		return err
	}
	for _, v := range x {
		if v < 0 {
			return fmt.Errorf("plan: %w: %s %v is negative", interval.ErrDomain, name, v)
		}
	}
	return nil
}
