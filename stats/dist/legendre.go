package dist

import (
	"math"
	"sync"
)

// MostNodes is the largest order that Legendre has.
const MostNodes = 64

// Legendre returns the nodes, ascending, and the weights of the Gauss-Legendre rule of
// order n on [-1, 1], by Newton's method on the Legendre polynomial. An order outside
// 2 to MostNodes is taken for the nearest that is inside. The slices are shared: they
// must not be changed. (gonum v0.17.0 has a wrong weight in its rule of order 26.)
func Legendre(n int) (x, w []float64) {
	n = min(max(n, 2), MostNodes)
	rule := &legendreRules[n]
	rule.once.Do(func() {
		rule.x, rule.w = make([]float64, n), make([]float64, n)
		for k := range n {
			z := -math.Cos(math.Pi * (float64(k) + 0.75) / (float64(n) + 0.5))
			var slope float64
			for range 6 {
				p, before := 1.0, 0.0
				for j := range n {
					p, before = ((2*float64(j)+1)*z*p-float64(j)*before)/float64(j+1), p
				}
				slope = float64(n) * (z*p - before) / (z*z - 1)
				z -= p / slope
			}
			rule.x[k], rule.w[k] = z, 2/((1-z*z)*slope*slope)
		}
	})
	return rule.x, rule.w
}

var legendreRules [MostNodes + 1]struct {
	once sync.Once
	x, w []float64
}
