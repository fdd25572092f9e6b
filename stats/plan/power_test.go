package plan

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"sealbound/stats"
	"sealbound/stats/dist"
	"sealbound/stats/interval"
	"sealbound/stats/mixed"
)

// A campaign drawn closing by closing, and judged as such: a mixed model by REML
// on the closings' values, Satterthwaite's degrees of freedom within 1 and units
// - 1, t bound. The power that is planned for must be met within 3 points.
func TestPowerAgainstSimulation(t *testing.T) {
	const runs = 1500 // standard error 1 point at 0.8
	for i, tt := range []struct {
		layout Layout
		v      Variances
		margin float64
	}{
		{Layout{3, 2, 3}, Variances{Box: 1, Session: 0.25, Visit: 0.1, Closing: 4}, 3},
		{Layout{4, 2, 5}, Variances{Box: 1, Fitting: 3, Session: 1, Closing: 1}, 6},
		{Layout{6, 3, 3}, Variances{Box: 0.5, Fitting: 0.5, Session: 1, Visit: 0.5, Closing: 2}, 2.5},
		{Layout{10, 2, 2}, Variances{Box: 2, Session: 0.5, Visit: 0.5, Closing: 2}, 2.5},
		{Layout{2, 5, 4}, Variances{Box: 0.1, Session: 1, Visit: 0.3, Closing: 3}, 5},
		{Layout{4, 4, 1}, Variances{Box: 0.2, Session: 0.2, Closing: 4}, 1.6},
		{Layout{5, 3, 3}, Variances{Box: 1, Visit: 0.5, Closing: 3}, 2},
		{Layout{5, 1, 4}, Variances{Box: 0.2, Closing: 4}, 1.4},
		{Layout{1, 6, 3}, Variances{Session: 0.3, Visit: 0.2, Closing: 3}, 1.2},
		{Layout{1, 3, 4}, Variances{Closing: 3}, 1.5},
	} {
		o := must(Evaluate(tt.layout, tt.v, Aim{MarginDB: tt.margin, Confidence: 0.95, Power: 0.8}))(t)
		draw := rand.New(rand.NewPCG(20240518, uint64(i)))
		cleared := 0
		for range runs {
			if lower(t, tt.layout, drawn(draw, tt.layout, tt.v, tt.margin)) >= 0 {
				cleared++
			}
		}
		got := float64(cleared) / runs
		t.Logf("%+v: planned %.3f, simulated %.3f", tt.layout, o.Power, got)
		if math.Abs(got-o.Power) > 0.03 {
			t.Errorf("%+v %+v: planned %.3f, simulated %.3f", tt.layout, tt.v, o.Power, got)
		}
		if o.Power < 0.3 || o.Power > 0.97 {
			t.Errorf("%+v: power %.3f is too far out to tell anything", tt.layout, o.Power)
		}
	}
}

// drawn returns the values of all closings less the target, box by box, session
// by session.
func drawn(r *rand.Rand, l Layout, v Variances, margin float64) []float64 {
	normal := func(variance float64) float64 { return math.Sqrt(variance) * r.NormFloat64() }
	session := make([]float64, l.Sessions)
	for s := range session {
		session[s] = normal(v.Session)
	}
	var y []float64
	for range l.Boxes {
		box := normal(v.Box) + normal(v.Fitting)
		for s := range l.Sessions {
			visit := normal(v.Visit)
			for range l.Closings {
				y = append(y, margin+box+session[s]+visit+normal(v.Closing))
			}
		}
	}
	return y
}

// lower is the one-sided 0.95 lower bound of the mean.
func lower(t *testing.T, l Layout, y []float64) float64 {
	t.Helper()
	box, session, visit := make([]int32, len(y)), make([]int32, len(y)), make([]int32, len(y))
	for i := range y {
		visit[i] = int32(i / l.Closings)
		box[i], session[i] = visit[i]/int32(l.Sessions), visit[i]%int32(l.Sessions)
	}
	levels := must(mixed.Separate([]stats.Factor{
		{Name: "box", Codes: box, Levels: l.Boxes}, {Name: "session", Codes: session, Levels: l.Sessions},
		{Name: "visit", Codes: visit, Levels: l.Boxes * l.Sessions},
	}, len(y)))(t)
	if len(levels.Terms) == 0 {
		mean, sd, err := interval.MeanSD(y)
		if err != nil {
			t.Fatal(err)
		}
		return must(interval.MeanBounds(len(y), mean, sd, 0.95))(t).Lower
	}
	fit := must(mixed.Design{Y: y, Terms: levels.Terms, Residual: levels.Residual}.Fit(mixed.REML))(t)
	mean := must(fit.Contrast([]float64{1}))(t)
	units := l.Boxes
	if units == 1 {
		units = l.Sessions
	}
	df, _ := fit.SafeDF(mean.DF, units)
	return mean.Value - dist.TQuantile(0.95, df)*mean.SE
}

