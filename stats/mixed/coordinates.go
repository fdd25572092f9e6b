package mixed

import "math"

// The search runs in coordinates phi that make the criterion nearly quadratic
// and the boundary reachable:
//
//	a single variance:  gamma = (exp(phi) - 1)/c, phi >= 0, c the column's scale
//	                    (for balanced one-way data the criterion is convex in phi);
//	a correlated pair:  the Cholesky factor of the covariance ratios, scaled by
//	                    the columns; its diagonal is >= 0.

// phiMax bounds phi; a variance this far above the residual's (by 1e10 per
// level) means that the residual variance has gone to zero.
var phiMax = math.Log1p(1e10)

// ratiosAt fills gamma from phi.
func (o *searcher) ratiosAt(phi, gamma []float64) {
	p := o.s.params
	for i := 0; i < o.k; i++ {
		if p[i].kind == scalar {
			gamma[i] = math.Expm1(phi[i]) / p[i].scale
			continue
		}
		a, b, c := phi[i], phi[i+1], phi[i+2]
		gamma[i] = a * a / p[i].scale
		gamma[i+1] = a * b / p[i+1].scale
		gamma[i+2] = (b*b + c*c) / p[i+2].scale
		i += 2
	}
}

// phiAt is the inverse of ratiosAt.
func (o *searcher) phiAt(gamma []float64) []float64 {
	phi := make([]float64, o.k)
	p := o.s.params
	for i := 0; i < o.k; i++ {
		if p[i].kind == scalar {
			phi[i] = math.Log1p(gamma[i] * p[i].scale)
			continue
		}
		a := math.Sqrt(gamma[i] * p[i].scale)
		var b float64
		if a > 0 {
			b = gamma[i+1] * p[i+1].scale / a
		}
		phi[i], phi[i+1] = a, b
		phi[i+2] = math.Sqrt(math.Max(0, gamma[i+2]*p[i+2].scale-b*b))
		i += 2
	}
	return phi
}

// bounds of phi[i].
func (o *searcher) bounds(i int) (lo, hi float64) {
	switch o.s.params[i].kind {
	case scalar:
		return 0, phiMax
	case pairCov:
		return -1e5, 1e5
	}
	return 0, 1e5
}

// reach is the longest step that coordinate i may take from phi: a factor of
// e^2 in a variance, likewise in the size of a Cholesky factor.
func (o *searcher) reach(phi []float64, i int) float64 {
	switch o.s.params[i].kind {
	case scalar:
		return 2
	case pairVar2:
		i -= 2
	case pairCov:
		i--
	}
	return 2 * max(1, math.Hypot(math.Hypot(phi[i], phi[i+1]), phi[i+2]))
}

// derivativesAt fills grad, hess, jac at phi and returns the objective.
func (o *searcher) derivativesAt(phi []float64) float64 {
	o.ratiosAt(phi, o.gamma)
	o.deriv.eval(o.gamma)
	o.obj.derivatives(o.deriv, o.gGamma, o.hGam)
	k, p := o.k, o.s.params
	clear(o.jac)
	for i := 0; i < k; i++ {
		if p[i].kind == scalar {
			o.jac[i*k+i] = math.Exp(phi[i]) / p[i].scale
			continue
		}
		a, b, c := phi[i], phi[i+1], phi[i+2]
		o.jac[i*k+i] = 2 * a / p[i].scale
		o.jac[(i+1)*k+i] = b / p[i+1].scale
		o.jac[(i+1)*k+i+1] = a / p[i+1].scale
		o.jac[(i+2)*k+i+1] = 2 * b / p[i+2].scale
		o.jac[(i+2)*k+i+2] = 2 * c / p[i+2].scale
		i += 2
	}
	// grad = J'g, hess = J'HJ + curvature of the map.
	for i := range k {
		o.grad[i] = 0
		for a := range k {
			o.grad[i] += o.jac[a*k+i] * o.gGamma[a]
		}
		for j := 0; j <= i; j++ {
			var h float64
			for a := range k {
				ja := o.jac[a*k+i]
				if ja == 0 {
					continue
				}
				for b := range k {
					h += ja * o.hGam[a*k+b] * o.jac[b*k+j]
				}
			}
			o.hess[i*k+j], o.hess[j*k+i] = h, h
		}
	}
	for i := 0; i < k; i++ {
		if p[i].kind == scalar {
			o.hess[i*k+i] += o.gGamma[i] * math.Exp(phi[i]) / p[i].scale
			continue
		}
		o.hess[i*k+i] += 2 * o.gGamma[i] / p[i].scale
		cross := o.gGamma[i+1] / p[i+1].scale
		o.hess[i*k+i+1] += cross
		o.hess[(i+1)*k+i] += cross
		o.hess[(i+1)*k+i+1] += 2 * o.gGamma[i+2] / p[i+2].scale
		o.hess[(i+2)*k+i+2] += 2 * o.gGamma[i+2] / p[i+2].scale
		i += 2
	}
	return o.obj.value(o.deriv)
}
