package mixed

import (
	"fmt"
	"math"

	"sealbound/stats"
)

// A Component is one variance of the model, in dB^2 (of a slope: dB^2 per
// squared unit of its covariate). One at the boundary has Variance exactly 0
// and Dropped set: the rest of the fit is that of the model without it.
type Component struct {
	Name     string
	Variance float64
	SD       float64
	Dropped  bool
}

// A Fit is a fitted mixed model. It is not changed after Design.Fit returns it;
// its methods may be called concurrently.
type Fit struct {
	Method Method
	N, P   int      // values and fixed effects
	XNames []string // names of the fixed effects
	Beta   []float64
	Cov    [][]float64 // covariance of Beta, variances taken as known

	// Components in the order of the terms (intercept before slope), the
	// residual last. Dropped lists the names of those at zero.
	Components []Component
	Dropped    []string
	// Covariance of intercept and slope, one for each term; zero for those
	// that have no correlated pair left.
	Covariance []float64

	// LogLikREML and LogLikML are the two log-likelihoods at the estimates. The
	// one of Method is the maximum; the other is not, unless refitted.
	LogLikREML, LogLikML float64

	// Gradient is the largest slope of the criterion left, over one standard
	// error of a variance parameter: how well the search ended.
	Gradient float64
	// InformationOK reports that the observed information of the variance
	// parameters is positive definite, so that Satterthwaite's degrees of
	// freedom exist. Where it is false they are NaN.
	InformationOK bool
	Warnings      []stats.Warning

	terms       []Term // of the design as given
	design      Design // as fitted: without the dropped components
	termOf      []int  // term of the original design behind each fitted term
	sys         *system
	gamma       []float64 // variance ratios of the fitted design
	sigma2      float64   // residual variance, of the scaled values
	component   []int     // component behind each ratio; -1 for a covariance
	xx          []float64 // X'V^-1 X in the orthogonal basis, and its inverse
	xxInv       []float64
	xy          []float64   // X'V^-1 y
	xxGrad      [][]float64 // derivative of xx in each ratio
	jac         []float64   // d gamma / d phi over the free coordinates, K x free
	free        int
	information []float64 // inverse observed information of (phi free, sigma2)
	criterion   float64
	phi         []float64
}

// Fit estimates the variances by method m and the fixed effects given them. A
// component estimated as zero is dropped and the model refitted without it, so
// that standard errors and degrees of freedom are those of the model left.
//
// It returns an error wrapping one of the package's Err values if the design
// is malformed, does not identify the model, or has no maximum.
func (d Design) Fit(m Method) (*Fit, error) {
	if m != REML && m != ML {
		return nil, fmt.Errorf("%w: %v", ErrInput, m)
	}
	s, err := newSystem(d)
	if err != nil {
		return nil, err
	}
	if err := s.identified(d); err != nil {
		return nil, err
	}
	f := &Fit{Method: m, N: s.n, P: s.p, Covariance: make([]float64, len(d.Terms))}
	f.XNames = d.fixedNames()
	var at []int // component of each ratio
	for k, t := range d.Terms {
		f.termOf = append(f.termOf, k)
		for i, name := range t.names() {
			if i == 1 && t.correlated() {
				at = append(at, -1)
			}
			at = append(at, len(f.Components))
			f.Components = append(f.Components, Component{Name: name})
		}
	}
	f.Components = append(f.Components, Component{Name: d.residual()})
	f.component = at
	f.design, f.terms = d, d.Terms
	var start []float64
	for {
		rest, done, err := f.attempt(s, start)
		if err != nil {
			return nil, err
		}
		if done {
			return f, nil
		}
		start = rest
		if s, err = newSystem(f.design); err != nil {
			return nil, err
		}
	}
}

// attempt fits f.design. If components are at zero it removes them from the
// design and returns the remaining ratios to start the refit from; otherwise it
// completes f and reports that it is done. A nil start means no idea.
func (f *Fit) attempt(s *system, start []float64) (rest []float64, done bool, err error) {
	o := newSearcher(s, likelihood{f.Method})
	var starts [][]float64
	if start != nil {
		starts = [][]float64{o.phiAt(start)}
	} else {
		starts = o.starts()
	}
	phi, value, gradient := o.minimise(starts)
	if f.N <= fewRows && start == nil {
		phi, value, gradient = o.lifted(phi, value, gradient)
	}
	if o.valueAt(phi); o.plain.q[0] < zeroResidual*s.df(f.Method) {
		return nil, false, fmt.Errorf("%w: %s", ErrNoResidual, f.design.residual())
	}
	if !(gradient <= acceptedGradient) || math.IsInf(value, 0) {
		return nil, false, fmt.Errorf("%w: scaled gradient %.2g", ErrNotConverged, gradient)
	}
	gamma := make([]float64, o.k)
	o.ratiosAt(phi, gamma)
	if rest, reduced := f.dropZeros(s, gamma); reduced {
		return rest, false, nil
	}
	f.complete(o, phi, gamma, value, gradient)
	return nil, true, nil
}

