package interval

import (
	"errors"
	"math"
	"slices"
	"testing"

	"sealbound/stats"
)

func TestSummaryRefuses(t *testing.T) {
	calls := map[string]func(x []float64) error{
		"Describe":          func(x []float64) error { _, err := Describe(x); return err },
		"MeanSD":            func(x []float64) error { _, _, err := MeanSD(x); return err },
		"PowerMean":         func(x []float64) error { _, err := PowerMean(x); return err },
		"Quantile":          func(x []float64) error { _, err := Quantile(x, 0.5); return err },
		"QuantileExclusive": func(x []float64) error { _, err := QuantileExclusive(x, 0.5); return err },
	}
	for name, call := range calls {
		if err := call(nil); !errors.Is(err, ErrTooFew) {
			t.Errorf("%s of nothing: %v", name, err)
		}
		for _, bad := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
			if err := call([]float64{60, bad, 61}); !errors.Is(err, ErrNotFinite) {
				t.Errorf("%s with %v: %v", name, bad, err)
			}
		}
	}
	if _, _, err := MeanSD([]float64{1e308, 1e308, 1e308}); !errors.Is(err, ErrNotFinite) {
		t.Errorf("a mean that overflows: %v", err)
	}
	for _, p := range []float64{-0.01, 1.01, math.NaN()} {
		_, err1 := Quantile([]float64{1, 2}, p)
		_, err2 := QuantileExclusive([]float64{1, 2}, p)
		if !errors.Is(err1, ErrDomain) || !errors.Is(err2, ErrDomain) {
			t.Errorf("p %v: %v, %v", p, err1, err2)
		}
	}
}

func TestSummaryLaws(t *testing.T) {
	x := []float64{63.4, 58.9, 61.2, 60.1, 57.7}
	kept := slices.Clone(x)
	s, err := Describe(x)
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range []float64{0, 1} {
		a, err1 := Quantile(x, p)
		b, err2 := QuantileExclusive(x, p)
		want := s.Min + p*(s.Max-s.Min)
		if err1 != nil || err2 != nil || a != want || b != want {
			t.Errorf("quantile %v: %v and %v, want %v", p, a, b, want)
		}
	}
	if !slices.Equal(x, kept) {
		t.Errorf("the values were moved: %v", x)
	}
	if !(s.Power < s.Mean) {
		t.Errorf("power mean %v, mean %v", s.Power, s.Mean)
	}
	// Attenuations whose power shares underflow: the shift keeps the answer.
	far := []float64{9000, 9003}
	want := 9000 - 10*math.Log10((1+math.Pow(10, -0.3))/2)
	if got, err := PowerMean(far); err != nil || math.Abs(got-want) > 1e-9 {
		t.Errorf("far attenuations: %v, %v; want %v", got, err, want)
	}
	one, err := Describe([]float64{52.5})
	if err != nil || !math.IsNaN(one.SD) || one.Mean != 52.5 || one.Power != 52.5 || one.MAD != 0 {
		t.Errorf("one value: %+v, %v", one, err)
	}
	// A large common offset costs nothing that the values have not lost.
	near := []float64{1e9 + 0.25, 1e9 + 0.5, 1e9 + 0.75}
	if mean, sd, err := MeanSD(near); err != nil || mean != 1e9+0.5 || sd != 0.25 {
		t.Errorf("offset: %v, %v, %v", mean, sd, err)
	}
}

// If dB values are normal with standard deviation s, the dB of the mean power
// lies (ln 10/20)*s^2 below the mean of the dB values for attenuations: 1.036
// dB at 3 dB. The mean over the normal density is taken at equal steps of
// probability.
func TestPowerMeanOfNormal(t *testing.T) {
	const n = 20000
	x := make([]float64, n)
	for i := range x {
		x[i] = 60 + 3*math.Sqrt2*math.Erfinv(2*(float64(i)+0.5)/n-1)
	}
	got, err := PowerMean(x)
	if err != nil || math.Abs(60-got-1.036) > 2e-3 {
		t.Errorf("%v dB below, %v; want 1.036", 60-got, err)
	}
}

func TestOneWay(t *testing.T) {
	// NIST/SEMATECH e-Handbook 7.4.3: F 9.59, p 0.00325; the data from memory.
	y := []float64{6.9, 5.4, 5.8, 4.6, 4.0, 8.3, 6.8, 7.8, 9.2, 6.5, 8.0, 10.5, 8.1, 6.9, 9.3}
	f := stats.Factor{Name: "level", Levels: 3}
	for i := range y {
		f.Codes = append(f.Codes, int32(i/5))
	}
	a, err := OneWay(y, f)
	if err != nil || math.Abs(a.F-9.59) > 5.01e-3 || math.Abs(a.P-0.00325) > 5.01e-6 {
		t.Errorf("F %v, p %v, %v", a.F, a.P, err)
	}
	// Empty groups are left out; a group of one adds nothing within.
	a, err = OneWay([]float64{1, 2, 4}, stats.Factor{Name: "box", Codes: []int32{4, 4, 0}, Levels: 6})
	if err != nil || a.Groups != 2 || a.DFWithin != 1 || a.SSWithin != 0.5 || !math.IsNaN(a.Means[1]) || a.Means[4] != 1.5 {
		t.Errorf("%+v, %v", a, err)
	}
	// No repeats: no variance within, and no F.
	a, err = OneWay([]float64{1, 2}, stats.Factor{Name: "box", Codes: []int32{0, 1}, Levels: 2})
	if err != nil || !math.IsNaN(a.MSWithin) || !math.IsNaN(a.F) || !math.IsNaN(a.P) || a.SSBetween != 0.5 {
		t.Errorf("%+v, %v", a, err)
	}
	// All equal.
	a, err = OneWay([]float64{5, 5, 5, 5}, stats.Factor{Name: "box", Codes: []int32{0, 0, 1, 1}, Levels: 2})
	if err != nil || a.MSWithin != 0 || !math.IsNaN(a.F) || !math.IsNaN(a.R2) {
		t.Errorf("%+v, %v", a, err)
	}
	for name, tt := range map[string]struct {
		y     []float64
		codes []int32
		want  error
	}{
		"one group": {[]float64{1, 2}, []int32{1, 1}, ErrTooFew}, "empty": {nil, nil, ErrTooFew},
		"lengths": {[]float64{1, 2}, []int32{1}, ErrDomain}, "code": {[]float64{1, 2}, []int32{0, 2}, ErrDomain},
		"negative code": {[]float64{1, 2}, []int32{0, -1}, ErrDomain}, "NaN": {[]float64{1, math.NaN()}, []int32{0, 1}, ErrNotFinite},
	} {
		if _, err := OneWay(tt.y, stats.Factor{Name: "box", Codes: tt.codes, Levels: 2}); !errors.Is(err, tt.want) {
			t.Errorf("%s: %v, want %v", name, err, tt.want)
		}
	}
}
