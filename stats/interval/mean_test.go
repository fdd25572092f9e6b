package interval

import (
	"errors"
	"math"
	"testing"
)

func TestBoundsRefuse(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	for _, n := range []int{1, 0, -2} {
		if _, err := MeanBounds(n, 60, 1, 0.95); !errors.Is(err, ErrTooFew) {
			t.Errorf("MeanBounds of %d: %v", n, err)
		}
		if _, err := NextBounds(n, 60, 1, 1, 0.95); !errors.Is(err, ErrTooFew) {
			t.Errorf("NextBounds of %d: %v", n, err)
		}
	}
	for _, confidence := range []float64{0, 1, -0.1, 1.2, 95, nan, inf} {
		_, err1 := MeanBounds(5, 60, 1, confidence)
		_, err2 := NextBounds(5, 60, 1, 1, confidence)
		_, err3 := SDBounds(1, 4, confidence)
		_, err4 := FromSE(60, 1, 4, confidence)
		for i, err := range []error{err1, err2, err3, err4} {
			if !errors.Is(err, ErrDomain) {
				t.Errorf("confidence %v, function %d: %v", confidence, i+1, err)
			}
		}
	}
	for name, tt := range map[string]struct {
		mean, sd float64
		want     error
	}{
		"NaN mean": {nan, 1, ErrNotFinite}, "infinite mean": {inf, 1, ErrNotFinite}, "NaN sd": {60, nan, ErrNotFinite},
		"infinite sd": {60, inf, ErrNotFinite}, "negative sd": {60, -1, ErrDomain}, "bound overflows": {1, 1e308, ErrNotFinite},
	} {
		if _, err := MeanBounds(2, tt.mean, tt.sd, 0.95); !errors.Is(err, tt.want) {
			t.Errorf("%s: %v, want %v", name, err, tt.want)
		}
		if _, err := NextBounds(2, tt.mean, tt.sd, 1, 0.95); !errors.Is(err, tt.want) {
			t.Errorf("next, %s: %v, want %v", name, err, tt.want)
		}
	}
	if _, err := NextBounds(5, 60, 1, 0, 0.95); !errors.Is(err, ErrDomain) {
		t.Errorf("no new closing: %v", err)
	}
	for _, df := range []float64{0, -1, nan} {
		_, err1 := FromSE(60, 1, df, 0.95)
		_, err2 := SDBounds(1, df, 0.95)
		if !errors.Is(err1, ErrDomain) || !errors.Is(err2, ErrDomain) {
			t.Errorf("df %v: %v, %v", df, err1, err2)
		}
	}
	if _, err := SDBounds(1, inf, 0.95); !errors.Is(err, ErrDomain) {
		t.Errorf("SDBounds with infinite df: %v", err)
	}
}

// Equal values: bounds of width 0, by arithmetic; a known standard error: the
// normal quantile; both bounds at the same distance.
func TestFromSE(t *testing.T) {
	e, err := MeanBounds(5, 50.25, 0, 0.95)
	if err != nil || e.Lower != 50.25 || e.Upper != 50.25 || e.SE != 0 || !e.Defined() {
		t.Errorf("equal values: %+v, %v", e, err)
	}
	e, err = FromSE(50, 1.5, math.Inf(1), 0.95)
	// Guard band of 1.645 standard uncertainties: T = 50, u = 1.5 -> 52.47.
	if err != nil || math.Abs(e.Upper-52.47) > 5e-3 || math.Abs(e.Upper+e.Lower-100) > 1e-12 {
		t.Errorf("known standard error: %+v, %v", e, err)
	}
	e, err = FromSE(50, 1.5, 7, 0.5)
	if err != nil || e.Lower != 50 || e.Upper != 50 {
		t.Errorf("confidence 1/2: %+v, %v", e, err)
	}
	s, err := SDBounds(0, 4, 0.95)
	if err != nil || s.Lower != 0 || s.Upper != 0 {
		t.Errorf("standard deviation of equal values: %+v, %v", s, err)
	}
}

