package ingest

import (
	"context"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"sealbound/ingest/reading"
	"sealbound/ingest/touchstone"
	"sealbound/ingest/trace"
)

// A sweepFile is what a file that runs.csv lists holds, whatever its format.
type sweepFile struct {
	rows    []sweepRow
	unit    reading.Unit
	count   reading.Count // Rows - Blank - Refused are the rows and those left out
	leftOut int           // rows that the profile says are no levels
	lostHz  []float64     // frequencies of rows refused or left out, as far as they are known
	sweeps  int
	unused  []string // columns
	notes   []sweepNote
}

// A sweepRow is one level.
type sweepRow struct {
	freqHz, level float64
	limited       bool // the level is at most this
	sweep, line   int32
}

// A sweepNote is something that was tolerated or left out, and how often.
type sweepNote struct {
	kind  noteKind
	count int
}

// A sweepReader reads the text of a listed file. Problems name the file.
type sweepReader func(src io.Reader, path string, run *trace.Run, problems *reading.Problems) (*sweepFile, reading.Count, error)

// A listedTable is the file of one row of a runs.csv. Its rows all share the
// labels of that row.
type listedTable struct {
	list   *listing
	run    *trace.Run
	path   string
	file   int32
	size   int64
	read   sweepReader
	kind   reading.Kind
	unused []string
	notes  []sweepNote
	count  reading.Count
	place  func(data []byte, line int, c reading.Column) reading.Place
}

// openListed reads a listed file through once, for its problems. A file that
// cannot be read as a whole gives no table, but the count of its rows.
func openListed(path string, file int32, src io.ReaderAt, size int64, list *listing, run *trace.Run, limit int) (*listedTable, *reading.Problems, reading.Count, error) {
	t := &listedTable{list: list, run: run, path: path, file: file, size: size, read: readTrace, kind: kinds[run.State]}
	t.place = func(data []byte, line int, c reading.Column) reading.Place {
		return trace.Place(data, *run.Profile, line, c)
	}
	if isNetwork(path) {
		t.read, t.place = readNetwork, touchstone.Place
	}
	problems := &reading.Problems{Limit: limit}
	content, count, err := t.read(io.NewSectionReader(src, 0, size), path, run, problems)
	if err != nil || content == nil {
		return nil, problems, count, err
	}
	t.agree(content, problems)
	if !t.goesWith(content, problems) {
		return nil, problems, count, nil
	}
	t.unused, t.notes, t.count = content.unused, content.notes, content.count
	return t, problems, content.count, nil
}

var kinds = map[string]reading.Kind{"open": reading.Open, "closed": reading.Closed, "floor": reading.Noise}

// goesWith tells whether the figures of the row can be compared with the levels.
func (t *listedTable) goesWith(content *sweepFile, problems *reading.Problems) bool {
	bad := func(c reading.Column, what, mend string) bool {
		at := t.list.runs.Place(t.run.Line, c)
		problems.Add(reading.Problem{File: t.list.path, Line: at.Line, Column: at.Column, Field: at.Field, Text: at.Text, What: what, Mend: mend})
		return false
	}
	for _, f := range t.run.Figures {
		switch {
		case f.Column == reading.Tx && content.unit.Relative():
			return bad(f.Column, "is a generator level beside levels that are relative to the generator, in "+t.run.File, "leave tx_dbm empty in this row")
		case f.Column == reading.Floor && (f.Unit == reading.Decibel) != content.unit.Relative():
			return bad(f.Column, fmt.Sprintf("is in %v, and the levels of %s are in %v", f.Unit, t.run.File, content.unit), "give floor and level in the same unit")
		}
	}
	return true
}

// agree drops the rows whose levels cannot be what the state says.
func (t *listedTable) agree(content *sweepFile, problems *reading.Problems) {
	floor, known := t.figure(reading.Floor)
	kept := content.rows[:0]
	for _, r := range content.rows {
		what, mend := "", ""
		switch {
		case math.IsInf(r.level, -1) && t.kind == reading.Closed && known:
			r.level, r.limited = floor, true
		case math.IsInf(r.level, -1) && t.kind == reading.Closed:
			what, mend = "the magnitude is 0, which is no level: less came through than the file can say", "give the floor in the column floor_db of "+trace.RunsName+", and the attenuation is at least what the floor shows; or save the file in the format DB or with more digits"
		case math.IsInf(r.level, -1):
			what, mend = "the magnitude is 0, which is no level", "save the file in the format DB or with more digits"
		case r.limited && t.kind == reading.Open:
			what, mend = "an open reading is known as an upper bound only, and nothing can be compared with it", "read the reference with more power, or remove the row"
		}
		if what == "" {
			kept = append(kept, r)
			continue
		}
		content.count.Refused++
		if r.freqHz > 0 {
			content.lostHz = append(content.lostHz, r.freqHz)
		}
		problems.Add(reading.Problem{File: t.path, Line: int(r.line), Column: 1, What: what, Mend: mend})
	}
	content.rows = kept
}

