package dist

import (
	"math"
	"testing"

	"sealbound/stats/internal/refcase"
)

func TestClassicQuantilesReference(t *testing.T) {
	refcase.Load(t, "b_classic_quantiles").EachRow(t, func(r refcase.Row) {
		p, a, b := r.Float("p"), r.Float("a"), r.Float("b")
		var q float64
		switch r.Float("kind") {
		case 1:
			q = TQuantile(p, a)
		case 2:
			q = ChiSquareQuantile(p, a)
		case 3:
			q = FQuantile(p, a, b)
		case 4:
			q = BetaQuantile(p, a, b)
		}
		r.Check(t, "q", q)
	})
}

// The tails agree with the quantiles, and infinite degrees of freedom with the
// normal and the chi-square.
func TestClassicLaws(t *testing.T) {
	inf := math.Inf(1)
	near := func(what string, got, want, rel float64) {
		t.Helper()
		if !(math.Abs(got-want) <= rel*math.Abs(want)) {
			t.Errorf("%s: %v, want %v", what, got, want)
		}
	}
	for _, p := range []float64{1e-8, 0.01, 0.3, 0.5, 0.501, 0.9, 0.975, 0.9999} {
		near("normal", NormalCDF(NormalQuantile(p)), p, 1e-12)
		near("normal, upper", NormalSurvival(NormalQuantile(p)), 1-p, 1e-8)
		for _, nu := range []float64{0.8, 1, 3.7, 25, 4000} {
			near("t", TCDF(TQuantile(p, nu), nu), p, 1e-10)
			near("t mirrored", TQuantile(1-p, nu), -TQuantile(p, nu), 1e-6)
			near("chi-square", 1-ChiSquareSurvival(ChiSquareQuantile(p, nu), nu), p, 1e-7)
			near("F", 1-FSurvival(FQuantile(p, nu, 7), nu, 7), p, 1e-7)
			near("F, infinite", FQuantile(p, nu, inf), ChiSquareQuantile(p, nu)/nu, 1e-12)
			near("F, large", FQuantile(p, nu, 1e7), ChiSquareQuantile(p, nu)/nu, 1e-3)
			near("beta", BetaCDF(BetaQuantile(p, nu, 2.5), nu, 2.5), p, 1e-10)
		}
		near("t, infinite", TQuantile(p, inf), NormalQuantile(p), 1e-15)
		near("t and F", FSurvival(9, 1, 12), 2*TSurvival(3, 12), 1e-12)
		near("F, infinite tail", FSurvival(2, 3, inf), ChiSquareSurvival(6, 3), 1e-14)
	}
	near("Cauchy", TQuantile(0.75, 1), 1, 1e-12)
	near("Cauchy, below the median", TQuantile(0.4, 1), math.Tan(math.Pi*(0.4-0.5)), 1e-12)
}

// No combination of odd arguments panics, and none gives a number outside the
// support.
func TestClassicGuards(t *testing.T) {
	odd := []float64{math.NaN(), math.Inf(-1), -1, -1e-300, 0, 1e-300, 1e-9, 0.3, 0.5, 1 - 1e-16, 1, 1.5, 40, 1e9, 1e300, math.Inf(1)}
	check := func(what string, x, lo, hi float64) {
		t.Helper()
		if !math.IsNaN(x) && (x < lo || x > hi) {
			t.Errorf("%s: %v", what, x)
		}
	}
	inf := math.Inf(1)
	for _, p := range odd {
		check("NormalQuantile", NormalQuantile(p), -inf, inf)
		check("NormalCDF", NormalCDF(p), 0, 1)
		if q := NormalQuantile(p); (p >= 0 && p <= 1) == math.IsNaN(q) {
			t.Errorf("NormalQuantile(%v) = %v", p, q)
		}
		for _, a := range odd {
			check("TQuantile", TQuantile(p, a), -inf, inf)
			check("TCDF", TCDF(p, a), 0, 1)
			check("ChiSquareQuantile", ChiSquareQuantile(p, a), 0, inf)
			check("ChiSquareSurvival", ChiSquareSurvival(p, a), 0, 1)
			if !(a > 0) && !(math.IsNaN(TQuantile(p, a)) && math.IsNaN(TSurvival(p, a)) && math.IsNaN(ChiSquareQuantile(p, a))) {
				t.Errorf("degrees of freedom %v are accepted", a)
			}
			for _, b := range odd {
				check("FQuantile", FQuantile(p, a, b), 0, inf)
				check("FSurvival", FSurvival(p, a, b), 0, 1)
				check("BetaQuantile", BetaQuantile(p, a, b), 0, 1)
				check("BetaCDF", BetaCDF(p, a, b), 0, 1)
			}
		}
	}
}
