package trend

import (
	"fmt"
	"math"
	"slices"

	"sealbound/stats/dist"
	"sealbound/stats/interval"
)

// A Step is the largest change of the mean from one time to the next.
type Step struct {
	Before, After         float64 // the two times, years
	MeanBefore, MeanAfter float64 // dB
	ShiftDB               float64 // MeanAfter - MeanBefore
	Steps                 int     // from which it is the largest: different times less 1

	// T compares the two means, with the variance pooled within all times. DF is
	// the number of values less the number of times. T and P are NaN where no
	// time has two values, and where all values of each time are equal.
	T, DF float64
	P     float64 // two-sided, times Steps (Bonferroni), at most 1
}

// LargestStep points at the largest step between the means of consecutive times
// (the first of several equal ones). Values at equal times, to the bit, belong
// together: the closings of one session, say.
//
//	t = shift / (s*sqrt(1/n1 + 1/n2)), s^2 pooled within times
//
// It only points. The spread within a session does not hold the error that all
// closings of a session share, so a small P tells of a shift between two
// sessions, not of its cause: the seal, the set-up and the weather all qualify.
// It returns ErrTooFew for fewer than two different times.
func LargestStep(t, y []float64) (Step, error) {
	if err := check(t, y, 2); err != nil {
		return Step{}, err
	}
	times := slices.Clone(t)
	slices.Sort(times)
	times = slices.Compact(times)
	if len(times) < 2 {
		return Step{}, fmt.Errorf("trend: %w: 1 time, at least 2 needed", interval.ErrTooFew)
	}
	at := make([][]float64, len(times))
	for i, v := range t {
		k, _ := slices.BinarySearch(times, v)
		at[k] = append(at[k], y[i])
	}
	mean := make([]float64, len(times))
	var within float64
	for k, values := range at {
		m, sd, err := interval.MeanSD(values)
		if err != nil {
			return Step{}, err
		}
		mean[k] = m
		if n := len(values); n > 1 {
			within += float64(n-1) * sd * sd
		}
	}
	s := Step{Steps: len(times) - 1, DF: float64(len(y) - len(times)), T: math.NaN(), P: math.NaN()}
	k := 1
	for j := 2; j < len(mean); j++ {
		if math.Abs(mean[j]-mean[j-1]) > math.Abs(mean[k]-mean[k-1]) {
			k = j
		}
	}
	s.Before, s.After, s.MeanBefore, s.MeanAfter = times[k-1], times[k], mean[k-1], mean[k]
	s.ShiftDB = s.MeanAfter - s.MeanBefore
	if notFinite(s.ShiftDB, within) {
		return Step{}, fmt.Errorf("trend: %w: a step", interval.ErrNotFinite)
	}
	if s.DF > 0 && within > 0 {
		s.T = s.ShiftDB / math.Sqrt(within/s.DF*(1/float64(len(at[k-1]))+1/float64(len(at[k]))))
		s.P = math.Min(1, float64(s.Steps)*2*dist.TSurvival(math.Abs(s.T), s.DF))
	}
	return s, nil
}
