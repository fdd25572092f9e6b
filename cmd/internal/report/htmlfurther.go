package report

import (
	"fmt"
	"strings"

	"sealbound/cmd/internal/plot"
)

// The pictures of the further questions: wear over the years, and products.

func (p *pictures) drawTrends(doc *Document, l limits) {
	fill := levelsOf(doc.Settings)
	for i := range doc.Wear {
		r := &doc.Wear[i]
		if r.Trend == nil || r.Control || len(r.Trend.Fit) == 0 {
			continue // the tables have them
		}
		if len(p.trends) == l.curves {
			p.trendsLeft++
			continue
		}
		name := groupTitle(r.Group) + ", " + r.Band.Name
		t := plot.Trend{Title: "Over the years: " + name, Series: r.Trend.Strips, TargetDB: orNaN(r.TargetDB)}
		for _, x := range r.Trend.Points {
			t.Points = append(t.Points, plot.TrendPoint{Series: x.Strip, Years: x.Years, DB: x.DB})
		}
		for _, x := range r.Trend.Fit {
			t.Fit = append(t.Fit, plot.YearDB{Years: x.Years, DB: x.DB})
		}
		for _, x := range r.Trend.Lower {
			t.Lower = append(t.Lower, plot.YearDB{Years: x.Years, DB: x.DB})
		}
		for _, m := range r.Trend.Moments {
			t.Marks = append(t.Marks, plot.TrendMark{Years: m.Years, Label: m.Label})
		}
		caption := r.trendCaption(fill)
		t.Desc = caption
		p.put(&p.trends, t.Picture(), name, caption, "wear", name)
	}
}

// trendCaption says in words what the picture shows.
func (r *WearRow) trendCaption(fill *strings.Replacer) string {
	text := r.Verdict + "."
	if r.Slope != nil {
		text = fmt.Sprintf("%s: %s dB per year", r.Verdict, typeset(signed(*r.Slope, 2)))
		if r.SlopeLower != nil && r.SlopeUpper != nil {
			text += fmt.Sprintf(" (from %s to %s, each with ", typeset(signed(*r.SlopeLower, 2)), typeset(signed(*r.SlopeUpper, 2))) + fill.Replace("{confidence} confidence)")
		}
		text += "."
	} else if r.Short != "" {
		text = r.Verdict + ": " + r.Short + "."
	}
	switch {
	case r.LowerCrossesOn != "":
		text += " The lower bound meets the target on " + r.LowerCrossesOn + "."
	case r.LowerCrossesAft != "":
		text += " The lower bound does not meet the target before " + r.LowerCrossesAft + "."
	case r.LowerBelow:
		text += " The lower bound was below the target in the tests already."
	}
	switch {
	case r.DueNow:
		text += " A retest is due now."
	case r.RetestBy != "":
		text += " Test again by " + r.RetestBy + "."
	}
	return text
}

func (p *pictures) drawRanks(doc *Document) {
	fill := levelsOf(doc.Settings)
	for _, r := range doc.Compare {
		if len(r.Products) < 2 {
			continue
		}
		name := r.Band.Name
		if len(r.Group) > 0 {
			name = groupTitle(r.Group) + ", " + name
		}
		ranks := plot.Ranks{Title: "Products in " + name, Interval: fill.Replace("one-sided {confidence} bounds"), WantDB: orNaN(r.TargetDB)}
		var words []string
		for _, q := range r.Products {
			ranks.Rows = append(ranks.Rows, plot.Rank{Label: q.Gasket, Letters: q.Letters, MeanDB: orNaN(q.MeanDB),
				LowerDB: orNaN(q.LowerDB), UpperDB: orNaN(q.UpperDB), AtLeast: q.Limited > 0})
			words = append(words, fmt.Sprintf("%s: mean %s dB, lower bound %s dB, letters %s", q.Gasket, optional(q.MeanDB, 1), optional(q.LowerDB, 1), nonEmpty(q.Letters)))
		}
		caption := "Products with a letter in common are not shown to differ."
		if r.Pick != "" {
			caption = "Pick: " + r.Pick + ". " + caption
		}
		ranks.Desc = caption + " " + strings.Join(words, "; ") + "."
		p.put(&p.ranks, ranks.Picture(), name, caption, "products", name)
	}
}

func nonEmpty(s string) string {
	if s == "" {
		return "none"
	}
	return s
}
