package spread

import (
	"math"
	"os"
	"testing"
	"time"

	"sealbound/stats/judge"
	"sealbound/stats/simulate"
)

// replicates is how many campaigns each coverage figure rests on; SEALBOUND_LONG asks
// for 25 times as many. Seeds are fixed. The last long results stand in
// testdata/coverage.md.
func replicates(t *testing.T, n int) int {
	t.Helper()
	if os.Getenv("SEALBOUND_LONG") != "" {
		return 25 * n
	}
	return n
}

// leastCoverage is what every bound must reach at nominal 0.95. Short runs are asked
// for what is within two of their standard errors.
func leastCoverage(n int) float64 {
	if n < 1000 {
		return 0.93 - 2*math.Sqrt(0.95*0.05/float64(n))
	}
	return 0.93
}

// A plan lays out a simulated campaign.
type plan struct {
	boxes, strips, sessions, closings, everyDay int
	sd                                          simulate.Spread
	wear, own                                   float64
	floor                                       simulate.Curve
	points                                      int
}

func (p plan) campaign(t *testing.T, seed uint64) *simulate.Campaign {
	t.Helper()
	s := simulate.Defaults()
	s.SharedReference, s.SD, s.Seed, s.Closings, s.Floor = true, p.sd, seed, p.closings, p.floor
	var points []simulate.Point
	for i := range max(1, p.points) {
		points = append(points, simulate.Point{FreqHz: 1e8 + 1e7*float64(i)})
	}
	layout := simulate.Plan{Boxes: p.boxes, Sessions: p.sessions, Strips: max(1, p.strips), Points: points,
		Products: []simulate.Product{{Label: "marlcord", MeanDB: 60, WearDBPerYear: p.wear, SlopeSDDBPerYear: p.own}},
		First:    time.Date(2024, 5, 1, 0, 0, 0, 0, time.UTC), EveryDay: max(1, p.everyDay)}
	s, err := layout.Apply(s)
	if err != nil {
		t.Fatal(err)
	}
	c, err := simulate.New(s)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// tally counts how often a quantity's bounds hold; those that are not defined do not
// count.
type tally struct{ n, lower, upper int }

func (k *tally) add(q Quantity, truth float64) {
	if math.IsNaN(q.SD) {
		return
	}
	k.n++
	if q.Lower <= truth {
		k.lower++
	}
	if q.Upper >= truth {
		k.upper++
	}
}

func (k tally) check(t *testing.T, what string, p plan) {
	t.Helper()
	if k.n == 0 {
		return
	}
	lower, upper := float64(k.lower)/float64(k.n), float64(k.upper)/float64(k.n)
	if os.Getenv("SEALBOUND_LONG") != "" {
		t.Logf("| %d | %d | %d | %d | %g/%g/%g/%g | %s | %.3f | %.3f |", p.boxes, max(1, p.strips), p.sessions, p.closings,
			p.sd.BoxDB, p.sd.SessionDB, p.sd.VisitDB, p.sd.ClosingDB, what, lower, upper)
	}
	if least := leastCoverage(k.n); lower < least || upper < least {
		t.Errorf("%s of %+v: lower bound holds in %.3f, upper in %.3f of %d campaigns", what, p, lower, upper, k.n)
	}
}

func sum2(x ...float64) float64 {
	ss := 0.0
	for _, v := range x {
		ss += v * v
	}
	return math.Sqrt(ss)
}

// Bounds of repeatability, reproducibility and unit SD, and of every component, in
// campaigns with spread at all levels, at none but the closing, and mostly between
// sessions. "Repeatable" and "not repeatable" rest on them, so each is wrong in at
// most one of twenty campaigns.
func TestCoverage(t *testing.T) {
	plans := []plan{
		{boxes: 1, sessions: 1, closings: 4}, {boxes: 1, sessions: 4, closings: 3}, {boxes: 4, sessions: 3, closings: 2},
		{boxes: 5, sessions: 4, closings: 1},
	}
	if os.Getenv("SEALBOUND_LONG") != "" {
		plans = append(plans, plan{boxes: 1, sessions: 2, closings: 3}, plan{boxes: 2, sessions: 2, closings: 5},
			plan{boxes: 6, sessions: 1, closings: 4}, plan{boxes: 3, strips: 2, sessions: 4, closings: 2}, plan{boxes: 8, sessions: 3, closings: 2})
	}
	for _, p := range plans {
		for _, sd := range []simulate.Spread{
			{BoxDB: 2, FittingDB: 1, SessionDB: 0.8, VisitDB: 0.5, ClosingDB: 1.2},
			{ClosingDB: 1},
			{BoxDB: 1, SessionDB: 2, VisitDB: 1, ClosingDB: 0.5},
		} {
			p.sd = sd
			var same, day, unit tally
			for rep := range replicates(t, 120) {
				x := p.campaign(t, uint64(rep+1)).Closings(simulate.Selection{})
				r := empty()
				r.analyse(x.Values, x.Factors, nil, usual)
				same.add(r.Repeatability, sd.ClosingDB)
				day.add(r.Reproducibility, sum2(sd.ClosingDB, sd.VisitDB, sd.SessionDB))
				unit.add(r.Unit, sum2(sd.BoxDB, sd.FittingDB))
			}
			same.check(t, "repeatability", p)
			day.check(t, "reproducibility", p)
			unit.check(t, "unit", p)
		}
	}
}

// Five yearly sessions of strips that wear, each at its own rate: with age apart the
// bounds hold.
func TestCoverageOverYears(t *testing.T) {
	p := plan{boxes: 5, sessions: 5, closings: 2, everyDay: 365, wear: -1, own: 0.3,
		sd: simulate.Spread{BoxDB: 1.5, SessionDB: 0.5, VisitDB: 0.4, ClosingDB: 1}}
	var same, day, slope tally
	for rep := range replicates(t, 60) {
		x := p.campaign(t, uint64(rep+1)).Closings(simulate.Selection{})
		r := empty()
		r.analyse(x.Values, x.Factors, x.AgeYears, usual)
		if r.Wear == nil || !r.Wear.Own {
			t.Fatal("age is not in the model")
		}
		same.add(r.Repeatability, 1)
		day.add(r.Reproducibility, sum2(1, 0.4, 0.5))
		k := component(t, &r, slopeSource)
		scale := k.SD / k.PerYear
		if k.PerYear == 0 {
			_, _, scale = centre(x.AgeYears)
		}
		slope.add(Quantity{SD: k.SD, Lower: k.Lower, Upper: k.Upper}, 0.3*scale)
	}
	same.check(t, "repeatability with wear", p)
	day.check(t, "reproducibility with wear", p)
	slope.check(t, "fitting slope", p)
}

// Readings at the floor shrink the spread if they are taken as they stand; without
// their points the bounds hold.
func TestCoverageWithLimitedReadings(t *testing.T) {
	// The floor rises with frequency, so that the upper points are limited now and then.
	p := plan{boxes: 1, sessions: 1, closings: 6, points: 10, sd: simulate.Spread{ClosingDB: 2, PointDB: 0.1, FloorDB: 0.1},
		floor: simulate.Curve{{FreqHz: 1e8, Value: -112}, {FreqHz: 1.9e8, Value: -90}}}
	var kept, substituted tally
	limited := 0
	n := replicates(t, 400)
	for rep := range n {
		d := fromGrid(p.campaign(t, uint64(rep+1)))
		r, err := Spread(d, usual)
		if err != nil {
			t.Fatal(err)
		}
		// Its points share the closing's draw; what is theirs alone averages out.
		truth := sum2(2, 0.1/math.Sqrt(float64(max(1, len(r.Points)))))
		kept.add(r.Repeatability, truth)
		if len(r.LimitedPoints) > 0 {
			limited++
		}
		for i := range d.Limited {
			d.Limited[i] = false
		}
		if r, err = Spread(d, usual); err != nil {
			t.Fatal(err)
		}
		substituted.add(r.Repeatability, truth)
	}
	if limited < n*9/10 || kept.n < n*8/10 {
		t.Errorf("limited in %d, analysed in %d of %d campaigns", limited, kept.n, n)
	}
	// The widest campaigns have too many points at the floor, so nothing is said of
	// them; that is no wrong claim.
	none := n - kept.n
	kept = tally{n, kept.lower + none, kept.upper + none}
	kept.check(t, "repeatability, limited points left out", p)
	if share := float64(substituted.upper) / float64(n); share > 0.9 {
		t.Errorf("limited readings taken as they stand: the upper bound holds in %.3f, so the rule would not be needed", share)
	}
}

func fromGrid(c *simulate.Campaign) Data {
	g := c.Grid(simulate.Selection{}, 6)
	d := Data{Data: judge.Data{Closings: len(g.Values), Points: len(g.Points), Box: g.Factors[simulate.BoxFactor],
		Fitting: g.Factors[simulate.FittingFactor], Session: g.Factors[simulate.SessionFactor]}}
	for i := range g.Values {
		for p := range g.Points {
			if k := i*len(g.Points) + p; !math.IsNaN(g.DB[k]) {
				d.Closing, d.Point = append(d.Closing, int32(i)), append(d.Point, int32(p))
				d.DB, d.Limited, d.FloorKnown = append(d.DB, g.DB[k]), append(d.Limited, g.Limited[k]), append(d.FloorKnown, true)
			}
		}
	}
	return d
}
