package compare

import (
	"math"
	"slices"
	"strings"
	"testing"

	"sealbound/stats/dist"
	"sealbound/stats/internal/refcase"
	"sealbound/stats/judge"
)

// notComputed lists reference values that this package does not give, with the
// reason. A value that is neither computed nor listed fails the test.
var notComputed = []struct{ contains, reason string }{
	{"anova.F", "no overall F test: the question is which product, and the family of differences answers it"},
	{"anova.p", "as anova.F"},
	{"ftest_kr.", "as anova.F"},
	{"welch.", "one common spread is fitted; a separate one for each product is not offered"},
	{"_welch.", "as welch"},
	{"games_howell.", "as welch"},
	{"kruskal.", "ranks tell no decibels"},
	{"bartlett.", "no test of equal spread: spread is the subject of another command"},
	{"levene_", "as bartlett"},
	{".BH.", "Benjamini-Hochberg keeps the share of false ones, not the chance of any"},
	{"dunnett.crit_one_sided", "differences have two-sided simultaneous bounds"},
	{"dunnett.p_less.", "as dunnett.crit_one_sided"},
	{"dunnett.lower_onesided.", "as dunnett.crit_one_sided"},
	{"_kr", "Kenward-Roger is not offered: Satterthwaite kept within what the boxes replicate is"},
	{"df_satterthwaite_lmerTest.", "numeric Hessian of the same quantity; the exact df_satterthwaite is checked"},
	{"info.", "what another optimiser stopped at, for information"},
	{"vcov.", "covariances of the fixed effects do not leave the package"},
}

func ignored(name string) bool {
	return slices.ContainsFunc(notComputed, func(k struct{ contains, reason string }) bool { return strings.Contains(name, k.contains) })
}

// One-way data as boxes of one closing each, every box with one product. Expected:
// R 4.2.2 (TukeyHSD with exact quantiles, multcomp, pairwise.t.test), cases
// e_plantgrowth (Dobson 1983) and e_chickwts_unbalanced (Biometrika 35, 1948).
func TestOneWayReference(t *testing.T) {
	for _, id := range []string{"e_plantgrowth", "e_chickwts_unbalanced"} {
		c := refcase.Load(t, id)
		cols := c.Columns(t)
		code, labels := sorted(cols.Text("group"))
		d := dataOf(cols.Float("y"), func(i int) place { return place{code[i], int32(i), int32(i), 0} })
		control := int32(slices.Index(labels, c.Params["control"].(string)))
		against := usual
		against.Against = control
		all, dunnett := mustCompare(t, d, usual), mustCompare(t, d, against)
		if all.Family != Tukey || dunnett.Family != Dunnett || dunnett.PairsFamily != Tukey {
			t.Errorf("%s: families %q, %q", id, all.Family, dunnett.Family)
		}
		if len(dunnett.Differences) != len(labels)-1 || len(all.Differences) != len(labels)*(len(labels)-1)/2 {
			t.Errorf("%s: %d and %d differences", id, len(dunnett.Differences), len(all.Differences))
		}
		single, bonferroni := singleP(all), make(map[[2]int32]float64)
		var p []float64
		for _, x := range all.Differences {
			p = append(p, single[[2]int32{x.A, x.B}])
			bonferroni[[2]int32{x.A, x.B}] = math.Min(1, float64(len(all.Differences))*p[len(p)-1])
		}
		holm := make(map[[2]int32]float64)
		for i, x := range stepDown(p) {
			holm[[2]int32{all.Differences[i].A, all.Differences[i].B}] = x
		}
		seen := 0
		for _, v := range c.Values {
			if ignored(v.Name) {
				continue
			}
			quantity, pair := v.Name, ""
			if at := strings.LastIndex(v.Name, "."); strings.Contains(v.Name[at:], "-") {
				quantity, pair = v.Name[:at], v.Name[at+1:]
			}
			var got float64
			a, b, _ := strings.Cut(pair, "-")
			ka, kb := int32(slices.Index(labels, a)), int32(slices.Index(labels, b))
			if pair != "" && (ka < 0 || kb < 0) {
				t.Fatalf("%s: which groups are %q", id, v.Name)
			}
			either := func(m map[[2]int32]float64) float64 { return m[[2]int32{ka, kb}] + m[[2]int32{kb, ka}] }
			switch quantity {
			case "anova.mse":
				got = all.Components[0].Variance
			case "anova.df_error":
				got = all.Differences[0].DF
			case "tukey.diff":
				got = all.difference(t, ka, kb).DB
			case "tukey.lwr":
				got = all.difference(t, ka, kb).Lower
			case "tukey.upr":
				got = all.difference(t, ka, kb).Upper
			case "tukey.p":
				got = all.difference(t, ka, kb).P
			case "pairwise_t_pooled.none":
				got = either(single)
			case "pairwise_t_pooled.bonferroni":
				got = either(bonferroni)
			case "pairwise_t_pooled.holm":
				got = either(holm)
			case "dunnett.crit_two_sided":
				x := dunnett.Differences[0]
				got = (x.Upper - x.DB) / x.SE
			case "dunnett.t":
				x := dunnett.difference(t, ka, kb)
				got = x.DB / x.SE
			case "dunnett.p_two_sided":
				got = dunnett.difference(t, ka, kb).P
			case "dunnett.lwr":
				got = dunnett.difference(t, ka, kb).Lower
			case "dunnett.upr":
				got = dunnett.difference(t, ka, kb).Upper
			default:
				t.Errorf("%s: %s is neither computed nor said to be left out", id, v.Name)
				continue
			}
			seen++
			c.Check(t, v.Name, got)
		}
		t.Logf("%s: %d of %d values checked", id, seen, len(c.Values))
	}
}

