package campaign

import (
	"time"

	"sealbound/stats/simulate"
)

// Demo returns the campaign of testdata/demo: an invented network of volunteer
// weather stations that keeps spare instruments in steel chart chests. Five
// chests were read with the rubber they came with, re-gasketed with three
// invented products and read again every May; a sixth stays shut as a control.
// Its levels are made up; none comes from a measurement or a data sheet.
func Demo() (simulate.Settings, Layout) {
	s := simulate.Settings{
		Seed: 20190522, Closings: 5, Sweeps: 1, OpenRepeats: 2, DroppedShare: 0.08,
		Products: demoProducts(), Boxes: demoBoxes(), Points: demoPoints(),
		SD: simulate.Spread{
			BoxDB: 1.2, FittingDB: 0.8, SessionDB: 0.6, VisitDB: 0.4,
			ClosingDB: 0.9, PointDB: 1.1, OpenDB: 0.2, ReadingDB: 0.15, FloorDB: 0.4,
		},
		ProfileSDDB: 1.5,
		Bad:         simulate.Bad{Share: 0.04, LossDB: 4},
		Open:        simulate.Curve{{FreqHz: 7e6, Value: -29}, {FreqHz: 1.3e9, Value: -31}, {FreqHz: 5.8e9, Value: -38}},
		Floor:       simulate.Curve{{FreqHz: 7e6, Value: -112}, {FreqHz: 1.3e9, Value: -108}, {FreqHz: 3.4e9, Value: -85}, {FreqHz: 5.8e9, Value: -82}},
		FloorAdds:   true,
		Drifts:      []simulate.Drift{{Session: "2022", Box: "Windle", DB: -4.1}},
		GainSteps:   []simulate.GainStep{{Session: "2021", Box: "Tarnby", ClosedDB: 20, FloorDB: 9}},
	}
	s.Bands = ITU(s.Points)
	for _, d := range demoDays {
		s.Sessions = append(s.Sessions, simulate.Session{Label: d.Format("2006"), Date: d})
	}
	l := DefaultLayout()
	l.Files, l.FreqColumn, l.Fitting = PerSession, "freq_mhz", false
	l.Fields = []Field{{"receiver", "HX2"}, {"rbw_hz", "1000"}, {"antenna", "loops"}, {"method", "cw"}}
	l.Boxes = []BoxRow{
		{"Osmere", "chart chest, tall", 1720, 14, 6}, {"Larkhow", "chart chest, tall", 1720, 14, 6},
		{"Windle", "chart chest, flat", 2040, 16, 6}, {"Tarnby", "chart chest, flat", 2040, 16, 6},
		{"Pikelaw", "chart chest, flat", 2040, 16, 6}, {"Dunmere", "chart chest, tall", 1720, 14, 6},
	}
	l.Gaskets = []GasketRow{
		{"as-bought rubber", 12, 8, 2100, 3.5, "EUR"}, {"greyfleece cloth", 12, 7, 1000, 9, "EUR"},
		{"wickstrand mesh", 12, 7, 1000, 14, "EUR"}, {"curlspring coil", 10, 6, 600, 21, "EUR"},
	}
	l.Events = []Event{
		{date(2021, 10, 9), "Larkhow", "replaced", "greyfleece cloth taken out, curlspring coil put in"},
		{date(2021, 10, 9), "Osmere", "note", "hinge side of the strip looks shiny"},
		{date(2022, 9, 17), "Pikelaw", "replaced", "new wickstrand strip, the old one was torn at the latch"},
	}
	l.Setup = []Setup{
		{"", "note", "invented data from a seeded simulation; no chest, gasket or receiver of these names exists and nothing was measured"},
		{"", "generator", "0 dBm into a loop inside the chest's place, off for the floor readings"},
		{"", "distance", "2 m"},
		{"2021-Tarnby", "preamplifier", "20 dB, in for the closed and floor readings only"},
	}
	l.Readme = demoReadme
	return s, l
}

var demoDays = []time.Time{date(2019, 5, 18), date(2020, 5, 16), date(2021, 5, 22), date(2022, 5, 21), date(2023, 5, 20)}

func date(year int, month time.Month, day int) time.Time {
	return time.Date(year, month, day, 0, 0, 0, 0, time.UTC)
}

