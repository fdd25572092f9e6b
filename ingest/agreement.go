package ingest

import (
	"fmt"
	"math"

	"sealbound/ingest/cell"
	"sealbound/ingest/reading"
)

// pairedColumns is how many context columns must agree within a pair.
const pairedColumns = int(reading.LastPaired-reading.FirstContext) + 1

// combineContexts numbers the combinations of instruments that rows name.
func (p *pairing) combineContexts() {
	p.tuples = p.tuples[:0]
	p.context = p.context[:0]
	any := false
	for c := reading.FirstContext; c <= reading.LastPaired; c++ {
		any = any || p.b.Text[c] != nil
	}
	if !any {
		return
	}
	index := map[[pairedColumns]int32]int32{}
	var last [pairedColumns]int32
	number := int32(-1)
	for i := range p.b.Len() {
		var t [pairedColumns]int32
		for j := range t {
			t[j] = p.b.Code(reading.FirstContext+reading.Column(j), i)
		}
		if number < 0 || t != last {
			n, ok := index[t]
			if !ok {
				n = int32(len(p.tuples))
				index[t] = n
				p.tuples = append(p.tuples, append([]int32(nil), t[:]...))
			}
			number, last = n, t
		}
		p.context = append(p.context, number)
	}
}

// differing is the first context column in which two rows disagree, Columns
// where there is none. An empty cell does not disagree.
func (p *pairing) differing(a, b int32) reading.Column {
	if len(p.context) == 0 || p.context[a] == p.context[b] {
		return reading.Columns
	}
	key := [2]int32{p.context[a], p.context[b]}
	if c, ok := p.agree[key]; ok {
		return c
	}
	c := reading.Columns
	for j, x := range p.tuples[key[0]] {
		y := p.tuples[key[1]][j]
		if x != 0 && y != 0 && x != y && !sameNumber(p.b.Labels.Text(x), p.b.Labels.Text(y)) {
			c = reading.FirstContext + reading.Column(j)
			break
		}
	}
	if p.agree == nil {
		p.agree = map[[2]int32]reading.Column{}
	}
	p.agree[key] = c
	return c
}

// sameNumber lets 1000 and 1e3 agree.
func sameNumber(a, b string) bool {
	x, fault := cell.Number([]byte(a), 0)
	if fault != nil {
		return false
	}
	y, fault := cell.Number([]byte(b), 0)
	return fault == nil && x == y
}

// matches checks a closed row against the open ones that serve it: the kind of
// unit, tx_dbm and gain_db filled in both or in neither, and the same
// instruments. Of one closing only the first reading that fails is told.
func (p *pairing) matches(r int, open *openSet) bool {
	b := p.b
	first := int(open.rows[0])
	if b.Unit[r].Relative() != b.Unit[first].Relative() {
		p.refuseOnce(r, r, reading.Level, fmt.Sprintf("is in %v, and the open reading at %s in %v", b.Unit[r], p.where(int32(first)), b.Unit[first]),
			"a level relative to the generator pairs only with another one")
		return false
	}
	for _, f := range [...]struct {
		c      reading.Column
		values []float64
	}{{reading.Tx, b.Tx}, {reading.Gain, b.Gain}} {
		closed, opened := !math.IsNaN(f.values[r]), !math.IsNaN(f.values[first])
		if closed == opened {
			continue
		}
		empty, filled, which := r, first, "open"
		if closed {
			empty, filled, which = first, r, "closed"
		}
		p.refuseOnce(r, empty, f.c, fmt.Sprintf("is empty, and filled in the %s reading it is paired with, at %s", which, p.where(int32(filled))), "fill in both, or neither")
		return false
	}
	for _, o := range open.rows {
		if c := p.differing(int32(r), o); c != reading.Columns {
			p.refuseOnce(r, r, c, fmt.Sprintf("differs from %q in the open reading at %s", b.Labels.Text(b.Code(c, int(o))), p.where(o)),
				"read open and closed with the same instruments, or give each its own open reading")
			return false
		}
	}
	return true
}

// refuseOnce keeps closed row r from use. Why is told once for each closing, at
// row at of its first such reading.
func (p *pairing) refuseOnce(r, at int, c reading.Column, what, mend string) {
	p.bad[r] = true
	key := told{p.closing.of[r], c}
	if t := p.told[key]; t != nil {
		t.count++
		return
	}
	if p.told == nil {
		p.told = map[told]*telling{}
	}
	p.told[key] = &telling{at: at, count: 1, what: what, mend: mend}
	p.toldOrder = append(p.toldOrder, key)
}

// tell passes on what refuseOnce has gathered. An open reading that does not match
// several closings is told once.
func (p *pairing) tell() {
	seen := map[told]bool{}
	for _, key := range p.toldOrder {
		t := p.told[key]
		if cell := (told{int32(t.at), key.column}); !seen[cell] {
			seen[cell] = true
			if t.count > 1 {
				t.what += fmt.Sprintf(" (the same for %d readings of this closing)", t.count)
			}
			p.fail(t.at, key.column, reading.Problem{What: t.what, Mend: t.mend})
		}
	}
}

// told is a closing, or a row, and the column in which it was found not to match.
type told struct {
	where  int32
	column reading.Column
}

// A telling is a problem that several readings of a closing share.
type telling struct {
	at, count  int
	what, mend string
}
