package columnar

import (
	"bytes"
	"encoding/binary"
	"io"
	"math"
	"math/bits"

	"github.com/apache/arrow/go/v15/parquet"
	"github.com/apache/arrow/go/v15/parquet/compress"
	"github.com/apache/arrow/go/v15/parquet/metadata"
)

// mostStatistic is how long a text may be to stand among the statistics, bytes.
const mostStatistic = 4096

// A pageWriter makes the pages of one column after another: a dictionary of the values
// that occur, in the order in which they do, and a page that says which rows have a
// value and where it stands in the dictionary. Flags have no dictionary.
type pageWriter struct {
	codec compress.Codec

	entries int     // of the dictionary
	given   int     // rows that have a value
	levels  []int32 // by row: 1 where it has a value
	index   []int32 // of those rows: the place in the dictionary
	dict    []byte  // plain
	flags   []byte  // plain
	stats   metadata.EncodedStatistics
	size    int64 // of the pages with their headers, unpacked

	place              []int32 // by code of a text: its place in the dictionary and 1
	table              hashed
	body, packed, head []byte
}

// encode takes in a column.
func (w *pageWriter) encode(k Kind, c *Column, rows int) {
	w.entries, w.given, w.size = 0, 0, 0
	w.levels = resize(w.levels, rows)
	clear(w.levels)
	w.index, w.dict, w.flags = w.index[:0], w.dict[:0], w.flags[:0]
	w.stats = metadata.EncodedStatistics{Signed: k != Text}
	switch k {
	case Text:
		w.texts(c)
	case Number:
		w.numbers(c.Numbers)
	case Day:
		w.days(c.Days)
	case Flag:
		w.booleans(c.Flags)
	}
	w.stats.SetNullCount(int64(rows - w.given))
}

func (w *pageWriter) add(row int, index int32) {
	w.levels[row] = 1
	w.index = append(w.index, index)
	w.given++
}

func (w *pageWriter) texts(c *Column) {
	w.place = resize(w.place, len(c.Dict))
	clear(w.place)
	var least, most []byte
	for i, code := range c.Codes {
		if code == 0 {
			continue
		}
		if w.place[code] == 0 {
			text := c.Dict[code]
			if w.entries == 0 || bytes.Compare(text, least) < 0 {
				least = text
			}
			if w.entries == 0 || bytes.Compare(text, most) > 0 {
				most = text
			}
			w.dict = binary.LittleEndian.AppendUint32(w.dict, uint32(len(text)))
			w.dict = append(w.dict, text...)
			w.entries++
			w.place[code] = int32(w.entries)
		}
		w.add(i, w.place[code]-1)
	}
	if w.entries > 0 {
		w.stats.SetMin(least).SetMax(most)
		w.stats.ApplyStatSizeLimits(mostStatistic)
	}
}

func (w *pageWriter) numbers(values []float64) {
	w.table.reset(len(values))
	least, most := math.Inf(1), math.Inf(-1)
	for i, v := range values {
		if v != v {
			continue
		}
		b := math.Float64bits(v)
		at, fresh := w.table.place(b)
		if fresh {
			least, most = min(least, v), max(most, v)
			w.dict = binary.LittleEndian.AppendUint64(w.dict, b)
		}
		w.add(i, at)
	}
	if w.entries = w.table.n; w.entries == 0 {
		return
	}
	// Zeros compare as equal whatever their sign, so the bounds take in both.
	if least == 0 {
		least = math.Copysign(0, -1)
	}
	if most == 0 {
		most = 0
	}
	w.stats.SetMin(binary.LittleEndian.AppendUint64(nil, math.Float64bits(least))).SetMax(binary.LittleEndian.AppendUint64(nil, math.Float64bits(most)))
}

