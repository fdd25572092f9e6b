package censored

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// A maximum is where a search ended.
type maximum struct {
	status Status
	at     params
	logLik float64
	info   *mat.SymDense // minus the Hessian in the free parameters, or near it
}

// maximize climbs the log-likelihood in the free parameters by quasi-Newton
// steps (BFGS). info is minus the Hessian to begin with, nil to work it out.
// Data are in a scale of one, so steps are kept below one. At the end it looks
// about for a way up that the gradient does not show, as where a spread is zero.
func (c *clusters) maximize(start params, free []int, info *mat.SymDense) maximum {
	m := maximum{status: NotConverged, at: start, info: info}
	var grad params
	m.logLik, grad = c.logLik(&m.at)
	check, exact := info == nil, false // info is the Hessian here
	var up []float64                   // a way up that the gradient does not show
	renew := func() {
		m.info, exact = c.information(&m.at, free), true
		info, up = definite(m.info)
	}
	if check {
		renew()
	}
	for range 300 {
		switch {
		case math.IsNaN(m.logLik) || math.IsInf(m.logLik, 0):
			return m
		case m.at[pLogSigma] < -14: // a spread of a millionth: it shrinks to nothing
			m.status = NoSpread
			return m
		}
		step, gain := ascent(info, grad, free)
		size := 1 + math.Abs(m.logLik)
		arrived := gain < 1e-13*size
		next, l, g := m.at, m.logLik, grad
		stuck := true
		if !arrived && step != nil {
			next, l, g, stuck = c.climb(&m, free, step, gain < 1e-7*size)
			arrived = stuck && gain < 1e-7*size
		}
		switch {
		case arrived && exact && up != nil:
			if next, l, g, stuck = c.climb(&m, free, up, false); stuck {
				return m
			}
			exact = false
		case arrived && (exact || !check):
			m.status = Estimated
			if !check {
				m.info = info
			}
			return m
		case stuck && exact:
			return m
		case stuck:
			renew()
			continue
		default:
			info, exact = secant(info, &m.at, &next, &grad, &g, free), false
		}
		m.at, m.logLik, grad = next, l, g
	}
	return m
}

// climb goes along a step, halved until it leads up; near says that the gain
// drowns in the error of the quadrature. stuck is true where no part of the step
// leads up.
func (c *clusters) climb(m *maximum, free []int, step []float64, near bool) (next params, l float64, g params, stuck bool) {
	size := 1 + math.Abs(m.logLik)
	for length := 1.0; length > 1e-9; length /= 2 {
		next = m.at
		for k, q := range free {
			next[q] += length * step[k]
		}
		l, g = c.logLik(&next)
		if l >= m.logLik || near && l >= m.logLik-1e-7*size {
			return next, l, g, false
		}
	}
	return next, l, g, true
}

// information returns minus the Hessian, by differences of the gradient.
func (c *clusters) information(at *params, free []int) *mat.SymDense {
	const h = 1e-4
	n := len(free)
	rows := make([]params, n)
	for k, q := range free {
		up, down := *at, *at
		up[q] += h
		down[q] -= h
		_, gUp := c.logLik(&up)
		_, gDown := c.logLik(&down)
		for r := range rows[k] {
			rows[k][r] = (gDown[r] - gUp[r]) / (2 * h)
		}
	}
	s := mat.NewSymDense(n, nil)
	for k := range free {
		for l := k; l < n; l++ {
			s.SetSym(k, l, (rows[k][free[l]]+rows[l][free[k]])/2)
		}
	}
	return s
}

// secant returns info changed so that it agrees with what the last step saw of
// the gradient: the update of Broyden, Fletcher, Goldfarb and Shanno. It is left
// as it is where the function was not concave along the step.
func secant(info *mat.SymDense, from, to, gFrom, gTo *params, free []int) *mat.SymDense {
	n := len(free)
	s, y := mat.NewVecDense(n, nil), mat.NewVecDense(n, nil)
	for k, q := range free {
		s.SetVec(k, to[q]-from[q])
		y.SetVec(k, gFrom[q]-gTo[q])
	}
	var bs mat.VecDense
	bs.MulVec(info, s)
	sy, sbs := mat.Dot(s, y), mat.Dot(s, &bs)
	if !(sy > 1e-10*mat.Norm(s, 2)*mat.Norm(y, 2)) || !(sbs > 0) {
		return info
	}
	next := mat.NewSymDense(n, nil)
	next.SymRankOne(info, 1/sy, y)
	next.SymRankOne(next, -1/sbs, &bs)
	return next
}

// definite returns info with the signs of its eigenvalues turned where they are
// wrong, and a step along the most wrong one, nil if none is.
func definite(info *mat.SymDense) (turned *mat.SymDense, up []float64) {
	n := info.SymmetricDim()
	var e mat.EigenSym
	if !e.Factorize(info, true) {
		return info, nil
	}
	var v mat.Dense
	e.VectorsTo(&v)
	values := e.Values(nil) // ascending
	top := max(math.Abs(values[0]), math.Abs(values[n-1]))
	turned = mat.NewSymDense(n, nil)
	for k, l := range values {
		turned.SymRankOne(turned, max(math.Abs(l), 1e-9*top, 1e-12), v.ColView(k))
	}
	if values[0] < -1e-4*top {
		up = mat.Col(nil, 0, &v)
		for r := range up {
			up[r] *= 0.1
		}
	}
	return turned, up
}

