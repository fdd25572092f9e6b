// Package sweeps makes rows of the long format for tests and benchmarks.
package sweeps

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
)

// Made is so many runs of one open and ten closed sweeps of 201 points, as an
// instrument would leave them behind: the header, and the rows of each run. Equal
// numbers of runs are equal to the byte.
func Made(runs int) (header string, texts []string) {
	r := rand.New(rand.NewPCG(1, 2))
	for run := range runs {
		var b strings.Builder
		for sweep := range 11 {
			for point := range 201 {
				hz := math.Round(1e7 * math.Pow(10, float64(point)/67))
				fmt.Fprintf(&b, "run %d,2026-03-%02d,", run, 1+run%28)
				if sweep == 0 {
					fmt.Fprintf(&b, ",,,open,%.0f,%.2f,\n", hz, -30+r.NormFloat64())
				} else {
					fmt.Fprintf(&b, "box %d,wool,%d,closed,%.0f,%.2f,%.2f\n", run%7, sweep, hz, -80+5*r.NormFloat64(), -120+r.NormFloat64())
				}
			}
		}
		texts = append(texts, b.String())
	}
	return "run,date,box,gasket,closing,state,freq_hz,level_dbm,floor_dbm\n", texts
}
