package mixed

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// zeroResidual is the residual variance, as a share of that of the least-squares
// residuals, below which it counts as zero.
const zeroResidual = 1e-8

// zeroVariance is the ratio c*gamma below which a variance counts as zero.
const zeroVariance = 1e-7

// convergedGradient is what the scaled gradient must fall below; acceptedGradient
// is what rounding may leave of it in very large designs.
const (
	convergedGradient = 1e-9
	acceptedGradient  = 1e-6
)

// An objective turns the last evaluation into a criterion and its derivatives
// in the ratios gamma.
type objective interface {
	value(w *workspace) float64
	derivatives(w *workspace, grad, hess []float64)
}

// likelihood is the profiled -2 log-likelihood.
type likelihood struct{ m Method }

func (o likelihood) value(w *workspace) float64 { return w.criterion(o.m) }
func (o likelihood) derivatives(w *workspace, grad, hess []float64) {
	w.derivatives(o.m, grad, hess)
}

// A searcher minimises an objective over the ratios of a system.
type searcher struct {
	s             *system
	plain, deriv  *workspace
	obj           objective
	k             int
	gamma         []float64
	gGamma, hGam  []float64 // derivatives in gamma
	jac           []float64 // d gamma / d phi, k x k
	grad, hess    []float64 // derivatives in phi
	free          []int
	dir, trial    []float64
	small, factor []float64
	enough        float64 // stop when a step would lower the objective by less

	// Of the last step: whether it was a whole one on a positive definite Hessian,
	// and by how much, to first order, it lowers the objective.
	whole bool
	slope float64
}

func newSearcher(s *system, obj objective) *searcher {
	k := len(s.params)
	o := &searcher{s: s, plain: newWorkspace(s, false), deriv: newWorkspace(s, true), obj: obj, k: k}
	for _, v := range []*[]float64{&o.gamma, &o.gGamma, &o.grad, &o.dir, &o.trial, &o.small} {
		*v = make([]float64, k)
	}
	for _, v := range []*[]float64{&o.hGam, &o.jac, &o.hess, &o.factor} {
		*v = make([]float64, k*k)
	}
	return o
}

// valueAt is the objective at phi.
func (o *searcher) valueAt(phi []float64) float64 {
	o.ratiosAt(phi, o.gamma)
	o.plain.eval(o.gamma)
	if v := o.obj.value(o.plain); !math.IsNaN(v) {
		return v
	}
	return math.Inf(1)
}

// findFree lists the coordinates that may move: not those at a bound whose
// slope pushes outwards. The slope of a Cholesky diagonal vanishes at zero, so
// there its curvature decides.
func (o *searcher) findFree(phi []float64) {
	o.free = o.free[:0]
	for i := range o.k {
		lo, hi := o.bounds(i)
		g := o.grad[i]
		held := phi[i] <= lo && g > 0 || phi[i] >= hi && g < 0
		if phi[i] <= lo && g == 0 {
			held = o.s.params[i].kind != pairCov && o.hess[i*o.k+i] >= 0
		}
		if !held {
			o.free = append(o.free, i)
		}
	}
}

// gradientSize is the largest slope among the free coordinates, each per unit
// of its curvature's root where that exceeds one: the slope over one standard
// error, whatever the size of the data.
func (o *searcher) gradientSize() float64 {
	var g float64
	for _, i := range o.free {
		g = max(g, math.Abs(o.grad[i])/math.Sqrt(max(1, o.hess[i*o.k+i])))
	}
	return g
}

// newton minimises from phi, in place, by projected Newton steps with exact
// derivatives. It returns the objective and the scaled gradient left.
func (o *searcher) newton(phi []float64) (value, gradient float64) {
	escapes := 0
	last := math.Inf(1)
	for it := range 200 {
		if it%20 == 19 {
			o.inflate(phi)
		}
		value = o.derivativesAt(phi)
		if math.IsNaN(value) {
			return math.Inf(1), math.Inf(1)
		}
		o.findFree(phi)
		gradient = o.gradientSize()
		stalled := gradient <= acceptedGradient && gradient > last/2 // at the floor of rounding
		last = gradient
		if gradient > convergedGradient && !stalled && o.step(phi, value) {
			// Newton's steps square what is left: where the value is all that is wanted,
			// the derivatives need not confirm it.
			if o.enough > 0 && o.whole && -o.slope < 1e4*o.enough && !o.paired() {
				return o.valueAt(phi), gradient
			}
			continue
		}
		// Stationary, or no better point: leave a saddle if it is one.
		if escapes++; escapes > 10 || !o.escape(phi) {
			return value, gradient
		}
	}
	return value, gradient
}

// paired reports whether any intercept and slope are correlated: such a pair can rest
// at a saddle.
func (o *searcher) paired() bool {
	return slices.ContainsFunc(o.s.params, func(p param) bool { return p.kind == pairCov })
}

// inflate multiplies all ratios while that lowers the objective. Where the
// residual variance goes to zero the ratios grow without bound along a narrow
// valley, in which Newton steps creep.
func (o *searcher) inflate(phi []float64) {
	best := o.valueAt(phi)
	for range 20 {
		o.ratiosAt(phi, o.gamma)
		larger := slices.Clone(o.gamma)
		for i := range larger {
			larger[i] *= 4
		}
		copy(o.trial, o.phiAt(larger))
		for i := range o.trial {
			lo, hi := o.bounds(i)
			o.trial[i] = min(max(o.trial[i], lo), hi)
		}
		if v := o.valueAt(o.trial); !(v < best) {
			return
		} else {
			best = v
		}
		copy(phi, o.trial)
	}
}