func demoProducts() []simulate.Product {
	return []simulate.Product{
		{Label: "as-bought rubber", MeanDB: 25, Shape: simulate.Curve{{FreqHz: 7e6, Value: 3}, {FreqHz: 5.8e9, Value: -3}}},
		{
			Label: "greyfleece cloth", MeanDB: 62, WearDBPerYear: -1.8, SlopeSDDBPerYear: 0.2,
			Shape: simulate.Curve{{FreqHz: 7e6, Value: 3}, {FreqHz: 1e8, Value: 0}, {FreqHz: 1e9, Value: -6}},
		},
		{
			Label: "wickstrand mesh", MeanDB: 66, WearDBPerYear: -0.5, SlopeSDDBPerYear: 0.1,
			Shape: simulate.Curve{{FreqHz: 7e6, Value: 2}, {FreqHz: 1e9, Value: -3}},
		},
		{Label: "curlspring coil", MeanDB: 75, WearDBPerYear: -0.2, SlopeSDDBPerYear: 0.1, Shape: simulate.Curve{{FreqHz: 7e6, Value: -4}, {FreqHz: 1e8, Value: 0}, {FreqHz: 1e9, Value: -3}}},
	}
}

// demoBoxes: on the first day each chest is read with its rubber and, once that
// is out, with its first conductive strip.
func demoBoxes() []simulate.Box {
	first := demoDays[0]
	rubber := simulate.Fitting{Product: "as-bought rubber", Installed: date(2017, 11, 4), Removed: first}
	strip := func(product string, in, out time.Time) simulate.Fitting {
		return simulate.Fitting{Product: product, Installed: in, Removed: out}
	}
	change, torn, stays := date(2021, 10, 9), date(2022, 9, 17), time.Time{}
	return []simulate.Box{
		{Label: "Osmere", Fittings: []simulate.Fitting{rubber, strip("greyfleece cloth", first, stays)}},
		{Label: "Larkhow", Fittings: []simulate.Fitting{rubber, strip("greyfleece cloth", first, change), strip("curlspring coil", change, stays)}},
		{Label: "Windle", Fittings: []simulate.Fitting{rubber, strip("wickstrand mesh", first, stays)}},
		{Label: "Tarnby", Fittings: []simulate.Fitting{rubber, strip("curlspring coil", first, stays)}},
		{Label: "Pikelaw", Fittings: []simulate.Fitting{rubber, strip("wickstrand mesh", first, torn), strip("wickstrand mesh", torn, stays)}},
		{Label: "Dunmere", Control: true, Fittings: []simulate.Fitting{strip("wickstrand mesh", first, stays)}},
	}
}

func demoPoints() []simulate.Point {
	var out []simulate.Point
	for _, mhz := range []float64{7.1, 21.2, 51, 145, 433, 1290, 3400, 5760} {
		for _, position := range []string{"latch", "hinge"} {
			out = append(out, simulate.Point{FreqHz: mhz * 1e6, Position: position})
		}
	}
	return out
}

const demoReadme = `# Demo campaign: invented data

Everything here is made up by a seeded simulation. There is no such network, no
chest, gasket or receiver of these names, and no level was measured. Learn the
tool with it; learn nothing about gaskets from it.

The story: a network of volunteer weather stations keeps spare instruments in
steel chart chests. On one Saturday every May, 2019 to 2023, the chests come
together and are measured at eight frequencies, with the antenna on the latch
side and on the hinge side, five closings each (some were skipped).

| chest | gaskets |
|---|---|
| Osmere | as-bought rubber (2019 only), then greyfleece cloth |
| Larkhow | as-bought rubber (2019 only), greyfleece cloth to 2021, then curlspring coil |
| Windle | as-bought rubber (2019 only), then wickstrand mesh |
| Tarnby | as-bought rubber (2019 only), then curlspring coil |
| Pikelaw | as-bought rubber (2019 only), then wickstrand mesh, a new strip of it since September 2022 |
| Dunmere | control: wickstrand mesh, shut in 2019 and never opened since |

Worth finding: the rubber is far from 50 dB; greyfleece cloth wears; above 3 GHz
the receiver's floor is too near to show 50 dB; some readings elsewhere stand
near the floor too; the reference of one run moved by more than 3 dB; in one run
a preamplifier was put in for the closed readings; a few closings went wrong.

- session-YEAR.csv: the readings, one row each, grouped by run (chest and day).
  Each run has two open sweeps (start, end) and one floor sweep (generator off).
- boxes.csv, gaskets.csv, events.csv, setup.csv: the side tables.
- truth.json: what the simulation put in. No command reads it.
`
