package dist

import (
	"math"
	"testing"

	"sealbound/stats/internal/refcase"
)

func TestMannKendallReference(t *testing.T) {
	refcase.Load(t, "b_mann_kendall_null").EachRow(t, func(r refcase.Row) {
		d := MannKendall{N: int(r.Float("n"))}
		s := int(r.Float("S"))
		r.Check(t, "count", d.Orders(s))
		r.Check(t, "p_upper", d.AtLeast(s))
	})
}

// One-sided p as tabulated for Kendall's S, recomputed in R 4.2.2. Three yearly
// tests can never show a trend; two-sided at 5 % it takes five.
func TestMannKendallTable(t *testing.T) {
	for _, tt := range []struct {
		n, s int
		want float64
	}{{4, 6, 0.0417}, {5, 8, 0.0417}, {5, 10, 0.0083}, {6, 11, 0.0278}, {8, 16, 0.0305}, {10, 21, 0.0363}, {3, 3, 0.1667}} {
		if p := (MannKendall{N: tt.n}).AtLeast(tt.s); math.Abs(p-tt.want) > 5.01e-5 {
			t.Errorf("n %d, S %d: %v, want %v", tt.n, tt.s, p, tt.want)
		}
	}
	for n := 1; n <= 6; n++ {
		d := MannKendall{N: n}
		if p := d.TwoSided(d.Pairs()); (p <= 0.05) != (n >= 5) {
			t.Errorf("n %d: smallest two-sided p %v", n, p)
		}
	}
}

// Every order of a tied sample, written out: a law, no source needed. The
// reference case is R 4.2.2's, by all n! orders.
func TestMannKendallTies(t *testing.T) {
	for _, y := range [][]int{{1, 1}, {1, 1, 2}, {1, 2, 2, 2, 3}, {1, 1, 2, 2, 3, 3}, {1, 1, 1, 2, 2, 3, 4}, {5, 5, 5, 5}} {
		sizes := map[int]int{}
		for _, v := range y {
			sizes[v]++
		}
		d := MannKendall{N: len(y)}
		for _, v := range y {
			if sizes[v] > 1 {
				d.Ties = append(d.Ties, sizes[v])
				sizes[v] = 0
			}
		}
		counts, total, squares := map[int]float64{}, 0.0, 0.0
		permute(y, 0, func(p []int) {
			s := kendallS(p)
			counts[s]++
			total++
			squares += float64(s * s)
		})
		if v := squares / total; math.Abs(v-d.Variance()) > 1e-9 {
			t.Errorf("%v: variance %v, want %v", y, d.Variance(), v)
		}
		tail := 0.0
		for s := d.Pairs() + 1; s >= -d.Pairs()-1; s-- {
			tail += counts[s]
			if p := d.AtLeast(s); math.Abs(p-tail/total) > 1e-12 {
				t.Errorf("%v: P(S >= %d) = %v, want %v", y, s, p, tail/total)
			}
		}
	}
	c := refcase.Load(t, "f_discoveries8_ties")
	y := c.Columns(t).Float("y")
	sizes := map[float64]int{}
	for _, v := range y {
		sizes[v]++
	}
	d := MannKendall{N: len(y)}
	for _, v := range y {
		if sizes[v] > 1 {
			d.Ties = append(d.Ties, sizes[v])
			sizes[v] = 0
		}
	}
	s := int(c.Value(t, "mk.S").Want.Float)
	c.Check(t, "mk.varS", d.Variance())
	c.Check(t, "mk.p_exact_decreasing", d.AtLeast(-s)) // symmetric
	c.Check(t, "mk.p_exact_two_sided_abs", d.TwoSided(s))
}

func kendallS(y []int) int {
	s := 0
	for i := range y {
		for j := i + 1; j < len(y); j++ {
			switch {
			case y[j] > y[i]:
				s++
			case y[j] < y[i]:
				s--
			}
		}
	}
	return s
}

func permute(y []int, k int, visit func([]int)) {
	if k == len(y) {
		visit(y)
		return
	}
	for i := k; i < len(y); i++ {
		y[k], y[i] = y[i], y[k]
		permute(y, k+1, visit)
		y[k], y[i] = y[i], y[k]
	}
}

// Long series: counting meets the normal approximation that takes over.
func TestMannKendallLarge(t *testing.T) {
	// S -1387 in 100 years (Nile, R datasets, whose few ties are left out here): the normal
	// tail is z = 4.13; the exact one is lighter, as that of a bounded S must be.
	d := MannKendall{N: 100}
	exact, normal := d.AtLeast(1387), NormalSurvival(1386/math.Sqrt(d.Variance()))
	if !(exact < normal && exact > 0.7*normal) {
		t.Errorf("exact %v, normal %v", exact, normal)
	}
	// Where counting stops the two meet, in the range of p that decides.
	last, next := MannKendall{N: MaxExactKendall}, MannKendall{N: MaxExactKendall + 1}
	for _, z := range []float64{0.5, 1.645, 1.96, 2.5} {
		a := last.AtLeast(2*int(z*math.Sqrt(last.Variance())/2) + last.Pairs()%2)
		b := next.AtLeast(2*int(z*math.Sqrt(next.Variance())/2) + next.Pairs()%2)
		if math.Abs(a-b) > 5e-4 {
			t.Errorf("z %v: counted %v at %d, normal %v at %d", z, a, last.N, b, next.N)
		}
	}
	// Shares beyond N = 170 continue the counts.
	a, b := MannKendall{N: 170}.AtLeast(1001), MannKendall{N: 171}.AtLeast(1001)
	if !(b > a && b-a < 0.01) {
		t.Errorf("170: %v, 171: %v", a, b)
	}
	if p := (MannKendall{N: 190, Ties: []int{3, 50}}).AtLeast(0); !(p > 0.5-1e-12 && p < 0.51) {
		t.Errorf("shares with ties: %v", p)
	}
}

func TestMannKendallDomain(t *testing.T) {
	for _, d := range []MannKendall{{N: 0}, {N: -3}, {N: 3, Ties: []int{4}}, {N: 5, Ties: []int{3, 3}}, {N: 5, Ties: []int{0}}} {
		for name, got := range map[string]float64{"AtLeast": d.AtLeast(1), "TwoSided": d.TwoSided(1), "Orders": d.Orders(1), "Variance": d.Variance()} {
			if !math.IsNaN(got) {
				t.Errorf("%+v: %s %v", d, name, got)
			}
		}
	}
	if d := (MannKendall{N: 1}); d.AtLeast(0) != 1 || d.AtLeast(1) != 0 || d.TwoSided(0) != 1 || d.Orders(0) != 1 {
		t.Error("one value")
	}
	d := MannKendall{N: 4, Ties: []int{4}}
	if d.Pairs() != 0 || d.TwoSided(0) != 1 || d.Orders(0) != 1 {
		t.Error("all tied")
	}
	if !math.IsNaN(MannKendall{N: 171}.Orders(1)) {
		t.Error("a count that overflows")
	}
}
