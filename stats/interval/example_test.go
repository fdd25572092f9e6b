package interval_test

import (
	"fmt"

	"sealbound/stats"
	"sealbound/stats/interval"
)

// Six closings of an invented box, with t(0.95; 5) = 2.01505 and k = 3.0063 from
// tables: what their mean, the next closing and nine
// tenths of all closings are shown to reach, each with confidence 0.95.
func Example() {
	closings := []float64{61.2, 58.9, 63.4, 60.1, 57.7, 62.8} // dB
	mean, sd, err := interval.MeanSD(closings)
	if err != nil {
		fmt.Println(err)
		return
	}
	all, err := interval.MeanBounds(len(closings), mean, sd, 0.95)
	if err != nil {
		fmt.Println(err)
		return
	}
	next, err := interval.NextBounds(len(closings), mean, sd, 1, 0.95)
	if err != nil {
		fmt.Println(err)
		return
	}
	k, err := interval.LowerFactor(len(closings), 0.9, 0.95)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("mean %.2f dB\n", mean)
	fmt.Printf("lower bound of the mean %.2f dB\n", all.Lower)
	fmt.Printf("next closing %.2f dB\n", next.Lower)
	fmt.Printf("coverage %.2f dB\n", mean-k*sd)
	// Output:
	// mean 60.68 dB
	// lower bound of the mean 58.86 dB
	// next closing 55.86 dB
	// coverage 54.02 dB
}

// NIST/SEMATECH e-Handbook 7.2.6.3.
func ExampleLowerFactor() {
	k, err := interval.LowerFactor(43, 0.90, 0.99)
	fmt.Printf("%.5f %v\n", k, err)
	// Output: 1.87395 <nil>
}

// Two boxes, each closed four times; with so few boxes the bounds are far out. The
// lower one is as computed; the tests of this package hold the integration to draws
// and to exact ends.
func ExampleNestedCoverage() {
	db := []float64{61, 62, 60, 61, 57, 58, 57, 58}
	box := stats.Factor{Name: "box", Codes: []int32{0, 0, 0, 0, 1, 1, 1, 1}, Levels: 2}
	b, err := interval.NestedCoverage(db, []stats.Factor{box}, 0.9, 0.95, 1, 100000)
	fmt.Printf("%.2f %t %t %v\n", b.Lower, b.Upper > 55, b.Method == interval.Integrated, err)
	// Output: 8.30 true true <nil>
}

func ExampleSignLower() {
	// Readings at the receiver's floor: each is at least this.
	lower, attained, err := interval.SignLower([]float64{72.5, 73.1, 72.9}, 0.95)
	fmt.Println(lower, attained)
	fmt.Println(err)
	// Output:
	// 72.5 0.875
	// interval: too few values: 3, at least 5 needed
}
