package touchstone

import (
	"fmt"
	"math"
	"slices"

	"sealbound/ingest/cell"
	"sealbound/ingest/reading"
)

// A layout is how the numbers of one frequency stand in the rows.
type layout struct {
	values  int      // of a data set: the frequency and a pair for each parameter
	names   []string // of the pairs, in their order
	wanted  int      // index of the pair that is kept
	oneLine bool     // a data set is one line: version 1 of one or two ports
}

// layOut settles the layout once ports, order and matrix are known.
func (p *parser) layOut() {
	n := p.header.ports
	p.file.Ports = n
	l := layout{oneLine: p.file.Version == "1" && n <= 2}
	for row := 1; row <= n; row++ {
		for column := 1; column <= n; column++ {
			if p.matrix == lower && column > row || p.matrix == upper && column < row {
				continue
			}
			l.names = append(l.names, fmt.Sprintf("S%d%d", row, column))
		}
	}
	if n == 2 && p.matrix == full && p.header.order != "12_21" {
		l.names[1], l.names[2] = "S21", "S12" // column by column, in two-port files only
	}
	p.file.Parameter = "S21"
	kept := p.file.Parameter
	switch {
	case n == 1:
		p.file.Parameter, kept = "S11", "S11"
	case p.matrix == upper: // the other half equals this one
		kept = "S12"
	}
	for i, name := range l.names {
		if name == kept {
			l.wanted = i
		}
	}
	l.values = 1 + 2*len(l.names)
	p.layout = l
}

// A set is the data set, the numbers of one frequency, that is being read.
type set struct {
	line                 int // on which it begins
	lines                int // that it has so far
	lastLine, lastColumn int // of the number read last
	values               int // so far; 0 where none is open
	bad                  bool
	row                  Row
	first                float64 // of the pair at hand
	firstAt              token
	firstLine            int
}

// A held line looks like the beginning of a data set although the one before it
// lacks values. Whether that one is short or the file is cut off inside this line
// shows when the next line comes, or none.
type held struct {
	tokens []token
	line   int
}

// lastRow is the frequency that the next one must exceed.
type lastRow struct {
	hz   float64
	line int // 0 where there is none
}

// firstData meets numbers where none have been seen yet: in version 1 they are
// the network's.
func (p *parser) firstData(tokens []token, line int) bool {
	t := tokens[0]
	if p.file.Version == "2.0" {
		p.ruin(line, t.column, "", t.text, "stands before [Network Data]", "write [Network Data] above the data")
		return false
	}
	switch {
	case p.option == nil:
		p.ruin(line, t.column, "", t.text, "no option line above the data", "write one, such as # MHz S DB R 50, with the unit and format that the data have")
		return false
	case p.endingPorts == 0:
		p.ruin(line, t.column, "", t.text, "a .ts file that does not begin with [Version] 2.0", "end the name of a version 1 file in .s1p to .s4p")
		return false
	}
	p.file.Version, p.header.ports, p.section = "1", p.endingPorts, networkData
	p.layOut()
	p.dataLine(tokens, line)
	return true
}

// dataLine takes in a line of network data.
func (p *parser) dataLine(tokens []token, line int) {
	need, has := p.layout.values, len(tokens)
	if p.layout.oneLine && has == noiseValues && p.noiseBegins(tokens[0]) {
		p.section = noiseData
		p.noiseRow(tokens, line)
		return
	}
	p.count.Rows++
	p.release()
	open := p.set.values
	switch {
	case open == 0:
		p.beginSet(tokens, line)
	case begins(tokens):
		p.held = &held{slices.Clone(tokens), line}
	case open+has > need:
		p.add(line, tokens[need-open].column, "", "", fmt.Sprintf("the data set begun on line %d has more than its %d values", p.set.line, need), p.shape())
		p.drop()
		p.count.Refused++
	default:
		p.take(tokens, line)
	}
}

// begins tells whether a line may begin a data set. That has a frequency and
// pairs: only the line with the frequency is odd.
func begins(tokens []token) bool { return len(tokens)%2 == 1 }

// beginSet opens a data set with a line.
func (p *parser) beginSet(tokens []token, line int) {
	need, has := p.layout.values, len(tokens)
	wrong, at := "", tokens[min(has-1, need)]
	switch {
	case p.layout.oneLine && has != need:
		wrong = fmt.Sprintf("%d values, a %d-port row needs %d", has, p.file.Ports, need)
	case !begins(tokens):
		at = tokens[0]
		wrong = fmt.Sprintf("%d values begin no data set: that has a frequency and pairs, %d values in all", has, need)
	case has > need:
		wrong = fmt.Sprintf("%d values, a %d-port data set has %d", has, p.file.Ports, need)
	}
	if begins(tokens) || p.layout.oneLine {
		p.sets++
	}
	if wrong != "" {
		p.count.Refused++
		p.add(line, at.column, "", "", wrong, p.shape())
		return
	}
	p.set = set{line: line, row: Row{Line: line}}
	p.take(tokens, line)
}

