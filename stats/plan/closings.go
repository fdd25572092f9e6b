package plan

import (
	"errors"
	"fmt"
	"math"

	"sealbound/stats/interval"
)

// MostClosings is the largest number of closings that Closings looks at. Beyond
// it the mean must be brought nearer, not counted.
const MostClosings = 100_000

// A Count is a number of closings and the power that it gives.
type Count struct {
	Closings int
	Power    float64
}

// Closings returns the fewest closings of one fitting in one session whose lower
// bound of the mean clears the target with the power wanted, and the power at
// that number. sdDB > 0 is the standard deviation from one closing to the next.
//
//	power = P(T > t(confidence; n-1)), T ~ t'(n-1, sqrt(n)*margin/sd)
//
// It speaks of this strip in this box on this day: boxes, sessions and the error
// of the reference need a Layout. It returns ErrOutOfReach, with the power that
// MostClosings attain, where those are too few.
func Closings(sdDB float64, aim Aim) (Count, error) {
	if err := aim.check(); err != nil {
		return Count{}, err
	}
	if err := finite("standard deviation", sdDB); err != nil {
		return Count{}, err
	}
	if sdDB <= 0 {
		return Count{}, fmt.Errorf("plan: %w: standard deviation %v dB; without spread there is nothing to plan", interval.ErrDomain, sdDB)
	}
	// The ratio may leave the range of numbers at either end; the power is the same.
	effect := math.Max(math.Min(aim.MarginDB/sdDB, 1e300), math.SmallestNonzeroFloat64)
	n, power, err := interval.CountFor(effect, aim.Confidence, aim.Power, MostClosings)
	switch {
	case errors.Is(err, interval.ErrDomain) && n == 0 && !math.IsNaN(power):
		return Count{MostClosings, power}, fmt.Errorf("plan: %w: %d closings give power %.3g", ErrOutOfReach, MostClosings, power)
	case err != nil:
		return Count{}, err
	}
	return Count{n, power}, nil
}
