package plot

import (
	"fmt"
	"math"
)

// Curves is attenuation over frequency: every closing as a thin line, the means,
// the weakest place, what the set-up cannot show, and the target.
type Curves struct {
	Title, Desc string
	FreqHz      []float64 // ascending; all lines below run along it, dB, NaN where there is nothing
	Closings    []Line
	Range       *Range // instead of Closings, where these are too many
	Means       []Line
	MostDB      []float64 // the most that the set-up can show
	TargetDB    []float64
	Weakest     *Weakest // nil: none is marked
	Bands       []Band
	// Bytes bounds what the lines of the closings may take; beyond it the closings
	// are drawn as the range that they fill. 0: no bound.
	Bytes int
}

// A Line runs along the frequencies.
type Line struct {
	Label string // in the legend; those of closings have none
	DB    []float64
	// Limited tells where the figure is at least so much; nil: nowhere.
	Limited []bool
}

// A Range is what so many lines fill: from the lowest to the highest at each
// frequency, NaN where none has a level.
type Range struct {
	Lines               int
	LowestDB, HighestDB []float64
}

// LineBytes is what a line takes beside its points.
const LineBytes = 40

// Weakest is the frequency of the smallest margin: its mean and the lower bound
// of that.
type Weakest struct {
	FreqHz, MeanDB, LowerDB float64
	Label                   string
}

// A Band is a range of frequencies with a name.
type Band struct {
	Name       string
	LoHz, HiHz float64
}

// The room of a picture with axes.
const (
	left   = 42.0
	right  = 12.0
	ground = 250.0 // height of the part within the axes
	top    = 26.0
)

// Picture draws the curves; nil where there is no frequency or no level to draw.
func (c Curves) Picture() *Picture {
	lo, hi := c.span()
	if len(c.FreqHz) == 0 || !(hi >= lo) {
		return nil
	}
	s := scene{}
	x := logarithmic(c.FreqHz[0], c.FreqHz[len(c.FreqHz)-1], left, Width-right)
	lo, hi = rounded(lo-1, hi+1, 6)
	y := linear(lo, hi, top+ground, top)
	c.grid(&s, x, y)
	c.beyond(&s, x, y)
	thin, ranged := c.closings(&s, x, y)
	c.target(&s, x, y)
	for i, m := range c.Means {
		s.path(meanClass(i), polyline(c.pieces(m.DB, x, y), 0.15, 20))
	}
	c.weakest(&s, x, y)
	c.legend(&s, thin, ranged)
	return &Picture{Title: c.Title, Desc: c.Desc, scene: s}
}

func meanClass(i int) string { return [...]string{"p-mean", "p-mean2", "p-mean3"}[i%3] }

// span is that of all levels drawn.
func (c Curves) span() (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	take := func(levels []float64) {
		for _, v := range levels {
			if !math.IsNaN(v) && !math.IsInf(v, 0) {
				lo, hi = min(lo, v), max(hi, v)
			}
		}
	}
	for _, l := range c.Closings {
		take(l.DB)
	}
	if r := c.Range; r != nil {
		take(r.LowestDB)
		take(r.HighestDB)
	}
	for _, l := range c.Means {
		take(l.DB)
	}
	if !(hi >= lo) {
		return lo, hi
	}
	take(c.TargetDB)
	if w := c.Weakest; w != nil {
		take([]float64{w.LowerDB, w.MeanDB})
		take([]float64{w.LowerDB - 0.1*(hi-lo)}) // room for its name
	}
	return lo, hi
}

func (c Curves) grid(s *scene, x, y scale) {
	for _, t := range linearTicks(y.lo, y.hi, 6) {
		s.path("p-grid", segment(left, y.at(t.value), Width-right, y.at(t.value)))
		s.text("p-quiet", left-6, y.at(t.value)+4.5, atEnd, t.label)
	}
	s.text("p-quiet", margin, top-10, atStart, "attenuation, dB")
	s.path("p-axis", segment(left, top+ground, Width-right, top+ground))
	for _, t := range x.frequencyTicks(8) {
		at := x.at(t.value)
		s.path("p-axis", segment(at, top+ground, at, top+ground+4))
		s.text("p-quiet", at, top+ground+18, atMiddle, t.label)
	}
	s.text("p-quiet", Width-right, top+ground+36, atEnd, "frequency, MHz")
	c.bands(s, x)
}

