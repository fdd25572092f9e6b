package plan

import (
	"errors"
	"math"
	"slices"
	"strings"
	"testing"

	"sealbound/stats"
	"sealbound/stats/internal/refcase"
	"sealbound/stats/interval"
)

// factor numbers the labels of n values in the order of their first appearance.
func factor(name string, n int, label func(i int) string) stats.Factor {
	f := stats.Factor{Name: name}
	code := map[string]int32{}
	for i := range n {
		k, ok := code[label(i)]
		if !ok {
			k = int32(len(code))
			code[label(i)] = k
		}
		f.Codes = append(f.Codes, k)
	}
	f.Levels = len(code)
	return f
}

// past puts values into boxes, fittings (within the box) and sessions by label.
func past(values []float64, box, fitting, session func(i int) string) Past {
	n := len(values)
	strip := func(i int) string { return box(i) + "/" + fitting(i) }
	return Past{Values: values, Box: factor("box", n, box), Fitting: factor("fitting", n, strip), Session: factor("session", n, session),
		Visit: factor("visit", n, func(i int) string { return strip(i) + "/" + session(i) })}
}

func same(string) func(int) string { return func(int) string { return "x" } }

func of(text []string) func(int) string { return func(i int) string { return text[i] } }

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s = %.10g, want %.10g", what, got, want)
	}
}

// Expected: lme4 1.1.31 (cases c_dyestuff, c_dyestuff2_boundary, c_pastes_nested,
// c_penicillin_crossed, f_sleepstudy_ri). Batches, casks and samples stand for
// boxes, fittings and sessions, days for years.
func TestEstimateReference(t *testing.T) {
	variances := func(s Spread) [5]float64 { return [5]float64{s.Box, s.Fitting, s.Session, s.Visit, s.Closing} }
	check := func(c *refcase.Case, s Spread, names [5]string) {
		t.Helper()
		for i, v := range variances(s) {
			if names[i] == "" {
				if v != 0 {
					t.Errorf("%s: %s has variance %v", c.ID, levelNames[i], v)
				}
				continue
			}
			c.CheckWithin(t, names[i], v, 1e-6, 1e-9)
		}
	}
	c := refcase.Load(t, "c_dyestuff")
	data := c.Columns(t)
	batches := past(data.Float("Yield"), of(data.Text("Batch")), same(""), same(""))
	s := must(batches.Estimate(Known{}))(t)
	check(c, s, [5]string{0: "var.Batch.(Intercept)", 4: "var.residual"})
	c.Check(t, "fixef.(Intercept)", s.MeanDB)
	c.CheckWithin(t, "se.(Intercept)", s.MeanSE, 1e-6, 0)
	if !slices.Equal(s.Unknown, []string{LevelSession}) || s.Sources[0].Name != "box+fitting+visit" || s.Sources[0].CountedAs != LevelBox ||
		s.Sources[0].Units != 6 || s.Sources[1].Units != 30 || !(s.Sources[0].UpperSDDB > s.Sources[0].SDDB) {
		t.Errorf("%+v", s)
	}

	c = refcase.Load(t, "c_dyestuff2_boundary")
	data = c.Columns(t)
	s = must(past(data.Float("Yield"), of(data.Text("Batch")), same(""), same("")).Estimate(Known{}))(t)
	check(c, s, [5]string{0: "var.Batch.(Intercept)", 4: "var.residual"})

	c = refcase.Load(t, "c_pastes_nested")
	data = c.Columns(t)
	s = must(past(data.Float("strength"), of(data.Text("batch")), of(data.Text("cask")), same("")).Estimate(Known{}))(t)
	check(c, s, [5]string{0: "var.batch.(Intercept)", 1: "var.cask:batch.(Intercept)", 4: "var.residual"})

	// One reading of each plate and sample: visit and closing cannot be told apart,
	// and closing again within a visit is not relied on.
	c = refcase.Load(t, "c_penicillin_crossed")
	data = c.Columns(t)
	plates := past(data.Float("diameter"), of(data.Text("plate")), same(""), of(data.Text("sample")))
	s = must(plates.Estimate(Known{}))(t)
	check(c, s, [5]string{0: "var.plate.(Intercept)", 2: "var.sample.(Intercept)", 3: "var.residual"})
	if len(s.Unknown) > 0 {
		t.Errorf("unknown: %q", s.Unknown)
	}
	closing := 0.3
	s = must(plates.Estimate(Known{Closing: &closing}))(t)
	near(t, "closing, known", s.Closing, 0.09, 1e-12)
	near(t, "visit, less what is known", s.Visit, c.Value(t, "var.residual").Want.Float-0.09, 1e-6)

	c = refcase.Load(t, "f_sleepstudy_ri")
	data = c.Columns(t)
	days := past(data.Float("y"), of(data.Text("Subject")), same(""), same(""))
	days.AgeYears, days.AtYears = data.Float("Days"), 9
	s = must(days.Estimate(Known{}))(t)
	check(c, s, [5]string{0: "var.Subject.(Intercept)", 4: "var.residual"})
	c.CheckWithin(t, "fixef.Days", s.SlopeDBPerYear, 1e-6, 0)
	c.CheckWithin(t, "mean@9", s.MeanDB, 1e-6, 0)
	c.CheckWithin(t, "mean_se_satt@9", s.MeanSE, 1e-5, 0)
}

