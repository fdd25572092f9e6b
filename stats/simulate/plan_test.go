package simulate

import (
	"fmt"
	"math"
	"reflect"
	"strings"
	"testing"
	"time"

	"sealbound/stats"
)

func TestReproducible(t *testing.T) {
	s := rich(t, 4, 2)
	s.Floor = Flat(-96)
	a, b := build(t, s), build(t, s)
	for run := range a.Runs() {
		if !reflect.DeepEqual(collect(t, a, run), collect(t, b, run)) {
			t.Fatal("equal settings, different sweeps")
		}
	}
	if !reflect.DeepEqual(a.Closings(Selection{}), b.Closings(Selection{})) {
		t.Fatal("equal settings, different closings")
	}
	s.Seed++
	if reflect.DeepEqual(a.Closings(Selection{}).Values, build(t, s).Closings(Selection{}).Values) {
		t.Fatal("another seed, the same closings")
	}
}

// named gives each closing's value by box, product, strip, session and number.
func named(c *Campaign) map[string]float64 {
	g := c.Closings(Selection{})
	out := map[string]float64{}
	number := map[int]int{}
	for i, v := range g.Visits {
		visit, s := c.Visits()[v], c.Settings()
		out[fmt.Sprint(s.Boxes[visit.Box].Label, "/", s.Products[visit.Product].Label, "/", visit.FittingLabel, "/", s.Sessions[visit.Session].Name(), "/", number[v])] = g.Values[i]
		number[v]++
	}
	return out
}

// What is added to a campaign leaves everything else as it was, bit for bit.
func TestAddingLeavesTheRest(t *testing.T) {
	base := func() Settings {
		s := rich(t, 3, 2)
		s.Boxes[0].Fittings[0].Removed = time.Time{}
		return s
	}
	before := named(build(t, base()))
	for name, change := range map[string]func(*Settings){
		"box in front": func(s *Settings) {
			s.Boxes = append([]Box{{Label: "older", Fittings: []Fitting{{Product: "mesh", Installed: date(2020, 1, 1)}}}}, s.Boxes...)
		},
		"product in front": func(s *Settings) {
			s.Products = append([]Product{{Label: "felt", MeanDB: 40}}, s.Products...)
			s.Boxes[1].Fittings = append(s.Boxes[1].Fittings, Fitting{Product: "felt", Installed: date(2022, 1, 1)})
		},
		"session in front": func(s *Settings) {
			s.Sessions = append([]Session{{Date: date(2021, 6, 1)}}, s.Sessions...)
		},
		"closings": func(s *Settings) { s.Closings = 4 },
	} {
		s := base()
		change(&s)
		after := named(build(t, s))
		if len(after) <= len(before) {
			t.Errorf("%s: nothing was added", name)
		}
		for key, v := range before {
			if got, ok := after[key]; !ok || got != v {
				t.Errorf("%s: closing %s was %v dB, is %v dB", name, key, v, got)
			}
		}
	}
}

func TestDroppedClosings(t *testing.T) {
	s := quiet(t, 200, 5, 5, 1, nil)
	s.DroppedShare = 0.3
	n := 0
	for _, v := range build(t, s).Visits() {
		n += len(v.Closings)
		if len(v.Closings) == 0 {
			t.Fatal("a visit without a closing")
		}
	}
	// Of 5 planned, all are dropped in 0.3^5 of the visits, and one is kept then.
	want := 0.7 + math.Pow(0.3, 5)/5
	within(t, "share of closings kept", float64(n)/5000, want, math.Sqrt(0.3*0.7/5000))
	s.DroppedShare = 0.999
	for _, v := range build(t, s).Visits() {
		if len(v.Closings) == 0 {
			t.Fatal("a visit without a closing")
		}
	}
}

// A control box shows its one closing again and again: what changes from
// session to session is the session and the visit, never the strip.
func TestControlBox(t *testing.T) {
	s := quiet(t, 2, 50, 5, 3, func(s *Settings, p *Plan) {
		p.Controls, p.EveryDay = 1, 365
		p.Products[0].WearDBPerYear, p.Products[0].SlopeSDDBPerYear = -1, 0.5
	})
	s.SD = Spread{BoxDB: 1, FittingDB: 1, ClosingDB: 2, PointDB: 3}
	c := build(t, s)
	g := c.Grid(Selection{Box: "control-1"}, 6)
	if len(g.Values) != 50 {
		t.Fatalf("%d closings in 50 sessions, want one each", len(g.Values))
	}
	for i, db := range g.DB {
		if math.Abs(db-g.DB[i%3]) > 1e-9 {
			t.Fatal("the readings of the control box changed although nothing else did")
		}
	}
	for _, v := range c.Closings(Selection{}).Visits {
		if c.Settings().Boxes[c.Visits()[v].Box].Control {
			t.Fatal("a control box among the test boxes")
		}
	}
}

