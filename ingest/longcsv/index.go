package longcsv

import (
	"bytes"
	"cmp"
	"context"
	"io"
	"runtime"
	"sync"

	"sealbound/ingest/reading"
	"sealbound/ingest/record"
)

// pieceSize is how many bytes of a large file are indexed at a time, a few pieces
// side by side.
const pieceSize = 1 << 20

// Index finds the stretches of rows that have the same run and date.
func (t *table) Index(ctx context.Context, src io.ReaderAt, add func(reading.Stretch)) (reading.Count, error) {
	return t.IndexSorted(ctx, src, add, nil)
}

// IndexSorted is Index; where runs take turns it offers rows to take, sorted by run.
func (t *table) IndexSorted(ctx context.Context, src io.ReaderAt, add func(reading.Stretch), take func(*reading.Block) bool) (reading.Count, error) {
	m := merger{add: add, take: take, number: map[string]int32{}, last: -1}
	var turns sorting
	turns.wanted.Store(take != nil)
	var count reading.Count
	from, line := t.body, t.line
	t.plain, t.tame, t.bare = true, true, true
	if workers := min(runtime.GOMAXPROCS(0), 8); (workers > 1 || take != nil) && t.size-t.body > 2*t.piece {
		var err error
		if count, from, line, err = t.sideBySide(ctx, src, workers, &turns, &m); err != nil {
			return count, err
		}
	}
	err := t.inOneGo(ctx, src, from, line, &turns, &m, &count)
	m.end(t.size)
	return count, err
}

// inOneGo walks from an offset to the end of the file.
func (t *table) inOneGo(ctx context.Context, src io.ReaderAt, from int64, line int, turns *sorting, m *merger, count *reading.Count) error {
	d := desks.Get().(*desk)
	defer desks.Put(d)
	r := &d.reader
	r.Reset(src, from, t.size, line, false)
	p := part{keys: newKeys()}
	k := p.keys
	var failed error
	handOn := func(end int64, line int) {
		if len(k.stretches) == 0 {
			return
		}
		first := k.stretches[0].line
		for i := range k.stretches {
			k.stretches[i].line -= first
		}
		p.end = end
		p.sorted = turns.wanted.Load() && k.takeTurns(line-first, k.before) && end-k.stretches[0].from <= 2*turns.size(t.piece)+record.MaxLine
		if p.sorted && failed == nil {
			failed = k.sort(src, end)
		}
		if failed == nil {
			m.piece(&p, first, turns)
		}
		turns.next(k, p.sorted)
		k.stretches, k.before = k.stretches[:0], len(k.texts)
	}
	n, err := t.walk(ctx, r, k, func(s stretch) {
		if !turns.wanted.Load() {
			handOn(s.from, s.line)
			m.put(s, k)
			return
		}
		if len(k.stretches) > 0 && s.from-k.stretches[0].from >= turns.size(t.piece) {
			handOn(s.from, s.line)
		}
		k.stretches = append(k.stretches, s)
	})
	handOn(t.size, r.NextLine())
	t.plain, t.tame, t.bare = t.plain && r.Plain(), t.tame && r.Tame(), t.bare && !r.Quotes()
	count.Rows, count.Blank = count.Rows+n.Rows, count.Blank+n.Blank
	return cmp.Or(err, failed)
}

// cellAt is cell i of the n that were split, nil where there is none.
func cellAt(r *record.Reader, i, n int) []byte {
	if i < 0 || i >= n {
		return nil
	}
	return r.Cell(i)
}

// A part is what the walk through one piece of the file gave. Its lines count from
// 0.
type part struct {
	count  reading.Count
	keys   *keys // which holds the stretches
	end    int64
	lines  int
	plain  bool
	tame   bool
	bare   bool // it has no quotes
	sorted bool // keys has sorted the stretches
	spans  bool // a quote may span its end, or a line is too long: one walk has to take it from here
	err    error
}

