package interval

import (
	"math"

	"sealbound/stats/dist"
)

// A pivot is the law of (mean - G) for the generalized limit G of NestedCoverage,
// up to the factor that all chi-squares share. With R the sum of all chi-squares,
//
//	mean - G = (b + a*Z)/sqrt(R)
//
// where a = sqrt(Q_top/units)*sqrt(R) and b = z(coverage)*sqrt(sum g)*sqrt(R) depend
// on the shares of the chi-squares in R alone, and those are independent of R. So
// P(mean - G >= d) is a mean over shares of P(b + a*Z >= d*sqrt(R)), which R
// and Z together smooth: no step in the shares is sharper than R is wide.
type pivot struct {
	r     *radius
	sharp float64 // relative width of the steps that R and Z leave
	drop  float64 // see angles
	atoms []atom
}

// An atom stands for some of the shares.
type atom struct{ b, a, weight float64 }

// newPivot lays out the shares for that confidence; fine multiplies the number of nodes
// in each. Variances are in units of unit. ok is false where the nodes would be too many.
func newPivot(g generalized, unit, confidence, fine float64) (p *pivot, ok bool) {
	df := 0.0
	for _, s := range g.strata {
		df += s.df
	}
	total, _ := g.total()
	top := g.strata[0]
	p = &pivot{
		r:     newRadius(df),
		sharp: math.Sqrt(0.5/df + top.ss/top.df/g.units/(g.z*g.z*total)),
		drop:  12 - math.Log(math.Min(confidence, 1-confidence)), // a part in 1e5 of the smaller chance
	}
	return p, p.refine(g, unit, fine)
}

// mostAtoms bounds the work of integrating; beyond, drawing is quicker.
const mostAtoms = 50000

// refine lays out the shares anew, with other numbers of nodes. It is false where they
// would be too many.
func (p *pivot) refine(g generalized, unit, fine float64) bool {
	p.r.refine(fine)
	p.atoms = p.atoms[:0]
	levels := len(g.strata)
	finest := g.strata[levels-1]
	w := walk{g: g, unit: unit, law: make([]*angles, levels-1), single: make([]float64, levels),
		room: make([][]angle, levels-1), pivot: p}
	sum, count := finest.df, 1
	for l := levels - 2; l >= 0; l-- {
		w.law[l] = newAngles(g.strata[l].df, sum, p.sharp, p.drop, fine)
		sum += g.strata[l].df
		count *= len(w.law[l].plain)
	}
	if count > mostAtoms {
		return false
	}
	w.single[levels-1] = finest.ss / unit
	w.down(levels-2, 1, 1)
	return true
}

// A walk goes through the levels from the finest to the top, an angle for each,
// the chi-squares in units of the finest.
type walk struct {
	g      generalized
	unit   float64
	law    []*angles
	single []float64 // variance of each level alone
	room   [][]angle
	pivot  *pivot
}

// negligible is the weight below which a combination of shares is left out.
const negligible = 1e-12

// down takes the levels from l upwards; sum is that of the chi-squares so far.
func (w *walk) down(l int, sum, weight float64) {
	s := w.g.strata[l]
	var carried float64
	for j := l + 1; j < len(w.single); j++ {
		carried += s.finer[j] * w.single[j]
	}
	size := s.ss / w.unit
	nodes := w.law[l].plain
	if kink := size / carried / sum; kink > 0 && !math.IsInf(kink, 1) { // the level's own variance is cut at 0 beyond
		w.room[l] = w.law[l].nodes(w.room[l][:0], kink)
		nodes = w.room[l]
	}
	for _, n := range nodes {
		v := weight * n.weight
		if v < negligible {
			continue
		}
		x, next := sum*n.sin2/n.cos2, sum/n.cos2
		w.single[l] = math.Max(0, size/x-carried)
		if l > 0 {
			w.down(l-1, next, v)
			continue
		}
		total := 0.0
		for _, g := range w.single {
			total += g
		}
		w.pivot.atoms = append(w.pivot.atoms, atom{w.g.z * math.Sqrt(total*next), math.Sqrt(size / x / w.g.units * next), v})
	}
}