// The strips of a box share its sessions evenly and in order; with fewer
// sessions than strips several are measured in one.
func TestPlan(t *testing.T) {
	products := []Product{{Label: "a"}, {Label: "b"}}
	for _, tt := range []struct {
		name     string
		plan     Plan
		visits   int
		of       map[string]string // box to product/strip by session
		fittings int
	}{
		{"each box keeps to one product", Plan{Boxes: 3, Strips: 1, Sessions: 2}, 6,
			map[string]string{"box-1": "0a 1a", "box-2": "0b 1b", "box-3": "0a 1a"}, 3},
		{"crossed", Plan{Boxes: 2, Crossed: true, Strips: 1, Sessions: 4}, 8,
			map[string]string{"box-1": "0a 1a 2b 3b", "box-2": "0b 1b 2a 3a"}, 4},
		{"two strips each", Plan{Boxes: 1, Strips: 2, Sessions: 4}, 4, map[string]string{"box-1": "0a 1a 2a 3a"}, 2},
		{"more strips than sessions", Plan{Boxes: 1, Crossed: true, Strips: 2, Sessions: 2}, 4, map[string]string{"box-1": "0a 0a 1b 1b"}, 4},
		{"all in one session", Plan{Boxes: 1, Strips: 3, Sessions: 1}, 3, map[string]string{"box-1": "0a 0a 0a"}, 3},
	} {
		tt.plan.Products, tt.plan.First, tt.plan.EveryDay = products, date(2022, 3, 1), 30
		tt.plan.Points = []Point{{FreqHz: 1e8}}
		s, err := tt.plan.Apply(Defaults())
		if err != nil {
			t.Fatal(err)
		}
		c := build(t, s)
		if len(c.Visits()) != tt.visits {
			t.Errorf("%s: %d visits, want %d", tt.name, len(c.Visits()), tt.visits)
		}
		got, fittings := map[string]string{}, map[int]bool{}
		for _, v := range c.Visits() {
			box := s.Boxes[v.Box].Label
			got[box] = strings.TrimSpace(got[box] + " " + fmt.Sprint(v.Session) + s.Products[v.Product].Label)
			fittings[v.Fitting] = true
		}
		for box, want := range tt.of {
			// Visits come session by session, boxes within them.
			if got[box] != want {
				t.Errorf("%s: %s carries %q, want %q", tt.name, box, got[box], want)
			}
		}
		if len(fittings) != tt.fittings {
			t.Errorf("%s: %d strips measured, want %d", tt.name, len(fittings), tt.fittings)
		}
	}
	for _, p := range []Plan{{}, {Products: products}, {Products: products, Boxes: 1, Strips: 1, Sessions: 1}} {
		if _, err := p.Apply(Defaults()); err == nil {
			t.Errorf("%+v was laid out", p)
		}
	}
}

// Closings of one box and session have labels of their own, whichever strip.
func TestClosingLabels(t *testing.T) {
	s := quiet(t, 2, 1, 3, 1, func(s *Settings, p *Plan) { p.Strips = 2 })
	s.SharedReference = true
	c := build(t, s)
	got := map[string]bool{}
	for _, v := range c.Visits() {
		for _, k := range v.Closings {
			got[fmt.Sprint(v.Run, v.Box, k)] = true
		}
	}
	if len(c.Runs()) != 1 || len(got) != 12 {
		t.Errorf("%d runs, %d labels; want 1 and 12", len(c.Runs()), len(got))
	}
}

