package trace

import (
	"bytes"
	"slices"
	"strings"

	"sealbound/ingest/reading"
)

// Place finds the cell of a column of a row again, which is on the line given.
// Field and Text are empty where the table lacks the column.
func (r *Runs) Place(line int, c reading.Column) reading.Place {
	p := reading.Place{Line: line, Column: 1}
	i := slices.IndexFunc(r.columns, func(name string) bool {
		if f, ok := figures[name]; ok {
			return f.column == c
		}
		return name == c.Name()
	})
	if i < 0 {
		return p
	}
	return r.cell(line, i)
}

// File finds the cell that names the file of a row.
func (r *Runs) File(line int) reading.Place {
	return r.cell(line, slices.Index(r.columns, "file"))
}

func (r *Runs) cell(line, i int) reading.Place {
	p := reading.Place{Line: line, Column: 1, Field: r.columns[i]}
	text := r.line(line)
	s := splitter{mark: ','}
	if pieces, wrong, _ := s.split(text); wrong == "" && i < len(pieces) {
		p.Column, p.Text = r.text.column(text, pieces[i].at), pieces[i].text
	}
	return p
}

// line is the text of a line. Where each begins is found once: a damaged archive
// may ask for every line.
func (r *Runs) line(number int) string {
	r.indexed.Do(func() {
		r.starts = []int{0}
		for at, data := 0, r.text.data; ; {
			n := bytes.IndexByte(data[at:], '\n')
			if n < 0 {
				r.starts = append(r.starts, len(data)+1)
				return
			}
			at += n + 1
			r.starts = append(r.starts, at)
		}
	})
	if number < 1 || number >= len(r.starts) {
		return ""
	}
	return r.text.decode(r.text.data[r.starts[number-1] : r.starts[number]-1])
}

// needs are the columns that a closed reading cannot do without.
var needs = []reading.Column{reading.Box, reading.Gasket, reading.Closing}

// Complete drops the rows that lack what a reading needs, a state and, where that
// is closed, box, gasket and closing, and returns how many they are. Each is told;
// a column that the table lacks altogether is told once.
func (r *Runs) Complete(problems *reading.Problems) int {
	before := len(r.Rows)
	lacking := map[reading.Column]bool{}
	r.Rows = slices.DeleteFunc(r.Rows, func(run Run) bool {
		bad := false
		require := func(c reading.Column, text, what, mend string) {
			switch {
			case text != "":
			case !slices.Contains(r.columns, c.Name()):
				bad, lacking[c] = true, true
			default:
				bad = true
				at := r.Place(run.Line, c)
				problems.Add(reading.Problem{File: r.path, Line: at.Line, Column: at.Column, Field: at.Field, What: what, Mend: mend})
			}
		}
		require(reading.State, run.State, "is empty", "write open, closed or floor")
		if run.State == reading.Closed.Word() {
			for i, text := range []string{run.Box, run.Gasket, run.Closing} {
				require(needs[i], text, "is empty, and a closed reading needs it", "write the "+needs[i].Name()+"'s label")
			}
		}
		return bad
	})
	for _, c := range append([]reading.Column{reading.State}, needs...) {
		if lacking[c] {
			what := "the column " + c.Name() + " is missing, and closed readings need it"
			if c == reading.State {
				what = "the column state is missing, which says whether a trace is open, closed or floor"
			}
			problems.Add(reading.Problem{File: r.path, Line: r.header, Column: 1, What: what, Mend: "add a column " + c.Name()})
		}
	}
	return before - len(r.Rows)
}

// Place finds the cell of frequency or level in a line of a trace file again.
func Place(data []byte, profile Profile, line int, c reading.Column) reading.Place {
	at := reading.Place{Line: line, Column: 1}
	var ignored reading.Problems
	p := parser{data: data, profile: profile, declared: profile.Cells(), problems: &ignored, file: &File{}, mostRows: MaxRows}
	p.splitter.mark = profile.mark()
	var fault *reading.Problem
	if p.text, fault = open(data, profile.Encoding); fault != nil {
		return at
	}
	p.last = p.text.count() - profile.FooterLines
	if p.readHeader() != nil {
		return at
	}
	i := p.header.frequency
	if c == reading.Level {
		i = p.header.level
	}
	text, _ := p.text.line(line)
	if pieces, wrong, _ := p.splitter.split(text); wrong == "" && i < len(pieces) {
		at.Column, at.Text = p.text.column(text, pieces[i].at), strings.ToValidUTF8(pieces[i].text, "\uFFFD")
		at.Field = p.header.headings[i].text
	}
	return at
}

// Cells gives the table as it stands, its header first and without blank lines; ok
// is false where a row does not have the header's cells.
func (r *Runs) Cells() (rows [][]string, ok bool) {
	ok = true
	s := splitter{mark: ','}
	r.text.each(func(number int, line string) bool {
		if number < r.header || s.blank(line) {
			return true
		}
		pieces, wrong, _ := s.split(line)
		ok = wrong == "" && len(pieces) == len(r.columns)
		row := make([]string, len(pieces))
		for i, c := range pieces {
			row[i] = c.text
		}
		rows = append(rows, row)
		return ok
	})
	return rows, ok
}
