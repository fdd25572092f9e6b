package plan

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strconv"

	"sealbound/stats/interval"
)

// A Point is one frequency, position and polarization at which to read.
type Point struct {
	FreqHz                 float64
	Position, Polarization string
}

// A SheetBox is a box with the gasket products that are to be measured in it.
type SheetBox struct {
	Label    string
	Products []string
}

// SheetSettings lay out a recording sheet.
type SheetSettings struct {
	Sessions []string   // labels in order, such as dates
	Boxes    []SheetBox // every one is measured in every session
	Closings int        // of each product in each box in each session
	Points   []Point    // read at every closing, in this order
	Seed     uint64     // the same seed gives the same sheet
}

// MostRows is the largest number of rows that a sheet may have.
const MostRows = 1_000_000

// What stands in a row's State.
const (
	Open   = "open"   // no box between the antennas: the reference
	Closed = "closed" // the box closed and latched
	Floor  = "floor"  // the box closed, the generator off
)

// Sweeps of the open reference.
const (
	AtStart = "start" // before the first closing of the run
	AtEnd   = "end"   // after the last: how far the set-up has drifted
)

// A SheetRow is one reading to take. Box, Gasket, Fitting and Closing are empty
// in open and floor rows, which serve the whole run.
type SheetRow struct {
	Act      int // counts from 1; rows of one act are read without touching the box
	Session  string
	Run      string // one box in one session: what one open reference serves
	Box      string
	Gasket   string
	Fitting  string // within the box; a strip that goes in begins a new one
	Closing  string // within the run and fitting, from "1"
	State    string // Open, Closed or Floor
	Sweep    string // AtStart or AtEnd in open rows, else empty
	NewStrip bool   // the strip is put in before this act
	Point
}

// A Sheet is a list of readings in the order in which to take them.
type Sheet struct {
	Rows []SheetRow
	Acts int
	Seed uint64
}

// NewSheet returns a recording sheet. In every session the boxes come in random
// order, and within each box (a block) its products in random order, so that
// drift, warmth and tired hands fall on none of them in particular. Each box in
// each session is a run: the open reference; the closings of one product after
// the other; the floor, with the box still closed from the last of them; the open
// reference again.
//
// A strip that is still in its box when its product's turn comes stays in and
// keeps its fitting; every other change of product begins a new one. The order of
// a session does not depend on how many follow.
//
// It returns ErrTooFew where there is nothing to measure and ErrDomain for empty
// or repeated labels, frequencies that are not positive, repeated points, and
// more than MostRows rows.
func NewSheet(s SheetSettings) (Sheet, error) {
	if err := s.check(); err != nil {
		return Sheet{}, err
	}
	draw := rand.New(rand.NewPCG(s.Seed, sheetStream))
	w := sheetWriter{settings: s, sheet: Sheet{Seed: s.Seed}, in: make([]strip, len(s.Boxes))}
	for _, session := range s.Sessions {
		for _, b := range draw.Perm(len(s.Boxes)) {
			w.run(session, b, draw.Perm(len(s.Boxes[b].Products)))
		}
	}
	return w.sheet, nil
}

// sheetStream tells this use of a seed from others.
const sheetStream = 0x7368656574 // "sheet" in ASCII

// strip is what a box holds: the index of its product, the number of the fitting.
type strip struct{ product, fitting int }

type sheetWriter struct {
	settings SheetSettings
	sheet    Sheet
	in       []strip // by box; fitting 0 is an empty box
}

func (w *sheetWriter) run(session string, box int, order []int) {
	b := w.settings.Boxes[box]
	row := SheetRow{Session: session, Run: runLabel(session, b.Label)}
	open, floor := row, row
	open.State, open.Sweep = Open, AtStart
	floor.State = Floor
	w.act(open)
	row.Box, row.State = b.Label, Closed
	for _, p := range order {
		row.NewStrip = w.in[box].fitting == 0 || w.in[box].product != p
		if row.NewStrip {
			w.in[box] = strip{product: p, fitting: w.in[box].fitting + 1}
		}
		row.Gasket, row.Fitting = b.Products[p], strconv.Itoa(w.in[box].fitting)
		for n := range w.settings.Closings {
			row.Closing = strconv.Itoa(n + 1)
			w.act(row)
			row.NewStrip = false
		}
	}
	w.act(floor)
	open.Sweep = AtEnd
	w.act(open)
}

// act adds one row for each point.
func (w *sheetWriter) act(row SheetRow) {
	w.sheet.Acts++
	row.Act = w.sheet.Acts
	for _, p := range w.settings.Points {
		row.Point = p
		w.sheet.Rows = append(w.sheet.Rows, row)
	}
}

func runLabel(session, box string) string { return session + "-" + box }

func (s SheetSettings) check() error {
	products := 0
	boxes := make([]string, len(s.Boxes))
	for i, b := range s.Boxes {
		boxes[i] = b.Label
		products += len(b.Products)
		if err := labels("product", b.Products); err != nil {
			return fmt.Errorf("%w, box %q", err, b.Label)
		}
	}
	if err := labels("session", s.Sessions); err != nil {
		return err
	}
	if err := labels("box", boxes); err != nil {
		return err
	}
	if s.Closings < 1 || len(s.Points) == 0 {
		return fmt.Errorf("plan: %w: %d closings at %d points", interval.ErrTooFew, s.Closings, len(s.Points))
	}
	acts := float64(len(s.Sessions)) * (3*float64(len(s.Boxes)) + float64(products)*float64(s.Closings))
	if rows := acts * float64(len(s.Points)); rows > MostRows {
		return fmt.Errorf("plan: %w: a sheet of %.0f rows, at most %d", interval.ErrDomain, rows, MostRows)
	}
	var runs []string
	for _, session := range s.Sessions {
		for _, b := range boxes {
			runs = append(runs, runLabel(session, b))
		}
	}
	if err := labels("run", runs); err != nil {
		return err
	}
	seen := map[Point]bool{}
	for _, p := range s.Points {
		if !(p.FreqHz > 0) || math.IsInf(p.FreqHz, 0) {
			return fmt.Errorf("plan: %w: frequency %v Hz", interval.ErrDomain, p.FreqHz)
		}
		if seen[p] {
			return fmt.Errorf("plan: %w: point %+v twice", interval.ErrDomain, p)
		}
		seen[p] = true
	}
	return nil
}

// labels refuses empty and repeated ones, and none at all.
func labels(what string, list []string) error {
	if len(list) == 0 {
		return fmt.Errorf("plan: %w: no %s", interval.ErrTooFew, what)
	}
	seen := map[string]bool{}
	for _, l := range list {
		if l == "" || seen[l] {
			return fmt.Errorf("plan: %w: %s %q is empty or there twice", interval.ErrDomain, what, l)
		}
		seen[l] = true
	}
	return nil
}
