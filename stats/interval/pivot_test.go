package interval

import (
	"math"
	"math/rand/v2"
	"os"
	"testing"

	"sealbound/stats/dist"
)

// The table against the chi-square itself, and the probabilities against the
// noncentral t: P(b + a*Z >= d*W) = P((Z + b/a)/(W/sqrt(nu)) >= d*sqrt(nu)/a).
func TestRadius(t *testing.T) {
	for _, df := range []float64{2, 3, 5, 11, 12, 29, 30, 89, 4000} {
		r := newRadius(df)
		r.refine(1.1)
		for _, p := range []float64{1e-6, 0.01, 0.3, 0.5, 0.9, 0.999} {
			w := math.Sqrt(dist.ChiSquareQuantile(p, df))
			if got, _ := r.below(w); math.Abs(got-p) > 2e-8 {
				t.Errorf("%v df: P(W <= %v) = %v, want %v", df, w, got, p)
			}
		}
		for _, a := range []float64{1e-3, 0.1, 0.5, 0.79, 0.81, 2, 50} {
			for _, p := range []float64{0.001, 0.05, 0.5, 0.95} {
				for _, b := range []float64{0, 0.3, 1.5 * math.Sqrt(df)} {
					d := dist.NoncentralT{Nu: df, Delta: b / a}.Quantile(1-p) * a / math.Sqrt(df)
					if math.Abs(d) > 1e3 || math.Abs(d) < 1e-3 {
						continue
					}
					s := math.Abs(d) // in units of d, so that all of the width is tried
					got, slope := r.exceeds(b, a, d)
					if math.Abs(got-p) > 1e-6 {
						t.Errorf("%v df: P(%v + %v Z >= %v W) = %v, want %v", df, b, a, d, got, p)
					}
					up, _ := r.exceeds(b, a, d+1e-4*s)
					down, _ := r.exceeds(b, a, d-1e-4*s)
					if numeric := (up - down) / (2e-4 * s); math.Abs(slope-numeric) > 1e-3*math.Abs(numeric)+1e-4/s {
						t.Errorf("%v df, %v + %v Z >= %v W: slope %v, by differences %v", df, b, a, d, slope, numeric)
					}
				}
			}
		}
	}
}

// strata of two levels above which nothing is carried but h.
func twoStrata(ssTop, dfTop, ssLow, dfLow, h float64) []stratum {
	return []stratum{{ssTop, dfTop, []float64{0, h}}, {ssLow, dfLow, []float64{0, 0}}}
}

// Where a level does not vary at all the limit is known exactly: the noncentral t of
// the top level alone, or the chi-square of the lowest alone.
func TestIntegrateExactEnds(t *testing.T) {
	for _, top := range []float64{1, 2, 5, 30, 300} {
		for _, low := range []float64{1, 2, 7, 80, 3000} {
			for _, coverage := range []float64{0.51, 0.9, 0.99} {
				for _, confidence := range []float64{0.05, 0.5, 0.8, 0.95, 0.99, 0.999} {
					z, a := dist.NormalQuantile(coverage), top+1
					g := generalized{mean: 60, units: a, z: z, strata: twoStrata(top, top, 0, low, 0.3)}
					want := 60 - dist.NoncentralT{Nu: top, Delta: z * math.Sqrt(a)}.Quantile(confidence)/math.Sqrt(a)
					if got, ok := g.integrate(confidence); !ok || math.Abs(got-want) > 5e-5*math.Max(1, 60-want) {
						t.Errorf("all between, df %v and %v, coverage %v, confidence %v: %v (%v), want %v", top, low, coverage, confidence, got, ok, want)
					}
					g.strata = twoStrata(0, top, low, low, 0.3)
					want = 60 - z*math.Sqrt(low/dist.ChiSquareQuantile(1-confidence, low))
					if got, ok := g.integrate(confidence); !ok || math.Abs(got-want) > 5e-5*math.Max(1, 60-want) {
						t.Errorf("all within, df %v and %v, coverage %v, confidence %v: %v (%v), want %v", top, low, coverage, confidence, got, ok, want)
					}
				}
			}
		}
	}
}

// A level between that does not vary leaves the bound of the two others.
func TestIntegrateIdleLevel(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 5))
	drawn := 0
	for range 60 {
		g := lopsided(r, 2)
		want, ok := g.integrate(0.95)
		if !ok {
			t.Errorf("%+v: not integrated", g)
		}
		h := g.strata[0].finer[1]
		g.strata = []stratum{
			{g.strata[0].ss, g.strata[0].df, []float64{0, 0.7, h}},
			{0, float64(1 + r.IntN(20)), []float64{0, 0, 0.4}},
			{g.strata[1].ss, g.strata[1].df, []float64{0, 0, 0}},
		}
		got, ok := g.integrate(0.95)
		if !ok {
			drawn++
			continue
		}
		if total, _ := g.total(); math.Abs(got-want) > 1e-4*math.Max(math.Sqrt(total), math.Abs(want)) {
			t.Errorf("%+v: %v, without the level %v", g, got, want)
		}
	}
	if drawn > 6 {
		t.Errorf("%d of 60 left to draws", drawn)
	}
}

