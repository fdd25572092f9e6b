package plot

import (
	"fmt"
	"math"
	"slices"
)

// Shares is where the spread of each group and band comes from: bars of equal
// length, divided by the share of each source in the variance.
type Shares struct {
	Title, Desc string
	Groups      []SharesGroup
}

// A SharesGroup is a heading and its rows.
type SharesGroup struct {
	Name string
	Rows []SharesRow
}

// A SharesRow is one band with its sources; their shares add up to 1.
type SharesRow struct {
	Label   string
	TotalDB float64 // SD of one closing over all sources; NaN: not known
	Parts   []Part
}

// A Part is one source of spread. Kind picks its fill, from 1 to 6.
type Part struct {
	Source string
	Share  float64
	Kind   int
}

// Picture draws the shares; nil where no row has any.
func (c Shares) Picture() *Picture {
	const barHeight, totalSide = 24.0, 62.0
	wide, found := 30.0, false
	for _, g := range c.Groups {
		for _, r := range g.Rows {
			wide = max(wide, min(textWidth(r.Label, textSize), 92))
			found = found || len(r.Parts) > 0
		}
	}
	if !found {
		return nil
	}
	s := scene{}
	x := linear(0, 1, margin+wide+10, Width-totalSide-8)
	var used []Part
	y := top
	s.text("p-quiet", x.a, top-10, atStart, "share of the variance")
	s.text("p-quiet", Width-margin, top-10, atEnd, "SD, dB")
	for _, g := range c.Groups {
		y += 14
		s.text("p-strong", margin, y, atStart, shorten(g.Name, Width-2*margin, boldSize))
		y += 8
		for _, r := range g.Rows {
			s.text("", margin, y+barHeight/2+4.5, atStart, shorten(r.Label, wide, textSize))
			from := 0.0
			for _, p := range r.Parts {
				to := min(from+max(p.Share, 0), 1)
				x1, x2 := x.at(from), x.at(to)
				from = to
				if x2-x1 < 0.3 {
					continue
				}
				if !slices.ContainsFunc(used, func(u Part) bool { return u.Source == p.Source && u.Kind == p.Kind }) {
					used = append(used, p)
				}
				s.filled("p-block", p.fill(), box(x1, y, x2, y+barHeight))
				label := fmt.Sprintf("%.0f %%", 100*p.Share)
				if named := p.Source + " " + label; textWidth(named, textSize)+8 <= x2-x1 {
					label = named
				}
				if textWidth(label, textSize)+4 <= x2-x1 {
					s.text("", (x1+x2)/2, y+barHeight/2+4.5, atMiddle, label)
				}
			}
			if len(r.Parts) == 0 {
				s.text("p-quiet", x.a, y+barHeight/2+4.5, atStart, "not to be had")
			}
			if !math.IsNaN(r.TotalDB) {
				s.text("", Width-margin, y+barHeight/2+4.5, atEnd, decibels(r.TotalDB, 1))
			}
			y += barHeight + 5
		}
		y += 8
	}
	slices.SortStableFunc(used, func(a, b Part) int { return a.Kind - b.Kind })
	var keys []key
	for _, p := range used {
		keys = append(keys, key{block("", p.fill()), p.Source})
	}
	s.height = s.legend(y-8, keys)
	return &Picture{Title: c.Title, Desc: c.Desc, scene: s}
}

func (p Part) fill() string { return fmt.Sprintf("tint%d", min(max(p.Kind, 1), 6)) }
