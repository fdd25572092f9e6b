package study

import (
	"cmp"
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"slices"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/array"
	"github.com/apache/arrow/go/v15/arrow/bitutil"

	"sealbound/ingest"
)

// A block says where the attenuations of a closing stand in the store, by ascending
// place of the run's grid: which places it has (where it lacks some), which readings
// are limited (where some are), which have a known floor (where they differ), and the
// attenuations. The headroom stands apart: mostly the closings of a run share it.
type block struct {
	at, headroom int64 // headroom -1 where none is known
	readings     int32
	form         form
}

// A form tells which parts a block has.
type form uint8

const (
	lacksPlaces form = 1 << iota
	hasLimited
	someFloors // of its readings have a known floor, told one by one
	noFloors
)

// readings are those of one closing, by ascending point.
type readings struct {
	point               []int32
	db, headroomDB      []float64 // headroom NaN where not known
	limited, floorKnown []bool

	grid *grid // what they were loaded from; nil where that tells nothing of the next ones
	from block
}

func (x *readings) reset(n int) {
	if cap(x.point) < n {
		*x = readings{point: make([]int32, n), db: make([]float64, n), headroomDB: make([]float64, n), limited: make([]bool, n), floorKnown: make([]bool, n)}
	}
	x.point, x.db, x.headroomDB, x.limited, x.floorKnown = x.point[:n], x.db[:n], x.headroomDB[:n], x.limited[:n], x.floorKnown[:n]
}

// columns are those of a record of schema ingest.Attenuation.
type columns struct {
	closing, point   []int32
	db, headroom     *array.Float64
	limited, floored *array.Boolean
}

func columnsOf(rec arrow.Record) (a columns, err error) {
	column := func(name string) arrow.Array { return rec.Column(ingest.Attenuation.FieldIndices(name)[0]) }
	closings, ok1 := column("closing").(*array.Int32)
	points, ok2 := column("point").(*array.Int32)
	db, ok3 := column("attenuation_db").(*array.Float64)
	limited, ok4 := column("limited").(*array.Boolean)
	floored, ok5 := column("floor_known").(*array.Boolean)
	headroom, ok6 := column("headroom_db").(*array.Float64)
	if !ok1 || !ok2 || !ok3 || !ok4 || !ok5 || !ok6 {
		return a, fmt.Errorf("the attenuation table has other columns than its schema: %s", rec.Schema())
	}
	return columns{closings.Int32Values(), points.Int32Values(), db, headroom, limited, floored}, nil
}

var errOrder = errors.New("the attenuation table is not in order of closings and points")

// keep stores the readings of a run: places is the size of its grid, closings are its
// own.
func (c *campaign) keep(rec arrow.Record, places int, closings []closing) error {
	a, err := columnsOf(rec)
	if err != nil {
		return err
	}
	last := headroomBlock{at: -1}
	for from := 0; from < len(a.closing); {
		n, to := a.closing[from], from+1
		for to < len(a.closing) && a.closing[to] == n && a.point[to-1] < a.point[to] {
			to++
		}
		if n < 0 || int(n) >= len(closings) || closings[n].block.readings > 0 || a.point[from] < 0 || int(a.point[to-1]) >= places {
			return errOrder
		}
		b := &closings[n].block
		b.readings, b.form = int32(to-from), a.form(from, to)
		if to-from < places {
			b.form |= lacksPlaces
		}
		if b.at, err = c.store.Append(a.encode(c.scratch[:0], from, to, places, b.form, &c.scratch)); err != nil {
			return err
		}
		if b.headroom, err = c.keepHeadroom(&a, from, to, &last); err != nil {
			return err
		}
		from = to
	}
	return nil
}

// form is that of the readings from to to, but for the places.
func (a *columns) form(from, to int) (f form) {
	if flagged(a.limited, from, to) > 0 {
		f |= hasLimited
	}
	switch flagged(a.floored, from, to) {
	case to - from:
	case 0:
		f |= noFloors
	default:
		f |= someFloors
	}
	return f
}

// flagged counts the flags set from from to before to.
func flagged(flags *array.Boolean, from, to int) int {
	data := flags.Data()
	return bitutil.CountSetBits(data.Buffers()[1].Bytes(), data.Offset()+from, to-from)
}

// encode writes a block; buf is kept in grown for the next one.
func (a *columns) encode(buf []byte, from, to, places int, f form, grown *[]byte) []byte {
	n := to - from
	bits := func(size int, at func(i int) int, is func(i int) bool) {
		first := len(buf)
		buf = append(buf, make([]byte, (size+7)/8)...)
		for i := from; i < to; i++ {
			if is(i) {
				k := at(i)
				buf[first+k/8] |= 1 << (k % 8)
			}
		}
	}
	own := func(i int) int { return i - from }
	if f&lacksPlaces != 0 {
		bits(places, func(i int) int { return int(a.point[i]) }, func(int) bool { return true })
	}
	if f&hasLimited != 0 {
		bits(n, own, a.limited.Value)
	}
	if f&someFloors != 0 {
		bits(n, own, a.floored.Value)
	}
	buf = appendFloats(buf, a.db.Float64Values()[from:to])
	*grown = buf
	return buf
}

// A headroomBlock is the one stored last of a run.
type headroomBlock struct {
	values []float64
	at     int64
}

