package plan

import (
	"fmt"

	"sealbound/stats/interval"
)

// MostFailures is the largest number of failures for which Failures plans.
const MostFailures = 1000

// A FailurePlan asks for Closings closings of which at most Failures may lie
// below the target. If that happens, at least the share asked for of all closings
// lies above it, with confidence Attained, whatever the distribution.
type FailurePlan struct {
	Failures, Closings int
	Attained           float64 // at least the confidence asked for
}

// Failures returns the plans for 0 failures, 1, and so on to most.
//
//	0 failures: n = ceil(ln(1-confidence)/ln(coverage))
//
// Which plan is followed is settled before the first closing: going on after a
// failure until a later plan fits is not a plan, and its confidence is lower.
// It returns ErrDomain for shares outside (0, 1) or most outside 0 to
// MostFailures.
func Failures(coverage, confidence float64, most int) ([]FailurePlan, error) {
	if most < 0 || most > MostFailures {
		return nil, fmt.Errorf("plan: %w: %d failures, 0 to %d are planned for", interval.ErrDomain, most, MostFailures)
	}
	plans := make([]FailurePlan, 0, most+1)
	for k := 0; k <= most; k++ {
		n, err := interval.FreeCount(coverage, confidence, k)
		if err != nil {
			return nil, err
		}
		attained, err := interval.FreeConfidence(n, coverage, k)
		if err != nil {
			return nil, err
		}
		plans = append(plans, FailurePlan{Failures: k, Closings: n, Attained: attained})
	}
	return plans, nil
}
