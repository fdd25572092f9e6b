package interval

import (
	"strconv"
	"strings"
	"testing"

	"sealbound/stats"
	"sealbound/stats/internal/refcase"
)

// Every value of section a's one-sample cases: R 4.2.2 and NIST StRD, with the
// call beside each number in the file.
func TestOneSampleReference(t *testing.T) {
	checked := 0
	for _, id := range refcase.IDs(t, "a_") {
		c := refcase.Load(t, id)
		if !c.Has("mean") { // regression and analysis of variance have tests of their own
			continue
		}
		x := c.Columns(t).Float("y")
		s, err := Describe(x)
		if err != nil {
			t.Errorf("%s: %v", id, err)
			continue
		}
		for _, v := range c.Values {
			got, ok := oneSample(t, x, s, v.Name)
			if !ok {
				continue
			}
			checked++
			c.Check(t, v.Name, got)
		}
	}
	if checked < 250 {
		t.Errorf("only %d values checked", checked)
	}
}

// oneSample returns the answer under the name that the reference gives it.
func oneSample(t *testing.T, x []float64, s Summary, name string) (got float64, ok bool) {
	t.Helper()
	must := func(v float64, err error) float64 {
		t.Helper()
		if err != nil {
			t.Errorf("%s: %v", name, err)
		}
		return v
	}
	level := func(prefix, suffix string) float64 {
		f, err := strconv.ParseFloat(strings.TrimSuffix(strings.TrimPrefix(name, prefix), suffix), 64)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		return f
	}
	estimate := func(e stats.Estimate, err error) stats.Estimate {
		t.Helper()
		if err != nil {
			t.Errorf("%s: %v", name, err)
		}
		return e
	}
	has := func(prefix, suffix string) bool {
		return strings.HasPrefix(name, prefix) && strings.HasSuffix(name, suffix)
	}
	switch {
	case name == "n":
		return float64(s.N), true
	case name == "mean":
		return s.Mean, true
	case name == "sd":
		return s.SD, true
	case name == "var":
		return s.SD * s.SD, true
	case name == "min":
		return s.Min, true
	case name == "max":
		return s.Max, true
	case name == "median":
		return s.Median, true
	case name == "energy_mean_db":
		return s.Power, true
	case name == "mad_1.4826":
		return s.MAD, true
	case name == "mad_raw":
		return s.MAD / MADScale, true
	case has("quantile_type7.", ""):
		return must(Quantile(x, level("quantile_type7.", ""))), true
	case has("quantile_type6.", ""):
		return must(QuantileExclusive(x, level("quantile_type6.", ""))), true
	case name == "se_mean":
		return estimate(MeanBounds(s.N, s.Mean, s.SD, 0.95)).SE, true
	case has("sd_ci95_", ""):
		e := estimate(SDBounds(s.SD, float64(s.N-1), 0.975))
		if has("", "lower") {
			return e.Lower, true
		}
		return e.Upper, true
	case name == "sd_upper95_onesided":
		return estimate(SDBounds(s.SD, float64(s.N-1), 0.95)).Upper, true
	case has("ci", "_lower"):
		return estimate(MeanBounds(s.N, s.Mean, s.SD, 0.5+level("ci", "_lower")/200)).Lower, true
	case has("ci", "_upper"):
		return estimate(MeanBounds(s.N, s.Mean, s.SD, 0.5+level("ci", "_upper")/200)).Upper, true
	case has("lower", "_onesided"):
		return estimate(MeanBounds(s.N, s.Mean, s.SD, level("lower", "_onesided")/100)).Lower, true
	case has("tolerance_lower_cov", "_conf95"):
		return s.Mean - s.SD*must(LowerFactor(s.N, level("tolerance_lower_cov", "_conf95")/100, 0.95)), true
	case name == "prediction_lower95_onesided_1new":
		return estimate(NextBounds(s.N, s.Mean, s.SD, 1, 0.95)).Lower, true
	case name == "prediction_lower95_onesided_mean_of_3new":
		return estimate(NextBounds(s.N, s.Mean, s.SD, 3, 0.95)).Lower, true
	case name == "grubbs_G_min":
		return (s.Mean - s.Min) / s.SD, true
	case name == "grubbs_G_max":
		return (s.Max - s.Mean) / s.SD, true
	case name == "shapiro_W", name == "shapiro_p", name == "autocorr_lag1":
		return 0, false // not offered
	}
	t.Errorf("the test does not know %q", name)
	return 0, false
}