func (t *listedTable) figure(c reading.Column) (float64, bool) {
	for _, f := range t.run.Figures {
		if f.Column == c {
			return f.DB, true
		}
	}
	return math.NaN(), false
}

// readTrace reads a trace under the profile of its row.
func readTrace(src io.Reader, path string, run *trace.Run, problems *reading.Problems) (*sweepFile, reading.Count, error) {
	f, count, err := trace.Parse(src, path, *run.Profile, problems)
	if f == nil || err != nil {
		return nil, count, err
	}
	content := &sweepFile{unit: reading.DBm, count: count, leftOut: f.Excluded + f.Missing, lostHz: f.LeftOutHz, sweeps: f.Sweeps, unused: f.Ignored,
		rows: make([]sweepRow, len(f.Rows))}
	if f.Relative {
		content.unit = reading.Decibel
	}
	for i, r := range f.Rows {
		content.rows[i] = sweepRow{r.FreqHz, r.LevelDBm, r.Limited, r.Sweep, r.Line}
	}
	note := func(kind noteKind, count int) {
		if count > 0 {
			content.notes = append(content.notes, sweepNote{kind, count})
		}
	}
	note(noteExcluded, f.Excluded)
	note(noteMissing, f.Missing)
	note(noteBelow, f.Limited)
	if f.Trailing {
		note(noteTrailing, 1)
	}
	if f.Unsorted {
		note(noteUnsorted, 1)
	}
	if f.Sweeps > 1 {
		note(noteSweeps, f.Sweeps)
	}
	return content, count, nil
}

// readNetwork reads a network file, of which the level is |S21| or, of one port,
// |S11|. A data set counts as one row, however many lines it takes.
func readNetwork(src io.Reader, path string, run *trace.Run, problems *reading.Problems) (*sweepFile, reading.Count, error) {
	var found reading.Problems
	found.Limit = math.MaxInt32
	f, count, err := touchstone.Parse(src, withoutGzip(path), &found)
	all, _ := found.Sorted()
	for _, p := range all {
		p.File = path
		problems.Add(p)
	}
	if f == nil || err != nil {
		return nil, count, err
	}
	if cells := run.Profile.Cells(); len(cells) > 0 {
		problems.Add(reading.Problem{File: path, What: "a network file says itself how it is written, and its row in " + trace.RunsName + " declares " + cells[0].String(), Mend: "leave the cells of the reading profile empty in this row"})
		return nil, count, nil
	}
	content := &sweepFile{unit: reading.Decibel, sweeps: 1, rows: make([]sweepRow, 0, len(f.Rows)), count: rowsOf(f, count)}
	for _, r := range f.Rows {
		if r.FreqHz == 0 { // as the standard permits, and nothing is sent there
			content.leftOut++
			content.notes = append(content.notes, sweepNote{noteDirect, 1})
			continue
		}
		level := r.DB
		if r.Zero {
			level = math.Inf(-1)
		}
		content.rows = append(content.rows, sweepRow{r.FreqHz, level, false, 1, int32(r.Line)})
	}
	if f.NoiseRows > 0 {
		content.notes = append(content.notes, sweepNote{noteNoise, f.NoiseRows})
	}
	return content, content.count, nil
}

// withoutGzip is the path as it would be unpacked.
func withoutGzip(path string) string {
	if strings.HasSuffix(strings.ToLower(path), ".gz") {
		return path[:len(path)-len(".gz")]
	}
	return path
}

// isNetwork tells by its ending whether a file is a network file, of however many
// ports.
func isNetwork(path string) bool {
	e := ending(path)
	digits := strings.TrimSuffix(strings.TrimPrefix(e, ".s"), "p")
	_, err := strconv.Atoi(digits)
	return e == ".ts" || err == nil && e == ".s"+digits+"p"
}