// dropZeros takes the components at zero out of f.design.
func (f *Fit) dropZeros(s *system, gamma []float64) (rest []float64, reduced bool) {
	var terms []Term
	var termOf, component []int
	rest = []float64{}
	i := 0
	for k, t := range f.design.Terms {
		keep := make([]bool, 0, 2)
		pair := t.correlated()
		at := []int{i, i + 1}
		if pair {
			at[1] = i + 2
		}
		for j := range t.names() {
			g := gamma[at[j]] * s.params[at[j]].scale
			keep = append(keep, g >= zeroVariance)
			if !keep[j] {
				c := &f.Components[f.component[at[j]]]
				c.Dropped = true
				f.Dropped = append(f.Dropped, c.Name)
				reduced = true
			}
		}
		switch {
		case len(keep) == 1 && keep[0]:
			terms, termOf = append(terms, t), append(termOf, f.termOf[k])
			rest, component = append(rest, gamma[i]), append(component, f.component[i])
		case len(keep) == 2 && keep[0] && keep[1]:
			terms, termOf = append(terms, t), append(termOf, f.termOf[k])
			rest, component = append(rest, gamma[i:at[1]+1]...), append(component, f.component[i:at[1]+1]...)
		case len(keep) == 2 && keep[0]:
			terms, termOf = append(terms, Term{Factor: t.Factor}), append(termOf, f.termOf[k])
			rest, component = append(rest, gamma[at[0]]), append(component, f.component[at[0]])
		case len(keep) == 2 && keep[1]:
			terms, termOf = append(terms, Term{Factor: t.Factor, Slope: t.Slope}), append(termOf, f.termOf[k])
			rest, component = append(rest, gamma[at[1]]), append(component, f.component[at[1]])
		}
		i = at[0] + 1
		if len(keep) == 2 {
			i = at[1] + 1
		}
	}
	if !reduced {
		return nil, false
	}
	f.design.Terms = terms
	f.termOf, f.component = termOf, component
	return rest, true
}

// complete fills the result from the optimum.
func (f *Fit) complete(o *searcher, phi, gamma []float64, value, gradient float64) {
	s := o.s
	o.derivativesAt(phi)
	o.findFree(phi)
	w := o.deriv
	f.sys, f.gamma, f.phi = s, gamma, phi
	f.criterion, f.Gradient = value, gradient
	f.sigma2 = w.q[0] / s.df(f.Method)
	unit := s.scale * s.scale
	for i, g := range gamma {
		if c := f.component[i]; c >= 0 {
			f.Components[c].Variance = g * f.sigma2 * unit
		} else {
			f.Covariance[f.termOf[s.params[i].term]] = g * f.sigma2 * unit
		}
	}
	f.Components[len(f.Components)-1].Variance = f.sigma2 * unit
	for i := range f.Components {
		f.Components[i].SD = math.Sqrt(f.Components[i].Variance)
	}
	f.LogLikREML, f.LogLikML = w.logLik(REML, f.sigma2), w.logLik(ML, f.sigma2)

	f.xx = symmetric(w.xx, s.p, w.stride, 0)
	for i := range gamma {
		f.xxGrad = append(f.xxGrad, symmetric(w.xx, s.p, w.stride, s.at1(i)))
	}
	var ok bool
	if f.xxInv, ok = invert(f.xx, s.p, 0); !ok {
		f.xxInv = make([]float64, s.p*s.p) // cannot happen: the basis has full rank
	}
	for j := range s.p {
		f.xy = append(f.xy, w.xy[j*w.stride])
	}
	f.fixedEffects()
	f.inform(o)
	f.warn()
}

