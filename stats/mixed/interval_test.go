package mixed

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"

	"sealbound/stats"
)

// Profile intervals of lme4 1.1.31 in R 4.2.2, which profiles the ML criterion
// with the plain chi-square cut: confint(profile(lmer(..., REML = FALSE),
// delta = 0.05)), interpolated there to about 1e-5. SDs, 95 %.
func TestProfilePublished(t *testing.T) {
	cut := distuv.ChiSquared{K: 1}.Quantile(0.95)
	for _, tt := range []struct {
		id   string
		want [][2]float64 // terms, then the residual
	}{
		{"c_dyestuff", [][2]float64{{12.19651167, 84.06341074}, {38.23012331, 67.65767278}}},
		{"c_dyestuff2_boundary", [][2]float64{{0, 2.084047866}, {2.892845043, 4.815830304}}},
		{"c_pastes_nested", [][2]float64{{2.1579309240, 4.053800479}, {0, 2.946597081}, {0.6520228892, 1.085447558}}},
		{"c_penicillin_crossed", [][2]float64{{0.6335652035, 1.1821033296}, {1.0958314788, 3.5563223795}, {0.4858455601, 0.6294534263}}},
	} {
		d, _ := caseDesign(t, tt.id)
		f, err := d.Fit(ML)
		if err != nil {
			t.Fatal(err)
		}
		p, err := f.newProfiler()
		if err != nil {
			t.Fatal(err)
		}
		for i, want := range tt.want {
			k := i
			if i == len(tt.want)-1 {
				k = -1
			}
			got := p.ends(k, cut, cut)
			if !(math.Abs(got.Lower-want[0]) <= 2e-5*(1+want[0])) || !(math.Abs(got.Upper-want[1]) <= 2e-5*(1+want[1])) {
				t.Errorf("%s, %d: %+v; want %v", tt.id, i, got, want)
			}
		}
	}
}

// The residual's interval is the exact one in balanced data: DFWithin MSWithin
// over chi-square quantiles.
func TestResidualInterval(t *testing.T) {
	d, _ := caseDesign(t, "c_rail")
	f, err := d.Fit(REML)
	if err != nil {
		t.Fatal(err)
	}
	a, err := NewOneWay(d.Y, d.Terms[0].Factor)
	if err != nil {
		t.Fatal(err)
	}
	got, err := f.SDIntervals(0.9)
	if err != nil {
		t.Fatal(err)
	}
	chi := distuv.ChiSquared{K: a.DFWithin}
	lower, upper := math.Sqrt(a.SSWithin/chi.Quantile(0.95)), math.Sqrt(a.SSWithin/chi.Quantile(0.05))
	if relDiff(got[1].Lower, lower) > 1e-7 || relDiff(got[1].Upper, upper) > 1e-7 {
		t.Errorf("residual SD %v to %v, want %v to %v", got[1].Lower, got[1].Upper, lower, upper)
	}
	if !(got[0].Lower < f.Components[0].SD && f.Components[0].SD < got[0].Upper) {
		t.Errorf("rail SD %v outside %+v", f.Components[0].SD, got[0])
	}
	for _, c := range []float64{0, 1, math.NaN(), -1} {
		if _, err := f.SDIntervals(c); !errors.Is(err, ErrInput) {
			t.Errorf("confidence %v: %v", c, err)
		}
	}
}

// Intervals of a between-box SD hold the true one often enough, at few boxes
// and at spreads near the boundary. Nominal 0.95; 1500 campaigns each, standard
// error of the share about 0.006.
func TestIntervalCoverage(t *testing.T) {
	for _, c := range []struct {
		boxes, closings int
		ratio           float64
	}{{6, 5, 0.7}, {3, 5, 0.2}, {4, 10, 10}, {10, 3, 0.1}} {
		rng := rand.New(rand.NewPCG(41, uint64(c.boxes)))
		const campaigns = 1500
		var box, closing int
		for range campaigns {
			f := stats.Factor{Name: "box", Levels: c.boxes}
			var y []float64
			for b := range c.boxes {
				e := math.Sqrt(c.ratio) * rng.NormFloat64()
				for range c.closings {
					f.Codes = append(f.Codes, int32(b))
					y = append(y, 60+e+rng.NormFloat64())
				}
			}
			fit, err := Design{Y: y, Terms: []Term{{Factor: f}}}.Fit(REML)
			if err != nil {
				t.Fatal(err)
			}
			in, err := fit.SDIntervals(0.95)
			if err != nil {
				t.Fatal(err)
			}
			if in[0].Reason != "" || in[1].Reason != "" {
				t.Fatalf("no interval: %+v", in)
			}
			if in[0].Lower <= math.Sqrt(c.ratio) && math.Sqrt(c.ratio) <= in[0].Upper {
				box++
			}
			if in[1].Lower <= 1 && 1 <= in[1].Upper {
				closing++
			}
		}
		if box < 0.93*campaigns || closing < 0.93*campaigns {
			t.Errorf("%d boxes, %d closings, ratio %v: covered %v and %v of %v", c.boxes, c.closings, c.ratio, box, closing, campaigns)
		}
		t.Logf("%+v: box %.3f closing %.3f", c, float64(box)/campaigns, float64(closing)/campaigns)
	}
}

// Every component gets an interval around its estimate, slopes and crossed
// levels included; a dropped one starts at 0.
func TestIntervalsContain(t *testing.T) {
	for _, mc := range mixedCases {
		d, _ := caseDesign(t, mc.id)
		f, err := d.Fit(REML)
		if err != nil {
			t.Fatal(err)
		}
		in, err := f.SDIntervals(0.95)
		if err != nil {
			t.Fatal(err)
		}
		for i, c := range f.Components {
			if !(in[i].Lower <= c.SD && c.SD < in[i].Upper) || in[i].Reason != "" || c.Dropped && in[i].Lower != 0 {
				t.Errorf("%s: %s %v in %+v", mc.id, c.Name, c.SD, in[i])
			}
		}
	}
}
