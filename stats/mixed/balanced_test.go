package mixed

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"sealbound/stats"
)

// The closed form against the iterative fit, over sizes, spreads between groups from
// none to nearly all, and levels of the values; groups that do not differ among them.
func TestBalancedAgainstFit(t *testing.T) {
	r := rand.New(rand.NewPCG(21, 1))
	dropped, left := 0, 0
	for trial := range 600 {
		groups, each := 2+r.IntN(9), 2+r.IntN(11)
		if trial%50 == 0 {
			groups = 40
		}
		n := groups * each
		f := stats.Factor{Name: "session", Levels: groups, Codes: make([]int32, n)}
		for i, at := range r.Perm(n) {
			f.Codes[at] = int32(i % groups)
		}
		between := []float64{0, 0, 0.3, 1, 5, 100}[r.IntN(6)]
		effect := make([]float64, groups)
		for g := range effect {
			effect[g] = between * r.NormFloat64()
		}
		y := make([]float64, n)
		for i, c := range f.Codes {
			y[i] = []float64{60, -3, 1e4}[trial%3] + effect[c] + r.NormFloat64()
		}
		b, ok := NewBalanced(Term{Factor: f}, "", n)
		if !ok {
			t.Fatalf("%d x %d is not balanced", groups, each)
		}
		got, ok := b.Fit(y)
		if !ok {
			left++
			continue
		}
		want, err := Design{Y: y, Terms: []Term{{Factor: f}}}.Fit(REML)
		if err != nil {
			t.Fatal(err)
		}
		same := func(what string, x, y float64) {
			t.Helper()
			if math.Abs(x-y) > 1e-9*math.Max(math.Abs(x), math.Abs(y)) {
				t.Errorf("trial %d, %d x %d, between %v: %s %.15g, REML %.15g", trial, groups, each, between, what, x, y)
			}
		}
		c, err := want.Contrast([]float64{1})
		if err != nil {
			t.Fatal(err)
		}
		same("mean", got.Contrast().Value, c.Value)
		same("SE", got.Contrast().SE, c.SE)
		same("df", got.Contrast().DF, c.DF)
		for k, x := range got.Components() {
			if w := want.Components[k]; x.Name != w.Name || x.Dropped != w.Dropped {
				t.Errorf("trial %d: component %+v, REML %+v", trial, x, w)
			}
			if total, _ := got.Total(false); math.Abs(x.Variance-want.Components[k].Variance) > 1e-9*total {
				t.Errorf("trial %d: %s %.15g, REML %.15g", trial, x.Name, x.Variance, want.Components[k].Variance)
			}
		}
		ones := make([]float64, len(want.Components))
		for k := range ones {
			ones[k] = 1
		}
		for _, l := range [][]float64{nil, {1}} {
			v, df, _ := want.VarianceOf(ones, l)
			gotV, gotDF := got.Total(l != nil)
			same("variance", gotV, v)
			same("its df", gotDF, df)
		}
		if !slices.Equal(got.Dropped(), want.Dropped) || !slices.Equal(got.Warnings(), want.Warnings) || got.N() != want.N {
			t.Errorf("trial %d: %v %v %d, REML %v %v %d", trial, got.Dropped(), got.Warnings(), got.N(), want.Dropped, want.Warnings, want.N)
		}
		dropped += len(want.Dropped)
	}
	if dropped < 100 || left > 5 {
		t.Errorf("%d fits without the level, %d left to the iterative fit: want many and few", dropped, left)
	}
}

// What is unbalanced or near a boundary is left to the iterative fit.
func TestBalancedLeavesTheRest(t *testing.T) {
	f := stats.Factor{Name: "session", Codes: []int32{0, 0, 1, 1, 2, 2}, Levels: 3}
	b, ok := NewBalanced(Term{Factor: f}, "closing", 6)
	if !ok {
		t.Fatal("not balanced")
	}
	for name, y := range map[string][]float64{
		"equal":                {60, 60, 60, 60, 60, 60},
		"equal within groups":  {60, 60, 61, 61, 59, 59},
		"nearly":               {60, 60 + 1e-5, 61, 61, 59, 59},
		"nothing but rounding": {1e9, 1e9 + 0.01, 1e9, 1e9, 1e9 + 0.01, 1e9},
		"not a number":         {60, math.NaN(), 61, 62, 59, 60},
		"infinite":             {60, math.Inf(1), 61, 62, 59, 60},
		"too few":              {60, 61, 62, 63},
		"groups just as noise": {0, 2, 0.5, 2.5, -0.5, 2.0},
	} {
		got, ok := b.Fit(y)
		if name == "groups just as noise" { // MSB < MSW
			if !ok || len(got.Dropped()) != 1 {
				t.Errorf("%s: %+v, %v", name, got, ok)
			}
			continue
		}
		if ok {
			t.Errorf("%s: %+v", name, got)
		}
	}
	for name, f := range map[string]stats.Factor{
		"unequal":       {Codes: []int32{0, 0, 0, 1, 1, 2}, Levels: 3},
		"one group":     {Codes: []int32{0, 0, 0, 0, 0, 0}, Levels: 1},
		"one value":     {Codes: []int32{0, 1, 2, 3, 4, 5}, Levels: 6},
		"code outside":  {Codes: []int32{0, 0, 1, 1, 2, 2}, Levels: 2},
		"wrong lengths": {Codes: []int32{0, 0, 1, 1}, Levels: 2},
	} {
		if _, ok := NewBalanced(Term{Factor: f}, "", 6); ok {
			t.Errorf("%s: taken as balanced", name)
		}
	}
	if _, ok := NewBalanced(Term{Factor: f, Slope: make([]float64, 6)}, "", 6); ok {
		t.Error("a slope: taken as balanced")
	}
}

func BenchmarkBalanced(b *testing.B) {
	d := campaign(1, 9, 10, false)
	m, ok := NewBalanced(d.Terms[len(d.Terms)-1], "", len(d.Y))
	if !ok {
		b.Fatal("not balanced")
	}
	b.ReportAllocs()
	for b.Loop() {
		if _, ok := m.Fit(d.Y); !ok {
			b.Fatal("no fit")
		}
	}
}
