package trace

import (
	"fmt"
	"slices"
	"strings"

	"sealbound/ingest/cell"
	"sealbound/ingest/reading"
)

// surveyed is how many lines a proposal is made from.
const surveyed = 100_000

// shaping is how many lines show the delimiter and the header.
const shaping = 2000

// A Reason is one oddity of a trace file and the cell of the profile that it
// calls for.
type Reason struct {
	Line, Column int    // where it first shows
	Text         string // what stands there
	Cell, Value  string // Cell is empty where no cell helps, Value where the file does not tell it
	Why          string
}

// A way is one in which a cell reads as a number.
type way struct {
	notation notation
	cells    []Cell // that declare it
}

// readings are the ways in which a cell reads as a number of a quantity, the
// plainest first, and of those with one value the plainest alone.
func readings(text string, of quantity) []way {
	if !strings.ContainsAny(text, "0123456789") {
		return nil
	}
	var declared []Cell
	if of == level {
		if limit, is := cell.Below(text); is {
			text, declared = limit, append(declared, Cell{"limited", "yes"})
		}
	}
	if number, suffix := unit(text); suffix != "" {
		m, known := measures[unitName(suffix)]
		if !known || m.quantity != of || m.unread {
			return nil
		}
		column := "freq_unit"
		if of == level {
			column = "level_unit"
		}
		text, declared = number, append(declared, Cell{column, "suffix"})
	}
	var ways []way
	var values []float64
	for _, n := range notations {
		if v, _, fault := n.read(text, 0, nil); fault == nil && !slices.Contains(values, v) {
			values = append(values, v)
			ways = append(ways, way{n, append(slices.Clone(declared), n.cells()...)})
		}
	}
	return ways
}

// isToken tells whether a cell may stand for no reading: it is short and has no
// digit.
func isToken(text string) bool {
	return len(text) <= 16 && !strings.ContainsAny(text, "0123456789|")
}

func missingCell(tokens ...string) Cell {
	p := Profile{Missing: tokens}
	cells := p.Cells()
	if len(cells) == 0 {
		return Cell{"missing", "|"}
	}
	return cells[0]
}

// goodWords are cells of a status column that can only mean a valid row.
var goodWords = []string{"ok", "valid", "good", "pass", "passed", "normal"}

// A proposal is being made.
type proposal struct {
	profile  Profile
	reasons  []Reason
	text     text
	splitter splitter
	header   int // line; 0 where none was found
	headings []heading
	line     string // the header
	units    []piece
	columns  [4]int // by quantity; -1 where unknown
}

// Propose looks at a whole trace file and proposes the cells of a profile that
// would read it, with a reason for each. What the file itself cannot tell, such as
// a unit that stands nowhere, is a reason without a value. For a file that needs no
// profile both are empty. A proposal is a guess for a person to confirm, made from
// the encoding of the whole file and from its first lines (100,000, and 2,000 for the header).
func Propose(data []byte) (Profile, []Reason) {
	p := proposal{columns: [4]int{-1, -1, -1, -1}}
	if p.encoding(data) && p.shape() {
		p.findColumns()
		p.findUnits()
		p.findRows()
	}
	return p.profile, p.reasons
}

// because notes a reason; a value is set in the profile too.
func (p *proposal) because(r Reason) {
	if r.Value != "" {
		if fault := p.profile.Set(r.Cell, r.Value); fault != nil {
			return
		}
	}
	p.reasons = append(p.reasons, r)
}

// encoding finds how the bytes are to be read, and whether they can be.
func (p *proposal) encoding(data []byte) bool {
	var fault *reading.Problem
	for _, name := range []string{"", "latin-1", "utf-16"} {
		t, problem := open(data, name)
		if problem == nil {
			problem = t.check()
		}
		if problem == nil {
			p.text = t
			if name != "" {
				p.because(Reason{fault.Line, fault.Column, "", "encoding", name, fault.What})
			}
			return len(t.data) > 0
		}
		if fault == nil {
			fault = problem
		}
		if name == "" && problem.Mend != "" { // a mend of its own: no encoding helps
			break
		}
	}
	p.because(Reason{fault.Line, fault.Column, fault.Text, "", "", fault.What})
	return false
}

// marks are the delimiters that are tried; where two serve as well, the first.
var marks = []struct {
	name string
	mark byte
}{{"tab", '\t'}, {"semicolon", ';'}, {"comma", ','}, {"pipe", '|'}, {"space", ' '}}

// shape finds the delimiter and the header.
func (p *proposal) shape() bool {
	best, bestMark := 0, marks[2]
	for _, m := range marks {
		s := splitter{mark: m.mark}
		score, named := 0, 0
		p.text.each(func(number int, line string) bool {
			pieces, wrong, _ := s.split(line)
			switch {
			case wrong != "":
			case dataLike(pieces):
				score += 2
				if allNumbers(pieces) {
					score++
				}
			case headerLike(pieces):
				named = 1
			}
			return number < shaping
		})
		if score+named > best {
			best, bestMark = score+named, m
		}
	}
	if best == 0 {
		p.because(Reason{1, 1, "", "", "", "no table of frequencies and levels is to be seen"})
		return false
	}
	p.splitter.mark = bestMark.mark
	above, header, first := 0, 0, 0 // the line above the first data, the first that names both, the first data
	p.text.each(func(number int, line string) bool {
		pieces, wrong, _ := p.splitter.split(line)
		switch {
		case wrong != "" || p.splitter.blank(line):
		case headerLike(pieces):
			header = number
		case first > 0:
		case dataLike(pieces):
			first = number
		case !unitsLike(pieces):
			above = number
		}
		return header == 0 && number < shaping
	})
	if header == 0 {
		header = above
	}
	if header == 0 {
		p.because(Reason{max(first, 1), 1, "", "", "", "no line names the columns"})
		return false
	}
	p.header = header
	p.line, _ = p.text.line(header)
	pieces, _, _ := p.splitter.split(p.line)
	for _, c := range pieces {
		p.headings = append(p.headings, parseHeading(c))
	}
	if bestMark.mark != ',' {
		p.because(Reason{header, 1, p.line, "delimiter", bestMark.name, "cells are separated by " + article(bestMark.name)})
	}
	if header != 1 {
		p.because(Reason{header, 1, p.line, "header_line", fmt.Sprint(header), fmt.Sprintf("the header is on line %d", header)})
	}
	return true
}

