package reading

import (
	"context"
	"encoding/binary"
	"errors"
	"io"
	"slices"

	"sealbound/ingest/cell"
)

// Labels numbers the texts of one run. Code 0 is the empty text.
type Labels struct {
	texts  []string
	codes  map[string]int32
	size   int                    // bytes of the texts
	recent [1 << recentBits]int32 // one more than the code of a text with this mark, 0 for none
}

const recentBits = 8

// mark is what a text is looked for under: texts that differ mostly differ in it.
func mark(b []byte) uint32 {
	h := uint32(len(b))
	if n := len(b); n >= 4 {
		h += binary.LittleEndian.Uint32(b)*0x9e3779b1 ^ binary.LittleEndian.Uint32(b[n-4:])*0x85ebca77
	} else {
		for _, c := range b {
			h = h<<8 + uint32(c)
		}
		h *= 0x9e3779b1
	}
	return h >> (32 - recentBits)
}

// Reset forgets all texts but the empty one.
func (l *Labels) Reset() {
	if l.codes == nil {
		l.codes = make(map[string]int32)
	}
	clear(l.codes)
	clear(l.recent[:])
	l.texts, l.size = append(l.texts[:0], ""), 0
	l.codes[""] = 0
}

// Code numbers b, a text not seen yet included. What guards a text from
// spreadsheets is taken off.
func (l *Labels) Code(b []byte) int32 {
	at := &l.recent[mark(b)]
	if c := *at - 1; c >= 0 && l.texts[c] == string(b) {
		return c
	}
	c := l.code(b)
	*at = c + 1
	return c
}

func (l *Labels) code(b []byte) int32 {
	if c, ok := l.codes[string(b)]; ok {
		return c
	}
	if bare := cell.Unguarded(b); len(bare) < len(b) {
		c := l.code(bare)
		l.codes[string(b)] = c
		return c
	}
	c := int32(len(l.texts))
	s := string(b)
	l.size += len(s)
	l.texts = append(l.texts, s)
	l.codes[s] = c
	return c
}

// Text is what code stands for.
func (l *Labels) Text(code int32) string { return l.texts[code] }

// Texts lists what the codes stand for. It is read-only.
func (l *Labels) Texts() []string { return l.texts }

// A Batch is the readings of one run, by column. All columns in use are equally
// long. Numbers that are not given are NaN; the NaN stays inside ingest.
type Batch struct {
	Labels
	File    []int32 // index of the file in the caller's list
	Line    []int32
	At      []int64 // offset of the row in its file, to find its cells again; negative for a further reading of a row, which counts once
	Kind    []Kind
	Unit    []Unit
	Limited []bool // of Direct at least the figure, of a level at most that

	Text            [Columns][]int32 // codes, for columns of labels; nil where no file has the column
	spare           [Columns][]int32
	Date, Installed []cell.Day
	FreqHz          []float64
	Level           []float64 // as written, in Unit; the attenuation in dB of a Direct reading
	Floor           []float64 // in dBm, or dB where Unit is Decibel; of a Direct reading its headroom in dB
	Tx, Gain        []float64
	FreqToleranceHz float64 // frequencies this near are one: the most that a file declares; mostly 0

	Problems Problems // of rows
	Skipped  []Skip   // rows not taken, by file
	// Of those, rows that were or may have been open readings: the frequencies of
	// those that show one, and how many do not.
	BadOpenHz []float64
	BadOpen   int

	Most     int // readings that are held; a reader of more may end with ErrManyRows. 0: any
	MostText int // bytes of labels that are held; a reader of more may end with ErrLongLabels. 0: any

	breaks []int32 // see Breaks
	marked int     // how many readings breaks tells of
}

// Full is the error of a reader that has read more than the batch is to hold, nil where
// it has not.
func (b *Batch) Full(readings int) error {
	switch {
	case b.Most > 0 && readings > b.Most:
		return ErrManyRows
	case b.MostText > 0 && b.Labels.size > b.MostText:
		return ErrLongLabels
	}
	return nil
}

// ErrLongLabels ends the reading of a run whose labels take up more than a batch is to
// hold.
var ErrLongLabels = errors.New("longer labels than are held at a time")

