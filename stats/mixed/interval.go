package mixed

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"
)

// An Interval is a two-sided interval of a standard deviation (dB). Where it is
// not defined both bounds are NaN and Reason says why.
type Interval struct {
	Lower, Upper float64
	Reason       string
}

// SDIntervals returns an interval for the standard deviation of every entry of
// Components, dropped ones included, at the two-sided confidence (0 to 1).
//
// The residual's is the chi-square interval with Satterthwaite's degrees of
// freedom, exact for balanced data. The others' are profile likelihood
// intervals: the variances whose criterion, minimised over all else, exceeds
// the minimum by less than the chi-square quantile with one degree of freedom,
// times Bartlett's correction nu (log(nu/2) - digamma(nu/2)) for the nu =
// levels - levels of the factor above it that carry the information. In
// simulations of 3 to 20 boxes with SDs from 0.3 to 3 times the residual's
// they covered 0.95 to 0.99 at nominal 0.95, where chi-square intervals with
// Satterthwaite's degrees of freedom covered 0.83 to 0.98. A lower bound of 0
// means that the data allow no spread at all; every dropped component has it.
//
// It takes some ten times as long as the fit.
func (f *Fit) SDIntervals(confidence float64) ([]Interval, error) {
	if !(confidence > 0 && confidence < 1) {
		return nil, fmt.Errorf("%w: confidence %v", ErrInput, confidence)
	}
	all := make([]float64, len(f.Components))
	for i := range all {
		all[i] = confidence
	}
	return f.SDBounds(all, all)
}

// SDBounds is SDIntervals with a confidence of its own for each end of each component:
// lower and upper hold that of the two-sided interval whose end is wanted, in the order
// of Components; NaN for an end that is not, which is then NaN. Each end costs as much as
// a fit or two.
func (f *Fit) SDBounds(lower, upper []float64) ([]Interval, error) {
	if len(lower) != len(f.Components) || len(upper) != len(f.Components) {
		return nil, fmt.Errorf("%w: %d and %d confidences for %d components", ErrInput, len(lower), len(upper), len(f.Components))
	}
	for _, c := range slices.Concat(lower, upper) {
		if !math.IsNaN(c) && !(c > 0 && c < 1) {
			return nil, fmt.Errorf("%w: confidence %v", ErrInput, c)
		}
	}
	p, err := f.newProfiler()
	if err != nil {
		return nil, err
	}
	out := make([]Interval, len(f.Components))
	cut := func(confidence float64) float64 {
		if math.IsNaN(confidence) {
			return math.NaN()
		}
		return distuv.ChiSquared{K: 1}.Quantile(confidence)
	}
	for i, param := range p.o.s.params {
		if param.kind == pairCov {
			continue
		}
		at := p.component[i]
		nu := p.replication(param.term)
		bartlett := nu * (math.Log(nu/2) - mathext.Digamma(nu/2))
		out[at] = p.ends(i, cut(lower[at])*bartlett, cut(upper[at])*bartlett)
	}
	last := len(out) - 1
	w := make([]float64, len(out))
	w[last] = 1
	if v, df, ok := f.VarianceOf(w, nil); ok {
		out[last] = residualEnds(v, df, lower[last], upper[last])
	} else {
		out[last] = p.ends(-1, cut(lower[last]), cut(upper[last]))
	}
	return out, nil
}

// residualEnds are the ends by chi-square of a variance with df degrees of freedom; NaN
// where the confidence is.
func residualEnds(v, df, lower, upper float64) Interval {
	out := Interval{Lower: math.NaN(), Upper: math.NaN()}
	chi := distuv.ChiSquared{K: df}
	if !math.IsNaN(lower) {
		out.Lower = math.Sqrt(df * v / chi.Quantile((1+lower)/2))
	}
	if !math.IsNaN(upper) {
		out.Upper = math.Sqrt(df * v / chi.Quantile((1-upper)/2))
	}
	if math.IsInf(out.Lower, 0) || math.IsInf(out.Upper, 0) { // next to no degrees of freedom
		return Interval{math.NaN(), math.NaN(), unbounded}
	}
	return out
}

const unbounded = "the likelihood does not bound it"

// A profiler follows the minimum of the criterion while one variance is held.
type profiler struct {
	f         *Fit
	o         *searcher
	component []int // of each ratio
	at        []float64
	least     float64
}

// newProfiler prepares the whole design, dropped components included: held
// above zero, one variance can bring others back.
func (f *Fit) newProfiler() (*profiler, error) {
	d := f.design
	d.Terms = f.terms
	s, err := newSystem(d)
	if err != nil {
		return nil, err
	}
	p := &profiler{f: f, o: newSearcher(s, likelihood{f.Method}), least: f.criterion}
	p.o.enough = 1e-9 // the excess matters, not where it is reached
	k := 0
	for _, param := range s.params {
		if param.kind == pairCov {
			p.component = append(p.component, -1)
			continue
		}
		p.component = append(p.component, k)
		k++
	}
	p.at = p.o.phiAt(s.ratios(f.Theta()))
	return p, nil
}

// replication is the number of levels of a term beyond those of the next
// coarser factor of the chain, at least 1: the independent differences that
// carry its variance.
func (p *profiler) replication(term int) float64 {
	s := p.o.s
	levels := float64(s.groups[term].levels())
	above := 1.0
	for l := range s.chain {
		if slices.Contains(s.chain[l].term, term) && l > 0 {
			above = float64(s.chain[l-1].group.levels())
		}
	}
	return math.Max(1, levels-above)
}

