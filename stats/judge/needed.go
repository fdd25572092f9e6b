package judge

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"strings"

	"sealbound/stats/dist"
	"sealbound/stats/interval"
)

// Needed says how many more units settle an undecided verdict with the power
// given, at the present mean and components.
type Needed struct {
	Unit  string // of the topmost level that varies, such as box or box+fitting
	More  int    // of them, beside those there are
	Power float64
}

const (
	wantedPower    = 0.8
	tooCloseDB     = 0.1 // a nearer mean would need a plan of its own
	mostMoreNeeded = 100
)

// neededOf counts further units of the topmost level with a positive component.
// What those units bring down scales with their number; sessions that all of them
// share, and the error of one shared reference, stay.
//
//	power = P(T >= t(confidence, df)), T ~ t'(df, |mean - target| / se)
func neededOf(m Mean, target, confidence float64) (*Needed, string) {
	if m.Method != "t" && m.Method != "REML" {
		return nil, "how many more are needed cannot be said without a spread"
	}
	gap := math.Abs(m.Value - target)
	if gap < tooCloseDB {
		return nil, fmt.Sprintf("the mean lies within %.1f dB of the target: no sensible number of closings decides", tooCloseDB)
	}
	unit, units, kept, keptDF := m.scaling()
	scaled := math.Max(m.plainSE*m.plainSE-kept, 0)
	power := func(more int) float64 {
		n := float64(units + more)
		se, df := combine(interval.Component{U: math.Sqrt(scaled * float64(units) / n), DF: n - 1},
			interval.Component{U: math.Sqrt(kept), DF: keptDF}, m.reference.component())
		if se == 0 {
			return math.NaN()
		}
		return dist.NoncentralT{Nu: df, Delta: gap / se}.Survival(dist.TQuantile(confidence, df))
	}
	more := 1
	if kept == 0 && m.reference.UDB == 0 { // each unit adds power then, so halving finds the number
		more += sort.Search(mostMoreNeeded, func(i int) bool { return !(power(i+1) < wantedPower) })
	}
	for ; more <= mostMoreNeeded; more++ {
		p := power(more)
		if math.IsNaN(p) {
			break
		}
		if p >= wantedPower {
			return &Needed{Unit: unit, More: more, Power: p}, ""
		}
	}
	return nil, fmt.Sprintf("more than %d further %s would be needed", mostMoreNeeded, plural(unit, 2))
}

// scaling names the topmost level with a positive component and its number of
// units, and gives the part of the variance of the mean that more of them leave
// as it is: sessions that they share.
func (m Mean) scaling() (unit string, units int, kept, keptDF float64) {
	keptDF = math.Inf(1)
	if m.Method == "t" {
		return m.levels.Residual, int(m.plainDF) + 1, 0, keptDF
	}
	unit, units = m.levels.Residual, m.closings
	for _, t := range m.levels.Terms {
		if m.variance(t.Factor.Name) > 0 {
			unit, units = t.Factor.Name, t.Factor.Levels
			break
		}
	}
	for _, t := range m.levels.Terms {
		name := strings.Split(t.Factor.Name, "+")
		if name[0] == "session" && t.Factor.Name != unit && !slices.Contains(strings.Split(unit, "+"), "session") {
			kept = m.variance(t.Factor.Name) / float64(t.Factor.Levels)
			keptDF = float64(t.Factor.Levels - 1)
		}
	}
	return unit, units, kept, keptDF
}

// variance of the named component, dB^2; 0 where it was dropped.
func (m Mean) variance(name string) float64 {
	for _, c := range m.components() {
		if c.Name == name {
			return c.Variance
		}
	}
	return 0
}
