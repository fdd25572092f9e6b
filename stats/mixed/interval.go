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
	p, err := f.newProfiler()
	if err != nil {
		return nil, err
	}
	out := make([]Interval, len(f.Components))
	cut := distuv.ChiSquared{K: 1}.Quantile(confidence)
	for i, param := range p.o.s.params {
		if param.kind == pairCov {
			continue
		}
		nu := p.replication(param.term)
		lower, upper, ok := p.interval(i, cut*nu*(math.Log(nu/2)-mathext.Digamma(nu/2)))
		out[p.component[i]] = sdInterval(lower, upper, ok)
	}
	last := len(out) - 1
	w := make([]float64, len(out))
	w[last] = 1
	if v, df, ok := f.VarianceOf(w, nil); ok {
		chi := distuv.ChiSquared{K: df}
		out[last] = sdInterval(df*v/chi.Quantile((1+confidence)/2), df*v/chi.Quantile((1-confidence)/2), true)
	} else {
		lower, upper, ok := p.interval(-1, cut)
		out[last] = sdInterval(lower, upper, ok)
	}
	return out, nil
}

func sdInterval(lower, upper float64, ok bool) Interval {
	if !ok || math.IsNaN(lower) || math.IsNaN(upper) || math.IsInf(upper, 0) {
		return Interval{math.NaN(), math.NaN(), "the likelihood does not bound it"}
	}
	return Interval{Lower: math.Sqrt(lower), Upper: math.Sqrt(upper)}
}

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

// interval finds where the excess reaches cut on both sides of the estimate of
// variance k; ok is false if it never does on the upper side.
func (p *profiler) interval(k int, cut float64) (lower, upper float64, ok bool) {
	s := p.o.s
	unit := s.scale * s.scale
	estimate, smallest := p.f.sigma2, 1e-12
	step := p.firstStep(k, cut)
	if k >= 0 {
		estimate = p.f.Components[p.component[k]].Variance / unit
		smallest = zeroVariance * p.f.sigma2 / s.params[k].scale
	}
	zero := estimate < smallest
	if zero { // begin with what a level's mean would just show
		estimate, step = smallest, 1/zeroVariance
	}
	middle := held{estimate, -math.Sqrt(cut)}
	phi := slices.Clone(p.at)
	inner := middle
	for range 100 {
		outer := p.hold(k, inner.v*step, cut, phi)
		if outer.g >= 0 {
			upper = p.root(k, inner, outer, cut, phi)
			break
		}
		inner, step = outer, math.Min(step*step, 8)
	}
	if upper == 0 {
		return 0, math.Inf(1), false
	}
	if zero {
		return 0, upper * unit, true
	}
	copy(phi, p.at)
	inner, step = middle, p.firstStep(k, cut)
	for inner.v > smallest {
		outer := p.hold(k, math.Max(inner.v/step, smallest), cut, phi)
		if outer.g >= 0 {
			return p.root(k, inner, outer, cut, phi) * unit, upper * unit, true
		}
		inner, step = outer, math.Min(step*step, 8)
	}
	return 0, upper * unit, true
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
