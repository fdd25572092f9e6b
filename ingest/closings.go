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
	raw    []closingKey // as the rows give them
	number closingNumbers
}

// closingNumbers finds the number of a key among those of a list: one more stands
// where the key's hash leads, or behind it. A run may have a million closings, of
// which a map would hold several times what the list does.
type closingNumbers struct{ slots []int32 }

func (k *closingKey) hash() uint64 {
	h := uint64(uint32(k.date))<<32 | uint64(uint32(k.installed))
	for _, code := range k.labels {
		h = (h ^ uint64(uint32(code))) * 0x9e3779b97f4a7c15
		h ^= h >> 29
	}
	return h
}

// find returns the number of k, which is put behind the list if it is not there.
func (t *closingNumbers) find(list *[]closingKey, k closingKey) int32 {
	if len(*list) == 0 {
		t.slots = slices.Grow(t.slots[:0], 16)[:16]
		clear(t.slots)
	} else if 2*len(*list) >= len(t.slots) {
		n := 2 * len(t.slots)
		t.slots = slices.Grow(t.slots[:0], n)[:n]
		clear(t.slots)
		for i := range *list {
			t.slots[t.slot(*list, &(*list)[i])] = int32(i) + 1
		}
	}
	at := t.slot(*list, &k)
	if t.slots[at] == 0 {
		*list = append(*list, k)
		t.slots[at] = int32(len(*list))
	}
	return t.slots[at] - 1
}

// slot is where the number of k stands, or would.
func (t *closingNumbers) slot(list []closingKey, k *closingKey) int {
	mask := len(t.slots) - 1
	at := int(k.hash()) & mask
	for t.slots[at] != 0 && list[t.slots[at]-1] != *k {
		at = (at + 1) & mask
	}
	return at
}

// ofClosing reports whether row i is a reading of a closed box.
func ofClosing(k reading.Kind) bool { return k == reading.Closed || k == reading.Direct }

// find numbers the closings among the rows of the batch. A date, a session or an
// installed that is filled on some rows of a closing only, and is unique there,
// holds for the others. undecided receives the rows for which it is not unique.
func (t *closingTable) find(b *reading.Batch, rows int, undecided func(row int, c reading.Column)) {
	t.of, t.keys = slices.Grow(t.of[:0], rows)[:rows], nil
	t.raw = t.raw[:0]
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
		if n < 0 || t.raw[n] != k {
			n = t.number.find(&t.raw, k)
			*same = n + 1
		}
		t.sweeps, last = append(t.sweeps, n), k
	}
	raw := t.raw
	final, ambiguous := complete(raw)
	// Number what is left, in an order that does not depend on that of the rows.
	place := make([]int32, len(raw)) // by number in raw; one more, while it is looked for
	var kept []int32
	for n, f := range final {
		if ambiguous[n] == reading.Columns && place[f] == 0 {
			place[f] = 1
			kept = append(kept, f)
		}
	}
	slices.SortFunc(kept, func(a, b2 int32) int { return compareClosings(&b.Labels, raw[a], raw[b2]) })
	keys := make([]closingKey, len(kept))
	for i, f := range kept {
		keys[i], place[f] = raw[f], int32(i)
	}
	for s, n := range t.sweeps {
		from, to := int(breaks[s]), rows
		if s+1 < len(breaks) {
			to = min(int(breaks[s+1]), rows)
		}
		switch {
		case n < 0:
		case ambiguous[n] == reading.Columns:
			n = place[final[n]]
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
	order := make([]int32, len(keys)) // keys that share the four labels side by side
	for n := range keys {
		order[n], final[n], ambiguous[n] = int32(n), int32(n), reading.Columns
	}
	if len(keys) < 2 {
		return final, ambiguous
	}
	slices.SortFunc(order, func(a, b int32) int {
		return cmp.Or(slices.Compare(keys[a].labels[:4], keys[b].labels[:4]), cmp.Compare(a, b))
	})
	for len(order) > 0 {
		n := 1
		for n < len(order) && [4]int32(keys[order[n]].labels[:4]) == [4]int32(keys[order[0]].labels[:4]) {
			n++
		}
		same := order[:n]
		if order = order[n:]; n == 1 {
			continue
		}
		completeDays(keys, same, func(k *closingKey) *cell.Day { return &k.date }, reading.Date, ambiguous)
		completeDays(keys, same, func(k *closingKey) *cell.Day { return &k.installed }, reading.Installed, ambiguous)
		completeSession(keys, same)
		slices.SortFunc(same, func(a, b int32) int {
			x, y := &keys[a], &keys[b]
			return cmp.Or(cmp.Compare(x.date, y.date), cmp.Compare(x.installed, y.installed), cmp.Compare(x.labels[4], y.labels[4]), cmp.Compare(a, b))
		})
		for i, n := range same[1:] {
			if m := same[i]; keys[m] == keys[n] {
				final[n] = final[m] // the first of those that are equal
			}
		}
	}
	return final, ambiguous
}

func completeDays(keys []closingKey, same []int32, of func(*closingKey) *cell.Day, c reading.Column, ambiguous []reading.Column) {
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
func completeSession(keys []closingKey, same []int32) {
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
