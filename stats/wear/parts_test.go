package wear

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"sealbound/stats/dist"
)

// ranked is data of one closing for each strip and session that has a value; NaN: not
// tested.
func ranked(values [][]float64) (Data, []int32, []float64) {
	var d Data
	var kept []int32
	var y []float64
	for f, row := range values {
		for s, v := range row {
			if math.IsNaN(v) {
				continue
			}
			kept, y = append(kept, int32(d.Closings)), append(y, v)
			d.Closings++
			d.Box.Codes, d.Fitting.Codes = append(d.Box.Codes, int32(f)), append(d.Fitting.Codes, int32(f))
			d.Session.Codes = append(d.Session.Codes, int32(s))
			d.Box.Levels, d.Fitting.Levels, d.Session.Levels = f+1, f+1, max(d.Session.Levels, s+1)
			d.AgeYears, d.Years = append(d.AgeYears, float64(s)), append(d.Years, float64(s))
		}
	}
	return d, kept, y
}

var none = math.NaN()

// By counting: strips that share sessions show by rank no more than one strip does,
// strips with sessions of their own do.
func TestRankOfSeveralStrips(t *testing.T) {
	fall := func(n int) (x []float64) {
		for i := range n {
			x = append(x, 60-float64(i))
		}
		return x
	}
	for _, tt := range []struct {
		name     string
		values   [][]float64
		s        int
		p, least float64
		slope    float64
	}{
		{"three sessions", [][]float64{fall(3)}, -3, 2.0 / 6, 2.0 / 6, -1},
		{"ten strips in the same three sessions", [][]float64{fall(3), fall(3), fall(3), fall(3), fall(3), fall(3), fall(3), fall(3), fall(3), fall(3)}, -30, 2.0 / 6, 2.0 / 6, -1},
		{"five sessions", [][]float64{fall(5)}, -10, 2.0 / 120, 2.0 / 120, -1},
		// Each strip has 6 orders, both fall in 1 of 36.
		{"two strips in sessions of their own", [][]float64{{60, 59, 58, none, none, none}, {none, none, none, 60, 59, 58}}, -6, 2.0 / 36, 2.0 / 36, -1},
		// One rises and one falls: every order of the sessions gives 0.
		{"against each other", [][]float64{fall(3), {58, 59, 60}}, 0, 1, 1, 0},
		{"a strip that joins later", [][]float64{{60, 59, 58}, {none, 61, 60}}, -4, 2.0 / 6, 2.0 / 6, -1},
		{"a tie", [][]float64{{60, 60, 58}}, -2, 2 * 2.0 / 6, 2 * 2.0 / 6, -1},
	} {
		r := rankOf(ranked(tt.values))
		if r.S != tt.s || math.Abs(r.P-tt.p) > 1e-12 || math.Abs(r.Least-tt.least) > 1e-12 || math.Abs(r.Slope-tt.slope) > 1e-12 || !r.Exact {
			t.Errorf("%s: %+v", tt.name, r)
		}
	}
	if r := rankOf(ranked([][]float64{{60, none}, {none, 58}})); r.Undefined == "" || !math.IsNaN(r.P) {
		t.Errorf("no strip twice: %+v", r)
	}
}

// Beyond eight shared sessions: the variance against the closed form for one strip,
// n(n-1)(2n+5)/18 (Kendall), and the normal tail against the exact one.
func TestRankOfManySessions(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 4))
	row := func() (x []float64) {
		for i := range 12 {
			x = append(x, 60-0.3*float64(i)+rng.NormFloat64())
		}
		return x
	}
	one := row()
	d, kept, y := ranked([][]float64{one})
	fittings, _, times := visitsOf(d, kept, y)
	b := block{times: times, signs: make([][]int, 12)}
	for i := range 12 {
		b.sessions = append(b.sessions, i)
		b.signs[i] = make([]int, 12)
		for j := range 12 {
			b.signs[i][j] = sign(fittings[0][j].mean - fittings[0][i].mean)
		}
	}
	if got, want := b.variance(), 12.0*11*29/18; math.Abs(got-want) > 1e-9 {
		t.Errorf("variance %v, want %v", got, want)
	}
	exact := rankOf(d, kept, y)
	if want := (dist.MannKendall{N: 12}).TwoSided(exact.S); !exact.Exact || math.Abs(exact.P-want) > 1e-12 {
		t.Errorf("%+v, want p %v", exact, want)
	}
	// The same values twice: S and its spread double, the test stays about the same.
	twice := rankOf(ranked([][]float64{one, one}))
	if twice.Exact || twice.S != 2*exact.S || math.Abs(twice.P-exact.P) > 0.01 {
		t.Errorf("%+v, exact for one %+v", twice, exact)
	}
}

