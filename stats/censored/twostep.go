package censored

import (
	"fmt"
	"math"
	"slices"

	"sealbound/stats/band"
)

// A Value is the estimated band value of one closing.
type Value struct {
	Closing int32
	DB      float64 // closing effect plus the mean of the point effects over the points used
	Points  int     // points used that it was read at
	Limited int     // of these, readings at the limit
}

// A Lost closing has no estimate, and why.
type Lost struct {
	Closing int32
	Status  Status // AllLimited, NoSpread, Unlinked or NotConverged
}

// A PointOut is a point that left the band because every closing of a fitting
// was at the limit there, or, without fittings, because only closings without
// an estimate have it.
type PointOut struct {
	Point    int32
	Fittings []int32
}

// A Fitting is the fit within one fitting.
type Fitting struct {
	Fitting       int32
	Status        Status
	SigmaDB       float64 // spread of a reading about closing and point; NaN without a fit, or where nothing is limited
	Seen, Limited int     // readings
}

// A TwoStepResult holds estimated band values for a mixed model to work on.
type TwoStepResult struct {
	Status      Status            // Estimated if there is any value; with band's reason, NotFitted
	Reason      band.Reason       // why points and closings could not be chosen
	Values      []Value           // by code of the closing
	Lost        []Lost            // closings without an estimate, by code
	Fittings    []Fitting         // by code
	Used        []int32           // points used
	LimitedOut  []PointOut        // points limited throughout a fitting, by code
	PointsOut   []band.PointOut   // points that a fitting lacks
	ClosingsOut []band.ClosingOut // closings with too few points, by code
	Split       *band.Split       // with the reason Disconnected
}

// SlopeHolds reports whether a slope may be taken from the values: every
// closing has one. A closing whose readings are all at the limit is among the
// best, and most such closings are early ones; a slope over the others hides
// wear. A mean over the others is only the lower for it.
func (r *TwoStepResult) SlopeHolds() bool { return r.Status == Estimated && len(r.Lost) == 0 }

// TwoStep estimates the band values of closings some of whose readings are
// limited: the first of two steps, the second being the mixed model and the
// bounds of Student's t that band values get anyway. Within each fitting
//
//	attenuation = closing effect + point effect + sigma e, e standard normal
//
// is fitted by maximum likelihood to readings known exactly or known to be above
// their limit, closing and point effects fixed, one sigma. That is where the EM
// algorithm ends which replaces each limited reading by its conditional mean, and
// its square by its conditional second moment. Then sigma is raised by
// sqrt(N/(N-p)) for the p effects fitted to N readings, and the effects are those
// of highest likelihood given that. A fitting without a limited reading keeps its
// plain band values.
//
// limitDB holds the limit of each reading of t, the headroom in dB; it is looked
// at only where the reading is limited. Where it is NaN, and everywhere if
// limitDB is nil, the figure itself serves, as with data that state "above 72.5".
//
// Points and closings are chosen as band.Values does. A closing limited at every
// point has no estimate; then a point at which every closing left of a fitting
// is limited leaves the band, in all fittings; and again until nothing changes.
//
// The values are estimates with errors of different size, and closings of a
// fitting share those of the point effects. The second step sees both only in
// the scatter of the values. What that comes to is in testdata/coverage.md: the
// lower bound of a mean holds, being on the safe side where much is limited; its
// upper bound does not hold then and says nothing. The bounds of a slope hold
// where SlopeHolds, unless most campaigns of the kind would lose a closing.
func TwoStep(t band.Table, limitDB []float64) (*TwoStepResult, error) {
	if limitDB != nil && len(limitDB) != len(t.DB) {
		return nil, fmt.Errorf("censored: %d readings, %d limits", len(t.DB), len(limitDB))
	}
	w := work{in: t, lost: map[int32]Status{}, out: map[int32][]int32{}}
	if t.Limited != nil && limitDB != nil && len(t.Limited) == len(t.DB) {
		w.in.DB = slices.Clone(t.DB)
		for i, l := range t.Limited {
			if l && !math.IsNaN(limitDB[i]) {
				w.in.DB[i] = limitDB[i]
			}
		}
	}
	for {
		b, err := band.Values(w.in)
		if err != nil {
			return nil, err
		}
		points := b.ByPoint()
		if b.Reason == band.None && w.drop(b, points) {
			continue
		}
		r := &TwoStepResult{Reason: b.Reason, Used: b.Used, PointsOut: b.PointsOut, Split: b.Split}
		if b.Reason == band.None {
			w.estimate(b, points, r)
		}
		w.account(t, b, r)
		return r, nil
	}
}

// work is the state of choosing points and closings.
type work struct {
	in   band.Table        // limits in place of limited figures; readings dropped are gone
	lost map[int32]Status  // by closing
	out  map[int32][]int32 // fittings limited throughout, by point
}