// Index gives the whole file as one stretch.
func (t *listedTable) Index(_ context.Context, _ io.ReaderAt, add func(reading.Stretch)) (reading.Count, error) {
	if t.count.Rows > t.count.Blank {
		add(reading.Stretch{Run: []byte(t.run.Run), Date: t.run.Date, Open: t.kind == reading.Open, To: t.size, Line: 1})
	}
	return t.count, nil
}

// Load appends the levels of the file to b. What is wrong with them is told
// already.
func (t *listedTable) Load(ctx context.Context, src io.ReaderAt, s reading.Stretch, b *reading.Batch) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	var told reading.Problems
	content, _, err := t.read(io.NewSectionReader(src, s.From, s.To-s.From), t.path, t.run, &told)
	if err != nil {
		return err
	}
	if content == nil {
		return fmt.Errorf("the file was changed while it was read")
	}
	t.agree(content, &told)
	for i := range content.count.Refused + content.leftOut {
		hz := math.NaN()
		if i < len(content.lostHz) {
			hz = content.lostHz[i]
		}
		b.Skip(t.file, t.kind, true, hz)
	}
	b.FreqToleranceHz = max(b.FreqToleranceHz, t.run.Profile.FreqToleranceHz)
	labels := t.labels()
	var columns []reading.Column
	codes := make([]int32, len(labels))
	sweep := -1 // index of the label that counts the sweeps of the file
	for i, l := range labels {
		b.Use(l.Column)
		columns, codes[i] = append(columns, l.Column), b.Labels.Code([]byte(l.Text))
		if l.Column == reading.Sweep {
			sweep = i
		}
	}
	if content.sweeps > 1 && sweep < 0 {
		b.Use(reading.Sweep)
		sweep = len(labels)
		columns, codes, labels = append(columns, reading.Sweep), append(codes, 0), append(labels, trace.Label{Column: reading.Sweep})
	}
	floor, _ := t.figure(reading.Floor)
	tx, _ := t.figure(reading.Tx)
	gain, _ := t.figure(reading.Gain)
	n, last := b.Len(), int32(0)
	b.Extend(len(content.rows), columns)
	for i, r := range content.rows {
		k := n + i
		if content.sweeps > 1 && r.sweep != last {
			last = r.sweep
			text := strconv.Itoa(int(r.sweep))
			if given := labels[sweep].Text; given != "" {
				text = given + "." + text
			}
			codes[sweep] = b.Labels.Code([]byte(text))
		}
		for j, c := range columns {
			b.Text[c][k] = codes[j]
		}
		b.File[k], b.Line[k], b.At[k] = t.file, r.line, 0
		b.Kind[k], b.Unit[k], b.Limited[k] = t.kind, content.unit, r.limited
		b.Date[k], b.Installed[k] = t.run.Date, t.run.Installed
		b.FreqHz[k], b.Level[k], b.Floor[k], b.Tx[k], b.Gain[k] = r.freqHz, r.level, floor, tx, gain
	}
	b.Cut(n + len(content.rows))
	return nil
}

// labels are the columns of labels that the row fills.
func (t *listedTable) labels() []trace.Label {
	r := t.run
	var labels []trace.Label
	for _, l := range []trace.Label{{Column: reading.Box, Text: r.Box}, {Column: reading.Gasket, Text: r.Gasket}, {Column: reading.Fitting, Text: r.Fitting},
		{Column: reading.Closing, Text: r.Closing}, {Column: reading.Position, Text: r.Position}, {Column: reading.Polarization, Text: r.Polarization}} {
		if l.Text != "" {
			labels = append(labels, l)
		}
	}
	return append(labels, r.More...)
}

// Place finds a cell again: levels and frequencies stand in the file, all else in
// runs.csv.
func (t *listedTable) Place(src io.ReaderAt, _ int64, line int, c reading.Column) reading.Place {
	if c != reading.Freq && c != reading.Level {
		p := t.list.runs.Place(t.run.Line, c)
		p.File = t.list.path
		return p
	}
	data := make([]byte, t.size)
	if n, err := src.ReadAt(data, 0); n < len(data) && err != nil {
		return reading.Place{Line: line}
	}
	return t.place(data, line, c)
}

// HeaderLine is 0: what names the columns is settled when the file is opened.
func (t *listedTable) HeaderLine() int { return 0 }

// Problems are none: all are told when the file is opened.
func (t *listedTable) Problems() []reading.Problem { return nil }

// Unused names the columns that were ignored.
func (t *listedTable) Unused() []string { return t.unused }
