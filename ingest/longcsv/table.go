package longcsv

import (
	"fmt"
	"io"
	"strings"
	"sync/atomic"

	"sealbound/ingest/reading"
	"sealbound/ingest/record"
)

// A table is an opened file of the long format.
type table struct {
	path string
	file int32
	size int64
	*layout
	body    int64         // offset of the first line of data
	line    int           // of the first line of data
	piece   int64         // how much of the file Index looks at at a time
	plain   bool          // Index found nothing but ASCII without quotes
	tame    bool          // Index found nothing but such lines as record.Reader.Lines returns
	bare    bool          // Index found no quotes
	careful bool          // every row is read by the careful path, which tests compare with
	lacking atomic.Uint64 // a bit for each column that closed readings lack
}

// headerSearch is how many lines are looked through for a header that does not
// stand first.
const headerSearch = 64

// Open reads the header of a file in the long format. A file whose encoding,
// delimiter or header keeps it from being read gives no table but problems.
func Open(path string, file int32, src io.ReaderAt, size int64) (reading.Table, []reading.Problem, error) {
	refuse := func(p reading.Problem) (reading.Table, []reading.Problem, error) {
		p.File = path
		return nil, []reading.Problem{p}, nil
	}
	if size == 0 {
		return refuse(reading.Problem{What: "the file is empty", Mend: "write a header line and the readings, or remove the file"})
	}
	start, fault, err := record.Start(src, size)
	if err != nil {
		return nil, nil, err
	}
	if fault != nil {
		return refuse(faulty(fault))
	}
	d := desks.Get().(*desk)
	defer desks.Put(d)
	r := &d.reader
	r.Reset(src, start, size, 1, false)
	r.Sip()
	for r.Next() && r.Blank() {
	}
	if err := r.Err(); err != nil {
		return nil, nil, err
	}
	if f := r.Fault(); f != nil {
		return refuse(faulty(f))
	}
	if r.Blank() {
		return refuse(reading.Problem{What: "the file holds blank lines only", Mend: "write a header line and the readings, or remove the file"})
	}
	open := func(l *layout) *table {
		return &table{layout: l, path: path, file: file, size: size, body: r.After(), line: r.NextLine(), piece: pieceSize}
	}
	if l := lastLayout.Load(); l != nil && l.header.line == r.Line() && l.text == string(r.Text()) {
		return open(l), nil, nil
	}
	text := string(r.Text())
	if d := delimiter(text); d != "" {
		return refuse(reading.Problem{Line: r.Line(), Column: 1, Text: text, What: "cells are separated by " + d,
			Mend: "save the file with commas between the cells and decimal points in the numbers"})
	}
	cells := r.Cells()
	places := make([]place, len(cells))
	for i := range cells {
		places[i].line, places[i].column = r.Place(i)
	}
	h, problems := parseHeader(cells, places, len(text)+1)
	t := open(&layout{text: text, header: h})
	if len(problems) > 0 {
		if p, ok := below(r, cells); ok && p.Line == h.line {
			problems = []reading.Problem{p} // the header is another line, so what this one lacks says nothing
		} else if ok {
			problems = append(problems, p)
		}
	}
	for i := range problems {
		problems[i].File = path
	}
	if len(problems) > 0 {
		return nil, problems, r.Err()
	}
	t.plan()
	lastLayout.Store(t.layout)
	return t, nil, nil
}

func faulty(f *record.Fault) reading.Problem {
	return reading.Problem{Line: f.Line, Column: f.Column, Text: f.Text, What: f.What, Mend: f.Mend}
}

// below looks under a first line that is no header for what explains it: a line
// of units, a unit behind a number, or the header itself further down.
func below(r *record.Reader, first [][]byte) (reading.Problem, bool) {
	top, best := r.Line(), familiar(texts(first))
	for n := 0; n < headerSearch && r.Next(); n++ {
		if r.Fault() != nil || r.Blank() {
			continue
		}
		cells := r.Cells()
		if r.Line() == top+1 {
			if p, ok := unitsBelow(r, cells); ok {
				return p, true
			}
		}
		line := string(r.Text())
		d := delimiter(line)
		if m := familiar(texts(cells)); d == "" && (m < 2 || m <= best) {
			continue
		}
		what := fmt.Sprintf("the header is on line %d, other lines stand above it", r.Line())
		if d != "" {
			what += ", and its cells are separated by " + d
		}
		return reading.Problem{Line: top, Column: 1, What: what, Mend: "remove the lines above the header"}, true
	}
	return reading.Problem{}, false
}

