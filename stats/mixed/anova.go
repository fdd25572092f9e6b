package mixed

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"

	"sealbound/stats"
)

// A OneWay is the analysis of variance of values in groups (dB^2), with the
// moment estimates of the two variances. Balanced data with a positive
// between-group variance give the same as REML.
type OneWay struct {
	Groups, N             int
	Balanced              bool
	Mean                  float64 // of all values
	SSBetween, SSWithin   float64
	MSBetween, MSWithin   float64
	DFBetween, DFWithin   float64
	F, P                  float64 // P: chance of an F at least as large without group differences
	N0                    float64 // (N - sum n_i^2/N)/(groups-1), the group size of unbalanced data
	VarBetween            float64 // (MSBetween - MSWithin)/N0, may be negative
	IntraclassCorrelation float64 // (MSB - MSW)/(MSB + (N0-1) MSW), may be negative
	meanSE                float64
}

// NewOneWay analyses y grouped by f. It needs two groups and a value more than
// groups (ErrTooFew), and values that vary within groups for F (else F and P
// are NaN).
//
// Source: S. Searle, G. Casella, C. McCulloch, Variance Components, 1992,
// sections 3.5 and 3.6, from memory; checked against R's aov.
func NewOneWay(y []float64, f stats.Factor) (OneWay, error) {
	if err := checkValues(y, f); err != nil {
		return OneWay{}, err
	}
	g := newGrouping(f.Codes, f.Levels)
	c := collapse(y, []grouping{g})
	a := OneWay{Groups: g.levels(), N: len(y), SSWithin: c.within, Balanced: true}
	if a.Groups < 2 || a.N <= a.Groups {
		return OneWay{}, fmt.Errorf("%w: %d in %d groups", ErrTooFew, a.N, a.Groups)
	}
	var squares float64
	a.Mean, a.SSBetween = weightedMoments(c.mean, c.count)
	for _, n := range c.count {
		squares += n * n
		a.Balanced = a.Balanced && n == c.count[0]
	}
	n := float64(a.N)
	a.DFBetween, a.DFWithin = float64(a.Groups-1), float64(a.N-a.Groups)
	a.MSBetween, a.MSWithin = a.SSBetween/a.DFBetween, a.SSWithin/a.DFWithin
	a.F, a.P = fRatio(a.MSBetween, a.MSWithin, a.DFBetween, a.DFWithin)
	a.N0 = (n - squares/n) / a.DFBetween
	a.VarBetween = (a.MSBetween - a.MSWithin) / a.N0
	a.IntraclassCorrelation = (a.MSBetween - a.MSWithin) / (a.MSBetween + (a.N0-1)*a.MSWithin)
	a.meanSE = math.Sqrt(a.MSBetween / n)
	return a, nil
}

// MeanSE is the standard error of the mean of all values, sqrt(MSBetween/N),
// with DFBetween degrees of freedom: exact for balanced data, NaN otherwise.
func (a OneWay) MeanSE() float64 {
	if !a.Balanced {
		return math.NaN()
	}
	return a.meanSE
}

// CorrelationInterval is the exact two-sided interval of the intraclass
// correlation, from the F distribution; ok is false for unbalanced data, for
// values that do not vary within groups, and unless 0 < confidence < 1.
func (a OneWay) CorrelationInterval(confidence float64) (lower, upper float64, ok bool) {
	if !a.Balanced || math.IsNaN(a.F) || !(confidence > 0 && confidence < 1) {
		return math.NaN(), math.NaN(), false
	}
	n := float64(a.N / a.Groups)
	p := (1 + confidence) / 2
	at := func(ratio float64) float64 { return (ratio - 1) / (ratio + n - 1) }
	lower = at(a.F / distuv.F{D1: a.DFBetween, D2: a.DFWithin}.Quantile(p))
	upper = at(a.F * distuv.F{D1: a.DFWithin, D2: a.DFBetween}.Quantile(p))
	return lower, upper, true
}

// A Nested is the analysis of variance of values in units (B) within groups (A).
type Nested struct {
	Balanced             bool
	Mean                 float64
	MSA, MSB, MSError    float64 // between groups, units within groups, within units
	DFA, DFB, DFError    float64
	FA, PA               float64 // groups over units: exact for balanced data
	FB, PB               float64 // units over error
	VarA, VarB, VarError float64 // moment estimates, may be negative
	meanSE               float64
}

