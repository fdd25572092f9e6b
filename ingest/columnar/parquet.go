package columnar

import (
	"bytes"
	"encoding/binary"
	"hash/crc32"
	"io"
	"math"
	"strconv"

	"github.com/apache/arrow/go/v15/parquet"
	"github.com/apache/arrow/go/v15/parquet/compress"
	"github.com/apache/arrow/go/v15/parquet/metadata"
	"github.com/apache/arrow/go/v15/parquet/schema"
)

// parquetMagic begins and ends a Parquet file.
const parquetMagic = "PAR1"

// A parquetWriter writes chunks as row groups: one column after another, coded by
// a dictionary, packed by zstd. The pages are put together here (pagewrite.go), since
// the library would look every text up row by row and make a new packer for each page;
// what the footer says of them is the library's.
type parquetWriter struct {
	sink   *footerSink
	fields []Field
	footer *metadata.FileMetaDataBuilder
	groups int
	rows   int
	meta   []Pair
	pages  pageWriter
}

// A footerSink passes on what is written and, once told, keeps it: the footer is
// completed before it leaves.
type footerSink struct {
	to     io.Writer
	crc    uint32
	at     int64 // bytes that were passed on
	keep   bool
	footer bytes.Buffer
}

func (s *footerSink) Write(b []byte) (int, error) {
	if s.keep {
		return s.footer.Write(b)
	}
	s.crc = crc32.Update(s.crc, castagnoli, b)
	s.at += int64(len(b))
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
	props := parquet.NewWriterProperties(parquet.WithCompression(compress.Codecs.Zstd),
		parquet.WithCreatedBy("sealbound"), parquet.WithVersion(parquet.V2_LATEST))
	codec, err := compress.GetCodec(compress.Codecs.Zstd)
	if err != nil {
		return nil, err
	}
	p := &parquetWriter{sink: &footerSink{to: to}, fields: fields, meta: meta, pages: pageWriter{codec: codec},
		footer: metadata.NewFileMetadataBuilder(schema.NewSchema(root), props, nil)}
	_, err = io.WriteString(p.sink, parquetMagic)
	return p, err
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
	group := p.footer.AppendRowGroup()
	group.SetNumRows(c.Rows)
	unpacked := int64(0)
	for i, f := range p.fields {
		n, err := p.column(group.NextColumnChunk(), f, &c.Columns[i], c.Rows)
		if err != nil {
			return err
		}
		unpacked += n
	}
	p.rows += c.Rows
	ordinal := min(p.groups, math.MaxInt16)
	p.groups++
	return group.Finish(unpacked, int16(ordinal))
}

// column writes the pages of a column, and returns how many bytes they are unpacked.
func (p *parquetWriter) column(chunk *metadata.ColumnChunkMetaDataBuilder, f Field, c *Column, rows int) (int64, error) {
	w := &p.pages
	w.encode(f.Kind, c, rows)
	info := metadata.ChunkMetaInfo{NumValues: int64(rows), IndexPageOffset: -1}
	begin := p.sink.at
	stats := metadata.EncodingStats{DataEncodingStats: map[parquet.Encoding]int32{w.encoding(): 1}}
	if w.entries > 0 {
		info.DictPageOffset = begin
		stats.DictEncodingStats = map[parquet.Encoding]int32{parquet.Encodings.Plain: 1}
		if err := w.dictionaryPage(p.sink); err != nil {
			return 0, err
		}
	}
	info.DataPageOffset = p.sink.at
	if err := w.dataPage(p.sink, rows); err != nil {
		return 0, err
	}
	info.CompressedSize, info.UncompressedSize = p.sink.at-begin, w.size
	chunk.SetStats(w.stats)
	return w.size, chunk.Finish(info, w.entries > 0, false, stats, nil)
}

// Close ends the file.
func (p *parquetWriter) Close() (err error) {
	defer guardWriting(&err)
	p.sink.keep = true
	for _, m := range append(p.meta[:len(p.meta):len(p.meta)], Pair{keyRows, strconv.Itoa(p.rows)}, Pair{keySum, noSum}) {
		if err := p.footer.AppendKeyValueMetadata(m.Key, m.Value); err != nil {
			return err
		}
	}
	content, err := p.footer.Finish()
	if err != nil {
		return err
	}
	n, err := content.WriteTo(p.sink, nil)
	if err != nil {
		return err
	}
	p.sink.footer.Write(binary.LittleEndian.AppendUint32(nil, uint32(n)))
	p.sink.footer.WriteString(parquetMagic)
	footer := p.sink.footer.Bytes()
	stamp(footer, true, crc32.Update(p.sink.crc, castagnoli, footer))
	_, err = p.sink.to.Write(footer)
	return err
}
