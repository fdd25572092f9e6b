package dist

import (
	"math"
	"testing"
)

// Odd arguments neither panic nor hang, and no answer leaves the support.
func TestGuards(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	nus := []float64{nan, -1, 0, 1e-300, 1e-6, 0.1, 3, 1e6, 1e13, 1e18, 1e300, inf}
	args := []float64{nan, -inf, -1e300, -40, -1e-300, 0, 1e-300, 0.5, 40, 1e9, 1e300, inf}
	probability := func(what string, p float64) {
		t.Helper()
		if !math.IsNaN(p) && !(p >= 0 && p <= 1) {
			t.Errorf("%s: %v", what, p)
		}
	}
	for _, nu := range nus {
		for _, x := range args {
			for _, delta := range []float64{nan, -inf, -1e200, -39, 0, 1e-9, 39, 1e9} {
				d := NoncentralT{Nu: nu, Delta: delta}
				probability("noncentral t", d.CDF(x))
				probability("noncentral t", d.Survival(x))
				if f := d.Prob(x); f < 0 {
					t.Errorf("%+v: density %v at %v", d, f, x)
				}
				if q := d.Quantile(x); !isProbability(x) && !math.IsNaN(q) {
					t.Errorf("%+v: Quantile(%v) = %v", d, x, q)
				}
			}
			if nu > 0 && nu < 1e-3 {
				continue // defined, but of no use and slow
			}
			for _, k := range []int{-1, 1, 2, 9} {
				d := StudentizedRange{K: k, Nu: nu}
				probability("studentized range", d.CDF(x))
				probability("studentized range", d.Survival(x))
			}
			for _, lambda := range [][]float64{nil, {nan}, {1}, {0.5, -0.3}} {
				for _, two := range []bool{false, true} {
					d := Dunnett{Lambda: lambda, Nu: nu, TwoSided: two}
					probability("Dunnett", d.CDF(x))
					probability("Dunnett", d.Survival(x))
				}
			}
		}
	}
}

func FuzzNoncentralT(f *testing.F) {
	f.Add(9.0, 5.2, 8.0, 0.95)
	f.Add(0.3, -400.0, 1e-300, 1e-12)
	f.Fuzz(func(t *testing.T, nu, delta, x, p float64) {
		d := NoncentralT{Nu: nu, Delta: delta}
		low, high := d.CDF(x), d.Survival(x)
		if !d.valid() || math.IsNaN(x) {
			if !math.IsNaN(low) || !math.IsNaN(high) {
				t.Errorf("%+v at %v: %v, %v", d, x, low, high)
			}
			return
		}
		if math.Abs(delta) < 1e6 && nu > 1e-3 && math.Abs(low+high-1) > 1e-9 {
			t.Errorf("%+v at %v: tails add up to %v", d, x, low+high)
		}
		d.Quantile(p)
	})
}
