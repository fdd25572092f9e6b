package ingest

import (
	"sync"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/bitutil"
	"github.com/apache/arrow/go/v15/arrow/memory"
)

// A table is the columns of a record in one piece of memory. The values are to be
// written over, all of them; the flags are false.
type table struct {
	mem    memory.Allocator
	buf    *memory.Buffer
	n      int
	ints   [][]int32
	floats [][]float64
	flags  [][]byte
	at     []int // where each column begins: ints, floats, flags
}

func newTable(mem memory.Allocator, n, ints, floats, flags int) *table {
	const line = 64 // columns begin on a line of the processor's cache
	round := func(bytes int) int { return (bytes + line - 1) &^ (line - 1) }
	i, f, b := round(n*arrow.Int32SizeBytes), round(n*arrow.Float64SizeBytes), round(int(bitutil.BytesForBits(int64(n))))
	t := &table{mem: mem, n: n, buf: memory.NewResizableBuffer(mem)}
	t.buf.Resize(ints*i + floats*f + flags*b)
	at := 0
	next := func(size int) []byte {
		t.at = append(t.at, at)
		at += size
		return t.buf.Bytes()[at-size : at]
	}
	for range ints {
		t.ints = append(t.ints, arrow.Int32Traits.CastFromBytes(next(i))[:n])
	}
	for range floats {
		t.floats = append(t.floats, arrow.Float64Traits.CastFromBytes(next(f))[:n])
	}
	for range flags {
		bits := next(b)
		clear(bits)
		t.flags = append(t.flags, bits)
	}
	return t
}

func (t *table) release() { t.buf.Release() }

func (t *table) slice(k, size int) *memory.Buffer { return memory.SliceBuffer(t.buf, t.at[k], size) }

// whole is a column of whole numbers.
func (t *table) whole(k int) arrow.Array {
	return t.plain(arrow.PrimitiveTypes.Int32, k, t.n*arrow.Int32SizeBytes)
}

// truth is a column of flags.
func (t *table) truth(k int) arrow.Array {
	return t.plain(arrow.FixedWidthTypes.Boolean, len(t.ints)+len(t.floats)+k, int(bitutil.BytesForBits(int64(t.n))))
}

func (t *table) plain(kind arrow.DataType, k, size int) arrow.Array {
	buf := t.slice(k, size)
	defer buf.Release()
	return column(kind, t.n, 0, nil, buf)
}

// number is a column of floats, null where they are NaN, which so many are.
func (t *table) number(k, nulls int) arrow.Array {
	buf := t.slice(len(t.ints)+k, t.n*arrow.Float64SizeBytes)
	defer buf.Release()
	return gaps(t.mem, t.floats[k], nulls, buf)
}

// A recycler hands out again what was given back: the runs of a campaign are much
// alike, and new memory would have to be cleared.
type recycler struct {
	mu   sync.Mutex
	free [][]byte
}

// recycled is how many pieces of memory are kept for use again.
const recycled = 8

// Allocate gives memory that may hold anything.
func (r *recycler) Allocate(size int) []byte {
	r.mu.Lock()
	defer r.mu.Unlock()
	for i, b := range r.free {
		if cap(b) >= size && cap(b) <= 2*size {
			last := len(r.free) - 1
			r.free[i], r.free = r.free[last], r.free[:last]
			return b[:size]
		}
	}
	return memory.DefaultAllocator.Allocate(size)
}

// Reallocate gives memory of another size that begins as b does.
func (r *recycler) Reallocate(size int, b []byte) []byte {
	if size <= cap(b) {
		return b[:size]
	}
	grown := r.Allocate(size)
	copy(grown, b)
	r.Free(b)
	return grown
}

// Free takes memory back.
func (r *recycler) Free(b []byte) {
	if cap(b) == 0 {
		return
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	if len(r.free) == recycled {
		copy(r.free, r.free[1:]) // the oldest goes
		r.free = r.free[:recycled-1]
	}
	r.free = append(r.free, b)
}
