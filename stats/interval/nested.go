package interval

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"sealbound/stats"
	"sealbound/stats/dist"
)

// A Nested holds the bounds of NestedCoverage, dB.
type Nested struct {
	Lower, Upper float64
	Method       NestedMethod
	Draws        int // behind the generalized limit; 0 unless Drawn
}

// A NestedMethod says how the generalized limit was worked out.
type NestedMethod int

// The methods. Exact is the noncentral t of a single level, without a generalized
// limit.
const (
	Exact NestedMethod = iota + 1
	Integrated
	Drawn
)

// NestedCoverage returns one-sided confidence bounds of the level that the share
// coverage of all future closings exceeds, when closings are grouped in nested
// levels and the units of each are a sample: closings in visits, visits in
// fittings, fittings in boxes. Lower is the coverage bound: with that
// confidence at least that share of closings, of new units of the top level,
// exceeds it. Upper lies above that level with that confidence, so a target
// above Upper is missed.
//
// levels come from the top down, each nested in the former, the closings
// themselves left out; an empty list is a simple sample. A level that does not
// divide its parent anywhere (one fitting in every box, or a single box in all)
// cannot be told apart from it: it is left out here and its variance counts with the
// parent's. With only one level left the bounds are the exact noncentral-t ones of
// LowerFactor.
//
// Otherwise they rest on unweighted means: every unit's value is the plain mean
// of its parts. With S2_l the pooled variance of level l's means within their
// parents and df_l its degrees of freedom, Lower is a generalized confidence
// limit, the 1-confidence quantile of
//
//	G   = mean - Z*sqrt(Q_top/a) - z(coverage)*sqrt(sum g)    a units at the top
//	Q_l = df_l*S2_l/chi2(df_l)
//	g_l = max(0, Q_l - sum over finer levels j of h_lj*g_j)   variance of level l alone
//
// over independent normal Z and chi-squares. h_lj is how much of g_j the means
// of level l carry: 1/n for the next finer level of n parts, the mean of the
// parts' own shares over n for the others, averaged over the units with the
// weights of S2_l. So E Q_l is right also for unbalanced data.
//
// The quantile is found by numerical integration, to 1e-4 of the SD of one closing or
// better (of its distance from the mean, where few units push it far off), with one or
// two levels above the closings. With more, or should two
// orders of quadrature disagree, it is that of so many draws from a PCG generator
// with that seed; Method and Draws say so.
//
// Upper is mean - k*sqrt(total), with total the unbiased sum of the variances,
// a combination of the S2_l, and k = t'(1-confidence; f, sqrt(n0)*z)/sqrt(n0):
// n0 = total/(S2_top/a), at most the number of closings, f the Satterthwaite degrees
// of freedom of total, at most a-1. (The confidence quantile of G holds in as few as
// 0.74 of campaigns at nominal 0.95, because the cut at 0 only ever adds variance.)
// For a coverage below 0.5 all is upside down: Upper is the generalized limit.
//
// In simulations at nominal 0.95, from no variance between boxes to almost
// nothing else, with 3 to 6 boxes, Lower holds in 0.945 to 1.000 and Upper in
// 0.946 to 0.997 of campaigns.
//
// The same data, in any order of rows, give the same bounds.
//
// It returns ErrTooFew for fewer than two values, ErrDomain for shares outside
// (0, 1), fewer than 100 draws or levels that are not nested, and ErrNotFinite.
//
// Source: for one level above the closings K. Krishnamoorthy and T. Mathew,
// Technometrics 46 (2004) 44-52 (from memory); more levels follow the same way.
func NestedCoverage(y []float64, levels []stats.Factor, coverage, confidence float64, seed uint64, draws int) (Nested, error) {
	none := Nested{Lower: math.NaN(), Upper: math.NaN()}
	if err := share("coverage", coverage); err != nil {
		return none, err
	}
	if err := share("confidence", confidence); err != nil {
		return none, err
	}
	if draws < 100 {
		return none, fmt.Errorf("interval: %w: %d draws, at least 100 needed", ErrDomain, draws)
	}
	if coverage < 0.5 { // the level lies above the mean: the same problem upside down
		mirrored := make([]float64, len(y))
		for i, v := range y {
			mirrored[i] = -v
		}
		n, err := NestedCoverage(mirrored, levels, 1-coverage, confidence, seed, draws)
		n.Lower, n.Upper = -n.Upper, -n.Lower
		return n, err
	}
	tiers, err := nest(y, levels)
	if err != nil {
		return none, err
	}
	if len(tiers) == 1 {
		lower, upper, err := simpleCoverage(tiers[0].values, coverage, confidence)
		return Nested{Lower: lower, Upper: upper, Method: Exact}, err
	}
	mean, strata := stratify(tiers)
	g := generalized{mean: mean, units: float64(len(tiers[0].values)), z: dist.NormalQuantile(coverage), strata: strata}
	n := Nested{Method: Integrated}
	var ok bool
	if n.Lower, ok = g.integrate(confidence); !ok {
		sample := g.sample(rand.New(rand.NewPCG(seed, nestedStream)), draws)
		// The k-th of N draws is expected at the k/(N+1) quantile: at or below the one meant.
		n.Lower = nth(sample, max(int((1-confidence)*float64(draws+1)), 1)-1)
		n.Method, n.Draws = Drawn, draws
	}
	if n.Upper, err = g.upper(float64(len(y)), coverage, confidence); err != nil {
		return none, err
	}
	return n, finite("bound", mean, n.Lower, n.Upper)
}

