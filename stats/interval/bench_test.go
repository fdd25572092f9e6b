package interval

import (
	"math/rand/v2"
	"testing"
)

// Bounds of nested levels: by quadrature with one or two levels above the closings, by
// 100,000 draws with three.
func BenchmarkNestedCoverage(b *testing.B) {
	sessions := [][][]int{}
	for range 9 {
		sessions = append(sessions, [][]int{{10}})
	}
	boxes := [][][]int{}
	for range 6 {
		boxes = append(boxes, [][]int{{4}, {4}})
	}
	for _, bench := range []struct {
		name   string
		counts [][][]int
	}{{"9x10", sessions}, {"6x2x4", boxes}, {"ragged", ragged}} {
		levels, n := hierarchy(bench.counts)
		r := rand.New(rand.NewPCG(1, 1))
		effects := [3][]float64{}
		for l, f := range levels {
			for range f.Levels {
				effects[l] = append(effects[l], inverted(r))
			}
		}
		y := make([]float64, n)
		for i := range y {
			y[i] = 60 + inverted(r)
			for l, f := range levels {
				y[i] += effects[l][f.Codes[i]]
			}
		}
		b.Run(bench.name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := NestedCoverage(y, levels, 0.9, 0.95, 1, 100000); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
