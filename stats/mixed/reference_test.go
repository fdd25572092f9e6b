package mixed

import (
	"math"
	"strconv"
	"strings"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"

	"sealbound/stats"
	"sealbound/stats/internal/refcase"
)

// A mixedCase is a reference case with its model.
type mixedCase struct {
	id     string
	y      string
	terms  []caseTerm
	fixed  string // covariate or factor beside the intercept; "" for none
	levels bool   // fixed is a factor with treatment contrasts
}

// A caseTerm is a random term: the columns whose combinations are its levels,
// and the covariate of a slope.
type caseTerm struct {
	name       string // as the reference names the factor
	columns    []string
	slope      string
	intercept  bool
	correlated bool
}

var mixedCases = []mixedCase{
	{id: "c_dyestuff", y: "Yield", terms: []caseTerm{{name: "Batch", columns: []string{"Batch"}}}},
	{id: "c_dyestuff2_boundary", y: "Yield", terms: []caseTerm{{name: "Batch", columns: []string{"Batch"}}}},
	{id: "c_dyestuff_unbalanced", y: "Yield", terms: []caseTerm{{name: "Batch", columns: []string{"Batch"}}}},
	{id: "c_rail", y: "travel", terms: []caseTerm{{name: "Rail", columns: []string{"Rail"}}}},
	{id: "c_oxide_nested", y: "Thickness", terms: []caseTerm{
		{name: "Wafer:Lot", columns: []string{"Wafer", "Lot"}}, {name: "Lot", columns: []string{"Lot"}}}},
	{id: "c_pastes_nested", y: "strength", terms: []caseTerm{
		{name: "cask:batch", columns: []string{"cask", "batch"}}, {name: "batch", columns: []string{"batch"}}}},
	{id: "c_penicillin_crossed", y: "diameter", terms: []caseTerm{
		{name: "plate", columns: []string{"plate"}}, {name: "sample", columns: []string{"sample"}}}},
	{id: "c_sleepstudy_slope", y: "Reaction", fixed: "Days", terms: []caseTerm{
		{name: "Subject", columns: []string{"Subject"}, slope: "Days", intercept: true, correlated: true}}},
	{id: "c_sleepstudy_uncorrelated", y: "Reaction", fixed: "Days", terms: []caseTerm{
		{name: "Subject", columns: []string{"Subject"}, slope: "Days", intercept: true}}},
	{id: "e_machines_block", y: "score", fixed: "Machine", levels: true, terms: []caseTerm{
		{name: "Worker", columns: []string{"Worker"}}, {name: "Worker:Machine", columns: []string{"Worker", "Machine"}}}},
	{id: "e_machines_block_simple_unbalanced", y: "score", fixed: "Machine", levels: true, terms: []caseTerm{
		{name: "Worker", columns: []string{"Worker"}}}},
	{id: "f_sleepstudy_ri", y: "y", fixed: "Days", terms: []caseTerm{{name: "Subject", columns: []string{"Subject"}}}},
	{id: "f_sleepstudy_ris", y: "y", fixed: "Days", terms: []caseTerm{
		{name: "Subject", columns: []string{"Subject"}, slope: "Days", intercept: true, correlated: true}}},
	{id: "f_sleepstudy_ris_unbalanced", y: "y", fixed: "Days", terms: []caseTerm{
		{name: "Subject", columns: []string{"Subject"}, slope: "Days", intercept: true, correlated: true}}},
}

// notComputed lists the reference values that this package does not give, with
// the reason. A value that is neither computed nor listed fails the test.
var notComputed = []struct{ contains, reason string }{
	{"_kr", "Kenward-Roger is not offered: Satterthwaite with degrees of freedom clamped to the units is"},
	{"df_satterthwaite_lmerTest.", "numeric Hessian of the same quantity; the exact df_satterthwaite is checked"},
	{"info.", "what another optimiser stopped at, for information"},
}

// built is a case's design with the labels of its random levels.
type built struct {
	design Design
	labels [][]string // per term: label of each code
	groups []string   // levels of the fixed factor, baseline first
}