// The fixed points against mean squares at random: the two differ by less than a
// point.
func TestPowerAgainstRandomMeanSquares(t *testing.T) {
	draw := rand.New(rand.NewPCG(3, 9))
	const n = 20_000 // standard error at most 0.3 points
	normals := func(df float64) float64 {
		sum := 0.0
		for range int(df) {
			z := draw.NormFloat64()
			sum += z * z
		}
		return sum
	}
	for _, l := range []Layout{{2, 2, 2}, {3, 2, 4}, {5, 4, 1}, {7, 1, 3}, {1, 4, 2}, {8, 3, 2}} {
		v := Variances{Box: 0.7, Session: 0.4, Visit: 0.3, Closing: 2}
		if l.Boxes == 1 {
			v.Box = 0
		}
		if l.Sessions == 1 {
			v.Session = 0
		}
		for _, margin := range []float64{1, 2, 4} {
			aim := Aim{MarginDB: margin, Confidence: 0.95, Power: 0.8}
			o := must(Evaluate(l, v, aim))(t)
			m, r, sum := l.strata(v), newRule(v, aim), 0.0
			for range n {
				seen := m
				for _, s := range []struct {
					square *float64
					df     float64
				}{{&seen.box, m.dfBox}, {&seen.session, m.dfSession}, {&seen.visit, m.dfVisit}, {&seen.closing, m.dfIn}} {
					if s.df > 0 {
						*s.square *= normals(s.df) / s.df
					}
				}
				variance, df := seen.analyse()
				sum += dist.NormalCDF((margin - r.quantile(df)*math.Sqrt(variance)) / o.SEDB)
			}
			if got := sum / n; math.Abs(got-o.Power) > 0.01 {
				t.Errorf("%+v, margin %v: %.4f, random %.4f", l, margin, o.Power, got)
			}
		}
	}
}

// The interpolated t quantile against the exact one.
func TestQuantile(t *testing.T) {
	for _, confidence := range []float64{0.8, 0.95, 0.99} {
		r := newRule(Variances{Closing: 1}, Aim{MarginDB: 1, Confidence: confidence, Power: 0.8})
		for df := 1.0; df < 400; df *= 1.0137 {
			if want := dist.TQuantile(confidence, df); math.Abs(r.quantile(df)/want-1) > 1e-4 {
				t.Errorf("t(%v, %v) = %v, want %v", confidence, df, r.quantile(df), want)
			}
		}
		if got := r.quantile(math.NaN()); got != r.quantile(1) {
			t.Errorf("NaN: %v", got)
		}
	}
	// Chi-square quantiles, approximate from 50 df.
	for _, df := range []float64{49, 50, 100, 1000} {
		for _, p := range []float64{0.001, 0.1, 0.5, 0.9, 0.999} {
			if got, want := chiMultiple(p, df), dist.ChiSquareQuantile(p, df)/df; math.Abs(got/want-1) > 5e-3 {
				t.Errorf("chi-square %v at %v: %v, want %v", df, p, got, want)
			}
		}
	}
}

// More of anything never lowers the power where the strata stay the same kind,
// and a wider margin raises it.
func TestPowerGrows(t *testing.T) {
	v := Variances{Box: 1, Session: 0.5, Visit: 0.2, Closing: 2}
	points := map[chiKey][]float64{} // the same for all; saves time
	power := func(l Layout, margin float64) float64 {
		r := newRule(v, Aim{MarginDB: margin, Confidence: 0.95, Power: 0.8})
		r.chi = points
		return must(r.outcome(l))(t).Power
	}
	for i := 3; i < 12; i++ {
		for name, pair := range map[string][2]Layout{
			"boxes":    {{i, 4, 3}, {i + 1, 4, 3}},
			"sessions": {{6, i, 3}, {6, min(i+1, MostSessions), 3}},
		} {
			if a, b := power(pair[0], 1.5), power(pair[1], 1.5); b < a-0.002 {
				t.Errorf("%s: %+v %.4f, %+v %.4f", name, pair[0], a, pair[1], b)
			}
		}
		if a, b := power(Layout{4, 3, 2}, float64(i)/4), power(Layout{4, 3, 2}, float64(i+1)/4); b <= a {
			t.Errorf("margin: %v %v", a, b)
		}
	}
}

func ExampleEvaluate() {
	v := Variances{Box: 2.25, Fitting: 1, Session: 0.5, Visit: 0.25, Closing: 4} // invented
	o, err := Evaluate(Layout{Boxes: 6, Sessions: 3, Closings: 5}, v, Aim{MarginDB: 3, Confidence: 0.95, Power: 0.8})
	if err != nil {
		fmt.Println(err)
		return
	}
	// 3.25/6 + 0.5/3 + 0.25/18 + 4/90 dB^2
	fmt.Printf("standard error %.3f dB, %.1f degrees of freedom\n", o.SEDB, o.DF)
	// Output: standard error 0.876 dB, 5.0 degrees of freedom
}
