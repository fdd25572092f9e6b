package dist

import (
	"math"
	"sync"
	"testing"
)

func TestMemo(t *testing.T) {
	var m memo
	f := func(a, b float64) float64 { return math.Sqrt(a) + 3*b }
	var all sync.WaitGroup
	for range 4 {
		all.Go(func() {
			for round := range 3 { // far more pairs than places
				for a := range 100 {
					for b := range 100 {
						x, y := float64(a)+0.25, float64(b)
						if got := m.of(x, y, f); got != f(x, y) {
							t.Errorf("round %d: f(%v, %v) = %v", round, x, y, got)
							return
						}
					}
				}
			}
		})
	}
	all.Wait()
	calls := 0
	for range 3 {
		m.of(1, 2, func(a, b float64) float64 { calls++; return a + b })
		m.of(2, 1, func(a, b float64) float64 { calls++; return a - b })
	}
	if calls > 2 {
		t.Errorf("two values were worked out %d times", calls)
	}
}
