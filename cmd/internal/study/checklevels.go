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
	x := newSieve(c)
	low := nan
	for len(left) > 0 {
		n := 1
		for n < len(left) && left[n].Session == left[0].Session {
			n++
		}
		x.begin()
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
			boxes, more, halted := x.alike()
			if more > 0 {
				boxes = append(boxes, fmt.Sprintf("%d more pairs", more))
			}
			if len(boxes) > 0 {
				alike = append(alike, fmt.Sprintf("session %s: closed levels agree within %d dB at every common point for boxes %s: that is what a receiver's floor looks like, or a signal that reaches the receiver by another way than the lid; read the floor with the generator off, and with the antenna replaced by its terminator",
					label, floorLikeDB, strings.Join(boxes, ", ")))
			}
			if halted != "" {
				alike = append(alike, fmt.Sprintf("session %s has too many boxes to hold the closed levels of each against those of each other: from box %s on not all were", label, halted))
			}
		}
		left = left[n:]
		s.told(len(c.closings)-len(left), len(c.closings))
	}
	row.HeadroomDB = defined(low)
	last := nan
	for p, is := range x.measured {
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
	measured []bool    // by point, of any session
	headroom []float64 // by point the smallest that is known, else NaN
	points   []int32   // measured in this session
	inIt     []bool    // by point: it is one of those
	limited  int
	levels   []meanLevel // by point, of the box under way
	level    []int32     // its points that have one
	boxes    []boxLevels // of three points or more, in order, as the closings are
	kept     int         // levels of all those
	skipped  string      // the first box for which there was no room
	box      string      // under way
	readings readings
	run      int       // whose open levels are at hand
	open     []float64 // by point, averaged over repeats in dB; NaN where there is none
}

// A meanLevel is the mean closed level of a box at a point, as far as it is summed up.
type meanLevel struct {
	sum float64
	n   int32
}

// boxLevels are the mean closed levels of a box, by ascending point.
type boxLevels struct {
	box    string
	points []int32 // one list for boxes that follow each other, where they have the same
	mean   []float64
}

// Of a session so many levels are kept, so many pairs of levels compared, and so many
// pairs of boxes named. Variables for tests.
var (
	mostLevels   = 4_000_000
	mostCompared = 20_000_000
	mostPairs    = 100
)

func newSieve(c *campaign) *sieve {
	n := len(c.points)
	return &sieve{c: c, measured: make([]bool, n), headroom: slices.Repeat([]float64{nan}, n), inIt: make([]bool, n),
		levels: make([]meanLevel, n), open: slices.Repeat([]float64{nan}, n), run: -1}
}

// begin forgets the session before. What it costs hangs on that session alone, since
// there may be a million of them.
func (s *sieve) begin() {
	s.endBox()
	for _, p := range s.points {
		s.headroom[p], s.inIt[p] = nan, false
	}
	s.points, s.boxes, s.limited, s.kept, s.skipped = s.points[:0], s.boxes[:0], 0, 0, ""
}

// add takes in a closing. Readings known to be limited tell no closed level.
func (s *sieve) add(cl *closing) error {
	if err := s.c.load(cl, &s.readings); err != nil {
		return err
	}
	if err := s.openOf(cl.run); err != nil {
		return err
	}
	if cl.Box != s.box {
		s.endBox()
		s.box = cl.Box
	}
	r := &s.readings
	for i, p := range r.point {
		s.measured[p] = true
		if !s.inIt[p] {
			s.inIt[p] = true
			s.points = append(s.points, p)
		}
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
			l := &s.levels[p]
			if l.n == 0 {
				s.level = append(s.level, p)
			}
			l.sum += open - r.db[i]
			l.n++
		}
	}
	return nil
}

// leastCommon is how many points of two boxes must agree at least.
const leastCommon = 3

// endBox keeps the levels of the box under way.
func (s *sieve) endBox() {
	if s.box != "" && len(s.level) >= leastCommon {
		switch {
		case s.kept+len(s.level) <= mostLevels:
			s.kept += len(s.level)
			slices.Sort(s.level)
			x := boxLevels{box: s.box, mean: make([]float64, len(s.level))}
			if n := len(s.boxes); n > 0 && slices.Equal(s.boxes[n-1].points, s.level) {
				x.points = s.boxes[n-1].points
			} else {
				x.points = slices.Clone(s.level)
			}
			for i, p := range s.level {
				x.mean[i] = s.levels[p].sum / float64(s.levels[p].n)
			}
			s.boxes = append(s.boxes, x)
		case s.skipped == "":
			s.skipped = s.box
		}
	}
	for _, p := range s.level {
		s.levels[p] = meanLevel{}
	}
	s.level, s.box = s.level[:0], ""
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
	if s.run >= 0 {
		for _, p := range s.c.runs[s.run].grid.points {
			s.open[p] = nan
		}
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
	slices.Sort(s.points)
	for _, p := range s.points {
		if h := s.headroom[p]; !math.IsNaN(h) {
			sum, n = sum+h, n+1
		}
	}
	return sum / float64(n)
}

// floorLikeDB is how near closed levels of different boxes must lie to look like
// one and the same receiver floor.
const floorLikeDB = 1

// alike names the pairs of boxes whose closed levels agree at the same points, three
// or more, and counts those beyond what a note holds: boxes differ, a floor does not.
// halted is the box from which on not all were compared, since they were too many.
func (s *sieve) alike() (pairs []string, more int, halted string) {
	s.endBox()
	compared := 0
	for i := range s.boxes {
		for j := i + 1; j < len(s.boxes); j++ {
			if compared > mostCompared {
				return pairs, more, s.boxes[i].box
			}
			agree, n := s.boxes[i].agrees(&s.boxes[j])
			if compared += n; !agree {
				continue
			}
			if len(pairs) < mostPairs {
				pairs = append(pairs, s.boxes[i].box+" and "+s.boxes[j].box)
			} else {
				more++
			}
		}
	}
	return pairs, more, s.skipped
}

// agrees reports whether the levels of two boxes are alike, and at how many points it
// took a look.
func (a *boxLevels) agrees(b *boxLevels) (agree bool, looked int) {
	common := 0
	for i, j := 0, 0; i < len(a.points) && j < len(b.points); looked++ {
		switch p, q := a.points[i], b.points[j]; {
		case p < q:
			i++
		case q < p:
			j++
		default:
			if !(math.Abs(a.mean[i]-b.mean[j]) <= floorLikeDB) {
				return false, looked + 1
			}
			i, j, common = i+1, j+1, common+1
		}
	}
	return common >= leastCommon, looked
}