func article(mark string) string {
	if mark == "space" {
		return "blanks"
	}
	return "a " + mark
}

// numberLike tells whether a cell reads as a number in some way.
func numberLike(c piece) bool {
	return len(c.text) < 64 && (len(readings(c.text, level)) > 0 || len(readings(c.text, frequency)) > 0)
}

// dataLike tells whether at least two cells read as numbers.
func dataLike(pieces []piece) bool {
	n := 0
	for _, c := range pieces {
		if numberLike(c) {
			if n++; n == 2 {
				return true
			}
		}
	}
	return false
}

// allNumbers tells whether no cell is anything else.
func allNumbers(pieces []piece) bool {
	for _, c := range pieces {
		if c.text != "" && !numberLike(c) {
			return false
		}
	}
	return true
}

// headerLike tells whether a line names a frequency and a level.
func headerLike(pieces []piece) bool {
	found := [4]bool{}
	for _, c := range pieces {
		h := parseHeading(c)
		found[h.quantity()] = true
		if h.unit != "" && h.base != "" {
			found[measures[h.unit].quantity] = true
		}
	}
	return found[frequency] && found[level]
}

// unitsLike tells whether every cell is a unit.
func unitsLike(pieces []piece) bool {
	n := 0
	for _, c := range pieces {
		if _, known := measures[unitName(c.text)]; known {
			n++
		} else if c.text != "" {
			return false
		}
	}
	return n > 0
}

func (p *proposal) place(h heading) (line, column int) {
	return p.header, p.text.column(p.line, h.at)
}

// findColumns finds the columns by their names, else by their units.
func (p *proposal) findColumns() {
	if below, ok := p.text.line(p.header + 1); ok {
		var s splitter
		s.mark = p.splitter.mark
		if pieces, wrong, _ := s.split(below); wrong == "" && unitsLike(pieces) && len(pieces) == len(p.headings) {
			p.units = pieces
			p.because(Reason{p.header + 1, p.text.column(below, pieces[0].at), pieces[0].text, "units_row", "yes", "the line below the header holds units"})
		}
	}
	for _, want := range []struct {
		quantity quantity
		cell     string
		what     string
	}{{frequency, "freq_column", "frequencies"}, {level, "level_column", "levels"}} {
		var named, measured []int
		for i, h := range p.headings {
			if h.quantity() == want.quantity {
				named = append(named, i)
			}
			if m := measures[p.unit(i)]; m.quantity == want.quantity {
				measured = append(measured, i)
			}
		}
		switch {
		case len(named) == 1:
			p.columns[want.quantity] = named[0]
		case len(named) == 0 && len(measured) == 1 && p.headings[measured[0]].text != "":
			h := p.headings[measured[0]]
			p.columns[want.quantity] = measured[0]
			line, column := p.place(h)
			p.because(Reason{line, column, h.text, want.cell, h.text, "this column holds " + want.what + ", by its unit"})
		default:
			among := named
			if len(among) == 0 {
				among = measured
			}
			why := "no column is named as one of " + want.what
			line, column := p.header, 1
			for i, c := range among {
				if i == 0 {
					line, column = p.place(p.headings[c])
					why = "several columns hold " + want.what + ": " + p.headings[c].text
				} else if i < 8 {
					why += ", " + p.headings[c].text
				}
			}
			if len(among) > 0 {
				p.columns[want.quantity] = among[0]
			}
			p.because(Reason{line, column, "", want.cell, "", why})
		}
	}
	for i, h := range p.headings {
		if h.quantity() == status {
			line, column := p.place(h)
			p.columns[status] = i
			p.because(Reason{line, column, h.text, "status_column", h.text, "this column may tell which rows are not valid"})
			break
		}
	}
}

// unit is that of a column, from its heading or the units row.
func (p *proposal) unit(i int) string {
	if p.headings[i].unit == "" && p.units != nil {
		return unitName(p.units[i].text)
	}
	return p.headings[i].unit
}

// findUnits finds what the headings leave open; units behind the numbers are seen
// with the rows.
func (p *proposal) findUnits() {
	if i := p.columns[level]; i >= 0 && p.unit(i) == "dbuv" && !strings.EqualFold(p.headings[i].text, "level_dbuv") {
		line, column := p.place(p.headings[i])
		p.because(Reason{line, column, p.headings[i].text, "level_unit", "dBuV", "the levels are in dBuV; declared, it means into 50 ohm"})
	} else if i >= 0 && p.unit(i) == "db" && !strings.EqualFold(p.headings[i].text, "level_db") {
		line, column := p.place(p.headings[i])
		p.because(Reason{line, column, p.headings[i].text, "level_unit", "", "the levels are in dB: relative to the generator (dB), or short for dBm"})
	}
}
