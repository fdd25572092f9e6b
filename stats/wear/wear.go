package wear

import (
	"errors"
	"fmt"
	"math"

	"sealbound/stats"
)

// ErrInput says that the data are malformed: lengths that differ, times that are
// not finite, a confidence outside its domain.
var ErrInput = errors.New("wear: malformed input")

// leastSessions are what a slope needs.
const leastSessions = 3

// Wear studies the retests of one group in one band. Where there is no slope the
// numbers are NaN, the verdict is TooFew and Reason says why. The error speaks of
// malformed input alone.
func Wear(d Data, s Settings) (Result, error) {
	r := empty(s)
	if err := d.check(s); err != nil {
		return r, err
	}
	if err := r.take(d); err != nil {
		return r, err
	}
	if len(r.Kept) == 0 || r.Method == NoMethod {
		r.Method = NoMethod
		return r, nil
	}
	r.counts(d, r.Kept)
	r.ClearPoints = r.Method == Plain || r.Method == ClearOf
	sample := sampleOf(d, r.Kept, r.Values, s.Common)
	r.target(d)
	r.ages(d, sample)
	r.Horizon = s.LastAge + 2*r.SpanYears
	if s.Details && r.Method != Likelihood {
		r.Strips = stripsOf(d, r.Kept, r.Values, s.Confidence)
	}
	if r.tooFew(sample) {
		return r, nil
	}
	if len(d.Reference.Codes) == d.Closings && d.OneReference(r.Kept) {
		r.Warnings = append(r.Warnings, stats.Warning{Code: "one-reference",
			Text: "all sessions rest on the same open readings: what these are off by is in the level and not in the slope, and the bounds of the mean do not hold it"})
	}
	r.Rank.Undefined = "values are modelled, not seen: ranks would need what the limits hide"
	if r.ClearPoints {
		r.Rank = rankOf(d, r.Kept, r.Values)
		r.Steps = stepsOf(d, r.Kept, r.Values, s.StepDB)
	}
	if r.Method == Likelihood {
		if err := r.byLikelihood(d, s); err != nil {
			return r, err
		}
		return r, nil
	}
	l, why := fitLine(sample)
	if why != "" {
		r.Reason, r.Method, r.NoSlope = why, NoMethod, true
		return r, nil
	}
	r.report(d, l, s)
	if d.Control != nil {
		var err error
		if r.Against, err = against(d, &r, s); err != nil {
			return r, err
		}
	}
	return r, nil
}

// check refuses what no later step could make sense of.
func (d Data) check(s Settings) error {
	switch {
	case len(d.AgeYears) != d.Closings, len(d.Years) != d.Closings, d.Control != nil && len(d.Control) != d.Closings:
		return fmt.Errorf("%w: %d closings, %d ages, %d times", ErrInput, d.Closings, len(d.AgeYears), len(d.Years))
	case !(s.Confidence >= 0.5 && s.Confidence < 1) || !(s.Coverage > 0 && s.Coverage < 1):
		return fmt.Errorf("%w: confidence %v, coverage %v", ErrInput, s.Confidence, s.Coverage)
	case len(d.FloorKnown) != len(d.DB), len(d.HeadroomDB) != len(d.DB), len(d.Limited) != len(d.DB),
		len(d.Closing) != len(d.DB), len(d.Point) != len(d.DB), len(d.TargetDB) != d.Points:
		return fmt.Errorf("%w: columns of different length", ErrInput)
	case math.IsNaN(s.AgeYears+s.LastAge) || math.IsInf(s.AgeYears+s.LastAge, 0):
		return fmt.Errorf("%w: age %v, at the last test %v", ErrInput, s.AgeYears, s.LastAge)
	}
	for i := range d.Closings {
		if t := d.AgeYears[i] + d.Years[i]; math.IsNaN(t) || math.IsInf(t, 0) {
			return fmt.Errorf("%w: closing %d has age %v at time %v", ErrInput, i, d.AgeYears[i], d.Years[i])
		}
	}
	return nil
}

// counts counts units among the closings kept.
func (r *Result) counts(d Data, kept []int32) {
	r.Boxes, r.Fittings, r.Sessions = subset(d.Box, kept, "box").Levels, subset(d.Fitting, kept, "fitting").Levels,
		subset(d.Session, kept, "session").Levels
	r.Closings = len(kept)
}