// NewNested analyses y in the units b within the groups a. b must be nested in
// a (ErrInput); two groups, more units than groups and more values than units
// are needed (ErrTooFew).
//
// Unbalanced data use the expected mean squares with their own coefficients.
// Source: as NewOneWay, section 5.2, from memory; checked against R's aov and
// a direct evaluation of the expectations.
func NewNested(y []float64, a, b stats.Factor) (Nested, error) {
	for _, f := range []stats.Factor{a, b} {
		if err := checkValues(y, f); err != nil {
			return Nested{}, err
		}
	}
	ga, gb := newGrouping(a.Codes, a.Levels), newGrouping(b.Codes, b.Levels)
	if !gb.nestedIn(ga) {
		return Nested{}, fmt.Errorf("%w: %s is not nested in %s", ErrInput, b.Name, a.Name)
	}
	if ga.levels() < 2 || gb.levels() <= ga.levels() || len(y) <= gb.levels() {
		return Nested{}, fmt.Errorf("%w: %d in %d units of %d groups", ErrTooFew, len(y), gb.levels(), ga.levels())
	}
	c := collapse(y, []grouping{ga, gb})
	groups := c.codesAt(ga)
	n := float64(len(y))
	out := Nested{Balanced: true, DFA: float64(ga.levels() - 1), DFB: float64(gb.levels() - ga.levels()), DFError: n - float64(gb.levels())}
	var means, counts []float64 // of the groups
	var ssB, perGroup, unitSquares, groupSquares float64
	var units int
	for lo := 0; lo < len(groups); {
		hi := lo
		var sum, square float64
		for hi < len(groups) && groups[hi] == groups[lo] {
			sum += c.count[hi]
			square += c.count[hi] * c.count[hi]
			out.Balanced = out.Balanced && c.count[hi] == c.count[0]
			hi++
		}
		if lo == 0 {
			units = hi
		}
		out.Balanced = out.Balanced && hi-lo == units
		mean, ss := weightedMoments(c.mean[lo:hi], c.count[lo:hi])
		ssB += ss
		means, counts = append(means, mean), append(counts, sum)
		perGroup += square / sum
		unitSquares += square
		groupSquares += sum * sum
		lo = hi
	}
	var ssA float64
	out.Mean, ssA = weightedMoments(means, counts)
	out.MSA, out.MSB, out.MSError = ssA/out.DFA, ssB/out.DFB, c.within/out.DFError
	out.FA, out.PA = fRatio(out.MSA, out.MSB, out.DFA, out.DFB)
	out.FB, out.PB = fRatio(out.MSB, out.MSError, out.DFB, out.DFError)
	// E MSB = error + n1 varB; E MSA = error + n2 varB + n3 varA.
	n1 := (n - perGroup) / out.DFB
	n2 := (perGroup - unitSquares/n) / out.DFA
	n3 := (n - groupSquares/n) / out.DFA
	out.VarError = out.MSError
	out.VarB = (out.MSB - out.MSError) / n1
	out.VarA = (out.MSA - out.MSError - n2*out.VarB) / n3
	out.meanSE = math.Sqrt(out.MSA / n)
	return out, nil
}

// MeanSE is the standard error of the mean of all values, sqrt(MSA/N), with DFA
// degrees of freedom: exact for balanced data, NaN otherwise.
func (a Nested) MeanSE() float64 {
	if !a.Balanced {
		return math.NaN()
	}
	return a.meanSE
}

func checkValues(y []float64, f stats.Factor) error {
	if err := checkFactor(f, len(y)); err != nil {
		return err
	}
	if len(y) == 0 {
		return fmt.Errorf("%w: none", ErrTooFew)
	}
	return finite("values", y)
}

// weightedMoments is the weighted mean and the weighted sum of squares about it.
func weightedMoments(v, weight []float64) (mean, ss float64) {
	var total, sum float64
	for i, x := range v {
		total += weight[i]
		sum += weight[i] * (x - v[0])
	}
	mean = v[0] + sum/total
	for i, x := range v {
		ss += weight[i] * (x - mean) * (x - mean)
	}
	return mean, ss
}

// fRatio is the ratio of two mean squares and the upper tail beyond it; NaN
// where the denominator is zero.
func fRatio(num, den, df1, df2 float64) (f, p float64) {
	if !(den > 0) {
		return math.NaN(), math.NaN()
	}
	f = num / den
	// The upper tail itself: one minus the lower loses small chances.
	return f, mathext.RegIncBeta(df2/2, df1/2, df2/(df2+df1*f))
}
