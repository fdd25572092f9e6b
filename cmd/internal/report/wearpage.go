package report

import (
	"slices"
	"strings"
)

// wearTables are the tables of wear in their order.
var wearTables = []struct {
	part, title, legend string
	holds               func(*WearRow) bool
}{
	{wearSlope, "How the attenuation changes, dB per year",
		"Bounds of the slope (≥, ≤) are one-sided with {confidence} confidence each; p is two-sided. The robust slope is the median over pairs of sessions of a strip (Theil-Sen).", func(*WearRow) bool { return true }},
	{wearDates, "When it meets the target, dB",
		"The bound is the lower one of the {on}, with {confidence} confidence.", func(r *WearRow) bool { return !r.Control }},
	{wearControl, "Against the control boxes, which show the drift of the instruments, dB per year",
		"Bounds of the difference (≥, ≤) are one-sided with {confidence} confidence each.", func(r *WearRow) bool { return r.Against != nil && r.Against.Difference != nil }},
}

func wearBlocks(doc *Document) []block {
	fill := strings.NewReplacer("{on}", onOf(doc.Wear))
	levels := levelsOf(doc.Settings)
	var blocks []block
	for _, t := range wearTables {
		var rows []WearRow
		for _, r := range doc.Wear {
			if t.holds(&r) {
				rows = append(rows, r)
			}
		}
		if len(rows) == 0 {
			continue
		}
		g := gridOf(wearPlaces(rows))
		sentences := []string{levels.Replace(fill.Replace(t.legend))}
		for _, c := range wearColumns {
			if c.show == nil || c.show.part != t.part || c.show.shows != nil && !c.show.shows(rows) {
				continue
			}
			g.add(gridColumn{head: c.show.head, text: c.show.text, lift: c.show.lift}, func(i int) string { return c.show.cell(&rows[i]) })
			last := g.columns[len(g.columns)-1]
			if last.lift == "" || slices.ContainsFunc(last.cells, func(s string) bool { return s != last.cells[0] }) {
				continue
			}
			g.columns = g.columns[:len(g.columns)-1]
			if last.cells[0] != undefined {
				sentences = append(sentences, last.lift+last.cells[0]+".")
			}
		}
		b := block{title: t.title, text: strings.Join(sentences, " "), grid: g}
		if t.part == wearSlope {
			b.bullets = reasonsOf(wearPlaces(doc.Wear))
		}
		blocks = append(blocks, b)
	}
	return append(blocks, stripBlock(doc.Wear)...)
}

func onOf(rows []WearRow) string {
	switch {
	case len(rows) == 0, rows[0].On == "" || rows[0].On == "mean":
		return "mean"
	case rows[0].On == "weakest":
		return "weakest point"
	case rows[0].On == "next":
		return "next closing"
	}
	return "coverage"
}

// wearPlaces are the groups and bands of the rows.
func wearPlaces(rows []WearRow) []place {
	places := make([]place, len(rows))
	for i, r := range rows {
		places[i] = place{group: r.Group, band: r.Band.Name, reason: r.Reason}
	}
	return places
}

// wearLines are the rows with their inner tables as words, for formats that have no
// tables within rows.
func wearLines(doc *Document) table {
	t := tableOf(wearColumns, doc.Wear)
	for k := range t.rows {
		for i, v := range t.rows[k] {
			inner, ok := v.(table)
			if !ok {
				continue
			}
			words := []string{}
			for _, cells := range inner.rows {
				var parts []string
				for j, x := range cells {
					if text := cellText(x); text != "" {
						parts = append(parts, inner.names[j]+"="+text)
					}
				}
				words = append(words, strings.Join(parts, " "))
			}
			t.rows[k][i] = words
		}
	}
	return t
}

// stripBlock shows the strips one by one where a box had several: a history that is
// split has its parts.
func stripBlock(rows []WearRow) []block {
	type line struct {
		row   *WearRow
		strip *WearStrip
	}
	var lines []line
	for i := range rows {
		r := &rows[i]
		boxes := make(map[string]int)
		for _, s := range r.Strips {
			boxes[s.Box]++
		}
		for k := range r.Strips {
			if boxes[r.Strips[k].Box] > 1 {
				lines = append(lines, line{r, &r.Strips[k]})
			}
		}
	}
	if len(lines) == 0 {
		return nil
	}
	g := &grid{n: len(lines)}
	groups := make([][]Label, len(lines))
	for i, l := range lines {
		groups[i] = l.row.Group
	}
	for _, f := range labelFields(groups) {
		g.add(gridColumn{head: f, text: true, label: true}, func(i int) string { return labelValue(groups[i], f) })
	}
	g.add(gridColumn{head: "band", text: true}, func(i int) string {
		if i > 0 && lines[i].row == lines[i-1].row {
			return " "
		}
		return lines[i].row.Band.Name
	})
	for i := range lines {
		if name := groupName(groups[i]); name != "" {
			g.titles = append(g.titles, name)
		}
	}
	for _, c := range wearStripColumns {
		if c.show != nil {
			g.add(gridColumn{head: c.show.head, text: c.show.text}, func(i int) string { return c.show.cell(lines[i].strip) })
		}
	}
	return []block{{title: "Boxes that had several strips, each by itself, dB per year", grid: g}}
}
