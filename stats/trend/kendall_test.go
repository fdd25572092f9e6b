package trend

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	mf "github.com/montanaflynn/stats"

	"sealbound/stats/internal/refcase"
	"sealbound/stats/interval"
)

func near(got, want, tol float64) bool { return math.Abs(got-want) <= tol }

// withScore returns n different values at times 0..n-1 whose S is s: the
// identity has n(n-1)/2 rising pairs, and each exchange of neighbours takes off 2.
func withScore(t *testing.T, n, s int) (times, values []float64) {
	t.Helper()
	for i := range n {
		times, values = append(times, float64(i)), append(values, float64(i))
	}
	swaps := (n*(n-1)/2 - s) / 2
	for swaps > 0 {
		for i := 0; i+1 < n && swaps > 0; i++ {
			if values[i] < values[i+1] {
				values[i], values[i+1] = values[i+1], values[i]
				swaps--
			}
		}
	}
	return times, values
}

// The whole exact null distribution for n = 3 to 10, both tails of every S: counts
// of permutations by inversions, R 4.2.2.
func TestExactNull(t *testing.T) {
	checked := 0
	refcase.Load(t, "b_mann_kendall_null").EachRow(t, func(r refcase.Row) {
		n, s := int(r.Float("n")), int(r.Float("S"))
		k := must(MannKendall(withScore(t, n, s)))(t)
		if k.S != s {
			t.Fatalf("n %d: made S %d, wanted %d", n, k.S, s)
		}
		checked++
		r.Check(t, "p_upper", k.Exact.Increasing)
		down := must(MannKendall(withScore(t, n, -s)))(t)
		r.Check(t, "p_upper", down.Exact.Decreasing)
	})
	if checked < 172 {
		t.Errorf("%d rows", checked)
	}
}

// At the limit of the exact test its tails lie near the normal ones; beyond it
// only those are given.
func TestExactLimit(t *testing.T) {
	k := must(MannKendall(withScore(t, exactValues, 600)))(t)
	if !k.IsExact || k.P() != k.Exact || math.Abs(k.Exact.Increasing-k.Normal.Increasing) > 5e-4 {
		t.Errorf("exact %v, normal %v", k.Exact, k.Normal)
	}
	if k := must(MannKendall(withScore(t, exactValues+1, 600)))(t); k.IsExact || k.P() != k.Normal || !math.IsNaN(k.Exact.TwoSided) {
		t.Errorf("beyond the limit: %+v", k)
	}
}

// One-sided exact p without ties: R 4.2.2, from the exact distribution; three
// values never show a trend, two-sided 5 % needs five.
func TestExactSmall(t *testing.T) {
	for _, tt := range []struct {
		n, s int
		want float64
	}{{3, 3, 0.1667}, {4, 6, 0.0417}, {5, 8, 0.0417}, {5, 10, 0.0083}, {6, 11, 0.0278}, {8, 16, 0.0305}, {10, 21, 0.0363}} {
		k := must(MannKendall(withScore(t, tt.n, tt.s)))(t)
		if k.S != tt.s || !near(k.Exact.Increasing, tt.want, 5e-5) {
			t.Errorf("n %d: S %d p %.6f, want %d %.4f", tt.n, k.S, k.Exact.Increasing, tt.s, tt.want)
		}
	}
	for _, tt := range []struct {
		confidence float64
		twoSided   bool
		want       int
	}{{0.95, false, 4}, {0.95, true, 5}, {0.8, false, 3}, {1 - 1./24, false, 4}, {0.5, false, 2}} {
		if n, err := FewestValues(tt.confidence, tt.twoSided); err != nil || n != tt.want {
			t.Errorf("FewestValues(%v, %v) = %d, %v, want %d", tt.confidence, tt.twoSided, n, err, tt.want)
		}
	}
	for _, c := range []float64{0, 1, -1, math.NaN()} {
		if _, err := FewestValues(c, true); !errors.Is(err, interval.ErrDomain) {
			t.Errorf("FewestValues(%v): %v", c, err)
		}
	}
}

