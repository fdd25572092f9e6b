package reduced

import (
	"fmt"
	"io"
	"math"

	"sealbound/ingest/cell"
	"sealbound/ingest/columnar"
	"sealbound/ingest/reading"
	"sealbound/ingest/sidetable"
)

// A column of a file, with one of the functions that read it off a row.
type column struct {
	name   string
	unit   string
	text   func(*Row) string
	day    func(*Row) cell.Day
	number func(*Row) float64
	flag   func(*Row) bool
	set    func(r *Row, text string, number float64, day cell.Day, flag bool)
	always bool
}

var all = func() []column {
	text := func(c reading.Column) column {
		return column{name: c.Name(), text: func(r *Row) string { return r.Text[c] },
			set: func(r *Row, text string, _ float64, _ cell.Day, _ bool) { r.Text[c] = text }}
	}
	number := func(name, unit string, of func(*Row) *float64) column {
		return column{name: name, unit: unit, number: func(r *Row) float64 { return *of(r) },
			set: func(r *Row, _ string, v float64, _ cell.Day, _ bool) { *of(r) = v }}
	}
	day := func(name string, of func(*Row) *cell.Day) column {
		return column{name: name, day: func(r *Row) cell.Day { return *of(r) },
			set: func(r *Row, _ string, _ float64, d cell.Day, _ bool) { *of(r) = d }}
	}
	list := []column{text(reading.Box), text(reading.Gasket), text(reading.Fitting), text(reading.Run), text(reading.Session),
		day("date", func(r *Row) *cell.Day { return &r.Date }), day("installed", func(r *Row) *cell.Day { return &r.Installed }), text(reading.Closing),
		number(bandLo, "Hz", func(r *Row) *float64 { return &r.LoHz }), number(bandHi, "Hz", func(r *Row) *float64 { return &r.HiHz }),
		number("atten_db", "dB", func(r *Row) *float64 { return &r.AttenDB }),
		{name: limited, always: true, flag: func(r *Row) bool { return r.Limited }, set: func(r *Row, _ string, _ float64, _ cell.Day, f bool) { r.Limited = f }},
		number(share, "", func(r *Row) *float64 { return &r.LimitedShare }), number(headroom, "dB", func(r *Row) *float64 { return &r.HeadroomDB }),
		text(reading.Reference),
		{name: repeats, number: func(r *Row) float64 {
			if r.OpenRepeats == 0 {
				return math.NaN()
			}
			return float64(r.OpenRepeats)
		}, set: func(r *Row, _ string, v float64, _ cell.Day, _ bool) {
			if r.OpenRepeats = 0; v == v {
				r.OpenRepeats = int(v)
			}
		}},
		number(openSD, "dB", func(r *Row) *float64 { return &r.OpenSDDB })}
	for c := reading.FirstContext; c < reading.Columns; c++ {
		list = append(list, text(c))
	}
	return list
}()

// columnsOf are the columns that some row fills.
func columnsOf(rows *Rows) (used []column) {
	filled := make([]bool, len(all))
	var r Row
	for i := range rows.Len() {
		rows.At(i, &r)
		for k := range all {
			switch c := &all[k]; {
			case filled[k]:
			case c.text != nil:
				filled[k] = c.text(&r) != ""
			case c.day != nil:
				filled[k] = c.day(&r) != cell.NoDay
			case c.number != nil:
				v := c.number(&r)
				filled[k] = v == v
			}
		}
	}
	for k, c := range all {
		if filled[k] || c.always {
			used = append(used, c)
		}
	}
	return used
}

func (c *column) kind() columnar.Kind {
	switch {
	case c.text != nil:
		return columnar.Text
	case c.day != nil:
		return columnar.Day
	case c.flag != nil:
		return columnar.Flag
	}
	return columnar.Number
}

