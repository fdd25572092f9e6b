package judge

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"sealbound/stats"
	"sealbound/stats/dist"
	"sealbound/stats/interval"
	"sealbound/stats/mixed"
)

// A Mean is the mean of band values over everything that was replicated, with
// its standard uncertainty and one-sided bounds, dB.
type Mean struct {
	stats.Estimate
	SD       float64 // total SD of one closing's band value over the levels present
	Method   string  // "t", "REML", "sign" or empty where no bound exists
	Levels   []string
	Units    int     // of the level at which the mean is replicated
	UnitName string  // of that level
	Attained float64 // confidence of the bound; for "sign" that of 1 - 0.5^units
	Dropped  []string
	Warnings []stats.Warning
	Reason   string

	fit       *mixed.Fit // nil for one level, and where even stands
	even      mixed.BalancedFit
	isEven    bool
	levels    mixed.Levels
	closings  int
	plainSE   float64 // without the shared reference
	plainDF   float64
	reference Source
}

// groups are the factors of the closings in hand, from the top.
type groups struct{ box, fitting, session, visit stats.Factor }

func (g groups) all() []stats.Factor { return []stats.Factor{g.box, g.fitting, g.session, g.visit} }

// replicate returns the topmost level with more than one unit, boxes before
// sessions; closings where nothing above them is repeated.
func (g groups) replicate(n int) (units int, name string) {
	for _, f := range g.all() {
		if f.Levels > 1 {
			return f.Levels, f.Name
		}
	}
	return n, "closing"
}

// mean estimates the mean of values (dB, one per closing) and its bounds.
//
//	one level:      mean -+ t(confidence, n-1) s/sqrt(n)
//	several levels: mean -+ t(confidence, df) se, by REML; df by Satterthwaite from
//	                the observed information, clamped to [1, units-1]
//
// oneSided says that every reading of every closing is limited; then, and where
// all values are equal, only the sign bound remains: all units show at least the
// smallest figure, so their median does, with confidence 1 - 0.5^units. ref is
// the uncertainty of a reference that all closings share; its UDB is 0 for none.
func (f *frame) mean(values []float64, oneSided bool, confidence float64, ref Source) Mean {
	n := f.n
	m := Mean{Estimate: stats.Estimate{Value: math.NaN(), SE: math.NaN(), DF: math.NaN(),
		Lower: math.NaN(), Upper: math.NaN(), Confidence: confidence},
		SD: math.NaN(), Attained: math.NaN(), plainSE: math.NaN(), plainDF: math.NaN(), reference: ref}
	if n == 0 {
		m.Reason = "no closing has a value"
		return m
	}
	m.Units, m.UnitName = f.units, f.unitName
	switch {
	case f.err != nil:
		m.Reason = f.err.Error()
		return m
	case len(values) != n:
		m.Reason = fmt.Sprintf("%d values for %d closings", len(values), n)
		return m
	}
	m.levels, m.closings = f.levels, n
	m.Levels, m.Warnings = slices.Clip(f.names), slices.Clip(f.levels.Warnings)
	if oneSided || !f.closedForm(&m, values) {
		if other, ok := f.fitted(&m, values, oneSided); !ok {
			return other
		}
	}
	m.SE, m.DF = m.plainSE, m.plainDF
	if ref.UDB > 0 {
		m.SE, m.DF = combine(interval.Component{U: m.plainSE, DF: m.plainDF}, ref.component())
	}
	half := dist.TQuantile(confidence, m.DF) * m.SE
	if m.boldReference() {
		half = math.Max(half, dist.TQuantile(confidence, m.plainDF)*m.plainSE)
	}
	m.Lower, m.Upper, m.Attained = m.Value-half, m.Value+half, confidence
	return m
}

// fitted sets value, SD, plain SE and df of m where there is no closed form. ok is false
// where there is no standard error; the result is then whole as it is.
func (f *frame) fitted(m *Mean, values []float64, oneSided bool) (other Mean, ok bool) {
	mean, sd, err := interval.MeanSD(values)
	if err != nil {
		m.Reason = err.Error()
		return *m, false
	}
	m.Value = mean
	lowest, highest := slices.Min(values), slices.Max(values)
	equal := lowest == highest
	switch {
	case f.n == 1:
		m.Reason = "one closing shows no spread, so it gives no bound; close and read again, five times or more"
		return *m, false
	case oneSided, equal:
		m.sign(lowest, highest, oneSided, equal)
		return *m, false
	case len(m.levels.Terms) == 0:
		m.Method, m.SD = "t", sd
		m.plainSE, m.plainDF = sd/math.Sqrt(float64(f.n)), float64(f.n-1)
		return *m, true
	}
	err = m.model(values)
	if errors.Is(err, mixed.ErrNoResidual) {
		return collapsed(values, f, m.Confidence, m.reference), false
	}
	if err != nil {
		m.Reason = "no model fits these closings: " + err.Error()
		return *m, false
	}
	return *m, true
}

// boldReference says that the combined bound may lie above the one without the
// reference and too high: with one degree of freedom the gain in degrees of freedom
// outweighs the added variance, and the combined bound holds in 0.91 of campaigns of
// two closings at nominal 0.95. From two degrees of freedom on it holds in 0.94.
func (m Mean) boldReference() bool { return m.reference.UDB > 0 && m.plainDF < 2 }

