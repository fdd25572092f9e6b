package mixed

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// denseEffects predicts the random effects by the definition G Z'V^-1 (y - X b)
// with n x n matrices, scalar terms only, in the order of the terms.
func denseEffects(d Design, f *Fit) [][]float64 {
	n := len(d.Y)
	sigma2 := f.Components[len(f.Components)-1].Variance
	v := mat.NewSymDense(n, nil)
	for i := range n {
		v.SetSym(i, i, sigma2)
	}
	type column struct {
		term     int
		variance float64
		z        []float64
	}
	var cols []column
	k := 0
	for t, term := range d.Terms {
		if term.hasIntercept() {
			ones := make([]float64, n)
			for i := range ones {
				ones[i] = 1
			}
			cols = append(cols, column{t, f.Components[k].Variance, ones})
			k++
		}
		if term.hasSlope() {
			cols = append(cols, column{t, f.Components[k].Variance, term.Slope})
			k++
		}
	}
	for _, c := range cols {
		codes := d.Terms[c.term].Factor.Codes
		for i := range n {
			for j := i; j < n; j++ {
				if codes[i] == codes[j] {
					v.SetSym(i, j, v.At(i, j)+c.variance*c.z[i]*c.z[j])
				}
			}
		}
	}
	x := d.fixed()
	r := mat.NewVecDense(n, nil)
	for i := range n {
		e := d.Y[i]
		for j := range x {
			e -= x[j][i] * f.Beta[j]
		}
		r.SetVec(i, e)
	}
	var chol mat.Cholesky
	chol.Factorize(v)
	var vr mat.VecDense
	_ = chol.SolveVecTo(&vr, r)
	var out [][]float64
	for _, c := range cols {
		b := make([]float64, d.Terms[c.term].Factor.Levels)
		for i, code := range d.Terms[c.term].Factor.Codes {
			b[code] += c.variance * c.z[i] * vr.AtVec(i)
		}
		out = append(out, b)
	}
	return out
}

// Predictions equal the dense definition on nested, crossed and sloped designs.
func TestEffectsDense(t *testing.T) {
	compared := 0
	for i := 0; compared < 60; i++ {
		rng := rand.New(rand.NewPCG(21, uint64(i)))
		d := randomDesign(rng, 30+rng.IntN(40))
		pair := false
		for _, term := range d.Terms {
			pair = pair || term.correlated()
		}
		if pair || len(d.Terms) == 0 {
			continue
		}
		f, err := d.Fit(REML)
		if err != nil {
			continue
		}
		compared++
		want := denseEffects(d, f)
		k := 0
		for term := range d.Terms {
			b0, b1 := f.Effects(term)
			for _, got := range [][]float64{b0, b1} {
				if got == nil {
					continue
				}
				for l := range got {
					if math.Abs(got[l]-want[k][l]) > 1e-8 {
						t.Errorf("design %d (%v): effect %d of %d = %v, dense %v", i, termNames(d), l, k, got[l], want[k][l])
					}
				}
				k++
			}
		}
	}
}