// logLik is the log-likelihood of method m at the last evaluation's ratios and
// the residual variance sigma2 (of the scaled values).
func (w *workspace) logLik(m Method, sigma2 float64) float64 {
	s := w.s
	df := s.df(m)
	c := df*math.Log(2*math.Pi*sigma2*s.scale*s.scale) + w.q[0]/sigma2 + w.logV[0]
	if m == REML {
		c += w.logX[0] + s.basis.logDet()
	}
	return -c / 2
}

// fixedEffects fills Beta and Cov.
func (f *Fit) fixedEffects() {
	s, p := f.sys, f.sys.p
	inQ := f.scaledBeta()
	for i := range inQ {
		inQ[i] = inQ[i]*s.scale + s.basis.ols[i]
	}
	f.Beta = s.basis.coefficients(inQ)
	back := make([][]float64, p) // columns of R^-1, rows in the order of X
	unit := make([]float64, p)
	for j := range p {
		clear(unit)
		unit[j] = 1
		back[j] = s.basis.coefficients(unit)
	}
	f.Cov = make([][]float64, p)
	for i := range f.Cov {
		f.Cov[i] = make([]float64, p)
	}
	for a := range p {
		for b := range p {
			v := f.xxInv[a*p+b] * f.sigma2 * s.scale * s.scale
			for i := range p {
				for j := range p {
					f.Cov[i][j] += back[a][i] * v * back[b][j]
				}
			}
		}
	}
}

// inform inverts the observed information of (phi, sigma2) over the free
// coordinates. At the optimum the degrees of freedom derived from it do not
// depend on the parametrisation.
func (f *Fit) inform(o *searcher) {
	w, s, k := o.deriv, o.s, o.k
	m := len(o.free)
	f.free = m
	f.jac = make([]float64, k*m)
	for a := range k {
		for b, i := range o.free {
			f.jac[a*m+b] = o.jac[a*k+i]
		}
	}
	// The profiled Hessian lacks the covariance with sigma2: add it back.
	// -2 l = df log sigma2 + q(phi)/sigma2 + rest, q = df sigma2 at the optimum,
	// so d2/dphi2 = profiled + df (q_i/q)(q_j/q).
	df, q := s.df(f.Method), w.q[0]
	qPhi := make([]float64, m)
	for b := range m {
		for a := range k {
			qPhi[b] += f.jac[a*m+b] * w.q[s.at1(a)]
		}
	}
	h := make([]float64, (m+1)*(m+1))
	for a, i := range o.free {
		for b, j := range o.free {
			h[a*(m+1)+b] = (o.hess[i*k+j] + df*qPhi[a]/q*qPhi[b]/q) / 2
		}
		c := -qPhi[a] / (f.sigma2 * f.sigma2) / 2
		h[a*(m+1)+m], h[m*(m+1)+a] = c, c
	}
	h[m*(m+1)+m] = df / (f.sigma2 * f.sigma2) / 2
	f.information, f.InformationOK = invert(h, m+1, 1e-10)
}

// warn says what weakens the fit.
func (f *Fit) warn() {
	for _, name := range f.Dropped {
		f.Warnings = append(f.Warnings, droppedWarning(name))
	}
	if !f.InformationOK {
		f.Warnings = append(f.Warnings, stats.Warning{Code: "information-singular",
			Text: "the data hardly determine the variance components, so their degrees of freedom are not defined"})
	}
	for i := 0; i < len(f.gamma); i++ {
		if f.sys.params[i].kind == pairVar1 {
			if f.phi[i+2] <= math.Sqrt(zeroVariance) {
				f.Warnings = append(f.Warnings, stats.Warning{Code: "correlation-at-limit",
					Text: fmt.Sprintf("intercepts and slopes of %s are estimated as perfectly correlated", f.sys.params[i].name)})
			}
			i += 2
		}
	}
}

// Theta returns the relative covariance factors of the whole design, in the
// order that Design.Criterion takes; those of dropped components are zero.
func (f *Fit) Theta() []float64 {
	var out []float64
	var at []int // first factor of each term
	for _, t := range f.terms {
		at = append(at, len(out))
		out = append(out, make([]float64, len(t.names()))...)
		if t.correlated() {
			out = append(out, 0)
		}
	}
	theta := f.sys.factors(f.gamma)
	for i, p := range f.sys.params {
		k := f.termOf[p.term]
		j := at[k]
		switch {
		case p.kind == pairCov:
			j++
		case f.isSlope(i) && f.terms[k].hasIntercept():
			j++
			if f.terms[k].correlated() {
				j++
			}
		}
		out[j] = theta[i]
	}
	return out
}
