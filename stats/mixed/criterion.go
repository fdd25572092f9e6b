package mixed

import (
	"fmt"
	"math"
)

// Criterion returns -2 log-likelihood at the relative covariance factors theta,
// with the fixed effects and the residual variance profiled out. theta lists
// for each term in turn SD/residual SD of the intercept and of the slope, or
// for a correlated pair the lower triangle of its Cholesky factor by columns
// (three numbers).
//
//	REML: (n-p)(1 + log(2 pi r/(n-p))) + log|V| + log|X'V^-1 X|, r = y'Py
//	ML:   n(1 + log(2 pi r/n)) + log|V|
//
// V is relative to the residual variance. Notation and constants: D. Bates,
// M. Maechler, B. Bolker, S. Walker, Fitting linear mixed-effects models using
// lme4, J. Stat. Software 67(1), 2015, from memory; checked against lme4 at
// fixed theta.
func (d Design) Criterion(theta []float64, m Method) (float64, error) {
	if m != REML && m != ML {
		return 0, fmt.Errorf("%w: %v", ErrInput, m)
	}
	s, err := newSystem(d)
	if err != nil {
		return 0, err
	}
	if len(theta) != len(s.params) {
		return 0, fmt.Errorf("%w: %d relative factors, want %d", ErrInput, len(theta), len(s.params))
	}
	if err := finite("relative factors", theta); err != nil {
		return 0, err
	}
	w := newWorkspace(s, false)
	w.eval(s.ratios(theta))
	return w.criterion(m), nil
}

// ratios turns relative covariance factors into variance ratios.
func (s *system) ratios(theta []float64) []float64 {
	gamma := make([]float64, len(theta))
	for k := 0; k < len(theta); k++ {
		if s.params[k].kind == scalar {
			gamma[k] = theta[k] * theta[k]
			continue
		}
		a, b, c := theta[k], theta[k+1], theta[k+2]
		gamma[k], gamma[k+1], gamma[k+2] = a*a, a*b, b*b+c*c
		k += 2
	}
	return gamma
}

// factors turns variance ratios into relative covariance factors.
func (s *system) factors(gamma []float64) []float64 {
	theta := make([]float64, len(gamma))
	for k := 0; k < len(gamma); k++ {
		theta[k] = math.Sqrt(gamma[k])
		if s.params[k].kind == pairVar1 {
			if theta[k] > 0 {
				theta[k+1] = gamma[k+1] / theta[k]
			}
			theta[k+2] = math.Sqrt(math.Max(0, gamma[k+2]-theta[k+1]*theta[k+1]))
			k += 2
		}
	}
	return theta
}

// df is the divisor of the residual variance.
func (s *system) df(m Method) float64 {
	if m == REML {
		return float64(s.n - s.p)
	}
	return float64(s.n)
}

// criterion is -2 log-likelihood of the last evaluation.
func (w *workspace) criterion(m Method) float64 {
	s := w.s
	df := s.df(m)
	c := df*(1+math.Log(2*math.Pi*w.q[0]/df)) + 2*df*math.Log(s.scale) + w.logV[0]
	if m == REML {
		c += w.logX[0] + s.basis.logDet()
	}
	return c
}

// at1 and at2 find derivatives in design order inside a jet.
func (s *system) at1(i int) int { return jetLen(s.jetOf[i]) }
func (s *system) at2(i, j int) int {
	a, b := s.jetOf[i], s.jetOf[j]
	if a < b {
		a, b = b, a
	}
	return jetLen(a) + 1 + b
}

// derivatives fills the gradient and the Hessian of the criterion in the
// variance ratios, in the order of the design.
func (w *workspace) derivatives(m Method, grad, hess []float64) {
	s := w.s
	k := len(s.params)
	df, q := s.df(m), w.q[0]
	for i := range k {
		o := s.at1(i)
		grad[i] = df*w.q[o]/q + w.logV[o]
		if m == REML {
			grad[i] += w.logX[o]
		}
		for j := 0; j <= i; j++ {
			o2 := s.at2(i, j)
			h := df*(w.q[o2]/q-w.q[o]/q*(w.q[s.at1(j)]/q)) + w.logV[o2]
			if m == REML {
				h += w.logX[o2]
			}
			hess[i*k+j], hess[j*k+i] = h, h
		}
	}
}
