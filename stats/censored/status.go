package censored

import (
	"errors"
	"fmt"
	"math"
)

// A Status says whether there is an estimate, and if not, why. The zero value
// is none: nothing passes for an estimate by omission.
type Status int

// Statuses.
const (
	NotFitted    Status = iota // nothing was fitted
	Estimated                  // there is an estimate
	NoReading                  // there is nothing to fit
	AllLimited                 // every reading is at the limit: all that is known is that each is at least its limit
	NoSpread                   // what was seen agrees exactly, and no limit lies above it: the spread has no estimate
	FewSeen                    // fewer values clear of the limits than there are means, slopes and spreads to estimate
	SlopeFree                  // nothing holds the slope: one age only, or all limits on one side of the only age seen
	Unlinked                   // readings clear of the limit do not link the closings, and the limits do not hold the parts together
	NotConverged               // the numerical search failed
)

// String gives the status in words for the tester.
func (s Status) String() string {
	switch s {
	case NotFitted:
		return "not fitted"
	case Estimated:
		return "estimated"
	case NoReading:
		return "no estimate: no reading"
	case AllLimited:
		return "no estimate: every reading is at the limit"
	case NoSpread:
		return "no estimate: all values clear of the limit agree exactly, and no limit is above them"
	case FewSeen:
		return "no estimate: too few values clear of the limit"
	case SlopeFree:
		return "no estimate: the limits leave the slope open"
	case Unlinked:
		return "no estimate: readings clear of the limit do not link the closings"
	case NotConverged:
		return "no estimate: the search did not converge"
	}
	return fmt.Sprintf("status %d", int(s))
}

var errLengths = errors.New("censored: columns differ in length")

// finite reports an error for a value that is not a finite number.
func finite(what string, values []float64) error {
	for i, v := range values {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return fmt.Errorf("censored: %s %d is not finite", what, i)
		}
	}
	return nil
}
