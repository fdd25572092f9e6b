package columnar

import "encoding/binary"

// hybrid decodes numbers of so many bits, written as runs of one number and as packed
// groups of eight by turns (the RLE/bit-packing hybrid of the Parquet format). It fills
// to, and says how many bytes that took and which number was the largest; ok is false
// where b does not hold so many.
func hybrid(b []byte, bits int, to []int32) (largest int32, ok bool) {
	if bits < 0 || bits > 31 {
		return 0, false
	}
	width := (bits + 7) / 8
	mask := uint64(1)<<bits - 1
	for n := 0; n < len(to); {
		head, k := binary.Uvarint(b)
		if k <= 0 || head>>1 == 0 {
			return largest, false
		}
		b = b[k:]
		if head&1 == 0 {
			if len(b) < width {
				return largest, false
			}
			v := uint64(0)
			for i := range width {
				v |= uint64(b[i]) << (8 * i)
			}
			if v > mask {
				return largest, false
			}
			b = b[width:]
			run := to[n:]
			if head>>1 < uint64(len(run)) {
				run = run[:head>>1]
			}
			for i := range run {
				run[i] = int32(v)
			}
			n += len(run)
			largest = max(largest, int32(v))
			continue
		}
		groups := head >> 1
		if groups > uint64(len(to)) || groups*uint64(bits) > uint64(len(b)) {
			return largest, false
		}
		run := to[n:min(len(to), n+int(groups)*8)]
		most := unpack(b[:int(groups)*bits], bits, mask, run)
		largest = max(largest, most)
		n, b = n+len(run), b[int(groups)*bits:]
	}
	return largest, true
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

// appendHybrid is what hybrid reads: a run where eight or more numbers from here on are
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
