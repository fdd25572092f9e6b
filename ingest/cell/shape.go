package cell

import (
	"bytes"
	"encoding/binary"
)

// A Shape is how a number was written: its sign, and how many digits stand before
// and behind its point. The numbers of a column mostly share theirs, and one that
// has a known shape is read without looking for its end, eight bytes at a time.
// Where the next cell begins then does not wait for this one to be read.
//
// The zero value is no shape.
type Shape struct {
	size  int  // bytes, 0 for no shape
	sign  byte // 0 where there is none
	eight bool // eight digits stand before those of which the rest tells

	keep, other uint64 // which bytes to look at, and which of them are no digits
	at, want    uint64 // the point and what stands behind the number
	before      uint64 // the bytes before the point
	shift       uint
	tens        float64 // what the number is to be divided by, or multiplied with
	times       bool
	later       uint64 // ten to the number of digits behind the first eight
}

const (
	zeros = 0x3030303030303030
	tops  = 0x8080808080808080
)

// others marks the bytes of x that are no digits' values.
func others(x uint64) uint64 { return (x&^tops + 0x7676767676767676 | x) & tops }

// value is the number of eight digits' values, the first in the lowest byte:
// neighbours are joined three times.
func value(x uint64) uint64 {
	x = x * (10<<8 + 1) >> 8 & 0x00ff00ff00ff00ff
	x = x * (100<<16 + 1) >> 16 & 0x0000ffff0000ffff
	return x * (10000<<32 + 1) >> 32
}

// Learn takes the shape of the number that Leading has found at the beginning of b,
// size bytes long; 0 leaves no shape.
func (s *Shape) Learn(b []byte, size, scale int) {
	*s = Shape{}
	if size < 1 || size >= len(b) {
		return
	}
	text := b[:size]
	var sign byte
	if text[0] == '-' || text[0] == '+' {
		sign, text = text[0], text[1:]
	}
	long := len(text) >= 8 && bytes.IndexByte(text[:8], '.') < 0
	if long {
		text = text[8:]
	}
	n := len(text)
	if n > 7 {
		return
	}
	digits, e := n, scale
	s.before = ^uint64(0)
	if i := bytes.IndexByte(text, '.'); i >= 0 {
		digits, e = n-1, scale-(n-1-i)
		s.before = 1<<(8*i) - 1
		s.other |= 0x80 << (8 * i)
		s.at |= 0xff << (8 * i)
		s.want |= ('.' ^ '0') << (8 * i)
	}
	s.keep = tops >> (8 * (7 - n))
	s.other |= 0x80 << (8 * n)
	s.at |= 0xff << (8 * n)
	s.want |= uint64(b[size]^'0') << (8 * n)
	s.shift = uint(64 - 8*digits)
	s.later = 1
	for range digits {
		s.later *= 10
	}
	if s.times = e > 0; s.times {
		s.tens = powers[e]
	} else {
		s.tens = powers[-e]
	}
	s.size, s.sign, s.eight = size, sign, long
}

// Read reads a number of this shape from the beginning of b, and gives its length,
// as Leading would; 0 where b begins otherwise or ends too soon to tell.
func (s *Shape) Read(b []byte) (float64, int) {
	if s.size == 0 || len(b) < 17 {
		return 0, 0
	}
	if s.sign != 0 {
		if b[0] != s.sign {
			return 0, 0
		}
		b = b[1:]
	}
	var m uint64
	if s.eight {
		x := binary.LittleEndian.Uint64(b) ^ zeros
		if others(x) != 0 {
			return 0, 0
		}
		m = value(x) * s.later
		b = b[8:]
	}
	x := binary.LittleEndian.Uint64(b) ^ zeros
	if others(x)&s.keep != s.other || x&s.at != s.want {
		return 0, 0
	}
	if m += value((x&s.before | x>>8&^s.before) << s.shift); m > maxExact {
		return 0, 0
	}
	v := float64(int64(m))
	if s.times {
		v *= s.tens
	} else {
		v /= s.tens
	}
	if s.sign == '-' {
		v = 0 - v // zero stays without a sign
	}
	return v, s.size
}
