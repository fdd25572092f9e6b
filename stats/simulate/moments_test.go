package simulate

import (
	"math"
	"testing"
)

// Each term alone must have the SD that was asked for, and be shared by exactly
// the closings that share its unit. Source: the definition of the model.
func TestComponents(t *testing.T) {
	for _, tt := range []struct {
		name   string
		term   func(*Spread)
		factor int // whose levels share the draw; -1: none, each closing has its own
		boxes  int
		days   int
	}{
		{"box", func(s *Spread) { s.BoxDB = 2 }, BoxFactor, 3000, 2},
		{"fitting", func(s *Spread) { s.FittingDB = 2 }, FittingFactor, 3000, 2},
		{"session", func(s *Spread) { s.SessionDB = 2 }, SessionFactor, 2, 3000},
		{"visit", func(s *Spread) { s.VisitDB = 2 }, VisitFactor, 60, 50},
		{"open", func(s *Spread) { s.OpenDB = 2 }, VisitFactor, 60, 50}, // one run for each visit
		{"closing", func(s *Spread) { s.ClosingDB = 2 }, -1, 40, 40},
	} {
		t.Run(tt.name, func(t *testing.T) {
			s := quiet(t, tt.boxes, tt.days, 2, 3, nil)
			tt.term(&s.SD)
			got := build(t, s).Closings(Selection{})
			if len(got.Values) != tt.boxes*tt.days*2 {
				t.Fatalf("%d closings, want %d", len(got.Values), tt.boxes*tt.days*2)
			}
			if tt.factor < 0 {
				normalMoments(t, tt.name, got.Values, 60, 2)
				return
			}
			f := got.Factors[tt.factor]
			means := levelMeans(got.Values, f.Codes, f.Levels)
			for i, v := range got.Values {
				if math.Abs(v-means[f.Codes[i]]) > 1e-9 {
					t.Fatalf("closing %d differs from others of its %s", i, f.Name)
				}
			}
			normalMoments(t, tt.name, means, 60, 2)
		})
	}
}

// Residuals and readings are each point's own: over P points, S sweeps and R
// open sweeps their band mean has variance sd²/P, sd²/(P S) and sd²/(P R).
func TestWhatAveragesOut(t *testing.T) {
	for _, tt := range []struct {
		name string
		set  func(*Settings)
		sd   float64
	}{
		{"point residuals", func(s *Settings) { s.SD.PointDB = 3 }, 3 / math.Sqrt(9)},
		{"residuals point by point", func(s *Settings) { s.PointSDs = []float64{1, 2, 3, 0, 0, 0, 0, 0, 4} }, math.Sqrt(1+4+9+16) / 9},
		{"readings", func(s *Settings) { s.SD.ReadingDB, s.Sweeps, s.OpenRepeats = 3, 4, 3 }, math.Sqrt(9.0/9/4 + 9.0/9/3)},
		{"open sweeps", func(s *Settings) { s.SD.OpenDB, s.OpenRepeats = 3, 4 }, 3 / math.Sqrt(4)},
	} {
		s := quiet(t, 50, 60, 1, 9, nil)
		tt.set(&s)
		c := build(t, s)
		normalMoments(t, tt.name, c.Closings(Selection{}).Values, 60, tt.sd)
		if d, err := c.Future("mesh", "", 0); err != nil || math.Abs(d.SD()-tt.sd) > 1e-12 {
			t.Errorf("%s: the truth says an SD of %v dB (%v), want %v", tt.name, d.SD(), err, tt.sd)
		}
	}
}

// Points of one closing are correlated by the share that the closing has in
// their variance: 4/(4 + 9).
func TestCorrelationWithinClosing(t *testing.T) {
	s := quiet(t, 60, 50, 1, 2, nil)
	s.SD.ClosingDB, s.SD.PointDB = 2, 3
	g := build(t, s).Grid(Selection{}, 6)
	a, b := make([]float64, 0, 3000), make([]float64, 0, 3000)
	for i := 0; i < len(g.DB); i += 2 {
		a, b = append(a, g.DB[i]), append(b, g.DB[i+1])
	}
	// se of a correlation: (1 - rho²)/sqrt(n), for normal pairs.
	rho := 4.0 / 13
	within(t, "correlation", correlation(a, b), rho, (1-rho*rho)/math.Sqrt(3000))
}

