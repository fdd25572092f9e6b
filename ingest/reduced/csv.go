package reduced

import (
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"sealbound/ingest/cell"
	"sealbound/ingest/reading"
	"sealbound/ingest/record"
)

// Header reads the names on the first line of a file that is not blank; nil where
// there is none that could be read.
func Header(src io.ReaderAt, size int64) ([]string, error) {
	start, fault, err := record.Start(src, size)
	if err != nil || fault != nil {
		return nil, err
	}
	var r record.Reader
	r.Reset(src, start, size, 1, false)
	r.Sip()
	for r.Next() && r.Blank() {
	}
	if r.Err() != nil || r.Fault() != nil || r.Blank() {
		return nil, r.Err()
	}
	var names []string
	for _, c := range r.Cells() {
		names = append(names, string(c))
	}
	return names, nil
}

// A parser reads the rows of a CSV file.
type parser struct {
	path     string
	r        record.Reader
	at       map[string]int
	cells    [][]byte
	width    int // cells of the header
	rows     *Rows
	scratch  Row
	many     error // there is too much to be held
	count    reading.Count
	unused   []string
	problems []reading.Problem
	bad      bool
}

// OpenCSV reads a closing-level table. What cannot be read is a problem; a header
// that cannot gives no table.
func OpenCSV(path string, file int32, src io.ReaderAt, size int64) (reading.Table, []reading.Problem, error) {
	p := &parser{path: path}
	start, fault, err := record.Start(src, size)
	if err != nil {
		return nil, nil, err
	}
	if fault != nil {
		p.fault(fault)
		return nil, p.problems, nil
	}
	p.r.Reset(src, start, size, 1, false)
	header := 0
	for p.r.Next() {
		switch {
		case p.r.Blank():
			if header > 0 {
				p.count.Rows++
				p.count.Blank++
			}
		case header == 0:
			header = p.r.Line()
			if !p.header() {
				return nil, p.problems, p.r.Err()
			}
		default:
			p.count.Rows++
			if p.row(); p.bad {
				p.count.Refused++
			}
			if p.many == nil && p.count.Refused > mostRows {
				p.many = fmt.Errorf("more than %d rows of a table of closings cannot be read", mostRows)
			}
			if p.many != nil {
				return nil, nil, p.many
			}
		}
	}
	if err := p.r.Err(); err != nil {
		return nil, nil, err
	}
	if p.rows.n == 0 && len(p.problems) > 0 {
		return nil, p.problems, nil
	}
	t := newTable(path, file, p.rows)
	t.count, t.unused, t.header = p.count, p.unused, header
	return t, p.problems, nil
}

func (p *parser) fault(f *record.Fault) {
	p.bad = true
	p.problems = append(p.problems, reading.Problem{File: p.path, Line: f.Line, Column: f.Column, Text: f.Text, What: f.What, Mend: f.Mend})
}

func (p *parser) fail(name, what, mend string) {
	p.bad = true
	q := reading.Problem{File: p.path, Line: p.r.Line(), What: what, Mend: mend}
	if i, ok := p.at[name]; ok {
		q.Line, q.Column = p.r.Place(i)
		q.Field, q.Text = name, string(p.cells[i])
	}
	p.problems = append(p.problems, q)
}

func (p *parser) header() bool {
	if f := p.r.Fault(); f != nil {
		p.fault(f)
		return false
	}
	known := map[string]bool{"date": true, "installed": true, bandLo: true, bandHi: true, "atten_db": true, limited: true, share: true, headroom: true, repeats: true, openSD: true}
	for _, c := range Texts {
		known[c.Name()] = true
	}
	p.at, p.cells = map[string]int{}, p.r.Cells()
	names := make([]string, len(p.cells))
	for i, c := range p.cells {
		name := strings.ToLower(string(c))
		switch name {
		case "serial":
			name = "box"
		case "se_db":
			name = "atten_db"
		}
		if _, twice := p.at[name]; twice {
			p.at[name] = i
			p.fail(name, "the header names this column twice", "remove or rename one of them")
			continue
		}
		names[i], p.at[name] = name, i
		if !known[name] {
			p.unused = append(p.unused, string(c))
		}
	}
	for _, n := range needed {
		if _, ok := p.at[n]; !ok {
			p.fail("", "the column "+n+" is missing from this table of closings", "its columns are "+strings.Join(needed, ", ")+", and others")
		}
	}
	p.width = len(p.cells)
	var used []reading.Column
	for _, c := range Texts {
		if _, ok := p.at[c.Name()]; ok {
			used = append(used, c)
		}
	}
	p.rows = NewRows(used)
	return !p.bad
}

