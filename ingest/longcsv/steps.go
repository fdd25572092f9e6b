package longcsv

import (
	"math"
	"sync/atomic"

	"sealbound/ingest/reading"
)

// A role is what a cell between numbers is to a loader.
type role uint8

const (
	unread role = iota
	labelled
	runCell
	stateCell
	dateCell
	installedCell
	limitedCell
)

// A step is how rows are read: a number, or a group of cells between two numbers,
// which mostly stand as they stood in the row before.
type step struct {
	number reading.Column // Columns where the step is a group
	first  int            // the first cell
	cells  int            // how many
	last   bool           // the row ends here

	// of a number
	slot        int
	scale       int // power of ten
	least, most float64
	limit       byte // the sign of a limit that may stand before the number, 0 for none
}

// The slots for the numbers of a row.
const (
	freqSlot = iota
	levelSlot
	floorSlot
	txSlot
	gainSlot
	slots
)

// A part of a row that is read at once has at most so many cells; a file with more
// is read row by row.
const mostCells = 128

// A layout is what a header says of the rows under it. The files of a campaign mostly
// share one.
type layout struct {
	text    string // of the header
	header  *header
	steps   []step
	roles   []role           // by cell
	label   []int32          // by cell that is a label: its number among texts
	texts   []int            // the cells that are labels
	columns []reading.Column // what they are
}

// lastLayout is the layout of the file that was opened last.
var lastLayout atomic.Pointer[layout]

// plan lays out the steps in which rows are read, and the columns of labels.
func (l *layout) plan() {
	h := l.header
	l.roles, l.label = make([]role, h.cells), make([]int32, h.cells)
	number := make([]reading.Column, h.cells)
	for i := range number {
		number[i] = reading.Columns
	}
	for c := reading.Column(0); c < reading.Columns; c++ {
		at := h.at[c]
		switch {
		case at < 0:
		case c.IsText():
			l.roles[at], l.label[at] = labelled, int32(len(l.texts))
			l.texts, l.columns = append(l.texts, at), append(l.columns, c)
		case c == reading.Run:
			l.roles[at] = runCell
		case c == reading.State:
			l.roles[at] = stateCell
		case c == reading.Date:
			l.roles[at] = dateCell
		case c == reading.Installed:
			l.roles[at] = installedCell
		default:
			number[at] = c
		}
	}
	if h.limited >= 0 {
		l.roles[h.limited] = limitedCell
	}
	for i := 0; i < h.cells; {
		s := step{number: number[i], first: i, cells: 1}
		for i++; s.number == reading.Columns && i < h.cells && number[i] == reading.Columns; i++ {
			s.cells++
		}
		s.last = i == h.cells
		s.least, s.most = -reading.MostDB, reading.MostDB
		switch s.number {
		case reading.Freq:
			s.slot, s.scale, s.least, s.most = freqSlot, h.scale, math.SmallestNonzeroFloat64, math.Inf(1)
		case reading.Level:
			s.slot, s.limit = levelSlot, '<'
		case reading.Atten:
			s.slot, s.limit = levelSlot, '>'
		case reading.Floor:
			s.slot = floorSlot
		case reading.Tx:
			s.slot = txSlot
		case reading.Gain:
			s.slot = gainSlot
		}
		l.steps = append(l.steps, s)
	}
}