// target is the mean over the points used; of equal ones it is that one to the bit.
func (r *Result) target(d Data) {
	first, beyond := d.TargetDB[r.Points[0]], 0.0
	for _, p := range r.Points {
		beyond += d.TargetDB[p] - first
	}
	r.TargetDB = first + beyond/float64(len(r.Points))
}

// ages sets the range of ages tested, and whether the calendar tells more than the
// age: it does not where all strips began at one time.
func (r *Result) ages(d Data, s *sample) {
	r.FirstAge, r.LastAge, r.MeanAge, r.OneStart = math.Inf(1), math.Inf(-1), 0, true
	for i, a := range s.age {
		r.FirstAge, r.LastAge = math.Min(r.FirstAge, a), math.Max(r.LastAge, a)
		r.MeanAge += a / float64(len(s.age))
		start, first := d.Years[r.Kept[i]]-a, d.Years[r.Kept[0]]-s.age[0]
		if math.Abs(start-first) > 1e-6 {
			r.OneStart = false
		}
	}
	r.SpanYears = r.LastAge - r.FirstAge
}

// tooFew says why there is no slope, if so.
func (r *Result) tooFew(s *sample) bool {
	most := 0
	for _, n := range s.perFitting() {
		most = max(most, n)
	}
	switch {
	case s.sessions < leastSessions:
		r.Reason = fmt.Sprintf("%s: a slope with a bound needs %d, a year or so apart", counted(s.sessions, "session"), leastSessions)
	case most < 2:
		r.Reason = "no strip was tested in two sessions: ages differ only between strips"
	case !(r.SpanYears > 0):
		r.Reason = "all tests are of one age, so there is no slope"
	default:
		return false
	}
	r.Method, r.NoSlope = NoMethod, true
	return true
}

// report fills in what the model says.
func (r *Result) report(d Data, l *line, s Settings) {
	r.OwnSlopes, r.Dropped, r.LogLikelihood = l.own, l.fit.Dropped, l.fit.LogLikREML
	r.Warnings = append(r.Warnings, l.warnings...)
	r.Slope = l.slope(s.Confidence)
	_, undefinedDF := l.slopeDF()
	r.Warnings = append(r.Warnings, undefinedDF...)
	r.P = pValue(r.Slope)
	r.Intercept = l.at(0, s.Confidence)
	r.Components = l.components(s.Confidence, s.Details && !s.OmitSDBounds)
	r.Mean = l.at(s.AgeYears, s.Confidence)
	r.Cross = lineCrossing(r.Intercept.Value, r.Slope.Value, r.TargetDB, r.FirstAge, r.MeanAge, r.Horizon)
	lower, why := r.lowerOf(d, l, s)
	if why != "" {
		r.NowReason = why
	} else {
		r.follow(lower, s, fine)
	}
	r.Curve = r.along(l, lower, s)
	r.Verdict = verdictOf(r.Slope)
	r.warn(l)
	r.Explain = r.explain(l, s)
}

// follow sets where the lower bound stands and when it meets the target.
func (r *Result) follow(lower curve, s Settings, by walk) {
	r.Now, _ = lower(s.AgeYears)
	_, r.Margin = lower(s.LastAge)
	r.LowerCross = crossingOf(func(age float64) float64 { _, m := lower(age); return m }, r.MeanAge, r.Horizon, by)
}

func (l *line) slopeDF() (float64, []stats.Warning) {
	c, err := l.fit.Contrast([]float64{0, 1})
	if err != nil {
		return math.NaN(), nil
	}
	return l.fit.SafeDF(c.DF, l.sample.slopeUnits(l.dropped()))
}

func verdictOf(slope stats.Estimate) Verdict {
	switch {
	case math.IsNaN(slope.Lower), math.IsNaN(slope.Upper):
		return TooFew
	case slope.Upper < 0:
		return Wears
	case slope.Lower > 0:
		return Improves
	}
	return NoTrend
}

func counted(n int, word string) string {
	switch {
	case n == 1:
		return "1 " + word
	case word == "box":
		return fmt.Sprintf("%d boxes", n)
	}
	return fmt.Sprintf("%d %ss", n, word)
}
