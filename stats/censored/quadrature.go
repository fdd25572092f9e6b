package censored

import (
	"math"

	"gonum.org/v1/gonum/integrate/quad"

	"sealbound/stats/dist"
)

// The likelihood of closings in nested clusters. A closing in inner unit i of
// outer unit o, at age x, is
//
//	y = b0 + b1 x + s1 u_o + s2 v_i + sigma e, all of u, v, e standard normal
//
// and u and v are integrated out by adaptive Gauss-Hermite quadrature: nodes
// around the mode of the integrand, spread by its curvature there. The integrands
// are log-concave, so there is one mode. Where nothing is limited they are
// Gaussian and three nodes are exact.
// Source of the method: Pinheiro and Bates, J. Comput. Graph. Stat. 4 (1995) 12-35.
//
// Those nodes miss the edge that a limit cuts into the integrand of a unit whose
// closings are all limited, if they agree much more closely with each other than
// units do. There the integral is taken in panels laid out from the edge.

// params are b0, b1, ln sigma, s1, s2. The likelihood is even in s1 and s2, so
// zero, the boundary for a standard deviation, is an inner point here.
type params [5]float64

const (
	pMean = iota
	pSlope
	pLogSigma
	pOuter
	pInner
)

// A rule is nodes and the logarithms of weights.
type rule struct{ x, logW []float64 }

var (
	exactRule = hermite(3)
	roundRule = hermite(15) // for edges wider than the standard normal
	nearRule  = hermite(25)
	panelRule = legendre(8) // from 0 to 1
)

// hermite is Gauss-Hermite's rule, its weights times exp(x^2).
func hermite(n int) rule {
	r := rule{make([]float64, n), make([]float64, n)}
	quad.Hermite{}.FixedLocations(r.x, r.logW, math.Inf(-1), math.Inf(1))
	for k, x := range r.x {
		r.logW[k] = math.Log(r.logW[k]) + x*x
	}
	return r
}

// legendre is Gauss-Legendre's rule from 0 to 1.
func legendre(n int) rule {
	r := rule{make([]float64, n), make([]float64, n)}
	x, w := dist.Legendre(n)
	for k := range x {
		r.x[k], r.logW[k] = (1+x[k])/2, math.Log(w[k]/2)
	}
	return r
}

// scores are derivatives of the log-likelihood by the parameters, then minus its
// second derivative by the mean, and the square of the first.
type scores [7]float64

const (
	pWeight = 5 + iota
	pSquare
)

func (u *inner) at(p *params, shift float64) (logLik float64, s scores) {
	sigma := math.Exp(p[pLogSigma])
	for k := range u.heaps {
		h := &u.heaps[k]
		eta := p[pMean] + p[pSlope]*h.x + shift
		score := 0.0
		if h.n > 0 {
			d := (h.mean - eta) / sigma
			ss := h.ss/(sigma*sigma) + h.n*d*d
			logLik -= h.n*(p[pLogSigma]+halfLog2Pi) + ss/2
			s[pLogSigma] += ss - h.n
			s[pWeight] += h.n / (sigma * sigma)
			score = h.n * d
		}
		for _, c := range h.cuts {
			z := (c.limit - eta) / sigma
			logQ, hazard := tail(z)
			logLik += c.n * logQ
			s[pLogSigma] += c.n * z * hazard
			s[pWeight] += c.n * curvature(z, hazard) / (sigma * sigma)
			score += c.n * hazard
		}
		s[pMean] += score / sigma
		s[pSlope] += h.x * score / sigma
	}
	s[pSquare] = s[pMean] * s[pMean]
	return logLik, s
}

// mode finds where f, the derivative of a log-concave integrand with -f' >= 1,
// is zero; it returns the place and -f' there.
func mode(start float64, f func(float64) (value, curvature float64)) (at, curv float64) {
	lo, hi := math.Inf(-1), math.Inf(1)
	at = start
	for range 60 {
		g, c := f(at)
		curv = c
		if g > 0 {
			lo = at
		} else {
			hi = at
		}
		step := g / c
		if math.Abs(step) < 1e-6 { // nodes need not be placed more closely
			return at + step, c
		}
		next := at + step
		if !(next > lo && next < hi) {
			next = (lo + hi) / 2
		}
		if next == at || math.IsNaN(next) {
			return at, c
		}
		at = next
	}
	return at, curv
}

// A mixture is an integral as a sum over nodes, and the means of the scores
// under its integrand.
type mixture struct {
	top, total float64 // the sum is total exp(top)
	mean       scores
}

func newMixture() mixture { return mixture{top: math.Inf(-1)} }

// add adds a node at which the integrand times its weight is exp(l).
func (m *mixture) add(l float64, s *scores) {
	if l > m.top {
		f := math.Exp(m.top - l)
		m.total *= f
		for k := range m.mean {
			m.mean[k] *= f
		}
		m.top = l
	}
	w := math.Exp(l - m.top)
	m.total += w
	for k, v := range s {
		m.mean[k] += w * v
	}
}

// close returns the logarithm of the integral and the means of the scores.
func (m *mixture) close() (float64, scores) {
	for k := range m.mean {
		m.mean[k] /= m.total
	}
	return m.top + math.Log(m.total), m.mean
}

// An edge says where limits cut an integrand: at low to high, within width.
type edge struct{ low, high, width float64 }

// sharp is the width below which an edge is too sharp for Gauss-Hermite nodes.
const sharp = 0.5

