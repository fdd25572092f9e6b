package report

import (
	"fmt"
	"slices"
	"strings"
)

// The blocks of the printed page, as the templates read them.

type htmlBlock struct {
	Title, Text    string
	Bullets, Lines []string
	Table          *htmlTable
	Folded         bool // shown when asked for
}

type htmlTable struct {
	Caption string
	Heads   []htmlHead
	Groups  []htmlGroup
	More    int // rows left out
}

type htmlHead struct {
	Text string
	Num  bool
}

type htmlGroup struct {
	Title string // empty: none
	Rows  [][]htmlCell
}

type htmlCell struct {
	Text, Label string // Label is the head of its column, for narrow displays
	Num, Head   bool
	Kind        string // of a verdict, for its sign
}

// Class is that of the cell's element.
func (c htmlCell) Class() string {
	switch {
	case c.Kind == "digest":
		return "digest"
	case c.Num:
		return "num"
	case c.Kind != "":
		return "verdict"
	case longWord(c.Text):
		return "long"
	}
	return ""
}

// longWord reports whether a word is too long to keep whole in a narrow column.
func longWord(s string) bool {
	n := 0
	for _, r := range s {
		if n++; r == ' ' {
			n = 0
		}
		if n > 24 {
			return true
		}
	}
	return false
}

// Columns is how many columns the table has.
func (t *htmlTable) Columns() int { return len(t.Heads) }

// htmlBlocks turns blocks into what the templates read, tables with at most so many
// rows, all blocks but the first few folded.
func htmlBlocks(blocks []block, most, open int) []htmlBlock {
	var out []htmlBlock
	for i, b := range blocks {
		h := htmlBlock{Title: b.title, Text: b.text, Bullets: b.bullets, Lines: b.lines, Folded: i >= open}
		if b.grid != nil {
			h.Table = b.grid.html(most)
			h.Table.Caption = b.title
			if !h.Folded {
				h.Title = ""
			}
		}
		if n := len(h.Bullets); n > most {
			h.Bullets = append(slices.Clone(h.Bullets[:most]), fmt.Sprintf("and %d more", n-most))
		}
		out = append(out, h)
	}
	return out
}

// html lays the grid out like the text table: labels in titles above their rows,
// with what all rows of each group share.
func (g *grid) html(most int) *htmlTable {
	t := &htmlTable{}
	titles := slices.Clone(g.titles)
	var columns []gridColumn
	for _, c := range g.columns {
		if len(titles) > 0 && (c.label || c.lift != "" && g.sharedInGroups(c.cells)) {
			for i := range titles {
				if c.lift != "" {
					titles[i] += ". " + c.lift + c.cells[i]
				}
			}
			continue
		}
		columns = append(columns, c)
		t.Heads = append(t.Heads, htmlHead{Text: sentenceHead(c.head), Num: !c.text})
	}
	for i := range g.n {
		if i == most {
			t.More = g.n - most
			break
		}
		if n := len(t.Groups); n == 0 || len(titles) > 0 && titles[i] != t.Groups[n-1].Title {
			t.Groups = append(t.Groups, htmlGroup{})
			if len(titles) > 0 {
				t.Groups[n].Title = titles[i]
			}
		}
		var row []htmlCell
		for k, c := range columns {
			cell := htmlCell{Text: strings.TrimSpace(c.cells[i]), Label: t.Heads[k].Text, Num: !c.text, Head: k == 0}
			if cell.Num {
				cell.Text = typeset(cell.Text)
			}
			if strings.HasPrefix(cell.Label, "verdict") {
				cell.Kind, cell.Text = verdictKind(cell.Text), typeset(cell.Text)
			}
			row = append(row, cell)
		}
		at := len(t.Groups) - 1
		t.Groups[at].Rows = append(t.Groups[at].Rows, row)
	}
	return t
}

// typeset gives figures a true minus sign.
func typeset(s string) string {
	if strings.HasPrefix(s, "-") {
		s = "−" + s[1:]
	}
	return strings.ReplaceAll(s, " -", " −")
}

// sentenceHead puts a head on one line.
func sentenceHead(head string) string { return strings.TrimSpace(joinHead(head)) }

// verdictKind is the sign of a verdict: each has a shape of its own.
func verdictKind(v string) string {
	for _, k := range []struct{ prefix, kind string }{
		{"clears", "clears"}, {"falls short", "short"}, {"out of reach", "reach"}, {"undecided", "open"}, {"too few", "few"},
		{Pass, "clears"}, {Fail, "short"}, {BeyondRange, "reach"}, {Inconclusive, "open"},
		{"wears", "short"}, {"improves", "clears"}, {"no trend", "open"}, {"repeatable", "clears"}, {"not repeatable", "short"},
	} {
		if strings.HasPrefix(v, k.prefix) {
			return k.kind
		}
	}
	return ""
}

// glance is the verdicts of groups by bands: one line for each group.
func glance(rows []JudgeRow, most int) *htmlTable {
	if len(rows) == 0 {
		return nil
	}
	var groups [][]Label
	var bands []Band
	for _, r := range rows {
		groups = append(groups, r.Group)
		if !slices.Contains(bands, r.Band) {
			bands = append(bands, r.Band)
		}
	}
	slices.SortStableFunc(bands, func(a, b Band) int {
		switch {
		case a.LoHz < b.LoHz:
			return -1
		case a.LoHz > b.LoHz:
			return 1
		}
		return 0
	})
	fields := labelFields(groups)
	t := &htmlTable{}
	name := func(g []Label) string {
		var parts []string
		for _, l := range g {
			if l.Value != "" {
				parts = append(parts, l.Value)
			}
		}
		if len(parts) == 0 {
			return "all closings"
		}
		return strings.Join(parts, ", ")
	}
	t.Heads = append(t.Heads, htmlHead{Text: strings.Join(fields, ", ")})
	if len(fields) == 0 {
		t.Heads[0].Text = "group"
	}
	for _, b := range bands {
		t.Heads = append(t.Heads, htmlHead{Text: b.Name})
	}
	group := htmlGroup{}
	for i := 0; i < len(rows); {
		end := i + 1
		for end < len(rows) && slices.Equal(rows[i].Group, rows[end].Group) {
			end++
		}
		if len(group.Rows) == most {
			t.More++
			i = end
			continue
		}
		row := []htmlCell{{Text: name(rows[i].Group), Label: t.Heads[0].Text, Head: true}}
		for _, b := range bands {
			cell := htmlCell{Label: b.Name, Text: undefined}
			for k := i; k < end; k++ {
				if r := &rows[k]; r.Band == b {
					cell.Text, cell.Kind = r.Verdict, verdictKind(r.Verdict)
					if r.MarginDB != nil {
						cell.Text += " " + typeset(signed(*r.MarginDB, digits(r))) + " dB"
					}
				}
			}
			row = append(row, cell)
		}
		group.Rows = append(group.Rows, row)
		i = end
	}
	t.Groups = []htmlGroup{group}
	return t
}
