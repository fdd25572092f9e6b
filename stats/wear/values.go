package wear

import (
	"fmt"
	"slices"

	"sealbound/stats/band"
	"sealbound/stats/censored"
)

// readings are those of a table of the band, with the row of each in the data.
type readings struct {
	table band.Table
	row   []int32
}

// readingsOf gathers the readings of the closings and at the points wanted; nil
// wants all.
func (d Data) readingsOf(closing func(int32) bool, point []bool) readings {
	r := readings{table: band.Table{Fitting: d.Fitting, Points: d.Points}}
	t := &r.table
	for i, p := range d.Point {
		c := d.Closing[i]
		if closing != nil && !closing(c) || point != nil && !point[p] {
			continue
		}
		t.Closing, t.Point, t.DB = append(t.Closing, c), append(t.Point, p), append(t.DB, d.DB[i])
		t.Limited, r.row = append(t.Limited, d.Limited[i]), append(r.row, int32(i))
	}
	return r
}

// tested are the closings of boxes that are not controls.
func (d Data) tested(c int32) bool { return d.Control == nil || !d.Control[c] }

// take sets what the model works on: the band values of the closings, by a method
// in which no limit stands for a reading.
func (r *Result) take(d Data) error {
	all := d.readingsOf(d.tested, nil)
	v, err := band.Values(all.table)
	if err != nil {
		return err
	}
	r.account(d, v)
	if v.Reason != band.None {
		r.Reason = string(v.Reason)
		return nil
	}
	var kept []int32
	for _, k := range v.Values {
		kept = append(kept, k.Closing)
	}
	r.counts(d, kept) // where there is no estimate they tell what there was
	clear := flags(v.Used, d.Points)
	keep := flagsOfValues(v, d.Closings)
	for k, i := range all.row {
		if c, p := all.table.Closing[k], all.table.Point[k]; keep[c] && flagged(v.Used, p) {
			r.Readings++
			r.FloorUnknown = r.FloorUnknown || !d.FloorKnown[i]
			if d.Limited[i] {
				r.Limited++
				clear[p] = false
			}
		}
	}
	r.Common = len(v.Used)
	left := count(clear)
	switch {
	case r.FloorUnknown:
		r.fill(v, v.Used, NoMethod)
		r.Reason = "no floor known: a reading at the floor would hide wear; give floor readings or --floor, or vouch for the readings with --no-floor"
		return nil
	case r.Limited == 0:
		r.fill(v, v.Used, Plain)
		return nil
	case 2*left >= r.Common:
		return r.onClear(d, clear)
	case r.Common == 1:
		r.fill(v, v.Used, Likelihood)
		return nil
	}
	return r.twoStep(d, all, clear)
}

// onClear takes the points that no reading of any session was limited at.
func (r *Result) onClear(d Data, clear []bool) error {
	v, err := band.Values(d.readingsOf(d.tested, clear).table)
	if err != nil {
		return err
	}
	for p := range int32(d.Points) {
		if !clear[p] && slices.Contains(r.Points, p) {
			r.LimitedOut = append(r.LimitedOut, p)
		}
	}
	if v.Reason != band.None {
		r.Reason = "at the points never limited: " + string(v.Reason)
		return nil
	}
	r.fill(v, v.Used, ClearOf)
	return nil
}

// twoStep models the limited readings within each fitting. A closing without an
// estimate spoils the slope: it is among the best, and mostly an early one.
func (r *Result) twoStep(d Data, all readings, clear []bool) error {
	limits := make([]float64, len(all.row))
	for k, i := range all.row {
		limits[k] = d.HeadroomDB[i]
	}
	w, err := censored.TwoStep(all.table, limits)
	if err != nil {
		return err
	}
	if w.SlopeHolds() {
		r.Method, r.Points, r.Kept, r.Values = TwoStep, w.Used, nil, nil
		for _, v := range w.Values {
			r.Kept, r.Values = append(r.Kept, v.Closing), append(r.Values, v.DB)
		}
		for _, p := range w.LimitedOut {
			r.LimitedOut = append(r.LimitedOut, p.Point)
		}
		return nil
	}
	if count(clear) > 0 {
		if err := r.onClear(d, clear); err != nil || r.Method == ClearOf {
			return err
		}
	}
	r.Method = NoMethod
	switch n := len(w.Lost); {
	case w.Reason != band.None:
		r.Reason = string(w.Reason)
	case n > 0:
		r.Reason = fmt.Sprintf("no estimate: %d of %d closings are limited by the receiver's floor at every point, and a slope over the others would hide wear; more headroom is needed",
			n, r.Closings)
	default:
		r.Reason = w.Status.String()
	}
	return nil
}

// fill takes the values of a band.
func (r *Result) fill(v *band.Result, points []int32, m Method) {
	r.Method, r.Points, r.Kept, r.Values = m, points, nil, nil
	for _, k := range v.Values {
		r.Kept, r.Values = append(r.Kept, k.Closing), append(r.Values, k.DB)
	}
}

// account keeps what the choice of points and closings left out.
func (r *Result) account(d Data, v *band.Result) {
	r.Points, r.Closings = v.Used, len(v.Values)
	for _, p := range v.PointsOut {
		r.PointsOut = append(r.PointsOut, PointOut{p.Point})
	}
	for _, c := range v.ClosingsOut {
		if d.tested(c.Closing) {
			r.ClosingsOut = append(r.ClosingsOut, ClosingOut{c.Closing, c.Points, c.Of, string(c.Reason)})
		}
	}
}

func flags(codes []int32, n int) []bool {
	f := make([]bool, n)
	for _, c := range codes {
		f[c] = true
	}
	return f
}

func flagsOfValues(v *band.Result, n int) []bool {
	f := make([]bool, n)
	for _, k := range v.Values {
		f[k.Closing] = true
	}
	return f
}

// flagged looks p up in ascending codes.
func flagged(codes []int32, p int32) bool {
	_, ok := slices.BinarySearch(codes, p)
	return ok
}

func count(f []bool) (n int) {
	for _, on := range f {
		if on {
			n++
		}
	}
	return n
}
