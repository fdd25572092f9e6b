package mixed

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"sealbound/stats"
	"sealbound/stats/internal/refcase"
)

// caseDesign builds the design of a reference case by its id.
func caseDesign(t testing.TB, id string) (Design, *refcase.Case) {
	t.Helper()
	for _, mc := range mixedCases {
		if mc.id == id {
			c := refcase.Load(t, id)
			tt, ok := t.(*testing.T)
			if !ok {
				tt = &testing.T{}
			}
			return mc.build(tt, c).design, c
		}
	}
	t.Fatalf("no case %s", id)
	return Design{}, nil
}

// Expected: MixedModels.jl 2228a9a, test/pls.jl, test set "Dyestuff": the
// criterion at a fixed theta and at the ML optimum; REML at the closed form of
// balanced data, from the mean squares of R 4.2.2's aov.
func TestCriterionPublished(t *testing.T) {
	d, _ := caseDesign(t, "c_dyestuff")
	for _, tt := range []struct {
		theta, want float64
		by          Method
	}{
		{0.713, 327.34216280954615, ML},
		{0.7525806540074477, 327.32705988112673, ML},
		{math.Sqrt((11271.50/2451.25 - 1) / 5), 319.6542768422576, REML},
	} {
		got, err := d.Criterion([]float64{tt.theta}, tt.by)
		if err != nil || math.Abs(got-tt.want) > 1e-9 {
			t.Errorf("Criterion(%v, %v) = %.12f, %v; want %.12f", tt.theta, tt.by, got, err, tt.want)
		}
	}
	f, err := d.Fit(ML)
	if err != nil {
		t.Fatal(err)
	}
	if got := math.Sqrt(f.Components[0].Variance / f.Components[1].Variance); math.Abs(got-0.7525806540074477) > 1e-6 {
		t.Errorf("ML theta = %v, want 0.75258065", got)
	}
	if got := -2 * f.LogLikML; math.Abs(got-327.32705988112673) > 1e-9 {
		t.Errorf("ML criterion = %.12f", got)
	}
}

// Expected: lme4 1.1.31 in R 4.2.2, its deviance function at a fixed theta, by
// testdata/lme4_criterion.R.
func TestCriterionLme4(t *testing.T) {
	for _, tt := range []struct {
		id       string
		theta    []float64
		reml, ml float64
	}{
		{"c_pastes_nested", []float64{2.5, 1.25}, 249.872116603274, 250.705382380886},
		{"c_penicillin_crossed", []float64{1.5, 3}, 331.132116055448, 332.261704377011},
		{"c_sleepstudy_slope", []float64{0.9, 0.02, 0.25}, 1743.872073078094, 1752.260148255094},
		{"c_sleepstudy_uncorrelated", []float64{1, 0.25}, 1743.766785109111, 1752.260736990907},
		{"e_machines_block", []float64{4, 5}, 216.775423728901, 227.180427000698}, // lme4 sorts the larger factor first
		{"c_dyestuff2_boundary", []float64{0}, 161.828277812288, 162.873036653826},
	} {
		d, _ := caseDesign(t, tt.id)
		for m, want := range map[Method]float64{REML: tt.reml, ML: tt.ml} {
			if got, err := d.Criterion(tt.theta, m); err != nil || math.Abs(got-want) > 1e-9 {
				t.Errorf("%s: %v criterion = %.12f, %v; want %.12f", tt.id, m, got, err, want)
			}
		}
	}
}

