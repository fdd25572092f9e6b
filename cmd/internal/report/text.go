package report

import (
	"bufio"
	"io"
	"slices"
	"strings"

	"sealbound/cmd/internal/texttab"
)

// Text writes doc for a person, in lines of at most width columns except where
// a line names a place in a file: the answer first. Levels are rounded to one
// decimal of a dB, two where the standard error is below 0.05 dB. It uses no
// colour. Nothing is written if any number is not finite.
func Text(w io.Writer, doc *Document, width int) error {
	blocks, err := page(doc)
	if err != nil {
		return err
	}
	out := bufio.NewWriter(w)
	put := func(lines ...string) {
		for _, line := range lines {
			out.WriteString(line) // errors stick; Flush reports the first
			out.WriteByte('\n')
		}
	}
	for i, b := range blocks {
		if i > 0 {
			put("")
		}
		if b.title != "" {
			put(texttab.Wrap(b.title, width)...)
		}
		if b.text != "" {
			put(texttab.Wrap(b.text, width)...)
		}
		if b.grid != nil {
			if b.title != "" || b.text != "" {
				put("")
			}
			put(b.grid.table().Lines(width)...)
		}
		if b.grid != nil && len(b.bullets) > 0 {
			put("")
		}
		for _, s := range b.bullets {
			put(texttab.Hang(s, width, "- ", "  ")...)
		}
		for _, s := range b.lines {
			if b.whole {
				put(texttab.Clean(s))
			} else {
				put(indented(s, width)...)
			}
		}
	}
	return out.Flush()
}

// indented sets s two spaces in. A line that fits keeps its spaces; a longer one
// is broken.
func indented(s string, width int) []string {
	if line := "  " + texttab.Clean(s); texttab.Width(line) <= width {
		return []string{line}
	}
	bare := strings.TrimLeft(s, " ")
	lead := strings.Repeat(" ", 2+len(s)-len(bare))
	return texttab.Hang(bare, width, lead, lead+"  ")
}

// table is the grid for a narrow display: labels stand in titles above their
// rows instead of in columns, and so does what all rows of each group share.
func (g *grid) table() texttab.Table {
	t := texttab.Table{Indent: 2, Rows: make([][]string, g.n), Titles: slices.Clone(g.titles)}
	for _, c := range g.columns {
		if c.label || c.lift != "" && g.sharedInGroups(c.cells) {
			for i := range t.Titles {
				if c.lift != "" {
					t.Titles[i] += ". " + c.lift + c.cells[i]
				}
			}
			continue
		}
		column := texttab.Column{Head: c.head, Align: texttab.Number}
		if c.text {
			column.Align = texttab.Text
		}
		t.Columns = append(t.Columns, column)
		for i, cell := range c.cells {
			t.Rows[i] = append(t.Rows[i], cell)
		}
	}
	return t
}

func (g *grid) sharedInGroups(cells []string) bool {
	for i := range g.titles {
		if i > 0 && g.titles[i] == g.titles[i-1] && cells[i] != cells[i-1] {
			return false
		}
	}
	return g.titles != nil
}
