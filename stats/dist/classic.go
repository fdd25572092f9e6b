package dist

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// The tails and quantiles below are right to 1e-10 relative for probabilities
// down to 1e-12 and parameters from 0.5 to 1e5, checked with 40 digits; beyond,
// accuracy fades slowly. A parameter above 1e12 that is not infinite gives NaN
// for chi-square, F and beta.

// NormalCDF returns Phi(z), the standard normal distribution function.
func NormalCDF(z float64) float64 { return normCDF(z) }

// NormalSurvival returns 1 - Phi(z), accurate in the upper tail.
func NormalSurvival(z float64) float64 { return normCDF(-z) }

// NormalQuantile returns the z with Phi(z) = p: -Inf at 0, +Inf at 1, NaN
// outside [0, 1].
func NormalQuantile(p float64) float64 {
	if !isProbability(p) {
		return math.NaN()
	}
	return distuv.UnitNormal.Quantile(p)
}

func isProbability(p float64) bool { return p >= 0 && p <= 1 } // false for NaN

// manyT is the number of degrees of freedom from which on Student's t is
// computed otherwise: the incomplete beta function loses digits there.
const manyT = 1e4

// TCDF returns P(T <= t) for Student's t with nu > 0 degrees of freedom, +Inf
// allowed.
func TCDF(t, nu float64) float64 { return TSurvival(-t, nu) }

// TSurvival returns P(T > t), accurate in the upper tail.
func TSurvival(t, nu float64) float64 {
	switch {
	case !(nu > 0) || math.IsNaN(t):
		return math.NaN()
	case math.IsInf(t, 1):
		return 0
	case math.IsInf(t, -1):
		return 1
	case t < 0:
		return 1 - TSurvival(-t, nu)
	case nu > manyT:
		return NoncentralT{Nu: nu}.Survival(t)
	}
	odds := t / nu * t // T^2/nu are the odds of a beta with 1/2 and nu/2
	if t < 1 {
		return 0.5 - 0.5*betaLower(odds, 0.5, nu/2)
	}
	return 0.5 * betaUpper(odds, 0.5, nu/2)
}

// TQuantile returns the t with TCDF(t, nu) = p: -Inf at 0, +Inf at 1. It is NaN
// for p outside [0, 1] or nu not positive.
func TQuantile(p, nu float64) float64 {
	switch {
	case !isProbability(p) || !(nu > 0):
		return math.NaN()
	case math.IsInf(nu, 1):
		return NormalQuantile(p)
	case p == 0:
		return math.Inf(-1)
	case p == 1:
		return math.Inf(1)
	case p == 0.5:
		return 0
	case nu > manyT:
		return manyTQuantile(p, nu)
	}
	return tQuantiles.of(p, nu, func(p, nu float64) float64 {
		if p < 0.5 {
			return -absT(math.Max(0, 1-2*p), 2*p, nu)
		}
		return absT(2*p-1, 2*(1-p), nu)
	})
}

var tQuantiles memo

// absT returns the t with P(|T| <= t) = within and P(|T| > t) = beyond.
func absT(within, beyond, nu float64) float64 {
	if nu > manyT {
		if within < 0.5 {
			return -manyTQuantile(0.5-0.5*within, nu)
		}
		return -manyTQuantile(0.5*beyond, nu)
	}
	return math.Sqrt(nu) * math.Sqrt(betaOdds(within, beyond, 0.5, nu/2))
}

// centralT returns the t with P(|T| <= t) = p, 0 < p < 1.
func centralT(p, nu float64) float64 {
	if math.IsInf(nu, 1) {
		return math.Sqrt2 * math.Erfinv(p)
	}
	return absT(p, 1-p, nu)
}

// upperT returns the t that is exceeded with probability p, which may be tiny.
func upperT(p, nu float64) float64 { return -TQuantile(p, nu) }

// manyTQuantile expands the quantile in powers of 1/nu about the normal one.
// Source: Abramowitz & Stegun 26.7.5.
func manyTQuantile(p, nu float64) float64 {
	z := NormalQuantile(p)
	if math.Abs(z) > 8 {
		return NoncentralT{Nu: nu}.Quantile(p)
	}
	y := z * z
	g1 := (y + 1) / 4
	g2 := ((5*y+16)*y + 3) / 96
	g3 := (((3*y+19)*y+17)*y - 15) / 384
	g4 := ((((79*y+776)*y+1482)*y-1920)*y - 945) / 92160
	return z * (1 + (g1+(g2+(g3+g4/nu)/nu)/nu)/nu)
}

// ChiSquareQuantile returns the x with P(X <= x) = p for chi-square with nu > 0
// degrees of freedom, nu finite; NaN outside the domain.
func ChiSquareQuantile(p, nu float64) float64 {
	switch {
	case !isProbability(p) || !(nu > 0) || math.IsInf(nu, 1):
		return math.NaN()
	case p == 0:
		return 0
	case p == 1:
		return math.Inf(1)
	}
	return 2 * gammaQuantile(p, nu/2)
}

// ChiSquareSurvival returns P(X > x) for chi-square with nu > 0 degrees of
// freedom, nu finite.
func ChiSquareSurvival(x, nu float64) float64 {
	switch {
	case math.IsNaN(x) || !(nu > 0) || nu > maxParameter:
		return math.NaN()
	case x <= 0:
		return 1
	case math.IsInf(x, 1):
		return 0
	}
	return gammaUpper(nu/2, x/2)
}

// FQuantile returns the x with P(F <= x) = p for F with d1, d2 > 0 degrees of
// freedom; d2 may be +Inf. NaN outside the domain.
func FQuantile(p, d1, d2 float64) float64 {
	switch {
	case !isProbability(p) || !(d1 > 0) || !(d2 > 0) || math.IsInf(d1, 1):
		return math.NaN()
	case p == 0:
		return 0
	case p == 1:
		return math.Inf(1)
	case math.IsInf(d2, 1):
		return ChiSquareQuantile(p, d1) / d1
	}
	return betaOdds(p, 1-p, d1/2, d2/2) / d1 * d2
}

// FSurvival returns P(F > x), accurate in the upper tail; d2 may be +Inf.
func FSurvival(x, d1, d2 float64) float64 {
	switch {
	case math.IsNaN(x) || !(d1 > 0) || !(d2 > 0) || math.IsInf(d1, 1):
		return math.NaN()
	case x <= 0:
		return 1
	case math.IsInf(x, 1):
		return 0
	case math.IsInf(d2, 1):
		return ChiSquareSurvival(d1*x, d1)
	}
	return betaUpper(x/d2*d1, d1/2, d2/2)
}

// BetaCDF returns P(X <= x) for the beta distribution with a, b > 0.
func BetaCDF(x, a, b float64) float64 {
	if math.IsNaN(x) || !(a > 0) || !(b > 0) {
		return math.NaN()
	}
	return betaInc(a, b, x)
}

// BetaQuantile returns the x with BetaCDF(x, a, b) = p; NaN outside the domain.
func BetaQuantile(p, a, b float64) float64 {
	switch {
	case !isProbability(p) || !(a > 0) || !(b > 0) || a > maxParameter || b > maxParameter:
		return math.NaN()
	case p == 0 || p == 1:
		return p
	}
	odds := betaOdds(p, 1-p, a, b)
	if math.IsInf(odds, 1) {
		return 1
	}
	return odds / (1 + odds)
}
