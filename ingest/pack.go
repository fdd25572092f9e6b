package ingest

import (
	"compress/gzip"
	"context"
	"fmt"
	"io"
	"slices"
	"strings"

	"sealbound/ingest/packed"
	"sealbound/ingest/reading"
	"sealbound/ingest/reduced"
)

// PackEndings are the endings of the files that Pack writes.
var PackEndings = []string{".parquet", ".arrow", ".csv", ".csv.gz"}

// A PackedTable is a side table that a CSV file cannot carry: the text of a file
// to be put beside it.
type PackedTable struct{ Name, Text string }

// A Packing is what is to be packed, read through once. Close gives it back.
type Packing struct {
	Summary *Summary
	Rows    int // readings
	Beside  []PackedTable

	ending   string
	side     []packed.Side
	packer   packer
	reducing *Reducing // where the input is closing-level tables
}

// OpenPacking reads through all that paths lead to, to write the readings as one
// table in the form that ending names. Nothing is paired: rows are taken as they
// stand, with frequencies in Hz, levels in dBm or dB, and the label of the run that
// each would belong to. Rows are sorted by run and, within a run, as they were read.
// What is written depends on the content and the order of the files alone.
//
// Side tables are carried inside Parquet and Arrow; for CSV they are Beside.
// Errors and problems are those of Read, of the rows alone; where there are
// problems, the Packing has its Summary and nothing else.
func OpenPacking(ctx context.Context, paths []string, opt Options, ending string) (*Packing, error) {
	if !slices.Contains(PackEndings, ending) {
		return nil, fmt.Errorf("ingest: nothing is packed as %q", ending)
	}
	if err := opt.check(); err != nil {
		return nil, err
	}
	found, err := find(paths)
	if err != nil {
		return nil, err
	}
	p := &Packing{ending: ending, packer: packer{worker: worker{reader: newReader(opt, 3)}}}
	if err := p.open(ctx, found, paths); err != nil {
		p.Close()
		return p, err
	}
	return p, nil
}

func (p *Packing) open(ctx context.Context, found *search, paths []string) error {
	r := p.packer.reader
	if err := r.index(ctx, found); err != nil {
		return err
	}
	r.plan.settle()
	p.packer.clash = r.plan.clash()
	if err := p.packer.survey(ctx); err != nil {
		return err
	}
	var err error
	if p.Summary, err = r.finish(found); err != nil {
		return err
	}
	if rows, err := p.packer.closingRows(); err != nil || rows != nil {
		if err != nil {
			return err
		}
		p.reducing = NewReducing(rows, p.Summary, p.ending)
		p.Rows, p.Beside = rows.Len(), p.reducing.Beside
		return nil
	}
	if p.Rows = p.packer.layout.Rows; p.Rows == 0 {
		return fmt.Errorf("%w: no usable reading in %s", ErrNoFiles, strings.Join(paths, ", "))
	}
	p.side = p.Summary.sideTables()
	p.packer.layout.FreqToleranceHz = p.Summary.FreqToleranceHz
	if strings.HasPrefix(p.ending, ".csv") {
		if hz := p.Summary.FreqToleranceHz; hz > 0 {
			p.Summary.Notes = append(p.Summary.Notes, fmt.Sprintf("CSV cannot say that frequencies within %v Hz are the same, as a runs.csv declares: give --freq-match when it is read, or pack as .parquet or .arrow.", hz))
		}
		for _, s := range p.side {
			p.Beside = append(p.Beside, PackedTable{s.Name, s.CSV})
		}
		_, err = packed.NewCSV(io.Discard, &p.packer.layout) // what CSV cannot hold is told before anything is written
	}
	return err
}

// Write writes the table. After an error what was written is to be discarded.
func (p *Packing) Write(ctx context.Context, to io.Writer) error {
	if p.reducing != nil {
		return p.reducing.Write(to)
	}
	return p.packer.write(ctx, p.ending, to, p.side)
}

// Close gives back the files and the memory.
func (p *Packing) Close() { p.packer.close() }

// A packer reads the runs twice: to see which columns are filled, and to write.
type packer struct {
	worker
	layout packed.Layout
	clash  bool
}

