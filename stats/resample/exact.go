package resample

import "math"

// MaxExact is the largest number of clusters that Exact takes: ten have 92,378
// different resamples.
const MaxExact = 10

// Exact is Bootstrap with every resample there is, each weighted by how likely it
// is drawn: what infinitely many replicates would give. Settings' Replicates and
// Seed do not matter. It returns ErrTooMany beyond MaxExact clusters.
func Exact(n int, statistic Statistic, s Settings) (*Result, error) {
	if err := s.check(n, false); err != nil {
		return nil, err
	}
	if n > MaxExact {
		return nil, ErrTooMany
	}
	factorial := make([]float64, n+1)
	factorial[0] = 1
	for k := 1; k <= n; k++ {
		factorial[k] = factorial[k-1] * float64(k)
	}
	var values, weights []float64
	counts := make([]int, n)
	var fill func(at, left int, ways float64)
	fill = func(at, left int, ways float64) {
		if at == n-1 {
			counts[at] = left
			values = append(values, statistic(counts))
			weights = append(weights, ways/factorial[left]/math.Pow(float64(n), float64(n)))
			return
		}
		for c := 0; c <= left; c++ {
			counts[at] = c
			fill(at+1, left-c, ways/factorial[c])
		}
	}
	fill(0, n, factorial[n])
	return bound(n, statistic, atomsOf(values, weights), s, true), nil
}
