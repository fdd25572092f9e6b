package interval

import (
	"math"
	"sync"
	"sync/atomic"

	"sealbound/stats/dist"
)

// A radius is the law of W, the square root of a chi-square with df degrees of
// freedom, laid out for sums that are asked for again and again: a table of its
// distribution function, and nodes to integrate over W. W is wide about 0.7
// around sqrt(df) whatever df.
type radius struct {
	*radiusTable
	w, weight []float64 // nodes and weights, which add up to 1
	step      float64   // between nodes, 0 where they are not evenly spaced
}

// A radiusTable depends on df alone.
type radiusTable struct {
	df, peak float64
	from, to float64   // W lies outside with negligible probability
	clear    bool      // from is so far above 0 that the end there does not show
	cells    []quintic // of the distribution function, of width radiusCell
}

// The tables asked for last, by df: the cells of a campaign mostly have as many
// closings.
var radiusTables [64]atomic.Pointer[radiusTable]

const (
	// From so many degrees of freedom on the density is so flat at 0 that evenly spaced
	// nodes serve: their error is of the order of step^df.
	evenDF      = 12
	radiusCell  = 0.125
	radiusReach = 4.4 // six standard deviations; a little more above, where few degrees of freedom have their longer tail
	// A chance of 1e-9 on either side; normal nodes 0.7 apart are exact to 1e-8 for
	// what is as smooth as a mean over half a standard deviation or more.
	normalReach = 5.6
	normalStep  = 0.7
)

var normalNodes = sync.OnceValues(func() (z, weight []float64) {
	total := 0.0
	for k := -8; k <= 8; k++ {
		x := float64(k) * normalStep
		z, weight = append(z, x), append(weight, math.Exp(-x*x/2))
		total += math.Exp(-x * x / 2)
	}
	for k := range weight {
		weight[k] /= total
	}
	return z, weight
})

// newRadius lays out the law for df >= 2; refine must follow.
func newRadius(df float64) *radius {
	place := &radiusTables[int(df)%len(radiusTables)]
	t := place.Load()
	if t == nil || t.df != df {
		mode := math.Sqrt(df - 1)
		t = &radiusTable{df: df, peak: (df-1)*math.Log(mode) - mode*mode/2, from: math.Max(0, mode-radiusReach), to: mode + radiusReach + 0.6}
		t.clear = t.from > 1
		t.tabulate()
		place.Store(t)
	}
	return &radius{radiusTable: t}
}

// density at w over that at the mode.
func (r *radiusTable) density(w float64) float64 {
	if w <= 0 {
		return 0
	}
	return math.Exp((r.df-1)*math.Log(w) - w*w/2 - r.peak)
}

// refine chooses the nodes; fine multiplies their number.
func (r *radius) refine(fine float64) {
	r.w, r.weight = r.w[:0], r.weight[:0]
	r.step = 0
	if r.df >= evenDF {
		r.step = 0.55 / fine
		for w := r.from; w < r.to; w += r.step {
			r.w, r.weight = append(r.w, w), append(r.weight, r.density(w))
		}
	} else {
		x, weight := dist.Legendre(int(20 * fine))
		for k := range x {
			w := r.from + (r.to-r.from)*(1+x[k])/2
			r.w, r.weight = append(r.w, w), append(r.weight, weight[k]*r.density(w))
		}
	}
	scale(r.weight)
}

// tabulate fills the cells: the distribution function by quadrature over each, then
// the polynomial that agrees with it, the density and its slope at both ends.
func (r *radiusTable) tabulate() {
	n := int((r.to-r.from)/radiusCell) + 1
	value, slope, bend := make([]float64, n+1), make([]float64, n+1), make([]float64, n+1)
	x, weight := dist.Legendre(3)
	for k := range value {
		w := r.from + float64(k)*radiusCell
		slope[k] = r.density(w) * radiusCell
		switch {
		case w > 0:
			bend[k] = slope[k] * ((r.df-1)/w - w) * radiusCell
		case r.df == 2:
			bend[k] = math.Exp(-r.peak) * radiusCell * radiusCell
		}
		if k == n {
			break
		}
		value[k+1] = value[k]
		for i := range x {
			value[k+1] += radiusCell / 2 * weight[i] * r.density(w+radiusCell*(1+x[i])/2)
		}
	}
	total := value[n]
	end := func(k float64) (float64, float64, float64) {
		return value[int(k)] / total, slope[int(k)] / total, bend[int(k)] / total
	}
	r.cells = make([]quintic, n)
	for k := range r.cells {
		r.cells[k] = hermite(end, float64(k), float64(k+1))
	}
}

