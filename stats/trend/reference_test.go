package trend

import (
	"math"
	"strconv"
	"strings"
	"testing"

	"sealbound/stats"
	"sealbound/stats/internal/refcase"
)

// Reference cases of section f that this package does not answer.
var notOurs = map[string]string{
	"f_sleepstudy_ri":             "random intercepts: a mixed model",
	"f_sleepstudy_ris":            "random slopes: a mixed model",
	"f_sleepstudy_ris_unbalanced": "random slopes: a mixed model",
}

// Every value of section f's cases without random effects: R 4.2.2, with the
// call beside each number in the file.
func TestReference(t *testing.T) {
	answered, left := 0, 0
	for _, id := range refcase.IDs(t, "f_") {
		if _, ok := notOurs[id]; ok {
			left++
			continue
		}
		c := refcase.Load(t, id)
		answer := answersOf(t, c)
		for _, v := range c.Values {
			got, ok := answer(v.Name)
			if !ok {
				t.Errorf("%s: %s is not answered", id, v.Name)
				continue
			}
			answered++
			c.Check(t, v.Name, got)
		}
	}
	if left != len(notOurs) {
		t.Errorf("%d cases left out, %d listed", left, len(notOurs))
	}
	if answered < 300 {
		t.Errorf("only %d values answered", answered)
	}
}

// answersOf returns what gives the answer under the name that the case has for it.
func answersOf(t *testing.T, c *refcase.Case) func(name string) (float64, bool) {
	t.Helper()
	if c.Columns(t).Header[0] == "group" {
		return slopeAnswers(t, c)
	}
	cols := c.Columns(t)
	x, y := cols.Float("t"), cols.Float("y")
	var w []float64
	if cols.Header[len(cols.Header)-1] == "w" {
		w = cols.Float("w")
	}
	line, err := FitLine(x, y, w)
	if err != nil {
		t.Fatalf("%s: %v", c.ID, err)
	}
	target := c.Params["target"].(float64)
	known := lineAnswers(t, line, target)
	if w == nil {
		for name, v := range rankAnswers(t, x, y) {
			known[name] = v
		}
	}
	return func(name string) (float64, bool) {
		if what, at, ok := strings.Cut(name, "@"); ok {
			return boundAnswer(t, line, what, nearest(x, strings.TrimSpace(at)))
		}
		v, ok := known[name]
		return v, ok
	}
}

func lineAnswers(t *testing.T, l *Line, target float64) map[string]float64 {
	t.Helper()
	two, one := must(l.SlopeBounds(0.975))(t), must(l.SlopeBounds(0.95))(t)
	x := must(l.Crossings(target, 0.95))(t)
	return map[string]float64{
		"intercept": l.Intercept, "slope": l.Slope, "se_intercept": l.SEIntercept, "se_slope": l.SESlope,
		"sigma": l.SD, "R2": l.R2, "df": l.DF, "t_slope": l.T,
		"p_slope_two_sided": l.PTwoSided, "p_slope_decreasing": l.PDecreasing,
		"slope_ci95_lower": two.Lower, "slope_ci95_upper": two.Upper,
		"slope_lower95_onesided": one.Lower, "slope_upper95_onesided": one.Upper,
		"cross_time.point":             x.Intersection,
		"cross_time.mean_lower95_band": crossed(x.Lower), "cross_time.pred_lower95_bound": crossed(x.Next),
	}
}

// crossed is a crossing in the reference's terms: Inf for never, undefined where
// the bound is below the target from the start.
func crossed(c Crossing) float64 {
	if c.Status == NeverCrosses {
		return math.Inf(1)
	}
	return c.At
}

