package wear

import (
	"math"

	"sealbound/stats"
	"sealbound/stats/censored"
	"sealbound/stats/dist"
	"sealbound/stats/interval"
	"sealbound/stats/judge"
)

// byLikelihood takes the slope of a single point with limited closings from the
// likelihood of what was seen and what is only known to be above a limit. The levels
// integrated over are those that the slope's error rests on: the visit, and above it
// the fitting where each fitting has sessions of its own; but the session where
// fittings share it. Boxes and strips that differ are then part of the spread within
// the session, which makes the bounds of evenly measured ones wider, not narrower.
func (r *Result) byLikelihood(d Data, s Settings) error {
	c := censored.Closings{}
	at := make([]int32, d.Closings)
	for i := range at {
		at[i] = -1
	}
	for k, i := range r.Kept {
		at[i] = int32(k)
	}
	n := len(r.Kept)
	c.DB, c.Limited, c.LimitDB, c.Years = make([]float64, n), make([]bool, n), make([]float64, n), make([]float64, n)
	for i, p := range d.Point {
		if k := at[d.Closing[i]]; k >= 0 && p == r.Points[0] {
			c.DB[k], c.Limited[k], c.LimitDB[k], c.Years[k] = d.DB[i], d.Limited[i], d.HeadroomDB[i], d.AgeYears[d.Closing[i]]
		}
	}
	sample := sampleOf(d, r.Kept, c.DB, true)
	units := sample.sessions
	switch {
	case sample.sessions < sample.visit.Levels:
		c.Levels = []stats.Factor{sample.session}
	case sample.fittings > 1:
		c.Levels = []stats.Factor{sample.fitting, sample.visit}
	default:
		c.Levels = []stats.Factor{sample.visit}
	}
	f, err := censored.Nested(c)
	if err != nil {
		return err
	}
	if f.Status != censored.Estimated {
		r.Method, r.Reason = NoMethod, f.Status.String()
		return nil
	}
	own := ownSlopes(c, sample)
	if s.Common {
		own = spreadOfSlopes{}
	}
	r.Slope = own.widen(f.Slope(s.Confidence, units), 1)
	r.P = likelihoodP(c, f, units, own)
	r.OwnSlopes = own.n > 1
	r.LogLikelihood = f.LogLikelihood
	level, err := meanByLikelihood(c, f, sample, s.Confidence)
	if err != nil {
		return err
	}
	mean := func(age float64) stats.Estimate { return own.widen(level(age), age-r.MeanAge) }
	r.Intercept, r.Mean = mean(0), mean(s.AgeYears)
	total := 0.0
	for _, k := range f.Components {
		total += square(k.SDDB)
	}
	for _, k := range f.Components {
		r.Components = append(r.Components, Component{Source: k.Source, Variance: square(k.SDDB), SD: k.SDDB,
			SDLower: math.NaN(), SDUpper: math.NaN(), Share: square(k.SDDB) / total, Dropped: k.SDDB == 0})
	}
	r.Cross = lineCrossing(r.Intercept.Value, r.Slope.Value, r.TargetDB, r.FirstAge, r.MeanAge, r.Horizon)
	switch s.On {
	case judge.OnNext, judge.OnCoverage:
		r.NowReason = "limited closings do not show the spread of single closings, so there is no such bound"
	default: // the one point is the weakest
		r.follow(func(age float64) (float64, float64) {
			lower := mean(age).Lower
			return lower, lower - r.TargetDB
		}, s, coarse)
	}
	r.Verdict = verdictOf(r.Slope)
	if sample.fittings > 1 && own.n < 2 && !s.Common {
		r.Warnings = append(r.Warnings, stats.Warning{Code: "own-slopes-not-modelled",
			Text: "one point with limited closings: how strips differ in wear cannot be told, so they are taken to wear alike; where they do not, a bound of the slope at 0.95 holds in some 0.85 of campaigns"})
	}
	r.Explain = r.explainLikelihood(units, own, s)
	return nil
}