// bands draws the edges that lie within the frequencies, and the names.
func (c Curves) bands(s *scene, x scale) {
	if len(c.Bands) < 2 || len(c.Bands) > 8 {
		return
	}
	for _, b := range c.Bands {
		from, to := max(x.at(max(b.LoHz, 1)), left), min(x.at(max(b.HiHz, 1)), Width-right)
		if !(to > from) {
			continue
		}
		if from > left {
			s.path("p-edge", segment(from, top, from, top+ground))
		}
		if textWidth(b.Name, textSize)+4 <= to-from {
			s.text("p-quiet p-halo", (from+to)/2, top+13, atMiddle, b.Name)
		}
	}
}

// beyond hatches what the set-up cannot show, as far as it lies within the axes.
func (c Curves) beyond(s *scene, x, y scale) {
	for _, piece := range c.pieces(c.MostDB, x, y) {
		if len(piece) == 1 {
			p := piece[0]
			piece = []xy{{p.x - 4, p.y}, {p.x + 4, p.y}}
		}
		for _, edge := range below(piece, top) {
			for i := range edge {
				edge[i].y = min(edge[i].y, top+ground)
			}
			s.filled("", "hatch", area([]xy{{edge[0].x, top}, {edge[len(edge)-1].x, top}}, edge))
			s.path("p-cut", polyline([][]xy{edge}, 0.1, 0))
		}
	}
}

// below are the pieces of a line that lie lower on the page than y.
func below(line []xy, y float64) [][]xy {
	var out [][]xy
	var piece []xy
	end := func() {
		if len(piece) > 1 {
			out = append(out, piece)
		}
		piece = nil
	}
	for i, p := range line {
		if i > 0 && (p.y > y) != (line[i-1].y > y) {
			q := line[i-1]
			piece = append(piece, xy{q.x + (y-q.y)/(p.y-q.y)*(p.x-q.x), y})
			if p.y <= y {
				end()
			}
		}
		if p.y > y {
			piece = append(piece, p)
		}
	}
	end()
	return out
}

// pieces are the runs of a line between gaps.
func (c Curves) pieces(levels []float64, x, y scale) [][]xy {
	var out [][]xy
	open := false
	for i, v := range levels {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			open = false
			continue
		}
		if !open {
			out = append(out, nil)
			open = true
		}
		out[len(out)-1] = append(out[len(out)-1], xy{x.at(c.FreqHz[i]), y.at(v)})
	}
	return out
}

// closings draws one thin line for each, or the range that they fill where the
// lines would take too much.
func (c Curves) closings(s *scene, x, y scale) (thin bool, ranged int) {
	for _, tolerance := range []float64{0.15, 0.4, 0.8} {
		if c.Range != nil {
			break
		}
		if lines, ok := c.thin(x, y, tolerance); ok {
			s.Marks = append(s.Marks, lines.Marks...)
			return len(lines.Marks) > 0, 0
		}
	}
	r := c.Range
	if r == nil {
		lowest, highest := c.envelope()
		r = &Range{len(c.Closings), lowest, highest}
	}
	up, down := c.pieces(r.HighestDB, x, y), c.pieces(r.LowestDB, x, y)
	for i := range up {
		s.path("p-area", area(simplified(up[i], 0.2), simplified(down[i], 0.2)))
	}
	s.path("p-thin", polyline(up, 0.2, 10))
	s.path("p-thin", polyline(down, 0.2, 10))
	return false, r.Lines
}

// thin draws a line for each closing; false: they would take too much, which is seen
// before all are drawn.
func (c Curves) thin(x, y scale, tolerance float64) (lines scene, ok bool) {
	size := 0
	for _, l := range c.Closings {
		d := polyline(c.pieces(l.DB, x, y), tolerance, 10)
		size += len(d) + LineBytes
		lines.path("p-thin", d)
		if d := c.limited(l, x, y); d != "" {
			size += len(d)
			lines.path("p-tip", d)
		}
		if c.Bytes > 0 && size > c.Bytes {
			return lines, false
		}
	}
	return lines, true
}

