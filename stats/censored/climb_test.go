package censored

import (
	"math"
	"math/rand/v2"
	"testing"
)

// Sigma found together with the effects against sigma found by a search over the best
// effects at each: designs of every shape, readings missing or coarsely rounded.
func TestTogetherAgainstSearch(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 4))
	found := 0
	for trial := range 1500 {
		rows, cols := 2+r.IntN(7), 2+r.IntN(9)
		if trial%100 == 0 {
			rows, cols = 5+r.IntN(20), 5+r.IntN(20)
		}
		y, kind := make([]float64, rows*cols), make([]cell, rows*cols)
		closing := make([]float64, rows)
		for i := range closing {
			closing[i] = r.NormFloat64()
		}
		limit, missed := 60+6*r.Float64()-3, []float64{0, 0.1, 0.3}[r.IntN(3)]
		for at := range y {
			point := float64(at%cols) / 2
			y[at], kind[at] = 60+point+closing[at/cols]+[]float64{0.1, 1}[trial%2]*r.NormFloat64(), seen
			if y[at] > limit+point {
				y[at], kind[at] = limit+point, limited
			}
			if trial%7 == 0 {
				y[at] = math.Floor(y[at])
			}
			if r.Float64() < missed {
				kind[at] = missing
			}
		}
		a, b := newTwoWay(rows, cols, y, kind), newTwoWay(rows, cols, y, kind)
		if a.cut == 0 || a.seen == 0 || !a.linked() {
			continue
		}
		start := a.substitute()
		b.substitute()
		if !(start > 0) {
			continue
		}
		a.sigma = start
		ok, status := a.together(), b.spread(start)
		if !ok {
			if status == Estimated {
				t.Errorf("trial %d, %d x %d: not found, by search sigma %v", trial, rows, cols, b.sigma)
			}
			continue
		}
		if status != Estimated {
			if status == NoSpread && a.sigma > 1e-3*start {
				t.Errorf("trial %d, %d x %d: sigma %v, by search %v", trial, rows, cols, a.sigma, status)
			}
			continue
		}
		found++
		off := math.Abs(a.sigma - b.sigma)
		for i := range a.row { // differences of closings: a constant may move to the points
			off = math.Max(off, math.Abs(a.row[i]-a.row[0]-b.row[i]+b.row[0]))
		}
		if off > 1e-8 {
			t.Errorf("trial %d, %d x %d: sigma %v and effects off by %v, by search sigma %v", trial, rows, cols, a.sigma, off, b.sigma)
		}
	}
	if found < 200 {
		t.Errorf("%d fits compared", found)
	}
}
