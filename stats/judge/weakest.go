package judge

import (
	"fmt"
	"math"

	"sealbound/stats"
	"sealbound/stats/band"
	"sealbound/stats/dist"
)

// visits are the pairs of fitting and session that occur.
func (d Data) visits() stats.Factor {
	code := make(map[[2]int32]int32)
	f := stats.Factor{Name: "visit", Codes: make([]int32, d.Closings)}
	for i := range f.Codes {
		k := [2]int32{d.Fitting.Codes[i], d.Session.Codes[i]}
		c, ok := code[k]
		if !ok {
			c = int32(len(code))
			code[k] = c
		}
		f.Codes[i] = c
	}
	f.Levels = len(code)
	return f
}

// subset recodes f for the closings in hand; the order of the levels is kept.
func subset(f stats.Factor, closings []int32, name string) stats.Factor {
	recode := make([]int32, f.Levels)
	for _, c := range closings {
		recode[f.Codes[c]] = 1
	}
	levels := int32(0)
	for i, used := range recode {
		if used == 1 {
			recode[i] = levels
			levels++
		}
	}
	out := stats.Factor{Name: name, Codes: make([]int32, len(closings)), Levels: int(levels)}
	for i, c := range closings {
		out.Codes[i] = recode[f.Codes[c]]
	}
	return out
}

// weakestOf finds the point with the smallest margin of its own lower bound. Each
// point is judged with its own spread, never pooled over points, and without a
// correction for their number: the smallest L_p lies below the bound of the truly
// weakest tested point, so it holds for that one whatever the correlation
// (intersection-union). A point without a bound makes it undefined, by name.
func weakestOf(f *frames, readings []band.PointReadings, s Settings, ref func(band.PointReadings) Source) (w *Weakest, without int32, reason string) {
	d := f.d
	upper, largest := math.NaN(), 0.0
	df, lowest := math.NaN(), math.NaN() // of the last p value
	share := s.bonferroni(len(readings))
	for _, r := range readings {
		p := r.Point
		at := f.of(r.Closing)
		m := at.mean(r.DB, all(r.Limited), s.Confidence, ref(r))
		if math.IsNaN(m.Lower) {
			return nil, p, fmt.Sprintf("no bound from %d %s: %s", len(r.DB), plural("closing", len(r.DB)), m.Reason)
		}
		margin := m.Lower - d.TargetDB[p]
		// The p value falls as the statistic rises: at the same degrees of freedom only a
		// lower one can bring a larger p.
		if score := (m.Value - d.TargetDB[p]) / m.SE; m.Method == "sign" || m.DF != df || score < lowest {
			largest = max(largest, m.pValue(d.TargetDB[p]))
			df, lowest = m.DF, score
		}
		if w == nil || margin < w.MarginDB {
			w = &Weakest{Point: p, MeanDB: m.Value, LowerDB: m.Lower, TargetDB: d.TargetDB[p], MarginDB: margin, detail: m}
		}
		if u := at.upper(m, share) - d.TargetDB[p]; !(u >= upper) && !math.IsNaN(u) {
			upper = u
		}
	}
	if w != nil {
		w.UpperMarginDB, w.LargestP = upper, largest
	}
	return w, -1, ""
}

// bonferroni is the confidence of each of n upper bounds that keeps all of them
// together at the confidence asked for: to say that some point falls short takes
// a correction for having looked at all of them.
func (s Settings) bonferroni(n int) float64 { return 1 - (1-s.Confidence)/float64(max(n, 1)) }

// upper is the upper bound of the mean at another confidence; NaN where none exists.
func (f *frame) upper(m Mean, confidence float64) float64 {
	if math.IsNaN(m.Upper) || m.Method == "sign" {
		return math.NaN()
	}
	return m.Value + dist.TQuantile(confidence, m.DF)*m.SE
}

// lowestMeanOf is the point whose mean over closings is lowest.
func lowestMeanOf(readings []band.PointReadings) PointMean {
	low := PointMean{Point: -1, MeanDB: math.NaN()}
	for _, r := range readings {
		if mean := plainMean(r.DB); !(mean >= low.MeanDB) && !math.IsNaN(mean) {
			low = PointMean{r.Point, mean}
		}
	}
	return low
}

func all(flags []bool) bool {
	for _, f := range flags {
		if !f {
			return false
		}
	}
	return true
}
