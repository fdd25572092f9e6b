package mixed

import (
	"math"
	"slices"
)

// A grouping is a factor reduced to the levels that occur: code c of a row
// stands for level present[c] of the factor it came from. Present levels keep
// their order, so nothing here depends on the order of the rows.
type grouping struct {
	codes   []int32
	present []int32
}

func (g grouping) levels() int { return len(g.present) }

// newGrouping drops the levels of codes that do not occur.
func newGrouping(codes []int32, levels int) grouping {
	var present []int32
	if levels > 4*len(codes)+64 { // a small part of a large campaign
		present = slices.Clone(codes)
		slices.Sort(present)
		present = slices.Compact(present)
		out := make([]int32, len(codes))
		for i, c := range codes {
			at, _ := slices.BinarySearch(present, c)
			out[i] = int32(at)
		}
		return grouping{out, present}
	}
	to := make([]int32, levels)
	for _, c := range codes {
		to[c] = 1
	}
	for c, used := range to {
		if used == 1 {
			to[c] = int32(len(present))
			present = append(present, int32(c))
		}
	}
	if len(present) == levels {
		return grouping{codes, present}
	}
	out := make([]int32, len(codes))
	for i, c := range codes {
		out[i] = to[c]
	}
	return grouping{out, present}
}

// nestedIn reports whether each level of g lies within one level of coarse.
func (g grouping) nestedIn(coarse grouping) bool {
	if g.levels() < coarse.levels() {
		return false
	}
	in := make([]int32, g.levels())
	for i, c := range g.codes {
		switch in[c] {
		case 0:
			in[c] = coarse.codes[i] + 1
		case coarse.codes[i] + 1:
		default:
			return false
		}
	}
	return true
}

// groupValues groups rows of equal x; ok is false if x is constant.
func groupValues(x []float64) (g grouping, ok bool) {
	const few = 16
	var seen [few]float64
	k := 0
	for i := range x {
		j := 0
		for j < k && seen[j] != x[i] {
			j++
		}
		if j < k {
			continue
		}
		if k == few {
			k++
			break
		}
		seen[k] = x[i]
		k++
	}
	if k <= 1 {
		return grouping{}, false
	}
	var values []float64
	if k <= few {
		values = seen[:k]
	} else {
		values = slices.Clone(x)
	}
	slices.Sort(values)
	values = slices.Compact(values)
	g = grouping{codes: make([]int32, len(x)), present: make([]int32, len(values))}
	for c := range g.present {
		g.present[c] = int32(c)
	}
	for i, v := range x {
		at, _ := slices.BinarySearch(values, v)
		g.codes[i] = int32(at)
	}
	return g, true
}

// cells are the rows collapsed to those that differ in a random effect or a
// covariate. Rows of one cell share everything but the error, so their count,
// mean and sum of squares about it are sufficient.
type cells struct {
	rows   []int32 // one row of each cell, to look covariates up
	count  []float64
	mean   []float64
	within float64 // sum of squares about the cell means
	n      int
}

// collapse sorts the rows by keys, the most significant first, and makes a
// cell of each run of equal keys. Values are summed in ascending order within
// a cell, so the result does not depend on the order of the rows.
func collapse(y []float64, keys []grouping) *cells {
	n := len(y)
	order, next := make([]int32, n), make([]int32, n)
	for i := range order {
		order[i] = int32(i)
	}
	for k := len(keys) - 1; k >= 0; k-- {
		codes := keys[k].codes
		at := make([]int32, keys[k].levels()+1)
		for _, c := range codes {
			at[c+1]++
		}
		for c := 1; c < len(at); c++ {
			at[c] += at[c-1]
		}
		for _, i := range order {
			c := codes[i]
			next[at[c]] = i
			at[c]++
		}
		order, next = next, order
	}
	same := func(a, b int32) bool {
		for k := range keys {
			if keys[k].codes[a] != keys[k].codes[b] {
				return false
			}
		}
		return true
	}
	c := &cells{n: n}
	var values []float64
	for lo := 0; lo < n; {
		hi := lo + 1
		for hi < n && same(order[lo], order[hi]) {
			hi++
		}
		values = values[:0]
		for _, i := range order[lo:hi] {
			values = append(values, y[i])
		}
		if hi-lo > 1 {
			slices.Sort(values)
		}
		mean, ss := moments(values)
		c.rows = append(c.rows, order[lo])
		c.count = append(c.count, float64(hi-lo))
		c.mean = append(c.mean, mean)
		c.within += ss
		lo = hi
	}
	return c
}

// moments returns the mean of v and the sum of squares about it, in two passes
// shifted by the first value so that a common level costs no digits.
func moments(v []float64) (mean, ss float64) {
	if len(v) == 1 {
		return v[0], 0
	}
	n := float64(len(v))
	var sum float64
	for _, x := range v {
		sum += x - v[0]
	}
	shift := sum / n
	var rest float64
	for _, x := range v {
		e := x - v[0] - shift
		ss += e * e
		rest += e
	}
	return v[0] + (shift + rest/n), math.Max(0, ss-rest*rest/n)
}

// at picks the values of a row-wise column at the cells.
func (c *cells) at(x []float64) []float64 {
	out := make([]float64, len(c.rows))
	for i, r := range c.rows {
		out[i] = x[r]
	}
	return out
}

// codesAt picks the codes of a grouping at the cells.
func (c *cells) codesAt(g grouping) []int32 {
	out := make([]int32, len(c.rows))
	for i, r := range c.rows {
		out[i] = g.codes[r]
	}
	return out
}
