package study

import (
	"iter"
	"slices"

	"sealbound/cmd/internal/report"
	"sealbound/ingest"
	"sealbound/stats"
	"sealbound/stats/judge"
)

// A cell is one group in one band, ready to be judged, with the names behind the
// codes.
type cell struct {
	group    group
	band     report.Band
	data     judge.Data
	points   []int32 // campaign points by code
	closings []*closing
	places   int // points as the row tells them: none where there are means over a band alone

	// Every closing so far has these points, in one stretch; the columns of codes are
	// those of a pattern then, and not yet made. Nil where they are made.
	alike []int32
}

// outline is what a page tells of a cell: all but the readings.
func outline(x *cell) *outlined {
	o := &outlined{group: x.group, band: x.band, points: x.points, closings: x.closings, targetDB: x.data.TargetDB,
		readings: len(x.data.Limited), floorUnknown: slices.Contains(x.data.FloorKnown, false)}
	for _, is := range x.data.Limited {
		if is {
			o.limited++
		}
	}
	return o
}

// outlining lists the outlines of the cells while they are gone through.
func outlining(cells iter.Seq2[*cell, error], list *[]*outlined) iter.Seq2[*cell, error] {
	return func(yield func(*cell, error) bool) {
		for x, err := range cells {
			if err == nil {
				*list = append(*list, outline(x))
			}
			if !yield(x, err) {
				return
			}
		}
	}
}

// An outlined cell is one without its readings.
type outlined struct {
	group             group
	band              report.Band
	points            []int32
	targetDB          []float64 // by point
	closings          []*closing
	readings, limited int
	floorUnknown      bool // of some reading
}

// coder gives codes to labels in sorted order, so that the order of rows and files
// never reaches the arithmetic. Closings of one occasion have one label.
func coder(name string, closings []*closing, key func(*closing) string) stats.Factor {
	keys := make([]string, 0, 64) // by occasion, as they follow each other
	for i, cl := range closings {
		if i == 0 || closings[i-1].occasion != cl.occasion {
			keys = append(keys, key(cl))
		}
	}
	sorted := slices.Clone(keys)
	sortLabels(sorted)
	sorted = slices.Compact(sorted)
	f := stats.Factor{Name: name, Codes: make([]int32, len(closings)), Levels: len(sorted)}
	next := 0
	for i, cl := range closings {
		if i > 0 && closings[i-1].occasion == cl.occasion {
			f.Codes[i] = f.Codes[i-1]
			continue
		}
		at, _ := slices.BinarySearchFunc(sorted, keys[next], ingest.CompareLabels)
		f.Codes[i] = int32(at)
		next++
	}
	return f
}

// join makes one key of several labels; the zero byte cannot stand in a label.
func join(parts ...string) string {
	n := len(parts)
	for _, p := range parts {
		n += len(p)
	}
	key := make([]byte, 0, n)
	for _, p := range parts {
		key = append(append(key, p...), 0)
	}
	return string(key)
}

// A layer is a band with the campaign points that lie in it.
type layer struct {
	band   report.Band
	inside []bool
}

// A stretch is the points from from to before to.
type stretch struct{ from, to int32 }

// stretches are the points of a layer; those of a band are one.
func (l layer) stretches() (out []stretch) {
	for p, is := range l.inside {
		switch n := len(out); {
		case !is:
		case n > 0 && out[n-1].to == int32(p):
			out[n-1].to++
		default:
			out = append(out, stretch{int32(p), int32(p) + 1})
		}
	}
	return out
}

