package band

import (
	"math"
	"math/big"
	"math/rand/v2"
	"testing"
)

// exactExp is exp(x) for x <= 0 with some 70 digits: the series at x/2^20, squared 20
// times.
func exactExp(x float64) *big.Float {
	const bits = 300
	r := new(big.Float).SetPrec(bits).SetFloat64(x)
	r.SetMantExp(r, -20)
	sum, term := big.NewFloat(1).SetPrec(bits), big.NewFloat(1).SetPrec(bits)
	for k := 1; k < 30; k++ {
		term.Mul(term, r)
		term.Quo(term, big.NewFloat(float64(k)).SetPrec(bits))
		sum.Add(sum, term)
	}
	for range 20 {
		sum.Mul(sum, sum)
	}
	return sum
}

// Against the series in high precision, which tells the error, and math.Exp.
func TestExpDown(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	places := []float64{0, -1e-300, -1e-17, -1e-9, -math.Ln2, -math.Ln2 / 512, -math.Nextafter(math.Ln2/512, 1), -1, -2, -100, -699.9999}
	for k := range 600 { // either side of where the pieces change
		edge := -(float64(k) + 0.5) / perPiece
		places = append(places, edge, math.Nextafter(edge, 0), math.Nextafter(edge, -1000))
	}
	for range 4000 {
		places = append(places, -3*rng.Float64(), -30*rng.Float64(), -700*rng.Float64())
	}
	worst, apart := 0.0, 0.0
	for _, x := range places {
		got, exact := expDown(x), exactExp(x)
		near, _ := exact.Float64()
		unit := math.Nextafter(near, 2) - near
		off, _ := new(big.Float).Sub(exact, new(big.Float).SetFloat64(got)).Float64()
		if worst = max(worst, math.Abs(off)/unit); math.Abs(off) > 1.5*unit {
			t.Errorf("exp(%v) = %v, off by %.2f units in the last place", x, got, off/unit)
		}
		if apart = max(apart, math.Abs(got-math.Exp(x))/unit); math.Abs(got-math.Exp(x)) > 2*unit {
			t.Errorf("exp(%v) = %v, math.Exp %v", x, got, math.Exp(x))
		}
	}
	t.Logf("off by at most %.3f units in the last place, from math.Exp by %.0f", worst, apart)
	for _, x := range []float64{-700, -746, -1e300, math.Inf(-1)} {
		if expDown(x) != 0 {
			t.Errorf("exp(%v) = %v", x, expDown(x))
		}
	}
}

func BenchmarkExp(b *testing.B) {
	x := make([]float64, 1000)
	rng := rand.New(rand.NewPCG(7, 8))
	for i := range x {
		x[i] = -5 * rng.Float64()
	}
	for name, exp := range map[string]func() float64{
		"here": func() (sum float64) {
			for _, v := range x {
				sum += expDown(v)
			}
			return sum
		},
		"math": func() (sum float64) {
			for _, v := range x {
				sum += math.Exp(v)
			}
			return sum
		},
	} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				exp()
			}
		})
	}
}
