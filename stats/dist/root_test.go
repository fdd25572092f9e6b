package dist

import (
	"errors"
	"math"
	"testing"
)

func TestRoot(t *testing.T) {
	evaluations := 0
	count := func(f func(float64) float64) func(float64) float64 {
		return func(x float64) float64 { evaluations++; return f(x) }
	}
	for name, tt := range map[string]struct {
		f    func(float64) float64
		a, b float64
		want float64
		most int // evaluations
	}{
		"line":           {func(x float64) float64 { return x - 0.3 }, 0, 1, 0.3, 12},
		"falling":        {func(x float64) float64 { return 2 - x*x }, 0, 2, math.Sqrt2, 14},
		"ends reversed":  {func(x float64) float64 { return x*x - 2 }, 2, 0, math.Sqrt2, 14},
		"flat then wall": {func(x float64) float64 { return math.Pow(x, 25) - 1e-10 }, 0, 2, math.Pow(1e-10, 1.0/25), 40},
		"triple":         {func(x float64) float64 { return x * x * x }, -1, 3, 0, 200},
		"step":           {func(x float64) float64 { return math.Copysign(1, x-1.0/3) }, 0, 1, 1.0 / 3, 120},
		"infinite end":   {func(x float64) float64 { return math.Log(x) }, 0, 3, 1, 30},
		"root at an end": {func(x float64) float64 { return x }, 0, 1, 0, 2},
		"wide":           {func(x float64) float64 { return math.Atan(x - 1e-3) }, -1e12, 1e12, 1e-3, 120},
	} {
		evaluations = 0
		got, err := Root(count(tt.f), tt.a, tt.b, 0)
		if err != nil || math.Abs(got-tt.want) > 1e-14*math.Max(1e-3, math.Abs(tt.want)) {
			t.Errorf("%s: %v, %v; want %v", name, got, err, tt.want)
		}
		if evaluations > tt.most {
			t.Errorf("%s: %d evaluations, more than %d", name, evaluations, tt.most)
		}
	}
	if got, err := Root(math.Cos, 0, 3, 0.1); err != nil || math.Abs(got-math.Pi/2) > 0.1 {
		t.Errorf("with a tolerance: %v, %v", got, err)
	}
	nan := math.NaN()
	for name, tt := range map[string]struct {
		f    func(float64) float64
		a, b float64
		want error
	}{
		"same sign":  {math.Exp, 0, 1, ErrNoBracket},
		"NaN":        {func(float64) float64 { return nan }, 0, 1, ErrNotFinite},
		"NaN inside": {func(x float64) float64 { return math.Sqrt(0.9-x) - 2*x + math.Log(x) }, 0.01, 5, ErrNotFinite},
		"NaN end":    {math.Sin, nan, 1, ErrNotFinite},
		"open end":   {math.Atan, -1, math.Inf(1), ErrNotFinite},
	} {
		if got, err := Root(tt.f, tt.a, tt.b, 0); !errors.Is(err, tt.want) || !math.IsNaN(got) {
			t.Errorf("%s: %v, %v; want %v", name, got, err, tt.want)
		}
	}
}

func TestBracket(t *testing.T) {
	f := func(x float64) float64 { return x - 1000 }
	lo, hi, err := Bracket(f, 0, 1)
	if err != nil || f(lo) > 0 || f(hi) < 0 {
		t.Errorf("upwards: %v, %v, %v", lo, hi, err)
	}
	lo, hi, err = Bracket(func(x float64) float64 { return x + 1e6 }, 1, 0)
	if err != nil || lo > -1e6 || hi < -1e6 {
		t.Errorf("downwards: %v, %v, %v", lo, hi, err)
	}
	if _, _, err := Bracket(func(float64) float64 { return 1 }, 0, 1); !errors.Is(err, ErrNoBracket) {
		t.Errorf("constant: %v", err)
	}
	if _, _, err := Bracket(math.Sqrt, -1, -0.5); !errors.Is(err, ErrNotFinite) {
		t.Errorf("NaN: %v", err)
	}
	if _, _, err := Bracket(f, 1, 1); !errors.Is(err, ErrNotFinite) {
		t.Errorf("no width: %v", err)
	}
}