// nestedStream is the second half of the generator's seed.
const nestedStream = 0x6e6573746564 // "nested"

// simpleCoverage is the exact bound of one level.
func simpleCoverage(x []float64, coverage, confidence float64) (lower, upper float64, err error) {
	bad := math.NaN()
	x = slices.Clone(x)
	slices.Sort(x) // the last digit must not depend on the order of rows
	mean, sd, err := MeanSD(x)
	if err != nil {
		return bad, bad, err
	}
	k, err := LowerFactor(len(x), coverage, confidence)
	if err != nil {
		return bad, bad, err
	}
	low, err := LowerFactor(len(x), coverage, 1-confidence)
	if err != nil {
		return bad, bad, err
	}
	return mean - k*sd, mean - low*sd, nil
}

// A tier is one level of the hierarchy: units with their parents in the tier
// above (all 0 at the top) and their values, means of their parts.
type tier struct {
	parent []int
	values []float64
}

// nest checks the levels and returns the tiers that divide, from the top, the
// lowest holding one observation in each unit.
func nest(y []float64, levels []stats.Factor) ([]tier, error) {
	if err := finite("value", y...); err != nil {
		return nil, err
	}
	if len(y) < 2 {
		return nil, tooFew(len(y), 2)
	}
	above, here := make([]int, len(y)), make([]int, len(y)) // unit of each observation in the tier above, and in this one
	units := 1
	var tiers []tier
	divide := func(name string, codes int, code func(i int) int32) error {
		number, parent := make([]int, codes), make([]int, 0, codes) // of a unit by code, from 1
		for i := range y {
			u := number[code(i)] - 1
			if u < 0 {
				u = len(parent)
				number[code(i)] = u + 1
				parent = append(parent, above[i])
			}
			if parent[u] != above[i] {
				return fmt.Errorf("interval: %w: %s is not nested in the level above it", ErrDomain, name)
			}
			here[i] = u
		}
		if len(parent) > units { // else the same division as above
			tiers = append(tiers, tier{parent: parent})
			above, here, units = here, above, len(parent)
		}
		return nil
	}
	for _, f := range levels {
		if err := fits(y, f); err != nil {
			return nil, err
		}
		if err := divide(f.Name, f.Levels, func(i int) int32 { return f.Codes[i] }); err != nil {
			return nil, err
		}
	}
	if units < len(y) {
		if err := divide("closing", len(y), func(i int) int32 { return int32(i) }); err != nil {
			return nil, err
		}
	}
	last := &tiers[len(tiers)-1]
	last.values = make([]float64, len(y))
	for i, u := range above {
		last.values[u] = y[i]
	}
	return tiers, nil
}

// A stratum is what one level contributes: the pooled variance of its means
// within their parents, and how much of each finer level's variance it carries.
type stratum struct {
	ss, df float64   // sum of squares within parents, dB^2, and its degrees of freedom
	finer  []float64 // h by level, counted from the top; 0 up to this one
}

