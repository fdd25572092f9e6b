package mixed

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"sealbound/stats"
)

func factor(name string, codes ...int32) stats.Factor {
	f := stats.Factor{Name: name, Codes: codes}
	for _, c := range codes {
		f.Levels = max(f.Levels, int(c)+1)
	}
	return f
}

// Designs without an answer get the error that names the reason.
func TestRefused(t *testing.T) {
	nan := math.NaN()
	one := []float64{1, 1, 1, 1}
	for _, tt := range []struct {
		name string
		d    Design
		want error
	}{
		{"no values", Design{}, ErrTooFew},
		{"one value", Design{Y: []float64{60}}, ErrTooFew},
		{"two values, two effects", Design{Y: []float64{60, 61}, X: [][]float64{{1, 1}, {0, 1}}}, ErrTooFew},
		{"constant", Design{Y: []float64{60.1, 60.1, 60.1, 60.1}, Terms: []Term{{Factor: factor("box", 0, 0, 1, 1)}}}, ErrConstant},
		{"fitted exactly", Design{Y: []float64{60, 61, 62, 63}, X: [][]float64{one, {0, 1, 2, 3}}}, ErrConstant},
		{"collinear", Design{Y: []float64{60, 61, 65, 63}, X: [][]float64{one, {2, 2, 2, 2}}}, ErrRank},
		{"zero column", Design{Y: []float64{60, 61, 65, 63}, X: [][]float64{one, {0, 0, 0, 0}}}, ErrRank},
		{"no columns", Design{Y: []float64{60, 61, 65}, X: [][]float64{}}, ErrInput},
		{"ragged", Design{Y: []float64{60, 61, 65}, X: [][]float64{{1, 1}}}, ErrInput},
		{"not a number", Design{Y: []float64{60, nan, 65}}, ErrInput},
		{"infinite", Design{Y: []float64{60, math.Inf(1), 65}}, ErrInput},
		{"code out of range", Design{Y: []float64{60, 61, 65}, Terms: []Term{{Factor: stats.Factor{Name: "box", Codes: []int32{0, 1, 2}, Levels: 2}}}}, ErrInput},
		{"codes missing", Design{Y: []float64{60, 61, 65}, Terms: []Term{{Factor: stats.Factor{Name: "box", Codes: []int32{0}, Levels: 2}}}}, ErrInput},
		{"slope missing rows", Design{Y: []float64{60, 61, 65}, Terms: []Term{{Factor: factor("box", 0, 0, 1), Slope: []float64{1}}}}, ErrInput},
		{"one value per box", Design{Y: []float64{60, 61, 65}, Terms: []Term{{Factor: factor("box", 0, 1, 2)}}}, ErrAliased},
		{"one box", Design{Y: []float64{60, 61, 65}, Terms: []Term{{Factor: factor("box", 0, 0, 0)}}}, ErrAliased},
		{"same partition twice", Design{Y: []float64{60, 61, 65, 66}, Terms: []Term{{Factor: factor("box", 0, 0, 1, 1)}, {Factor: factor("fitting", 1, 1, 0, 0)}}}, ErrAliased},
		{"box fixed and random", Design{Y: []float64{60, 61, 65, 66}, X: [][]float64{one, {0, 0, 1, 1}}, Terms: []Term{{Factor: factor("box", 0, 0, 1, 1)}}}, ErrAliased},
		{"n = 2", Design{Y: []float64{60, 61}, Terms: []Term{{Factor: factor("box", 0, 1)}}}, ErrAliased},
		{"equal within boxes", Design{Y: []float64{60, 60, 65, 65, 61, 61}, Terms: []Term{{Factor: factor("box", 0, 0, 1, 1, 2, 2)}}}, ErrNoResidual},
	} {
		if f, err := tt.d.Fit(REML); !errors.Is(err, tt.want) {
			t.Errorf("%s: %v, %v; want %v", tt.name, f, err, tt.want)
		}
	}
	// Thousands of sessions crossed with thousands of boxes do not fit.
	const n = 14000
	large := Design{Y: make([]float64, n), Terms: []Term{
		{Factor: stats.Factor{Name: "box", Codes: make([]int32, n), Levels: n / 2}}, {Factor: stats.Factor{Name: "session", Codes: make([]int32, n), Levels: n / 2}}}}
	for i := range large.Y {
		large.Y[i] = float64(i % 7)
		large.Terms[0].Factor.Codes[i], large.Terms[1].Factor.Codes[i] = int32(i/2), int32((i+1)/2%(n/2))
	}
	if _, err := large.Fit(REML); !errors.Is(err, ErrTooLarge) {
		t.Errorf("%d crossed sessions: %v", n/2, err)
	}
	if _, err := (Design{Y: []float64{1, 2, 4}}).Criterion(nil, Method(7)); !errors.Is(err, ErrInput) {
		t.Errorf("criterion by an unknown method: %v", err)
	}
	if _, err := (Design{Y: []float64{1, math.NaN(), 4}}).Criterion(nil, REML); !errors.Is(err, ErrInput) {
		t.Errorf("criterion of NaN: %v", err)
	}
	if _, err := (Design{Y: []float64{1, 2, 4}}).Fit(Method(7)); !errors.Is(err, ErrInput) {
		t.Errorf("unknown method: %v", err)
	}
	if _, err := (Design{Y: []float64{1, 2, 4}}).Criterion([]float64{1}, REML); !errors.Is(err, ErrInput) {
		t.Errorf("too many factors: %v", err)
	}
	f, err := Design{Y: []float64{1, 2, 4}}.Fit(REML)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := f.Contrast([]float64{1, 1}); !errors.Is(err, ErrInput) {
		t.Errorf("contrast of wrong length: %v", err)
	}
	if _, _, ok := f.VarianceOf([]float64{1, 1}, nil); ok {
		t.Error("weights of wrong length accepted")
	}
}

