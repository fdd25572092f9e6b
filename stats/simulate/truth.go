package simulate

import (
	"fmt"
	"math"
	"time"
)

// Future is the distribution of the band value of a future closing: a new box
// with a new strip of the product, aged ageYears, in a session yet to come. An
// empty band means all points. It holds the errors of the open sweeps and of the readings,
// since every measured closing has them.
func (c *Campaign) Future(product, band string, ageYears float64) (Distribution, error) {
	g, points, err := c.find(product, band)
	if err != nil {
		return Distribution{}, err
	}
	return c.future(g, points, ageYears), nil
}

// FuturePoint is likewise for one point, an index in Settings.Points.
func (c *Campaign) FuturePoint(product string, point int, ageYears float64) (Distribution, error) {
	g, points, err := c.find(product, "")
	if err != nil {
		return Distribution{}, err
	}
	if point < 0 || point >= len(points) {
		return Distribution{}, fmt.Errorf("simulate: no point %d among %d", point, len(points))
	}
	return c.future(g, []int{point}, ageYears), nil
}

// OfStrip is the distribution of the band value of a closing of one strip in
// its box, at the age it has in the visit, in any session: what the box and the
// strip drew is part of its centre. visit is an index in Visits.
func (c *Campaign) OfStrip(visit int, band string) (Distribution, error) {
	points := c.pointsOf(band)
	if visit < 0 || visit >= len(c.visits) || len(points) == 0 {
		return Distribution{}, fmt.Errorf("simulate: no visit %d or no point in band %q", visit, band)
	}
	s, v, m := &c.settings, &c.visits[visit], c.newMeter()
	variance := square(s.SD.SessionDB) + square(s.SD.VisitDB) + c.referenceVariance(points) + c.closingVariance(points)
	return Distribution{
		CentreDB: c.meanOf(v.Product, points) + m.strip(&c.fittings[v.Fitting], v.AgeYears),
		SDDB:     math.Sqrt(variance), Bad: s.Bad,
	}, nil
}

// OfVisit is the distribution of the band value of a closing in one visit: this
// strip in this box, this session, this reference. visit is an index in Visits.
// The drift of its run is left out.
func (c *Campaign) OfVisit(visit int, band string) (Distribution, error) {
	points := c.pointsOf(band)
	if visit < 0 || visit >= len(c.visits) || len(points) == 0 {
		return Distribution{}, fmt.Errorf("simulate: no visit %d or no point in band %q", visit, band)
	}
	v, m := &c.visits[visit], c.newMeter()
	reference := newReferences(c).meanOver(m, v.Run, points)
	if c.settings.OpenRepeats > 1 {
		reference -= c.runs[v.Run].DriftDB / 2 // evenly spread sweeps: the mean of their shares is 1/2
	}
	return Distribution{
		CentreDB: c.meanOf(v.Product, points) + m.visit(v) + reference,
		SDDB:     math.Sqrt(c.closingVariance(points)), Bad: c.settings.Bad,
	}, nil
}

func (c *Campaign) find(product, band string) (int, []int, error) {
	points := c.pointsOf(band)
	if len(points) == 0 {
		return 0, nil, fmt.Errorf("simulate: no point in band %q", band)
	}
	for g, p := range c.settings.Products {
		if p.Label == product {
			return g, points, nil
		}
	}
	return 0, nil, fmt.Errorf("simulate: no product %q", product)
}

func (c *Campaign) future(g int, points []int, ageYears float64) Distribution {
	s, p := &c.settings, &c.settings.Products[g]
	variance := square(s.SD.BoxDB) + square(s.SD.FittingDB) + square(s.SD.SessionDB) + square(s.SD.VisitDB) +
		square(p.SlopeSDDBPerYear*ageYears) + c.referenceVariance(points) + c.closingVariance(points)
	return Distribution{
		CentreDB: c.meanOf(g, points) + float64(p.WearDBPerYear*ageYears),
		SDDB:     math.Sqrt(variance), Bad: s.Bad,
	}
}

// closingVariance is what differs between the band values of one visit's
// closings that are not bad, dB².
func (c *Campaign) closingVariance(points []int) float64 {
	s := &c.settings
	n := float64(len(points))
	variance := square(s.SD.ClosingDB) + square(s.SD.ReadingDB)/(n*float64(s.Sweeps))
	for _, i := range points {
		variance += square(c.sds[i]) / (n * n)
	}
	return variance
}