// keepHeadroom stores the headroom of a closing's readings, unless the closing before
// had the same.
func (c *campaign) keepHeadroom(a *columns, from, to int, last *headroomBlock) (int64, error) {
	values := a.headroom.Float64Values()[from:to]
	if a.headroom.NullN() > 0 {
		clean, any := make([]float64, len(values)), false
		for i := range clean {
			clean[i] = nan
			if a.headroom.IsValid(from + i) {
				clean[i], any = values[i], true
			}
		}
		if values = clean; !any {
			return -1, nil
		}
	}
	if last.at >= 0 && sameBits(values, last.values) {
		return last.at, nil
	}
	c.scratch = appendFloats(c.scratch[:0], values)
	at, err := c.store.Append(c.scratch)
	*last = headroomBlock{values, at}
	return at, err
}

func sameBits(a, b []float64) bool {
	if len(a) != len(b) {
		return false
	}
	for i, x := range a {
		if math.Float64bits(x) != math.Float64bits(b[i]) {
			return false
		}
	}
	return true
}

func appendFloats(buf []byte, values []float64) []byte {
	n := len(buf)
	buf = slices.Grow(buf, 8*len(values))[:n+8*len(values)]
	for i, x := range values {
		binary.LittleEndian.PutUint64(buf[n+8*i:], math.Float64bits(x))
	}
	return buf
}

func floatAt(buf []byte, i int) float64 {
	return math.Float64frombits(binary.LittleEndian.Uint64(buf[8*i:]))
}

// load reads the attenuations of a closing back. The closings of a run mostly share
// points, flags and headroom; what x holds of them already is left as it is.
func (c *campaign) load(cl *closing, x *readings) error {
	g, b, n := c.runs[cl.run].grid, cl.block, int(cl.block.readings)
	x.reset(n)
	if n == 0 {
		return nil
	}
	const told = lacksPlaces | hasLimited | someFloors
	alike := x.grid == g && x.from.readings == b.readings && x.from.form == b.form && b.form&told == 0
	sharesHeadroom := alike && x.from.headroom == b.headroom
	x.grid = nil // until they are whole
	places, flags := 0, (n+7)/8
	size := 8 * n
	if b.form&lacksPlaces != 0 {
		places = (len(g.points) + 7) / 8
	}
	size += places
	if b.form&hasLimited != 0 {
		size += flags
	}
	if b.form&someFloors != 0 {
		size += flags
	}
	buf, err := c.bytes(b.at, size)
	if err != nil {
		return err
	}
	has, buf := buf[:places], buf[places:]
	if !alike {
		unpack(x.limited, &buf, b.form&hasLimited != 0, false)
		unpack(x.floorKnown, &buf, b.form&someFloors != 0, b.form&noFloors == 0)
		k := 0
		for place, p := range g.points {
			if places == 0 || has[place/8]>>(place%8)&1 == 1 {
				x.point[k] = p
				k++
			}
		}
	}
	floats(x.db, buf)
	switch {
	case sharesHeadroom:
	case b.headroom < 0:
		for i := range x.headroomDB {
			x.headroomDB[i] = nan
		}
	default:
		if buf, err = c.bytes(b.headroom, 8*n); err != nil {
			return err
		}
		floats(x.headroomDB, buf)
	}
	if g.order != nil {
		x.sort(g.order)
		return nil
	}
	x.grid, x.from = g, b
	return nil
}

// floats reads as many numbers as to has room for.
func floats(to []float64, from []byte) {
	for i := range to {
		to[i] = floatAt(from, i)
	}
}

// unpack takes flags from buf, or sets all to what holds without them.
func unpack(flags []bool, buf *[]byte, told, otherwise bool) {
	for i := range flags {
		flags[i] = otherwise
		if told {
			flags[i] = (*buf)[i/8]>>(i%8)&1 == 1
		}
	}
	if told {
		*buf = (*buf)[(len(flags)+7)/8:]
	}
}

// bytes reads from the store; what it returns holds until the next call.
func (c *campaign) bytes(at int64, n int) ([]byte, error) {
	if cap(c.scratch) < n {
		c.scratch = make([]byte, n)
	}
	return c.scratch[:n], c.store.Read(c.scratch[:n], at)
}

// sort puts the readings into the order of their points, which is that of the places.
func (x *readings) sort(places []int32) {
	var y readings
	y.reset(len(x.point))
	if len(places) == len(x.point) {
		for to, from := range places {
			y.take(to, x, int(from))
		}
	} else {
		order := make([]int, len(x.point))
		for i := range order {
			order[i] = i
		}
		slices.SortFunc(order, func(a, b int) int { return cmp.Compare(x.point[a], x.point[b]) })
		for to, from := range order {
			y.take(to, x, from)
		}
	}
	*x = y
}

func (x *readings) take(to int, from *readings, i int) {
	x.point[to], x.db[to], x.headroomDB[to], x.limited[to], x.floorKnown[to] = from.point[i], from.db[i], from.headroomDB[i], from.limited[i], from.floorKnown[i]
}

// keepOpen stores the open levels of a run.
func (c *campaign) keepOpen(repeats [][]float64, places int) (int64, error) {
	c.scratch = c.scratch[:0]
	for _, levels := range repeats {
		if len(levels) != places {
			return 0, fmt.Errorf("open readings of %d points, where the run has %d", len(levels), places)
		}
		c.scratch = appendFloats(c.scratch, levels)
	}
	return c.store.Append(c.scratch)
}

// open reads the levels of a run's open repeats back, by repeat and place of its grid.
func (c *campaign) open(number int) ([][]float64, error) {
	r := c.runs[number]
	places := len(r.grid.points)
	buf, err := c.bytes(r.open, 8*places*r.repeats)
	if err != nil {
		return nil, err
	}
	out := make([][]float64, r.repeats)
	for i := range out {
		out[i] = make([]float64, places)
		floats(out[i], buf[8*i*places:])
	}
	return out, nil
}
