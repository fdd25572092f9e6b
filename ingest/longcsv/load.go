package longcsv

import (
	"bytes"
	"cmp"
	"context"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"sync"
	"unicode/utf8"

	"sealbound/ingest/cell"
	"sealbound/ingest/reading"
	"sealbound/ingest/record"
)

// kindOf reads the column state.
func kindOf(b []byte) (reading.Kind, bool) {
	switch string(b) {
	case "open", "reference":
		return reading.Open, true
	case "closed", "sealed":
		return reading.Closed, true
	case "floor":
		return reading.Noise, true
	}
	if len(b) > len("reference") {
		return 0, false
	}
	if lower := bytes.ToLower(b); !bytes.Equal(lower, b) {
		return kindOf(lower)
	}
	return 0, false
}

// A loader turns records into readings.
type loader struct {
	*table
	r      *record.Reader
	b      *reading.Batch
	n      int     // readings in b
	codes  []int32 // of the labels in the row before, by column
	cells  int     // of the row at hand
	same   int     // its first cells that are those of the row before, which was good
	bad    bool    // it has a problem
	needed int     // the last cell that says whether labels are needed and filled

	// what the row before had, for cells that are the same
	kind            reading.Kind
	known           bool
	limit           bool // its figure is declared to be a limit
	date, installed cell.Day

	want  *want // what run and date are to be confirmed, nil where none are
	stray bool  // a row had another

	// for rows that are read straight from the text
	groups []group      // by step
	shapes []cell.Shape // by step
	olds   []cell.Shape // by step: those before these
	begun  int          // the first reading that settle has not seen
	quotes bool         // there may be some, around whole cells
	unit   reading.Unit
}

// A want is a run and a date that all rows of a stretch are expected to have.
type want struct {
	run string
	day cell.Day
}

// odd reports whether a cell may be more than one line of text.
func odd(b []byte) bool {
	for _, c := range b {
		if c == '"' || c == 0 || c >= utf8.RuneSelf && !utf8.Valid(b) {
			return true
		}
	}
	return false
}

// confirmRun takes the cell run of a row.
func (l *loader) confirmRun(b []byte) {
	if l.want != nil && string(b) != l.want.run && string(cell.Unguarded(b)) != l.want.run {
		l.stray = true
	}
}

// confirmDay takes the date of a row.
func (l *loader) confirmDay() {
	if l.want != nil && l.date != l.want.day {
		l.stray = true
	}
}

// A desk keeps the buffers of a loader between stretches.
type desk struct {
	reader record.Reader
	loader loader
}

var desks = sync.Pool{New: func() any { return new(desk) }}

// Load appends the readings of a stretch to b.
func (t *table) Load(ctx context.Context, src io.ReaderAt, s reading.Stretch, b *reading.Batch) error {
	_, _, err := t.load(ctx, src, s, b, false)
	return err
}

// load is Load; it returns how many lines it has read. If it is to confirm that all
// rows have the run and date of the stretch and none is quoted, it ends where one is not.
func (t *table) load(ctx context.Context, src io.ReaderAt, s reading.Stretch, b *reading.Batch, confirm bool) (lines int, confirmed bool, err error) {
	d := desks.Get().(*desk)
	defer desks.Put(d)
	r, l := &d.reader, &d.loader
	r.Reset(src, s.From, s.To, s.Line, t.plain)
	if t.tame || confirm { // what is to be confirmed is looked at cell by cell
		r.Vouch()
	}
	*l = loader{table: t, r: r, b: b, n: b.Len(), bad: true, date: cell.NoDay, installed: cell.NoDay, groups: l.groups, shapes: l.shapes, olds: l.olds, codes: l.codes, quotes: !t.bare && !confirm}
	if confirm {
		l.want = &want{run: string(cell.Unguarded(s.Run)), day: s.Date}
	}
	if l.n > 0 {
		b.Breaks()
	}
	for _, c := range t.columns {
		b.Use(c)
	}
	l.codes = slices.Grow(l.codes[:0], len(t.columns))[:len(t.columns)]
	clear(l.codes)
	if n := len(t.steps); cap(l.groups) < n {
		l.groups, l.shapes, l.olds = make([]group, n), make([]cell.Shape, n), make([]cell.Shape, n)
	}
	l.groups, l.shapes, l.olds = l.groups[:len(t.steps)], l.shapes[:len(t.steps)], l.olds[:len(t.steps)]
	clear(l.shapes)
	clear(l.olds)
	l.needed = max(t.header.at[reading.State], t.header.at[reading.Box], t.header.at[reading.Gasket], t.header.at[reading.Closing])
	defer func() {
		b.Cut(l.n)
		l.table, l.r, l.b, l.want = nil, nil, nil, nil
	}()
	for n := 1; ; n++ {
		if err := b.Full(l.n); err != nil && !l.stray { // a stray row may be among them
			return 0, false, err
		}
		if !t.careful && t.header.cells <= mostCells {
			if text := r.Lines(); text != nil {
				if ctx.Err() != nil || l.stray {
					break
				}
				taken, lines := l.lines(text, r.After(), r.NextLine())
				if r.Take(taken, lines); taken == len(text) {
					continue
				}
			}
		}
		if l.stray || !r.Next() || n%1024 == 0 && ctx.Err() != nil {
			break
		}
		if !r.Blank() {
			l.row()
		}
		l.stray = l.stray || confirm && (r.Quoted() || r.Fault() != nil)
	}
	return r.NextLine() - s.Line, !l.stray, cmp.Or(ctx.Err(), r.Err())
}

