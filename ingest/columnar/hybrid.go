package columnar

import "encoding/binary"

// A hybrid is numbers of so many bits, written as runs of one number and as packed
// groups of eight by turns (the RLE/bit-packing hybrid of the Parquet format).
type hybrid struct {
	b    []byte
	bits int
}

// next is the next run of numbers of which no more than left are wanted: one number, or
// n packed ones. ok is false where there is none, or it does not hold what it says.
func (h *hybrid) next(left int) (n int, v int32, packed []byte, ok bool) {
	if h.bits < 0 || h.bits > 31 {
		return 0, 0, nil, false
	}
	head, k := binary.Uvarint(h.b)
	if k <= 0 || head>>1 == 0 {
		return 0, 0, nil, false
	}
	b := h.b[k:]
	if head&1 == 0 {
		width := (h.bits + 7) / 8
		if len(b) < width {
			return 0, 0, nil, false
		}
		for i := range width {
			v |= int32(b[i]) << (8 * i)
		}
		if v < 0 || uint64(v) > h.mask() {
			return 0, 0, nil, false
		}
		h.b = b[width:]
		return int(min(head>>1, uint64(left))), v, nil, true
	}
	groups := head >> 1
	if groups > uint64(left) || groups*uint64(h.bits) > uint64(len(b)) {
		return 0, 0, nil, false
	}
	size := int(groups) * h.bits
	h.b = b[size:]
	return min(left, int(groups)*8), 0, b[:size:size], true
}

func (h *hybrid) mask() uint64 { return 1<<h.bits - 1 }

// fill decodes as many numbers as to holds. largest is the largest of them; ok is false
// where there are not so many.
func (h *hybrid) fill(to []int32) (largest int32, ok bool) {
	for n := 0; n < len(to); {
		size, v, packed, ok := h.next(len(to) - n)
		if !ok {
			return largest, false
		}
		run := to[n : n+size]
		if n += size; packed != nil {
			largest = max(largest, unpack(packed, h.bits, h.mask(), run))
			continue
		}
		for i := range run {
			run[i] = v
		}
		largest = max(largest, v)
	}
	return largest, true
}

// A run is a number that stands n times in turn.
type run struct{ n, v int32 }

// runs decodes n numbers into runs behind list; few is how many runs it may have. ok is
// false where there are more, or fewer numbers.
func (h *hybrid) runs(n, few int, list []run) (all []run, largest int32, ok bool) {
	var eight [8]int32
	for n > 0 && len(list) <= few {
		size, v, packed, ok := h.next(n)
		if !ok {
			return list, largest, false
		}
		if n -= size; packed == nil {
			list = append(list, run{int32(size), v})
			largest = max(largest, v)
			continue
		}
		for at := 0; size > 0 && len(list) <= few; at += h.bits {
			values := eight[:min(8, size)]
			largest = max(largest, unpack(packed[at:at+h.bits], h.bits, h.mask(), values))
			size -= len(values)
			for _, v := range values {
				if k := len(list) - 1; k >= 0 && list[k].v == v {
					list[k].n++
				} else {
					list = append(list, run{1, v})
				}
			}
		}
	}
	return list, largest, len(list) <= few
}

// unpack reads numbers of so many bits, the lowest bits first.
func unpack(b []byte, bits int, mask uint64, to []int32) (largest int32) {
	i, at := 0, 0
	for ; i < len(to) && at>>3+8 <= len(b); i++ {
		v := int32(binary.LittleEndian.Uint64(b[at>>3:]) >> (at & 7) & mask)
		to[i] = v
		largest = max(largest, v)
		at += bits
	}
	if i < len(to) { // the last bytes, with zeros behind them
		var tail [16]byte
		from := at >> 3
		copy(tail[:], b[from:])
		for ; i < len(to); i++ {
			v := int32(binary.LittleEndian.Uint64(tail[at>>3-from:]) >> (at & 7) & mask)
			to[i] = v
			largest = max(largest, v)
			at += bits
		}
	}
	return largest
}

// appendHybrid is what a hybrid reads: a run where eight or more numbers from here on are
// one, else groups of eight, packed, up to the next run.
func appendHybrid(b []byte, bits int, values []int32) []byte {
	width := (bits + 7) / 8
	for n := 0; n < len(values); {
		if run := alike(values[n:]); run >= 8 || n+run == len(values) {
			b = binary.AppendUvarint(b, uint64(run)<<1)
			for i := range width {
				b = append(b, byte(values[n]>>(8*i)))
			}
			n += run
			continue
		}
		end := n
		for end < len(values) { // in steps of eight, so that a group is full unless it is the last
			if end > n && alike(values[end:min(len(values), end+8)]) == 8 {
				break
			}
			end = min(len(values), end+8)
		}
		groups := (end - n + 7) / 8
		b = binary.AppendUvarint(b, uint64(groups)<<1|1)
		b = appendPacked(b, bits, values[n:end])
		n = end
	}
	return b
}

// alike is how many numbers at the beginning are one.
func alike(values []int32) int {
	n := 1
	for n < len(values) && values[n] == values[0] {
		n++
	}
	return n
}

// appendPacked writes numbers of so many bits, the lowest bits first, and zeros up to
// a full group of eight.
func appendPacked(b []byte, bits int, values []int32) []byte {
	end := len(b) + (len(values)+7)/8*bits
	gathered, have := uint64(0), 0
	for _, v := range values {
		gathered |= uint64(v) << have
		for have += bits; have >= 8; have -= 8 {
			b = append(b, byte(gathered))
			gathered >>= 8
		}
	}
	if have > 0 {
		b = append(b, byte(gathered))
	}
	for len(b) < end {
		b = append(b, 0)
	}
	return b
}
