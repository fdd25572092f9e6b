package interval

import (
	"fmt"
	"math"
	"slices"

	"sealbound/stats/dist"
)

// SignConfidence returns the confidence with which the smallest of n
// independent closings is a lower bound of the median of all: 1 - 0.5^n, since
// all n lie above the median with probability 0.5^n. It is 0 for n < 1. It
// holds for values that are only known to be at least what was read.
func SignConfidence(n int) float64 {
	if n < 1 {
		return 0
	}
	return -math.Expm1(-float64(n) * math.Ln2)
}

// SignCount returns the fewest closings whose smallest bounds the median with
// that confidence: 4 for 0.90, 5 for 0.95, 7 for 0.99. It returns ErrDomain for
// a confidence outside (0, 1).
func SignCount(confidence float64) (int, error) {
	if err := share("confidence", confidence); err != nil {
		return 0, err
	}
	return ceil(-math.Log2(1 - confidence)), nil
}

// SignLower returns the smallest of x as the lower bound of the median of all
// closings, and the confidence attained, which is at least the one asked for.
// If there are fewer values than SignCount asks for it returns ErrTooFew with
// the smallest value and the confidence that it does attain.
func SignLower(x []float64, confidence float64) (lower, attained float64, err error) {
	need, err := SignCount(confidence)
	if err != nil {
		return math.NaN(), math.NaN(), err
	}
	if err := finite("value", x...); err != nil {
		return math.NaN(), math.NaN(), err
	}
	if len(x) == 0 {
		return math.NaN(), 0, tooFew(0, need)
	}
	lower, attained = slices.Min(x), SignConfidence(len(x))
	if len(x) < need {
		return lower, attained, tooFew(len(x), need)
	}
	return lower, attained, nil
}

// ceil is math.Ceil of x rounded to nine decimals: log(1-0.9)/log(0.1) is a
// hair above 1 in floating point and must give 1.
func ceil(x float64) int {
	return int(math.Ceil(math.Round(x*1e9) / 1e9))
}

// maxCount is the largest count that the searches return; more closings than
// this are out of anybody's reach.
const maxCount = 1 << 40

// FreeCount returns the fewest closings n for which the (failures+1)-th
// smallest is a lower bound that at least the share coverage of all closings
// exceeds, with that confidence, whatever the distribution. With failures = 0
// the smallest is the bound: n = ceil(ln(1-confidence)/ln(coverage)). In other
// words: n closings of which at most that many may fall below a level.
//
// It returns ErrDomain for shares outside (0, 1) or negative failures, and for
// a count beyond 2^40.
//
// Source: NIST/SEMATECH e-Handbook 7.2.6.4 (from memory); Wilks 1941.
func FreeCount(coverage, confidence float64, failures int) (int, error) {
	if err := share("coverage", coverage); err != nil {
		return 0, err
	}
	if err := share("confidence", confidence); err != nil {
		return 0, err
	}
	if failures < 0 {
		return 0, fmt.Errorf("interval: %w: %d failures", ErrDomain, failures)
	}
	n := math.Log(1-confidence) / math.Log(coverage)
	if !(n+float64(failures) < maxCount) {
		return 0, fmt.Errorf("interval: %w: more than 2^40 closings", ErrDomain)
	}
	if failures == 0 {
		return max(1, ceil(n)), nil
	}
	// The confidence of n grows with n; find the first that reaches it.
	enough := func(n int) bool {
		c, err := FreeConfidence(n, coverage, failures)
		return err == nil && 1-c <= (1-confidence)*(1+1e-9)
	}
	lo, hi := failures, max(failures+1, ceil(n))
	for !enough(hi) {
		if hi > maxCount {
			return 0, fmt.Errorf("interval: %w: more than 2^40 closings", ErrDomain)
		}
		lo, hi = hi, 2*hi
	}
	for hi-lo > 1 {
		if mid := lo + (hi-lo)/2; enough(mid) {
			hi = mid
		} else {
			lo = mid
		}
	}
	return hi, nil
}

// FreeConfidence returns the confidence with which the (failures+1)-th smallest
// of n closings is exceeded by at least the share coverage of all closings:
// one minus the probability of at most that many failures in n, each failing
// with probability 1 - coverage. It returns ErrTooFew if n <= failures.
func FreeConfidence(n int, coverage float64, failures int) (float64, error) {
	if err := share("coverage", coverage); err != nil {
		return math.NaN(), err
	}
	if failures < 0 {
		return math.NaN(), fmt.Errorf("interval: %w: %d failures", ErrDomain, failures)
	}
	if n <= failures {
		return math.NaN(), tooFew(n, failures+1)
	}
	if failures == 0 {
		return -math.Expm1(float64(n) * math.Log(coverage)), nil
	}
	return 1 - dist.BetaCDF(coverage, float64(n-failures), float64(failures+1)), nil
}

// FreeLower returns the smallest of x as a lower bound that at least the share
// coverage of all closings exceeds, and the confidence attained, whatever the
// distribution. Values that are only known to be at least what was read keep
// the statement true. With too few values for the confidence it returns
// ErrTooFew with the smallest value and the confidence that it does attain.
func FreeLower(x []float64, coverage, confidence float64) (lower, attained float64, err error) {
	need, err := FreeCount(coverage, confidence, 0)
	if err != nil {
		return math.NaN(), math.NaN(), err
	}
	if err := finite("value", x...); err != nil {
		return math.NaN(), math.NaN(), err
	}
	if len(x) == 0 {
		return math.NaN(), 0, tooFew(0, need)
	}
	attained, err = FreeConfidence(len(x), coverage, 0)
	if err != nil {
		return math.NaN(), math.NaN(), err
	}
	lower = slices.Min(x)
	if len(x) < need {
		return lower, attained, tooFew(len(x), need)
	}
	return lower, attained, nil
}

// ShareLower returns the one-sided lower bound of the share of closings that
// succeed, after failures in n (Clopper and Pearson): the 1-confidence quantile
// of the beta distribution with n-failures and failures+1. It is 0 when all
// failed. It returns ErrTooFew for n < 1 and ErrDomain for failures outside
// 0 to n or a confidence outside (0, 1).
func ShareLower(n, failures int, confidence float64) (float64, error) {
	if err := share("confidence", confidence); err != nil {
		return math.NaN(), err
	}
	if n < 1 {
		return math.NaN(), tooFew(n, 1)
	}
	switch {
	case failures < 0 || failures > n:
		return math.NaN(), fmt.Errorf("interval: %w: %d failures in %d", ErrDomain, failures, n)
	case failures == n:
		return 0, nil
	case failures == 0:
		return math.Exp(math.Log(1-confidence) / float64(n)), nil
	}
	p := dist.BetaQuantile(1-confidence, float64(n-failures), float64(failures+1))
	return p, finite("share", p)
}
