package censored

import (
	"math"
	"math/rand/v2"
	"reflect"
	"testing"

	"sealbound/stats"
	"sealbound/stats/dist"
	"sealbound/stats/internal/refcase"
)

func mustNested(t *testing.T, c Closings) *NestedFit {
	t.Helper()
	f, err := Nested(c)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

func factor(name string, codes []int32) stats.Factor {
	f := stats.Factor{Name: name, Codes: codes}
	for _, c := range codes {
		f.Levels = max(f.Levels, int(c)+1)
	}
	return f
}

// With nothing limited: Dyestuff, six batches of five. The log-likelihood is
// that of MixedModels.jl 2228a9a, test/pls.jl, test set "Dyestuff" (criterion
// 327.32705988112673), the spreads follow from the mean squares of R's analysis
// of variance (11271.50 and 2451.25) in closed form, and the bound rests on the
// batch means: case c_dyestuff, mean.lower95_onesided.
func TestNestedDyestuff(t *testing.T) {
	c := refcase.Load(t, "c_dyestuff")
	cols := c.Columns(t)
	codes, _ := cols.Codes("Batch")
	f := mustNested(t, Closings{DB: cols.Float("Yield"), Levels: []stats.Factor{factor("batch", codes)}})
	if f.Status != Estimated || math.Abs(-2*f.LogLikelihood-327.32705988112673) > 1e-8 {
		t.Errorf("%v, -2 log-likelihood %.11f", f.Status, -2*f.LogLikelihood)
	}
	within, between := math.Sqrt(2451.25), math.Sqrt((11271.50*5/6-2451.25)/5)
	if k := f.Components; len(k) != 2 || math.Abs(k[0].SDDB-between) > 1e-4 || math.Abs(k[1].SDDB-within) > 1e-4 {
		t.Errorf("%+v, want %v and %v", k, between, within)
	}
	e := f.Mean(0.95, 0, 0)
	c.CheckWithin(t, "mean.lower95_onesided", e.Lower, 1e-8, 0) // the end of a search
	if e.DF != 5 || math.Abs(e.Upper-e.Value-(e.Value-e.Lower)) > 1e-5 {
		t.Errorf("%+v", e)
	}
}

// Dyestuff2: the spread between batches is zero at best. Source of the criterion
// 162.87303665382575: MixedModels.jl, test/pls.jl, test set "Dyestuff2" (memory);
// it is also that of one normal sample, worked out here.
func TestNestedBoundary(t *testing.T) {
	c := refcase.Load(t, "c_dyestuff2_boundary")
	cols := c.Columns(t)
	codes, _ := cols.Codes("Batch")
	y := cols.Float("Yield")
	f := mustNested(t, Closings{DB: y, Levels: []stats.Factor{factor("batch", codes)}})
	flat, _ := FitNormal(y, nil)
	if f.Components[0].SDDB != 0 || math.Abs(f.LogLikelihood-flat.LogLikelihood) > 1e-9 || math.Abs(-2*f.LogLikelihood-162.87303665382575) > 1e-8 {
		t.Errorf("%+v, log-likelihood %v, flat %v", f.Components, f.LogLikelihood, flat.LogLikelihood)
	}
	if e := f.Mean(0.95, 0, 0); !e.Defined() || e.DF != 5 {
		t.Errorf("%+v", e)
	}
}

// Two nested levels, balanced: by maximum likelihood the top mean square has the
// divisor of its units, the others stay as in the analysis of variance. Pastes:
// ten batches of three casks of two.
func TestNestedTwoLevels(t *testing.T) {
	c := refcase.Load(t, "c_pastes_nested")
	cols := c.Columns(t)
	batch, _ := cols.Codes("batch")
	cask, _ := cols.Codes("cask")
	y := cols.Float("strength")
	f := mustNested(t, Closings{DB: y, Levels: []stats.Factor{factor("batch", batch), factor("cask", cask)}})
	const a, b, n = 10.0, 3.0, 2.0
	var grand float64
	batchMean, caskMean := map[int32]float64{}, map[[2]int32]float64{}
	for i, v := range y {
		grand += v / (a * b * n)
		batchMean[batch[i]] += v / (b * n)
		caskMean[[2]int32{batch[i], cask[i]}] += v / n
	}
	var ssa, ssb, sse float64
	for i, v := range y {
		m, k := batchMean[batch[i]], caskMean[[2]int32{batch[i], cask[i]}]
		ssa, ssb, sse = ssa+(m-grand)*(m-grand), ssb+(k-m)*(k-m), sse+(v-k)*(v-k)
	}
	within, between := sse/(a*b*(n-1)), ssb/(a*(b-1))
	want := []float64{math.Sqrt((ssa/a - between) / (b * n)), math.Sqrt((between - within) / n), math.Sqrt(within)}
	for k, w := range want {
		if math.Abs(f.Components[k].SDDB-w) > 1e-6 {
			t.Errorf("%+v, want %v", f.Components, want)
		}
	}
	e := f.Mean(0.95, 0, 0)
	half := dist.TQuantile(0.95, a-1) * math.Sqrt(ssa/(a-1)/(a*b*n))
	if math.Abs(e.Lower-(grand-half)) > 1e-7 || e.DF != 9 {
		t.Errorf("lower %v, want %v; %+v", e.Lower, grand-half, e)
	}
}

// Without levels the fit is that of a sample or a line, limited or not.
func TestNestedWithoutLevels(t *testing.T) {
	c := refcase.Load(t, "d_motors_line")
	values, limited := censoredColumns(t, c)
	x := c.Columns(t).Float("t")
	f := mustNested(t, Closings{DB: values, Limited: limited, Years: x})
	c.CheckWithin(t, "slope", f.SlopeDB, 1e-6, 0) // the search stops a little earlier
	c.CheckWithin(t, "intercept", f.MeanDB, 1e-6, 0)
	c.CheckWithin(t, "loglik", f.LogLikelihood, 1e-9, 0)
	l, _ := FitLine(x, values, limited)
	want, got := l.Calibrated(0.95), f.Slope(0.95, 0)
	if math.Abs(got.Lower-want.Lower) > 1e-6 || math.Abs(got.Upper-want.Upper) > 1e-6 || math.Abs(got.SE-want.SE) > 1e-5 || got.DF != 28 {
		t.Errorf("slope %+v, want %+v", got, want)
	}
	n, _ := FitNormal(values, limited)
	f = mustNested(t, Closings{DB: values, Limited: limited})
	want, got = n.Calibrated(0.95), f.Mean(0.95, 0, 0)
	if math.Abs(got.Value-want.Value) > 1e-6 || math.Abs(got.Lower-want.Lower) > 1e-6 || math.Abs(got.SE-want.SE) > 1e-5 {
		t.Errorf("mean %+v, want %+v", got, want)
	}
	if !math.IsNaN(f.SlopeDB) || f.Slope(0.95, 0).Defined() {
		t.Error("a slope without years")
	}
}

// The mean at an age is that of the same fit with ages counted from it.
func TestMeanAtAnAge(t *testing.T) {
	c := nestedExample(3)
	f := mustNested(t, c)
	at := f.Mean(0.95, 2.5, 8)
	if !at.Defined() {
		t.Fatal(f.Status, at)
	}
	moved := c
	moved.Years = make([]float64, len(c.Years))
	for i, v := range c.Years {
		moved.Years[i] = v - 2.5
	}
	want := mustNested(t, moved).Mean(0.95, 0, 8)
	if math.Abs(at.Value-want.Value) > 1e-6 || math.Abs(at.Lower-want.Lower) > 1e-5 || math.Abs(at.Upper-want.Upper) > 1e-5 {
		t.Errorf("%+v, want %+v", at, want)
	}
	if math.Abs(at.Value-(f.MeanDB+2.5*f.SlopeDB)) > 1e-6 {
		t.Errorf("%v is not %v + 2.5 x %v", at.Value, f.MeanDB, f.SlopeDB)
	}
}

// nestedExample has four boxes, three sessions each, two closings in each, a
// limit at 70 dB.
func nestedExample(seed uint64) Closings {
	rng := rand.New(rand.NewPCG(seed, 5))
	var c Closings
	var box, session []int32
	for b := range 4 {
		u := 2 * rng.NormFloat64()
		for s := range 3 {
			v := 1.5 * rng.NormFloat64()
			for range 2 {
				y := 71 - float64(s) + u + v + rng.NormFloat64()
				c.Limited = append(c.Limited, y > 70)
				c.DB = append(c.DB, min(y, 70))
				c.Years = append(c.Years, float64(s))
				box, session = append(box, int32(b)), append(session, int32(s))
			}
		}
	}
	c.Levels = []stats.Factor{factor("box", box), factor("session", session)}
	return c
}

// The quadrature against the trapezium rule on a fine grid, which is exact to
// rounding for such integrands, and its gradient against differences.
func TestQuadrature(t *testing.T) {
	for seed := range uint64(3) {
		f := mustNested(t, nestedExample(seed))
		cl := f.clusters(0)
		p := params{0.3, -0.4, math.Log(0.4), 0.9, -0.6}
		want := 0.0
		for k := range cl.outers {
			o := &cl.outers[k]
			const h, n = 0.05, 180
			outerSum := 0.0
			for a := -n; a <= n; a++ {
				u := h * float64(a)
				product := math.Exp(-u*u/2) / math.Sqrt(2*math.Pi)
				for i := range o.units {
					sum := 0.0
					for b := -n; b <= n; b++ {
						v := h * float64(b)
						l, _ := o.units[i].at(&p, p[pOuter]*u+p[pInner]*v)
						sum += h * math.Exp(l-v*v/2) / math.Sqrt(2*math.Pi)
					}
					product *= sum
				}
				outerSum += h * product
			}
			want += math.Log(outerSum)
		}
		got, grad := cl.logLik(&p)
		if math.Abs(got-want) > 1e-7 {
			t.Errorf("log-likelihood %.10f, want %.10f", got, want)
		}
		for q := range p {
			up, down := p, p
			up[q] += 1e-5
			down[q] -= 1e-5
			a, _ := cl.logLik(&up)
			b, _ := cl.logLik(&down)
			if d := (a - b) / 2e-5; math.Abs(d-grad[q]) > 1e-5 {
				t.Errorf("parameter %d: slope %v, gradient %v", q, d, grad[q])
			}
		}
	}
}

// Probabilities that two or three normals with equal correlation rho are all
// positive: 1/4 + asin(rho)/(2 pi) and 1/8 + 3 asin(rho)/(4 pi) (Sheppard 1899).
func TestOrthants(t *testing.T) {
	for _, rho := range []float64{0.1, 0.5, 0.8} {
		for n, want := range map[int]float64{2: 0.25 + math.Asin(rho)/(2*math.Pi), 3: 0.125 + 3*math.Asin(rho)/(4*math.Pi)} {
			y, cut, unit := make([]float64, n), make([]bool, n), make([]int32, n)
			for i := range cut {
				cut[i] = true
			}
			p := params{0, 0, math.Log(math.Sqrt(1 - rho)), 0, math.Sqrt(rho)}
			got, _ := newClusters(y, y, cut, nil, unit).logLik(&p)
			if math.Abs(math.Exp(got)-want) > 1e-7 {
				t.Errorf("n = %d, rho %v: %v, want %v", n, rho, math.Exp(got), want)
			}
			// The same as the outer level of units of one closing each.
			p = params{0, 0, math.Log(math.Sqrt(1 - rho)), math.Sqrt(rho), 0}
			each := []int32{0, 1, 2}[:n]
			got, _ = newClusters(y, y, cut, unit, each).logLik(&p)
			if math.Abs(math.Exp(got)-want) > 1e-7 {
				t.Errorf("outer, n = %d, rho %v: %v, want %v", n, rho, math.Exp(got), want)
			}
		}
	}
}

func TestNestedLaws(t *testing.T) {
	c := nestedExample(4)
	want := mustNested(t, c)
	e := want.Slope(0.95, 0)
	// Row order: to the bit.
	perm := rand.New(rand.NewPCG(1, 2)).Perm(len(c.DB))
	shuffled := Closings{Levels: []stats.Factor{{Name: "box", Levels: 4}, {Name: "session", Levels: 3}}}
	for _, i := range perm {
		shuffled.DB, shuffled.Limited, shuffled.Years = append(shuffled.DB, c.DB[i]), append(shuffled.Limited, c.Limited[i]), append(shuffled.Years, c.Years[i])
		for k := range c.Levels {
			shuffled.Levels[k].Codes = append(shuffled.Levels[k].Codes, c.Levels[k].Codes[i])
		}
	}
	f := mustNested(t, shuffled)
	if g := f.Slope(0.95, 0); want.Status != Estimated || g != e || f.LogLikelihood != want.LogLikelihood {
		t.Errorf("order of rows: %+v, want %+v", g, e)
	}
	// A shift moves the mean and nothing else.
	moved := c
	moved.DB = make([]float64, len(c.DB))
	for i, v := range c.DB {
		moved.DB[i] = v + 300
	}
	f = mustNested(t, moved)
	if math.Abs(f.MeanDB-want.MeanDB-300) > 1e-6 || math.Abs(f.Slope(0.95, 0).Lower-e.Lower) > 1e-6 {
		t.Errorf("shift: %v and %v", f.MeanDB-want.MeanDB, f.Slope(0.95, 0).Lower-e.Lower)
	}
	// What a limited closing demonstrates beyond its limit does not matter.
	beyond := c
	beyond.DB, beyond.LimitDB = make([]float64, len(c.DB)), make([]float64, len(c.DB))
	for i, v := range c.DB {
		beyond.DB[i], beyond.LimitDB[i] = v, math.NaN()
		if c.Limited[i] {
			beyond.DB[i], beyond.LimitDB[i] = v+float64(i%5), v
		}
	}
	if f := mustNested(t, beyond); f.Status != Estimated || f.MeanDB != want.MeanDB || f.SlopeDB != want.SlopeDB {
		t.Errorf("%v, %v; want %v, %v", f.MeanDB, f.SlopeDB, want.MeanDB, want.SlopeDB)
	}
}

func TestLevelsThatCannotBeToldApart(t *testing.T) {
	rng := rand.New(rand.NewPCG(6, 6))
	n := 12
	y, box, fitting, session := make([]float64, n), make([]int32, n), make([]int32, n), make([]int32, n)
	for i := range y {
		y[i], box[i], fitting[i], session[i] = 70+rng.NormFloat64(), int32(i/4), int32(i/4), int32(i)
	}
	names := func(levels ...stats.Factor) (out []string) {
		for _, c := range mustNested(t, Closings{DB: y, Levels: levels}).Components {
			out = append(out, c.Source)
		}
		return out
	}
	for _, tt := range []struct{ got, want []string }{
		{names(factor("box", box), factor("fitting", fitting)), []string{"box+fitting", "closing"}},
		{names(factor("box", box), factor("session", session)), []string{"box", "session+closing"}},
		{names(factor("session", session)), []string{"session+closing"}},
		{names(factor("box", make([]int32, n)), factor("session", box)), []string{"session", "closing"}},
	} {
		if !reflect.DeepEqual(tt.got, tt.want) {
			t.Errorf("%v, want %v", tt.got, tt.want)
		}
	}
}

func TestNestedWithoutEstimate(t *testing.T) {
	yes, no := true, false
	two := []stats.Factor{factor("box", []int32{0, 0, 1, 1})}
	for _, tt := range []struct {
		name string
		c    Closings
		want Status
	}{
		{"nothing", Closings{}, NoReading},
		{"all limited", Closings{DB: []float64{60, 61, 62, 63}, Limited: []bool{yes, yes, yes, yes}, Levels: two}, AllLimited},
		{"all equal", Closings{DB: []float64{60, 60, 60, 60}, Levels: two}, NoSpread},
		{"equal within each box", Closings{DB: []float64{60, 60, 62, 62}, Levels: two}, NoSpread},
		{"slope open", Closings{DB: []float64{60, 61, 62, 63}, Limited: []bool{no, no, yes, yes}, Years: []float64{0, 0, 1, 1}, Levels: two}, SlopeFree},
		{"an estimate", Closings{DB: []float64{60, 61, 62, 63}, Limited: []bool{no, no, yes, no}, Levels: two}, Estimated},
	} {
		f := mustNested(t, tt.c)
		if f.Status != tt.want {
			t.Errorf("%s: %v, want %v", tt.name, f.Status, tt.want)
		}
		if e := f.Mean(0.95, 0, 0); tt.want != Estimated && (!math.IsNaN(e.Value) || e.Defined() || !math.IsNaN(f.MeanDB) || !math.IsNaN(f.TotalSDDB)) {
			t.Errorf("%s: a number without an estimate, %+v", tt.name, e)
		}
	}
	for name, c := range map[string]Closings{
		"lengths":      {DB: []float64{1}, Limited: []bool{yes, no}},
		"years":        {DB: []float64{1}, Years: []float64{1, 2}},
		"level":        {DB: []float64{1}, Levels: []stats.Factor{{Codes: []int32{0, 0}}}},
		"three levels": {DB: []float64{}, Levels: make([]stats.Factor, 3)},
		"not finite":   {DB: []float64{math.NaN()}},
		"age":          {DB: []float64{1}, Years: []float64{math.Inf(1)}},
	} {
		if _, err := Nested(c); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}
