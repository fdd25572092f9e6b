package reduced

import (
	"fmt"
	"math"

	"sealbound/ingest/cell"
	"sealbound/ingest/reading"
)

// What is held of a file is bounded, so that none takes more than a gigabyte. Variables
// for tests.
var (
	mostRows  = 2_000_000 // some 100 bytes each
	mostTexts = 96 << 20  // bytes of all different labels together
)

// Rows keeps the rows of a table: labels as codes, the rest in blocks that are never
// copied.
type Rows struct {
	used   []reading.Column // columns of labels that a row may fill
	codes  map[string]int32
	texts  []string // by code
	bytes  int      // of the texts
	blocks []block
	n      int
}

const blockRows = 1 << 12

// A block is some rows.
type block struct {
	labels []int32 // codes of the used columns, row by row
	rest   []rest
}

// rest is a row without its labels.
type rest struct {
	date, installed                                    cell.Day
	line                                               int32
	repeats                                            int16
	limited, opens                                     bool
	lo, hi, attenDB, limitedShare, headroomDB, openSDB float64
}

// NewRows is empty. Of the labels of a row those in used are kept.
func NewRows(used []reading.Column) *Rows {
	return &Rows{used: used, codes: map[string]int32{"": 0}, texts: []string{""}}
}

// Len is how many there are.
func (s *Rows) Len() int { return s.n }

// Add takes a sound row. It returns what to say where there are too many.
func (s *Rows) Add(r *Row) error {
	if s.n == mostRows {
		return fmt.Errorf("a table of closings has more than %d rows; divide it by box or by year, and give fewer files at a time", mostRows)
	}
	if s.n%blockRows == 0 {
		s.blocks = append(s.blocks, block{make([]int32, 0, blockRows*len(s.used)), make([]rest, 0, blockRows)})
	}
	b := &s.blocks[len(s.blocks)-1]
	for _, c := range s.used {
		code, ok := s.codes[r.Text[c]]
		if !ok {
			text := r.Text[c]
			if s.bytes += len(text); s.bytes > mostTexts {
				return fmt.Errorf("the labels of a table of closings take up more than %d MB; shorten them, or divide the table", mostTexts>>20)
			}
			code = int32(len(s.texts))
			s.codes[text], s.texts = code, append(s.texts, text)
		}
		b.labels = append(b.labels, code)
	}
	b.rest = append(b.rest, rest{r.Date, r.Installed, int32(min(r.Line, math.MaxInt32)), int16(r.OpenRepeats), r.Limited, false,
		r.LoHz, r.HiHz, r.AttenDB, r.LimitedShare, r.HeadroomDB, r.OpenSDDB})
	s.n++
	return nil
}

// rest is row i without its labels.
func (s *Rows) rest(i int) *rest { return &s.blocks[i/blockRows].rest[i%blockRows] }

// labels are the codes of row i.
func (s *Rows) labels(i int) []int32 {
	k := i % blockRows * len(s.used)
	return s.blocks[i/blockRows].labels[k : k+len(s.used)]
}

// place is where a column's code stands among the labels of a row, -1 where no row
// fills it.
func (s *Rows) place(c reading.Column) int {
	for k, u := range s.used {
		if u == c {
			return k
		}
	}
	return -1
}

// At fills r, which is empty or was filled from the same rows, with row i.
func (s *Rows) At(i int, r *Row) {
	for k, code := range s.labels(i) {
		r.Text[s.used[k]] = s.texts[code]
	}
	x := s.rest(i)
	r.Date, r.Installed, r.Line, r.OpenRepeats, r.Limited = x.date, x.installed, int(x.line), int(x.repeats), x.limited
	r.LoHz, r.HiHz, r.AttenDB, r.LimitedShare, r.HeadroomDB, r.OpenSDDB = x.lo, x.hi, x.attenDB, x.limitedShare, x.headroomDB, x.openSDB
}

// settle finds the rows with which open readings come: the first of each run and band.
func (s *Rows) settle() {
	type key struct {
		run    int32
		date   cell.Day
		lo, hi float64
	}
	seen := map[key]bool{}
	run := s.place(reading.Run)
	for i := range s.n {
		x := s.rest(i)
		if x.repeats == 0 {
			continue
		}
		k := key{0, cell.NoDay, x.lo, x.hi}
		if run >= 0 {
			k.run = s.labels(i)[run]
		}
		if k.run == 0 {
			k.date = x.date
		}
		x.opens = !seen[k]
		seen[k] = true
	}
	s.codes = nil
}
