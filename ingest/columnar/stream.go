package columnar

import (
	"bytes"
	"fmt"
	"hash/crc32"
	"io"
	"math"
	"strconv"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/array"
	"github.com/apache/arrow/go/v15/arrow/ipc"
	"github.com/apache/arrow/go/v15/arrow/memory"
)

// label is how a Text stands in an Arrow stream. 32-bit codes: JavaScript makes
// BigInt of wider ones.
var label = &arrow.DictionaryType{IndexType: arrow.PrimitiveTypes.Int32, ValueType: arrow.BinaryTypes.String}

// A streamWriter writes chunks as record batches of an Arrow stream, unpacked,
// since readers in JavaScript know no zstd. Each batch has dictionaries of its
// own before it, so that neither side holds those of the whole table.
type streamWriter struct {
	to     io.Writer
	spool  spool
	fields []Field
	schema *arrow.Schema
	w      *ipc.Writer
	mem    memory.Allocator
}

// NewStreamWriter begins an Arrow stream of those columns, which will have that
// many rows. Close writes it to to and gives back what it took; it must be
// called, also after an error.
func NewStreamWriter(to io.Writer, fields []Field, meta []Pair, rows int) (w Writer, err error) {
	defer guardWriting(&err)
	s := &streamWriter{to: to, fields: fields, mem: memory.DefaultAllocator}
	var columns []arrow.Field
	for _, f := range fields {
		a := arrow.Field{Name: f.Name, Type: arrowType(f.Kind), Nullable: true}
		if f.Unit != "" {
			a.Metadata = arrow.NewMetadata([]string{"unit"}, []string{f.Unit})
		}
		columns = append(columns, a)
	}
	var keys, values []string
	for _, p := range append(meta[:len(meta):len(meta)], Pair{keyRows, strconv.Itoa(rows)}, Pair{keySum, noSum}) {
		keys, values = append(keys, p.Key), append(values, p.Value)
	}
	m := arrow.NewMetadata(keys, values)
	s.schema = arrow.NewSchema(columns, &m)
	s.w = ipc.NewWriter(&s.spool, ipc.WithSchema(s.schema), ipc.WithAllocator(s.mem))
	return s, nil
}

func arrowType(k Kind) arrow.DataType {
	return [...]arrow.DataType{label, arrow.PrimitiveTypes.Float64, arrow.FixedWidthTypes.Date32, arrow.FixedWidthTypes.Boolean}[k]
}

func (s *streamWriter) Write(c *Chunk) (err error) {
	defer guardWriting(&err)
	if c.Rows == 0 {
		return nil
	}
	columns := make([]arrow.Array, 0, len(s.fields))
	defer func() {
		for _, a := range columns {
			a.Release()
		}
	}()
	for i, f := range s.fields {
		columns = append(columns, s.array(f, &c.Columns[i], c.Rows))
	}
	rec := array.NewRecord(s.schema, columns, int64(c.Rows))
	defer rec.Release()
	return s.w.Write(rec)
}

func (s *streamWriter) array(f Field, c *Column, rows int) arrow.Array {
	switch f.Kind {
	case Text:
		return s.labels(c, rows)
	case Number:
		b := array.NewFloat64Builder(s.mem)
		defer b.Release()
		b.Reserve(rows)
		for _, v := range c.Numbers {
			if v == v {
				b.UnsafeAppend(v)
			} else {
				b.UnsafeAppendBoolToBitmap(false)
			}
		}
		return b.NewArray()
	case Day:
		b := array.NewDate32Builder(s.mem)
		defer b.Release()
		b.Reserve(rows)
		for _, d := range c.Days {
			if d != NoDay {
				b.UnsafeAppend(arrow.Date32(d))
			} else {
				b.UnsafeAppendBoolToBitmap(false)
			}
		}
		return b.NewArray()
	default:
		b := array.NewBooleanBuilder(s.mem)
		defer b.Release()
		b.AppendValues(c.Flags, nil)
		return b.NewArray()
	}
}

