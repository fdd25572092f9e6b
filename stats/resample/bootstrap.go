package resample

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"sync"

	"sealbound/stats"
)

// A Statistic works out a number from a resample: counts[i] says how often
// cluster i was drawn, and the counts sum to their number. NaN means that this
// resample does not define it. It is called from several goroutines at once and
// must neither change nor keep counts.
type Statistic func(counts []int) float64

// Mean returns the mean of one value per cluster.
func Mean(values []float64) Statistic {
	return func(counts []int) float64 {
		sum, n := 0.0, 0.0
		for i, c := range counts {
			sum += float64(c) * values[i]
			n += float64(c)
		}
		return sum / n
	}
}

// PooledMean returns the mean of all readings of the clusters drawn, from the sum
// of each cluster's readings and their number.
func PooledMean(sums []float64, sizes []int) Statistic {
	return func(counts []int) float64 {
		sum, n := 0.0, 0
		for i, c := range counts {
			sum += float64(c) * sums[i]
			n += c * sizes[i]
		}
		return sum / float64(n)
	}
}

// Settings are those of a bootstrap.
type Settings struct {
	Confidence float64 // of each one-sided bound, above 1/2 and below 1
	Replicates int     // resamples to draw, at least 100; Exact takes all there are
	Seed       uint64  // the same seed gives the same result, on any number of processors
}

// A Result is a bootstrap of a statistic. Undefined figures are NaN.
type Result struct {
	Percentile   stats.Estimate // bounds are quantiles of the resamples at the nominal levels
	BCa          stats.Estimate // at levels corrected for bias and for a spread that changes with the value
	Bias         float64        // z0, the normal quantile of the share of resamples below the value
	Acceleration float64        // how fast the standard error changes with the value, by the jackknife
	LowerLevel   float64        // of the BCa bounds among the resamples
	UpperLevel   float64
	Replicates   int // resamples that define the statistic
	Undefined    int // resamples that do not
	Exact        bool
	Warnings     []stats.Warning
}

var (
	// ErrTooFew says that there are fewer than two clusters.
	ErrTooFew = errors.New("resample: fewer than two clusters")
	// ErrTooMany says that there are more clusters than Exact takes.
	ErrTooMany = fmt.Errorf("resample: more than %d clusters", MaxExact)
)

// few is the number of clusters below which a warning is given; no source.
const few = 20

func (s Settings) check(n int, drawn bool) error {
	switch {
	case n < 2:
		return ErrTooFew
	case !(s.Confidence > 0.5 && s.Confidence < 1):
		return fmt.Errorf("resample: confidence %v is not between 0.5 and 1", s.Confidence)
	case drawn && s.Replicates < 100:
		return fmt.Errorf("resample: %d replicates, at least 100", s.Replicates)
	}
	return nil
}

// Bootstrap draws resamples of n clusters and bounds the statistic. Every
// resample has a random stream of its own, made from the seed and its number, so
// the result does not depend on how the work is shared out.
func Bootstrap(n int, statistic Statistic, s Settings) (*Result, error) {
	if err := s.check(n, true); err != nil {
		return nil, err
	}
	values := make([]float64, s.Replicates)
	workers := min(runtime.GOMAXPROCS(0), s.Replicates)
	var wait sync.WaitGroup
	for w := range workers {
		wait.Add(1)
		go func() {
			defer wait.Done()
			counts := make([]int, n)
			for i := w; i < len(values); i += workers {
				rng := rand.New(rand.NewPCG(mix(s.Seed, 2*uint64(i)), mix(s.Seed, 2*uint64(i)+1)))
				clear(counts)
				for range n {
					counts[rng.IntN(n)]++
				}
				values[i] = statistic(counts)
			}
		}()
	}
	wait.Wait()
	return bound(n, statistic, atomsOf(values, nil), s, false), nil
}

// mix hashes a seed and a number into a word, by the finisher of SplitMix64.
// Source: Steele, Lea and Flood, OOPSLA 2014, 453-472.
func mix(seed, k uint64) uint64 {
	z := seed + (k+1)*0x9e3779b97f4a7c15
	z = (z ^ z>>30) * 0xbf58476d1ce4e5b9
	z = (z ^ z>>27) * 0x94d049bb133111eb
	return z ^ z>>31
}

// atoms is a distribution of resamples, in rising order.
type atoms struct {
	value, weight []float64 // weights sum to one
	undefined     int
	lost          float64 // weight of resamples without a value
}

// atomsOf sorts values; nil weights are equal.
func atomsOf(values, weights []float64) atoms {
	type atom struct{ v, w float64 }
	list := make([]atom, 0, len(values))
	var a atoms
	for i, v := range values {
		w := 1 / float64(len(values))
		if weights != nil {
			w = weights[i]
		}
		if math.IsNaN(v) || math.IsInf(v, 0) {
			a.undefined++
			a.lost += w
			continue
		}
		list = append(list, atom{v, w})
	}
	slices.SortStableFunc(list, func(x, y atom) int {
		switch {
		case x.v < y.v:
			return -1
		case x.v > y.v:
			return 1
		}
		return 0
	})
	total := 0.0
	for _, x := range list {
		total += x.w
	}
	for _, x := range list {
		a.value, a.weight = append(a.value, x.v), append(a.weight, x.w/total)
	}
	return a
}

// quantile returns the smallest value at or below which lies at least the share
// level: the inverse of the distribution function.
func (a *atoms) quantile(level float64) float64 {
	if math.IsNaN(level) || len(a.value) == 0 {
		return math.NaN()
	}
	sum := 0.0
	for i, w := range a.weight {
		if sum += w; sum >= level-1e-12 {
			return a.value[i]
		}
	}
	return a.value[len(a.value)-1]
}

// se returns the standard deviation.
func (a *atoms) se() float64 {
	if len(a.value) == 0 {
		return math.NaN()
	}
	mean, ss := 0.0, 0.0
	for i, w := range a.weight {
		mean += w * a.value[i]
	}
	for i, w := range a.weight {
		ss += w * (a.value[i] - mean) * (a.value[i] - mean)
	}
	return math.Sqrt(ss)
}

// below returns the share of resamples strictly below value. Values that differ
// by rounding alone are ties.
func (a *atoms) below(value float64) float64 {
	if len(a.value) == 0 {
		return math.NaN()
	}
	slack := 1e-11 * max(math.Abs(value), a.value[len(a.value)-1]-a.value[0])
	sum := 0.0
	for i, v := range a.value {
		if v >= value-slack {
			break
		}
		sum += a.weight[i]
	}
	return sum
}
