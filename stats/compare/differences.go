package compare

import (
	"math"
	"slices"

	"sealbound/stats/dist"
	"sealbound/stats/judge"
)

// A statistic is an estimated difference, dB.
type statistic struct{ value, se, df float64 }

// A pair is two products on the way to a Difference.
type pair struct {
	Difference
	base  statistic
	upA   *statistic // with the hidden readings of A raised
	upB   *statistic // with those of B
	boole *boole     // where one of them is bounded by its own closings
	open  bool       // nothing can be said of it
}

// A boole bounds a difference by bounds of the two means apart, which hold
// together whatever their dependence (Boole's inequality): the product with the
// hidden readings is at least so good, the other at most.
type boole struct {
	best, other *Product
	up          *model // the other with its hidden readings raised
	c           *comparison
}

// gap is the lower bound of best less other with error at most gamma/2; -Inf
// where there is none.
func (b *boole) gap(gamma float64) float64 {
	confidence := 1 - gamma/4
	lower := b.best.own.LowerAt(confidence)
	upper := b.other.Value + dist.TQuantile(confidence, b.other.DF)*b.other.SE
	if b.up != nil {
		q := *b.other
		if !b.up.fitted() || !b.c.modelMean(*b.up, &q, b.units(), b.other.ReferenceU) {
			return math.Inf(-1)
		}
		upper = math.Max(upper, q.Value+dist.TQuantile(confidence, q.DF)*q.SE)
	}
	if d := lower - upper; !math.IsNaN(d) {
		return d
	}
	return math.Inf(-1)
}

func (b *boole) units() int { n, _ := b.c.model.meanUnits(b.other.column); return n }

// p is the two-sided p value: the smallest gamma with a gap above zero.
func (b *boole) p() float64 {
	if !(b.gap(1) > 0) {
		return 1
	}
	lo, hi := math.Log(1e-16), 0.0
	if b.gap(math.Exp(lo)) > 0 {
		return math.Exp(lo)
	}
	for hi-lo > 1e-10 {
		if mid := (lo + hi) / 2; b.gap(math.Exp(mid)) > 0 {
			hi = mid
		} else {
			lo = mid
		}
	}
	return math.Exp(hi)
}

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

// pair compares two products without regard to the family.
func (c *comparison) pair(a, b *Product) pair {
	x := pair{Difference: Difference{A: a.Code, B: b.Code, DB: a.Value - b.Value, SE: nan, DF: nan, SatterthwaiteDF: nan,
		Lower: nan, Upper: nan, P: nan, EquivalentP: nan, AtLeast: a.hidden > 0, AtMost: b.hidden > 0}, open: true}
	refuse := func(reason string) pair {
		x.Reason = reason
		return x
	}
	switch {
	case a.Fittings < 2 || b.Fittings < 2:
		return refuse(tooFew)
	case a.Own && b.Own:
		return refuse(c.why(a, b) + ", and of the other product too: neither side of the difference can be said")
	case a.Own || b.Own:
		best, other := a, b
		if b.Own {
			best, other = b, a
		}
		if math.IsNaN(other.Lower) || math.IsNaN(best.Lower) {
			return refuse(c.why(a, b) + ", and too few boxes carry it for a bound of its own")
		}
		x.boole = &boole{best: best, other: other, c: c}
		if up, ok := c.raised[other.Code]; ok {
			x.boole.up = &up
		}
		x.open, x.Reason = false, c.why(best, best)+": only that it is better can be shown"
		return x
	case !c.within.fitted():
		return refuse(c.within.reason)
	}
	if why := c.within.apart(a.column, b.column); why != "" {
		return refuse(why)
	}
	base, raw, err := c.statistic(c.within, a, b)
	if err != "" {
		return refuse(err)
	}
	x.open, x.base = false, base
	x.DB, x.SE, x.DF, x.SatterthwaiteDF = base.value, base.se, base.df, raw
	for _, side := range []struct {
		p  *Product
		to **statistic
	}{{a, &x.upA}, {b, &x.upB}} {
		m, ok := c.lifted[side.p.Code]
		if !ok {
			continue
		}
		if s, _, err := c.statistic(m, a, b); err == "" {
			*side.to = &s
		} else {
			x.open = true
			return refuse(err)
		}
	}
	return x
}

// why names the product whose hidden readings are too many.
func (c *comparison) why(a, b *Product) string {
	for _, p := range []*Product{a, b} {
		if p.Own && p.Limited == 0 {
			return "no floor is known, and over a fifth of the readings of one product may stand at it"
		}
	}
	return "over a fifth of the readings of one product are limited"
}

