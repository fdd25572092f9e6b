package interval

import (
	"fmt"
	"math"
	"slices"

	mstats "github.com/montanaflynn/stats"
)

// A Summary describes a sample of n values in dB.
type Summary struct {
	N        int
	Mean     float64 // arithmetic mean of the dB values
	SD       float64 // sample standard deviation, divisor n-1; NaN (not defined) for n = 1
	Min, Max float64
	Median   float64
	MAD      float64 // median absolute deviation from the median times MADScale, comparable with SD for normal values
	Power    float64 // PowerMean
}

// MADScale makes the median absolute deviation of normal values estimate their
// standard deviation: 1/z(0.75), rounded as is common in statistics packages.
const MADScale = 1.4826

// Describe summarises x. It returns ErrTooFew for an empty x and ErrNotFinite
// if a value is NaN or infinite, or so large that the mean is.
func Describe(x []float64) (Summary, error) {
	mean, sd, err := MeanSD(x)
	if err != nil {
		return Summary{}, err
	}
	s := Summary{N: len(x), Mean: mean, SD: sd, Min: slices.Min(x), Max: slices.Max(x)}
	// x is neither empty nor NaN here, which is when these can fail.
	if s.Median, err = mstats.Median(x); err != nil {
		return Summary{}, err
	}
	if s.MAD, err = mstats.MedianAbsoluteDeviation(x); err != nil {
		return Summary{}, err
	}
	s.MAD *= MADScale
	s.Power, err = PowerMean(x)
	return s, err
}

// MeanSD returns the mean and the sample standard deviation (divisor n-1; NaN
// for one value) in two passes with compensated sums, so that a large common
// offset costs no digits beyond those that the values have lost themselves. It
// returns ErrTooFew for an empty x and ErrNotFinite if a value or a result is
// NaN or infinite.
func MeanSD(x []float64) (mean, sd float64, err error) {
	if len(x) == 0 {
		return math.NaN(), math.NaN(), tooFew(0, 1)
	}
	if err := finite("value", x...); err != nil {
		return math.NaN(), math.NaN(), err
	}
	n := float64(len(x))
	var total compensated
	for _, v := range x {
		total.add(v)
	}
	mean = total.value() / n
	if err := finite("mean", mean); err != nil {
		return math.NaN(), math.NaN(), err
	}
	var rest, squares compensated
	for _, v := range x {
		d := v - mean
		rest.add(d)
		squares.add(d * d)
	}
	r := rest.value()
	mean += r / n
	if len(x) == 1 {
		return mean, math.NaN(), nil
	}
	sd = math.Sqrt(math.Max(0, squares.value()-r*r/n) / (n - 1))
	return mean, sd, finite("standard deviation", sd)
}

// compensated is a sum that carries the rounding error of each addition along
// (Neumaier, ZAMM 54 (1974) 39-51).
type compensated struct{ sum, lost float64 }

func (c *compensated) add(v float64) {
	t := c.sum + v
	if math.Abs(c.sum) >= math.Abs(v) {
		c.lost += (c.sum - t) + v
	} else {
		c.lost += (v - t) + c.sum
	}
	c.sum = t
}

func (c *compensated) value() float64 { return c.sum + c.lost }

// PowerMean returns the attenuation in dB that belongs to the mean share of
// power let through:
//
//	-10*log10(mean(10^(-x/10)))
//
// It is never above the mean of the dB values. The smallest value is taken out
// first, so that large attenuations do not underflow. Errors as Describe.
func PowerMean(x []float64) (float64, error) {
	if len(x) == 0 {
		return math.NaN(), tooFew(0, 1)
	}
	if err := finite("value", x...); err != nil {
		return math.NaN(), err
	}
	low := slices.Min(x)
	var leak compensated
	for _, v := range x {
		leak.add(math.Pow(10, (low-v)/10))
	}
	return low - 10*math.Log10(leak.value()/float64(len(x))), nil
}

// Quantile returns the p quantile of a sample, 0 <= p <= 1, by linear
// interpolation at rank (n-1)p + 1: type 7 of Hyndman and Fan, the default of
// R and NumPy. It returns ErrDomain for p outside [0, 1], and errors as
// Describe.
func Quantile(x []float64, p float64) (float64, error) {
	if len(x) == 0 {
		return math.NaN(), tooFew(0, 1)
	}
	if err := finite("value", x...); err != nil {
		return math.NaN(), err
	}
	switch {
	case !(p >= 0 && p <= 1):
		return math.NaN(), fmt.Errorf("interval: %w: quantile at %v", ErrDomain, p)
	case p == 0: // Percentile refuses 0
		return slices.Min(x), nil
	}
	return mstats.Percentile(x, 100*p)
}

// QuantileExclusive is Quantile with rank (n+1)p, clipped to the smallest and
// largest value: type 6 of Hyndman and Fan, whose quantiles of uniform values
// are unbiased. NIST/SEMATECH e-Handbook 7.2.6.2 defines percentiles so.
func QuantileExclusive(x []float64, p float64) (float64, error) {
	if len(x) == 0 {
		return math.NaN(), tooFew(0, 1)
	}
	if err := finite("value", x...); err != nil {
		return math.NaN(), err
	}
	if !(p >= 0 && p <= 1) {
		return math.NaN(), fmt.Errorf("interval: %w: quantile at %v", ErrDomain, p)
	}
	s := slices.Clone(x)
	slices.Sort(s)
	rank := float64(len(s)+1) * p
	k := int(rank)
	switch {
	case k < 1:
		return s[0], nil
	case k >= len(s):
		return s[len(s)-1], nil
	}
	return s[k-1] + (rank-float64(k))*(s[k]-s[k-1]), nil
}
