package ingest

import (
	"context"
	"math"
	"slices"

	"sealbound/ingest/reading"
)

// A makeup is what two readings must share to be compared: the kind of unit, and
// whether power and gain are recorded.
type makeup uint8

const (
	relative makeup = 1 << iota
	withTx
	withGain
)

func (p *pairing) makeupOf(r int32) makeup {
	var m makeup
	if p.b.Unit[r].Relative() {
		m = relative
	}
	if !p.set {
		return m
	}
	if tx := p.b.Tx[r]; tx == tx {
		m |= withTx
	}
	if gain := p.b.Gain[r]; gain == gain {
		m |= withGain
	}
	return m
}

// normalise takes power and gain off the levels.
func (p *pairing) normalise() {
	n := p.b.Len()
	p.norm = slices.Grow(p.norm[:0], n)[:n]
	level, unit, tx, gain := p.b.Level[:n], p.b.Unit[:n], p.b.Tx[:n], p.b.Gain[:n]
	p.set = false
	for i := range p.norm {
		v := level[i] + unit[i].Offset()
		if t := tx[i]; t == t {
			v -= t
			p.set = true
		}
		if g := gain[i]; g == g {
			v -= g
			p.set = true
		}
		p.norm[i] = v
	}
}

// pairPlain pairs closed rows from the given one of p.closed on as long as they are
// of the plainest kind: one reading of its closing at its point, made as the open
// readings of the whole run were, its floor beside it or the setting's. It returns
// how many it took; the next one, if any, is for pair, which gives the same.
func (p *pairing) pairPlain(ctx context.Context, from int) (int, error) {
	if len(p.ownSets) > 0 || len(p.floors.rows) > 0 {
		return 0, nil
	}
	b := p.b
	n := b.Len()
	closing, points, kinds, limited, norm, floors, txs, gains := p.closing.of[:n], p.points.of[:n], b.Kind[:n], b.Limited[:n], p.norm[:n], b.Floor[:n], b.Tx[:n], b.Gain[:n]
	margin, setting := p.opt.FloorMarginDB, p.opt.FloorDBM
	rows := p.closed[from:]
	first := len(p.pairs)
	pairs := slices.Grow(p.pairs, len(rows))[:first+len(rows)] // filled in place: a pair is large
	taken := 0
	for i, r := range rows {
		c, at := closing[r], points[r]
		if i+1 < len(rows) {
			if next := rows[i+1]; points[next] == at && closing[next] == c {
				break
			}
		}
		open := &p.opens[at]
		m := p.makeupOf(r)
		if kinds[r] != reading.Closed || limited[r] || open.meanDB != open.meanDB || m != open.makeup || len(p.context) > 0 && p.context[r] != open.context {
			break
		}
		if i%4096 == 4095 && ctx.Err() != nil {
			return 0, ctx.Err()
		}
		taken = i + 1
		closed, q := norm[r], &pairs[first+i]
		q.closing, q.point, q.row, q.openRow, q.sweeps = c, at, r, open.rows[0], 1
		q.open, q.closed, q.headroom, q.attenuation = open.meanDB, closed, math.NaN(), open.meanDB-closed
		q.limited, q.floorKnown, q.own, q.floor = false, p.opt.NoFloor, false, noFloor
		f := floors[r]
		switch {
		case f == f:
			if m&withGain != 0 {
				f -= gains[r]
			}
			if m&withTx != 0 {
				f -= txs[r]
			}
			q.floor = floorColumn
		case setting != nil && m&relative == 0:
			f, q.floor = *setting-orZero(gains[r])-orZero(txs[r]), floorOption
		default:
			continue
		}
		q.floorKnown, q.headroom = true, open.meanDB-f-margin
		if closed < f+margin {
			q.limited, q.attenuation = true, open.meanDB-max(closed, f)
		}
	}
	p.pairs = pairs[:first+taken]
	return taken, nil
}
