package interval

import (
	"errors"
	"math"
	"testing"
)

// n = ceil(ln(1-C)/ln P), and the counts with one failure allowed, as printed in
// tables of distribution-free bounds (recomputed from the binomial in R 4.2.2).
func TestFreeCountTable(t *testing.T) {
	for _, tt := range []struct {
		confidence, coverage float64
		failures, want       int
	}{
		{0.90, 0.90, 0, 22}, {0.95, 0.90, 0, 29}, {0.95, 0.95, 0, 59}, {0.90, 0.95, 0, 45}, {0.99, 0.95, 0, 90}, {0.95, 0.99, 0, 299},
		{0.95, 0.95, 1, 93}, {0.95, 0.90, 1, 46}, {0.90, 0.90, 1, 38},
		// A hair above a whole number in floating point.
		{0.9, 0.1, 0, 1}, {0.8, 0.2, 0, 1}, {0.5, 0.5, 0, 1}, {0.75, 0.5, 0, 2},
	} {
		n, err := FreeCount(tt.coverage, tt.confidence, tt.failures)
		if err != nil || n != tt.want {
			t.Errorf("confidence %v, coverage %v, %d failures: %d, %v; want %d", tt.confidence, tt.coverage, tt.failures, n, err, tt.want)
		}
	}
}

// The count is the first that attains the confidence, by the binomial sum
// itself.
func TestFreeCountIsSmallest(t *testing.T) {
	binomial := func(n, k int, q float64) float64 { // P(at most k of n)
		sum, term := 0.0, math.Pow(1-q, float64(n))
		for i := 0; i <= k; i++ {
			sum += term
			term *= float64(n-i) / float64(i+1) * q / (1 - q)
		}
		return sum
	}
	for _, coverage := range []float64{0.3, 0.9, 0.99} {
		for _, confidence := range []float64{0.5, 0.9, 0.99} {
			for _, failures := range []int{0, 1, 2, 7} {
				n, err := FreeCount(coverage, confidence, failures)
				if err != nil {
					t.Fatal(err)
				}
				c, err := FreeConfidence(n, coverage, failures)
				if want := 1 - binomial(n, failures, 1-coverage); err != nil || math.Abs(c-want) > 1e-11 || c < confidence-1e-9 {
					t.Errorf("coverage %v, confidence %v, %d failures: n %d attains %v, %v; binomial %v", coverage, confidence, failures, n, c, err, want)
				}
				if n > failures+1 && 1-binomial(n-1, failures, 1-coverage) >= confidence {
					t.Errorf("coverage %v, confidence %v, %d failures: %d is not the fewest", coverage, confidence, failures, n)
				}
			}
		}
	}
}

func TestFreeLower(t *testing.T) {
	x := make([]float64, 29)
	for i := range x {
		x[i] = 60 + float64(i%7)
	}
	x[11] = 57.5
	lower, attained, err := FreeLower(x, 0.90, 0.95)
	if err != nil || lower != 57.5 || math.Abs(attained-(1-math.Pow(0.9, 29))) > 1e-14 || attained < 0.95 {
		t.Errorf("29 closings: %v, %v, %v", lower, attained, err)
	}
	lower, attained, err = FreeLower(x[:28], 0.90, 0.95)
	if !errors.Is(err, ErrTooFew) || lower != 57.5 || math.Abs(attained-(1-math.Pow(0.9, 28))) > 1e-14 {
		t.Errorf("28 closings: %v, %v, %v", lower, attained, err)
	}
}

// All n above the median happens with probability 1/2^n: 4, 5 and 7 closings.
func TestSignLower(t *testing.T) {
	for _, tt := range []struct {
		confidence float64
		want       int
	}{{0.90, 4}, {0.95, 5}, {0.99, 7}, {0.5, 1}, {0.75, 2}, {0.875, 3}} {
		n, err := SignCount(tt.confidence)
		if err != nil || n != tt.want {
			t.Errorf("confidence %v: %d, %v; want %d", tt.confidence, n, err, tt.want)
		}
		if SignConfidence(n) < tt.confidence || n > 1 && SignConfidence(n-1) >= tt.confidence {
			t.Errorf("confidence %v: %d closings attain %v, one fewer %v", tt.confidence, n, SignConfidence(n), SignConfidence(n-1))
		}
	}
	x := []float64{63, 61.5, 70, 66, 62}
	lower, attained, err := SignLower(x, 0.95)
	if err != nil || lower != 61.5 || attained != 1-1.0/32 {
		t.Errorf("five: %v, %v, %v", lower, attained, err)
	}
	lower, attained, err = SignLower(x[:3], 0.95)
	if !errors.Is(err, ErrTooFew) || lower != 61.5 || attained != 1-1.0/8 {
		t.Errorf("three: %v, %v, %v", lower, attained, err)
	}
	if SignConfidence(0) != 0 || SignConfidence(-3) != 0 || SignConfidence(2000) != 1 {
		t.Errorf("ends: %v, %v, %v", SignConfidence(0), SignConfidence(-3), SignConfidence(2000))
	}
}

func TestFreeRefuses(t *testing.T) {
	nan := math.NaN()
	for _, p := range []float64{0, 1, -1, 2, nan, math.Inf(1)} {
		_, err1 := FreeCount(p, 0.95, 0)
		_, err2 := FreeCount(0.9, p, 0)
		_, err3 := FreeConfidence(5, p, 0)
		_, err4 := SignCount(p)
		_, err5 := ShareLower(5, 1, p)
		_, _, err6 := SignLower([]float64{1}, p)
		_, _, err7 := FreeLower([]float64{1}, p, 0.95)
		for i, err := range []error{err1, err2, err3, err4, err5, err6, err7} {
			if !errors.Is(err, ErrDomain) {
				t.Errorf("share %v, call %d: %v", p, i+1, err)
			}
		}
	}
	_, err1 := FreeCount(0.9, 0.95, -1)
	_, err2 := ShareLower(5, 6, 0.95)
	_, err3 := ShareLower(5, -1, 0.95)
	_, err4 := FreeCount(1-1e-15, 0.95, 0) // 3e15 closings
	_, err5 := FreeConfidence(5, 0.9, -1)
	for i, err := range []error{err1, err2, err3, err4, err5} {
		if !errors.Is(err, ErrDomain) {
			t.Errorf("call %d: %v", i+1, err)
		}
	}
	_, err1 = ShareLower(0, 0, 0.95)
	_, err2 = FreeConfidence(3, 0.9, 3)
	_, _, err3 = SignLower(nil, 0.95)
	_, _, err4 = FreeLower(nil, 0.9, 0.95)
	for i, err := range []error{err1, err2, err3, err4} {
		if !errors.Is(err, ErrTooFew) {
			t.Errorf("call %d: %v", i+1, err)
		}
	}
	for _, bad := range []float64{nan, math.Inf(1), math.Inf(-1)} {
		_, _, err1 := SignLower([]float64{60, bad}, 0.5)
		_, _, err2 := FreeLower([]float64{60, bad}, 0.5, 0.5)
		if !errors.Is(err1, ErrNotFinite) || !errors.Is(err2, ErrNotFinite) {
			t.Errorf("value %v: %v, %v", bad, err1, err2)
		}
	}
}