// unitsBelow finds units on the line under the names of the columns, alone or
// behind numbers.
func unitsBelow(r *record.Reader, cells [][]byte) (reading.Problem, bool) {
	alone, behind := 0, -1
	for i, c := range cells {
		text := strings.TrimSpace(strings.ToLower(string(c)))
		if units[text] {
			alone++
		}
		digits := strings.TrimLeft(text, "+-.0123456789 ")
		if behind < 0 && len(digits) < len(text) && units[digits] {
			behind = i
		}
	}
	const mend = "put the unit into the column's name, such as freq_mhz or level_dbm, and write the number alone"
	var p reading.Problem
	switch {
	case alone > 0 && alone == len(cells):
		p = reading.Problem{Line: r.Line(), Column: 1, Text: string(r.Text()), What: "units stand on a line of their own", Mend: "put the unit into the column's name, such as freq_mhz or level_dbm, and remove this line"}
	case behind >= 0:
		p = reading.Problem{Text: string(cells[behind]), What: "is not a number alone: a unit stands behind it", Mend: mend}
		p.Line, p.Column = r.Place(behind)
	}
	return p, p.What != ""
}

var units = map[string]bool{"hz": true, "khz": true, "mhz": true, "ghz": true, "dbm": true, "db": true, "dbuv": true, "db\u00b5v": true, "db\u03bcv": true}

func texts(cells [][]byte) []string {
	s := make([]string, len(cells))
	for i, c := range cells {
		s[i] = string(c)
	}
	return s
}

// CountRows counts the lines of data in a file that cannot be read: all but the
// first line that is not blank.
func CountRows(src io.ReaderAt, size int64) (reading.Count, error) {
	var n reading.Count
	var r record.Reader
	r.Reset(src, 0, size, 1, false)
	header := false
	for r.Next() {
		switch {
		case r.Blank():
			n.Rows++
			n.Blank++
		case !header:
			header = true
		default:
			n.Rows++
			n.Refused++
		}
	}
	return n, r.Err()
}

// Problems tells which columns were found to be missing when rows were loaded.
func (t *table) Problems() []reading.Problem {
	var problems []reading.Problem
	for c := range reading.Columns {
		if t.lacking.Load()>>c&1 == 1 {
			name := c.Name()
			problems = append(problems, reading.Problem{File: t.path, Line: t.header.line,
				What: "the column " + name + " is missing, and closed readings need it", Mend: "add a column " + name})
		}
	}
	return problems
}

// Unused names the columns that were ignored, as the file spells them.
func (t *table) Unused() []string { return t.header.unused }

// HeaderLine is the line of the column names.
func (t *table) HeaderLine() int { return t.header.line }

// Place finds the cell of column c in the row at the given offset again.
func (t *table) Place(src io.ReaderAt, at int64, line int, c reading.Column) reading.Place {
	p := reading.Place{Line: line}
	d := desks.Get().(*desk)
	defer desks.Put(d)
	r := &d.reader
	r.Reset(src, at, t.size, line, t.plain)
	r.Sip()
	if !r.Next() || r.Fault() != nil {
		return p
	}
	cells := r.Cells()
	if i := t.header.at[c]; i >= 0 && i < len(cells) {
		p.Line, p.Column = r.Place(i)
		p.Field, p.Text = t.header.name[c], string(cells[i])
	}
	return p
}

// ByLine reports whether each line is a row, which it is where no quotes span lines.
func (t *table) ByLine() bool { return t.tame }

// Has reports whether the header names a column.
func (t *table) Has(c reading.Column) bool { return t.header.at[c] >= 0 }
