package trend

import (
	"math"
	"slices"

	"sealbound/stats/dist"
)

const (
	exactValues   = 100 // with ties in times or in values, not in both
	exactBothTied = 9   // every arrangement is visited: 9!/2 at most
)

// A nullDist is the distribution of S over all orders of the values: orders[i]
// have S = i - most.
type nullDist struct {
	most   int
	orders []float64
}

func (d nullDist) tails(s int) Tails {
	var below, above, outside, total float64
	for i, w := range d.orders { // whole numbers: the sums are exact
		at := i - d.most
		total += w
		if at <= s {
			below += w
		}
		if at >= s {
			above += w
		}
		if abs(at) >= abs(s) {
			outside += w
		}
	}
	return Tails{
		Decreasing: below / total, Increasing: above / total,
		TwoSided: min(1, 2*min(below, above)/total), Absolute: outside / total,
	}
}

func abs(x int) int { return max(x, -x) }

// exactTails returns the p-values of S over all orders, if the series is small
// enough for them.
func exactTails(t, y []float64, s int, tiedT, tiedY []int) (Tails, bool) {
	n := len(y)
	one := func(ties []int) (Tails, bool) {
		d := dist.MannKendall{N: n, Ties: ties}
		up, down := d.AtLeast(s), d.AtLeast(-s) // symmetric
		two := math.Min(1, 2*math.Min(up, down))
		return Tails{Decreasing: down, Increasing: up, TwoSided: two, Absolute: two}, !math.IsNaN(up + down)
	}
	switch {
	case len(tiedT) == n && n <= exactValues:
		return one(tiedY)
	case len(tiedY) == n && n <= exactValues:
		return one(tiedT) // S does not tell times from values
	case n <= exactBothTied:
		return bothTied(t, y).tails(s), true
	}
	nan := math.NaN()
	return Tails{nan, nan, nan, nan}, false
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
	d := nullDist{most: most, orders: make([]float64, 2*most+1)}
	rank := make([]int, n)
	var place func(i, s int)
	place = func(i, s int) {
		if i == n {
			d.orders[s+most]++
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
