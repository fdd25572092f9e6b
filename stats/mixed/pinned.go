package mixed

import "math"

// pinned is the objective with one variance held at v (of the scaled values):
// -2 log-likelihood with the residual variance set to v/gamma[k], or to v
// itself for k < 0.
type pinned struct {
	m Method
	k int
	v float64
}

func (o pinned) sigma2(w *workspace) float64 {
	if o.k < 0 {
		return o.v
	}
	return o.v / w.gamma[o.k]
}

func (o pinned) value(w *workspace) float64 {
	s2 := o.sigma2(w)
	if math.IsInf(s2, 0) {
		return math.Inf(1)
	}
	return -2 * w.logLik(o.m, s2)
}

func (o pinned) derivatives(w *workspace, grad, hess []float64) {
	s := w.s
	n := len(s.params)
	s2, df := o.sigma2(w), s.df(o.m)
	for i := range n {
		a := s.at1(i)
		grad[i] = w.logV[a] + w.q[a]/s2
		if o.m == REML {
			grad[i] += w.logX[a]
		}
		for j := 0; j <= i; j++ {
			a2 := s.at2(i, j)
			h := w.logV[a2] + w.q[a2]/s2
			if o.m == REML {
				h += w.logX[a2]
			}
			if i == o.k {
				h += w.q[s.at1(j)] / o.v
			}
			if j == o.k {
				h += w.q[a] / o.v
			}
			if i == o.k && j == o.k {
				h += df / (w.gamma[i] * w.gamma[i])
			}
			hess[i*n+j], hess[j*n+i] = h, h
		}
	}
	if o.k >= 0 {
		grad[o.k] += w.q[0]/o.v - df/w.gamma[o.k]
	}
}
