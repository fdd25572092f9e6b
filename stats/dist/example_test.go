package dist_test

import (
	"fmt"

	"sealbound/stats/dist"
)

// Critical values as printed tables have them: Student's t, upper 5 %, 4 degrees
// of freedom; the studentized range of three means, upper 5 %, 10 degrees of
// freedom; Grubbs, two-sided 5 %, of five values; Cochran, 5 %, five variances
// of three readings each (ISO 5725-2: 0.684).
func Example() {
	fmt.Printf("%.3f\n", dist.TQuantile(0.95, 4))
	fmt.Printf("%.3f\n", dist.StudentizedRange{K: 3, Nu: 10}.Quantile(0.95))
	fmt.Printf("%.4f\n", dist.Grubbs{N: 5, TwoSided: true}.Critical(0.05))
	fmt.Printf("%.3f\n", dist.Cochran{Groups: 5, Nu: 2}.Critical(0.05))
	// Output:
	// 2.132
	// 3.877
	// 1.7150
	// 0.684
}

// Three yearly tests, each higher than the one before (or each lower): without a
// trend all six orders are equally likely, so one series in six rises all the way
// by luck. Of five yearly tests one in 120 does.
func ExampleMannKendall() {
	fmt.Printf("%.4f\n", dist.MannKendall{N: 3}.AtLeast(3))
	fmt.Printf("%.4f\n", dist.MannKendall{N: 5}.AtLeast(10))
	// Output:
	// 0.1667
	// 0.0083
}

// Root finds where a function changes sign: here the noncentrality at which a
// lower bound from 5 closings clears its target with power 0.8.
func ExampleRoot() {
	t := dist.TQuantile(0.95, 4)
	ncp, err := dist.Root(func(ncp float64) float64 {
		return dist.NoncentralT{Nu: 4, Delta: ncp}.Survival(t) - 0.8
	}, 0, 10, 1e-12)
	fmt.Printf("%.3f %v\n", ncp, err)
	// Output: 3.040 <nil>
}
