package band

import "math/bits"

// A bitset is a set of point codes.
type bitset []uint64

// bitsets returns n empty sets for codes below size.
func bitsets(n, size int) []bitset {
	words := (size + 63) / 64
	all := make([]uint64, n*words)
	sets := make([]bitset, n)
	for i := range sets {
		sets[i] = all[i*words : (i+1)*words : (i+1)*words]
	}
	return sets
}

func (b bitset) add(i int)      { b[i/64] |= 1 << (i % 64) }
func (b bitset) has(i int) bool { return b[i/64]>>(i%64)&1 == 1 }

func (b bitset) clear() { clear(b) }

func (b bitset) fill(size int) {
	for i := range size {
		b.add(i)
	}
}

func (b bitset) union(o bitset) {
	for i := range b {
		b[i] |= o[i]
	}
}

func (b bitset) intersect(o bitset) {
	for i := range b {
		b[i] &= o[i]
	}
}

func (b bitset) count() int {
	n := 0
	for _, w := range b {
		n += bits.OnesCount64(w)
	}
	return n
}

// common counts what b and o share.
func (b bitset) common(o bitset) int {
	n := 0
	for i, w := range b {
		n += bits.OnesCount64(w & o[i])
	}
	return n
}

// members lists the set in rising order.
func (b bitset) members() []int32 {
	list := make([]int32, 0, b.count())
	for i, w := range b {
		for ; w != 0; w &= w - 1 {
			list = append(list, int32(i*64+bits.TrailingZeros64(w)))
		}
	}
	return list
}