// A component at the boundary is exactly 0, dropped and named; the fit is that
// of the model without it. Variance and degrees of freedom: lme4 and lmerTest
// on Dyestuff2, where the moment estimate is negative.
func TestBoundary(t *testing.T) {
	d, c := caseDesign(t, "c_dyestuff2_boundary")
	f, err := d.Fit(REML)
	if err != nil {
		t.Fatal(err)
	}
	batch := f.Components[0]
	if batch.Variance != 0 || batch.SD != 0 || !batch.Dropped || !slices.Equal(f.Dropped, []string{"Batch"}) {
		t.Errorf("component %+v, dropped %v; want exactly 0, dropped", batch, f.Dropped)
	}
	if len(f.Warnings) != 1 || f.Warnings[0].Code != "component-at-zero" {
		t.Errorf("warnings %v", f.Warnings)
	}
	plain := Design{Y: d.Y, X: d.X}
	g, err := plain.Fit(REML)
	if err != nil {
		t.Fatal(err)
	}
	if f.LogLikREML != g.LogLikREML || f.Beta[0] != g.Beta[0] || f.Cov[0][0] != g.Cov[0][0] {
		t.Error("the refit differs from the model without the component")
	}
	mean, err := f.Contrast([]float64{1})
	if err != nil {
		t.Fatal(err)
	}
	c.Check(t, "df_satterthwaite.(Intercept)", mean.DF)
	// The rule: never more than the boxes allow.
	if df, _ := f.SafeDF(mean.DF, 6); df != 5 {
		t.Errorf("SafeDF = %v, want 5", df)
	}
	for _, b := range first(f.Effects(0)) {
		if b != 0 {
			t.Errorf("effect %v of a dropped component", b)
		}
	}
}

func first(a, _ []float64) []float64 { return a }

// One level: exactly the t interval of a single sample.
func TestNoTerms(t *testing.T) {
	y := []float64{61.2, 63.9, 60.4, 62.2, 65.0}
	f, err := Design{Y: y}.Fit(REML)
	if err != nil {
		t.Fatal(err)
	}
	mean, ss := moments(y)
	c, err := f.Contrast([]float64{1})
	if err != nil {
		t.Fatal(err)
	}
	s := math.Sqrt(ss / 4)
	if relDiff(c.Value, mean) > 1e-14 || relDiff(c.SE, s/math.Sqrt(5)) > 1e-14 || relDiff(c.DF, 4) > 1e-12 {
		t.Errorf("mean %v ± %v, df %v; want %v ± %v, 4", c.Value, c.SE, c.DF, mean, s/math.Sqrt(5))
	}
	v, df, ok := f.VarianceOf([]float64{1}, []float64{1})
	if !ok || relDiff(v, s*s*1.2) > 1e-14 || relDiff(df, 4) > 1e-12 {
		t.Errorf("VarianceOf = %v, %v, %v; want %v on 4", v, df, ok, s*s*1.2)
	}
}

func relDiff(a, b float64) float64 {
	if a == b {
		return 0
	}
	return math.Abs(a-b) / math.Max(math.Abs(a), math.Abs(b))
}

// In balanced one-way data the variance of the next value in a new group about
// the mean is MSB (1/n + 1/N) + MSW (1 - 1/n), with Satterthwaite's df of that
// sum of independent mean squares: closed form, by hand.
func TestVarianceOfBalanced(t *testing.T) {
	for _, id := range []string{"c_dyestuff", "c_rail"} {
		d, _ := caseDesign(t, id)
		f, err := d.Fit(REML)
		if err != nil {
			t.Fatal(err)
		}
		a, err := NewOneWay(d.Y, d.Terms[0].Factor)
		if err != nil {
			t.Fatal(err)
		}
		n, total := a.N0, float64(a.N)
		parts := [2]float64{a.MSBetween * (1/n + 1/total), a.MSWithin * (1 - 1/n)}
		want := parts[0] + parts[1]
		wantDF := want * want / (parts[0]*parts[0]/a.DFBetween + parts[1]*parts[1]/a.DFWithin)
		v, df, ok := f.VarianceOf([]float64{1, 1}, []float64{1})
		if !ok || relDiff(v, want) > 1e-9 || relDiff(df, wantDF) > 1e-8 {
			t.Errorf("%s: VarianceOf = %v on %v, %v; want %v on %v", id, v, df, ok, want, wantDF)
		}
		// The residual alone has the df of the within mean square.
		v, df, ok = f.VarianceOf([]float64{0, 1}, nil)
		if !ok || relDiff(v, a.MSWithin) > 1e-9 || relDiff(df, a.DFWithin) > 1e-8 {
			t.Errorf("%s: residual %v on %v; want %v on %v", id, v, df, a.MSWithin, a.DFWithin)
		}
	}
}

