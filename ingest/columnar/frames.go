package columnar

import (
	"encoding/binary"
	"io"
)

// Kinds of messages in an Arrow stream, as numbered in Message.fbs of the Arrow
// columnar format, version 1.0.
const (
	messageSchema     = 1
	messageDictionary = 2
	messageBatch      = 3
)

// A frame is one message of an Arrow stream: where it stands, what it is, and the
// dictionary or the rows that it holds.
type frame struct {
	from, to int64
	kind     byte
	id       int64 // of a dictionary
	rows     int64 // of a batch
}

// mostMetadata bounds the description of a message, which names its buffers.
const mostMetadata = 64 << 20

// frames goes through the messages of a stream without reading what they hold.
// Each must lie within the file, so that no reader is sent beyond it.
func frames(src io.ReaderAt, size int64) ([]frame, error) {
	var list []frame
	columns := 0
	for at := int64(0); ; {
		var head [8]byte
		if n, err := src.ReadAt(head[:], at); n < len(head) {
			if err != nil && err != io.EOF {
				return nil, err
			}
			return nil, damaged("it ends within its messages")
		}
		if binary.LittleEndian.Uint32(head[:]) != continuation {
			return nil, damaged("a message does not begin as one")
		}
		length := int64(binary.LittleEndian.Uint32(head[4:]))
		if length == 0 {
			if at+int64(len(head)) != size {
				return nil, damaged("something follows its end")
			}
			return list, nil
		}
		if length > mostMetadata || length > size-at-int64(len(head)) {
			return nil, damaged("a message is longer than the file")
		}
		meta := make([]byte, length)
		if _, err := src.ReadAt(meta, at+int64(len(head))); err != nil && err != io.EOF {
			return nil, err
		}
		f := frame{from: at}
		body, ok := f.parse(meta)
		if at += int64(len(head)) + length; !ok || body < 0 || body > size-at {
			return nil, damaged("a message is longer than the file")
		}
		switch f.kind {
		case messageSchema:
			columns, ok = soundSchema(meta)
			ok = ok && len(list) == 0
		case messageDictionary: // a text has a bitmap, offsets and bytes
			ok = soundBatch(meta, true, body, 1, 3)
		case messageBatch: // a column has a bitmap and values, or codes
			ok = soundBatch(meta, false, body, columns, 2*columns)
		}
		if !ok {
			return nil, damaged("a message does not hold what it says")
		}
		at += body
		f.to = at
		list = append(list, f)
	}
}

// continuation begins every message.
const continuation = 0xffffffff

// parse reads what is needed of a message's FlatBuffers table: its kind, the
// length of its body, and the first field of its header.
func (f *frame) parse(meta []byte) (body int64, ok bool) {
	message, ok := tableAt(meta, 0)
	if !ok {
		return 0, false
	}
	f.kind = message.byte(1)
	body = message.long(3)
	if f.kind == messageDictionary || f.kind == messageBatch {
		header, ok := message.table(2)
		if !ok {
			return 0, false
		}
		f.id = header.long(0)
		f.rows = f.id
	}
	return body, true
}

// A flatTable is a table of a FlatBuffers buffer: a position that begins with the
// distance back to the table of its fields' places.
type flatTable struct {
	b      []byte
	at     int
	fields []byte // 2 bytes for each field: its distance from at, 0 where absent
}

// tableAt follows the 32-bit distance at position p.
func tableAt(b []byte, p int) (t flatTable, ok bool) {
	if p < 0 || p+4 > len(b) {
		return t, false
	}
	at := p + int(binary.LittleEndian.Uint32(b[p:]))
	if at < 0 || at+4 > len(b) {
		return t, false
	}
	v := at - int(int32(binary.LittleEndian.Uint32(b[at:])))
	if v < 0 || v+4 > len(b) {
		return t, false
	}
	n := int(binary.LittleEndian.Uint16(b[v:]))
	if n < 4 || v+n > len(b) {
		return t, false
	}
	return flatTable{b, at, b[v+4 : v+n]}, true
}

// field is where field k stands, if it has size bytes there.
func (t flatTable) field(k, size int) (int, bool) {
	if 2*k+2 > len(t.fields) {
		return 0, false
	}
	d := int(binary.LittleEndian.Uint16(t.fields[2*k:]))
	return t.at + d, d != 0 && t.at+d+size <= len(t.b)
}

