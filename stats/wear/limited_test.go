package wear

import (
	"math"
	"slices"
	"testing"

	"sealbound/stats/judge"
)

// Limited readings: the figure that stands for them never matters, and the method says
// what was done.
func TestLimitedFigureNeverUsed(t *testing.T) {
	for _, tt := range []struct {
		name    string
		points  int
		limited func(point, closing int) bool
		want    Method
	}{
		{"two points of six", 6, func(p, c int) bool { return p < 2 && c%4 == 0 }, ClearOf},
		{"five points of six", 6, func(p, c int) bool { return p > 0 && c%4 == 0 }, TwoStep},
		{"all points now and then", 6, func(p, c int) bool { return (p+c)%5 == 0 }, TwoStep},
		{"the one point", 1, func(_, c int) bool { return c%6 == 0 }, Likelihood},
	} {
		l := usual
		l.points = tt.points
		d := l.data()
		for i := range d.DB {
			if tt.limited(int(d.Point[i]), int(d.Closing[i])) {
				d.Limited[i], d.HeadroomDB[i] = true, d.DB[i]
			}
		}
		s := settingsFor(d)
		want := mustWear(t, d, s)
		if want.Method != tt.want || math.IsNaN(want.Slope.Upper) {
			t.Errorf("%s: method %q, %s", tt.name, want.Method, want.Reason)
			continue
		}
		other := d
		other.DB = append([]float64(nil), d.DB...)
		for i, l := range d.Limited {
			if l {
				other.DB[i] += float64(i%3) + 0.5 // what was demonstrated beyond the limit
			}
		}
		if r := mustWear(t, other, s); r.Slope != want.Slope || r.Mean != want.Mean || r.LowerCross != want.LowerCross {
			t.Errorf("%s: slope %+v, want %+v", tt.name, r.Slope, want.Slope)
		}
		if want.Rank.Undefined == "" != (tt.want == ClearOf) {
			t.Errorf("%s: a test by rank of values that were not seen", tt.name)
		}
		for _, on := range []judge.Bound{judge.OnNext, judge.OnCoverage} {
			s.On = on
			if r := mustWear(t, d, s); tt.want != ClearOf && (!math.IsNaN(r.Now) || r.NowReason == "") {
				t.Errorf("%s: a %s bound from modelled readings", tt.name, on)
			}
		}
	}
}

// Early readings at the limit: with limits in their place the wear of 1 dB a year is
// hidden, with the methods here it is not.
func TestWearNotHidden(t *testing.T) {
	for _, points := range []int{1, 6} {
		l := layout{boxes: 1, sessions: 6, closings: 5, points: points, slope: -1, seed: 8}
		d := l.data()
		sorted := slices.Clone(d.DB)
		slices.Sort(sorted)
		limit := sorted[len(sorted)*3/4] // a quarter is limited
		for i, y := range d.DB {
			if y > limit {
				d.DB[i], d.Limited[i], d.HeadroomDB[i] = limit, true, limit
			}
		}
		s := settingsFor(d)
		r := mustWear(t, d, s)
		hidden := d
		hidden.Limited = make([]bool, len(d.DB))
		sub := mustWear(t, hidden, s)
		t.Logf("%d points: %s, slope %.2f; substituted %.2f", points, r.Method, r.Slope.Value, sub.Slope.Value)
		if !(r.Slope.Value < sub.Slope.Value-0.05) || math.Abs(r.Slope.Value+1) > 0.35 {
			t.Errorf("%d points: slope %v, substituted %v, truth -1", points, r.Slope.Value, sub.Slope.Value)
		}
	}
}
