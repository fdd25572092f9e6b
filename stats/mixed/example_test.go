package mixed_test

import (
	"fmt"

	"sealbound/stats"
	"sealbound/stats/mixed"
)

// Six rails, three travel times each (ns): J. Pinheiro, D. Bates, Mixed-Effects
// Models in S and S-PLUS, 2000, section 1.1, where nlme gives the mean 66.5
// with standard error 10.17 and the SDs 24.81 and 4.02.
func Example() {
	y := []float64{55, 53, 54, 26, 37, 32, 78, 91, 85, 92, 100, 96, 49, 51, 50, 80, 85, 83}
	rail := stats.Factor{Name: "rail", Codes: []int32{0, 0, 0, 1, 1, 1, 2, 2, 2, 3, 3, 3, 4, 4, 4, 5, 5, 5}, Levels: 6}

	levels, err := mixed.Separate([]stats.Factor{rail}, len(y))
	if err != nil {
		fmt.Println(err)
		return
	}
	fit, err := mixed.Design{Y: y, Terms: levels.Terms, Residual: levels.Residual}.Fit(mixed.REML)
	if err != nil {
		fmt.Println(err)
		return
	}
	mean, err := fit.Contrast([]float64{1})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("mean %.1f, standard error %.2f on %.1f degrees of freedom\n", mean.Value, mean.SE, mixed.ClampDF(mean.DF, 6))
	for _, c := range fit.Components {
		fmt.Printf("%s SD %.2f\n", c.Name, c.SD)
	}
	// Output:
	// mean 66.5, standard error 10.17 on 5.0 degrees of freedom
	// rail SD 24.81
	// closing SD 4.02
}
