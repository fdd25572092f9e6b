package ingest

import (
	"cmp"
	"context"
	"encoding/binary"
	"io"
	"slices"

	"sealbound/ingest/reading"
	"sealbound/ingest/record"
	"sealbound/ingest/temporary"
)

// Where the rows of many runs take turns in a large file, each run would have to be
// gathered from all over it. Such a file is copied to a temporary one instead, in
// which the rows of a run stand together in extents: what has come in is sorted by
// run whenever there is enough of it, and written. Of a stretch an extent holds how
// many lines and bytes after the one before it stands in the file, how long it is,
// how much of the extent's first stretch it begins with, and the rest.
const (
	mixedLook  = 1 << 13 // stretches after which it is looked at whether runs take turns
	mixedRows  = 32      // they do where stretches have fewer rows than this on average, and half of them belong to runs seen before
	mixedBatch = 4 << 20 // how many bytes are sorted at a time
	mixedChunk = 1 << 20 // how many bytes of the file are read at a time
)

// indexTable notes where the rows of each run stand in a file.
func (r *reader) indexTable(ctx context.Context, in *file, number int32, src io.ReaderAt, from origin) (reading.Count, error) {
	m := mixer{ctx: ctx, file: in, number: number, src: src}
	_, rows := in.table.(byRow)
	var failed error
	var known []*part // by key
	count, err := in.table.Index(ctx, src, func(s reading.Stretch) {
		if !rows {
			r.meter.within(s.To, in.source.size)
		}
		var x *part
		if s.Key < len(known) && s.Key > 0 {
			x = known[s.Key]
		}
		if x == nil {
			x = r.plan.part(from, s)
			if s.Key > 0 {
				known = append(known, make([]*part, max(0, s.Key+1-len(known)))...)
				known[s.Key] = x
			}
		}
		x.open = x.open || s.Open
		if len(r.plan.order) > mostRuns {
			failed = cmp.Or(failed, errManyRuns())
		}
		if failed == nil {
			failed = m.add(x, s)
		}
	})
	m.flush()
	if m.mixed {
		r.notes.addMany(noteMixed, in.path, "", m.runs)
	}
	return count, cmp.Or(err, failed)
}

// A mixer takes the stretches of one file, in order.
type mixer struct {
	ctx       context.Context
	file      *file
	number    int32
	src       io.ReaderAt
	stretches int  // since it was last looked at whether runs take turns
	again     int  // those of parts that the file had before
	line      int  // at which that was
	mixed     bool // runs take turns
	taking    bool // a copy is written
	tried     bool // a copy was begun, and will not be again
	runs      int  // parts that have rows in the file

	chunk   []byte // what stands in the file from base on
	base    int64
	log     []byte // what has come in
	entries []mixedEntry
	parts   []*part // which of them are in the log
	sorted  []byte
}

// A mixedEntry is a stretch in the log.
type mixedEntry struct {
	part     *part
	from, to int32 // in the log
}

// A mixedCopy is the temporary file.
type mixedCopy struct {
	file copyFile
	size int64
	from int64 // offset of the source at which it begins
}

type copyFile interface {
	io.ReaderAt
	io.WriterAt
	io.Closer
}

func (c *mixedCopy) close() {
	c.file.Close() // it was only read
}