// referenceVariance is that of a run's averaged open sweeps over the points, dB².
func (c *Campaign) referenceVariance(points []int) float64 {
	s := &c.settings
	return (square(s.SD.OpenDB) + square(s.SD.ReadingDB)/float64(len(points))) / float64(s.OpenRepeats)
}

func square(x float64) float64 { return x * x }

// A Truth is what the statistics should find, for people and for truth.json.
// Its figures are rounded to a ten-thousandth, beyond which processors differ.
type Truth struct {
	Seed        uint64         `json:"seed"`
	Date        string         `json:"date"` // ISO; what the ages count to
	Share       float64        `json:"share"`
	SDs         Spread         `json:"sds"`
	ProfileSDDB float64        `json:"profile_sd_db"`
	BadClosings Bad            `json:"bad_closings"`
	Products    []ProductTruth `json:"products"`
	Fittings    []FittingTruth `json:"fittings"`
	DriftedRuns []DriftedRun   `json:"drifted_runs"`
}

// A ProductTruth is one product over all boxes that might carry it.
type ProductTruth struct {
	Gasket           string       `json:"gasket"`
	WearDBPerYear    float64      `json:"wear_db_per_year"`
	SlopeSDDBPerYear float64      `json:"slope_sd_db_per_year"`
	AgeYears         float64      `json:"age_years"` // mean, on the date, of its strips in the test boxes then, else of its last ones
	Bands            []BandTruth  `json:"bands"`
	Points           []PointTruth `json:"points"`
}

// A BandTruth is a product's distribution of closings in one band.
type BandTruth struct {
	Band      string  `json:"band"`
	LoHz      float64 `json:"lo_hz"`
	HiHz      float64 `json:"hi_hz"`
	Points    int     `json:"points"`
	NewMeanDB float64 `json:"new_mean_db"` // at age 0
	MeanDB    float64 `json:"mean_db"`     // at AgeYears
	SDDB      float64 `json:"sd_db"`       // over new boxes, strips, sessions and closings
	ExceedsDB float64 `json:"exceeds_db"`  // the level that Share of those closings exceed
}

// A PointTruth is a product's mean at one point at AgeYears.
type PointTruth struct {
	FreqHz       float64 `json:"freq_hz"`
	Position     string  `json:"position"`
	Polarization string  `json:"polarization"`
	MeanDB       float64 `json:"mean_db"`
}

// A FittingTruth is one strip in its box: what it drew is part of its figures.
type FittingTruth struct {
	Box            string    `json:"box"`
	Gasket         string    `json:"gasket"`
	Fitting        string    `json:"fitting"`
	Installed      string    `json:"installed"`
	LastSession    string    `json:"last_session"`
	SlopeDBPerYear float64   `json:"slope_db_per_year"`
	LastMeansDB    []float64 `json:"last_means_db"` // by band as in its product, at the last session's date, over sessions and closings
	Control        bool      `json:"control"`
	AgeYears       float64   `json:"age_years"` // at the last session's date
	Visits         int       `json:"visits"`
}

// A DriftedRun is one whose reference was made to move.
type DriftedRun struct {
	Run     string  `json:"run"`
	DriftDB float64 `json:"drift_db"`
}

// Truth gathers the truth on a date. share is that of future closings which
// ExceedsDB speaks of, above 0 and below 1.
func (c *Campaign) Truth(date time.Time, share float64) (Truth, error) {
	if !(share > 0 && share < 1) {
		return Truth{}, fmt.Errorf("simulate: the share %v is not between 0 and 1", share)
	}
	s := &c.settings
	t := Truth{
		Seed: s.Seed, Date: date.Format(time.DateOnly), Share: share, SDs: s.SD, ProfileSDDB: s.ProfileSDDB, BadClosings: s.Bad,
		Products: []ProductTruth{}, Fittings: []FittingTruth{}, DriftedRuns: []DriftedRun{},
	}
	bands := c.bands()
	for g := range s.Products {
		t.Products = append(t.Products, c.productTruth(g, bands, date, share))
	}
	t.Fittings = append(t.Fittings, c.fittingTruths(bands)...)
	for _, r := range c.runs {
		if r.DriftDB != 0 {
			t.DriftedRuns = append(t.DriftedRuns, DriftedRun{Run: r.Label, DriftDB: r.DriftDB})
		}
	}
	return t, nil
}

