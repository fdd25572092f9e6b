package study

import (
	"slices"

	"sealbound/cmd/internal/report"
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
}

// coder gives codes to labels in sorted order, so that the order of rows and files
// never reaches the arithmetic.
func coder(name string, closings []*closing, key func(*closing) string) stats.Factor {
	keys := make([]string, len(closings))
	for i, cl := range closings {
		keys[i] = key(cl)
	}
	sorted := slices.Clone(keys)
	slices.Sort(sorted)
	sorted = slices.Compact(sorted)
	f := stats.Factor{Name: name, Codes: make([]int32, len(keys)), Levels: len(sorted)}
	for i, k := range keys {
		at, _ := slices.BinarySearch(sorted, k)
		f.Codes[i] = int32(at)
	}
	return f
}

// join makes one key of several labels; the zero byte cannot stand in a label.
func join(parts ...string) string {
	key := ""
	for _, p := range parts {
		key += p + "\x00"
	}
	return key
}

// cellOf gathers the readings of a group in a band. Closings without a reading in
// the band are not in it. It returns nil where there is none.
func (c *campaign) cellOf(g group, band report.Band, inside []bool, t target) (*cell, error) {
	x := &cell{group: g, band: band}
	code := make([]int32, len(c.points))
	for i := range code {
		code[i] = -1
	}
	for _, cl := range g.closings {
		any := false
		for _, r := range cl.readings {
			if inside[r.point] {
				code[r.point] = 0
				any = true
			}
		}
		if any {
			x.closings = append(x.closings, cl)
		}
	}
	if len(x.closings) == 0 {
		return nil, nil
	}
	for p := range code {
		if code[p] < 0 {
			continue
		}
		code[p] = int32(len(x.points))
		x.points = append(x.points, int32(p))
		db, err := t.at(c.points[p].FreqHz)
		if err != nil {
			return nil, err
		}
		x.data.TargetDB = append(x.data.TargetDB, db)
	}
	d := &x.data
	d.Points, d.Closings = len(x.points), len(x.closings)
	d.Box = coder("box", x.closings, func(cl *closing) string { return cl.Box })
	d.Fitting = coder("fitting", x.closings, func(cl *closing) string { return join(cl.Box, cl.Gasket, cl.fitting) })
	d.Session = coder("session", x.closings, func(cl *closing) string { return cl.Session })
	d.Run = coder("run", x.closings, func(cl *closing) string { return cl.Run })
	d.Reference = coder("reference", x.closings, func(cl *closing) string { return c.runs[cl.run].reference })
	d.Opens = make([]judge.Open, d.Reference.Levels)
	for i, cl := range x.closings {
		d.OwnReference = append(d.OwnReference, cl.OwnReference)
		for _, r := range cl.readings {
			if !inside[r.point] {
				continue
			}
			d.Closing = append(d.Closing, int32(i))
			d.Point = append(d.Point, code[r.point])
			d.DB = append(d.DB, r.db)
			d.Limited = append(d.Limited, r.limited)
			d.FloorKnown = append(d.FloorKnown, r.floorKnown)
			d.HeadroomDB = append(d.HeadroomDB, r.headroomDB)
		}
		if at := d.Reference.Codes[i]; d.Opens[at] == nil {
			d.Opens[at] = c.open(cl.run, x.points)
		}
	}
	return x, nil
}

// open gives a run's open repeats at the points of a cell.
func (c *campaign) open(run int, points []int32) judge.Open {
	var out judge.Open
	for _, levels := range c.runs[run].open {
		row := make([]float64, len(points))
		for i, p := range points {
			x, ok := levels[p]
			if !ok {
				x = nan
			}
			row[i] = x
		}
		out = append(out, row)
	}
	return out
}
