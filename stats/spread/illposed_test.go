package spread

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
)

// Nothing to be said is said in words.
func TestIllPosed(t *testing.T) {
	asked := Settings{Confidence: 0.95, ToleranceDB: 3}
	for _, tt := range []struct {
		name    string
		make    func(c *campaign)
		reason  string
		verdict Verdict
	}{
		{"one closing", func(c *campaign) { c.add(0, 0, 0, nan, nil, 60, 61) }, "one closing", TooFew},
		{"constant", func(c *campaign) {
			for i := range 6 {
				c.add(int32(i/3), int32(i/3), 0, nan, nil, 60, 61)
			}
		}, "alike", Undecided},
		{"all limited", func(c *campaign) {
			for i := range 4 {
				c.add(0, 0, 0, nan, func(int) bool { return true }, 70+float64(i), 72)
			}
		}, "every point is at the receiver's floor", Undecided},
		{"mostly limited", func(c *campaign) {
			for i := range 4 {
				c.add(0, 0, 0, nan, func(p int) bool { return p != 1 && i == p }, 70+float64(i), 72, 71)
			}
		}, "fewer than half", Undecided},
		{"no common point", func(c *campaign) {
			c.add(0, 0, 0, nan, nil, 60, nan)
			c.add(1, 1, 0, nan, nil, nan, 60)
		}, "no point was measured in every fitting", Undecided},
		{"nothing", func(c *campaign) { c.Points, c.Box.Levels, c.Fitting.Levels, c.Session.Levels = 1, 0, 0, 0 }, "", Undecided},
	} {
		t.Run(tt.name, func(t *testing.T) {
			c := &campaign{}
			tt.make(c)
			r := c.spread(t, asked)
			if !strings.Contains(r.Reason, tt.reason) || r.Reason == "" || r.Verdict != tt.verdict {
				t.Errorf("%q, %q", r.Reason, r.Verdict)
			}
			if len(r.Components) > 0 || !math.IsNaN(r.Repeatability.SD) || !math.IsNaN(r.LogLikelihood) {
				t.Errorf("%+v", r)
			}
		})
	}
}

// Points at the floor are left out in every closing, the others stand.
func TestLimitedPointsAreLeftOut(t *testing.T) {
	whole, clear := &campaign{}, &campaign{}
	for i := range 6 {
		x, y := 60+math.Sin(float64(i)), 58+math.Cos(float64(2*i))
		whole.add(0, 0, int32(i/3), nan, func(p int) bool { return p == 1 && i == 4 }, x, 75, y)
		clear.add(0, 0, int32(i/3), nan, nil, x, y)
	}
	a, b := whole.spread(t, usual), clear.spread(t, usual)
	if a.Repeatability.SD != b.Repeatability.SD || a.MeanDB != b.MeanDB {
		t.Errorf("%v %v against %v %v", a.Repeatability.SD, a.MeanDB, b.Repeatability.SD, b.MeanDB)
	}
	if !slices.Equal(a.LimitedPoints, []int32{1}) || !slices.Equal(a.Points, []int32{0, 2}) {
		t.Errorf("left out %v, used %v", a.LimitedPoints, a.Points)
	}
}

