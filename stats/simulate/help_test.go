package simulate

import (
	"math"
	"testing"
	"time"
)

func date(year int, month time.Month, day int) time.Time {
	return time.Date(year, month, day, 0, 0, 0, 0, time.UTC)
}

// quiet returns settings of one product of 60 dB without any spread: every
// closing is exactly 60 dB until a test adds a term.
func quiet(t testing.TB, boxes, sessions, closings, points int, change func(*Settings, *Plan)) Settings {
	t.Helper()
	s := Settings{Seed: 7, Closings: closings, Sweeps: 1, OpenRepeats: 1, Open: Flat(-30)}
	p := Plan{Products: []Product{{Label: "mesh", MeanDB: 60}}, Boxes: boxes, Strips: 1, Sessions: sessions, First: date(2021, 1, 1), EveryDay: 1}
	for i := range points {
		p.Points = append(p.Points, Point{FreqHz: 1e8 * float64(i+1)})
	}
	if change != nil {
		change(&s, &p)
	}
	out, err := p.Apply(s)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func build(t testing.TB, s Settings) *Campaign {
	t.Helper()
	c, err := New(s)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func meanSD(x []float64) (mean, sd float64) {
	for _, v := range x {
		mean += v / float64(len(x))
	}
	ss := 0.0
	for _, v := range x {
		ss += (v - mean) * (v - mean)
	}
	return mean, math.Sqrt(ss / float64(len(x)-1))
}

// within fails unless got lies within five standard errors of want. The seeds
// are fixed, so this is no matter of luck from run to run.
func within(t *testing.T, what string, got, want, se float64) {
	t.Helper()
	if math.IsNaN(got) || math.Abs(got-want) > 5*se {
		t.Errorf("%s: got %.4f, want %.4f within %.4f", what, got, want, 5*se)
	}
}

// normalMoments checks mean and SD of a normal sample; the standard errors are
// sd/sqrt(n) and, for an SD, sd/sqrt(2(n-1)), from the normal distribution.
func normalMoments(t *testing.T, what string, x []float64, mean, sd float64) {
	t.Helper()
	m, s := meanSD(x)
	n := float64(len(x))
	within(t, what+": mean", m, mean, sd/math.Sqrt(n))
	within(t, what+": SD", s, sd, sd/math.Sqrt(2*(n-1)))
}

// levelMeans returns the mean of the values in each level of a factor.
func levelMeans(values []float64, codes []int32, n int) []float64 {
	sum, count := make([]float64, n), make([]float64, n)
	for i, v := range values {
		sum[codes[i]] += v
		count[codes[i]]++
	}
	for i := range sum {
		sum[i] /= count[i]
	}
	return sum
}