// ErrManyRows ends the reading of a run that has more readings than a batch is to hold.
var ErrManyRows = errors.New("more readings than are held at a time")

// A Skip counts the rows of one file that were not taken.
type Skip struct {
	File int32
	Rows int
}

// Reset empties the batch, keeping its memory.
func (b *Batch) Reset() {
	b.Labels.Reset()
	b.File, b.Line, b.At = b.File[:0], b.Line[:0], b.At[:0]
	b.Kind, b.Unit, b.Limited = b.Kind[:0], b.Unit[:0], b.Limited[:0]
	for c := range b.Text {
		if b.Text[c] != nil {
			b.spare[c], b.Text[c] = b.Text[c][:0], nil
		}
	}
	b.Date, b.Installed = b.Date[:0], b.Installed[:0]
	b.FreqHz, b.Level, b.Floor, b.Tx, b.Gain = b.FreqHz[:0], b.Level[:0], b.Floor[:0], b.Tx[:0], b.Gain[:0]
	b.Problems = Problems{Limit: b.Problems.Limit}
	b.Skipped, b.BadOpen, b.FreqToleranceHz = b.Skipped[:0], 0, 0
	b.BadOpenHz = b.BadOpenHz[:0]
	b.breaks, b.marked = b.breaks[:0], 0
}

// Len is the number of readings.
func (b *Batch) Len() int { return len(b.Line) }

// Skip counts a row that was not taken. freqHz is not above 0, or NaN, where the row
// shows no frequency.
func (b *Batch) Skip(file int32, kind Kind, known bool, freqHz float64) {
	if n := len(b.Skipped); n > 0 && b.Skipped[n-1].File == file {
		b.Skipped[n-1].Rows++
	} else {
		b.Skipped = append(b.Skipped, Skip{file, 1})
	}
	switch {
	case known && kind != Open:
	case freqHz > 0:
		b.BadOpenHz = append(b.BadOpenHz, freqHz)
	default:
		b.BadOpen++
	}
}

// Use makes sure that column c has a code for every reading so far.
func (b *Batch) Use(c Column) {
	if b.Text[c] == nil {
		if b.Text[c] = b.spare[c]; b.Text[c] == nil {
			b.Text[c] = make([]int32, 0, 64)
		}
	}
	for short := b.Len() - len(b.Text[c]); short > 0; short-- {
		b.Text[c] = append(b.Text[c], 0)
	}
}

// Extend makes room for more readings behind the n that are there, in the columns
// of labels given and in all others. Until Cut the room may hold anything.
//
// Filling room by index, instead of appending, spares a pointer written for each
// value.
func (b *Batch) Extend(more int, labels []Column) {
	b.File, b.Line, b.At = extend(b.File, more), extend(b.Line, more), extend(b.At, more)
	b.Kind, b.Unit, b.Limited = extend(b.Kind, more), extend(b.Unit, more), extend(b.Limited, more)
	b.Date, b.Installed = extend(b.Date, more), extend(b.Installed, more)
	b.FreqHz, b.Level, b.Floor = extend(b.FreqHz, more), extend(b.Level, more), extend(b.Floor, more)
	b.Tx, b.Gain = extend(b.Tx, more), extend(b.Gain, more)
	for _, c := range labels {
		b.Text[c] = extend(b.Text[c], more)
	}
}

// Cut leaves the first n readings, and fills the columns of labels that Extend
// was not given.
func (b *Batch) Cut(n int) {
	b.File, b.Line, b.At = b.File[:n], b.Line[:n], b.At[:n]
	b.Kind, b.Unit, b.Limited = b.Kind[:n], b.Unit[:n], b.Limited[:n]
	b.Date, b.Installed = b.Date[:n], b.Installed[:n]
	b.FreqHz, b.Level, b.Floor = b.FreqHz[:n], b.Level[:n], b.Floor[:n]
	b.Tx, b.Gain = b.Tx[:n], b.Gain[:n]
	for c, codes := range b.Text {
		if len(codes) > n {
			b.Text[c] = codes[:n]
		}
	}
	b.Pad()
}

