package spread

import (
	"math"
	"strings"
	"testing"

	"sealbound/stats"
	"sealbound/stats/internal/refcase"
	"sealbound/stats/interval"
	"sealbound/stats/mixed"
)

// factor makes a factor of the combinations of columns; none gives one level.
func factor(c refcase.Columns, name string, columns ...string) stats.Factor {
	f := stats.Factor{Name: name, Codes: make([]int32, c.Len()), Levels: 1}
	if len(columns) == 0 {
		return f
	}
	code := map[string]int32{}
	for i := range f.Codes {
		key := ""
		for _, col := range columns {
			key += c.Text(col)[i] + ":"
		}
		at, ok := code[key]
		if !ok {
			at = int32(len(code))
			code[key] = at
		}
		f.Codes[i] = at
	}
	f.Levels = len(code)
	return f
}

var usual = Settings{Confidence: 0.95}

func analysed(y []float64, box, fitting, session, visit stats.Factor) *Result {
	r := empty()
	box.Name, fitting.Name, session.Name, visit.Name = "box", "fitting", "session", "visit"
	r.analyse(y, []stats.Factor{box, fitting, session, visit}, nil, usual)
	return &r
}

// laboratories reads a study of one level: the laboratories are the sessions of one
// strip in one box, so that closing is s_r and closing + visit + session is s_R.
func laboratories(c refcase.Columns, y, lab string) *Result {
	one, labs := factor(c, ""), factor(c, "", lab)
	return analysed(c.Float(y), one, one, labs, labs)
}

func component(t *testing.T, r *Result, source string) Component {
	t.Helper()
	for _, c := range r.Components {
		if c.Source == source {
			return c
		}
	}
	t.Fatalf("no component %s among %v", source, r.Components)
	return Component{}
}

// ISO 5725-2 quantities of one level (R 4.2.2, plain formulas; the calls are in the
// files). What a mixed model gives for balanced data is the same by REML.
func TestRepeatabilityOfLaboratories(t *testing.T) {
	ignored := []struct{ contains, reason string }{
		{"1.96sqrt2", "limits are given with the factor 2.8 alone"},
		{"_1pct", "outliers are flagged at 5 % alone"},
	}
	for _, id := range []string{"g_dyestuff_iso", "g_rail_iso", "g_chickwts_iso_unbalanced"} {
		t.Run(id, func(t *testing.T) {
			c := refcase.Load(t, id)
			cols := c.Columns(t)
			y, labs := cols.Float("y"), factor(cols, "box", "lab")
			r := laboratories(cols, "y", "lab")
			a, err := mixed.NewOneWay(y, labs)
			if err != nil {
				t.Fatal(err)
			}
			of := units(y, labs)
			lab := map[string]unit{}
			var mean []float64
			largest, sum := 0.0, 0.0
			for _, u := range of {
				lab[cols.Text("lab")[u.first]] = u
				mean = append(mean, u.mean)
				largest, sum = math.Max(largest, u.variance), sum+u.variance
			}
			centre, sd, err := interval.MeanSD(mean)
			if err != nil {
				t.Fatal(err)
			}
			h := func(u unit) float64 { return (u.mean - centre) / sd }
			lowest, highest := math.Inf(1), math.Inf(-1)
			for _, u := range of {
				lowest, highest = math.Min(lowest, h(u)), math.Max(highest, h(u))
			}
			between := math.Max(0, a.VarBetween)
			got := map[string]float64{
				"p_labs": float64(r.Sessions), "grand_mean": a.Mean, "s_r2": a.MSWithin, "s_d2_between_ms": a.MSBetween, "n_bar": a.N0,
				"s_L2": between, "s_R2": between + a.MSWithin, "s_r": math.Sqrt(a.MSWithin), "s_R": math.Sqrt(between + a.MSWithin),
				"repeatability_limit_2.8": LimitFactor * math.Sqrt(a.MSWithin), "reproducibility_limit_2.8": LimitFactor * math.Sqrt(between+a.MSWithin),
				"cochran_C": largest / sum, "grubbs_G_high": highest, "grubbs_G_low": -lowest,
				"cochran_C_crit_5pct": cochranCritical(len(of), of[0].df, a.DFWithin),
			}
			got["p_labs"] = float64(a.Groups)
			for name, u := range lab {
				got["mandel_h."+name] = h(u)
				got["mandel_k."+name] = math.Sqrt(u.variance / (sum / float64(len(of))))
			}
			if a.Balanced { // then REML and mean squares are one
				got["grand_mean"], got["s_r"], got["s_R"] = r.MeanDB, r.Repeatability.SD, r.Reproducibility.SD
				got["repeatability_limit_2.8"], got["reproducibility_limit_2.8"] = r.Repeatability.LimitDB(), r.Reproducibility.LimitDB()
				got["s_L2"] = component(t, r, "session+visit").Variance
			}
			checkAll(t, c, got, ignored)
		})
	}
}

