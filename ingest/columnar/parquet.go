package columnar

import (
	"bytes"
	"hash/crc32"
	"io"
	"math"
	"strconv"

	"github.com/apache/arrow/go/v15/parquet"
	"github.com/apache/arrow/go/v15/parquet/compress"
	"github.com/apache/arrow/go/v15/parquet/file"
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
}

// A footerSink passes on what is written and, once told, keeps it: the footer is
// completed before it leaves.
type footerSink struct {
	to     io.Writer
	crc    uint32
	keep   bool
	footer bytes.Buffer
}

func (s *footerSink) Write(b []byte) (int, error) {
	if s.keep {
		return s.footer.Write(b)
	}
	s.crc = crc32.Update(s.crc, castagnoli, b)
	return s.to.Write(b)
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
	stamp(footer, true, crc32.Update(p.sink.crc, castagnoli, footer))
	_, err = p.sink.to.Write(footer)
	return err
}
