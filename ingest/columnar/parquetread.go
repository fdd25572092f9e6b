package columnar

import (
	"bytes"
	"encoding/binary"
	"io"
	"math"
	"sync"

	"github.com/apache/arrow/go/v15/parquet"
	"github.com/apache/arrow/go/v15/parquet/metadata"
	"github.com/apache/arrow/go/v15/parquet/schema"
)

// A parquetBody reads row groups.
type parquetBody struct {
	meta    *metadata.FileMetaData
	fields  []Field
	scratch sync.Pool // of *scratch
}

// OpenParquet opens a Parquet file that NewParquetWriter wrote. The error is a
// *Fault where it is another one or damaged.
func OpenParquet(src io.ReaderAt, size int64) (f *File, err error) {
	defer guard(&err)
	const ends = len(parquetMagic) + 4
	tail := make([]byte, ends)
	if size < int64(len(parquetMagic)+ends) {
		return nil, damaged("%d bytes are too few for a Parquet file", size)
	}
	if _, err := src.ReadAt(tail, size-int64(ends)); err != nil && err != io.EOF {
		return nil, err
	}
	length := int64(binary.LittleEndian.Uint32(tail))
	if string(tail[4:]) != parquetMagic || length > size-int64(len(parquetMagic)+ends) {
		return nil, damaged("it does not end as a Parquet file does")
	}
	start := size - int64(ends) - length
	footer := make([]byte, length)
	if _, err := src.ReadAt(footer, start); err != nil && err != io.EOF {
		return nil, err
	}
	digits := findSums(footer, true)
	if len(digits) == 0 {
		return nil, foreign("Parquet file")
	}
	if err := verifyAny(src, size, start, digits); err != nil {
		return nil, err
	}
	return parseParquet(src, size, footer)
}

// parseParquet reads a footer whose bytes are those that were written.
func parseParquet(src io.ReaderAt, size int64, footer []byte) (*File, error) {
	meta, err := metadata.NewFileMetaData(footer, nil)
	if err != nil {
		return nil, damaged("%.120v", err)
	}
	f := &File{}
	if f.Fields, err = parquetFields(meta); err != nil {
		return nil, err
	}
	for i := range meta.RowGroups {
		group := meta.RowGroup(i)
		if n := group.NumRows(); n < 0 || n > MaxRows {
			return nil, damaged("a row group of %d rows", n)
		}
		f.chunks = append(f.chunks, int(group.NumRows()))
		for k := range group.NumColumns() {
			if err := checkPlace(group, k, size); err != nil {
				return nil, err
			}
		}
	}
	var pairs []Pair
	kv := meta.KeyValueMetadata()
	keys, values := kv.Keys(), kv.Values()
	for i := range keys {
		pairs = append(pairs, Pair{keys[i], values[i]})
	}
	if err := f.settle(pairs); err != nil {
		return nil, err
	}
	b := &parquetBody{meta: meta, fields: f.Fields}
	b.scratch.New = func() any { return &scratch{} }
	f.body = b
	return f, nil
}

// checkPlace makes sure that a column stands inside the file, unencrypted.
func checkPlace(group *metadata.RowGroupMetaData, k int, size int64) error {
	col, err := group.ColumnChunk(k)
	if err != nil {
		return damaged("%.120v", err)
	}
	start, length := col.DataPageOffset(), col.TotalCompressedSize()
	if col.HasDictionaryPage() && col.DictionaryPageOffset() > 0 {
		start = min(start, col.DictionaryPageOffset())
	}
	if start < 0 || length < 0 || start > size || length > size-start || col.NumValues() != group.NumRows() || col.CryptoMetadata() != nil {
		return damaged("a column that does not lie in it")
	}
	return nil
}

// parquetFields takes the kinds of columns that are written here, no others.
func parquetFields(meta *metadata.FileMetaData) ([]Field, error) {
	var fields []Field
	root := meta.Schema.Root()
	for i := range root.NumFields() {
		node := root.Field(i)
		p, ok := node.(*schema.PrimitiveNode)
		if !ok || p.RepetitionType() != parquet.Repetitions.Optional {
			return nil, damaged("the column %.60q is no flat one", node.Name())
		}
		f := Field{Name: p.Name()}
		switch t := p.PhysicalType(); {
		case t == parquet.Types.ByteArray:
			f.Kind = Text
		case t == parquet.Types.Double:
			f.Kind = Number
		case t == parquet.Types.Int32 && p.LogicalType().Equals(schema.DateLogicalType{}):
			f.Kind = Day
		case t == parquet.Types.Boolean:
			f.Kind = Flag
		default:
			return nil, damaged("the column %.60q is of another type than is written here", p.Name())
		}
		fields = append(fields, f)
	}
	return fields, nil
}

func (b *parquetBody) read(src io.ReaderAt, chunk int, want []bool, into *Chunk) error {
	w := &watched{ReaderAt: src}
	group := b.meta.RowGroup(chunk)
	s := b.scratch.Get().(*scratch)
	defer b.scratch.Put(s)
	for i, f := range b.fields {
		if !want[i] {
			continue
		}
		c := &into.Columns[i]
		if done, err := c.fromStatistics(group, i, f, into.Rows); err != nil {
			return asFault(err, w)
		} else if done {
			continue
		}
		place, err := group.ColumnChunk(i)
		if err != nil {
			return asFault(err, w)
		}
		if err := s.column(w, place, f, c, into.Rows); err != nil {
			return asFault(err, w)
		}
	}
	return nil
}

// fromStatistics fills a column of which the statistics say that all its values
// are the same or none is given.
func (c *Column) fromStatistics(group *metadata.RowGroupMetaData, i int, f Field, rows int) (bool, error) {
	col, err := group.ColumnChunk(i)
	if err != nil {
		return false, err
	}
	if set, err := col.StatsSet(); err != nil || !set {
		return false, err
	}
	stats, err := col.Statistics()
	if err != nil || stats == nil || !stats.HasNullCount() {
		return false, err
	}
	none := stats.NullCount() == int64(rows)
	if !none && (stats.NullCount() != 0 || !stats.HasMinMax()) {
		return false, nil
	}
	switch s := stats.(type) {
	case *metadata.ByteArrayStatistics:
		if !none && !bytes.Equal(s.Min(), s.Max()) {
			return false, nil
		}
		c.Codes, c.Dict = append(c.Codes[:0], 0), append(c.Dict[:0], nil)
		if !none {
			c.Codes[0], c.Dict = 1, append(c.Dict, bytes.Clone(s.Min()))
		}
	case *metadata.Float64Statistics:
		// Minus and plus zero are one minimum and two values.
		if !none && (s.Min() != s.Max() || s.Min() == 0 || math.IsInf(s.Min(), 0)) {
			return false, nil
		}
		v := math.NaN()
		if !none {
			v = s.Min()
		}
		c.Numbers = append(c.Numbers[:0], v)
		c.noteNothing()
		if c.note(c.Numbers); !none {
			c.Given = rows
		}
	case *metadata.Int32Statistics:
		if !none && s.Min() != s.Max() {
			return false, nil
		}
		d := int32(NoDay)
		if !none {
			d = s.Min()
		}
		c.Days = append(c.Days[:0], d)
	case *metadata.BooleanStatistics:
		if none || s.Min() != s.Max() {
			return false, nil
		}
		c.Flags = append(c.Flags[:0], s.Min())
	default:
		return false, nil
	}
	c.Constant, c.Starts = true, c.Starts[:0]
	return true, nil
}
