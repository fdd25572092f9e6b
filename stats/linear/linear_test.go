package linear

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"

	"sealbound/stats/internal/refcase"
	"sealbound/stats/interval"
)

// NIST StRD, linear regression: certified values.
func TestRegressNIST(t *testing.T) {
	fits := 0
	for _, id := range refcase.IDs(t, "a_nist_") {
		c := refcase.Load(t, id)
		if !c.Has("b1") {
			continue
		}
		fits++
		cols := c.Columns(t)
		var predictors [][]float64
		o := Options{Intercept: true}
		switch model := c.Params["model"].(string); model {
		case "y ~ x1+x2+x3+x4+x5+x6":
			for j := 1; j <= 6; j++ {
				predictors = append(predictors, cols.Float(fmt.Sprintf("x%d", j)))
			}
		case "y ~ 0 + x":
			o.Intercept = false
			predictors = [][]float64{cols.Float("x")}
		default:
			var degree int
			if _, err := fmt.Sscanf(model, "polynomial of degree %d in x", &degree); err != nil {
				t.Fatalf("%s: model %q: %v", id, model, err)
			}
			for d := 1; d <= degree; d++ {
				p := make([]float64, cols.Len())
				for i, x := range cols.Float("x") {
					p[i] = math.Pow(x, float64(d))
				}
				predictors = append(predictors, p)
			}
		}
		f, err := Regress(cols.Float("y"), predictors, o)
		if err != nil {
			t.Errorf("%s: %v", id, err)
			continue
		}
		c.Check(t, "n", float64(f.N))
		for j := range f.Coef {
			k := j
			if !o.Intercept {
				k++
			}
			c.Check(t, fmt.Sprintf("b%d", k), f.Coef[j])
			c.Check(t, fmt.Sprintf("se_b%d", k), f.SE[j])
		}
		c.Check(t, "resid_sd", f.SD)
		c.Check(t, "R2", f.R2)
		if c.Has("F") && f.SD > 1e-6 { // Wampler1 and 2 fit exactly: F has no value
			c.Check(t, "F", f.F)
		}
	}
	if fits < 6 {
		t.Errorf("%d sets", fits)
	}
}

func TestRegressRefuses(t *testing.T) {
	y := []float64{1, 2, 3, 5}
	line := []float64{1, 2, 3, 4}
	for name, tt := range map[string]struct {
		y, x []float64
		o    Options
		want error
	}{
		"too few":    {y[:2], line[:2], Options{Intercept: true}, interval.ErrTooFew},
		"NaN":        {[]float64{1, math.NaN(), 3, 4}, line, Options{}, interval.ErrNotFinite},
		"Inf":        {y, []float64{1, math.Inf(1), 3, 4}, Options{}, interval.ErrNotFinite},
		"constant":   {y, []float64{7, 7, 7, 7}, Options{Intercept: true}, ErrCollinear},
		"zero":       {y, []float64{0, 0, 0, 0}, Options{}, ErrCollinear},
		"length":     {y, line[:3], Options{}, interval.ErrDomain},
		"weights":    {y, line, Options{Weights: []float64{1, 1, 1}}, interval.ErrDomain},
		"no weight":  {y, line, Options{Weights: []float64{1, 1, 0, 1}}, interval.ErrDomain},
		"NaN weight": {y, line, Options{Weights: []float64{1, 1, math.NaN(), 1}}, interval.ErrDomain},
	} {
		if _, err := Regress(tt.y, [][]float64{tt.x}, tt.o); !errors.Is(err, tt.want) {
			t.Errorf("%s: %v, want %v", name, err, tt.want)
		}
	}
	if _, err := Regress(y, [][]float64{line, {2, 4, 6, 8}}, Options{}); !errors.Is(err, ErrCollinear) {
		t.Errorf("multiples: %v", err)
	}
	if _, err := Regress(y, nil, Options{}); !errors.Is(err, interval.ErrDomain) {
		t.Errorf("no coefficients: %v", err)
	}
	f, err := Regress(y, [][]float64{line}, Options{Intercept: true})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := f.Mean([]float64{1, 2}, 0.95); !errors.Is(err, interval.ErrDomain) {
		t.Errorf("Mean with two predictors: %v", err)
	}
	if _, err := f.Coefficient(2, 0.95); !errors.Is(err, interval.ErrDomain) {
		t.Errorf("Coefficient(2): %v", err)
	}
}

