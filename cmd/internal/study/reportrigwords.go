package study

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"sealbound/cmd/internal/report"
	"sealbound/ingest"
)

// levels are ranges in words: -28.6 to -38.7 dBm.
func levels(ranges []unitRange) string {
	slices.SortFunc(ranges, func(a, b unitRange) int { return ingest.CompareLabels(a.unit, b.unit) })
	var parts []string
	for _, r := range ranges {
		parts = append(parts, span(r.lo, r.hi, r.unit))
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
func byState(m [stateWords][]float64, unit string) string {
	var parts []string
	same := true
	for is, state := range stateNames {
		values := m[is]
		if len(values) == 0 {
			continue
		}
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
	var all kit
	joined, steps := make(map[*setting]int), 0
	for _, label := range runs {
		k := g.runs[label]
		if k == nil {
			continue
		}
		for _, r := range k.open {
			all.open = widened(all.open, r.unit, r.lo, r.hi)
		}
		for _, r := range k.floor {
			all.floor = widened(all.floor, r.unit, r.lo, r.hi)
		}
		all.given, all.rated = all.given || k.given, all.rated || k.rated
		joined[k.setting]++
	}
	settings := &setting{}
	for s, runs := range joined { // sums and sets: their order does not show
		settings.gather(s)
		if s.stepped() {
			steps += runs
		}
	}
	settings.inOrder()
	var out []report.Fact
	add := func(name, value string) {
		if value != "" {
			out = append(out, report.Fact{Name: name, Value: value})
		}
	}
	if all.given && !all.rated {
		add("Readings", "given as attenuation: levels, floor and reference are not in the data")
	}
	add("Generator", byState(settings.generator, "dBm"))
	add(openLevel, levels(all.open))
	add("Receiver’s floor, as received", levels(all.floor))
	add("Gain before the receiver", byState(settings.gain, "dB"))
	if steps > 0 {
		add("Gain steps", fmt.Sprintf("gain or generator level changed, and is accounted for, in %s", count(steps, "run")))
	}
	return out
}

// stepped reports whether gain or generator level differ between open and closed
// readings, or within one of them.
func (s *setting) stepped() bool {
	for _, m := range [][stateWords][]float64{s.generator, s.gain} {
		open, closed := m[openState], m[closedState]
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
