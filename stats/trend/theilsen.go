package trend

import (
	"fmt"
	"math"
	"slices"

	"sealbound/stats/dist"
	"sealbound/stats/interval"
)

// A Robust is the Theil-Sen line: the median of the slopes of all pairs, which a
// few wild values hardly move.
type Robust struct {
	Slope             float64 // dB per year
	InterceptMedians  float64 // median(y) - Slope*median(t), dB at time 0
	InterceptResidual float64 // median(y - Slope*t), dB at time 0; the other convention
	Slopes            int     // pairs with different times

	// One-sided bounds of the slope at Confidence each, NaN where so few values
	// have no bound at that confidence. Both conventions for ranks that are not
	// whole: interpolated, and rounded outwards, which is never the narrower.
	Lower, Upper               float64
	LowerOutward, UpperOutward float64
	Confidence                 float64
}

// TheilSen returns the line of values y over times t. The bounds invert the
// Mann-Kendall test in its normal approximation: of the N sorted slopes, those of
// rank (N-C)/2 and (N+C)/2 + 1, where C = z(confidence)*sqrt(VarS).
//
// It returns ErrTooFew for fewer than two values and ErrDomain where all times
// are equal or the confidence is not between 0 and 1; below 0.5 the bounds would
// pass each other, so that is refused as well.
//
// Source: P. K. Sen, Journal of the American Statistical Association 63 (1968)
// 1379-1389 (from memory); R. O. Gilbert, Statistical Methods for Environmental
// Pollution Monitoring, 1987, section 16.5 (from memory).
func TheilSen(t, y []float64, confidence float64) (Robust, error) {
	if err := check(t, y, 2); err != nil {
		return Robust{}, err
	}
	if err := checkConfidence(confidence); err != nil {
		return Robust{}, err
	}
	if confidence < 0.5 {
		return Robust{}, fmt.Errorf("trend: %w: confidence %v is below 0.5", interval.ErrDomain, confidence)
	}
	var slopes []float64
	for i := range t {
		for j := range i {
			if t[i] != t[j] {
				slopes = append(slopes, (y[i]-y[j])/(t[i]-t[j]))
			}
		}
	}
	if len(slopes) == 0 {
		return Robust{}, fmt.Errorf("trend: %w: all times are equal", interval.ErrDomain)
	}
	slices.Sort(slopes)
	r := Robust{Slope: middle(slopes), Slopes: len(slopes), Confidence: confidence}
	rest := make([]float64, len(y))
	for i := range y {
		rest[i] = y[i] - r.Slope*t[i]
	}
	r.InterceptMedians = median(y) - r.Slope*median(t)
	r.InterceptResidual = median(rest)
	c := dist.NormalQuantile(confidence) * math.Sqrt(varianceS(len(y), ties(t), ties(y)))
	n := float64(len(slopes))
	low, high := (n-c)/2, (n+c)/2+1
	r.Lower, r.Upper = ranked(slopes, low), ranked(slopes, high)
	r.LowerOutward, r.UpperOutward = ranked(slopes, math.Floor(low)), ranked(slopes, math.Ceil(high))
	if notFinite(slopes[0], slopes[len(slopes)-1], r.InterceptMedians, r.InterceptResidual) {
		return Robust{}, fmt.Errorf("trend: %w: a slope", interval.ErrNotFinite)
	}
	return r, nil
}

// ranked returns the value of a 1-based rank of sorted x, between ranks by
// straight interpolation; NaN beyond the ends.
func ranked(x []float64, rank float64) float64 {
	if !(rank >= 1 && rank <= float64(len(x))) {
		return math.NaN()
	}
	below := math.Floor(rank)
	v := x[int(below)-1]
	if rank > below {
		v += (rank - below) * (x[int(below)] - v)
	}
	return v
}

func median(x []float64) float64 {
	s := slices.Clone(x)
	slices.Sort(s)
	return middle(s)
}

// middle is the median of sorted x.
func middle(x []float64) float64 {
	h := len(x) / 2
	if len(x)%2 == 1 {
		return x[h]
	}
	return x[h-1] + (x[h]-x[h-1])/2
}
