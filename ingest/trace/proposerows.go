package trace

import (
	"fmt"
	"slices"
	"strings"

	"sealbound/ingest/cell"
)

// A survey is what the rows show while a proposal is made.
type survey struct {
	open     []notation      // that read every number so far
	odd      *Reason         // the first number that is not plain
	suffix   [4]*Reason      // the first number with its unit, by quantity
	bare     [4]bool         // a number without
	limited  *Reason         // the first upper bound
	missing  []string        // tokens in place of levels
	lacking  *Reason         // the first of them
	again    *Reason         // the header repeated
	states   map[string]bool // cells of the status column
	rows     int
	lastData int
	footer   *Reason // the first line behind the last row that is no data
	lastLine int
	whole    bool // all lines were seen
}

// findRows looks at all rows for what their numbers and other cells need.
func (p *proposal) findRows() {
	s := survey{open: slices.Clone(notations), states: map[string]bool{}}
	start := p.header
	if p.units != nil {
		start++
	}
	p.text.each(func(number int, line string) bool {
		s.lastLine = number
		if number > start && !p.splitter.blank(line) {
			p.look(&s, number, line)
		}
		s.whole = number < surveyed
		return s.whole
	})
	p.conclude(&s)
}

// look takes in one line below the header.
func (p *proposal) look(s *survey, number int, line string) {
	if line == p.line {
		if s.again == nil {
			s.again = &Reason{number, 1, line, "repeated_header", "yes", "the header stands here again"}
		}
		return
	}
	pieces, wrong, _ := p.splitter.split(line)
	f, l := p.columns[frequency], p.columns[level]
	if wrong != "" || len(pieces) != len(p.headings) || f < 0 || l < 0 || len(readings(pieces[f].text, frequency)) == 0 {
		if unitsLike(pieces) && wrong == "" && s.again != nil && p.units != nil {
			return
		}
		if s.footer == nil {
			s.footer = &Reason{Line: number, Column: 1, Text: line}
		}
		return
	}
	s.rows++
	s.lastData, s.footer = number, nil
	if i := p.columns[status]; i >= 0 && len(s.states) < 64 {
		s.states[pieces[i].text] = true
	}
	p.number(s, number, line, pieces[f], frequency)
	p.number(s, number, line, pieces[l], level)
}

// number takes in a cell of frequency or level.
func (p *proposal) number(s *survey, number int, line string, c piece, of quantity) {
	at := func(cell, value, why string) *Reason {
		return &Reason{number, p.text.column(line, c.at), c.text, cell, value, why}
	}
	ways := readings(c.text, of)
	if len(ways) == 0 {
		if isToken(c.text) && len(s.missing) < 8 && !slices.Contains(s.missing, c.text) {
			s.missing = append(s.missing, c.text)
			if s.lacking == nil {
				s.lacking = at("missing", "", "the cell stands for no level")
			}
		}
		return
	}
	text := c.text
	if limit, is := cell.Below(text); is && of == level {
		text = limit
		if s.limited == nil {
			s.limited = at("limited", "yes", "the level is an upper bound")
		}
	}
	if bare, suffix := unit(text); suffix != "" {
		text = bare
		if s.suffix[of] == nil {
			s.suffix[of] = at("", "suffix", "the unit stands behind the number")
		}
	} else {
		s.bare[of] = true
	}
	kept := s.open[:0:0]
	for _, n := range s.open {
		_, _, fault := n.read(text, 0, nil)
		if fault == nil {
			kept = append(kept, n)
		} else if n == plainNotation && s.odd == nil {
			s.odd = at("", "", "is not a number with a decimal point")
		}
	}
	s.open = kept
}

// conclude turns what the rows showed into reasons.
func (p *proposal) conclude(s *survey) {
	p.concludeNotation(s)
	p.concludeUnit(s, frequency, "freq_unit")
	p.concludeUnit(s, level, "level_unit")
	for _, r := range []*Reason{s.limited, s.again} {
		if r != nil {
			p.because(*r)
		}
	}
	if s.lacking != nil {
		s.lacking.Value = missingCell(s.missing...).Value
		p.because(*s.lacking)
	}
	if i := p.columns[status]; i >= 0 {
		var good []string
		for state := range s.states {
			if slices.Contains(goodWords, strings.ToLower(state)) {
				good = append(good, state)
			}
		}
		slices.Sort(good)
		line, column := p.place(p.headings[i])
		p.because(Reason{line, column, p.headings[i].text, "status_good", strings.Join(good, "|"), "it must be said which cells mean a valid row"})
	}
	if s.footer != nil && s.rows > 0 && s.whole {
		s.footer.Cell, s.footer.Value = "footer_lines", fmt.Sprint(s.lastLine-s.footer.Line+1)
		s.footer.Why = "from here to the end no line is data"
		p.because(*s.footer)
	}
	if s.rows == 0 {
		p.because(Reason{p.header, 1, p.line, "", "", "no rows of data below the header"})
	}
}

// concludeNotation declares how numbers are written, where one way alone reads
// them all.
func (p *proposal) concludeNotation(s *survey) {
	if s.odd == nil {
		return
	}
	var ways []notation
	for _, n := range s.open {
		if n.thousands == 0 || !slices.Contains(ways, notation{decimal: n.decimal}) {
			ways = append(ways, n)
		}
	}
	var texts []string
	for _, n := range ways {
		var cells []string
		for _, c := range n.cells() {
			cells = append(cells, c.String())
		}
		texts = append(texts, strings.Join(cells, " "))
	}
	r := *s.odd
	switch len(ways) {
	case 0:
		return // the cells are told one by one
	case 1:
		for _, c := range ways[0].cells() {
			r.Cell, r.Value = c.Column, c.Value
			p.because(r)
		}
	default:
		r.Cell, r.Why = "decimal", "the numbers read in several ways: "+strings.Join(texts, " or ")
		p.because(r)
	}
}

// concludeUnit declares units behind the numbers, or says that none is given.
func (p *proposal) concludeUnit(s *survey, of quantity, cell string) {
	i := p.columns[of]
	switch {
	case i < 0:
	case s.suffix[of] != nil && !s.bare[of]:
		s.suffix[of].Cell = cell
		p.because(*s.suffix[of])
	case p.unit(i) == "":
		line, column := p.place(p.headings[i])
		f, _ := fieldNamed(cell)
		p.because(Reason{line, column, p.headings[i].text, cell, "", "the unit stands nowhere in the file: " + f.open})
	}
}