// meanByLikelihood returns the mean at an age. Where several fittings are pooled its
// error has two parts, that of the sessions and that of the boxes (fittings of one
// box) drawn; they are taken from two fits, one with either level, and the half-widths
// added in quadrature, though both hold the spread of closings.
func meanByLikelihood(c censored.Closings, f *censored.NestedFit, sample *sample, confidence float64) (func(age float64) stats.Estimate, error) {
	units := sample.sessions
	if sample.fittings == 1 {
		return func(age float64) stats.Estimate { return f.Mean(confidence, age, units) }, nil
	}
	tops, top := sample.boxes, sample.box
	if tops == 1 {
		tops, top = sample.fittings, sample.fitting
	}
	c.Levels = []stats.Factor{top}
	g, err := censored.Nested(c)
	if err != nil {
		return nil, err
	}
	return func(age float64) stats.Estimate {
		e := f.Mean(confidence, age, units)
		if g.Status != censored.Estimated {
			return undefined(confidence)
		}
		between := g.Mean(confidence, age, tops+1) // tops - 1 degrees of freedom
		e.SE, e.DF = math.Hypot(e.SE, between.SE), math.Min(e.DF, between.DF)
		e.Lower = e.Value - math.Hypot(e.Value-e.Lower, between.Value-between.Lower)
		e.Upper = e.Value + math.Hypot(e.Upper-e.Value, between.Upper-between.Value)
		return e
	}, nil
}

// spreadOfSlopes is what strips that wear at rates of their own add to the error of
// their common slope: the standard error of the mean of n slopes, each from a fit of its
// own. It holds the spread of closings too, which the likelihood has already, so the
// bounds are the wider for it.
type spreadOfSlopes struct {
	n  int // fewer than 2: not known
	se float64
}

// ownSlopes fits a line to every fitting with three sessions or more. A fitting without
// an estimate, limited nearly throughout, leaves the spread unknown.
func ownSlopes(c censored.Closings, s *sample) spreadOfSlopes {
	var slopes []float64
	for f, sessions := range s.perFitting() {
		if sessions < leastSessions {
			continue
		}
		var age, y []float64
		var limited []bool
		for i, code := range s.fitting.Codes {
			if int(code) != f {
				continue
			}
			limit := c.DB[i]
			if c.Limited[i] && !math.IsNaN(c.LimitDB[i]) {
				limit = c.LimitDB[i]
			}
			age, y, limited = append(age, c.Years[i]), append(y, limit), append(limited, c.Limited[i])
		}
		l, err := censored.FitLine(age, y, limited)
		if err != nil || l.Status != censored.Estimated {
			return spreadOfSlopes{}
		}
		slopes = append(slopes, l.Slope)
	}
	if len(slopes) < 2 {
		return spreadOfSlopes{}
	}
	_, sd, err := interval.MeanSD(slopes)
	if err != nil {
		return spreadOfSlopes{}
	}
	return spreadOfSlopes{len(slopes), sd / math.Sqrt(float64(len(slopes)))}
}

// widen adds weight times the error of the slopes to an estimate, half-widths in
// quadrature: for the slope itself weight is 1, for the mean the years from the mean
// age.
func (o spreadOfSlopes) widen(e stats.Estimate, weight float64) stats.Estimate {
	if o.n < 2 {
		return e
	}
	df := float64(o.n - 1)
	half := dist.TQuantile(e.Confidence, df) * o.se * weight
	e.SE, e.DF = math.Hypot(e.SE, o.se*weight), math.Min(e.DF, df)
	e.Lower, e.Upper = e.Value-math.Hypot(e.Value-e.Lower, half), e.Value+math.Hypot(e.Upper-e.Value, half)
	return e
}

// likelihoodP is the two-sided p value that belongs to the bounds. Of the profile alone
//
//	t = sqrt((units - 2) (exp(2 fall/units) - 1)), fall that of the log-likelihood at slope 0
//
// With the strips' own slopes it is the chance at which the half-widths in quadrature
// are the slope, |slope|/t standing for the profile's standard error.
func likelihoodP(c censored.Closings, f *censored.NestedFit, units int, own spreadOfSlopes) float64 {
	c.Years = nil
	flat, err := censored.Nested(c)
	if err != nil || flat.Status != censored.Estimated || units <= 2 {
		return math.NaN()
	}
	fall := math.Max(0, f.LogLikelihood-flat.LogLikelihood)
	df := float64(units - 2)
	t := math.Sqrt(df * math.Expm1(2*fall/float64(units)))
	if own.n < 2 || !(t > 0) {
		return math.Min(1, 2*dist.TSurvival(t, df))
	}
	slope := math.Abs(f.SlopeDB)
	excess := func(p float64) float64 { // one-sided
		return math.Hypot(dist.TQuantile(1-p, df)*slope/t, dist.TQuantile(1-p, float64(own.n-1))*own.se) - slope
	}
	const least = 1e-12
	if excess(least) < 0 {
		return 2 * least
	}
	p, err := dist.Root(excess, least, 0.5, 1e-12)
	if err != nil {
		return math.NaN()
	}
	return math.Min(1, 2*p)
}
