package ingest

import (
	"context"
	"runtime"
	"sync"

	"sealbound/ingest/reading"
)

// visitAll processes the runs, a few at a time, and visits them in order.
func (r *reader) visitAll(ctx context.Context, visit func(*Run) error) (err error) {
	ctx, cancel := context.WithCancel(ctx)
	type job struct {
		run    *planned
		answer chan outcome
		large  bool
	}
	// One more than there are processors, for now and then one waits for a file.
	workers := min(runtime.GOMAXPROCS(0)+1, len(r.plan.runs), 8)
	jobs, queue := make(chan job), make(chan job, workers)
	large := make(chan struct{}, 1) // of large runs there is one at a time
	var running sync.WaitGroup
	for range workers {
		running.Add(1)
		go func() {
			defer running.Done()
			w := worker{reader: r}
			for j := range jobs {
				j.answer <- w.process(ctx, j.run)
				if w.batch.Len()+w.other.Len() > heldRows {
					w = worker{reader: r} // its memory is not kept
				}
			}
		}()
	}
	go func() {
		defer close(queue)
		defer close(jobs)
		letGo := r.standAlone()
		var links *links
		if r.orderly {
			links = newLinks(len(r.files), r.plan.runs)
		}
		for i, p := range r.plan.runs {
			if r.orderly {
				links.next(p)
			}
			if letGo {
				r.plan.runs[i] = nil
			}
			j := job{p, make(chan outcome, 1), r.size(p) > largeRun}
			if j.large {
				select {
				case large <- struct{}{}:
				case <-ctx.Done():
					return
				}
			}
			select {
			case queue <- j:
			case <-ctx.Done():
				return
			}
			jobs <- j // a worker is always there to take it
		}
	}()
	defer func() { // whatever was begun is waited for and given back
		cancel()
		for j := range queue {
			o := <-j.answer
			o.release()
		}
		running.Wait()
	}()
	for j := range queue {
		o := <-j.answer
		err := o.err
		if err == nil {
			err = ctx.Err()
		}
		if err == nil {
			r.take(&o)
			r.meter.visited(j.run)
			if o.run != nil {
				err = visit(o.run)
			}
		}
		o.release()
		if err != nil {
			return err
		}
		if j.large {
			<-large
		}
	}
	return ctx.Err()
}

// What is held of the runs that are read side by side. Variables for tests.
var (
	largeRun int64 = 16 << 20 // so many bytes of rows make a run large
	heldRows       = 250_000  // memory for more rows is given back between runs
)

// size is how many bytes the rows of a run take up, roughly where they are packed.
func (r *reader) size(p *planned) (n int64) {
	const packedRow = 64
	for _, x := range p.parts {
		rows := x.rows.size
		if x.rows.n > 0 {
			if _, is := r.files[x.rows.last.file].table.(byRow); is {
				rows *= packedRow
			}
		}
		if n += rows; x.inCopies != nil {
			n += x.bytes
		}
	}
	return n
}

// standAlone reports whether no run can name another as its reference, so that what is
// known of a run can be given back when its turn has come.
func (r *reader) standAlone() bool {
	for _, f := range r.files {
		if f.table == nil {
			continue
		}
		if t, ok := f.table.(interface{ Has(reading.Column) bool }); !ok || t.Has(reading.Reference) {
			return false
		}
	}
	return true
}

// take adds what one run gave to the whole.
func (r *reader) take(o *outcome) {
	r.problems.AddAll(&o.problems)
	r.notes.addAll(&o.notes)
	for _, t := range o.rows {
		in := &r.files[t.file].input
		in.Used += t.used
		in.Skipped += t.skipped
	}
	if o.onlyOpen {
		r.onlyOpen = append(r.onlyOpen, o.label)
	}
	if o.serves != "" {
		r.serves[o.serves] = true
	}
	if o.left != nil {
		r.summary.LeftOut = append(r.summary.LeftOut, *o.left)
	}
}
