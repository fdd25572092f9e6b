// The figures of these examples are as computed; values from outside the project stand
// in the other tests.

package resample_test

import (
	"fmt"

	"sealbound/stats/resample"
)

// Eight closings, one of them bad: the bootstrap as a second opinion on the lower
// bound of their mean. Student's t gives 56.3 dB; the bootstrap follows the bad
// closing further down.
func ExampleExact() {
	closings := []float64{61.2, 58.9, 63.4, 60.1, 57.7, 62.8, 61.5, 49.3} // dB
	r, err := resample.Exact(len(closings), resample.Mean(closings), resample.Settings{Confidence: 0.95})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("mean %.1f dB, lower bound %.1f\n", r.BCa.Value, r.BCa.Lower)
	fmt.Printf("%d different resamples\n", r.Replicates)
	// Output:
	// mean 59.4 dB, lower bound 55.7
	// 6435 different resamples
}
