package wear

import (
	"fmt"
	"math"
	"os"
	"testing"
	"time"

	"sealbound/stats"
	"sealbound/stats/dist"
	"sealbound/stats/judge"
	"sealbound/stats/simulate"
)

// long asks for every cell and many campaigns of each; testdata/coverage.md has the
// last figures. In short a few cells run. Seeds are fixed.
var long = os.Getenv("SEALBOUND_LONG") != ""

func replicates(short, full int) int {
	if long {
		return full
	}
	return short
}

// leastCoverage is what every bound must reach at nominal 0.95.
const leastCoverage = 0.93

// reached reports whether a share of n campaigns is at least what is asked, or as far
// below as chance explains where they are few.
func reached(share, asked float64, n int) bool {
	if n < 600 {
		asked -= 2.5 * math.Sqrt(0.05*0.95/float64(max(1, n)))
	}
	return share >= asked
}

// A made-up campaign of yearly retests.
type retests struct {
	boxes, sessions, closings, points int
	wear, slopeSD, sessionSD          float64
	strips                            int     // of each box, one after the other
	limited                           float64 // share of readings at the floor, about
	controls                          int
}

// made is one outcome with its truth.
type made struct {
	d              Data
	slope          float64
	mean           func(points []int32, age float64) float64 // of the line over the points, dB
	age            float64                                   // of the last test
	shareOfLimited float64
	campaign       *simulate.Campaign
}

func (c retests) make(t *testing.T, seed uint64) made {
	t.Helper()
	s := simulate.Defaults()
	s.Seed, s.Closings, s.SharedReference = seed, c.closings, true
	s.SD.SessionDB, s.SD.OpenDB, s.SD.ReadingDB = c.sessionSD, 0, 0
	s.SD.PointDB = 1
	s.Floor = nil
	p := simulate.Plan{Products: []simulate.Product{{Label: "marlcord", MeanDB: 70, WearDBPerYear: c.wear, SlopeSDDBPerYear: c.slopeSD}},
		Boxes: c.boxes, Controls: c.controls, Strips: max(1, c.strips), Sessions: c.sessions,
		First: time.Date(2018, 5, 1, 0, 0, 0, 0, time.UTC), EveryDay: 365}
	for k := range c.points {
		p.Points = append(p.Points, simulate.Point{FreqHz: 1e9 + 1e8*float64(k)})
	}
	if c.limited > 0 {
		s.Floor, s.FloorAdds, s.SD.FloorDB = simulate.Flat(c.floorDBM(s)), false, 0
	}
	s, err := p.Apply(s)
	if err != nil {
		t.Fatal(err)
	}
	campaign, err := simulate.New(s)
	if err != nil {
		t.Fatal(err)
	}
	visits := campaign.Visits()
	m := made{age: math.Inf(-1), campaign: campaign}
	first := s.Sessions[0].Date
	limited := 0
	d := &m.d
	selections := []simulate.Selection{{}}
	if c.controls > 0 {
		selections = append(selections, simulate.Selection{Box: "control-1"})
	}
	for k, selection := range selections {
		g := campaign.Grid(selection, 6)
		d.Points = len(g.Points)
		for i := range g.Values {
			v := visits[g.Visits[i]]
			add := func(f *stats.Factor, code int) {
				f.Codes, f.Levels = append(f.Codes, int32(code)), max(f.Levels, code+1)
			}
			add(&d.Box, v.Box)
			add(&d.Fitting, v.Fitting)
			add(&d.Session, v.Session)
			d.AgeYears = append(d.AgeYears, v.AgeYears)
			d.Years = append(d.Years, s.Sessions[v.Session].Date.Sub(first).Hours()/24/365.25)
			if c.controls > 0 {
				d.Control = append(d.Control, k == 1)
			}
			m.age = math.Max(m.age, v.AgeYears)
			for p := range g.Points {
				k := i*len(g.Points) + p
				d.Closing, d.Point = append(d.Closing, int32(d.Closings)), append(d.Point, int32(p))
				d.DB, d.Limited = append(d.DB, g.DB[k]), append(d.Limited, g.Limited[k])
				d.FloorKnown, d.HeadroomDB = append(d.FloorKnown, true), append(d.HeadroomDB, g.HeadroomDB[k])
				if g.Limited[k] {
					limited++
				}
			}
			d.Closings++
		}
	}
	d.Run = d.Session
	m.shareOfLimited = float64(limited) / float64(len(d.DB))
	for range d.Points {
		d.TargetDB = append(d.TargetDB, 0)
	}
	m.slope = c.wear
	offset := 0.0 // of the one strip from all strips, at the last test
	last := visits[len(visits)-1]
	if c.boxes == 1 && c.strips <= 1 {
		strip, err := campaign.OfStrip(len(visits)-1, "")
		if err != nil {
			t.Fatal(err)
		}
		all, err := campaign.Future("marlcord", "", last.AgeYears)
		if err != nil {
			t.Fatal(err)
		}
		truth, err := campaign.Truth(s.Sessions[len(s.Sessions)-1].Date, 0.9)
		if err != nil {
			t.Fatal(err)
		}
		offset, m.slope = strip.Mean()-all.Mean(), truth.Fittings[0].SlopeDBPerYear
	}
	m.mean = func(points []int32, age float64) float64 {
		mean := 0.0
		for _, p := range points {
			f, err := campaign.FuturePoint("marlcord", int(p), last.AgeYears)
			if err != nil {
				t.Fatal(err)
			}
			mean += f.Mean() / float64(len(points))
		}
		return mean + offset + m.slope*(age-last.AgeYears)
	}
	return m
}