// singleP are the p values of each difference for itself.
func singleP(r Result) map[[2]int32]float64 {
	out := make(map[[2]int32]float64)
	for _, x := range r.Differences {
		out[[2]int32{x.A, x.B}] = 2 * dist.TSurvival(math.Abs(x.DB/x.SE), x.DF)
	}
	return out
}

// Six workers on three machines, each three times: workers are boxes, machines are
// products, a worker on a machine is a fitting. Expected: lme4 1.1.31, emmeans
// 1.8.4.1, cases e_machines_block and e_machines_block_simple_unbalanced (nlme's
// data set Machines; Milliken & Johnson 1992). In the second case the interaction
// is left out: every reading is a fitting of its own.
func TestMachinesReference(t *testing.T) {
	for _, id := range []string{"e_machines_block", "e_machines_block_simple_unbalanced"} {
		c := refcase.Load(t, id)
		cols := c.Columns(t)
		machine, labels := sorted(cols.Text("Machine"))
		worker, workers := sorted(cols.Text("Worker"))
		simple := strings.HasSuffix(id, "unbalanced")
		d := dataOf(cols.Float("score"), func(i int) place {
			fitting := worker[i] + int32(len(workers))*machine[i]
			if simple {
				fitting = int32(i)
			}
			return place{machine[i], worker[i], fitting, 0}
		})
		r := mustCompare(t, d, usual)
		a := r.product(t, 0)
		component := func(name string) float64 {
			for _, k := range r.Components {
				if k.Source == name || strings.HasPrefix(k.Source, name+"+") {
					return k.Variance
				}
			}
			t.Fatalf("no component %s in %+v", name, r.Components)
			return nan
		}
		residual := r.Components[len(r.Components)-1].Variance
		seen := 0
		for _, v := range c.Values {
			if ignored(v.Name) && v.Name != "contrast.p_kr_tukey.B-A" {
				continue
			}
			parts := strings.Split(v.Name, ".")
			last := parts[len(parts)-1]
			quantity := strings.TrimSuffix(v.Name, "."+last)
			// Effects of the treatment coding: A itself, and the others less A.
			x, isMean := Difference{}, last == "(Intercept)" || len(last) == 1
			switch {
			case strings.HasPrefix(last, "Machine"):
				x = r.difference(t, int32(slices.Index(labels, last[len("Machine"):])), 0)
			case strings.Contains(last, "-"):
				x = r.difference(t, int32(slices.Index(labels, last[:1])), int32(slices.Index(labels, last[2:])))
			}
			p := a
			if len(last) == 1 && len(parts) > 1 {
				p = r.product(t, int32(slices.Index(labels, last)))
			}
			value, se, df := x.DB, x.SE, x.SatterthwaiteDF
			if isMean {
				value, se, df = p.Value, p.SE, p.SatterthwaiteDF
			}
			var got float64
			switch {
			case v.Name == "var.Worker.(Intercept)":
				got = component("box")
			case v.Name == "var.Worker:Machine.(Intercept)":
				got = component("fitting")
			case v.Name == "var.residual":
				got = residual
			case v.Name == "sd.Worker.(Intercept)":
				got = math.Sqrt(component("box"))
			case v.Name == "sd.Worker:Machine.(Intercept)":
				got = math.Sqrt(component("fitting"))
			case v.Name == "sd.residual":
				got = math.Sqrt(residual)
			case v.Name == "share.Worker.(Intercept)":
				got = r.Components[0].Share
			case v.Name == "share.Worker:Machine.(Intercept)":
				got = r.Components[1].Share
			case v.Name == "share.residual":
				got = r.Components[len(r.Components)-1].Share
			case v.Name == "reml_loglik":
				got = r.LogLikelihood
			case v.Name == "reml_criterion":
				got = -2 * r.LogLikelihood
			case v.Name == "n":
				got = float64(len(r.Kept))
			case v.Name == "p":
				got = float64(len(r.Products))
			case quantity == "fixef" || quantity == "contrast.estimate" || quantity == "emmean.estimate":
				got = value
			case quantity == "se" || quantity == "contrast.se_satt":
				got = se
			case quantity == "df_satterthwaite" || quantity == "contrast.df_satt":
				got = df
			case quantity == "ci95_lower_satt":
				got = value - dist.TQuantile(0.975, df)*se
			case quantity == "ci95_upper_satt":
				got = value + dist.TQuantile(0.975, df)*se
			case quantity == "lower95_onesided_satt":
				got = value - dist.TQuantile(0.95, df)*se
			case quantity == "p_satt" || quantity == "contrast.p_satt_raw":
				got = 2 * dist.TSurvival(math.Abs(value/se), df)
			case quantity == "contrast.p_kr_tukey":
				if simple {
					continue // there Kenward and Roger's se and df are other ones
				}
				got = x.P // balanced: Kenward-Roger and Satterthwaite agree
			default:
				t.Errorf("%s: %s is neither computed nor said to be left out", id, v.Name)
				continue
			}
			seen++
			c.Check(t, v.Name, got)
		}
		t.Logf("%s: %d of %d values checked", id, seen, len(c.Values))
		// Kept within what six workers replicate.
		for _, p := range r.Products {
			near(t, id+": df of a mean", p.DF, 5, 1e-9)
			if p.Verdict == judge.TooFew || p.Boxes != 6 {
				t.Errorf("%s: %+v", id, p)
			}
		}
		for _, x := range r.Differences {
			near(t, id+": df of a difference", x.DF, 10, 1e-5) // (6-1)(3-1)
		}
	}
}

