package dist

import (
	"math"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"
)

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
	case math.IsInf(nu, 1):
		return NormalSurvival(t)
	}
	return distuv.StudentsT{Sigma: 1, Nu: nu}.Survival(t)
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
	}
	return distuv.StudentsT{Sigma: 1, Nu: nu}.Quantile(p)
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
	return 2 * mathext.GammaIncRegInv(nu/2, p)
}

// ChiSquareSurvival returns P(X > x) for chi-square with nu > 0 degrees of
// freedom, nu finite.
func ChiSquareSurvival(x, nu float64) float64 {
	switch {
	case math.IsNaN(x) || !(nu > 0) || math.IsInf(nu, 1):
		return math.NaN()
	case x <= 0:
		return 1
	case math.IsInf(x, 1):
		return 0
	}
	return mathext.GammaIncRegComp(nu/2, x/2)
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
	return distuv.F{D1: d1, D2: d2}.Quantile(p)
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
	return mathext.RegIncBeta(d2/2, d1/2, d2/(d2+d1*x))
}

// BetaCDF returns P(X <= x) for the beta distribution with a, b > 0.
func BetaCDF(x, a, b float64) float64 {
	switch {
	case math.IsNaN(x) || !(a > 0) || !(b > 0) || math.IsInf(a, 1) || math.IsInf(b, 1):
		return math.NaN()
	case x <= 0:
		return 0
	case x >= 1:
		return 1
	}
	return mathext.RegIncBeta(a, b, x)
}

// BetaQuantile returns the x with BetaCDF(x, a, b) = p; NaN outside the domain.
func BetaQuantile(p, a, b float64) float64 {
	switch {
	case !isProbability(p) || !(a > 0) || !(b > 0) || math.IsInf(a, 1) || math.IsInf(b, 1):
		return math.NaN()
	case p == 0 || p == 1:
		return p
	}
	return mathext.InvRegIncBeta(a, b, p)
}
