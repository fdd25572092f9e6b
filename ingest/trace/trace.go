// Package trace reads trace files, the single sweeps that an analyser saves, and
// runs.csv, which says of each what it is a reading of.
//
// Analysers write tables of every kind: lines above the header, decimal commas,
// units in a row of their own. A plain comma-separated UTF-8 file with a known
// header is read as it is. Any other is read only under a Profile that declares
// how it is written. Nothing is guessed: an oddity that is not declared is
// refused with its place, and the refusal proposes the cells of the profile that
// would read it.
package trace

import (
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"sealbound/ingest/reading"
)

// Limits of what is read; beyond them a file is refused.
const (
	MaxBytes = 256 << 20 // of a file
	MaxLine  = 1 << 20   // bytes of a line
	MaxRows  = 1 << 22   // rows of a file
	MaxCells = 1 << 12   // cells of a row
)

// A Row is the level at one frequency.
type Row struct {
	FreqHz   float64 // above 0, correctly rounded from the digits in the file
	LevelDBm float64 // dBuV is converted, into 50 ohm; dB of a Relative file; of a Limited row the limit
	Limited  bool    // the level was written as below LevelDBm
	Sweep    int32   // 1-based; 1 unless the profile declares repeated headers
	Line     int32   // 1-based
}

// A File is the rows of a trace file, in their order.
type File struct {
	Name     string
	Rows     []Row
	Sweeps   int
	Relative bool // the levels are dB relative to the generator
	Excluded int  // rows whose status is not a good one
	Missing  int  // rows whose level is a declared token for none
	Limited  int  // rows, of those in Rows
	// LeftOutHz are the frequencies of the rows excluded or missing, as far as they can
	// be read, in their order.
	LeftOutHz []float64
	// FreqToleranceHz is the profile's: frequencies of two traces this near to
	// each other were meant to be the same. 0 where it declares none.
	FreqToleranceHz float64
	Ignored         []string // columns, by name
	Trailing        bool     // the last column is unnamed, and empty in every row
	Unsorted        bool     // the frequencies do not ascend; they are kept in their order
}

// Parse reads a trace file under a profile; the zero Profile declares nothing.
// What is wrong goes to problems, each with its place and the cells of the
// profile that would read it, and reading goes on to find the others: rows with a
// problem are left out of the File, and the File is nil where the file as a whole
// cannot be read. The Count is of the lines below the header, footer excluded. The
// error is that of r alone.
func Parse(r io.Reader, name string, profile Profile, problems *reading.Problems) (*File, reading.Count, error) {
	data, err := io.ReadAll(io.LimitReader(r, MaxBytes+1))
	if err != nil {
		return nil, reading.Count{}, fmt.Errorf("read %s: %w", name, err)
	}
	p := parser{
		data:     data,
		profile:  profile,
		declared: profile.Cells(),
		problems: problems,
		file:     &File{Name: name, FreqToleranceHz: profile.FreqToleranceHz},
		mostRows: MaxRows,
	}
	return p.parse()
}

// A parser holds what is known of the file so far.
type parser struct {
	data     []byte
	profile  Profile
	declared []Cell // of the profile
	problems *reading.Problems
	file     *File
	count    reading.Count
	mostRows int
	remedies int // that were looked for
	told     int // problems

	text     text
	last     int // the last line that is data and no footer
	header   header
	notation notation
	splitter splitter
	sweep    sweep
	digits   []byte // of the number at hand
}

// errRefused says that the file as a whole cannot be read; the problem is told.
var errRefused = errors.New("refused")

func (p *parser) parse() (*File, reading.Count, error) {
	if err := p.read(); err != nil {
		return nil, p.countLines(), nil
	}
	p.file.Ignored, p.file.Trailing, p.file.Unsorted = p.header.ignored, p.header.trailing, p.sweep.unsorted
	return p.file, p.count, nil
}

// mostProblems is how many problems of one file are told.
const mostProblems = 10_000

// add tells a problem; behind mostProblems none but that there are more.
func (p *parser) add(at reading.Problem) {
	if p.told++; p.told > mostProblems+1 {
		return
	}
	if p.told == mostProblems+1 {
		at = reading.Problem{Line: at.Line, Column: 1, What: fmt.Sprintf("more than %d problems in this file; from here on none is told", mostProblems), Mend: "mend those above first"}
	}
	at.File = p.file.Name
	at.Text = strings.ToValidUTF8(at.Text, "\uFFFD")
	p.problems.Add(at)
}

// refuse tells a problem of the file as a whole. Its mend proposes all cells of
// the profile that the file seems to need, and the other oddities that they are
// for are told at their own places.
func (p *parser) refuse(at reading.Problem) error {
	proposed, reasons := Propose(p.data)
	var wanted []Cell
	for _, c := range proposed.Cells() {
		if !slices.Contains(p.declared, c) {
			wanted = append(wanted, c)
		}
		if at.Mend == declareOpen(c.Column) { // it can be told after all
			at.Mend = ""
		}
	}
	var mends []string
	if at.Mend != "" {
		mends = append(mends, at.Mend)
	}
	if len(wanted) > 0 {
		mends = append(mends, declare(wanted...))
	}
	for _, r := range reasons {
		if r.Cell != "" && (slices.Contains(p.declared, Cell{r.Cell, r.Value}) || r.Value == "" && p.profile.declares(r.Cell)) {
			continue
		}
		mend := "save the trace again"
		switch {
		case r.Value != "":
			mend = declare(Cell{r.Cell, r.Value})
		case r.Cell != "":
			mend = declareOpen(r.Cell)
			if !slices.Contains(mends, mend) {
				mends = append(mends, mend)
			}
		}
		if r.Line != at.Line || r.Column != at.Column {
			p.add(reading.Problem{Line: r.Line, Column: r.Column, Text: r.Text, What: r.Why, Mend: mend})
		}
	}
	if len(mends) == 0 {
		mends = append(mends, "save the trace again as comma-separated UTF-8 text with a header such as Frequency (Hz),Level (dBm)")
	}
	at.Mend = strings.Join(mends, "; ")
	p.add(at)
	return errRefused
}

// countLines accounts for the lines of a file that cannot be used.
func (p *parser) countLines() reading.Count {
	var n reading.Count
	if p.text.data == nil {
		p.text = text{data: p.data, encoding: "latin-1"} // of which any bytes are text
	}
	p.text.each(func(number int, line string) bool {
		if number > max(p.profile.HeaderLine, 1) {
			n.Rows++
			if p.splitter.blank(line) {
				n.Blank++
			}
		}
		return true
	})
	n.Refused = n.Rows - n.Blank
	return n
}

// read goes through the file from its encoding to its last row.
func (p *parser) read() error {
	p.splitter.mark = p.profile.mark()
	if len(p.data) > MaxBytes {
		p.add(reading.Problem{What: "the file is larger than 256 MB", Mend: "split it by frequency"})
		return errRefused
	}
	if what := p.profile.contradiction(); what != "" {
		p.add(reading.Problem{What: "the profile: " + what, Mend: "correct its cells"})
		return errRefused
	}
	if len(p.data) == 0 {
		p.add(reading.Problem{What: "the file is empty", Mend: "save the trace again"})
		return errRefused
	}
	var fault *reading.Problem
	if p.text, fault = open(p.data, p.profile.Encoding); fault == nil {
		fault = p.text.check()
	}
	if fault != nil {
		return p.refuse(*fault)
	}
	p.last = p.text.count() - p.profile.FooterLines
	p.notation = p.profile.notation()
	if err := p.readHeader(); err != nil {
		return err
	}
	return p.readRows()
}
