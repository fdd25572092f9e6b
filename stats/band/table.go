// Package band reduces the readings of a closing in one band to one figure, its
// band value, so that closings, which are the replicates, can be compared.
//
// The band value of a closing is its point-adjusted mean: within one fitting
// the readings follow
//
//	attenuation(closing, point) = closing effect + point effect + error
//
// fitted by least squares, and the value is the closing's effect plus the mean
// of the fitting's point effects over the points used. At the least-squares
// solution the residuals of each closing sum to zero, so the same figure is the
// plain mean of the closing's readings with every missing one replaced by its
// prediction. A closing that lacks no point has its plain mean, whatever the
// others lack. Fittings never lend each other readings.
package band

import (
	"fmt"
	"iter"
	"slices"

	"sealbound/stats"
)

// A Table holds the readings of one group in one band: reading i was taken at
// point Point[i] during closing Closing[i]. The slices may alias memory of
// Arrow columns and are only read. Each pair of closing and point occurs at
// most once; sweeps are averaged before.
//
// Codes of points should rise with frequency and codes of closings should not
// depend on the order of the rows: sums run in the order of the codes, so this
// makes results equal to the bit whatever the order of the rows.
type Table struct {
	Closing []int32
	Point   []int32
	DB      []float64    // attenuation in dB; what a limited reading demonstrates
	Limited []bool       // the attenuation is at least DB; nil where no reading is
	Fitting stats.Factor // the fitting of each closing, so as many codes as closings
	Points  int          // codes of points are below it
}

// check reports what makes the table unusable, and whether its readings stand in order:
// closing by closing, in each by rising point. No pair occurs twice then.
func (t *Table) check() (inOrder bool, err error) {
	n := len(t.Closing)
	switch {
	case len(t.Point) != n || len(t.DB) != n:
		return false, fmt.Errorf("band: %d closing codes, %d point codes, %d values", n, len(t.Point), len(t.DB))
	case t.Limited != nil && len(t.Limited) != n:
		return false, fmt.Errorf("band: %d readings, %d limited flags", n, len(t.Limited))
	case t.Points < 0 || t.Fitting.Levels < 0:
		return false, fmt.Errorf("band: %d points, %d fittings", t.Points, t.Fitting.Levels)
	}
	for c, f := range t.Fitting.Codes {
		if f < 0 || int(f) >= t.Fitting.Levels {
			return false, fmt.Errorf("band: closing %d: fitting code %d of %d", c, f, t.Fitting.Levels)
		}
	}
	inOrder = true
	last := int64(-1)
	for i, c := range t.Closing {
		switch p, v := t.Point[i], t.DB[i]; {
		case c < 0 || int(c) >= len(t.Fitting.Codes):
			return false, fmt.Errorf("band: reading %d: closing code %d of %d", i, c, len(t.Fitting.Codes))
		case p < 0 || int(p) >= t.Points:
			return false, fmt.Errorf("band: reading %d: point code %d of %d", i, p, t.Points)
		case v-v != 0: // NaN or infinite
			return false, fmt.Errorf("band: reading %d: attenuation is not finite", i)
		default:
			place := int64(c)<<32 | int64(p)
			inOrder = inOrder && place > last
			last = place
		}
	}
	return inOrder, nil
}

func (t *Table) limited(i int32) bool { return t.Limited != nil && t.Limited[i] }

// anyLimited reports whether a reading is.
func (t *Table) anyLimited() bool { return slices.Contains(t.Limited, true) }

// A layout finds the readings of a closing: rows[start[c]:start[c+1]] are their
// indices in the table, start[c] to start[c+1] themselves where rows is nil, the table
// being in order. seen[c] is the set of its points; read-only, as closings with every
// point share theirs.
type layout struct {
	start []int32
	rows  []int32
	seen  []bitset
}

func newLayout(t *Table, inOrder bool) (*layout, error) {
	closings := len(t.Fitting.Codes)
	l := &layout{start: make([]int32, closings+1)}
	if inOrder {
		l.find(t)
		return l, nil
	}
	for _, c := range t.Closing {
		l.start[c+1]++
	}
	for c := range closings {
		l.start[c+1] += l.start[c]
	}
	l.rows, l.seen = make([]int32, len(t.Closing)), bitsets(closings, t.Points)
	next := append([]int32(nil), l.start[:closings]...)
	for i, c := range t.Closing {
		p := int(t.Point[i])
		if l.seen[c].has(p) {
			return nil, fmt.Errorf("band: closing %d has two readings at point %d", c, p)
		}
		l.seen[c].add(p)
		l.rows[next[c]] = int32(i)
		next[c]++
	}
	return l, nil
}

// find lays out a table in order.
func (l *layout) find(t *Table) {
	all := bitsets(1, t.Points)[0]
	all.fill(t.Points)
	l.seen = make([]bitset, len(l.start)-1)
	for c := range l.seen {
		from := int(l.start[c])
		most := t.Closing[from:min(from+t.Points, len(t.Closing))]
		n, _ := slices.BinarySearch(most, int32(c)+1)
		l.start[c+1] = int32(from + n)
		if n == t.Points {
			l.seen[c] = all
			continue
		}
		l.seen[c] = bitsets(1, t.Points)[0]
		for _, p := range t.Point[from : from+n] {
			l.seen[c].add(int(p))
		}
	}
}

// count is the number of readings of closing c.
func (l *layout) count(c int) int { return int(l.start[c+1] - l.start[c]) }

// readings gives the indices of the readings of closing c, in the order of the table.
func (l *layout) readings(c int) iter.Seq[int32] {
	return func(yield func(int32) bool) {
		for i := l.start[c]; i < l.start[c+1]; i++ {
			at := i
			if l.rows != nil {
				at = l.rows[i]
			}
			if !yield(at) {
				return
			}
		}
	}
}