func (w *pageWriter) days(values []int32) {
	w.table.reset(len(values))
	least, most := int32(math.MaxInt32), int32(math.MinInt32)
	for i, d := range values {
		if d == NoDay {
			continue
		}
		at, fresh := w.table.place(uint64(uint32(d)))
		if fresh {
			least, most = min(least, d), max(most, d)
			w.dict = binary.LittleEndian.AppendUint32(w.dict, uint32(d))
		}
		w.add(i, at)
	}
	if w.entries = w.table.n; w.entries > 0 {
		w.stats.SetMin(binary.LittleEndian.AppendUint32(nil, uint32(least))).SetMax(binary.LittleEndian.AppendUint32(nil, uint32(most)))
	}
}

func (w *pageWriter) booleans(values []bool) {
	w.flags = resize(w.flags, (len(values)+7)/8)
	clear(w.flags)
	any, all := false, true
	for i, v := range values {
		w.levels[i] = 1
		if v {
			w.flags[i/8] |= 1 << (i % 8)
		}
		any, all = any || v, all && v
	}
	w.given = len(values)
	one := func(v bool) []byte {
		if v {
			return []byte{1}
		}
		return []byte{0}
	}
	w.stats.SetMin(one(all)).SetMax(one(any))
}

// encoding is that of the values in the data page.
func (w *pageWriter) encoding() parquet.Encoding {
	if w.entries > 0 {
		return parquet.Encodings.RLEDict
	}
	return parquet.Encodings.Plain
}

func (w *pageWriter) dictionaryPage(to io.Writer) error {
	return w.page(to, dictionaryPage, w.dict, w.entries, parquet.Encodings.Plain)
}

func (w *pageWriter) dataPage(to io.Writer, rows int) error {
	b := append(w.body[:0], 0, 0, 0, 0) // how long the levels are
	b = appendHybrid(b, 1, w.levels)
	binary.LittleEndian.PutUint32(b, uint32(len(b)-4))
	if w.entries > 0 {
		width := max(1, bits.Len(uint(w.entries-1)))
		b = appendHybrid(append(b, byte(width)), width, w.index)
	}
	w.body = append(b, w.flags...)
	return w.page(to, dataPage, w.body, rows, w.encoding())
}

// page writes a page behind its header.
func (w *pageWriter) page(to io.Writer, kind int64, body []byte, values int, e parquet.Encoding) error {
	if most := int(w.codec.CompressBound(int64(len(body)))); cap(w.packed) < most {
		w.packed = make([]byte, 0, most)
	}
	w.packed = w.codec.Encode(w.packed[:0], body)
	w.head = appendPage(w.head[:0], pageHeader{kind: kind, unpacked: int64(len(body)), packed: int64(len(w.packed)), values: int64(values), encoding: int64(e)})
	w.size += int64(len(w.head) + len(body))
	if _, err := to.Write(w.head); err != nil {
		return err
	}
	_, err := to.Write(w.packed)
	return err
}

// hashed finds the place of a value among those before it.
type hashed struct {
	n      int
	shift  int
	keys   []uint64
	places []int32 // of the key at the same slot, and 1; 0 where the slot is free
}

// reset makes room for n values.
func (h *hashed) reset(n int) {
	size := 16
	for size < 2*n {
		size *= 2
	}
	h.n, h.shift = 0, 64-bits.Len(uint(size-1))
	h.keys, h.places = resize(h.keys, size), resize(h.places, size)
	clear(h.places)
}

// place is that of key, and whether it was not there before.
func (h *hashed) place(key uint64) (at int32, fresh bool) {
	mask := len(h.places) - 1
	for slot := int(key * 0x9e3779b97f4a7c15 >> h.shift); ; slot = (slot + 1) & mask { // multiplied by 2^64 over the golden ratio, which scatters neighbours
		switch p := h.places[slot]; {
		case p == 0:
			h.n++
			h.keys[slot], h.places[slot] = key, int32(h.n)
			return int32(h.n - 1), true
		case h.keys[slot] == key:
			return p - 1, false
		}
	}
}
