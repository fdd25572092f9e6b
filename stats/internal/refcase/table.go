package refcase

import (
	"strconv"
	"testing"
)

// A Table is a grid of arguments and expected numbers.
type Table struct {
	Columns   []string
	Keys      []string `json:"key_columns"`
	Rows      [][]Number
	Calls     map[string]string
	Tolerance map[string]struct{ Rel, Abs float64 }
}

// A Row is one line of a Table.
type Row struct {
	table *Table
	cells []Number
}

// EachRow calls visit with every row of the case's table; it ends the test if
// the case has none.
func (c *Case) EachRow(tb testing.TB, visit func(r Row)) {
	tb.Helper()
	if c.Table == nil || len(c.Table.Rows) == 0 {
		tb.Fatalf("reference case %s has no rows", c.ID)
	}
	for _, cells := range c.Table.Rows {
		if len(cells) != len(c.Table.Columns) {
			tb.Fatalf("reference case %s: a row of %d cells under %d columns", c.ID, len(cells), len(c.Table.Columns))
		}
		visit(Row{c.Table, cells})
	}
}

// Cell returns the number in a column, NaN where it is undefined. It panics if
// there is no such column, which is a mistake in the test.
func (r Row) Cell(column string) Number {
	for j, name := range r.table.Columns {
		if name == column {
			return r.cells[j]
		}
	}
	panic("refcase: no column " + column)
}

// Float is Cell's number.
func (r Row) Float(column string) float64 { return r.Cell(column).Float }

// Want returns the expected number in a column with its tolerance. A column
// without a tolerance is for information: asking for it panics.
func (r Row) Want(column string) Value {
	tol, ok := r.table.Tolerance[column]
	if !ok {
		panic("refcase: column " + column + " is for information only")
	}
	return Value{Name: column, Want: r.Cell(column), Rel: tol.Rel, Abs: tol.Abs, Call: r.table.Calls[column]}
}

// Check compares got with the expected number in a column.
func (r Row) Check(tb testing.TB, column string, got float64) {
	tb.Helper()
	v := r.Want(column)
	if v.Met(got) {
		return
	}
	at := ""
	for j, name := range r.table.Columns {
		for _, key := range r.table.Keys {
			if name == key {
				at += name + " " + format(r.cells[j]) + ", "
			}
		}
	}
	tb.Errorf("%s%s = %s", at, column, v.mismatch(got))
}

func format(n Number) string {
	if !n.Defined {
		return "undefined"
	}
	return strconv.FormatFloat(n.Float, 'g', -1, 64)
}
