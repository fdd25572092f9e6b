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
	var out []report.CurveSet
	for first := 0; first < len(cells); {
		last := first + 1
		for last < len(cells) && sameGroup(cells[first].group.labels, cells[last].group.labels) {
			last++
		}
		set, err := c.curveSet(cells[first:last], rows[first:last])
		if err != nil {
			return nil, err
		}
		out = append(out, set)
		first = last
	}
	return out, nil
}

// fewPlaces is the number of places of the antenna up to which each has a mean of
// its own.
const fewPlaces = 3

func (c *campaign) curveSet(cells []*outlined, rows []report.JudgeRow) (report.CurveSet, error) {
	set := report.CurveSet{Group: cells[0].group.labels}
	for _, r := range rows {
		set.Bands = append(set.Bands, r.Band)
		if r.Weakest != nil && (set.Weakest == nil || r.Weakest.MarginDB < set.Weakest.MarginDB) {
			set.Weakest, set.WeakestBand = r.Weakest, r.Band.Name
		}
	}
	frequency := make(map[int32]int32) // campaign point: index of its frequency
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
	var places []string
	for _, p := range points {
		if hz := c.points[p].FreqHz; len(set.FreqHz) == 0 || set.FreqHz[len(set.FreqHz)-1] != hz {
			set.FreqHz = append(set.FreqHz, hz)
		}
		frequency[p] = int32(len(set.FreqHz) - 1)
		if at := spot(c.points[p]); !slices.Contains(places, at) {
			places = append(places, at)
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
	sums := make(map[int32]*tally)               // by campaign point
	headroom := make([]float64, len(set.FreqHz)) // the smallest; NaN where one is not known
	for i := range headroom {
		headroom[i] = math.Inf(1)
	}
	var r readings
	for _, cl := range closingsOf(cells) {
		set.Closings++
		if err := c.load(cl, &r); err != nil {
			return set, err
		}
		for _, at := range places {
			line := report.Curve{}
			any := false
			for i, p := range r.point {
				f, in := frequency[p]
				if !in || spot(c.points[p]) != at {
					continue
				}
				line.At, line.DB, line.Limited = append(line.At, f), append(line.DB, r.db[i]), append(line.Limited, r.limited[i])
				any = any || r.limited[i]
				if sums[p] == nil {
					sums[p] = &tally{}
				}
				sums[p].add(r.db[i])
				headroom[f] = min(headroom[f], r.headroomDB[i])
			}
			if !any {
				line.Limited = nil
			}
			if len(line.At) > 0 {
				set.Lines = append(set.Lines, line)
			}
		}
	}
	for i, h := range headroom {
		if !math.IsNaN(h) && !math.IsInf(h, 0) {
			set.HeadroomDB.At, set.HeadroomDB.DB = append(set.HeadroomDB.At, int32(i)), append(set.HeadroomDB.DB, h)
		}
	}
	set.Means = c.meanCurves(points, places, frequency, sums)
	return set, nil
}

// meanCurves are the means over the closings at each place, or, of many places, the
// lowest of them at each frequency.
func (c *campaign) meanCurves(points []int32, places []string, frequency map[int32]int32, sums map[int32]*tally) []report.Curve {
	if len(places) > fewPlaces {
		worst := report.Curve{Label: "lowest mean of the " + count(len(places), "place")}
		for _, p := range points {
			if sums[p] == nil {
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
			if spot(c.points[p]) == at && sums[p] != nil {
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
