package compare

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"sealbound/stats/dist"
)

// example is an incomplete campaign of four products: band values at two points.
func example(shift, scale float64) Data {
	r := rand.New(rand.NewPCG(7, 11))
	var rows [][]float64
	var at []place
	for box, products := range [][]int32{{0, 1, 2, 3}, {0, 1, 2}, {0, 1, 3}, {1, 2, 3}, {0, 2, 3}} {
		lid := 2 * r.NormFloat64()
		for _, p := range products {
			strip := r.NormFloat64()
			for range 3 {
				v := 60 + 4*float64(p) + lid + strip + r.NormFloat64()
				rows = append(rows, []float64{shift + scale*v, shift + scale*(v+r.NormFloat64()-3)})
				at = append(at, place{p, int32(box), int32(box)*4 + p, 0})
			}
		}
	}
	d := grid(rows, func(i int) place { return at[i] })
	d.Fitting.Levels = 20
	return d
}

// A shift of all levels moves the means alone; a scale scales all but p and df.
func TestShiftAndScale(t *testing.T) {
	s := usual
	s.EquivalentDB = 3
	a := mustCompare(t, example(0, 1), s)
	shifted := mustCompare(t, example(20, 1), s)
	s.EquivalentDB = 6
	scaled := mustCompare(t, example(0, 2), s)
	for i, p := range a.Products {
		q, w := shifted.Products[i], scaled.Products[i]
		near(t, "shifted mean", q.Value, p.Value+20, 1e-7)
		near(t, "shifted se", q.SE, p.SE, 1e-7)
		near(t, "shifted lower", q.Lower, p.Lower+20, 1e-6)
		near(t, "scaled lower", w.Lower, 2*p.Lower, 1e-6)
		near(t, "scaled df", w.DF, p.DF, 1e-6)
		if q.Letters != p.Letters || w.Letters != p.Letters || p.Letters == "" {
			t.Errorf("letters %q, shifted %q, scaled %q", p.Letters, q.Letters, w.Letters)
		}
	}
	for i, x := range a.Differences {
		y, z := shifted.Differences[i], scaled.Differences[i]
		near(t, "shifted difference", y.DB, x.DB, 1e-7)
		near(t, "shifted p", y.P, x.P, 1e-7)
		near(t, "shifted equivalence", y.EquivalentP, x.EquivalentP, 1e-7)
		near(t, "scaled upper", z.Upper, 2*x.Upper, 1e-6)
		near(t, "scaled p", z.P, x.P, 1e-6)
		near(t, "scaled equivalence", z.EquivalentP, x.EquivalentP, 1e-6)
	}
	if a.Design.Kind != Incomplete || a.Design.Cells != 16 || a.Design.Within != 16-5-4+1 || a.Apart {
		t.Errorf("design %+v", a.Design)
	}
}

// The order of readings does not reach the result, to the bit.
func TestRowOrder(t *testing.T) {
	d := example(0, 1)
	want := mustCompare(t, d, usual)
	order := rand.New(rand.NewPCG(1, 2)).Perm(len(d.DB))
	e := d
	e.Closing, e.Point, e.DB = nil, nil, nil
	for _, i := range order {
		e.Closing, e.Point, e.DB = append(e.Closing, d.Closing[i]), append(e.Point, d.Point[i]), append(e.DB, d.DB[i])
	}
	got := mustCompare(t, e, usual)
	if fmt.Sprint(got.Products, got.Differences, got.Explain) != fmt.Sprint(want.Products, want.Differences, want.Explain) {
		t.Error("another order of the readings gives another result")
	}
}

// Two products have a letter in common exactly where they are not shown to differ,
// for random patterns; and the letters start with the best.
func TestLetters(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	for trial := range 600 {
		n := 1 + r.IntN(9)
		apart := make(map[[2]int]bool)
		for i := range n {
			for j := i + 1; j < n; j++ {
				apart[[2]int{i, j}] = r.Float64() < float64(trial%5)/4
			}
		}
		got := letters(n, func(i, j int) bool { return apart[[2]int{i, j}] })
		for i := range n {
			if got[i] == "" {
				t.Fatalf("%v: product %d has no letter", got, i)
			}
			for j := i + 1; j < n; j++ {
				if strings.ContainsAny(got[i], got[j]) == apart[[2]int{i, j}] {
					t.Fatalf("%v: products %d and %d, apart %v", got, i, j, apart[[2]int{i, j}])
				}
			}
		}
		if got[0][0] != 'a' {
			t.Fatalf("%v: the best has no a", got)
		}
	}
	if got := letters(3, func(i, j int) bool { return i == 0 && j == 2 }); !slices.Equal(got, []string{"a", "ab", "b"}) {
		t.Errorf("a chain of three: %v", got)
	}
	if letter(51) != "Z" || letter(52) != "(1)" {
		t.Errorf("letters beyond the alphabet: %s %s", letter(51), letter(52))
	}
}

