package ingest

import (
	"context"
	"fmt"
	"math"
	"slices"

	"github.com/apache/arrow/go/v15/arrow/memory"

	"sealbound/ingest/cell"
	"sealbound/ingest/reading"
)

// An outcome is what reading one run gives.
type outcome struct {
	run      *Run // nil where there is nothing to visit
	label    string
	serves   string // the run that it names as its reference, empty where it names none
	onlyOpen bool   // no closed reading is left
	left     *LeftOut
	problems reading.Problems
	notes    notes
	rows     []tally
	err      error
}

// A tally counts a run's rows in one file.
type tally struct {
	file          int32
	used, skipped int
}

func (o *outcome) release() {
	if o.run != nil {
		if o.run.Readings != nil {
			o.run.Readings.Release()
		}
		o.run.Attenuation.Release()
		o.run = nil
	}
}

// A worker reads runs one after another; it owns the memory for that.
type worker struct {
	*reader
	batch, other reading.Batch
	pairing      pairing
	spans        []span
	near         reading.Held
	gather       gatherer
	borrows      bool // holds the room for a large reference
}

// again is where the memory of attenuations comes from.
func (w *worker) again() memory.Allocator {
	if w.opt.Allocator != nil {
		return w.opt.Allocator
	}
	return &w.recycler
}

// process reads and pairs one run.
func (w *worker) process(ctx context.Context, r *planned) (o outcome) {
	mem := w.opt.Allocator
	if mem == nil {
		mem = memory.DefaultAllocator
	}
	defer func() {
		if w.borrows {
			w.borrows = false
			w.other = reading.Batch{}
			<-w.borrowing
		}
	}()
	b := &w.batch
	o.label = r.label
	if o.err = w.load(ctx, r, b); o.err != nil {
		return o
	}
	o.problems.Limit = w.opt.ProblemLimit
	own := b.Len()
	p := &w.pairing
	p.toleranceHz = max(w.summary.FreqToleranceHz, b.FreqToleranceHz)
	p.opt, p.b, p.label, p.own, p.quiet, p.notes = &w.opt, b, r.label, own, w.refused, &o.notes
	p.fail = func(row int, c reading.Column, problem reading.Problem) { b.Problems.Add(w.place(b, row, c, problem)) }
	p.paths = func(f int32) string { return w.files[f].path }
	p.where = func(row int32) string { return fmt.Sprintf("%s:%d", w.files[b.File[row]].path, b.Line[row]) }
	reference, denied := r, []int32(nil)
	if name := p.reducedReference(); name != "" {
		reference = &planned{label: name}
	} else if b.Text[reading.Reference] != nil {
		if reference, denied, o.err = w.borrow(ctx, r, p); o.err != nil {
			return o
		}
	}
	if o.err = p.run(ctx, denied); o.err != nil {
		return o
	}
	o.problems.AddAll(&b.Problems)
	for _, s := range b.Skipped {
		o.count(s.File, 0, s.Rows)
	}
	p.tally(o.count)
	w.tellBelow(b, own, &o.notes)
	if p.taken > 0 {
		o.notes.addMany(noteTaken, r.label, "", p.taken)
	}
	if own == 0 {
		return o
	}
	if o.onlyOpen = len(p.closing.keys) == 0; reference != r {
		o.serves = reference.label
	}
	drift, at := p.drift()
	if p.onlyBands() { // the drift was looked at where the readings were
		drift, at = math.NaN(), -1
	}
	if drift > w.opt.DriftDB {
		o.left = p.leftOut(r.label, drift, at)
		if !w.opt.KeepDrifted {
			return o
		}
		o.left = nil
	}
	o.run = p.result(reference, r.label, drift, at)
	o.run.Attenuation = attenuationRecord(w.again(), p.pairs, b.Line)
	if !w.opt.OmitReadings {
		o.run.Readings = readingsRecord(mem, b, own, p.bad, p.norm, p.paths)
	}
	return o
}

// tellBelow notes levels that are written as upper bounds; those of traces are told
// where the traces are.
func (w *worker) tellBelow(b *reading.Batch, own int, notes *notes) {
	for i, limited := range b.Limited[:own] {
		if limited && b.Unit[i] != reading.Attenuated {
			f := w.files[b.File[i]]
			if _, told := f.table.(*listedTable); !told {
				notes.addMany(noteBelow, f.path, "", 1)
			}
		}
	}
}

