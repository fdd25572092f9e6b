// Package touchstone reads the network files that network analysers save:
// .s1p to .s4p and .ts, versions 1.0, 1.1 and 2.0.
//
// The format is the Touchstone File Format Specification of the IBIS Open
// Forum, versions 1.1 and 2.0 (2009), an open standard. Its rules stand here in
// our own words and from memory. An outside reader confirms the values of version
// 1 files of one to four ports and of full matrices in version 2.0 (see testdata);
// half matrices, the order of two-port data and the noise section of version 2.0
// no outside reader has confirmed.
//
// Of a network the one quantity wanted here is how much passes from port 1 to
// port 2, |S21| in dB (of a one-port |S11|). All other numbers are checked and
// then dropped. Whatever the standard does not permit is refused with its place;
// nothing is guessed.
package touchstone

import (
	"fmt"
	"io"
	"path"
	"strconv"
	"strings"

	"sealbound/ingest/reading"
)

// Limits of what is read; beyond them a file is refused.
const (
	MaxPorts = 4         // whichever two of more ports were meant, the file cannot say
	MaxBytes = 256 << 20 // of a file
	MaxLine  = 1 << 20   // bytes of a line
	MaxRows  = 1 << 22   // frequencies of a file
)

// A Row is the network at one frequency.
type Row struct {
	FreqHz float64 // 0 or more, strictly increasing over the rows of a file
	// DB is 20 log10 |S21| of 2 to 4 ports and 20 log10 |S11| of one: a level
	// relative to the generator's. Where Zero is set it is -Inf, and no number
	// to calculate with.
	DB   float64
	Zero bool // the magnitude was written as 0: nothing passed, whatever the floor was
	Line int  // on which the row begins, 1-based
}

// A File is the network read from one file.
type File struct {
	Name         string
	Version      string // "1" (1.0 and 1.1 look alike) or "2.0"
	Ports        int
	Parameter    string    // S21, or S11 of a one-port
	ReferenceOhm []float64 // reference resistance of each port
	Rows         []Row
	NoiseRows    int // rows of noise data, which were checked and skipped
}

// Parse reads a network file. The ending of name tells how many ports a version
// 1 file has. What is wrong goes to problems, each with its place, and reading
// goes on to find the others: rows with a problem are left out of the File, and
// the File is nil where the file as a whole cannot be used. The Count is of lines
// of network data, as far as the file is text. The error is that of r alone.
func Parse(r io.Reader, name string, problems *reading.Problems) (*File, reading.Count, error) {
	return newParser(r, name, problems).parse()
}

func newParser(r io.Reader, name string, problems *reading.Problems) *parser {
	return &parser{
		lines:    newLines(r),
		problems: problems,
		file:     &File{Name: name},
		mostRows: MaxRows,
	}
}

func (p *parser) parse() (*File, reading.Count, error) {
	p.ending()
	if p.ruined {
		p.skim()
	} else {
		p.read()
	}
	if p.lines.err != nil {
		return nil, reading.Count{}, fmt.Errorf("read %s: %w", p.file.Name, p.lines.err)
	}
	if p.ruined {
		p.count.Refused = p.count.Rows
		return nil, p.count, nil
	}
	return p.file, p.count, nil
}

// A parser holds what is known of the file so far.
type parser struct {
	lines    *lines
	problems *reading.Problems
	file     *File
	count    reading.Count
	ruined   bool // no File comes of it
	mostRows int
	told     int     // problems
	tokens   []token // of the line at hand

	endingPorts int // 0 for .ts
	option      *option
	header      keywords
	matrix      matrix
	section     section
	layout      layout // known from networkData on
	set         set
	held        *held
	sets        int // data sets begun, sound or not
	last        lastRow
	lastNoise   lastRow
}

// A section is the part of a file that a line belongs to.
type section int

const (
	top section = iota
	referenceValues
	information
	networkData
	noiseData
	end
)

// mostProblems is how many problems of one file are told.
const mostProblems = 10_000

// add tells a problem; behind mostProblems none but that there are more.
func (p *parser) add(line, column int, field, text, what, mend string) {
	if p.told++; p.told > mostProblems+1 {
		return
	}
	if p.told == mostProblems+1 {
		column, field, text = 1, "", ""
		what, mend = fmt.Sprintf("more than %d problems in this file; from here on none is told", mostProblems), "mend those above first"
	}
	p.problems.Add(reading.Problem{File: p.file.Name, Line: line, Column: column, Field: field,
		Text: strings.ToValidUTF8(text, "\uFFFD"), What: what, Mend: mend})
}

