package censored

import (
	"math/rand/v2"
	"testing"
)

// Two fittings of 28 closings at 201 points, half of the readings limited.
func BenchmarkTwoStep(b *testing.B) {
	fitting, rows := readings(1, 56, 201, 0.02)
	in, limits := grid(fitting, rows, flat(70))
	for b.Loop() {
		if _, err := TwoStep(in, limits); err != nil {
			b.Fatal(err)
		}
	}
}

// The fit and both bounds of a slope: ten sessions of ten closings, half limited.
func BenchmarkNested(b *testing.B) {
	c := cluster{1, 10, 10, -1, 0, 0.8, 1, 0.5}.run(rand.New(rand.NewPCG(1, 1)))
	for b.Loop() {
		f, err := Nested(c)
		if err != nil || !f.Slope(0.95, 0).Defined() {
			b.Fatal(err, f.Status)
		}
	}
}
