package dist

import (
	"math"
	"slices"
)

// The distributions of this package that divide by an estimated standard
// deviation are integrals over u = ln S, where S = sqrt(V/nu) and V is
// chi-square with nu degrees of freedom. In u the density is log-concave and
// smooth for every nu > 0, with no end at zero to watch.

// glNodes is the order of the Gauss-Legendre rule on each panel. On a panel
// that spans three standard deviations of a normal density its error is far
// below 1e-16.
const glNodes = 16

// A rule is a Gauss-Legendre rule: places from -1 to 1 and weights.
type rule struct{ x, w []float64 }

var (
	fine   = legendre(glNodes)
	coarse = legendre(glNodes / 2) // for a first approximation
)

func legendre(n int) rule {
	x, w := Legendre(n)
	return rule{x, w}
}

const (
	ln2        = math.Ln2
	lnSqrt2Pi  = 0.918938533204672741780329736405617639861 // ln(2*pi)/2
	invSqrt2Pi = 0.398942280401432677939946059934381868476 // 1/sqrt(2*pi)
)

// logChiPeak returns the logarithm of the density of ln S at its mode, u = 0:
// ln 2 + x ln x - x - ln Gamma(x), x = nu/2. For large x the terms cancel and
// Stirling's series is used (Abramowitz & Stegun 6.1.40).
func logChiPeak(nu float64) float64 {
	x := nu / 2
	if x < 16 {
		lg, _ := math.Lgamma(x)
		return ln2 + x*math.Log(x) - x - lg
	}
	r := 1 / (x * x)
	sigma := (1.0/12 - r*(1.0/360-r*(1.0/1260-r*(1.0/1680-r/1188)))) / x
	return 0.5*math.Log(nu/math.Pi) - sigma
}

// chiDrop returns (exp(2u) - 1 - 2u)/2, given e = exp(u): the density of ln S
// is exp(logChiPeak - nu*chiDrop).
func chiDrop(u, e float64) float64 {
	y := 2 * u
	if math.Abs(y) > 0.35 {
		return 0.5*e*e - 0.5 - u
	}
	// Taylor: without it the difference cancels, and nu may be large. The sum of
	// 2 y^k/(k+2)!, even and odd powers side by side.
	z := y * y
	even := 1 + z*(2.0/f4+z*(2.0/f6+z*(2.0/f8+z*(2.0/f10+z*(2.0/f12+z*(2.0/f14))))))
	odd := 2.0/f3 + z*(2.0/f5+z*(2.0/f7+z*(2.0/f9+z*(2.0/f11+z*(2.0/f13)))))
	return 0.25 * z * (even + y*odd)
}

// Factorials.
const (
	f3  = 6.0
	f4  = 4 * f3
	f5  = 5 * f4
	f6  = 6 * f5
	f7  = 7 * f6
	f8  = 8 * f7
	f9  = 9 * f8
	f10 = 10 * f9
	f11 = 11 * f10
	f12 = 12 * f11
	f13 = 13 * f12
	f14 = 14 * f13
)

// logNormCDF returns ln Phi(z), also where Phi(z) underflows (Abramowitz &
// Stegun 26.2.12).
func logNormCDF(z float64) float64 {
	if z > -14 {
		return math.Log(normCDF(z))
	}
	return -0.5*z*z - lnSqrt2Pi - math.Log(-z) + math.Log(millsSeries(z))
}

// normHazard returns phi(z)/Phi(z), about -z for very negative z.
func normHazard(z float64) float64 {
	if z > -14 {
		return invSqrt2Pi * math.Exp(-0.5*z*z) / normCDF(z)
	}
	return -z / millsSeries(z)
}

func normCDF(z float64) float64 { return 0.5 * math.Erfc(-z/math.Sqrt2) }

// millsSeries is -z*Phi(z)/phi(z) for z <= -14: 1 - 1/z^2 + 3/z^4 - 15/z^6 ...
func millsSeries(z float64) float64 {
	r := 1 / (z * z)
	s := 1.0
	for k := 19.0; k >= 1; k -= 2 {
		s = 1 - k*r*s
	}
	return s
}

// panelEnds walks from mode in steps of about width until logf has fallen by a
// little more than each of the drops in turn, and returns the places. logf
// falls monotonically on that side; up says which side.
func panelEnds(logf func(float64) float64, mode, peak, width float64, up bool, drops ...float64) []float64 {
	ends := make([]float64, 0, len(drops))
	sign := -1.0
	if up {
		sign = 1
	}
	last, lastDrop := 0.0, 0.0 // distance from the mode, and the fall there
	for _, want := range drops {
		lo, loDrop := last, lastDrop
		hi := math.Inf(1)
		d := lo + width
		for range 80 {
			drop := peak - logf(mode+sign*d)
			if drop >= 0.85*want && drop <= 1.4*want {
				lo, loDrop = d, drop
				break
			}
			if drop > want || math.IsNaN(drop) {
				hi = d
			} else {
				lo, loDrop = d, drop
			}
			if math.IsInf(hi, 1) {
				d = 2*lo + width
				if loDrop > 0.05*want {
					d = lo * math.Min(2, math.Max(1.1, want/loDrop))
				}
			} else {
				d = 0.5 * (lo + hi)
			}
			if hi-lo < 1e-14*math.Abs(mode)+1e-300 {
				break
			}
		}
		ends = append(ends, mode+sign*lo)
		last, lastDrop = lo, loDrop
	}
	return ends
}

// splitLong sorts the ends of panels and splits those longer than 2. What the
// integrands do in u on the scale of 1 comes through exp(u), so it fades
// leftwards and the pieces may grow that way.
func splitLong(ends []float64) []float64 {
	slices.Sort(ends)
	for i := len(ends) - 1; i > 0; i-- {
		right, length := ends[i], 1.5
		for right-ends[i-1] > length+0.5 {
			ends = slices.Insert(ends, i, right-length)
			right, length = right-length, 2*length
		}
	}
	return ends
}
