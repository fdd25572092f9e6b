package resample

import (
	"fmt"
	"math"

	"sealbound/stats"
	"sealbound/stats/dist"
)

// mostLost is the share of resamples that may leave the statistic undefined;
// with more there are no bounds. No source.
const mostLost = 0.01

// bound works out the bounds from the distribution of the resamples.
//
//	level(p) = Phi(z0 + (z0 + z_p)/(1 - a (z0 + z_p)))
//
// with z0 the normal quantile of the share of resamples strictly below the
// value, and a the acceleration. Source: Efron and Tibshirani, An Introduction
// to the Bootstrap (1993), 14.3.
func bound(n int, statistic Statistic, a atoms, s Settings, exact bool) *Result {
	nan := math.NaN()
	ones := make([]int, n)
	for i := range ones {
		ones[i] = 1
	}
	value := statistic(ones)
	if math.IsInf(value, 0) {
		value = nan
	}
	none := stats.Estimate{Value: value, SE: nan, DF: nan, Lower: nan, Upper: nan, Confidence: s.Confidence}
	r := &Result{Percentile: none, BCa: none, Bias: nan, Acceleration: nan, LowerLevel: nan, UpperLevel: nan,
		Replicates: len(a.value), Undefined: a.undefined, Exact: exact}
	if n < few {
		r.warn("few-clusters", "with %d clusters the bootstrap is too narrow; take it as a second opinion, the bounds by Student's t are the first", n)
	}
	if a.undefined > 0 {
		r.warn("undefined-resamples", "%d of %d resamples leave the statistic undefined", a.undefined, a.undefined+len(a.value))
	}
	if math.IsNaN(value) || a.lost > mostLost || len(a.value) == 0 {
		return r
	}
	r.Percentile.SE, r.BCa.SE = a.se(), a.se()
	r.Percentile.Lower, r.Percentile.Upper = a.quantile(1-s.Confidence), a.quantile(s.Confidence)
	r.Acceleration = acceleration(n, statistic)
	z0 := dist.NormalQuantile(a.below(value))
	if math.IsInf(z0, 0) || math.IsNaN(r.Acceleration) {
		r.warn("no-correction", "the resamples all lie on one side of the value, or leaving out one cluster leaves it undefined: there is no BCa bound")
		return r
	}
	r.Bias = z0
	r.LowerLevel, r.UpperLevel = level(1-s.Confidence, z0, r.Acceleration), level(s.Confidence, z0, r.Acceleration)
	r.BCa.Lower, r.BCa.Upper = a.quantile(r.LowerLevel), a.quantile(r.UpperLevel)
	return r
}

func (r *Result) warn(code, format string, args ...any) {
	r.Warnings = append(r.Warnings, stats.Warning{Code: code, Text: fmt.Sprintf(format, args...)})
}

// level returns the BCa level for a nominal p; NaN where the correction has no
// meaning, beyond its pole.
func level(p, z0, a float64) float64 {
	z := z0 + dist.NormalQuantile(p)
	d := 1 - a*z
	if !(d > 0) {
		return math.NaN()
	}
	return dist.NormalCDF(z0 + z/d)
}

// acceleration returns sum d^3/(6 (sum d^2)^1.5), d how far the statistic falls
// when a cluster is left out; NaN where all d are zero or one is undefined.
func acceleration(n int, statistic Statistic) float64 {
	counts, without := make([]int, n), make([]float64, n)
	for i := range counts {
		counts[i] = 1
	}
	mean := 0.0
	for i := range without {
		counts[i] = 0
		without[i] = statistic(counts)
		counts[i] = 1
		mean += without[i] / float64(n)
	}
	two, three, size := 0.0, 0.0, 0.0
	for _, v := range without {
		d := mean - v
		two, three, size = two+d*d, three+d*d*d, max(size, math.Abs(v))
	}
	if !(two > 1e-24*size*size) || math.IsInf(two, 0) {
		return math.NaN()
	}
	return three / (6 * math.Pow(two, 1.5))
}
