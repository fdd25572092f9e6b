package wear

import (
	"math"
	"testing"
)

// The curve is the line and its bound: straight, from the first test to the horizon,
// the same as what is said at an age, and at the target where the crossings are.
func TestAlong(t *testing.T) {
	var times, y []float64
	for year := range 6 {
		for k := range 4 {
			times = append(times, float64(year))
			y = append(y, 60-0.9*float64(year)+0.7*math.Sin(float64(7*year+3*k)))
		}
	}
	d, s := seriesData(times, y), plain()
	for i := range d.TargetDB {
		d.TargetDB[i] = 50
	}
	s.Curve, s.AgeYears, s.LastAge = true, 5, 5
	r := mustWear(t, d, s)
	if len(r.Curve) != curvePoints {
		t.Fatalf("%d points: %s", len(r.Curve), r.Reason)
	}
	first, last := r.Curve[0], r.Curve[len(r.Curve)-1]
	if first.AgeYears != r.FirstAge || math.Abs(last.AgeYears-r.Horizon) > 1e-9 {
		t.Errorf("from %v to %v, want %v to %v", first.AgeYears, last.AgeYears, r.FirstAge, r.Horizon)
	}
	for _, p := range r.Curve {
		if line := r.Intercept.Value + r.Slope.Value*p.AgeYears; math.Abs(p.MeanDB-line) > 1e-9 {
			t.Errorf("at %v: %v, the line has %v", p.AgeYears, p.MeanDB, line)
		}
		if !(p.LowerDB < p.MeanDB) {
			t.Errorf("at %v: bound %v, mean %v", p.AgeYears, p.LowerDB, p.MeanDB)
		}
		at := s
		at.AgeYears = p.AgeYears
		if now := mustWear(t, d, at).Now; now != p.LowerDB {
			t.Errorf("at %v: bound %v, asked for that age %v", p.AgeYears, p.LowerDB, now)
		}
	}
	if r.LowerCross.Status != Crosses {
		t.Fatalf("the bound %s", r.LowerCross.Status)
	}
	for i := 1; i < len(r.Curve); i++ {
		before, after := r.Curve[i-1], r.Curve[i]
		if before.AgeYears <= r.LowerCross.Age && r.LowerCross.Age <= after.AgeYears && !(before.LowerDB >= 50 && after.LowerDB <= 50) {
			t.Errorf("the bound meets the target at %v, the curve goes from %v to %v there", r.LowerCross.Age, before.LowerDB, after.LowerDB)
		}
	}
	s.Curve = false
	if r := mustWear(t, d, s); r.Curve != nil {
		t.Error("a curve that nobody asked for")
	}
}
