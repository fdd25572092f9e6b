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

// orderClosed sorts the rows of closed boxes by closing, point and line.
func (p *pairing) orderClosed() {
	p.closed = slices.Grow(p.closed[:0], p.own)[:p.own]
	n := 0
	ordered, lastClosing, lastPoint := true, int32(0), int32(0)
	points, bad := p.points.of[:p.own], p.bad[:p.own]
	for i, c := range p.closing.of[:p.own] {
		if c < 0 || bad[i] {
			continue
		}
		at := points[i]
		ordered = ordered && (c > lastClosing || c == lastClosing && at >= lastPoint)
		lastClosing, lastPoint = c, at
		p.closed[n] = int32(i)
		n++
	}
	p.closed = p.closed[:n]
	if ordered { // as most files are
		return
	}
	p.list = append(p.list[:0], p.closed...)
	var sorted ranges
	sorted.byPoint(p.points.of, len(p.points.points), p.list)
	next := make([]int32, len(p.closing.keys)+1)
	for _, r := range sorted.rows {
		next[p.closing.of[r]+1]++
	}
	for i := range p.closing.keys {
		next[i+1] += next[i]
	}
	for _, r := range sorted.rows {
		c := p.closing.of[r]
		p.closed[next[c]] = r
		next[c]++
	}
}
