package censored

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"sealbound/stats"
)

// Closings are those of one group at a single frequency, or closing-level
// figures of which whole ones are limited.
type Closings struct {
	DB      []float64 // attenuation, dB
	Limited []bool    // the attenuation is above the limit; nil where none is
	LimitDB []float64 // headroom of each closing, looked at where limited; nil or NaN: DB is the limit
	Years   []float64 // age, for a slope; nil for none
	// Levels are the random levels above the closing, outermost first, at most
	// two; a unit of the second lies within one of the first (codes that recur in
	// several are told apart). A level whose units hold one unit each of what lies
	// below is not told apart from it, and joined with it; one with a single unit
	// is the same as the mean, and left out.
	Levels []stats.Factor
}

// A Component is the spread of one random level.
type Component struct {
	Source string  // the level's name, joined with + where levels could not be told apart
	SDDB   float64 // 0 where the likelihood is highest without it
	Units  int
}

// A NestedFit is the maximum-likelihood fit of
//
//	attenuation = mean + slope x years + levels + closing
//
// to closings some of which are limited, all random parts normal. Figures
// without an estimate are NaN. Standard deviations have the bias of maximum
// likelihood: with few units they are too small, which the bounds allow for.
type NestedFit struct {
	Status        Status
	N, Limited    int
	AtLeastDB     float64     // every attenuation is at least this
	MeanDB        float64     // at 0 years
	SlopeDB       float64     // per year; NaN without years
	Components    []Component // outermost first, closing last
	TotalSDDB     float64     // of one closing, over all levels
	LogLikelihood float64

	y, x           []float64 // in center and scale
	limited        []bool
	levels         []stats.Factor // told apart
	center, scale  float64
	xCenter, xUnit float64
	best           maximum
	free           []int
}

// Nested fits closings in up to two nested random levels. There is no estimate
// where every closing is limited, where all values clear of the limit agree and
// no limit is above them, where with levels there are fewer values clear of the
// limit than parameters, or where the limits leave the slope open. The error
// speaks of malformed input.
func Nested(c Closings) (*NestedFit, error) {
	nan := math.NaN()
	f := &NestedFit{N: len(c.DB), AtLeastDB: nan, MeanDB: nan, SlopeDB: nan, TotalSDDB: nan, LogLikelihood: nan}
	y, limited, err := c.check()
	if err != nil {
		return nil, err
	}
	if f.N == 0 {
		f.Status = NoReading
		return f, nil
	}
	order := c.order(y, limited)
	y, f.limited, c.Years = pick(y, order), pick(limited, order), pick(c.Years, order)
	levels := slices.Clone(c.Levels)
	for k := range levels {
		levels[k].Codes = pick(levels[k].Codes, order)
	}
	f.AtLeastDB = slices.Min(y)
	for _, l := range limited {
		if l {
			f.Limited++
		}
	}
	f.join(levels)
	f.x, f.xUnit = make([]float64, f.N), 1
	f.center, f.scale = unit(y)
	f.y = make([]float64, f.N)
	for i, v := range y {
		f.y[i] = (v - f.center) / f.scale
	}
	if len(c.Years) == 0 {
		f.free = []int{pMean, pLogSigma}
	} else {
		f.free = []int{pMean, pSlope, pLogSigma}
		f.xCenter, f.xUnit = unit(c.Years)
		for i, v := range c.Years {
			f.x[i] = (v - f.xCenter) / f.xUnit
		}
	}
	start, status := f.start()
	if f.Status = status; status != Estimated {
		return f, nil
	}
	if n := len(f.levels); n > 0 && f.N-f.Limited < f.fixed()+1+n {
		f.Status = FewSeen
		return f, nil
	}
	cl := f.clusters(0)
	if cl.hasOuter {
		f.free = append(f.free, pOuter)
	}
	if cl.hasInner {
		f.free = append(f.free, pInner)
	}
	m := cl.maximize(start, f.free, nil)
	if f.Status = m.status; f.Status != Estimated {
		return f, nil
	}
	f.best = m
	f.report()
	return f, nil
}

