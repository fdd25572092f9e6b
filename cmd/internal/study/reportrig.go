package study

import (
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/apache/arrow/go/v15/arrow/array"

	"sealbound/ingest"
)

// A rig is what the readings tell of the set-up, run by run: levels, generator,
// gain, floor, and the open reference before and after. Of a run little is kept, since
// there may be a million.
type rig struct {
	runs     map[string]*kit                // by label, of which each run has its own
	settings map[[sha256.Size]byte]*setting // by a digest of what they are
	box      string                         // whose runs keep their reference; empty: none do
	scratch  [stateWords]struct{ generator, gain seen }
}

// A kit is the set-up of one run.
type kit struct {
	open, floor  []unitRange // levels as received
	setting      *setting
	sweeps       map[string]*reference // open readings of the whole run, by sweep
	given, rated bool                  // some readings are given as attenuation; as level
}

// A unitRange is the range of levels in a unit.
type unitRange struct {
	unit   string
	lo, hi float64
}

// A setting is the values of generator and gain, by state, in order.
type setting struct {
	generator, gain [stateWords][]float64
}

// The states whose settings are told apart.
const (
	openState = iota
	closedState
	floorState
	stateWords
)

var stateNames = [stateWords]string{"open", "closed", "floor"}

// A reference is one reading of the open reference at all its points.
type reference struct {
	unit   string
	level  tally // as received
	points map[ingest.Point]float64
}

func newRig(box string) *rig {
	return &rig{runs: make(map[string]*kit), settings: make(map[[sha256.Size]byte]*setting), box: box}
}

// seen are the values that a column has, each once.
type seen struct {
	last   float64
	values map[float64]bool
}

func (s *seen) add(x float64) {
	if x == s.last && len(s.values) > 0 || math.IsNaN(x) {
		return
	}
	if s.values == nil {
		s.values = make(map[float64]bool)
	}
	s.last, s.values[x] = x, true
}

// take lists the values in order, and forgets them.
func (s *seen) take() []float64 {
	if len(s.values) == 0 {
		return nil
	}
	out := make([]float64, 0, len(s.values))
	for x := range s.values {
		out = append(out, x)
	}
	slices.Sort(out)
	s.values = nil
	return out
}

// A wordColumn is a column of labels.
type wordColumn struct {
	codes *array.Dictionary
	words *array.String
}

func (c wordColumn) at(i int) string { return c.words.Value(c.codes.GetValueIndex(i)) }

// numberAt is a column's number, NaN where there is none.
func numberAt(c *array.Float64, i int) float64 {
	if c.IsNull(i) {
		return nan
	}
	return c.Value(i)
}

// add takes in the readings of a run that are used.
func (g *rig) add(run *ingest.Run) error {
	rec := run.Readings
	if rec == nil {
		return nil
	}
	var err error
	text := func(name string) (c wordColumn) {
		var ok bool
		if c.codes, ok = rec.Column(ingest.Readings.FieldIndices(name)[0]).(*array.Dictionary); ok {
			c.words, ok = c.codes.Dictionary().(*array.String)
		}
		if !ok {
			err = fmt.Errorf("the table of readings has no labels in its column %s", name)
		}
		return c
	}
	number := func(name string) *array.Float64 {
		c, ok := rec.Column(ingest.Readings.FieldIndices(name)[0]).(*array.Float64)
		if !ok {
			err = fmt.Errorf("the table of readings has no numbers in its column %s", name)
		}
		return c
	}
	used, ok := rec.Column(ingest.Readings.FieldIndices("used")[0]).(*array.Boolean)
	if !ok {
		err = fmt.Errorf("the table of readings does not say which are used")
	}
	state, unit, sweep, closing := text("state"), text("level_unit"), text("sweep"), text("closing")
	position, polarization := text("position"), text("polarization")
	hz, level, floor, tx, gain, norm := number("freq_hz"), number("level"), number("floor"), number("tx_dbm"), number("gain_db"), number("normalised_db")
	if err != nil {
		return err
	}
	k := &kit{}
	if g.box != "" && slices.ContainsFunc(run.Closings, func(c ingest.Closing) bool { return c.Box == g.box }) {
		k.sweeps = make(map[string]*reference)
	}
	lastCode, is := -1, stateWords
	for i := range int(rec.NumRows()) {
		if !used.Value(i) {
			continue
		}
		x := numberAt(level, i)
		if math.IsNaN(x) {
			k.given = true
			continue
		}
		k.rated = true
		if code := state.codes.GetValueIndex(i); code != lastCode {
			lastCode, is = code, slices.Index(stateNames[:], state.words.Value(code))
		}
		u := unit.at(i)
		if is >= 0 {
			g.scratch[is].generator.add(numberAt(tx, i))
			g.scratch[is].gain.add(numberAt(gain, i))
		}
		if f := numberAt(floor, i); !math.IsNaN(f) {
			k.floor = widened(k.floor, u, f, f)
		}
		switch is {
		case floorState:
			k.floor = widened(k.floor, u, x, x)
		case openState:
			k.open = widened(k.open, u, x, x)
			if k.sweeps == nil || closing.at(i) != "" {
				continue
			}
			name := sweep.at(i)
			r := k.sweeps[name]
			if r == nil {
				name = strings.Clone(name)
				r = &reference{unit: strings.Clone(u), points: map[ingest.Point]float64{}}
				k.sweeps[name] = r
			}
			r.level.add(x)
			r.points[ingest.Point{FreqHz: hz.Value(i), Position: strings.Clone(position.at(i)), Polarization: strings.Clone(polarization.at(i))}] = numberAt(norm, i)
		}
	}
	k.setting = g.settled()
	g.runs[run.Label] = k
	return nil
}

// settled is the one copy of the settings seen last.
func (g *rig) settled() *setting {
	var s setting
	var key []byte
	for i := range g.scratch {
		s.generator[i], s.gain[i] = g.scratch[i].generator.take(), g.scratch[i].gain.take()
		for _, values := range [][]float64{s.generator[i], s.gain[i]} {
			key = binary.LittleEndian.AppendUint32(key, uint32(len(values)))
			key = appendFloats(key, values)
		}
	}
	sum := sha256.Sum256(key)
	if known := g.settings[sum]; known != nil {
		return known
	}
	g.settings[sum] = &s
	return &s
}

// widened makes the range of a unit take in lo to hi.
func widened(ranges []unitRange, unit string, lo, hi float64) []unitRange {
	for i := range ranges {
		if r := &ranges[i]; r.unit == unit {
			r.lo, r.hi = min(r.lo, lo), max(r.hi, hi)
			return ranges
		}
	}
	return append(ranges, unitRange{strings.Clone(unit), lo, hi})
}

// gather adds the values of another setting; inOrder must follow.
func (s *setting) gather(other *setting) {
	for i := range stateWords {
		s.generator[i], s.gain[i] = append(s.generator[i], other.generator[i]...), append(s.gain[i], other.gain[i]...)
	}
}

// inOrder sorts the values, each once.
func (s *setting) inOrder() {
	for i := range stateWords {
		slices.Sort(s.generator[i])
		slices.Sort(s.gain[i])
		s.generator[i], s.gain[i] = slices.Compact(s.generator[i]), slices.Compact(s.gain[i])
	}
}
