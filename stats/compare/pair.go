package compare

import (
	"math"

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
		return refuse(c.tooFew())
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