// stratify fills in the values of the upper tiers and returns the mean of all
// top units with the strata from the top.
func stratify(tiers []tier) (mean float64, strata []stratum) {
	depth := len(tiers)
	strata = make([]stratum, depth)
	// carried[u*depth+j]: how much of level j's variance the value of unit u holds.
	carried := make([]float64, len(tiers[depth-1].values)*depth)
	for l := depth - 1; l >= 0; l-- {
		parents := 1
		if l > 0 {
			parents = len(tiers[l-1].parent)
		}
		order, start := tiers[l].byParent(parents)
		s := stratum{finer: make([]float64, depth)}
		means, up := make([]float64, parents), make([]float64, parents*depth)
		squares, room := make([]float64, parents), make([]float64, len(order))
		for p := range parents {
			units := order[start[p]:start[p+1]]
			n, part := float64(len(units)), room[:len(units)]
			for k, u := range units {
				part[k] = tiers[l].values[u]
			}
			means[p], squares[p] = sortedMoments(part)
			s.df += n - 1
			up[p*depth+l] = 1 / n
		}
		s.ss = sortedSum(squares)
		for j := l + 1; j < depth; j++ {
			weighted := squares // they are added up
			for p := range parents {
				units := order[start[p]:start[p+1]]
				n, part := float64(len(units)), room[:len(units)]
				for k, u := range units {
					part[k] = carried[u*depth+j]
				}
				c := sortedSum(part)
				weighted[p] = (n - 1) / n * c
				up[p*depth+j] = c / (n * n)
			}
			s.finer[j] = sortedSum(weighted) / s.df // positive: the tier divides its parent somewhere
		}
		strata[l] = s
		if l == 0 {
			return means[0], strata
		}
		tiers[l-1].values, carried = means, up
	}
	return math.NaN(), nil // not reached: there is a tier
}

// byParent lists the units parent by parent: those of p from start[p] to start[p+1].
func (t tier) byParent(parents int) (order, start []int) {
	order, start = make([]int, len(t.parent)), make([]int, parents+2)
	for _, p := range t.parent {
		start[p+2]++
	}
	for p := range parents {
		start[p+2] += start[p+1]
	}
	for u, p := range t.parent {
		order[start[p+1]] = u
		start[p+1]++
	}
	return order, start[:parents+1]
}

// sortedSum adds up in the order of size, so that no digit depends on the order
// of rows. It sorts x.
func sortedSum(x []float64) float64 {
	slices.Sort(x)
	var sum compensated
	for _, v := range x {
		sum.add(v)
	}
	return sum.value()
}

// sortedMoments returns the mean and the sum of squares about it, added up as in
// sortedSum.
func sortedMoments(x []float64) (mean, ss float64) {
	n := float64(len(x))
	mean = sortedSum(x) / n
	var rest, squares compensated
	for _, v := range x {
		rest.add(v - mean)
		squares.add((v - mean) * (v - mean))
	}
	r := rest.value()
	return mean + r/n, math.Max(0, squares.value()-r*r/n)
}

// generalized holds what both bounds are made of.
type generalized struct {
	mean, units, z float64
	strata         []stratum
}

// total is the unbiased sum of the variances of all levels with Satterthwaite's
// degrees of freedom. The variances, each mean square less what it carries of the
// finer ones, add up to a combination of the mean squares with weights of at least
// 0: a coarser level carries no more of a variance than a finer one does.
func (g generalized) total() (total, df float64) {
	weight := make([]float64, len(g.strata))
	var fourth float64
	for l, s := range g.strata {
		weight[l] = 1
		for i := range l {
			weight[l] -= weight[i] * g.strata[i].finer[l]
		}
		part := math.Max(0, weight[l]) * s.ss / s.df
		total += part
		fourth += part * part / s.df
	}
	return total, total * total / fourth
}

// upper is the upper bound of the level, from the mean squares themselves.
func (g generalized) upper(closings, coverage, confidence float64) (float64, error) {
	total, freedom := g.total()
	if total == 0 {
		return g.mean, nil
	}
	df := math.Max(1, math.Min(freedom, g.units-1))
	top := g.strata[0].ss / g.strata[0].df / g.units // variance of the mean
	n0 := math.Min(total/top, closings)
	k, err := Factor(n0, df, coverage, 1-confidence)
	return g.mean - k*math.Sqrt(total), err
}
