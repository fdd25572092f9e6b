package columnar

import (
	"bytes"
	"encoding/binary"
	"hash/crc32"
	"io"
	"math"
	"strconv"
	"sync"

	"github.com/apache/arrow/go/v15/arrow/memory"
	"github.com/apache/arrow/go/v15/parquet"
	"github.com/apache/arrow/go/v15/parquet/compress"
	"github.com/apache/arrow/go/v15/parquet/file"
	"github.com/apache/arrow/go/v15/parquet/metadata"
	"github.com/apache/arrow/go/v15/parquet/schema"
)

// parquetMagic begins and ends a Parquet file.
const parquetMagic = "PAR1"

// A parquetWriter writes chunks as row groups: one column after another, coded by
// a dictionary, packed by zstd.
type parquetWriter struct {
	sink   *footerSink
	fields []Field
	w      *file.Writer
	rows   int
	meta   []Pair

	levels  []int16
	texts   []parquet.ByteArray
	numbers []float64
	days    []int32
	flags   []bool
}

// A footerSink passes on what is written and, once told, keeps it: the footer is
// completed before it leaves.
type footerSink struct {
	to     io.Writer
	crc    uint32
	keep   bool
	footer bytes.Buffer
	err    error
}

func (s *footerSink) Write(b []byte) (int, error) {
	if s.keep {
		return s.footer.Write(b)
	}
	s.crc = crc32.Update(s.crc, castagnoli, b)
	n, err := s.to.Write(b)
	if err != nil && s.err == nil {
		s.err = err
	}
	return n, err
}

// NewParquetWriter begins a Parquet file of those columns. What it writes depends
// on the fields, the metadata and the chunks alone.
func NewParquetWriter(to io.Writer, fields []Field, meta []Pair) (w Writer, err error) {
	defer guardWriting(&err)
	var nodes schema.FieldList
	for _, f := range fields {
		n, err := parquetNode(f)
		if err != nil {
			return nil, err
		}
		nodes = append(nodes, n)
	}
	root, err := schema.NewGroupNode("schema", parquet.Repetitions.Required, nodes, -1)
	if err != nil {
		return nil, err
	}
	props := parquet.NewWriterProperties(parquet.WithCompression(compress.Codecs.Zstd), parquet.WithCompressionLevel(3),
		parquet.WithCreatedBy("sealbound"), parquet.WithVersion(parquet.V2_LATEST),
		// A text of a page outside the dictionary would not outlive its page in the reader.
		parquet.WithDictionaryPageSizeLimit(math.MaxInt32), parquet.WithBatchSize(1<<16))
	sink := &footerSink{to: to}
	return &parquetWriter{sink: sink, fields: fields, meta: meta, w: file.NewParquetWriter(sink, root, file.WithWriterProps(props))}, nil
}

func parquetNode(f Field) (*schema.PrimitiveNode, error) {
	optional := parquet.Repetitions.Optional
	switch f.Kind {
	case Text:
		return schema.NewPrimitiveNodeLogical(f.Name, optional, schema.StringLogicalType{}, parquet.Types.ByteArray, -1, -1)
	case Number:
		return schema.NewFloat64Node(f.Name, optional, -1), nil
	case Day:
		return schema.NewPrimitiveNodeLogical(f.Name, optional, schema.DateLogicalType{}, parquet.Types.Int32, -1, -1)
	default:
		return schema.NewBooleanNode(f.Name, optional, -1), nil
	}
}

// Write appends a chunk.
func (p *parquetWriter) Write(c *Chunk) (err error) {
	defer guardWriting(&err)
	if c.Rows == 0 {
		return nil
	}
	group := p.w.AppendRowGroup()
	for i, f := range p.fields {
		cw, err := group.NextColumn()
		if err != nil {
			return err
		}
		if err := p.column(cw, f, &c.Columns[i], c.Rows); err != nil {
			return err
		}
		if err := cw.Close(); err != nil {
			return err
		}
	}
	p.rows += c.Rows
	return group.Close()
}

// column writes the values that are given, and which those are.
func (p *parquetWriter) column(cw file.ColumnChunkWriter, f Field, c *Column, rows int) error {
	p.levels = resize(p.levels, rows)
	clear(p.levels)
	switch w := cw.(type) {
	case *file.ByteArrayColumnChunkWriter:
		p.texts = p.texts[:0]
		for i, code := range c.Codes {
			if code != 0 {
				p.texts, p.levels[i] = append(p.texts, c.Dict[code]), 1
			}
		}
		_, err := w.WriteBatch(p.texts, p.levels, nil)
		return err
	case *file.Float64ColumnChunkWriter:
		p.numbers = p.numbers[:0]
		for i, v := range c.Numbers {
			if v == v {
				p.numbers, p.levels[i] = append(p.numbers, v), 1
			}
		}
		_, err := w.WriteBatch(p.numbers, p.levels, nil)
		return err
	case *file.Int32ColumnChunkWriter:
		p.days = p.days[:0]
		for i, d := range c.Days {
			if d != NoDay {
				p.days, p.levels[i] = append(p.days, d), 1
			}
		}
		_, err := w.WriteBatch(p.days, p.levels, nil)
		return err
	case *file.BooleanColumnChunkWriter:
		for i := range p.levels {
			p.levels[i] = 1
		}
		_, err := w.WriteBatch(c.Flags, p.levels, nil)
		return err
	}
	panic("columnar: no writer for " + f.Name)
}

