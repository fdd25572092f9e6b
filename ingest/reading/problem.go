// Package reading holds what every file format yields: readings, each with its
// place, and problems. It knows no format and pairs nothing.
package reading

import (
	"fmt"
	"sort"
)

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

// before orders problems by file, line, column, and then by their words, so
// that the order in which they were found never shows.
func (p Problem) before(q Problem) bool {
	switch {
	case p.File != q.File:
		return p.File < q.File
	case p.Line != q.Line:
		return p.Line < q.Line
	case p.Column != q.Column:
		return p.Column < q.Column
	case p.Field != q.Field:
		return p.Field < q.Field
	case p.What != q.What:
		return p.What < q.What
	case p.Text != q.Text:
		return p.Text < q.Text
	}
	return p.Mend < q.Mend
}

// Problems collects problems and keeps the first Limit of them in order of file,
// line and column, so that a damaged archive cannot fill the memory. The zero
// value keeps none and counts all.
type Problems struct {
	Limit   int
	kept    []Problem
	omitted int
}

// slack is how many problems beyond the limit are gathered before sorting.
const slack = 256

// textLimit bounds the excerpt that a problem carries, in bytes.
const textLimit = 120

// Add takes a problem. Its text is cut where it is long.
func (ps *Problems) Add(p Problem) {
	p.Text = clip(p.Text)
	ps.kept = append(ps.kept, p)
	if len(ps.kept) >= ps.Limit+slack {
		ps.prune()
	}
}

// Count is how many problems were added, those included that are not kept.
func (ps *Problems) Count() int { return len(ps.kept) + ps.omitted }

// AddAll takes what another collector holds.
func (ps *Problems) AddAll(other *Problems) {
	ps.omitted += other.omitted
	for _, p := range other.kept {
		ps.Add(p)
	}
}

// Move gives the problems that have a line other ones. The order of the lines must
// stay the same.
func (ps *Problems) Move(line func(int) int) {
	for i := range ps.kept {
		if p := &ps.kept[i]; p.Line > 0 {
			p.Line = line(p.Line)
		}
	}
}

// Sorted returns the problems in order, each once, and how many more there were.
func (ps *Problems) Sorted() (kept []Problem, omitted int) {
	ps.prune()
	return ps.kept, ps.omitted
}

func (ps *Problems) prune() {
	sort.Slice(ps.kept, func(i, j int) bool { return ps.kept[i].before(ps.kept[j]) })
	unique := ps.kept[:0]
	for i, p := range ps.kept {
		if i == 0 || p != ps.kept[i-1] {
			unique = append(unique, p)
		}
	}
	if len(unique) > ps.Limit {
		ps.omitted += len(unique) - ps.Limit
		unique = unique[:ps.Limit]
	}
	ps.kept = unique
}

// clip cuts s to at most textLimit bytes, between runes.
func clip(s string) string {
	if len(s) <= textLimit {
		return s
	}
	n := textLimit
	for n > 0 && s[n]&0xc0 == 0x80 {
		n--
	}
	return s[:n] + "…"
}
