package band

import "slices"

// A Reason says why there is no band value, or why a closing was left out.
type Reason string

// Reasons. None is the zero value: values exist.
const (
	None          Reason = ""
	NoReading     Reason = "no reading in this band"
	NoCommonPoint Reason = "no point was measured in every fitting"
	FewPoints     Reason = "fewer than half of the points"
	NoClosing     Reason = "no closing has half of the points"
	Disconnected  Reason = "closings of one fitting share no point, not even through other closings"
)

// A PointOut is a point that was measured but not used, with the fittings
// compared that lack it.
type PointOut struct {
	Point   int32
	Lacking []int32 // codes of fittings; empty where only closings left out have the point
}

// A ClosingOut is a closing that was left out: FewPoints (it has Points of the
// Of points used at that stage) or NoReading.
type ClosingOut struct {
	Closing    int32
	Points, Of int
	Reason     Reason
}

// A Split names what keeps a fitting from being put on one scale: closings on
// either side share no point. Nothing tells their difference from the
// difference between their points.
type Split struct {
	Fitting int32
	Sides   []Side // two or more, in order of their first closing
}

// A Side is a set of closings that can be compared with each other, and the
// points that they were read at.
type Side struct {
	Closings, Points []int32
}

// A selection is the outcome of choosing points and closings.
type selection struct {
	keep   []bool // by closing
	used   bitset // points
	reason Reason
	out    []ClosingOut
	points []PointOut
}

// choose finds the points measured in every fitting that still has a closing,
// leaves out the closings with fewer than half of them, and begins again until
// nothing changes. A closing once left out stays out, so this ends.
func choose(t *Table, l *layout) selection {
	s := selection{keep: make([]bool, len(t.Fitting.Codes)), used: bitsets(1, t.Points)[0], reason: NoReading}
	for c := range s.keep {
		if l.count(c) > 0 {
			s.keep[c], s.reason = true, None
		} else {
			s.out = append(s.out, ClosingOut{Closing: int32(c), Reason: NoReading})
		}
	}
	if s.reason != None {
		return s
	}
	seen := bitsets(t.Fitting.Levels, t.Points) // by fitting, in closings kept
	for {
		s.common(t, l, seen)
		of := s.used.count()
		if of == 0 {
			s.reason = NoCommonPoint
			break
		}
		left, gone := 0, 0
		for c, k := range s.keep {
			if !k {
				continue
			}
			left++
			if n := l.seen[c].common(s.used); 2*n < of {
				s.keep[c] = false
				s.out = append(s.out, ClosingOut{int32(c), n, of, FewPoints})
				gone++
			}
		}
		if left == gone {
			s.reason = NoClosing
			s.used.clear()
			break
		}
		if gone == 0 {
			break
		}
	}
	s.name(t, l, seen)
	return s
}

// common sets used to the points that every fitting with a closing kept has.
func (s *selection) common(t *Table, l *layout, seen []bitset) {
	compared := make([]bool, t.Fitting.Levels)
	for f := range seen {
		seen[f].clear()
	}
	for c, f := range t.Fitting.Codes {
		if s.keep[c] {
			compared[f] = true
			seen[f].union(l.seen[c])
		}
	}
	s.used.clear()
	s.used.fill(t.Points)
	for f, yes := range compared {
		if yes {
			s.used.intersect(seen[f])
		}
	}
}

// name lists the points measured and not used.
func (s *selection) name(t *Table, l *layout, seen []bitset) {
	measured := bitsets(1, t.Points)[0]
	for c := range s.keep {
		measured.union(l.seen[c])
	}
	for _, p := range measured.members() {
		if s.used.has(int(p)) {
			continue
		}
		o := PointOut{Point: p}
		for f := range seen {
			if seen[f].count() > 0 && !seen[f].has(int(p)) {
				o.Lacking = append(o.Lacking, int32(f))
			}
		}
		s.points = append(s.points, o)
	}
}

// sides parts the closings of one fitting into sets linked through points used.
func sides(closings []int32, l *layout, used bitset) []Side {
	whole := used.count()
	for _, c := range closings {
		if l.seen[c].common(used) == whole {
			return []Side{{Closings: closings}} // linked with every other
		}
	}
	var parts []Side
	left := append([]int32(nil), closings...)
	for len(left) > 0 {
		points := append(bitset(nil), l.seen[left[0]]...)
		points.intersect(used)
		in := left[:1:1]
		left = left[1:]
		for grown := true; grown; {
			grown = false
			rest := make([]int32, 0, len(left))
			for _, c := range left {
				if l.seen[c].common(points) == 0 {
					rest = append(rest, c)
					continue
				}
				for i, w := range l.seen[c] {
					points[i] |= w & used[i]
				}
				in, grown = append(in, c), true
			}
			left = rest
		}
		slices.Sort(in)
		parts = append(parts, Side{in, points.members()})
	}
	return parts
}