// Three closings of 60, 62, 64 dB of one strip in one session: s = 2 on paper;
// chi-square(0.05; 2) = -2 ln 0.95. Nothing above the closing is known.
func TestEstimateOneVisit(t *testing.T) {
	three := past([]float64{60, 62, 64}, same(""), same(""), same(""))
	s := must(three.Estimate(Known{}))(t)
	near(t, "closing", s.Closing, 4, 1e-12)
	near(t, "mean", s.MeanDB, 62, 1e-12)
	near(t, "its SE", s.MeanSE, 2/math.Sqrt(3), 1e-12)
	near(t, "upper SD", s.Sources[0].UpperSDDB, 2*math.Sqrt(2/(-2*math.Log(0.95))), 1e-9)
	if !slices.Equal(s.Unknown, []string{LevelBox, LevelFitting, LevelSession, LevelVisit}) || !math.IsNaN(s.SlopeDBPerYear) {
		t.Errorf("%+v", s)
	}
	box, session := 1.5, 0.5
	s = must(three.Estimate(Known{Box: &box, Session: &session}))(t)
	if s.Box != 2.25 || s.Session != 0.25 || len(s.Unknown) > 0 {
		t.Errorf("with what is known: %+v", s)
	}
}

// One box with a new strip in every session: what varied from strip to strip and
// from session to session is one, and counts as of sessions, since the plan keeps
// the strip. With several strips in one session it is set aside.
func TestEstimateOneBox(t *testing.T) {
	values := []float64{60, 61, 66, 65, 58, 57, 63, 64}
	strip := func(i int) string { return string(rune('a' + i/2)) }
	s := must(past(values, same(""), strip, strip).Estimate(Known{}))(t)
	if s.Session == 0 || s.Box+s.Fitting+s.Visit != 0 || s.Sources[0].CountedAs != LevelSession {
		t.Errorf("strips by session: %+v", s)
	}
	s = must(past(values, same(""), strip, same("")).Estimate(Known{}))(t)
	if s.Box+s.Fitting+s.Session+s.Visit != 0 || s.Sources[0].CountedAs != "" || s.Closing == 0 {
		t.Errorf("strips in one session: %+v", s)
	}
	// Balanced: REML is the analysis of variance, MS within = 4 x 0.5/4.
	near(t, "closing", s.Closing, 0.5, 1e-9)
	box := 2.0
	s = must(past(values, same(""), strip, same("")).Estimate(Known{Box: &box}))(t)
	if s.Box != 4 || s.Fitting == 0 {
		t.Errorf("box known: %+v", s)
	}
}

// Laws: a shift of all values moves the mean alone, a scale the SDs; the order of
// the rows is nothing.
func TestEstimateLaws(t *testing.T) {
	data := refcase.Load(t, "c_penicillin_crossed").Columns(t)
	y := data.Float("diameter")
	plate, sample := of(data.Text("plate")), of(data.Text("sample"))
	base := must(past(y, plate, same(""), sample).Estimate(Known{}))(t)
	moved := slices.Clone(y)
	for i := range moved {
		moved[i] = 3*y[i] + 100
	}
	got := must(past(moved, plate, same(""), sample).Estimate(Known{}))(t)
	for _, l := range levelNames {
		near(t, l, got.Of(l), 9*base.Of(l), 1e-5)
	}
	near(t, "mean", got.MeanDB, 3*base.MeanDB+100, 1e-8)
	n := len(y)
	back := slices.Clone(y)
	slices.Reverse(back)
	p := past(back, func(i int) string { return plate(n - 1 - i) }, same(""), func(i int) string { return sample(n - 1 - i) })
	reversed := must(p.Estimate(Known{}))(t)
	near(t, "box, rows reversed", reversed.Box, base.Box, 1e-8)
}

