package wear

import (
	"math"
	"slices"

	"sealbound/stats"
	"sealbound/stats/band"
	"sealbound/stats/mixed"
)

// against compares the slope with that of the control boxes, which are never opened:
// what they show is the drift of the instruments. Both are fitted together, so what a
// session shares cancels:
//
//	band value = intercept + slope x age + [control] (offset + drift x age) + levels
//
// over the points that the slope rests on and the controls were measured at too, none
// of them limited.
func against(d Data, r *Result, s Settings) (*Control, error) {
	c := &Control{Slope: math.NaN(), Difference: undefined(s.Confidence), P: math.NaN()}
	keep := make([]bool, d.Closings)
	for _, k := range r.Kept {
		keep[k] = true
	}
	controls := 0
	for k, on := range d.Control {
		keep[k] = keep[k] || on
		if on {
			controls++
		}
	}
	if controls == 0 {
		return nil, nil
	}
	points := flags(r.Points, d.Points)
	for i, p := range d.Point {
		if d.Limited[i] && keep[d.Closing[i]] {
			points[p] = false
		}
	}
	v, err := band.Values(d.readingsOf(func(k int32) bool { return keep[k] }, points).table)
	if err != nil {
		return nil, err
	}
	if v.Reason != band.None {
		c.Reason = "no point without limited readings was measured in the control box as well: " + string(v.Reason)
		return c, nil
	}
	c.Points = len(v.Used)
	var kept, tests, shut []int32
	var values []float64
	for _, k := range v.Values {
		kept, values = append(kept, k.Closing), append(values, k.DB)
		if d.Control[k.Closing] {
			shut = append(shut, k.Closing)
		} else {
			tests = append(tests, k.Closing)
		}
	}
	if len(tests) == 0 || len(shut) == 0 {
		c.Reason = "too few closings of the control box at the points of the band"
		return c, nil
	}
	c.Boxes = subset(d.Box, shut, "box").Levels
	if shared := sharedSessions(d, tests, shut); shared < leastSessions {
		c.Reason = "the control box shares " + counted(shared, "session") + " with the tests; three are needed"
		return c, nil
	}
	c.difference(d, kept, values, tests, s)
	return c, nil
}

func sharedSessions(d Data, a, b []int32) (n int) {
	in := make([]int, d.Session.Levels)
	for _, k := range a {
		in[d.Session.Codes[k]] |= 1
	}
	for _, k := range b {
		in[d.Session.Codes[k]] |= 2
	}
	for _, f := range in {
		if f == 3 {
			n++
		}
	}
	return n
}

// difference fits tests and controls together.
func (c *Control) difference(d Data, kept []int32, values []float64, tests []int32, s Settings) {
	all, tested := sampleOf(d, kept, values, s.Common), sampleOf(d, tests, make([]float64, len(tests)), s.Common)
	n := len(kept)
	ones, age, control, drift, own := make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n)
	mean, meanShut, shut := 0.0, 0.0, 0.0
	for i, k := range kept {
		if d.Control[k] {
			meanShut, shut = meanShut+all.age[i], shut+1
		} else {
			mean += all.age[i] / float64(len(tests))
		}
	}
	for i, k := range kept {
		ones[i] = 1
		if d.Control[k] {
			control[i], drift[i] = 1, all.age[i]-meanShut/shut
		} else {
			age[i], own[i] = all.age[i]-mean, all.age[i]-mean
		}
	}
	var factors []stats.Factor
	if tested.boxes > 1 || c.Boxes > 1 { // of one test box and one control the offset tells all
		factors = append(factors, all.box)
	}
	if tested.fittings > 1 || all.fittings > tested.fittings+1 {
		factors = append(factors, all.fitting)
	}
	levels, err := mixed.Separate(append(factors, all.session, all.visit), n)
	if err != nil {
		c.Reason = err.Error()
		return
	}
	design := mixed.Design{Y: values, X: [][]float64{ones, age, control, drift}, XNames: []string{"mean", "age", "control", "drift"},
		Terms: levels.Terms, Residual: levels.Residual}
	withOwn := design
	withOwn.Terms = append(slices.Clone(levels.Terms), mixed.Term{Factor: all.fitting, Slope: own})
	var fit *mixed.Fit
	if !s.Common && tested.retests >= 2 {
		fit, err = withOwn.Fit(mixed.REML)
	}
	if fit == nil {
		fit, err = design.Fit(mixed.REML)
	}
	if err != nil {
		c.Reason = "no model fits tests and control together: " + err.Error()
		return
	}
	k, err := fit.Contrast([]float64{0, 1, 0, -1})
	if err != nil {
		c.Reason = err.Error()
		return
	}
	c.Slope = fit.Beta[3]
	c.Difference.Value, c.Difference.SE = k.Value, k.SE
	units := tested.slopeUnits(len(fit.Dropped) > 0)
	c.Difference.DF, _ = fit.SafeDF(k.DF, min(units, max(2, all.sessions-1)))
	c.Difference = bounded(c.Difference)
	c.P = pValue(c.Difference)
}
