package trace

import (
	"fmt"
	"strings"
)

// A piece is one cell of a line: its text and the offset of its first byte, the
// quote where it is quoted.
type piece struct {
	text string
	at   int
}

// A splitter cuts lines into cells.
type splitter struct {
	mark   byte // between cells; a blank stands for any number of them
	pieces []piece
}

// split cuts a line at the delimiter and trims blanks around each cell. A cell in
// quotes may hold the delimiter, and "" for a quote; it ends on its line. What is
// wrong with the line is returned with its offset. The pieces are dead after the
// next call.
func (s *splitter) split(line string) (pieces []piece, wrong string, at int) {
	s.pieces = s.pieces[:0]
	if s.mark == ' ' {
		line = strings.TrimRight(line, " \t")
	}
	i := 0
	for {
		if len(s.pieces) == MaxCells {
			return nil, fmt.Sprintf("more than %d cells in a line", MaxCells), i
		}
		start := i
		i = len(line) - len(strings.TrimLeft(line[i:], s.blanks()))
		if i < len(line) && line[i] == '"' {
			opened := i
			text, rest, closed := quoted(line[i:])
			if !closed {
				return nil, "a quote is opened and not closed on its line", opened
			}
			i = len(line) - len(rest)
			next := strings.TrimLeft(rest, s.blanks())
			switch {
			case next == "":
				i = len(line)
			case s.mark == ' ' && len(next) < len(rest):
			case s.mark == ' ' || next[0] != s.mark:
				return nil, "text follows the end of a quoted cell", opened
			default:
				i = len(line) - len(next)
			}
			s.pieces = append(s.pieces, piece{strings.TrimSpace(text), opened})
		} else {
			n := strings.IndexByte(line[i:], s.mark)
			if s.mark == ' ' {
				n = strings.IndexAny(line[i:], " \t")
			}
			if n < 0 {
				n = len(line) - i
			}
			text := strings.TrimSpace(line[i : i+n])
			if q := strings.IndexByte(text, '"'); q >= 0 {
				return nil, "a quote stands inside a cell that is not quoted", i + q
			}
			if text == "" {
				i, n = start, i+n-start
			}
			s.pieces = append(s.pieces, piece{text, i})
			i += n
		}
		if i >= len(line) {
			return s.pieces, "", 0
		}
		i++ // over the delimiter
	}
}

// blanks are what may stand around a cell.
func (s *splitter) blanks() string {
	if s.mark == '\t' {
		return " "
	}
	return " \t"
}

// quoted reads a cell that begins with a quote and returns what follows it.
func quoted(s string) (text, rest string, closed bool) {
	i := 1
	for i < len(s) {
		switch {
		case s[i] != '"':
			i++
		case i+1 < len(s) && s[i+1] == '"':
			i += 2
		default:
			return strings.ReplaceAll(s[1:i], `""`, `"`), s[i+1:], true
		}
	}
	return "", "", false
}

// blank tells whether a line holds nothing but blanks and delimiters.
func (s *splitter) blank(line string) bool {
	return strings.Trim(line, " \t"+string(rune(s.mark))) == ""
}
