package ingest

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"

	"sealbound/ingest/packed"
	"sealbound/ingest/reading"
	"sealbound/ingest/sidetable"
	"sealbound/ingest/trace"
)

// A reader carries one call of Read.
type reader struct {
	opt      Options
	orderly  bool // files are taken to be orderly
	files    []*file
	plan     *plan
	refused  bool // a whole file could not be read
	problems reading.Problems
	notes    notes
	unused   unusedColumns
	strays   []string        // refused files that look like traces
	onlyOpen []string        // runs without a closed reading
	serves   map[string]bool // runs that others name as their reference
	carried  []carried
	meter    *meter
	passes   int64 // how often the files are gone through
	summary  *Summary
	recycler recycler

	borrowing chan struct{} // room for one large reference
}

func newReader(opt Options, passes int64) *reader {
	r := &reader{opt: opt, plan: newPlan(), passes: passes, summary: &Summary{}, serves: map[string]bool{}, borrowing: make(chan struct{}, 1)}
	r.problems.Limit = opt.ProblemLimit
	return r
}

// A file is one input.
type file struct {
	path   string
	source *source
	table  reading.Table // nil for side tables and for files that were refused
	copy   *mixedCopy    // nil where there is none
	input  Input
}

// Read reads all that paths lead to (files, folders, globs, - for
// Options.Stdin), pairs open with closed readings, and calls visit once for each
// run, from the calling goroutine, in the natural order of the runs' labels. The
// order of rows and files changes neither that order nor any number.
//
// Memory holds a few runs at a time, and where each run's rows stand in the
// files; what is not a plain file is copied to a temporary file if it is large.
// An error of visit ends the reading and is returned as it is.
//
// Bad rows, columns and files are Summary.Problems. If there are any and
// Options.SkipBadRows is not set, Read returns a *BadInput beside the Summary,
// and what was visited is to be discarded. So it is when Options.Again is called.
// Where the paths themselves cannot be read, the Summary is nil and the error gives
// the reason; it wraps ErrNoFiles where they lead to nothing. Runs without a usable
// reading are not visited.
func Read(ctx context.Context, paths []string, opt Options, visit func(*Run) error) (*Summary, error) {
	if err := opt.check(); err != nil {
		return nil, err
	}
	found, err := find(paths)
	if err != nil {
		return nil, err
	}
	if opt.Again != nil && (opt.probe || found.worthProbing()) {
		summary, err := readOnce(ctx, found, opt, true, visit)
		if !errors.Is(err, errDisorder) {
			return summary, err
		}
		opt.Again()
	}
	return readOnce(ctx, found, opt, false, visit)
}

// readOnce is Read of the files found. Where orderly is set it returns errDisorder
// instead of anything that depends on how they are not.
func readOnce(ctx context.Context, found *search, opt Options, orderly bool, visit func(*Run) error) (*Summary, error) {
	r := newReader(opt, 2)
	r.orderly = orderly
	defer r.close()
	if err := r.index(ctx, found); err != nil {
		return nil, err
	}
	if orderly && r.problems.Count() > 0 {
		return nil, errDisorder
	}
	r.plan.settle()
	if orderly {
		if err := r.plan.inOrder(); err != nil {
			return nil, err
		}
	}
	r.plan.forget()
	r.meter.turn(r.plan.runs, r.files)
	if err := r.visitAll(ctx, visit); err != nil {
		return nil, err
	}
	return r.finish(found)
}

// check refuses settings that no reading can follow.
func (o *Options) check() error {
	for _, x := range []struct {
		name        string
		value, most float64
	}{{"FreqMatch", o.FreqMatch, 0.5}, {"DriftDB", o.DriftDB, math.MaxFloat64}, {"FloorMarginDB", o.FloorMarginDB, math.MaxFloat64}} {
		if !(x.value >= 0 && x.value <= x.most) {
			return fmt.Errorf("ingest: %s is %v", x.name, x.value)
		}
	}
	if f := o.FloorDBM; f != nil && !(math.Abs(*f) <= math.MaxFloat64) {
		return fmt.Errorf("ingest: FloorDBM is %v", *f)
	}
	return nil
}

