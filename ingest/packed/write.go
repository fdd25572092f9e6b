package packed

import (
	"io"

	"sealbound/ingest/cell"
	"sealbound/ingest/columnar"
	"sealbound/ingest/reading"
)

// A Writer gathers readings, run by run, and writes them in chunks.
type Writer struct {
	out   columnar.Writer
	which []int
	chunk columnar.Chunk
	codes []map[string]int32 // by column: the code of each text in the chunk
}

// NewParquet begins a Parquet file for readings of that layout.
func NewParquet(to io.Writer, l *Layout, side []Side) (*Writer, error) {
	fields, which := l.fields()
	out, err := columnar.NewParquetWriter(to, fields, l.meta(kindName, side))
	return newWriter(out, which), err
}

// NewStream begins an Arrow stream for readings of that layout, which has seen
// all of them.
func NewStream(to io.Writer, l *Layout, side []Side) (*Writer, error) {
	fields, which := l.fields()
	out, err := columnar.NewStreamWriter(to, fields, l.meta(kindName, side), l.Rows)
	return newWriter(out, which), err
}

func newWriter(out columnar.Writer, which []int) *Writer {
	w := &Writer{out: out, which: which, codes: make([]map[string]int32, len(which))}
	w.chunk.Columns = make([]columnar.Column, len(which))
	for k := range w.codes {
		w.codes[k] = map[string]int32{}
	}
	w.empty()
	return w
}

func (w *Writer) empty() {
	w.chunk.Rows = 0
	for k := range w.chunk.Columns {
		c := &w.chunk.Columns[k]
		c.Codes, c.Dict = c.Codes[:0], append(c.Dict[:0], nil)
		c.Numbers, c.Days, c.Flags = c.Numbers[:0], c.Days[:0], c.Flags[:0]
		clear(w.codes[k])
		w.codes[k][""] = 0
	}
}

// Write appends the first n readings of a batch as the run label. A run begins a
// new chunk where it does not fit into the one at hand, so that few are parted.
func (w *Writer) Write(b *reading.Batch, n int, label func(i int) string, reference func(i int) string) error {
	if w.chunk.Rows > 0 && w.chunk.Rows+n > columnar.ChunkRows {
		if err := w.flush(); err != nil {
			return err
		}
	}
	for from := 0; from < n; {
		to := min(n, from+columnar.ChunkRows-w.chunk.Rows)
		for k, s := range w.which {
			w.append(k, &slots[s], b, from, to, label, reference)
		}
		w.chunk.Rows += to - from
		if from = to; from < n {
			if err := w.flush(); err != nil {
				return err
			}
		}
	}
	return nil
}

// Close writes what is gathered and ends the table.
func (w *Writer) Close() error {
	err := w.flush()
	if ended := w.out.Close(); err == nil {
		err = ended
	}
	return err
}

func (w *Writer) flush() error {
	err := w.out.Write(&w.chunk)
	w.empty()
	return err
}

func (w *Writer) append(k int, s *slot, b *reading.Batch, from, to int, label, reference func(i int) string) {
	c := &w.chunk.Columns[k]
	switch s.field.Kind {
	case columnar.Number:
		for i := from; i < to; i++ {
			c.Numbers = append(c.Numbers, s.number(b, i))
		}
	case columnar.Day:
		for _, d := range daysOf(s, b)[from:to] {
			c.Days = append(c.Days, int32(d))
		}
	case columnar.Flag:
		c.Flags = append(c.Flags, b.Limited[from:to]...)
	case columnar.Text:
		last, code := "", int32(0)
		for i := from; i < to; i++ {
			if t := s.text(b, i, label, reference); t != last {
				last, code = t, w.code(k, t)
			}
			c.Codes = append(c.Codes, code)
		}
	}
}

func (w *Writer) code(k int, t string) int32 {
	code, ok := w.codes[k][t]
	if !ok {
		c := &w.chunk.Columns[k]
		code = int32(len(c.Dict))
		c.Dict = append(c.Dict, []byte(t))
		w.codes[k][t] = code
	}
	return code
}

func (s *slot) text(b *reading.Batch, i int, label, reference func(i int) string) string {
	switch s.column {
	case reading.Run:
		return label(i)
	case reading.Reference:
		return reference(i)
	case reading.State:
		return b.Kind[i].Word()
	}
	return b.Labels.Text(b.Code(s.column, i))
}

func daysOf(s *slot, b *reading.Batch) []cell.Day {
	if s.column == reading.Installed {
		return b.Installed
	}
	return b.Date
}
