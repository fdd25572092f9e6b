// The figures of these examples are as computed; values from outside the project stand
// in the other tests.

package compare_test

import (
	"fmt"

	"sealbound/stats"
	"sealbound/stats/compare"
	"sealbound/stats/judge"
)

// Three products in four boxes, two closings each, at one frequency. The boxes
// differ by more than the products do, but every box carried every product.
func ExampleCompare() {
	names := []string{"braid", "mesh", "spiral"}
	const boxes = 4
	means := [boxes][3]float64{{52.1, 54.8, 57.2}, {49.0, 51.9, 54.1}, {55.2, 57.7, 60.8}, {51.3, 54.5, 56.6}} // dB
	d := compare.Data{Data: judge.Data{Points: 1, TargetDB: []float64{50}}}
	factor := func(name string, levels int) stats.Factor { return stats.Factor{Name: name, Levels: levels} }
	d.Box, d.Fitting, d.Session = factor("box", boxes), factor("fitting", 3*boxes), factor("session", 3)
	d.Run, d.Reference, d.Product = factor("run", 3*boxes), factor("reference", 3*boxes), factor("product", 3)
	d.Opens = make([]judge.Open, 3*boxes)
	for box, row := range means {
		for product, mean := range row {
			for _, lid := range []float64{-0.4, 0.4} {
				d.Closing, d.Point, d.DB = append(d.Closing, int32(d.Closings)), append(d.Point, 0), append(d.DB, mean+lid)
				d.Limited, d.FloorKnown, d.HeadroomDB = append(d.Limited, false), append(d.FloorKnown, true), append(d.HeadroomDB, 75)
				fitting := int32(3*box + product)
				d.Box.Codes = append(d.Box.Codes, int32(box))
				d.Product.Codes = append(d.Product.Codes, int32(product))
				d.Session.Codes = append(d.Session.Codes, int32((box+product)%3)) // no product owns a day
				d.Fitting.Codes = append(d.Fitting.Codes, fitting)
				d.Run.Codes = append(d.Run.Codes, fitting)
				d.Reference.Codes = append(d.Reference.Codes, fitting)
				d.OwnReference = append(d.OwnReference, false)
				d.Closings++
			}
		}
	}
	r, err := compare.Compare(d, compare.Settings{Confidence: 0.95, Against: -1, RaiseDB: 20, FloorMarginDB: 6})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(r.Design)
	for _, p := range r.Products {
		fmt.Printf("%-6s %.1f dB, at least %.1f, %s (%s)\n", names[p.Code], p.Value, p.Lower, p.Letters, p.Verdict)
	}
	for _, x := range r.Differences {
		fmt.Printf("%s - %s: %.1f dB, %.1f to %.1f\n", names[x.A], names[x.B], x.DB, x.Lower, x.Upper)
	}
	// Output:
	// complete: every product in every one of 4 boxes
	// spiral 57.2 dB, at least 54.1, a (clears)
	// mesh   54.7 dB, at least 51.7, b (clears)
	// braid  51.9 dB, at least 48.9, c (undecided)
	// spiral - mesh: 2.4 dB, 1.7 to 3.2
	// spiral - braid: 5.3 dB, 4.5 to 6.0
	// mesh - braid: 2.8 dB, 2.1 to 3.6
}