// The chance of a small p without wear is small, also where ten strips share sessions
// that differ: what ignores the sharing finds a trend in a third of campaigns.
func TestRankKeepsItsLevel(t *testing.T) {
	rng := rand.New(rand.NewPCG(9, 1))
	found, ignoring := 0, 0
	const reps = 300
	for range reps {
		values := make([][]float64, 10)
		for range 6 {
			offset := rng.NormFloat64()
			for f := range values {
				values[f] = append(values[f], offset+0.5*rng.NormFloat64())
			}
		}
		r := rankOf(ranked(values))
		found += hit(r.P <= 0.05)
		variance := 10 * 6.0 * 5 * 17 / 18
		ignoring += hit(2*dist.NormalSurvival((math.Abs(float64(r.S))-1)/math.Sqrt(variance)) <= 0.05)
	}
	if found > 24 || ignoring < 60 { // 5 % of 300 is 15, three standard errors 11
		t.Errorf("a trend found in %d of %d, ignoring the sharing in %d", found, reps, ignoring)
	}
}

func hit(is bool) int {
	if is {
		return 1
	}
	return 0
}

// stepped are strips of three closings a session, steady but for what change does.
func stepped(strips, sessions int, change func(strip, session int) float64) (Data, []int32, []float64) {
	rng := rand.New(rand.NewPCG(2, 7))
	var d Data
	var kept []int32
	var y []float64
	for f := range strips {
		for s := range sessions {
			for range 3 {
				kept = append(kept, int32(d.Closings))
				y = append(y, 60+float64(f)+change(f, s)+0.3*rng.NormFloat64())
				d.Closings++
				d.Box.Codes, d.Fitting.Codes = append(d.Box.Codes, int32(f)), append(d.Fitting.Codes, int32(f))
				d.Session.Codes = append(d.Session.Codes, int32(s))
				d.AgeYears, d.Years = append(d.AgeYears, float64(s)), append(d.Years, float64(s))
			}
		}
	}
	d.Box.Levels, d.Fitting.Levels, d.Session.Levels = strips, strips, sessions
	return d, kept, y
}

func TestSteps(t *testing.T) {
	at := func(d Data, kept []int32, y []float64) string {
		out := ""
		for _, s := range stepsOf(d, kept, y, 3) {
			out += fmt.Sprintf("[%d: %d>%d %.0f]", s.Fitting, s.Before, s.After, s.ShiftDB)
		}
		return out
	}
	for _, tt := range []struct {
		name   string
		strips int
		change func(strip, session int) float64
		want   string
	}{
		{"steady", 3, func(int, int) float64 { return 0 }, ""},
		{"steady wear, however fast", 3, func(_, s int) float64 { return -5 * float64(s) }, ""},
		{"one strip", 4, func(f, s int) float64 { return either(f == 2 && s >= 3, -6) }, "[2: 2>3 -6]"},
		{"a step on top of wear", 1, func(_, s int) float64 { return -float64(s) + either(s >= 2, -6) }, "[0: 1>2 -7]"},
		{"all alike: the set-up", 4, func(_, s int) float64 { return either(s >= 4, 5) }, "[-1: 3>4 5]"},
		{"up and down", 3, func(f, s int) float64 { return either(s >= 3, 6*float64(1-f)) }, "[0: 2>3 6][2: 2>3 -6]"},
		{"too small", 4, func(f, s int) float64 { return either(f == 2 && s >= 3, -2) }, ""},
	} {
		if got := at(stepped(tt.strips, 5, tt.change)); got != tt.want {
			t.Errorf("%s: %q, want %q", tt.name, got, tt.want)
		}
	}
	if got := at(stepped(1, 2, func(_, s int) float64 { return -9 * float64(s) })); got != "" {
		t.Errorf("two sessions have nothing that is usual: %s", got)
	}
}

