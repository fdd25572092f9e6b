package judge

import (
	"fmt"
	"math"
	"strings"

	"sealbound/stats/dist"
)

// explain writes each number's formula with its values put in, so that a reader
// can redo it with a pocket calculator and a t table. Values are in dB.
func (r *Result) explain(s Settings) []string {
	var out []string
	say := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	if r.Mean.Units == 0 {
		return nil
	}
	average := "plain mean over its points in dB, adjusted for points that it lacks"
	if s.Power {
		average = "-10 log10 of its mean leaked share over points"
	}
	say("band value of a closing = %s; %d points, %d closings", average, len(r.Points), r.Closings)
	say("band values: %s", list(r.Values, 12))
	m := r.Mean
	conf := trim(m.Confidence)
	switch m.Method {
	case "t":
		say("mean = %s / %d = %s", db3(sumOf(r.Values)), r.Closings, db3(m.Value))
		say("s = square root of the sum of squared distances from the mean / (n - 1) = %s", db3(m.SD))
		say("se = s / square root of n = %s / %.4f = %s", db3(m.SD), math.Sqrt(float64(r.Closings)), db3(m.plainSE))
	case "REML":
		for _, c := range m.components() {
			say("variance of %s = %s dB2 (SD %s)", c.Name, db4(c.Variance), db3(c.SD))
		}
		if len(m.Dropped) > 0 {
			say("estimated as zero, dropped and refitted without: %s", strings.Join(m.Dropped, ", "))
		}
		say("mean, weighted by these variances = %s; se = %s", db3(m.Value), db3(m.plainSE))
		say("degrees of freedom by Satterthwaite, kept within [1, %d - 1] by the %d units of level %s = %s",
			m.Units, m.Units, m.UnitName, trim(m.plainDF))
		say("total SD of one closing = square root of the sum of the variances = %s", db3(m.SD))
	case "sign":
		say("smallest of %d %s = %s; confidence = 1 - 0.5^%d = %s", m.Units, plural(m.UnitName, m.Units),
			db3(minOf(r.Values)), m.Units, trim(m.Attained))
	default:
		say("%s", m.Reason)
		return out
	}
	if u := m.reference; u.UDB > 0 && m.Method != "sign" {
		say("shared open reference (%s): u = %s with %s degrees of freedom", u.Name, db3(u.UDB), trim(u.DF))
		say("combined: u = square root of (%s^2 + %s^2) = %s; degrees of freedom = u^4 / (%s^4/%s + %s^4/%s) = %s",
			db3(m.plainSE), db3(u.UDB), db3(m.SE), db3(m.plainSE), trim(m.plainDF), db3(u.UDB), trim(u.DF), trim(m.DF))
	}
	if !math.IsNaN(m.Lower) && m.Method != "sign" {
		t := m.t(m.DF)
		if m.Value-t*m.SE > m.Lower+1e-12 {
			say("mean - t(%s; %s) x se = %s would lie above the bound without the reference: that one stands, since to know less cannot show more", conf, trim(m.DF), db3(m.Value-t*m.SE))
			t = m.t(m.plainDF)
			say("lower bound of the mean = mean - t(%s; %s) x se = %s - %.4f x %s = %s", conf, trim(m.plainDF), db3(m.Value), t, db3(m.plainSE), db3(m.Lower))
		} else {
			say("lower bound of the mean = mean - t(%s; %s) x se = %s - %.4f x %s = %s", conf, trim(m.DF), db3(m.Value), t, db3(m.SE), db3(m.Lower))
		}
		say("upper bound of the mean likewise, mean + = %s", db3(m.Upper))
	}
	if !math.IsNaN(r.Next.LowerDB) {
		half := m.Value - r.Next.LowerDB
		t := m.t(r.NextDF)
		say("next closing = mean - t(%s; %s) x square root of (variance of one closing + u^2 of the mean) = %s - %.4f x %s = %s",
			conf, trim(r.NextDF), db3(m.Value), t, db3(half/t), db3(r.Next.LowerDB))
	}
	if !math.IsNaN(r.Coverage.LowerDB) {
		how := ""
		if m.SD > 0 && !strings.HasPrefix(r.CoverageMethod, "distribution-free") {
			how = fmt.Sprintf(" = mean - k x SD, k = %.4f", (m.Value-r.Coverage.LowerDB)/m.SD)
		}
		say("coverage: at least %s of closings exceed, with confidence %s, %s%s (%s)", trim(s.Coverage), conf,
			db3(r.Coverage.LowerDB), how, r.CoverageMethod)
	}
	if w := r.Weakest; w != nil {
		say("weakest point: mean %s, se %s, %s degrees of freedom, lower bound %s; margin = %s - %s = %s",
			db3(w.MeanDB), db3(w.detail.SE), trim(w.detail.DF), db3(w.LowerDB), db3(w.LowerDB), db3(w.TargetDB), db3(w.MarginDB))
	}
	if c := r.Censored; c != nil {
		if c.Method == noEstimate {
			say("with the limited readings modelled: no estimate (%s)", c.Reason)
		} else {
			say("with the limited readings modelled (%s): mean %s, SD of one closing %s, lower bound of the mean %s", c.Method, db3(c.MeanDB), db3(c.SDDB), db3(c.LowerDB))
		}
	}
	if n := r.Needed; n != nil {
		say("needed: with %d more of level %s the one-sided t test of |mean - target| = %s has power %s",
			n.More, n.Unit, db3(math.Abs(m.Value-r.TargetDB)), trim(n.Power))
	}
	return out
}

func (m Mean) t(df float64) float64 { return dist.TQuantile(m.Confidence, df) }

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

func sumOf(x []float64) (s float64) {
	for _, v := range x {
		s += v
	}
	return s
}

func minOf(x []float64) float64 {
	m := math.Inf(1)
	for _, v := range x {
		m = math.Min(m, v)
	}
	return m
}

func db3(x float64) string { return fmt.Sprintf("%.3f", x) }
func db4(x float64) string { return fmt.Sprintf("%.4f", x) }

// trim prints a share or degrees of freedom with four significant digits at most.
func trim(x float64) string {
	if math.IsInf(x, 1) {
		return "unlimited"
	}
	return fmt.Sprintf("%.4g", x)
}
