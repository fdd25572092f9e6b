package spread

import (
	"fmt"
	"math"
	"strings"

	mstats "github.com/montanaflynn/stats"

	"sealbound/stats"
	"sealbound/stats/mixed"
)

// explain writes each number's formula with its values put in. Values are in dB.
func (r *Result) explain(values []float64, factors []stats.Factor, m model, s Settings) (out []string) {
	say := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	if n := len(r.Points); n > 0 {
		say("band value of a closing = plain mean over its points in dB, adjusted for points that it lacks; %d points, %d closings", n, len(values))
	}
	say("band values: %s", list(values, 12))
	conf := trim(s.Confidence)
	if w := r.Wear; w != nil {
		say("age is kept apart: %s dB/year (standard error %s), about the mean age of %s years", db4(w.DBPerYear), db4(w.SE), trim(w.MeanAgeYears))
	}
	say("mean, weighted by the variances below = %s", db3(r.MeanDB))
	var total float64
	for _, c := range r.Components {
		total += c.Variance
	}
	for i, c := range r.Components {
		how := "profile likelihood"
		switch {
		case i == len(r.Components)-1 && len(m.zero) == 0:
			how = "chi-square"
		case math.IsNaN(c.Upper):
			how = "no upper bound: its units read alike"
		}
		say("variance of %s = %s dB2; SD %s, bounds at %s each %s and %s (%s); share = %s / %s = %s", c.Source, db4(c.Variance), db3(c.SD),
			conf, bound(c.Lower), bound(c.Upper), how, db4(c.Variance), db4(total), trim(c.Share))
		if !math.IsNaN(c.PerYear) {
			say("%s: SD of the strips' own wear %s dB/year x root mean square distance of the ages from their mean %s years = %s",
				c.Source, db4(c.PerYear), trim(m.rmsAge), db3(c.SD))
		}
	}
	r.explainQuantities(say, s)
	explainMoments(say, values, factors[0], factors[3])
	if median, err := mstats.Median(values); err == nil {
		say("robust: median of the band values %s", db3(median))
	}
	if r.Pairs > 0 {
		say("robust: median difference of two closings of a visit %s / 0.954 = SD %s (%d pairs)", db3(r.RobustSD*pairScale), db3(r.RobustSD), r.Pairs)
	}
	for _, o := range r.Outliers {
		say("%s: value %s, statistic %s beyond the critical value %s (5 %%)", o.Kind, db3(o.DB), db3(o.Statistic), db3(o.Critical))
	}
	if !math.IsNaN(r.SEDB) {
		say("standard error of the mean, evenly laid out = square root of the sum of variance / number of units = %s", db3(r.SEDB))
	}
	for _, m := range r.More {
		if m.Reason != "" {
			say("with %s: not known; %s", m.What, m.Reason)
		} else {
			say("with %s: %s", m.What, db3(m.SEDB))
		}
	}
	return out
}

func (r *Result) explainQuantities(say func(string, ...any), s Settings) {
	for _, q := range []struct {
		name string
		Quantity
	}{{"repeatability", r.Repeatability}, {"reproducibility", r.Reproducibility}, {"unit", r.Unit}} {
		if math.IsNaN(q.SD) {
			say("%s: not defined; %s", q.name, q.Reason)
			continue
		}
		say("%s SD = square root of the variance of %s = %s, bounds at %s each %s and %s", q.name, strings.Join(q.Sources, " + "), db3(q.SD),
			trim(s.Confidence), bound(q.Lower), bound(q.Upper))
		if q.name != "unit" {
			say("%s limit = 2.8 x %s = %s, between %s and %s: two results differ by more in one of twenty pairs", q.name, db3(q.SD), db3(q.LimitDB()),
				bound(LimitFactor*q.Lower), bound(LimitFactor*q.Upper))
		}
	}
}

// explainMoments gives the mean squares of one level, for those who know the
// figures of ISO 5725-2: units are the boxes, else the visits.
func explainMoments(say func(string, ...any), values []float64, box, visit stats.Factor) {
	f := box
	if f.Levels < 2 {
		f = visit
	}
	a, err := mixed.NewOneWay(values, f)
	if err != nil {
		return
	}
	between := math.Max(0, a.VarBetween)
	say("by mean squares, %s as the laboratories of ISO 5725-2: s_r = square root of %s = %s, s_L2 = max(0, (%s - %s) / %s) = %s, s_R = %s", f.Name,
		db4(a.MSWithin), db3(math.Sqrt(a.MSWithin)), db4(a.MSBetween), db4(a.MSWithin), trim(a.N0), db4(between), db3(math.Sqrt(between+a.MSWithin)))
}

// robustSD is what a few bad closings hardly move: over all pairs of closings within
// a visit, the median difference over sqrt(2) z(0.75), which is the SD where values are
// normal.
func robustSD(values []float64, visit stats.Factor) (sd float64, pairs int) {
	var gaps []float64
	for _, of := range members(visit) {
		for i := range of {
			for j := range i {
				gaps = append(gaps, math.Abs(values[of[i]]-values[of[j]]))
			}
		}
	}
	gap, err := mstats.Median(gaps)
	if err != nil { // no pairs
		return nan, 0
	}
	return gap / pairScale, len(gaps)
}

// pairScale is sqrt(2) z(0.75), the median distance of two standard normal values.
const pairScale = 0.9538725524

func list(x []float64, most int) string {
	var parts []string
	for i, v := range x {
		if i == most {
			parts = append(parts, fmt.Sprintf("... (%d in all)", len(x)))
			break
		}
		parts = append(parts, db3(v))
	}
	return strings.Join(parts, ", ")
}

func db3(x float64) string { return fmt.Sprintf("%.3f", x) }
func db4(x float64) string { return fmt.Sprintf("%.4f", x) }

func bound(x float64) string {
	if math.IsNaN(x) {
		return "(none)"
	}
	return db3(x)
}

// trim prints a share or a count with four significant digits at most.
func trim(x float64) string { return fmt.Sprintf("%.4g", x) }