func (r *reader) close() {
	for _, f := range r.files {
		if f.source != nil {
			f.source.close()
		}
		if f.copy != nil {
			f.copy.close()
		}
	}
}

// because words an error of reading a file.
func (r *reader) because(ctx context.Context, path string, err error) error {
	if ctx.Err() != nil {
		return ctx.Err()
	}
	if errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, io.EOF) { // it was as long as it said when it was opened
		return fmt.Errorf("%s: the file was cut short while it was read", path)
	}
	return fmt.Errorf("%s: %w", path, plain(err))
}

// index opens every file, reads the side tables, and notes where the rows of
// each run stand.
func (r *reader) index(ctx context.Context, s *search) error {
	cache := int64(cacheTotal)
	var side sidetable.Tables
	if err := r.list(ctx, s); err != nil {
		return err
	}
	r.meter = newMeter(r.opt.Progress, s.files, r.passes, r.orderly)
	keep := len(s.files) <= openAtOnce
	ahead := readAhead(s.files, keep)
	defer ahead.stop()
	for _, f := range s.files {
		peeked := ahead.next()
		if err := ctx.Err(); err != nil {
			return err
		}
		in := &file{path: f.path, input: Input{Path: f.path}}
		number := int32(len(r.files))
		r.files = append(r.files, in)
		r.meter.enter(int(number))
		if r.orderly && f.list != nil {
			return errDisorder
		}
		if f.list != nil { // read already
			f.list.file, in.input = number, f.list.input
			continue
		}
		var err error
		if in.source = peeked.source; in.source != nil {
			in.source.memory = *peeked.text
		} else {
			in.source, err = openEndless(ctx, f.path, r.opt.Stdin, keep, &cache, f.refusing(number))
		}
		if bad, ok := asBadGzip(err); ok {
			r.refused = true
			r.problems.Add(bad.problem(f.path))
			continue
		}
		if err != nil {
			return err
		}
		if err := r.indexFile(ctx, in, f, number, &side); err != nil {
			return r.because(ctx, f.path, err)
		}
		if peeked.source != nil {
			in.source.forget(&cache)
			ahead.done(peeked)
		}
	}
	for _, c := range r.carried {
		if err := r.takeCarried(ctx, c, &side); err != nil {
			return r.because(ctx, c.path, err)
		}
	}
	r.summary.Boxes, r.summary.Gaskets, r.summary.Events, r.summary.Setup = side.Boxes, side.Gaskets, side.Events, side.Setup
	return nil
}

// refusing returns what tells from the beginning of a file that it will be
// refused, nil where only the whole can tell.
func (f found) refusing(number int32) func(head []byte) bool {
	if f.claim != nil && f.claim.run.Profile.Encoding != "utf-16" {
		return hasNUL
	}
	if format := formatOf(f.path); f.side == "" && f.claim == nil && format.name == formats[0].name {
		return func(head []byte) bool {
			table, _, err := format.open(f.path, number, bytes.NewReader(head), int64(len(head)))
			return err == nil && table == nil
		}
	}
	return nil
}

