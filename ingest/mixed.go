package ingest

import (
	"cmp"
	"context"
	"io"
	"slices"
	"sync"

	"sealbound/ingest/reading"
	"sealbound/ingest/temporary"
)

// Where the rows of many runs take turns in a large file, each run would have to be
// gathered from all over it. The rows of such a file are copied to a temporary one
// instead, sorted by run a part of the file at a time: what a run has in such a part
// is an extent of the copy.
const (
	mixedLeast = 1 << 13 // stretches that a file of which that is told has at least
	mixedRows  = 32      // they have fewer rows than this on average, and half of them belong to runs seen before
)

// indexTable notes where the rows of each run stand in a file.
func (r *reader) indexTable(ctx context.Context, in *file, number int32, src io.ReaderAt, from origin) (reading.Count, error) {
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	m := mixer{plan: r.plan, from: from, file: in, number: number, stop: stop}
	_, rows := in.table.(byRow)
	add := func(s reading.Stretch) {
		if !rows {
			r.meter.within(s.To, in.source.size)
		}
		m.add(s)
	}
	var count reading.Count
	var err error
	if t, ok := in.table.(reading.SortingTable); ok && in.source.memory == nil {
		count, err = t.IndexSorted(ctx, src, add, func(b *reading.Block) bool {
			r.meter.within(b.To, in.source.size)
			return m.take(b)
		})
	} else {
		count, err = in.table.Index(ctx, src, add)
	}
	if m.stretches >= mixedLeast && count.Rows < m.stretches*mixedRows && 2*(m.stretches-m.runs) >= m.stretches { // else runs may just be short
		r.notes.addMany(noteMixed, in.path, "", m.runs)
	}
	return count, cmp.Or(m.failed, err)
}

// A mixer takes the stretches of one file, in order.
type mixer struct {
	plan      *plan
	from      origin
	file      *file
	number    int32
	known     []*part // by key
	stretches int
	runs      int  // parts that have rows in the file
	full      bool // there is no room for a copy
	failed    error
	stop      func() // ends the search for rows
	fresh     []*reading.Group
}

// part is that of a stretch, or of several of the same key.
func (m *mixer) part(s *reading.Stretch) *part {
	var x *part
	if m.knows(s) {
		x = m.known[s.Key]
	} else if x = m.plan.part(m.from, *s); s.Key > 0 {
		m.known = append(m.known, make([]*part, max(0, s.Key+1-len(m.known)))...)
		m.known[s.Key] = x
	}
	x.open = x.open || s.Open
	if x.seen != m.number+1 {
		x.seen = m.number + 1
		m.runs++
	}
	if m.failed == nil {
		if m.failed = m.plan.tooMany(); m.failed != nil {
			m.stop()
		}
	}
	return x
}

func (m *mixer) knows(s *reading.Stretch) bool {
	return s.Key > 0 && s.Key < len(m.known) && m.known[s.Key] != nil
}

// add notes a stretch.
func (m *mixer) add(s reading.Stretch) {
	if m.failed != nil {
		return
	}
	if !s.GoesOn {
		m.stretches++
	}
	m.part(&s).rows.add(span{m.number, s.Line, s.From, s.To})
}

// take copies a block, if there is room for that.
func (m *mixer) take(b *reading.Block) bool {
	if m.failed != nil {
		return true
	}
	if m.full {
		return false
	}
	at, ok := m.file.copyTo(b.Text)
	if m.full = !ok; m.full {
		return false
	}
	m.stretches += b.Stretches
	m.fresh = m.fresh[:0]
	for i := range b.Groups {
		if g := &b.Groups[i]; !m.knows(&g.Stretch) {
			m.fresh = append(m.fresh, g)
		}
	}
	slices.SortFunc(m.fresh, func(a, b *reading.Group) int { return cmp.Compare(a.From, b.From) })
	for _, g := range m.fresh { // runs of one name are told apart by which comes first
		m.part(&g.Stretch)
	}
	for i := range b.Groups {
		g := &b.Groups[i]
		x := m.part(&g.Stretch)
		if x.inCopies == nil {
			x.inCopies = &inCopies{}
		}
		end := at + int64(g.Size)
		x.extents.add(span{file: m.number, line: b.Line, from: at, to: end})
		x.bytes += g.Bytes
		at = end
	}
	return true
}

// A mixedCopy is the temporary file. Runs are read in about the order in which their
// extents stand in each block, so that what follows one is soon asked for: some of it
// is held ready.
type mixedCopy struct {
	file   copyFile
	size   int64
	blocks []*copied
}

type copyFile interface {
	io.ReaderAt
	io.WriterAt
	io.Closer
}

// A copied block is a part of the copy, and what is held ready of it.
type copied struct {
	from, to int64
	mu       sync.Mutex
	ready    reading.Held
	missed   int // how often in turn something else was asked for
}

const (
	mostReady   = 4 << 20 // bytes that are held ready of all blocks
	leastReady  = 4 << 10 // of a block; less is not worth it
	mostMissed  = 16
	largestRead = 1 << 16
)

func (c *mixedCopy) close() {
	c.file.Close() // it was only read
}

// newCopy makes the temporary file. A variable for tests.
var newCopy = func() (copyFile, error) { return temporary.New() }

// copyTo writes a block behind those before and returns where; false where there is no
// room.
func (f *file) copyTo(text []byte) (at int64, ok bool) {
	if f.copy == nil {
		file, err := newCopy()
		if err != nil {
			return 0, false
		}
		f.copy = &mixedCopy{file: file}
	}
	c := f.copy
	at = c.size
	if _, err := c.file.WriteAt(text, at); err != nil {
		return 0, false
	}
	c.size += int64(len(text))
	c.blocks = append(c.blocks, &copied{from: at, to: c.size})
	return at, true
}

// read fills b with an extent.
func (c *mixedCopy) read(b []byte, at int64) error {
	most := int64(min(mostReady/len(c.blocks), largestRead))
	if most < leastReady || int64(len(b)) > most/2 {
		return c.direct(b, at)
	}
	return c.block(at).read(c, b, at, most)
}

func (c *mixedCopy) direct(b []byte, at int64) error {
	n, err := c.file.ReadAt(b, at)
	if n == len(b) {
		return nil
	}
	return cmp.Or(err, io.ErrUnexpectedEOF)
}

// block finds the block in which an extent stands.
func (c *mixedCopy) block(at int64) *copied {
	low, high := 0, len(c.blocks)
	for high-low > 1 {
		if mid := (low + high) / 2; c.blocks[mid].from <= at {
			low = mid
		} else {
			high = mid
		}
	}
	return c.blocks[low]
}

func (x *copied) read(c *mixedCopy, b []byte, at, most int64) error {
	x.mu.Lock()
	defer x.mu.Unlock()
	ready := x.ready.From + int64(len(x.ready.Text))
	if at >= x.ready.From && at+int64(len(b)) <= ready {
		copy(b, x.ready.Text[at-x.ready.From:])
		x.missed = 0
		return nil
	}
	if ahead := at - ready; x.missed < mostMissed && len(x.ready.Text) > 0 && (at < x.ready.From || ahead > most) {
		x.missed++ // by one who is not in turn
		return c.direct(b, at)
	}
	x.missed = 0
	if err := x.ready.Read(c.file, at, max(at+int64(len(b)), min(at+most, x.to))); err != nil {
		x.ready.Text = x.ready.Text[:0]
		return err
	}
	copy(b, x.ready.Text)
	return nil
}