func extend[T any](s []T, more int) []T { return slices.Grow(s, more)[:len(s)+more] }

// Borrow appends reading i of another batch.
func (b *Batch) Borrow(from *Batch, i int) {
	for c := range from.Text {
		if from.Text[c] == nil {
			continue
		}
		b.Use(Column(c))
		b.Text[c] = append(b.Text[c], b.Labels.Code([]byte(from.Labels.Text(from.Text[c][i]))))
	}
	b.File, b.Line, b.At = append(b.File, from.File[i]), append(b.Line, from.Line[i]), append(b.At, from.At[i])
	b.Kind, b.Unit, b.Limited = append(b.Kind, from.Kind[i]), append(b.Unit, from.Unit[i]), append(b.Limited, from.Limited[i])
	b.Date, b.Installed = append(b.Date, from.Date[i]), append(b.Installed, from.Installed[i])
	b.FreqHz, b.Level, b.Floor = append(b.FreqHz, from.FreqHz[i]), append(b.Level, from.Level[i]), append(b.Floor, from.Floor[i])
	b.Tx, b.Gain = append(b.Tx, from.Tx[i]), append(b.Gain, from.Gain[i])
}

// Pad fills the columns that the last rows did not have.
func (b *Batch) Pad() {
	for c := range b.Text {
		if b.Text[c] != nil {
			b.Use(Column(c))
		}
	}
}

// Code is the label code of reading i in column c, 0 where there is none.
func (b *Batch) Code(c Column, i int) int32 {
	if b.Text[c] == nil {
		return 0
	}
	return b.Text[c][i]
}

// A Stretch is rows of one run that stand together in a file.
type Stretch struct {
	Run      []byte   // the cell run, empty where not given; dead after the call that receives it
	Date     cell.Day // NoDay where not given
	Open     bool     // an open reading was seen among the rows; may be left out where an earlier stretch of the same Key has it
	From, To int64    // offsets in the file
	Line     int      // of the first row
	GoesOn   bool     // the rows before it are of the same run and date, and in a Block
	Key      int      // stretches that one call of Index gives the same Key above 0 share Run and Date
}

// A Count accounts for the rows of a file.
type Count struct{ Rows, Blank, Refused int }

// A Place is where a cell stands: its column's name as the file spells it, and
// its text. File is empty where it is that of the row. Column is 0, Field and Text are empty where the file lacks the column.
type Place struct {
	File         string
	Line, Column int
	Field, Text  string
}

// A Table is one opened file of readings. Its methods may be called from several
// goroutines after Index has returned.
type Table interface {
	// Index calls add for each stretch of rows, in order.
	Index(ctx context.Context, src io.ReaderAt, add func(Stretch)) (Count, error)
	// Load appends the readings of a stretch to b; rows with a problem are
	// skipped there and their problems added.
	Load(ctx context.Context, src io.ReaderAt, s Stretch, b *Batch) error
	// Place finds the cell of column c in the row at the given offset again.
	Place(src io.ReaderAt, at int64, line int, c Column) Place
	// HeaderLine is the line of the column names, 0 where the format has none.
	HeaderLine() int
	// Problems are those of the file as a whole that loading has shown.
	Problems() []Problem
	// Unused names the columns that were ignored.
	Unused() []string
}

// A LineTable is a Table whose rows may be one line each whatever stands around
// them, so that lines from all over the file may be loaded as one stretch.
type LineTable interface {
	Table
	// ByLine reports whether they are; it may be called when Index has returned.
	ByLine() bool
}

// A SortingTable is a LineTable that can sort rows by run while it looks for them.
type SortingTable interface {
	LineTable
	// IndexSorted is Index, but where runs take turns it offers rows to take, a part
	// of the file at a time, instead of calling add for each of its stretches. If take
	// returns false it does that after all, and offers none any more.
	IndexSorted(ctx context.Context, src io.ReaderAt, add func(Stretch), take func(*Block) bool) (Count, error)
}

// Fill sets all of s to one value.
func Fill[T any](s []T, v T) {
	for i := range s {
		s[i] = v
	}
}
