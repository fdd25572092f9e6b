package spread

import (
	"errors"
	"math"
	"slices"
	"strings"

	"sealbound/stats"
	"sealbound/stats/mixed"
)

// slopeSource is the component of the strips' own wear.
const slopeSource = "fitting_slope"

// A model is the fit behind the components.
type model struct {
	fit      *mixed.Fit
	terms    []mixed.Term
	mean     float64
	constant []string
	zero     []string // residual terms whose units read alike, finest first
	wear     *Wear
	rmsAge   float64 // root mean square distance of the ages from their mean, years
	warnings []stats.Warning
}

// fitted fits the model. Where the closings of each group of the finest level read
// alike (coarse rounding, say), the likelihood has no maximum: each group then
// counts once, and zero lists what shows no spread.
func fitted(values []float64, factors []stats.Factor, ages []float64, zero []string) (model, error) {
	m := model{zero: zero}
	n := len(values)
	var candidates []stats.Factor
	for _, f := range factors {
		if !slices.Contains(levelsOf(zero...), f.Name) {
			candidates = append(candidates, f)
		}
	}
	levels, err := mixed.Separate(candidates, n)
	if err != nil {
		return m, err
	}
	m.constant = levels.Constant
	residual := levels.Residual
	if len(zero) > 0 { // closings are done with
		residual = strings.TrimSuffix(residual, "+closing")
	}
	err = m.fitTerms(values, factors, ages, levels.Terms, residual)
	alike, flat := alikeWithin(values, levels.Terms)
	if !errors.Is(err, mixed.ErrNoResidual) || alike < 0 {
		m.warnings = append(m.warnings, levels.Warnings...)
		return m, err
	}
	by := levels.Terms[alike].Factor
	one, oneOf, oneAge := collapsed(values, factors, ages, by)
	m, err = fitted(one, oneOf, oneAge, slices.Concat(flat, []string{residual}, zero))
	m.warnings = append(m.warnings, stats.Warning{Code: "closings-alike",
		Text: "the closings of each group of " + by.Name + " read alike, so each group counts once and " + and(append(flat, residual)) + " shows no spread: it lies below what the readings resolve"})
	return m, err
}

// alikeWithin finds the term of the most groups within which all values are equal; -1
// for none. flat names the terms that run across these groups, which then show no
// spread either.
func alikeWithin(values []float64, terms []mixed.Term) (at int, flat []string) {
	at = -1
	for k, t := range terms {
		first := make(map[int32]float64)
		equal := true
		for i, c := range t.Factor.Codes {
			x, seen := first[c]
			if !seen {
				first[c] = values[i]
			}
			equal = equal && (!seen || x == values[i])
		}
		if equal && (at < 0 || t.Factor.Levels > terms[at].Factor.Levels) {
			at = k
		}
	}
	for k, t := range terms {
		if at >= 0 && k != at && !nested(terms[at].Factor, t.Factor) {
			flat = append(flat, t.Factor.Name)
		}
	}
	return at, flat
}

// collapsed keeps one value for each group of a factor.
func collapsed(values []float64, factors []stats.Factor, ages []float64, by stats.Factor) (one []float64, of []stats.Factor, age []float64) {
	seen := make([]bool, by.Levels)
	of = slices.Clone(factors)
	for k := range of {
		of[k].Codes, of[k].Levels = nil, 0
	}
	recode := make([]map[int32]int32, len(factors))
	for i, c := range by.Codes {
		if seen[c] {
			continue
		}
		seen[c] = true
		one = append(one, values[i])
		if ages != nil {
			age = append(age, ages[i])
		}
		for k, f := range factors {
			if recode[k] == nil {
				recode[k] = make(map[int32]int32)
			}
			code, known := recode[k][f.Codes[i]]
			if !known {
				code = int32(len(recode[k]))
				recode[k][f.Codes[i]] = code
			}
			of[k].Codes, of[k].Levels = append(of[k].Codes, code), len(recode[k])
		}
	}
	return one, of, age
}

