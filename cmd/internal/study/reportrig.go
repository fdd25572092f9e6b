package study

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/array"

	"sealbound/cmd/internal/report"
	"sealbound/ingest"
)

// A rig is what the readings tell of the set-up, run by run: levels, generator,
// gain, floor, and the open reference before and after.
type rig struct {
	runs map[string]*kit
}

// A kit is the set-up of one run.
type kit struct {
	open, floor  map[string]*tally     // levels as received, by unit
	generator    map[string][]float64  // by state
	gain         map[string][]float64  // by state
	sweeps       map[string]*reference // open readings of the whole run, by sweep
	given, rated int                   // readings given as attenuation; as level
}

// A reference is one reading of the open reference at all its points.
type reference struct {
	unit   string
	level  tally // as received
	points map[ingest.Point]float64
}

func newRig() *rig { return &rig{runs: make(map[string]*kit)} }

// add takes in the readings of a run that are used.
func (g *rig) add(run *ingest.Run) error {
	rec := run.Readings
	if rec == nil {
		return nil
	}
	var err error
	text := func(name string) func(int) string {
		col, ok := rec.Column(ingest.Readings.FieldIndices(name)[0]).(*array.Dictionary)
		if !ok {
			err = fmt.Errorf("the table of readings has no labels in its column %s", name)
			return func(int) string { return "" }
		}
		words := col.Dictionary().(*array.String)
		return func(i int) string { return words.Value(col.GetValueIndex(i)) }
	}
	number := func(name string) func(int) float64 {
		col, ok := rec.Column(ingest.Readings.FieldIndices(name)[0]).(*array.Float64)
		if !ok {
			err = fmt.Errorf("the table of readings has no numbers in its column %s", name)
			return func(int) float64 { return nan }
		}
		return func(i int) float64 {
			if col.IsNull(i) {
				return nan
			}
			return col.Value(i)
		}
	}
	flag := func(col arrow.Array) func(int) bool {
		b, ok := col.(*array.Boolean)
		if !ok {
			err = fmt.Errorf("the table of readings does not say which are used")
			return func(int) bool { return false }
		}
		return b.Value
	}
	used := flag(rec.Column(ingest.Readings.FieldIndices("used")[0]))
	state, unit, sweep, closing := text("state"), text("level_unit"), text("sweep"), text("closing")
	position, polarization := text("position"), text("polarization")
	hz, level, floor, tx, gain, norm := number("freq_hz"), number("level"), number("floor"), number("tx_dbm"), number("gain_db"), number("normalised_db")
	if err != nil {
		return err
	}
	k := g.runs[run.Label]
	if k == nil {
		k = &kit{open: map[string]*tally{}, floor: map[string]*tally{}, generator: map[string][]float64{}, gain: map[string][]float64{}, sweeps: map[string]*reference{}}
		g.runs[run.Label] = k
	}
	for i := range int(rec.NumRows()) {
		if !used(i) {
			continue
		}
		x := level(i)
		if math.IsNaN(x) {
			k.given++
			continue
		}
		k.rated++
		is, u := state(i), unit(i)
		once(k.generator, is, tx(i))
		once(k.gain, is, gain(i))
		if f := floor(i); !math.IsNaN(f) {
			rangeOf(k.floor, u).add(f)
		}
		switch is {
		case "floor":
			rangeOf(k.floor, u).add(x)
		case "open":
			rangeOf(k.open, u).add(x)
			if closing(i) != "" {
				continue
			}
			r := k.sweeps[sweep(i)]
			if r == nil {
				r = &reference{unit: u, points: map[ingest.Point]float64{}}
				k.sweeps[sweep(i)] = r
			}
			r.level.add(x)
			r.points[ingest.Point{FreqHz: hz(i), Position: position(i), Polarization: polarization(i)}] = norm(i)
		}
	}
	return nil
}

func rangeOf(m map[string]*tally, key string) *tally {
	if m[key] == nil {
		m[key] = &tally{}
	}
	return m[key]
}

// once keeps a value of a state among those seen.
func once(m map[string][]float64, state string, x float64) {
	if !math.IsNaN(x) && !slices.Contains(m[state], x) {
		m[state] = append(m[state], x)
	}
}

// join adds what another kit has.
func (k *kit) join(other *kit) {
	for _, pair := range []struct{ to, from map[string]*tally }{{k.open, other.open}, {k.floor, other.floor}} {
		for unit, t := range pair.from {
			sum := rangeOf(pair.to, unit)
			if sum.n == 0 {
				*sum = *t
				continue
			}
			sum.n += t.n
			sum.lo, sum.hi = min(sum.lo, t.lo), max(sum.hi, t.hi)
		}
	}
	for _, pair := range []struct{ to, from map[string][]float64 }{{k.generator, other.generator}, {k.gain, other.gain}} {
		for state, values := range pair.from {
			for _, x := range values {
				once(pair.to, state, x)
			}
		}
	}
	k.given, k.rated = k.given+other.given, k.rated+other.rated
}

// levels are ranges in words: -28.6 to -38.7 dBm.
func levels(m map[string]*tally) string {
	var parts []string
	for _, unit := range sortedKeys(m) {
		parts = append(parts, span(m[unit].lo, m[unit].hi, unit))
	}
	return strings.Join(parts, "; ")
}

func span(lo, hi float64, unit string) string {
	a, b := level1(lo), level1(hi)
	if a == b {
		return a + " " + unit
	}
	return a + " to " + b + " " + unit
}