// checkAll checks every value of a case that is not listed as ignored.
func checkAll(t *testing.T, c *refcase.Case, got map[string]float64, ignored []struct{ contains, reason string }) {
	t.Helper()
next:
	for _, v := range c.Values {
		for _, i := range ignored {
			if strings.Contains(v.Name, i.contains) {
				continue next
			}
		}
		x, ok := got[v.Name]
		if !ok {
			t.Errorf("%s is neither computed nor ignored", v.Name)
			continue
		}
		// The optimum of the likelihood is found to about 1e-9 of a variance.
		c.CheckWithin(t, v.Name, x, math.Max(v.Rel, 1e-8), v.Abs)
	}
}

// Nested studies, A over B over repeats (R 4.2.2, aov): A as the sessions of one
// strip, B as the visits in them.
func TestRepeatabilityNested(t *testing.T) {
	ignored := []struct{ contains, reason string }{
		{"nested.mean_", "the error of the mean is a question for judge"},
		{"nested.F_", "components are estimated, not tested"},
		{"nested.p_", "components are estimated, not tested"},
		{"nested.ms_", "mean squares are not shown for nested levels; those of the model are checked with it"},
		{"nested.df_", "likewise"},
	}
	for _, id := range []string{"g_pastes_nested", "g_oxide_nested"} {
		t.Run(id, func(t *testing.T) {
			c := refcase.Load(t, id)
			cols := c.Columns(t)
			one := factor(cols, "")
			r := analysed(cols.Float("y"), one, one, factor(cols, "", "A"), factor(cols, "", "A", "B"))
			intermediate := quantity(r.Components, func([]string) float64 { return nan }, "visit", "closing")
			checkAll(t, c, map[string]float64{
				"nested.var_error": component(t, r, "closing").Variance, "nested.var_B_untruncated": component(t, r, "visit").Variance,
				"nested.var_A_untruncated": component(t, r, "session").Variance, "nested.mean": r.MeanDB,
				"s_repeatability": r.Repeatability.SD, "s_intermediate": intermediate.SD, "s_reproducibility": r.Reproducibility.SD,
				"repeatability_limit_2.8": r.Repeatability.LimitDB(), "intermediate_limit_2.8": intermediate.LimitDB(),
				"reproducibility_limit_2.8": r.Reproducibility.LimitDB(),
			}, ignored)
		})
	}
}

// A crossed gauge study (R 4.2.2, anova): parts as boxes, operators as sessions, their
// interaction as the visits. The gauge is what closing, visit and session add.
func TestGaugeStudy(t *testing.T) {
	ignored := []struct{ contains, reason string }{
		{"ms.", "components are by REML; balanced and positive they are those of the mean squares"},
		{"df.", "likewise"},
		{"F_", "components are estimated, not tested"},
		{"p_interaction", "components are estimated, not tested"},
		{"pooled.", "a level that shows spread is never pooled with another"},
		{"ndc", "a count of categories has no use for attenuations"},
	}
	c := refcase.Load(t, "g_machines_grr")
	cols := c.Columns(t)
	box := factor(cols, "", "part")
	r := analysed(cols.Float("y"), box, box, factor(cols, "", "operator"), factor(cols, "", "part", "operator"))
	part, operator, both := component(t, r, "box+fitting"), component(t, r, "session"), component(t, r, "visit")
	gauge := r.Reproducibility.SD * r.Reproducibility.SD
	checkAll(t, c, map[string]float64{
		"var_repeatability": component(t, r, "closing").Variance, "var_interaction_untruncated": both.Variance,
		"var_operator_untruncated": operator.Variance, "var_part_untruncated": part.Variance,
		"var_reproducibility": gauge - r.Repeatability.SD*r.Repeatability.SD, "var_gauge": gauge,
		"var_total": part.Variance / part.Share, "pct_gauge_of_total_sd": 100 * math.Sqrt(1-part.Share),
	}, ignored)
	if r.Unit.SD != part.SD {
		t.Errorf("unit SD %v, want %v", r.Unit.SD, part.SD)
	}
}