// ascent returns a step uphill, none of its parts above one, and twice the gain
// that it promises; the gain is NaN where info is not definite.
func ascent(info *mat.SymDense, grad params, free []int) (step []float64, gain float64) {
	n := len(free)
	g, x := mat.NewVecDense(n, nil), mat.NewVecDense(n, nil)
	for k, q := range free {
		g.SetVec(k, grad[q])
	}
	var c mat.Cholesky
	if !c.Factorize(info) {
		return nil, math.NaN()
	}
	if err := c.SolveVecTo(x, g); err != nil {
		return nil, math.NaN()
	}
	gain = mat.Dot(x, g)
	if longest := mat.Norm(x, math.Inf(1)); longest > 1 {
		x.ScaleVec(1/longest, x)
	}
	return x.RawVector().Data, gain
}

// bounds returns the standard error of parameter q at the maximum top, by the
// observed information, and where its profile log-likelihood has fallen by drop.
func (c *clusters) bounds(top maximum, free []int, q int, drop float64) (se, lower, upper float64) {
	se = standardError(top, free, q)
	if !(se > 0) {
		se = 0.1 // only a first step
	}
	step := se * math.Sqrt(2*drop)
	at := slices.Index(free, q)
	rest := slices.Delete(slices.Clone(free), at, at+1)
	side := func(direction float64) float64 {
		w := walk{c: c, q: q, rest: rest, last: top.at, before: top.at, info: without(top.info, at)}
		reached := top.at[q]
		for range 4 {
			x := end(w.profile, top.at[q], top.logLik, drop, max(step, direction*(reached-top.at[q])), 1e-6, direction)
			if math.IsNaN(x) || !w.jump(x) {
				return x
			}
			reached = x // another branch is higher there, and falls further out
		}
		return math.NaN()
	}
	lower, upper = side(-1), side(1)
	return standardError(top, free, q), lower, upper
}

// A walk goes along the profile of parameter q.
type walk struct {
	c            *clusters
	q            int
	rest         []int
	last, before params // the last two maxima
	info         *mat.SymDense
}

// profile returns the highest log-likelihood with q held at value, beginning on
// the line through the last two maxima, NaN where the search fails.
func (w *walk) profile(value float64) float64 {
	from := w.last
	if moved := w.last[w.q] - w.before[w.q]; moved != 0 {
		for k := range from {
			from[k] += (w.last[k] - w.before[k]) * (value - w.last[w.q]) / moved
		}
	}
	from[w.q] = value
	m := w.c.maximize(from, w.rest, w.info)
	if m.status != Estimated {
		from = w.last
		from[w.q] = value
		if m = w.c.maximize(from, w.rest, nil); m.status != Estimated {
			return math.NaN()
		}
		m.info, _ = definite(m.info)
	}
	w.before, w.last, w.info = w.last, m.at, m.info
	return m.logLik
}

// jump looks for a higher maximum at the last value, with the spread shared out
// among the levels: the likelihood can have one maximum where a level has no
// spread and another where it has. It reports whether it went there.
func (w *walk) jump(value float64) bool {
	here := w.profile(value)
	from := w.last
	levels := 0.0
	total := math.Exp(2 * from[pLogSigma])
	for _, k := range w.rest {
		if k == pOuter || k == pInner {
			levels++
			total += from[k] * from[k]
		}
	}
	if levels == 0 {
		return false
	}
	share := math.Sqrt(total / (levels + 1))
	from[pLogSigma] = math.Log(share)
	for _, k := range w.rest {
		if k == pOuter || k == pInner {
			from[k] = share
		}
	}
	m := w.c.maximize(from, w.rest, nil)
	if m.status != Estimated || !(m.logLik > here+1e-5) {
		return false
	}
	w.before, w.last = m.at, m.at
	w.info, _ = definite(m.info)
	return true
}

// without drops row and column at.
func without(s *mat.SymDense, at int) *mat.SymDense {
	n := s.SymmetricDim() - 1
	out := mat.NewSymDense(n, nil)
	for k := range n {
		for l := k; l < n; l++ {
			i, j := k, l
			if i >= at {
				i++
			}
			if j >= at {
				j++
			}
			out.SetSym(k, l, s.At(i, j))
		}
	}
	return out
}

// standardError inverts the information, without the levels that came out as
// zero: there it says nothing of their spread.
func standardError(m maximum, free []int, q int) float64 {
	var keep []int
	for k, p := range free {
		if (p != pOuter && p != pInner) || math.Abs(m.at[p]) > 1e-5 {
			keep = append(keep, k)
		}
	}
	s := mat.NewSymDense(len(keep), nil)
	at := -1
	for a, k := range keep {
		if free[k] == q {
			at = a
		}
		for b := a; b < len(keep); b++ {
			s.SetSym(a, b, m.info.At(k, keep[b]))
		}
	}
	var c mat.Cholesky
	if at < 0 || !c.Factorize(s) {
		return math.NaN()
	}
	unit := mat.NewVecDense(len(keep), nil)
	unit.SetVec(at, 1)
	var x mat.VecDense
	if err := c.SolveVecTo(&x, unit); err != nil {
		return math.NaN()
	}
	return math.Sqrt(x.AtVec(at))
}