// A line with weights, from R 4.2.2's lm and predict.
func TestRegressWeightedReference(t *testing.T) {
	c := refcase.Load(t, "f_bod_weighted")
	cols := c.Columns(t)
	f, err := Regress(cols.Float("y"), [][]float64{cols.Float("t")}, Options{Intercept: true, Weights: cols.Float("w")})
	if err != nil {
		t.Fatal(err)
	}
	for name, got := range map[string]float64{
		"intercept": f.Coef[0], "slope": f.Coef[1], "se_intercept": f.SE[0], "se_slope": f.SE[1],
		"sigma": f.SD, "R2": f.R2, "df": f.DF, "p_slope_two_sided": f.P,
	} {
		c.Check(t, name, got)
	}
	slope, err := f.Coefficient(1, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	c.Check(t, "slope_lower95_onesided", slope.Lower)
	c.Check(t, "slope_upper95_onesided", slope.Upper)
	at := 0
	for _, v := range c.Values {
		name, place, ok := strings.Cut(v.Name, "@")
		if !ok {
			continue
		}
		x, err := strconv.ParseFloat(strings.TrimSpace(place), 64)
		if err != nil {
			t.Fatal(err)
		}
		if x == 3.666666667 { // printed with ten digits of 11/3
			x = 11.0 / 3
		}
		one, err1 := f.Mean([]float64{x}, 0.95)
		two, err2 := f.Mean([]float64{x}, 0.975)
		next, err3 := f.Next([]float64{x}, 0.95)
		if err := errors.Join(err1, err2, err3); err != nil {
			t.Fatal(err)
		}
		at++
		switch name {
		case "fit":
			c.Check(t, v.Name, one.Value)
		case "mean_ci95_lower":
			c.Check(t, v.Name, two.Lower)
		case "mean_ci95_upper":
			c.Check(t, v.Name, two.Upper)
		case "mean_lower95_onesided":
			c.Check(t, v.Name, one.Lower)
		case "pred_lower95_onesided":
			c.Check(t, v.Name, next.Lower)
		default:
			at--
		}
	}
	if at < 10 {
		t.Errorf("%d bands checked", at)
	}
}

// An intercept alone is the mean with its t bounds, and weights that are whole
// numbers change the estimates as repeats do: laws, no source needed.
func TestRegressLaws(t *testing.T) {
	y := []float64{61.2, 58.9, 63.4, 60.1, 57.7}
	f, err := Regress(y, nil, Options{Intercept: true})
	if err != nil {
		t.Fatal(err)
	}
	mean, sd, err := interval.MeanSD(y)
	if err != nil {
		t.Fatal(err)
	}
	want, err := interval.MeanBounds(len(y), mean, sd, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	got, err := f.Mean(nil, 0.95)
	if err != nil || math.Abs(got.Lower-want.Lower) > 1e-12 || math.Abs(f.SD-sd) > 1e-13 {
		t.Errorf("mean %+v, %v; want %+v", got, err, want)
	}
	next, err := f.Next(nil, 0.95)
	wantNext, err2 := interval.NextBounds(len(y), mean, sd, 1, 0.95)
	if err != nil || err2 != nil || math.Abs(next.Lower-wantNext.Lower) > 1e-12 {
		t.Errorf("next %+v, %v; want %+v, %v", next, err, wantNext, err2)
	}
	x := []float64{0, 1, 2, 3, 5}
	weighted, err := Regress(y, [][]float64{x}, Options{Intercept: true, Weights: []float64{1, 2, 1, 3, 1}})
	if err != nil {
		t.Fatal(err)
	}
	repeated, err := Regress(
		[]float64{61.2, 58.9, 58.9, 63.4, 60.1, 60.1, 60.1, 57.7},
		[][]float64{{0, 1, 1, 2, 3, 3, 3, 5}}, Options{Intercept: true})
	if err != nil {
		t.Fatal(err)
	}
	for j := range weighted.Coef {
		if math.Abs(weighted.Coef[j]-repeated.Coef[j]) > 1e-12 {
			t.Errorf("coefficient %d: weighted %v, repeated %v", j, weighted.Coef[j], repeated.Coef[j])
		}
		// Same sum of squares, 3 degrees of freedom instead of 6.
		if math.Abs(weighted.SE[j]-repeated.SE[j]*math.Sqrt(2)) > 1e-12 {
			t.Errorf("SE %d: weighted %v, repeated %v", j, weighted.SE[j], repeated.SE[j])
		}
	}
}