// Components of the mixed-model cases (lme4 1.1.31, polished to the optimum).
func TestComponents(t *testing.T) {
	ignored := []struct{ contains, reason string }{
		{"se.", "the error of the mean is a question for judge"}, {"df_", "likewise"}, {"ci95", "likewise"}, {"lower95", "likewise"},
		{"p_satt", "likewise"}, {"se_kr", "likewise"}, {"mean.", "likewise"}, {"nested.mean", "likewise"},
		{"blup.", "single boxes are not predicted"}, {"reml_criterion", "the log-likelihood is given, which is half of it"},
		{"anova.", "mean squares are checked where they are computed"}, {"mom.", "likewise"}, {"nested.", "likewise"},
		{"icc1", "shares are those of REML"}, {"info.", "what another optimiser stopped at"},
		{"df_satterthwaite", "likewise"},
	}
	for _, tt := range []struct {
		id, y                 string
		box, fitting, session []string
		names                 map[string]string // of the reference: ours
	}{
		{"c_dyestuff", "Yield", []string{"Batch"}, []string{"Batch"}, nil, map[string]string{"Batch": "box+fitting+visit"}},
		{"c_dyestuff2_boundary", "Yield", []string{"Batch"}, []string{"Batch"}, nil, map[string]string{"Batch": "box+fitting+visit"}},
		{"c_dyestuff_unbalanced", "Yield", []string{"Batch"}, []string{"Batch"}, nil, map[string]string{"Batch": "box+fitting+visit"}},
		{"c_rail", "travel", []string{"Rail"}, []string{"Rail"}, nil, map[string]string{"Rail": "box+fitting+visit"}},
		{"c_pastes_nested", "strength", []string{"batch"}, []string{"batch", "cask"}, nil,
			map[string]string{"batch": "box", "cask:batch": "fitting+visit"}},
		{"c_oxide_nested", "Thickness", []string{"Lot"}, []string{"Lot", "Wafer"}, nil,
			map[string]string{"Lot": "box", "Wafer:Lot": "fitting+visit"}},
		{"c_penicillin_crossed", "diameter", []string{"plate"}, []string{"plate"}, []string{"sample"},
			map[string]string{"plate": "box+fitting", "sample": "session"}},
	} {
		t.Run(tt.id, func(t *testing.T) {
			c := refcase.Load(t, tt.id)
			cols := c.Columns(t)
			r := analysed(cols.Float(tt.y), factor(cols, "", tt.box...), factor(cols, "", tt.fitting...),
				factor(cols, "", tt.session...), factor(cols, "", append(append([]string{}, tt.fitting...), tt.session...)...))
			last := r.Components[len(r.Components)-1]
			got := map[string]float64{"reml_loglik": r.LogLikelihood, "n": float64(cols.Len()), "p": 1, "fixef.(Intercept)": r.MeanDB,
				"var.residual": last.Variance, "sd.residual": last.SD, "share.residual": last.Share}
			for theirs, ours := range tt.names {
				k := component(t, r, ours)
				got["var."+theirs+".(Intercept)"], got["sd."+theirs+".(Intercept)"], got["share."+theirs+".(Intercept)"] = k.Variance, k.SD, k.Share
			}
			checkAll(t, c, got, ignored)
		})
	}
}
