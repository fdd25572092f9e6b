package trace

import (
	"strings"
	"unicode/utf8"

	"sealbound/ingest/cell"
)

// A notation is how numbers are written. The zero value is not usable.
type notation struct {
	decimal   byte // '.' or ','
	thousands rune // between groups of three digits; 0: none
}

var plainNotation = notation{decimal: '.'}

func (p *Profile) notation() notation {
	n := plainNotation
	if p.Decimal == "comma" {
		n.decimal = ','
	}
	switch p.Thousands {
	case "comma":
		n.thousands = ','
	case "point":
		n.thousands = '.'
	case "space":
		n.thousands = ' '
	case "apostrophe":
		n.thousands = '\''
	}
	return n
}

// cells declares the notation.
func (n notation) cells() []Cell {
	var cells []Cell
	if n.decimal == ',' {
		cells = append(cells, Cell{"decimal", "comma"})
	}
	if n.thousands != 0 {
		cells = append(cells, Cell{"thousands", map[rune]string{',': "comma", '.': "point", ' ': "space", '\'': "apostrophe"}[n.thousands]})
	}
	return cells
}

// notations are all that a profile can declare, the plainest first.
var notations = []notation{
	plainNotation, {decimal: ','},
	{'.', ','}, {',', '.'}, {'.', ' '}, {',', ' '}, {'.', '\''}, {',', '\''},
}

// separates tells whether r stands between groups of digits. Blanks and
// apostrophes have several forms.
func (n notation) separates(r rune) bool {
	switch n.thousands {
	case ' ':
		return r == ' ' || r == '\u00a0' || r == '\u2009' || r == '\u202f'
	case '\'':
		return r == '\'' || r == '\u2019'
	}
	return n.thousands != 0 && r == n.thousands
}

// read turns s, a number in this notation, into its value times 10^scale. buf is
// working memory, handed back grown.
func (n notation) read(s string, scale int, buf []byte) (float64, []byte, *cell.Fault) {
	plain, ok := n.plain(s, buf[:0])
	if !ok {
		return 0, plain, n.explain(s)
	}
	v, fault := cell.Number(plain, scale)
	if fault != nil {
		fault = n.explain(s)
		if _, other := cell.Number(plain, 0); other != nil {
			fault.What = other.What // such as too large
		}
	}
	return v, plain, fault
}

// plain rewrites s with a decimal point and without separators. It returns false
// where a mark stands that the notation does not give a meaning.
func (n notation) plain(s string, buf []byte) ([]byte, bool) {
	if n == plainNotation {
		return append(buf, s...), true
	}
	group, groups := 0, 0 // digits since the last separator, separators so far
	fraction := false
	for i := 0; i < len(s); {
		r, size := utf8.DecodeRuneInString(s[i:])
		switch {
		case r >= '0' && r <= '9':
			if !fraction {
				group++
			}
			buf = append(buf, byte(r))
		case r == rune(n.decimal):
			if fraction || groups > 0 && group != 3 {
				return buf, false
			}
			fraction = true
			buf = append(buf, '.')
		case n.separates(r):
			if fraction || group < 1 || group > 3 || groups > 0 && group != 3 {
				return buf, false
			}
			groups, group = groups+1, 0
		case r == '.' || r == ',' || r >= utf8.RuneSelf:
			return buf, false
		default:
			if (r == 'e' || r == 'E') && !fraction {
				if groups > 0 && group != 3 {
					return buf, false
				}
				fraction = true
			}
			buf = append(buf, byte(r))
		}
		i += size
	}
	return buf, fraction || groups == 0 || group == 3
}

// explain tells why s is no number in this notation.
func (n notation) explain(s string) *cell.Fault {
	_, fault := cell.Number([]byte(s), 0)
	if fault != nil && (n == plainNotation || !strings.ContainsAny(s, "0123456789")) {
		return &cell.Fault{What: fault.What, Mend: fault.Mend}
	}
	mark := "points"
	if n.decimal == ',' {
		mark = "commas"
	}
	return &cell.Fault{What: "is not a number with decimal " + mark + ", as the profile declares", Mend: "correct the cell, or the profile"}
}

// unit takes the unit off the end of s.
func unit(s string) (number, unit string) {
	i := len(s)
	for i > 0 {
		r, size := utf8.DecodeLastRuneInString(s[:i])
		if r != '/' && !letter(r) {
			break
		}
		i -= size
	}
	return strings.TrimSpace(s[:i]), s[i:]
}

func letter(r rune) bool {
	return r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r == '\u00b5' || r == '\u03bc'
}