// labels is a dictionary of at least one text: readers stumble over an empty one.
func (s *streamWriter) labels(c *Column, rows int) arrow.Array {
	texts := array.NewStringBuilder(s.mem)
	defer texts.Release()
	for _, t := range c.Dict[1:] {
		texts.BinaryBuilder.Append(t)
	}
	if len(c.Dict) == 1 {
		texts.Append("")
	}
	codes := array.NewInt32Builder(s.mem)
	defer codes.Release()
	codes.Reserve(rows)
	for _, code := range c.Codes {
		if code != 0 {
			codes.UnsafeAppend(code - 1)
		} else {
			codes.UnsafeAppendBoolToBitmap(false)
		}
	}
	dict, index := texts.NewArray(), codes.NewArray()
	defer dict.Release()
	defer index.Release()
	return array.NewDictionaryArray(label, index, dict)
}

// Close completes the checksum and passes the stream on.
func (s *streamWriter) Close() (err error) {
	defer guardWriting(&err)
	defer s.spool.close()
	if err := s.w.Close(); err != nil {
		return err
	}
	crc := &summing{}
	if err := s.spool.copyTo(crc); err != nil {
		return err
	}
	return s.spool.copyTo(&patching{to: s.to, crc: crc.crc})
}

type summing struct{ crc uint32 }

func (s *summing) Write(b []byte) (int, error) {
	s.crc = crc32.Update(s.crc, castagnoli, b)
	return len(b), nil
}

// patching puts the checksum into the first write, which holds the schema: the
// spool's memory holds far more.
type patching struct {
	to   io.Writer
	crc  uint32
	done bool
}

func (p *patching) Write(b []byte) (int, error) {
	if p.done {
		return p.to.Write(b)
	}
	p.done = true
	first := bytes.Clone(b)
	stamp(first, false, p.crc)
	return p.to.Write(first)
}

// A streamBody reads record batches, each with the dictionaries in force before it.
type streamBody struct {
	schema  frame
	batches []batch
	fields  []Field
}

type batch struct {
	dictionaries []frame
	records      frame
}

// OpenStream opens an Arrow stream that NewStreamWriter wrote. The error is a
// *Fault where it is another one or damaged.
func OpenStream(src io.ReaderAt, size int64) (f *File, err error) {
	defer guard(&err)
	head := make([]byte, min(size, 8))
	if _, err := src.ReadAt(head, 0); err != nil && err != io.EOF {
		return nil, err
	}
	if string(head[:min(6, len(head))]) == "ARROW1" {
		return nil, &Fault{"this is an Arrow file, and the Arrow stream is what is read", "pack it as .arrow or .parquet, or export it as CSV in the long format"}
	}
	// The schema is the first message; the checksum stands in it.
	first, err := schemaBytes(src, size, head)
	if err != nil {
		return nil, err
	}
	digits := findSums(first, false)
	if len(digits) == 0 {
		return nil, foreign("Arrow stream")
	}
	if err := verifyAny(src, size, 0, digits); err != nil {
		return nil, err
	}
	return parseStream(src, size)
}

// schemaBytes is the first message with its length before it.
func schemaBytes(src io.ReaderAt, size int64, head []byte) ([]byte, error) {
	if len(head) < 8 || !bytes.Equal(head[:4], []byte{0xff, 0xff, 0xff, 0xff}) {
		return nil, damaged("it does not begin as an Arrow stream does")
	}
	length := int64(head[4]) | int64(head[5])<<8 | int64(head[6])<<16 | int64(head[7])<<24
	if length > mostMetadata || length > size-8 {
		return nil, damaged("a message is longer than the file")
	}
	first := make([]byte, 8+length)
	if n, err := src.ReadAt(first, 0); n < len(first) {
		return nil, err
	}
	return first, nil
}

