// The figures of these examples are as computed; values from outside the project stand
// in the other tests.

package simulate_test

import (
	"fmt"
	"time"

	"sealbound/stats/interval"
	"sealbound/stats/simulate"
)

// How often is a lower bound right that takes points for closings? Four hundred
// campaigns of five closings at a hundred frequencies tell: the truth is known.
func Example() {
	plan := simulate.Plan{
		Products: []simulate.Product{{Label: "wovenfelt", MeanDB: 60}},
		Boxes:    1, Strips: 1, Sessions: 1, EveryDay: 1,
		First: time.Date(2024, 5, 4, 0, 0, 0, 0, time.UTC),
	}
	for i := range 100 {
		plan.Points = append(plan.Points, simulate.Point{FreqHz: 31e6 + 2.5e6*float64(i)})
	}
	var closings, points int
	const campaigns = 400
	for seed := range uint64(campaigns) {
		s := simulate.Defaults()
		s.Seed = seed
		s.SD = simulate.Spread{ClosingDB: 1, PointDB: 1.5} // dB; nothing else varies
		s.ProfileSDDB = 0
		s, err := plan.Apply(s)
		if err != nil {
			fmt.Println(err)
			return
		}
		c, err := simulate.New(s)
		if err != nil {
			fmt.Println(err)
			return
		}
		truth, err := c.OfVisit(0, "")
		if err != nil {
			fmt.Println(err)
			return
		}
		g := c.Grid(simulate.Selection{}, 6)
		if lower(g.Values) <= truth.Mean() { // by closing
			closings++
		}
		if lower(g.DB) <= truth.Mean() { // by closing and point
			points++
		}
	}
	fmt.Printf("closings as the repeats: right in %.0f %%\n", 100*float64(closings)/campaigns)
	fmt.Printf("points as the repeats: right in %.0f %%\n", 100*float64(points)/campaigns)
	// Output:
	// closings as the repeats: right in 96 %
	// points as the repeats: right in 66 %
}

// lower is the lower bound of the mean of independent values, confidence 0.95.
func lower(db []float64) float64 {
	mean, sd, err := interval.MeanSD(db)
	if err != nil {
		panic(err)
	}
	e, err := interval.MeanBounds(len(db), mean, sd, 0.95)
	if err != nil {
		panic(err)
	}
	return e.Lower
}
