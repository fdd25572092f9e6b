package judge

import (
	"math"
	"math/rand/v2"
	"testing"
)

// benchData makes 90 closings of 60 points, with sessions that differ by 1 dB and
// closings by 1 dB; a limit at so many dB above the mean, NaN for none known.
func benchData(at func(i int) layout, limit float64) Data {
	r := rand.New(rand.NewPCG(1, 2))
	const closings, points = 90, 60
	sessions := map[int32]float64{}
	rows := make([][]float64, closings)
	for i := range rows {
		s := at(i).session
		if _, seen := sessions[s]; !seen {
			sessions[s] = r.NormFloat64()
		}
		closing := r.NormFloat64()
		for p := range points {
			rows[i] = append(rows[i], 60+3*math.Sin(float64(p))+sessions[s]+closing+r.NormFloat64())
		}
	}
	d := grid(rows, at)
	for i := range d.DB {
		d.HeadroomDB[i] = 60 + limit
		if d.DB[i] > d.HeadroomDB[i] {
			d.DB[i], d.Limited[i] = d.HeadroomDB[i], true
		}
	}
	return d
}

func BenchmarkJudge(b *testing.B) {
	none := math.NaN()
	nested := func(i int) layout { return layout{session: int32(i / 10)} }
	for _, bench := range []struct {
		name  string
		at    func(i int) layout
		limit float64
	}{
		{"one level", oneStrip, none},
		{"nested", nested, none},
		{"unequal", func(i int) layout { return layout{session: int32(i * i / 900)} }, none},
		{"boxes", func(i int) layout { return layout{box: int32(i / 15), fitting: int32(i / 15), session: int32(i / 5)} }, none},
		{"crossed", func(i int) layout { return layout{box: int32(i / 15), fitting: int32(i / 15), session: int32(i % 3)} }, none},
		{"limited", nested, 5},
	} {
		d := benchData(bench.at, bench.limit)
		b.Run(bench.name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if r, err := Judge(d, usual); err != nil || r.Reason != "" {
					b.Fatal(r.Reason, err)
				}
			}
		})
	}
}