func (r *reader) indexFile(ctx context.Context, in *file, f found, number int32, side *sidetable.Tables) error {
	src, err := in.source.acquire()
	if err != nil {
		return err
	}
	defer in.source.release()
	size := in.source.size
	if f.side != "" {
		count, unused, err := side.Read(ctx, f.side, f.path, src, size, &r.problems)
		in.input.Rows, in.input.Blank, in.input.Skipped = count.Rows, count.Blank, count.Refused
		in.input.Used = count.Rows - count.Blank - count.Refused
		r.unused.add(f.path, unused)
		return err
	}
	if r.orderly && f.claim != nil {
		return errDisorder
	}
	if f.claim != nil {
		return r.indexListed(ctx, in, f.claim, number, src)
	}
	format, err := formatFor(f.path, src, size)
	if err != nil {
		return err
	}
	table, problems, err := format.open(f.path, number, src, size)
	if err != nil {
		return err
	}
	for _, p := range problems {
		r.problems.Add(p)
	}
	if r.orderly && table == nil {
		return errDisorder
	}
	if table == nil {
		r.refused = true
		if format.name == formats[0].name && f.path != stdinPath && looksTrace(src, size) {
			r.strays = append(r.strays, f.path)
		}
		count, err := format.count(f.path, src, size)
		in.input.Rows, in.input.Blank, in.input.Skipped = count.Rows, count.Blank, count.Rows-count.Blank
		return err
	}
	in.table = table
	if t, ok := table.(interface{ FreqToleranceHz() float64 }); ok {
		r.summary.FreqToleranceHz = max(r.summary.FreqToleranceHz, t.FreqToleranceHz())
	}
	r.unused.add(f.path, table.Unused())
	if t, ok := table.(interface{ SideTables() []packed.Side }); ok {
		r.carried = append(r.carried, carried{f.path, t.SideTables()})
	}
	if from := (origin{number, stem(f.path), f.path}); r.orderly {
		return r.probeTable(ctx, in, number, src, from)
	}
	count, err := r.indexTable(ctx, in, number, src, origin{number, stem(f.path), f.path})
	in.input.Rows, in.input.Blank = count.Rows, count.Blank
	if err == nil && count.Rows == count.Blank {
		r.problems.Add(reading.Problem{File: f.path, Line: table.HeaderLine(), What: "no rows follow the header", Mend: "add the readings, or remove the file"})
	}
	return err
}

// indexListed opens the file of a row of a runs.csv.
func (r *reader) indexListed(ctx context.Context, in *file, c *claim, number int32, src io.ReaderAt) error {
	t, problems, count, err := openListed(in.path, number, src, in.source.size, c.list, c.run, r.opt.ProblemLimit)
	if err != nil {
		return err
	}
	r.problems.AddAll(problems)
	in.input.Rows, in.input.Blank = count.Rows, count.Blank
	if t == nil {
		r.refused = true
		in.input.Skipped = count.Rows - count.Blank
		return nil
	}
	in.table = t
	r.unused.add(in.path, t.Unused())
	for _, n := range t.notes {
		r.notes.addMany(n.kind, in.path, "", n.count)
	}
	from := origin{c.list.file, c.list.name(), c.list.dir}
	_, err = r.indexTable(ctx, in, number, src, from)
	return err
}

// finish makes the summary.
func (r *reader) finish(s *search) (*Summary, error) {
	sum := r.summary
	for _, f := range r.files {
		if r.orderly && f.table != nil {
			f.input.Rows = f.input.Used + f.input.Skipped // there are no blank ones
		}
		sum.Inputs = append(sum.Inputs, f.input)
		if f.table != nil {
			for _, p := range f.table.Problems() {
				r.problems.Add(p)
			}
		}
	}
	for _, label := range r.onlyOpen {
		if !r.serves[label] {
			r.notes.add(noteOnlyOpen, label, "")
		}
	}
	r.tellStrays()
	sum.Problems, sum.Omitted = r.problems.Sorted()
	sum.Notes = append(r.notes.sentences(), r.unused.sentences()...)
	if len(s.ignored) > 0 {
		sum.Notes = append(sum.Notes, fmt.Sprintf("Files of another kind were not read: %s.", listed(s.ignored)))
	}
	if hz := sum.FreqToleranceHz; hz > 0 {
		sum.Notes = append(sum.Notes, fmt.Sprintf("Frequencies within %s Hz of each other are one point, as %s declares.", strconv.FormatFloat(hz, 'f', -1, 64), trace.RunsName))
	}
	if len(s.unlisted) > 0 {
		sum.Notes = append(sum.Notes, fmt.Sprintf("Files beside a runs.csv that does not list them were not read: %s.", listed(s.unlisted)))
	}
	if len(s.twice) > 0 {
		sum.Notes = append(sum.Notes, fmt.Sprintf("Files given more than once were read once: %s.", listed(s.twice)))
	}
	slices.Sort(sum.Notes)
	if len(sum.Problems)+sum.Omitted > 0 && !r.opt.SkipBadRows {
		return sum, &BadInput{sum.Problems, sum.Omitted}
	}
	return sum, nil
}
