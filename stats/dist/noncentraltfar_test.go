package dist

import (
	"math"
	"math/rand/v2"
	"testing"
)

// Noncentralities of hundreds of thousands, as where closings agree to a hundredth of a
// dB and the target is far: the normal part turns within a millionth of the range.
// Expected: the integral of Phi(t s - delta) over the density of s with 40 digits (mpmath
// 1.2.1, quad in panels around s = delta/t).
func TestNoncentralTFar(t *testing.T) {
	for _, tt := range []struct{ nu, delta, at, want float64 }{
		{7, 368222.07839124097, 302971.86593494128, 0.170119904678777949},
		{3, 340706.91539092758, 335374.36861451354, 0.377035486454058335},
		{21, 258235.11089826212, 252677.40369009686, 0.403324035487603273},
		{241.3651151090865, 89970.015317192083, 89935.768324014251, 0.484559643751063418},
		{1, 100000, 99952.79111999197, 0.317081990621666903},
		{1, 100000, 30390.271256214073, 0.00100000000000000048},
		{29, 1281, 1200, 0.275846157752376632},
	} {
		d := NoncentralT{tt.nu, tt.delta}
		if p := d.CDF(tt.at); !(math.Abs(p/tt.want-1) < 1e-11) {
			t.Errorf("%+v at %v: CDF %v, want %v", d, tt.at, p, tt.want)
		}
		if p := d.Survival(tt.at); !(math.Abs(p-(1-tt.want)) < 1e-12) {
			t.Errorf("%+v at %v: survival %v, want %v", d, tt.at, p, 1-tt.want)
		}
		if q := d.Quantile(tt.want); !(math.Abs(q/tt.at-1) < 1e-11) {
			t.Errorf("%+v: quantile of %v is %v, want %v", d, tt.want, q, tt.at)
		}
	}
}

// Whatever the noncentrality, the two tails make up the whole.
func TestNoncentralTTailsAddUp(t *testing.T) {
	r := rand.New(rand.NewPCG(31, 32))
	for range 20_000 {
		nu, delta := math.Pow(10, -0.5+6*r.Float64()), math.Pow(10, 6*r.Float64())
		if r.IntN(2) == 0 {
			nu = float64(1 + r.IntN(30))
		}
		at := delta * math.Exp((1/math.Sqrt(2*nu)+1/delta)*4*r.NormFloat64())
		if r.IntN(2) == 0 {
			at = delta + 6*r.NormFloat64()
		}
		if r.IntN(2) == 0 {
			at, delta = -at, -delta
		}
		d := NoncentralT{nu, delta}
		if below, above := d.CDF(at), d.Survival(at); !(math.Abs(below+above-1) < 1e-10) {
			t.Errorf("%+v at %v: %v and %v", d, at, below, above)
		}
	}
}
