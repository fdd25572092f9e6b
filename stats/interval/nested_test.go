package interval

import (
	"errors"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"testing"

	"sealbound/stats"
	"sealbound/stats/dist"
)

// hierarchy builds factors from the number of closings of each unit, given as
// boxes of fittings of visits of closings.
func hierarchy(counts [][][]int) (levels []stats.Factor, n int) {
	box, fitting, visit := stats.Factor{Name: "box"}, stats.Factor{Name: "fitting"}, stats.Factor{Name: "visit"}
	for _, fittings := range counts {
		for _, visits := range fittings {
			for _, closings := range visits {
				for range closings {
					box.Codes = append(box.Codes, int32(box.Levels))
					fitting.Codes = append(fitting.Codes, int32(fitting.Levels))
					visit.Codes = append(visit.Codes, int32(visit.Levels))
					n++
				}
				visit.Levels++
			}
			fitting.Levels++
		}
		box.Levels++
	}
	return []stats.Factor{box, fitting, visit}, n
}

var ragged = [][][]int{
	{{3, 1}, {2}},
	{{1}, {4, 2, 2}, {1, 1}},
	{{2, 2}},
	{{5}, {1}},
}

// The share of each level's variance in the mean squares, against the trace of
// the quadratic form: the sum of squares of the indicators of that level's
// units is tr(A Z Z'), by definition of the form.
func TestStratifyExpectations(t *testing.T) {
	levels, n := hierarchy(ragged)
	closing := stats.Factor{Name: "closing", Levels: n}
	for i := range n {
		closing.Codes = append(closing.Codes, int32(i))
	}
	all := append(levels, closing)
	mean := func(y []float64) (float64, []stratum) {
		tiers, err := nest(y, levels)
		if err != nil {
			t.Fatal(err)
		}
		if len(tiers) != 4 {
			t.Fatalf("%d tiers", len(tiers))
		}
		return stratify(tiers)
	}
	_, strata := mean(make([]float64, n))
	trace := make([][]float64, len(all)) // by level of the form, level of the variance
	for l := range trace {
		trace[l] = make([]float64, len(all))
	}
	for j, f := range all {
		for u := range f.Levels {
			y := make([]float64, n)
			for i, c := range f.Codes {
				if int(c) == u {
					y[i] = 1
				}
			}
			_, forms := mean(y)
			for l := range all {
				trace[l][j] += forms[l].ss / forms[l].df
			}
		}
	}
	for l := range all {
		for j := range all {
			want := 0.0
			switch {
			case j == l:
				want = 1
			case j > l:
				want = strata[l].finer[j]
			}
			if math.Abs(trace[l][j]-want) > 1e-12 {
				t.Errorf("mean square of %s, variance of %s: share %v, trace %v", all[l].Name, all[j].Name, want, trace[l][j])
			}
		}
	}
	if df := []float64{strata[0].df, strata[1].df, strata[2].df, strata[3].df}; df[0] != 3 || df[1] != 4 || df[2] != 5 || df[3] != 14 {
		t.Errorf("degrees of freedom %v", df) // 4 boxes, 8 fittings, 13 visits, 27 closings
	}
}

