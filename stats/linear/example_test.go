// The figures of these examples are as computed; values from outside the project stand
// in the other tests.

package linear_test

import (
	"fmt"

	"sealbound/stats/linear"
)

// Four yearly means of one strip: the slope with its bounds, and where the line
// and the next yearly mean stand at five years.
func ExampleRegress() {
	years := []float64{0, 1, 2, 3}
	db := []float64{62.1, 60.8, 60.3, 58.8}
	fit, err := linear.Regress(db, [][]float64{years}, linear.Options{Intercept: true})
	if err != nil {
		fmt.Println(err)
		return
	}
	slope, _ := fit.Coefficient(1, 0.95)
	mean, _ := fit.Mean([]float64{5}, 0.95)
	next, _ := fit.Next([]float64{5}, 0.95)
	fmt.Printf("slope %.2f dB per year, at most %.2f\n", slope.Value, slope.Upper)
	fmt.Printf("at five years %.1f dB, at least %.1f; the next test at least %.1f\n", mean.Value, mean.Lower, next.Lower)
	// Output:
	// slope -1.04 dB per year, at most -0.66
	// at five years 56.9 dB, at least 55.5; the next test at least 55.2
}
