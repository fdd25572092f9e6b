package trend

import "slices"

const (
	exactValues   = 50 // with ties in times or in values, not in both
	exactBothTied = 9  // every arrangement is visited: 9!/2 at most
)

// A nullDist is the distribution of S over all orders of the values: weight[i]
// belongs to S = lowest + step*i. The weights are counts of arrangements, exact
// below 2^53.
type nullDist struct {
	lowest, step int
	weight       []float64
}

// tails sums from both ends, so that small tails keep their digits.
func (d nullDist) tails(s int) Tails {
	var below, above, outside, total float64
	for i, w := range d.weight {
		at := d.lowest + d.step*i
		total += w
		if at <= s {
			below += w
		}
		if abs(at) >= abs(s) {
			outside += w
		}
	}
	for i := len(d.weight) - 1; i >= 0 && d.lowest+d.step*i >= s; i-- {
		above += d.weight[i]
	}
	return Tails{
		Decreasing: below / total, Increasing: above / total,
		TwoSided: min(1, 2*min(below, above)/total), Absolute: outside / total,
	}
}

func abs(x int) int { return max(x, -x) }

// nullS returns the exact null distribution of S, if the series is small enough.
func nullS(t, y []float64, tiedT, tiedY []int) (nullDist, bool) {
	n := len(y)
	switch {
	case len(tiedT) == n && n <= exactValues:
		return oneSideTied(tiedY), true
	case len(tiedY) == n && n <= exactValues:
		return oneSideTied(tiedT), true // S does not tell times from values
	case n <= exactBothTied:
		return bothTied(t, y), true
	}
	return nullDist{}, false
}

// oneSideTied counts arrangements of tied values over distinct times by their
// number of falling pairs: the q-multinomial coefficient of the group sizes,
// built up from Gaussian binomials, which count the falling pairs that a further
// group has with all before it. S = untied pairs - 2*falling pairs.
func oneSideTied(groups []int) nullDist {
	count := []float64{1}
	n := 0
	for _, g := range groups {
		n += g
		count = convolve(count, gaussBinomial(n, g))
	}
	untied := len(count) - 1
	return nullDist{lowest: -untied, step: 2, weight: count} // the counts are symmetric
}

// gaussBinomial returns the coefficients of the Gaussian binomial of n over m,
// by [n, m] = [n-1, m-1] + q^m [n-1, m], in which nothing cancels.
func gaussBinomial(n, m int) []float64 {
	row := make([][]float64, m+1) // row[j] is [i, j]
	row[0] = []float64{1}
	for i := 1; i <= n; i++ {
		for j := min(i, m); j >= 1; j-- {
			c := make([]float64, j*(i-j)+1)
			copy(c, row[j-1])
			for d, v := range row[j] { // nil for i = j
				c[d+j] += v
			}
			row[j] = c
		}
	}
	return row[m]
}

func convolve(a, b []float64) []float64 {
	out := make([]float64, len(a)+len(b)-1)
	for i, x := range a {
		for j, y := range b {
			out[i+j] += x * y
		}
	}
	return out
}

// bothTied visits every arrangement of the values' ranks over the times.
func bothTied(t, y []float64) nullDist {
	n := len(y)
	times, values := slices.Clone(t), slices.Clone(y)
	slices.Sort(times)
	slices.Sort(values)
	values = slices.Compact(values)
	left := make([]int, len(values)) // how many of each rank are still to place
	for _, v := range y {
		r, _ := slices.BinarySearch(values, v)
		left[r]++
	}
	most := n * (n - 1) / 2
	d := nullDist{lowest: -most, step: 1, weight: make([]float64, 2*most+1)}
	rank := make([]int, n)
	var place func(i, s int)
	place = func(i, s int) {
		if i == n {
			d.weight[s+most]++
			return
		}
		for r := range left {
			if left[r] == 0 {
				continue
			}
			add := 0
			for j := 0; j < i && times[j] < times[i]; j++ {
				switch {
				case rank[j] < r:
					add++
				case rank[j] > r:
					add--
				}
			}
			left[r]--
			rank[i] = r
			place(i+1, s+add)
			left[r]++
		}
	}
	place(0, 0)
	return d
}