func TestEstimateIllPosed(t *testing.T) {
	one := func(values ...float64) Past { return past(values, same(""), same(""), same("")) }
	negative, nan := -1.0, math.NaN()
	for name, tt := range map[string]struct {
		past  Past
		known Known
		want  error
	}{
		"none":     {one(), Known{}, nil},
		"one":      {one(60), Known{}, interval.ErrTooFew},
		"equal":    {one(60, 60, 60), Known{}, interval.ErrDomain},
		"NaN":      {one(60, nan), Known{}, interval.ErrNotFinite},
		"negative": {one(60, 61), Known{Box: &negative}, interval.ErrDomain},
		"NaN SD":   {one(60, 61), Known{Visit: &nan}, interval.ErrNotFinite},
		"codes":    {Past{Values: []float64{1, 2}}, Known{}, interval.ErrDomain},
		"ages": {func() Past { p := one(1, 2); p.AgeYears = []float64{1}; return p }(),
			Known{}, interval.ErrDomain},
	} {
		s, err := tt.past.Estimate(tt.known)
		if err == nil || tt.want != nil && !errors.Is(err, tt.want) {
			t.Errorf("%s: %+v, %v", name, s, err)
		}
	}
	// Closings that read alike within each visit count once.
	s := must(past([]float64{60, 60, 62, 62, 65, 65}, func(i int) string { return string(rune('a' + i/2)) }, same(""), same("")).Estimate(Known{}))(t)
	near(t, "box", s.Box, 19.0/3, 1e-9) // of 60, 62, 65
	if s.Closing != 0 || !strings.HasPrefix(s.Sources[0].Name, LevelBox) {
		t.Errorf("alike: %+v", s)
	}
	strips := past([]float64{60, 60, 62, 62}, same(""), func(i int) string { return string(rune('a' + i/2)) }, same(""))
	if s := must(strips.Estimate(Known{}))(t); s.Closing < 2-1e-9 || s.Sources[0].Name != "fitting+visit+closing" {
		t.Errorf("strips that read alike: what differs is not known to be theirs, so it counts as of closings: %+v", s)
	}
	// An age that is the same for all is no line.
	p := past([]float64{60, 61, 63, 62}, func(i int) string { return string(rune('a' + i/2)) }, same(""), same(""))
	p.AgeYears = []float64{2, 2, 2, 2}
	if s := must(p.Estimate(Known{}))(t); s.Reason == "" || !math.IsNaN(s.SlopeDBPerYear) {
		t.Errorf("same age: %+v", s)
	}
}

// One layout for several cases: each reaches its power, and the cheapest of one
// case alone is never dearer.
func TestCheapestForAll(t *testing.T) {
	aim := Aim{MarginDB: 3, Confidence: 0.95, Power: 0.8}
	cases := []Case{
		{Variances{Box: 4, Session: 0.2, Closing: 2}, aim},
		{Variances{Box: 0.3, Session: 0.2, Closing: 20}, aim},
		{Variances{Box: 1, Session: 1, Closing: 3}, Aim{MarginDB: 2.5, Confidence: 0.95, Power: 0.6}},
	}
	costs := Costs{Closing: 1, Session: 20, Box: 8}
	all, err := CheapestForAll(cases, costs, Limits{})
	if err != nil || len(all) != len(cases) {
		t.Fatalf("%+v, %v", all, err)
	}
	for i, c := range cases {
		if all[i].Layout != all[0].Layout || all[i].Power < c.Power {
			t.Errorf("case %d: %+v", i, all[i])
		}
		if alone := must(Cheapest(c.Variances, c.Aim, costs, Limits{}))(t); alone.Cost > all[i].Cost {
			t.Errorf("case %d alone costs %v, with the others %v", i, alone.Cost, all[i].Cost)
		}
		if o := must(Evaluate(all[i].Layout, c.Variances, c.Aim))(t); o.Power != all[i].Power {
			t.Errorf("case %d: %v, evaluated %v", i, all[i].Power, o.Power)
		}
	}
	if _, err := CheapestForAll(nil, costs, Limits{}); !errors.Is(err, interval.ErrTooFew) {
		t.Errorf("no case: %v", err)
	}
	hopeless := append(slices.Clone(cases), Case{Variances{Box: 900, Closing: 1}, aim})
	if o, err := CheapestForAll(hopeless, costs, Limits{}); !errors.Is(err, ErrOutOfReach) || len(o) != 4 {
		t.Errorf("hopeless: %+v, %v", o, err)
	}
}
