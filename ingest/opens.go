package ingest

import (
	"fmt"
	"math"
	"slices"
	"strconv"

	"sealbound/ingest/cell"
	"sealbound/ingest/reading"
)

// An openSet is the open readings that serve one point: of the whole run, or of
// one closing alone.
type openSet struct {
	rows    []int32
	meanDB  float64 // of the normalised levels; NaN where no row is usable
	driftDB float64 // highest less lowest
	refused int     // rows that a problem keeps from use
	makeup  makeup  // that all rows share
	context int32   // that all rows share; -1 where they do not
}

// ownKey finds the open readings of one closing at one point.
type ownKey struct{ closing, point int32 }

// gatherOpens sorts the open readings: those with a closing serve that closing
// alone, the others the whole run.
func (p *pairing) gatherOpens() {
	b, n := p.b, len(p.points.points)
	labelled := b.Text[reading.Closing]
	all := p.rowsOf(reading.Open)
	var own []int32
	if labelled != nil {
		all = slices.DeleteFunc(all, func(r int32) bool {
			mine := int(r) < p.own && labelled[r] != 0
			if mine {
				own = append(own, r)
			}
			return mine
		})
	}
	p.whole.byPoint(p.points.of, n, all)
	p.opens = slices.Grow(p.opens[:0], n)[:n]
	for at := range n {
		p.opens[at] = openSet{rows: p.whole.at(int32(at))}
		p.settle(&p.opens[at])
	}
	p.ownSets, p.ownOrder = nil, p.ownOrder[:0]
	if len(own) == 0 {
		return
	}
	byLabel := map[int32][]int32{}
	for c, k := range p.closing.keys {
		byLabel[k.labels[3]] = append(byLabel[k.labels[3]], int32(c))
	}
	p.ownSets = map[ownKey]*openSet{}
	for _, i := range own {
		served := false
		for _, c := range byLabel[labelled[i]] {
			if !p.serves(int(i), p.closing.keys[c]) {
				continue
			}
			served = true
			key := ownKey{c, p.points.of[i]}
			if p.ownSets[key] == nil {
				p.ownSets[key] = &openSet{}
				p.ownOrder = append(p.ownOrder, key)
			}
			p.ownSets[key].rows = append(p.ownSets[key].rows, i)
		}
		if !served {
			p.notes.add(noteIdleOpen, p.label, b.Labels.Text(labelled[i]))
		}
	}
	for _, key := range p.ownOrder {
		p.settle(p.ownSets[key])
	}
}

// serves reports whether the open row i, which names a closing, was read for the
// closing k: what the row fills in must agree.
func (p *pairing) serves(i int, k closingKey) bool {
	for j, c := range closingColumns {
		if v := p.b.Code(c, i); v != 0 && c != reading.Session && v != k.labels[j] {
			return false
		}
	}
	return p.b.Date[i] == cell.NoDay || k.date == cell.NoDay || p.b.Date[i] == k.date
}

// settle averages the open readings of a set. Repeats that fill tx_dbm or gain_db
// on some rows only cannot be averaged.
func (p *pairing) settle(s *openSet) {
	s.meanDB, s.driftDB = math.NaN(), math.NaN()
	if len(s.rows) == 0 {
		return
	}
	good := s.rows
	if len(s.rows) > 1 {
		good = p.consistent(s.rows)
		s.refused = len(s.rows) - len(good)
		s.rows = good
	}
	if len(good) == 0 {
		return
	}
	var buffer [16]float64
	values := buffer[:0]
	for _, r := range good {
		values = append(values, p.norm[r])
	}
	s.meanDB = mean(values)
	s.driftDB = values[len(values)-1] - values[0] // mean has sorted them
	s.makeup, s.context = p.makeupOf(good[0]), 0
	if len(p.context) > 0 {
		s.context = p.context[good[0]]
		for _, r := range good {
			if p.context[r] != s.context {
				s.context = -1
			}
		}
	}
}

// consistent refuses the open rows of a point that lack tx_dbm or gain_db where
// others have it, or whose unit differs in kind.
func (p *pairing) consistent(rows []int32) []int32 {
	b := p.b
	for _, f := range []struct {
		c      reading.Column
		values []float64
	}{{reading.Tx, b.Tx}, {reading.Gain, b.Gain}} {
		filled := slices.IndexFunc(rows, func(r int32) bool { return !math.IsNaN(f.values[r]) })
		if filled < 0 {
			continue
		}
		for _, r := range rows {
			if math.IsNaN(f.values[r]) && !p.bad[r] {
				p.refuse(int(r), f.c, "is empty, and filled in another open reading of this point, at "+p.where(rows[filled]), "fill in both, or neither")
			}
		}
	}
	absolute := slices.IndexFunc(rows, func(r int32) bool { return !b.Unit[r].Relative() })
	good := make([]int32, 0, len(rows))
	for _, r := range rows {
		if absolute >= 0 && b.Unit[r].Relative() && !p.bad[r] {
			p.refuse(int(r), reading.Level, "is relative to the generator, another open reading of this point is not, at "+p.where(rows[absolute]), "give both in the same unit")
		}
		if !p.bad[r] {
			good = append(good, r)
		}
	}
	return good
}

