package plan

import (
	"math"

	"sealbound/stats/dist"
	"sealbound/stats/interval"
)

// The power of a layout is that of the analysis which judges it. In a balanced
// layout the mean squares are independent multiples of chi-square, independent
// of the mean, and the analysis is a function of them:
//
//   - REML estimates are the mean squares made monotone: box and session not
//     below visit, visit not below closing. Those that break the order are pooled,
//     which is to say that the component is estimated as zero and dropped.
//   - The standard error is that of the terms which are left, and so are
//     Satterthwaite's degrees of freedom, kept within 1 and units - 1.
//
// Given the mean squares, the bound clears the target with probability
// Phi((margin - t(df)*se)/true se). Its mean over the mean squares is taken over
// a fixed set of points that fill the unit cube evenly.
//
// Sources: W. A. Thompson, Annals of Mathematical Statistics 33 (1962) 273-289
// (pooling; from memory); J. M. Hammersley, Annals of the New York Academy of
// Sciences 86 (1960) 844-874 (points; from memory).

const (
	nodes   = 1024 // power is within 0.003 of what 30,000 give (63 layouts, margins 1 to 4 dB)
	tSteps  = 1024 // of 1/df from 0 to 1, between which t is interpolated
	largeDF = 50   // from here on chi-square quantiles are approximate, to half a percent
)

// A rule evaluates layouts under one set of variances. It caches what layouts
// have in common; the answers do not depend on the order of the questions.
type rule struct {
	v   Variances
	aim Aim
	t   []float64            // t quantile at df = tSteps/i
	chi map[chiKey][]float64 // chi-square/df at the nodes
}

type chiKey struct {
	axis int
	df   float64
}

func newRule(v Variances, aim Aim) *rule {
	return &rule{v: v, aim: aim, chi: map[chiKey][]float64{}}
}

// outcome evaluates a layout that has been checked.
func (r *rule) outcome(l Layout) (Outcome, error) {
	m := l.strata(r.v)
	o := Outcome{Layout: l, VarianceDB2: m.variance(), DF: m.df()}
	o.SEDB = math.Sqrt(o.VarianceDB2)
	if err := finite("mean square, or margin in standard errors,", m.box, m.session, o.VarianceDB2, r.aim.MarginDB/o.SEDB); err != nil {
		return Outcome{}, err
	}
	var err error
	o.Power, err = r.power(m, o.SEDB)
	return o, err
}

func (r *rule) power(m strata, se float64) (float64, error) {
	levels := 0
	for _, df := range []float64{m.dfBox, m.dfSession, m.dfIn} {
		if df > 0 {
			levels++
		}
	}
	if levels == 1 { // one stratum: the t test, exactly
		return interval.Power(m.top, r.aim.MarginDB/se, r.aim.Confidence)
	}
	box, session := r.multiples(0, m.dfBox), r.multiples(1, m.dfSession)
	visit, closing := r.multiples(2, m.dfVisit), r.multiples(3, m.dfIn)
	at := func(x []float64, i int) float64 {
		if x == nil {
			return 0
		}
		return x[i]
	}
	ncp, sum := r.aim.MarginDB/se, 0.0
	for i := range nodes {
		seen := m
		seen.box *= at(box, i)
		seen.session *= at(session, i)
		seen.visit *= at(visit, i)
		seen.closing *= at(closing, i)
		variance, df := seen.analyse()
		sum += dist.NormalCDF(ncp - r.quantile(df)*math.Sqrt(variance)/se)
	}
	return sum / nodes, nil
}

// analyse returns the variance of the mean and its degrees of freedom as the
// analysis takes them from mean squares.
func (m strata) analyse() (variance, df float64) {
	switch {
	case m.dfBox > 0 && m.dfSession > 0:
		variance, df = m.crossed()
	case m.dfBox > 0:
		variance, df = nested(m.box, m.dfBox, m.closing, m.dfIn)
	case m.dfSession > 0:
		variance, df = nested(m.session, m.dfSession, m.closing, m.dfIn)
	default:
		variance, df = m.closing, m.dfIn
	}
	return variance / m.n, math.Max(1, math.Min(df, m.top))
}

// nested: units over closings, pooled where the units differ less than they
// should by the closings.
func nested(unit, dfUnit, closing, dfIn float64) (variance, df float64) {
	if dfIn > 0 && unit < closing {
		return pool(unit, dfUnit, closing, dfIn)
	}
	return unit, dfUnit
}

func pool(a, dfA, b, dfB float64) (mean, df float64) {
	return (a*dfA + b*dfB) / (dfA + dfB), dfA + dfB
}

// crossed: boxes and sessions over visits over closings. The smallest that breaks
// the order is pooled first.
func (m strata) crossed() (variance, df float64) {
	rest, dfRest := m.visit, m.dfVisit
	noBox, noSession := false, false
	settle := func() {
		for range 2 {
			switch {
			case !noBox && m.box < rest && (noSession || m.box <= m.session):
				rest, dfRest = pool(rest, dfRest, m.box, m.dfBox)
				noBox = true
			case !noSession && m.session < rest:
				rest, dfRest = pool(rest, dfRest, m.session, m.dfSession)
				noSession = true
			}
		}
	}
	settle()
	if m.dfIn > 0 && rest < m.closing {
		rest, dfRest = pool(rest, dfRest, m.closing, m.dfIn)
		settle()
	}
	switch {
	case noBox && noSession:
		return rest, dfRest
	case noBox:
		return m.session, m.dfSession
	case noSession:
		return m.box, m.dfBox
	}
	return m.box + (m.session - rest), satterthwaite(m.box, m.dfBox, m.session, m.dfSession, rest, dfRest)
}

// quantile is t(confidence; df) for df >= 1.
func (r *rule) quantile(df float64) float64 {
	if r.t == nil {
		r.t = make([]float64, tSteps+1)
		r.t[0] = dist.NormalQuantile(r.aim.Confidence)
		for i := 1; i <= tSteps; i++ {
			r.t[i] = dist.TQuantile(r.aim.Confidence, tSteps/float64(i))
		}
	}
	x := tSteps / df
	if !(x <= tSteps) {
		x = tSteps
	}
	i := min(int(x), tSteps-1)
	return r.t[i] + (x-float64(i))*(r.t[i+1]-r.t[i])
}

// multiples are chi-square over its degrees of freedom at the nodes of an axis;
// nil for 0 degrees.
func (r *rule) multiples(axis int, df float64) []float64 {
	if df == 0 {
		return nil
	}
	key := chiKey{axis, df}
	if c, ok := r.chi[key]; ok {
		return c
	}
	c := make([]float64, nodes)
	for i := range c {
		c[i] = chiMultiple(node(axis, i), df)
	}
	r.chi[key] = c
	return c
}

// node is coordinate axis of the point i of Hammersley's set.
func node(axis, i int) float64 {
	if axis == 0 {
		return (float64(i) + 0.5) / nodes
	}
	base := [...]int{2, 3, 5}[axis-1]
	x, digit := 0.0, 1.0
	for k := i + 1; k > 0; k /= base {
		digit /= float64(base)
		x += digit * float64(k%base)
	}
	return x
}

// chiMultiple is the p quantile of chi-square/df; the cube of a normal one
// (Wilson and Hilferty, from memory) where df is large.
func chiMultiple(p, df float64) float64 {
	if df < largeDF {
		return dist.ChiSquareQuantile(p, df) / df
	}
	w := 2 / (9 * df)
	x := 1 - w + dist.NormalQuantile(p)*math.Sqrt(w)
	return math.Max(0, x*x*x)
}
