package campaign

import (
	"fmt"

	"sealbound/stats/simulate"
)

// Yardstick returns the campaign that speed is measured with: 40 boxes that
// carry six products in turn, 2,260 runs of one open and ten closed sweeps at
// 201 points from 10 MHz to 10 GHz. That is 4,996,860 readings; as a single
// file (or one per run) about 358 MB of CSV.
func Yardstick(files Files) (simulate.Settings, Layout, error) {
	const sessions, boxes = 57, 40
	s := simulate.Defaults()
	s.Closings, s.OpenRepeats = 10, 1
	s.Open, s.Floor = simulate.Flat(-30.4), simulate.Curve{{FreqHz: 1e7, Value: -124}, {FreqHz: 1e10, Value: -112}}
	plan := simulate.Plan{
		Boxes: boxes, Crossed: true, Strips: 1, Sessions: sessions, EveryDay: 7, First: date(2021, 3, 6),
		Points: sweptPoints(10e6, 10e9, 201, 1, 1),
	}
	for i := range 6 {
		plan.Products = append(plan.Products, simulate.Product{
			Label: fmt.Sprintf("product-%d", i+1), MeanDB: 48 + 5*float64(i), WearDBPerYear: -0.4,
			Shape: simulate.Curve{{FreqHz: 1e7, Value: 3}, {FreqHz: 1e10, Value: -6}},
		})
	}
	s, err := plan.Apply(s)
	if err != nil {
		return s, Layout{}, err
	}
	for i := range s.Sessions {
		s.Sessions[i].Label = fmt.Sprintf("wk%02d", i+1)
	}
	s.Bands = ITU(s.Points)
	// Half of the boxes stay away on the last day: 56 * 40 + 20 runs.
	for _, b := range s.Boxes[:boxes/2] {
		s.Sessions[sessions-1].Boxes = append(s.Sessions[sessions-1].Boxes, b.Label)
	}
	l := DefaultLayout()
	l.Files, l.Floor, l.Fitting, l.Installed = files, FloorColumn, false, false
	l.Events = []Event{}
	return s, l, nil
}
