package band

import (
	"math"
	"math/rand/v2"
	"testing"
)

// One group of 40 fittings of 56 closings at 201 points: with and without holes.
func BenchmarkValues(b *testing.B) {
	for name, share := range map[string]float64{"complete": 0, "holes": 0.02} {
		rng := rand.New(rand.NewPCG(1, 1))
		var fitting []int32
		var rows [][]float64
		for c := range 40 * 56 {
			row := make([]float64, 201)
			for p := range row {
				row[p] = 60 + 5*math.Sin(float64(p)) + 3*rng.NormFloat64()
				if rng.Float64() < share {
					row[p] = hole
				}
			}
			fitting, rows = append(fitting, int32(c/56)), append(rows, row)
		}
		in := tableOf(fitting, rows)
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := Values(in); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
