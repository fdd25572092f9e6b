package mixed

import (
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"

	"sealbound/stats"
)

// anovaAnswer computes the moment estimates of the one-way and nested cases.
func anovaAnswer(t *testing.T, b built, name string) (float64, bool) {
	t.Helper()
	d := b.design
	if strings.HasPrefix(name, "nested.") {
		a, err := NewNested(d.Y, d.Terms[1].Factor, d.Terms[0].Factor)
		if err != nil {
			t.Fatal(err)
		}
		low := a.Mean - distuv.StudentsT{Sigma: 1, Nu: a.DFA}.Quantile(0.95)*a.MeanSE()
		v, ok := map[string]float64{
			"ms_A": a.MSA, "df_A": a.DFA, "ms_B_in_A": a.MSB, "df_B_in_A": a.DFB, "ms_error": a.MSError, "df_error": a.DFError,
			"F_A": a.FA, "p_A": a.PA, "F_B": a.FB, "var_error": a.VarError, "var_B_untruncated": a.VarB, "var_A_untruncated": a.VarA,
			"mean": a.Mean, "mean_se": a.MeanSE(), "mean_lower95_onesided": low,
		}[strings.TrimPrefix(name, "nested.")]
		return v, ok
	}
	if len(d.Terms) != 1 || len(d.X) != 1 {
		return 0, false
	}
	a, err := NewOneWay(d.Y, d.Terms[0].Factor)
	if err != nil {
		t.Fatal(err)
	}
	student := distuv.StudentsT{Sigma: 1, Nu: a.DFBetween}
	lower, upper, _ := a.CorrelationInterval(0.95)
	v, ok := map[string]float64{
		"anova.ss_between": a.SSBetween, "anova.ss_within": a.SSWithin, "anova.ms_between": a.MSBetween, "anova.ms_within": a.MSWithin,
		"anova.df_between": a.DFBetween, "anova.df_within": a.DFWithin, "anova.F": a.F, "anova.p": a.P,
		"mom.n0": a.N0, "mom.var_between_untruncated": a.VarBetween, "mom.var_between": math.Max(0, a.VarBetween),
		"mom.var_within": a.MSWithin, "mom.icc1": a.IntraclassCorrelation,
		"icc1_ci95_lower": lower, "icc1_ci95_upper": upper,
		"mean.se": a.MeanSE(), "mean.df": a.DFBetween, "mean.lower95_onesided": a.Mean - student.Quantile(0.95)*a.MeanSE(),
		"mean.ci95_lower": a.Mean - student.Quantile(0.975)*a.MeanSE(), "mean.ci95_upper": a.Mean + student.Quantile(0.975)*a.MeanSE(),
	}[name]
	return v, ok
}

// Expected mean squares of unbalanced data: a mean square is a quadratic form
// y'Ay, and the coefficient of a variance with pattern ZZ' in its expectation
// is the sum of z'Az over the columns z of Z, each an analysis of its own.
func TestNestedUnbalanced(t *testing.T) {
	for i := range 20 {
		rng := rand.New(rand.NewPCG(61, uint64(i)))
		n := 25 + rng.IntN(20)
		box := randomFactor(rng, "box", n, 4)
		fitting := product("fitting", box, randomFactor(rng, "part", n, 3))
		y := make([]float64, n)
		for j := range y {
			y[j] = 60 + 2*float64(box.Codes[j]) + rng.NormFloat64()
		}
		got, err := NewNested(y, box, fitting)
		if err != nil {
			t.Fatal(err)
		}
		sum := func(f stats.Factor) (a, b, e float64) {
			for l := range f.Levels {
				z := make([]float64, n)
				for j, c := range f.Codes {
					if int(c) == l {
						z[j] = 1
					}
				}
				part, err := NewNested(z, box, fitting)
				if err != nil {
					t.Fatal(err)
				}
				a, b, e = a+part.MSA, b+part.MSB, e+part.MSError
			}
			return a, b, e
		}
		aB, bB, eB := sum(fitting)
		aA, bA, eA := sum(box)
		if math.Abs(eB)+math.Abs(bA)+math.Abs(eA) > 1e-12 {
			t.Errorf("%d: mean squares see variances above them: %v %v %v", i, eB, bA, eA)
		}
		varB := (got.MSB - got.MSError) / bB
		varA := (got.MSA - got.MSError - aB*varB) / aA
		if relDiff(got.VarB, varB) > 1e-10 || math.Abs(got.VarA-varA) > 1e-10 {
			t.Errorf("%d: variances %v, %v; want %v, %v", i, got.VarA, got.VarB, varA, varB)
		}
		if !got.Balanced && !math.IsNaN(got.MeanSE()) {
			t.Errorf("%d: standard error %v from unbalanced data", i, got.MeanSE())
		}
	}
}

func TestAnovaRefuses(t *testing.T) {
	box := factor("box", 0, 0, 1, 1)
	for _, tt := range []struct {
		name string
		err  error
		want error
	}{
		{"no values", second(NewOneWay(nil, stats.Factor{Name: "box"})), ErrTooFew},
		{"one group", second(NewOneWay([]float64{1, 2}, factor("box", 0, 0))), ErrTooFew},
		{"a value per group", second(NewOneWay([]float64{1, 2}, factor("box", 0, 1))), ErrTooFew},
		{"not a number", second(NewOneWay([]float64{1, 2, math.NaN(), 3}, box)), ErrInput},
		{"not nested", second(NewNested([]float64{1, 2, 4, 3}, box, factor("fitting", 0, 1, 0, 1))), ErrInput},
		{"units are groups", second(NewNested([]float64{1, 2, 4, 3}, box, box)), ErrTooFew},
		{"codes missing", second(NewNested([]float64{1, 2, 4}, box, box)), ErrInput},
	} {
		if !errors.Is(tt.err, tt.want) {
			t.Errorf("%s: %v, want %v", tt.name, tt.err, tt.want)
		}
	}
	// No spread within groups: no F, no interval, no panic.
	a, err := NewOneWay([]float64{1, 1, 2, 2}, box)
	if err != nil || !math.IsNaN(a.F) || !math.IsNaN(a.P) {
		t.Errorf("F = %v, P = %v, %v; want undefined", a.F, a.P, err)
	}
	if _, _, ok := a.CorrelationInterval(0.95); ok {
		t.Error("interval without spread within groups")
	}
}

func second[T any](_ T, err error) error { return err }