// excess is how far the criterion must rise above its minimum when variance k
// (k < 0: the residual's) is held at v, of the scaled values. phi is where to
// start from, and is left at the minimum.
func (p *profiler) excess(k int, v float64, phi []float64) float64 {
	o, s := p.o, p.o.s
	obj := pinned{p.f.Method, k, v}
	if k >= 0 {
		// Begin with the ratio that goes with the present residual variance.
		o.ratiosAt(phi, o.gamma)
		o.plain.eval(o.gamma)
		gamma := slices.Clone(o.gamma)
		want := v / (o.plain.q[0] / s.df(p.f.Method))
		switch factor := want / gamma[k]; {
		case s.params[k].kind == scalar || math.IsInf(factor, 0):
			gamma[k] = want
		default: // keep the pair's correlation
			gamma[k] = want
			pair := k - 1
			if s.params[k].kind == pairVar1 {
				pair = k + 1
			}
			gamma[pair] *= math.Sqrt(factor)
		}
		copy(phi, o.phiAt(gamma))
	}
	o.obj = obj
	value, _ := o.newton(phi)
	return value - p.least
}

// A held is a held variance with the root of its excess, less that of the cut:
// nearly linear in log v, negative inside the interval.
type held struct{ v, g float64 }

// hold evaluates at v.
func (p *profiler) hold(k int, v, cut float64, phi []float64) held {
	return held{v, math.Sqrt(math.Max(0, p.excess(k, v, phi))) - math.Sqrt(cut)}
}

// ends finds where the excess reaches its cut on either side of the estimate of
// variance k. A cut that is NaN leaves that end NaN. Where the upper end is asked for and
// the excess never reaches its cut there is no interval.
func (p *profiler) ends(k int, lowerCut, upperCut float64) Interval {
	out := Interval{Lower: math.NaN(), Upper: math.NaN()}
	if !math.IsNaN(upperCut) {
		v := p.upper(k, upperCut)
		if math.IsNaN(v) || math.IsInf(v, 0) {
			out.Reason = unbounded
			return out
		}
		out.Upper = math.Sqrt(v)
	}
	if !math.IsNaN(lowerCut) {
		out.Lower = math.Sqrt(p.lower(k, lowerCut))
		if math.IsNaN(out.Lower) {
			return Interval{Lower: math.NaN(), Upper: math.NaN(), Reason: unbounded}
		}
	}
	return out
}

// middle is the estimate of variance k to begin from, and the smallest worth holding; an
// estimate of nothing, and only that, is below it.
func (p *profiler) middle(k int) (estimate, smallest float64) {
	if k < 0 {
		return p.f.sigma2, 1e-12
	}
	s := p.o.s
	return p.f.Components[p.component[k]].Variance / (s.scale * s.scale), zeroVariance * p.f.sigma2 / s.params[k].scale
}

// upper is where the excess reaches cut above the estimate; +Inf if it never does.
func (p *profiler) upper(k int, cut float64) float64 {
	estimate, smallest := p.middle(k)
	step := p.firstStep(k, cut)
	if estimate < smallest { // begin with what a level's mean would just show
		estimate, step = smallest, 1/zeroVariance
	}
	phi := slices.Clone(p.at)
	inner := held{estimate, -math.Sqrt(cut)}
	for range 100 {
		outer := p.hold(k, inner.v*step, cut, phi)
		if outer.g >= 0 {
			return p.root(k, inner, outer, cut, phi) * p.o.s.scale * p.o.s.scale
		}
		inner, step = outer, math.Min(step*step, 8)
	}
	return math.Inf(1)
}

// lower is where the excess reaches cut below the estimate; 0 if it never does.
func (p *profiler) lower(k int, cut float64) float64 {
	estimate, smallest := p.middle(k)
	phi := slices.Clone(p.at)
	inner, step := held{estimate, -math.Sqrt(cut)}, p.firstStep(k, cut)
	for inner.v > smallest {
		outer := p.hold(k, math.Max(inner.v/step, smallest), cut, phi)
		if outer.g >= 0 {
			return p.root(k, inner, outer, cut, phi) * p.o.s.scale * p.o.s.scale
		}
		inner, step = outer, math.Min(step*step, 8)
	}
	return 0
}

// firstStep is the factor from the estimate to where the interval would end if
// the criterion were quadratic in log v.
func (p *profiler) firstStep(k int, cut float64) float64 {
	f := p.f
	w := make([]float64, len(f.Components))
	if k < 0 {
		w[len(w)-1] = 1
	} else {
		w[p.component[k]] = 1
	}
	if _, df, ok := f.VarianceOf(w, nil); ok {
		return math.Exp(math.Min(1.02*math.Sqrt(cut*2/df), 2))
	}
	return 4
}

// root narrows down where the excess is cut between inner and outer by false
// position on log v (the Illinois rule keeps both ends moving).
func (p *profiler) root(k int, inner, outer held, cut float64, phi []float64) float64 {
	last := 0
	for range 100 {
		a, b := math.Log(inner.v), math.Log(outer.v)
		if outer.g < 1e-7 || math.Abs(b-a) < 1e-8 {
			break
		}
		x := (a*outer.g - b*inner.g) / (outer.g - inner.g)
		at := p.hold(k, math.Exp(x), cut, phi)
		if math.Abs(at.g) < 1e-7 {
			return at.v
		}
		if at.g > 0 {
			outer = at
			if last == 1 {
				inner.g /= 2
			}
			last = 1
		} else {
			inner = at
			if last == -1 {
				outer.g /= 2
			}
			last = -1
		}
	}
	return outer.v
}
