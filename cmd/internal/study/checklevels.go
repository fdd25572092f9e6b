package study

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"sealbound/cmd/internal/report"
	"sealbound/ingest"
)

// sift goes through the readings, session by session, so that it holds those of one:
// it fills in what a check counts, and returns where closed levels of different boxes
// agree.
func (c *campaign) sift(row *report.CheckRow, s Settings) (alike []string, err error) {
	left := slices.Clone(c.closings)
	slices.SortStableFunc(left, func(a, b *closing) int { return ingest.CompareLabels(a.Session, b.Session) })
	measured := make([]bool, len(c.points))
	low := nan
	for len(left) > 0 {
		n := 1
		for n < len(left) && left[n].Session == left[0].Session {
			n++
		}
		x := sieve{c: c, headroom: slices.Repeat([]float64{nan}, len(c.points)), measured: measured, run: -1}
		for _, cl := range left[:n] {
			if err := x.add(cl); err != nil {
				return nil, err
			}
		}
		row.Limited += x.limited
		if label := left[0].Session; label != "" {
			if mean := x.meanHeadroom(); !math.IsNaN(mean) && !(mean >= low) {
				low = mean
			}
			if boxes := x.alike(); len(boxes) > 0 {
				alike = append(alike, fmt.Sprintf("session %s: closed levels agree within %d dB at every common point for boxes %s: that is what a receiver's floor looks like, or a signal that reaches the receiver by another way than the lid; read the floor with the generator off, and with the antenna replaced by its terminator",
					label, floorLikeDB, strings.Join(boxes, ", ")))
			}
		}
		left = left[n:]
		s.told(len(c.closings)-len(left), len(c.closings))
	}
	row.HeadroomDB = defined(low)
	last := nan
	for p, is := range measured {
		if hz := c.points[p].FreqHz; is && hz != last && !c.points[p].Reduced() {
			row.Frequencies++
			last = hz
		}
	}
	return alike, nil
}

// A sieve holds what a check keeps of one session.
type sieve struct {
	c        *campaign
	headroom []float64 // by point the smallest that is known, else NaN
	measured []bool    // by point, of any session
	limited  int
	boxes    []string // in order, as the closings are
	closed   [][]meanLevel
	readings readings
	run      int       // whose open levels are at hand
	open     []float64 // by point, averaged over repeats in dB; NaN where there is none
}

// A meanLevel is the mean closed level of a box at a point, as far as it is summed up.
type meanLevel struct {
	sum float64
	n   int32
}

// add takes in a closing. Readings known to be limited tell no closed level.
func (s *sieve) add(cl *closing) error {
	if err := s.c.load(cl, &s.readings); err != nil {
		return err
	}
	if err := s.openOf(cl.run); err != nil {
		return err
	}
	if n := len(s.boxes); n == 0 || s.boxes[n-1] != cl.Box {
		s.boxes, s.closed = append(s.boxes, cl.Box), append(s.closed, make([]meanLevel, len(s.headroom)))
	}
	closed, r := s.closed[len(s.closed)-1], &s.readings
	for i, p := range r.point {
		s.measured[p] = true
		if h := r.headroomDB[i]; h < s.headroom[p] || math.IsNaN(s.headroom[p]) {
			s.headroom[p] = h
		}
		point := &s.c.points[p]
		if r.limited[i] {
			if point.Band.Half == 0 {
				s.limited++
			}
			continue
		}
		if point.Reduced() { // no level is known
			continue
		}
		if open := s.open[p]; !math.IsNaN(open) {
			closed[p].sum += open - r.db[i]
			closed[p].n++
		}
	}
	return nil
}

// openOf brings the open levels of a run to hand.
func (s *sieve) openOf(run int) error {
	if run == s.run {
		return nil
	}
	repeats, err := s.c.open(run)
	if err != nil {
		return err
	}
	if s.open == nil {
		s.open = make([]float64, len(s.headroom))
	}
	for p := range s.open {
		s.open[p] = nan
	}
	for place, p := range s.c.runs[run].grid.points {
		sum, n := 0.0, 0
		for _, levels := range repeats {
			if x := levels[place]; !math.IsNaN(x) {
				sum, n = sum+x, n+1
			}
		}
		if n > 0 {
			s.open[p] = sum / float64(n)
		}
	}
	s.run = run
	return nil
}

// meanHeadroom is the mean over the points of which one is known.
func (s *sieve) meanHeadroom() float64 {
	sum, n := 0.0, 0
	for _, h := range s.headroom {
		if !math.IsNaN(h) {
			sum, n = sum+h, n+1
		}
	}
	return sum / float64(n)
}

// floorLikeDB is how near closed levels of different boxes must lie to look like
// one and the same receiver floor.
const floorLikeDB = 1

// alike names the pairs of boxes whose closed levels agree at the same points, three
// or more: boxes differ, a floor does not.
func (s *sieve) alike() (pairs []string) {
	for i, a := range s.closed {
		for j := i + 1; j < len(s.closed) && s.boxes[i] != ""; j++ {
			common, same := 0, true
			for p, x := range a {
				y := s.closed[j][p]
				if x.n == 0 || y.n == 0 {
					continue
				}
				common++
				if same = math.Abs(x.sum/float64(x.n)-y.sum/float64(y.n)) <= floorLikeDB; !same {
					break
				}
			}
			if common >= 3 && same {
				pairs = append(pairs, s.boxes[i]+" and "+s.boxes[j])
			}
		}
	}
	return pairs
}
