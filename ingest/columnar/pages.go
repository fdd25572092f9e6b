package columnar

import (
	"encoding/binary"

	"github.com/apache/arrow/go/v15/parquet"
)

// The headers of pages are written and read here: what a page states is compared with the file
// before room is made for it. Fields are numbered as in parquet.thrift of the Parquet
// format, version 2.

const (
	dataPage       = 0
	dictionaryPage = 2

	// mostPage bounds a page, unpacked. A dictionary of labels is the largest.
	mostPage = 256 << 20
	// mostHeader is how much of a page is looked at for its header, which holds the
	// least and the greatest value too.
	mostHeader = 64 << 10
)

// A pageHeader is what is needed of one.
type pageHeader struct {
	kind, unpacked, packed, values, encoding int64
	length                                   int // of the header
}

// A compact reads Thrift's compact protocol.
type compact struct {
	b  []byte
	at int
	ok bool
}

func (c *compact) byte() byte {
	if c.at >= len(c.b) {
		c.ok = false
		return 0
	}
	c.at++
	return c.b[c.at-1]
}

func (c *compact) unsigned() uint64 {
	v, n := binary.Uvarint(c.b[min(c.at, len(c.b)):])
	if n <= 0 {
		c.ok = false
		return 0
	}
	c.at += n
	return v
}

func (c *compact) signed() int64 {
	u := c.unsigned()
	return int64(u>>1) ^ -int64(u&1)
}

// Kinds of values of the compact protocol.
const (
	compactStop   = 0
	compactTrue   = 1
	compactFalse  = 2
	compactByte   = 3
	compactInt16  = 4
	compactInt32  = 5
	compactInt64  = 6
	compactDouble = 7
	compactBinary = 8
	compactStruct = 12
)

// fields visits the fields of a structure; visit reads the value or leaves it.
func (c *compact) fields(depth int, visit func(id int64, kind byte) bool) {
	id := int64(0)
	for c.ok {
		head := c.byte()
		kind := head & 15
		if kind == compactStop {
			return
		}
		if delta := int64(head >> 4); delta != 0 {
			id += delta
		} else {
			id = c.signed()
		}
		if !visit(id, kind) {
			c.skip(kind, depth)
		}
	}
}

// skip passes over a value. Page headers hold no lists.
func (c *compact) skip(kind byte, depth int) {
	switch kind {
	case compactTrue, compactFalse:
	case compactByte:
		c.byte()
	case compactInt16, compactInt32, compactInt64:
		c.unsigned()
	case compactDouble:
		c.at += 8
	case compactBinary:
		if n := c.unsigned(); n <= uint64(len(c.b)) {
			c.at += int(n)
		} else {
			c.ok = false
		}
	case compactStruct:
		if depth > 8 {
			c.ok = false
			return
		}
		c.fields(depth+1, func(int64, byte) bool { return false })
	default:
		c.ok = false
	}
}

// parsePage reads a page's header.
func parsePage(b []byte) (h pageHeader, ok bool) {
	c := compact{b: b, ok: true}
	h.kind, h.values, h.encoding = -1, -1, -1
	number := func(to *int64, kind byte) bool {
		if kind != compactInt32 {
			c.ok = false
			return false
		}
		*to = c.signed()
		return true
	}
	c.fields(0, func(id int64, kind byte) bool {
		switch {
		case id == 1:
			return number(&h.kind, kind)
		case id == 2:
			return number(&h.unpacked, kind)
		case id == 3:
			return number(&h.packed, kind)
		case (id == 5 || id == 7) && kind == compactStruct: // of a data page, of a dictionary
			c.fields(1, func(id int64, kind byte) bool {
				return id == 1 && number(&h.values, kind) || id == 2 && number(&h.encoding, kind)
			})
			return true
		}
		return false
	})
	h.length = c.at
	return h, c.ok && c.at <= len(b)
}

// appendPage writes the header of a page.
func appendPage(b []byte, h pageHeader) []byte {
	number := func(step byte, v int64) {
		b = append(b, step<<4|compactInt32)
		b = binary.AppendVarint(b, v) // zigzag, as Thrift has it
	}
	number(1, h.kind)
	number(1, h.unpacked)
	number(1, h.packed)
	step := byte(2) // field 5, of a data page
	if h.kind == dictionaryPage {
		step = 4 // field 7
	}
	b = append(b, step<<4|compactStruct)
	number(1, h.values)
	number(1, h.encoding)
	if h.kind == dataPage {
		number(1, int64(parquet.Encodings.RLE)) // of the levels: which rows have a value
		number(1, int64(parquet.Encodings.RLE))
	}
	return append(b, compactStop, compactStop)
}
