package compare

import (
	"math"
	"slices"

	"sealbound/stats/dist"
)

// differences fills in differences, letters and the best.
func (c *comparison) differences() {
	n := len(c.r.Products)
	switch {
	case n < 2:
		c.r.Reason = oneProduct
		return
	case c.within.reason != "":
		c.r.Reason = c.within.reason
	}
	var all []pair
	for i := range n {
		for j := i + 1; j < n; j++ {
			all = append(all, c.pair(&c.r.Products[i], &c.r.Products[j]))
		}
	}
	pairs := c.family(all, -1)
	c.r.PairsFamily, c.shown = pairs.name, pairs
	c.settle(all, pairs)
	c.rank(all)
	shown := all
	c.r.Family = pairs.name
	if at := c.indexOf(c.s.Against); at >= 0 {
		shown = nil
		for i := range n {
			if i != at {
				shown = append(shown, c.pair(&c.r.Products[i], &c.r.Products[at]))
			}
		}
		f := c.family(shown, at)
		c.r.Family, c.shown = f.name, f
		c.settle(shown, f)
	}
	c.equivalence(shown)
	c.pairs = shown
	for _, p := range shown {
		c.r.Differences = append(c.r.Differences, p.Difference)
	}
	if !slices.ContainsFunc(shown, func(p pair) bool { return !p.open }) {
		c.r.Family, c.r.PairsFamily = "", ""
		if c.r.Reason == "" {
			c.r.Reason = shown[0].Reason
		}
	}
}

func (c *comparison) indexOf(code int32) int {
	return slices.IndexFunc(c.r.Products, func(p Product) bool { return p.Code == code })
}

// family chooses how pairs are kept together. at is the index of the product that
// all are compared with, negative for all pairs.
func (c *comparison) family(pairs []pair, at int) *family {
	f := &family{alpha: 1 - c.s.Confidence}
	members := make(map[int32]bool)
	for _, x := range pairs {
		if !x.open {
			f.pairs++
			members[x.A], members[x.B] = true, true
		}
	}
	f.k = max(2, len(members))
	switch {
	case slices.ContainsFunc(pairs, func(x pair) bool { return x.boole != nil }):
		f.name = Holm // bounds of single means do not follow the joint distributions
	case at < 0:
		f.name = Tukey
	default:
		f.name = Holm
		if lambda, ok := productForm(c.correlations(pairs)); ok {
			f.name, f.lambda = Dunnett, lambda
		}
	}
	return f
}

// correlations of the differences that are defined.
func (c *comparison) correlations(pairs []pair) [][]float64 {
	var l [][2]int
	for _, x := range pairs {
		if !x.open && x.boole == nil {
			l = append(l, [2]int{c.r.Products[c.indexOf(x.A)].column, c.r.Products[c.indexOf(x.B)].column})
		}
	}
	rho := make([][]float64, len(l))
	if len(l) == 0 {
		return rho
	}
	v := c.within.fit.Cov
	covariance := func(x, y [2]int) float64 {
		return v[x[0]][y[0]] - v[x[0]][y[1]] - v[x[1]][y[0]] + v[x[1]][y[1]]
	}
	for i := range l {
		rho[i] = make([]float64, len(l))
		for j := range l {
			rho[i][j] = covariance(l[i], l[j]) / math.Sqrt(covariance(l[i], l[i])*covariance(l[j], l[j]))
		}
	}
	return rho
}

// settle gives the pairs their bounds and adjusted p values.
func (c *comparison) settle(pairs []pair, f *family) {
	single := make([]float64, len(pairs))
	for i := range pairs {
		single[i] = pairs[i].settle(f)
	}
	if f.name == Holm {
		single = stepDown(single)
	}
	for i := range pairs {
		pairs[i].P = single[i]
	}
}

// settle gives one pair its bounds and returns its p value, for Holm the single
// one. With hidden readings the bounds are the outermost, the p value the largest
// of those with the readings as they stand and raised.
func (x *pair) settle(f *family) float64 {
	if x.open {
		return nan
	}
	if x.boole != nil {
		gap := x.boole.gap(f.alpha / float64(max(f.pairs, 1)))
		if x.boole.best.Code == x.A {
			x.Lower = gap
		} else {
			x.Upper = -gap
		}
		if math.IsInf(gap, 0) {
			x.Lower, x.Upper = nan, nan
			x.Reason = joined(x.Reason, "too few closings for a bound that holds with the others")
		}
		return x.boole.p()
	}
	half := func(s statistic) float64 { return f.critical(s.df) * s.se }
	p := func(s statistic) float64 { return f.adjusted(s.value/s.se, s.df) }
	x.Lower, x.Upper = x.base.value-half(x.base), x.base.value+half(x.base)
	if s := x.upA; s != nil {
		x.Upper = math.Max(x.Upper, s.value+half(*s))
	}
	if s := x.upB; s != nil {
		x.Lower = math.Min(x.Lower, s.value-half(*s))
	}
	worst := p(x.base)
	against := x.upB // what could undo that A is better
	if x.base.value < 0 {
		against = x.upA
	}
	if against != nil {
		if against.value*x.base.value > 0 {
			worst = math.Max(worst, p(*against))
		} else {
			worst = 1
		}
	}
	return worst
}

// rank gives letters and finds the products not shown worse than the best.
func (c *comparison) rank(all []pair) {
	var in []int // indexes in Products of those that are compared
	for i, p := range c.r.Products {
		if slices.ContainsFunc(all, func(x pair) bool { return !x.open && (x.A == p.Code || x.B == p.Code) }) {
			in = append(in, i)
		}
	}
	if len(in) == 0 {
		return
	}
	differ := func(i, j int) bool {
		a, b := c.r.Products[in[i]].Code, c.r.Products[in[j]].Code
		k := slices.IndexFunc(all, func(x pair) bool { return x.A == a && x.B == b })
		return all[k].P <= 1-c.s.Confidence
	}
	for k, l := range letters(len(in), differ) {
		c.r.Products[in[k]].Letters = l
	}
	for k, i := range in {
		if k == 0 || !differ(0, k) {
			c.r.Best = append(c.r.Best, c.r.Products[i].Code)
		}
	}
}

// equivalence tests whether products are less apart than Settings.EquivalentDB:
// two one-sided t tests, the larger of their p values, over the readings as they
// stand and raised, stepped down by Holm for the family.
//
// Source: D. J. Schuirmann, Journal of Pharmacokinetics and Biopharmaceutics 15
// (1987) 657-680 (from memory).
func (c *comparison) equivalence(pairs []pair) {
	delta := c.s.EquivalentDB
	if !(delta > 0) {
		return
	}
	single := make([]float64, len(pairs))
	for i, x := range pairs {
		switch {
		case x.open:
			single[i] = nan
			continue
		case x.boole != nil:
			single[i] = 1 // what is hidden could lie anywhere above
			continue
		}
		for _, s := range []*statistic{&x.base, x.upA, x.upB} {
			if s != nil {
				single[i] = math.Max(single[i], dist.TSurvival((delta-math.Abs(s.value))/s.se, s.df))
			}
		}
	}
	for i, p := range stepDown(single) {
		pairs[i].EquivalentP = p
		pairs[i].Equivalent = p <= 1-c.s.Confidence
	}
}