func (t flatTable) byte(k int) byte {
	if p, ok := t.field(k, 1); ok {
		return t.b[p]
	}
	return 0
}

func (t flatTable) long(k int) int64 {
	if p, ok := t.field(k, 8); ok {
		return int64(binary.LittleEndian.Uint64(t.b[p:]))
	}
	return 0
}

func (t flatTable) table(k int) (flatTable, bool) {
	p, ok := t.field(k, 4)
	if !ok {
		return flatTable{}, false
	}
	return tableAt(t.b, p)
}

// A vector is n items of some width in bytes, the first at from.
type vector struct {
	b       []byte
	from, n int
}

// vector is field k, of items of that many bytes; one that is absent has none.
func (t flatTable) vector(k, width int) (v vector, ok bool) {
	p, there := t.field(k, 4)
	if !there {
		return v, true
	}
	at := p + int(binary.LittleEndian.Uint32(t.b[p:]))
	if at < 0 || at+4 > len(t.b) {
		return v, false
	}
	n := int(binary.LittleEndian.Uint32(t.b[at:]))
	return vector{t.b, at + 4, n}, n <= (len(t.b)-at-4)/width
}

// tables are the items of field k, which are tables.
func (t flatTable) tables(k int) (list []flatTable, ok bool) {
	v, ok := t.vector(k, 4)
	if !ok {
		return nil, false
	}
	for i := range v.n {
		item, ok := tableAt(t.b, v.from+4*i)
		if !ok {
			return nil, false
		}
		list = append(list, item)
	}
	return list, true
}

// plainText reports whether field k is a text that lies inside, or absent.
func (t flatTable) plainText(k int) bool {
	_, ok := t.vector(k, 1)
	return ok
}

// pairs reports whether field k is a list of keys and values that lie inside.
func (t flatTable) pairs(k int) bool {
	list, ok := t.tables(k)
	for _, p := range list {
		ok = ok && p.plainText(0) && p.plainText(1)
	}
	return ok
}

// soundSchema makes sure that what a schema counts lies inside it, and tells its
// columns. Fields are numbered as in Schema.fbs of the Arrow columnar format,
// version 1.0.
func soundSchema(meta []byte) (columns int, ok bool) {
	message, ok := tableAt(meta, 0)
	if !ok {
		return 0, false
	}
	schema, ok := message.table(2)
	if !ok || !schema.pairs(2) {
		return 0, false
	}
	if features, ok := schema.vector(3, 8); !ok || features.n > 0 {
		return 0, false
	}
	fields, ok := schema.tables(1)
	for _, f := range fields {
		children, flat := f.tables(5)
		ok = ok && flat && len(children) == 0 && f.plainText(0) && f.pairs(6)
	}
	return len(fields), ok
}

// soundBatch makes sure that a batch, or a dictionary, has so many columns and
// buffers, as the library takes for granted, that they lie inside its body and hold
// no more rows than are read.
func soundBatch(meta []byte, dictionary bool, body int64, columns, count int) bool {
	message, ok := tableAt(meta, 0)
	if !ok {
		return false
	}
	batch, ok := message.table(2)
	if ok && dictionary {
		batch, ok = batch.table(1)
	}
	if !ok {
		return false
	}
	if _, packed := batch.table(3); packed {
		return false
	}
	long := func(v vector, at int) int64 { return int64(binary.LittleEndian.Uint64(v.b[v.from+at:])) }
	within := func(n, most int64) bool { return n >= 0 && n <= most }
	nodes, ok := batch.vector(1, 16)
	if !ok || nodes.n != columns || !within(batch.long(0), MaxRows) {
		return false
	}
	for i := range nodes.n {
		if !within(long(nodes, 16*i), MaxRows) || !within(long(nodes, 16*i+8), MaxRows) {
			return false
		}
	}
	buffers, ok := batch.vector(2, 16)
	if !ok || buffers.n != count {
		return false
	}
	for i := range buffers.n {
		offset, length := long(buffers, 16*i), long(buffers, 16*i+8)
		if !within(offset, body) || !within(length, body-offset) {
			return false
		}
	}
	variadic, ok := batch.vector(4, 8)
	return ok && variadic.n == 0
}