// exceeds returns P(mean - G >= d) and its derivative in d.
func (p *pivot) exceeds(d float64) (chance, slope float64) {
	for _, t := range p.atoms {
		c, s := p.r.exceeds(t.b, t.a, d)
		chance += t.weight * c
		slope += t.weight * s
	}
	return chance, slope
}

// solve returns the d with P(mean - G >= d) = Phi(want), by Newton steps on the scale
// of normal quantiles, where the law is nearly straight. size is the SD of one
// closing.
func (p *pivot) solve(start, size, want float64) (d float64, ok bool) {
	lo, hi := math.Inf(-1), math.Inf(1)
	d = start
	stride := 2 * size
	for range 60 {
		step, up, ok := p.step(d, want)
		if up {
			lo = d
		} else {
			hi = d
		}
		if ok && math.Abs(step) < 3e-3*(size+math.Abs(d)) { // what is left is of the order of the square
			return d + step, true
		}
		next := d + math.Max(-stride, math.Min(step, stride))
		stride *= 2
		switch {
		case ok && next > lo && next < hi:
		case math.IsInf(lo, -1):
			next = d - stride
		case math.IsInf(hi, 1):
			next = d + stride
		default:
			next = (lo + hi) / 2
		}
		d = next
	}
	return d, false
}

// step is the Newton step from d; up says that d is too small. ok is false where the
// chance is too near 0 or 1 for one.
func (p *pivot) step(d, want float64) (step float64, up, ok bool) {
	chance, slope := p.exceeds(d)
	at := dist.NormalQuantile(math.Max(0, math.Min(chance, 1)))
	up = at > want
	step = (want - at) * math.Exp(-at*at/2) / math.Sqrt(2*math.Pi) / slope
	return step, up, math.Abs(at) < 7 && !math.IsNaN(step) && !math.IsInf(step, 0)
}

// pivotTolerance is how far the last two orders may differ, as a share of the SD of one
// closing and of the limit's distance from the mean. 100,000 draws scatter by some 0.005.
const pivotTolerance = 2e-5

// mostIntegrated is up to how many levels, closings among them, integrating is
// quicker than drawing: the work is a power of their number.
const mostIntegrated = 3

// integrate returns the 1-confidence quantile of G without drawing. ok is false with
// too many levels and where two orders of quadrature do not agree.
func (g generalized) integrate(confidence float64) (lower float64, ok bool) {
	top := g.strata[0]
	var unit float64
	for _, s := range g.strata {
		unit = math.Max(unit, s.ss/s.df)
	}
	switch {
	case unit == 0: // all values are equal
		return g.mean, true
	case g.z == 0: // the level is the mean: Student's t
		return g.mean - dist.TQuantile(confidence, top.df)*math.Sqrt(top.ss/top.df/g.units), true
	case len(g.strata) > mostIntegrated:
		return math.NaN(), false
	}
	total, freedom := g.total()
	if !(total > 0) {
		return math.NaN(), false
	}
	size := math.Sqrt(total / unit)
	se := math.Sqrt(top.ss / top.df / g.units / unit)
	want := dist.NormalQuantile(1 - confidence)
	d := g.z*size - want*math.Hypot(se, g.z*size/math.Sqrt(2*freedom))
	// A coarse law finds the place, finer ones mend it until two agree.
	orders := [...]float64{0.7, 1.1, 1.5, 2, 2.8}
	if len(g.strata) > 2 {
		orders = [...]float64{0.65, 1, 1.3, 1.7, 2.2}
	}
	p, fits := newPivot(g, unit, confidence, orders[0])
	if !fits {
		return math.NaN(), false
	}
	if d, ok = p.solve(d, size, want); !ok {
		return math.NaN(), false
	}
	for _, fine := range orders[1:] {
		if !p.refine(g, unit, fine) {
			break
		}
		step, _, ok := p.step(d, want)
		if !ok {
			break
		}
		d += step
		if math.Abs(step) < pivotTolerance*(size+math.Abs(d)) {
			return g.mean - d*math.Sqrt(unit), true
		}
	}
	return math.NaN(), false
}