// drop takes out the closings limited at every point, or if there are none, the
// points at which all closings of a fitting are. It reports whether any went.
func (w *work) drop(b *band.Result, points []band.PointReadings) bool {
	for _, v := range b.Values {
		if v.Limited == v.Points {
			w.lost[v.Closing] = AllLimited
		}
	}
	if w.filter() {
		return true
	}
	for _, p := range points {
		clear := make([]bool, w.in.Fitting.Levels) // seen there in some closing
		for k, c := range p.Closing {
			f := w.in.Fitting.Codes[c]
			clear[f] = clear[f] || !p.Limited[k]
		}
		for _, c := range p.Closing {
			if f := w.in.Fitting.Codes[c]; !clear[f] {
				w.out[p.Point] = append(w.out[p.Point], f)
				clear[f] = true // named once
			}
		}
	}
	return w.filter()
}

// filter takes the readings of closings lost and points out from the table.
func (w *work) filter() bool {
	if len(w.lost) == 0 && len(w.out) == 0 {
		return false
	}
	kept := w.in
	kept.Closing, kept.Point, kept.DB, kept.Limited = nil, nil, nil, nil
	for i, c := range w.in.Closing {
		p := w.in.Point[i]
		if _, lost := w.lost[c]; lost || w.out[p] != nil {
			continue
		}
		kept.Closing, kept.Point, kept.DB = append(kept.Closing, c), append(kept.Point, p), append(kept.DB, w.in.DB[i])
		if w.in.Limited != nil {
			kept.Limited = append(kept.Limited, w.in.Limited[i])
		}
	}
	gone := len(kept.DB) < len(w.in.DB)
	if gone {
		w.in = kept
	}
	return gone
}

// estimate fits each fitting.
func (w *work) estimate(b *band.Result, points []band.PointReadings, r *TwoStepResult) {
	byFitting := make([][]band.Value, w.in.Fitting.Levels)
	place := make([]int, len(w.in.Fitting.Codes)) // of a closing within its fitting
	for _, v := range b.Values {
		f := w.in.Fitting.Codes[v.Closing]
		place[v.Closing] = len(byFitting[f])
		byFitting[f] = append(byFitting[f], v)
	}
	tables := make([]*twoWay, len(byFitting))
	cols := len(b.Used)
	for f, closings := range byFitting {
		n := len(closings) * cols
		tables[f] = &twoWay{rows: len(closings), cols: cols, y: make([]float64, n), kind: make([]cell, n)}
	}
	for j, p := range points {
		for k, c := range p.Closing {
			t := tables[w.in.Fitting.Codes[c]]
			at := place[c]*cols + j
			t.y[at], t.kind[at] = p.DB[k], seen
			if p.Limited[k] {
				t.kind[at] = limited
			}
		}
	}
	for f, closings := range byFitting {
		if len(closings) > 0 {
			w.fitting(int32(f), closings, tables[f], r)
		}
	}
	slices.SortFunc(r.Values, func(a, b Value) int { return int(a.Closing) - int(b.Closing) })
}

// fitting adds the values of one fitting to r.
func (w *work) fitting(f int32, closings []band.Value, cells *twoWay, r *TwoStepResult) {
	t := newTwoWay(cells.rows, cells.cols, cells.y, cells.kind)
	fit := Fitting{Fitting: f, Status: Estimated, SigmaDB: math.NaN(), Seen: t.seen, Limited: t.cut}
	mean := 0.0
	if t.cut > 0 {
		fit.Status = Unlinked
		if t.linked() {
			fit.Status = t.fit()
		}
		if fit.Status == Estimated {
			fit.SigmaDB = t.sigma
			for _, e := range t.col {
				mean += e / float64(t.cols)
			}
		}
	}
	for k, v := range closings {
		value := Value{Closing: v.Closing, DB: v.DB, Points: v.Points, Limited: v.Limited}
		if t.cut > 0 {
			value.DB = t.row[k] + mean
		}
		if fit.Status != Estimated {
			w.lost[v.Closing] = fit.Status
			continue
		}
		r.Values = append(r.Values, value)
	}
	r.Fittings = append(r.Fittings, fit)
}

// account names what was left out, and settles the status.
func (w *work) account(t band.Table, b *band.Result, r *TwoStepResult) {
	for c, s := range w.lost {
		r.Lost = append(r.Lost, Lost{c, s})
	}
	slices.SortFunc(r.Lost, func(a, b Lost) int { return int(a.Closing) - int(b.Closing) })
	for _, c := range b.ClosingsOut {
		if _, lost := w.lost[c.Closing]; !lost {
			r.ClosingsOut = append(r.ClosingsOut, c)
		}
	}
	named := make([]bool, t.Points)
	for _, p := range r.Used {
		named[p] = true
	}
	for _, p := range r.PointsOut {
		named[p.Point] = true
	}
	for _, p := range t.Point {
		if !named[p] {
			named[p] = true
			fittings := w.out[p]
			slices.Sort(fittings)
			r.LimitedOut = append(r.LimitedOut, PointOut{p, fittings})
		}
	}
	slices.SortFunc(r.LimitedOut, func(a, b PointOut) int { return int(a.Point) - int(b.Point) })
	switch {
	case len(r.Values) > 0:
		r.Status = Estimated
	case len(w.lost) > 0 || len(w.out) > 0:
		r.Status = AllLimited
		for _, l := range r.Lost {
			if l.Status != AllLimited {
				r.Status = l.Status
			}
		}
		if r.Reason == band.NoReading {
			r.Reason = band.None
		}
	}
}
