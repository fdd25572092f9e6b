package ingest

import (
	"context"
	"fmt"
	"math"
	"slices"

	"sealbound/ingest/cell"
	"sealbound/ingest/reading"
)

// A pairing turns the readings of one run into attenuations. It is reused from
// run to run; what it hands out is copied.
type pairing struct {
	opt *Options
	b   *reading.Batch
	// label of the run; own of the rows are its own, the others are the open
	// readings of the run that it names as its reference
	label       string
	toleranceHz float64 // frequencies this near are one point
	own         int
	quiet       bool // a problem told elsewhere may have taken the open readings

	kinds    [reading.Direct + 1]int // own rows that are used
	set      bool                    // some row has a power or a gain
	bad      []bool                  // rows that a problem keeps from use
	norm     []float64               // level - tx - gain, dB
	context  []int32                 // by row: which combination of instruments, 0 where nothing is said
	tuples   [][]int32               // the combinations
	points   pointTable
	closing  closingTable
	whole    ranges    // open rows of the whole run by point
	opens    []openSet // by point, of the whole run
	ownSets  map[ownKey]*openSet
	ownOrder []ownKey // as they first appear
	list     []int32  // scratch
	closed   []int32  // rows of closed boxes by closing, point, line
	floors   ranges   // floor rows by point
	pairs    []pair
	taken    int // closed rows that went with a bad open reading

	fail      func(row int, c reading.Column, p reading.Problem)
	where     func(row int32) string // file:line of a row, for messages
	paths     func(file int32) string
	notes     *notes
	agree     map[[2]int32]reading.Column
	told      map[told]*telling
	toldOrder []told
}

// A pair is one closing at one point, its sweeps averaged.
type pair struct {
	attenuation            float64
	headroom, open, closed float64 // NaN where there is none
	closing, point         int32
	row                    int32 // the first reading
	openRow                int32 // the first open reading; -1 where there is none
	sweeps                 int32
	limited, floorKnown    bool
	own                    bool // the open readings serve this closing alone
	floor                  floorKind
}

// rowsOf lists the usable rows of one kind.
func (p *pairing) rowsOf(kind reading.Kind) []int32 {
	list := p.list[:0]
	for i, k := range p.b.Kind {
		if k == kind && !p.bad[i] {
			list = append(list, int32(i))
		}
	}
	p.list = list
	return list
}

// run pairs the batch, without the rows denied. Problems go to fail, what the
// result should say to notes.
func (p *pairing) run(ctx context.Context, denied []int32) error {
	n := p.b.Len()
	p.bad = slices.Grow(p.bad[:0], n)[:n]
	clear(p.bad)
	for _, r := range denied {
		p.bad[r] = true
	}
	p.pairs, p.taken, p.agree, p.told, p.toldOrder = p.pairs[:0], 0, nil, nil, p.toldOrder[:0]
	p.fillDates()
	positions, polarizations := p.b.Text[reading.Position], p.b.Text[reading.Polarization]
	if positions != nil || polarizations != nil || !p.points.again(p.b.FreqHz, p.toleranceHz) {
		p.points.number(p.b.FreqHz, positions, polarizations)
		p.points.merge(p.opt.FreqMatch, p.toleranceHz, p.b.Labels.Text)
	}
	p.normalise()
	p.combineContexts()
	p.closing.find(p.b, n, func(row int, c reading.Column) {
		p.refuse(row, c, "is empty, and the other readings of this closing have several", "fill it in")
	})
	p.gatherOpens()
	p.floorsByPoint()
	p.orderClosed()
	p.checkFloors()
	if err := p.pairAll(ctx); err != nil {
		return err
	}
	p.dropEmpty()
	return nil
}

// refuse keeps a row from use and tells why. A row of another run, which serves
// this one as its reference, is told there.
func (p *pairing) refuse(row int, c reading.Column, what, mend string) {
	p.bad[row] = true
	if row < p.own {
		p.fail(row, c, reading.Problem{What: what, Mend: mend})
	}
}

// fillDates lets a date that is unique in the run hold for its rows without one.
func (p *pairing) fillDates() {
	days := p.b.Date[:p.own]
	unique, missing := cell.NoDay, false
	for _, i := range p.b.Breaks() {
		if int(i) >= p.own {
			break
		}
		switch d := days[i]; {
		case d == cell.NoDay:
			missing = true
		case unique != cell.NoDay && d != unique:
			return
		default:
			unique = d
		}
	}
	if missing && unique != cell.NoDay {
		for i := range days {
			days[i] = unique
		}
	}
}

