package plan

import (
	"errors"
	"math"
	"testing"

	"sealbound/stats/internal/refcase"
	"sealbound/stats/interval"
)

func must[T any](v T, err error) func(*testing.T) T {
	return func(t *testing.T) T {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
}

// Sample sizes of the one-sided one-sample t test: R 4.2.2, see the case.
func TestClosingsReference(t *testing.T) {
	rows := 0
	refcase.Load(t, "b_sample_size_onesample_onesided").EachRow(t, func(r refcase.Row) {
		rows++
		effect := r.Float("delta_over_sd")
		c := must(Closings(1.7, Aim{MarginDB: 1.7 * effect, Confidence: 1 - r.Float("alpha"), Power: r.Float("power")}))(t)
		r.Check(t, "n", float64(c.Closings))
		r.Check(t, "power_at_n", c.Power)
	})
	if rows < 30 {
		t.Errorf("%d rows", rows)
	}
}

// Power of the same test, as that of a layout of n closings of one box in one
// session, or of n boxes, or n sessions, with one closing each.
func TestEvaluateOneStratumReference(t *testing.T) {
	checked := 0
	refcase.Load(t, "b_power_onesample_onesided").EachRow(t, func(r refcase.Row) {
		n, sd := int(r.Float("n")), 2.5
		aim := Aim{MarginDB: sd * r.Float("delta_over_sd"), Confidence: 1 - r.Float("alpha"), Power: 0.8}
		for _, tt := range []struct {
			layout Layout
			v      Variances
		}{
			{Layout{1, 1, n}, Variances{Closing: sd * sd}},
			{Layout{n, 1, 1}, Variances{Box: 1, Fitting: 2, Visit: 0.25, Closing: 3}},
			{Layout{1, n, 1}, Variances{Session: 1, Visit: 3, Closing: 2.25}},
		} {
			if tt.layout.check() != nil {
				continue
			}
			checked++
			o := must(Evaluate(tt.layout, tt.v, aim))(t)
			r.Check(t, "power", o.Power)
			if o.DF != float64(n-1) || math.Abs(o.SEDB-sd/math.Sqrt(float64(n))) > 1e-12 {
				t.Errorf("%+v: df %v se %v", tt.layout, o.DF, o.SEDB)
			}
		}
	})
	if checked < 150 {
		t.Errorf("%d checked", checked)
	}
}

// Zero-failure counts: R 4.2.2, see the case; and from the same source, coverage
// by confidence, with 0 and with 1 failure.
func TestFailuresReference(t *testing.T) {
	refcase.Load(t, "b_zero_failure_n").EachRow(t, func(r refcase.Row) {
		p := must(Failures(r.Float("reliability"), r.Float("conf"), 0))(t)
		r.Check(t, "n", float64(p[0].Closings))
	})
	// n = ceil(ln(1-C)/ln P), and the smallest n whose binomial tail is small
	// enough for one failure: R 4.2.2 from the exact distribution.
	for _, tt := range []struct {
		confidence, coverage float64
		failures, want       int
	}{
		{0.90, 0.90, 0, 22}, {0.95, 0.90, 0, 29}, {0.95, 0.95, 0, 59}, {0.90, 0.95, 0, 45}, {0.99, 0.95, 0, 90}, {0.95, 0.99, 0, 299},
		{0.95, 0.95, 1, 93}, {0.95, 0.90, 1, 46}, {0.90, 0.90, 1, 38},
	} {
		p := must(Failures(tt.coverage, tt.confidence, 3))(t)
		if p[tt.failures].Closings != tt.want || p[tt.failures].Failures != tt.failures {
			t.Errorf("%v/%v with %d failures: %+v, want %d", tt.confidence, tt.coverage, tt.failures, p[tt.failures], tt.want)
		}
		for k, plan := range p {
			if plan.Attained < tt.confidence-1e-9 {
				t.Errorf("%+v attains less than %v", plan, tt.confidence)
			}
			if k > 0 && plan.Closings <= p[k-1].Closings {
				t.Errorf("%+v after %+v", plan, p[k-1])
			}
		}
	}
}

// Standard error and Satterthwaite's degrees of freedom of a balanced mean, from
// lme4 and lmerTest on R 4.2.2: Dyestuff is 6 boxes of 5 closings in one session,
// Penicillin 24 boxes crossed with 6 sessions, one closing each.
func TestEvaluateLevelsReference(t *testing.T) {
	dye, pen := refcase.Load(t, "c_dyestuff"), refcase.Load(t, "c_penicillin_crossed")
	value := func(c *refcase.Case, name string) float64 { return c.Value(t, name).Want.Float }
	aim := Aim{MarginDB: 1, Confidence: 0.95, Power: 0.8}
	for _, tt := range []struct {
		c      *refcase.Case
		layout Layout
		v      Variances
	}{
		{dye, Layout{6, 1, 5}, Variances{Box: value(dye, "var.Batch.(Intercept)"), Closing: value(dye, "var.residual")}},
		{pen, Layout{24, 6, 1}, Variances{Fitting: value(pen, "var.plate.(Intercept)"), Session: value(pen, "var.sample.(Intercept)"), Closing: value(pen, "var.residual")}},
	} {
		o := must(Evaluate(tt.layout, tt.v, aim))(t)
		tt.c.Check(t, "se.(Intercept)", o.SEDB)
		tt.c.Check(t, "df_satterthwaite.(Intercept)", o.DF)
	}
}

func TestHeadroom(t *testing.T) {
	// -30 dBm open over a floor of -108 dBm, 6 dB above it: 72 dB by subtraction.
	r := must(Headroom(-30, -108, 6, 50, 80, 72, 75))(t)
	if r.HeadroomDB != 72 || len(r.OutOfReach) != 2 || r.OutOfReach[0] != 80 || r.OutOfReach[1] != 75 || r.MissingDB != 8 {
		t.Errorf("%+v", r)
	}
	if r := must(Headroom(-30, -108, 6))(t); r.OutOfReach != nil || r.MissingDB != 0 {
		t.Errorf("%+v", r)
	}
	for _, bad := range [][3]float64{{math.NaN(), 0, 0}, {0, math.Inf(1), 0}, {0, 0, -1}, {1e308, -1e308, 0}} {
		if r, err := Headroom(bad[0], bad[1], bad[2]); err == nil {
			t.Errorf("%v: %+v", bad, r)
		}
	}
	if _, err := Headroom(0, -100, 6, math.NaN()); !errors.Is(err, interval.ErrNotFinite) {
		t.Errorf("target NaN: %v", err)
	}
}

func TestRefuses(t *testing.T) {
	good := Aim{MarginDB: 2, Confidence: 0.95, Power: 0.8}
	nan := math.NaN()
	for name, aim := range map[string]Aim{
		"margin 0": {0, 0.95, 0.8}, "margin below": {-1, 0.95, 0.8}, "margin NaN": {nan, 0.95, 0.8}, "margin Inf": {math.Inf(1), 0.95, 0.8},
		"confidence": {2, 1, 0.8}, "confidence NaN": {2, nan, 0.8}, "power 0": {2, 0.95, 0}, "power": {2, 0.95, 1}, "power NaN": {2, 0.95, nan},
	} {
		if c, err := Closings(1, aim); err == nil {
			t.Errorf("Closings, %s: %+v", name, c)
		}
		if o, err := Evaluate(Layout{3, 3, 3}, Variances{Box: 1}, aim); err == nil {
			t.Errorf("Evaluate, %s: %+v", name, o)
		}
		if o, err := Cheapest(Variances{Box: 1}, aim, Costs{}, Limits{}); err == nil {
			t.Errorf("Cheapest, %s: %+v", name, o)
		}
	}
	for _, sd := range []float64{0, -1, nan, math.Inf(1)} {
		if c, err := Closings(sd, good); err == nil {
			t.Errorf("Closings, sd %v: %+v", sd, c)
		}
	}
	if c, err := Closings(1000, good); !errors.Is(err, ErrOutOfReach) || c.Closings != MostClosings || !(c.Power > 0.05 && c.Power < 0.2) {
		t.Errorf("far from the target: %+v, %v", c, err)
	}
	for _, sd := range []float64{1e-300, 1e-9, 1e-3} {
		if c := must(Closings(sd, good))(t); c.Closings != 2 || c.Power != 1 {
			t.Errorf("sd %v: %+v", sd, c)
		}
	}
	if c, err := Closings(1e300, Aim{1e-300, 0.95, 0.8}); !errors.Is(err, ErrOutOfReach) {
		t.Errorf("no effect: %+v, %v", c, err)
	}
	for name, v := range map[string]Variances{
		"none": {}, "negative": {Box: 1, Closing: -1}, "NaN": {Visit: nan}, "Inf": {Session: math.Inf(1)}, "sum": {Box: 1.7e308, Visit: 1.7e308},
		"huge": {Box: 1e308},
	} {
		if o, err := Evaluate(Layout{3, 3, 3}, v, good); err == nil {
			t.Errorf("variance %s: %+v", name, o)
		}
	}
	for _, l := range []Layout{{}, {1, 1, 1}, {-1, 2, 2}, {41, 2, 2}, {2, 13, 2}, {2, 2, 31}, {1, 4, 4}, {4, 1, 4}} {
		if o, err := Evaluate(l, Variances{Box: 1, Session: 1, Closing: 1}, good); !errors.Is(err, interval.ErrDomain) {
			t.Errorf("%+v: %+v %v", l, o, err)
		}
	}
	if _, err := Evaluate(Layout{1, 1, 4}, Variances{Visit: 1, Closing: 1}, good); !errors.Is(err, interval.ErrDomain) {
		t.Errorf("one visit: %v", err)
	}
	for _, k := range []int{-1, MostFailures + 1} {
		if _, err := Failures(0.9, 0.95, k); !errors.Is(err, interval.ErrDomain) {
			t.Errorf("%d failures: %v", k, err)
		}
	}
	for _, p := range []float64{0, 1, nan} {
		if _, err := Failures(p, 0.95, 1); !errors.Is(err, interval.ErrDomain) {
			t.Errorf("coverage %v: %v", p, err)
		}
	}
}