// Codes run from 0 without gaps and name what the closing belongs to.
func TestFactors(t *testing.T) {
	s := quiet(t, 4, 4, 2, 1, func(s *Settings, p *Plan) {
		p.Crossed, p.Products = true, []Product{{Label: "a", MeanDB: 50}, {Label: "b", MeanDB: 70}}
	})
	c := build(t, s)
	g := c.Closings(Selection{})
	for i, v := range g.Visits {
		visit := c.Visits()[v]
		product := s.Products[visit.Product]
		if g.Gaskets[g.Gasket.Codes[i]] != product.Label || math.Abs(g.Values[i]-product.MeanDB) > 1e-9 || g.Runs[g.Run.Codes[i]] != visit.Run {
			t.Fatalf("closing %d of %s: gasket %s, %v dB", i, product.Label, g.Gaskets[g.Gasket.Codes[i]], g.Values[i])
		}
	}
	// 4 boxes, each with a strip of both products, in 4 sessions of 2 closings.
	want := map[string]int{"box": 4, "fitting": 8, "session": 4, "visit": 16, "gasket": 2, "run": 16}
	for _, f := range append([]stats.Factor{g.Gasket, g.Run}, g.Factors...) {
		seen := map[int32]bool{}
		for _, code := range f.Codes {
			seen[code] = true
		}
		if f.Levels != want[f.Name] || len(seen) != f.Levels || len(f.Codes) != 32 {
			t.Errorf("%s: %d levels, %d of them in use, %d codes; want %d levels", f.Name, f.Levels, len(seen), len(f.Codes), want[f.Name])
		}
	}
	// Within a selection the codes begin at 0 again.
	g = c.Closings(Selection{Box: "box-3", Product: "b"})
	if len(g.Values) != 4 || g.Factors[BoxFactor].Levels != 1 || g.Factors[SessionFactor].Levels != 2 || g.Factors[BoxFactor].Codes[0] != 0 {
		t.Errorf("%d closings of one strip in two sessions: %+v", len(g.Values), g.Factors)
	}
}

func TestRefusals(t *testing.T) {
	nan := math.NaN()
	for name, change := range map[string]func(*Settings){
		"no products":       func(s *Settings) { s.Products = nil },
		"no boxes":          func(s *Settings) { s.Boxes = nil },
		"no sessions":       func(s *Settings) { s.Sessions = nil },
		"no points":         func(s *Settings) { s.Points = nil },
		"no closings":       func(s *Settings) { s.Closings = 0 },
		"no sweeps":         func(s *Settings) { s.Sweeps = 0 },
		"no open sweep":     func(s *Settings) { s.OpenRepeats = 0 },
		"no open level":     func(s *Settings) { s.Open = nil },
		"negative SD":       func(s *Settings) { s.SD.VisitDB = -1 },
		"SD no number":      func(s *Settings) { s.SD.BoxDB = nan },
		"profile no number": func(s *Settings) { s.ProfileSDDB = math.Inf(1) },
		"point SDs":         func(s *Settings) { s.PointSDs = []float64{1} },
		"point SD":          func(s *Settings) { s.PointSDs = []float64{1, 1, 1, -1} },
		"missing share":     func(s *Settings) { s.MissingShare = 1 },
		"missing no number": func(s *Settings) { s.MissingShare = nan },
		"dropped share":     func(s *Settings) { s.DroppedShare = -0.1 },
		"bad share":         func(s *Settings) { s.Bad.Share = 1.1 },
		"bad share NaN":     func(s *Settings) { s.Bad.Share = nan },
		"loss":              func(s *Settings) { s.Bad.LossDB = -1 },
		"frequency":         func(s *Settings) { s.Points[1].FreqHz = 0 },
		"point twice":       func(s *Settings) { s.Points[1] = s.Points[0] },
		"band without name": func(s *Settings) { s.Bands[0].Name = "" },
		"band twice":        func(s *Settings) { s.Bands[1].Name = s.Bands[0].Name },
		"band no range":     func(s *Settings) { s.Bands[0].HiHz = nan },
		"product label":     func(s *Settings) { s.Products[0].Label = "" },
		"product mean":      func(s *Settings) { s.Products[0].MeanDB = nan },
		"slope SD":          func(s *Settings) { s.Products[0].SlopeSDDBPerYear = -1 },
		"shape falls back":  func(s *Settings) { s.Products[0].Shape = Curve{{2, 0}, {1, 0}} },
		"floor no number":   func(s *Settings) { s.Floor = Flat(nan) },
		"session date":      func(s *Settings) { s.Sessions[0].Date = time.Time{} },
		"session twice":     func(s *Settings) { s.Sessions[0] = s.Sessions[1] },
		"session of no box": func(s *Settings) { s.Sessions[0].Boxes = []string{"box-9"} },
		"box twice":         func(s *Settings) { s.Boxes[0].Label = s.Boxes[1].Label },
		"box without label": func(s *Settings) { s.Boxes[0].Label = "" },
		"no fitting":        func(s *Settings) { s.Boxes[0].Fittings = nil },
		"unknown product":   func(s *Settings) { s.Boxes[0].Fittings[0].Product = "felt" },
		"never installed":   func(s *Settings) { s.Boxes[0].Fittings[0].Installed = time.Time{} },
		"removed too early": func(s *Settings) { s.Boxes[0].Fittings[0].Removed = date(1999, 1, 1) },
		"fitting twice":     func(s *Settings) { f := &s.Boxes[0].Fittings; (*f)[0].Label = "x"; *f = append(*f, (*f)[0]) },
		"opened control":    func(s *Settings) { b := &s.Boxes[0]; b.Control, b.Fittings = true, append(b.Fittings, b.Fittings...) },
		"drift of no box":   func(s *Settings) { s.Drifts = []Drift{{Session: s.Sessions[0].Name(), Box: "box-9", DB: 4}} },
		"drift of one sweep": func(s *Settings) {
			s.OpenRepeats, s.Drifts = 1, []Drift{{Session: s.Sessions[0].Name(), Box: "box-1", DB: 4}}
		},
		"gain no number":     func(s *Settings) { s.GainSteps = []GainStep{{Session: s.Sessions[0].Name(), ClosedDB: nan}} },
		"gain of no session": func(s *Settings) { s.GainSteps = []GainStep{{Session: "never", ClosedDB: 20}} },
	} {
		s := rich(t, 2, 2)
		if _, err := New(s); err != nil {
			t.Fatalf("the settings to start from: %v", err)
		}
		change(&s)
		if c, err := New(s); err == nil || c != nil || !strings.HasPrefix(err.Error(), "simulate: ") {
			t.Errorf("%s: campaign %v, error %v", name, c != nil, err)
		}
	}
}

