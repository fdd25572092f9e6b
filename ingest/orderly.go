package ingest

import (
	"context"
	"errors"
	"io"
	"path/filepath"
	"strings"

	"sealbound/ingest/reading"
)

// Large files are mostly orderly: the rows of a run stand together, and the runs in
// the order in which they are visited. They are then read once, not twice: a few
// looks show where runs begin, and reading each shows whether that was so. Where it
// was not, all is read again, row by row at first.

// orderlyFrom is how many bytes make it worth while.
const orderlyFrom = 8 << 20

// errDisorder ends a reading that took the files to be orderly.
var errDisorder = errors.New("ingest: the rows of runs do not stand together")

// A prober is a table that can be taken to be orderly; see longcsv.
type prober interface {
	reading.Table
	Probe(ctx context.Context, src io.ReaderAt, add func(reading.Stretch) bool) (bool, error)
	ConfirmingLoad(ctx context.Context, src io.ReaderAt, s reading.Stretch, b *reading.Batch) (rows int, confirmed bool, err error)
}

// worthProbing reports whether the files may be orderly and are large. Each must be
// one that can be read again.
func (s *search) worthProbing() bool {
	sum := int64(0)
	for _, f := range s.files {
		if f.size < 0 || strings.EqualFold(filepath.Ext(f.path), ".gz") {
			return false
		}
		if f.side == "" {
			sum += f.size
		}
	}
	return sum >= orderlyFrom
}

// probeTable notes where the runs of a file stand if it is orderly.
func (r *reader) probeTable(ctx context.Context, in *file, number int32, src io.ReaderAt, from origin) error {
	t, ok := in.table.(prober)
	if !ok {
		return errDisorder
	}
	ok, err := t.Probe(ctx, src, func(s reading.Stretch) bool {
		x := r.plan.part(from, s)
		x.rows.add(span{number, s.Line, s.From, s.To})
		return x.rows.n == 1 && r.plan.tooMany() == nil // else the run comes again, as it does where rows are in no order
	})
	if many := r.plan.tooMany(); err == nil && many != nil {
		return many
	}
	if err == nil && !ok {
		err = errDisorder
	}
	return err
}

// A link hands on, from run to run of a file, how many lines stand before the next.
type link struct {
	before <-chan int // nil for the first run
	after  chan<- int // nil for the last
}

// links give each run its link when its turn comes, so that there are few at a time.
type links struct {
	left []int32              // by file: runs that wait for their turn
	open map[int32]<-chan int // by file: what the next run waits for
}

func newLinks(files int, runs []*planned) *links {
	l := &links{left: make([]int32, files), open: map[int32]<-chan int{}}
	for _, r := range runs {
		l.left[r.parts[0].rows.last.file]++
	}
	return l
}

func (l *links) next(r *planned) {
	file := r.parts[0].rows.last.file
	r.link = &link{before: l.open[file]}
	if l.left[file]--; l.left[file] == 0 {
		delete(l.open, file)
		return
	}
	next := make(chan int, 1)
	r.link.after, l.open[file] = next, next
}

// inOrder returns errDisorder where a run is more than one piece of one file, or where
// the order of runs is not that of the file.
func (p *plan) inOrder() error {
	ends := map[int32]int64{}
	for _, r := range p.runs {
		if len(r.parts) != 1 || r.split {
			return errDisorder
		}
		s := &r.parts[0].rows
		if s.n != 1 {
			return errDisorder
		}
		end, later := ends[s.last.file]
		if s.last.from < end || later == (s.last.line > 0) {
			return errDisorder
		}
		ends[s.last.file] = s.last.to
	}
	return nil
}

// loadOrderly reads the rows of a run, which stand together.
func (w *worker) loadOrderly(ctx context.Context, r *planned, b *reading.Batch) error {
	if r.link.after != nil {
		defer close(r.link.after) // whatever happens: the next run waits for it
	}
	s := r.parts[0].rows.last
	f := w.files[s.file]
	src, err := f.source.acquire()
	if err != nil {
		return err
	}
	defer f.source.release()
	run := ""
	if r.path() == "" {
		run = r.alias()
	}
	rows, ok, err := f.table.(prober).ConfirmingLoad(ctx, src, reading.Stretch{Run: []byte(run), Date: r.parts[0].day, From: s.from, To: s.to}, b)
	if err != nil {
		return w.because(ctx, f.path, err)
	}
	line := s.line
	if r.link.before != nil {
		known := false
		select {
		case line, known = <-r.link.before:
		case <-ctx.Done():
			return ctx.Err()
		}
		ok = ok && known
	}
	if !ok || b.Problems.Count() > 0 {
		return errDisorder
	}
	if r.link.after != nil {
		r.link.after <- line + rows
	}
	for i := range b.Line {
		b.Line[i] += int32(line)
	}
	return nil
}
