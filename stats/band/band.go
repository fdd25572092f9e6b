package band

import (
	"fmt"
	"math"
)

// A Value is the band value of one closing.
type Value struct {
	Closing int32
	DB      float64 // point-adjusted mean of the attenuations, dB
	Power   float64 // -10 log10 of the mean leaked share of power, dB; below DB unless all are equal
	Points  int     // points used that this closing was read at
	Limited int     // of these, readings at the limit: their attenuation is at least the figure
}

// An Average says how a closing's readings are averaged over points.
type Average int

// ByDB averages attenuations in dB. ByPower averages the shares of power that
// leak, 10^(-dB/10), and so leans to the points that leak most.
const (
	ByDB Average = iota
	ByPower
)

// By returns the value under an average, dB.
func (v Value) By(a Average) float64 {
	if a == ByPower {
		return v.Power
	}
	return v.DB
}

// A Result holds the band values of closings, and what they were made from: the columns of
// the table, which must stay as they are while it is asked.
type Result struct {
	Reason      Reason       // None, or why there are no values
	Values      []Value      // closings kept, by code; empty with a Reason
	Used        []int32      // points used, by code; empty with a Reason other than Disconnected
	PointsOut   []PointOut   // points measured and not used, by code
	ClosingsOut []ClosingOut // closings left out, by code
	Split       *Split       // with the reason Disconnected

	table  *Table
	keep   []bool
	used   bitset
	layout *layout

	anyLimited bool // some reading of the table
}

// Values returns the band values of t. It uses the points measured in every
// fitting compared: those seen in at least one closing kept of each. A closing
// read at fewer than half of them is left out, and the points are then chosen
// anew; a closing without a reading does not count its fitting among those
// compared. Where the closings of a fitting fall into parts that share no
// point, there is no value at all: their levels differ by an unknown amount,
// and keeping one part would drop the other's points from every fitting.
//
// The error speaks of malformed input: lengths, codes, two readings of one
// closing at one point, an attenuation that is not finite.
func Values(t Table) (*Result, error) {
	inOrder, err := t.check()
	if err != nil {
		return nil, err
	}
	l, err := newLayout(&t, inOrder)
	if err != nil {
		return nil, err
	}
	s := choose(&t, l)
	sortByClosing(s.out)
	r := &Result{Reason: s.reason, PointsOut: s.points, ClosingsOut: s.out, table: &t, keep: s.keep, used: s.used, layout: l, anyLimited: t.anyLimited()}
	if r.Reason != None {
		for c := range r.keep {
			r.keep[c] = false
		}
		return r, nil
	}
	r.Used = s.used.members()
	if err := r.reduce(); err != nil {
		return nil, err
	}
	return r, nil
}

// At returns the band values of the same closings over the same points at other
// attenuations, dB, one for each reading of the table. The error speaks of their number,
// or of one that is not finite.
func (r *Result) At(db []float64) ([]Value, error) {
	if len(db) != len(r.table.DB) {
		return nil, fmt.Errorf("band: %d values for %d readings", len(db), len(r.table.DB))
	}
	for i, v := range db {
		if v-v != 0 {
			return nil, fmt.Errorf("band: reading %d: attenuation is not finite", i)
		}
	}
	if r.Reason != None {
		return nil, nil
	}
	t, other := *r.table, *r
	t.DB = db
	other.table, other.Values = &t, nil
	err := other.reduce()
	return other.Values, err
}

// reduce works out the values, fitting by fitting.
func (r *Result) reduce() error {
	rank := make([]int, r.table.Points) // place of a point among those used
	for k, p := range r.Used {
		rank[p] = k
	}
	of := make([]int, len(r.keep)) // place of a closing among those kept
	byFitting := make([][]int32, r.table.Fitting.Levels)
	r.Values = make([]Value, 0, len(r.keep))
	for c, k := range r.keep {
		if k {
			of[c] = len(r.Values)
			r.Values = append(r.Values, Value{Closing: int32(c)})
			f := r.table.Fitting.Codes[c]
			if byFitting[f] == nil {
				byFitting[f] = make([]int32, 0, len(r.keep)/len(byFitting))
			}
			byFitting[f] = append(byFitting[f], int32(c))
		}
	}
	for f, closings := range byFitting {
		if len(closings) == 0 {
			continue
		}
		if parts := sides(closings, r.layout, r.used); len(parts) > 1 {
			r.Reason, r.Split, r.Values = Disconnected, &Split{int32(f), parts}, nil
			return nil
		}
		if err := r.fit(closings, of, rank); err != nil {
			return err
		}
	}
	return nil
}

// fit works out the values of the closings of one fitting.
func (r *Result) fit(closings []int32, of, rank []int) error {
	cols, whole := len(r.Used), true
	row := make([]float64, cols)
	for _, c := range closings {
		v := &r.Values[of[c]]
		db := r.row(int(c), v, row, rank)
		if whole = whole && v.Points == cols; v.Points == cols { // its plain mean, to the bit
			v.DB, v.Power = meanDB(db), meanPower(db)
		}
	}
	if whole {
		return nil
	}
	y := make([]float64, len(closings)*cols)
	for k, c := range closings {
		copy(y[k*cols:], r.row(int(c), &Value{}, row, rank))
	}
	if err := complete(y, len(closings), cols); err != nil {
		return err
	}
	for k, c := range closings {
		if v := &r.Values[of[c]]; v.Points < cols {
			row := y[k*cols : (k+1)*cols]
			v.DB, v.Power = meanDB(row), meanPower(row)
		}
	}
	return nil
}

// row returns the attenuations of a closing by rank of the points used, NaN where it
// lacks one, and counts its readings in v. They are those of the table itself where they
// stand there so, else in room.
func (r *Result) row(c int, v *Value, room []float64, rank []int) []float64 {
	if db, limited, ok := r.straight(c); ok {
		v.Points = len(db)
		if r.anyLimited {
			for _, is := range limited {
				if is {
					v.Limited++
				}
			}
		}
		return db
	}
	for i := range room {
		room[i] = math.NaN()
	}
	for i := range r.layout.readings(c) {
		p := int(r.table.Point[i])
		if !r.used.has(p) {
			continue
		}
		room[rank[p]] = r.table.DB[i]
		v.Points++
		if r.table.limited(i) {
			v.Limited++
		}
	}
	return room
}

// straight returns the readings of a closing as they stand in the table, if that is one
// by one at the points used; limited is nil where no reading of the table is.
func (r *Result) straight(c int) (db []float64, limited []bool, ok bool) {
	if r.layout.rows != nil || len(r.Used) != r.table.Points || r.layout.count(c) != r.table.Points {
		return nil, nil, false
	}
	from, to := r.layout.start[c], r.layout.start[c+1]
	if r.anyLimited {
		limited = r.table.Limited[from:to]
	}
	return r.table.DB[from:to], limited, true
}

func meanDB(db []float64) float64 {
	sum := 0.0
	for _, v := range db {
		sum += v
	}
	return sum / float64(len(db))
}

// meanPower returns -10 log10 of the mean of 10^(-db/10). The smallest value is
// taken out first, or high attenuations would underflow.
func meanPower(db []float64) float64 {
	low := db[0]
	for _, v := range db {
		if v < low {
			low = v
		}
	}
	sum := 0.0
	for _, v := range db {
		sum += expDown((low - v) * (math.Ln10 / 10))
	}
	return low - 10*math.Log10(sum/float64(len(db)))
}
