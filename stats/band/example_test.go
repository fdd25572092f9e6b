package band_test

import (
	"fmt"

	"sealbound/stats"
	"sealbound/stats/band"
)

// Three closings of one fitting at three points; the second closing lacks the
// last point, which is the weakest. Its plain mean would flatter it: the band
// value puts in what the others show that point to be.
func ExampleValues() {
	t := band.Table{
		Closing: []int32{0, 0, 0, 1, 1, 2, 2, 2},
		Point:   []int32{0, 1, 2, 0, 1, 0, 1, 2},
		DB:      []float64{62, 60, 52, 61, 59, 63, 61, 53},
		Fitting: stats.Factor{Name: "fitting", Codes: []int32{0, 0, 0}, Levels: 1},
		Points:  3,
	}
	r, err := band.Values(t)
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, v := range r.Values {
		fmt.Printf("closing %d: %.1f dB from %d points\n", v.Closing, v.DB, v.Points)
	}
	low, _ := r.Lowest()
	fmt.Printf("lowest reading: %.0f dB, closing %d at point %d\n", low.DB, low.Closing, low.Point)
	// Output:
	// closing 0: 58.0 dB from 3 points
	// closing 1: 57.0 dB from 2 points
	// closing 2: 59.0 dB from 3 points
	// lowest reading: 52 dB, closing 0 at point 2
}
