package wear

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"sealbound/stats"
	"sealbound/stats/judge"
)

// A layout is closings of strips in sessions, with levels made up from a seed.
type layout struct {
	boxes, sessions, closings, points int
	slope, own                        float64
	seed                              uint64
}

// data makes the readings of a layout. Boxes get their strips on different days, so
// that ages differ within a session.
func (l layout) data() Data {
	rng := rand.New(rand.NewPCG(l.seed, 77))
	var d Data
	offsets := make([]float64, l.sessions)
	for s := range offsets {
		offsets[s] = 0.7 * rng.NormFloat64()
	}
	add := func(f *stats.Factor, code int) {
		f.Codes = append(f.Codes, int32(code))
		f.Levels = max(f.Levels, code+1)
	}
	for b := range l.boxes {
		level, slope, start := 60+2*rng.NormFloat64(), l.slope+l.own*rng.NormFloat64(), -0.25*float64(b%3)
		for s := range l.sessions {
			visit := 0.4 * rng.NormFloat64()
			for range l.closings {
				age := float64(s) - start
				value := level + slope*age + offsets[s] + visit + rng.NormFloat64()
				for p := range l.points {
					d.Closing, d.Point = append(d.Closing, int32(d.Closings)), append(d.Point, int32(p))
					d.DB = append(d.DB, value+3*math.Sin(float64(p))+0.5*rng.NormFloat64())
				}
				d.Closings++
				d.AgeYears, d.Years = append(d.AgeYears, age), append(d.Years, float64(s))
				add(&d.Box, b)
				add(&d.Fitting, b)
				add(&d.Session, s)
			}
		}
	}
	d.Points = l.points
	d.Run = d.Session
	for range d.DB {
		d.Limited, d.FloorKnown, d.HeadroomDB = append(d.Limited, false), append(d.FloorKnown, true), append(d.HeadroomDB, 90)
	}
	for range l.points {
		d.TargetDB = append(d.TargetDB, 50)
	}
	return d
}

var usual = layout{boxes: 4, sessions: 5, closings: 3, points: 6, slope: -0.8, own: 0.3, seed: 3}

func mustWear(t *testing.T, d Data, s Settings) Result {
	t.Helper()
	r, err := Wear(d, s)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func settingsFor(d Data) Settings {
	s := plain()
	for _, a := range d.AgeYears {
		s.AgeYears = math.Max(s.AgeYears, a)
	}
	s.LastAge = s.AgeYears
	return s
}

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if math.IsNaN(got) != math.IsNaN(want) || math.Abs(got-want) > tol {
		t.Errorf("%s = %v, want %v", what, got, want)
	}
}

// A shift of the levels moves levels alone; a factor scales everything; a later
// calendar changes nothing.
func TestLaws(t *testing.T) {
	d := usual.data()
	s := settingsFor(d)
	want := mustWear(t, d, s)
	if want.Verdict != Wears || want.Cross.Status != Crosses || !want.OwnSlopes {
		t.Fatalf("the example shows nothing: %+v", want)
	}
	shifted := d
	shifted.DB = apply(d.DB, func(x float64) float64 { return x + 7 })
	shifted.TargetDB = apply(d.TargetDB, func(x float64) float64 { return x + 7 })
	r := mustWear(t, shifted, s)
	near(t, "slope of shifted levels", r.Slope.Value, want.Slope.Value, 1e-9)
	near(t, "its upper bound", r.Slope.Upper, want.Slope.Upper, 1e-7)
	near(t, "intercept", r.Intercept.Value, want.Intercept.Value+7, 1e-8)
	near(t, "crossing", r.Cross.Age, want.Cross.Age, 1e-7)
	near(t, "crossing of the bound", r.LowerCross.Age, want.LowerCross.Age, 1e-6)

	scaled := d
	scaled.DB, scaled.TargetDB = apply(d.DB, func(x float64) float64 { return 2 * x }), apply(d.TargetDB, func(x float64) float64 { return 2 * x })
	r = mustWear(t, scaled, s)
	near(t, "slope of doubled levels", r.Slope.Lower, 2*want.Slope.Lower, 1e-6)
	near(t, "p", r.P, want.P, 1e-7)
	near(t, "variance of strips' slopes", variance(r, "fitting_slope"), 4*variance(want, "fitting_slope"), 1e-5)
	near(t, "crossing", r.LowerCross.Age, want.LowerCross.Age, 1e-6)

	later := d
	later.Years = apply(d.Years, func(x float64) float64 { return x + 30 })
	r = mustWear(t, later, s)
	if r.Slope != want.Slope || r.Rank != want.Rank {
		t.Errorf("a later calendar: %+v, want %+v", r.Slope, want.Slope)
	}
	older := d
	older.AgeYears = apply(d.AgeYears, func(x float64) float64 { return x + 4 })
	late := s
	late.AgeYears, late.LastAge = s.AgeYears+4, s.LastAge+4
	r = mustWear(t, older, late)
	near(t, "slope of older strips", r.Slope.Upper, want.Slope.Upper, 1e-7)
	near(t, "their mean now", r.Mean.Lower, want.Mean.Lower, 1e-7)
	near(t, "their intercept", r.Intercept.Value, want.Intercept.Value-4*want.Slope.Value, 1e-7)
	near(t, "their log-likelihood", r.LogLikelihood, want.LogLikelihood, 1e-7)
}