// closedForm is model where one level divides the closings evenly; false where that
// leaves the values to model.
func (f *frame) closedForm(m *Mean, values []float64) bool {
	if f.balanced == nil {
		return false
	}
	fit, ok := f.balanced.Fit(values)
	if !ok {
		return false
	}
	m.even, m.isEven, m.Method, m.Dropped = fit, true, "REML", fit.Dropped()
	m.Warnings = append(m.Warnings, fit.Warnings()...)
	c := fit.Contrast()
	m.Value, m.plainSE = c.Value, c.SE
	total, _ := fit.Total(false)
	m.SD = math.Sqrt(total)
	m.plainDF = mixed.ClampDF(c.DF, m.Units)
	return true
}

// components are the variances of a model; none without one.
func (m Mean) components() []mixed.Component {
	switch {
	case m.isEven:
		return m.even.Components()
	case m.fit != nil:
		return m.fit.Components
	}
	return nil
}

// model fits the mixed model and sets value, SD, plain SE and df.
func (m *Mean) model(values []float64) error {
	design := mixed.Design{Y: values, Terms: m.levels.Terms, Residual: m.levels.Residual}
	fit, err := design.Fit(mixed.REML)
	if err != nil {
		return err
	}
	m.fit, m.Method, m.Dropped = fit, "REML", fit.Dropped
	m.Warnings = append(m.Warnings, fit.Warnings...)
	c, err := fit.Contrast([]float64{1})
	if err != nil {
		return err
	}
	m.Value, m.plainSE = c.Value, c.SE
	var total float64
	for _, k := range fit.Components {
		total += k.Variance
	}
	m.SD = math.Sqrt(total)
	df, warnings := fit.SafeDF(c.DF, m.Units)
	m.plainDF, m.Warnings = df, append(m.Warnings, warnings...)
	return nil
}

// alike reports whether all values of each group of f are equal.
func alike(values []float64, f stats.Factor) bool {
	seen := make([]float64, f.Levels)
	for i := range seen {
		seen[i] = math.NaN()
	}
	for i, c := range f.Codes {
		if !math.IsNaN(seen[c]) && seen[c] != values[i] {
			return false
		}
		seen[c] = values[i]
	}
	return true
}

// collapsed judges groups whose closings all read alike (coarse rounding, say): one
// value for each group of the finest level, since its closings say nothing more.
func collapsed(values []float64, f *frame, confidence float64, ref Source) Mean {
	finest := stats.Factor{}
	for _, t := range f.levels.Terms { // the finest whose groups do read alike; crossed ones may not
		if t.Factor.Levels > finest.Levels && alike(values, t.Factor) {
			finest = t.Factor
		}
	}
	if finest.Levels == 0 {
		return Mean{Estimate: stats.Estimate{Value: plainMean(values), SE: math.NaN(), DF: math.NaN(), Lower: math.NaN(), Upper: math.NaN(), Confidence: confidence},
			SD: math.NaN(), Attained: math.NaN(), plainSE: math.NaN(), plainDF: math.NaN(), levels: f.levels, reference: ref,
			Reason: "the closings show no spread of their own beside boxes and sessions; read with more digits"}
	}
	first := make([]int32, finest.Levels) // a closing of each group
	for i := range first {
		first[i] = -1
	}
	for i, c := range finest.Codes {
		if first[c] < 0 {
			first[c] = int32(i)
		}
	}
	var one []float64
	for _, i := range first {
		one = append(one, values[i])
	}
	m := newFrame(groups{
		subset(f.g.box, first, "box"), subset(f.g.fitting, first, "fitting"),
		subset(f.g.session, first, "session"), subset(f.g.visit, first, "visit"),
	}, len(one)).mean(one, false, confidence, ref)
	m.Warnings = append(m.Warnings, stats.Warning{Code: "closings-alike",
		Text: "the closings of each group of " + finest.Name + " read alike, so each group counts once"})
	return m
}

// sign sets the bound that needs no spread.
func (m *Mean) sign(lowest, highest float64, oneSided, equal bool) {
	m.Method = "sign"
	if equal {
		m.SD = 0
	}
	m.Attained = interval.SignConfidence(m.Units)
	need, err := interval.SignCount(m.Confidence)
	if err != nil {
		m.Reason = err.Error()
		return
	}
	why := "every reading is limited by the receiver's floor"
	if equal && !oneSided {
		why = "all values are equal (s = 0)"
	}
	if m.Units < need {
		m.Reason = fmt.Sprintf("%s: with %d %s the median shows at least %.1f dB with confidence %.3g only; %d are needed for %.3g",
			why, m.Units, plural(m.UnitName, m.Units), lowest, m.Attained, need, m.Confidence)
		return
	}
	m.Lower = lowest
	if !oneSided {
		m.Upper = highest
	}
	m.Reason = fmt.Sprintf("%s: no model; all %d %s show at least %.1f dB, so the median does, with confidence %.4g",
		why, m.Units, plural(m.UnitName, m.Units), lowest, m.Attained)
}

// pValue is that of the one-sided test that the mean (the median, for the sign
// bound) lies above target; NaN without a bound.
func (m Mean) pValue(target float64) float64 {
	switch {
	case math.IsNaN(m.Lower):
		return math.NaN()
	case m.Method != "sign":
		return dist.TSurvival((m.Value-target)/m.SE, m.DF)
	case m.Lower >= target:
		return 1 - m.Attained
	}
	return 1
}

func plural(word string, n int) string {
	switch {
	case n == 1:
		return word
	case word == "box":
		return "boxes"
	}
	return word + "s"
}
