package spread

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mathext"

	"sealbound/stats"
	"sealbound/stats/dist"
	"sealbound/stats/mixed"
)

// sdBounds returns one-sided bounds of the SD of every component of the fit, at the
// confidence each.
//
// The levels above the closing have profile likelihood bounds. The likelihood of a
// variance is skew, so its upper bound has a cut of its own: the one that makes it
// exact where the level alone carries the spread, with nu independent differences,
//
//	cut = nu (q - 1 - log q), q = chi2(1-confidence; nu)/nu
//
// (with the cut of the two-sided interval it holds in 0.91 of campaigns at nominal
// 0.95). The lower one keeps that of the interval, which is what it takes to hold
// where a level has no spread at all.
//
// The closing's are exact where visits have repeats: chi-square on the variance within
// visits, whatever the model makes of the levels above. (The model's own have too many
// degrees of freedom where it drops a level: 0.91 likewise.)
func (m model) sdBounds(values []float64, factors []stats.Factor, confidence float64) ([]mixed.Interval, error) {
	n := len(m.fit.Components)
	// Two bounds at c each leave 2c-1 between them.
	both := math.Max(2*confidence-1, 1e-9)
	lower, upper := make([]float64, n), make([]float64, n)
	for i := range n - 1 {
		lower[i], upper[i] = both, both
		// SDBounds has its own correction of the cut for small numbers of levels.
		if nu, own := m.differences(i); nu <= manyDifferences {
			scale := nu * (math.Log(nu/2) - mathext.Digamma(nu/2))
			upper[i] = math.Min(math.Max(1-dist.ChiSquareSurvival(cut(1-confidence, own)/scale, 1), 1e-9), 1-1e-12)
		}
	}
	lower[n-1], upper[n-1] = nan, nan // see residualBounds
	out, err := m.fit.SDBounds(lower, upper)
	if err != nil {
		return nil, err
	}
	out[n-1] = m.residualBounds(values, factors, confidence)
	return out, nil
}

// manyDifferences make the likelihood so even that the interval's own cut is within
// 0.3 % of the SD.
const manyDifferences = 100

// cut is how far the criterion rises from the estimate to the p quantile's bound.
func cut(p, nu float64) float64 {
	q := dist.ChiSquareQuantile(p, nu) / nu
	return nu * (q - 1 - math.Log(q))
}

// differences is how many independent differences carry the i-th component: the
// levels of its factor beyond those of the level above. Age takes one from the levels
// that it runs along; own counts that.
func (m model) differences(i int) (nu, own float64) {
	f := m.terms[i].Factor
	above := 1
	for _, t := range m.terms {
		if t.Factor.Levels < f.Levels && nested(f, t.Factor) {
			above = max(above, t.Factor.Levels)
		}
	}
	nu = math.Max(1, float64(f.Levels-above))
	own = nu
	if m.wear != nil && nu > 1 {
		own--
	}
	return nu, own
}

// residualBounds are those of the finest component.
func (m model) residualBounds(values []float64, factors []stats.Factor, confidence float64) mixed.Interval {
	c := m.fit.Components[len(m.fit.Components)-1]
	var ss, df float64
	if c.Name == "closing" && len(m.zero) == 0 {
		for _, u := range units(values, factors[3]) {
			if u.df > 0 {
				ss, df = ss+u.df*u.variance, df+u.df
			}
		}
	}
	if !(ss > 0) { // no repeats of the finest level: by the model
		w := make([]float64, len(m.fit.Components))
		w[len(w)-1] = 1
		v, satterthwaite, ok := m.fit.VarianceOf(w, nil)
		if !ok {
			return mixed.Interval{Lower: nan, Upper: nan}
		}
		df = math.Max(1, math.Min(satterthwaite, m.leftOver()))
		ss = v * df
	}
	lower := math.Sqrt(ss / dist.ChiSquareQuantile(confidence, df))
	upper := math.Sqrt(ss / dist.ChiSquareQuantile(1-confidence, df))
	return mixed.Interval{Lower: math.Min(lower, c.SD), Upper: math.Max(upper, c.SD)}
}

// leftOver is how many independent differences are left for the finest component
// once every level above has its own.
func (m model) leftOver() float64 {
	left := m.fit.N - m.fit.P
	for _, t := range m.terms {
		left -= t.Factor.Levels - 1
	}
	return float64(left)
}

// lowerOf is the lower bound of the SD of a sum of components by Satterthwaite's
// degrees of freedom; NaN where those do not exist.
func (m model) lowerOf(sources []string, confidence float64) float64 {
	w := make([]float64, len(m.fit.Components))
	for i, c := range m.fit.Components {
		if slices.Contains(sources, c.Name) {
			w[i] = 1
		}
	}
	v, df, ok := m.fit.VarianceOf(w, nil)
	if !ok {
		return nan
	}
	return math.Sqrt(df * v / dist.ChiSquareQuantile(confidence, df))
}
