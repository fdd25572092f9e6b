package judge

import (
	"math"
	"math/rand/v2"
	"os"
	"testing"
	"time"

	"sealbound/stats"
	"sealbound/stats/dist"
	"sealbound/stats/interval"
	"sealbound/stats/mixed"
	"sealbound/stats/simulate"
)

// replicates is how many campaigns each coverage figure rests on; SEALBOUND_LONG
// asks for ten times as many. A share of 0.95 from 1,000 has a standard error of
// 0.007, so 0.93 is missed by chance in one of 500 runs; seeds are fixed.
func replicates(t *testing.T, n int) int {
	t.Helper()
	if os.Getenv("SEALBOUND_LONG") != "" {
		return 10 * n
	}
	return n
}

// quick judges with fewer draws behind coverage bounds of many nested levels.
var quick = func() Settings { s := usual; s.Draws = 1000; return s }()

// leastCoverage is what every bound must reach at nominal 0.95.
const leastCoverage = 0.93

func thirtyPoints() []simulate.Point {
	var ps []simulate.Point
	for i := range 30 {
		ps = append(ps, simulate.Point{FreqHz: 3e8 + float64(i)*8e7})
	}
	return ps
}

func campaignOf(t *testing.T, p simulate.Plan, change func(*simulate.Settings)) *simulate.Campaign {
	t.Helper()
	s := simulate.Defaults()
	s.Floor = nil
	p.Products = []simulate.Product{{Label: "marlcord", MeanDB: 60}}
	p.First, p.EveryDay, p.Strips = time.Date(2024, 5, 1, 0, 0, 0, 0, time.UTC), 1, 1
	s.SharedReference = true
	change(&s)
	s, err := p.Apply(s)
	if err != nil {
		t.Fatal(err)
	}
	c, err := simulate.New(s)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// gridData makes Data of what the simulation paired.
func gridData(c *simulate.Campaign) (Data, simulate.Grid) {
	g := c.Grid(simulate.Selection{}, 6)
	d := Data{Closings: len(g.Values), Points: len(g.Points),
		Box: g.Factors[simulate.BoxFactor], Fitting: g.Factors[simulate.FittingFactor],
		Session: g.Factors[simulate.SessionFactor], Run: g.Run, Reference: g.Run}
	for i := range g.Values {
		d.OwnReference = append(d.OwnReference, false)
		for p := range g.Points {
			k := i*len(g.Points) + p
			if math.IsNaN(g.DB[k]) {
				continue
			}
			d.Closing, d.Point = append(d.Closing, int32(i)), append(d.Point, int32(p))
			d.DB, d.Limited = append(d.DB, g.DB[k]), append(d.Limited, g.Limited[k])
			d.FloorKnown, d.HeadroomDB = append(d.FloorKnown, true), append(d.HeadroomDB, g.HeadroomDB[k])
		}
	}
	d.Opens = make([]Open, len(g.Runs))
	for range g.Points {
		d.TargetDB = append(d.TargetDB, 50)
	}
	return d, g
}

// One strip in one session, n closings of 30 points that share the closing's luck:
// mean, next closing, coverage and weakest point.
func TestCoverageOneStrip(t *testing.T) {
	for _, n := range []int{2, 3, 5, 12} {
		var mean, cover, weakest, points int
		var next float64
		reps := replicates(t, 1000)
		for rep := range reps {
			c := campaignOf(t, simulate.Plan{Boxes: 1, Sessions: 1, Points: thirtyPoints()}, func(s *simulate.Settings) {
				s.Seed, s.Closings = uint64(rep+1), n
				s.SD.OpenDB, s.SD.ReadingDB = 0, 0 // judged in this set-up
				s.SD.PointDB, s.ProfileSDDB = 1, 1
			})
			d, g := gridData(c)
			r, err := Judge(d, quick)
			if err != nil {
				t.Fatal(err)
			}
			truth, err := c.OfVisit(0, "")
			if err != nil {
				t.Fatal(err)
			}
			mean += count(r.Mean.Lower <= truth.Mean())
			cover += count(r.Coverage.LowerDB <= truth.Level(usual.Coverage))
			next += truth.Above(r.Next.LowerDB) // the chance of a closing to come
			low := math.Inf(1)
			for p := range g.Points {
				low = math.Min(low, pointTruth(t, c, p))
			}
			weakest += count(r.Weakest.LowerDB <= low)
			points += count(pointsAsReplicates(d.DB) <= truth.Mean())
		}
		for name, covered := range map[string]float64{"mean": share(mean, reps), "next closing": next / float64(reps),
			"coverage": share(cover, reps), "weakest point": share(weakest, reps)} {
			if covered < leastCoverage {
				t.Errorf("%d closings: %s covered in %.3f of %d campaigns", n, name, covered, reps)
			}
		}
		t.Logf("%d closings: mean %.3f, next %.3f, coverage %.3f, weakest %.3f; points as replicates %.3f", n,
			share(mean, reps), next/float64(reps), share(cover, reps), share(weakest, reps), share(points, reps))
		if share(points, reps) > 0.75 {
			t.Errorf("%d closings: points as replicates covered %.3f; the reason for closings as replicates is gone", n, share(points, reps))
		}
	}
}

// pointsAsReplicates is the bound that takes every point of every closing for an
// independent witness: what not to do.
func pointsAsReplicates(db []float64) float64 {
	m, sd, err := interval.MeanSD(db)
	if err != nil {
		return math.NaN()
	}
	n := float64(len(db))
	return m - dist.TQuantile(0.95, n-1)*sd/math.Sqrt(n)
}

// Boxes measured in sessions that serve them all: the session's offset is common to
// the boxes, and treating it as nested in the box makes the bound too bold.
func TestCoverageCrossedSessions(t *testing.T) {
	for _, boxes := range []int{3, 6} {
		for _, sessions := range []int{2, 3} {
			var crossed, nested, cover int
			var next float64
			var r0 Result
			reps := replicates(t, 600)
			for rep := range reps {
				c := campaignOf(t, simulate.Plan{Boxes: boxes, Sessions: sessions, Points: thirtyPoints()[:1]}, func(s *simulate.Settings) {
					s.Seed, s.Closings = uint64(1000*boxes+rep), 3
					s.SD = simulate.Spread{BoxDB: 1, SessionDB: 2, ClosingDB: 1}
				})
				d, g := gridData(c)
				r, err := Judge(d, quick)
				if err != nil {
					t.Fatal(err)
				}
				r0 = r
				truth, err := c.Future("marlcord", "", 0)
				if err != nil {
					t.Fatal(err)
				}
				crossed += count(r.Mean.Lower <= truth.Mean())
				next += truth.Above(r.Next.LowerDB) // the chance of a closing to come
				cover += count(r.Coverage.LowerDB <= truth.Level(usual.Coverage))
				nested += count(sessionNested(t, g.Sample) <= truth.Mean())
			}
			t.Logf("%d boxes, %d sessions: mean %.3f, next %.3f, coverage %.3f; session nested in box %.3f", boxes, sessions,
				share(crossed, reps), next/float64(reps), share(cover, reps), share(nested, reps))
			for name, covered := range map[string]float64{"mean": share(crossed, reps), "next closing": next / float64(reps), "coverage": share(cover, reps)} {
				least := leastCoverage
				if boxes == 6 && sessions == 2 {
					least = 0.87 // two sessions that differ more than the boxes: not to be had, and warned of
					if !warned(r0, "few-sessions") {
						t.Error("no warning that two sessions tell little")
					}
				}
				if covered < least {
					t.Errorf("%d boxes, %d sessions: %s covered in %.3f", boxes, sessions, name, covered)
				}
			}
			if boxes == 6 && share(nested, reps) > 0.9 {
				t.Errorf("session nested in box covered %.3f; the reason for crossing is gone", share(nested, reps))
			}
		}
	}
}

// sessionNested is the bound that takes each box's sessions for its own: what not to do.
func sessionNested(t *testing.T, s stats.Sample) float64 {
	t.Helper()
	levels, err := mixed.Separate([]stats.Factor{s.Factors[simulate.BoxFactor], s.Factors[simulate.VisitFactor]}, len(s.Values))
	if err != nil {
		t.Fatal(err)
	}
	fit, err := mixed.Design{Y: s.Values, Terms: levels.Terms, Residual: levels.Residual}.Fit(mixed.REML)
	if err != nil {
		return math.NaN()
	}
	k, err := fit.Contrast([]float64{1})
	if err != nil {
		t.Fatal(err)
	}
	df, _ := fit.SafeDF(k.DF, s.Factors[simulate.BoxFactor].Levels)
	return k.Value - dist.TQuantile(0.95, df)*k.SE
}

// One session for all boxes: only what is known of the session's SD keeps the bound
// honest.
func TestCoverageSharedSessionGiven(t *testing.T) {
	var with, without int
	reps := replicates(t, 600)
	for rep := range reps {
		c := campaignOf(t, simulate.Plan{Boxes: 6, Sessions: 1, Points: thirtyPoints()[:1]}, func(s *simulate.Settings) {
			s.Seed, s.Closings = uint64(50000+rep), 3
			s.SD = simulate.Spread{BoxDB: 1, SessionDB: 1, ClosingDB: 1}
		})
		d, _ := gridData(c)
		s := quick
		s.Reference = []Source{{Name: "session SD", UDB: 1, DF: math.Inf(1)}}
		truth, err := c.Future("marlcord", "", 0)
		if err != nil {
			t.Fatal(err)
		}
		r, err := Judge(d, s)
		if err != nil {
			t.Fatal(err)
		}
		with += count(r.Mean.Lower <= truth.Mean())
		r, err = Judge(d, quick)
		if err != nil {
			t.Fatal(err)
		}
		if !r.ThisSetup {
			t.Fatal("nothing known of the session, but not marked as valid in this set-up only")
		}
		without += count(r.Mean.Lower <= truth.Mean())
	}
	t.Logf("one session for six boxes: %.3f with the session SD, %.3f without", share(with, reps), share(without, reps))
	if share(with, reps) < leastCoverage {
		t.Errorf("with the session SD given: %.3f", share(with, reps))
	}
	if share(without, reps) > 0.9 {
		t.Errorf("without: %.3f; the reason for \"in this set-up\" is gone", share(without, reps))
	}
}

// One session whose open readings err at each point on their own: the weakest point
// needs its own reference's uncertainty, not that of the band's average.
func TestCoverageWeakestOwnReference(t *testing.T) {
	const points, closings, repeats = 20, 5, 3
	hits, reps := 0, replicates(t, 400)
	r := rand.New(rand.NewPCG(11, 4))
	for range reps {
		rows := make([][]float64, closings)
		open := make(Open, repeats)
		for i := range open {
			open[i] = make([]float64, points)
		}
		bias := make([]float64, points)
		for p := range points {
			for i := range open {
				open[i][p] = -30 + r.NormFloat64()
				bias[p] += (open[i][p] + 30) / repeats
			}
		}
		for c := range rows {
			rows[c] = make([]float64, points)
			for p := range points {
				truth := 60.0
				if p == 7 {
					truth = 50
				}
				rows[c][p] = truth + bias[p] + 0.2*r.NormFloat64()
			}
		}
		d := grid(rows, oneStrip)
		d.Opens = []Open{open}
		res, err := Judge(d, quick)
		if err != nil {
			t.Fatal(err)
		}
		hits += count(res.Weakest.LowerDB <= 50)
	}
	t.Logf("weakest point with a reference of its own: %.3f", share(hits, reps))
	if share(hits, reps) < leastCoverage {
		t.Errorf("weakest point covered in %.3f", share(hits, reps))
	}
}

func pointTruth(t *testing.T, c *simulate.Campaign, point int) float64 {
	t.Helper()
	s := c.Settings()
	d, err := c.FuturePoint(s.Products[0].Label, point, 0)
	if err != nil {
		t.Fatal(err)
	}
	visit, err := c.OfVisit(0, "")
	if err != nil {
		t.Fatal(err)
	}
	all, err := c.Future(s.Products[0].Label, "", 0)
	if err != nil {
		t.Fatal(err)
	}
	return d.Mean() + visit.Mean() - all.Mean() // the visit shifts all points alike
}

func warned(r Result, code string) bool {
	for _, w := range r.Warnings {
		if w.Code == code {
			return true
		}
	}
	return false
}

func count(hit bool) int {
	if hit {
		return 1
	}
	return 0
}

func share(hits, of int) float64 { return float64(hits) / float64(of) }