func (mc mixedCase) build(t *testing.T, c *refcase.Case) built {
	t.Helper()
	cols := c.Columns(t)
	d := Design{Y: cols.Float(mc.y), Residual: "residual"}
	n := len(d.Y)
	ones := make([]float64, n)
	for i := range ones {
		ones[i] = 1
	}
	d.X, d.XNames = [][]float64{ones}, []string{"(Intercept)"}
	var b built
	switch {
	case mc.levels:
		for _, l := range c.Params["levels"].([]any) {
			b.groups = append(b.groups, l.(string))
		}
		text := cols.Text(mc.fixed)
		for _, g := range b.groups[1:] {
			x := make([]float64, n)
			for i := range x {
				if text[i] == g {
					x[i] = 1
				}
			}
			d.X, d.XNames = append(d.X, x), append(d.XNames, mc.fixed+g)
		}
	case mc.fixed != "":
		d.X, d.XNames = append(d.X, cols.Float(mc.fixed)), append(d.XNames, mc.fixed)
	}
	for _, ct := range mc.terms {
		f := stats.Factor{Name: ct.name, Codes: make([]int32, n)}
		code := map[string]int32{}
		var labels []string
		for i := range n {
			var parts []string
			for _, name := range ct.columns {
				parts = append(parts, cols.Text(name)[i])
			}
			label := strings.Join(parts, ":")
			at, ok := code[label]
			if !ok {
				at = int32(len(labels))
				code[label] = at
				labels = append(labels, label)
			}
			f.Codes[i] = at
		}
		f.Levels = len(labels)
		term := Term{Factor: f, Intercept: ct.intercept, Correlated: ct.correlated}
		if ct.slope != "" {
			term.Slope = cols.Float(ct.slope)
		}
		d.Terms = append(d.Terms, term)
		b.labels = append(b.labels, labels)
	}
	b.design = d
	return b
}

// Every value of the mixed-model reference cases (lme4 fits polished to the
// optimum; the calls are in the files), each at its own tolerance.
func TestReference(t *testing.T) {
	for _, mc := range mixedCases {
		t.Run(mc.id, func(t *testing.T) {
			c := refcase.Load(t, mc.id)
			b := mc.build(t, c)
			f, err := b.design.Fit(REML)
			if err != nil {
				t.Fatal(err)
			}
			if !(f.Gradient < 1e-8) {
				t.Errorf("scaled gradient %v", f.Gradient)
			}
			checked := 0
			for _, v := range c.Values {
				got, ok := mc.answer(t, b, f, v.Name)
				if !ok {
					if !ignored(v.Name) {
						t.Errorf("%s is neither computed nor listed as left out", v.Name)
					}
					continue
				}
				checked++
				c.Check(t, v.Name, got)
			}
			t.Logf("%d of %d values checked", checked, len(c.Values))
		})
	}
}

func ignored(name string) bool {
	for _, n := range notComputed {
		if strings.Contains(name, n.contains) {
			return true
		}
	}
	return false
}

