package longcsv

import (
	"io"
	"slices"
	"sync/atomic"

	"sealbound/ingest/reading"
)

// Where the runs of a file take turns, the stretches of a piece are sorted by run by
// whoever has walked through it, and handed on as one block.
const (
	turnsRows = 32      // runs take turns where stretches have fewer rows than this on average, and half of them belong to runs seen before
	larger    = 2       // as large as that are pieces then, in pieces
	largest   = 8       // or larger, up to this, while they have but
	fewTurns  = 4       // stretches of a run on average
	mostKeys  = 1 << 17 // of more runs and dates than that the first are forgotten
	mostBytes = 8 << 20 // and so are they where their texts are longer than this together
)

// turnsLeast is how many stretches a piece has at least in which runs take turns. A
// variable for tests.
var turnsLeast = 1 << 10

// sorting is what those who walk through pieces of a file share.
type sorting struct {
	wanted atomic.Bool  // blocks are taken
	pieces atomic.Int64 // how large the next piece is to be, in pieces; 0 while none is sorted
}

// size is how large the next piece is to be.
func (s *sorting) size(piece int64) int64 { return max(1, s.pieces.Load()) * piece }

// next sets that after a piece was sorted, or not.
func (s *sorting) next(k *keys, sorted bool) {
	n := s.pieces.Load()
	switch {
	case !sorted:
		n = 0
	case n == 0:
		n = larger
	case n < largest && len(k.stretches) < fewTurns*len(k.groups):
		n *= 2
	}
	s.pieces.Store(n) // whether another has set it in between does not matter
}

// takeTurns reports whether runs take turns in a piece of so many lines, which began
// when that many runs and dates were known.
func (k *keys) takeTurns(lines, known int) bool {
	n := len(k.stretches)
	again := n - (len(k.texts) - known)
	return n >= turnsLeast && lines < n*turnsRows && 2*again >= n
}

// forget lets go of the runs and dates if there are very many.
func (k *keys) forget() {
	if len(k.texts) > mostKeys || k.size > mostBytes {
		*k = *newKeys()
	}
}

// A keyGroup is the stretches of a run and date in a piece.
type keyGroup struct {
	key   int32
	open  bool
	from  int64 // where the first of them begins in the file
	to    int64 // and ends
	size  int
	bytes int64
}

// sort sorts the stretches of a piece that ends at an offset of the file. src has its
// text.
func (k *keys) sort(src io.ReaderAt, end int64) error {
	if k.stretches[0].orphan {
		k.first = 1
	} else {
		k.first = 0
	}
	list := k.stretches[k.first:]
	from := list[0].from
	held, ok := src.(*reading.Held)
	if !ok {
		held = &k.held
		if err := held.Read(src, from, end); err != nil {
			return err
		}
	}
	k.rank()

	// Where the stretches of each key go, which are in order as they are.
	k.counts = append(k.counts[:0], make([]int32, len(k.texts))...)
	for i := range list {
		k.counts[list[i].key]++
	}
	at := int32(0)
	for _, key := range k.order {
		n := k.counts[key]
		k.counts[key] = at
		at += n
	}
	k.sorted = slices.Grow(k.sorted[:0], len(list))[:len(list)]
	for i := range list {
		c := &k.counts[list[i].key]
		k.sorted[*c] = int32(i)
		*c++
	}

	k.block, k.groups = k.block[:0], k.groups[:0]
	var w reading.Grouper
	for n, i := range k.sorted {
		s := &list[i]
		to := end
		if int(i)+1 < len(list) {
			to = list[i+1].from
		}
		if n == 0 || list[k.sorted[n-1]].key != s.key {
			k.groups = append(k.groups, keyGroup{key: s.key, from: s.from, to: to})
			w = reading.Grouper{}
		}
		g := &k.groups[len(k.groups)-1]
		before := len(k.block)
		k.block = w.Append(k.block, s.line, s.from, held.Text[s.from-held.From:to-held.From])
		g.size += len(k.block) - before
		g.bytes += to - s.from
		g.open = g.open || s.open
	}
	return nil
}

// rank keeps the order of the keys' texts up to date.
func (k *keys) rank() {
	n := len(k.order)
	if n == len(k.texts) {
		return
	}
	in := func(a, b int32) int { return reading.CompareLabels(k.texts[a], k.texts[b]) }
	for i := n; i < len(k.texts); i++ {
		k.order = append(k.order, int32(i))
	}
	slices.SortFunc(k.order[n:], in)
	old, fresh := slices.Clone(k.order[:n]), slices.Clone(k.order[n:])
	for i := range k.order {
		if len(fresh) == 0 || len(old) > 0 && in(old[0], fresh[0]) < 0 {
			k.order[i], old = old[0], old[1:]
		} else {
			k.order[i], fresh = fresh[0], fresh[1:]
		}
	}
}

// piece hands on what the walk through a piece of the file gave; line is that of its
// first row.
func (m *merger) piece(p *part, line int, sorting *sorting) {
	k := p.keys
	if p.sorted && sorting.wanted.Load() && m.block(p, line) {
		return
	}
	if p.sorted {
		sorting.wanted.Store(false)
	}
	for _, s := range k.stretches {
		s.line += line
		m.put(s, k)
	}
}

// block offers a sorted piece.
func (m *merger) block(p *part, line int) bool {
	k := p.keys
	begin := k.stretches[k.first].from
	b := reading.Block{Text: k.block, Line: line, To: p.end, Stretches: len(k.stretches) - k.first}
	m.groups, m.buffer = m.groups[:0], m.buffer[:0]
	for i := range k.groups {
		g := &k.groups[i]
		s := m.stretch(m.known(g.key, k))
		s.Open, s.From, s.To = g.open, g.from, g.to
		m.groups = append(m.groups, reading.Group{Stretch: s, Size: g.size, Bytes: g.bytes})
	}
	b.Groups = m.groups
	last := m.last
	if k.first == 1 && last < 0 { // rows that no run comes before
		last = m.known(k.stretches[0].key, k)
	}
	if m.known(k.stretches[k.first].key, k) == last {
		b.Stretches--
	}
	if !m.take(&b) {
		return false
	}
	if k.first == 1 {
		s := k.stretches[0]
		s.line += line
		m.put(s, k)
	}
	m.end(begin)
	m.begun = false
	m.last = m.known(k.stretches[len(k.stretches)-1].key, k)
	return true
}
