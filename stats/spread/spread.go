package spread

import (
	"math"
	"slices"

	"sealbound/stats"
	"sealbound/stats/interval"
)

// Spread analyses one group in one band. Where it could not, the numbers are NaN
// and Reason says why. The error speaks of malformed Data alone.
func Spread(d Data, s Settings) (Result, error) {
	r := empty()
	v, limited, reason, err := d.values()
	if err != nil {
		return r, err
	}
	r.Band, r.LimitedPoints, r.Reason = v, limited, reason
	if reason == "" {
		r.Points = v.Used
	}
	for _, k := range v.Values {
		r.Kept = append(r.Kept, k.Closing)
		r.Values = append(r.Values, k.DB)
	}
	factors := d.Levels(r.Kept)
	r.count(factors)
	if reason != "" {
		r.undefine(s, reason, false)
		r.Values = nil
		return r, nil
	}
	r.FloorUnknown = d.floorUnknown(r.Kept, r.Points)
	var ages []float64
	if d.AgeYears != nil {
		for _, c := range r.Kept {
			ages = append(ages, d.AgeYears[c])
		}
	}
	r.analyse(r.Values, factors, ages, s)
	for i, o := range r.Outliers {
		r.Outliers[i].Closing = r.Kept[o.Closing]
	}
	return r, nil
}

func empty() Result {
	none := undefined("", false)
	return Result{MeanDB: nan, SEDB: nan, RobustSD: nan, LogLikelihood: nan, Repeatability: none, Reproducibility: none, Unit: none}
}

func (r *Result) count(factors []stats.Factor) {
	r.Boxes, r.Fittings, r.Sessions, r.Visits = factors[0].Levels, factors[1].Levels, factors[2].Levels, factors[3].Levels
	r.Closings = len(r.Kept)
}

// floorUnknown reports whether a reading that is used has no known floor.
func (d Data) floorUnknown(kept, points []int32) bool {
	closing, point := make([]bool, d.Closings), make([]bool, d.Points)
	for _, c := range kept {
		closing[c] = true
	}
	for _, p := range points {
		point[p] = true
	}
	for i, p := range d.Point {
		if point[p] && closing[d.Closing[i]] && !d.FloorKnown[i] {
			return true
		}
	}
	return false
}

// analyse works on band values (dB, one per closing) with their factors box,
// fitting, session and visit; ages is nil or has one age in years per value. It names
// closings by their position.
func (r *Result) analyse(values []float64, factors []stats.Factor, ages []float64, s Settings) {
	mean, _, err := interval.MeanSD(values)
	switch {
	case err != nil:
		r.undefine(s, err.Error(), true)
		return
	case len(values) == 1:
		r.MeanDB = mean
		r.undefine(s, "one closing shows no spread; close and read again, five times or more", true)
		return
	case slices.Max(values)-slices.Min(values) <= alike:
		r.MeanDB = mean
		r.undefine(s, "all closings read alike (s = 0): their spread lies below what the readings resolve", false)
		return
	}
	m, err := fitted(values, factors, ages, nil)
	r.Warnings = append(r.Warnings, m.warnings...)
	if err != nil {
		r.MeanDB = mean
		r.undefine(s, "no model fits these closings: "+err.Error(), false)
		return
	}
	r.MeanDB, r.LogLikelihood, r.Wear, r.Constant = m.mean, m.fit.LogLikREML, m.wear, m.constant
	r.Components, err = m.components(values, factors, s.Confidence)
	if err != nil {
		r.undefine(s, "the spread has no bounds: "+err.Error(), false)
		return
	}
	lower := func(sources []string) float64 { return m.lowerOf(sources, s.Confidence) }
	r.Repeatability = quantity(r.Components, lower, "closing")
	r.Reproducibility = quantity(r.Components, lower, "session", "visit", "closing")
	r.Unit = quantity(r.Components, lower, "box", "fitting")
	r.Verdict = r.verdict(s)
	r.outliers(m.adjusted(values, ages), factors)
	for i, o := range r.Outliers {
		if o.Kind == GrubbsClosing { // within a visit age is the same for all
			r.Outliers[i].DB = values[o.Closing]
		}
	}
	r.more(factors)
	r.RobustSD, r.Pairs = robustSD(values, factors[3])
	r.Explain = r.explain(values, factors, m, s)
}

// alike is a difference of band values that only rounding makes, dB.
const alike = 1e-9

// undefine says why there is no spread to tell of.
func (r *Result) undefine(s Settings, reason string, lacking bool) {
	r.Reason, r.Explain = reason, []string{reason}
	q := undefined(reason, lacking)
	r.Repeatability, r.Reproducibility, r.Unit = q, q, q
	r.Verdict = r.verdict(s)
}

// decided is the quantity that a tolerance is held against.
func (r *Result) decided(on Limit) Quantity {
	if on == Reproducibility {
		return r.Reproducibility
	}
	return r.Repeatability
}

// verdict holds the bounds of the limit against the tolerance. A floor that is not
// known may hide spread, which only ever makes the limit larger.
func (r *Result) verdict(s Settings) Verdict {
	if !(s.ToleranceDB > 0) {
		return ""
	}
	q := r.decided(s.On)
	switch {
	case q.lacking:
		return TooFew
	case math.IsNaN(q.SD):
		return Undecided
	case LimitFactor*q.Lower > s.ToleranceDB:
		return NotRepeatable
	case LimitFactor*q.Upper <= s.ToleranceDB && !r.FloorUnknown: // false where Upper is NaN
		return Repeatable
	}
	return Undecided
}