// ruin adds a problem that leaves no File.
func (p *parser) ruin(line, column int, field, text, what, mend string) {
	p.ruined = true
	p.add(line, column, field, text, what, mend)
}

// ending takes the number of ports from the file's name.
func (p *parser) ending() {
	ending := strings.ToLower(path.Ext(strings.ReplaceAll(p.file.Name, `\`, "/")))
	if ending == ".ts" {
		return
	}
	digits := strings.TrimSuffix(strings.TrimPrefix(ending, ".s"), "p")
	n, err := strconv.Atoi(digits)
	switch {
	case ending != ".s"+digits+"p" || err != nil || n < 1 || digits[0] < '1':
		p.ruin(0, 0, "", "", "the name does not say how many ports the network has", "end it in .s1p to .s4p, or in .ts for version 2.0")
	case n > MaxPorts:
		p.tooManyPorts(0, 0, "", n)
	}
	p.endingPorts = n
}

func (p *parser) tooManyPorts(line, column int, text string, n int) {
	p.ruin(line, column, "", text, fmt.Sprintf("a network of %d ports, and at most %d are read", n, MaxPorts),
		"save the two ports between which the box stood as .s2p")
}

// read goes through the lines until the end, or until nothing more can be made
// of them.
func (p *parser) read() {
	for p.lines.next() {
		if !p.line(p.lines.text, p.lines.number) {
			p.skim()
			return
		}
	}
	if p.lines.err != nil {
		return
	}
	if f := p.lines.fault; f != nil {
		p.ruin(f.Line, f.Column, "", "", f.What, f.Mend)
		return
	}
	p.finish()
}

// skim counts the lines of data from the line at hand on, which was refused.
func (p *parser) skim() {
	for more := true; more; more = p.lines.next() {
		body, _, _ := strings.Cut(p.lines.text, "!")
		if tokens := split(body, p.tokens[:0]); len(tokens) > 0 && tokens[0].text[0] != '#' && tokens[0].text[0] != '[' {
			p.count.Rows++
		}
	}
}

// line takes one line in and reports whether to go on.
func (p *parser) line(text string, number int) bool {
	body, _, _ := strings.Cut(text, "!")
	tokens := split(body, p.tokens[:0])
	p.tokens = tokens
	if len(tokens) == 0 {
		return true
	}
	first := tokens[0]
	if len(tokens) > mostWords {
		p.ruin(number, tokens[mostWords].column, "", "", fmt.Sprintf("more than %d words in a line", mostWords), "save the file again: it has lost its line ends")
		return false
	}
	if p.section == information {
		if strings.HasPrefix(first.text, "[") {
			if name, _, _ := keyword(body); name == "end information" {
				p.section = top
			}
		}
		return true
	}
	switch {
	case p.section == end:
		p.ruin(number, first.column, "", first.text, "content after [End]", "keep one network in a file; remove what follows")
		return false
	case first.text[0] == '[':
		return p.keyword(body, first.column, number)
	case first.text[0] == '#':
		return p.optionLine(tokens, number)
	case p.section == referenceValues:
		p.references(tokens, number)
		return true
	case p.section == noiseData:
		p.noiseRow(tokens, number)
		return true
	case p.section == networkData:
		p.dataLine(tokens, number)
		return true
	}
	return p.firstData(tokens, number)
}

// finish looks at the whole once the lines have ended.
func (p *parser) finish() {
	last := p.lines.number
	switch {
	case last == 0:
		p.ruin(0, 0, "", "", "the file is empty", "save it again")
		return
	case p.option == nil:
		p.ruin(1, 1, "", "", "no option line", "write one above the data, such as # MHz S DB R 50, with the unit and format that the data have")
		return
	case p.section == information:
		p.ruin(last, 1, "", "", "[Begin Information] without [End Information]", "write [End Information], or save the file again")
		return
	}
	p.endRows()
	if p.file.Version == "2.0" {
		if p.header.network == 0 {
			p.ruin(last, 1, "", "", "[Network Data] is missing", "save the file again")
			return
		}
		if p.section != end {
			p.counts(last, 1)
			p.ruin(last, 1, "", "", "[End] is missing: the file may be cut off", "save it again; if it is whole, write [End] below the data")
		}
	}
	if p.sets == 0 && !p.ruined {
		p.ruin(last, 1, "", "", "no rows of data", "save the file again: a sweep that was broken off leaves none")
	}
	p.file.ReferenceOhm = p.referenceOhm()
}
