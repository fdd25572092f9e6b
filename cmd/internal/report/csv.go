package report

import (
	"encoding/csv"
	"fmt"
	"io"
	"strings"

	"sealbound/cmd/internal/texttab"
)

// CSV writes one line per result row to w, numbers in shortest exact digits and
// never rounded, undefined ones empty, lists joined with semicolons. Quoting is
// that of RFC 4180; lines end in a line feed. A text that a spreadsheet would
// run as a formula gets an apostrophe before it, and what could steer a display
// is shown as in text, such as \x1b. What a table has no room for,
// the notes and the account of the input, goes to notes, line by line. Nothing
// is written if any number is not finite.
func CSV(w io.Writer, doc *Document, notes io.Writer) error {
	t, err := results(doc)
	if err != nil {
		return err
	}
	if err := finite(doc, t); err != nil {
		return err
	}
	if doc.Command == "compare" {
		t = compareLines(doc)
	}
	if doc.Command == "wear" {
		t = wearLines(doc)
	}
	if doc.Command == "spread" {
		t = spreadLines(doc)
	}
	out := csv.NewWriter(w)
	columns := csvColumns(t)
	line := make([]string, len(columns))
	for i, c := range columns {
		line[i] = inert(c.name)
	}
	out.Write(line) // errors stick; Error reports the first
	for _, cells := range t.rows {
		for i, c := range columns {
			line[i] = c.cell(cells)
		}
		out.Write(line)
	}
	out.Flush()
	if err := out.Error(); err != nil {
		return err
	}
	return writeNotes(notes, doc)
}

type csvColumn struct {
	name string
	cell func(cells []any) string
}

// csvColumns spreads labels over one column for each field.
func csvColumns(t table) []csvColumn {
	var columns []csvColumn
	for i, name := range t.names {
		name = strings.ReplaceAll(name, ".", "_")
		var groups [][]Label
		for _, cells := range t.rows {
			if g, ok := cells[i].([]Label); ok {
				groups = append(groups, g)
			}
		}
		if groups == nil {
			columns = append(columns, csvColumn{name, func(cells []any) string { return csvCell(cells[i]) }})
			continue
		}
		for _, f := range labelFields(groups) {
			columns = append(columns, csvColumn{name + "_" + f, func(cells []any) string {
				g, _ := cells[i].([]Label)
				return inert(labelValue(g, f))
			}})
		}
	}
	return columns
}

func csvCell(v any) string {
	s := cellText(v)
	switch v.(type) {
	case string, []string:
		return inert(s)
	}
	return s
}

// inert keeps a spreadsheet from running a text as a formula, and a terminal from
// being steered. Full-width signs count too: some spreadsheets narrow them.
func inert(s string) string {
	lines := strings.Split(s, "\n") // a line end within a cell is no danger
	for i := range lines {
		lines[i] = texttab.Clean(lines[i])
	}
	if s = strings.Join(lines, "\n"); strings.IndexAny(s, "=+-@\n＝＋－＠") == 0 {
		return "'" + s
	}
	return s
}

func writeNotes(w io.Writer, doc *Document) error {
	var lines []string
	for _, n := range doc.Notes {
		lines = append(lines, "note: "+n)
	}
	for _, r := range doc.Check {
		for _, p := range r.Problems {
			lines = append(lines, p.String())
		}
	}
	for _, e := range doc.Explain {
		lines = append(lines, "explain: "+e.Title)
		for _, l := range e.Lines {
			lines = append(lines, "  "+l)
		}
	}
	for _, b := range inputBlocks(doc.Inputs) {
		lines = append(lines, b.text)
	}
	for _, l := range lines {
		if _, err := fmt.Fprintln(w, texttab.Clean(l)); err != nil {
			return err
		}
	}
	return nil
}
