package trace

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"sealbound/ingest/cell"
	"sealbound/ingest/reading"
)

// A sweep is what is known of the sweep being read.
type sweep struct {
	header   int // the line of its header
	rows     int // lines of data, whatever became of them
	line     int // of the last of them
	lastHz   float64
	lastAt   int32             // line of lastHz
	seen     map[float64]int32 // frequency: line; made at the first that does not ascend
	first    int               // index of the sweep's first row in the File
	unsorted bool              // in this sweep or one before it
	closed   bool              // what follows belongs to a sweep that was not declared
}

// readRows reads the lines below the header.
func (p *parser) readRows() error {
	h := &p.header
	p.file.Sweeps = 1
	p.sweep.header = h.line
	start := h.line
	if p.profile.UnitsRow {
		start++
	}
	unitsAt := 0 // the line that repeats the units row
	var err error
	p.text.each(func(number int, line string) bool {
		switch {
		case number <= start:
			return true
		case number > p.last:
			return false
		case p.profile.RepeatedHeader && line == h.text:
			err = p.endSweep()
			p.file.Sweeps++
			p.sweep = sweep{header: number, unsorted: p.sweep.unsorted, first: len(p.file.Rows)}
			if p.profile.UnitsRow {
				unitsAt = number + 1
			}
			return err == nil
		case number == unitsAt && line == h.units:
			return true
		}
		p.count.Rows++
		if p.splitter.blank(line) {
			p.count.Blank++
			return true
		}
		p.sweep.rows++
		p.sweep.line = number
		if len(p.file.Rows) == p.mostRows {
			p.add(reading.Problem{Line: number, Column: 1, What: fmt.Sprintf("more than %d rows", p.mostRows), Mend: "split the file by frequency"})
			err = errRefused
			return false
		}
		if p.sweep.closed {
			p.count.Refused++
			return true
		}
		var taken bool
		if taken, err = p.row(number, line); !taken {
			p.count.Refused++
		}
		return err == nil
	})
	if err != nil {
		return err
	}
	return p.endSweep()
}

// endSweep compares the rows of a sweep with what was promised.
func (p *parser) endSweep() error {
	s := &p.sweep
	if s.rows == 0 {
		return p.refuse(reading.Problem{Line: s.header, Column: 1, What: "no rows of data below the header", Mend: "save the trace again: a sweep that was broken off leaves none"})
	}
	if n := p.profile.Points; n > 0 && n != s.rows {
		p.add(reading.Problem{Line: s.line, Column: 1, What: fmt.Sprintf("points=%d is declared, and the sweep has %d rows", n, s.rows),
			Mend: "save the trace again: it may be cut off; else correct points in runs.csv"})
		return errRefused
	}
	return nil
}

// row reads one line of data. It returns false where the row is refused, and an
// error where that leaves nothing of the file.
func (p *parser) row(number int, line string) (taken bool, err error) {
	h := &p.header
	tell := func(c piece, field, what, mend string) {
		p.add(reading.Problem{Line: number, Column: p.text.column(line, c.at), Field: field, Text: c.text, What: what, Mend: mend})
	}
	pieces, wrong, at := p.splitter.split(line)
	if wrong != "" {
		tell(piece{at: at}, "", wrong, `correct the row; a cell that holds a quote or a delimiter stands in quotes, with "" for a quote`)
		return false, nil
	}
	if len(pieces) != len(h.headings) {
		c := pieces[len(pieces)-1]
		c.text = ""
		tell(c, "", fmt.Sprintf("the row has %d cells, the header %d", len(pieces), len(h.headings)), "complete the row; lines at the end that are no data are declared in runs.csv by footer_lines")
		return false, nil
	}
	if h.trailing {
		if c := pieces[len(pieces)-1]; c.text != "" {
			i := len(h.headings) - 1
			problem := p.heading(i, fmt.Sprintf("column %d has no name, and line %d has a cell in it", i+1, number), "name it")
			return false, p.refuse(*problem)
		}
	}
	c := pieces[h.frequency]
	if line == h.text {
		tell(c, h.headings[h.frequency].text, "is not a number: the header stands here again; it and the rows below are refused", declare(Cell{"repeated_header", "yes"}))
		p.sweep.closed = true
		return false, nil
	}
	if number == h.line+1 && unitsLike(pieces) {
		tell(c, h.headings[h.frequency].text, "is not a number: the line holds units", declare(Cell{"units_row", "yes"}))
		return false, nil
	}
	if h.state >= 0 && !slices.Contains(p.profile.StatusGood, pieces[h.state].text) {
		p.file.Excluded++
		if hz, fault := p.frequency(c.text); fault == nil && hz > 0 {
			p.file.LeftOutHz = append(p.file.LeftOutHz, hz)
		}
		return true, nil
	}
	row := Row{Sweep: int32(p.file.Sweeps), Line: int32(number)}
	hz, fault := p.frequency(c.text)
	if fault == nil && hz <= 0 {
		fault = &cell.Fault{What: "is not a frequency", Mend: "frequencies lie above 0 Hz"}
	}
	if fault != nil {
		tell(c, h.headings[h.frequency].text, fault.What, p.remedy(c.text, frequency, fault.Mend))
	}
	row.FreqHz = hz
	good := fault == nil

	c = pieces[h.level]
	if slices.Contains(p.profile.Missing, c.text) {
		if good {
			p.file.Missing++
			p.file.LeftOutHz = append(p.file.LeftOutHz, hz)
		}
		return good, nil
	}
	db, limited, fault := p.level(c.text)
	if fault == nil && math.Abs(db) > reading.MostDB {
		fault = &cell.Fault{What: "is not a level that a receiver could show", Mend: fmt.Sprintf("levels lie within %d dB of zero", reading.MostDB)}
	}
	if fault != nil && (good || !isToken(c.text)) { // a line of words is told once
		tell(c, h.headings[h.level].text, fault.What, p.remedy(c.text, level, fault.Mend))
	}
	if fault != nil || !good {
		return false, nil
	}
	if before := p.before(hz, int32(number)); before > 0 {
		tell(pieces[h.frequency], h.headings[h.frequency].text, fmt.Sprintf("the frequency stands already on line %d", before), "keep one row for each frequency of a sweep")
		return false, nil
	}
	row.LevelDBm, row.Limited = db, limited
	if limited {
		p.file.Limited++
	}
	p.file.Rows = append(p.file.Rows, row)
	return true, nil
}

