package interval

import (
	"fmt"
	"math"

	"sealbound/stats/dist"
)

// Power returns the probability that a lower bound at that confidence clears a
// target, when the mean truly lies ncp standard errors above it and the standard
// error is estimated with df degrees of freedom:
//
//	P(t' > t(confidence; df)), t' noncentral with df and ncp
//
// df > 0, +Inf allowed; ncp finite, below 0 when the mean is under the target.
func Power(df, ncp, confidence float64) (float64, error) {
	if err := freedom(df); err != nil {
		return math.NaN(), err
	}
	if err := finite("noncentrality", ncp); err != nil {
		return math.NaN(), err
	}
	if err := share("confidence", confidence); err != nil {
		return math.NaN(), err
	}
	p := dist.NoncentralT{Nu: df, Delta: ncp}.Survival(dist.TQuantile(confidence, df))
	return p, finite("power", p)
}

// PowerOf returns Power for n independent closings whose mean lies effect
// standard deviations above the target. It returns ErrTooFew for n < 2.
func PowerOf(n int, effect, confidence float64) (float64, error) {
	if n < 2 {
		return math.NaN(), tooFew(n, 2)
	}
	return Power(float64(n-1), effect*math.Sqrt(float64(n)), confidence)
}

// CountFor returns the fewest closings n >= 2 for which PowerOf reaches power,
// and the power at that n. effect = (mean - target)/sd must be positive. It
// returns ErrDomain outside the domain, and when even limit closings do not
// reach the power (limit >= 2).
func CountFor(effect, confidence, power float64, limit int) (n int, attained float64, err error) {
	if err := share("power", power); err != nil {
		return 0, math.NaN(), err
	}
	if !(effect > 0) || limit < 2 {
		return 0, math.NaN(), fmt.Errorf("interval: %w: effect %v, limit %d", ErrDomain, effect, limit)
	}
	at := func(n int) (float64, error) { return PowerOf(n, effect, confidence) }
	lo, hi := 1, 2
	for {
		attained, err = at(hi)
		if err != nil {
			return 0, math.NaN(), err
		}
		if attained >= power {
			break
		}
		if hi >= limit {
			return 0, attained, fmt.Errorf("interval: %w: power %.3g with %d closings", ErrDomain, attained, limit)
		}
		lo, hi = hi, min(2*hi, limit)
	}
	for hi-lo > 1 { // power grows with n
		mid := lo + (hi-lo)/2
		p, err := at(mid)
		if err != nil {
			return 0, math.NaN(), err
		}
		if p >= power {
			hi, attained = mid, p
		} else {
			lo = mid
		}
	}
	return hi, attained, nil
}
