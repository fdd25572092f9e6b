package mixed

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/mat"

	"sealbound/stats"
)

// denseCriterion is -2 log-likelihood straight from its definition with n x n
// matrices: V = I + sum of Z G Z', P = V^-1 - V^-1 X (X'V^-1 X)^-1 X'V^-1. It
// shares no code with the package.
func denseCriterion(d Design, theta []float64, reml bool) float64 {
	n := len(d.Y)
	v := mat.NewSymDense(n, nil)
	for i := range n {
		v.SetSym(i, i, 1)
	}
	add := func(z1, z2 []float64, codes []int32, g float64) {
		for i := range n {
			for j := i; j < n; j++ {
				if codes[i] == codes[j] {
					v.SetSym(i, j, v.At(i, j)+g*z1[i]*z2[j])
				}
			}
		}
	}
	ones := make([]float64, n)
	for i := range ones {
		ones[i] = 1
	}
	k := 0
	for _, t := range d.Terms {
		codes := t.Factor.Codes
		if t.Slope != nil && t.Intercept && t.Correlated {
			a, b, c := theta[k], theta[k+1], theta[k+2]
			k += 3
			add(ones, ones, codes, a*a)
			cross := mat.NewSymDense(n, nil)
			for i := range n {
				for j := i; j < n; j++ {
					if codes[i] == codes[j] {
						cross.SetSym(i, j, a*b*(t.Slope[i]+t.Slope[j]))
					}
				}
			}
			v.AddSym(v, cross)
			add(t.Slope, t.Slope, codes, b*b+c*c)
			continue
		}
		if t.Slope == nil || t.Intercept {
			add(ones, ones, codes, theta[k]*theta[k])
			k++
		}
		if t.Slope != nil {
			add(t.Slope, t.Slope, codes, theta[k]*theta[k])
			k++
		}
	}
	columns := d.X
	if columns == nil {
		columns = [][]float64{ones}
	}
	p := len(columns)
	x := mat.NewDense(n, p, nil)
	for j, c := range columns {
		x.SetCol(j, c)
	}
	y := mat.NewVecDense(n, d.Y)
	var chol mat.Cholesky
	if !chol.Factorize(v) {
		return math.NaN()
	}
	var vx mat.Dense
	var vy mat.VecDense
	_ = chol.SolveTo(&vx, x)
	_ = chol.SolveVecTo(&vy, y)
	var xx mat.Dense
	xx.Mul(x.T(), &vx)
	var xy, beta mat.VecDense
	xy.MulVec(x.T(), &vy)
	_ = beta.SolveVec(&xx, &xy)
	var r, vr mat.VecDense
	r.MulVec(x, &beta)
	r.SubVec(y, &r)
	_ = chol.SolveVecTo(&vr, &r)
	q := mat.Dot(&r, &vr)
	df := float64(n)
	if reml {
		df -= float64(p)
	}
	c := df*(1+math.Log(2*math.Pi*q/df)) + chol.LogDet()
	if reml {
		ld, _ := mat.LogDet(&xx)
		c += ld
	}
	return c
}

// randomFactor gives each row one of levels codes.
func randomFactor(rng *rand.Rand, name string, n, levels int) stats.Factor {
	f := stats.Factor{Name: name, Codes: make([]int32, n), Levels: levels}
	for i := range f.Codes {
		f.Codes[i] = int32(rng.IntN(levels))
	}
	return f
}

// product is the factor of the combinations of a and b.
func product(name string, a, b stats.Factor) stats.Factor {
	f := stats.Factor{Name: name, Codes: make([]int32, len(a.Codes)), Levels: a.Levels * b.Levels}
	for i := range f.Codes {
		f.Codes[i] = a.Codes[i]*int32(b.Levels) + b.Codes[i]
	}
	return f
}

// randomDesign draws an unbalanced design of one of several kinds: nested,
// crossed, both, slopes, with and without covariates, rows in random order.
func randomDesign(rng *rand.Rand, n int) Design {
	box := randomFactor(rng, "box", n, 2+rng.IntN(5))
	part := randomFactor(rng, "part", n, 1+rng.IntN(3))
	fitting := product("fitting", box, part)
	session := randomFactor(rng, "session", n, 2+rng.IntN(4))
	visit := product("visit", fitting, session)
	operator := randomFactor(rng, "operator", n, 2+rng.IntN(2))
	age := make([]float64, n)
	group := make([]float64, n)
	ones := make([]float64, n)
	y := make([]float64, n)
	for i := range n {
		ones[i] = 1
		age[i] = float64(rng.IntN(6)) / 2
		if rng.IntN(3) == 0 {
			age[i] = 3 * rng.Float64()
		}
		group[i] = float64(box.Codes[i] % 2)
		y[i] = 60 + 3*float64(box.Codes[i]) + float64(session.Codes[i]) - age[i] + 2*rng.NormFloat64()
	}
	d := Design{Y: y}
	switch rng.IntN(4) {
	case 3: // a mean per group, no constant column
		other := make([]float64, n)
		for i := range other {
			other[i] = 1 - group[i]
		}
		d.X = [][]float64{group, other}
		if slices.Max(group) == slices.Min(group) {
			d.X = nil
		}
	case 1:
		d.X = [][]float64{ones, age}
	case 2:
		d.X = [][]float64{age, ones, group}
	}
	all := []Term{{Factor: box}, {Factor: fitting}, {Factor: session}, {Factor: visit}, {Factor: operator},
		{Factor: fitting, Slope: age}, {Factor: box, Slope: age, Intercept: true},
		{Factor: session, Slope: age, Intercept: true, Correlated: true}, {Factor: box, Slope: age, Intercept: true, Correlated: true}}
	for _, t := range all {
		if rng.IntN(3) == 0 {
			d.Terms = append(d.Terms, t)
		}
	}
	rng.Shuffle(len(d.Terms), func(i, j int) { d.Terms[i], d.Terms[j] = d.Terms[j], d.Terms[i] })
	return d
}

