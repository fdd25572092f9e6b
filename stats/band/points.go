package band

import (
	"iter"
	"slices"
)

// A Reading is one attenuation with its place.
type Reading struct {
	DB             float64
	Limited        bool // the attenuation is at least DB
	Point, Closing int32
	Used           bool // its point is used and its closing kept
}

// PointReadings are the readings at one point, in order of the closing's code.
// Closings that lack the point are not in them. The slices are views: read-only.
type PointReadings struct {
	Point   int32
	Closing []int32 // codes
	DB      []float64
	Limited []bool
}

// ByPoint returns the readings at each point used, of the closings kept, for
// what asks about single points: the weakest one must not borrow from others.
// They are the readings as they stand, never predictions.
func (r *Result) ByPoint() []PointReadings { return r.ByPointIn(new(Room)) }

// A Room is memory that ByPointIn lays readings out in. The zero Room is empty and grows.
type Room struct{ db []float64 }

// ByPointIn is ByPoint in memory that is used again: what it returns holds until the next
// call with the same room.
func (r *Result) ByPointIn(room *Room) []PointReadings {
	if r.Reason != None {
		return nil
	}
	if out, ok := r.turned(room); ok {
		return out
	}
	rank := make([]int, r.table.Points)
	for k, p := range r.Used {
		rank[p] = k
	}
	next := make([]int, len(r.Used)+1)
	for i := range r.eachUsed() {
		next[rank[r.table.Point[i]]+1]++
	}
	for k := range r.Used {
		next[k+1] += next[k]
	}
	n := next[len(r.Used)]
	closing, db, limited := make([]int32, n), make([]float64, n), make([]bool, n)
	out := make([]PointReadings, len(r.Used))
	for k, p := range r.Used {
		a, b := next[k], next[k+1]
		out[k] = PointReadings{p, closing[a:b:b], db[a:b:b], limited[a:b:b]}
	}
	for i := range r.eachUsed() {
		at := &next[rank[r.table.Point[i]]]
		closing[*at], db[*at], limited[*at] = r.table.Closing[i], r.table.DB[i], r.table.limited(i)
		*at++
	}
	return out
}

// turned is ByPoint where every closing kept has every point, one by one as they stand
// in the table: rows made columns.
func (r *Result) turned(room *Room) (out []PointReadings, ok bool) {
	rows, cols := len(r.Values), len(r.Used)
	closing := make([]int32, rows)
	for k, v := range r.Values {
		if _, _, ok := r.straight(int(v.Closing)); !ok {
			return nil, false
		}
		closing[k] = v.Closing
	}
	room.db = slices.Grow(room.db[:0], rows*cols)[:rows*cols]
	db := room.db
	// Where nothing is limited one row of flags serves all points.
	limited, apart := make([]bool, rows), 0
	if r.anyLimited {
		limited, apart = make([]bool, rows*cols), rows
	}
	const together = 8 // rows, so that what is written stands together too
	var lines [together][]float64
	for k := 0; k < rows; k += together {
		n := min(together, rows-k)
		for i := range n {
			var flags []bool
			lines[i], flags, _ = r.straight(int(closing[k+i]))
			for j, is := range flags {
				limited[j*rows+k+i] = is
			}
		}
		for j := range cols {
			to := db[j*rows+k : j*rows+k+n]
			for i := range to {
				to[i] = lines[i][j]
			}
		}
	}
	out = make([]PointReadings, cols)
	for j, p := range r.Used {
		a, l := j*rows, j*apart
		out[j] = PointReadings{p, closing, db[a : a+rows : a+rows], limited[l : l+rows : l+rows]}
	}
	return out, true
}

// Straight tells where the readings of a closing stand in the table, if that is one by
// one at the points used, in their order: from from to before to.
func (r *Result) Straight(closing int32) (from, to int, ok bool) {
	_, _, ok = r.straight(int(closing))
	return int(r.layout.start[closing]), int(r.layout.start[closing+1]), ok && r.Reason == None
}

// eachUsed gives the indices of the readings behind the values, closing by closing.
func (r *Result) eachUsed() iter.Seq[int32] {
	return func(yield func(i int32) bool) {
		for c, k := range r.keep {
			if !k {
				continue
			}
			for i := range r.layout.readings(c) {
				if r.used.has(int(r.table.Point[i])) && !yield(i) {
					return
				}
			}
		}
	}
}

// Lowest returns the lowest single reading of the table, be it used or not: a
// leak at a point that another fitting lacks is a leak. Of equal readings it is
// the one with the lowest point code, then the lowest closing code. ok is false
// where the table holds no reading.
func (r *Result) Lowest() (low Reading, ok bool) { return r.lowest(false) }

// LowestUsed is Lowest over the readings behind the values.
func (r *Result) LowestUsed() (low Reading, ok bool) { return r.lowest(true) }

func (r *Result) lowest(usedOnly bool) (low Reading, ok bool) {
	for i, db := range r.table.DB {
		if ok && db > low.DB {
			continue
		}
		c, p := r.table.Closing[i], r.table.Point[i]
		used := r.uses(int(c), int(p))
		if usedOnly && !used {
			continue
		}
		if !ok || db < low.DB || p < low.Point || p == low.Point && c < low.Closing {
			low, ok = Reading{db, r.table.limited(int32(i)), p, c, used}, true
		}
	}
	return low, ok
}

// uses reports whether the values rest on a closing's reading at a point.
func (r *Result) uses(closing, point int) bool {
	return r.Reason == None && r.keep[closing] && r.used.has(point)
}

// Below counts the closings with a reading below the target at its point:
// among the readings behind the values, and among all of the table. targetDB
// has one target per point code, dB. A limited reading never counts: its
// attenuation is at least the figure, so it is not known to be below.
func (r *Result) Below(targetDB []float64) (used, all int) {
	for c := range r.keep {
		inUsed, inAll := false, false
		for i := range r.layout.readings(c) {
			p := int(r.table.Point[i])
			if p >= len(targetDB) || !(r.table.DB[i] < targetDB[p]) || r.table.limited(i) {
				continue
			}
			inAll = true
			if inUsed = r.uses(c, p); inUsed {
				break
			}
		}
		if inUsed {
			used++
		}
		if inAll {
			all++
		}
	}
	return used, all
}

func sortByClosing(out []ClosingOut) {
	slices.SortFunc(out, func(a, b ClosingOut) int { return int(a.Closing) - int(b.Closing) })
}
