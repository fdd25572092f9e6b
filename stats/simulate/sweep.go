package simulate

import "math"

// A State is what was read.
type State uint8

// The states of a reading.
const (
	Open   State = iota // without a box: the reference
	Closed              // with the box closed
	Floor               // with the box closed and the generator off
)

// A Sweep is one reading at every point.
type Sweep struct {
	State    State
	Visit    int // index in Campaign.Visits; -1 unless closed
	Closing  int // its label; 0 unless closed
	Number   int // 1-based: among the run's open sweeps or the closing's closed ones; 1 for the floor
	GainDB   float64
	LevelDBM []float64 // by point, as the receiver shows it; NaN where the reading is missing. Valid during the call
}

// EachSweep calls visit with the sweeps of a run in the order in which they are
// read: an open one, the floor where there is one, the closings with the
// remaining open sweeps spread among them, an open one at the end. It stops at
// the first error and returns it.
func (c *Campaign) EachSweep(run int, visit func(Sweep) error) error {
	s := &c.settings
	r := &c.runs[run]
	m := c.newMeter()
	levels := newLevels(c, r)
	opened := 0
	open := func() error {
		opened++
		return visit(levels.open(m, opened-1))
	}
	if err := open(); err != nil {
		return err
	}
	if s.Floor != nil {
		if err := visit(levels.floorSweep(m)); err != nil {
			return err
		}
	}
	done := 0
	for _, i := range r.Visits {
		v := &c.visits[i]
		shared := m.visit(v)
		for _, name := range v.Closings {
			for opened < s.OpenRepeats-1 && s.openShare(opened) <= float64(done)/float64(r.closings) {
				if err := open(); err != nil {
					return err
				}
			}
			levels.close(m, v, name, shared, r.closedShare(done))
			for sweep := range s.Sweeps {
				if err := visit(levels.closed(m, i, name, sweep)); err != nil {
					return err
				}
			}
			done++
		}
	}
	for opened < s.OpenRepeats {
		if err := open(); err != nil {
			return err
		}
	}
	return nil
}

// levels turns terms in dB into what the receiver shows in one run.
type levels struct {
	c      *Campaign
	r      *Run
	source []float64 // dBm, true open level at the run's start and gain 0
	floor  []float64 // dBm as shown, without noise; nil: none
	signal []float64 // dBm as it reaches the receiver in the present closing, NaN where missing
	shown  []float64
}

func newLevels(c *Campaign, r *Run) *levels {
	n := len(c.settings.Points)
	l := &levels{c: c, r: r, source: make([]float64, n), signal: make([]float64, n), shown: make([]float64, n)}
	for i, p := range c.settings.Points {
		l.source[i] = c.settings.Open.At(p.FreqHz)
	}
	if c.settings.Floor != nil {
		l.floor = make([]float64, n)
		for i, p := range c.settings.Points {
			l.floor[i] = c.settings.Floor.At(p.FreqHz) + r.FloorRiseDB
		}
	}
	return l
}

func (l *levels) open(m *meter, repeat int) Sweep {
	s := &l.c.settings
	key := mix(l.r.key, uint64(repeat))
	shift := m.normal(openOffset, key, s.SD.OpenDB) + float64(l.r.DriftDB*s.openShare(repeat)) + l.r.OpenDB
	noise := m.noises(openNoise, key, s.SD.ReadingDB)
	for i := range l.shown {
		l.shown[i] = l.source[i] + shift + noise[i]
	}
	return Sweep{State: Open, Visit: -1, Number: repeat + 1, GainDB: l.r.OpenDB, LevelDBM: l.shown}
}

func (l *levels) floorSweep(m *meter) Sweep {
	noise := m.noises(floorNoise, l.r.key, l.c.settings.SD.FloorDB)
	for i := range l.shown {
		l.shown[i] = l.floor[i] + noise[i]
	}
	return Sweep{State: Floor, Visit: -1, Number: 1, GainDB: l.r.ClosedDB, LevelDBM: l.shown}
}

// close sets the signal of a closing; shared is its visit's share of the sum,
// and at is when within the run it is read.
func (l *levels) close(m *meter, v *Visit, name int, shared, at float64) {
	s := &l.c.settings
	key := m.closingKey(v, name)
	shift := float64(l.r.DriftDB*at) + l.r.ClosedDB - shared - m.closing(key)
	residual, fixed := m.residuals(key), l.c.fixed[v.Product]
	for i := range l.signal {
		l.signal[i] = l.source[i] + shift - fixed[i] - residual[i]
	}
	if s.MissingShare > 0 {
		rng := m.at(missingDraw, sweepKey(v, name, 0))
		for i := range l.signal {
			if rng.Float64() < s.MissingShare {
				l.signal[i] = math.NaN()
			}
		}
	}
}

func (l *levels) closed(m *meter, visit, name, sweep int) Sweep {
	s := &l.c.settings
	key := sweepKey(&l.c.visits[visit], name, sweep)
	for i, noise := range m.noises(closedNoise, key, s.SD.ReadingDB) {
		l.shown[i] = l.signal[i] + noise
	}
	if l.floor != nil {
		for i, noise := range m.noises(closedFloorNoise, key, s.SD.FloorDB) {
			l.shown[i] = s.overFloor(l.shown[i], l.floor[i]+noise)
		}
	}
	return Sweep{State: Closed, Visit: visit, Closing: name, Number: sweep + 1, GainDB: l.r.ClosedDB, LevelDBM: l.shown}
}

// overFloor is what the receiver shows of a signal; NaN stays NaN.
func (s *Settings) overFloor(signal, floor float64) float64 {
	if s.FloorAdds {
		return powerSum(signal, floor)
	}
	if signal < floor {
		return floor
	}
	return signal
}

// powerSum adds two levels in dBm as powers; NaN stays NaN.
func powerSum(a, b float64) float64 {
	if a < b {
		a, b = b, a
	}
	const nepers = math.Ln10 / 10
	return a + float64(math.Log1p(math.Exp(float64((b-a)*nepers)))/nepers)
}