// step moves phi one Newton step with a line search; false means that no step
// is worth taking.
func (o *searcher) step(phi []float64, value float64) bool {
	o.direction(phi)
	var slope, largest float64
	for a, i := range o.free {
		slope += o.grad[i] * o.small[a]
		largest = max(largest, math.Abs(o.small[a])/o.reach(phi, i))
	}
	if -slope < o.enough {
		return false
	}
	o.slope = slope
	step := 1.0
	if largest > 1 {
		step = 1 / largest
	}
	noise := 1e-11 * (1 + math.Abs(value))
	for range 50 {
		copy(o.trial, phi)
		var predicted float64
		for a, i := range o.free {
			lo, hi := o.bounds(i)
			o.trial[i] = min(max(phi[i]+step*o.small[a], lo), hi)
			predicted += o.grad[i] * (o.trial[i] - phi[i])
		}
		if slices.Equal(o.trial, phi) {
			return false
		}
		// Below the noise of the criterion the gradient alone is trusted.
		if predicted <= 0 && (-predicted < noise || o.valueAt(o.trial) <= value+1e-4*predicted) {
			copy(phi, o.trial)
			o.whole = o.whole && step == 1
			return true
		}
		step /= 2
	}
	return false
}

// escape looks whether phi, stationary in the Cholesky factors, is not so in
// the covariance of a pair: the slope in Gamma must be positive semidefinite,
// else adding a little of the offending direction lowers the objective.
func (o *searcher) escape(phi []float64) bool {
	for i := 0; i < o.k; i++ {
		p := o.s.params
		if p[i].kind != pairVar1 {
			continue
		}
		g1, gc, g2 := o.gGamma[i]/p[i].scale, o.gGamma[i+1]/p[i+1].scale/2, o.gGamma[i+2]/p[i+2].scale
		mid, diff := (g1+g2)/2, (g1-g2)/2
		lowest := mid - math.Hypot(diff, gc)
		if lowest < -acceptedGradient {
			// Its eigenvector.
			v1, v2 := gc, lowest-g1
			if math.Abs(lowest-g2) > math.Abs(lowest-g1) {
				v1, v2 = lowest-g2, gc
			}
			if size := math.Hypot(v1, v2); size > 0 {
				const little = 1e-3
				a, b, c := phi[i], phi[i+1], phi[i+2]
				s1 := a*a + little*v1*v1/(size*size)
				sc := a*b + little*v1*v2/(size*size)
				s2 := b*b + c*c + little*v2*v2/(size*size)
				phi[i] = math.Sqrt(s1)
				phi[i+1] = 0
				if s1 > 0 {
					phi[i+1] = sc / phi[i]
				}
				phi[i+2] = math.Sqrt(max(0, s2-phi[i+1]*phi[i+1]))
				return true
			}
		}
		i += 2
	}
	return false
}

// direction fills small with the Newton step of the free coordinates. Those at
// a bound that the step would push through it are held: clamping them would
// spoil the step of the others.
func (o *searcher) direction(phi []float64) {
	for {
		o.newtonStep()
		held := false
		n := 0
		for a, i := range o.free {
			if lo, hi := o.bounds(i); phi[i] <= lo && o.small[a] < 0 || phi[i] >= hi && o.small[a] > 0 {
				held = true
				continue
			}
			o.free[n] = i
			n++
		}
		if !held || n == 0 {
			return
		}
		o.free = o.free[:n]
	}
}

// newtonStep solves for the step. Where the Hessian is not positive definite its
// eigenvalues count with their size: along a valley that still bends downwards a ridge,
// which must outweigh the steepest direction, would let the steps creep.
func (o *searcher) newtonStep() {
	m, k := len(o.free), o.k
	for a, i := range o.free {
		for b, j := range o.free {
			o.factor[a*m+b] = o.hess[i*k+j]
		}
		o.small[a] = -o.grad[i]
	}
	if o.whole = cholesky(o.factor, m, 1e-12); o.whole {
		cholSolve(o.factor, m, o.small[:m])
		return
	}
	h := mat.NewSymDense(m, nil)
	sound := true
	for a, i := range o.free {
		for b := a; b < m; b++ {
			v := o.hess[i*k+o.free[b]]
			sound = sound && !math.IsNaN(v) && !math.IsInf(v, 0)
			h.SetSym(a, b, v)
		}
	}
	var e mat.EigenSym
	if !sound || !e.Factorize(h, true) { // a plain descent step
		for a, i := range o.free {
			o.small[a] = -math.Copysign(0.1, o.grad[i])
		}
		return
	}
	values := e.Values(nil) // ascending
	least := 1e-10 * max(1e-6, math.Abs(values[0]), math.Abs(values[m-1]))
	var v mat.Dense
	e.VectorsTo(&v)
	clear(o.small[:m])
	for c, l := range values {
		var along float64
		for a, i := range o.free {
			along -= o.grad[i] * v.At(a, c)
		}
		for a := range m {
			o.small[a] += along / max(math.Abs(l), least) * v.At(a, c)
		}
	}
}

// minimise finds the least of the minima reached from the starts.
func (o *searcher) minimise(starts [][]float64) (phi []float64, value, gradient float64) {
	value = math.Inf(1)
	for _, start := range starts {
		at := slices.Clone(start)
		v, g := o.newton(at)
		better := v < value-1e-9*(1+math.Abs(v))
		if phi == nil || better && g <= acceptedGradient || gradient > acceptedGradient && g <= acceptedGradient {
			phi, value, gradient = at, v, g
		}
	}
	return phi, value, gradient
}