func apply(x []float64, f func(float64) float64) []float64 {
	out := make([]float64, len(x))
	for i, v := range x {
		out[i] = f(v)
	}
	return out
}

func variance(r Result, source string) float64 {
	for _, c := range r.Components {
		if c.Source == source {
			return c.Variance
		}
	}
	return math.NaN()
}

// The order of the readings never shows, to the bit.
func TestOrderOfReadings(t *testing.T) {
	d := usual.data()
	s := settingsFor(d)
	want := mustWear(t, d, s)
	p := d
	p.Closing, p.Point, p.DB = nil, nil, nil
	for _, i := range rand.New(rand.NewPCG(1, 1)).Perm(len(d.DB)) {
		p.Closing, p.Point, p.DB = append(p.Closing, d.Closing[i]), append(p.Point, d.Point[i]), append(p.DB, d.DB[i])
	}
	if r := mustWear(t, p, s); r.Slope != want.Slope || r.LowerCross != want.LowerCross || r.Now != want.Now {
		t.Errorf("%+v, want %+v", r.Slope, want.Slope)
	}
}

// The four bounds stand in their order: of the mean, of the next closing, of most
// closings; and where all points are alike the weakest is below the mean.
func TestBoundsInOrder(t *testing.T) {
	d := usual.data()
	s := settingsFor(d)
	now := map[judge.Bound]Result{}
	for _, on := range []judge.Bound{judge.OnMean, judge.OnNext, judge.OnCoverage, judge.OnWeakest} {
		s.On = on
		r := mustWear(t, d, s)
		if math.IsNaN(r.Now) || r.NowReason != "" {
			t.Fatalf("%s: no bound, %s", on, r.NowReason)
		}
		now[on] = r
	}
	if !(now[judge.OnMean].Now > now[judge.OnNext].Now && now[judge.OnMean].Now > now[judge.OnWeakest].Now &&
		now[judge.OnNext].Now > now[judge.OnCoverage].Now) {
		t.Errorf("mean %v, next %v, coverage %v, weakest %v", now[judge.OnMean].Now, now[judge.OnNext].Now,
			now[judge.OnCoverage].Now, now[judge.OnWeakest].Now)
	}
	if now[judge.OnMean].LowerCross.Age < now[judge.OnWeakest].LowerCross.Age {
		t.Error("the weakest point meets the target after the mean")
	}
	// The bound is the target where it crosses.
	s.On, s.AgeYears = judge.OnMean, now[judge.OnMean].LowerCross.Age
	near(t, "bound at its crossing", mustWear(t, d, s).Now, 50, 1e-6)
}

// Data that no slope can be taken from are answered in words.
func TestWithoutSlope(t *testing.T) {
	base := func() Data { return usual.data() }
	for _, tt := range []struct {
		name, reason string
		d            func() Data
		noSlope      bool
	}{
		{"two sessions", "2 sessions", func() Data { l := usual; l.sessions = 2; return l.data() }, true},
		{"one session", "1 session", func() Data { l := usual; l.sessions = 1; return l.data() }, true},
		{"no strip twice", "no strip was tested in two sessions", func() Data {
			d := base()
			each := stats.Factor{Codes: make([]int32, d.Closings), Levels: d.Closings}
			for i := range each.Codes {
				each.Codes[i] = int32(i)
			}
			d.Fitting = each
			return d
		}, true},
		{"one age", "of one age", func() Data {
			d := base()
			for i := range d.AgeYears {
				d.AgeYears[i] = 2
			}
			return d
		}, true},
		{"no floor", "no floor known", func() Data {
			d := base()
			d.FloorKnown[5] = false
			return d
		}, false},
		{"all equal", "no spread", func() Data {
			d := base()
			for i := range d.DB {
				d.DB[i] = 60
			}
			return d
		}, true},
		{"on a line", "no spread", func() Data {
			d := base()
			for i := range d.DB {
				d.DB[i] = 60 - d.AgeYears[d.Closing[i]]
			}
			return d
		}, true},
		{"all limited", "at every point", func() Data {
			d := base()
			for i := range d.Limited {
				d.Limited[i] = true
			}
			return d
		}, false},
		{"one point, all limited", "no estimate", func() Data {
			l := usual
			l.points = 1
			d := l.data()
			for i := range d.Limited {
				d.Limited[i] = true
			}
			return d
		}, false},
		{"no reading", "no reading", func() Data {
			d := base()
			d.Closing, d.Point, d.DB, d.Limited, d.FloorKnown, d.HeadroomDB = nil, nil, nil, nil, nil, nil
			return d
		}, false},
	} {
		d := tt.d()
		s := plain()
		r := mustWear(t, d, s)
		if r.Verdict != TooFew || !strings.Contains(r.Reason, tt.reason) || r.NoSlope != tt.noSlope || r.Method != NoMethod {
			t.Errorf("%s: verdict %q, reason %q, no slope %v, method %q", tt.name, r.Verdict, r.Reason, r.NoSlope, r.Method)
		}
		for what, x := range map[string]float64{"slope": r.Slope.Value, "upper": r.Slope.Upper, "p": r.P, "mean": r.Mean.Value, "now": r.Now, "crossing": r.LowerCross.Age} {
			if !math.IsNaN(x) {
				t.Errorf("%s: %s is %v", tt.name, what, x)
			}
		}
	}
}

