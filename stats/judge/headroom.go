package judge

import (
	"math"
	"slices"
)

// headroom takes of each session and point the smallest headroom that a closing
// had there; HeadroomDB is the smallest over sessions of the mean over points,
// HeadroomLowDB the smallest of all. A point without a known floor leaves both
// undefined.
func (r *Result) headroom(d Data, keep []bool) {
	low := r.headroomRows(d, keep)
	r.pointHeadroom = slices.Repeat([]float64{math.NaN()}, len(r.Points))
	mean, lowest := math.NaN(), math.NaN()
	known := true
	for _, row := range low {
		sum, n := 0.0, 0
		for k, h := range row {
			if h != noHeadroom {
				sum, n = sum+h, n+1
				lowest = smallest(lowest, h)
				r.pointHeadroom[k] = smallest(r.pointHeadroom[k], h)
			}
		}
		if n > 0 {
			known = known && !math.IsNaN(sum)
			mean = smallest(mean, sum/float64(n))
		}
	}
	if known {
		r.HeadroomDB, r.HeadroomLowDB = mean, lowest
	}
}

// noHeadroom stands where no closing of a session was read at a point.
var noHeadroom = math.Inf(1)

// headroomRows is the smallest headroom by session and place of a point among those
// used; NaN where none of the closings there knows it. A session without a closing has
// no row.
func (r *Result) headroomRows(d Data, keep []bool) [][]float64 {
	place := slices.Repeat([]int32{-1}, d.Points)
	for k, p := range r.Points {
		place[p] = int32(k)
	}
	// A closing kept has half of the points or more, so no row is mostly empty.
	low := make([][]float64, d.Session.Levels)
	rowOf := func(closing int32) []float64 {
		session := d.Session.Codes[closing]
		if low[session] == nil {
			low[session] = slices.Repeat([]float64{noHeadroom}, len(r.Points))
		}
		return low[session]
	}
	lower := func(at *float64, h float64) {
		if h < *at || !(*at < noHeadroom) {
			*at = h
		}
	}
	var left []bool // closings whose readings are to be looked for, one by one
	for c, is := range keep {
		from, to, straight := 0, 0, false
		if is && r.Band != nil {
			from, to, straight = r.Band.Straight(int32(c))
		}
		switch {
		case straight:
			row := rowOf(int32(c))
			for k, h := range d.HeadroomDB[from:to] {
				lower(&row[k], h)
			}
		case is:
			if left == nil {
				left = make([]bool, d.Closings)
			}
			left[c] = true
		}
	}
	if left == nil {
		return low
	}
	for i, c := range d.Closing {
		if k := place[d.Point[i]]; left[c] && k >= 0 {
			lower(&rowOf(c)[k], d.HeadroomDB[i])
		}
	}
	return low
}

// smallest is the smaller of two numbers, of which a may be NaN for none yet.
func smallest(a, b float64) float64 {
	if math.IsNaN(a) || b < a {
		return b
	}
	return a
}

// headroomMargin is the smallest over the points behind the result of headroom -
// target; NaN where a point has no known headroom.
func (r *Result) headroomMargin(d Data) float64 {
	least := math.Inf(1)
	for k, p := range r.Points {
		m := r.pointHeadroom[k] - d.TargetDB[p]
		if math.IsNaN(m) {
			return m
		}
		least = min(least, m)
	}
	return least
}
