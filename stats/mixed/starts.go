package mixed

import (
	"cmp"
	"math"
	"slices"
)

// starts are the coordinates to begin from, best first: the moment estimates,
// and the local minima of the objective over a coarse grid of variance ratios.
// Restricted likelihoods can have more than one maximum; where evaluating is
// cheap a grid sees them. A single minimum of the grid above the moment
// estimates adds nothing and is left out.
func (o *searcher) starts() [][]float64 {
	var out [][]float64
	best := math.Inf(1)
	if o.s.moments != nil {
		gamma := slices.Clone(o.s.moments)
		for i, p := range o.s.params {
			if p.kind != pairCov {
				gamma[i] = min(max(gamma[i], 0.05/p.scale), 1e6/p.scale)
			}
		}
		out = append(out, o.phiAt(gamma))
		best = o.valueAt(out[0])
	}
	minima, values := o.gridMinima()
	if len(minima) == 1 && best <= values[0] {
		return out
	}
	out = append(minima, out...)
	values = append(values, best)
	index := make([]int, len(out))
	for i := range index {
		index[i] = i
	}
	slices.SortStableFunc(index, func(a, b int) int { return cmp.Compare(values[a], values[b]) })
	sorted := make([][]float64, len(out))
	for i, at := range index {
		sorted[i] = out[at]
	}
	return sorted
}

// gridMinima returns at most four local minima over the grid with their values,
// none where evaluating is not cheap and there are moment estimates.
func (o *searcher) gridMinima() (phis [][]float64, values []float64) {
	grids := [][]float64{{1.5}, {0.3, 6}, {0.1, 1.5, 20}, {0.05, 0.6, 4, 40}, {0.03, 0.3, 2, 10, 60}}
	var axes []int
	for i, p := range o.s.params {
		if p.kind != pairCov {
			axes = append(axes, i)
		}
	}
	g := len(grids) - 1
	if len(axes) > 2 {
		g = max(1, 6-len(axes))
	}
	const budget = 20000 // cells evaluated
	for g > 0 && math.Pow(float64(len(grids[g])), float64(len(axes)))*float64(len(o.s.cells.rows)) > budget {
		g--
	}
	if g == 0 && o.s.moments != nil {
		return nil, nil
	}
	ratios := grids[g]
	size := len(ratios)
	total := 1
	for range axes {
		total *= size
	}
	point := func(at int) []float64 {
		phi := make([]float64, o.k)
		for _, i := range axes {
			v := ratios[at%size]
			if o.s.params[i].kind == scalar {
				phi[i] = math.Log1p(v)
			} else {
				phi[i] = math.Sqrt(v)
			}
			at /= size
		}
		return phi
	}
	crit := make([]float64, total)
	for at := range crit {
		crit[at] = o.valueAt(point(at))
	}
	var minima []int
	for at := range crit {
		lowest, unit := true, 1
		for range axes {
			digit := at / unit % size
			if digit > 0 && crit[at-unit] < crit[at] || digit < size-1 && crit[at+unit] <= crit[at] {
				lowest = false
				break
			}
			unit *= size
		}
		if lowest {
			minima = append(minima, at)
		}
	}
	if len(minima) == 0 { // a plateau
		minima = []int{total / 2}
	}
	slices.SortStableFunc(minima, func(a, b int) int { return cmp.Compare(crit[a], crit[b]) })
	for _, at := range minima[:min(4, len(minima))] {
		phis, values = append(phis, point(at)), append(values, crit[at])
	}
	return phis, values
}

// fewRows is up to how many rows a minimum with components at zero is looked at again:
// with few the criterion may have several minima, which a grid can miss.
const fewRows = 60

// lifted tries, from a minimum with components at zero, each of them lifted to the size
// of the residual variance, and returns the least minimum.
func (o *searcher) lifted(phi []float64, value, gradient float64) ([]float64, float64, float64) {
	gamma := make([]float64, o.k)
	var starts [][]float64
	o.ratiosAt(phi, gamma)
	for i, p := range o.s.params {
		if p.kind == scalar && gamma[i]*p.scale < zeroVariance {
			at := slices.Clone(gamma)
			at[i] = 1 / p.scale
			starts = append(starts, o.phiAt(at))
		}
	}
	if at, v, g := o.minimise(starts); at != nil && v < value-1e-9*(1+math.Abs(v)) && g <= acceptedGradient {
		return at, v, g
	}
	return phi, value, gradient
}