// add takes in readings of a closing, those from from to before to; the points stand
// as the campaign's for now.
func (x *cell) add(cl *closing, r *readings, from, to int) {
	if from == to {
		return
	}
	k := len(x.closings)
	if k == 0 || x.closings[k-1] != cl {
		x.closings = append(x.closings, cl)
	}
	d, points := &x.data, r.point[from:to]
	d.DB, d.HeadroomDB = append(d.DB, r.db[from:to]...), append(d.HeadroomDB, r.headroomDB[from:to]...)
	d.Limited, d.FloorKnown = append(d.Limited, r.limited[from:to]...), append(d.FloorKnown, r.floorKnown[from:to]...)
	switch {
	case k == 0:
		x.alike = slices.Clone(points)
		return
	case x.alike != nil && k < len(x.closings) && slices.Equal(x.alike, points):
		return
	case x.alike != nil:
		for code := range k {
			x.code(code, x.alike)
		}
		x.alike = nil
	}
	x.code(len(x.closings)-1, points)
}

// code writes points of a closing into the columns of codes.
func (x *cell) code(closing int, points []int32) {
	d := &x.data
	d.Point = append(d.Point, points...)
	for range points {
		d.Closing = append(d.Closing, int32(closing))
	}
}

// each gives the groups in their bands, made one after another, as they are asked for.
// Closings without a reading in a band are not in its cell; a cell without any is left
// out.
func (c *campaign) each(groups []group, layers []layer, t target) iter.Seq2[*cell, error] {
	return func(yield func(*cell, error) bool) {
		for _, g := range groups {
			factors := c.factors(g.closings)
			for rest := layers; len(rest) > 0; {
				n := c.together(g, rest)
				cells, err := c.build(g, rest[:n], t, factors)
				if err != nil {
					yield(nil, err)
					return
				}
				for i, x := range cells {
					cells[i] = nil // whoever has it keeps it
					if x != nil && !yield(x, nil) {
						return
					}
				}
				rest = rest[n:]
			}
		}
	}
}

// cellOf is the cell of a group in one layer; nil where there is none.
func (c *campaign) cellOf(g group, l layer, t target) (*cell, error) {
	cells, err := c.build(g, []layer{l}, t, c.factors(g.closings))
	if err != nil {
		return nil, err
	}
	return cells[0], nil
}

// size is the most readings that a group can have in a layer.
func (c *campaign) size(on map[*grid]int, l layer) (n int) {
	for g, closings := range on {
		for _, p := range g.points {
			if l.inside[p] {
				n += closings
			}
		}
	}
	return n
}

// on counts closings by the grid that they are on.
func (c *campaign) on(closings []*closing) map[*grid]int {
	n := make(map[*grid]int)
	for _, cl := range closings {
		n[c.runs[cl.run].grid]++
	}
	return n
}

// together is how many of the layers are read back at once.
func (c *campaign) together(g group, layers []layer) int {
	on := c.on(g.closings)
	total := 0
	for i, l := range layers {
		if total += c.size(on, l); total > c.atOnce {
			return max(i, 1)
		}
	}
	return len(layers)
}

// factors are the labels of closings as codes.
func (c *campaign) factors(closings []*closing) judge.Data {
	d := judge.Data{
		Box:       coder("box", closings, func(cl *closing) string { return cl.Box }),
		Fitting:   coder("fitting", closings, func(cl *closing) string { return join(cl.Box, cl.Gasket, cl.fitting) }),
		Session:   coder("session", closings, func(cl *closing) string { return cl.Session }),
		Run:       coder("run", closings, func(cl *closing) string { return cl.Run }),
		Reference: coder("reference", closings, func(cl *closing) string { return c.runs[cl.run].reference }),
	}
	for _, cl := range closings {
		d.OwnReference = append(d.OwnReference, cl.OwnReference)
	}
	d.Closings = len(closings)
	return d
}

