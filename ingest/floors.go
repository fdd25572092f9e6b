package ingest

import (
	"fmt"
	"math"

	"sealbound/ingest/cell"
	"sealbound/ingest/reading"
)

// A floorKind says where a floor comes from, the more particular the higher.
type floorKind uint8

const (
	noFloor floorKind = iota
	floorOption
	floorRow
	floorColumn
)

// floorOf is the normalised floor of closed row r: from the cell beside it, else
// from floor rows, else from the setting.
//
// The generator is off while the floor is read, so the tx_dbm taken off is that
// of the closed reading; the gain is that of the row on which the floor stands.
func (p *pairing) floorOf(r int, c, at int32) (float64, floorKind) {
	b := p.b
	tx, gain := orZero(b.Tx[r]), orZero(b.Gain[r])
	if f := b.Floor[r]; !math.IsNaN(f) {
		return f - gain - tx, floorColumn
	}
	if f, ok := p.floorRows(r, c, at); ok {
		return f - tx, floorRow
	}
	if p.opt.FloorDBM != nil && !b.Unit[r].Relative() {
		return *p.opt.FloorDBM - gain - tx, floorOption
	}
	return 0, noFloor
}

// floorRows averages, in dB, the floor rows that fit closed row r best: those of
// its closing before those of its box, and those before the run's. What a floor
// row fills in must agree with the reading.
func (p *pairing) floorRows(r int, c, at int32) (float64, bool) {
	rows := p.floors.at(at)
	if len(rows) == 0 {
		return 0, false
	}
	b := p.b
	best := -1
	var buffer [16]float64
	values := buffer[:0]
	for _, f := range rows {
		score := p.fit(int(f), c)
		if score < 0 || score < best {
			continue
		}
		if score > best {
			best, values = score, values[:0]
		}
		values = append(values, b.Level[f]+b.Unit[f].Offset()-orZero(b.Gain[f]))
	}
	if len(values) == 0 {
		return 0, false
	}
	return mean(values), true
}

// checkFloors refuses floor rows that do not go with the closed readings they
// fit: another kind of unit, or gain_db filled in one of the two alone.
func (p *pairing) checkFloors() {
	refused := false
	if len(p.floors.rows) == 0 {
		return
	}
	for _, r := range p.closed {
		if p.b.Kind[r] != reading.Closed {
			continue
		}
		for _, f := range p.floors.at(p.points.of[r]) {
			if !p.bad[f] && p.fit(int(f), p.closing.of[r]) >= 0 && !p.floorGoes(int(f), int(r)) {
				p.bad[f], refused = true, true
			}
		}
	}
	if refused {
		p.floorsByPoint()
	}
}

func (p *pairing) floorGoes(f, r int) bool {
	b := p.b
	if b.Unit[f].Relative() != b.Unit[r].Relative() {
		p.fail(f, reading.Level, reading.Problem{What: fmt.Sprintf("is in %v, and the closed reading at %s in %v", b.Unit[f], p.where(int32(r)), b.Unit[r]),
			Mend: "give floor and level in the same unit"})
		return false
	}
	has, wants := !math.IsNaN(b.Gain[f]), !math.IsNaN(b.Gain[r])
	if has == wants {
		return true
	}
	empty, filled, which := f, r, "closed"
	if has {
		empty, filled, which = r, f, "floor"
	}
	p.fail(empty, reading.Gain, reading.Problem{What: fmt.Sprintf("is empty, and filled in the %s reading that goes with it, at %s", which, p.where(int32(filled))),
		Mend: "fill in both, or neither"})
	return false
}

func (p *pairing) floorsByPoint() {
	p.floors.byPoint(p.points.of, len(p.points.points), p.rowsOf(reading.Noise))
}

// fit says how particularly a floor row fits a closing; -1 where it does not.
func (p *pairing) fit(f int, closing int32) int {
	k := p.closing.keys[closing]
	score := 0
	for j, weight := range [...]int{2, 1, 4, 8} { // box, gasket, fitting, closing
		switch v := p.b.Code(closingColumns[j], f); v {
		case 0:
		case k.labels[j]:
			score += weight
		default:
			return -1
		}
	}
	if d := p.b.Date[f]; score >= 8 && d != k.date && d != cell.NoDay && k.date != cell.NoDay {
		return -1 // the same label on another day is another closing
	}
	return score
}