func tidy(x float64) float64 { return math.Round(x*1e4) / 1e4 }

// bands lists the bands that hold a point; one that holds all where there are none.
func (c *Campaign) bands() []Band {
	var out []Band
	for _, b := range c.settings.Bands {
		if len(c.pointsOf(b.Name)) > 0 {
			out = append(out, b)
		}
	}
	if out == nil {
		lo, hi := math.Inf(1), 0.0
		for _, p := range c.settings.Points {
			lo, hi = math.Min(lo, p.FreqHz), math.Max(hi, p.FreqHz)
		}
		out = []Band{{LoHz: math.Nextafter(lo, 0), HiHz: hi}}
	}
	return out
}

func (c *Campaign) productTruth(g int, bands []Band, date time.Time, share float64) ProductTruth {
	s, p := &c.settings, &c.settings.Products[g]
	age := c.meanAge(g, date)
	t := ProductTruth{Gasket: p.Label, WearDBPerYear: p.WearDBPerYear, SlopeSDDBPerYear: p.SlopeSDDBPerYear, AgeYears: tidy(age)}
	for _, b := range bands {
		points := c.pointsOf(b.Name)
		now := c.future(g, points, age)
		t.Bands = append(t.Bands, BandTruth{
			Band: b.Name, LoHz: b.LoHz, HiHz: b.HiHz, Points: len(points),
			NewMeanDB: tidy(c.future(g, points, 0).Mean()), MeanDB: tidy(now.Mean()), SDDB: tidy(now.SD()), ExceedsDB: tidy(now.Level(share)),
		})
	}
	for i, pt := range s.Points {
		t.Points = append(t.Points, PointTruth{pt.FreqHz, pt.Position, pt.Polarization, tidy(c.future(g, []int{i}, age).Mean())})
	}
	return t
}

// meanAge averages, over the test boxes, the age on the date of the strip of a
// product that is in the box then, else of its last one when it was removed.
func (c *Campaign) meanAge(g int, date time.Time) float64 {
	sum, n := 0.0, 0
	for _, b := range c.settings.Boxes {
		age, found := 0.0, false
		for _, f := range b.Fittings {
			if f.Product != c.settings.Products[g].Label || b.Control || date.Before(f.Installed) {
				continue
			}
			until := date
			if !f.Removed.IsZero() && f.Removed.Before(date) {
				until = f.Removed
			}
			age, found = float64(until.Sub(f.Installed)/day)/daysPerYear, true
		}
		if found {
			sum += age
			n++
		}
	}
	if n == 0 {
		return 0
	}
	return sum / float64(n)
}

func (c *Campaign) fittingTruths(bands []Band) []FittingTruth {
	s, m := &c.settings, c.newMeter()
	last, count := map[int]int{}, map[int]int{}
	for i := range c.visits {
		f := c.visits[i].Fitting
		count[f]++
		if before, known := last[f]; !known || s.Sessions[c.visits[before].Session].Date.Before(s.Sessions[c.visits[i].Session].Date) {
			last[f] = i
		}
	}
	var out []FittingTruth
	for i := range c.fittings {
		at, measured := last[i]
		if !measured {
			continue
		}
		f, v := &c.fittings[i], &c.visits[at]
		t := FittingTruth{
			Box: s.Boxes[f.box].Label, Gasket: s.Products[f.product].Label, Fitting: f.label, Control: f.control,
			Installed: v.Installed.Format(time.DateOnly), LastSession: s.Sessions[v.Session].Date.Format(time.DateOnly),
			AgeYears: tidy(v.AgeYears), SlopeDBPerYear: tidy(m.slope(f)), Visits: count[i],
		}
		for _, b := range bands {
			d, err := c.OfStrip(at, b.Name)
			if err != nil {
				continue // bands holds only bands with a point
			}
			t.LastMeansDB = append(t.LastMeansDB, tidy(d.Mean()))
		}
		out = append(out, t)
	}
	return out
}