// Small random designs, many of them ill-posed, give finite numbers or a named
// error, and never panic. What they give is a minimum of the dense criterion.
func TestSmallDesigns(t *testing.T) {
	named := []error{ErrInput, ErrTooFew, ErrConstant, ErrRank, ErrAliased, ErrNoResidual, ErrTooLarge}
	fitted := 0
	for i := range 1500 {
		rng := rand.New(rand.NewPCG(7, uint64(i)))
		n := 1 + rng.IntN(14)
		if i%10 == 0 {
			n = 20 + rng.IntN(30)
		}
		d := randomDesign(rng, n)
		if rng.IntN(4) == 0 {
			for i := range d.Y {
				d.Y[i] = math.Round(d.Y[i] / 4)
			}
		}
		f, err := d.Fit(REML)
		if err != nil {
			// Correlated slopes in a handful of values can leave no minimum to find.
			hopeless := errors.Is(err, ErrNotConverged) && slices.ContainsFunc(d.Terms, Term.correlated)
			if !hopeless && !slices.ContainsFunc(named, func(e error) bool { return errors.Is(err, e) }) {
				t.Errorf("design %d (%v): %v", i, termNames(d), err)
			}
			continue
		}
		fitted++
		for _, c := range f.Components {
			if !(c.Variance >= 0) || math.IsInf(c.Variance, 0) {
				t.Errorf("design %d: component %+v", i, c)
			}
		}
		l := make([]float64, f.P)
		l[0] = 1
		c, err := f.Contrast(l)
		if err != nil || math.IsNaN(c.Value) || math.IsNaN(c.SE) || math.IsNaN(c.DF) == f.InformationOK {
			t.Errorf("design %d: contrast %+v, %v, information %v", i, c, err, f.InformationOK)
		}
		if df, _ := f.SafeDF(c.DF, 3); !(df >= 1 && df <= 2) {
			t.Errorf("design %d: df %v", i, df)
		}
		for k := range d.Terms {
			b0, b1 := f.Effects(k)
			for _, b := range append(b0, b1...) {
				if math.IsNaN(b) || math.IsInf(b, 0) {
					t.Errorf("design %d: effect %v", i, b)
				}
			}
		}
		if i%3 == 0 {
			in, err := f.SDIntervals(0.95)
			if err != nil {
				t.Errorf("design %d: intervals: %v", i, err)
			}
			for j, v := range in {
				defined := v.Lower >= 0 && v.Lower <= v.Upper && !math.IsInf(v.Upper, 0)
				if defined == (v.Reason != "") || defined && !(v.Lower <= f.Components[j].SD*(1+1e-6) && f.Components[j].SD <= v.Upper*(1+1e-6)) {
					t.Errorf("design %d (%v): interval %+v of %+v", i, termNames(d), v, f.Components[j])
				}
			}
		}
		// No point nearby is lower by the dense formula.
		theta := f.Theta()
		at := denseCriterion(d, theta, true)
		if math.Abs(at+2*f.LogLikREML) > 1e-6*(1+math.Abs(at)) {
			t.Errorf("design %d: criterion %v, dense %v at %v", i, -2*f.LogLikREML, at, theta)
		}
		for range 4 {
			near := slices.Clone(theta)
			for j := range near {
				near[j] = math.Abs(near[j] + 0.1*rng.NormFloat64())
			}
			if v := denseCriterion(d, near, true); v < at-1e-7*(1+math.Abs(at)) {
				t.Errorf("design %d (%v): criterion %v at %v, but %v at %v", i, termNames(d), at, theta, v, near)
			}
		}
	}
	if fitted < 300 {
		t.Errorf("only %d designs fitted", fitted)
	}
	t.Logf("%d of 1500 fitted", fitted)
}