// Years that rest on one open reference: said, since nothing shows its error.
func TestOneReference(t *testing.T) {
	d := usual.data()
	s := settingsFor(d)
	warned := func(r Result) bool {
		return slices.ContainsFunc(r.Warnings, func(w stats.Warning) bool { return w.Code == "one-reference" })
	}
	d.Reference = stats.Factor{Codes: make([]int32, d.Closings), Levels: 1}
	d.Opens = []judge.Open{{{-30, -30}}}
	d.OwnReference = make([]bool, d.Closings)
	if !warned(mustWear(t, d, s)) {
		t.Error("not said")
	}
	d.Reference = d.Session
	d.Opens = make([]judge.Open, d.Session.Levels)
	if warned(mustWear(t, d, s)) {
		t.Error("said of sessions with references of their own")
	}
}

// Closings of a visit that agree to the digit are one value.
func TestClosingsThatAgree(t *testing.T) {
	l := usual
	l.closings, l.points = 1, 1
	single := l.data()
	twice := single
	twice.Box, twice.Fitting, twice.Session, twice.Run = double(single.Box), double(single.Fitting), double(single.Session), double(single.Run)
	twice.AgeYears, twice.Years = append(twice.AgeYears, single.AgeYears...), append(twice.Years, single.Years...)
	for i := range single.DB {
		twice.Closing = append(twice.Closing, single.Closing[i]+int32(single.Closings))
	}
	twice.Point, twice.DB = append(twice.Point, single.Point...), append(twice.DB, single.DB...)
	twice.Limited, twice.FloorKnown = append(twice.Limited, single.Limited...), append(twice.FloorKnown, single.FloorKnown...)
	twice.HeadroomDB = append(twice.HeadroomDB, single.HeadroomDB...)
	twice.Closings *= 2
	s := settingsFor(single)
	a, b := mustWear(t, single, s), mustWear(t, twice, s)
	near(t, "slope", b.Slope.Value, a.Slope.Value, 1e-9)
	near(t, "upper", b.Slope.Upper, a.Slope.Upper, 1e-7)
	if b.Verdict == TooFew || b.Components[len(b.Components)-1].Source != "visit+closing" {
		t.Errorf("%q, %+v", b.Verdict, b.Components)
	}
}

func double(f stats.Factor) stats.Factor {
	f.Codes = append(append([]int32(nil), f.Codes...), f.Codes...)
	return f
}

func TestMalformed(t *testing.T) {
	for name, change := range map[string]func(*Data, *Settings){
		"ages":       func(d *Data, _ *Settings) { d.AgeYears = d.AgeYears[1:] },
		"times":      func(d *Data, _ *Settings) { d.Years = nil },
		"age":        func(d *Data, _ *Settings) { d.AgeYears[2] = math.NaN() },
		"time":       func(d *Data, _ *Settings) { d.Years[2] = math.Inf(1) },
		"control":    func(d *Data, _ *Settings) { d.Control = []bool{true} },
		"limits":     func(d *Data, _ *Settings) { d.HeadroomDB = nil },
		"targets":    func(d *Data, _ *Settings) { d.TargetDB = nil },
		"confidence": func(_ *Data, s *Settings) { s.Confidence = 1 },
		"coverage":   func(_ *Data, s *Settings) { s.Coverage = 0 },
		"now":        func(_ *Data, s *Settings) { s.AgeYears = math.NaN() },
	} {
		d, s := usual.data(), plain()
		change(&d, &s)
		if _, err := Wear(d, s); !errors.Is(err, ErrInput) {
			t.Errorf("%s: %v", name, err)
		}
	}
}
