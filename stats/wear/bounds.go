package wear

import (
	"math"

	"sealbound/stats"
	"sealbound/stats/band"
	"sealbound/stats/dist"
	"sealbound/stats/interval"
	"sealbound/stats/judge"
)

// bounded fills in the bounds of Student's t.
func bounded(e stats.Estimate) stats.Estimate {
	if math.IsNaN(e.SE) || math.IsNaN(e.DF) {
		return e
	}
	half := dist.TQuantile(e.Confidence, e.DF) * e.SE
	e.Lower, e.Upper = e.Value-half, e.Value+half
	return e
}

// pValue is that of the two-sided test that the value is 0.
func pValue(e stats.Estimate) float64 {
	if math.IsNaN(e.Lower) {
		return math.NaN()
	}
	if !(e.SE > 0) {
		return math.NaN()
	}
	return math.Min(1, 2*dist.TSurvival(math.Abs(e.Value)/e.SE, e.DF))
}

// A curve is a lower bound over the age: the bound in dB and its margin above the
// target; NaN where it is not defined.
type curve func(age float64) (lower, margin float64)

// lowerOf returns the lower bound that the settings name as a function of the age,
// or in words why there is none.
func (r *Result) lowerOf(d Data, l *line, s Settings) (curve, string) {
	target := r.TargetDB
	switch s.On {
	case judge.OnNext, judge.OnCoverage:
		if r.Method == TwoStep {
			return nil, "estimated values of limited readings do not show the spread of single closings, so there is no such bound"
		}
	}
	switch s.On {
	case judge.OnNext:
		return func(age float64) (float64, float64) {
			v, df := l.variance(age, true)
			lower := l.at(age, s.Confidence).Value - dist.TQuantile(s.Confidence, df)*math.Sqrt(v)
			return lower, lower - target
		}, ""
	case judge.OnCoverage:
		return func(age float64) (float64, float64) {
			mean := l.at(age, s.Confidence)
			total, f := l.variance(age, false)
			k, err := interval.Factor(total/square(mean.SE), f, s.Coverage, s.Confidence)
			if err != nil {
				return math.NaN(), math.NaN()
			}
			lower := mean.Value - k*math.Sqrt(total)
			return lower, lower - target
		}, ""
	case judge.OnWeakest:
		return r.weakestOf(d, s)
	}
	return func(age float64) (float64, float64) {
		lower := l.at(age, s.Confidence).Lower
		return lower, lower - target
	}, ""
}

// weakestOf follows the point of the smallest margin, each point with a line of its
// own. The smallest of unadjusted bounds is a bound for the weakest point whatever
// the correlations; a point without a bound leaves none.
func (r *Result) weakestOf(d Data, s Settings) (curve, string) {
	if len(r.LimitedOut) > 0 || r.Method == TwoStep {
		return nil, "some points have limited readings, so their lines are not known, and nor is the weakest"
	}
	v, err := band.Values(d.readingsOf(d.tested, flags(r.Points, d.Points)).table)
	if err != nil || v.Reason != band.None {
		return nil, "no readings to follow point by point"
	}
	type point struct {
		line   *line
		target float64
	}
	var points []point
	for _, p := range v.ByPoint() {
		l, why := fitLine(sampleOf(d, p.Closing, p.DB, s.Common))
		if why != "" {
			return nil, "a point has no bound of its own: " + why
		}
		points = append(points, point{l, d.TargetDB[p.Point]})
	}
	return func(age float64) (lower, margin float64) {
		lower, margin = math.NaN(), math.NaN()
		for _, p := range points {
			low := p.line.at(age, s.Confidence).Lower
			if math.IsNaN(low) {
				return math.NaN(), math.NaN()
			}
			if m := low - p.target; !(m >= margin) {
				lower, margin = low, m
			}
		}
		return lower, margin
	}, ""
}

// A walk says in how many steps a crossing is looked for, and how closely (years) it is
// found.
type walk struct {
	steps int
	years float64
}

var (
	fine   = walk{64, 1e-9}
	coarse = walk{8, 1e-4} // where each step is a search of its own
)

// crossingOf finds the first age after the mean age of the tests at which the
// margin falls to zero. Degrees of freedom change with the age, so the margin is
// walked along in steps and the root closed in on.
func crossingOf(margin func(age float64) float64, meanAge, horizon float64, by walk) Crossing {
	none := Crossing{Beyond, math.NaN()}
	m := margin(meanAge)
	switch {
	case math.IsNaN(m):
		return Crossing{NotAsked, math.NaN()}
	case m <= 0:
		return Crossing{AlreadyBelow, math.NaN()}
	case !(horizon > meanAge):
		return none
	}
	before := meanAge
	for k := 1; k <= by.steps; k++ {
		at := meanAge + (horizon-meanAge)*float64(k)/float64(by.steps)
		if k == by.steps {
			at = horizon
		}
		v := margin(at)
		if math.IsNaN(v) {
			return none
		}
		if v <= 0 {
			age, err := dist.Root(margin, before, at, by.years)
			if err != nil {
				return none
			}
			return Crossing{Crosses, age}
		}
		before = at
	}
	return none
}

// lineCrossing is where the line itself meets the target. Above it before the first
// test's age it had crossed already.
func lineCrossing(intercept, slope, target, firstAge, meanAge, horizon float64) Crossing {
	at := (target - intercept) / slope
	switch below := intercept+slope*meanAge <= target; {
	case math.IsNaN(intercept + slope + target):
		return Crossing{NotAsked, math.NaN()}
	case below && !(slope < 0 && at >= firstAge):
		return Crossing{AlreadyBelow, math.NaN()}
	case below, slope < 0 && at <= horizon:
		return Crossing{Crosses, at}
	}
	return Crossing{Beyond, math.NaN()}
}
