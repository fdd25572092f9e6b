package trace

import (
	"fmt"
	"io"
	"slices"
	"strings"
	"sync"

	"sealbound/ingest/cell"
	"sealbound/ingest/reading"
)

// RunsName is the name of the table that stands in a folder of trace files, and
// MaxRuns how many rows of it are read.
const (
	RunsName = "runs.csv"
	MaxRuns  = 100_000
)

// A Run is a row of runs.csv: what one trace file is a reading of, and how it is
// written. Texts are empty where the row does not give them.
type Run struct {
	Line            int    // of the row
	File            string // within the folder, with / between its parts
	Run             string
	Date, Installed cell.Day // NoDay where not given
	Box, Gasket     string
	Fitting         string
	Closing         string
	State           string // open, closed or floor
	Position        string
	Polarization    string
	More            []Label  // of the other columns of labels, those that the row fills
	Figures         []Figure // tx_dbm, gain_db and the floor, where the row gives them
	Profile         *Profile // never nil; rows with the same cells share one
}

// A Label is the cell of a column of the long format.
type Label struct {
	Column reading.Column
	Text   string
}

// A Figure is a number that holds for all rows of a trace.
type Figure struct {
	Column reading.Column // Tx, Gain or Floor
	Unit   reading.Unit   // of Floor: DBm or Decibel; dBuV is converted
	DB     float64        // dBm or dB
}

// Runs is what runs.csv holds, in the order of its rows.
type Runs struct {
	Rows   []Run
	Unused []string       // columns that were ignored, as the file spells them
	Named  map[string]int // every file that a row names, be the row usable or not, and its first line

	path    string
	text    text
	header  int      // its line
	columns []string // by index; empty where ignored
	indexed sync.Once
	starts  []int // offset of each line
}

// states are the words of the column state; reference and sealed mean the same as
// open and closed.
var states = map[string]string{"open": "open", "reference": "open", "closed": "closed", "sealed": "closed", "floor": "floor"}

// texts are the columns that name what a trace is of.
var texts = map[string]func(*Run) *string{
	"run":          func(r *Run) *string { return &r.Run },
	"box":          func(r *Run) *string { return &r.Box },
	"gasket":       func(r *Run) *string { return &r.Gasket },
	"fitting":      func(r *Run) *string { return &r.Fitting },
	"closing":      func(r *Run) *string { return &r.Closing },
	"position":     func(r *Run) *string { return &r.Position },
	"polarization": func(r *Run) *string { return &r.Polarization },
}

// more are the other columns of labels, by name: those of the long format that
// can hold for a whole trace.
var more = func() map[string]reading.Column {
	columns := map[string]reading.Column{}
	for c := reading.Column(0); c < reading.Columns; c++ {
		if _, own := texts[c.Name()]; c.IsText() && !own {
			columns[c.Name()] = c
		}
	}
	return columns
}()

// figures are the columns of numbers, by name.
var figures = map[string]struct {
	column reading.Column
	unit   reading.Unit
}{
	"tx_dbm": {reading.Tx, reading.NoUnit}, "gain_db": {reading.Gain, reading.NoUnit},
	"floor_dbm": {reading.Floor, reading.DBm}, "floor_dbuv": {reading.Floor, reading.DBuV}, "floor_db": {reading.Floor, reading.Decibel},
}

// others are names that mean one of the columns.
var others = map[string]string{"serial": "box", "pol": "polarization"}

// A runsReader reads one table.
type runsReader struct {
	path     string
	text     text
	problems *reading.Problems
	splitter splitter
	number   int      // of the line at hand
	line     string   // the line at hand
	pieces   []piece  // its cells
	columns  []string // by index; empty where ignored; nil before the header
	bad      bool
	first    map[string]int      // file: the line that names it first
	profiles map[string]*Profile // by their cells
	most     int                 // rows
	told     int                 // problems
}

