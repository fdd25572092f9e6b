// The figures of these examples are as computed; values from outside the project stand
// in the other tests.

package trend_test

import (
	"fmt"

	"sealbound/stats/trend"
)

// Six yearly tests of one strip against 50 dB: is there a trend, how steep, and
// when do the line and its lower bound meet the target?
func Example() {
	years := []float64{0, 1, 2, 3, 4, 5}
	db := []float64{58.3, 57.1, 56.9, 55.2, 54.8, 53.1}

	k, err := trend.MannKendall(years, db)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("S = %d, p = %.4f one-sided\n", k.S, k.P().Decreasing)

	line, err := trend.FitLine(years, db, nil)
	if err != nil {
		fmt.Println(err)
		return
	}
	c, err := line.Crossings(50, 0.95)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("slope %.2f dB per year\n", line.Slope)
	fmt.Printf("meets 50 dB at %.1f years, its lower bound at %.1f\n", c.Fit.At, c.Lower.At)
	// Output:
	// S = -15, p = 0.0014 one-sided
	// slope -0.99 dB per year
	// meets 50 dB at 8.5 years, its lower bound at 7.4
}