// A band or box that nothing lies in gives nothing, and no panic.
func TestEmptySelections(t *testing.T) {
	c := build(t, rich(t, 2, 2))
	for _, want := range []Selection{{Band: "none"}, {Box: "box-9"}, {Product: "felt"}, {Session: "never"}} {
		if g := c.Grid(want, 6); len(g.Values) != 0 || len(g.DB) != 0 || g.Factors[BoxFactor].Levels != 0 {
			t.Errorf("%+v: %d closings", want, len(g.Values))
		}
		if g := c.Closings(want); len(g.Values) != 0 || len(g.Gasket.Codes) != 0 {
			t.Errorf("%+v: %d closings", want, len(g.Values))
		}
	}
}

// Straight between its knots over lg f, level beyond them.
func TestCurve(t *testing.T) {
	c := Curve{{1e6, 10}, {1e8, 20}, {1e9, 0}}
	for _, tt := range []struct{ freq, want float64 }{{1, 10}, {1e6, 10}, {1e7, 15}, {1e8, 20}, {math.Sqrt(1e17), 10}, {1e9, 0}, {1e12, 0}} {
		if got := c.At(tt.freq); math.Abs(got-tt.want) > 1e-12 {
			t.Errorf("at %v Hz: %v, want %v", tt.freq, got, tt.want)
		}
	}
	if got := (Curve)(nil).At(5); got != 0 {
		t.Errorf("no knots: %v, want 0", got)
	}
	if got := Flat(-7).At(1e9); got != -7 {
		t.Errorf("flat: %v, want -7", got)
	}
}

// A campaign of the size that coverage tests draw two thousand of.
func BenchmarkClosings(b *testing.B) {
	s := rich(b, 6, 3)
	s.Closings, s.Sweeps, s.SD.ReadingDB = 5, 1, 0
	for b.Loop() {
		s.Seed++
		c, err := New(s)
		if err != nil {
			b.Fatal(err)
		}
		c.Closings(Selection{})
	}
}

func BenchmarkGrid(b *testing.B) {
	s := quiet(b, 6, 3, 5, 20, nil)
	s.SD = Defaults().SD
	s.Floor = Flat(-100)
	for b.Loop() {
		s.Seed++
		c, err := New(s)
		if err != nil {
			b.Fatal(err)
		}
		c.Grid(Selection{}, 6)
	}
}