// problem notes what is wrong with the cell of column c in the row at hand, or
// with the row where c is Columns.
func (l *loader) problem(c reading.Column, what, mend string) {
	l.bad = true
	p := reading.Problem{File: l.path, Line: l.r.Line(), What: what, Mend: mend}
	if c == reading.Columns {
		p.Column = 1
	} else if at := l.header.at[c]; at >= 0 && at < l.cells {
		p.Line, p.Column = l.r.Place(at)
		p.Field, p.Text = l.header.name[c], string(l.r.Cell(at))
	}
	l.b.Problems.Add(p)
}

// fresh returns the cell of column c where it is not that of the row before.
func (l *loader) fresh(c reading.Column) ([]byte, bool) {
	at := l.header.at[c]
	if at < l.same {
		return nil, false // the same, or no such column
	}
	return l.r.Cell(at), true
}

func (l *loader) row() {
	h, b := l.header, l.b
	if f := l.r.Fault(); f != nil {
		p := faulty(f)
		p.File = l.path
		b.Problems.Add(p)
		b.Skip(l.file, 0, false, math.NaN())
		l.bad = true
		return
	}
	l.cells, l.same = l.r.Split(math.MaxInt), l.r.Same()
	if l.bad { // what could not be read is told again
		l.same = 0
	}
	l.bad = false
	if l.cells != h.cells {
		l.ragged()
		b.Skip(l.file, 0, false, math.NaN())
		l.bad = true
		return
	}
	freqCell := l.r.Cell(h.at[reading.Freq])
	if len(freqCell) > 0 && freqCell[0]|0x20 == 'f' && l.repeatedHeader() {
		l.problem(reading.Columns, "the header stands here again", "remove the line, or keep each run in a file of its own")
		b.Skip(l.file, reading.Closed, true, math.NaN())
		return
	}
	if h.at[reading.State] >= l.same || l.same == 0 {
		l.kind, l.known = l.state()
	}
	kind := l.kind
	freq := l.number(reading.Freq, h.scale, true)
	if freq <= 0 {
		l.problem(reading.Freq, "is not a frequency", "frequencies lie above 0 Hz")
	}
	l.declared()
	var level float64
	var limited bool
	unit := h.level
	if h.has(reading.Atten) {
		level, limited = l.attenuation()
		unit = reading.Attenuated
	} else {
		level, limited = l.level()
	}
	tx, gain, floor := math.NaN(), math.NaN(), math.NaN()
	if h.at[reading.Tx] >= 0 {
		if tx = l.number(reading.Tx, 0, false); unit.Relative() && tx == tx {
			l.problem(reading.Tx, "is a generator level beside a level that is relative to the generator", "leave tx_dbm empty, or give the level in dBm")
		}
	}
	if h.at[reading.Gain] >= 0 {
		gain = l.number(reading.Gain, 0, false)
	}
	if h.at[reading.Floor] >= 0 {
		floor = l.number(reading.Floor, 0, false) + h.floor.Offset()
	}
	l.dates()
	l.confirmDay()
	if at := h.at[reading.Run]; at >= 0 {
		l.confirmRun(l.r.Cell(at))
	}
	for k, at := range l.texts {
		if at >= l.same {
			if c := l.r.Cell(at); string(c) != b.Labels.Text(l.codes[k]) {
				l.codes[k] = b.Labels.Code(c)
			}
		}
	}
	if (l.same == 0 || l.same <= l.needed) && l.known && (kind == reading.Closed || kind == reading.Direct) {
		l.require(reading.Box)
		l.require(reading.Gasket)
		l.require(reading.Closing)
	}
	if !l.known || l.bad {
		b.Skip(l.file, kind, l.known, freq)
		l.bad = true
		return
	}
	i := l.n
	if l.n++; i == len(b.Line) {
		b.Extend(max(64, i), l.columns)
	}
	b.Break(i)
	for k, c := range l.columns {
		b.Text[c][i] = l.codes[k]
	}
	b.File[i], b.Line[i], b.At[i] = l.file, int32(l.r.Line()), l.r.At()
	b.Kind[i], b.Unit[i], b.Limited[i] = kind, unit, limited
	b.Date[i], b.Installed[i] = l.date, l.installed
	b.FreqHz[i], b.Level[i], b.Floor[i], b.Tx[i], b.Gain[i] = freq, level, floor, tx, gain
}