// floorDBM puts the floor so that about the wanted share of readings is limited.
func (c retests) floorDBM(s simulate.Settings) float64 {
	years := float64(c.sessions - 1)
	centre := 70 + c.wear*years/2
	spread := math.Sqrt(square(s.SD.BoxDB) + square(s.SD.FittingDB) + square(c.sessionSD) + square(s.SD.VisitDB) + square(s.SD.ClosingDB) +
		square(s.SD.PointDB) + square(s.ProfileSDDB) + square(c.wear)*years*(years+2)/12)
	headroom := centre + spread*quantile(1-c.limited)
	return -30 - headroom - 6
}

// A trial is how campaigns are studied, and the method whose results count; all if empty.
type trial struct {
	Settings
	only Method
}

// coverage counts over campaigns.
type coverage struct {
	n, slope                           int // with a slope
	lower, upper, meanLower, meanUpper int
	crossing, wears                    int
	control                            int     // the difference from the control box is below and above its bounds
	next, most                         float64 // shares of future closings above the bound, and of campaigns where most are
	methods                            map[Method]int
	limited                            float64
	widths                             []float64
	bias                               float64
}

func (c retests) cover(t *testing.T, reps int, seed uint64, settings trial) coverage {
	t.Helper()
	v := coverage{methods: map[Method]int{}}
	for rep := range reps {
		m := c.make(t, seed+uint64(rep))
		s := settings.Settings
		s.LastAge = m.age
		s.AgeYears = m.age + 1.5
		// The line crosses the target a year and a half after the last test, at the points
		// that the method takes.
		chosen := empty(s)
		if err := chosen.take(m.d); err != nil {
			t.Fatal(err)
		}
		target := m.mean(chosen.Points, s.AgeYears)
		for p := range m.d.TargetDB {
			m.d.TargetDB[p] = target
		}
		r, err := Wear(m.d, s)
		if err != nil {
			t.Fatal(err)
		}
		v.n++
		v.limited += m.shareOfLimited / float64(reps)
		v.methods[r.Method]++
		if math.IsNaN(r.Slope.Lower) || settings.only != "" && r.Method != settings.only {
			continue
		}
		v.slope++
		v.bias += r.Slope.Value - m.slope
		v.lower += hit(r.Slope.Lower <= m.slope)
		v.upper += hit(r.Slope.Upper >= m.slope)
		v.meanLower += hit(r.Mean.Lower <= target)
		v.meanUpper += hit(r.Mean.Upper >= target)
		v.crossing += hit(r.LowerCross.Status == AlreadyBelow || r.LowerCross.Status == Crosses && r.LowerCross.Age <= s.AgeYears)
		v.wears += hit(r.Verdict == Wears)
		if k := r.Against; k != nil {
			v.control += hit(k.Difference.Lower <= m.slope && k.Difference.Upper >= m.slope)
		}
		if c.boxes > 1 && len(chosen.Points) == c.points {
			future, err := m.campaign.Future("marlcord", "", s.AgeYears)
			if err != nil {
				t.Fatal(err)
			}
			v.next += future.Above(r.Now)
			v.most += float64(hit(future.Above(r.Now) >= s.Coverage))
		}
		v.widths = append(v.widths, r.Slope.Upper-r.Slope.Lower)
	}
	return v
}