// Nile, R 4.2.2 datasets: S, its tie-corrected variance, Z and the Theil-Sen
// slope, computed in R from the formulas. See nile.txt beside the data.
func TestNile(t *testing.T) {
	cols := refcase.ReadColumns(t, "nile.csv")
	x, y := cols.Float("year"), cols.Float("flow")
	k := must(MannKendall(x, y))(t)
	if k.N != 100 || k.S != -1387 || !near(k.VarS, 112728.33, 0.005) || !near(k.Z, -4.128067, 5e-7) || !k.IsExact || !k.TiedValues || k.TiedTimes {
		t.Errorf("Nile: %+v", k)
	}
	// cor.test(1871:1970, Nile, method = "kendall"), R 4.2.2: tau -0.2807413.
	if !near(k.TauB, -0.2807413, 5e-8) {
		t.Errorf("tau %v", k.TauB)
	}
	if s := must(TheilSen(x, y, 0.95))(t); !near(s.Slope, -2.6, 1e-12) {
		t.Errorf("slope %v", s.Slope)
	}
}

var bothTiedSets = []struct {
	t, y    []float64
	z, tauB float64 // cor.test(t, y, method = "kendall", exact = FALSE), R 4.2.2: S/sqrt(VarS), without continuity
}{
	{[]float64{1, 1, 2, 2, 3, 4, 4, 5}, []float64{5, 3, 3, 2, 6, 1, 2, 1}, -1.8126146149050082, -0.55999999999999994},
	{[]float64{0, 0, 1, 1, 1, 2, 3}, []float64{61, 60.5, 60.5, 60, 61, 60, 59.5}, -1.9664708674766249, -0.68599434057003528},
}

func TestBothTied(t *testing.T) {
	for _, tt := range bothTiedSets {
		k := must(MannKendall(tt.t, tt.y))(t)
		if z := float64(k.S) / math.Sqrt(k.VarS); !near(z, tt.z, 1e-12) || !near(k.TauB, tt.tauB, 1e-12) {
			t.Errorf("z %v tau %v, want %v %v", z, k.TauB, tt.z, tt.tauB)
		}
	}
}

// All n! orders, one by one, against the shortcuts: mean and variance of S, and
// every tail, with ties in times, in values, in both and in neither.
func TestAgainstAllOrders(t *testing.T) {
	sets := []struct{ t, y []float64 }{
		{[]float64{0, 1, 2, 3, 4}, []float64{3, 1, 4, 1.5, 5}},
		{[]float64{0, 1, 2, 3, 4, 5, 6}, []float64{3, 1, 3, 2, 1, 1, 0}},
		{[]float64{0, 0, 1, 1, 1, 2}, []float64{3, 1, 4, 2, 6, 5}},
		{[]float64{0, 0, 1, 1}, []float64{1, 2, 2, 2}},
		{[]float64{0, 0, 0, 1}, []float64{1, 2, 2, 2}}, // not symmetric
		{[]float64{5, 5, 5}, []float64{1, 2, 3}},
	}
	for _, s := range bothTiedSets {
		sets = append(sets, struct{ t, y []float64 }{s.t, s.y})
	}
	asymmetric := false
	for _, set := range sets {
		k := must(MannKendall(set.t, set.y))(t)
		var n, sum, squares, low, high, outside float64
		eachOrder(set.y, func(y []float64) {
			s := 0
			for i := range y {
				for j := range y {
					if set.t[i] < set.t[j] {
						s += int(sign(y[j] - y[i]))
					}
				}
			}
			n++
			sum += float64(s)
			squares += float64(s * s)
			if s <= k.S {
				low++
			}
			if s >= k.S {
				high++
			}
			if abs(s) >= abs(k.S) {
				outside++
			}
		})
		if sum != 0 || !near(squares/n, k.VarS, 1e-12*(1+k.VarS)) {
			t.Errorf("%v %v: variance %v, all orders %v (mean %v)", set.t, set.y, k.VarS, squares/n, sum/n)
		}
		want := Tails{low / n, high / n, math.Min(1, 2*math.Min(low, high)/n), outside / n}
		got := k.Exact
		if !k.IsExact || !near(got.Decreasing, want.Decreasing, 1e-14) || !near(got.Increasing, want.Increasing, 1e-14) ||
			!near(got.TwoSided, want.TwoSided, 1e-14) || !near(got.Absolute, want.Absolute, 1e-14) {
			t.Errorf("%v %v: %+v, all orders %+v", set.t, set.y, got, want)
		}
		if got.TwoSided != got.Absolute {
			asymmetric = true
			if !k.TiedTimes || !k.TiedValues {
				t.Errorf("%v %v: the two conventions differ", set.t, set.y)
			}
		}
	}
	if !asymmetric {
		t.Error("no set in which the two conventions differ")
	}
}

