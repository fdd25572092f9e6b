package plan

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"sealbound/stats"
	"sealbound/stats/dist"
	"sealbound/stats/interval"
	"sealbound/stats/mixed"
)

// A Past holds what past closings of one product showed in one band.
type Past struct {
	Values []float64 // band value of each closing, dB

	Box, Fitting, Session, Visit stats.Factor // a code for each value

	// AgeYears is the age of the strip at each value. With it a straight line over
	// age is taken out of the spread, so that wear between the tests does not pass
	// for a spread of sessions, and the mean is that at the age AtYears. Nil: no
	// line.
	AgeYears []float64
	AtYears  float64
}

// A Known holds the standard deviations, dB, that the user knows and the data are
// not asked for; nil where they are.
type Known struct{ Box, Fitting, Session, Visit, Closing *float64 }

// The levels of the spread, from the coarsest.
const (
	LevelBox     = "box"
	LevelFitting = "fitting"
	LevelSession = "session"
	LevelVisit   = "visit"
	LevelClosing = "closing"
)

var levelNames = []string{LevelBox, LevelFitting, LevelSession, LevelVisit, LevelClosing}

// Of returns the SD known of a level, nil where it is not.
func (k Known) Of(level string) *float64 {
	switch level {
	case LevelBox:
		return k.Box
	case LevelFitting:
		return k.Fitting
	case LevelSession:
		return k.Session
	case LevelVisit:
		return k.Visit
	case LevelClosing:
		return k.Closing
	}
	return nil
}

// Of returns the variance of a level, dB^2.
func (v Variances) Of(level string) float64 {
	if p := v.of(level); p != nil {
		return *p
	}
	return 0
}

// Add adds to the variance of a level, dB^2; other names are nothing.
func (v *Variances) Add(level string, variance float64) {
	if p := v.of(level); p != nil {
		*p += variance
	}
}

func (v *Variances) of(level string) *float64 {
	switch level {
	case LevelBox:
		return &v.Box
	case LevelFitting:
		return &v.Fitting
	case LevelSession:
		return &v.Session
	case LevelVisit:
		return &v.Visit
	case LevelClosing:
		return &v.Closing
	}
	return nil
}

// A Spread is what past closings, and what is known besides, say of the variances
// and the mean.
type Spread struct {
	Variances
	MeanDB, MeanSE float64 // at AtYears where a line was taken out
	Sources        []Source
	Unknown        []string // levels that the past did not repeat and nobody knows, from the coarsest
	SlopeDBPerYear float64  // of the line that was taken out; NaN where none was
	Reason         string   // why no line was taken out although ages were given; empty otherwise
}

// A Source is one estimated part of the spread.
type Source struct {
	Name         string // of the level; joined with + where the past cannot tell several apart
	SDDB         float64
	UpperSDDB    float64 // one-sided 0.95 upper bound; NaN where it is not defined
	Units        int     // groups that it was seen in; closings for the closing
	CountedAs    string  // the level whose variance it is taken for; empty: set aside
	LessKnownDB2 float64 // variance of joined levels that are known, taken off before it is counted
}

// sourceConfidence is that of UpperSDDB, one-sided.
const sourceConfidence = 0.95

// Estimate fits the random levels that the past tells apart by REML, as the
// judgement does, and takes each for the level that a layout knows.
//
// Levels that the past cannot tell apart count as the coarsest of them that is not
// known: repeating only a finer one would not be safe. Where the past has one box
// and no box SD is known, box and fitting are Unknown and what varied from strip to
// strip is set aside: the plan is for the strip that is in this box. Likewise
// session for one session. Unknown levels have variance 0.
//
// It returns ErrTooFew for fewer than two values and ErrDomain where nothing
// varies.
func (p Past) Estimate(known Known) (Spread, error) {
	s := Spread{SlopeDBPerYear: math.NaN(), MeanDB: math.NaN(), MeanSE: math.NaN()}
	for _, l := range levelNames {
		if sd := known.Of(l); sd != nil {
			if err := notNegative(l+" SD", *sd); err != nil {
				return s, err
			}
			*s.Variances.of(l) = *sd * *sd
		}
	}
	if err := p.check(); err != nil {
		return s, err
	}
	s.unknown(p, known)
	mean, sd, err := interval.MeanSD(p.Values)
	if err != nil {
		return s, err
	}
	s.MeanDB = mean
	if len(p.Values) < 2 {
		return s, fmt.Errorf("plan: %w: one closing shows no spread", interval.ErrTooFew)
	}
	if sd == 0 {
		return s, fmt.Errorf("plan: %w: all %d closings show the same value, so there is no spread to plan for", interval.ErrDomain, len(p.Values))
	}
	if err := s.fit(p, known); err != nil {
		return s, err
	}
	if s.Variances.check() != nil {
		return s, fmt.Errorf("plan: %w: nothing that a layout repeats varies", interval.ErrDomain)
	}
	return s, nil
}

func (p Past) factors() []stats.Factor {
	return []stats.Factor{p.Box, p.Fitting, p.Session, p.Visit}
}

func (p Past) check() error {
	if err := finite("value", p.Values...); err != nil {
		return err
	}
	for i, f := range p.factors() {
		if len(f.Codes) != len(p.Values) {
			return fmt.Errorf("plan: %w: %d codes of the factor %s for %d values", interval.ErrDomain, len(f.Codes), levelNames[i], len(p.Values))
		}
	}
	if p.AgeYears != nil && len(p.AgeYears) != len(p.Values) {
		return fmt.Errorf("plan: %w: %d ages for %d values", interval.ErrDomain, len(p.AgeYears), len(p.Values))
	}
	return finite("age", append(slices.Clone(p.AgeYears), p.AtYears)...)
}