func (v coverage) of(n int) float64 { return float64(n) / float64(max(1, v.slope)) }

func (v coverage) String() string {
	return fmt.Sprintf("%d of %d: slope %.3f/%.3f mean %.3f/%.3f crossing %.3f wears %.3f; limited %.2f, bias %.2f, width %.2f %v", v.slope, v.n,
		v.of(v.lower), v.of(v.upper), v.of(v.meanLower), v.of(v.meanUpper), v.of(v.crossing), v.of(v.wears), v.limited,
		v.bias/float64(max(1, v.slope)), median(append([]float64{0}, v.widths...)), v.methods)
}

// check asks for the bounds of the slope, of the mean and of its crossing.
func (v coverage) check(t *testing.T, name string) {
	t.Helper()
	t.Logf("%s: %v", name, v)
	for what, hits := range map[string]int{"lower bound of the slope": v.lower, "upper bound of the slope": v.upper,
		"lower bound of the mean": v.meanLower, "bound at the crossing": v.crossing} {
		if !reached(v.of(hits), leastCoverage, v.slope) {
			t.Errorf("%s: %s covers %.3f of %d", name, what, v.of(hits), v.slope)
		}
	}
}

// yearly are retests of strips, three closings each, wear of half a dB a year, sessions
// that differ by 0.7 dB.
func yearly(boxes, sessions int, slopeSD float64) retests {
	return retests{boxes: boxes, sessions: sessions, closings: 3, points: 1, wear: -0.5, slopeSD: slopeSD, sessionSD: 0.7}
}

func (c retests) name() string {
	text := fmt.Sprintf("%d boxes, %d sessions, SD of slopes %g", c.boxes, c.sessions, c.slopeSD)
	if c.limited > 0 {
		text += fmt.Sprintf(", %d points, %.0f %% limited", c.points, 100*c.limited)
	}
	return text
}

// seed is one of the campaign's own.
func (c retests) seed() uint64 {
	return uint64(1e7*c.boxes+1e5*c.sessions) + uint64(1e4*c.slopeSD)
}

// Slope, mean and crossing over 3 to 6 yearly sessions, 1 to 12 boxes, strips that wear
// alike, a little differently, and very differently.
func TestCoverage(t *testing.T) {
	short := map[retests]bool{yearly(1, 6, 0): true, yearly(4, 4, 0.2): true, yearly(10, 5, 0.2): true, yearly(10, 6, 1): true}
	for _, boxes := range []int{1, 2, 3, 4, 7, 10, 12} {
		for _, sessions := range []int{3, 4, 5, 6} {
			for _, slopeSD := range []float64{0, 0.2, 1} {
				c := yearly(boxes, sessions, slopeSD)
				if (long || short[c]) && (boxes > 1 || slopeSD == 0) {
					c.cover(t, replicates(120, 1000), c.seed(), trial{Settings: plain()}).check(t, c.name())
				}
			}
		}
	}
}

// Strips that wear alike and are taken to.
func TestCoverageCommonSlope(t *testing.T) {
	for _, c := range []retests{yearly(2, 4, 0), yearly(4, 6, 0), yearly(10, 3, 0), yearly(10, 6, 0)} {
		if !long && c.sessions != 6 {
			continue
		}
		s := plain()
		s.Common = true
		c.cover(t, replicates(80, 1000), c.seed()+1e8, trial{Settings: s}).check(t, c.name()+", common")
	}
}

