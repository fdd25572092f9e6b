package dist

import (
	"math"

	"gonum.org/v1/gonum/mathext"
)

// gonum's inverse incomplete gamma and beta functions panic or lose digits for
// small probabilities and for parameters far from 1 (t at 1e-9 and 100,000
// degrees of freedom: -81.7 for -6.0), so quantiles are found here, from its
// incomplete functions themselves, which are sound.

// quantileLimit bounds the searches: exp and sinh of more overflow.
const quantileLimit = 709

// A slant is a tail probability at x with the size of its slope there. bend is the
// second derivative of its logarithm; 0 where that is not known.
type slant struct{ tail, slope, bend float64 }

// How near the logarithm of a tail must be before the last step: what Newton's leaves
// is of the order of the square, below 1e-13, and what Halley's leaves of the cube: at
// most 2e-13 in 20,000 quantiles of the noncentral t, 1e-6 to 0.99.
const (
	nearNewton = 1e-7
	nearHalley = 1e-5
)

// solveTail returns the x at which a tail probability equals exp(logWant), by
// Newton's method, or Halley's where the bend is known, on the logarithm of the tail,
// which is concave or nearly so. rising says whether the tail rises with x. A root
// outside +/-quantileLimit gives the limit on that side. near is one of the above, or
// more for a first approximation.
func solveTail(start, logWant float64, rising bool, near float64, eval func(x float64) slant) float64 {
	dir := 1.0
	if !rising {
		dir = -1
	}
	lo, hi, stride := math.Inf(-1), math.Inf(1), 1.0
	x := start
	if math.IsNaN(x) {
		x = 0
	}
	for range 200 {
		x = math.Max(-quantileLimit, math.Min(x, quantileLimit))
		at := eval(x)
		diff := dir * (math.Log(at.tail) - logWant) // > 0: x is too large
		step := -diff * at.tail / at.slope
		if by := 1 + 0.5*step*dir*at.bend*at.tail/at.slope; by > 0.5 && by < 2 {
			step /= by
		}
		if math.Abs(diff) < near && math.Abs(step) < 1 {
			return x + step
		}
		if diff > 0 {
			hi = x
		} else {
			lo = x
		}
		if hi <= -quantileLimit || lo >= quantileLimit {
			return math.Copysign(quantileLimit, x)
		}
		x += math.Max(-stride, math.Min(step, stride)) // a NaN stays one and is replaced
		if !(x > lo && x < hi) {
			switch {
			case math.IsInf(lo, -1):
				x = hi - stride
			case math.IsInf(hi, 1):
				x = lo + stride
			default:
				x = 0.5 * (lo + hi)
			}
		}
		stride *= 2
		if hi-lo <= 2e-16*math.Abs(x) {
			break
		}
	}
	return x
}

// maxParameter is the largest parameter of a gamma or beta distribution that
// is worked with; the incomplete functions lose their digits long before.
const maxParameter = 1e12

func gammaLower(a, x float64) float64 { return mathext.GammaIncReg(a, x) }
func gammaUpper(a, x float64) float64 { return mathext.GammaIncRegComp(a, x) }

// gammaQuantile returns the x with P(a, x) = p, 0 < p < 1, a > 0.
func gammaQuantile(p, a float64) float64 {
	if a > maxParameter {
		return math.NaN()
	}
	lg, _ := math.Lgamma(a)
	// Wilson and Hilferty where it is sound, else the first term of the series.
	z := NormalQuantile(p)
	c := 1 - 1/(9*a) + z/(3*math.Sqrt(a))
	start := math.Log(a) + 3*math.Log(c)
	if !(c > 0.2) {
		start = (math.Log(p) + math.Log(a) + lg) / a
	}
	slope := func(y, x float64) float64 { return math.Exp(a*y - x - lg) }
	var y float64
	if p <= 0.5 {
		y = solveTail(start, math.Log(p), true, nearNewton, func(y float64) slant {
			x := math.Exp(y)
			return slant{tail: gammaLower(a, x), slope: slope(y, x)}
		})
	} else {
		y = solveTail(start, math.Log(1-p), false, nearNewton, func(y float64) slant {
			x := math.Exp(y)
			return slant{tail: gammaUpper(a, x), slope: slope(y, x)}
		})
	}
	return math.Exp(y)
}

// betaLower returns I_x(a, b) at x = odds/(1+odds), and betaUpper one minus it.
// Each goes through the smaller of x and 1-x unless that would cost the digits
// of a small result.
func betaLower(odds, a, b float64) float64 {
	if odds > 1 {
		if upper := betaInc(b, a, 1/(1+odds)); upper < 0.9 {
			return 1 - upper
		}
	}
	return betaInc(a, b, odds/(1+odds))
}

func betaUpper(odds, a, b float64) float64 { return betaLower(1/odds, b, a) }

func betaInc(a, b, x float64) float64 {
	switch {
	case a > maxParameter || b > maxParameter:
		return math.NaN()
	case x <= 0:
		return 0
	case x >= 1:
		return 1
	}
	return math.Max(0, math.Min(mathext.RegIncBeta(a, b, x), 1))
}

// betaOdds returns the odds x/(1-x) of the beta quantile at which the lower tail
// is lower and the upper one upper; they add up to 1 and the smaller is exact.
func betaOdds(lower, upper, a, b float64) float64 {
	if a > maxParameter || b > maxParameter {
		return math.NaN()
	}
	la, _ := math.Lgamma(a)
	lb, _ := math.Lgamma(b)
	lab, _ := math.Lgamma(a + b)
	logBeta := la + lb - lab
	slope := func(y float64) float64 {
		// x^a (1-x)^b / B(a, b), with x = 1/(1+exp(-y))
		return math.Exp(-a*math.Log1p(math.Exp(-y)) - b*math.Log1p(math.Exp(y)) - logBeta)
	}
	var y float64
	if lower <= upper {
		start := math.Min(math.Log(a/b), (math.Log(lower)+math.Log(a)+logBeta)/a)
		y = solveTail(start, math.Log(lower), true, nearNewton, func(y float64) slant {
			return slant{tail: betaLower(math.Exp(y), a, b), slope: slope(y)}
		})
	} else {
		start := math.Max(math.Log(a/b), -(math.Log(upper)+math.Log(b)+logBeta)/b)
		y = solveTail(start, math.Log(upper), false, nearNewton, func(y float64) slant {
			return slant{tail: betaUpper(math.Exp(y), a, b), slope: slope(y)}
		})
	}
	return math.Exp(y)
}
