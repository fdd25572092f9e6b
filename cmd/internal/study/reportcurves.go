package study

import (
	"math"
	"slices"
	"strings"

	"sealbound/cmd/internal/report"
	"sealbound/ingest"
)

// curves gives the readings of each group along the frequencies. cells and rows
// belong together, one of each for a group in a band.
func (c *campaign) curves(cells []*outlined, rows []report.JudgeRow) ([]report.CurveSet, error) {
	sets := 0
	for i := range cells {
		if i == 0 || !sameGroup(cells[i-1].group.labels, cells[i].group.labels) {
			sets++
		}
	}
	var out []report.CurveSet
	for first := 0; first < len(cells); {
		last := first + 1
		for last < len(cells) && sameGroup(cells[first].group.labels, cells[last].group.labels) {
			last++
		}
		closings := closingsOf(cells[first:last])
		set := report.CurveSet{Group: cells[first].group.labels, Closings: len(closings)}
		if len(out) < report.DrawnSets(sets) {
			if err := c.curveSet(&set, closings, cells[first:last], rows[first:last], sets); err != nil {
				return nil, err
			}
		}
		out = append(out, set)
		first = last
	}
	return out, nil
}

// fewPlaces is the number of places of the antenna up to which each has a mean of
// its own.
const fewPlaces = 3

// mostHeld is how many readings are held to be drawn line by line, of all groups
// together. A variable for tests.
var mostHeld = 2_000_000

func (c *campaign) curveSet(set *report.CurveSet, closings []*closing, cells []*outlined, rows []report.JudgeRow, sets int) error {
	for _, r := range rows {
		set.Bands = append(set.Bands, r.Band)
		if r.Weakest != nil && (set.Weakest == nil || r.Weakest.MarginDB < set.Weakest.MarginDB) {
			set.Weakest, set.WeakestBand = r.Weakest, r.Band.Name
		}
	}
	var points []int32
	wanted := make(map[float64]float64)
	for _, x := range cells {
		points = append(points, x.points...)
		for i, p := range x.points {
			wanted[c.points[p].FreqHz] = x.targetDB[i]
		}
	}
	slices.Sort(points)
	points = slices.Compact(points)
	frequency := slices.Repeat([]int32{-1}, len(c.points)) // by campaign point: index of its frequency
	spots := make([]string, len(c.points))
	var places []string
	for _, p := range points {
		if hz := c.points[p].FreqHz; len(set.FreqHz) == 0 || set.FreqHz[len(set.FreqHz)-1] != hz {
			set.FreqHz = append(set.FreqHz, hz)
		}
		frequency[p], spots[p] = int32(len(set.FreqHz)-1), spot(c.points[p])
		if !slices.Contains(places, spots[p]) {
			places = append(places, spots[p])
		}
	}
	sortLabels(places)
	for i, hz := range set.FreqHz {
		set.TargetDB.At, set.TargetDB.DB = append(set.TargetDB.At, int32(i)), append(set.TargetDB.DB, wanted[hz])
	}
	if len(places) > 1 {
		set.Places = count(len(places), "place")
		if len(places) <= fewPlaces {
			set.Places = listed(places)
		}
	}
	sums := make(map[int32]*tally) // by campaign point
	for _, p := range points {
		sums[p] = &tally{}
	}
	headroom := make([]float64, len(set.FreqHz)) // the smallest; NaN where one is not known
	for i := range headroom {
		headroom[i] = math.Inf(1)
	}
	lines := gathering{set: set, most: report.DrawnLines(sets), held: mostHeld / report.DrawnSets(sets)}
	var r readings
	var line report.Curve
	for _, cl := range closings {
		if err := c.load(cl, &r); err != nil {
			return err
		}
		for _, at := range places {
			line.At, line.DB, line.Limited = line.At[:0], line.DB[:0], line.Limited[:0]
			for i, p := range r.point {
				f := frequency[p]
				if f < 0 || spots[p] != at {
					continue
				}
				line.At, line.DB, line.Limited = append(line.At, f), append(line.DB, r.db[i]), append(line.Limited, r.limited[i])
				sums[p].add(r.db[i])
				headroom[f] = min(headroom[f], r.headroomDB[i])
			}
			lines.add(line)
		}
	}
	lines.end()
	for i, h := range headroom {
		if math.IsInf(h, 0) {
			headroom[i] = nan
		}
	}
	set.HeadroomDB = alongFrequencies(headroom)
	set.Means = c.meanCurves(points, places, frequency, sums)
	return nil
}

