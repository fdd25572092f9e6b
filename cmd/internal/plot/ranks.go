package plot

import "math"

// Ranks is products side by side: the mean of each with its interval, and the
// letters that say which are not shown to differ.
type Ranks struct {
	Title, Desc string
	Interval    string // what the interval is
	Rows        []Rank
	WantDB      float64 // target; NaN: none, or not one for all
}

// A Rank is one product; what is not defined is NaN.
type Rank struct {
	Label, Letters           string
	MeanDB, LowerDB, UpperDB float64
	AtLeast                  bool
}

// Picture draws the products; nil where none has a mean.
func (r Ranks) Picture() *Picture {
	lo, hi := math.Inf(1), math.Inf(-1)
	found := false
	letters := 24.0
	for _, p := range r.Rows {
		letters = max(letters, min(textWidth(p.Letters, textSize), 80))
		for _, v := range []float64{p.MeanDB, p.LowerDB, p.UpperDB} {
			if !math.IsNaN(v) {
				lo, hi, found = min(lo, v), max(hi, v), true
			}
		}
	}
	if !found {
		return nil
	}
	if !math.IsNaN(r.WantDB) {
		lo, hi = min(lo, r.WantDB), max(hi, r.WantDB)
	}
	const height = 44.0
	s := scene{}
	lo, hi = rounded(lo-1, hi+1, 12)
	x := linear(lo, hi, margin+8, Width-margin-letters-16)
	bottom := top + 8 + height*float64(len(r.Rows))
	for _, t := range linearTicks(lo, hi, 6) {
		s.path("p-grid", segment(x.at(t.value), top+8, x.at(t.value), bottom))
		s.text("p-quiet", x.at(t.value), top+4, atMiddle, t.label)
	}
	if !math.IsNaN(r.WantDB) {
		s.path("p-target", segment(x.at(r.WantDB), top+8, x.at(r.WantDB), bottom))
	}
	s.text("p-quiet", margin, top-10, atStart, "attenuation, dB")
	s.text("p-quiet", Width-margin, top-10, atEnd, "letters")
	for i, p := range r.Rows {
		y := top + 8 + height*float64(i)
		s.text("p-halo", margin, y+17, atStart, shorten(p.Label, x.b-margin, textSize))
		y += 31
		from, to := p.LowerDB, p.UpperDB
		if !math.IsNaN(from) && !math.IsNaN(to) {
			s.path("p-mean", segment(x.at(from), y, x.at(to), y)+segment(x.at(from), y-5, x.at(from), y+5)+segment(x.at(to), y-5, x.at(to), y+5))
		} else if !math.IsNaN(from) && !math.IsNaN(p.MeanDB) {
			s.path("p-mean", segment(x.at(from), y, x.at(p.MeanDB), y)+segment(x.at(from), y-5, x.at(from), y+5))
		}
		switch {
		case math.IsNaN(p.MeanDB):
		case p.AtLeast:
			s.path("p-solid", arrowUp(x.at(p.MeanDB), y))
		default:
			s.path("p-solid", disc(5)(x.at(p.MeanDB), y))
		}
		s.text("p-strong", Width-margin, y+4.5, atEnd, shorten(p.Letters, 80, textSize))
	}
	keys := []key{{sign("p-solid", disc(5)), "mean"}}
	for _, p := range r.Rows {
		if p.AtLeast {
			keys = append(keys, key{sign("p-solid", arrowUp), "mean, at least so much"})
			break
		}
	}
	keys = append(keys, key{func(s *scene, x, y float64) {
		s.path("p-mean", segment(x-10, y, x+10, y)+segment(x-10, y-5, x-10, y+5)+segment(x+10, y-5, x+10, y+5))
	}, r.Interval})
	if !math.IsNaN(r.WantDB) {
		keys = append(keys, key{func(s *scene, x, y float64) { s.path("p-target", segment(x, y-7, x, y+7)) }, "target"})
	}
	s.height = s.legend(bottom, keys)
	return &Picture{Title: r.Title, Desc: r.Desc, scene: s}
}
