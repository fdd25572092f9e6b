package columnar

import (
	"encoding/binary"
	"io"
	"math"

	"github.com/apache/arrow/go/v15/parquet"
	"github.com/apache/arrow/go/v15/parquet/compress"
	"github.com/apache/arrow/go/v15/parquet/metadata"
)

// scratch is memory that columns share while they are read.
type scratch struct {
	packed, unpacked []byte
	levels, index    []int32
	numbers          []float64 // a dictionary
	days             []int32   // a dictionary
}

// column reads a column from its pages: a dictionary, then the places in it of the
// rows that have a value. Those of a text become its codes as they are.
func (s *scratch) column(src io.ReaderAt, col *metadata.ColumnChunkMetaData, f Field, c *Column, rows int) error {
	c.Constant = false
	c.noteNothing()
	switch f.Kind {
	case Text:
		c.Codes, c.Dict = resize(c.Codes, rows), append(c.Dict[:0], nil)
	case Number:
		c.Numbers = resize(c.Numbers, rows)
	case Day:
		c.Days = resize(c.Days, rows)
	case Flag:
		c.Flags = resize(c.Flags, rows)
	}
	start, left := col.DataPageOffset(), col.TotalCompressedSize()
	if col.HasDictionaryPage() && col.DictionaryPageOffset() > 0 {
		start = min(start, col.DictionaryPageOffset())
	}
	if col.Compression() != compress.Codecs.Zstd {
		return damaged("a column is packed in another way than here")
	}
	if left > mostPage {
		return damaged("a column of %d bytes", left)
	}
	s.packed = resize(s.packed, int(left))
	if n, err := src.ReadAt(s.packed, start); n < len(s.packed) {
		if err != nil && err != io.EOF {
			return err
		}
		return damaged("a column ends early")
	}
	dictionary, at := -1, 0
	for b := s.packed; len(b) > 0; {
		h, ok := parsePage(b[:min(len(b), mostHeader)])
		if !ok || h.packed < 0 || h.packed > int64(len(b)-h.length) || h.unpacked < 0 || h.unpacked > mostPage || h.values < 0 || h.values > h.most(rows) {
			return damaged("a page that does not fit into its column")
		}
		page, ok := s.unpack(b[h.length:h.length+int(h.packed)], int(h.unpacked))
		if b = b[h.length+int(h.packed):]; !ok {
			return damaged("a page that does not unpack to its size")
		}
		switch {
		case h.kind == dictionaryPage && dictionary < 0:
			dictionary = int(h.values)
			ok = s.dictionary(page, f.Kind, dictionary, c)
		case h.kind == dataPage && int(h.values) <= rows-at:
			ok = s.data(page, f.Kind, parquet.Encoding(h.encoding), at, int(h.values), dictionary, c)
			at += int(h.values)
		default:
			ok = false
		}
		if !ok {
			return damaged("a page of the column %s does not hold what it says", f.Name)
		}
	}
	if at != rows {
		return damaged("the column %s has %d rows of %d", f.Name, at, rows)
	}
	return nil
}

// most is how many values a page can have: a text of a dictionary takes four bytes
// for its length.
func (h *pageHeader) most(rows int) int64 {
	if h.kind == dictionaryPage {
		return h.unpacked / 4
	}
	return int64(rows)
}

func (s *scratch) unpack(page []byte, size int) ([]byte, bool) {
	if len(page) == 0 {
		return nil, size == 0
	}
	if !soundFrame(page, size) {
		return nil, false
	}
	codec, err := compress.GetCodec(compress.Codecs.Zstd)
	if err != nil {
		return nil, false
	}
	s.unpacked = resize(s.unpacked, size)
	out := codec.Decode(s.unpacked, page)
	return out, len(out) == size
}