// sideBySide walks through pieces of the file at once and puts their stretches in
// order. A quote may span a cut, so it goes as far as they all stand around
// whole cells, and says where that is.
func (t *table) sideBySide(ctx context.Context, src io.ReaderAt, workers int, turns *sorting, m *merger) (count reading.Count, from int64, line int, err error) {
	type job struct {
		begin, size int64
		answer      chan part
	}
	ctx, cancel := context.WithCancel(ctx)
	jobs, queue := make(chan job), make(chan job, workers)
	spare := make(chan *keys, workers+1) // for the pieces in the queue, and the one that is taken from it
	for range cap(spare) {
		spare <- newKeys()
	}
	var running sync.WaitGroup
	for range workers {
		running.Add(1)
		go func() {
			defer running.Done()
			for j := range jobs {
				j.answer <- t.part(ctx, src, j.begin, j.size, <-spare, turns)
			}
		}()
	}
	go func() {
		defer close(queue)
		defer close(jobs)
		for begin, size := t.body, int64(0); begin < t.size; begin += size {
			size = turns.size(t.piece)
			j := job{begin, size, make(chan part, 1)}
			select {
			case queue <- j:
			case <-ctx.Done():
				return
			}
			jobs <- j
		}
	}()
	defer func() {
		cancel()
		for j := range queue {
			p := <-j.answer
			spare <- p.keys
		}
		running.Wait()
	}()
	from, line = t.body, t.line
	for j := range queue {
		p := <-j.answer
		if p.err == nil && !p.spans {
			m.piece(&p, line, turns)
		}
		spare <- p.keys
		if p.err != nil {
			return count, from, line, p.err
		}
		if p.spans {
			return count, from, line, nil
		}
		count.Rows, count.Blank = count.Rows+p.count.Rows, count.Blank+p.count.Blank
		t.plain, t.tame, t.bare = t.plain && p.plain, t.tame && p.tame, t.bare && p.bare
		from, line = p.end, line+p.lines
	}
	return count, from, line, ctx.Err()
}

// part walks through the lines that begin in the piece of the file at begin.
func (t *table) part(ctx context.Context, src io.ReaderAt, begin, size int64, keys *keys, turns *sorting) (p part) {
	keys.forget()
	p.keys, keys.stretches = keys, keys.stretches[:0]
	from, short := begin, true
	if begin > t.body {
		from, short, p.err = lineAfter(src, begin-1, t.size)
	}
	if p.err == nil && short {
		p.end, short, p.err = lineAfter(src, min(begin+size, t.size)-1, t.size)
	}
	if p.spans = !short; p.err != nil || !short || from >= p.end {
		p.plain, p.tame, p.bare = short, short, short
		return p
	}
	if turns.pieces.Load() > 0 && turns.wanted.Load() { // its text will be asked for again
		if p.err = keys.held.Read(src, from, p.end); p.err != nil {
			return p
		}
		src = &keys.held
	}
	d := desks.Get().(*desk)
	defer desks.Put(d)
	r := &d.reader
	r.Reset(src, from, p.end, 0, false)
	known := len(keys.texts)
	p.count, p.err = t.walk(ctx, r, keys, func(s stretch) { keys.stretches = append(keys.stretches, s) })
	p.lines, p.plain, p.tame, p.bare = r.NextLine(), r.Plain(), r.Tame(), !r.Quotes()
	p.spans = r.Quotes() && !r.Tame()
	if p.err == nil && !p.spans && turns.wanted.Load() {
		p.sorted = keys.takeTurns(p.lines, known)
		if p.sorted {
			p.err = keys.sort(src, p.end)
		}
		turns.next(keys, p.sorted)
	}
	return p
}

// lineAfter is the offset behind the first line end at or after at. It gives up,
// with false, on a line that is too long to be read: each piece of it would look
// for the same end.
func lineAfter(src io.ReaderAt, at, size int64) (int64, bool, error) {
	var b [4096]byte
	for most := at + record.MaxLine; at < size; {
		want := int(min(int64(len(b)), size-at))
		n, err := src.ReadAt(b[:want], at)
		if n < want {
			if err == nil || err == io.EOF {
				err = io.ErrUnexpectedEOF
			}
			return 0, true, err
		}
		if i := bytes.IndexByte(b[:n], '\n'); i >= 0 {
			return at + int64(i) + 1, true, nil
		}
		if at += int64(n); at > most {
			return 0, false, nil
		}
	}
	return size, true, nil
}
