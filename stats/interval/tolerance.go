package interval

import (
	"fmt"
	"math"

	"sealbound/stats/dist"
)

// LowerFactor returns k (no unit) such that mean - k*sd is a lower tolerance
// bound: with that confidence at least that coverage (a share) of all closings
// exceeds it. mean and sd (divisor n-1) come from n independent closings, whose
// values are normal; mean + k*sd is the upper bound.
//
//	k = t'(confidence; n-1, sqrt(n)*z(coverage)) / sqrt(n)
//
// t' is the quantile of the noncentral t, z that of the normal. It returns
// ErrTooFew for n < 2 and ErrDomain for a share outside (0, 1).
//
// Source: the formula of ISO 16269-6 for a one-sided interval with unknown mean
// and standard deviation; the same in NIST/SEMATECH e-Handbook 7.2.6.3.
func LowerFactor(n int, coverage, confidence float64) (float64, error) {
	if n < 2 {
		return math.NaN(), tooFew(n, 2)
	}
	return Factor(float64(n), float64(n-1), coverage, confidence)
}

// Factor is LowerFactor for a mean and a total standard deviation that do not
// come from one simple sample: n0 is the number of closings to which the mean
// is equivalent (total variance / variance of the mean), df the degrees of
// freedom of the total standard deviation.
//
//	k = t'(confidence; df, sqrt(n0)*z(coverage)) / sqrt(n0)
//
// n0 and df are positive, df may be +Inf, n0 may not. Exact for n0 = n, df =
// n - 1; otherwise an approximation of the Satterthwaite kind.
func Factor(n0, df, coverage, confidence float64) (float64, error) {
	if err := finite("equivalent count", n0); err != nil {
		return math.NaN(), err
	}
	if n0 <= 0 {
		return math.NaN(), fmt.Errorf("interval: %w: equivalent count %v", ErrDomain, n0)
	}
	if err := freedom(df); err != nil {
		return math.NaN(), err
	}
	if err := share("coverage", coverage); err != nil {
		return math.NaN(), err
	}
	if err := share("confidence", confidence); err != nil {
		return math.NaN(), err
	}
	root := math.Sqrt(n0)
	k := dist.NoncentralT{Nu: df, Delta: root * dist.NormalQuantile(coverage)}.Quantile(confidence) / root
	return k, finite("factor", k)
}
