package wear

import (
	"errors"
	"math"
	"slices"
	"strings"

	"sealbound/stats"
	"sealbound/stats/mixed"
)

// sample are values with their ages and groupings, in the order of the closings.
type sample struct {
	y, age                   []float64
	box, fitting, session    stats.Factor
	visit                    stats.Factor
	boxes, fittings, retests int // retests: fittings with three sessions or more
	sessions                 int
	common                   bool
}

// sampleOf renumbers the groupings of the closings kept.
func sampleOf(d Data, kept []int32, values []float64, common bool) *sample {
	s := &sample{y: values, common: common}
	for _, c := range kept {
		s.age = append(s.age, d.AgeYears[c])
	}
	s.box, s.fitting, s.session = subset(d.Box, kept, "box"), subset(d.Fitting, kept, "fitting"), subset(d.Session, kept, "session")
	s.count()
	return s
}

// count sets visits and numbers of units.
func (s *sample) count() {
	s.visit = product("visit", s.fitting, s.session)
	s.boxes, s.fittings, s.sessions = s.box.Levels, s.fitting.Levels, s.session.Levels
	s.retests = 0
	for _, n := range s.perFitting() {
		if n >= 3 {
			s.retests++
		}
	}
}

// perFitting is the number of sessions of each fitting.
func (s *sample) perFitting() []int {
	n := make([]int, s.fitting.Levels)
	seen := make([]bool, s.visit.Levels)
	for i, v := range s.visit.Codes {
		if !seen[v] {
			seen[v] = true
			n[s.fitting.Codes[i]]++
		}
	}
	return n
}

// subset renumbers the codes of the closings kept without gaps, in order of the
// codes. Its work goes with the number of closings kept, not with that of all codes: each
// strip asks for its own.
func subset(f stats.Factor, kept []int32, name string) stats.Factor {
	out := stats.Factor{Name: name, Codes: make([]int32, len(kept))}
	for i, c := range kept {
		out.Codes[i] = f.Codes[c]
	}
	used := slices.Clone(out.Codes)
	slices.Sort(used)
	used = slices.Compact(used)
	out.Levels = len(used)
	for i, c := range out.Codes {
		at, _ := slices.BinarySearch(used, c)
		out.Codes[i] = int32(at)
	}
	return out
}

// product numbers the pairs of levels that occur, in order of the pairs.
func product(name string, a, b stats.Factor) stats.Factor {
	pairs := make([]int64, len(a.Codes))
	for i := range pairs {
		pairs[i] = int64(a.Codes[i])*int64(b.Levels) + int64(b.Codes[i])
	}
	seen := slices.Clone(pairs)
	slices.Sort(seen)
	seen = slices.Compact(seen)
	out := stats.Factor{Name: name, Codes: make([]int32, len(pairs)), Levels: len(seen)}
	for i, p := range pairs {
		at, _ := slices.BinarySearch(seen, p)
		out.Codes[i] = int32(at)
	}
	return out
}

// slopeUnits and meanUnits are the units of the level at which slope and mean are
// replicated: degrees of freedom stay below their number. A component estimated as
// zero may only look like it: then the fewer of fittings and sessions count.
func (s *sample) slopeUnits(dropped bool) int {
	switch {
	case s.fittings == 1:
		return s.sessions - 1
	case dropped:
		return min(s.fittings, s.sessions-1)
	case s.common:
		return s.sessions - 1
	}
	return s.fittings
}

func (s *sample) meanUnits(dropped bool) int {
	units := s.boxes
	switch {
	case s.fittings == 1:
		return s.sessions - 1
	case s.boxes == 1:
		units = s.fittings
	}
	if dropped {
		units = min(units, s.fittings, s.sessions-1)
	}
	return units
}

// line is the fitted model.
type line struct {
	fit      *mixed.Fit
	sample   *sample
	levels   mixed.Levels
	centre   float64 // mean age of the values
	own      bool    // the fittings' own slopes are in the model
	paired   *line   // the same with level and slope of a fitting correlated; nil where that is not to be had
	pairedAt int     // of such a fit: the term of the pair
	warnings []stats.Warning
}