// check returns limits in place of limited values, and flags that are not nil.
func (c *Closings) check() (y []float64, limited []bool, err error) {
	n := len(c.DB)
	if c.Limited != nil && len(c.Limited) != n || c.LimitDB != nil && len(c.LimitDB) != n || c.Years != nil && len(c.Years) != n {
		return nil, nil, errLengths
	}
	if len(c.Levels) > 2 {
		return nil, nil, fmt.Errorf("censored: %d random levels, two at most", len(c.Levels))
	}
	for _, l := range c.Levels {
		if len(l.Codes) != n {
			return nil, nil, errLengths
		}
	}
	y, limited = slices.Clone(c.DB), make([]bool, n)
	copy(limited, c.Limited)
	for i := range y {
		if limited[i] && c.LimitDB != nil && !math.IsNaN(c.LimitDB[i]) {
			y[i] = c.LimitDB[i]
		}
	}
	if err := finite("attenuation", y); err != nil {
		return nil, nil, err
	}
	return y, limited, finite("age", c.Years)
}

// order sorts closings by level, age, and value, so that sums do not depend on
// the order of the rows.
func (c *Closings) order(y []float64, limited []bool) []int {
	order := make([]int, len(y))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(i, j int) int {
		for _, l := range c.Levels {
			if d := int(l.Codes[i]) - int(l.Codes[j]); d != 0 {
				return d
			}
		}
		if c.Years != nil && c.Years[i] != c.Years[j] {
			return cmp.Compare(c.Years[i], c.Years[j])
		}
		if limited[i] != limited[j] {
			if limited[j] {
				return -1
			}
			return 1
		}
		return cmp.Compare(y[i], y[j])
	})
	return order
}

// pick returns values in the given order; nil stays nil.
func pick[T any](values []T, order []int) []T {
	if values == nil {
		return nil
	}
	out := make([]T, len(order))
	for k, i := range order {
		out[k] = values[i]
	}
	return out
}

// join keeps the levels that can be told apart, each nested in the one before,
// and sets the components' names and numbers of units.
func (f *NestedFit) join(levels []stats.Factor) {
	parts := make([]stats.Factor, 0, len(levels)+1)
	within := make([]int32, f.N)
	units := 1
	for _, l := range levels {
		type pair struct{ outer, inner int32 }
		seen := map[pair]int32{}
		codes := make([]int32, f.N)
		for i := range codes {
			k := pair{within[i], l.Codes[i]}
			if _, ok := seen[k]; !ok {
				seen[k] = int32(len(seen))
			}
			codes[i] = seen[k]
		}
		if len(seen) == 1 {
			continue
		}
		if len(parts) > 0 && len(seen) == units {
			parts[len(parts)-1].Name += "+" + l.Name
			continue
		}
		units, within = len(seen), codes
		parts = append(parts, stats.Factor{Name: l.Name, Codes: codes, Levels: units})
	}
	closing := "closing"
	if n := len(parts); n > 0 && units == f.N {
		closing, parts = parts[n-1].Name+"+closing", parts[:n-1]
	}
	f.levels = parts
	for _, l := range parts {
		f.Components = append(f.Components, Component{l.Name, math.NaN(), l.Levels})
	}
	f.Components = append(f.Components, Component{closing, math.NaN(), f.N})
}

// clusters builds the likelihood with x counted from origin.
func (f *NestedFit) clusters(origin float64) *clusters {
	x := make([]float64, f.N)
	for i, v := range f.x {
		x[i] = v - origin
	}
	var outerOf, innerOf []int32
	switch len(f.levels) {
	case 1:
		innerOf = f.levels[0].Codes
	case 2:
		outerOf, innerOf = f.levels[0].Codes, f.levels[1].Codes
	}
	return newClusters(f.y, x, f.limited, outerOf, innerOf)
}

// start fits without levels, which also tells whether there is an estimate.
func (f *NestedFit) start() (params, Status) {
	var p params
	sigma := 0.0
	if f.slope() {
		l, err := FitLine(f.x, f.y, f.limited)
		if err != nil || l.Status != Estimated {
			return p, l.Status
		}
		p[pMean], p[pSlope], sigma = l.Intercept, l.Slope, l.Sigma
	} else {
		n, err := FitNormal(f.y, f.limited)
		if err != nil || n.Status != Estimated {
			return p, n.Status
		}
		p[pMean], sigma = n.Mean, n.Sigma
	}
	share := sigma / math.Sqrt(float64(1+len(f.levels)))
	p[pLogSigma] = math.Log(share)
	switch len(f.levels) {
	case 1:
		p[pInner] = share
	case 2:
		p[pOuter], p[pInner] = share, share
	}
	return p, Estimated
}

