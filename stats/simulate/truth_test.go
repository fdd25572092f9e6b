package simulate

import (
	"math"
	"reflect"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
)

// lossyByQuadrature is P(centre + sd Z - E > x), Z standard normal and E
// exponential with mean m, integrated over Z by Simpson's rule.
func lossyByQuadrature(d Distribution, x float64) float64 {
	const n, reach = 40000, 12.0
	f := func(z float64) float64 {
		room := d.CentreDB + d.SDDB*z - x
		if room <= 0 {
			return 0
		}
		return math.Exp(-z*z/2) / math.Sqrt(2*math.Pi) * -math.Expm1(-room/d.Bad.LossDB)
	}
	h := 2 * reach / n
	sum := f(-reach) + f(reach)
	for i := 1; i < n; i++ {
		sum += f(-reach+float64(i)*h) * float64(2+2*(i%2))
	}
	return sum * h / 3
}

// Source: the definition, by quadrature; the normal part by gonum.
func TestAbove(t *testing.T) {
	for _, d := range []Distribution{
		{60, 2, Bad{0.1, 5}}, {60, 2, Bad{1, 0.5}}, {60, 2, Bad{0.5, 0.05}}, {60, 0.1, Bad{0.3, 20}}, {60, 3, Bad{0.2, 3}},
		{60, 2, Bad{1, 0.07}}, // far out: where the closed form leaves the exponentials
	} {
		normal := distuv.Normal{Mu: d.CentreDB, Sigma: d.SDDB}
		for _, x := range []float64{40, 50, 55, 58, 59.9, 60, 60.3, 62, 66} {
			want := (1-d.Bad.Share)*normal.Survival(x) + d.Bad.Share*lossyByQuadrature(d, x)
			if got := d.Above(x); math.Abs(got-want) > 2e-7 {
				t.Errorf("%+v: share above %v dB: %.9f, want %.9f", d, x, got, want)
			}
		}
	}
}

func TestLevel(t *testing.T) {
	// Without bad closings: the normal quantile, gonum v0.17.
	d := Distribution{CentreDB: 62, SDDB: 2.5}
	for _, share := range []float64{0.01, 0.5, 0.9, 0.95, 0.999} {
		want := 62 - 2.5*distuv.UnitNormal.Quantile(share)
		if got := d.Level(share); math.Abs(got-want) > 1e-9 {
			t.Errorf("level that %v exceed: %v, want %v", share, got, want)
		}
	}
	// With them: the share above the level is the share, at both ends too.
	for _, d := range []Distribution{{60, 2, Bad{0.1, 5}}, {60, 0, Bad{0.1, 5}}, {60, 1, Bad{1, 40}}, {60, 3, Bad{0.5, 0.01}}} {
		for _, share := range []float64{0.001, 0.5, 0.85, 0.95, 0.999} {
			level := d.Level(share)
			if lo, hi := d.Above(level+1e-6), d.Above(level-1e-6); lo > share+1e-9 || hi < share-1e-9 {
				t.Errorf("%+v: %v dB is not exceeded by %v: between %v and %v", d, level, share, lo, hi)
			}
		}
	}
	if got := (Distribution{CentreDB: 60}).Level(0.9); got != 60 {
		t.Errorf("without any spread: %v, want the centre", got)
	}
	for _, share := range []float64{0, 1, -1, math.NaN()} {
		if got := d.Level(share); !math.IsNaN(got) {
			t.Errorf("level of a share of %v: %v, want none", share, got)
		}
	}
}

// Mean and variance from the distribution function: E X = a + int_a^inf P(X > x)
// - int_-inf^a P(X <= x), and likewise for the second moment about a.
func TestMoments(t *testing.T) {
	d := Distribution{60, 2, Bad{0.15, 4}}
	const h, a = 0.001, 60.0
	first, second := 0.0, 0.0
	for x := h / 2; x < 150; x += h {
		up, down := d.Above(a+x), 1-d.Above(a-x)
		first += (up - down) * h
		second += 2 * x * (up + down) * h
	}
	if math.Abs(d.Mean()-(a+first)) > 1e-4 {
		t.Errorf("mean %v, by integration %v", d.Mean(), a+first)
	}
	if sd := math.Sqrt(second - first*first); math.Abs(d.SD()-sd) > 1e-4 {
		t.Errorf("SD %v, by integration %v", d.SD(), sd)
	}
}