// fitTerms fits the terms, with age where the strips were followed long enough for
// it. What age leaves unidentified goes: first the strips' own wear, then age.
func (m *model) fitTerms(values []float64, factors []stats.Factor, ages []float64, terms []mixed.Term, residual string) error {
	followed := followedStrips(factors[1], factors[2], ages)
	for try := min(followed, 2); ; try-- {
		d := mixed.Design{Y: values, Terms: terms, Residual: residual}
		m.wear = nil
		if try > 0 {
			centred, mean, rms := centre(ages)
			ones := make([]float64, len(values))
			for i := range ones {
				ones[i] = 1
			}
			d.X, d.XNames = [][]float64{ones, centred}, []string{"mean", "age"}
			m.wear, m.rmsAge = &Wear{MeanAgeYears: mean, Own: try > 1}, rms
			if try > 1 {
				strip := factors[1]
				strip.Name = "fitting"
				d.Terms = append(slices.Clip(slices.Clone(terms)), mixed.Term{Factor: strip, Slope: centred})
			}
		}
		fit, err := d.Fit(mixed.REML)
		if try > 0 && (errors.Is(err, mixed.ErrAliased) || errors.Is(err, mixed.ErrRank) || errors.Is(err, mixed.ErrTooFew)) {
			continue
		}
		if err != nil {
			return err
		}
		m.fit, m.terms, m.warnings = fit, d.Terms, append(m.warnings, fit.Warnings...)
		m.mean = fit.Beta[0]
		if m.wear != nil {
			m.wear.DBPerYear, m.wear.SE = fit.Beta[1], math.Sqrt(fit.Cov[1][1])
		}
		return nil
	}
}

// A strip tells of wear once it was seen in so many sessions, over so long.
const (
	followedSessions = 3
	followedYears    = 1
)

// followedStrips counts the strips seen in three sessions or more, over a year or
// more; 0 where an age is not known.
func followedStrips(fitting, session stats.Factor, ages []float64) (n int) {
	if ages == nil {
		return 0
	}
	type span struct {
		first, last float64
		sessions    map[int32]bool
	}
	spans := make([]span, fitting.Levels)
	for i, f := range fitting.Codes {
		a, s := ages[i], &spans[f]
		if math.IsNaN(a) || math.IsInf(a, 0) {
			return 0
		}
		if s.sessions == nil {
			*s = span{a, a, map[int32]bool{}}
		}
		s.first, s.last = math.Min(s.first, a), math.Max(s.last, a)
		s.sessions[session.Codes[i]] = true
	}
	for _, s := range spans {
		if len(s.sessions) >= followedSessions && s.last-s.first >= followedYears-leapDays {
			n++
		}
	}
	return n
}

// leapDays is what a calendar year may lack of 365.25 days, and a yearly meeting on
// the same weekday of a year: nine days, in years.
const leapDays = 9 / 365.25

func centre(x []float64) (centred []float64, mean, rms float64) {
	for _, v := range x {
		mean += v / float64(len(x))
	}
	for _, v := range x {
		centred = append(centred, v-mean)
		rms += (v - mean) * (v - mean) / float64(len(x))
	}
	return centred, mean, math.Sqrt(rms)
}

// adjusted takes the wear out of the values, to the mean age.
func (m model) adjusted(values, ages []float64) []float64 {
	out := slices.Clone(values)
	if m.wear != nil {
		for i := range out {
			out[i] -= m.wear.DBPerYear * (ages[i] - m.wear.MeanAgeYears)
		}
	}
	return out
}

// components lists the variances with one-sided bounds at the confidence.
func (m model) components(values []float64, factors []stats.Factor, confidence float64) ([]Component, error) {
	bounds, err := m.sdBounds(values, factors, confidence)
	if err != nil {
		return nil, err
	}
	var out []Component
	total := 0.0
	for i, c := range m.fit.Components {
		k := Component{Source: c.Name, Variance: c.Variance, SD: c.SD, Lower: bounds[i].Lower, Upper: bounds[i].Upper, PerYear: nan}
		if c.Name == slopeSource {
			k.PerYear = c.SD
			k.SD, k.Lower, k.Upper = c.SD*m.rmsAge, k.Lower*m.rmsAge, k.Upper*m.rmsAge
			k.Variance = k.SD * k.SD
		}
		out = append(out, k)
		total += k.Variance
	}
	for _, name := range m.zero {
		out = append(out, Component{Source: name, Upper: nan, PerYear: nan})
	}
	for i := range out {
		out[i].Share = out[i].Variance / total
	}
	return out, nil
}

// levelsOf splits joined names.
func levelsOf(names ...string) (levels []string) {
	for _, n := range names {
		levels = append(levels, strings.Split(n, "+")...)
	}
	return levels
}