// parseStream reads a stream whose bytes are those that were written.
func parseStream(src io.ReaderAt, size int64) (*File, error) {
	list, err := frames(src, size)
	if err != nil {
		return nil, err
	}
	if len(list) == 0 || list[0].kind != messageSchema {
		return nil, damaged("it does not begin with its schema")
	}
	w := &watched{ReaderAt: src}
	r, err := ipc.NewReader(io.NewSectionReader(w, list[0].from, list[0].to-list[0].from))
	if err != nil {
		return nil, asFault(err, w)
	}
	defer r.Release()
	f, b := &File{}, &streamBody{schema: list[0]}
	for _, a := range r.Schema().Fields() {
		field := Field{Name: a.Name}
		switch {
		case arrow.TypeEqual(a.Type, label):
			field.Kind = Text
		case a.Type.ID() == arrow.FLOAT64:
			field.Kind = Number
		case a.Type.ID() == arrow.DATE32:
			field.Kind = Day
		case a.Type.ID() == arrow.BOOL:
			field.Kind = Flag
		default:
			return nil, damaged("the column %.60q is of another type than is written here", a.Name)
		}
		f.Fields = append(f.Fields, field)
	}
	var inForce []frame
	for _, m := range list[1:] {
		switch m.kind {
		case messageDictionary:
			known := false
			for i := range inForce {
				if inForce[i].id == m.id {
					inForce[i], known = m, true
				}
			}
			if !known {
				inForce = append(inForce, m)
			}
		case messageBatch:
			if m.rows < 0 || m.rows > MaxRows {
				return nil, damaged("a batch of %d rows", m.rows)
			}
			b.batches = append(b.batches, batch{append([]frame(nil), inForce...), m})
			f.chunks = append(f.chunks, int(m.rows))
		default:
			return nil, damaged("a message of another kind than is written here")
		}
	}
	meta := r.Schema().Metadata()
	var pairs []Pair
	for i, k := range meta.Keys() {
		pairs = append(pairs, Pair{k, meta.Values()[i]})
	}
	if err := f.settle(pairs); err != nil {
		return nil, err
	}
	b.fields, f.body = f.Fields, b
	return f, nil
}

// read decodes a batch by itself: a stream of the schema, its dictionaries and it.
func (b *streamBody) read(src io.ReaderAt, chunk int, want []bool, into *Chunk) error {
	w := &watched{ReaderAt: src}
	x := b.batches[chunk]
	var parts []io.Reader
	for _, f := range append(append([]frame{b.schema}, x.dictionaries...), x.records) {
		parts = append(parts, io.NewSectionReader(w, f.from, f.to-f.from))
	}
	r, err := ipc.NewReader(io.MultiReader(parts...))
	if err != nil {
		return asFault(err, w)
	}
	defer r.Release()
	if !r.Next() {
		err := r.Err()
		if err == nil {
			err = fmt.Errorf("a batch is missing")
		}
		return asFault(err, w)
	}
	rec := r.Record()
	if int(rec.NumCols()) != len(b.fields) || int(rec.NumRows()) != into.Rows {
		return damaged("a batch does not have what its schema says")
	}
	for i := range b.fields {
		if want[i] {
			if !into.Columns[i].fromArray(rec.Column(i)) {
				return damaged("the column %s holds an infinite number", b.fields[i].Name)
			}
		}
	}
	return nil
}

// fromArray copies what the library holds; false where a number is infinite.
func (c *Column) fromArray(a arrow.Array) bool {
	n := a.Len()
	c.Constant, c.Starts = false, c.Starts[:0]
	switch a := a.(type) {
	case *array.Dictionary:
		texts, index := a.Dictionary().(*array.String), a.Indices().(*array.Int32)
		c.Dict = append(c.Dict[:0], nil)
		byText := map[string]int32{"": 0}
		codes := make([]int32, texts.Len())
		for i := range codes {
			t := texts.Value(i)
			code, ok := byText[t]
			if !ok {
				code = int32(len(c.Dict))
				text := []byte(t)
				c.Dict = append(c.Dict, text)
				byText[string(text)] = code
			}
			codes[i] = code
		}
		c.Codes = resize(c.Codes, n)
		for i := range c.Codes {
			if c.Codes[i] = 0; index.IsValid(i) {
				c.Codes[i] = codes[index.Value(i)]
			}
		}
	case *array.Float64:
		c.Numbers = resize(c.Numbers, n)
		copy(c.Numbers, a.Float64Values())
		absent(c.Numbers, a, nan)
		c.noteNothing()
		c.note(c.Numbers)
		c.Given = n - a.NullN()
		for _, v := range c.Numbers {
			if math.IsInf(v, 0) {
				return false
			}
		}
	case *array.Date32:
		c.Days = resize(c.Days, n)
		for i, d := range a.Date32Values() {
			c.Days[i] = int32(d)
		}
		absent(c.Days, a, NoDay)
	case *array.Boolean:
		c.Flags = resize(c.Flags, n)
		for i := range c.Flags {
			c.Flags[i] = a.IsValid(i) && a.Value(i)
		}
	}
	return true
}

func absent[T any](values []T, a arrow.Array, none T) {
	if a.NullN() == 0 {
		return
	}
	for i := range values {
		if a.IsNull(i) {
			values[i] = none
		}
	}
}