// release lets a held line begin its data set, now that data follow it: the set
// before it is short.
func (p *parser) release() {
	h := p.held
	if h == nil {
		return
	}
	p.held = nil
	p.add(h.line, 1, "", "", fmt.Sprintf("a data set begins, and that of line %d has %d of %d values", p.set.line, p.set.values, p.layout.values), p.shape())
	p.drop()
	p.beginSet(h.tokens, h.line)
}

// shape is the mend of a data set that does not have its values.
func (p *parser) shape() string {
	if p.endingPorts > 0 && p.file.Version == "1" {
		return fmt.Sprintf("the file's name says %d ports: correct the name if they are another number, else save the file again", p.file.Ports)
	}
	return "save the file again"
}

// drop gives the open set up. Its lines count as refused.
func (p *parser) drop() {
	p.count.Refused += p.set.lines
	p.set = set{}
}

// take adds the numbers of a line to the open set, and closes it when it is full.
func (p *parser) take(tokens []token, line int) {
	s := &p.set
	for _, t := range tokens {
		p.value(s, t, line)
		s.values++
		s.lastLine, s.lastColumn = line, t.column
	}
	s.lines++
	if s.values < p.layout.values {
		return
	}
	done := p.set
	if done.bad {
		p.drop()
		return
	}
	p.set = set{}
	if len(p.file.Rows) == p.mostRows {
		if !p.ruined {
			p.ruin(done.line, 1, "", "", fmt.Sprintf("more than %d frequencies", p.mostRows), "split the file by frequency")
		}
		return
	}
	p.file.Rows = append(p.file.Rows, done.row)
}

// value reads the next number of a set.
func (p *parser) value(s *set, t token, line int) {
	if s.values == 0 {
		hz, ok := p.frequency(t, line, &p.last, false)
		s.row.FreqHz = hz
		s.bad = s.bad || !ok
		return
	}
	pair, second := (s.values-1)/2, (s.values-1)%2 == 1
	name := p.layout.names[pair]
	v, fault := cell.Number([]byte(t.text), 0)
	if fault != nil {
		p.add(line, t.column, name, t.text, fault.What, fault.Mend)
		s.bad = true
		return
	}
	if !second {
		s.first, s.firstAt, s.firstLine = v, t, line
		if p.option.format == magnitudeAngle && v < 0 {
			p.add(line, t.column, name, t.text, "a magnitude is never negative", "check whether the format is DB or RI instead of MA")
			s.bad = true
		}
		return
	}
	if pair != p.layout.wanted {
		return
	}
	switch p.option.format {
	case decibelAngle:
		s.row.DB = s.first
	case magnitudeAngle:
		s.row.DB, s.row.Zero = 20*math.Log10(s.first), s.first == 0
	case realImaginary:
		magnitude := math.Hypot(s.first, v) // may be beyond any number
		s.row.DB, s.row.Zero = 20*math.Log10(magnitude), magnitude == 0
	}
	if !s.bad && !s.row.Zero && math.Abs(s.row.DB) > reading.MostDB {
		p.add(s.firstLine, s.firstAt.column, name, s.firstAt.text, fmt.Sprintf("lies more than %d dB from 0 dB", reading.MostDB), "check the format (DB, MA or RI) and the exponents")
		s.bad = true
	}
}

// frequency reads a frequency, which must exceed the one before it, or equal it
// where repeats are permitted.
func (p *parser) frequency(t token, line int, last *lastRow, repeats bool) (hz float64, ok bool) {
	hz, fault := cell.Number([]byte(t.text), p.option.scale)
	switch {
	case fault != nil:
		p.add(line, t.column, "frequency", t.text, fault.What, fault.Mend)
	case hz < 0:
		p.add(line, t.column, "frequency", t.text, "a frequency is never negative", "correct it")
	case last.line > 0 && hz == last.hz && !repeats:
		p.add(line, t.column, "frequency", t.text, fmt.Sprintf("the frequency is not increasing: it stands already on line %d", last.line), "keep one sweep in a file, and each frequency once")
	case last.line > 0 && hz < last.hz:
		p.add(line, t.column, "frequency", t.text, fmt.Sprintf("the frequency is not increasing: it is higher on line %d", last.line), "keep one sweep in a file, in order of frequency")
	default:
		*last = lastRow{hz: hz, line: line}
		return hz, true
	}
	return 0, false
}

// endRows closes the network data: a set that is still open is short of values,
// and a held line is the last one of it.
func (p *parser) endRows() {
	if h := p.held; h != nil && p.set.values+len(h.tokens) > p.layout.values {
		p.release()
	}
	if p.set.values == 0 {
		return
	}
	has, line, column := p.set.values, p.set.lastLine, p.set.lastColumn
	if h := p.held; h != nil {
		last := h.tokens[len(h.tokens)-1]
		has, line, column = has+len(h.tokens), h.line, last.column
		p.held = nil
		p.count.Refused++
	}
	p.add(line, column, "", "", fmt.Sprintf("the last data set (line %d) has %d of %d values", p.set.line, has, p.layout.values), "save the file again: it is cut off")
	p.drop()
}