// Several strips in each box, one after the other: histories are split.
func TestCoverageNewStrips(t *testing.T) {
	for _, boxes := range []int{1, 3, 6} {
		c := yearly(boxes, 6, 0.2)
		c.strips = 2
		if long || boxes == 3 {
			c.cover(t, replicates(80, 1000), c.seed()+2e8, trial{Settings: plain()}).check(t, c.name()+", two strips in each")
		}
	}
}

// Some readings limited by the floor: many points, of which those never limited are
// taken or the limited readings modelled; and one point.
func TestCoverageLimited(t *testing.T) {
	for _, share := range []float64{0.15, 0.4} {
		for _, points := range []int{8, 1} {
			for _, boxes := range []int{1, 4, 10} {
				for _, sessions := range []int{4, 6} {
					c := yearly(boxes, sessions, 0.2)
					c.limited, c.points = share, points
					if long || points == 8 && sessions == 6 && boxes == 4 || points == 1 && sessions == 6 && boxes == 1 {
						n := replicates(40, 600)
						if points == 1 {
							n = replicates(20, 300)
						}
						c.cover(t, n, c.seed()+3e8, trial{Settings: plain()}).check(t, c.name())
					}
				}
			}
		}
	}
}

// One point with limited closings, strips that wear at very different rates.
func TestCoverageLimitedStripsThatDiffer(t *testing.T) {
	for _, boxes := range []int{4, 10} {
		c := yearly(boxes, 6, 1)
		c.limited = 0.15
		if long || boxes == 4 {
			c.cover(t, replicates(20, 300), c.seed()+8e8, trial{plain(), Likelihood}).check(t, c.name()+", likelihood")
		}
	}
}

// Sessions that do not differ at all, or by far more than the boxes.
func TestCoverageSessions(t *testing.T) {
	for _, sd := range []float64{0, 2} {
		for _, boxes := range []int{1, 4, 10} {
			c := yearly(boxes, 5, 0.2)
			c.sessionSD = sd
			if long || boxes == 10 {
				c.cover(t, replicates(60, 1000), c.seed()+9e8, trial{Settings: plain()}).check(t, fmt.Sprintf("%s, sessions differ by %g dB", c.name(), sd))
			}
		}
	}
}

// The next closing, and most closings, a year and a half after the last test.
func TestCoverageOfClosings(t *testing.T) {
	for _, on := range []judge.Bound{judge.OnNext, judge.OnCoverage} {
		for _, c := range []retests{yearly(4, 5, 0.2), yearly(10, 4, 0.2), yearly(10, 6, 0.2)} {
			if !long && c.sessions != 5 {
				continue
			}
			s := plain()
			s.On = on
			v := c.cover(t, replicates(80, 1000), c.seed()+4e8, trial{Settings: s})
			share := v.most / float64(v.slope)
			if on == judge.OnNext {
				share = v.next / float64(v.slope)
			}
			t.Logf("%s, %s: %.3f", c.name(), on, share)
			if !reached(share, leastCoverage, v.slope) {
				t.Errorf("%s: %s covers %.3f of %d", c.name(), on, share, v.slope)
			}
		}
	}
}

// Slope minus that of one control box: both bounds hold together in 0.90 of campaigns.
func TestCoverageControl(t *testing.T) {
	for _, c := range []retests{yearly(1, 5, 0), yearly(4, 5, 0.2), yearly(10, 6, 0.2)} {
		c.controls = 1
		if !long && c.boxes != 4 {
			continue
		}
		v := c.cover(t, replicates(100, 1000), c.seed()+7e8, trial{Settings: plain()})
		t.Logf("%s: difference from a control box %.3f", c.name(), v.of(v.control))
		if !reached(v.of(v.control), 0.86, v.slope) {
			t.Errorf("%s: %.3f of %d", c.name(), v.of(v.control), v.slope)
		}
	}
}

func quantile(p float64) float64 { return dist.NormalQuantile(p) }
