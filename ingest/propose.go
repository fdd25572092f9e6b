package ingest

import (
	"bytes"
	"cmp"
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"

	"sealbound/ingest/reading"
	"sealbound/ingest/trace"
)

// A Proposal is a runs.csv to be edited.
type Proposal struct {
	Table      []byte
	Rows, Kept int      // rows in all, and of those from a runs.csv that was there
	Said       []string // why which cells are proposed, and what cannot be told, each a line
}

// proposedColumns stand in a new table whether a file needs them or not: they say
// what a trace is of, which no trace says itself.
var proposedColumns = []string{"file", "run", "date", "box", "gasket", "fitting", "installed", "closing", "state", "position", "polarization"}

// Propose looks at the trace files in a folder and below and writes a runs.csv for
// them: a row for each, with the cells of the reading profile that would read it.
// Rows of a runs.csv that is there already stay as they are, but for empty cells of
// the profile. What a trace is of stays empty in new rows. Folders below that have
// a runs.csv of their own are left out. A proposal is a guess from what the files
// hold, and no file is written.
//
// The error wraps ErrNoFiles where the folder holds no trace; a runs.csv that
// makes no sense is a *BadInput. told is told now and then, from the calling
// goroutine, how many of the files were looked at; nil: not told.
func Propose(ctx context.Context, dir string, told func(done, total int64)) (*Proposal, error) {
	info, err := os.Stat(dir)
	switch {
	case err != nil:
		return nil, plain(err)
	case !info.IsDir() && isListName(dir):
		dir = filepath.Dir(dir)
	case !info.IsDir():
		return nil, fmt.Errorf("%s is no folder: a proposal is made for the folder that holds the trace files", dir)
	}
	p := proposer{dir: dir, done: told, told: map[trace.Cell]int{}}
	if err := p.walk(ctx, ""); err != nil {
		return nil, err
	}
	if err := p.keep(); err != nil {
		return nil, err
	}
	for _, name := range p.names {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		p.look(name)
		p.looked()
	}
	if len(p.rows) == 0 {
		return nil, fmt.Errorf("%w: the folder %s holds no file that looks like a trace", ErrNoFiles, dir)
	}
	return p.proposal()
}

// A proposer gathers the rows of a proposal.
type proposer struct {
	dir     string
	list    string   // the runs.csv that is there, empty where none is
	names   []string // of the files, within the folder, with / between their parts
	columns []string
	header  []string // the columns as a runs.csv that is there spells them
	rows    []proposedRow
	kept    int
	reasons []proposedCell
	told    map[trace.Cell]int // index in reasons
	said    []string

	done      func(done, total int64) // told how far the work is; nil: not told
	at, total int64                   // files that were looked at, and those there are
}

// A proposedRow is a row by column.
type proposedRow map[string]string

