package packed

import (
	"io"
	"sort"
	"strconv"

	"sealbound/ingest/columnar"
	"sealbound/ingest/reading"
)

// Place finds the cell of column c in a row again. Its line is the row's number.
func (t *table) Place(src io.ReaderAt, at int64, line int, c reading.Column) reading.Place {
	p := reading.Place{Line: line}
	number := sort.SearchInts(t.starts, int(at)+1) - 1
	if number < 0 || number >= t.f.Chunks() {
		return p
	}
	e := t.take(src, number)
	defer t.give(e)
	if e.err != nil {
		return p
	}
	r := int(at) - t.starts[number]
	for s := range slots {
		col := t.column(e, s)
		if slots[s].column != c || col == nil {
			continue
		}
		text := ""
		switch slots[s].field.Kind {
		case columnar.Text:
			text = string(col.Dict[codes{col}.at(r)])
		case columnar.Day:
			text = days{col}.at(r).String()
		case columnar.Number:
			if v := numberAt(col, r); v == v {
				text = strconv.FormatFloat(v, 'f', -1, 64)
			}
		}
		if p.Field == "" || text != "" {
			p.Field, p.Text = slots[s].field.Name, text
		}
	}
	return p
}

// HeaderLine is 0: a packed file has no line of names.
func (t *table) HeaderLine() int { return 0 }

// Problems are none: a packed file is whole, or refused.
func (t *table) Problems() []reading.Problem { return nil }

// Unused names the columns that were ignored.
func (t *table) Unused() []string {
	var unused []string
	for k, f := range t.f.Fields {
		known := false
		for _, at := range t.at {
			known = known || at == k
		}
		if !known {
			unused = append(unused, f.Name)
		}
	}
	return unused
}