// sameFit compares two fits by their numbers, relative to tol.
func sameFit(t *testing.T, what string, a, b *Fit, shift, scale, tol float64) {
	t.Helper()
	near := func(name string, got, want float64) {
		if math.Abs(got-want) > tol*(1+math.Abs(want)) {
			t.Errorf("%s: %s = %.15g, want %.15g", what, name, got, want)
		}
	}
	for i := range a.Components {
		near(a.Components[i].Name, b.Components[i].Variance, scale*scale*a.Components[i].Variance)
		if a.Components[i].Dropped != b.Components[i].Dropped {
			t.Errorf("%s: %s dropped %v, want %v", what, a.Components[i].Name, b.Components[i].Dropped, a.Components[i].Dropped)
		}
	}
	for i := range a.Beta {
		want := scale * a.Beta[i]
		if a.XNames[i] == "(Intercept)" {
			want += shift
		}
		near(a.XNames[i], b.Beta[i], want)
		l := make([]float64, a.P)
		l[i] = 1
		ca, _ := a.Contrast(l)
		cb, _ := b.Contrast(l)
		near("se", cb.SE, scale*ca.SE)
		near("df", cb.DF, ca.DF)
	}
	near("log-likelihood", b.LogLikREML, a.LogLikREML-float64(a.N-a.P)*math.Log(scale))
}

// Laws every case must keep: a shift of all values moves the intercept alone, a
// change of unit scales, the order of rows changes nothing to the bit, and the
// numbering of levels nothing beyond rounding.
func TestLaws(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	for _, mc := range mixedCases {
		c := refcase.Load(t, mc.id)
		d := mc.build(t, c).design
		f, err := d.Fit(REML)
		if err != nil {
			t.Fatal(err)
		}
		with := func(change func(y float64) float64) *Fit {
			e := d
			e.Y = make([]float64, len(d.Y))
			for i, y := range d.Y {
				e.Y[i] = change(y)
			}
			g, err := e.Fit(REML)
			if err != nil {
				t.Fatal(err)
			}
			return g
		}
		sameFit(t, mc.id+" shifted", f, with(func(y float64) float64 { return y + 7 }), 7, 1, 1e-8)
		sameFit(t, mc.id+" halved", f, with(func(y float64) float64 { return y / 2 }), 0, 0.5, 1e-9)

		order := rng.Perm(len(d.Y))
		g, err := permuted(d, order).Fit(REML)
		if err != nil {
			t.Fatal(err)
		}
		if !slices.Equal(f.Beta, g.Beta) || !slices.Equal(f.Components, g.Components) || f.LogLikREML != g.LogLikREML || !slices.Equal(f.information, g.information) {
			t.Errorf("%s: another order of rows changes the result", mc.id)
		}
		for k := range d.Terms {
			a0, a1 := f.Effects(k)
			b0, b1 := g.Effects(k)
			if !slices.Equal(a0, b0) || !slices.Equal(a1, b1) {
				t.Errorf("%s: another order of rows changes the effects", mc.id)
			}
		}

		relabelled := d
		relabelled.Terms = slices.Clone(d.Terms)
		for k, term := range d.Terms {
			to := rng.Perm(term.Factor.Levels + 3) // some levels unused
			codes := make([]int32, len(d.Y))
			for i, c := range term.Factor.Codes {
				codes[i] = int32(to[c])
			}
			relabelled.Terms[k].Factor = stats.Factor{Name: term.Factor.Name, Codes: codes, Levels: len(to)}
		}
		g, err = relabelled.Fit(REML)
		if err != nil {
			t.Fatal(err)
		}
		sameFit(t, mc.id+" relabelled", f, g, 0, 1, 1e-8)
	}
}

func permuted(d Design, order []int) Design {
	e := d
	pick := func(v []float64) []float64 {
		if v == nil {
			return nil
		}
		out := make([]float64, len(order))
		for i, o := range order {
			out[i] = v[o]
		}
		return out
	}
	e.Y = pick(d.Y)
	e.X = nil
	for _, x := range d.X {
		e.X = append(e.X, pick(x))
	}
	e.Terms = slices.Clone(d.Terms)
	for k := range e.Terms {
		codes := make([]int32, len(order))
		for i, o := range order {
			codes[i] = d.Terms[k].Factor.Codes[o]
		}
		e.Terms[k].Factor.Codes = codes
		e.Terms[k].Slope = pick(d.Terms[k].Slope)
	}
	return e
}