// limited marks readings that are at least their figure with a small arrow.
func (c Curves) limited(l Line, x, y scale) string {
	d := ""
	for i, is := range l.Limited {
		if is && !math.IsNaN(l.DB[i]) {
			px, py := x.at(c.FreqHz[i]), y.at(l.DB[i])
			d += "M" + num(px) + " " + num(py) + "v-7m-2 3l2-3l2 3"
		}
	}
	return d
}

// envelope is the lowest and the highest closing at each frequency.
func (c Curves) envelope() (lowest, highest []float64) {
	for i := range c.FreqHz {
		lo, hi := math.NaN(), math.NaN()
		for _, l := range c.Closings {
			if v := l.DB[i]; !math.IsNaN(v) {
				if !(lo <= v) {
					lo = v
				}
				if !(hi >= v) {
					hi = v
				}
			}
		}
		lowest, highest = append(lowest, lo), append(highest, hi)
	}
	return lowest, highest
}

func (c Curves) target(s *scene, x, y scale) {
	pieces := c.pieces(c.TargetDB, x, y)
	flat := true
	for _, v := range c.TargetDB {
		flat = flat && v == c.TargetDB[0]
	}
	if flat && len(c.TargetDB) > 0 { // from side to side
		pieces = [][]xy{{{left, y.at(c.TargetDB[0])}, {Width - right, y.at(c.TargetDB[0])}}}
	}
	s.path("p-target", polyline(pieces, 0.05, 20))
}

// weakest marks the place of the smallest margin and names it where there is room.
func (c Curves) weakest(s *scene, x, y scale) {
	w := c.Weakest
	if w == nil {
		return
	}
	px, mean, low := x.at(w.FreqHz), y.at(w.MeanDB), y.at(w.LowerDB)
	s.path("p-whisker", segment(px, mean, px, low)+segment(px-5, low, px+5, low))
	s.path("p-point", diamond(px, mean))
	anchor, tx := atMiddle, px
	half := textWidth(w.Label, boldSize) / 2
	switch {
	case px-half < left+2:
		anchor, tx = atStart, left+4
	case px+half > Width-right-2:
		anchor, tx = atEnd, Width-right-4
	}
	ty := low + 19
	if ty > top+ground-4 {
		ty = mean - 14
	}
	s.text("p-halo p-strong", tx, ty, anchor, w.Label)
}

func (c Curves) legend(s *scene, thin bool, ranged int) {
	var keys []key
	if thin {
		keys = append(keys, key{stroke("p-thin"), "one closing"})
	}
	if ranged > 0 {
		keys = append(keys, key{block("p-area", ""), fmt.Sprintf("range of %d lines, one per closing and place", ranged)})
	}
	for i, m := range c.Means {
		keys = append(keys, key{stroke(meanClass(i)), m.Label})
	}
	if c.Weakest != nil {
		keys = append(keys, key{func(s *scene, x, y float64) {
			s.path("p-whisker", segment(x, y-3, x, y+7)+segment(x-4, y+7, x+4, y+7))
			s.path("p-point", diamond(x, y-2))
		}, "weakest: mean and its lower bound"})
	}
	if len(c.TargetDB) > 0 {
		keys = append(keys, key{stroke("p-target"), "target"})
	}
	for _, v := range c.MostDB {
		if !math.IsNaN(v) {
			keys = append(keys, key{block("", "hatch"), "limited by the receiver’s floor"})
			break
		}
	}
	for _, l := range c.Closings {
		if c.anyLimited(l) && thin {
			keys = append(keys, key{func(s *scene, x, y float64) {
				s.path("p-tip", "M"+num(x)+" "+num(y+4)+"v-7m-2 3l2-3l2 3")
			}, "limited reading: at least so much"})
			break
		}
	}
	s.height = s.legend(top+ground+36, keys)
}

func (c Curves) anyLimited(l Line) bool {
	for i, is := range l.Limited {
		if is && !math.IsNaN(l.DB[i]) {
			return true
		}
	}
	return false
}
