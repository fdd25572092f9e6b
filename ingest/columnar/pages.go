package columnar

import (
	"encoding/binary"
	"io"

	"github.com/apache/arrow/go/v15/parquet/compress"
	"github.com/apache/arrow/go/v15/parquet/metadata"
)

// The pages of a column are looked through before the library reads them: it makes
// room for whatever sizes their headers state. Fields are numbered as in
// parquet.thrift of the Parquet format, version 2.

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
	kind, unpacked, packed, values int64
	length                         int // of the header
}

// checkPages goes through the pages of a column of that many rows.
func checkPages(src io.ReaderAt, col *metadata.ColumnChunkMetaData, rows int) error {
	start, left := col.DataPageOffset(), col.TotalCompressedSize()
	if col.HasDictionaryPage() && col.DictionaryPageOffset() > 0 {
		start = min(start, col.DictionaryPageOffset())
	}
	if col.Compression() != compress.Codecs.Zstd {
		return damaged("a column is packed in another way than here")
	}
	buf := make([]byte, max(0, min(mostHeader, left)))
	values := int64(0)
	for left > 0 {
		b := buf[:min(int64(len(buf)), left)]
		if n, err := src.ReadAt(b, start); n < len(b) {
			if err != nil && err != io.EOF {
				return err
			}
			return damaged("a column ends early")
		}
		h, ok := parsePage(b)
		if !ok || h.packed < 0 || h.packed > left-int64(h.length) || h.unpacked < 0 || h.unpacked > mostPage || h.values < 0 {
			return damaged("a page that does not fit into its column")
		}
		switch h.kind {
		case dictionaryPage:
			ok = h.values <= h.unpacked
		case dataPage:
			values += h.values
			ok = values <= int64(rows)
		default:
			ok = false
		}
		if !ok {
			return damaged("a page of more values than its column")
		}
		if ok, err := soundFrame(src, start+int64(h.length), h.packed, h.unpacked); err != nil {
			return err
		} else if !ok {
			return damaged("a page that does not unpack to its size")
		}
		start, left = start+int64(h.length)+h.packed, left-int64(h.length)-h.packed
	}
	return nil
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
	h.kind, h.values = -1, -1
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
			c.fields(1, func(id int64, kind byte) bool { return id == 1 && number(&h.values, kind) })
			return true
		}
		return false
	})
	h.length = c.at
	return h, c.ok && c.at <= len(b)
}

// soundFrame makes sure that a page is one frame of Zstandard (RFC 8878, 3.1.1) that
// says itself what it unpacks to. A page of less than 256 bytes need not, if it is
// one block, which cannot unpack to more than 128 KiB.
func soundFrame(src io.ReaderAt, at, packed, unpacked int64) (bool, error) {
	if packed == 0 {
		return unpacked == 0, nil
	}
	var head [18]byte
	n, err := src.ReadAt(head[:min(int64(len(head)), packed)], at)
	if n < 6 {
		if err == io.EOF {
			err = nil
		}
		return false, err
	}
	if binary.LittleEndian.Uint32(head[:]) != 0xfd2fb528 {
		return false, nil
	}
	d := head[4]
	single, checksum := d&0x20 != 0, d&4 != 0
	p := 5
	if !single {
		p++ // the size of the window
	}
	if d&3 != 0 {
		return false, nil // a dictionary from elsewhere
	}
	size, short := unpacked, false
	switch d >> 6 {
	case 0:
		if short = !single; short {
			break
		}
		size = int64(head[p])
		p++
	case 1:
		size = int64(binary.LittleEndian.Uint16(head[p:])) + 256
		p += 2
	case 2:
		size = int64(binary.LittleEndian.Uint32(head[p:]))
		p += 4
	case 3:
		size = int64(binary.LittleEndian.Uint64(head[p:]))
		p += 8
	}
	if size != unpacked || short && unpacked >= 256 {
		return false, nil
	}
	end := at + packed
	if checksum {
		end -= 4
	}
	for at += int64(p); ; { // the blocks must fill the page, or another frame would follow
		var b [3]byte
		if at+3 > end {
			return false, nil
		}
		if n, err := src.ReadAt(b[:], at); n < len(b) {
			return false, err
		}
		block := int64(b[0]) | int64(b[1])<<8 | int64(b[2])<<16
		at += 3
		switch block >> 1 & 3 {
		case 0, 2: // as it is, packed
			at += block >> 3
		case 1: // one byte repeated
			at++
		default:
			return false, nil
		}
		if last := block&1 != 0; last || short {
			return last && at == end, nil
		}
	}
}
