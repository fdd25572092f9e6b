package simulate

import "math"

// A Grid is the selected closings by point, paired from the levels that the
// receiver showed, each closing's sweeps averaged in dB first.
type Grid struct {
	// Closings has as values the plain mean over the points that were read, NaN
	// for a closing without any; limited figures enter as they stand.
	Closings
	Points []int // indexes in Settings.Points
	// By closing and then by point, len(Values) * len(Points) each.
	//
	//	DB = (open - gain) - (max(level, floor) - gain)
	//	HeadroomDB = (open - gain) - (floor - gain) - margin
	DB         []float64 // NaN where the reading is missing
	Limited    []bool    // the level stood less than the margin above the floor
	HeadroomDB []float64 // NaN where there is no floor
}

// Grid pairs the selected closings. marginDB is how far above the floor a level
// must stand to count as read. Runs with a drift are among them.
func (c *Campaign) Grid(want Selection, marginDB float64) Grid {
	points := c.pointsOf(want.Band)
	visits, n := c.selected(want, points)
	out := Grid{Closings: newClosings(n), Points: points}
	wanted := map[int]bool{}
	for _, i := range visits {
		wanted[i] = true
	}
	codes := newCoder()
	p := newPairing(c, marginDB, &out)
	for run := range c.runs {
		if c.pairs(run, wanted) {
			p.run(c, run, wanted, codes)
		}
	}
	codes.finish(&out.Closings)
	return out
}

func (c *Campaign) pairs(run int, wanted map[int]bool) bool {
	for _, i := range c.runs[run].Visits {
		if wanted[i] {
			return true
		}
	}
	return false
}

// OpenLevels returns the open sweeps of a run, by sweep and then by point: dBm,
// less the gain.
func (c *Campaign) OpenLevels(run int) [][]float64 {
	r := &c.runs[run]
	l, m := newLevels(c, r), c.newMeter()
	out := make([][]float64, c.settings.OpenRepeats)
	for repeat := range out {
		row := make([]float64, 0, len(c.settings.Points))
		for _, level := range l.open(m, repeat).LevelDBM {
			row = append(row, level-r.OpenDB)
		}
		out[repeat] = row
	}
	return out
}

// A pairing turns the sweeps of a run into rows of a Grid.
type pairing struct {
	out         *Grid
	margin      float64
	open, floor []float64 // dBm less the gain, by point of the campaign
	closed      []float64
	sweeps      int
}

func newPairing(c *Campaign, margin float64, out *Grid) *pairing {
	n := len(c.settings.Points)
	return &pairing{out: out, margin: margin, open: make([]float64, n), floor: make([]float64, n), closed: make([]float64, n), sweeps: c.settings.Sweeps}
}

func (p *pairing) run(c *Campaign, run int, wanted map[int]bool, codes *coder) {
	clear(p.open)
	for i := range p.floor {
		p.floor[i] = math.NaN()
	}
	first := len(p.out.DB)
	c.EachSweep(run, func(s Sweep) error { // the function returns no error
		switch s.State {
		case Open:
			for i, level := range s.LevelDBM {
				p.open[i] += (level - s.GainDB) / float64(c.settings.OpenRepeats)
			}
		case Floor:
			for i, level := range s.LevelDBM {
				p.floor[i] = level - s.GainDB
			}
		case Closed:
			if !wanted[s.Visit] {
				return nil
			}
			if s.Number == 1 {
				clear(p.closed)
			}
			for i, level := range s.LevelDBM {
				p.closed[i] += (level - s.GainDB) / float64(p.sweeps)
			}
			if s.Number == p.sweeps {
				p.row()
				codes.add(&p.out.Closings, c, s.Visit)
			}
		}
		return nil
	})
	p.refer(first)
}

// row notes the closed levels of a closing; refer turns them into attenuations
// once all open sweeps of the run are known.
func (p *pairing) row() {
	for _, i := range p.out.Points {
		level := p.closed[i]
		p.out.Limited = append(p.out.Limited, level < p.floor[i]+p.margin)
		p.out.DB = append(p.out.DB, fallback(math.Max(level, p.floor[i]), level))
	}
}

// fallback returns x, or other where x is NaN: a level without a floor.
func fallback(x, other float64) float64 {
	if math.IsNaN(x) {
		return other
	}
	return x
}

func (p *pairing) refer(first int) {
	n := len(p.out.Points)
	for at := first; at < len(p.out.DB); at += n {
		sum, read := 0.0, 0
		for j, i := range p.out.Points {
			db := p.open[i] - p.out.DB[at+j]
			p.out.DB[at+j] = db
			p.out.HeadroomDB = append(p.out.HeadroomDB, p.open[i]-p.floor[i]-p.margin)
			if !math.IsNaN(db) {
				sum += db
				read++
			}
		}
		if read == 0 {
			p.out.Values = append(p.out.Values, math.NaN())
			continue
		}
		p.out.Values = append(p.out.Values, sum/float64(read))
	}
}
