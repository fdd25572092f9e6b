package censored

import "math"

// A regression is y = sum of beta_j x_j + sigma e with e standard normal, with
// at most two columns x. Where limited, y is a limit and the value is above it.
type regression struct {
	y       []float64
	limited []bool
	x       [][]float64
}

// theta holds delta_j = beta_j/sigma, then gamma = 1/sigma. In these the
// log-likelihood is concave, so Newton's method with halved steps finds its
// maximum from anywhere. Source: R. J. Olsen, Econometrica 46 (1978) 1211-1215.
type theta [3]float64

// maximize returns the maximum of the log-likelihood. ok is false if the search
// failed; the caller has made sure that a maximum exists.
func (r *regression) maximize() (at theta, logLik float64, ok bool) {
	p := len(r.x)
	at = r.start()
	logLik, grad, info := r.derivatives(at)
	for range 200 {
		step, ok := solve(info, grad, p+1)
		if !ok {
			return at, logLik, false
		}
		gain := 0.0 // twice what a quadratic would gain
		for k := range p + 1 {
			gain += step[k] * grad[k]
		}
		size := 1 + math.Abs(logLik)
		if !(gain >= 1e-22*size) {
			return at, logLik, gain >= 0
		}
		length := 1.0
		if step[p] < 0 {
			length = min(1, 0.9*at[p]/-step[p]) // gamma stays positive
		}
		for {
			next := at
			for k := range p + 1 {
				next[k] += length * step[k]
			}
			l, g, i := r.derivatives(next)
			// Near the maximum the gain drowns in rounding and the step is exact.
			if l >= logLik || gain < 1e-9*size {
				at, logLik, grad, info = next, l, g, i
				break
			}
			if length /= 2; length < 1e-15 {
				return at, logLik, false
			}
		}
	}
	return at, logLik, false
}

// start takes the mean and spread with limits as if they were values.
func (r *regression) start() theta {
	p := len(r.x)
	var at theta
	shift, n := 0.0, float64(len(r.y))
	if p > 0 {
		for _, v := range r.y {
			shift += v / n
		}
	}
	ss := 0.0
	for _, v := range r.y {
		ss += (v - shift) * (v - shift)
	}
	at[p] = 1
	if ss > 0 {
		at[p] = math.Sqrt(n / ss)
	}
	if p > 0 {
		at[0] = shift * at[p] // the first column is the constant
	}
	return at
}

// derivatives returns the log-likelihood, its gradient and minus its Hessian.
func (r *regression) derivatives(at theta) (logLik float64, grad theta, info [3]theta) {
	p := len(r.x)
	logGamma := math.Log(at[p])
	for i, y := range r.y {
		var d theta // of z
		z := at[p] * y
		for j, x := range r.x {
			z -= at[j] * x[i]
			d[j] = -x[i]
		}
		d[p] = y
		slope, weight := z, 1.0
		if r.limited[i] {
			logQ, h := tail(z)
			logLik += logQ
			slope, weight = h, curvature(z, h)
		} else {
			logLik += logGamma + logDensity(z)
			grad[p] += 1 / at[p]
			info[p][p] += 1 / (at[p] * at[p])
		}
		for j := range p + 1 {
			grad[j] -= slope * d[j]
			for k := range j + 1 {
				info[j][k] += weight * d[j] * d[k]
			}
		}
	}
	return logLik, grad, info
}

// solve solves info step = grad of order n by Cholesky's method; it uses the
// lower triangle of info.
func solve(info [3]theta, grad theta, n int) (step theta, ok bool) {
	l := info
	for j := range n {
		for k := range j {
			for i := j; i < n; i++ {
				l[i][j] -= l[i][k] * l[j][k]
			}
		}
		if !(l[j][j] > 0) {
			return step, false
		}
		root := math.Sqrt(l[j][j])
		for i := j; i < n; i++ {
			l[i][j] /= root
		}
	}
	for i := range n {
		step[i] = grad[i]
		for k := range i {
			step[i] -= l[i][k] * step[k]
		}
		step[i] /= l[i][i]
	}
	for i := n - 1; i >= 0; i-- {
		for k := i + 1; k < n; k++ {
			step[i] -= l[k][i] * step[k]
		}
		step[i] /= l[i][i]
	}
	return step, true
}

// covariance returns the covariance of (beta..., log sigma) at the maximum, by
// the observed information.
func (r *regression) covariance(at theta) (cov [3]theta, ok bool) {
	p := len(r.x)
	_, _, info := r.derivatives(at)
	var inverse [3]theta // covariance of theta, by columns
	for k := range p + 1 {
		var unit theta
		unit[k] = 1
		if inverse[k], ok = solve(info, unit, p+1); !ok {
			return cov, false
		}
	}
	// beta_j = delta_j/gamma, log sigma = -log gamma.
	var jac [3]theta
	for j := range p {
		jac[j][j] = 1 / at[p]
		jac[j][p] = -at[j] / (at[p] * at[p])
	}
	jac[p][p] = -1 / at[p]
	for i := range p + 1 {
		for j := range p + 1 {
			for k := range p + 1 {
				for l := range p + 1 {
					cov[i][j] += jac[i][k] * inverse[k][l] * jac[j][l]
				}
			}
		}
	}
	return cov, true
}

// without returns the regression with coefficient j held at value.
func (r *regression) without(j int, value float64) *regression {
	rest := &regression{y: make([]float64, len(r.y)), limited: r.limited}
	for i, y := range r.y {
		rest.y[i] = y - value*r.x[j][i]
	}
	for k, x := range r.x {
		if k != j {
			rest.x = append(rest.x, x)
		}
	}
	return rest
}
