package plot

import "math"

// Bounds is the three lower bounds of each group and band beside the target. What
// is not defined is NaN.
type Bounds struct {
	Title, Desc    string
	Next, Coverage string // what those two bounds are called
	Groups         []BoundsGroup
}

// A BoundsGroup is a heading and its rows.
type BoundsGroup struct {
	Name string
	Rows []BoundsRow
}

// A BoundsRow is one band.
type BoundsRow struct {
	Label                                       string
	MeanDB, LowerDB, NextDB, CoverageDB, WantDB float64
	Verdict                                     string
}

const (
	rowHeight   = 25.0
	verdictSide = 96.0
)

// Picture draws the bounds; nil where no row has a level.
func (b Bounds) Picture() *Picture {
	lo, hi := math.Inf(1), math.Inf(-1)
	rows, found := 0, false
	wide := 30.0
	for _, g := range b.Groups {
		for _, r := range g.Rows {
			rows++
			wide = max(wide, min(textWidth(r.Label, textSize), 92))
			for _, v := range []float64{r.MeanDB, r.LowerDB, r.NextDB, r.CoverageDB} {
				if !math.IsNaN(v) {
					lo, hi, found = min(lo, v), max(hi, v), true
				}
			}
			if !math.IsNaN(r.WantDB) {
				lo, hi = min(lo, r.WantDB), max(hi, r.WantDB)
			}
		}
	}
	if rows == 0 || !found {
		return nil
	}
	s := scene{}
	from := margin + wide + 10
	lo, hi = rounded(lo-1, hi+1, 12)
	x := linear(lo, hi, from, Width-verdictSide-8)
	y := top + 8
	var ends []xy // of the groups, for the grid
	for _, g := range b.Groups {
		y += 20
		ends = append(ends, xy{y + 4, y + 4 + rowHeight*float64(len(g.Rows))})
		y += rowHeight*float64(len(g.Rows)) + 6
	}
	for _, t := range linearTicks(lo, hi, 6) {
		for _, e := range ends {
			s.path("p-grid", segment(x.at(t.value), e.x, x.at(t.value), e.y))
		}
		s.text("p-quiet", x.at(t.value), top+4, atMiddle, t.label)
	}
	s.text("p-quiet", margin, top-10, atStart, "attenuation, dB")
	for i, g := range b.Groups {
		s.text("p-strong", margin, ends[i].x-8, atStart, shorten(g.Name, Width-2*margin, boldSize))
		for k, r := range g.Rows {
			r.draw(&s, x, ends[i].x+rowHeight*(float64(k)+0.5), wide)
		}
	}
	s.height = s.legend(y-4, b.keys())
	return &Picture{Title: b.Title, Desc: b.Desc, scene: s}
}

func (r BoundsRow) draw(s *scene, x scale, y, wide float64) {
	s.text("", margin, y+4.5, atStart, shorten(r.Label, wide, textSize))
	if !math.IsNaN(r.WantDB) {
		s.path("p-target", segment(x.at(r.WantDB), y-rowHeight/2+1, x.at(r.WantDB), y+rowHeight/2-1))
	}
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, v := range []float64{r.MeanDB, r.LowerDB, r.NextDB, r.CoverageDB} {
		if !math.IsNaN(v) {
			lo, hi = min(lo, v), max(hi, v)
		}
	}
	if hi > lo {
		s.path("p-link", segment(x.at(lo), y, x.at(hi), y))
	}
	for _, m := range []struct {
		db    float64
		class string
		shape func(x, y float64) string
	}{{r.MeanDB, "p-whisker", bar}, {r.CoverageDB, "p-hollow", square}, {r.NextDB, "p-hollow", triangle}, {r.LowerDB, "p-solid", disc(5)}} {
		if !math.IsNaN(m.db) {
			s.path(m.class, m.shape(x.at(m.db), y))
		}
	}
	s.text("", Width-verdictSide+2, y+4.5, atStart, shorten(r.Verdict, verdictSide-margin, textSize))
}

func (b Bounds) keys() []key {
	return []key{
		{sign("p-whisker", bar), "mean"},
		{sign("p-solid", disc(5)), "its lower bound"},
		{sign("p-hollow", triangle), b.Next},
		{sign("p-hollow", square), b.Coverage},
		{func(s *scene, x, y float64) { s.path("p-target", segment(x, y-7, x, y+7)) }, "target"},
	}
}