// One level, or levels that do not divide, is the exact tolerance bound.
func TestNestedCoverageOneLevel(t *testing.T) {
	y := []float64{61.2, 58.9, 63.4, 60.1, 57.7, 62.8}
	mean, sd, err := MeanSD(y)
	if err != nil {
		t.Fatal(err)
	}
	k, err := LowerFactor(len(y), 0.9, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	one := stats.Factor{Name: "box", Codes: make([]int32, 6), Levels: 1}
	each := stats.Factor{Name: "fitting", Codes: []int32{3, 1, 0, 2, 5, 4}, Levels: 7}
	for name, levels := range map[string][]stats.Factor{
		"none": nil, "one box": {one}, "one closing in each": {one, each}, "twice the same": {each, each},
	} {
		b, err := NestedCoverage(y, levels, 0.9, 0.95, 1, 100)
		if err != nil || math.Abs(b.Lower-(mean-k*sd)) > 1e-12 || b.Upper <= b.Lower || b.Method != Exact {
			t.Errorf("%s: %+v, %v; want %v", name, b, err, mean-k*sd)
		}
	}
	// The bound of a level that is left out is that of the levels that remain.
	pair := stats.Factor{Name: "visit", Codes: []int32{0, 0, 1, 1, 2, 2}, Levels: 3}
	want, err := NestedCoverage(y, []stats.Factor{pair}, 0.9, 0.95, 1, 1000)
	if err != nil {
		t.Fatal(err)
	}
	got, err := NestedCoverage(y, []stats.Factor{one, pair, pair}, 0.9, 0.95, 1, 1000)
	if err != nil || got != want {
		t.Errorf("with redundant levels %v, %v; want %v", got, err, want)
	}
}

// Drawn bounds of one-level data agree with the exact ones: the pivot is the
// same, only drawn. 200,000 draws, three standard errors of a quantile.
func TestNestedPivotAgainstNoncentralT(t *testing.T) {
	y := []float64{61.2, 58.9, 63.4, 60.1, 57.7, 62.8}
	tiers, err := nest(y, nil)
	if err != nil {
		t.Fatal(err)
	}
	mean, strata := stratify(tiers)
	const draws = 200000
	g := generalized{mean: mean, units: 6, z: dist.NormalQuantile(0.9), strata: strata}
	sample := g.sample(rand.New(rand.NewPCG(3, nestedStream)), draws)
	_, sd, err := MeanSD(y)
	if err != nil {
		t.Fatal(err)
	}
	for _, confidence := range []float64{0.05, 0.5, 0.9, 0.95, 0.99} {
		k, err := LowerFactor(6, 0.9, confidence)
		if err != nil {
			t.Fatal(err)
		}
		below := 0
		for _, v := range sample {
			if v <= mean-k*sd {
				below++
			}
		}
		got, want := float64(below)/draws, 1-confidence
		if math.Abs(got-want) > 3*math.Sqrt(want*(1-want)/draws) {
			t.Errorf("confidence %v: share %v below the exact bound, want %v", confidence, got, want)
		}
	}
}

// Equivariance, reproducibility and independence of the order of rows.
func TestNestedCoverageLaws(t *testing.T) {
	levels, n := hierarchy(ragged)
	r := rand.New(rand.NewPCG(11, 0))
	y := make([]float64, n)
	for i := range y {
		y[i] = 60 + 2*normal(r) + float64(levels[0].Codes[i])
	}
	bounds := func(y []float64, levels []stats.Factor, seed uint64) (float64, float64) {
		t.Helper()
		b, err := NestedCoverage(y, levels, 0.9, 0.95, seed, 5000)
		if err != nil {
			t.Fatal(err)
		}
		return b.Lower, b.Upper
	}
	lower, upper := bounds(y, levels, 1)
	if again, _ := bounds(y, levels, 1); again != lower {
		t.Errorf("same seed: %v, then %v", lower, again)
	}
	if other, _ := bounds(y, levels, 2); other == lower || math.Abs(other-lower) > 0.5 {
		t.Errorf("another seed: %v and %v", lower, other)
	}
	scaled := make([]float64, n)
	for i, v := range y {
		scaled[i] = 4*v - 100
	}
	if l, u := bounds(scaled, levels, 1); math.Abs(l-(4*lower-100)) > 1e-9 || math.Abs(u-(4*upper-100)) > 1e-9 {
		t.Errorf("4*y - 100: %v, %v; want %v, %v", l, u, 4*lower-100, 4*upper-100)
	}
	order := r.Perm(n)
	mixedY, mixed := make([]float64, n), make([]stats.Factor, len(levels))
	for i, o := range order {
		mixedY[i] = y[o]
	}
	for l, f := range levels {
		mixed[l] = stats.Factor{Name: f.Name, Levels: f.Levels, Codes: make([]int32, n)}
		for i, o := range order {
			mixed[l].Codes[i] = f.Codes[o]
		}
	}
	if l, u := bounds(mixedY, mixed, 1); l != lower || u != upper {
		t.Errorf("rows in another order: %v, %v; want %v, %v to the bit", l, u, lower, upper)
	}
	equal := make([]float64, n)
	for i := range equal {
		equal[i] = 60.25
	}
	// Upside down, the level that a tenth exceeds takes the place of that which
	// nine tenths exceed.
	down := make([]float64, n)
	for i, v := range y {
		down[i] = -v
	}
	if b, err := NestedCoverage(down, levels, 0.1, 0.95, 1, 5000); err != nil || math.Abs(b.Lower+upper) > 1e-9 || math.Abs(b.Upper+lower) > 1e-9 {
		t.Errorf("-y: %+v, %v; want %v, %v", b, err, -upper, -lower)
	}
	if l, u := bounds(equal, levels, 1); l != 60.25 || u != 60.25 {
		t.Errorf("equal values: %v, %v", l, u)
	}
}

func TestNestedCoverageRefuses(t *testing.T) {
	levels, n := hierarchy(ragged)
	y := make([]float64, n)
	swapped := []stats.Factor{levels[1], levels[0]}
	short := []stats.Factor{{Name: "box", Codes: levels[0].Codes[1:], Levels: 4}}
	outside := []stats.Factor{{Name: "box", Codes: levels[0].Codes, Levels: 2}}
	nan := append([]float64{math.NaN()}, y[1:]...)
	for name, tt := range map[string]struct {
		y                    []float64
		levels               []stats.Factor
		coverage, confidence float64
		draws                int
		want                 error
	}{
		"not nested":   {y, swapped, 0.9, 0.95, 1000, ErrDomain},
		"short factor": {y, short, 0.9, 0.95, 1000, ErrDomain},
		"code outside": {y, outside, 0.9, 0.95, 1000, ErrDomain},
		"coverage 1":   {y, levels, 1, 0.95, 1000, ErrDomain},
		"confidence 0": {y, levels, 0.9, 0, 1000, ErrDomain},
		"NaN coverage": {y, levels, math.NaN(), 0.95, 1000, ErrDomain},
		"few draws":    {y, levels, 0.9, 0.95, 99, ErrDomain},
		"NaN":          {nan, levels, 0.9, 0.95, 1000, ErrNotFinite},
		"one value":    {y[:1], nil, 0.9, 0.95, 1000, ErrTooFew},
		"empty":        {nil, nil, 0.9, 0.95, 1000, ErrTooFew},
	} {
		if _, err := NestedCoverage(tt.y, tt.levels, tt.coverage, tt.confidence, 1, tt.draws); !errors.Is(err, tt.want) {
			t.Errorf("%s: %v, want %v", name, err, tt.want)
		}
	}
}

// The share of made-up campaigns in which the bound lies below the level that it
// bounds, and the upper one above it: at least 0.93 at nominal 0.95, from no
// variance between boxes to almost nothing else.
func TestNestedCoverageSimulated(t *testing.T) {
	campaigns, draws := 500, 300
	if os.Getenv("SEALBOUND_LONG") != "" {
		campaigns, draws = 4000, 1000
	}
	z := dist.NormalQuantile(0.9)
	type design struct {
		name   string
		counts [][][]int
	}
	var designs []design
	for _, boxes := range []int{3, 6} {
		for _, closings := range []int{1, 2, 4} {
			d := design{name: string(rune('0'+boxes)) + " boxes x " + string(rune('0'+closings))}
			for range boxes {
				d.counts = append(d.counts, [][]int{{closings}})
			}
			designs = append(designs, d)
		}
	}
	designs = append(designs,
		design{"unequal closings", [][][]int{{{1}}, {{4}}, {{2}}, {{1}}, {{3}}}},
		design{"4 boxes x 2 fittings x 2 visits x 2", [][][]int{
			{{2, 2}, {2, 2}}, {{2, 2}, {2, 2}}, {{2, 2}, {2, 2}}, {{2, 2}, {2, 2}}}},
		design{"ragged levels", ragged},
	)
	for i, d := range designs {
		levels, n := hierarchy(d.counts)
		for j, boxSD := range []float64{0, 0.5, 1, 5} {
			// Fittings and visits get a third of the boxes' spread and 0.
			sds := []float64{boxSD, boxSD / 3, 0}
			total := 1.0
			for _, sd := range sds {
				total += sd * sd
			}
			level := 60 - z*math.Sqrt(total)
			r := rand.New(rand.NewPCG(uint64(100*i+j), 0))
			below, above := 0, 0
			for c := range campaigns {
				y := make([]float64, n)
				for k := range y {
					y[k] = 60 + inverted(r)
				}
				for l, f := range levels {
					effect := make([]float64, f.Levels)
					for u := range effect {
						effect[u] = sds[l] * inverted(r)
					}
					for k, code := range f.Codes {
						y[k] += effect[code]
					}
				}
				b, err := NestedCoverage(y, levels, 0.9, 0.95, uint64(c), draws)
				if err != nil {
					t.Fatal(err)
				}
				if b.Lower <= level {
					below++
				}
				if b.Upper >= level {
					above++
				}
			}
			low, high := float64(below)/float64(campaigns), float64(above)/float64(campaigns)
			t.Logf("%-36s box SD %3.1f: lower %.3f, upper %.3f", d.name, boxSD, low, high)
			if low < 0.93 || high < 0.93 {
				t.Errorf("%s, box SD %v: lower bound holds in %.3f, upper in %.3f", d.name, boxSD, low, high)
			}
		}
	}
}

// inverted draws a standard normal number by inversion.
func inverted(r *rand.Rand) float64 { return dist.NormalQuantile(uniform(r)) }

func TestNth(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 3))
	for range 200 {
		x := make([]float64, 1+r.IntN(60))
		for i := range x {
			x[i] = float64(r.IntN(20)) // with ties
		}
		sorted := slices.Sorted(slices.Values(x))
		for k := range x {
			if got := nth(slices.Clone(x), k); got != sorted[k] {
				t.Fatalf("%v: value %d is %v, want %v", x, k, got, sorted[k])
			}
		}
	}
}