// add notes a stretch of the part.
func (m *mixer) add(x *part, s reading.Stretch) error {
	if m.stretches++; m.stretches == mixedLook {
		if s.Line-m.line < mixedLook*mixedRows && m.again >= mixedLook/2 { // else runs may just be short
			m.mixed = true
			m.begin(s.From)
		}
		m.stretches, m.again, m.line = 0, 0, s.Line
	}
	if x.seen == m.number+1 {
		m.again++
	}
	if x.seen != m.number+1 {
		x.seen = m.number + 1
		m.runs++
	}
	if m.taking && s.To-s.From > mixedBatch { // they have stopped taking turns
		m.flush()
		m.taking = false
	}
	if !m.taking {
		x.rows.add(span{m.number, s.Line, s.From, s.To})
		return nil
	}
	text, err := m.text(s.From, s.To)
	if err != nil {
		return err
	}
	if x.inCopies == nil {
		x.inCopies = &inCopies{}
	}
	shared := 0
	if x.pending == 0 {
		m.parts = append(m.parts, x)
		x.lastLine, x.lastTo = 0, 0
	} else {
		shared = record.Common(m.log[x.headFrom:x.headTo], text)
	}
	from := len(m.log)
	m.log = binary.AppendUvarint(m.log, uint64(s.Line-x.lastLine))
	m.log = binary.AppendUvarint(m.log, uint64(s.From-x.lastTo))
	m.log = binary.AppendUvarint(m.log, uint64(s.To-s.From))
	m.log = binary.AppendUvarint(m.log, uint64(shared))
	if x.pending == 0 {
		x.headFrom, x.headTo = len(m.log), len(m.log)+len(text)
	}
	m.log = append(m.log, text[shared:]...)
	x.lastLine, x.lastTo = s.Line, s.To
	x.pending += len(m.log) - from
	x.bytes += s.To - s.From
	m.entries = append(m.entries, mixedEntry{x, int32(from), int32(len(m.log))})
	if len(m.log) >= mixedBatch {
		m.flush()
		return m.ctx.Err()
	}
	return nil
}

// begin starts the copy. Where there is no room for one, things go on without it.
func (m *mixer) begin(from int64) {
	if _, ok := m.file.table.(reading.LineTable); !ok || m.tried || m.file.source.memory != nil {
		return
	}
	m.tried = true
	f, err := temporary.New()
	if err != nil {
		return
	}
	m.log, m.entries = make([]byte, 0, mixedBatch+mixedBatch/4), make([]mixedEntry, 0, mixedBatch/32)
	m.taking, m.file.copy = true, &mixedCopy{file: f, from: from}
}

// text is what stands in the file between two offsets, which grow from call to call.
func (m *mixer) text(from, to int64) ([]byte, error) {
	if to > m.base+int64(len(m.chunk)) {
		kept := 0
		if from < m.base+int64(len(m.chunk)) {
			kept = copy(m.chunk, m.chunk[from-m.base:])
		}
		m.base = from
		size := min(max(mixedChunk, to-from), m.file.source.size-from)
		m.chunk = slices.Grow(m.chunk[:kept], int(size)-kept)[:size]
		if n, err := m.src.ReadAt(m.chunk[kept:], from+int64(kept)); n < len(m.chunk)-kept {
			if err == nil || err == io.EOF {
				err = io.ErrUnexpectedEOF
			}
			return nil, err
		}
	}
	return m.chunk[from-m.base : to-m.base], nil
}

// flush sorts the log by run and writes it. Where that fails, its rows are gathered
// from the file after all, and so are those that follow.
func (m *mixer) flush() {
	if len(m.entries) == 0 {
		return
	}
	c := m.file.copy
	m.sorted = slices.Grow(m.sorted[:0], max(len(m.log), cap(m.log)))[:len(m.log)]
	to := 0
	for _, x := range m.parts {
		x.next = to
		to += x.pending
	}
	for _, e := range m.entries {
		e.part.next += copy(m.sorted[e.part.next:], m.log[e.from:e.to])
	}
	_, err := c.file.WriteAt(m.sorted, c.size)
	at := c.size
	for _, x := range m.parts {
		if err == nil {
			x.extents.add(span{file: m.number, from: at, to: at + int64(x.pending)})
		}
		at += int64(x.pending)
		x.pending = 0
	}
	if err != nil {
		m.taking = false
		m.recall()
	} else {
		c.size = at
	}
	m.log, m.entries, m.parts = m.log[:0], m.entries[:0], m.parts[:0]
}

// recall notes the stretches in the log as those that were not copied.
func (m *mixer) recall() {
	for _, x := range m.parts {
		x.lastLine, x.lastTo = 0, 0
	}
	for _, e := range m.entries {
		var v [3]uint64 // lines and bytes behind the one before, and its length
		for i, b := 0, m.log[e.from:e.to]; i < len(v); i++ {
			n := 0
			v[i], n = binary.Uvarint(b)
			b = b[n:]
		}
		x := e.part
		x.lastLine += int(v[0])
		from := x.lastTo + int64(v[1])
		x.lastTo = from + int64(v[2])
		x.bytes -= int64(v[2])
		x.rows.add(span{m.number, x.lastLine, from, x.lastTo})
	}
}