// rich returns settings with every term at work.
func rich(t testing.TB, boxes, sessions int) Settings {
	s := quiet(t, boxes, sessions, 2, 4, func(s *Settings, p *Plan) {
		p.EveryDay = 1461
		p.Products[0] = Product{Label: "mesh", MeanDB: 64, WearDBPerYear: -0.75, SlopeSDDBPerYear: 0.3, Shape: Curve{{1e8, 0}, {4e8, 3}}}
	})
	s.SD = Spread{BoxDB: 1.5, FittingDB: 1, SessionDB: 0.7, VisitDB: 0.6, ClosingDB: 1.1, PointDB: 1.3, OpenDB: 0.5, ReadingDB: 0.4, FloorDB: 0.2}
	s.OpenRepeats, s.Sweeps, s.ProfileSDDB = 2, 2, 2
	s.Bad = Bad{Share: 0.1, LossDB: 6}
	s.Bands = []Band{{"low", 0, 2e8}, {"high", 2e8, 1e9}}
	return s
}

// What Future says of closings to come is what closings of new boxes in new
// sessions show: each campaign here is one box with one session of that age.
func TestFutureIsWhatComes(t *testing.T) {
	const n = 3000
	s := rich(t, n, 2)
	// Every box has a session of its own after four years.
	s.Sessions = nil
	for i, b := range s.Boxes {
		s.Sessions = append(s.Sessions, Session{Label: b.Label, Date: date(2025, 1, 1), Boxes: []string{s.Boxes[i].Label}})
	}
	for i := range s.Boxes {
		s.Boxes[i].Fittings[0].Removed = date(2030, 1, 1)
	}
	s.Closings = 1
	c := build(t, s)
	for _, band := range []string{"", "low", "high"} {
		got := c.Closings(Selection{Band: band})
		d, err := c.Future("mesh", band, got.AgeYears[0])
		if err != nil {
			t.Fatal(err)
		}
		mean, sd := meanSD(got.Values)
		within(t, band+": mean", mean, d.Mean(), d.SD()/math.Sqrt(n))
		within(t, band+": SD", sd, d.SD(), d.SD()*math.Sqrt(3.0/n)) // heavier tails than normal
		for _, share := range []float64{0.5, 0.9, 0.99} {
			above := 0.0
			for _, v := range got.Values {
				if v > d.Level(share) {
					above++
				}
			}
			within(t, band+": share above", above/n, share, math.Sqrt(share*(1-share)/n))
		}
	}
	if _, err := c.Future("mesh", "none", 0); err == nil {
		t.Error("a band without points has a distribution")
	}
	if _, err := c.Future("felt", "", 0); err == nil {
		t.Error("an unknown product has a distribution")
	}
}

// OfVisit and OfStrip speak of what the strip and the visit drew.
func TestConditionalTruth(t *testing.T) {
	s := rich(t, 2, 2)
	s.Closings = 4000
	c := build(t, s)
	got := c.Closings(Selection{Band: "high"})
	for i := range c.Visits() {
		var mine []float64
		for k, v := range got.Visits {
			if v == i {
				mine = append(mine, got.Values[k])
			}
		}
		d, err := c.OfVisit(i, "high")
		if err != nil {
			t.Fatal(err)
		}
		mean, sd := meanSD(mine)
		within(t, "mean of a visit", mean, d.Mean(), d.SD()/math.Sqrt(4000))
		within(t, "SD of a visit", sd, d.SD(), d.SD()*math.Sqrt(3.0/4000))
	}

	s = rich(t, 1, 3000)
	for i := range s.Sessions {
		s.Sessions[i].Label, s.Sessions[i].Date = "day "+s.Sessions[i].Name(), date(2023, 1, 1)
	}
	s.Closings = 1
	c = build(t, s)
	d, err := c.OfStrip(0, "low")
	if err != nil {
		t.Fatal(err)
	}
	mean, sd := meanSD(c.Closings(Selection{Band: "low"}).Values)
	within(t, "mean of a strip", mean, d.Mean(), d.SD()/math.Sqrt(3000))
	within(t, "SD of a strip", sd, d.SD(), d.SD()*math.Sqrt(3.0/3000))
	if _, err := c.OfStrip(-1, ""); err == nil {
		t.Error("visit -1 has a distribution")
	}
	if _, err := c.OfVisit(len(c.Visits()), ""); err == nil {
		t.Error("a visit beyond the last has a distribution")
	}
}