// unknown lists the levels with a single unit whose SD nobody knows. Fittings of
// one box are set aside with it.
func (s *Spread) unknown(p Past, known Known) {
	oneBox := p.Box.Levels < 2 && known.Box == nil
	oneSession := p.Session.Levels < 2 && known.Session == nil
	if oneBox {
		s.Unknown = append(s.Unknown, LevelBox)
		if known.Fitting == nil {
			s.Unknown = append(s.Unknown, LevelFitting)
		}
	}
	if oneSession {
		s.Unknown = append(s.Unknown, LevelSession)
	}
	if oneBox && oneSession && known.Visit == nil {
		s.Unknown = append(s.Unknown, LevelVisit)
	}
}

// fit sets the sources, the variances and the mean.
func (s *Spread) fit(p Past, known Known) error {
	levels, err := mixed.Separate(p.factors(), len(p.Values))
	if err != nil {
		return err
	}
	if len(levels.Terms) == 0 { // one visit, or one closing each
		mean, sd, err := interval.MeanSD(p.Values)
		if err != nil {
			return err
		}
		n := len(p.Values)
		s.MeanDB, s.MeanSE = mean, sd/math.Sqrt(float64(n))
		upper := sd / math.Sqrt(dist.ChiSquareQuantile(1-sourceConfidence, float64(n-1))/float64(n-1))
		s.count(Source{Name: levels.Residual, SDDB: sd, UpperSDDB: finiteOrNaN(upper), Units: n}, known)
		return nil
	}
	fit, err := p.model(levels, s)
	if errors.Is(err, mixed.ErrNoResidual) {
		return s.fit(p.collapsed(levels), known)
	}
	if err != nil {
		return fmt.Errorf("plan: %w: no model fits the past closings: %w", interval.ErrDomain, err)
	}
	l := make([]float64, fit.P)
	l[0] = 1
	mean, err := fit.Contrast(l)
	if err != nil {
		return err
	}
	s.MeanDB, s.MeanSE = mean.Value, mean.SE
	bounds, err := fit.SDIntervals(2*sourceConfidence - 1)
	if err != nil {
		bounds = nil
	}
	for i, c := range fit.Components {
		source := Source{Name: c.Name, SDDB: c.SD, UpperSDDB: math.NaN(), Units: len(p.Values)}
		if i < len(bounds) {
			source.UpperSDDB = finiteOrNaN(bounds[i].Upper)
		}
		if i < len(levels.Terms) {
			source.Units = levels.Terms[i].Factor.Levels
		}
		s.count(source, known)
	}
	return nil
}

// model fits with the line over age, and without it where the data do not bear it.
func (p Past) model(levels mixed.Levels, s *Spread) (*mixed.Fit, error) {
	d := mixed.Design{Y: p.Values, Terms: levels.Terms, Residual: levels.Residual}
	if p.AgeYears == nil {
		return d.Fit(mixed.REML)
	}
	ones, age := make([]float64, len(p.Values)), make([]float64, len(p.Values))
	for i, a := range p.AgeYears {
		ones[i], age[i] = 1, a-p.AtYears
	}
	line := d
	line.X, line.XNames = [][]float64{ones, age}, []string{"mean", "age"}
	fit, err := line.Fit(mixed.REML)
	if err == nil {
		s.SlopeDBPerYear = fit.Beta[1]
		return fit, nil
	}
	if errors.Is(err, mixed.ErrNoResidual) {
		return nil, err
	}
	s.Reason = "a line over age cannot be told from the other levels"
	return d.Fit(mixed.REML)
}

// collapsed keeps one value of each group of the finest level: its closings read
// alike and say no more than one.
func (p Past) collapsed(levels mixed.Levels) Past {
	finest := levels.Terms[len(levels.Terms)-1].Factor
	seen := make([]bool, finest.Levels)
	var keep []int
	for i, c := range finest.Codes {
		if !seen[c] {
			seen[c] = true
			keep = append(keep, i)
		}
	}
	out := Past{AtYears: p.AtYears}
	for _, i := range keep {
		out.Values = append(out.Values, p.Values[i])
		if p.AgeYears != nil {
			out.AgeYears = append(out.AgeYears, p.AgeYears[i])
		}
	}
	recode := func(f stats.Factor) stats.Factor {
		code := make([]int32, f.Levels)
		for i := range code {
			code[i] = -1
		}
		g := stats.Factor{Name: f.Name}
		for _, i := range keep {
			c := f.Codes[i]
			if code[c] < 0 {
				code[c] = int32(g.Levels)
				g.Levels++
			}
			g.Codes = append(g.Codes, code[c])
		}
		return g
	}
	out.Box, out.Fitting, out.Session, out.Visit = recode(p.Box), recode(p.Fitting), recode(p.Session), recode(p.Visit)
	return out
}

// count takes a source for a level of the layout.
func (s *Spread) count(source Source, known Known) {
	variance := source.SDDB * source.SDDB
	for _, name := range strings.Split(source.Name, "+") {
		switch k := known.Of(name); {
		case k != nil:
			source.LessKnownDB2 += *k * *k
		case slices.Contains(s.Unknown, name), source.CountedAs != "":
		default:
			source.CountedAs = name
		}
	}
	if source.CountedAs != "" {
		*s.Variances.of(source.CountedAs) += math.Max(0, variance-source.LessKnownDB2)
	}
	s.Sources = append(s.Sources, source)
}

func finiteOrNaN(x float64) float64 {
	if math.IsInf(x, 0) {
		return math.NaN()
	}
	return x
}