// name is that of the row's file within the folder.
func (row proposedRow) name() string {
	return path.Clean(strings.ReplaceAll(row["file"], `\`, "/"))
}

// A proposedCell is a cell that files need, and where that first shows.
type proposedCell struct {
	cell  trace.Cell
	where string
	why   string
	files int
}

// looked tells that one more file was looked at.
func (p *proposer) looked() {
	if p.at++; p.done != nil {
		p.done(p.at, p.total)
	}
}

func (p *proposer) say(format string, values ...any) {
	p.said = append(p.said, fmt.Sprintf(format, values...))
}

// keep takes the rows of the runs.csv that is there.
func (p *proposer) keep() error {
	p.columns = slices.Clone(proposedColumns)
	p.total = int64(len(p.names))
	if p.list == "" {
		return nil
	}
	text, err := p.read(p.list)
	if err != nil {
		return err
	}
	problems := reading.Problems{Limit: DefaultOptions().ProblemLimit}
	runs, _, err := trace.ParseRuns(bytes.NewReader(text), p.path(p.list), nil, &problems)
	if err != nil {
		return err
	}
	all, omitted := problems.Sorted()
	if runs == nil {
		return &BadInput{all, omitted}
	}
	records, ok := runs.Cells()
	if !ok {
		return &BadInput{all, omitted}
	}
	p.header = records[0]
	p.columns = nil
	for _, name := range p.header {
		p.columns = append(p.columns, strings.ToLower(name))
	}
	listed := map[string]bool{}
	for _, record := range records[1:] {
		row := proposedRow{}
		for i, c := range record {
			row[p.columns[i]] = c
		}
		p.rows = append(p.rows, row)
		listed[row.name()] = true
	}
	p.kept = len(p.rows)
	p.names = slices.DeleteFunc(p.names, func(name string) bool { return listed[name] })
	p.total = int64(p.kept + len(p.names))
	for _, row := range p.rows {
		p.looked()
		name := row.name()
		var text []byte
		if filepath.IsLocal(filepath.FromSlash(name)) {
			text = p.text(name)
		}
		switch {
		case text == nil:
			p.say("%s lists %q, which cannot be read", p.path(p.list), name)
		case !isNetwork(name):
			proposed, reasons := trace.Propose(text)
			p.fill(row, name, text, proposed, reasons)
		}
	}
	return nil
}

// look adds a row for a file that looks like a trace.
func (p *proposer) look(name string) {
	if f := formatOf(name); f.name != formats[0].name && f.name != networkFormat {
		return // readings that say themselves what they are of
	}
	text, err := p.read(name)
	switch {
	case err != nil:
		p.say("%s: left out, it cannot be read (%s)", p.path(name), strings.TrimPrefix(err.Error(), p.path(name)+": "))
		return
	case isNetwork(name):
		if strings.EqualFold(filepath.Ext(withoutGzip(name)), ".ts") && !looksNetwork(text) {
			return
		}
	default:
		if names := columnNames(bytes.NewReader(text), int64(len(text))); namesFrequency(names) && namesState(names) {
			p.say("%s: left out, its columns are those of readings in the long format", p.path(name))
			return
		} else if command := resultOf(names); command != "" {
			p.say("%s: left out, it is a result that %s wrote", p.path(name), command)
			return
		}
		proposed, reasons := trace.Propose(text)
		if what := noTrace(text, reasons); what != "" {
			p.say("%s: left out, %s", p.path(name), what)
			return
		}
		row := proposedRow{"file": name}
		p.fill(row, name, text, proposed, reasons)
		p.rows = append(p.rows, row)
		return
	}
	row := proposedRow{"file": name}
	p.rows = append(p.rows, row)
}

// noTrace tells why a file is not taken for a trace, empty where it is.
func noTrace(text []byte, reasons []trace.Reason) string {
	if len(text) == 0 {
		return "it is empty"
	}
	for _, r := range reasons {
		if r.Cell == "" {
			return r.Why
		}
	}
	return ""
}

// fill sets the cells of the profile that a file needs and its row leaves empty,
// and tries whether it can then be read.
func (p *proposer) fill(row proposedRow, name string, text []byte, proposed trace.Profile, reasons []trace.Reason) {
	for _, c := range proposed.Cells() {
		if row[c.Column] == "" {
			row[c.Column] = c.Value
			p.use(c.Column)
		}
	}
	open := false // a cell that the file does not tell
	for _, r := range reasons {
		if r.Cell == "" || row[r.Cell] != r.Value {
			continue
		}
		open = open || r.Value == ""
		p.use(r.Cell)
		c := trace.Cell{Column: r.Cell, Value: r.Value}
		i, told := p.told[c]
		if !told {
			i = len(p.reasons)
			p.told[c] = i
			p.reasons = append(p.reasons, proposedCell{cell: c, where: fmt.Sprintf("%s:%d:%d", p.path(name), r.Line, r.Column), why: r.Why})
		}
		p.reasons[i].files++
	}
	var profile trace.Profile
	for _, column := range trace.Columns() {
		if fault := profile.Set(column, row[column]); fault != nil {
			p.say("%s: %s %q %s; %s", p.path(name), column, row[column], fault.What, fault.Mend)
			return
		}
	}
	problems := reading.Problems{Limit: 1}
	if _, _, err := trace.Parse(bytes.NewReader(text), p.path(name), profile, &problems); err != nil {
		return
	}
	if first, more := problems.Sorted(); len(first) > 0 && !open {
		with := "as it is"
		if cells := profile.Cells(); len(cells) > 0 {
			with = "with these cells"
		}
		also := ""
		if more > 0 {
			also = fmt.Sprintf(" (and %d more)", more)
		}
		p.say("still a problem %s: %v%s", with, first[0], also)
	}
}

// use makes sure that the table has a column.
func (p *proposer) use(column string) {
	if slices.Contains(p.columns, column) {
		return
	}
	p.columns = append(p.columns, column)
	if p.header != nil {
		p.header = append(p.header, column)
	}
}

// proposal writes the table.
func (p *proposer) proposal() (*Proposal, error) {
	if p.header == nil {
		p.header = p.columns
	}
	// Columns of the profile come in their order, behind those that were there.
	order := map[string]int{}
	for i, c := range trace.Columns() {
		order[c] = i
	}
	index := make([]int, len(p.columns))
	for i := range index {
		index[i] = i
	}
	if p.list == "" {
		slices.SortStableFunc(index, func(a, b int) int {
			x, inX := order[p.columns[a]]
			y, inY := order[p.columns[b]]
			switch {
			case inX && inY:
				return cmp.Compare(x, y)
			case inX:
				return 1
			case inY:
				return -1
			}
			return 0
		})
	}
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	write := func(cell func(i int) string) error {
		record := make([]string, len(index))
		for k, i := range index {
			record[k] = cell(i)
		}
		return w.Write(record)
	}
	err := write(func(i int) string { return p.header[i] })
	for _, row := range p.rows {
		err = errors.Join(err, write(func(i int) string { return row[p.columns[i]] }))
	}
	w.Flush()
	if err = errors.Join(err, w.Error()); err != nil {
		return nil, err
	}
	var said []string
	for _, c := range p.reasons {
		files := "1 file"
		if c.files > 1 {
			files = fmt.Sprintf("%d files", c.files)
		}
		if c.cell.Value == "" {
			said = append(said, fmt.Sprintf("%s: %s; write %s yourself (%s)", c.where, c.why, c.cell.Column, files))
		} else {
			said = append(said, fmt.Sprintf("%s: %s: %v (%s)", c.where, c.why, c.cell, files))
		}
	}
	return &Proposal{Table: b.Bytes(), Rows: len(p.rows), Kept: p.kept, Said: append(said, p.said...)}, nil
}

// ProfileColumns names the columns of a runs.csv that say how a trace is written.
func ProfileColumns() []string { return trace.Columns() }
