package censored

import (
	"math"
	"math/rand/v2"
	"testing"
)

// The model keeps its form where effects are added to the readings and their spread is
// made small, so a fit must say the same of both: also where closings and points differ by
// tens of dB and readings hardly scatter about them.
func TestSmallSpread(t *testing.T) {
	r := rand.New(rand.NewPCG(8, 8))
	compared := 0
	for trial := range 400 {
		rows, cols := 3+r.IntN(6), 3+r.IntN(8)
		spread := math.Pow(10, -6+5*r.Float64())
		closing, point := make([]float64, rows), make([]float64, cols)
		for i := range closing {
			closing[i] = 20 * r.NormFloat64()
		}
		for j := range point {
			point[j] = 60 + 20*r.NormFloat64()
		}
		n := rows * cols
		plain, far, kind := make([]float64, n), make([]float64, n), make([]cell, n)
		for at := range plain {
			plain[at], kind[at] = r.NormFloat64(), seen
			switch u := r.Float64(); {
			case u < 0.15:
				kind[at] = missing
			case u < 0.35:
				plain[at], kind[at] = plain[at]-math.Abs(r.NormFloat64()), limited
			}
			far[at] = closing[at/cols] + point[at%cols] + spread*plain[at]
		}
		a, b := newTwoWay(rows, cols, plain, kind), newTwoWay(rows, cols, far, kind)
		if !a.linked() || a.fit() != Estimated {
			continue
		}
		compared++
		if status := b.fit(); status != Estimated {
			t.Errorf("trial %d, %d x %d, spread %.2g: %v", trial, rows, cols, spread, status)
			continue
		}
		off := math.Abs(b.sigma/spread - a.sigma)
		for i := range a.row { // a constant may move to the points
			of := (b.row[i] - b.row[0] - closing[i] + closing[0]) / spread
			off = math.Max(off, math.Abs(of-a.row[i]+a.row[0]))
		}
		if off > 1e-12/spread+1e-7 {
			t.Errorf("trial %d, %d x %d, spread %.2g: off by %v of it", trial, rows, cols, spread, off)
		}
	}
	if compared < 200 {
		t.Errorf("%d fits compared", compared)
	}
}

// Readings that are sums of two effects to the last digit show no spread, and their
// rounding in 64 bits is none.
func TestRoundingIsNoSpread(t *testing.T) {
	r := rand.New(rand.NewPCG(8, 9))
	for trial := range 200 {
		rows, cols := 2+r.IntN(6), 2+r.IntN(8)
		y, kind := make([]float64, rows*cols), make([]cell, rows*cols)
		closing, point := make([]int, rows), make([]int, cols) // in thousandths of a dB
		for i := range closing {
			closing[i] = r.IntN(5000)
		}
		for j := range point {
			point[j] = 50000 + r.IntN(20000)
		}
		for at := range y {
			y[at], kind[at] = float64(closing[at/cols]+point[at%cols])/1000, seen
			if r.Float64() < 0.2 {
				kind[at] = limited
			}
		}
		w := newTwoWay(rows, cols, y, kind)
		if !w.linked() {
			continue
		}
		if status := w.fit(); status != NoSpread {
			t.Errorf("trial %d, %d x %d, %d limited: %v, sigma %v", trial, rows, cols, w.cut, status, w.sigma)
		}
	}
}