// NIST StRD, analysis of variance: certified values.
func TestOneWayReference(t *testing.T) {
	for _, id := range refcase.IDs(t, "a_nist_") {
		c := refcase.Load(t, id)
		if !c.Has("df_between") {
			continue
		}
		cols := c.Columns(t)
		codes, labels := cols.Codes("group")
		a, err := OneWay(cols.Float("y"), stats.Factor{Name: "group", Codes: codes, Levels: len(labels)})
		if err != nil {
			t.Errorf("%s: %v", id, err)
			continue
		}
		for name, got := range map[string]float64{
			"df_between": a.DFBetween, "df_within": a.DFWithin, "ss_between": a.SSBetween, "ms_between": a.MSBetween,
			"ss_within": a.SSWithin, "ms_within": a.MSWithin, "F": a.F, "R2": a.R2, "resid_sd": a.SDWithin,
		} {
			c.Check(t, name, got)
		}
	}
}

func TestToleranceFactorReference(t *testing.T) {
	for _, id := range []string{"b_tolerance_k_onesided", "b_tolerance_k_large_n"} {
		refcase.Load(t, id).EachRow(t, func(r refcase.Row) {
			k, err := LowerFactor(int(r.Float("n")), r.Float("coverage"), r.Float("conf"))
			if err != nil {
				t.Error(err)
			}
			r.Check(t, "k", k)
		})
	}
}

func TestPowerReference(t *testing.T) {
	refcase.Load(t, "b_power_onesample_onesided").EachRow(t, func(r refcase.Row) {
		p, err := PowerOf(int(r.Float("n")), r.Float("delta_over_sd"), 1-r.Float("alpha"))
		if err != nil {
			t.Error(err)
		}
		r.Check(t, "power", p)
	})
	refcase.Load(t, "b_sample_size_onesample_onesided").EachRow(t, func(r refcase.Row) {
		effect, confidence := r.Float("delta_over_sd"), 1-r.Float("alpha")
		n, p, err := CountFor(effect, confidence, r.Float("power"), 1e6)
		if err != nil {
			t.Error(err)
		}
		r.Check(t, "n", float64(n))
		r.Check(t, "power_at_n", p)
		if n > 2 {
			p, err = PowerOf(n-1, effect, confidence)
			if err != nil {
				t.Error(err)
			}
			r.Check(t, "power_at_n_minus_1", p)
		}
	})
}

func TestZeroFailureReference(t *testing.T) {
	refcase.Load(t, "b_zero_failure_n").EachRow(t, func(r refcase.Row) {
		n, err := FreeCount(r.Float("reliability"), r.Float("conf"), 0)
		if err != nil {
			t.Error(err)
		}
		r.Check(t, "n", float64(n))
		p, err := ShareLower(n, 0, r.Float("conf"))
		if err != nil {
			t.Error(err)
		}
		r.Check(t, "lower_bound_at_n", p)
	})
}

func TestShareLowerReference(t *testing.T) {
	refcase.Load(t, "b_clopper_pearson_lower").EachRow(t, func(r refcase.Row) {
		p, err := ShareLower(int(r.Float("n")), int(r.Float("failures")), r.Float("conf"))
		if err != nil {
			t.Error(err)
		}
		r.Check(t, "lower_success", p)
	})
}
