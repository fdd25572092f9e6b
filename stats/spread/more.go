package spread

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"sealbound/stats"
)

// More is the same campaign with one more of something. SEDB is the standard error
// that its mean would have with the present components, NaN with Reason where they
// do not tell.
type More struct {
	Unit   string // closing, session, fitting or box
	What   string // what is added
	SEDB   float64
	Reason string
}

// additions are from the cheapest to the dearest.
var additions = []More{
	{Unit: "closing", What: "one more closing in each visit"},
	{Unit: "session", What: "one more session of every strip"},
	{Unit: "fitting", What: "one more strip in every box"},
	{Unit: "box", What: "one more box"},
}

// more works out what one more of each would make of the standard error of the
// mean, for a campaign laid out as evenly as can be:
//
//	SE^2 = sum of variance/number of units, over the levels
//
// One more of a level multiplies the numbers of the levels within it alike: one more
// box brings strips, visits and closings as the others have.
func (r *Result) more(factors []stats.Factor) {
	count := map[string]float64{"closing": float64(len(factors[0].Codes))}
	for _, f := range factors {
		count[f.Name] = float64(f.Levels)
	}
	r.SEDB = r.seWith(count, nil)
	for _, m := range additions {
		m.SEDB = nan
		growth := growthOf(m.Unit, count, factors)
		switch {
		case slices.Contains(r.Constant, m.Unit):
			m.Reason = fmt.Sprintf("one %s only: what another adds is not in the data", m.Unit)
		default:
			m.Reason = r.torn(growth)
			if m.Reason == "" {
				m.SEDB = r.seWith(count, growth)
			}
		}
		r.More = append(r.More, m)
	}
}

// growthOf is the factor by which one more of a unit multiplies the numbers of each
// level. Sessions grow with boxes or strips only where each serves a single one.
func growthOf(unit string, count map[string]float64, factors []stats.Factor) map[string]float64 {
	g := map[string]float64{"box": 1, "fitting": 1, "session": 1, "visit": 1, "closing": 1}
	var by float64
	var within []string
	switch unit {
	case "closing":
		by, within = 1+count["visit"]/count["closing"], []string{"closing"}
	case "session":
		by, within = 1+count["fitting"]/count["visit"], []string{"visit", "closing"}
		g["session"] = by
		if !nested(factors[2], factors[0]) && !nested(factors[2], factors[1]) {
			g["session"] = 1 + 1/count["session"]
		}
	case "fitting":
		by, within = 1+count["box"]/count["fitting"], []string{"fitting", "visit", "closing"}
		if nested(factors[2], factors[1]) {
			within = append(within, "session")
		}
	case "box":
		by, within = 1+1/count["box"], []string{"box", "fitting", "visit", "closing"}
		if nested(factors[2], factors[0]) {
			within = append(within, "session")
		}
	}
	for _, l := range within {
		g[l] = by
	}
	return g
}

// nested reports whether each level of a occurs with one level of b only, b having
// several.
func nested(a, b stats.Factor) bool {
	if b.Levels < 2 {
		return false
	}
	with := make([]int32, a.Levels)
	for i := range with {
		with[i] = -1
	}
	for i, l := range a.Codes {
		switch {
		case with[l] < 0:
			with[l] = b.Codes[i]
		case with[l] != b.Codes[i]:
			return false
		}
	}
	return true
}

// torn says which joined term would have to be split: its levels would no longer be
// as many as each other.
func (r *Result) torn(growth map[string]float64) string {
	for _, c := range r.Components {
		levels := termLevels(c)
		for _, l := range levels {
			if growth[l] != growth[levels[0]] {
				return fmt.Sprintf("%s is one term: what of it would be averaged is not in the data", strings.Join(levels, "+"))
			}
		}
	}
	return ""
}

// termLevels are the levels of a component; none for the strips' own wear, which no
// further unit is asked about.
func termLevels(c Component) []string {
	if c.Source == slopeSource {
		return nil
	}
	return levelsOf(c.Source)
}

func (r *Result) seWith(count, growth map[string]float64) float64 {
	v := 0.0
	for _, c := range r.Components {
		levels := termLevels(c)
		if levels == nil {
			continue
		}
		n := 0.0 // units of a joined term: as many as its finest level has
		for _, l := range levels {
			n = math.Max(n, count[l])
		}
		if growth != nil {
			n *= growth[levels[0]]
		}
		v += c.Variance / n
	}
	return math.Sqrt(v)
}

// Best is the addition that makes the standard error smallest; ok is false where
// none is known to help.
func (r *Result) Best() (best More, ok bool) {
	for _, m := range r.More {
		if m.SEDB < r.SEDB*(1-1e-9) && (!ok || m.SEDB < best.SEDB*(1-1e-9)) {
			best, ok = m, true
		}
	}
	return best, ok
}