// statistic is the difference of a and b in a model, with its degrees of freedom
// before (raw) and after they are kept within what the design replicates.
func (c *comparison) statistic(m model, a, b *Product) (s statistic, raw float64, reason string) {
	if !m.fitted() {
		return s, nan, m.reason
	}
	k, err := m.contrast(a.column, b.column)
	if err != nil {
		return s, nan, err.Error()
	}
	units, _ := m.differenceUnits(a.column, b.column)
	df, warnings := m.fit.SafeDF(k.DF, units)
	c.r.Warnings = append(c.r.Warnings, warnings...)
	s = statistic{k.Value, k.SE, df}
	if u := c.betweenReferences(a, b); u.UDB > 0 {
		s.se, s.df = withReference(s.se, s.df, u)
	}
	return s, k.DF, ""
}

// betweenReferences is the uncertainty of a difference from products that were
// read against different open readings of one session. It is zero where the
// closings of both share the same open readings evenly, where each reference
// serves one box (the spread between boxes holds it), and where sessions are in
// the model.
func (c *comparison) betweenReferences(a, b *Product) judge.Source {
	if c.within.sessionIn || a.Sessions > 1 || b.Sessions > 1 || c.Reference.Levels < 2 {
		return judge.Source{}
	}
	weight := make([]float64, c.Reference.Levels)
	boxes := make([]int32, c.Reference.Levels)
	for r := range boxes {
		boxes[r] = -1
	}
	several := false
	members := make([][]int32, c.Reference.Levels)
	for i, k := range c.r.Kept {
		var w float64
		switch c.code[i] {
		case a.Code:
			w = 1 / float64(a.Closings)
		case b.Code:
			w = -1 / float64(b.Closings)
		default:
			continue
		}
		if len(c.OwnReference) > 0 && c.OwnReference[k] {
			continue
		}
		r := c.Reference.Codes[k]
		weight[r] += w
		members[r] = append(members[r], k)
		if box := c.Box.Codes[k]; boxes[r] >= 0 && boxes[r] != box {
			several = true
		} else {
			boxes[r] = box
		}
	}
	if !several && !c.within.oneBox() {
		return judge.Source{}
	}
	var parts []judge.Source
	for r, w := range weight {
		if math.Abs(w) < 1e-9 {
			continue
		}
		u, known := c.SharedReference(members[r], c.r.Points)
		if !known {
			c.warn("references-differ", "products were read against different open readings, and none of these was repeated: nothing tells how far they differ, so the differences hold for these readings only; read the open reference again at the end of each run")
			continue
		}
		u.UDB *= math.Abs(w)
		parts = append(parts, u)
	}
	return judge.Combined(parts...)
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

// gains lists box by box what each product adds over the one compared against.
func (c *comparison) gains() {
	if c.indexOf(c.s.Against) < 0 {
		return
	}
	type place struct{ box, product int32 }
	fitting := make(map[place]map[int32][]float64)
	hidden := make(map[place]bool)
	for i, k := range c.r.Kept {
		at := place{c.Box.Codes[k], c.code[i]}
		if fitting[at] == nil {
			fitting[at] = make(map[int32][]float64)
		}
		f := c.Fitting.Codes[k]
		fitting[at][f] = append(fitting[at][f], c.r.Values[i])
	}
	for i, k := range c.Closing {
		if c.keep[k] && c.used[c.Point[i]] && c.hidden[i] {
			hidden[place{c.Box.Codes[k], c.Product.Codes[k]}] = true
		}
	}
	mean := func(at place) float64 {
		var codes []int32
		for f := range fitting[at] {
			codes = append(codes, f)
		}
		slices.Sort(codes)
		var means []float64
		for _, f := range codes {
			means = append(means, plainMean(fitting[at][f]))
		}
		return plainMean(means)
	}
	for box := range int32(c.Box.Levels) {
		from := place{box, c.s.Against}
		if fitting[from] == nil {
			continue
		}
		for _, p := range c.r.Products {
			to := place{box, p.Code}
			if p.Code == c.s.Against || fitting[to] == nil {
				continue
			}
			g := Gain{Box: box, Product: p.Code, FromDB: mean(from), ToDB: mean(to), AtLeast: hidden[to], AtMost: hidden[from]}
			g.DB = g.ToDB - g.FromDB
			c.r.Gains = append(c.r.Gains, g)
		}
	}
}
