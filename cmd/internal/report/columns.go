package report

import (
	"fmt"
	"math"
	"strings"
)

// A column of a kind of row: its name, what it holds, and how it is shown to a
// person. Every format reads the same list.
//
// Dots in the name make nested objects in JSON and underscores in CSV, so
// weakest.freq_hz is {"weakest":{"freq_hz":...}} and weakest_freq_hz. Columns of
// one object stand together.
type column[R any] struct {
	name string
	of   func(*R) any // nil, bool, int, float64, string, []string, []Label, []Problem or a table: rows within the row
	show *shown[R]    // how text and markdown show it; nil: they do not
}

// shown says how a column appears in one of the tables for a person.
type shown[R any] struct {
	part  string // the table
	head  string // may hold a newline, {confidence} and {coverage}
	text  bool   // text, else a number
	lift  string // where rows agree, no column but one sentence that starts so
	cell  func(*R) string
	shows func(rows []R) bool // nil: always
}

// A table is the results of a Document as names and values, whatever they are.
type table struct {
	names []string
	rows  [][]any
}

func tableOf[R any](columns []column[R], rows []R) table {
	t := table{names: make([]string, len(columns)), rows: make([][]any, len(rows))}
	for i, c := range columns {
		t.names[i] = c.name
	}
	for k := range rows {
		cells := make([]any, len(columns))
		for i, c := range columns {
			cells[i] = c.of(&rows[k])
		}
		t.rows[k] = cells
	}
	return t
}

// results returns the rows of the command that made the Document.
func results(doc *Document) (table, error) {
	switch doc.Command {
	case "judge":
		return tableOf(judgeColumns, doc.Judge), nil
	case "check":
		return tableOf(checkColumns, doc.Check), nil
	case "compare":
		return tableOf(compareColumns, doc.Compare), nil
	case "spread":
		return tableOf(spreadColumns, doc.Spread), nil
	case "wear":
		return tableOf(wearColumns, doc.Wear), nil
	case "plan":
		return tableOf(planColumns, doc.Plan.Rows), nil
	}
	return table{}, fmt.Errorf("report: no columns for the command %q", doc.Command)
}

// finite returns an error if any number of the Document is NaN or infinite, or
// of a type that the formats do not know: no format may write such a thing.
func finite(doc *Document, t table) error {
	for _, s := range doc.Settings {
		if err := finiteValue(s.Value); err != nil {
			return fmt.Errorf("report: setting %s %w", s.Name, err)
		}
	}
	for k, cells := range t.rows {
		for i, v := range cells {
			if err := finiteValue(v); err != nil {
				return fmt.Errorf("report: %s of result %d %w", t.names[i], k+1, err)
			}
		}
	}
	return nil
}

func finiteValue(v any) error {
	switch v := v.(type) {
	case nil, bool, int, uint64, string, []string, []Label, []Problem:
		return nil
	case float64:
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return fmt.Errorf("is %v, not a finite number; please report this as a defect", v)
		}
		return nil
	case table:
		for _, cells := range v.rows {
			for i, x := range cells {
				if err := finiteValue(x); err != nil {
					return fmt.Errorf("has a %s that %w", v.names[i], err)
				}
			}
		}
		return nil
	}
	return fmt.Errorf("has the type %T, which no format knows", v)
}

// number, word and list are the values of optional columns: nil where undefined.
func number(n Number) any {
	if n == nil {
		return nil
	}
	return *n
}

func word(s string) any {
	if s == "" {
		return nil
	}
	return s
}

func list(s []string) any {
	if s == nil {
		return []string{}
	}
	return s
}

// labelFields returns the fields that name groups, in the order of their first
// appearance.
func labelFields(groups [][]Label) []string {
	var fields []string
	seen := map[string]bool{}
	for _, g := range groups {
		for _, l := range g {
			if !seen[l.Field] {
				seen[l.Field] = true
				fields = append(fields, l.Field)
			}
		}
	}
	return fields
}

func labelValue(g []Label, field string) string {
	for _, l := range g {
		if l.Field == field {
			return l.Value
		}
	}
	return ""
}

// String returns the problem as file:line:column, the text, what is wrong and
// what would mend it. Editors jump to the place.
func (p Problem) String() string {
	var b strings.Builder
	b.WriteString(p.File)
	if p.Line > 0 {
		fmt.Fprintf(&b, ":%d", p.Line)
		if p.Column > 0 {
			fmt.Fprintf(&b, ":%d", p.Column)
		}
	}
	b.WriteString(": ")
	if p.Field != "" {
		b.WriteString(p.Field)
	}
	if p.Text != "" {
		if p.Field != "" {
			b.WriteString(" ")
		}
		fmt.Fprintf(&b, "%q", p.Text)
	}
	if p.Field != "" || p.Text != "" {
		b.WriteString(": ")
	}
	b.WriteString(p.What)
	if p.Mend != "" {
		b.WriteString("; " + p.Mend)
	}
	return b.String()
}