func randomTheta(rng *rand.Rand, d Design) []float64 {
	var theta []float64
	for _, t := range d.Terms {
		for range t.names() {
			theta = append(theta, 2*rng.Float64())
		}
		if t.correlated() {
			k := len(theta)
			theta[k-1] = rng.NormFloat64()
			theta = append(theta, rng.Float64())
		}
		if rng.IntN(5) == 0 {
			theta[len(theta)-1] = 0
		}
	}
	return theta
}

// The recursion equals the dense formula on nested, crossed and sloped designs.
func TestCriterionDense(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	tried := 0
	for tried < 400 {
		d := randomDesign(rng, 8+rng.IntN(50))
		theta := randomTheta(rng, d)
		for _, m := range []Method{REML, ML} {
			got, err := d.Criterion(theta, m)
			if err != nil {
				t.Fatalf("Criterion: %v", err)
			}
			want := denseCriterion(d, theta, m == REML)
			// The same without the sums that are kept between evaluations.
			s, err := newSystemWithin(d, 0)
			if err != nil {
				t.Fatal(err)
			}
			w := newWorkspace(s, tried%2 == 0)
			w.eval(s.ratios(theta))
			if fresh := w.criterion(m); math.Abs(fresh-want) > 1e-9 {
				t.Errorf("%v criterion without kept sums = %.12f, dense %.12f", m, fresh, want)
			}
			if math.Abs(got-want) > 1e-9 {
				t.Errorf("%v criterion = %.12f, dense %.12f (terms %v, theta %v)", m, got, want, termNames(d), theta)
			}
		}
		tried++
	}
}

func termNames(d Design) []string {
	var out []string
	for _, t := range d.Terms {
		out = append(out, t.names()...)
		if t.correlated() {
			out = append(out, "(pair)")
		}
	}
	return out
}

// Exact derivatives against central differences of the criterion.
func TestDerivatives(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	for range 150 {
		d := randomDesign(rng, 12+rng.IntN(40))
		s, err := newSystem(d)
		if err != nil {
			t.Fatal(err)
		}
		k := len(s.params)
		theta := randomTheta(rng, d)
		for i := range theta {
			if s.params[i].kind != pairCov {
				theta[i] += 0.3
			}
		}
		gamma := s.ratios(theta)
		for _, m := range []Method{REML, ML} {
			w, v := newWorkspace(s, true), newWorkspace(s, false)
			g, h := make([]float64, k), make([]float64, k*k)
			w.eval(gamma)
			w.derivatives(m, g, h)
			v.eval(gamma)
			if a, b := w.criterion(m), v.criterion(m); math.Abs(a-b) > 1e-10*(1+math.Abs(b)) {
				t.Errorf("criterion with derivatives %v, without %v", a, b)
			}
			for i := range k {
				// Fourth-order central difference of the value for the gradient,
				// of the gradient for the Hessian.
				step := 1e-3 * math.Max(gamma[i], 0.05)
				if s.params[i].kind != scalar {
					step = 1e-4
				}
				var num float64
				row := make([]float64, k)
				gg, hh := make([]float64, k), make([]float64, k*k)
				for _, c := range [][2]float64{{-2, 1. / 12}, {-1, -8. / 12}, {1, 8. / 12}, {2, -1. / 12}} {
					at := append([]float64(nil), gamma...)
					at[i] += c[0] * step
					v.eval(at)
					num += c[1] * v.criterion(m) / step
					w.eval(at)
					w.derivatives(m, gg, hh)
					for j := range row {
						row[j] += c[1] * gg[j] / step
					}
				}
				if math.Abs(num-g[i]) > 1e-6*(1+math.Abs(g[i])) {
					t.Errorf("%v: gradient %d = %v, difference %v (%v)", m, i, g[i], num, termNames(d))
				}
				for j := range row {
					if math.Abs(row[j]-h[i*k+j]) > 1e-6*(1+math.Abs(h[i*k+j])) {
						t.Errorf("%v: Hessian %d,%d = %v, difference %v (%v)", m, i, j, h[i*k+j], row[j], termNames(d))
					}
				}
			}
		}
	}
}