// OfVisit leaves the drift of its run out: it speaks of the box.
func TestDriftIsNotTheBox(t *testing.T) {
	s := rich(t, 2, 2)
	still, err := build(t, s).OfVisit(3, "")
	if err != nil {
		t.Fatal(err)
	}
	s.Drifts = []Drift{{Session: s.Sessions[1].Name(), Box: "box-2", DB: -4}}
	c := build(t, s)
	if c.Runs()[c.Visits()[3].Run].DriftDB != -4 {
		t.Fatal("the visit is not in the run that drifts")
	}
	moved, err := c.OfVisit(3, "")
	if err != nil || math.Abs(moved.Mean()-still.Mean()) > 1e-9 {
		t.Errorf("mean of a visit %v dB without and %v dB with drift (%v)", still.Mean(), moved.Mean(), err)
	}
	truth, err := c.Truth(date(2025, 1, 1), 0.9)
	if want := []DriftedRun{{Run: s.Sessions[1].Name() + "-box-2", DriftDB: -4}}; err != nil || !reflect.DeepEqual(truth.DriftedRuns, want) {
		t.Errorf("drifted runs %+v (%v), want %+v", truth.DriftedRuns, err, want)
	}
}

// A product's age on a date is the mean, over the test boxes that carry or
// carried it, of its strip's age then or when it was taken out.
func TestMeanAge(t *testing.T) {
	s := quiet(t, 3, 1, 1, 1, func(s *Settings, p *Plan) { p.Controls, p.Products = 1, append(p.Products, Product{Label: "felt"}) })
	s.Boxes[0].Fittings = []Fitting{{Product: "mesh", Installed: date(2021, 1, 1)}}                            // 4 years on 2025-01-01
	s.Boxes[1].Fittings = []Fitting{{Product: "mesh", Installed: date(2016, 1, 1), Removed: date(2024, 1, 1)}} // 8 years
	s.Boxes[2].Fittings = []Fitting{{Product: "mesh", Installed: date(2026, 1, 1)}}                            // not yet
	s.Boxes[3].Fittings = []Fitting{{Product: "mesh", Installed: date(1999, 1, 1)}}                            // the control box
	truth, err := build(t, s).Truth(date(2025, 1, 1), 0.9)
	if err != nil {
		t.Fatal(err)
	}
	if got := truth.Products[0].AgeYears; math.Abs(got-6) > 1e-3 {
		t.Errorf("mean age %v years, want (4 + 8)/2", got)
	}
	if got := truth.Products[1].AgeYears; got != 0 {
		t.Errorf("a product in no box is %v years old", got)
	}
}

// Truth agrees with the distributions it is gathered from.
func TestTruth(t *testing.T) {
	s := rich(t, 3, 2)
	c := build(t, s)
	truth, err := c.Truth(date(2025, 1, 1), 0.9)
	if err != nil {
		t.Fatal(err)
	}
	if len(truth.Products) != 1 || len(truth.Products[0].Bands) != 2 || len(truth.Products[0].Points) != 4 || len(truth.Fittings) != 3 {
		t.Fatalf("%+v", truth)
	}
	p := truth.Products[0]
	// 2021-01-01 to 2025-01-01 is 1461 days, four years of 365.25.
	if p.AgeYears != 4 {
		t.Errorf("age %v years, want 4", p.AgeYears)
	}
	for _, b := range p.Bands {
		d, err := c.Future("mesh", b.Band, 4)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(b.MeanDB-d.Mean()) > 1e-4 || math.Abs(b.SDDB-d.SD()) > 1e-4 || math.Abs(b.ExceedsDB-d.Level(0.9)) > 1e-4 {
			t.Errorf("band %s: %+v, want mean %v, SD %v, level %v", b.Band, b, d.Mean(), d.SD(), d.Level(0.9))
		}
		if math.Abs(b.NewMeanDB-b.MeanDB-3) > 2e-4 { // 4 years of -0.75 dB
			t.Errorf("band %s: %v dB new and %v dB after 4 years of -0.75 dB", b.Band, b.NewMeanDB, b.MeanDB)
		}
	}
	for _, share := range []float64{0, 1, math.NaN()} {
		if _, err := c.Truth(date(2025, 1, 1), share); err == nil {
			t.Errorf("a share of %v has a truth", share)
		}
	}
}