// build gathers the readings of a group in some layers, which may share points. factors
// are those of the group's closings. Where a layer has no reading its cell is nil.
func (c *campaign) build(g group, layers []layer, t target, factors judge.Data) ([]*cell, error) {
	cells := make([]*cell, len(layers))
	stretches := make([][]stretch, len(layers))
	on := c.on(g.closings)
	for i, l := range layers {
		cells[i] = &cell{group: g, band: l.band, closings: make([]*closing, 0, len(g.closings)), data: c.shelf.take(c.size(on, l))}
		stretches[i] = l.stretches()
	}
	var r readings
	for _, cl := range g.closings {
		if err := c.load(cl, &r); err != nil {
			return nil, err
		}
		for i, x := range cells {
			for _, s := range stretches[i] {
				from, _ := slices.BinarySearch(r.point, s.from)
				to, _ := slices.BinarySearch(r.point, s.to)
				x.add(cl, &r, from, to)
			}
		}
	}
	opens := make(map[int][][]float64)
	code := slices.Repeat([]int32{-1}, len(c.points))
	for i, x := range cells {
		if len(x.closings) == 0 {
			cells[i] = nil
			continue
		}
		if err := c.finish(x, t, factors, code, opens); err != nil {
			return nil, err
		}
	}
	return cells, nil
}

// finish gives the cell its codes, targets and open readings. code, by campaign point,
// is -1 throughout before and after; opens are those read already, by run.
func (c *campaign) finish(x *cell, t target, factors judge.Data, code []int32, opens map[int][][]float64) error {
	defer func() {
		for _, p := range x.points {
			code[p] = -1
		}
	}()
	d := &x.data
	if x.points = x.alike; x.points != nil {
		d.Closing, d.Point = c.patterns.of(len(x.closings), len(x.points))
	} else {
		x.points = used(d.Point, code)
	}
	for k, p := range x.points {
		code[p] = int32(k)
	}
	if x.alike == nil {
		for i, p := range d.Point {
			d.Point[i] = code[p]
		}
	}
	var wanted []float64
	for _, p := range x.points {
		db, err := t.at(c.points[p].FreqHz)
		if err != nil {
			return &InputError{Err: err}
		}
		wanted = append(wanted, db)
	}
	if len(x.closings) == len(x.group.closings) {
		x.closings = x.group.closings
	} else {
		factors = c.factors(x.closings)
	}
	x.places = len(x.points)
	if is, err := c.reduces(x); err != nil {
		return err
	} else if is {
		c.reduce(x)
	}
	d.Points, d.TargetDB, d.Closings = len(x.points), wanted, len(x.closings)
	d.Box, d.Fitting, d.Session, d.Run = factors.Box, factors.Fitting, factors.Session, factors.Run
	d.Reference, d.OwnReference = factors.Reference, factors.OwnReference
	d.Opens = make([]judge.Open, d.Reference.Levels)
	for i, cl := range x.closings {
		at := d.Reference.Codes[i]
		if c.runs[cl.run].repeats == 0 || d.Opens[at] != nil {
			continue
		}
		levels, ok := opens[cl.run]
		if !ok {
			var err error
			if levels, err = c.open(cl.run); err != nil {
				return err
			}
			opens[cl.run] = levels
		}
		d.Opens[at] = onPoints(levels, c.runs[cl.run].grid, code, len(x.points))
	}
	return nil
}

// used lists the points that occur. code, by campaign point, is -1 throughout before,
// and after at those that do not occur.
func used(points, code []int32) (list []int32) {
	lo, hi := points[0], points[0]
	for _, p := range points {
		lo, hi, code[p] = min(lo, p), max(hi, p), 0
	}
	for p := lo; p <= hi; p++ {
		if code[p] == 0 {
			list = append(list, p)
		}
	}
	return list
}

// onPoints are the levels of a run's open repeats at the points of a cell; NaN where a
// repeat lacks the point.
func onPoints(levels [][]float64, g *grid, code []int32, points int) judge.Open {
	var out judge.Open
	for _, repeat := range levels {
		row := make([]float64, points)
		for i := range row {
			row[i] = nan
		}
		for place, p := range g.points {
			if k := code[p]; k >= 0 {
				row[k] = repeat[place]
			}
		}
		out = append(out, row)
	}
	return out
}