// ragged tells a header that is repeated from a row with too many or too few
// cells.
func (l *loader) ragged() {
	n, h := l.cells, l.header
	what, mend := fmt.Sprintf("the row has %d cells, the header %d", n, h.cells), "add the missing cells, empty ones included"
	p := reading.Problem{File: l.path, Line: l.r.Line(), Column: 1}
	if n > h.cells {
		p.Line, p.Column = l.r.Place(h.cells)
		p.Text = string(l.r.Cell(h.cells))
		mend = "remove the surplus cells, or put quotes around a cell that holds a comma"
	}
	p.What, p.Mend = what, mend
	l.b.Problems.Add(p)
}

// state reads the state of the row. Where the file has attenuations, rows without
// a state are closed.
func (l *loader) state() (reading.Kind, bool) {
	h := l.header
	at := h.at[reading.State]
	if at < 0 {
		return reading.Direct, true
	}
	text := l.r.Cell(at)
	k, ok := kindOf(text)
	switch {
	case h.has(reading.Atten) && (ok && k == reading.Closed || len(text) == 0):
		return reading.Direct, true
	case h.has(reading.Atten) && ok:
		l.problem(reading.State, "does not go with an attenuation", "an attenuation is of a closed box; put levels into a file of their own")
		return 0, false
	case ok:
		return k, true
	case len(text) == 0:
		l.problem(reading.State, "is empty", "write open, closed or floor")
	default:
		l.problem(reading.State, "is not a state", "write open, closed or floor")
	}
	return 0, false
}

func (l *loader) repeatedHeader() bool {
	for c := reading.Column(0); c < reading.Columns; c++ {
		if at := l.header.at[c]; at >= 0 && !strings.EqualFold(string(l.r.Cell(at)), l.header.name[c]) {
			return false
		}
	}
	return true
}

// number reads a numeric column that the file has; NaN where it is empty and need
// not be filled.
func (l *loader) number(c reading.Column, scale int, needed bool) float64 {
	text := l.r.Cell(l.header.at[c])
	if len(text) == 0 && !needed {
		return math.NaN()
	}
	return l.figureOf(c, text, scale)
}

// figureOf reads the number that text, the cell of column c or a part of it, holds.
func (l *loader) figureOf(c reading.Column, text []byte, scale int) float64 {
	v, fault := cell.Number(text, scale)
	if fault != nil {
		l.problem(c, fault.What, fault.Mend)
		return math.NaN()
	}
	if c != reading.Freq && math.Abs(v) > reading.MostDB {
		l.problem(c, "is not a level that a receiver could show", fmt.Sprintf("levels lie within %d dB of zero", reading.MostDB))
		return math.NaN()
	}
	return v
}

// dates reads date and installed.
func (l *loader) dates() {
	read := func(c reading.Column, d *cell.Day) bool {
		text, fresh := l.fresh(c)
		if !fresh {
			return false
		}
		*d = cell.NoDay
		if len(text) > 0 {
			day, fault := cell.ParseDay(text)
			if fault != nil {
				l.problem(c, fault.What, fault.Mend)
			}
			*d = day
		}
		return true
	}
	date, installed := read(reading.Date, &l.date), read(reading.Installed, &l.installed)
	if (date || installed) && l.date != cell.NoDay && l.installed > l.date {
		l.problem(reading.Installed, "lies after the date of the reading", "correct one of the two dates")
	}
}

// require makes sure that a label of a closed row is filled. A column that the
// file lacks altogether is one problem of the header.
func (l *loader) require(c reading.Column) {
	switch at := l.header.at[c]; {
	case at < 0:
		l.bad = true
		l.lacking.Or(1 << c)
	case len(l.r.Cell(at)) == 0:
		l.problem(c, "is empty, and a closed reading needs it", "write the "+c.Name()+"'s label")
	}
}
