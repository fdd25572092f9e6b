package ingest

import "fmt"

// A Problem is one unusable cell, row or file. Reading goes on to find the
// others; the caller decides. Column counts bytes and points at the cell's
// start; Line and Column are 1-based, 0 where the problem has no place.
type Problem struct {
	File         string
	Line, Column int
	Field        string // the column's name, empty for a whole row or file
	Text         string // what stands there
	What         string // what is wrong, in words
	Mend         string // what would mend it
}

// Error gives file:line:column, the text, what is wrong and the mend.
func (p Problem) Error() string {
	at := p.File
	if p.Line > 0 {
		at = fmt.Sprintf("%s:%d", at, p.Line)
		if p.Column > 0 {
			at = fmt.Sprintf("%s:%d", at, p.Column)
		}
	}
	cell := ""
	switch {
	case p.Field != "" && p.Text != "":
		cell = fmt.Sprintf("%s %q: ", p.Field, p.Text)
	case p.Field != "":
		cell = p.Field + ": "
	case p.Text != "":
		cell = fmt.Sprintf("%q: ", p.Text)
	}
	s := fmt.Sprintf("%s: %s%s", at, cell, p.What)
	if p.Mend != "" {
		s += "; " + p.Mend
	}
	return s
}
