package trend

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"sealbound/stats/dist"
	"sealbound/stats/internal/refcase"
	"sealbound/stats/interval"
	"sealbound/stats/linear"
)

// A crossing is where the bound, computed for itself, equals the target; beyond
// it the bound lies below, before it above. Statuses follow from their meaning.
// Fieller: datable exactly where the slope's t exceeds the t of the confidence.
func TestCrossingsMeanWhatTheySay(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 5))
	seen := map[string]int{}
	for range 2000 {
		n := 3 + r.IntN(6)
		x, y, w := make([]float64, n), make([]float64, n), make([]float64, n)
		slope := 1.5 * (r.Float64() - 0.7)
		for i := range x {
			x[i] = 2010 + float64(i)
			y[i] = 60 + slope*float64(i) + r.NormFloat64()
			w[i] = 0.5 + r.Float64()
		}
		l := must(FitLine(x, y, w))(t)
		target, confidence := 50+12*r.Float64(), 0.5+0.49*r.Float64()
		c := must(l.Crossings(target, confidence))(t)
		if c.Datable != (math.Abs(l.T) > dist.TQuantile(confidence, l.DF)) {
			t.Errorf("datable %v with t %v", c.Datable, l.T)
		}
		for name, curve := range map[string]struct {
			Crossing
			at func(float64) float64
		}{
			"fit":   {c.Fit, func(u float64) float64 { return must(l.At(u, confidence))(t).Value }},
			"lower": {c.Lower, func(u float64) float64 { return must(l.At(u, confidence))(t).Lower }},
			"upper": {c.Upper, func(u float64) float64 { return must(l.At(u, confidence))(t).Upper }},
			"next":  {c.Next, func(u float64) float64 { return must(l.NextAt(u, confidence))(t).Lower }},
		} {
			seen[name+" "+curve.Status.String()]++
			switch curve.Status {
			case Crosses:
				away := curve.At - l.MeanTime
				if tol := 1e-9 * (100 + math.Abs(l.Slope*away)); away <= 0 || math.Abs(curve.at(curve.At)-target) > tol ||
					curve.at(l.MeanTime+0.9*away) < target || curve.at(l.MeanTime+1.1*away) > target {
					t.Errorf("%s: crosses %v at %v (mean %v): %v", name, target, curve.At, l.MeanTime, curve.at(curve.At))
				}
			case AlreadyBelow:
				if curve.at(l.MeanTime) > target {
					t.Errorf("%s: already below %v: %v", name, target, curve.at(l.MeanTime))
				}
			case NeverCrosses:
				for _, u := range []float64{0, 1, 10, 1e3, 1e6} {
					if name == "upper" && u < 1e6 { // may dip below; what counts is that it comes back
						continue
					}
					if curve.at(l.MeanTime+u) <= target {
						t.Errorf("%s: below %v after %v", name, target, u)
					}
				}
				if name == "upper" && c.Datable && l.Slope < 0 {
					t.Errorf("upper: never below, though datable")
				}
			}
			if math.IsNaN(curve.At) == (curve.Status == Crosses) {
				t.Errorf("%s: %v at %v", name, curve.Status, curve.At)
			}
		}
		if c.Fit.Status == Crosses && math.Abs(c.Fit.At-c.Intersection) > 1e-9*math.Abs(c.Fit.At) {
			t.Errorf("fit crosses at %v, meets the target at %v", c.Fit.At, c.Intersection)
		}
	}
	for _, name := range []string{"fit", "lower", "upper", "next"} {
		for _, s := range []CrossingStatus{Crosses, AlreadyBelow, NeverCrosses} {
			if seen[name+" "+s.String()] < 20 {
				t.Errorf("%s %v: seen %d times", name, s, seen[name+" "+s.String()])
			}
		}
	}
}

// Values on an exact line, level and falling, and targets at the edge.
func TestCrossingsOfExactLines(t *testing.T) {
	x := []float64{0, 1, 2, 3}
	level := must(FitLine(x, []float64{60, 60, 60, 60}, nil))(t)
	c := must(level.Crossings(50, 0.95))(t)
	if level.SD != 0 || !math.IsNaN(level.T) || !math.IsNaN(level.R2) || c.Fit.Status != NeverCrosses || c.Lower.Status != NeverCrosses ||
		!math.IsInf(c.G, 1) || c.Datable || !math.IsNaN(c.Intersection) {
		t.Errorf("level: %+v %+v", level, c)
	}
	if c := must(level.Crossings(60, 0.95))(t); c.Fit.Status != AlreadyBelow || c.Upper.Status != AlreadyBelow {
		t.Errorf("at the target: %+v", c)
	}
	falling := must(FitLine(x, []float64{60, 59, 58, 57}, nil))(t)
	c = must(falling.Crossings(50, 0.95))(t)
	for name, got := range map[string]Crossing{"fit": c.Fit, "lower": c.Lower, "upper": c.Upper, "next": c.Next} {
		if got.Status != Crosses || math.Abs(got.At-10) > 1e-9 {
			t.Errorf("falling, %s: %+v", name, got)
		}
	}
	if !c.Datable || c.G > 1e-20 {
		t.Errorf("falling: g %v", c.G)
	}
	for _, bad := range []float64{math.NaN(), math.Inf(1)} {
		if _, err := falling.Crossings(bad, 0.95); !errors.Is(err, interval.ErrNotFinite) {
			t.Errorf("target %v: %v", bad, err)
		}
	}
	for _, bad := range []float64{math.NaN(), 0.4, 1, 2} {
		if _, err := falling.Crossings(50, bad); !errors.Is(err, interval.ErrDomain) {
			t.Errorf("confidence %v: %v", bad, err)
		}
	}
	for _, far := range []float64{1e308, -1e308} {
		if _, err := falling.Crossings(far, 0.95); err != nil {
			t.Errorf("target %v: %v", far, err)
		}
	}
}

