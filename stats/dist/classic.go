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