func either(is bool, x float64) float64 {
	if is {
		return x
	}
	return 0
}

// A drift of the instruments looks like wear; against a control box it does not. What a
// session shares, be it what it may, cancels in the difference.
func TestControlTakesDriftAway(t *testing.T) {
	l := layout{boxes: 5, sessions: 6, closings: 1, points: 2, slope: 0, own: 0, seed: 11}
	d := l.data()
	for i := range d.AgeYears {
		d.AgeYears[i] = d.Years[i]
	}
	d.Control = make([]bool, d.Closings)
	for i, b := range d.Box.Codes {
		d.Control[i] = b == 4
	}
	s := settingsFor(d)
	calm := mustWear(t, d, s)
	drifting := d
	drifting.DB = append([]float64(nil), d.DB...)
	rng := rand.New(rand.NewPCG(3, 3))
	offsets := make([]float64, 6)
	for k := range offsets {
		offsets[k] = -1.5*float64(k) + rng.NormFloat64()
	}
	for i, c := range d.Closing {
		drifting.DB[i] += offsets[d.Session.Codes[c]]
	}
	r := mustWear(t, drifting, s)
	if r.Verdict != Wears || r.Against == nil || r.Against.Reason != "" {
		t.Fatalf("%q, %+v", r.Verdict, r.Against)
	}
	if calm.Boxes != 4 || r.Against.Boxes != 1 {
		t.Errorf("%d boxes, %d controls", r.Boxes, r.Against.Boxes)
	}
	near(t, "slope minus the control's", r.Against.Difference.Value, calm.Against.Difference.Value, 1e-6)
	near(t, "control's slope", r.Against.Slope-calm.Against.Slope, r.Slope.Value-calm.Slope.Value, 1e-6)
	if d := r.Against.Difference; !(d.Lower < 0 && d.Upper > 0) || !(r.Against.P > 0.05) {
		t.Errorf("a difference where there is none: %+v", d)
	}
	// Fewer than three sessions in common: said.
	short := drifting
	short.Control = append([]bool(nil), d.Control...)
	for i, c := range d.Session.Codes {
		if d.Box.Codes[i] == 4 && c < 4 {
			short.Control[i] = false // as if another box had been tested then
		}
	}
	short.Box.Codes = append([]int32(nil), d.Box.Codes...)
	short.Box.Levels = 6
	for i, on := range short.Control {
		if on {
			short.Box.Codes[i] = 5
		}
	}
	short.Fitting = short.Box
	if r := mustWear(t, short, s); r.Against == nil || r.Against.Reason == "" || !math.IsNaN(r.Against.Difference.Value) {
		t.Errorf("%+v", r.Against)
	}
}

// The p value of the closing-level likelihood is the chance at which the bound of the
// slope reaches zero: exactly for one strip, nearly where the strips' own slopes join in.
func TestLikelihoodP(t *testing.T) {
	for boxes, tol := range map[int]float64{1: 1e-4, 4: 0.1} {
		l := layout{boxes: boxes, sessions: 6, closings: 3, points: 1, slope: -1.2, own: 0.1, seed: 22}
		d := l.data()
		for i := range d.DB {
			if d.Closing[i]%9 == 0 {
				d.Limited[i], d.HeadroomDB[i] = true, d.DB[i]
			}
		}
		s := settingsFor(d)
		r := mustWear(t, d, s)
		if r.Method != Likelihood || !(r.P > 1e-6 && r.P < 0.5) {
			t.Fatalf("%d boxes: %s, p %v", boxes, r.Method, r.P)
		}
		s.Confidence = 1 - r.P/2
		if at := mustWear(t, d, s); math.Abs(at.Slope.Upper) > tol*math.Abs(r.Slope.Value) {
			t.Errorf("%d boxes: p %v, but the bound at that chance is %v", boxes, r.P, at.Slope.Upper)
		}
	}
}
