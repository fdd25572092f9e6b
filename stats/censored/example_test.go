// The figures of these examples are as computed; values from outside the project stand
// in the other tests.

package censored_test

import (
	"fmt"

	"sealbound/stats/censored"
)

// Eight readings, three of them only known to lie above the headroom of 70 dB.
// Put in as 70 they pull the mean down; modelled as what they are they do not.
func ExampleFitNormal() {
	db := []float64{66.1, 70, 68.4, 69.2, 70, 67.3, 70, 68.8}
	limited := []bool{false, true, false, false, true, false, true, false}
	plain, err := censored.FitNormal(db, nil)
	if err != nil {
		fmt.Println(err)
		return
	}
	fit, err := censored.FitNormal(db, limited)
	if err != nil {
		fmt.Println(err)
		return
	}
	b := fit.Calibrated(0.95)
	fmt.Printf("taken as 70: %.1f dB\n", plain.Mean)
	fmt.Printf("modelled: %.1f dB, lower bound %.1f; %s\n", fit.Mean, b.Lower, fit.Status)
	fmt.Printf("whatever their distribution, all showed at least %.1f dB\n", fit.AtLeast)

	all, err := censored.FitNormal([]float64{70, 70, 70}, []bool{true, true, true})
	fmt.Printf("all limited: %s %v\n", all.Status, err)
	// Output:
	// taken as 70: 68.7 dB
	// modelled: 69.2 dB, lower bound 67.8; estimated
	// whatever their distribution, all showed at least 66.1 dB
	// all limited: no estimate: every reading is at the limit <nil>
}

// Six yearly means, the first two limited: a line through the figures as they
// stand finds less wear than there is.
func ExampleFitLine() {
	years := []float64{0, 1, 2, 3, 4, 5}
	db := []float64{64, 64, 63.7, 62.2, 61.6, 60.1}
	limited := []bool{true, true, false, false, false, false}
	plain, err := censored.FitLine(years, db, nil)
	if err != nil {
		fmt.Println(err)
		return
	}
	fit, err := censored.FitLine(years, db, limited)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("as they stand %.2f dB per year, modelled %.2f\n", plain.Slope, fit.Slope)
	// Output: as they stand -0.81 dB per year, modelled -1.14
}
