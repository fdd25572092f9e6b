package interval

import (
	"errors"
	"math"
	"testing"

	"sealbound/stats/dist"
)

// One-sided factors as printed in tables that follow ISO 16269-6, recomputed by
// two methods in R 4.2.2; columns are confidence/coverage in percent.
func TestLowerFactorTable(t *testing.T) {
	columns := [][2]float64{{0.90, 0.90}, {0.90, 0.95}, {0.95, 0.90}, {0.95, 0.95}, {0.95, 0.99}, {0.99, 0.95}, {0.99, 0.90}}
	for _, row := range []struct {
		n int
		k [7]float64
	}{
		{3, [7]float64{4.2582, 5.3115, 6.1553, 7.6559, 10.5527, 17.3702, 13.9954}},
		{5, [7]float64{2.7423, 3.3998, 3.4066, 4.2027, 5.7411, 6.5783, 5.3617}},
		{10, [7]float64{2.0657, 2.5684, 2.3546, 2.9110, 3.9811, 3.7383, 3.0479}},
		{20, [7]float64{1.7652, 2.2078, 1.9260, 2.3960, 3.2952, 2.8079, 2.2756}},
		{30, [7]float64{1.6571, 2.0798, 1.7773, 2.2198, 3.0639, 2.5155, 2.0298}},
		{50, [7]float64{1.5595, 1.9653, 1.6456, 2.0650, 2.8624, 2.2689, 1.8208}},
		{100, [7]float64{1.4701, 1.8613, 1.5267, 1.9265, 2.6840, 2.0563, 1.6390}},
	} {
		for i, want := range row.k {
			k, err := LowerFactor(row.n, columns[i][1], columns[i][0])
			if err != nil || math.Abs(k-want) > 5.01e-5 {
				t.Errorf("n %d, confidence %v, coverage %v: %v, %v; want %v", row.n, columns[i][0], columns[i][1], k, err, want)
			}
		}
	}
	// NIST/SEMATECH e-Handbook 7.2.6.3: 43 wafers, 99 % confidence, 90 % coverage:
	// 1.8752 by its approximation, 1.87395 exactly.
	if k, err := LowerFactor(43, 0.90, 0.99); err != nil || math.Abs(k-1.87395) > 5.01e-6 {
		t.Errorf("NIST 7.2.6.3: %v, %v; want 1.87395", k, err)
	}
	// Where series in double precision fail: 30 digits (mpmath).
	for _, tt := range []struct {
		n                          int
		confidence, coverage, want float64
	}{{274, 0.95, 0.99, 2.5316}, {274, 0.99, 0.99, 2.6224}, {560, 0.95, 0.95, 1.7562}} {
		if k, err := LowerFactor(tt.n, tt.coverage, tt.confidence); err != nil || math.Abs(k-tt.want) > 5.01e-5 {
			t.Errorf("n %d: %v, %v; want %v", tt.n, k, err, tt.want)
		}
	}
}

// The factor falls with every closing more, towards z(coverage).
func TestLowerFactorFalls(t *testing.T) {
	for _, tt := range [][2]float64{{0.95, 0.90}, {0.99, 0.99}} {
		confidence, coverage := tt[0], tt[1]
		last, step := math.Inf(1), 1
		for n := 2; n <= 5000; n += step {
			k, err := LowerFactor(n, coverage, confidence)
			if err != nil || !(k < last) || k < dist.NormalQuantile(coverage) {
				t.Fatalf("confidence %v, coverage %v, n %d: %v after %v, %v", confidence, coverage, n, k, last, err)
			}
			last = k
			if n >= 600 {
				step = 11
			}
		}
	}
}

// Factor at n0 = n, df = n-1 is LowerFactor; at infinite df it is the bound for a
// known standard deviation, z(coverage) + z(confidence)/sqrt(n0).
func TestFactorLimits(t *testing.T) {
	k, err := Factor(12, 11, 0.9, 0.95)
	want, err2 := LowerFactor(12, 0.9, 0.95)
	if err != nil || err2 != nil || k != want {
		t.Errorf("%v, %v; want %v, %v", k, err, want, err2)
	}
	for _, n0 := range []float64{0.5, 3, 40.5} {
		k, err := Factor(n0, math.Inf(1), 0.9, 0.95)
		want := dist.NormalQuantile(0.9) + dist.NormalQuantile(0.95)/math.Sqrt(n0)
		if err != nil || math.Abs(k-want) > 1e-12 {
			t.Errorf("n0 %v: %v, %v; want %v", n0, k, err, want)
		}
		close, err := Factor(n0, 1e9, 0.9, 0.95)
		if err != nil || math.Abs(close-want) > 1e-6 {
			t.Errorf("n0 %v, many degrees of freedom: %v, %v; want %v", n0, close, err, want)
		}
	}
}

func TestFactorRefuses(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	for _, n := range []int{1, 0, -4} {
		if _, err := LowerFactor(n, 0.9, 0.95); !errors.Is(err, ErrTooFew) {
			t.Errorf("n %d: %v", n, err)
		}
	}
	for _, tt := range []struct{ n0, df, coverage, confidence float64 }{
		{0, 3, 0.9, 0.95}, {-1, 3, 0.9, 0.95}, {nan, 3, 0.9, 0.95}, {inf, 3, 0.9, 0.95}, {4, 0, 0.9, 0.95}, {4, nan, 0.9, 0.95},
		{4, 3, 0, 0.95}, {4, 3, 1, 0.95}, {4, 3, nan, 0.95}, {4, 3, 0.9, 0}, {4, 3, 0.9, 1}, {4, 3, 0.9, 95}, {4, 3, 0.9, nan},
	} {
		if k, err := Factor(tt.n0, tt.df, tt.coverage, tt.confidence); err == nil || !math.IsNaN(k) {
			t.Errorf("%+v: %v, %v", tt, k, err)
		}
	}
}

func BenchmarkLowerFactor(b *testing.B) {
	for b.Loop() {
		if _, err := LowerFactor(10, 0.9, 0.95); err != nil {
			b.Fatal(err)
		}
	}
}
