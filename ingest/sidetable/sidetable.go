// Package sidetable reads the tables that may stand beside the readings in a
// folder: boxes.csv, gaskets.csv, events.csv and setup.csv.
package sidetable

import (
	"context"
	"fmt"
	"io"
	"math"
	"path/filepath"
	"strings"
	"time"

	"sealbound/ingest/cell"
	"sealbound/ingest/reading"
	"sealbound/ingest/record"
)

// A Box is a row of boxes.csv. Lengths are in mm; NaN where not given.
type Box struct {
	Label, Role, Type                           string // role: test or control
	PerimeterMM, ChannelWidthMM, ChannelDepthMM float64
}

// A Gasket is a row of gaskets.csv. Lengths in mm; NaN where not given.
type Gasket struct {
	Label                                           string
	WidthMM, ThicknessMM, StripLengthMM, StripPrice float64
	Currency                                        string
}

// An Event is a row of events.csv. Kinds: replaced, repaired, cleaned and
// adjusted start a new fitting; dropped and note do not.
type Event struct {
	Date            time.Time
	Box, Kind, Text string
	File            string
	Line            int
}

// A SetupField is a row of setup.csv, kept verbatim.
type SetupField struct {
	Run, Field, Value string
}

// Tables is what the side tables hold, in the order of their files and rows.
type Tables struct {
	Boxes   []Box
	Gaskets []Gasket
	Events  []Event
	Setup   []SetupField

	boxes, gaskets map[string]string // label: where it stood first
}

// kinds of event.
var kinds = []string{"replaced", "repaired", "cleaned", "adjusted", "dropped", "note"}

// A layout is the columns of one side table; the first needed ones must be there.
type layout struct {
	columns []string
	needed  int
	take    func(t *Tables, r *row)
}

var layouts = map[string]layout{
	"boxes":   {[]string{"box", "role", "type", "perimeter_mm", "channel_width_mm", "channel_depth_mm"}, 1, (*Tables).box},
	"gaskets": {[]string{"gasket", "width_mm", "thickness_mm", "strip_length_mm", "strip_price", "currency"}, 1, (*Tables).gasket},
	"events":  {[]string{"date", "box", "event", "text"}, 3, (*Tables).event},
	"setup":   {[]string{"run", "field", "value"}, 3, (*Tables).setup},
}

// Named tells which side table a file is by its name (boxes, gaskets, events,
// setup, with the ending .csv or .csv.gz), empty where it is none.
func Named(path string) string {
	name := strings.TrimSuffix(strings.ToLower(filepath.Base(path)), ".gz")
	name, ok := strings.CutSuffix(name, ".csv")
	if _, side := layouts[name]; ok && side {
		return name
	}
	return ""
}

// A row is one record with the means to complain about its cells.
type row struct {
	path     string
	r        *record.Reader
	cells    [][]byte
	at       map[string]int
	width    int // cells of the header
	problems *reading.Problems
	bad      bool
}

// What is held of a side table is bounded. Variables for tests.
var (
	mostRows        = 2_000_000 // some 250 bytes each
	mostBytes int64 = 128 << 20
)

// Read takes in the side table of the given name. Rows with a problem are
// skipped and counted as refused. It returns the names of ignored columns.
func (t *Tables) Read(ctx context.Context, name, path string, src io.ReaderAt, size int64, problems *reading.Problems) (count reading.Count, unused []string, err error) {
	add := func(line, column int, text, what, mend string) {
		problems.Add(reading.Problem{File: path, Line: line, Column: column, Text: text, What: what, Mend: mend})
	}
	if size == 0 {
		add(0, 0, "", "the file is empty", "write a header line, or remove the file")
		return count, nil, nil
	}
	if size > mostBytes {
		return count, nil, fmt.Errorf("it is larger than %d MB, which is more than is held of such a table; leave out rows or columns", mostBytes>>20)
	}
	start, fault, err := record.Start(src, size)
	if err != nil {
		return count, nil, err
	}
	var r record.Reader
	r.Reset(src, start, size, 1, false)
	w := row{path: path, r: &r, problems: problems}
	usable := fault == nil
	if fault != nil {
		add(fault.Line, fault.Column, fault.Text, fault.What, fault.Mend)
	}
	lay := layouts[name]
	for n := 1; r.Next(); n++ {
		if n%1024 == 0 && ctx.Err() != nil {
			return count, unused, ctx.Err()
		}
		f := r.Fault()
		switch {
		case r.Blank():
			count.Rows++
			count.Blank++
			continue
		case w.at == nil:
			w.at = map[string]int{}
			if usable {
				unused, usable = w.header(lay)
			}
			continue
		}
		if count.Rows++; count.Rows > mostRows {
			return count, unused, fmt.Errorf("it has more than %d rows, which is more than is held of such a table; leave out rows", mostRows)
		}
		switch {
		case !usable:
			count.Refused++
			continue
		case f != nil:
			add(f.Line, f.Column, f.Text, f.What, f.Mend)
			count.Refused++
			continue
		}
		w.cells, w.bad = r.Cells(), false
		if len(w.cells) != w.width {
			add(r.Line(), 1, "", fmt.Sprintf("the row has %d cells, the header %d", len(w.cells), w.width), "give each column a cell; put quotes around a cell that holds a comma")
			w.bad = true
		} else {
			lay.take(t, &w)
		}
		if w.bad {
			count.Refused++
		}
	}
	return count, unused, r.Err()
}

