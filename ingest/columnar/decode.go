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
	given, values    []run
	numbers          []float64 // a dictionary
	days             []int32   // a dictionary
}

// column reads a column from its pages: a dictionary, then the places in it of the
// rows that have a value. Those of a text become its codes as they are.
func (s *scratch) column(src io.ReaderAt, col *metadata.ColumnChunkMetaData, f Field, c *Column, rows int) error {
	c.Constant, c.Starts = false, c.Starts[:0]
	byRun := f.Kind == Text || f.Kind == Day // while there are few
	c.noteNothing()
	switch f.Kind {
	case Text:
		c.Codes, c.Dict = c.Codes[:0], append(c.Dict[:0], nil)
	case Number:
		c.Numbers = resize(c.Numbers, rows)
	case Day:
		c.Days = c.Days[:0]
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
			if p := (dataOf{page, parquet.Encoding(h.encoding), at, int(h.values), dictionary}); !byRun {
				ok = s.data(p, f.Kind, c)
			} else if byRun = s.stretches(p, f.Kind, rows/fewStretches, c); !byRun {
				c.expand(f.Kind, at, rows)
				ok = s.data(p, f.Kind, c)
			}
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

// A dataOf is a page of data, unpacked: n rows from row at of the column on.
type dataOf struct {
	b          []byte
	encoding   parquet.Encoding
	at, n      int
	dictionary int // how many values that has; negative where there is none
}

// split parts which rows have a value from the values.
func (p *dataOf) split() (levels, values []byte, ok bool) {
	if len(p.b) < 4 {
		return nil, nil, false
	}
	l := binary.LittleEndian.Uint32(p.b)
	if b := p.b[4:]; uint64(l) <= uint64(len(b)) {
		return b[:l], b[l:], true
	}
	return nil, nil, false
}

// places are where the values stand in the dictionary.
func (p *dataOf) places(values []byte) (hybrid, bool) {
	if p.dictionary < 0 || p.encoding != parquet.Encodings.RLEDict && p.encoding != parquet.Encodings.PlainDict || len(values) == 0 {
		return hybrid{}, false
	}
	return hybrid{values[1:], int(values[0])}, true
}

// all reports whether the levels of n rows say at once that all have a value.
func all(levels []byte, n int) bool {
	head, k := binary.Uvarint(levels)
	return k > 0 && head&1 == 0 && head>>1 >= uint64(n) && len(levels) > k && levels[k] == 1
}

// data reads a page into the column, row by row.
func (s *scratch) data(p dataOf, k Kind, c *Column) bool {
	levels, values, ok := p.split()
	if !ok {
		return false
	}
	given := p.n
	var has []int32 // nil where all rows have a value
	if !all(levels, p.n) {
		s.levels = resize(s.levels, p.n)
		has, given = s.levels, 0
		if _, ok := (&hybrid{levels, 1}).fill(has); !ok {
			return false
		}
		for _, l := range has {
			given += int(l)
		}
	}
	c.Given += given
	from, to := p.at, p.at+p.n
	if k == Flag {
		return p.encoding == parquet.Encodings.Plain && flags(values, has, given, c.Flags[from:to])
	}
	s.index = s.index[:0]
	if given > 0 {
		h, ok := p.places(values)
		if !ok {
			return false
		}
		s.index = resize(s.index, given)
		largest, ok := h.fill(s.index)
		if !ok || int(largest) >= p.dictionary {
			return false
		}
	}
	switch k {
	case Text:
		spreadCodes(c.Codes[from:to], has, s.index)
	case Number:
		spread(c.Numbers[from:to], has, s.index, s.numbers, nan)
	case Day:
		spread(c.Days[from:to], has, s.index, s.days, NoDay)
	}
	return true
}

// fewStretches is how many rows the stretches of equal values have at least on average
// where they are not expanded: labels mostly hold for a whole sweep.
const fewStretches = 8

// stretches reads a page of texts or days into the column as stretches of equal values,
// of which it has up to few. It returns false, with nothing of the page in the column,
// where there are more, or the page is not sound.
func (s *scratch) stretches(p dataOf, k Kind, few int, c *Column) bool {
	levels, values, ok := p.split()
	if !ok {
		return false
	}
	s.given, s.values = append(s.given[:0], run{int32(p.n), 1}), s.values[:0]
	if !all(levels, p.n) {
		if s.given, _, ok = (&hybrid{levels, 1}).runs(p.n, few, s.given[:0]); !ok {
			return false
		}
	}
	given := 0
	for _, g := range s.given {
		given += int(g.n * g.v)
	}
	if given > 0 {
		h, ok := p.places(values)
		if !ok {
			return false
		}
		largest := int32(0)
		if s.values, largest, ok = h.runs(given, few, s.values); !ok || int(largest) >= p.dictionary {
			return false
		}
	}
	if len(c.Starts)+len(s.given)+len(s.values) > few {
		return false
	}
	c.Given += given
	row, next := int32(p.at), 0
	for _, g := range s.given {
		if g.v == 0 {
			c.stretch(k, row, 0, NoDay)
			row += g.n
			continue
		}
		for left := g.n; left > 0; {
			v := &s.values[next]
			if k == Text {
				c.stretch(k, row, v.v+1, 0)
			} else {
				c.stretch(k, row, 0, s.days[v.v])
			}
			n := min(left, v.n)
			row, left, v.n = row+n, left-n, v.n-n
			if v.n == 0 {
				next++
			}
		}
	}
	return true
}

// stretch says that from a row on a code or a day holds.
func (c *Column) stretch(k Kind, row, code, day int32) {
	n := len(c.Starts)
	switch {
	case k == Text && (n == 0 || c.Codes[n-1] != code):
		c.Codes = append(c.Codes, code)
	case k == Day && (n == 0 || c.Days[n-1] != day):
		c.Days = append(c.Days, day)
	default:
		return
	}
	c.Starts = append(c.Starts, row)
}

// expand gives each of the rows up to at its own value, and makes room for all.
func (c *Column) expand(k Kind, at, rows int) {
	fill := func(values []int32) []int32 {
		all := make([]int32, rows)
		for i, v := range values {
			end := at
			if i+1 < len(c.Starts) {
				end = int(c.Starts[i+1])
			}
			for r := int(c.Starts[i]); r < end; r++ {
				all[r] = v
			}
		}
		return all
	}
	if k == Text {
		c.Codes = fill(c.Codes)
	} else {
		c.Days = fill(c.Days)
	}
	c.Starts = c.Starts[:0]
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
