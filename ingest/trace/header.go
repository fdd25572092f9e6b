package trace

import (
	"fmt"
	"strconv"
	"strings"

	"sealbound/ingest/reading"
)

// A header is the line that names the columns, and what it and the profile say of
// them.
type header struct {
	line                    int
	text                    string
	units                   string // the line below it, where it holds the units
	headings                []heading
	frequency, level, state int // indexes of columns; state is -1 without one
	scale                   int // frequencies are in 10^scale Hz
	offset                  float64
	frequencySuffix         bool // each cell ends in its unit
	levelSuffix             bool
	trailing                bool // the last column is unnamed and to be empty
	ignored                 []string
}

// offset turns levels in a unit into dBm. Into 50 ohm, 1 uV is 20 fW: the
// reading package holds the figure.
func offset(unit string) float64 {
	if unit == "dbuv" {
		return reading.DBuV.Offset()
	}
	return 0
}

// readHeader finds the columns and their units.
func (p *parser) readHeader() error {
	h := &p.header
	h.line = max(p.profile.HeaderLine, 1)
	text, ok := p.text.line(h.line)
	if !ok || h.line > p.last {
		return p.refuse(reading.Problem{Line: h.line, Column: 1, What: fmt.Sprintf("the file has no line %d to be its header", h.line)})
	}
	h.text = text
	pieces, wrong, at := p.splitter.split(text)
	if wrong != "" {
		return p.refuse(p.at(at, "", "", wrong, ""))
	}
	h.headings = make([]heading, len(pieces))
	for i, c := range pieces {
		h.headings[i] = parseHeading(c)
	}
	var problem *reading.Problem
	if h.frequency, problem = p.find("freq_column", p.profile.FreqColumn, frequency); problem == nil {
		h.level, problem = p.find("level_column", p.profile.LevelColumn, level)
	}
	if problem == nil {
		h.state, problem = p.find("status_column", p.profile.StatusColumn, status)
	}
	if problem == nil {
		problem = p.rest()
	}
	if problem == nil {
		problem = p.readUnits()
	}
	if problem != nil {
		return p.refuse(*problem)
	}
	return nil
}

// at is a problem at an offset of the header line.
func (p *parser) at(offset int, field, text, what, mend string) reading.Problem {
	return reading.Problem{Line: p.header.line, Column: p.text.column(p.header.text, offset), Field: field, Text: text, What: what, Mend: mend}
}

func (p *parser) heading(i int, what, mend string) *reading.Problem {
	h := p.header.headings[i]
	problem := p.at(h.at, "", h.text, what, mend)
	return &problem
}

// find returns the index of the column that a profile names, or of the one whose
// heading is known; for a status column that is not there, -1.
func (p *parser) find(cell, name string, want quantity) (int, *reading.Problem) {
	headings := p.header.headings
	if digits, ok := strings.CutPrefix(name, "#"); ok {
		if n, err := strconv.Atoi(digits); err == nil {
			if n < 1 || n > len(headings) {
				problem := p.at(0, "", "", fmt.Sprintf("%s=%s, and the header has %d columns", cell, name, len(headings)), "correct "+cell+" in runs.csv")
				return 0, &problem
			}
			return n - 1, nil
		}
	}
	var found, whole []int
	for i, h := range headings {
		if name != "" && strings.EqualFold(h.text, name) {
			whole = append(whole, i)
		}
		if name != "" && h.named(name) || name == "" && h.quantity() == want {
			found = append(found, i)
		}
	}
	if len(whole) > 0 {
		found = whole
	}
	switch {
	case len(found) > 1:
		return 0, p.heading(found[1], fmt.Sprintf("columns %d and %d may both be meant", found[0]+1, found[1]+1),
			fmt.Sprintf("declare in runs.csv %s=#%d or %s=#%d", cell, found[0]+1, cell, found[1]+1))
	case len(found) == 1 && want == status && name == "":
		return 0, p.heading(found[0], "this column may tell which rows are not valid, and the profile does not declare it", "")
	case len(found) == 1:
		return found[0], nil
	case name != "":
		problem := p.at(0, "", "", fmt.Sprintf("no column is named as %s=%s says", cell, name), "correct "+cell+" in runs.csv")
		return 0, &problem
	case want == status:
		return -1, nil
	}
	what := "the header names no column of frequencies that is known"
	if want == level {
		what = "the header names no column of levels that is known"
	}
	problem := p.at(0, "", p.header.text, what, "")
	return 0, &problem
}