// header reads the names of the columns.
func (w *row) header(lay layout) (unused []string, usable bool) {
	usable = true
	if f := w.r.Fault(); f != nil {
		w.problems.Add(reading.Problem{File: w.path, Line: f.Line, Column: f.Column, Text: f.Text, What: f.What, Mend: f.Mend})
		return nil, false
	}
	cells := w.r.Cells()
	w.width = len(cells)
	fail := func(i int, what, mend string) {
		line, column := w.r.Place(i)
		w.problems.Add(reading.Problem{File: w.path, Line: line, Column: column, Text: string(cells[i]), What: what, Mend: mend})
		usable = false
	}
	for i, c := range cells {
		name := strings.ToLower(string(c))
		if name == "serial" {
			name = "box"
		}
		_, twice := w.at[name]
		switch {
		case name == "":
			fail(i, fmt.Sprintf("column %d of the header has no name", i+1), "name it, or remove the column and any trailing comma")
		case twice:
			fail(i, "the header names this column twice", "remove or rename one of them")
		case !contains(lay.columns, name):
			w.at[name] = i
			unused = append(unused, string(c))
		default:
			w.at[name] = i
		}
	}
	for _, name := range lay.columns[:lay.needed] {
		if _, ok := w.at[name]; !ok {
			mend := "the columns are " + strings.Join(lay.columns, ", ")
			if !strings.Contains(string(w.r.Text()), ",") && strings.ContainsAny(string(w.r.Text()), ";\t") {
				mend = "save the file with commas between the cells; " + mend
			}
			w.problems.Add(reading.Problem{File: w.path, Line: w.r.Line(), What: "the column " + name + " is missing", Mend: mend})
			usable = false
		}
	}
	return unused, usable
}

func contains(list []string, s string) bool {
	for _, x := range list {
		if x == s {
			return true
		}
	}
	return false
}

func (w *row) fail(name, what, mend string) {
	w.bad = true
	p := reading.Problem{File: w.path, Line: w.r.Line(), What: what, Mend: mend}
	if i, ok := w.at[name]; ok {
		p.Line, p.Column = w.r.Place(i)
		p.Field, p.Text = name, string(w.cells[i])
	}
	w.problems.Add(p)
}

func (w *row) get(name string) []byte {
	if i, ok := w.at[name]; ok {
		return w.cells[i]
	}
	return nil
}

func (w *row) text(name string) string { return string(cell.Unguarded(w.get(name))) }

func (w *row) label(name string) string {
	s := w.text(name)
	if s == "" {
		w.fail(name, "is empty", "write the "+name+"'s label")
	}
	return s
}

// atLeastZero reads a number that is not negative; NaN where the cell is empty.
func (w *row) atLeastZero(name string) float64 {
	b := w.get(name)
	if len(b) == 0 {
		return math.NaN()
	}
	v, fault := cell.Number(b, 0)
	switch {
	case fault != nil:
		w.fail(name, fault.What, fault.Mend)
	case v < 0:
		w.fail(name, "is negative", "write the figure, or leave the cell empty")
	}
	return v
}

// positive reads a number above zero; NaN where the cell is empty.
func (w *row) positive(name string) float64 {
	v := w.atLeastZero(name)
	if v == 0 && len(w.get(name)) > 0 && !w.bad {
		w.fail(name, "is not above zero", "write the figure, or leave the cell empty")
	}
	return v
}

// once complains about a label that has stood before.
func (w *row) once(seen *map[string]string, name, label string) {
	if *seen == nil {
		*seen = map[string]string{}
	}
	if at, ok := (*seen)[label]; ok && label != "" {
		w.fail(name, "has stood before, at "+at, "keep one row for it")
		return
	}
	(*seen)[label] = fmt.Sprintf("%s:%d", w.path, w.r.Line())
}

func (t *Tables) box(w *row) {
	b := Box{Label: w.label("box"), Role: strings.ToLower(w.text("role")), Type: w.text("type"),
		PerimeterMM: w.positive("perimeter_mm"), ChannelWidthMM: w.positive("channel_width_mm"), ChannelDepthMM: w.positive("channel_depth_mm")}
	if b.Role == "" {
		b.Role = "test"
	}
	if b.Role != "test" && b.Role != "control" {
		w.fail("role", "is not a role", "write test or control")
	}
	w.once(&t.boxes, "box", b.Label)
	if !w.bad {
		t.Boxes = append(t.Boxes, b)
	}
}

func (t *Tables) gasket(w *row) {
	g := Gasket{Label: w.label("gasket"), WidthMM: w.positive("width_mm"), ThicknessMM: w.positive("thickness_mm"),
		StripLengthMM: w.positive("strip_length_mm"), StripPrice: w.atLeastZero("strip_price"), Currency: w.text("currency")}
	w.once(&t.gaskets, "gasket", g.Label)
	if !w.bad {
		t.Gaskets = append(t.Gaskets, g)
	}
}

func (t *Tables) event(w *row) {
	day, fault := cell.ParseDay(w.get("date"))
	if fault != nil {
		w.fail("date", fault.What, fault.Mend)
	}
	e := Event{Date: day.Time(), Box: w.text("box"), Kind: strings.ToLower(w.text("event")), Text: w.text("text"), File: w.path, Line: w.r.Line()}
	if !contains(kinds, e.Kind) {
		w.fail("event", "is not a kind of event", "write one of "+strings.Join(kinds, ", "))
	} else if e.Box == "" && e.Kind != "note" {
		w.fail("box", "is empty", "write the label of the box; only a note can do without")
	}
	if !w.bad {
		t.Events = append(t.Events, e)
	}
}

func (t *Tables) setup(w *row) {
	if s := (SetupField{w.text("run"), w.label("field"), w.text("value")}); !w.bad {
		t.Setup = append(t.Setup, s)
	}
}
