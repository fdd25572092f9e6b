package ingest

import (
	"math"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/array"
	"github.com/apache/arrow/go/v15/arrow/bitutil"
	"github.com/apache/arrow/go/v15/arrow/memory"
)

// Columns of a record are filled in place: a builder would copy every value and
// keep a bitmap of nulls that most columns do not need. The caller releases what
// these functions return.

// floats makes a column of at(0) to at(n-1), null where that is NaN.
func floats(mem memory.Allocator, n int, at func(i int) float64) arrow.Array {
	buf := room(mem, n*arrow.Float64SizeBytes)
	defer buf.Release()
	values := arrow.Float64Traits.CastFromBytes(buf.Bytes())
	nulls := 0
	for i := range values {
		values[i] = at(i)
		if values[i] != values[i] {
			nulls++
		}
	}
	return gaps(mem, values, nulls, buf)
}

// gaps makes a column of values, which lie in buf, null where they are NaN, which so
// many are.
func gaps(mem memory.Allocator, values []float64, nulls int, buf *memory.Buffer) arrow.Array {
	n := len(values)
	var valid *memory.Buffer
	if nulls > 0 {
		valid = room(mem, int(bitutil.BytesForBits(int64(n))))
		defer valid.Release()
		for i, v := range values {
			if v == v {
				bitutil.SetBit(valid.Bytes(), i)
			} else {
				values[i] = 0 // no NaN leaves, not even behind a null
			}
		}
	}
	return column(arrow.PrimitiveTypes.Float64, n, nulls, valid, buf)
}

// ints makes a column of at(0) to at(n-1), null where that is none.
func ints(mem memory.Allocator, t arrow.DataType, n int, at func(i int) int32) arrow.Array {
	buf := room(mem, n*arrow.Int32SizeBytes)
	defer buf.Release()
	values := arrow.Int32Traits.CastFromBytes(buf.Bytes())
	nulls := 0
	for i := range values {
		values[i] = at(i)
		if values[i] == none {
			nulls++
		}
	}
	var valid *memory.Buffer
	if nulls > 0 {
		valid = room(mem, int(bitutil.BytesForBits(int64(n))))
		defer valid.Release()
		for i, v := range values {
			if v != none {
				bitutil.SetBit(valid.Bytes(), i)
			} else {
				values[i] = 0
			}
		}
	}
	return column(t, n, nulls, valid, buf)
}

// none stands for null in ints: it is cell.NoDay, and no line or code.
const none = math.MinInt32

// flags makes a column of at(0) to at(n-1).
func flags(mem memory.Allocator, n int, at func(i int) bool) arrow.Array {
	buf := room(mem, int(bitutil.BytesForBits(int64(n))))
	defer buf.Release()
	for i := range n {
		if at(i) {
			bitutil.SetBit(buf.Bytes(), i)
		}
	}
	return column(arrow.FixedWidthTypes.Boolean, n, 0, nil, buf)
}

// room is a buffer of that many zero bytes.
func room(mem memory.Allocator, bytes int) *memory.Buffer {
	buf := memory.NewResizableBuffer(mem)
	buf.Resize(bytes)
	clear(buf.Bytes())
	return buf
}

func column(t arrow.DataType, n, nulls int, valid, values *memory.Buffer) arrow.Array {
	data := array.NewData(t, n, []*memory.Buffer{valid, values}, nil, nulls, 0)
	defer data.Release()
	return array.MakeFromData(data)
}

// newRecord takes over the columns.
func newRecord(schema *arrow.Schema, n int, columns []arrow.Array) arrow.Record {
	defer func() {
		for _, c := range columns {
			c.Release()
		}
	}()
	return array.NewRecord(schema, columns, int64(n))
}
