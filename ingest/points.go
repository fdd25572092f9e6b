package ingest

import (
	"cmp"
	"math"
	"slices"

	"sealbound/ingest/reduced"
)

// A rawPoint is a frequency, position and polarization as the rows have them.
type rawPoint struct {
	freqHz                 float64
	position, polarization int32 // label codes
}

// A pointTable numbers the points of one run.
type pointTable struct {
	raw    []rawPoint
	slots  []int32 // one more than the raw point that is found there, 0 for none
	next   []int32 // which raw point followed this one last time
	of     []int32 // by row: the raw point, then the point
	points []Point
	final  []int32 // by raw point: the point

	frequenciesOnly bool    // no raw point has a position or polarization
	toleranceHz     float64 // with which points were merged
}

// again numbers the rows, which have neither position nor polarization, where they
// go through the frequencies of the run before in the same order, one sweep after
// another; false where they do not. Its points are then those of that run.
func (t *pointTable) again(freqHz []float64, toleranceHz float64) bool {
	if !t.frequenciesOnly || t.toleranceHz != toleranceHz || len(t.raw) == 0 {
		return false
	}
	t.of = slices.Grow(t.of[:0], len(freqHz))[:len(freqHz)]
	raw, final := t.raw, t.final[:len(t.raw)]
	n, seen := -1, -1
	for i, f := range freqHz {
		if n++; n >= len(raw) || raw[n].freqHz != f {
			if n = 0; raw[0].freqHz != f {
				return false
			}
		}
		seen = max(seen, n)
		t.of[i] = final[n]
	}
	return seen == len(raw)-1
}

func (t *pointTable) reset(rows int) {
	clear(t.slots)
	t.raw, t.next, t.points = t.raw[:0], t.next[:0], nil
	t.of = slices.Grow(t.of[:0], rows)[:rows]
}

// number numbers the raw points of the rows; positions and polarizations may be nil.
// Rows mostly repeat one sweep after another, so the point that followed last time
// is tried first.
func (t *pointTable) number(freqHz []float64, positions, polarizations []int32) {
	t.reset(len(freqHz))
	t.frequenciesOnly = positions == nil && polarizations == nil
	previous := int32(-1)
	for i, f := range freqHz {
		p := rawPoint{freqHz: f}
		if positions != nil {
			p.position = positions[i]
		}
		if polarizations != nil {
			p.polarization = polarizations[i]
		}
		if previous >= 0 {
			if guess := t.next[previous]; guess >= 0 && t.raw[guess] == p {
				t.of[i], previous = guess, guess
				continue
			}
		}
		n := t.find(p)
		if previous >= 0 {
			t.next[previous] = n
		}
		t.of[i], previous = n, n
	}
}

// find numbers a raw point.
func (t *pointTable) find(p rawPoint) int32 {
	if 2*len(t.raw) >= len(t.slots) { // half of the slots stay free
		t.slots = make([]int32, max(256, 2*len(t.slots)))
		for i, p := range t.raw {
			*t.slot(p) = int32(i) + 1
		}
	}
	s := t.slot(p)
	if *s == 0 {
		t.raw, t.next = append(t.raw, p), append(t.next, -1)
		*s = int32(len(t.raw))
	}
	return *s - 1
}

// slot is where a raw point is found, or where it belongs.
func (t *pointTable) slot(p rawPoint) *int32 {
	h := (math.Float64bits(p.freqHz) ^ uint64(p.position)<<32 ^ uint64(p.polarization)<<8) * 0x9e3779b97f4a7c15
	for i := h >> 32; ; i++ {
		s := &t.slots[i&uint64(len(t.slots)-1)]
		if *s == 0 || t.raw[*s-1] == p {
			return s
		}
	}
}

// merge makes frequencies within match of a point's lowest, or within so many Hz
// of it, one point, orders the points by frequency, position and polarization, and renumbers the rows.
func (t *pointTable) merge(match, toleranceHz float64, text func(int32) string) {
	order := make([]int32, len(t.raw))
	for i := range order {
		order[i] = int32(i)
	}
	slices.SortFunc(order, func(a, b int32) int { return cmp.Compare(t.raw[a].freqHz, t.raw[b].freqHz) })
	lowest := make([]float64, len(t.raw))
	for i, r := range order {
		f := t.raw[r].freqHz
		if i > 0 && f-lowest[order[i-1]] <= max(match*lowest[order[i-1]], toleranceHz) {
			f = lowest[order[i-1]]
		}
		lowest[r] = f
	}
	// Merging is by frequency alone, so that all positions share one grid.
	slices.SortFunc(order, func(a, b int32) int {
		if c := cmp.Compare(lowest[a], lowest[b]); c != 0 {
			return c
		}
		x, y := t.raw[a], t.raw[b]
		if c := CompareLabels(text(x.position), text(y.position)); c != 0 {
			return c
		}
		return CompareLabels(text(x.polarization), text(y.polarization))
	})
	t.final = slices.Grow(t.final[:0], len(t.raw))[:len(t.raw)]
	t.points, t.toleranceHz = make([]Point, 0, len(t.raw)), toleranceHz
	for i, r := range order {
		p := Point{FreqHz: lowest[r], Position: text(t.raw[r].position), Polarization: text(t.raw[r].polarization)}
		if lo, hi, half, ok := reduced.Band(p.Position); ok {
			p.Position, p.Band = "", Band{lo, hi, half}
		}
		if n := len(t.points); i == 0 || t.points[n-1] != p {
			t.points = append(t.points, p)
		}
		t.final[r] = int32(len(t.points)) - 1
	}
	for i, r := range t.of {
		t.of[i] = t.final[r]
	}
}
