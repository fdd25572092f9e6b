package report

import (
	"bufio"
	"io"
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

func (g *grid) table() texttab.Table {
	t := texttab.Table{Rows: g.rows, Indent: 2}
	for i, head := range g.heads {
		c := texttab.Column{Head: head, Align: texttab.Number}
		if g.text[i] {
			c.Align = texttab.Text
		}
		t.Columns = append(t.Columns, c)
	}
	return t
}
