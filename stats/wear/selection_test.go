package wear

import (
	"math"
	"testing"
)

// Where much is limited, only campaigns in which no closing is limited throughout have
// an estimate, and these are not like all: their early closings happened to be low. The
// modelled slope must then agree with the one that the same campaign gives with nothing
// limited; both share what the selection did to them.
func TestLimitedSelects(t *testing.T) {
	c := yearly(10, 6, 0.2)
	c.limited, c.points = 0.4, 8
	free := c
	free.limited = 0
	n, lower, unlimited, differ := 0, 0, 0, 0
	bias, freeBias := 0.0, 0.0
	for rep := range replicates(120, 4000) {
		seed := c.seed() + 3e8 + uint64(rep)
		m, all := c.make(t, seed), free.make(t, seed)
		s := plain()
		s.LastAge, s.AgeYears = m.age, m.age+1.5
		limited, err := Wear(m.d, s)
		if err != nil {
			t.Fatal(err)
		}
		if math.IsNaN(limited.Slope.Lower) {
			continue
		}
		full, err := Wear(all.d, s)
		if err != nil {
			t.Fatal(err)
		}
		n++
		a, b := limited.Slope.Lower <= m.slope, full.Slope.Lower <= m.slope
		lower += hit(a)
		unlimited += hit(b)
		differ += hit(a != b)
		bias += limited.Slope.Value - m.slope
		freeBias += full.Slope.Value - m.slope
	}
	k := float64(max(1, n))
	t.Logf("%d: lower bound of the slope covers %.3f, with nothing limited %.3f, differing in %d; bias %.3f and %.3f",
		n, float64(lower)/k, float64(unlimited)/k, differ, bias/k, freeBias/k)
	if n < 10 || float64(unlimited-lower) > max(1, 0.01*k) || math.Abs(bias-freeBias)/k > 0.015 {
		t.Errorf("%d: covers %d where nothing limited covers %d; bias %.3f against %.3f", n, lower, unlimited, bias/k, freeBias/k)
	}
}