// openFor chooses the open readings for a closing at a point: its own before
// those of the whole run; nil where there are none.
func (p *pairing) openFor(c, at int32) *openSet {
	if s := p.ownSets[ownKey{c, at}]; s != nil && !math.IsNaN(s.meanDB) {
		return s
	}
	if s := &p.opens[at]; !math.IsNaN(s.meanDB) {
		return s
	}
	return nil
}

func (p *pairing) anyOpen() bool {
	for i := range p.opens {
		if !math.IsNaN(p.opens[i].meanDB) {
			return true
		}
	}
	for _, key := range p.ownOrder {
		if !math.IsNaN(p.ownSets[key].meanDB) {
			return true
		}
	}
	return false
}

// drift is the largest movement of open readings at one point, and that point;
// -1 where there are none.
func (p *pairing) drift() (float64, int) {
	most, where := math.NaN(), -1
	take := func(d float64, at int32) {
		if !math.IsNaN(d) && (where < 0 || d > most || d == most && int(at) < where) {
			most, where = d, int(at)
		}
	}
	for at := range p.opens {
		take(p.opens[at].driftDB, int32(at))
	}
	for _, key := range p.ownOrder {
		take(p.ownSets[key].driftDB, key.point)
	}
	return most, where
}

// nearest advises about a closed reading without an open one at its point.
func (p *pairing) nearest(row int) string {
	f := p.b.FreqHz[row]
	best := math.NaN()
	for at, o := range p.opens {
		if math.IsNaN(o.meanDB) {
			continue
		}
		point, mine := p.points.points[at], p.points.points[p.points.of[row]]
		if point.FreqHz == mine.FreqHz {
			return fmt.Sprintf("its open readings there have position %q and polarization %q", point.Position, point.Polarization)
		}
		if math.IsNaN(best) || math.Abs(point.FreqHz-f) < math.Abs(best-f) {
			best = point.FreqHz
		}
	}
	if math.IsNaN(best) {
		return "read the open reference there, or remove this row"
	}
	return fmt.Sprintf("its nearest open reading is at %s Hz; read the open reference here too, or remove this row", strconv.FormatFloat(best, 'f', -1, 64))
}

// repeats tells the open readings of the whole run apart: by sweep where it is
// filled, else by their order. unlabelled reports that the order was needed.
func (p *pairing) repeats() (values [][]float64, unlabelled bool) {
	type key struct{ sweep, occurrence int32 }
	index := map[key]int{}
	var keys []key
	each := func(visit func(k key, at int, r int32)) {
		count := map[int32]int32{}
		for at := range p.opens {
			if rows := p.opens[at].rows; len(rows) == 1 {
				visit(key{sweep: p.b.Code(reading.Sweep, int(rows[0]))}, at, rows[0])
				continue
			}
			clear(count)
			for _, r := range p.opens[at].rows {
				s := p.b.Code(reading.Sweep, int(r))
				visit(key{s, count[s]}, at, r)
				count[s]++
			}
		}
	}
	measured := 0
	for at := range p.opens {
		if len(p.opens[at].rows) > 0 {
			measured++
		}
	}
	each(func(k key, _ int, _ int32) {
		if n := len(keys); n == 0 || k != keys[n-1] {
			if _, ok := index[k]; !ok {
				index[k] = n
				keys = append(keys, k)
			}
		}
		unlabelled = unlabelled || k.occurrence > 0 && measured > 1
	})
	slices.SortFunc(keys, func(a, b key) int {
		if (a.sweep == 0) != (b.sweep == 0) {
			return int(b.sweep) - int(a.sweep) // those with a sweep first
		}
		if c := CompareLabels(p.b.Labels.Text(a.sweep), p.b.Labels.Text(b.sweep)); c != 0 {
			return c
		}
		return int(a.occurrence - b.occurrence)
	})
	if len(keys)*len(p.opens) > sparseLimit+4*p.b.Len() {
		return nil, unlabelled
	}
	values = make([][]float64, len(keys))
	for i, k := range keys {
		index[k] = i
		values[i] = make([]float64, len(p.opens))
		for at := range values[i] {
			values[i][at] = math.NaN()
		}
	}
	var last key
	row := -1
	each(func(k key, at int, r int32) {
		if row < 0 || k != last {
			row, last = index[k], k
		}
		values[row][at] = p.norm[r]
	})
	return values, unlabelled
}

// sparseLimit keeps the table of repeats by points from growing far beyond the
// readings that would fill it.
const sparseLimit = 1 << 20