// below returns P(W <= w) and the density at w.
func (r *radius) below(w float64) (p, density float64) {
	t := (w - r.from) / radiusCell
	if !(t > 0) {
		return 0, 0
	}
	k := int(math.Min(t, 1e6))
	if k >= len(r.cells) {
		return 1, 0
	}
	t -= float64(k)
	c := &r.cells[k]
	p = c[0] + t*(c[1]+t*(c[2]+t*(c[3]+t*(c[4]+t*c[5]))))
	d := c[1] + t*(2*c[2]+t*(3*c[3]+t*(4*c[4]+t*5*c[5])))
	return p, d / radiusCell
}

// exceeds returns P(b + a*Z >= d*W) for standard normal Z, a >= 0, with its derivative
// in d. Whatever of a*Z and d*W is wider is integrated over; the other's
// distribution function is then smooth at that scale.
func (r *radius) exceeds(b, a, d float64) (p, slope float64) {
	e := math.Abs(d)
	if a > 0.8*e {
		return r.overRadius(b, a, d)
	}
	// d > 0: P(W <= (b + a Z)/d). d < 0: the complement of P(W < (-b + a Z)/|d|).
	if d < 0 {
		b = -b
	}
	m, s := b/e, a/e
	switch {
	case s == 0:
		p, slope = r.below(m)
		slope *= m
	case m+normalReach*s <= r.from:
	case m-normalReach*s >= 0 || r.clear:
		z, weight := normalNodes()
		for k, x := range z {
			w := m + s*x
			q, f := r.below(w)
			p += weight[k] * q
			slope += weight[k] * f * w
		}
	default: // the end at 0 shows: begin there
		lo := -m / s
		x, weight := dist.Legendre(24)
		half := (normalReach - lo) / 2
		for k := range x {
			z := lo + half*(1+x[k])
			w := m + s*z
			q, f := r.below(w)
			g := half * weight[k] * math.Exp(-z*z/2) / math.Sqrt(2*math.Pi)
			p += g * q
			slope += g * f * w
		}
	}
	slope = -slope / e
	if d < 0 {
		p = 1 - p
	}
	return p, slope
}

// overRadius integrates P(Z >= (d*W - b)/a) over W.
func (r *radius) overRadius(b, a, d float64) (p, slope float64) {
	lo, hi := (b-d*r.w[0])/a, (b-d*r.w[len(r.w)-1])/a
	switch {
	case math.Min(lo, hi) > normalEnd:
		return 1, 0
	case math.Max(lo, hi) < -normalEnd:
		return 0, 0
	}
	if r.step > 0 {
		p, slope = r.evenly(b/a, d/a)
	} else {
		for k, w := range r.w {
			z := (b - d*w) / a
			e := math.Exp(-z * z / 2)
			p += r.weight[k] * chance(z, e)
			slope += r.weight[k] * w * e
		}
	}
	return p, -slope / (a * math.Sqrt(2*math.Pi))
}

// evenly is the sum over evenly spaced nodes: there exp(-z^2/2) is carried on from node
// to node by two products, beginning where z is nearest to 0 so that it does not
// underflow.
func (r *radius) evenly(b, d float64) (p, slope float64) {
	last := len(r.w) - 1
	start := 0
	if d != 0 {
		start = int(math.Max(0, math.Min((b/d-r.w[0])/r.step+0.5, float64(last))))
	}
	z0 := b - d*r.w[start]
	e0 := math.Exp(-z0 * z0 / 2)
	change := d * r.step
	square := math.Exp(-change * change)
	for _, side := range [...]int{1, -1} {
		z, e := z0, e0
		by := -change * float64(side)
		ratio := math.Exp(-by * (2*z0 + by) / 2)
		k := start
		if side < 0 {
			k, z, e, ratio = start-1, z0+by, e0*ratio, ratio*square
		}
		for ; k >= 0 && k <= last; k += side {
			p += r.weight[k] * chance(z, e)
			slope += r.weight[k] * r.w[k] * e
			z, e, ratio = z+by, e*ratio, ratio*square
		}
	}
	return p, slope
}