// pairAll goes through the closings, point by point.
func (p *pairing) pairAll(ctx context.Context) error {
	var missing []int32
	p.pairs = slices.Grow(p.pairs[:0], len(p.closed))
	for from := 0; from < len(p.closed); {
		n, err := p.pairPlain(ctx, from)
		if err != nil {
			return err
		}
		if from += n; from == len(p.closed) {
			break
		}
		r := p.closed[from]
		c, at := p.closing.of[r], p.points.of[r]
		to := from + 1
		for to < len(p.closed) && p.closing.of[p.closed[to]] == c && p.points.of[p.closed[to]] == at {
			to++
		}
		rows := p.closed[from:to]
		from = to
		if len(p.pairs)%4096 == 4095 && ctx.Err() != nil {
			return ctx.Err()
		}
		if len(rows) > 1 && !p.distinctSweeps(rows) {
			continue
		}
		switch direct := p.b.Kind[r] == reading.Direct; {
		case direct:
			p.pairs = append(p.pairs, p.given(rows, c, at))
		default:
			open := p.openFor(c, at)
			if open == nil {
				missing = append(missing, rows...)
				continue
			}
			if q, ok := p.pair(rows, c, at, open); ok {
				q.own = open != &p.opens[at]
				p.pairs = append(p.pairs, q)
			}
		}
	}
	p.withoutOpen(missing)
	p.tell()
	return nil
}

// dropEmpty forgets closings of which nothing is left.
func (p *pairing) dropEmpty() {
	number := make([]int32, len(p.closing.keys))
	for i := range p.pairs {
		number[p.pairs[i].closing] = 1
	}
	kept := p.closing.keys[:0]
	for i, k := range p.closing.keys {
		if number[i] == 1 {
			number[i] = int32(len(kept))
			kept = append(kept, k)
		} else {
			number[i] = -1
		}
	}
	if p.closing.keys = kept; len(kept) == len(number) {
		return
	}
	for i := range p.pairs {
		p.pairs[i].closing = number[p.pairs[i].closing]
	}
	for i, c := range p.closing.of {
		if c >= 0 {
			p.closing.of[i] = number[c]
		}
	}
	p.closed = slices.DeleteFunc(p.closed, func(r int32) bool { return p.closing.of[r] < 0 })
}

// distinctSweeps refuses readings of one closing at one point that no sweep tells
// apart. None of them is kept: which one is right, the data do not say.
func (p *pairing) distinctSweeps(rows []int32) bool {
	ok := true
	seen := make(map[int32]int32, len(rows))
	for _, r := range rows {
		s := p.b.Code(reading.Sweep, int(r))
		first, twice := seen[s]
		if !twice {
			seen[s] = r
		}
		mixed := p.b.Kind[r] != p.b.Kind[rows[0]]
		switch {
		case mixed:
			ok = false
			p.refuse(int(r), reading.Freq, "a level is read here and an attenuation given at "+p.where(rows[0]), "keep one of the two")
		case twice && s == 0:
			ok = false
			p.refuse(int(r), reading.Freq, "this closing was read at this point before, at "+p.where(first), "remove one of the two, or fill in sweep to tell repeat readings apart")
		case twice:
			ok = false
			p.refuse(int(r), reading.Sweep, "this sweep was read at this point before, at "+p.where(first), "remove one of the two, or number the sweeps")
		}
	}
	if _, blank := seen[0]; ok && blank && len(seen) > 1 {
		ok = false
		p.refuse(int(seen[0]), reading.Sweep, "is empty, and other readings of this closing at this point have sweeps", "fill it in")
	}
	if !ok {
		for _, r := range rows {
			p.bad[r] = true
		}
	}
	return ok
}

// given takes attenuations as the data have them.
func (p *pairing) given(rows []int32, c, at int32) pair {
	q := pair{closing: c, point: at, floorKnown: true, row: rows[0], openRow: -1, sweeps: int32(len(rows)),
		headroom: math.NaN(), open: math.NaN(), closed: math.NaN()}
	values := make([]float64, len(rows))
	for i, r := range rows {
		values[i] = p.b.Level[r]
		q.limited = q.limited || p.b.Limited[r]
	}
	q.attenuation = mean(values)
	if q.headroom = p.b.Floor[rows[0]]; q.limited && math.IsNaN(q.headroom) {
		q.headroom = q.attenuation
	}
	return q
}

