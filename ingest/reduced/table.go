package reduced

import (
	"context"
	"io"
	"math"
	"strconv"

	"sealbound/ingest/cell"
	"sealbound/ingest/reading"
	"sealbound/ingest/sidetable"
)

// A table is an opened file. Its offsets are numbers of rows.
type table struct {
	path   string
	file   int32
	rows   *Rows
	count  reading.Count
	header int
	unused []string
	side   []sidetable.Carried
}

func newTable(path string, file int32, rows *Rows) *table {
	rows.settle()
	return &table{path: path, file: file, rows: rows}
}

// ByRow says that offsets are numbers of rows.
func (t *table) ByRow() {}

// SideTables are those that the file carries.
func (t *table) SideTables() []sidetable.Carried { return t.side }

// Rows are those of the table, in order.
func (t *table) Rows() *Rows { return t.rows }

// Index finds the stretches of rows that have the same run and date.
func (t *table) Index(_ context.Context, _ io.ReaderAt, add func(reading.Stretch)) (reading.Count, error) {
	run := t.rows.place(reading.Run)
	of := func(i int) (int32, cell.Day) {
		if run < 0 {
			return 0, t.rows.rest(i).date
		}
		return t.rows.labels(i)[run], t.rows.rest(i).date
	}
	for from := 0; from < t.rows.n; {
		label, date := of(from)
		to := from + 1
		for to < t.rows.n {
			if l, d := of(to); l != label || d != date {
				break
			}
			to++
		}
		add(reading.Stretch{Run: []byte(t.rows.texts[label]), Date: date, From: int64(from), To: int64(to), Line: int(t.rows.rest(from).line)})
		from = to
	}
	return t.count, nil
}

// Load appends the readings that stand for the rows of a stretch: two for each
// closing, the first of which has the row's number as its place, and the open ones.
func (t *table) Load(ctx context.Context, _ io.ReaderAt, s reading.Stretch, b *reading.Batch) error {
	if t.count.Refused > 0 && s.From == 0 { // rows that were refused are counted once
		for range t.count.Refused {
			b.Skip(t.file, reading.Direct, true, 0)
		}
	}
	r := &Row{}
	for i := int(s.From); i < int(s.To); i++ {
		if i%1024 == 0 && ctx.Err() != nil {
			return ctx.Err()
		}
		t.rows.At(i, r)
		for half := range 2 {
			k := t.add(b, i, half, r)
			b.Kind[k], b.Unit[k], b.Level[k], b.Floor[k] = reading.Direct, reading.Attenuated, r.AttenDB, r.HeadroomDB
			b.Limited[k] = r.Limited && (half == 0 || r.throughout())
			if half == 0 {
				b.At[k] = int64(i)
			}
			for _, c := range t.rows.used {
				if c.IsText() && r.Text[c] != "" {
					t.label(b, k, c, r.Text[c])
				}
			}
			if !t.rows.rest(i).opens {
				continue
			}
			for n := range r.OpenRepeats {
				k := t.add(b, i, half, r)
				b.Kind[k], b.Unit[k], b.Level[k] = reading.Open, reading.Decibel, r.open(n)
				t.label(b, k, reading.Sweep, strconv.Itoa(n+1))
			}
		}
	}
	return nil
}

// throughout reports whether every point was limited, as far as is known.
func (r *Row) throughout() bool { return !(r.LimitedShare < 1) }

// open is the level of repeat n: of those, around zero, that have the SD of the row.
func (r *Row) open(n int) float64 {
	k := r.OpenRepeats
	sd := r.OpenSDDB
	switch {
	case k < 2 || sd != sd:
		return 0
	case k%2 == 0:
		sd *= math.Sqrt(float64(k-1) / float64(k))
	case n == k-1:
		return 0
	}
	if n%2 == 0 {
		return sd
	}
	return -sd
}

// add makes room for a reading at one half of the band of r, which is row i.
func (t *table) add(b *reading.Batch, i, half int, r *Row) int {
	k := b.Len()
	b.Extend(1, nil)
	b.File[k], b.Line[k], b.At[k] = t.file, int32(r.Line), int64(-1-i)
	b.Date[k], b.Installed[k] = r.Date, r.Installed
	b.FreqHz[k] = math.Sqrt(r.LoHz * r.HiHz)
	if r.LoHz == 0 {
		b.FreqHz[k] = r.HiHz / 2
	}
	b.Level[k], b.Floor[k], b.Tx[k], b.Gain[k], b.Limited[k] = math.NaN(), math.NaN(), math.NaN(), math.NaN(), false
	b.Pad()
	t.label(b, k, reading.Position, place(r.LoHz, r.HiHz, half))
	return k
}

func (t *table) label(b *reading.Batch, k int, c reading.Column, text string) {
	b.Use(c)
	b.Text[c][k] = b.Labels.Code([]byte(text))
}

// Place tells where a row stands; its cells are not kept.
func (t *table) Place(_ io.ReaderAt, _ int64, line int, _ reading.Column) reading.Place {
	return reading.Place{Line: line}
}

// HeaderLine is the line of the names, 0 in a packed file.
func (t *table) HeaderLine() int { return t.header }

// Problems are told when the file is opened.
func (t *table) Problems() []reading.Problem { return nil }

// Unused names the columns that were ignored.
func (t *table) Unused() []string { return t.unused }
