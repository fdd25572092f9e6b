// The figures of these examples are as computed; values from outside the project stand
// in the other tests.

package wear_test

import (
	"fmt"

	"sealbound/stats"
	"sealbound/stats/judge"
	"sealbound/stats/wear"
)

// Three strips in three boxes, all retested on six days a year apart, two
// closings each time, at one frequency. A day's set-up shifts all boxes alike.
func ExampleWear() {
	const boxes, years = 3, 6
	start := [boxes]float64{60.4, 58.9, 61.2}              // dB, when new
	perYear := [boxes]float64{-1.1, -0.9, -1.0}            // dB
	day := [years]float64{0.3, -0.4, 0.5, -0.2, -0.3, 0.2} // dB, what the set-up of the day adds
	closing := [5]float64{0.4, -0.6, 0.1, 0.7, -0.5}       // dB, how the lid comes down
	d := wear.Data{Data: judge.Data{Points: 1, TargetDB: []float64{50}}}
	factor := func(name string, levels int) stats.Factor { return stats.Factor{Name: name, Levels: levels} }
	d.Box, d.Fitting, d.Session = factor("box", boxes), factor("fitting", boxes), factor("session", years)
	d.Run = factor("run", boxes*years)
	for box := range boxes {
		for year := range years {
			for range 2 {
				db := start[box] + perYear[box]*float64(year) + day[year] + closing[d.Closings%5]
				d.Closing, d.Point, d.DB = append(d.Closing, int32(d.Closings)), append(d.Point, 0), append(d.DB, db)
				d.Limited, d.FloorKnown, d.HeadroomDB = append(d.Limited, false), append(d.FloorKnown, true), append(d.HeadroomDB, 75)
				d.Box.Codes = append(d.Box.Codes, int32(box))
				d.Fitting.Codes = append(d.Fitting.Codes, int32(box)) // one strip in each box
				d.Session.Codes = append(d.Session.Codes, int32(year))
				d.Run.Codes = append(d.Run.Codes, int32(box*years+year))
				d.AgeYears, d.Years = append(d.AgeYears, float64(year)), append(d.Years, float64(year))
				d.Closings++
			}
		}
	}
	r, err := wear.Wear(d, wear.Settings{Confidence: 0.95, Coverage: 0.9, On: judge.OnMean, AgeYears: 5, LastAge: 5})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%s: %.2f dB per year, %.2f to %.2f\n", r.Verdict, r.Slope.Value, r.Slope.Lower, r.Slope.Upper)
	fmt.Printf("at age 5: %.1f dB, at least %.1f\n", r.Mean.Value, r.Now)
	fmt.Printf("mean %s the target at age %.1f, lower bound at %.1f\n", r.Cross.Status, r.Cross.Age, r.LowerCross.Age)
	// Output:
	// wears: -1.02 dB per year, -1.33 to -0.71
	// at age 5: 55.2 dB, at least 53.3
	// mean crosses the target at age 10.1, lower bound at 7.8
}
