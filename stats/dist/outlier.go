package dist

import "math"

// Grubbs is the distribution of Grubbs' statistic of N normal values, the
// distance of an extreme from the mean over the standard deviation (divisor
// N-1): of the extreme named beforehand, or with TwoSided of the farther one.
//
// Domain: N >= 3. Outside it methods return NaN.
type Grubbs struct {
	N        int
	TwoSided bool
}

// Critical returns the value that G exceeds with probability alpha if no value
// is an outlier:
//
//	(N-1)/sqrt(N) * sqrt(t^2/(N-2+t^2))
//
// t exceeded with probability alpha/N (alpha/(2N) two-sided) at N-2 degrees of
// freedom. By Bonferroni's inequality alpha is never exceeded; for small alpha
// it is met exactly.
//
// Source: NIST/SEMATECH e-Handbook 1.3.5.17.1.
func (d Grubbs) Critical(alpha float64) float64 {
	if d.N < 3 || !isProbability(alpha) {
		return math.NaN()
	}
	n := float64(d.N)
	t := upperT(math.Min(alpha/d.events(), 0.5), n-2)
	if math.IsInf(t, 1) {
		return (n - 1) / math.Sqrt(n)
	}
	// The same formula, written so that a huge t does not overflow.
	return (n - 1) / math.Sqrt(n) / math.Sqrt(1+(n-2)/t/t)
}

// PValue returns the probability of a statistic of g or more, an upper bound by
// Bonferroni's inequality, at most 1.
func (d Grubbs) PValue(g float64) float64 {
	if d.N < 3 || math.IsNaN(g) {
		return math.NaN()
	}
	n := float64(d.N)
	r := (n - 1) / math.Sqrt(n)
	switch {
	case g >= r:
		return 0
	case g <= 0:
		return 1
	}
	// G^2 = r^2 t^2/(n-2+t^2)
	t := math.Sqrt((n - 2) * g * g / (r*r - g*g))
	return math.Min(1, d.events()*TSurvival(t, n-2))
}

func (d Grubbs) events() float64 {
	if d.TwoSided {
		return 2 * float64(d.N)
	}
	return float64(d.N)
}

// Cochran is the distribution of the largest of Groups sample variances over
// their sum, each with Nu degrees of freedom, when all true variances are
// equal.
//
// Domain: Groups >= 2, Nu > 0 and finite. Outside it methods return NaN.
type Cochran struct {
	Groups int
	Nu     float64 // of each variance: readings in a group less one
}

func (d Cochran) valid() bool { return d.Groups >= 2 && d.Nu > 0 && !math.IsInf(d.Nu, 1) }

// Critical returns the value that C exceeds with probability alpha:
//
//	1/(1 + (Groups-1)/F), F upper alpha/Groups at Nu, (Groups-1)*Nu
//
// By Bonferroni's inequality an upper bound of the exact value, equal to it where
// C > 1/2 and to three figures in the printed tables of ISO 5725-2.
func (d Cochran) Critical(alpha float64) float64 {
	if !d.valid() || !isProbability(alpha) {
		return math.NaN()
	}
	p := float64(d.Groups)
	f := FQuantile(1-alpha/p, d.Nu, (p-1)*d.Nu)
	return 1 / (1 + (p-1)/f)
}

// PValue returns the probability of a statistic of c or more, an upper bound by
// Bonferroni's inequality, at most 1.
func (d Cochran) PValue(c float64) float64 {
	p := float64(d.Groups)
	switch {
	case !d.valid() || math.IsNaN(c):
		return math.NaN()
	case c >= 1:
		return 0
	case c <= 1/p: // the largest is never below the mean
		return 1
	}
	f := (p - 1) * c / (1 - c)
	return math.Min(1, p*FSurvival(f, d.Nu, (p-1)*d.Nu))
}