// The printed figures of TukeyHSD on PlantGrowth and of Dunnett's factor. Source:
// R 4.2.2, datasets; C. W. Dunnett, JASA 50 (1955).
func TestPlantGrowthPrinted(t *testing.T) {
	cols := refcase.Load(t, "e_plantgrowth").Columns(t)
	code, _ := sorted(cols.Text("group"))
	r := mustCompare(t, dataOf(cols.Float("y"), func(i int) place { return place{code[i], int32(i), int32(i), 0} }), usual)
	for _, tt := range []struct {
		a, b       int32
		diff, p    float64
		lower, upp float64
	}{
		{1, 0, -0.371, 0.3909, nan, nan}, {2, 0, 0.494, 0.1980, nan, nan}, {2, 1, 0.865, 0.0120, 0.1738, 1.5562},
	} {
		x := r.difference(t, tt.a, tt.b)
		near(t, "difference", x.DB, tt.diff, 5e-4)
		near(t, "p", x.P, tt.p, 5e-5)
		if !math.IsNaN(tt.lower) {
			near(t, "lower", x.Lower, tt.lower, 6e-5)
			near(t, "upper", x.Upper, tt.upp, 6e-5)
		}
	}
	// trt2 differs from trt1 alone.
	for code, want := range map[int32]string{2: "a", 0: "ab", 1: "b"} {
		if got := r.product(t, code).Letters; got != want {
			t.Errorf("letters of %d: %q, want %q", code, got, want)
		}
	}
	if !slices.Equal(r.Best, []int32{2, 0}) {
		t.Errorf("best %v, want trt2 and ctrl", r.Best)
	}
}

// The family's critical values: two-sided Dunnett, 5 %, 10 degrees of freedom
// (R 4.2.2, mvtnorm, to three decimals), and Tukey's q (R 4.2.2, exact).
func TestCriticalValues(t *testing.T) {
	half := math.Sqrt(0.5)
	for _, tt := range []struct {
		f    family
		df   float64
		want float64
	}{
		{family{name: Dunnett, alpha: 0.05, lambda: []float64{half, half}}, 10, 2.568},
		{family{name: Dunnett, alpha: 0.05, lambda: []float64{half, half, half}}, 10, 2.758},
		{family{name: Tukey, alpha: 0.05, k: 3}, 10, 3.877 / math.Sqrt2},
		{family{name: Tukey, alpha: 0.05, k: 6}, 10, 4.912 / math.Sqrt2},
		{family{name: Holm, alpha: 0.05, pairs: 1}, 10, 2.228}, // t(0.975; 10), any t table
	} {
		got := tt.f.critical(tt.df)
		near(t, string(tt.f.name), got, tt.want, 1.1e-3) // mvtnorm is good to about 1e-3
		if tt.f.name != Holm {
			near(t, string(tt.f.name)+": p at the critical value", tt.f.adjusted(-got, tt.df), 0.05, 1e-9)
		}
	}
}