// Correlations of differences from a control of n_0: lambda_i = sqrt(n_i/(n_i+n_0))
// (C. W. Dunnett 1955); a matrix without product form is refused.
func TestProductForm(t *testing.T) {
	n := []float64{4, 10, 25, 3}
	want := make([]float64, len(n))
	rho := make([][]float64, len(n))
	for i := range n {
		want[i] = math.Sqrt(n[i] / (n[i] + 8))
	}
	for i := range n {
		rho[i] = make([]float64, len(n))
		for j := range n {
			rho[i][j] = want[i] * want[j]
		}
		rho[i][i] = 1
	}
	for k := 1; k <= len(n); k++ {
		part := make([][]float64, k)
		for i := range part {
			part[i] = rho[i][:k]
		}
		got, ok := productForm(part)
		if !ok {
			t.Fatalf("%d differences: no product form", k)
		}
		for i := range part {
			for j := range i {
				near(t, "correlation", got[i]*got[j], rho[i][j], 1e-9)
			}
		}
	}
	bent := [][]float64{{1, 0.5, 0.5, 0}, {0.5, 1, 0, 0.5}, {0.5, 0, 1, 0.5}, {0, 0.5, 0.5, 1}}
	if l, ok := productForm(bent); ok {
		t.Errorf("product form %v of a matrix that has none", l)
	}
	if _, ok := productForm([][]float64{{1, 1}, {1, 1}}); ok {
		t.Error("differences that are the same have a Dunnett distribution")
	}
	if _, ok := productForm(nil); ok {
		t.Error("no difference has a form")
	}
	// The tolerance of the form moves the critical value by less than 0.2 %.
	for _, nu := range []float64{2, 10, 60} {
		for _, rho := range []float64{0.2, 0.5, 0.8} {
			crit := func(r float64) float64 {
				l := math.Sqrt(r)
				return dist.Dunnett{Lambda: []float64{l, l, l, l}, Nu: nu, TwoSided: true}.Quantile(0.95)
			}
			if a, b := crit(rho), crit(rho+formTolerance); math.Abs(a-b) > 2e-3*a {
				t.Errorf("nu %v, rho %v: %v, %v", nu, rho, a, b)
			}
		}
	}
}

// Two one-sided tests are dual to an interval: at EquivalentDB equal to |difference|
// plus t(1-alpha, df) se the p value of a single difference is alpha.
func TestEquivalence(t *testing.T) {
	rows := []float64{60, 61, 62.5, 60.4, 61.2, 62.9, 60.1, 60.8}
	d := dataOf(rows, func(i int) place { return place{int32(i % 2), int32(i), int32(i), 0} })
	x := mustCompare(t, d, usual).Differences[0]
	if !math.IsNaN(x.EquivalentP) || x.Equivalent {
		t.Errorf("not asked: %+v", x)
	}
	s := usual
	edge := math.Abs(x.DB) + dist.TQuantile(0.95, x.DF)*x.SE
	s.EquivalentDB = edge
	near(t, "p at the edge", mustCompare(t, d, s).Differences[0].EquivalentP, 0.05, 1e-9)
	s.EquivalentDB = edge + 0.01
	if !mustCompare(t, d, s).Differences[0].Equivalent {
		t.Error("beyond the edge the products are as good as each other")
	}
	s.EquivalentDB = edge - 0.01
	if mustCompare(t, d, s).Differences[0].Equivalent {
		t.Error("within the edge it is not shown")
	}
}

// Holm's steps: of 0.01, 0.04, 0.03 and 0.005 the adjusted are 0.03, 0.06, 0.06
// and 0.02 (R 4.2.2: p.adjust(c(.01, .04, .03, .005), "holm"), from memory of its
// help page's method; reckoned by hand: 4*.005, 3*.01, 2*.03, max(2*.03, .04)).
func TestStepDown(t *testing.T) {
	got := stepDown([]float64{0.01, nan, 0.04, 0.03, 0.005})
	for i, want := range []float64{0.03, nan, 0.06, 0.06, 0.02} {
		if math.IsNaN(want) != math.IsNaN(got[i]) || math.Abs(got[i]-want) > 1e-12 {
			t.Errorf("%d: %v, want %v", i, got[i], want)
		}
	}
}

// A product's mean and differences in a complete design with one closing each are
// those of a two-way table: differences of column means, se = sqrt(2 MSE/boxes)
// with (boxes-1)(products-1) degrees of freedom (NIST/SEMATECH e-Handbook 5.3.3.2,
// randomised blocks; figures reckoned in the test from the table).
func TestRandomisedBlocks(t *testing.T) {
	table := [][]float64{{61, 64, 60}, {58, 63, 59.5}, {66, 68, 63}, {60, 66, 62}} // by box, by product
	var values []float64
	for _, row := range table {
		values = append(values, row...)
	}
	r := mustCompare(t, dataOf(values, func(i int) place { return place{int32(i % 3), int32(i / 3), int32(i), 0} }), usual)
	var mean [3]float64
	var row [4]float64
	grand := 0.0
	for b := range table {
		for p, v := range table[b] {
			mean[p] += v / 4
			row[b] += v / 3
			grand += v / 12
		}
	}
	mse := 0.0
	for b := range table {
		for p, v := range table[b] {
			e := v - mean[p] - row[b] + grand
			mse += e * e / 6
		}
	}
	x := r.difference(t, 1, 0)
	near(t, "difference", x.DB, mean[1]-mean[0], 1e-9)
	near(t, "se", x.SE, math.Sqrt(2*mse/4), 1e-6)
	near(t, "df", x.DF, 6, 1e-5)
	if !slices.Equal(r.Levels, []string{"box", "fitting+visit+closing"}) {
		t.Errorf("levels %v", r.Levels)
	}
}

// A flat target stays itself to the bit over any number of points.
func TestFlatTarget(t *testing.T) {
	for _, n := range []int{1, 3, 7, 49, 201} {
		row := make([]float64, n)
		d := grid([][]float64{row, row, row, row}, func(i int) place { return place{int32(i % 2), int32(i), int32(i), 0} })
		for i := range d.TargetDB {
			d.TargetDB[i] = 50.1
		}
		if r := mustCompare(t, d, usual); r.TargetDB != 50.1 {
			t.Errorf("%d points: target %v", n, r.TargetDB)
		}
	}
}