// survey notes the columns, the rows and the problems.
func (p *packer) survey(ctx context.Context) error {
	return p.each(ctx, func(run *planned, b *reading.Batch) error {
		p.layout.Add(b, b.Len(), p.written(run))
		var o outcome
		o.problems.Limit = p.opt.ProblemLimit
		o.problems.AddAll(&b.Problems)
		for _, s := range b.Skipped {
			o.count(s.File, 0, s.Rows)
		}
		for i, f := range b.File {
			if b.At[i] >= 0 {
				o.count(f, 1, 0)
			}
		}
		p.take(&o)
		return nil
	})
}

func (p *packer) each(ctx context.Context, visit func(run *planned, b *reading.Batch) error) error {
	p.meter.turn(p.plan.runs, p.files)
	for _, run := range p.plan.runs {
		if err := p.load(ctx, run, &p.batch); err != nil {
			return err
		}
		if err := visit(run, &p.batch); err != nil {
			return err
		}
		p.meter.visited(run)
	}
	return nil
}

type rowWriter interface {
	Write(b *reading.Batch, n int, label, reference func(i int) string) error
	Close() error
}

// write reads the runs again and writes them.
func (p *packer) write(ctx context.Context, ending string, to io.Writer, side []packed.Side) (err error) {
	var w rowWriter
	var zip *gzip.Writer
	switch ending {
	case ".parquet":
		w, err = packed.NewParquet(to, &p.layout, side)
	case ".arrow":
		w, err = packed.NewStream(to, &p.layout, side)
	case ".csv.gz":
		zip = gzip.NewWriter(to)
		w, err = packed.NewCSV(zip, &p.layout)
	default:
		w, err = packed.NewCSV(to, &p.layout)
	}
	if err != nil {
		return err
	}
	err = p.each(ctx, func(run *planned, b *reading.Batch) error {
		label := p.written(run)
		names := map[int32]string{}
		reference := func(i int) string {
			code := b.Code(reading.Reference, i)
			name, ok := names[code]
			if !ok {
				name = p.writtenReference(b.Labels.Text(code))
				names[code] = name
			}
			return name
		}
		return w.Write(b, b.Len(), func(int) string { return label }, reference)
	})
	if closed := w.Close(); err == nil {
		err = closed
	}
	if zip != nil && err == nil {
		err = zip.Close()
	}
	return err
}

// written is the label that the rows of a run get: the one in the data, so that
// rows of several dates are split as they were; where the data had none, the one
// that was made from the file's name.
func (p *packer) written(run *planned) string {
	if run.path() != "" || p.clash {
		return run.label
	}
	return run.alias()
}

// writtenReference is the name under which a reference will be found among the
// packed rows. One that the data do not have stays as it is.
func (p *packer) writtenReference(name string) string {
	if name == "" {
		return ""
	}
	run, _ := p.plan.find(name)
	if run == nil {
		return name
	}
	if run.split {
		return run.label
	}
	return p.written(run)
}

// clash reports whether a label made from a file's name is also one in the data.
func (p *plan) clash() bool {
	for _, r := range p.runs {
		if r.path() != "" && p.named[r.label] != nil {
			return true
		}
	}
	return false
}

// closingRows are the rows of closing-level tables, by run; nil where the input is
// readings. A mixture does not make one table.
func (p *packer) closingRows() (*ClosingRows, error) {
	var rows *ClosingRows
	levels, means := "", ""
	for _, run := range p.plan.runs {
		for _, s := range run.spans(nil) {
			f := p.files[s.file]
			t, ok := f.table.(interface{ Rows() *reduced.Rows })
			if !ok {
				levels = f.path
				continue
			}
			means = f.path
			if rows == nil {
				rows = NewClosingRows()
			}
			var r ClosingRow
			for i := s.from; i < s.to; i++ {
				t.Rows().At(int(i), &r.Row)
				r.Text[reading.Run] = p.written(run)
				if err := rows.Add(&r); err != nil {
					return nil, err
				}
			}
		}
	}
	if levels != "" && means != "" {
		return nil, fmt.Errorf("readings (%s) and closing-level rows (%s) do not make one table; pack them apart", levels, means)
	}
	return rows, nil
}
