package dist

import (
	"math"
	"sync/atomic"
)

// A memo remembers values of a function of two numbers that takes long to work out: the
// cells of a campaign ask for the same few quantiles over and over. It holds one value
// for each of its places, so it never grows, and is safe for concurrent use. What it
// returns is to the bit what the function gave.
type memo [256]atomic.Pointer[remembered]

type remembered struct{ a, b, value float64 }

// of returns f(a, b).
func (m *memo) of(a, b float64, f func(a, b float64) float64) float64 {
	const mix = 0x9e3779b97f4a7c15 // 2^64 over the golden ratio spreads neighbours
	place := &m[(math.Float64bits(a)*mix^math.Float64bits(b))*mix>>56]
	if r := place.Load(); r != nil && r.a == a && r.b == b {
		return r.value
	}
	r := &remembered{a, b, f(a, b)}
	place.Store(r)
	return r.value
}
