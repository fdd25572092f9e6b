package judge

import (
	"math"
	"testing"

	"sealbound/stats/dist"
)

// The parts say what the whole says.
func TestParts(t *testing.T) {
	d := grid([][]float64{{60, 61}, {62, 61}, {64, 60}, {61, 63}}, func(i int) layout { return layout{int32(i / 2), int32(i / 2), 0} })
	for i := range d.HeadroomDB {
		d.HeadroomDB[i] = 70 + float64(i)
	}
	r := mustJudge(t, d, usual)
	m := d.MeanOf(r.Values, r.Kept, false, usual.Confidence, Source{})
	near(t, "lower", m.Lower, r.Mean.Lower, 0)
	near(t, "lower at the same confidence", m.LowerAt(usual.Confidence), r.Mean.Lower, 1e-12)
	if !(m.LowerAt(0.99) < m.Lower && m.LowerAt(0.5) == m.Value) {
		t.Errorf("lower at 0.99 %v, at 0.5 %v, mean %v", m.LowerAt(0.99), m.LowerAt(0.5), m.Value)
	}
	mean, low := d.Headroom(r.Kept, r.Points)
	near(t, "headroom", mean, 70.5, 1e-12) // closing 1: 70 and 71
	near(t, "lowest headroom", low, 70, 0)
	bare := d
	bare.HeadroomDB = append([]float64(nil), d.HeadroomDB...)
	for i, p := range bare.Point {
		if p == 1 {
			bare.HeadroomDB[i] = math.NaN()
		}
	}
	if mean, low := bare.Headroom(r.Kept, r.Points); !math.IsNaN(mean) || !math.IsNaN(low) {
		t.Errorf("a point without a known floor: headroom %v, lowest %v", mean, low)
	}
	if f := d.Levels([]int32{2, 3}); f[0].Levels != 1 || f[1].Codes[0] != 0 || f[3].Name != "visit" {
		t.Errorf("levels of the second box: %+v", f)
	}
	if v, err := d.Values(d.DB); err != nil || len(v.Values) != 4 {
		t.Errorf("values: %+v, %v", v, err)
	}
	if _, known := d.SharedReference(r.Kept, r.Points); known {
		t.Error("no run was repeated, but the reference is known")
	}
	u := Combined(Source{"a", 3, math.Inf(1)}, Source{"b", 4, 7})
	near(t, "combined", u.UDB, 5, 1e-12)
	near(t, "its df", u.DF, 625/(256.0/7), 1e-9) // u^4 over the sum of u_i^4/df_i
	if (Combined() != Source{}) {
		t.Error("no source is something")
	}
	e := Evidence{LowerDB: 51, UpperDB: 55, UpperRaisedDB: 55, TargetDB: 50, HeadroomDB: 70}
	if e.Verdict() != Clears {
		t.Errorf("51 to 55 at 50: %s", e.Verdict())
	}
	if (Evidence{LowerDB: math.NaN(), TargetDB: 50}).Verdict() != TooFew {
		t.Error("no bound is not too few")
	}
}

// The sign bound stands only at the confidence that it attains: 1 - 0.5^n.
func TestLowerAtOfSign(t *testing.T) {
	d := dataOf([]float64{60, 60, 60, 60, 60, 60}, oneStrip)
	m := d.MeanOf([]float64{60, 60, 60, 60, 60, 60}, []int32{0, 1, 2, 3, 4, 5}, false, 0.95, Source{})
	near(t, "at 0.98", m.LowerAt(0.98), 60, 0) // attained 0.984375
	if !math.IsNaN(m.LowerAt(0.99)) {
		t.Errorf("at 0.99: %v", m.LowerAt(0.99))
	}
	one := d.MeanOf([]float64{60}, []int32{0}, false, 0.95, Source{})
	if !math.IsNaN(one.LowerAt(0.5)) {
		t.Error("one closing has a bound")
	}
	two := d.MeanOf([]float64{60, 62}, []int32{0, 1}, false, 0.95, Source{})
	near(t, "two closings", two.LowerAt(0.9), 61-dist.TQuantile(0.9, 1)*1, 1e-12) // s = sqrt 2, se = 1
}