func (o *outcome) count(file int32, used, skipped int) {
	n := len(o.rows)
	if n == 0 || o.rows[n-1].file != file {
		if i := slices.IndexFunc(o.rows, func(t tally) bool { return t.file == file }); i >= 0 {
			o.rows[i], o.rows[n-1] = o.rows[n-1], o.rows[i]
		} else {
			o.rows = append(o.rows, tally{file: file})
			n++
		}
	}
	o.rows[n-1].used += used
	o.rows[n-1].skipped += skipped
}

// reducedReference is the run whose open readings served closings of which means over
// bands are given; empty for readings, and where it is this run.
func (p *pairing) reducedReference() string {
	if p.b.Text[reading.Reference] == nil {
		return ""
	}
	for i := range p.own {
		if code := p.b.Code(reading.Reference, i); code != 0 {
			if p.b.Kind[i] != reading.Direct {
				return ""
			}
			return p.b.Labels.Text(code)
		}
	}
	return ""
}

// onlyBands reports whether all that the run has are means over bands.
func (p *pairing) onlyBands() bool {
	for _, at := range p.points.points {
		if !at.Reduced() {
			return false
		}
	}
	return true
}

// place completes a problem of a row with where its cell stands.
func (w *worker) place(b *reading.Batch, row int, c reading.Column, p reading.Problem) reading.Problem {
	f := w.files[b.File[row]]
	p.File, p.Line = f.path, int(b.Line[row])
	if c == reading.Columns {
		return p
	}
	p.Field = c.Name()
	src, err := f.source.acquire()
	if err != nil {
		return p
	}
	defer f.source.release()
	at := f.table.Place(src, b.At[row], p.Line, c)
	if at.File != "" {
		p.File = at.File
	}
	p.Line, p.Column, p.Field, p.Text = at.Line, at.Column, at.Field, at.Text
	return p
}

// borrow appends to the batch the open readings of the run that this one names
// as its reference. It returns that run, and the rows that a problem with the
// name keeps from use.
func (w *worker) borrow(ctx context.Context, r *planned, p *pairing) (*planned, []int32, error) {
	b := p.b
	names := b.Text[reading.Reference]
	var other *planned
	var rows, denied []int32
	hasOpen := false
	told := map[int32]bool{}
	deny := func(i int, what, mend string) {
		denied = append(denied, int32(i))
		if !told[names[i]] {
			told[names[i]] = true
			p.fail(i, reading.Reference, reading.Problem{What: what, Mend: mend})
		}
		p.quiet = true
	}
	for i := range p.own {
		hasOpen = hasOpen || b.Kind[i] == reading.Open
		if names[i] == 0 {
			continue
		}
		found, trouble := w.plan.find(b.Labels.Text(names[i]))
		switch {
		case found == nil:
			deny(i, trouble, "write a run that has open readings, as its label stands in the data")
		case found == r:
		case other != nil && found != other:
			deny(i, fmt.Sprintf("names another run than a row before does (%q)", other.label), "give a run one reference")
		default:
			other = found
			rows = append(rows, int32(i))
		}
	}
	if other == nil {
		return r, denied, nil
	}
	if hasOpen {
		for _, i := range rows {
			deny(int(i), "names another run, and this run has open readings of its own", "leave reference empty, or put the open readings into a run of their own")
		}
		return r, denied, nil
	}
	if w.size(other) > largeRun {
		select {
		case w.borrowing <- struct{}{}: // given back when the run was processed
			w.borrows = true
		case <-ctx.Done():
			return nil, nil, ctx.Err()
		}
	}
	if err := w.load(ctx, other, &w.other); err != nil {
		return nil, nil, err
	}
	if w.other.Len() > mostBorrowed {
		return nil, nil, fmt.Errorf("run %q takes its open readings from run %q, which has more than %d rows; put the open readings that others are to use into a run of their own", r.label, other.label, mostBorrowed)
	}
	n := 0
	for i := range w.other.Len() {
		if w.other.Kind[i] == reading.Open && w.other.Code(reading.Closing, i) == 0 {
			if w.other.Date[i] == cell.NoDay {
				w.other.Date[i] = other.day
			}
			b.Borrow(&w.other, i)
			n++
		}
	}
	b.Pad()
	b.BadOpen += w.other.BadOpen
	b.BadOpenHz = append(b.BadOpenHz, w.other.BadOpenHz...)
	if n == 0 && w.other.BadOpen+len(w.other.BadOpenHz) == 0 {
		for _, i := range rows {
			deny(int(i), "names a run without open readings that serve it as a whole", "write a run that has them")
		}
		return r, denied, nil
	}
	return other, denied, nil
}