// fitLine fits the model to the values, or returns in words why it cannot.
func fitLine(s *sample) (*line, string) {
	l, err := s.fit(!s.common && s.retests >= 2)
	if errors.Is(err, mixed.ErrNoResidual) {
		l, err = s.means().fit(!s.common && s.retests >= 2) // closings of a visit agree: they are one value
	}
	switch {
	case err == nil:
		return l, ""
	case errors.Is(err, mixed.ErrConstant):
		return nil, "the values show no spread about a straight line (s = 0), so no bound can be given: figures this alike were rounded or copied"
	case errors.Is(err, mixed.ErrRank):
		return nil, "all values are of one age, so there is no slope"
	}
	return nil, "no model fits these closings: " + err.Error()
}

// fit fits the model with or without the fittings' own slopes. Slopes that the data
// do not identify, or that keep the search from ending, are left out with a warning.
func (s *sample) fit(own bool) (*line, error) {
	n := len(s.y)
	levels, err := mixed.Separate([]stats.Factor{s.box, s.fitting, s.session, s.visit}, n)
	if err != nil {
		return nil, err
	}
	l := &line{sample: s, levels: levels, own: own, warnings: levels.Warnings}
	for _, a := range s.age {
		l.centre += a / float64(n)
	}
	ones, centred := make([]float64, n), make([]float64, n)
	for i, a := range s.age {
		ones[i], centred[i] = 1, a-l.centre
	}
	design := mixed.Design{Y: s.y, X: [][]float64{ones, centred}, XNames: []string{"mean", "age"},
		Terms: levels.Terms, Residual: levels.Residual}
	if own {
		design.Terms = append(append([]mixed.Term(nil), levels.Terms...), mixed.Term{Factor: s.fitting, Slope: centred})
	}
	l.fit, err = design.Fit(mixed.REML)
	if own && (errors.Is(err, mixed.ErrAliased) || errors.Is(err, mixed.ErrNotConverged)) {
		plain, err := s.fit(false)
		if err != nil {
			return nil, err
		}
		plain.warnings = append(plain.warnings, stats.Warning{Code: "own-slopes-left-out",
			Text: "the data do not tell how the slopes of the fittings differ: they are taken as one, and the bounds of the slope may be too narrow"})
		return plain, nil
	}
	if err != nil {
		return nil, err
	}
	l.warnings = append(l.warnings, l.fit.Warnings...)
	if own {
		l.paired = l.pair(design)
	}
	return l, nil
}

// pair fits the model with level and slope of a fitting correlated. Strips that begin
// alike and wear each at its own rate are correlated at the mean age, and the mean away
// from that age is then known less well than the model without the correlation says.
// It returns nil where one of the two does not vary, or the fit fails.
func (l *line) pair(design mixed.Design) *line {
	at := slices.IndexFunc(l.levels.Terms, func(t mixed.Term) bool {
		return t.Factor.Levels == l.sample.fitting.Levels && strings.Contains("+"+t.Factor.Name+"+", "+fitting+")
	})
	slope := l.fit.Components[len(l.fit.Components)-2]
	if at < 0 || slope.Dropped || l.fit.Components[at].Dropped {
		return nil
	}
	design.Terms = slices.Clone(l.levels.Terms)
	design.Terms[at] = mixed.Term{Factor: design.Terms[at].Factor, Slope: design.X[1], Intercept: true, Correlated: true}
	fit, err := design.Fit(mixed.REML)
	if err != nil || fit.Covariance[at] == 0 {
		return nil
	}
	return &line{fit: fit, sample: l.sample, centre: l.centre, pairedAt: at}
}

// means replaces the closings of each visit by their mean.
func (s *sample) means() *sample {
	out := &sample{common: s.common}
	size := make([]float64, s.visit.Levels)
	first := make([]int, s.visit.Levels)
	out.y, out.age = make([]float64, s.visit.Levels), make([]float64, s.visit.Levels)
	for i := len(s.y) - 1; i >= 0; i-- {
		size[s.visit.Codes[i]]++
		first[s.visit.Codes[i]] = i
	}
	for i, v := range s.visit.Codes {
		out.y[v] += s.y[i] / size[v]
		out.age[v] += s.age[i] / size[v]
	}
	pick := func(f stats.Factor) stats.Factor {
		g := stats.Factor{Name: f.Name, Levels: f.Levels, Codes: make([]int32, len(first))}
		for v, i := range first {
			g.Codes[v] = f.Codes[i]
		}
		return g
	}
	out.box, out.fitting, out.session = pick(s.box), pick(s.fitting), pick(s.session)
	out.count()
	return out
}

