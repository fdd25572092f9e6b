package campaign

import (
	"errors"
	"fmt"
	"math"
	"time"

	"sealbound/stats/simulate"
)

// Options describe a campaign of evenly laid out boxes, sessions and points in
// plain numbers, one for each flag of the command line. Start from
// DefaultOptions. Levels in dBm, all else in dB where the name says so.
type Options struct {
	Seed uint64 // equal options with equal seeds give equal files

	// What is measured.
	Products int       // gasket products, the conductive ones labelled product-1, product-2, ...
	AsBought bool      // one of them is the seal that the boxes came with, labelled as-bought rubber
	Boxes    int       // test boxes
	Controls int       // boxes that are closed once and never opened
	Crossed  bool      // every box carries every product in turn; false: each box keeps to one product
	Strips   int       // strips of each product in each box that carries it
	Sessions int       // setting-ups of the instruments, each serving all boxes
	EveryDay int       // days from one session to the next
	First    time.Time // date of the first session
	Closings int       // planned closings of each strip in each session
	Sweeps   int       // closed readings of each closing and point

	// Points: Frequencies from LoMHz to HiMHz, evenly on a logarithmic scale.
	Frequencies          int
	LoMHz, HiMHz         float64
	Positions, Polarized int // antenna positions (1: no column); polarizations, 1 (no column) or 2

	// Levels of attenuation.
	AsBoughtDB float64 // mean of the as-bought seal
	MeanDB     float64 // mean of the first conductive product
	StepDB     float64 // from each conductive product to the next
	TiltDB     float64 // change of every product per decade of frequency
	WearDB     float64 // per year, of every conductive product; negative: it loses
	SlopeSDDB  float64 // per year, of each strip's own slope around it

	// Spread, an SD each.
	BoxSDDB, FittingSDDB, SessionSDDB, VisitSDDB float64
	ClosingSDDB, PointSDDB, ProfileSDDB          float64
	OpenSDDB, ReadingSDDB, FloorSDDB             float64

	// What goes wrong.
	BadShare, BadLossDB float64 // share of bad closings and their mean loss
	MissingShare        float64 // of closed readings that are lost
	DroppedShare        float64 // of planned closings that do not take place
	DriftDB             float64 // of the reference in the last box's run of the last session; 0: none

	// The set-up.
	OpenDBM, FloorDBM float64
	NoFloor           bool    // no floor is known and none limits the readings
	OpenRepeats       int     // open sweeps of each run
	ClosedGainDB      float64 // preamplifier in the closed readings of every second session; 0: none
	SharedReference   bool    // one open reference per session instead of one per box and session

	// How it is written.
	Files    Files
	Decimals int
	Share    float64 // of future closings that truth.json's level is exceeded by
}

// DefaultOptions returns a campaign of six boxes, each with the as-bought seal
// and then two conductive gaskets, measured in six half-yearly sessions of five
// closings at 40 frequencies.
func DefaultOptions() Options {
	d := simulate.Defaults()
	return Options{
		Seed: 1, Products: 3, AsBought: true, Boxes: 6, Crossed: true, Strips: 1, Sessions: 6, EveryDay: 182,
		First: date(2020, 4, 4), Closings: d.Closings, Sweeps: d.Sweeps,
		Frequencies: 40, LoMHz: 10, HiMHz: 10000, Positions: 1, Polarized: 1,
		AsBoughtDB: 25, MeanDB: 58, StepDB: 6, TiltDB: -2, WearDB: -0.5, SlopeSDDB: 0.2,
		BoxSDDB: d.SD.BoxDB, FittingSDDB: d.SD.FittingDB, SessionSDDB: d.SD.SessionDB, VisitSDDB: d.SD.VisitDB,
		ClosingSDDB: d.SD.ClosingDB, PointSDDB: d.SD.PointDB, ProfileSDDB: d.ProfileSDDB,
		OpenSDDB: d.SD.OpenDB, ReadingSDDB: d.SD.ReadingDB, FloorSDDB: d.SD.FloorDB,
		BadLossDB: 4, OpenDBM: -30, FloorDBM: -110, OpenRepeats: d.OpenRepeats,
		Files: PerSession, Decimals: 2, Share: 0.90,
	}
}

// Settings turns the options into what Write takes.
func (o Options) Settings() (simulate.Settings, Layout, error) {
	l := DefaultLayout()
	l.Files, l.Decimals, l.Truth.Share = o.Files, o.Decimals, o.Share
	if err := o.check(); err != nil {
		return simulate.Settings{}, l, err
	}
	plan := simulate.Plan{
		Products: o.products(), Boxes: o.Boxes, Controls: o.Controls, Crossed: o.Crossed, Strips: o.Strips,
		Sessions: o.Sessions, First: o.First, EveryDay: o.EveryDay,
		Points: sweptPoints(o.LoMHz*1e6, o.HiMHz*1e6, o.Frequencies, o.Positions, o.Polarized),
	}
	s, err := plan.Apply(o.levels())
	if err != nil {
		return simulate.Settings{}, l, err
	}
	s.Bands = ITU(s.Points)
	if o.DriftDB != 0 {
		s.Drifts = []simulate.Drift{{Session: s.Sessions[o.Sessions-1].Name(), Box: s.Boxes[o.Boxes-1].Label, DB: o.DriftDB}}
	}
	if o.ClosedGainDB != 0 {
		for i := 1; i < o.Sessions; i += 2 {
			s.GainSteps = append(s.GainSteps, simulate.GainStep{Session: s.Sessions[i].Name(), ClosedDB: o.ClosedGainDB})
		}
	}
	return s, l, nil
}