func (p *parser) cell(name string) []byte {
	if i, ok := p.at[name]; ok {
		return p.cells[i]
	}
	return nil
}

func (p *parser) number(name string) float64 {
	b := p.cell(name)
	if len(b) == 0 {
		return math.NaN()
	}
	v, fault := cell.Number(b, 0)
	if fault != nil {
		p.fail(name, fault.What, fault.Mend)
	}
	return v
}

func (p *parser) day(name string) cell.Day {
	b := p.cell(name)
	if len(b) == 0 {
		return cell.NoDay
	}
	d, fault := cell.ParseDay(b)
	if fault != nil {
		p.fail(name, fault.What, fault.Mend)
	}
	return d
}

func (p *parser) row() {
	p.bad = false
	if f := p.r.Fault(); f != nil {
		p.fault(f)
		return
	}
	if p.cells = p.r.Cells(); len(p.cells) != p.width {
		p.bad = true
		p.problems = append(p.problems, reading.Problem{File: p.path, Line: p.r.Line(), Column: 1,
			What: fmt.Sprintf("the row has %d cells, the header %d", len(p.cells), p.width), Mend: "give each column a cell; put quotes around a cell that holds a comma"})
		return
	}
	r := &p.scratch
	r.Line, r.OpenRepeats = p.r.Line(), 0
	for _, c := range p.rows.used {
		r.Text[c] = string(cell.Unguarded(p.cell(c.Name())))
	}
	r.Date, r.Installed = p.day("date"), p.day("installed")
	r.LoHz, r.HiHz = p.number(bandLo), p.number(bandHi)
	r.LimitedShare, r.HeadroomDB, r.OpenSDDB = p.number(share), p.number(headroom), p.number(openSD)
	if n := p.number(repeats); n == n {
		if r.OpenRepeats = int(n); float64(r.OpenRepeats) != n {
			p.fail(repeats, "is not a whole number", "write how often the open readings were repeated")
		}
	}
	text, atLeast := strings.CutPrefix(string(p.cell("atten_db")), ">")
	v, fault := cell.Number([]byte(strings.TrimSpace(text)), 0)
	if fault != nil {
		p.fail("atten_db", fault.What, fault.Mend)
	}
	r.AttenDB = v
	switch strings.ToLower(string(p.cell(limited))) {
	case "", "false", "f", "no", "n", "0":
		r.Limited = atLeast || r.LimitedShare > 0
	case "true", "t", "yes", "y", "1":
		r.Limited = true
	default:
		p.fail(limited, "is neither true nor false", "write true where some reading of the closing was at the receiver's floor")
	}
	if p.bad {
		return
	}
	if column, what, mend := r.sound(); what != "" {
		p.fail(column, what, mend)
		return
	}
	p.many = p.rows.Add(r)
}

// WriteCSV writes a closing-level table, of the columns that some row fills.
func WriteCSV(to io.Writer, rows *Rows) error {
	w := csv.NewWriter(to)
	columns := columnsOf(rows)
	line := make([]string, len(columns))
	for i, c := range columns {
		line[i] = c.name
	}
	if err := w.Write(line); err != nil {
		return err
	}
	var r Row
	for k := range rows.Len() {
		rows.At(k, &r)
		for i, c := range columns {
			line[i] = c.csv(&r)
		}
		if err := w.Write(line); err != nil {
			return err
		}
	}
	w.Flush()
	return w.Error()
}

func (c *column) csv(r *Row) string {
	switch {
	case c.text != nil:
		return cell.Guarded(c.text(r))
	case c.day != nil:
		return c.day(r).String()
	case c.flag != nil:
		return strconv.FormatBool(c.flag(r))
	}
	v := c.number(r)
	if v != v {
		return ""
	}
	return strconv.FormatFloat(v, 'f', -1, 64)
}