// answer computes the reference value of that name from the fit.
func (mc mixedCase) answer(t *testing.T, b built, f *Fit, name string) (float64, bool) {
	t.Helper()
	if ignored(name) {
		return 0, false
	}
	kind, rest, _ := strings.Cut(name, ".")
	switch kind {
	case "var", "sd", "share":
		k := mc.componentIndex(rest)
		if k < 0 || k >= len(f.Components) {
			t.Fatalf("no component %q", rest)
		}
		comp := f.Components[k]
		switch kind {
		case "var":
			return comp.Variance, true
		case "sd":
			return comp.SD, true
		}
		var total float64
		for _, c := range f.Components {
			total += c.Variance
		}
		return comp.Variance / total, true
	case "cov":
		return f.Covariance[0], true
	case "corr":
		return f.Covariance[0] / (f.Components[0].SD * f.Components[1].SD), true
	case "reml_criterion":
		return -2 * f.LogLikREML, true
	case "reml_loglik":
		return f.LogLikREML, true
	case "n":
		return float64(f.N), true
	case "p":
		return float64(f.P), true
	case "fixef":
		return f.Beta[fixedIndex(t, f, rest)], true
	case "vcov":
		for i, a := range f.XNames {
			for j, bn := range f.XNames {
				if a+"."+bn == rest {
					return f.Cov[i][j], true
				}
			}
		}
		return 0, false
	case "se", "df_satterthwaite", "ci95_lower_satt", "ci95_upper_satt", "lower95_onesided_satt", "p_satt":
		l := make([]float64, f.P)
		l[fixedIndex(t, f, rest)] = 1
		return satterthwaite(t, f, l, kind), true
	case "contrast":
		q, pair, _ := strings.Cut(rest, ".")
		hi, lo, _ := strings.Cut(pair, "-")
		l := make([]float64, f.P)
		for i, g := range b.groups[1:] {
			if g == hi {
				l[i+1]++
			}
			if g == lo {
				l[i+1]--
			}
		}
		kinds := map[string]string{"estimate": "estimate", "se_satt": "se", "df_satt": "df_satterthwaite", "p_satt_raw": "p_satt"}
		if kinds[q] == "" {
			return 0, false
		}
		return satterthwaite(t, f, l, kinds[q]), true
	case "emmean":
		q, group, _ := strings.Cut(rest, ".")
		if q != "estimate" {
			return 0, false
		}
		l := make([]float64, f.P)
		l[0] = 1
		for i, g := range b.groups[1:] {
			if g == group {
				l[i+1] = 1
			}
		}
		return satterthwaite(t, f, l, "estimate"), true
	}
	if name == "cross_time.mean_lower95_band_satt" {
		// First time after the mean at which the lower bound meets the target.
		target, lo, hi := mc.target(t), 4.5, 60.0
		for range 100 {
			mid := (lo + hi) / 2
			if satterthwaite(t, f, []float64{1, mid}, "lower95_onesided_satt") > target {
				lo = mid
			} else {
				hi = mid
			}
		}
		return lo, true
	}
	if kind == "blup" {
		for k, ct := range mc.terms {
			label, ok := strings.CutPrefix(rest, ct.name+".(Intercept).")
			slope := false
			if !ok && ct.slope != "" {
				label, slope = strings.CutPrefix(rest, ct.name+"."+ct.slope+".")
				ok = slope
			}
			if !ok {
				continue
			}
			b0, b1 := f.Effects(k)
			if slope {
				b0 = b1
			}
			for code, l := range b.labels[k] {
				if l == label {
					return b0[code], true
				}
			}
		}
		return 0, false
	}
	if v, ok := anovaAnswer(t, b, name); ok {
		return v, true
	}
	if what, at, ok := strings.Cut(name, "@"); ok {
		x, err := strconv.ParseFloat(at, 64)
		if err != nil {
			t.Fatal(err)
		}
		kinds := map[string]string{"mean": "estimate", "mean_se_satt": "se", "mean_df_satt": "df_satterthwaite",
			"mean_lower95_onesided_satt": "lower95_onesided_satt"}
		if kinds[what] == "" {
			return 0, false
		}
		return satterthwaite(t, f, []float64{1, x}, kinds[what]), true
	}
	return 0, false
}

func satterthwaite(t *testing.T, f *Fit, l []float64, kind string) float64 {
	t.Helper()
	c, err := f.Contrast(l)
	if err != nil {
		t.Fatal(err)
	}
	td := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: c.DF}
	switch kind {
	case "estimate":
		return c.Value
	case "se":
		return c.SE
	case "df_satterthwaite":
		return c.DF
	case "ci95_lower_satt":
		return c.Value - td.Quantile(0.975)*c.SE
	case "ci95_upper_satt":
		return c.Value + td.Quantile(0.975)*c.SE
	case "lower95_onesided_satt":
		return c.Value - td.Quantile(0.95)*c.SE
	case "p_satt":
		return 2 * td.CDF(-math.Abs(c.Value/c.SE))
	}
	t.Fatalf("unknown kind %q", kind)
	return 0
}

// componentIndex finds "FACTOR.(Intercept)", "FACTOR.SLOPE" or "residual".
func (mc mixedCase) componentIndex(name string) int {
	k := 0
	for _, ct := range mc.terms {
		if ct.slope == "" || ct.intercept {
			if name == ct.name+".(Intercept)" {
				return k
			}
			k++
		}
		if ct.slope != "" {
			if name == ct.name+"."+ct.slope {
				return k
			}
			k++
		}
	}
	if name == "residual" {
		return k
	}
	return -1
}

func (mc mixedCase) target(t *testing.T) float64 {
	t.Helper()
	return refcase.Load(t, mc.id).Params["target"].(float64)
}

func fixedIndex(t *testing.T, f *Fit, name string) int {
	t.Helper()
	for i, n := range f.XNames {
		if n == name {
			return i
		}
	}
	t.Fatalf("no fixed effect %q in %v", name, f.XNames)
	return -1
}
