package study

import (
	"slices"
	"sync"

	"sealbound/stats/judge"
)

// A shelf keeps the columns of cells that are done with for the next ones to fill: an
// archive has thousands of cells of much the same size.
type shelf struct {
	mu   sync.Mutex
	free []judge.Data
	held int // readings that those have room for
}

// mostShelved is how many sets of columns are kept: as many as may be under way at
// once, or nearly. Together they have room for no more than mostUnderWay readings: cells
// of which each is a little larger than the one before find no use for what lies there.
const mostShelved = 16

// take returns empty columns with room for n readings. Those of the codes get theirs as
// they are needed.
func (s *shelf) take(n int) judge.Data {
	s.mu.Lock()
	defer s.mu.Unlock()
	fits := func(d judge.Data) bool { return cap(d.DB) >= n && cap(d.DB) <= 2*n }
	if i := slices.IndexFunc(s.free, fits); i >= 0 {
		d := s.free[i]
		s.free = slices.Delete(s.free, i, i+1)
		s.held -= cap(d.DB)
		return judge.Data{DB: d.DB[:0], HeadroomDB: d.HeadroomDB[:0], Limited: d.Limited[:0], FloorKnown: d.FloorKnown[:0]}
	}
	return judge.Data{DB: make([]float64, 0, n), HeadroomDB: make([]float64, 0, n), Limited: make([]bool, 0, n), FloorKnown: make([]bool, 0, n)}
}

// give takes columns that nobody looks at any more.
func (s *shelf) give(d judge.Data) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.free = append(s.free, judge.Data{DB: d.DB, HeadroomDB: d.HeadroomDB, Limited: d.Limited, FloorKnown: d.FloorKnown})
	for s.held += cap(d.DB); len(s.free) > mostShelved || s.held > mostUnderWay; { // the oldest go first: sizes change as groups do
		s.held -= cap(s.free[0].DB)
		s.free = slices.Delete(s.free, 0, 1)
	}
}

// patterns are the columns of codes of cells whose closings all have the same points:
// so many points of closing 0, of closing 1 and so on. Cells share them; read-only.
type patterns map[int]pattern // by points

type pattern struct{ closing, point []int32 }

// mostShared is the largest pattern that is kept, in readings.
const mostShared = 1 << 16

// of returns the codes of so many closings with so many points.
func (known patterns) of(closings, points int) (closing, point []int32) {
	n := closings * points
	p, ok := known[points]
	if !ok || len(p.closing) < n {
		p = pattern{make([]int32, 0, n), make([]int32, 0, n)}
		for c := range closings {
			for k := range points {
				p.closing, p.point = append(p.closing, int32(c)), append(p.point, int32(k))
			}
		}
		const mostKinds = 16
		if n <= mostShared && (ok || len(known) < mostKinds) {
			known[points] = p
		}
	}
	return p.closing[:n:n], p.point[:n:n]
}