// ParseRuns reads runs.csv: comma-separated UTF-8, each row on one line. The
// column file is needed; look tells what keeps a file that a row names from being
// read, nil where that is not to be looked at. What is wrong goes to problems; rows with a
// problem are left out, and Runs is nil where the table as a whole cannot be used;
// a table without rows is a problem, and no rows.
// The Count is of the lines below the header, 0 where the file is no text. The
// error is that of src alone.
func ParseRuns(src io.Reader, name string, look func(file string) *cell.Fault, problems *reading.Problems) (*Runs, reading.Count, error) {
	data, err := io.ReadAll(io.LimitReader(src, MaxBytes+1))
	if err != nil {
		return nil, reading.Count{}, fmt.Errorf("read %s: %w", name, err)
	}
	r := newRunsReader(name, problems)
	runs, count := r.read(data, look)
	return runs, count, nil
}

func newRunsReader(name string, problems *reading.Problems) runsReader {
	return runsReader{path: name, problems: problems, splitter: splitter{mark: ','}, first: map[string]int{}, profiles: map[string]*Profile{}, most: MaxRuns}
}

// add tells a problem; behind mostProblems none but that there are more.
func (r *runsReader) add(p reading.Problem) {
	if r.told++; r.told > mostProblems+1 {
		return
	}
	if r.told == mostProblems+1 {
		p = reading.Problem{Line: p.Line, Column: 1, What: fmt.Sprintf("more than %d problems in this file; from here on none is told", mostProblems), Mend: "mend those above first"}
	}
	p.File, p.Text = r.path, strings.ToValidUTF8(p.Text, "\uFFFD")
	r.problems.Add(p)
}

// read goes through the table. Where it cannot be used as a whole, its lines are
// still counted.
func (r *runsReader) read(data []byte, look func(string) *cell.Fault) (*Runs, reading.Count) {
	const write = "write a header with a column file, and a row for each trace file"
	var count reading.Count
	if len(data) == 0 {
		r.add(reading.Problem{What: "the file is empty", Mend: write})
		return nil, count
	}
	t, fault := open(data, "utf-8")
	if fault == nil {
		fault = t.check()
	}
	if len(data) > MaxBytes {
		fault = &reading.Problem{What: "the file is larger than 256 MB", Mend: "split the folder"}
	}
	if fault != nil {
		if fault.Mend == "" {
			fault.Mend = "save " + RunsName + " as comma-separated UTF-8"
		}
		r.add(*fault)
		return nil, count
	}
	r.text = t
	runs := &Runs{path: r.path, text: t, Named: r.first}
	refused := false
	t.each(func(number int, line string) bool {
		r.number, r.line, r.bad = number, line, false
		blank := r.splitter.blank(line)
		if r.columns != nil || blank || refused {
			count.Rows++
		}
		switch {
		case blank:
			count.Blank++
		case refused:
		case r.columns == nil:
			refused = !r.header(runs)
		case len(runs.Rows) == r.most:
			r.add(reading.Problem{Line: number, Column: 1, What: fmt.Sprintf("more than %d rows", r.most), Mend: "split the folder"})
			refused = true
		default:
			if run, ok := r.row(look); ok {
				runs.Rows = append(runs.Rows, run)
			} else {
				count.Refused++
			}
		}
		return true
	})
	switch {
	case refused:
	case r.columns == nil:
		r.add(reading.Problem{Line: 1, Column: 1, What: "the file holds blank lines only", Mend: write})
	case count.Rows == count.Blank:
		r.add(reading.Problem{Line: runs.header, Column: 1, What: "no rows below the header", Mend: "write a row for each trace file"})
		return runs, count
	default:
		return runs, count
	}
	count.Refused = count.Rows - count.Blank
	return nil, count
}

// split cuts the line at hand and reports whether that can be done.
func (r *runsReader) split() bool {
	pieces, wrong, at := r.splitter.split(r.line)
	if wrong != "" {
		r.add(reading.Problem{Line: r.number, Column: r.text.column(r.line, at), What: wrong, Mend: `close the quote, and write "" for a quote inside a quoted cell`})
	}
	r.pieces = pieces
	return wrong == ""
}

