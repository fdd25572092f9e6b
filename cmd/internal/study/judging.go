package study

import (
	"context"
	"fmt"
	"iter"
	"runtime"
	"sync"

	"sealbound/stats/band"
	"sealbound/stats/judge"
)

// mostUnderWay is how many readings may be under way at once, unless a single cell has
// more: judging takes several times their own size.
const mostUnderWay = 400_000

// judgeEach judges the cells side by side, a few at a time, and tells the results in
// the order of the cells, from the calling goroutine, so that the number of processors
// never shows. The columns of a cell go to the next one when its result is told.
func (c *campaign) judgeEach(ctx context.Context, cells iter.Seq2[*cell, error], s judge.Settings, tell func(*cell, judge.Result)) error {
	ctx, cancel := context.WithCancel(ctx)
	type outcome struct {
		result judge.Result
		err    error
	}
	type job struct {
		cell   *cell
		answer chan outcome
	}
	workers := runtime.GOMAXPROCS(0)
	jobs, queue := make(chan job), make(chan job, 2*workers)
	room := newRoom(mostUnderWay)
	var running sync.WaitGroup
	for range workers {
		running.Go(func() {
			for j := range jobs {
				var o outcome
				if o.err = ctx.Err(); o.err == nil {
					o.result, o.err = judge.Judge(j.cell.data, s)
				}
				if o.err != nil && ctx.Err() == nil {
					o.err = fmt.Errorf("%s, band %s: %w", j.cell.group.name(), j.cell.band.Name, o.err)
				}
				j.answer <- o
			}
		})
	}
	var broken error // of the cells; read when the queue is closed
	running.Go(func() {
		defer close(queue)
		defer close(jobs)
		for x, err := range cells {
			if broken = err; err != nil || !room.take(len(x.data.DB)) {
				return
			}
			j := job{x, make(chan outcome, 1)}
			queue <- j
			jobs <- j // a worker is always there to take it
		}
	})
	defer func() { // whatever was begun is waited for
		cancel()
		room.close()
		for range queue {
		}
		running.Wait()
	}()
	for j := range queue {
		o := <-j.answer
		if err := ctx.Err(); err != nil {
			return err
		}
		if o.err != nil {
			return o.err
		}
		tell(j.cell, o.result)
		room.give(len(j.cell.data.DB))
		c.shelf.give(j.cell.data)
		j.cell.data = judge.Data{}
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	return broken
}

// judgeFamily is judgeEach with the verdicts corrected for picking rows out of all of
// them, so it tells nothing before all are known. What is kept until then is small.
func (c *campaign) judgeFamily(ctx context.Context, cells iter.Seq2[*cell, error], s judge.Settings, n *notebook, tell func(*cell, judge.Result)) error {
	var all []*cell
	var results []judge.Result
	err := c.judgeEach(ctx, cells, s, func(x *cell, r judge.Result) {
		small := *x
		small.data = judge.Data{}
		if r.Band != nil { // it holds on to the readings
			r.Band = &band.Result{Reason: r.Band.Reason, Used: r.Band.Used, PointsOut: r.Band.PointsOut, ClosingsOut: r.Band.ClosingsOut, Split: r.Band.Split}
		}
		r.Values, r.Kept = nil, nil
		all, results = append(all, &small), append(results, r)
	})
	if err != nil {
		return err
	}
	holm(results, s, n)
	for i, x := range all {
		tell(x, results[i])
	}
	return nil
}

// A room holds so much at a time; what is larger than the room enters alone.
type room struct {
	mu     sync.Mutex
	freed  sync.Cond
	size   int
	used   int
	closed bool
}

func newRoom(size int) *room {
	r := &room{size: size}
	r.freed.L = &r.mu
	return r
}

// take waits until there is room for n; false: the room was closed.
func (r *room) take(n int) bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	for r.used > 0 && r.used+n > r.size && !r.closed {
		r.freed.Wait()
	}
	r.used += n
	return !r.closed
}

func (r *room) give(n int) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.used -= n
	r.freed.Broadcast()
}

func (r *room) close() {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.closed = true
	r.freed.Broadcast()
}