// before returns the line of the sweep that has this frequency already, else 0,
// and remembers it. While frequencies ascend nothing needs to be kept.
func (p *parser) before(hz float64, line int32) int32 {
	s := &p.sweep
	if s.seen == nil && (len(p.file.Rows) == s.first || hz > s.lastHz) {
		s.lastHz, s.lastAt = hz, line
		return 0
	}
	if s.seen == nil && hz == s.lastHz {
		return s.lastAt
	}
	if s.seen == nil {
		s.unsorted = true
		s.seen = make(map[float64]int32, len(p.file.Rows)-s.first+1)
		for _, r := range p.file.Rows[s.first:] {
			s.seen[r.FreqHz] = r.Line
		}
	}
	if before, ok := s.seen[hz]; ok {
		return before
	}
	s.seen[hz] = line
	return 0
}

// frequency reads a cell of frequency into Hz.
func (p *parser) frequency(text string) (hz float64, fault *cell.Fault) {
	scale := p.header.scale
	if p.header.frequencySuffix {
		number, suffix := unit(text)
		m, known := measures[unitName(suffix)]
		if !known || m.quantity != frequency || m.unread {
			return 0, &cell.Fault{What: "does not end in a unit of frequency", Mend: "write Hz, kHz, MHz or GHz behind the number"}
		}
		text, scale = number, m.scale
	}
	hz, p.digits, fault = p.notation.read(text, scale, p.digits)
	return hz, fault
}

// level reads a cell of level into dBm.
func (p *parser) level(text string) (db float64, limited bool, fault *cell.Fault) {
	if p.profile.Limited {
		text, limited = cell.Below(text)
	}
	offsetDB := p.header.offset
	if p.header.levelSuffix {
		number, suffix := unit(text)
		name := unitName(suffix)
		if levelUnit(name) == "" {
			return 0, false, &cell.Fault{What: "does not end in a unit of level", Mend: "write dBm or dBuV behind the number"}
		}
		text, offsetDB = number, offset(name)
	}
	db, p.digits, fault = p.notation.read(text, 0, p.digits)
	return db + offsetDB, limited, fault
}

// mostRemedies bounds the work on a file that is bad throughout; nobody reads
// more.
const mostRemedies = 1000

// remedy is a mend for a cell that the profile does not read: the cells of the
// profile that would read it, else what is given.
func (p *parser) remedy(text string, of quantity, otherwise string) string {
	if p.remedies++; p.remedies > mostRemedies {
		return otherwise
	}
	var choices []string
	offer := func(cells ...Cell) {
		var wanted []string
		for _, c := range cells {
			if !slices.Contains(p.declared, c) {
				wanted = append(wanted, c.String())
			}
		}
		if s := strings.Join(wanted, " "); s != "" && !slices.Contains(choices, s) {
			choices = append(choices, s)
		}
	}
	for _, r := range readings(text, of) {
		cells := r.cells
		if r.notation.decimal == '.' && p.profile.Decimal == "comma" {
			cells = append(cells, Cell{"decimal", "point"})
		}
		offer(cells...)
	}
	if len(choices) == 0 && of == level && isToken(text) {
		offer(missingCell(text))
	}
	if len(choices) == 0 {
		return otherwise
	}
	return "declare in runs.csv " + strings.Join(choices, " or ")
}
