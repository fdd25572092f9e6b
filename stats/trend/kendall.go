package trend

import (
	"fmt"
	"math"
	"slices"

	"sealbound/stats/dist"
	"sealbound/stats/interval"
)

// Tails are the p-values of a test of S, all including the S that was seen. Two
// conventions of "two-sided" are in use. They agree where the null distribution
// is symmetric, and so wherever all times are distinct, whatever the ties among
// the values; they can differ where times and values are both tied.
type Tails struct {
	Decreasing float64 // P(S <= s): small where values fall
	Increasing float64 // P(S >= s): small where values rise
	TwoSided   float64 // twice the smaller of the two, at most 1
	Absolute   float64 // P(|S| >= |s|)
}

// A Kendall is the Mann-Kendall test for a monotone trend and the rank
// correlation that belongs to it.
type Kendall struct {
	N    int
	S    int     // pairs that rise with time less pairs that fall
	TauB float64 // Kendall's tau-b, -1 to 1; NaN where all times or all values are equal
	VarS float64 // variance of S without a trend, corrected for ties among times and values; 0 where TauB is NaN
	Z    float64 // (S - sign S)/sqrt(VarS), the 1 being the continuity correction; NaN where VarS is 0

	TiedTimes, TiedValues bool

	Normal  Tails // from Z; 1 throughout where VarS is 0
	Exact   Tails // from all orders of the values; NaN unless IsExact
	IsExact bool  // n <= 100, or <= 9 where times and values are both tied
}

// P returns the exact p-values where there are any, else the normal ones.
func (k Kendall) P() Tails {
	if k.IsExact {
		return k.Exact
	}
	return k.Normal
}

// MannKendall tests the values y at times t, in any order, for a trend up or
// down. It needs two values to be defined; three distinct ones can never show a
// trend (see FewestValues).
//
//	S = sum over pairs of sign(t_j - t_i)*sign(y_j - y_i)
//	tau-b = S/sqrt((n0 - nt)*(n0 - ny)), n0 all pairs, nt and ny those tied in t and y
//
// The test supposes that without a trend every order of the values is equally
// likely. Values of one session that share its reference are not: average them
// first.
//
// Source: M. G. Kendall, Rank Correlation Methods, 4th ed. 1970, chapters 3 to 5
// (from memory); the variance is checked against all orders in the tests.
func MannKendall(t, y []float64) (Kendall, error) {
	if err := check(t, y, 2); err != nil {
		return Kendall{}, err
	}
	n := len(y)
	k := Kendall{N: n, TauB: math.NaN(), Z: math.NaN(), S: score(t, y)}
	tt, ty := ties(t), ties(y)
	k.TiedTimes, k.TiedValues = len(tt) < n, len(ty) < n
	k.VarS = varianceS(n, tt, ty)
	if n0 := pairs(n); len(tt) > 1 && len(ty) > 1 {
		k.TauB = float64(k.S) / math.Sqrt((n0-tiedPairs(tt))*(n0-tiedPairs(ty)))
	}
	k.Normal = normalTails(float64(k.S), k.VarS)
	if k.VarS > 0 {
		k.Z = (float64(k.S) - sign(float64(k.S))) / math.Sqrt(k.VarS)
	}
	k.Exact, k.IsExact = exactTails(t, y, k.S, tt, ty)
	return k, nil
}

// FewestValues returns the fewest values, all different, with which the exact
// Mann-Kendall test can show a trend at all: the smallest n with 1/n! (one-sided)
// or 2/n! (two-sided) not above 1 - confidence. At 0.95 these are 4 and 5; three
// yearly tests are never enough. It returns ErrDomain for a confidence outside
// (0, 1) or one that 100 values do not reach.
func FewestValues(confidence float64, twoSided bool) (int, error) {
	if err := checkConfidence(confidence); err != nil {
		return 0, err
	}
	p := 1.0
	if twoSided {
		p = 2
	}
	for n := 1; n <= exactValues; n++ {
		if p /= float64(n); p <= (1-confidence)*(1+1e-12) {
			return n, nil
		}
	}
	return 0, fmt.Errorf("trend: %w: confidence %v", interval.ErrDomain, confidence)
}

func score(t, y []float64) int {
	s := 0
	for i := range t {
		for j := range i {
			s += int(sign(t[i]-t[j]) * sign(y[i]-y[j]))
		}
	}
	return s
}

func sign(x float64) float64 {
	switch {
	case x > 0:
		return 1
	case x < 0:
		return -1
	}
	return 0
}

// ties returns the sizes of the groups of equal values, in order of the values.
func ties(x []float64) []int {
	s := slices.Clone(x)
	slices.Sort(s)
	var out []int
	for i, v := range s {
		if i == 0 || v != s[i-1] {
			out = append(out, 0)
		}
		out[len(out)-1]++
	}
	return out
}

func pairs(n int) float64 { return float64(n) * float64(n-1) / 2 }

func tiedPairs(groups []int) float64 {
	sum := 0.0
	for _, g := range groups {
		sum += pairs(g)
	}
	return sum
}

// varianceS is the variance of S over all orders, with groups of equal times u
// and equal values v:
//
//	[n(n-1)(2n+5) - sum u(u-1)(2u+5) - sum v(v-1)(2v+5)]/18
//	  + sum u(u-1) * sum v(v-1) / (2n(n-1))
//	  + sum u(u-1)(u-2) * sum v(v-1)(v-2) / (9n(n-1)(n-2))
func varianceS(n int, times, values []int) float64 {
	type sums struct{ five, two, three float64 }
	over := func(groups []int) (s sums) {
		for _, g := range groups {
			f := float64(g)
			s.five += f * (f - 1) * (2*f + 5)
			s.two += f * (f - 1)
			s.three += f * (f - 1) * (f - 2)
		}
		return s
	}
	u, v, all := over(times), over(values), over([]int{n})
	if len(times) == 1 || len(values) == 1 {
		return 0 // S is 0 in every order
	}
	variance := (all.five - u.five - v.five) / 18
	variance += u.two * v.two / (2 * all.two)
	if all.three > 0 {
		variance += u.three * v.three / (9 * all.three)
	}
	return variance
}

// normalTails approximates the p-values of s, corrected for continuity by 1.
func normalTails(s, variance float64) Tails {
	if variance <= 0 {
		return Tails{1, 1, 1, 1}
	}
	sd := math.Sqrt(variance)
	two := math.Min(1, 2*dist.NormalSurvival((math.Abs(s)-math.Abs(sign(s)))/sd))
	return Tails{
		Decreasing: dist.NormalCDF((s + 1) / sd), Increasing: dist.NormalSurvival((s - 1) / sd),
		TwoSided: two, Absolute: two,
	}
}
