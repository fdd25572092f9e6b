package mixed

import (
	"fmt"
	"math"

	"sealbound/stats"
)

// A Contrast is a linear combination of the fixed effects (dB, or dB per unit
// of a covariate) with its standard error and Satterthwaite's degrees of
// freedom. DF is NaN where the information is not positive definite.
type Contrast struct {
	Value, SE, DF float64
}

// Contrast returns l'beta. l has one weight per fixed effect, in the order of
// XNames; anything else is ErrInput.
//
//	SE^2 = v = l'Cl, C = sigma2 (X'V^-1 X)^-1;  DF = 2 v^2/(g'Ag)
//
// with g the derivative of v in the variance parameters and A the inverse of
// their observed information. Source: A. Kuznetsova, P. Brockhoff, R.
// Christensen, lmerTest package, J. Stat. Software 82(13), 2017, from memory;
// checked against it and against the dense formula.
func (f *Fit) Contrast(l []float64) (Contrast, error) {
	if err := f.checkWeights(l, f.P, "contrast"); err != nil {
		return Contrast{}, err
	}
	var value float64
	for i, b := range f.Beta {
		value += l[i] * b
	}
	v, g := f.contrastVariance(l)
	c := Contrast{Value: value, SE: math.Sqrt(v), DF: math.NaN()}
	if f.InformationOK && v > 0 {
		c.DF = 2 * v * v / quadratic(f.information, f.free+1, g)
	}
	return c, nil
}

// VarianceOf returns sum_k w_k variance_k + l'Cl, a combination of the variance
// components and the variance of a contrast, with Satterthwaite's degrees of
// freedom. w has one weight per entry of Components (nil: none), l one per
// fixed effect (nil: none). With w all ones and l the contrast of a mean it is
// the variance of the next value about its prediction. ok is false, and df NaN,
// where the degrees of freedom do not exist; both are NaN if the lengths differ
// from those of the fit.
func (f *Fit) VarianceOf(w, l []float64) (variance, df float64, ok bool) {
	if w != nil && f.checkWeights(w, len(f.Components), "weights") != nil ||
		l != nil && f.checkWeights(l, f.P, "contrast") != nil {
		return math.NaN(), math.NaN(), false
	}
	g := make([]float64, f.free+1)
	var v float64
	if l != nil {
		v, g = f.contrastVariance(l)
	}
	if w != nil {
		unit := f.sys.scale * f.sys.scale
		last := len(f.Components) - 1
		v += w[last] * f.sigma2 * unit
		g[f.free] += w[last] * unit
		for i, gamma := range f.gamma {
			c := f.component[i]
			if c < 0 || w[c] == 0 {
				continue
			}
			v += w[c] * gamma * f.sigma2 * unit
			g[f.free] += w[c] * gamma * unit
			for b := range f.free {
				g[b] += w[c] * f.sigma2 * unit * f.jac[i*f.free+b]
			}
		}
	}
	if !f.InformationOK || !(v > 0) {
		return v, math.NaN(), false
	}
	spread := quadratic(f.information, f.free+1, g)
	if !(spread > 0) {
		return v, math.NaN(), false
	}
	return v, 2 * v * v / spread, true
}

// contrastVariance returns l'Cl and its derivatives in (phi free, sigma2).
func (f *Fit) contrastVariance(l []float64) (v float64, grad []float64) {
	p, unit := f.P, f.sys.scale*f.sys.scale
	z := f.sys.basis.contrast(l)
	a := make([]float64, p) // (X'V^-1 X)^-1 l
	var u float64
	for i := range p {
		for j := range p {
			a[i] += f.xxInv[i*p+j] * z[j]
		}
		u += a[i] * z[i]
	}
	grad = make([]float64, f.free+1)
	grad[f.free] = u * unit
	for i := range f.gamma {
		d := -quadratic(f.xxGrad[i], p, a) * f.sigma2 * unit
		for b := range f.free {
			grad[b] += d * f.jac[i*f.free+b]
		}
	}
	return u * f.sigma2 * unit, grad
}

func (f *Fit) checkWeights(v []float64, want int, what string) error {
	if len(v) != want {
		return fmt.Errorf("%w: %s has %d entries, want %d", ErrInput, what, len(v), want)
	}
	return finite(what, v)
}

// ClampDF limits degrees of freedom to [1, units-1], units being the number of
// units of the level at which the quantity is replicated: a sum of variances
// cannot be known better than its replication allows. NaN, and fewer than two
// units, give 1.
func ClampDF(df float64, units int) float64 {
	if math.IsNaN(df) || units < 2 {
		return 1
	}
	return math.Max(1, math.Min(df, float64(units-1)))
}

// SafeDF is ClampDF with the rule for degrees of freedom that do not exist:
// units-1 if a component was dropped (what is left replicates the units), else
// 1, with a warning.
func (f *Fit) SafeDF(df float64, units int) (float64, []stats.Warning) {
	if !math.IsNaN(df) {
		return ClampDF(df, units), nil
	}
	safe := 1.0
	if len(f.Dropped) > 0 {
		safe = math.Max(1, float64(units-1))
	}
	return safe, []stats.Warning{{Code: "df-undefined",
		Text: fmt.Sprintf("the spread between units cannot be judged from these data; %g degrees of freedom are used", safe)}}
}
