package plot

import "math"

// Trend is attenuation over the age of the strips: each session's mean, the line
// through them, its lower bound, the target, and dates that matter.
type Trend struct {
	Title, Desc string
	Series      []string // names of the strips
	Points      []TrendPoint
	Fit, Lower  []YearDB // along the ages; empty: not to be had
	TargetDB    float64  // NaN: none
	Marks       []TrendMark
}

// A TrendPoint is the mean of one strip in one session.
type TrendPoint struct {
	Series    int
	Years, DB float64
	AtLeast   bool
}

// YearDB is a level at an age.
type YearDB struct{ Years, DB float64 }

// A TrendMark is a moment with a name.
type TrendMark struct {
	Years float64
	Label string
}

// seriesShapes tell strips apart.
var seriesShapes = []func(x, y float64) string{disc(4.2), square, triangle, diamond, cross}

// momentHeight is the room above the levels for the name of each mark.
const momentHeight = 17.0

// manySeries is the number of strips beyond which none is named.
const manySeries = 5

// Picture draws the trend; nil where there is no point.
func (t Trend) Picture() *Picture {
	if len(t.Points) == 0 {
		return nil
	}
	first, last := math.Inf(1), math.Inf(-1)
	lo, hi := math.Inf(1), math.Inf(-1)
	take := func(years, db float64) {
		first, last = min(first, years), max(last, years)
		lo, hi = min(lo, db), max(hi, db)
	}
	for _, p := range t.Points {
		take(p.Years, p.DB)
	}
	for _, line := range [][]YearDB{t.Fit, t.Lower} {
		for _, p := range line {
			take(p.Years, p.DB)
		}
	}
	for _, m := range t.Marks {
		first, last = min(first, m.Years), max(last, m.Years)
	}
	if !math.IsNaN(t.TargetDB) {
		lo, hi = min(lo, t.TargetDB), max(hi, t.TargetDB)
	}
	s := scene{}
	pad := max((last-first)*0.04, 0.1)
	x := linear(first-pad, last+pad, left, Width-right)
	lo, hi = rounded(lo-1, hi+1, 6)
	y := linear(lo, hi, top+ground, top+momentHeight*float64(len(t.Marks)))
	for _, k := range linearTicks(lo, hi, 6) {
		s.path("p-grid", segment(left, y.at(k.value), Width-right, y.at(k.value)))
		s.text("p-quiet", left-6, y.at(k.value)+4.5, atEnd, k.label)
	}
	s.text("p-quiet", margin, top-10, atStart, "attenuation, dB")
	s.path("p-axis", segment(left, top+ground, Width-right, top+ground))
	for _, k := range linearTicks(x.lo, x.hi, 8) {
		at := x.at(k.value)
		s.path("p-axis", segment(at, top+ground, at, top+ground+4))
		s.text("p-quiet", at, top+ground+18, atMiddle, k.label)
	}
	s.text("p-quiet", Width-right, top+ground+36, atEnd, "years since the strip went in")
	fit, lower := t.line(t.Fit, x, y), t.line(t.Lower, x, y)
	if len(fit) > 1 && len(fit) == len(lower) {
		s.path("p-area", area(fit, lower))
	}
	if !math.IsNaN(t.TargetDB) {
		s.path("p-target", segment(left, y.at(t.TargetDB), Width-right, y.at(t.TargetDB)))
	}
	s.path("p-mean", polyline([][]xy{fit}, 0.1, 0))
	s.path("p-lower", polyline([][]xy{lower}, 0.1, 0))
	t.moments(&s, x)
	for _, p := range t.Points {
		px, py := x.at(p.Years), y.at(p.DB)
		if p.AtLeast {
			s.path("p-point", arrowUp(px, py))
			continue
		}
		shape := seriesShapes[0]
		if len(t.Series) <= manySeries {
			shape = seriesShapes[p.Series%len(seriesShapes)]
		}
		s.path("p-point", shape(px, py))
	}
	s.height = s.legend(top+ground+36, t.keys())
	return &Picture{Title: t.Title, Desc: t.Desc, scene: s}
}

func (t Trend) line(points []YearDB, x, y scale) []xy {
	var out []xy
	for _, p := range points {
		out = append(out, xy{x.at(p.Years), y.at(p.DB)})
	}
	return out
}

// moments draws the marks as upright lines, their names one below the other so
// that none covers another.
func (t Trend) moments(s *scene, x scale) {
	for _, m := range t.Marks {
		s.path("p-link", segment(x.at(m.Years), top, x.at(m.Years), top+ground))
	}
	for i, m := range t.Marks {
		at, ty := x.at(m.Years), top+momentHeight*float64(i)+12
		anchor, tx := atEnd, at-5
		if at-textWidth(m.Label, textSize) < left+4 {
			anchor, tx = atStart, at+5
		}
		s.text("p-halo", tx, ty, anchor, shorten(m.Label, Width-left-right, textSize))
	}
}

func (t Trend) keys() []key {
	var keys []key
	atLeast := false
	for _, p := range t.Points {
		atLeast = atLeast || p.AtLeast
	}
	switch {
	case len(t.Series) == 1:
		keys = append(keys, key{sign("p-point", seriesShapes[0]), "mean of a session, " + t.Series[0]})
	case len(t.Series) <= manySeries:
		for i, name := range t.Series {
			keys = append(keys, key{sign("p-point", seriesShapes[i]), name})
		}
	default:
		keys = append(keys, key{sign("p-point", seriesShapes[0]), "mean of one strip in one session"})
	}
	if atLeast {
		keys = append(keys, key{sign("p-point", arrowUp), "at least so much"})
	}
	if len(t.Fit) > 1 {
		keys = append(keys, key{stroke("p-mean"), "mean"})
	}
	if len(t.Lower) > 1 {
		keys = append(keys, key{stroke("p-lower"), "its lower bound"})
	}
	if !math.IsNaN(t.TargetDB) {
		keys = append(keys, key{stroke("p-target"), "target"})
	}
	return keys
}
