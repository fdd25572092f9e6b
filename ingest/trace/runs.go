package trace

import (
	"fmt"
	"io"
	"path"
	"strings"
	"time"

	"sealbound/ingest/cell"
	"sealbound/ingest/reading"
	"sealbound/ingest/record"
)

// RunsName is the name of the table that stands in a folder of trace files, and
// MaxRuns how many rows of it are read.
const (
	RunsName = "runs.csv"
	MaxRuns  = 100_000
)

// A Run is a row of runs.csv: what one trace file is a reading of, and how it is
// written. Texts are empty and dates zero where the row does not give them.
type Run struct {
	Line            int    // of the row
	File            string // within the folder, with / between its parts
	Run             string
	Date, Installed time.Time // civil dates at midnight UTC
	Box, Gasket     string
	Fitting         string
	Closing         string
	State           string // open, closed or floor
	Position        string
	Polarization    string
	Profile         Profile
}

// Runs is what runs.csv holds, in the order of its rows.
type Runs struct {
	Rows   []Run
	Unused []string // columns that were ignored, as the file spells them
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

// others are names that mean one of the columns.
var others = map[string]string{"serial": "box", "pol": "polarization"}

// A runsReader reads one table.
type runsReader struct {
	path     string
	record   record.Reader
	problems *reading.Problems
	columns  []string // by index; empty where ignored
	cells    [][]byte
	bad      bool
	first    map[string]int // file: the line that names it first
	most     int            // rows
}

// ParseRuns reads runs.csv, plain comma-separated UTF-8, from src. The column
// file is needed; exists tells whether the folder has such a file, nil where that
// is not to be looked at. What is wrong goes to problems; rows with a problem are
// left out, and Runs is nil where the table as a whole cannot be used. The error
// is that of src alone.
func ParseRuns(src io.ReaderAt, size int64, name string, exists func(file string) bool, problems *reading.Problems) (*Runs, reading.Count, error) {
	return parseRuns(src, size, name, exists, problems, MaxRuns)
}

func parseRuns(src io.ReaderAt, size int64, name string, exists func(file string) bool, problems *reading.Problems, most int) (*Runs, reading.Count, error) {
	r := runsReader{path: name, problems: problems, first: map[string]int{}, most: most}
	var count reading.Count
	refuse := func(line, column int, text, what, mend string) (*Runs, reading.Count, error) {
		problems.Add(reading.Problem{File: name, Line: line, Column: column, Text: text, What: what, Mend: mend})
		count.Refused = count.Rows - count.Blank
		return nil, count, nil
	}
	if size == 0 {
		return refuse(0, 0, "", "the file is empty", "write a header with a column file, and a row for each trace file")
	}
	start, fault, err := record.Start(src, size)
	if err != nil {
		return nil, count, fmt.Errorf("read %s: %w", name, err)
	}
	if fault != nil {
		return refuse(fault.Line, fault.Column, fault.Text, fault.What, fault.Mend)
	}
	runs := &Runs{}
	r.record.Reset(src, start, size, 1)
	for r.record.Next() {
		switch {
		case r.columns != nil:
			count.Rows++
			if r.record.Blank() {
				count.Blank++
			} else if len(runs.Rows) == r.most {
				return refuse(r.record.Line(), 1, "", fmt.Sprintf("more than %d rows", r.most), "split the folder")
			} else if run, ok := r.row(exists); ok {
				runs.Rows = append(runs.Rows, run)
			} else {
				count.Refused++
			}
		case r.record.Blank():
			count.Rows++
			count.Blank++
		default:
			if !r.header(runs) {
				for r.record.Next() {
					count.Rows++
					if r.record.Blank() {
						count.Blank++
					}
				}
				count.Refused = count.Rows - count.Blank
				return nil, count, r.failure()
			}
		}
	}
	if err := r.failure(); err != nil {
		return nil, count, err
	}
	if r.columns == nil {
		return refuse(1, 1, "", "the file holds blank lines only", "write a header with a column file, and a row for each trace file")
	}
	if count.Rows == count.Blank {
		return refuse(1, 1, "", "no rows below the header", "write a row for each trace file")
	}
	return runs, count, nil
}

func (r *runsReader) failure() error {
	if err := r.record.Err(); err != nil {
		return fmt.Errorf("read %s: %w", r.path, err)
	}
	return nil
}

func (r *runsReader) fault(f *record.Fault) {
	r.problems.Add(reading.Problem{File: r.path, Line: f.Line, Column: f.Column, Text: f.Text, What: f.What, Mend: f.Mend})
}

// wrong notes a problem of a cell.
func (r *runsReader) wrong(i int, what, mend string) {
	r.bad = true
	line, column := r.record.Place(i)
	p := reading.Problem{File: r.path, Line: line, Column: column, Text: string(r.cells[i]), What: what, Mend: mend}
	if r.columns != nil {
		p.Field = r.columns[i]
	}
	r.problems.Add(p)
}

// header reads the names of the columns and reports whether rows can be read.
func (r *runsReader) header(runs *Runs) bool {
	if f := r.record.Fault(); f != nil {
		r.fault(f)
		return false
	}
	r.cells, r.bad = r.record.Cells(), false
	columns := make([]string, len(r.cells))
	at := map[string]int{}
	for i, c := range r.cells {
		name := strings.ToLower(string(c))
		if full, ok := others[name]; ok {
			name = full
		}
		before, twice := at[name]
		at[name] = i
		_, isText := texts[name]
		_, isField := fieldNamed(name)
		switch {
		case name == "":
			r.wrong(i, fmt.Sprintf("column %d of the header has no name", i+1), "name it, or remove the column and any trailing comma")
		case twice:
			r.wrong(i, fmt.Sprintf("the header names this column twice, first as column %d", before+1), "remove or rename one of them")
		case isText, isField, name == "file", name == "date", name == "installed", name == "state":
			columns[i] = name
		default:
			runs.Unused = append(runs.Unused, string(c))
		}
	}
	if _, ok := at["file"]; !ok && !r.bad {
		r.bad = true
		r.problems.Add(reading.Problem{File: r.path, Line: r.record.Line(), Column: 1, Text: string(r.record.Text()), What: "the column file is missing", Mend: "add a column file with the names of the trace files"})
	}
	if r.bad {
		return false
	}
	r.columns = columns
	return true
}

// row reads one row and reports whether it can be used.
func (r *runsReader) row(exists func(string) bool) (Run, bool) {
	run := Run{Line: r.record.Line()}
	if f := r.record.Fault(); f != nil {
		r.fault(f)
		return run, false
	}
	r.cells, r.bad = r.record.Cells(), false
	if len(r.cells) != len(r.columns) {
		r.problems.Add(reading.Problem{File: r.path, Line: run.Line, Column: 1,
			What: fmt.Sprintf("the row has %d cells, the header %d", len(r.cells), len(r.columns)), Mend: "give each column a cell; put quotes around a cell that holds a comma"})
		return run, false
	}
	for i, c := range r.cells {
		text := string(c)
		switch column := r.columns[i]; column {
		case "":
		case "file":
			run.File = r.file(i, text, run.Line, exists)
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
			if at, ok := texts[column]; ok {
				*at(&run) = text
			} else if fault := run.Profile.Set(column, text); fault != nil {
				r.wrong(i, fault.What, fault.Mend)
			}
		}
	}
	if what := run.Profile.contradiction(); what != "" && !r.bad {
		r.bad = true
		r.problems.Add(reading.Problem{File: r.path, Line: run.Line, Column: 1, What: what, Mend: "correct the cells of the profile"})
	}
	return run, !r.bad
}

// file reads the name of a trace file, which stays within the folder and has one
// row.
func (r *runsReader) file(i int, text string, line int, exists func(string) bool) string {
	name := path.Clean(strings.ReplaceAll(text, `\`, "/"))
	before, twice := r.first[name]
	switch {
	case text == "":
		r.wrong(i, "is empty", "write the name of the trace file")
	case path.IsAbs(name), name == ".", name == "..", strings.HasPrefix(name, "../"), len(name) > 1 && name[1] == ':':
		r.wrong(i, "is no file within the folder", "put the trace file beside "+RunsName+" or below, and write its name from there")
	case twice:
		r.wrong(i, fmt.Sprintf("the file has a row already, on line %d", before), "keep one row for each trace file")
	case exists != nil && !exists(name):
		r.wrong(i, "there is no such file", "correct the name, which is relative to "+RunsName+", or remove the row")
	}
	if text != "" && !twice {
		r.first[name] = line
	}
	return name
}

// day reads a date that may be left out.
func (r *runsReader) day(i int) time.Time {
	if len(r.cells[i]) == 0 {
		return time.Time{}
	}
	day, fault := cell.ParseDay(r.cells[i])
	if fault != nil {
		r.wrong(i, fault.What, fault.Mend)
		return time.Time{}
	}
	return day.Time()
}
