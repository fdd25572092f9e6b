// The figures of these examples are as computed; values from outside the project stand
// in the other tests.

package spread_test

import (
	"fmt"

	"sealbound/stats"
	"sealbound/stats/judge"
	"sealbound/stats/spread"
)

// Three boxes, each with a strip of the same gasket, on three days, three closings
// each time, at one frequency. The days differ more than the closings, and the
// answer says so.
func ExampleSpread() {
	byBoxAndDay := [3][3][]float64{ // dB
		{{58.1, 58.9, 58.4}, {60.2, 60.9, 59.8}, {57.0, 57.9, 57.3}},
		{{56.3, 55.6, 56.8}, {58.8, 58.1, 58.7}, {56.0, 55.2, 56.1}},
		{{59.0, 59.6, 58.7}, {61.1, 62.0, 61.6}, {58.5, 59.2, 58.2}},
	}
	d := judge.Data{Points: 1, TargetDB: []float64{50}}
	factor := func(name string, levels int) stats.Factor { return stats.Factor{Name: name, Levels: levels} }
	d.Box, d.Fitting, d.Session = factor("box", 3), factor("fitting", 3), factor("session", 3)
	d.Run, d.Reference = factor("run", 9), factor("reference", 9)
	d.Opens = make([]judge.Open, 9)
	for box, days := range byBoxAndDay {
		for day, closings := range days {
			for _, db := range closings {
				d.Closing, d.Point, d.DB = append(d.Closing, int32(d.Closings)), append(d.Point, 0), append(d.DB, db)
				d.Limited, d.FloorKnown, d.HeadroomDB = append(d.Limited, false), append(d.FloorKnown, true), append(d.HeadroomDB, 75)
				d.Box.Codes = append(d.Box.Codes, int32(box))
				d.Fitting.Codes = append(d.Fitting.Codes, int32(box)) // one strip in each box
				d.Session.Codes = append(d.Session.Codes, int32(day))
				d.Run.Codes = append(d.Run.Codes, int32(3*box+day))
				d.Reference.Codes = append(d.Reference.Codes, int32(3*box+day))
				d.OwnReference = append(d.OwnReference, false)
				d.Closings++
			}
		}
	}
	r, err := spread.Spread(spread.Data{Data: d}, spread.Settings{Confidence: 0.95, ToleranceDB: 2})
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, c := range r.Components {
		fmt.Printf("%-11s SD %.2f dB, %.2f to %.2f\n", c.Source, c.SD, c.Lower, c.Upper)
	}
	fmt.Printf("same visit: pairs differ by less than %.1f dB; %s at 2 dB\n", r.Repeatability.LimitDB(), r.Verdict)
	fmt.Printf("another day: %.1f dB\n", r.Reproducibility.LimitDB())
	// Output:
	// box+fitting SD 1.47 dB, 0.73 to 6.54
	// session     SD 1.49 dB, 0.74 to 6.62
	// visit       SD 0.00 dB, 0.00 to 0.42
	// closing     SD 0.46 dB, 0.38 to 0.67
	// same visit: pairs differ by less than 1.3 dB; repeatable at 2 dB
	// another day: 4.4 dB
}