func rankAnswers(t *testing.T, x, y []float64) map[string]float64 {
	t.Helper()
	k, s := must(MannKendall(x, y))(t), must(TheilSen(x, y, 0.975))(t)
	return map[string]float64{
		"theil_sen.slope": s.Slope, "theil_sen.n_slopes": float64(s.Slopes),
		"theil_sen.intercept_medians": s.InterceptMedians, "theil_sen.intercept_median_residual": s.InterceptResidual,
		"theil_sen.ci95_lower_interp": s.Lower, "theil_sen.ci95_upper_interp": s.Upper,
		"theil_sen.ci95_lower_outward": s.LowerOutward, "theil_sen.ci95_upper_outward": s.UpperOutward,
		"mk.S": float64(k.S), "mk.varS": k.VarS, "mk.Z": k.Z, "kendall_tau_b": k.TauB,
		"mk.p_normal_two_sided": k.Normal.TwoSided, "mk.p_normal_decreasing": k.Normal.Decreasing,
		"mk.p_exact_decreasing": k.Exact.Decreasing, "mk.p_exact_two_sided": k.Exact.TwoSided,
		"mk.p_exact_two_sided_2min": k.Exact.TwoSided, "mk.p_exact_two_sided_abs": k.Exact.Absolute,
	}
}

func boundAnswer(t *testing.T, l *Line, what string, at float64) (float64, bool) {
	t.Helper()
	mean := func(confidence float64) stats.Estimate { return must(l.At(at, confidence))(t) }
	next := func(confidence float64) stats.Estimate { return must(l.NextAt(at, confidence))(t) }
	switch what {
	case "fit":
		return mean(0.5).Value, true
	case "mean_ci95_lower":
		return mean(0.975).Lower, true
	case "mean_ci95_upper":
		return mean(0.975).Upper, true
	case "mean_lower95_onesided":
		return mean(0.95).Lower, true
	case "pred_ci95_lower":
		return next(0.975).Lower, true
	case "pred_lower95_onesided":
		return next(0.95).Lower, true
	}
	return 0, false
}

// nearest returns the time that a name, which has ten digits of it, stands for:
// the first, mean or last time, or half a span beyond.
func nearest(x []float64, name string) float64 {
	at, err := strconv.ParseFloat(name, 64)
	if err != nil {
		return math.NaN()
	}
	mean, low, high := meanTime(x, nil), x[0], x[0]
	for _, v := range x {
		low, high = math.Min(low, v), math.Max(high, v)
	}
	for _, v := range []float64{low, mean, high, high + (high-low)/2} {
		if math.Abs(v-at) < 1e-8*math.Max(1, math.Abs(at)) {
			return v
		}
	}
	return math.NaN()
}

func slopeAnswers(t *testing.T, c *refcase.Case) func(name string) (float64, bool) {
	t.Helper()
	cols := c.Columns(t)
	series := map[string]Series{}
	for i, g := range cols.Text("group") {
		s := series[g]
		s.Times, s.Values = append(s.Times, cols.Float("t")[i]), append(s.Values, cols.Float("y")[i])
		series[g] = s
	}
	p := must(CompareSlopes(series["VC"], series["OJ"], 0.975))(t)
	known := map[string]float64{
		"interaction.F": p.F, "interaction.df1": 1, "interaction.df2": p.DF, "interaction.p": p.P,
		"sigma": p.SD, "df": p.DF,
		"slope.OJ": p.B.Value, "slope_se.OJ": p.B.SE, "slope.VC": p.A.Value, "slope_se.VC": p.A.SE,
		"slope_diff.VC-OJ": p.Difference.Value, "slope_diff_se.VC-OJ": p.Difference.SE, "slope_diff_p.VC-OJ": p.P,
		"slope_diff_ci95_lower.VC-OJ": p.Difference.Lower, "slope_diff_ci95_upper.VC-OJ": p.Difference.Upper,
		"level_diff_common_slope.VC-OJ": p.Level.Value, "level_diff_common_slope_se.VC-OJ": p.Level.SE,
		"common_slope": p.CommonSlope.Value, "common_slope_se": p.CommonSlope.SE,
	}
	return func(name string) (float64, bool) { v, ok := known[name]; return v, ok }
}

// must ends the test on an error.
func must[T any](v T, err error) func(*testing.T) T {
	return func(t *testing.T) T {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
}