// mostVisits is how many visits a campaign may have: its plan is held in memory.
const mostVisits = 10_000_000

// check refuses counts that cannot be laid out; simulate checks the rest.
func (o Options) check() error {
	for _, n := range []struct {
		name  string
		value int
		least int
	}{
		{"products", o.Products, 1}, {"boxes", o.Boxes, 1}, {"controls", o.Controls, 0}, {"strips", o.Strips, 1},
		{"sessions", o.Sessions, 1}, {"days between sessions", o.EveryDay, 1}, {"closings", o.Closings, 1}, {"sweeps", o.Sweeps, 1},
		{"frequencies", o.Frequencies, 1}, {"positions", o.Positions, 1}, {"polarizations", o.Polarized, 1}, {"open sweeps", o.OpenRepeats, 1},
	} {
		if n.value < n.least || n.value > 1_000_000 {
			return fmt.Errorf("campaign: %d %s; from %d to 1000000 can be laid out", n.value, n.name, n.least)
		}
	}
	switch {
	case (o.Boxes+o.Controls)*o.Sessions > mostVisits || o.Boxes*o.Strips*o.Products > mostVisits:
		return fmt.Errorf("campaign: %d boxes, %d sessions, %d strips of %d products: more than %d visits", o.Boxes, o.Sessions, o.Strips, o.Products, mostVisits)
	case o.Frequencies*o.Positions > 1_000_000:
		return fmt.Errorf("campaign: %d frequencies at %d positions: more than 1000000 points", o.Frequencies, o.Positions)
	case o.Polarized > 2:
		return fmt.Errorf("campaign: %d polarizations; 1 or 2 can be laid out", o.Polarized)
	case !(o.LoMHz > 0) || !(o.HiMHz >= o.LoMHz) || math.IsInf(o.HiMHz, 0) || o.HiMHz > 1e9:
		return fmt.Errorf("campaign: from %v to %v MHz is no range of frequencies", o.LoMHz, o.HiMHz)
	case o.First.Year() < 1900 || o.First.AddDate(0, 0, (o.Sessions-1)*o.EveryDay).Year() > 9999:
		return fmt.Errorf("campaign: %d sessions every %d days from %s do not lie in the years 1900 to 9999", o.Sessions, o.EveryDay, o.First.Format(time.DateOnly))
	case o.AsBought && o.Products < 2:
		return errors.New("campaign: beside the as-bought seal one more product is needed")
	}
	return nil
}

// levels are the settings that need no layout.
func (o Options) levels() simulate.Settings {
	s := simulate.Settings{
		Seed: o.Seed, Closings: o.Closings, Sweeps: o.Sweeps,
		SD: simulate.Spread{
			BoxDB: o.BoxSDDB, FittingDB: o.FittingSDDB, SessionDB: o.SessionSDDB, VisitDB: o.VisitSDDB,
			ClosingDB: o.ClosingSDDB, PointDB: o.PointSDDB, OpenDB: o.OpenSDDB, ReadingDB: o.ReadingSDDB, FloorDB: o.FloorSDDB,
		},
		ProfileSDDB: o.ProfileSDDB, Bad: simulate.Bad{Share: o.BadShare, LossDB: o.BadLossDB},
		Open: simulate.Flat(o.OpenDBM), FloorAdds: true, OpenRepeats: o.OpenRepeats,
		MissingShare: o.MissingShare, DroppedShare: o.DroppedShare, SharedReference: o.SharedReference,
	}
	if !o.NoFloor {
		s.Floor = simulate.Flat(o.FloorDBM)
	}
	return s
}

// products lists the as-bought seal, where wanted, and the conductive gaskets.
func (o Options) products() []simulate.Product {
	middle := math.Sqrt(o.LoMHz*o.HiMHz) * 1e6
	tilt := simulate.Curve{{FreqHz: middle / 1e4, Value: -4 * o.TiltDB}, {FreqHz: middle * 1e4, Value: 4 * o.TiltDB}}
	out := make([]simulate.Product, 0, o.Products)
	if o.AsBought {
		out = append(out, simulate.Product{Label: "as-bought rubber", MeanDB: o.AsBoughtDB, Shape: tilt})
	}
	for n := range o.Products - len(out) {
		out = append(out, simulate.Product{
			Label: fmt.Sprintf("product-%d", n+1), MeanDB: o.MeanDB + float64(float64(n)*o.StepDB),
			Shape: tilt, WearDBPerYear: o.WearDB, SlopeSDDBPerYear: o.SlopeSDDB,
		})
	}
	return out
}

// sweptPoints lists n frequencies, evenly from lo to hi Hz on a logarithmic
// scale and rounded to a whole Hz, at each position and polarization.
func sweptPoints(lo, hi float64, n, positions, polarized int) []simulate.Point {
	out := make([]simulate.Point, 0, n*positions*polarized)
	for i := range n {
		f := lo
		if n > 1 {
			f = math.Round(lo * math.Pow(hi/lo, float64(i)/float64(n-1)))
		}
		for p := range positions {
			for q := range polarized {
				point := simulate.Point{FreqHz: f}
				if positions > 1 {
					point.Position = fmt.Sprintf("position-%d", p+1)
				}
				if polarized > 1 {
					point.Polarization = [...]string{"H", "V"}[q]
				}
				out = append(out, point)
			}
		}
	}
	return out
}