// Write writes a closing-level table through a columnar writer, which begin makes
// for the columns.
func Write(rows *Rows, begin func(fields []columnar.Field) (columnar.Writer, error)) error {
	columns := columnsOf(rows)
	var fields []columnar.Field
	for _, c := range columns {
		fields = append(fields, columnar.Field{Name: c.name, Kind: c.kind(), Unit: c.unit})
	}
	w, err := begin(fields)
	if err != nil {
		return err
	}
	for from := 0; from < rows.Len() && err == nil; from += columnar.ChunkRows {
		err = w.Write(chunkOf(columns, rows, from, min(from+columnar.ChunkRows, rows.Len())))
	}
	if closed := w.Close(); err == nil {
		err = closed
	}
	return err
}

func chunkOf(columns []column, rows *Rows, from, to int) *columnar.Chunk {
	chunk := &columnar.Chunk{Rows: to - from, Columns: make([]columnar.Column, len(columns))}
	codes := make([]map[string]int32, len(columns))
	for k := range columns {
		codes[k], chunk.Columns[k].Dict = map[string]int32{"": 0}, [][]byte{nil}
	}
	var r Row
	for i := from; i < to; i++ {
		rows.At(i, &r)
		for k := range columns {
			c, to := &columns[k], &chunk.Columns[k]
			switch c.kind() {
			case columnar.Text:
				t := c.text(&r)
				code, ok := codes[k][t]
				if !ok {
					code = int32(len(to.Dict))
					codes[k][t], to.Dict = code, append(to.Dict, []byte(t))
				}
				to.Codes = append(to.Codes, code)
			case columnar.Day:
				to.Days = append(to.Days, int32(c.day(&r)))
			case columnar.Flag:
				to.Flags = append(to.Flags, c.flag(&r))
			case columnar.Number:
				to.Numbers = append(to.Numbers, c.number(&r))
			}
		}
	}
	return chunk
}

// Open reads a packed closing-level table, which carries side tables.
func Open(path string, file int32, f *columnar.File, src io.ReaderAt, side []sidetable.Carried) (reading.Table, error) {
	byName := map[string]*column{}
	for i := range all {
		byName[all[i].name] = &all[i]
	}
	want := make([]bool, len(f.Fields))
	columns := make([]*column, len(f.Fields))
	has := map[string]bool{}
	var unused []string
	for k, field := range f.Fields {
		c := byName[field.Name]
		switch {
		case c == nil:
			unused = append(unused, field.Name)
			continue
		case c.kind() != field.Kind || has[field.Name]:
			return nil, fault("its column %s has another type, or stands twice", field.Name)
		}
		columns[k], want[k], has[field.Name] = c, true, true
	}
	for _, n := range needed {
		if !has[n] {
			return nil, fault("the column %s is missing", n)
		}
	}
	nan := math.NaN()
	var used []reading.Column
	for _, c := range Texts {
		if has[c.Name()] {
			used = append(used, c)
		}
	}
	rows := NewRows(used)
	var chunk columnar.Chunk
	var r Row
	for i := range f.Chunks() {
		if err := f.Read(src, i, want, &chunk); err != nil {
			return nil, err
		}
		for k := range chunk.Rows {
			r = Row{Date: cell.NoDay, Installed: cell.NoDay, LoHz: nan, HiHz: nan, AttenDB: nan, LimitedShare: nan, HeadroomDB: nan, OpenSDDB: nan, Line: rows.n + 1}
			for j, c := range columns {
				if c != nil {
					text, number, day, flag := chunk.Columns[j].At(f.Fields[j].Kind, k)
					c.set(&r, text, number, cell.Day(day), flag)
				}
			}
			if name, what, _ := r.sound(); what != "" {
				return nil, fault("%s %s", name, what)
			}
			if err := rows.Add(&r); err != nil {
				return nil, err
			}
		}
	}
	t := newTable(path, file, rows)
	t.count, t.unused, t.side = reading.Count{Rows: rows.n}, unused, side
	return t, nil
}

func fault(format string, args ...any) *columnar.Fault {
	return &columnar.Fault{What: fmt.Sprintf(format, args...), Mend: "pack it again"}
}
