package interval

import (
	"math"
	"math/rand/v2"
)

func (g generalized) sample(r *rand.Rand, draws int) []float64 {
	out := make([]float64, draws)
	single := make([]float64, len(g.strata)) // variance of each level alone
	for i := range out {
		var total, top float64
		for l := len(g.strata) - 1; l >= 0; l-- {
			s := g.strata[l]
			top = s.ss / chiSquare(r, s.df)
			single[l] = top
			for j := l + 1; j < len(g.strata); j++ {
				single[l] -= s.finer[j] * single[j]
			}
			single[l] = math.Max(0, single[l])
			total += single[l]
		}
		out[i] = g.mean - normal(r)*math.Sqrt(top/g.units) - g.z*math.Sqrt(total)
	}
	return out
}

// normal draws a standard normal number.
func normal(r *rand.Rand) float64 { return r.NormFloat64() }

// uniform returns a number inside (0, 1).
func uniform(r *rand.Rand) float64 { return (float64(r.Uint64()>>11) + 0.5) / (1 << 53) }

// chiSquare draws from chi-square with df > 0 degrees of freedom, by rejection from
// a cubed normal number; the squeeze spares most draws their logarithms. Source: G.
// Marsaglia and W. W. Tsang, ACM Transactions on Mathematical Software 26 (2000)
// 363-372.
func chiSquare(r *rand.Rand, df float64) float64 {
	shape, boost := df/2, 1.0
	if shape < 1 {
		boost = math.Pow(uniform(r), 1/shape)
		shape++
	}
	d := shape - 1.0/3
	c := 1 / math.Sqrt(9*d)
	for {
		x := normal(r)
		v := 1 + c*x
		if v <= 0 {
			continue
		}
		v = v * v * v
		u := uniform(r)
		x2 := x * x
		if u < 1-0.0331*x2*x2 || math.Log(u) < 0.5*x2+d-d*v+d*math.Log(v) {
			// Never 0, which would divide: that would take a draw below 1e-300.
			return math.Max(2*d*v*boost, 1e-300)
		}
	}
}

// nth returns the value that would stand at index k if x were sorted. It reorders x.
// Median-of-three partitions: linear time on draws, which come in no order.
func nth(x []float64, k int) float64 {
	lo, hi := 0, len(x)-1
	for lo < hi {
		mid := lo + (hi-lo)/2
		if x[mid] < x[lo] {
			x[mid], x[lo] = x[lo], x[mid]
		}
		if x[hi] < x[lo] {
			x[hi], x[lo] = x[lo], x[hi]
		}
		if x[hi] < x[mid] {
			x[hi], x[mid] = x[mid], x[hi]
		}
		pivot := x[mid]
		i, j := lo, hi
		for i <= j {
			for x[i] < pivot {
				i++
			}
			for x[j] > pivot {
				j--
			}
			if i <= j {
				x[i], x[j] = x[j], x[i]
				i++
				j--
			}
		}
		switch {
		case k <= j:
			hi = j
		case k >= i:
			lo = i
		default:
			return x[k]
		}
	}
	return x[k]
}
