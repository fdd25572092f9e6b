// Package texttab lays out text for a display of fixed width: tables whose
// numbers stand on their decimal points, and paragraphs. It knows nothing of
// what it shows, and nothing that it shows can steer the display.
package texttab

import "strings"

// Align says how the cells of a column stand.
type Align int

const (
	Text   Align = iota // to the left, wrapped if need be
	Number              // on the decimal point, never wrapped
)

// A Column of a table. Head may have several lines, separated by a newline.
type Column struct {
	Head  string
	Align Align
}

// A Table is laid out by Lines. A row has a cell for each column; a shorter one
// ends with empty cells, a longer one is a mistake and panics.
//
// A title stands on a line of its own above the first of the rows that share it;
// the rows below titles are set in by two more spaces.
type Table struct {
	Columns []Column
	Rows    [][]string
	Titles  []string // nil, or one for each row
	Indent  int      // spaces before each line
}

const gap = 2 // spaces between columns

// Lines returns the table as lines without trailing spaces: the heads, a rule,
// the rows; the rows alone where no column has a head. Where the table is wider than width the last text column is wrapped
// first, then the widest of the others; columns of numbers never are, so a
// table of too many of them stays wider than width.
func (t Table) Lines(width int) []string {
	cols := t.measure()
	lead := strings.Repeat(" ", t.Indent)
	below := lead
	if t.Titles != nil {
		below += "  "
	}
	squeeze(cols, width-len(below))
	total, headed := -gap, false
	for _, c := range cols {
		total += c.width + gap
		headed = headed || widest(c.head) > 0
	}
	var lines []string
	put := func(lead string, parts ...string) {
		for _, part := range parts {
			lines = append(lines, strings.TrimRight(lead+part, " "))
		}
	}
	if headed {
		put(below, heads(cols)...)
		put(lead, strings.Repeat("-", total+len(below)-len(lead)))
	}
	for r := range t.Rows {
		if t.Titles != nil && (r == 0 || t.Titles[r] != t.Titles[r-1]) {
			put(lead, Hang(t.Titles[r], width-t.Indent, "", "  ")...)
		}
		put(below, row(cols, r)...)
	}
	return lines
}

// A column being laid out.
type column struct {
	align Align
	head  []string
	cells []string
	width int
}

func (t Table) measure() []column {
	cols := make([]column, len(t.Columns))
	for i, c := range t.Columns {
		cols[i].align = c.Align
		for _, line := range strings.Split(c.Head, "\n") {
			cols[i].head = append(cols[i].head, Clean(line))
		}
	}
	for _, cells := range t.Rows {
		for i, cell := range cells {
			cols[i].cells = append(cols[i].cells, Clean(cell))
		}
		for i := len(cells); i < len(cols); i++ {
			cols[i].cells = append(cols[i].cells, "")
		}
	}
	for i := range cols {
		c := &cols[i]
		if c.align == Number {
			pointAlign(c.cells)
		}
		c.width = widest(c.head)
		for _, cell := range c.cells {
			c.width = max(c.width, Width(cell))
		}
	}
	return cols
}

func widest(lines []string) int {
	n := 0
	for _, line := range lines {
		n = max(n, Width(line))
	}
	return n
}

// pointAlign pads numbers on both sides until their points stand below each
// other and all are equally wide. A cell without a point ends where the point
// of the others stands.
func pointAlign(cells []string) {
	whole := func(s string) string { before, _, _ := strings.Cut(s, "."); return before }
	left, right := 0, 0
	for _, s := range cells {
		w := Width(whole(s))
		left, right = max(left, w), max(right, Width(s)-w)
	}
	for i, s := range cells {
		w := Width(whole(s))
		cells[i] = strings.Repeat(" ", left-w) + s + strings.Repeat(" ", right-(Width(s)-w))
	}
}

// stages are the widths to which text columns are squeezed one stage after the
// other until the table fits: the last text column, which holds the most words,
// and the others.
var stages = []struct {
	last  bool
	width int
}{{true, 24}, {false, 12}, {true, 16}, {false, 8}, {true, 8}, {false, 5}, {true, 5}}

// squeeze narrows text columns until the table fits, as far as that goes. No
// column becomes narrower than its head.
func squeeze(cols []column, width int) {
	over := gap*(len(cols)-1) - width
	last := -1
	for i, c := range cols {
		over += c.width
		if c.align == Text {
			last = i
		}
	}
	for _, s := range stages {
		for over > 0 {
			pick := -1
			for i, c := range cols {
				if c.align == Text && (i == last) == s.last && c.width > max(widest(c.head), s.width) &&
					(pick < 0 || c.width > cols[pick].width) {
					pick = i
				}
			}
			if pick < 0 {
				break
			}
			cols[pick].width--
			over--
		}
	}
}

// heads puts the heads on common lines, the last line of each at the bottom.
func heads(cols []column) []string {
	depth := 0
	for _, c := range cols {
		depth = max(depth, len(c.head))
	}
	lines := make([]string, depth)
	var b []byte
	for k := range lines {
		b = b[:0]
		for i := range cols {
			cell := ""
			if j := k - (depth - len(cols[i].head)); j >= 0 {
				cell = cols[i].head[j]
			}
			b = pad(b, cell, &cols[i], i > 0)
		}
		lines[k] = string(b)
	}
	return lines
}

func row(cols []column, r int) []string {
	parts := make([][]string, len(cols))
	depth := 1
	for i := range cols {
		if c := &cols[i]; c.align == Text {
			parts[i] = Wrap(c.cells[r], c.width)
		} else {
			parts[i] = c.cells[r : r+1]
		}
		depth = max(depth, len(parts[i]))
	}
	lines := make([]string, depth)
	b := make([]byte, 0, 128)
	for k := range lines {
		b = b[:0]
		for i := range cols {
			cell := ""
			if k < len(parts[i]) {
				cell = parts[i][k]
			}
			b = pad(b, cell, &cols[i], i > 0)
		}
		lines[k] = string(b)
	}
	return lines
}

// pad puts a cell behind b, as wide as its column.
func pad(b []byte, cell string, c *column, gapBefore bool) []byte {
	if gapBefore {
		b = spaces(b, gap)
	}
	fill := c.width - Width(cell)
	if c.align == Text {
		return spaces(append(b, cell...), fill)
	}
	return append(spaces(b, fill), cell...)
}

func spaces(b []byte, n int) []byte {
	for ; n > 0; n-- {
		b = append(b, ' ')
	}
	return b
}
