package judge

import (
	"math"
	"strings"

	"sealbound/stats/interval"
)

// referenceOf is the standard uncertainty of the open reference that the closings
// of a single session share, from its repeats: each repeat is averaged over the
// points used, s is their SD, and the mean of k repeats has u = s/sqrt(k). Several
// runs in the session share the load by their closings; a run without repeats of
// its own takes the pooled s. Closings with open readings of their own carry the
// reference's error in their spread and add nothing.
//
// known is false where the data say nothing: no run was repeated. A known zero
// means own open readings for every closing, or repeats that agree exactly.
func referenceOf(d Data, kept, points []int32) (u Source, known bool) {
	share := make([]float64, len(d.Opens))
	shared := 0.0
	for _, c := range kept {
		if len(d.OwnReference) > 0 && d.OwnReference[c] {
			continue
		}
		share[d.Reference.Codes[c]]++
		shared++
	}
	if shared == 0 {
		return Source{}, true
	}
	// Variance among the repeats of each run, and the pooled one.
	variance, repeats := make([]float64, len(d.Opens)), make([]int, len(d.Opens))
	var ss, df float64
	for r, o := range d.Opens {
		levels := RepeatLevels(o, points)
		repeats[r] = len(levels)
		if share[r] == 0 || len(levels) < 2 {
			continue
		}
		_, sd, err := interval.MeanSD(levels)
		if err != nil {
			continue
		}
		variance[r] = sd * sd
		ss += variance[r] * float64(len(levels)-1)
		df += float64(len(levels) - 1)
	}
	if df == 0 {
		return Source{}, false
	}
	n := float64(len(kept))
	var parts []interval.Component
	for r := range d.Opens {
		if share[r] == 0 {
			continue
		}
		v, f, k := variance[r], float64(repeats[r]-1), float64(max(repeats[r], 1))
		if repeats[r] < 2 {
			v, f = ss/df, df
		}
		parts = append(parts, interval.Component{U: share[r] / n * math.Sqrt(v/k), DF: f})
	}
	c, nu := combine(parts...)
	return Source{Name: "repeated open readings", UDB: c, DF: nu}, true
}

// RepeatLevels averages each repeat over those of the points that all repeats have.
func RepeatLevels(o Open, points []int32) []float64 {
	if len(o) == 0 {
		return nil
	}
	var common []int32
	for _, p := range points {
		all := true
		for _, rep := range o {
			all = all && int(p) < len(rep) && !math.IsNaN(rep[p])
		}
		if all {
			common = append(common, p)
		}
	}
	if len(common) == 0 {
		return nil
	}
	levels := make([]float64, len(o))
	for i, rep := range o {
		for _, p := range common {
			levels[i] += rep[p]
		}
		levels[i] /= float64(len(common))
	}
	return levels
}

// combined adds the sources in quadrature, with Welch-Satterthwaite df.
func combined(sources []Source) Source {
	if len(sources) == 0 {
		return Source{}
	}
	var names []string
	var parts []interval.Component
	for _, s := range sources {
		names, parts = append(names, s.Name), append(parts, s.component())
	}
	u, df := combine(parts...)
	return Source{Name: strings.Join(names, ", "), UDB: u, DF: df}
}

// component is the source as a part of a combination; the zero Source adds nothing.
func (s Source) component() interval.Component {
	if s.UDB == 0 {
		return interval.Component{DF: math.Inf(1)}
	}
	return interval.Component{U: s.UDB, DF: s.DF}
}

// combine adds parts in quadrature with Welch-Satterthwaite degrees of freedom.
func combine(parts ...interval.Component) (u, df float64) {
	u, df, err := interval.Combine(parts...)
	if err != nil {
		return math.NaN(), math.NaN()
	}
	return u, df
}