// eachOrder visits all orders of y by Heap's method.
func eachOrder(y []float64, visit func([]float64)) {
	a := append([]float64(nil), y...)
	var run func(k int)
	run = func(k int) {
		if k <= 1 {
			visit(a)
			return
		}
		for i := range k {
			run(k - 1)
			j := 0
			if k%2 == 0 {
				j = i
			}
			if i < k-1 {
				a[j], a[k-1] = a[k-1], a[j]
			}
		}
	}
	run(len(a))
}

// Order of the rows, scale and direction; tau-b against montanaflynn/stats.
func TestKendallLaws(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 11))
	for range 100 {
		n := 2 + r.IntN(14)
		x, y := make([]float64, n), make([]float64, n)
		for i := range x {
			x[i], y[i] = float64(r.IntN(n)), 60+float64(r.IntN(n))/2
		}
		k := must(MannKendall(x, y))(t)
		if want, err := mf.KendallTau(x, y); err == nil && !near(k.TauB, want, 1e-12) || err != nil && !math.IsNaN(k.TauB) {
			t.Errorf("%v %v: tau %v, montanaflynn %v %v", x, y, k.TauB, want, err)
		}
		shuffled := r.Perm(n)
		x2, down := make([]float64, n), make([]float64, n)
		for i, j := range shuffled {
			x2[i], down[i] = x[j]*3-100, -y[j]
		}
		d := must(MannKendall(x2, down))(t)
		if d.S != -k.S || d.VarS != k.VarS || d.P().Increasing != k.P().Decreasing || d.P().TwoSided != k.P().TwoSided {
			t.Errorf("%v %v: %+v; turned over %+v", x, y, k, d)
		}
		for _, p := range []Tails{k.Normal, k.P()} {
			for _, v := range []float64{p.Decreasing, p.Increasing, p.TwoSided, p.Absolute} {
				if !(v > 0 && v <= 1) {
					t.Errorf("%v %v: p %v", x, y, v)
				}
			}
		}
	}
}

func TestMannKendallRefuses(t *testing.T) {
	for name, tt := range map[string]struct {
		t, y []float64
		want error
	}{
		"none":   {nil, nil, interval.ErrTooFew},
		"one":    {[]float64{1}, []float64{2}, interval.ErrTooFew},
		"length": {[]float64{1, 2}, []float64{2}, interval.ErrDomain},
		"NaN":    {[]float64{1, math.NaN()}, []float64{2, 3}, interval.ErrNotFinite},
		"Inf":    {[]float64{1, 2}, []float64{2, math.Inf(-1)}, interval.ErrNotFinite},
		"many":   {make([]float64, mostValues+1), make([]float64, mostValues+1), interval.ErrDomain},
	} {
		if _, err := MannKendall(tt.t, tt.y); !errors.Is(err, tt.want) {
			t.Errorf("MannKendall, %s: %v, want %v", name, err, tt.want)
		}
		if _, err := TheilSen(tt.t, tt.y, 0.95); !errors.Is(err, tt.want) {
			t.Errorf("TheilSen, %s: %v, want %v", name, err, tt.want)
		}
		if _, err := FitLine(tt.t, tt.y, nil); !errors.Is(err, tt.want) {
			t.Errorf("FitLine, %s: %v, want %v", name, err, tt.want)
		}
		if _, err := LargestStep(tt.t, tt.y); !errors.Is(err, tt.want) {
			t.Errorf("LargestStep, %s: %v, want %v", name, err, tt.want)
		}
		if _, err := CompareSlopes(Series{tt.t, tt.y}, Series{[]float64{1, 2, 3}, []float64{2, 3, 5}}, 0.95); !errors.Is(err, tt.want) {
			t.Errorf("CompareSlopes, %s: %v, want %v", name, err, tt.want)
		}
	}
	flat := must(MannKendall([]float64{1, 2, 3}, []float64{5, 5, 5}))(t)
	if flat.S != 0 || flat.VarS != 0 || !math.IsNaN(flat.Z) || !math.IsNaN(flat.TauB) || flat.P() != (Tails{1, 1, 1, 1}) || flat.Normal != (Tails{1, 1, 1, 1}) {
		t.Errorf("flat: %+v", flat)
	}
}
