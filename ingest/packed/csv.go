package packed

import (
	"bufio"
	"errors"
	"io"
	"math"
	"strconv"
	"strings"

	"sealbound/ingest/cell"
	"sealbound/ingest/columnar"
	"sealbound/ingest/reading"
)

// A CSVWriter writes the same table as CSV in the long format.
type CSVWriter struct {
	out    *bufio.Writer
	which  []int
	atMost bool // the last column tells which levels are limits
	line   []byte
}

// NewCSV begins a CSV file for readings of that layout. The long format has levels
// of one kind in a file. A column limited tells which levels are upper limits, if any is.
func NewCSV(to io.Writer, l *Layout) (*CSVWriter, error) {
	kinds := 0
	for _, u := range []reading.Unit{reading.DBm, reading.Decibel, reading.Attenuated} {
		if l.Units[u] {
			kinds++
		}
	}
	if kinds > 1 {
		return nil, errors.New("one CSV file holds levels in dBm, levels relative to the generator, or attenuations, and here are several of them; name a .parquet or .arrow file, or pack them apart")
	}
	w := &CSVWriter{out: bufio.NewWriterSize(to, 1<<16)}
	for s := range slots {
		if l.filled[s] && slots[s].column != limited {
			if len(w.which) > 0 {
				w.line = append(w.line, ',')
			}
			w.which, w.line = append(w.which, s), append(w.line, slots[s].field.Name...)
		}
	}
	if w.atMost = l.AtMost; w.atMost {
		w.line = append(append(w.line, ','), slots[slotOf(limited)].field.Name...)
	}
	return w, w.end()
}

func (w *CSVWriter) end() error {
	w.line = append(w.line, '\n')
	_, err := w.out.Write(w.line)
	w.line = w.line[:0]
	return err
}

// Write appends the first n readings of a batch.
func (w *CSVWriter) Write(b *reading.Batch, n int, label, reference func(i int) string) error {
	for i := range n {
		for k, s := range w.which {
			if k > 0 {
				w.line = append(w.line, ',')
			}
			w.cell(&slots[s], b, i, label, reference)
		}
		if w.atMost {
			if w.line = append(w.line, ','); b.Limited[i] {
				w.line = append(w.line, "yes"...)
			}
		}
		if err := w.end(); err != nil {
			return err
		}
	}
	return nil
}

func (w *CSVWriter) cell(s *slot, b *reading.Batch, i int, label, reference func(i int) string) {
	switch s.field.Kind {
	case columnar.Text:
		w.line = appendText(w.line, cell.Guarded(s.text(b, i, label, reference)))
	case columnar.Day:
		w.line = append(w.line, daysOf(s, b)[i].String()...)
	case columnar.Number:
		v := s.number(b, i)
		if math.IsNaN(v) {
			return
		}
		if b.Limited[i] && s.column == reading.Atten {
			w.line = append(w.line, '>')
		}
		w.line = strconv.AppendFloat(w.line, v, 'f', -1, 64)
	}
}

// appendText puts quotes around a text that would not be read as it is.
func appendText(line []byte, t string) []byte {
	if t == "" || !strings.ContainsAny(t, ",\"\r\n") && strings.TrimSpace(t) == t {
		return append(line, t...)
	}
	line = append(line, '"')
	line = append(line, strings.ReplaceAll(t, `"`, `""`)...)
	return append(line, '"')
}

// Close writes what is gathered.
func (w *CSVWriter) Close() error { return w.out.Flush() }