func (s *scratch) dictionary(b []byte, k Kind, n int, c *Column) bool {
	switch k {
	case Text:
		text := make([]byte, 0, len(b)) // of all the texts, which outlive the page
		for range n {
			if len(b) < 4 {
				return false
			}
			l := binary.LittleEndian.Uint32(b)
			if b = b[4:]; l == 0 || uint64(l) > uint64(len(b)) {
				return false
			}
			from := len(text)
			text = append(text, b[:l]...)
			c.Dict, b = append(c.Dict, text[from:len(text):len(text)]), b[l:]
		}
	case Number:
		if len(b) != 8*n {
			return false
		}
		s.numbers = resize(s.numbers, n)
		for i := range s.numbers {
			if s.numbers[i] = math.Float64frombits(binary.LittleEndian.Uint64(b[8*i:])); math.IsInf(s.numbers[i], 0) {
				return false
			}
		}
		c.note(s.numbers)
	case Day:
		if len(b) != 4*n {
			return false
		}
		s.days = resize(s.days, n)
		for i := range s.days {
			s.days[i] = int32(binary.LittleEndian.Uint32(b[4*i:]))
		}
	default:
		return false
	}
	return true
}

// data reads n rows of a page into the column from row at on.
func (s *scratch) data(b []byte, k Kind, e parquet.Encoding, at, n, dictionary int, c *Column) bool {
	if len(b) < 4 {
		return false
	}
	l := binary.LittleEndian.Uint32(b)
	if b = b[4:]; uint64(l) > uint64(len(b)) {
		return false
	}
	levels, given, ok := s.given(b[:l], n)
	if b = b[l:]; !ok {
		return false
	}
	c.Given += given
	if k == Flag {
		return e == parquet.Encodings.Plain && flags(b, levels, given, c.Flags[at:at+n])
	}
	if given == 0 {
		s.index = s.index[:0]
	} else {
		if dictionary < 0 || e != parquet.Encodings.RLEDict && e != parquet.Encodings.PlainDict || len(b) == 0 {
			return false
		}
		s.index = resize(s.index, given)
		largest, ok := hybrid(b[1:], int(b[0]), s.index)
		if !ok || int(largest) >= dictionary {
			return false
		}
	}
	switch k {
	case Text:
		spreadCodes(c.Codes[at:at+n], levels, s.index)
	case Number:
		spread(c.Numbers[at:at+n], levels, s.index, s.numbers, nan)
	case Day:
		spread(c.Days[at:at+n], levels, s.index, s.days, NoDay)
	}
	return true
}

// given reads which of n rows have a value, and how many; levels is nil where all do.
func (s *scratch) given(b []byte, n int) (levels []int32, given int, ok bool) {
	if head, k := binary.Uvarint(b); k > 0 && head&1 == 0 && head>>1 >= uint64(n) && len(b) > k && b[k] == 1 {
		return nil, n, true
	}
	s.levels = resize(s.levels, n)
	if _, ok := hybrid(b, 1, s.levels); !ok {
		return nil, 0, false
	}
	for _, l := range s.levels {
		given += int(l)
	}
	return s.levels, given, true
}

// spread puts the values of a dictionary where their rows are.
func spread[T float64 | int32](to []T, levels, index []int32, dictionary []T, absent T) {
	if levels == nil {
		for i, k := range index {
			to[i] = dictionary[k]
		}
		return
	}
	k := 0
	for i, l := range levels {
		if l == 0 {
			to[i] = absent
			continue
		}
		to[i] = dictionary[index[k]]
		k++
	}
}

// spreadCodes is spread for texts: entry 0 is the empty one.
func spreadCodes(to []int32, levels, index []int32) {
	if levels == nil {
		for i, k := range index {
			to[i] = k + 1
		}
		return
	}
	k := 0
	for i, l := range levels {
		if l == 0 {
			to[i] = 0
			continue
		}
		to[i] = index[k] + 1
		k++
	}
}

func flags(b []byte, levels []int32, given int, to []bool) bool {
	if len(b) < (given+7)/8 {
		return false
	}
	k := 0
	for i := range to {
		if to[i] = false; levels != nil && levels[i] == 0 {
			continue
		}
		to[i] = b[k/8]>>(k%8)&1 != 0
		k++
	}
	return true
}
