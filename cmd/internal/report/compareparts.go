package report

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// The makers of the columns of tables within a row.

func inTable[R any](name string, of func(*R) any, part, head string, text bool, cell func(*R) string) column[R] {
	return column[R]{name: name, of: of, show: &shown[R]{part: part, head: head, text: text, cell: cell}}
}

func countOf[R any](name string, of func(*R) int, part, head string) column[R] {
	return inTable(name, func(r *R) any { return of(r) }, part, head, false, func(r *R) string { return strconv.Itoa(of(r)) })
}

func decibelOf[R any](name string, of func(*R) Number, part, head string, digits func(*R) int) column[R] {
	return inTable(name, func(r *R) any { return number(of(r)) }, part, head, false, func(r *R) string { return optional(of(r), digits(r)) })
}

// shownWhere shows a column only where some row has something in it.
func shownWhere[R any](c column[R], is func(*R) bool) column[R] {
	c.show.shows = func(rows []R) bool {
		return slices.ContainsFunc(rows, func(r R) bool { return is(&r) })
	}
	return c
}

// innerGrid lays out the tables within rows one below the other, each under the
// name of its row.
func innerGrid[R any](part string, columns []column[R], rows []CompareRow, of func(*CompareRow) []R) *grid {
	g := &grid{}
	var all []R
	for i := range rows {
		for _, x := range of(&rows[i]) {
			all = append(all, x)
			g.titles = append(g.titles, rows[i].title())
		}
	}
	g.n = len(all)
	g.add(gridColumn{head: "band", text: true, label: true}, func(i int) string { return g.titles[i] })
	for _, c := range columns {
		if c.show == nil || c.show.part != part || c.show.shows != nil && !c.show.shows(all) {
			continue
		}
		g.add(gridColumn{head: c.show.head, text: c.show.text}, func(i int) string { return c.show.cell(&all[i]) })
	}
	return g
}

func (r *CompareRow) title() string {
	if len(r.Group) == 0 {
		return r.Band.Name
	}
	return groupName(r.Group) + ", " + r.Band.Name
}

func compareBlocks(doc *Document) []block {
	if len(doc.Compare) == 0 {
		return nil
	}
	rows := doc.Compare
	fill := levelsOf(doc.Settings)
	var blocks []block
	add := func(title, legend string, g *grid, bullets []string) {
		if g.n > 0 {
			blocks = append(blocks, block{title: title, text: fill.Replace(legend), grid: g, bullets: bullets})
		}
	}
	legend := "Means are adjusted for what the products do not share. Lower bounds (≥) of the mean are one-sided with {confidence} confidence."
	if m := methods(rows, func(r *CompareRow) string { return r.LettersMethod }); m != "" {
		legend += " Products with a letter in common are not shown to differ (" + m + ")."
	}
	if target := sameTarget(rows); target != "" {
		legend += " Target, dB: " + target + "."
	}
	if slices.ContainsFunc(rows, func(r CompareRow) bool {
		return slices.ContainsFunc(r.Products, func(p CompareProduct) bool { return p.Strips > 0 })
	}) {
		legend += fmt.Sprintf(" Strips and cost are for all %s compared.", counted(rows[0].Boxes, "box"))
	}
	add("Products, dB", legend, innerGrid(answer, productColumns, rows, func(r *CompareRow) []CompareProduct { return r.Products }), nil)
	legend = "Nothing can be said of how far these differences may be chance."
	if m := methods(rows, func(r *CompareRow) string { return r.Method }); m != "" {
		legend = "From and to hold together for all differences of a band with {confidence} confidence, and p is adjusted for all (" + m + ")."
	}
	if slices.ContainsFunc(rows, func(r CompareRow) bool {
		return slices.ContainsFunc(r.Differences, func(d CompareDifference) bool { return d.AtLeast || d.AtMost })
	}) {
		legend += " Limited readings: ≥ at least the figure, ≤ at most, ~ either."
	}
	if e := rows[0].EquivalentDB; e != nil {
		legend += " As good: less than " + shortest(*e) + " dB apart, by two one-sided tests (Holm)."
	}
	add("Differences, dB", legend, innerGrid(answer, differenceColumns, rows, func(r *CompareRow) []CompareDifference { return r.Differences }), undefinedDifferences(rows))
	add("Gain of each box over "+rows[0].Against+", dB", "Plain differences within a box, without bounds; how far they differ between boxes tells how far to trust one.",
		innerGrid(answer, gainColumns, rows, func(r *CompareRow) []CompareGain { return r.Gains }), nil)
	if len(doc.Explain) > 0 {
		add("What the bounds rest on, dB", "", innerGrid(method, productColumns, rows, func(r *CompareRow) []CompareProduct { return r.Products }).named(rows), nil)
		add("Spread, dB", "Bounds of the SD are one-sided with {confidence} confidence.", innerGrid(method, componentColumns, rows, func(r *CompareRow) []CompareComponent { return r.Components }), nil)
	}
	return blocks
}