// level1 prints a level in dB with one decimal and a true minus sign.
func level1(x float64) string {
	s := strconv.FormatFloat(x, 'f', 1, 64)
	if s == "-0.0" {
		return "0.0"
	}
	return strings.Replace(s, "-", "−", 1)
}

func sortedKeys[V any](m map[string]V) []string {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	sortLabels(keys)
	return keys
}

// byState says which values each kind of reading had: open 0, closed 20 dB.
func byState(m map[string][]float64, unit string) string {
	var parts []string
	same := true
	for _, state := range []string{"open", "closed", "floor"} {
		values := slices.Clone(m[state])
		if len(values) == 0 {
			continue
		}
		slices.Sort(values)
		texts := make([]string, len(values))
		for i, x := range values {
			texts[i] = strings.Replace(strconv.FormatFloat(x, 'f', -1, 64), "-", "−", 1)
		}
		text := someOf(texts) + " " + unit
		if len(parts) > 0 && !strings.HasSuffix(parts[0], " "+text) {
			same = false
		}
		parts = append(parts, state+" "+text)
	}
	if len(parts) > 1 && same {
		_, text, _ := strings.Cut(parts[0], " ")
		return text + ", for all readings"
	}
	return strings.Join(parts, "; ")
}

const openLevel = "Open level, as received"

// facts are the levels and settings of the runs named, together.
func (g *rig) facts(runs []string) []report.Fact {
	all := &kit{open: map[string]*tally{}, floor: map[string]*tally{}, generator: map[string][]float64{}, gain: map[string][]float64{}}
	steps := 0
	for _, label := range runs {
		if k := g.runs[label]; k != nil {
			all.join(k)
			if k.stepped() {
				steps++
			}
		}
	}
	var out []report.Fact
	add := func(name, value string) {
		if value != "" {
			out = append(out, report.Fact{Name: name, Value: value})
		}
	}
	if all.given > 0 && all.rated == 0 {
		add("Readings", "given as attenuation: levels, floor and reference are not in the data")
	}
	add("Generator", byState(all.generator, "dBm"))
	add(openLevel, levels(all.open))
	add("Receiver’s floor, as received", levels(all.floor))
	add("Gain before the receiver", byState(all.gain, "dB"))
	if steps > 0 {
		add("Gain steps", fmt.Sprintf("gain or generator level changed, and is accounted for, in %s", count(steps, "run")))
	}
	return out
}

// stepped reports whether gain or generator level differ between open and closed
// readings, or within one of them.
func (k *kit) stepped() bool {
	for _, m := range []map[string][]float64{k.generator, k.gain} {
		open, closed := m["open"], m["closed"]
		if len(open) > 1 || len(closed) > 1 || len(open) == 1 && len(closed) == 1 && open[0] != closed[0] {
			return true
		}
	}
	return false
}

// references tell of the open reference of a run before and after: each sweep with
// its levels, and how far the last lies from the first.
func (g *rig) references(run, date string) []report.Fact {
	k := g.runs[run]
	if k == nil || len(k.sweeps) == 0 {
		return nil
	}
	names := sortedKeys(k.sweeps)
	slices.SortStableFunc(names, func(a, b string) int { return cmp.Compare(moment(a), moment(b)) })
	var parts []string
	for _, name := range names {
		r := k.sweeps[name]
		what := name
		if what == "" {
			what = "read"
		}
		parts = append(parts, what+" "+span(r.level.lo, r.level.hi, r.unit))
	}
	value := strings.Join(parts, "; ")
	if len(names) > 1 {
		value += "; " + moved(names, k.sweeps)
	} else {
		value += "; read once, so its drift is not known"
	}
	name := "Open reference, run " + run
	if date != "" {
		name += ", " + date
	}
	return []report.Fact{{Name: name, Value: value}}
}

// moved says how far the last reference lies from the first, at the points of both.
func moved(names []string, sweeps map[string]*reference) string {
	first, last := names[0], names[len(names)-1]
	var points []ingest.Point
	for p := range sweeps[first].points {
		if _, both := sweeps[last].points[p]; both {
			points = append(points, p)
		}
	}
	if len(points) == 0 {
		return "no point was read in both"
	}
	slices.SortFunc(points, func(a, b ingest.Point) int {
		return cmp.Or(cmp.Compare(a.FreqHz, b.FreqHz), ingest.CompareLabels(a.Position, b.Position), ingest.CompareLabels(a.Polarization, b.Polarization))
	})
	sum, most, at := 0.0, 0.0, points[0]
	for _, p := range points {
		d := sweeps[last].points[p] - sweeps[first].points[p]
		sum += d
		if math.Abs(d) > math.Abs(most) {
			most, at = d, p
		}
	}
	return fmt.Sprintf("%s less %s: %s dB on average, at most %s dB, at %s", last, first, signed(sum/float64(len(points))), signed(most), place(at))
}

func signed(x float64) string {
	s := level1(x)
	if !strings.HasPrefix(s, "−") && s != "0.0" {
		return "+" + s
	}
	return s
}

// moment orders the usual names of a first and a last reading; others stand between
// them, in the order of their letters.
func moment(sweep string) int {
	switch strings.ToLower(sweep) {
	case "start", "before", "first", "begin", "open":
		return 0
	case "end", "after", "last", "finish", "close":
		return 2
	}
	return 1
}