// reach is how far an integrand matters from its mode: its logarithm is at least
// as curved as that of the standard normal density, so there exp(-36) is left.
const reach = 8.5

// overEdge visits the nodes of panels that cover an integrand with the mode at:
// fine ones about the edge, wide ones above it, where it is smooth.
func overEdge(e edge, at float64, visit func(x, logW float64)) {
	from, end := max(e.low-8*e.width, at-reach), at+reach
	below, above := max(e.low-4*e.width, from), min(e.high+4*e.width, end)
	for from < end {
		to := from + 2
		switch {
		case from < below:
			to = below
		case from < above:
			to = from + max(2*e.width, (above-below)/16)
		}
		for k, x := range panelRule.x {
			visit(from+(to-from)*x, panelRule.logW[k]+math.Log(to-from))
		}
		from = to
	}
}

// integral integrates exp(f(v) - v^2/2) over a standard normal v; f also gives
// the scores. slope returns the derivative of f - v^2/2 and minus its own one,
// and start is where the search for the mode begins. The edge is nil where the
// integrand has none.
func integral(r rule, e *edge, start *float64, slope func(v float64) (value, curvature float64), f func(v float64) (float64, scores)) (float64, scores) {
	m := newMixture()
	node := func(v, logW float64) {
		l, s := f(v)
		m.add(logW+l-v*v/2-halfLog2Pi, &s)
	}
	at, curv := mode(*start, slope)
	*start = at
	if e != nil {
		overEdge(*e, at, node)
		return m.close()
	}
	width := math.Sqrt(2 / curv)
	for k, x := range r.x {
		node(at+width*x, r.logW[k]+math.Log(width))
	}
	return m.close()
}

// overInner integrates an inner unit over v, at a given shift from u.
func (c *clusters) overInner(u *inner, p *params, shift float64) (float64, scores) {
	if !c.hasInner {
		c.left--
		return u.at(p, shift)
	}
	s2, r := p[pInner], exactRule
	var e *edge
	if u.limited {
		width := math.Exp(p[pLogSigma]) / s2
		if r = nearRule; width > 1 {
			r = roundRule
		} else if !u.seen && width < sharp {
			e = &edge{math.Inf(1), math.Inf(-1), width}
			u.cutsAt(p, shift, s2, e)
		}
	}
	return integral(r, e, &u.mode, func(v float64) (float64, float64) {
		c.left--
		_, s := u.at(p, shift+s2*v)
		return s2*s[pMean] - v, 1 + s2*s2*s[pWeight]
	}, func(v float64) (float64, scores) {
		c.left--
		l, s := u.at(p, shift+s2*v)
		s[pInner] = v * s[pMean]
		return l, s
	})
}

// cutsAt widens e to where the limits of u lie on a random effect of size s.
func (u *inner) cutsAt(p *params, shift, s float64, e *edge) {
	for k := range u.heaps {
		h := &u.heaps[k]
		for _, c := range h.cuts {
			v := (c.limit - p[pMean] - p[pSlope]*h.x - shift) / s
			e.low, e.high = min(e.low, v), max(e.high, v)
		}
	}
}

// atOuter adds up the inner units of o at a given u. The weight that it returns
// is that of the integrals over v.
func (c *clusters) atOuter(o *outer, p *params, u float64) (logLik float64, sum scores) {
	for k := range o.units {
		l, s := c.overInner(&o.units[k], p, p[pOuter]*u)
		logLik += l
		s[pWeight] -= s[pSquare] - s[pMean]*s[pMean]
		for q, v := range s {
			sum[q] += v
		}
	}
	sum[pOuter] = u * sum[pMean]
	return logLik, sum
}

// overOuter integrates an outer unit over u.
func (c *clusters) overOuter(o *outer, p *params) (float64, scores) {
	if !c.hasOuter {
		return c.atOuter(o, p, 0)
	}
	s1, r := p[pOuter], exactRule
	var e *edge
	if o.limited {
		width := math.Hypot(math.Exp(p[pLogSigma]), p[pInner]) / s1
		if r = nearRule; width > 1 {
			r = roundRule
		} else if !o.seen && width < sharp {
			e = &edge{math.Inf(1), math.Inf(-1), width}
			for k := range o.units {
				o.units[k].cutsAt(p, 0, s1, e)
			}
		}
	}
	return integral(r, e, &o.mode, func(u float64) (float64, float64) {
		_, s := c.atOuter(o, p, u)
		return s1*s[pMean] - u, max(1, 1+s1*s1*s[pWeight])
	}, func(u float64) (float64, scores) { return c.atOuter(o, p, u) })
}

// logLik returns the log-likelihood and its gradient, NaN when the budget of the
// fit is used up: data that no normal model describes can keep a search going.
func (c *clusters) logLik(at *params) (logLik float64, grad params) {
	p := *at
	p[pOuter], p[pInner] = math.Abs(p[pOuter]), math.Abs(p[pInner])
	for k := range c.outers {
		if c.left < 0 {
			return math.NaN(), grad
		}
		o := &c.outers[k]
		l, s := c.overOuter(o, &p)
		logLik += l
		for q := range grad {
			grad[q] += s[q]
		}
	}
	for _, q := range [2]int{pOuter, pInner} {
		grad[q] = math.Copysign(grad[q], grad[q]*at[q])
	}
	return logLik, grad
}