// wrong notes a problem of a cell.
func (r *runsReader) wrong(i int, what, mend string) {
	r.bad = true
	c := r.pieces[i]
	p := reading.Problem{Line: r.number, Column: r.text.column(r.line, c.at), Text: c.text, What: what, Mend: mend}
	if r.columns != nil {
		p.Field = r.columns[i]
	}
	r.add(p)
}

// header reads the names of the columns and reports whether rows can be read.
func (r *runsReader) header(runs *Runs) bool {
	if !r.split() {
		return false
	}
	columns := make([]string, len(r.pieces))
	at := map[string]int{}
	floor := "" // the column that gives it
	for i, c := range r.pieces {
		name := strings.ToLower(c.text)
		if full, ok := others[name]; ok {
			name = full
		}
		before, twice := at[name]
		at[name] = i
		_, isText := texts[name]
		_, isField := fieldNamed(name)
		_, isMore := more[name]
		figure, isFigure := figures[name]
		if isFigure && figure.column == reading.Floor {
			if floor != "" && !twice && floor != name {
				r.wrong(i, fmt.Sprintf("the header has %s and %s; one of them is permitted", floor, name), "keep one of the two")
			}
			floor = name
		}
		switch {
		case name == "":
			r.wrong(i, fmt.Sprintf("column %d of the header has no name", i+1), "name it, or remove the column and any trailing comma")
		case twice:
			r.wrong(i, fmt.Sprintf("the header names this column twice, first as column %d", before+1), "remove or rename one of them")
		case isText, isField, isMore, isFigure, name == "file", name == "date", name == "installed", name == "state":
			columns[i] = name
		default:
			runs.Unused = append(runs.Unused, c.text)
		}
	}
	if _, ok := at["file"]; !ok && !r.bad {
		r.bad = true
		mend := "add a column file with the names of the trace files"
		if len(r.pieces) == 1 {
			mend += "; its cells have commas between them"
		}
		r.add(reading.Problem{Line: r.number, Column: 1, Text: r.line, What: "the column file is missing", Mend: mend})
	}
	if r.bad {
		return false
	}
	r.columns = columns
	runs.columns, runs.header = columns, r.number
	return true
}

// row reads one row and reports whether it can be used.
func (r *runsReader) row(look func(string) *cell.Fault) (Run, bool) {
	run := Run{Line: r.number, Date: cell.NoDay, Installed: cell.NoDay}
	if !r.split() {
		return run, false
	}
	if len(r.pieces) != len(r.columns) {
		r.add(reading.Problem{Line: r.number, Column: 1,
			What: fmt.Sprintf("the row has %d cells, the header %d", len(r.pieces), len(r.columns)), Mend: "give each column a cell; put quotes around a cell that holds a comma"})
		return run, false
	}
	var cells strings.Builder // of the profile
	for i, c := range r.pieces {
		text := c.text
		switch column := r.columns[i]; column {
		case "":
		case "file":
			run.File = r.file(i, text, look)
		case "date":
			run.Date = r.day(i)
		case "installed":
			run.Installed = r.day(i)
		case "state":
			state, ok := states[strings.ToLower(text)]
			if !ok && text != "" {
				r.wrong(i, "is an unknown state", "write open, closed or floor")
			}
			run.State = state
		default:
			at, own := texts[column]
			also, another := more[column]
			_, number := figures[column]
			switch {
			case own:
				*at(&run) = text
			case text == "":
			case another:
				run.More = append(run.More, Label{also, text})
			case number:
				r.figure(i, &run)
			default:
				fmt.Fprintf(&cells, "%d=%s\n", i, text)
			}
		}
	}
	if i := slices.Index(r.columns, "installed"); run.Date != cell.NoDay && run.Installed > run.Date && i >= 0 {
		r.wrong(i, "lies after the date of the reading", "correct one of the two dates")
	}
	run.Profile = r.profile(cells.String())
	return run, !r.bad
}
