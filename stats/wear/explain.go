package wear

import (
	"fmt"
	"math"
	"strings"

	"sealbound/stats"
	"sealbound/stats/dist"
	"sealbound/stats/judge"
)

// driftingApart is the ratio beyond which strips that wear at rates of their own
// weaken the bounds of the mean: what the rates have made of the mean age tested,
// over the spread of boxes and strips.
const driftingApart = 0.5

// warn says where the bounds hold less than their confidence.
func (r *Result) warn(l *line) {
	between, own := 0.0, 0.0
	for _, c := range r.Components {
		switch {
		case c.OwnSlopes:
			own = c.SD
		case strings.HasPrefix(c.Source, "box"), strings.HasPrefix(c.Source, "fitting"):
			between += c.Variance
		}
	}
	if own > 0 && l.paired == nil && own*math.Abs(l.centre) > driftingApart*math.Sqrt(between) {
		r.Warnings = append(r.Warnings, stats.Warning{Code: "strips-drift-apart",
			Text: "the strips wear at rates that differ much: the bounds of the slope hold, those of the mean and its crossing at 0.95 hold in about 0.91 of campaigns only"})
	}
}

// explain writes each number's formula with its values put in.
func (r *Result) explain(l *line, s Settings) []string {
	var out []string
	say := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	say("value of a closing: %s; %d points, %d closings", r.valueText(), len(r.Points), len(l.sample.y))
	var terms []string
	for _, c := range r.Components {
		name := c.Source
		if c.OwnSlopes {
			name = "the fitting's own slope x (age - mean age)"
		}
		terms = append(terms, name)
	}
	say("model, by REML: value = intercept + slope x age + %s", strings.Join(terms, " + "))
	for _, c := range r.Components {
		unit := "dB2"
		if c.OwnSlopes {
			unit = "dB2/year2"
		}
		say("variance of %s = %.4f %s (SD %.3f)", c.Source, c.Variance, unit, c.SD)
	}
	if len(r.Dropped) > 0 {
		say("estimated as zero, dropped and refitted without: %s", strings.Join(r.Dropped, ", "))
	}
	say("mean age of the values = %.3f years; ages from %.3f to %.3f", l.centre, r.FirstAge, r.LastAge)
	u := l.sample.slopeUnits(l.dropped())
	say("slope = %s dB/year, se = %.4f; degrees of freedom by Satterthwaite, kept within [1, %d] for %s and %s = %s",
		plus(r.Slope.Value), r.Slope.SE, max(1, u-1), counted(r.Fittings, "fitting"), counted(r.Sessions, "session"), trim(r.Slope.DF))
	out = append(out, r.explainSlope(s)...)
	if l.paired != nil {
		p := l.paired.fit
		say("bounds of the mean: the wider of this fit and of one in which level and slope of a fitting are correlated (covariance at the mean age %.4f dB2/year)", p.Covariance[l.paired.pairedAt])
	}
	r.explainMean(s, say)
	r.explainRank(say)
	return out
}

func (r *Result) explainSlope(s Settings) []string {
	e := r.Slope
	t := dist.TQuantile(s.Confidence, e.DF)
	return []string{
		fmt.Sprintf("bounds of the slope, one-sided each = slope -/+ t(%s; %s) x se = %s -/+ %.4f x %.4f = %s and %s dB/year",
			trim(s.Confidence), trim(e.DF), plus(e.Value), t, e.SE, plus(e.Lower), plus(e.Upper)),
		fmt.Sprintf("p, two-sided = 2 x P(t(%s) > %.4f) = %.4g", trim(e.DF), math.Abs(e.Value)/e.SE, r.P),
	}
}

func (r *Result) explainMean(s Settings, say func(string, ...any)) {
	m := r.Mean
	say("mean at age %.3f = intercept + slope x age = %.3f + (%s) x %.3f = %.3f dB; se = %.3f, %s degrees of freedom",
		s.AgeYears, r.Intercept.Value, plus(r.Slope.Value), s.AgeYears, m.Value, m.SE, trim(m.DF))
	switch {
	case math.IsNaN(r.Now):
	case r.Method == Likelihood:
		say("lower bound there, from the profile likelihood as that of the slope = %.3f dB", r.Now)
	case s.On == judge.OnMean:
		say("lower bound there = mean - t(%s; %s) x se = %.3f dB", trim(s.Confidence), trim(m.DF), r.Now)
	default:
		say("lower bound there (%s) = %.3f dB", s.On, r.Now)
	}
	if r.Cross.Status == Crosses {
		say("the mean meets the target at age (target - intercept) / slope = (%.3f - %.3f) / (%s) = %.3f years",
			r.TargetDB, r.Intercept.Value, plus(r.Slope.Value), r.Cross.Age)
	}
	if r.LowerCross.Status == Crosses {
		say("the lower bound (%s) meets the target at age %.3f years, found anew at each age", s.On, r.LowerCross.Age)
	}
	say("horizon = age at the last test + 2 x (oldest - youngest age tested) = %.3f + 2 x %.3f = %.3f years", s.LastAge, r.SpanYears, r.Horizon)
}

func (r *Result) explainRank(say func(string, ...any)) {
	k := r.Rank
	if k.Undefined != "" {
		return
	}
	how := "normal approximation"
	if k.Exact {
		how = fmt.Sprintf("exact; the least that %s can give is %.4g", counted(k.Sessions, "session"), k.Least)
	}
	say("by rank: S = %d over pairs of sessions of the same strip, p two-sided = %.4g (%s)", k.S, k.P, how)
	say("Theil-Sen slope = median over those pairs = %s dB/year", plus(k.Slope))
}

func (r *Result) valueText() string {
	switch r.Method {
	case ClearOf:
		return fmt.Sprintf("mean over the points that no reading was limited at, %d of %d", len(r.Points), r.Common)
	case TwoStep:
		return "effect of the closing in a censored-normal fit of closing + point within its fitting"
	}
	return "mean over its points in dB, adjusted for points that it lacks"
}

// explainLikelihood is explain for limited closings of one point.
func (r *Result) explainLikelihood(units int, own spreadOfSlopes, s Settings) []string {
	var out []string
	say := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	say("one point, limited closings: maximum likelihood of attenuation = intercept + slope x age + levels + closing, a limited closing being above its headroom")
	for _, c := range r.Components {
		say("SD of %s = %.3f dB", c.Source, c.SD)
	}
	df := float64(units - 2)
	t := dist.TQuantile(s.Confidence, df)
	say("slope = %s dB/year; its profile bounds lie where 2 x the fall of the log-likelihood = N ln(1 + t^2/(N - 2)) = %d x ln(1 + %.4f^2/%s) = %.4f",
		plus(r.Slope.Value), units, t, trim(df), float64(units)*math.Log1p(t*t/df))
	if own.n > 1 {
		u := dist.TQuantile(s.Confidence, float64(own.n-1))
		say("strips that wear at their own rates: the mean of %d slopes has se %.4f, so t(%s; %d) x se = %.4f is added to either distance in quadrature",
			own.n, own.se, trim(s.Confidence), own.n-1, u*own.se)
	}
	say("bounds of the slope, one-sided each = %s and %s dB/year; p, two-sided = %.4g", plus(r.Slope.Lower), plus(r.Slope.Upper), r.P)
	r.explainMean(s, say)
	return out
}

func plus(x float64) string { return fmt.Sprintf("%+.4f", x) }

func trim(x float64) string { return fmt.Sprintf("%.4g", x) }
