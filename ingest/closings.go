package ingest

import (
	"cmp"
	"slices"

	"sealbound/ingest/cell"
	"sealbound/ingest/reading"
)

// A closingKey tells closings apart within a run. Two closings that share their
// label but differ in date or session are two: testers number from 1 each day.
type closingKey struct {
	labels          [5]int32 // codes of box, gasket, fitting, closing, session
	date, installed cell.Day
}

var closingColumns = [...]reading.Column{reading.Box, reading.Gasket, reading.Fitting, reading.Closing, reading.Session}

// A closingTable numbers the closings of one run.
type closingTable struct {
	of     []int32 // by row; -1 for rows that are not of a closing
	recent []int32 // by label of a closing: one more than the closing that had it last
	sweeps []int32 // the same by break of the batch, before they are completed
	keys   []closingKey
}

// ofClosing reports whether row i is a reading of a closed box.
func ofClosing(k reading.Kind) bool { return k == reading.Closed || k == reading.Direct }

// number finds the closings among the rows of the batch. A date, a session or an
// installed that is filled on some rows of a closing only, and is unique there,
// holds for the others. undecided receives the rows for which it is not unique.
func (t *closingTable) number(b *reading.Batch, rows int, undecided func(row int, c reading.Column)) {
	t.of, t.keys = slices.Grow(t.of[:0], rows)[:rows], nil
	byKey := map[closingKey]int32{}
	raw := make([]closingKey, 0, 64)
	t.recent = slices.Grow(t.recent[:0], len(b.Texts()))[:len(b.Texts())]
	clear(t.recent)
	breaks := b.Breaks()
	t.sweeps = t.sweeps[:0]
	var last closingKey
	for s, from := range breaks {
		if int(from) >= rows || !ofClosing(b.Kind[from]) {
			t.sweeps = append(t.sweeps, -1)
			continue
		}
		k := closingKey{date: b.Date[from], installed: b.Installed[from]}
		for j, c := range closingColumns {
			k.labels[j] = b.Code(c, int(from))
		}
		if s > 0 && k == last && t.sweeps[s-1] >= 0 {
			t.sweeps = append(t.sweeps, t.sweeps[s-1])
			continue
		}
		same := &t.recent[k.labels[3]]
		n := *same - 1
		if n < 0 || raw[n] != k {
			var ok bool
			if n, ok = byKey[k]; !ok {
				n = int32(len(raw))
				raw = append(raw, k)
				byKey[k] = n
			}
			*same = n + 1
		}
		t.sweeps, last = append(t.sweeps, n), k
	}
	final, ambiguous := complete(raw)
	// Number what is left, in an order that does not depend on that of the rows.
	keys := make([]closingKey, 0, len(raw))
	seen := map[closingKey]bool{}
	for n, k := range raw {
		if k = raw[final[n]]; ambiguous[n] == reading.Columns && !seen[k] {
			seen[k] = true
			keys = append(keys, k)
		}
	}
	slices.SortFunc(keys, func(a, b2 closingKey) int { return compareClosings(&b.Labels, a, b2) })
	place := map[closingKey]int32{}
	for i, k := range keys {
		place[k] = int32(i)
	}
	for s, n := range t.sweeps {
		from, to := int(breaks[s]), rows
		if s+1 < len(breaks) {
			to = min(int(breaks[s+1]), rows)
		}
		switch {
		case n < 0:
		case ambiguous[n] == reading.Columns:
			n = place[raw[final[n]]]
		default:
			for i := from; i < to; i++ {
				undecided(i, ambiguous[n])
			}
			n = -1
		}
		for i := from; i < to; i++ {
			t.of[i] = n
		}
	}
	t.keys = keys
}

// complete fills what is empty in some of the keys that share box, gasket,
// fitting and closing. It changes keys; final[n] is the number of the key that
// key n has become, ambiguous[n] the column that could not be filled, Columns
// where there is none.
func complete(keys []closingKey) (final []int32, ambiguous []reading.Column) {
	final, ambiguous = make([]int32, len(keys)), make([]reading.Column, len(keys))
	related := map[[4]int32][]int{}
	for n, k := range keys {
		base := [4]int32(k.labels[:4])
		related[base] = append(related[base], n)
		ambiguous[n] = reading.Columns
	}
	first := map[closingKey]int32{}
	for n := range keys {
		same := related[[4]int32(keys[n].labels[:4])]
		if same[0] == n && len(same) > 1 {
			completeDays(keys, same, func(k *closingKey) *cell.Day { return &k.date }, reading.Date, ambiguous)
			completeDays(keys, same, func(k *closingKey) *cell.Day { return &k.installed }, reading.Installed, ambiguous)
			completeSession(keys, same)
		}
		k := keys[n]
		if _, ok := first[k]; !ok {
			first[k] = int32(n)
		}
		final[n] = first[k]
	}
	return final, ambiguous
}

func completeDays(keys []closingKey, same []int, of func(*closingKey) *cell.Day, c reading.Column, ambiguous []reading.Column) {
	unique, several := cell.NoDay, false
	for _, n := range same {
		if d := *of(&keys[n]); d != cell.NoDay {
			several = several || unique != cell.NoDay && d != unique
			unique = d
		}
	}
	for _, n := range same {
		if d := of(&keys[n]); *d == cell.NoDay && unique != cell.NoDay {
			if several {
				ambiguous[n] = c
			} else {
				*d = unique
			}
		}
	}
}

// completeSession fills sessions within one date: the same label on another day
// is another closing.
func completeSession(keys []closingKey, same []int) {
	type found struct {
		session int32
		several bool
	}
	byDate := map[cell.Day]found{}
	for _, n := range same {
		if s := keys[n].labels[4]; s != 0 {
			f := byDate[keys[n].date]
			byDate[keys[n].date] = found{s, f.several || f.session != 0 && f.session != s}
		}
	}
	for _, n := range same {
		if f := byDate[keys[n].date]; !f.several { // else the date, or the run, is the session
			keys[n].labels[4] = f.session
		}
	}
}

func compareClosings(l *reading.Labels, a, b closingKey) int {
	if c := cmp.Compare(a.date, b.date); c != 0 {
		return c
	}
	for _, j := range [...]int{4, 0, 1, 2} { // session, box, gasket, fitting
		if c := CompareLabels(l.Text(a.labels[j]), l.Text(b.labels[j])); c != 0 {
			return c
		}
	}
	if c := cmp.Compare(a.installed, b.installed); c != 0 {
		return c
	}
	return CompareLabels(l.Text(a.labels[3]), l.Text(b.labels[3]))
}