// rest looks at the columns that hold neither frequency nor level nor status.
func (p *parser) rest() *reading.Problem {
	h := &p.header
	if h.frequency == h.level || h.state == h.frequency || h.state == h.level {
		return p.heading(h.level, "the profile declares this column for two things", "correct freq_column, level_column or status_column in runs.csv")
	}
	for i, c := range h.headings {
		switch {
		case i == h.frequency || i == h.level || i == h.state:
		case c.text != "":
			h.ignored = append(h.ignored, c.text)
		case i == len(h.headings)-1:
			h.trailing = true
		default:
			return p.heading(i, fmt.Sprintf("column %d has no name", i+1), "name it, or remove it")
		}
	}
	return nil
}

// readUnits settles the units from the profile, the headings and the units row,
// which must not contradict each other.
func (p *parser) readUnits() *reading.Problem {
	h := &p.header
	frequencyHeading, levelHeading := h.headings[h.frequency], h.headings[h.level]
	frequencyUnit, levelUnit := frequencyHeading.unit, levelHeading.unit
	if p.profile.UnitsRow {
		var ok bool
		h.units, ok = p.text.line(h.line + 1)
		pieces, wrong, _ := p.splitter.split(h.units)
		if !ok || h.line+1 > p.last || wrong != "" || len(pieces) != len(h.headings) {
			return &reading.Problem{Line: h.line + 1, Column: 1, Text: h.units, What: "the row of units does not fit the header", Mend: "correct units_row or header_line in runs.csv"}
		}
		for _, u := range []struct {
			column int
			unit   *string
		}{{h.frequency, &frequencyUnit}, {h.level, &levelUnit}} {
			c := pieces[u.column]
			problem := &reading.Problem{Line: h.line + 1, Column: p.text.column(h.units, c.at), Text: c.text, Mend: "correct the cell, or units_row in runs.csv"}
			name := unitName(c.text)
			if _, known := measures[name]; !known {
				problem.What = "is no unit"
				return problem
			}
			if *u.unit != "" && *u.unit != name {
				problem.What = "is not the unit that the header gives"
				return problem
			}
			*u.unit = name
		}
	}
	if problem := p.frequencyUnit(frequencyUnit); problem != nil {
		return problem
	}
	return p.levelUnit(levelUnit)
}

func (p *parser) frequencyUnit(unit string) *reading.Problem {
	h := &p.header
	declared := unitName(p.profile.FreqUnit)
	switch {
	case declared == "suffix":
		h.frequencySuffix = true
		return nil
	case unit == "" && declared == "":
		return p.heading(h.frequency, "the frequencies have no unit", declareOpen("freq_unit"))
	case unit == "":
		unit = declared
	case declared != "" && declared != unit:
		return p.heading(h.frequency, fmt.Sprintf("the file gives the frequencies in %s, the profile in %s", unit, declared), "correct freq_unit in runs.csv")
	}
	m := measures[unit]
	if m.quantity != frequency || m.unread {
		return p.heading(h.frequency, unit+" is no unit of frequency that is read", "save the trace again with frequencies in Hz, kHz, MHz or GHz")
	}
	h.scale = m.scale
	return nil
}

func (p *parser) levelUnit(unit string) *reading.Problem {
	h := &p.header
	declared := unitName(p.profile.LevelUnit)
	text := h.headings[h.level].text
	switch {
	case declared == "suffix":
		h.levelSuffix = true
		return nil
	case unit == "" && declared == "":
		return p.heading(h.level, "the levels have no unit", declareOpen("level_unit"))
	case unit == "dbuv" && declared == "" && !strings.EqualFold(text, "level_dbuv"):
		return p.heading(h.level, "the levels are in dBuV, a voltage, and the profile does not declare its impedance", declare(Cell{"level_unit", "dBuV"})+" (into 50 ohm)")
	case unit == "db" && declared == "" && !strings.EqualFold(text, "level_db"):
		return p.heading(h.level, "the levels are in dB: relative to the generator (dB), or short for dBm", declareOpen("level_unit"))
	case unit == "", unit == "db" && declared != "": // dB alone says less, not otherwise
		unit = declared
	case declared != "" && declared != unit:
		return p.heading(h.level, fmt.Sprintf("the file gives the levels in %s, the profile in %s", unit, declared), "correct level_unit in runs.csv")
	}
	if unit == "db" {
		p.file.Relative = true
		return nil
	}
	if m := measures[unit]; m.quantity != level || m.unread {
		return p.heading(h.level, unit+" is no unit of level that is read", "save the trace again with levels in dBm or dBuV")
	}
	h.offset = offset(unit)
	return nil
}