func TestLineRefuses(t *testing.T) {
	if _, err := FitLine([]float64{1, 2}, []float64{3, 4}, nil); !errors.Is(err, interval.ErrTooFew) {
		t.Errorf("two values: %v", err)
	}
	if _, err := FitLine([]float64{7, 7, 7}, []float64{3, 4, 5}, nil); !errors.Is(err, linear.ErrCollinear) {
		t.Errorf("one time: %v", err)
	}
	if _, err := FitLine([]float64{1, 2, 3}, []float64{3, 4, 5}, []float64{1, 0, 1}); !errors.Is(err, interval.ErrDomain) {
		t.Errorf("weight 0: %v", err)
	}
	if _, err := CompareSlopes(Series{[]float64{1, 1, 1}, []float64{3, 4, 5}}, Series{[]float64{1, 2, 3}, []float64{3, 4, 5}}, 0.95); !errors.Is(err, linear.ErrCollinear) {
		t.Errorf("one time in a series: %v", err)
	}
	if _, err := CompareSlopes(Series{[]float64{1, 2}, []float64{3, 4}}, Series{[]float64{1, 2}, []float64{3, 5}}, 0.95); !errors.Is(err, interval.ErrTooFew) {
		t.Errorf("two and two: %v", err)
	}
}

// Three values at 0.95 leave no rank beyond the ends; the slope itself stands.
func TestTheilSenWithoutBounds(t *testing.T) {
	s := must(TheilSen([]float64{2021, 2022, 2023}, []float64{61, 60.2, 59.5}, 0.95))(t)
	if !near(s.Slope, -0.75, 1e-12) || !math.IsNaN(s.LowerOutward) || !math.IsNaN(s.UpperOutward) {
		t.Errorf("%+v", s)
	}
	if _, err := TheilSen([]float64{1, 1}, []float64{1, 2}, 0.95); !errors.Is(err, interval.ErrDomain) {
		t.Errorf("one time: %v", err)
	}
	for _, c := range []float64{0, 0.4, 1, math.NaN()} {
		if _, err := TheilSen([]float64{1, 2}, []float64{1, 2}, c); !errors.Is(err, interval.ErrDomain) {
			t.Errorf("confidence %v: %v", c, err)
		}
	}
	// One wild value of nine moves the least-squares slope, hardly this one.
	x, y := []float64{0, 1, 2, 3, 4, 5, 6, 7, 8}, []float64{60, 59.5, 59, 58.5, 58, 57.5, 57, 56.5, 90}
	if s := must(TheilSen(x, y, 0.95))(t); s.Slope != -0.5 {
		t.Errorf("slope %v with a wild value", s.Slope)
	}
}

// The largest step between consecutive groups of PlantGrowth (ctrl, trt1, trt2
// as times 1, 2, 3): R 4.2.2, pairwise.t.test with pooled SD; two steps, so twice
// the unadjusted p.
func TestLargestStepReference(t *testing.T) {
	c := refcase.Load(t, "e_plantgrowth")
	cols := c.Columns(t)
	codes, labels := cols.Codes("group")
	y := cols.Float("y")
	if len(labels) != 3 || labels[0] != "ctrl" || labels[2] != "trt2" {
		t.Fatalf("groups %v", labels)
	}
	x := make([]float64, len(y))
	for i, g := range codes {
		x[i] = float64(g + 1)
	}
	s := must(LargestStep(x, y))(t)
	if s.Before != 2 || s.After != 3 || s.Steps != 2 {
		t.Errorf("%+v", s)
	}
	c.Check(t, "anova.df_error", s.DF)
	c.Check(t, "tukey.diff.trt2-trt1", s.ShiftDB)
	c.Check(t, "pairwise_t_pooled.none.trt2-trt1", s.P/2)
	// The t that gives that p: diff/sqrt(mse*(1/10 + 1/10)).
	want := c.Value(t, "tukey.diff.trt2-trt1").Want.Float / math.Sqrt(c.Value(t, "anova.mse").Want.Float/5)
	if !near(s.T, want, 1e-9) {
		t.Errorf("t %v, want %v", s.T, want)
	}
}

func TestLargestStepWithoutRepeats(t *testing.T) {
	s := must(LargestStep([]float64{2023, 2021, 2022}, []float64{55, 60, 60.5}))(t)
	if s.Before != 2022 || s.After != 2023 || s.ShiftDB != -5.5 || s.DF != 0 || !math.IsNaN(s.T) || !math.IsNaN(s.P) {
		t.Errorf("%+v", s)
	}
	if _, err := LargestStep([]float64{1, 1}, []float64{2, 3}); !errors.Is(err, interval.ErrTooFew) {
		t.Errorf("one time: %v", err)
	}
	equal := must(LargestStep([]float64{1, 1, 2, 2}, []float64{3, 3, 5, 5}))(t)
	if equal.ShiftDB != 2 || !math.IsNaN(equal.T) {
		t.Errorf("%+v", equal)
	}
}