// Coarse readings: the closings of each visit read alike. The visits still differ.
func TestClosingsAlike(t *testing.T) {
	c := &campaign{}
	for b, levels := range [][]float64{{60, 62}, {65, 64}, {58, 59}} {
		for s, x := range levels {
			for range 3 {
				c.add(int32(b), int32(b), int32(s), nan, nil, x)
			}
		}
	}
	r := c.spread(t, Settings{Confidence: 0.95, ToleranceDB: 3})
	if got := sources(r); got != "box+fitting session visit closing" {
		t.Fatalf("components %s (%s)", got, r.Reason)
	}
	k := r.Components[3]
	if k.SD != 0 || !math.IsNaN(k.Upper) || r.Repeatability.SD != 0 || r.Verdict != Undecided {
		t.Errorf("%+v, %s", k, r.Verdict)
	}
	one := &campaign{}
	for b, levels := range [][]float64{{60, 62}, {65, 64}, {58, 59}} {
		for s, x := range levels {
			one.add(int32(b), int32(b), int32(s), nan, nil, x)
		}
	}
	w := one.spread(t, usual)
	near(t, "visits", r.Components[2].SD, w.Components[2].SD, 1e-12)
	if !(r.Reproducibility.SD > 0) || !math.IsNaN(r.Reproducibility.Upper) {
		t.Errorf("%+v", r.Reproducibility)
	}
	// Boxes alone differ.
	all := &campaign{}
	for b, x := range []float64{60, 65, 58} {
		for i := range 6 {
			all.add(int32(b), int32(b), int32(i/3), nan, nil, x)
		}
	}
	r = all.spread(t, usual)
	if got := sources(r); !strings.HasSuffix(got, "closing") || r.Components[0].Source != "box+fitting" {
		t.Fatalf("components %s (%s)", got, r.Reason)
	}
	near(t, "boxes", r.Unit.SD, math.Sqrt(13), 1e-9) // SD of 60, 65, 58
}

// Whatever the layout, rounding or ages: no panic, bounds around the figure, shares
// that sum to one, and a reason for what is not defined.
func TestRandomCampaigns(t *testing.T) {
	rng := rand.New(rand.NewPCG(21, 4))
	defined := 0
	for i := range 200 {
		c := &campaign{}
		boxes, sessions := 1+rng.IntN(4), 1+rng.IntN(4)
		step := []float64{0.01, 0.5, 2}[rng.IntN(3)] // of the readings, dB
		for b := range boxes {
			strips := 1 + rng.IntN(2)
			for s := range sessions {
				if rng.IntN(4) == 0 {
					continue
				}
				for range rng.IntN(4) {
					age := float64(s) + 0.5*float64(b)
					if rng.IntN(40) == 0 {
						age = math.NaN()
					}
					x := 60 + step*math.Round((2*float64(b)+rng.NormFloat64())/step)
					c.add(int32(b), int32(2*b+rng.IntN(strips)), int32(s), age, func(int) bool { return rng.IntN(60) == 0 }, x, x+step*float64(rng.IntN(2)))
				}
			}
		}
		if c.Closings == 0 {
			continue
		}
		if rng.IntN(2) == 0 {
			c.AgeYears = nil
		}
		r := c.spread(t, Settings{Confidence: 0.9, ToleranceDB: 3})
		if (r.Reason == "") != (len(r.Components) > 0) || r.Verdict == "" {
			t.Fatalf("campaign %d: %+v", i, r)
		}
		if r.Reason != "" {
			continue
		}
		defined++
		total := 0.0
		for _, k := range r.Components {
			total += k.Share
			if !(k.Variance >= 0 && k.Lower >= 0 && k.Lower <= k.SD*(1+1e-9)) || k.Upper < k.SD*(1-1e-9) {
				t.Errorf("campaign %d: %+v", i, k)
			}
		}
		if math.Abs(total-1) > 1e-9 || math.IsNaN(r.MeanDB) || math.IsNaN(r.LogLikelihood) {
			t.Errorf("campaign %d: shares %v, mean %v, log-likelihood %v", i, total, r.MeanDB, r.LogLikelihood)
		}
		for _, o := range r.Outliers {
			if int(o.Closing) >= c.Closings || !(o.Statistic > o.Critical) || math.IsInf(o.Statistic, 0) {
				t.Errorf("campaign %d: %+v", i, o)
			}
		}
		for _, line := range r.Explain {
			if strings.Contains(line, "NaN") || strings.Contains(line, "Inf") {
				t.Errorf("campaign %d: %s", i, line)
			}
		}
	}
	if defined < 100 {
		t.Errorf("only %d campaigns could be analysed", defined)
	}
}
