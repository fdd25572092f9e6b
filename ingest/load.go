package ingest

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"

	"sealbound/ingest/reading"
)

// What is held of a run, and of where runs stand, is bounded so that no input takes
// more than a gigabyte. Variables for tests.
var (
	mostRunRows  = 2_500_000 // some 300 bytes each
	mostRuns     = 1_250_000 // some 450 bytes each
	mostBorrowed = 250_000   // rows of a run whose open readings another one takes: it holds them too
	mostRunText  = 64 << 20  // bytes of the different labels of a run
	mostLabels   = 64 << 20  // bytes of the labels of runs, which several look-ups hold
)

// tooMany is not nil where there are too many runs, or their labels are too long to be
// held.
func (p *plan) tooMany() error {
	switch {
	case len(p.order) > mostRuns:
		return fmt.Errorf("there are more than %d runs; give fewer files at a time", mostRuns)
	case p.labels > mostLabels:
		return fmt.Errorf("the labels of the runs take up more than %d MB; shorten them, or give fewer files at a time", mostLabels>>20)
	}
	return nil
}

// load reads the rows of a run into b.
func (w *worker) load(ctx context.Context, r *planned, b *reading.Batch) (err error) {
	b.Reset()
	b.Most, b.MostText = mostRunRows, mostRunText
	defer func() {
		if errors.Is(err, reading.ErrLongLabels) {
			err = fmt.Errorf("the labels of run %q take up more than %d MB; shorten them, or divide the run with the column run", r.label, mostRunText>>20)
		}
		if errors.Is(err, reading.ErrManyRows) || err == nil && b.Len() > mostRunRows {
			err = fmt.Errorf("run %q has more than %d rows, and a run is held in memory as a whole; divide it with the column run, and name the run that has the open readings in the column reference", r.label, mostRunRows)
		}
	}()
	b.Problems.Limit = w.opt.ProblemLimit
	if r.link != nil {
		return w.loadOrderly(ctx, r, b)
	}
	w.spans = r.spans(w.spans[:0])
	w.gather.reset()
	mixed := r.copied()
	for list := w.spans; len(list)+len(mixed) > 0; {
		number := int32(math.MaxInt32)
		if len(list) > 0 {
			number = list[0].file
		}
		inCopy := len(mixed) > 0 && mixed[0] <= number
		if inCopy {
			number, mixed = mixed[0], mixed[1:]
		}
		f := w.files[number]
		n := 0 // spans of this file
		for n < len(list) && list[n].file == number {
			n++
		}
		src, err := f.source.acquire()
		if err != nil {
			return err
		}
		if inCopy {
			err = w.loadMixed(ctx, f, src, r.parts, number, list[:n], b)
		} else {
			err = w.loadSpans(ctx, f, src, list[:n], b)
		}
		list = list[n:]
		f.source.release()
		if err != nil {
			return w.because(ctx, f.path, err)
		}
	}
	return nil
}

// byRow is a table whose offsets are numbers of rows: there is no text to read at
// once.
type byRow interface{ ByRow() }

// loadSpans reads spans of one file. Short ones are gathered where they may be.
func (w *worker) loadSpans(ctx context.Context, f *file, src io.ReaderAt, list []span, b *reading.Batch) error {
	t, ok := f.table.(reading.LineTable)
	byLine := ok && len(list) > 1 && t.ByLine()
	_, rows := f.table.(byRow)
	for len(list) > 0 {
		n := 1
		if !rows {
			n = near(list)
		}
		if err := w.loadNear(ctx, f, src, list[:n], byLine, b); err != nil {
			return err
		}
		list = list[n:]
	}
	return w.gather.load(ctx, f, b)
}

// Spans with small gaps between them are read at once: the runs of a file may
// take turns row by row.
const (
	smallGap = 1 << 12
	atOnce   = 1 << 18
)

// near is how many of the first spans are read at once.
func near(list []span) int {
	n := 1
	for n < len(list) && list[n].file == list[0].file && list[n].from-list[n-1].to <= smallGap && list[n].to-list[0].from <= atOnce {
		n++
	}
	return n
}

func (w *worker) loadNear(ctx context.Context, f *file, src io.ReaderAt, list []span, byLine bool, b *reading.Batch) error {
	gather := byLine && list[0].to-list[0].from < gatherOnce
	if !gather {
		if err := w.gather.load(ctx, f, b); err != nil {
			return err
		}
	}
	if gather || len(list) > 1 {
		from := list[0].from
		w.near.From, w.near.Text = from, slices.Grow(w.near.Text[:0], atOnce)[:list[len(list)-1].to-from]
		if n, err := src.ReadAt(w.near.Text, from); n < len(w.near.Text) {
			return cmp.Or(err, io.ErrUnexpectedEOF)
		}
		if gather {
			for _, s := range list {
				w.gather.add(s.from, s.line, w.near.Text[s.from-from:s.to-from], nil)
			}
			if len(w.gather.text.Text) < gatherOnce {
				return nil
			}
			return w.gather.load(ctx, f, b)
		}
		src = &w.near
	}
	for _, s := range list {
		if err := f.table.Load(ctx, src, reading.Stretch{From: s.from, To: s.to, Line: s.line}, b); err != nil {
			return err
		}
	}
	return nil
}