// lopsided makes strata of every kind: few and many degrees of freedom, tiny, huge and
// no variation.
func lopsided(r *rand.Rand, levels int) generalized {
	g := generalized{z: dist.NormalQuantile([]float64{0.6, 0.9, 0.99}[r.IntN(3)]), strata: make([]stratum, levels)}
	for l := range g.strata {
		s := &g.strata[l]
		s.df = []float64{1, 1, 2, 3, 4, 5, 8, 12, 30, 80, 1000}[r.IntN(11)]
		switch r.IntN(5) {
		case 0:
			s.ss = s.df * math.Pow(10, 16*r.Float64()-8)
		case 1:
			s.ss = 0
		default:
			s.ss = s.df * math.Exp(2*inverted(r))
		}
		s.finer = make([]float64, levels)
		share := 1.0
		for j := l + 1; j < levels; j++ {
			share /= 1 + 4*r.Float64()
			s.finer[j] = share
		}
	}
	g.strata[levels-1].ss += 1e-6 // something varies
	g.units = g.strata[0].df + 1
	return g
}

// Integrated limits against draws: the share of draws below must be binomial about
// 1-confidence. The draws know nothing of the quadrature. With three levels some of the
// most lopsided are left to draws.
func TestIntegrateAgainstDraws(t *testing.T) {
	designs, draws := 60, 20000
	if os.Getenv("SEALBOUND_LONG") != "" {
		designs, draws = 300, 1000000
	}
	r := rand.New(rand.NewPCG(7, 7))
	for levels := 2; levels <= mostIntegrated; levels++ {
		var sum, squares, n, failed float64
		for range designs {
			g := lopsided(r, levels)
			sample := g.sample(r, draws)
			for _, confidence := range []float64{0.5, 0.8, 0.95, 0.99} {
				limit, ok := g.integrate(confidence)
				if !ok {
					failed++
					continue
				}
				below := 0.0
				for _, v := range sample {
					if v <= limit {
						below++
					}
				}
				p := 1 - confidence
				z := (below - p*float64(draws)) / math.Sqrt(p*confidence*float64(draws))
				if math.Abs(z) > 4.5 {
					t.Errorf("confidence %v: %.0f of %d draws below the limit %v (%.1f standard errors off): %+v", confidence, below, draws, limit, z, g)
				}
				sum, squares, n = sum+z, squares+z*z, n+1
			}
		}
		t.Logf("%d levels: %v limits, %v not integrated; mean score %.3f, mean square %.3f", levels, n, failed, sum/n, squares/n)
		if failed > 0.1*n*float64(levels-2)+0.01*n || math.Abs(sum/n) > 0.25 || squares/n > 1.4 {
			t.Errorf("%d levels: %v of %v limits not integrated; standard scores have mean %v and mean square %v, want 0 and 1", levels, failed, n, sum/n, squares/n)
		}
	}
}

// Against the plain double sum over the two chi variables by the midpoint rule, which
// shares nothing with the angles: within 1e-4 of the SD of one closing.
func TestIntegrateAgainstMidpoints(t *testing.T) {
	const n = 1200
	for _, tt := range []struct{ ssTop, dfTop, ssLow, dfLow, h float64 }{
		{8, 8, 81, 81, 0.1}, {3, 2, 6, 9, 0.25}, {1, 4, 9, 5, 0.5},
	} {
		g := generalized{units: tt.dfTop + 1, z: dist.NormalQuantile(0.9), strata: twoStrata(tt.ssTop, tt.dfTop, tt.ssLow, tt.dfLow, tt.h)}
		limit, ok := g.integrate(0.95)
		if !ok {
			t.Errorf("%v: not integrated", tt)
			continue
		}
		var chance, density, total float64
		step := func(df float64) (lo, h float64) {
			lo = math.Max(0, math.Sqrt(df)-5)
			return lo, (math.Sqrt(df) + 5 - lo) / n
		}
		loTop, hTop := step(tt.dfTop)
		loLow, hLow := step(tt.dfLow)
		for i := range n {
			x := loTop + (float64(i)+0.5)*hTop
			top := tt.ssTop / (x * x)
			fx := math.Exp((tt.dfTop-1)*math.Log(x) - x*x/2)
			se := math.Sqrt(top / g.units)
			for j := range n {
				y := loLow + (float64(j)+0.5)*hLow
				low := tt.ssLow / (y * y)
				f := fx * math.Exp((tt.dfLow-1)*math.Log(y)-y*y/2)
				z := (limit + g.z*math.Sqrt(low+math.Max(0, top-tt.h*low))) / se
				chance += f * dist.NormalCDF(z)
				density += f * math.Exp(-z*z/2) / math.Sqrt(2*math.Pi) / se
				total += f
			}
		}
		sum, _ := g.total()
		if off := (chance/total - 0.05) / (density / total); math.Abs(off) > 1e-4*math.Sqrt(sum) {
			t.Errorf("%v: limit %v is off by %v", tt, limit, off)
		}
	}
}

// Levels, methods and draws as reported.
func TestNestedCoverageMethods(t *testing.T) {
	levels, n := hierarchy(ragged)
	r := rand.New(rand.NewPCG(2, 0))
	y := make([]float64, n)
	for i := range y {
		y[i] = 60 + inverted(r) + float64(levels[0].Codes[i])
	}
	bounds := func(seed uint64, many int) Nested {
		b, err := NestedCoverage(y, levels[:many], 0.9, 0.95, seed, 1000)
		if err != nil {
			t.Fatal(err)
		}
		return b
	}
	for many, method := range map[int]NestedMethod{0: Exact, 1: Integrated, 2: Integrated, 3: Drawn} {
		a, b := bounds(1, many), bounds(2, many)
		draws := 0
		if method == Drawn {
			draws = 1000
		}
		if a.Method != method || a.Draws != draws || (a == b) == (method == Drawn) {
			t.Errorf("%d levels above the closings: %+v, with another seed %+v; want method %d", many, a, b, method)
		}
	}
}
