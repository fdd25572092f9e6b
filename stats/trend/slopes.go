package trend

import (
	"math"

	"sealbound/stats"
	"sealbound/stats/dist"
	"sealbound/stats/interval"
	"sealbound/stats/linear"
)

// A Series is a set of values (dB) at times (years), as long as each other.
type Series struct{ Times, Values []float64 }

// A SlopePair compares the slopes of two series, each with a line of its own
// and one residual variance pooled over both.
type SlopePair struct {
	A, B       stats.Estimate // slopes, dB per year
	Difference stats.Estimate // slope of A less slope of B
	P          float64        // two-sided, of equal slopes; NaN where SD is 0
	F          float64        // of the same test, with 1 and DF degrees of freedom; NaN where SD is 0
	SD, DF     float64        // pooled; DF is the number of values less 4

	// As if both had one slope; of meaning only where nothing speaks against it.
	CommonSlope stats.Estimate // dB per year
	Level       stats.Estimate // A less B at any one time, dB
}

// CompareSlopes fits a line to each of two series and compares the slopes. Each
// needs two different times and together they need five values. It returns
// ErrTooFew, ErrDomain, ErrNotFinite or linear.ErrCollinear.
//
// Pooling supposes that the residual spread is the same in both. Series that
// share sessions share their errors and need a mixed model.
func CompareSlopes(a, b Series, confidence float64) (SlopePair, error) {
	for _, s := range []Series{a, b} {
		if err := check(s.Times, s.Values, 2); err != nil {
			return SlopePair{}, err
		}
	}
	if err := checkConfidence(confidence); err != nil {
		return SlopePair{}, err
	}
	na, n := len(a.Values), len(a.Values)+len(b.Values)
	y := append(append(make([]float64, 0, n), a.Values...), b.Values...)
	t := append(append(make([]float64, 0, n), a.Times...), b.Times...)
	// Centred within each series: slopes do not depend on it, and the two columns
	// of slopes are then orthogonal to all else.
	ta, tb, inA := make([]float64, n), make([]float64, n), make([]float64, n)
	meanA, meanB := meanTime(a.Times, nil), meanTime(b.Times, nil)
	for i, v := range t {
		if i < na {
			ta[i], inA[i] = v-meanA, 1
		} else {
			tb[i] = v - meanB
		}
	}
	own, err := linear.Regress(y, [][]float64{ta, tb, inA}, linear.Options{Intercept: true})
	if err != nil {
		return SlopePair{}, err
	}
	common, err := linear.Regress(y, [][]float64{t, inA}, linear.Options{Intercept: true})
	if err != nil {
		return SlopePair{}, err
	}
	p := SlopePair{SD: own.SD, DF: own.DF, P: math.NaN(), F: math.NaN()}
	if p.A, err = own.Coefficient(1, confidence); err != nil {
		return SlopePair{}, err
	}
	if p.B, err = own.Coefficient(2, confidence); err != nil {
		return SlopePair{}, err
	}
	p.Difference, err = interval.FromSE(p.A.Value-p.B.Value, math.Hypot(p.A.SE, p.B.SE), own.DF, confidence)
	if err != nil {
		return SlopePair{}, err
	}
	if p.Difference.SE > 0 {
		r := p.Difference.Value / p.Difference.SE
		p.F, p.P = r*r, 2*dist.TSurvival(math.Abs(r), own.DF)
	}
	if p.CommonSlope, err = common.Coefficient(1, confidence); err != nil {
		return SlopePair{}, err
	}
	p.Level, err = common.Coefficient(2, confidence)
	return p, err
}