// named puts the gaskets before the other columns of a product.
func (g *grid) named(rows []CompareRow) *grid {
	c := gridColumn{head: "gasket", text: true}
	for _, r := range rows {
		for _, p := range r.Products {
			c.cells = append(c.cells, p.Gasket)
		}
	}
	g.columns = slices.Insert(g.columns, 1, c)
	return g
}

// methods lists the methods of the rows, each once.
func methods(rows []CompareRow, of func(*CompareRow) string) string {
	var names []string
	for i := range rows {
		if m := of(&rows[i]); m != "" && !slices.Contains(names, m) {
			names = append(names, m)
		}
	}
	return strings.Join(names, ", ")
}

// sameTarget is the target where all bands have the same.
func sameTarget(rows []CompareRow) string {
	for _, r := range rows {
		if r.TargetDB == nil || *r.TargetDB != *rows[0].TargetDB {
			return ""
		}
	}
	return plainly(*rows[0].TargetDB)
}

// undefinedDifferences says why differences have no bounds, once for each reason.
func undefinedDifferences(rows []CompareRow) []string {
	var reasons []string
	about := make(map[string][]string)
	for i := range rows {
		for _, d := range rows[i].Differences {
			if d.Reason == "" {
				continue
			}
			if about[d.Reason] == nil {
				reasons = append(reasons, d.Reason)
			}
			about[d.Reason] = append(about[d.Reason], rows[i].title()+" "+d.A+" − "+d.B)
		}
	}
	var out []string
	for _, r := range reasons {
		names := about[r]
		more := ""
		if len(names) > 4 {
			names, more = names[:3], fmt.Sprintf("; and %d more", len(names)-3)
		}
		out = append(out, r+" ["+strings.Join(names, "; ")+more+"]")
	}
	return out
}

// compareLines is the comparison as one table, which CSV needs: a line for each
// product, difference, component and gain; the column record says which.
func compareLines(doc *Document) table {
	t := table{names: []string{"band.name", "band.lo_hz", "band.hi_hz", "group", "record"}}
	at := map[string]int{"group": 3}
	place := func(names []string) {
		for _, n := range names {
			if _, ok := at[n]; !ok {
				at[n] = len(t.names)
				t.names = append(t.names, n)
			}
		}
	}
	kinds := []string{"products", "differences", "components", "gains"}
	single := []string{"log_likelihood", "best", "pick", "method", "letters_method", "against", "design", "target_db"}
	type line struct {
		row   *CompareRow
		kind  string
		names []string
		cells []any
	}
	var lines []line
	for i := range doc.Compare {
		r := &doc.Compare[i]
		whole := line{row: r, kind: "comparison"}
		for _, c := range compareColumns {
			if inner, ok := c.of(r).(table); ok && slices.Contains(kinds, c.name) {
				place(inner.names)
				for _, cells := range inner.rows {
					lines = append(lines, line{r, strings.TrimSuffix(c.name, "s"), inner.names, cells})
				}
			} else if slices.Contains(single, c.name) || c.name == "reason" {
				whole.names, whole.cells = append(whole.names, c.name), append(whole.cells, c.of(r))
			}
		}
		lines = append(lines, whole)
	}
	place(single)
	place([]string{"reason"})
	for _, l := range lines {
		cells := make([]any, len(t.names))
		cells[0], cells[1], cells[2], cells[3], cells[4] = l.row.Band.Name, l.row.Band.LoHz, l.row.Band.HiHz, l.row.Group, l.kind
		for i, n := range l.names {
			cells[at[n]] = l.cells[i]
		}
		t.rows = append(t.rows, cells)
	}
	return t
}