// A gathering keeps the lines of a set, as long as they are few enough to be drawn one
// by one; else the range that they fill.
type gathering struct {
	set             *report.CurveSet
	most, held      int // lines, and readings in them, that are kept
	lowest, highest []float64
}

// add takes in a line; its slices are used again by the caller.
func (g *gathering) add(line report.Curve) {
	if len(line.At) == 0 {
		return
	}
	s := g.set
	if g.held -= len(line.At); s.Range == nil && (len(s.Lines) == g.most || g.held < 0) {
		g.lowest, g.highest = slices.Repeat([]float64{nan}, len(s.FreqHz)), slices.Repeat([]float64{nan}, len(s.FreqHz))
		s.Range = &report.CurveRange{}
		for _, l := range s.Lines {
			g.fill(l)
		}
		s.Lines = nil
	}
	if s.Range != nil {
		g.fill(line)
		return
	}
	kept := report.Curve{DB: slices.Clone(line.DB)}
	if n := len(s.Lines); n > 0 && slices.Equal(s.Lines[n-1].At, line.At) {
		kept.At = s.Lines[n-1].At
	} else {
		kept.At = slices.Clone(line.At)
	}
	if slices.Contains(line.Limited, true) {
		kept.Limited = slices.Clone(line.Limited)
	}
	s.Lines = append(s.Lines, kept)
}

// fill widens the range by a line.
func (g *gathering) fill(l report.Curve) {
	g.set.Range.Lines++
	for i, f := range l.At {
		x := l.DB[i]
		if !(g.lowest[f] <= x) {
			g.lowest[f] = x
		}
		if !(g.highest[f] >= x) {
			g.highest[f] = x
		}
		if l.Limited != nil && l.Limited[i] {
			g.set.Range.Limited++
		}
	}
}

func (g *gathering) end() {
	if r := g.set.Range; r != nil {
		r.Lowest, r.Highest = alongFrequencies(g.lowest), alongFrequencies(g.highest)
	}
}

// alongFrequencies is a curve of what is known.
func alongFrequencies(levels []float64) (out report.Curve) {
	for i, x := range levels {
		if !math.IsNaN(x) {
			out.At, out.DB = append(out.At, int32(i)), append(out.DB, x)
		}
	}
	return out
}

// meanCurves are the means over the closings at each place, or, of many places, the
// lowest of them at each frequency.
func (c *campaign) meanCurves(points []int32, places []string, frequency []int32, sums map[int32]*tally) []report.Curve {
	if len(places) > fewPlaces {
		worst := report.Curve{Label: "lowest mean of the " + count(len(places), "place")}
		for _, p := range points {
			if sums[p].n == 0 {
				continue
			}
			f, m := frequency[p], sums[p].mean()
			if n := len(worst.At); n > 0 && worst.At[n-1] == f {
				worst.DB[n-1] = min(worst.DB[n-1], m)
				continue
			}
			worst.At, worst.DB = append(worst.At, f), append(worst.DB, m)
		}
		return []report.Curve{worst}
	}
	var out []report.Curve
	for _, at := range places {
		mean := report.Curve{Label: strings.TrimSuffix("mean, "+at, ", ")}
		for _, p := range points {
			if spot(c.points[p]) == at && sums[p].n > 0 {
				mean.At, mean.DB = append(mean.At, frequency[p]), append(mean.DB, sums[p].mean())
			}
		}
		out = append(out, mean)
	}
	return out
}

// closingsOf lists the closings of the cells of one group, each once, in canonical
// order.
func closingsOf(cells []*outlined) []*closing {
	in := make(map[*closing]bool)
	for _, x := range cells {
		for _, cl := range x.closings {
			in[cl] = true
		}
	}
	var out []*closing
	for _, cl := range cells[0].group.closings {
		if in[cl] {
			out = append(out, cl)
		}
	}
	return out
}

// spot is where the antenna stood: the point without its frequency.
func spot(p ingest.Point) string {
	return strings.TrimSpace(p.Position + " " + p.Polarization)
}

// A tally sums figures for their mean and range.
type tally struct {
	sum, lo, hi float64
	n           int
}

func (t *tally) add(x float64) {
	if t.n == 0 {
		t.lo, t.hi = x, x
	}
	t.sum, t.n = t.sum+x, t.n+1
	t.lo, t.hi = min(t.lo, x), max(t.hi, x)
}

func (t *tally) mean() float64 { return t.sum / float64(t.n) }