// Close ends the file.
func (p *parquetWriter) Close() (err error) {
	defer guardWriting(&err)
	p.sink.keep = true
	for _, m := range append(p.meta[:len(p.meta):len(p.meta)], Pair{keyRows, strconv.Itoa(p.rows)}, Pair{keySum, noSum}) {
		if err := p.w.AppendKeyValueMetadata(m.Key, m.Value); err != nil {
			return err
		}
	}
	if err := p.w.Close(); err != nil {
		return err
	}
	footer := p.sink.footer.Bytes()
	place(footer, true, crc32.Update(p.sink.crc, castagnoli, footer))
	_, err = p.sink.to.Write(footer)
	return err
}

// A parquetBody reads row groups.
type parquetBody struct {
	size    int64
	meta    *metadata.FileMetaData
	fields  []Field
	scratch sync.Pool // of *parquetScratch
}

type parquetScratch struct {
	levels  []int16
	texts   []parquet.ByteArray
	numbers []float64
	days    []int32
	flags   []bool
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
	b := &parquetBody{size: size, meta: meta, fields: f.Fields}
	b.scratch.New = func() any { return &parquetScratch{} }
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
	r, err := file.NewParquetReader(io.NewSectionReader(w, 0, b.size), file.WithMetadata(b.meta),
		file.WithReadProps(parquet.NewReaderProperties(memory.DefaultAllocator)))
	if err != nil {
		return asFault(err, w)
	}
	group := r.RowGroup(chunk)
	s := b.scratch.Get().(*parquetScratch)
	defer b.scratch.Put(s)
	for i, f := range b.fields {
		if !want[i] {
			continue
		}
		c := &into.Columns[i]
		if done, err := c.fromStatistics(group.MetaData(), i, f, into.Rows); err != nil {
			return asFault(err, w)
		} else if done {
			continue
		}
		place, err := group.MetaData().ColumnChunk(i)
		if err != nil {
			return asFault(err, w)
		}
		if err := checkPages(w, place, into.Rows); err != nil {
			return asFault(err, w)
		}
		col, err := group.Column(i)
		if err != nil {
			return asFault(err, w)
		}
		if err := s.column(col, f, c, into.Rows); err != nil {
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
		if !none && (s.Min() != s.Max() || s.Min() == 0) {
			return false, nil
		}
		v := math.NaN()
		if !none {
			v = s.Min()
		}
		c.Numbers = append(c.Numbers[:0], v)
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
	c.Constant = true
	return true, nil
}

// column reads a column from its pages.
func (s *parquetScratch) column(col file.ColumnChunkReader, f Field, c *Column, rows int) error {
	c.Constant = false
	s.levels = resize(s.levels, rows)
	n := int64(rows)
	var total int64
	var given int
	var err error
	switch r := col.(type) {
	case *file.ByteArrayColumnChunkReader:
		s.texts = resize(s.texts, rows)
		if total, given, err = r.ReadBatch(n, s.texts, s.levels, nil); err == nil {
			c.Codes = resize(c.Codes, rows)
			c.code(s.texts[:given], s.levels[:total])
		}
		clear(s.texts) // they point into pages
	case *file.Float64ColumnChunkReader:
		s.numbers, c.Numbers = resize(s.numbers, rows), resize(c.Numbers, rows)
		total, given, err = r.ReadBatch(n, s.numbers, s.levels, nil)
		spread(c.Numbers, s.numbers[:given], s.levels[:total], math.NaN())
	case *file.Int32ColumnChunkReader:
		s.days, c.Days = resize(s.days, rows), resize(c.Days, rows)
		total, given, err = r.ReadBatch(n, s.days, s.levels, nil)
		spread(c.Days, s.days[:given], s.levels[:total], NoDay)
	case *file.BooleanColumnChunkReader:
		s.flags, c.Flags = resize(s.flags, rows), resize(c.Flags, rows)
		total, given, err = r.ReadBatch(n, s.flags, s.levels, nil)
		spread(c.Flags, s.flags[:given], s.levels[:total], false)
	}
	if err == nil {
		err = col.Err()
	}
	if err != nil {
		return err
	}
	if total != n || col.HasNext() {
		return damaged("the column %s has other rows than the footer says", f.Name)
	}
	return nil
}

// spread puts the values that are given where their rows are.
func spread[T any](to, given []T, levels []int16, absent T) {
	if len(given) == len(levels) {
		copy(to, given)
		return
	}
	k := 0
	for i, l := range levels {
		if l == 0 {
			to[i] = absent
			continue
		}
		to[i] = given[k]
		k++
	}
}

// code turns texts into codes. Texts of one entry of the file's dictionary share
// their memory, so most are known by where they stand.
func (c *Column) code(given []parquet.ByteArray, levels []int16) {
	c.Dict = append(c.Dict[:0], nil)
	type place struct {
		at  *byte
		len int
	}
	byPlace := map[place]int32{}
	byText := map[string]int32{"": 0}
	var last place
	code, k := int32(0), 0
	for i, l := range levels {
		if l == 0 {
			c.Codes[i] = 0
			continue
		}
		t := given[k]
		k++
		if len(t) == 0 {
			c.Codes[i] = 0
			continue
		}
		if p := (place{&t[0], len(t)}); p != last {
			var ok bool
			if code, ok = byPlace[p]; !ok {
				if code, ok = byText[string(t)]; !ok {
					code = int32(len(c.Dict))
					text := bytes.Clone(t)
					c.Dict = append(c.Dict, text)
					byText[string(text)] = code
				}
				byPlace[p] = code
			}
			last = p
		}
		c.Codes[i] = code
	}
}