// pair compares the readings of one closing at one point with their open ones.
func (p *pairing) pair(rows []int32, c, at int32, open *openSet) (pair, bool) {
	var levels, floors [16]float64
	level, floor := levels[:0], floors[:0]
	kind, below := noFloor, false
	for _, r := range rows {
		if !p.matches(int(r), open) {
			continue
		}
		level = append(level, p.norm[r])
		below = below || p.b.Limited[r]
		f, k := p.floorOf(int(r), c, at)
		if k > kind { // a floor beside the reading says more than one for the run
			kind, floor = k, floor[:0]
		}
		if k == kind && k != noFloor {
			floor = append(floor, f)
		}
	}
	if len(level) == 0 {
		return pair{}, false
	}
	q := pair{closing: c, point: at, row: rows[0], openRow: open.rows[0], sweeps: int32(len(level)), floor: kind,
		open: open.meanDB, closed: mean(level), headroom: math.NaN()}
	shown := q.closed
	if kind != noFloor {
		f := mean(floor)
		q.floorKnown = true
		q.limited = q.closed < f+p.opt.FloorMarginDB
		q.headroom = q.open - f - p.opt.FloorMarginDB
		shown = max(shown, f)
	} else {
		q.floorKnown = p.opt.NoFloor
	}
	if below { // the receiver itself says that there was less, so no margin is due
		q.limited, q.floorKnown = true, true
		if most := q.open - shown; math.IsNaN(q.headroom) || most < q.headroom {
			q.headroom = most
		}
	}
	if q.limited {
		q.attenuation = q.open - shown
	} else {
		q.attenuation = q.open - q.closed
	}
	return q, true
}

// withoutOpen refuses the closed rows that no open reading serves. Where an open
// reading was refused the cause is told already, and the rows go with it: those of
// its point; where not even its frequency could be read, those of any one point.
func (p *pairing) withoutOpen(missing []int32) {
	if len(missing) == 0 {
		return
	}
	none := !p.anyOpen()
	slices.Sort(p.b.BadOpenHz)
	p.b.BadOpenHz = slices.Compact(p.b.BadOpenHz)
	take := func(r int32) bool {
		p.bad[r] = true
		p.taken++
		return true
	}
	missing = slices.DeleteFunc(missing, func(r int32) bool { return p.wentWith(r) && take(r) })
	points := map[int32]bool{}
	for _, r := range missing {
		points[p.points.of[r]] = true
	}
	if none && p.quiet || len(points) <= p.b.BadOpen || none && p.b.BadOpen > 0 {
		for _, r := range missing {
			take(r)
		}
		return
	}
	if none {
		for _, r := range missing {
			p.bad[r] = true
		}
		what := fmt.Sprintf("the run %q has no open reading to compare with", p.label)
		if n := len(missing); n > 1 {
			what += fmt.Sprintf(" (%d closed readings)", n)
		}
		mend := "add its open readings, give them the same run, or name another run in the column reference"
		p.fail(int(slices.Min(missing)), reading.Columns, reading.Problem{What: what, Mend: mend})
		return
	}
	for _, r := range missing {
		p.refuse(int(r), reading.Freq, fmt.Sprintf("the run %q has no open reading at this point", p.label), p.nearest(int(r)))
	}
}

// wentWith reports whether an open reading of the row's point was refused. Rows that
// were not taken show their frequency alone; those are in order.
func (p *pairing) wentWith(r int32) bool {
	if p.opens[p.points.of[r]].refused > 0 {
		return true
	}
	f := p.b.FreqHz[r]
	near := max(p.opt.FreqMatch*f, p.toleranceHz)
	at, _ := slices.BinarySearch(p.b.BadOpenHz, f-near)
	return at < len(p.b.BadOpenHz) && p.b.BadOpenHz[at] <= f+near
}

func orZero(v float64) float64 {
	if v != v {
		return 0
	}
	return v
}

// mean averages in dB. It sorts what it is given, so that the order of the rows
// does not show in the last digit.
func mean(values []float64) float64 {
	if len(values) == 1 {
		return values[0]
	}
	slices.Sort(values)
	sum := 0.0
	for _, v := range values {
		sum += v
	}
	return sum / float64(len(values))
}