func (f *NestedFit) slope() bool { return slices.Contains(f.free, pSlope) }

// report turns the parameters into figures in dB and years.
func (f *NestedFit) report() {
	p := &f.best.at
	f.MeanDB = f.center + f.scale*(p[pMean]-p[pSlope]*f.xCenter/f.xUnit)
	if f.slope() {
		f.SlopeDB = p[pSlope] * f.scale / f.xUnit
	}
	sds := []float64{math.Exp(p[pLogSigma])}
	switch len(f.levels) {
	case 1:
		sds = []float64{math.Abs(p[pInner]), sds[0]}
	case 2:
		sds = []float64{math.Abs(p[pOuter]), math.Abs(p[pInner]), sds[0]}
	}
	total := 0.0
	for k, s := range sds {
		if s < 1e-5 {
			s = 0
		}
		f.Components[k].SDDB = f.scale * s
		total += s * s
	}
	f.TotalSDDB = f.scale * math.Sqrt(total)
	f.LogLikelihood = f.best.logLik - float64(f.N-f.Limited)*math.Log(f.scale)
}

// MeanUnits is the number of units that a bound of the mean rests on: those of
// the outermost level, or closings without one.
func (f *NestedFit) MeanUnits() int { return f.Components[0].Units }

// SlopeUnits is the number of units that a bound of the slope rests on: those
// of the innermost level, as a rule the runs or sessions that share an offset,
// or closings without a level.
func (f *NestedFit) SlopeUnits() int { return f.Components[max(0, len(f.Components)-2)].Units }

// Mean returns the mean at an age (0 without years), with one-sided bounds at
// which the profile likelihood has fallen by half of
//
//	units ln(1 + t^2/(units - p)), t at units - p degrees of freedom
//
// p counting mean and slope. With nothing limited and no level these are the
// bounds of Student's t; with one level and equally many closings in each unit
// they are those of the units' means. units below 1 stands for MeanUnits; with
// no more units than p there is no bound.
func (f *NestedFit) Mean(confidence, years float64, units int) stats.Estimate {
	if units < 1 && f.Status == Estimated {
		units = f.MeanUnits()
	}
	e := f.empty(confidence, units)
	if f.Status != Estimated || math.IsNaN(years) || math.IsInf(years, 0) {
		return e
	}
	origin := 0.0
	if f.slope() {
		origin = (years - f.xCenter) / f.xUnit
	}
	cl, top := f.clusters(origin), f.best
	top.at[pMean] += top.at[pSlope] * origin
	top.info = cl.information(&top.at, f.free)
	e.Value = f.center + f.scale*top.at[pMean]
	se, lower, upper := cl.bounds(top, f.free, pMean, tDrop(confidence, units, f.fixed()))
	e.SE, e.Lower, e.Upper = f.scale*se, f.center+f.scale*lower, f.center+f.scale*upper
	return e
}

// Slope returns the slope, dB per year, with bounds as those of Mean. units
// below 1 stands for SlopeUnits. Without years all is NaN.
func (f *NestedFit) Slope(confidence float64, units int) stats.Estimate {
	if units < 1 && f.Status == Estimated {
		units = f.SlopeUnits()
	}
	e := f.empty(confidence, units)
	if f.Status != Estimated || !f.slope() {
		return e
	}
	e.Value = f.SlopeDB
	se, lower, upper := f.clusters(0).bounds(f.best, f.free, pSlope, tDrop(confidence, units, f.fixed()))
	k := f.scale / f.xUnit
	e.SE, e.Lower, e.Upper = k*se, k*lower, k*upper
	return e
}

func (f *NestedFit) fixed() int {
	if f.slope() {
		return 2
	}
	return 1
}

func (f *NestedFit) empty(confidence float64, units int) stats.Estimate {
	nan := math.NaN()
	e := stats.Estimate{Value: nan, SE: nan, DF: nan, Lower: nan, Upper: nan, Confidence: confidence}
	if df := units - f.fixed(); df > 0 {
		e.DF = float64(df)
	}
	return e
}
