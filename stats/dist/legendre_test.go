package dist

import (
	"math"
	"testing"
)

// A rule of order n is exact for polynomials up to degree 2n - 1 (Abramowitz and
// Stegun 25.4.29, the number from memory): the weights add up to 2, and x^k to 2/(k+1) for even k.
func TestLegendre(t *testing.T) {
	for n := 2; n <= MostNodes; n++ {
		x, w := Legendre(n)
		var sum, highest float64
		for k := range x {
			sum += w[k]
			highest += w[k] * math.Pow(x[k], 2*float64(n)-2) // the last even power that the rule does exactly
		}
		if want := 2 / (2*float64(n) - 1); math.Abs(sum-2) > 1e-13 || math.Abs(highest/want-1) > 1e-11 {
			t.Errorf("order %d: weights add up to %v, x^%d to %v, want %v", n, sum, 2*n-2, highest, want)
		}
	}
	if x, _ := Legendre(1); len(x) != 2 {
		t.Errorf("order 1 has %d nodes", len(x))
	}
	if x, _ := Legendre(1000); len(x) != MostNodes {
		t.Errorf("order 1000 has %d nodes", len(x))
	}
}
