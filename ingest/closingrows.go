package ingest

import (
	"errors"
	"io"
	"strings"
	"time"

	"compress/gzip"
	"math"

	"sealbound/ingest/cell"
	"sealbound/ingest/packed"
	"sealbound/ingest/reading"
	"sealbound/ingest/reduced"
)

// A ClosingRow is one closing in one band: a row of a closing-level table.
type ClosingRow struct{ reduced.Row }

// NewClosingRow is a row of which the labels and dates are given, and no number. Zero
// times are dates that are not known.
func NewClosingRow(box, gasket, fitting, run, session, closing string, date, installed time.Time) ClosingRow {
	nan := math.NaN()
	r := ClosingRow{reduced.Row{LoHz: nan, HiHz: nan, AttenDB: nan, LimitedShare: nan, HeadroomDB: nan, OpenSDDB: nan, Date: civilDay(date), Installed: civilDay(installed)}}
	for c, text := range map[reading.Column]string{reading.Box: box, reading.Gasket: gasket, reading.Fitting: fitting, reading.Run: run, reading.Closing: closing} {
		r.Text[c] = text
	}
	if session != r.Date.String() && session != run { // else it is the default
		r.Text[reading.Session] = session
	}
	return r
}

func civilDay(t time.Time) cell.Day {
	if t.IsZero() {
		return cell.NoDay
	}
	return cell.Day(t.Unix() / 86400)
}

// SetReference names another run whose open readings served the closing.
func (r *ClosingRow) SetReference(run string) { r.Text[reading.Reference] = run }

// SetContext fills a column of instruments or conditions, by its name.
func (r *ClosingRow) SetContext(name, value string) {
	for c := reading.FirstContext; c < reading.Columns; c++ {
		if c.Name() == name {
			r.Text[c] = value
		}
	}
}

// ClosingRows are the rows of a closing-level table that is to be written.
type ClosingRows struct{ rows *reduced.Rows }

// NewClosingRows has none yet.
func NewClosingRows() *ClosingRows { return &ClosingRows{reduced.NewRows(reduced.Texts)} }

// Len is how many there are.
func (c *ClosingRows) Len() int { return c.rows.Len() }

// Add takes a row. The error says what keeps it from being written.
func (c *ClosingRows) Add(r *ClosingRow) error {
	if err := r.Check(); err != nil {
		return errors.New("a closing cannot be written: " + err.Error())
	}
	return c.rows.Add(&r.Row)
}

// A Reducing is a closing-level table to be written.
type Reducing struct {
	Beside []PackedTable // side tables that the file cannot carry

	rows   *reduced.Rows
	side   []packed.Side
	ending string
}

// NewReducing prepares rows for a file of that ending, with the side tables of the
// reading that they come from.
func NewReducing(rows *ClosingRows, s *Summary, ending string) *Reducing {
	r := &Reducing{ending: ending, side: s.sideTables(), rows: rows.rows}
	if strings.HasPrefix(ending, ".csv") {
		for _, t := range r.side {
			r.Beside = append(r.Beside, PackedTable{t.Name, t.CSV})
		}
	}
	return r
}

// Write writes the table. After an error what was written is to be discarded.
func (r *Reducing) Write(to io.Writer) error {
	switch r.ending {
	case ".parquet":
		return packed.WriteClosings(to, r.rows, r.side, false)
	case ".arrow":
		return packed.WriteClosings(to, r.rows, r.side, true)
	case ".csv.gz":
		z := gzip.NewWriter(to)
		if err := reduced.WriteCSV(z, r.rows); err != nil {
			return err
		}
		return z.Close()
	}
	return reduced.WriteCSV(to, r.rows)
}
