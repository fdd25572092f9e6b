package ingest

import "slices"

// ranges is rows ordered by point: those of point p are rows[from[p]:from[p+1]].
type ranges struct {
	rows []int32
	from []int32
}

func (r *ranges) at(point int32) []int32 { return r.rows[r.from[point]:r.from[point+1]] }

// byPoint orders rows by point, and within a point as they stand. r.rows may be
// what is ordered.
func (r *ranges) byPoint(of []int32, points int, rows []int32) {
	r.from = slices.Grow(r.from[:0], points+1)[:points+1]
	clear(r.from)
	if len(rows) == 0 {
		r.rows = r.rows[:0]
		return
	}
	ordered, last := true, int32(0)
	for _, i := range rows {
		p := of[i]
		ordered = ordered && p >= last
		last = p
		r.from[p+1]++
	}
	for p := range points {
		r.from[p+1] += r.from[p]
	}
	if ordered {
		r.rows = append(r.rows[:0], rows...)
		return
	}
	sorted, next := make([]int32, len(rows)), slices.Clone(r.from[:points])
	for _, i := range rows {
		sorted[next[of[i]]] = i
		next[of[i]]++
	}
	r.rows = sorted
}