// dropped reports whether a component was estimated as zero.
func (l *line) dropped() bool { return len(l.fit.Dropped) > 0 }

// contrast is the estimate of a combination of mean (at the centre) and slope,
// with its bounds; units limit the degrees of freedom.
func (l *line) contrast(mean, slope float64, units int, confidence float64) stats.Estimate {
	e := undefined(confidence)
	c, err := l.fit.Contrast([]float64{mean, slope})
	if err != nil {
		return e
	}
	e.Value, e.SE = c.Value, c.SE
	e.DF, _ = l.fit.SafeDF(c.DF, units)
	return bounded(e)
}

// slope is the common slope, dB per year.
func (l *line) slope(confidence float64) stats.Estimate {
	return l.contrast(0, 1, l.sample.slopeUnits(l.dropped()), confidence)
}

// at is the mean of the line at an age, with the wider bounds of the fits without and
// with a correlation of level and slope.
func (l *line) at(age, confidence float64) stats.Estimate {
	e := l.contrast(1, age-l.centre, l.sample.meanUnits(l.dropped()), confidence)
	if l.paired == nil {
		return e
	}
	c, err := l.paired.fit.Contrast([]float64{1, age - l.centre})
	if err != nil {
		return e
	}
	wider := e
	wider.SE = c.SE
	if !math.IsNaN(c.DF) { // at a correlation of -1 or 1 there are none of its own
		wider.DF = mixed.ClampDF(c.DF, l.sample.meanUnits(l.dropped() || l.paired.dropped()))
	}
	if wider = bounded(wider); wider.Lower < e.Lower {
		return wider
	}
	return e
}

// variance is that of one closing at an age about the line (of a new box where
// boxes are pooled), with that of the line if mean is wanted, and its degrees of
// freedom.
func (l *line) variance(age float64, mean bool) (variance, df float64) {
	w := make([]float64, len(l.fit.Components))
	for i := range w {
		w[i] = 1
	}
	if l.own {
		w[len(w)-2] = square(age - l.centre) // the slopes stand before the residual
	}
	var c []float64
	if mean {
		c = []float64{1, age - l.centre}
	}
	variance, df, _ = l.fit.VarianceOf(w, c)
	df, _ = l.fit.SafeDF(df, l.sample.meanUnits(l.dropped()))
	if l.paired != nil {
		variance = math.Max(variance, l.paired.pairVariance(age, mean))
	}
	return variance, df
}

// pairVariance is the variance of one closing by the fit with the correlation: that of a
// fitting at the age is var(level) + 2 cov u + var(slope) u^2, u the age from the centre.
func (l *line) pairVariance(age float64, mean bool) float64 {
	u, v := age-l.centre, 0.0
	for i, c := range l.fit.Components {
		if i == l.pairedAt+1 { // the slope stands behind the level
			v += u*u*c.Variance + 2*u*l.fit.Covariance[l.pairedAt]
			continue
		}
		v += c.Variance
	}
	if mean {
		if c, err := l.fit.Contrast([]float64{1, u}); err == nil {
			v += square(c.SE)
		}
	}
	return v
}

// components lists the variances with their intervals, the total over levels other
// than slopes as the whole of the shares.
func (l *line) components(confidence float64, bounds bool) []Component {
	var out []Component
	total := 0.0
	last := len(l.fit.Components) - 1
	var intervals []mixed.Interval
	if bounds {
		if found, err := l.fit.SDIntervals(math.Max(2*confidence-1, 1e-9)); err == nil { // one-sided each at the confidence
			intervals = found
		}
	}
	for i, c := range l.fit.Components {
		k := Component{Source: c.Name, Variance: c.Variance, SD: c.SD, Dropped: c.Dropped,
			SDLower: math.NaN(), SDUpper: math.NaN(), Share: math.NaN(), OwnSlopes: l.own && i == last-1}
		if i < len(intervals) {
			k.SDLower, k.SDUpper = intervals[i].Lower, intervals[i].Upper
		}
		if !k.OwnSlopes {
			total += c.Variance
		}
		out = append(out, k)
	}
	for i := range out {
		if !out[i].OwnSlopes && total > 0 {
			out[i].Share = out[i].Variance / total
		}
	}
	return out
}

func square(x float64) float64 { return x * x }