func correlation(a, b []float64) float64 {
	ma, sa := meanSD(a)
	mb, sb := meanSD(b)
	sum := 0.0
	for i := range a {
		sum += (a[i] - ma) * (b[i] - mb)
	}
	return sum / (float64(len(a)-1) * sa * sb)
}

// A strip loses WearDBPerYear a year, plus its own slope of the SD given.
func TestWear(t *testing.T) {
	s := quiet(t, 2000, 2, 1, 1, func(s *Settings, p *Plan) {
		p.EveryDay = 1461 // four years of 365.25 days
		p.Products[0].WearDBPerYear, p.Products[0].SlopeSDDBPerYear = -1.5, 0.4
	})
	got := build(t, s).Closings(Selection{})
	slopes := make([]float64, 2000)
	for i, v := range got.Values {
		switch got.AgeYears[i] {
		case 0:
			slopes[got.Factors[BoxFactor].Codes[i]] -= v / 4
		case 4:
			slopes[got.Factors[BoxFactor].Codes[i]] += v / 4
		default:
			t.Fatalf("age %v years, want 0 or 4", got.AgeYears[i])
		}
	}
	normalMoments(t, "slope", slopes, -1.5, 0.4)
}

// The fixed profile has the SD asked for over points and products, and does not
// change from closing to closing.
func TestProfile(t *testing.T) {
	s := quiet(t, 2, 2, 2, 2000, nil)
	s.ProfileSDDB = 3
	c := build(t, s)
	g := c.Grid(Selection{}, 6)
	first := g.DB[:2000]
	normalMoments(t, "profile", first, 60, 3)
	for i, v := range g.DB {
		if math.Abs(v-first[i%2000]) > 1e-9 {
			t.Fatal("the profile differs between closings")
		}
	}
	for i := range first {
		d, err := c.FuturePoint("mesh", i, 0)
		if err != nil || math.Abs(d.Mean()-first[i]) > 1e-9 {
			t.Fatalf("point %d: true mean %v, read %v (%v)", i, d.Mean(), first[i], err)
		}
	}
}

// Bad closings: the share is binomial, the loss exponential with the mean given
// (its SD equals its mean, and exp(-1) of the losses exceed the mean).
func TestBadClosings(t *testing.T) {
	s := quiet(t, 100, 100, 2, 2, nil)
	s.Bad = Bad{Share: 0.2, LossDB: 5}
	var losses []float64
	values := build(t, s).Closings(Selection{}).Values
	for _, v := range values {
		if v > 60+1e-9 {
			t.Fatalf("a bad closing gained: %v", v)
		}
		if v < 60-1e-9 {
			losses = append(losses, 60-v)
		}
	}
	n := float64(len(values))
	within(t, "share", float64(len(losses))/n, 0.2, math.Sqrt(0.2*0.8/n))
	m, sd := meanSD(losses)
	k := float64(len(losses))
	within(t, "mean loss", m, 5, 5/math.Sqrt(k))
	within(t, "SD of losses", sd, 5, 5*math.Sqrt(2/k)) // var of s² is (kurtosis - 1)/k sigma⁴, kurtosis 9
	above := 0.0
	for _, l := range losses {
		if l > 5 {
			above++
		}
	}
	within(t, "share above the mean loss", above/k, math.Exp(-1), math.Sqrt(math.Exp(-1)*(1-math.Exp(-1))/k))
}

// Streams of different kinds, units and seeds have nothing to do with each other.
func TestStreamsAreUncorrelated(t *testing.T) {
	const n = 4000
	draw := func(seed uint64, k kind, unit func(int) uint64) []float64 {
		st := newStreams(seed)
		out := make([]float64, n)
		for i := range out {
			out[i] = st.at(k, unit(i)).NormFloat64()
		}
		return out
	}
	plain := func(i int) uint64 { return uint64(i) }
	base := draw(1, boxDraw, plain)
	normalMoments(t, "first draws of neighbouring units", base, 0, 1)
	for name, other := range map[string][]float64{
		"another kind": draw(1, fittingDraw, plain),
		"another seed": draw(2, boxDraw, plain),
		"next unit":    draw(1, boxDraw, func(i int) uint64 { return uint64(i + 1) }),
	} {
		within(t, name, correlation(base, other), 0, 1/math.Sqrt(n))
	}
}