func TestPowerRefuses(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	if _, err := PowerOf(1, 1, 0.95); !errors.Is(err, ErrTooFew) {
		t.Errorf("n 1: %v", err)
	}
	for _, tt := range [][3]float64{{0, 1, 0.95}, {nan, 1, 0.95}, {4, nan, 0.95}, {4, inf, 0.95}, {4, 1, 1}, {4, 1, nan}} {
		if p, err := Power(tt[0], tt[1], tt[2]); err == nil || !math.IsNaN(p) {
			t.Errorf("%v: %v, %v", tt, p, err)
		}
	}
	for _, tt := range []struct {
		effect, confidence, power float64
		limit                     int
	}{{0, 0.95, 0.8, 100}, {-1, 0.95, 0.8, 100}, {nan, 0.95, 0.8, 100}, {1, 0.95, 1, 100}, {1, 1, 0.8, 100}, {1, 0.95, 0.8, 1}, {inf, 0.95, 0.8, 9}} {
		if n, _, err := CountFor(tt.effect, tt.confidence, tt.power, tt.limit); err == nil {
			t.Errorf("%+v: %d closings", tt, n)
		}
	}
	// 101 closings are needed at 0.25 standard deviations (reference set): 100 are not enough.
	if _, p, err := CountFor(0.25, 0.95, 0.8, 100); !errors.Is(err, ErrDomain) || !(p > 0.79 && p < 0.8) {
		t.Errorf("beyond the limit: power %v, %v", p, err)
	}
	if n, _, err := CountFor(0.25, 0.95, 0.8, 101); err != nil || n != 101 {
		t.Errorf("at the limit: %d, %v", n, err)
	}
	// No effect: the power is the risk; a mean below the target: less.
	if p, err := PowerOf(8, 0, 0.95); err != nil || math.Abs(p-0.05) > 1e-12 {
		t.Errorf("no effect: %v, %v", p, err)
	}
	if p, err := PowerOf(8, -1, 0.95); err != nil || !(p > 0 && p < 1e-3) {
		t.Errorf("below the target: %v, %v", p, err)
	}
	if p, err := Power(math.Inf(1), 2.4865, 0.95); err != nil || math.Abs(p-0.8) > 1e-4 { // z(.95) + z(.8) = 1.6449 + 0.8416
		t.Errorf("known standard error: %v, %v", p, err)
	}
}

// JCGM 100:2008, H.1: the components in nm and the result 32 nm with 16 degrees
// of freedom (16.7 before truncation); the degrees of freedom of the components
// from memory, confirmed by that result.
func TestCombineGaugeBlock(t *testing.T) {
	u, df, err := Combine(Component{25, 18}, Component{5.8, 24}, Component{3.9, 5}, Component{6.7, 8}, Component{2.9, 50}, Component{16.6, 2})
	if err != nil || math.Abs(u-32) > 0.5 || math.Abs(df-16.7) > 0.1 {
		t.Errorf("u %v, df %v, %v; want 32, 16.7", u, df, err)
	}
}

func TestCombineLaws(t *testing.T) {
	inf := math.Inf(1)
	if u, df, err := Combine(Component{3, 7}); err != nil || u != 3 || math.Abs(df-7) > 1e-12 {
		t.Errorf("one component: %v, %v, %v", u, df, err)
	}
	if u, df, err := Combine(Component{3, 5}, Component{3, 5}); err != nil || math.Abs(u-3*math.Sqrt2) > 1e-12 || math.Abs(df-10) > 1e-12 {
		t.Errorf("two equal ones: %v, %v, %v", u, df, err)
	}
	if u, df, err := Combine(Component{3, inf}, Component{4, inf}); err != nil || u != 5 || !math.IsInf(df, 1) {
		t.Errorf("known ones: %v, %v, %v", u, df, err)
	}
	if u, df, err := Combine(Component{0, 3}, Component{0, inf}); err != nil || u != 0 || !math.IsInf(df, 1) {
		t.Errorf("nothing: %v, %v, %v", u, df, err)
	}
	// Fourth powers of such numbers are outside the range of float64.
	for _, scale := range []float64{1e-120, 1e120} {
		if u, df, err := Combine(Component{3 * scale, 5}, Component{4 * scale, 5}); err != nil || math.Abs(u/scale-5) > 1e-12 || math.Abs(df-625.0/((81+256)/5.0)) > 1e-9 {
			t.Errorf("scale %v: %v, %v, %v", scale, u, df, err)
		}
	}
	for name, parts := range map[string][]Component{
		"none": nil, "negative": {{-1, 5}}, "NaN": {{math.NaN(), 5}}, "infinite": {{inf, 5}}, "df 0": {{1, 0}}, "df NaN": {{1, math.NaN()}},
	} {
		if u, df, err := Combine(parts...); err == nil {
			t.Errorf("%s: %v, %v", name, u, df)
		}
	}
}
