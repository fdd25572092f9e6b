package mixed

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// denseSatterthwaite computes, with n x n matrices and in the parametrisation
// by variances, sum w_k variance_k + l'Cl and its degrees of freedom at the
// given variances (terms, then residual): observed information of the
// restricted likelihood I_ij = y'PV_iPV_jPy - tr(PV_iPV_j)/2. Scalar terms
// only. It shares no code with the package.
func denseSatterthwaite(d Design, variances, w, l []float64) (value, df float64) {
	n := len(d.Y)
	var patterns []*mat.SymDense
	for _, t := range d.Terms {
		var columns [][]float64
		if t.Slope == nil || t.Intercept {
			ones := make([]float64, n)
			for i := range ones {
				ones[i] = 1
			}
			columns = append(columns, ones)
		}
		if t.Slope != nil {
			columns = append(columns, t.Slope)
		}
		for _, z := range columns {
			v := mat.NewSymDense(n, nil)
			for i := range n {
				for j := i; j < n; j++ {
					if t.Factor.Codes[i] == t.Factor.Codes[j] {
						v.SetSym(i, j, z[i]*z[j])
					}
				}
			}
			patterns = append(patterns, v)
		}
	}
	identity := mat.NewSymDense(n, nil)
	for i := range n {
		identity.SetSym(i, i, 1)
	}
	patterns = append(patterns, identity)
	v := mat.NewSymDense(n, nil)
	for k, s := range variances {
		for i := range n {
			for j := i; j < n; j++ {
				v.SetSym(i, j, v.At(i, j)+s*patterns[k].At(i, j))
			}
		}
	}
	columns := d.fixed()
	p := len(columns)
	x := mat.NewDense(n, p, nil)
	for j, c := range columns {
		x.SetCol(j, c)
	}
	var vi, vix, xvx, c, proj, tmp mat.Dense
	_ = vi.Inverse(v)
	vix.Mul(&vi, x)
	xvx.Mul(x.T(), &vix)
	_ = c.Inverse(&xvx)
	tmp.Product(&vix, &c, vix.T())
	proj.Sub(&vi, &tmp)
	y := mat.NewVecDense(n, d.Y)
	var py mat.VecDense
	py.MulVec(&proj, y)
	m := len(variances)
	pv := make([]*mat.Dense, m)
	vpy := make([]*mat.VecDense, m)
	for k := range m {
		pv[k], vpy[k] = new(mat.Dense), new(mat.VecDense)
		pv[k].Mul(&proj, patterns[k])
		vpy[k].MulVec(patterns[k], &py)
	}
	info := mat.NewDense(m, m, nil)
	for i := range m {
		for j := range m {
			var pvpy mat.VecDense
			pvpy.MulVec(&proj, vpy[j])
			var product mat.Dense
			product.Mul(pv[i], pv[j])
			info.Set(i, j, mat.Dot(vpy[i], &pvpy)-mat.Trace(&product)/2)
		}
	}
	var cov mat.Dense
	_ = cov.Inverse(info)
	grad := mat.NewVecDense(m, nil)
	var a mat.VecDense // V^-1 X C l
	a.MulVec(&c, mat.NewVecDense(p, l))
	value = mat.Dot(mat.NewVecDense(p, l), &a)
	var va mat.VecDense
	va.MulVec(&vix, &a)
	for k := range m {
		var z mat.VecDense
		z.MulVec(patterns[k], &va)
		grad.SetVec(k, w[k]+mat.Dot(&va, &z))
		value += w[k] * variances[k]
	}
	var cg mat.VecDense
	cg.MulVec(&cov, grad)
	return value, 2 * value * value / mat.Dot(grad, &cg)
}

// Standard errors and degrees of freedom of contrasts and of sums of variances
// equal the dense formula, in nested, crossed and sloped designs.
func TestSatterthwaiteDense(t *testing.T) {
	compared := 0
	for i := 0; compared < 60; i++ {
		rng := rand.New(rand.NewPCG(51, uint64(i)))
		d := randomDesign(rng, 40+rng.IntN(40))
		pair := false
		for _, term := range d.Terms {
			pair = pair || term.correlated()
		}
		if pair || len(d.Terms) == 0 {
			continue
		}
		f, err := d.Fit(REML)
		if err != nil || len(f.Dropped) > 0 || !f.InformationOK {
			continue
		}
		compared++
		variances := make([]float64, len(f.Components))
		w := make([]float64, len(f.Components))
		for k, c := range f.Components {
			variances[k] = c.Variance
			w[k] = rng.Float64()
		}
		l := make([]float64, f.P)
		for k := range l {
			l[k] = rng.NormFloat64()
		}
		want, wantDF := denseSatterthwaite(d, variances, w, l)
		v, df, ok := f.VarianceOf(w, l)
		if !ok || relDiff(v, want) > 1e-7 || relDiff(df, wantDF) > 1e-5 {
			t.Errorf("%d (%v): VarianceOf = %v on %v, %v; dense %v on %v", i, termNames(d), v, df, ok, want, wantDF)
		}
		want, wantDF = denseSatterthwaite(d, variances, make([]float64, len(w)), l)
		c, err := f.Contrast(l)
		if err != nil || relDiff(c.SE, math.Sqrt(want)) > 1e-7 || relDiff(c.DF, wantDF) > 1e-5 {
			t.Errorf("%d (%v): contrast SE %v on %v, %v; dense %v on %v", i, termNames(d), c.SE, c.DF, err, math.Sqrt(want), wantDF)
		}
	}
}

func TestClampDF(t *testing.T) {
	nan := math.NaN()
	for _, tt := range []struct {
		df    float64
		units int
		want  float64
	}{
		{29, 6, 5}, {3.2, 6, 3.2}, {0.4, 6, 1}, {nan, 6, 1}, {7, 2, 1}, {7, 1, 1}, {7, 0, 1}, {math.Inf(1), 4, 3},
	} {
		if got := ClampDF(tt.df, tt.units); got != tt.want {
			t.Errorf("ClampDF(%v, %v) = %v, want %v", tt.df, tt.units, got, tt.want)
		}
	}
	// Undefined: units-1 if a component was dropped, else 1; always said.
	for _, tt := range []struct {
		f    Fit
		want float64
	}{{Fit{}, 1}, {Fit{Dropped: []string{"box"}}, 5}} {
		df, warnings := tt.f.SafeDF(nan, 6)
		if df != tt.want || len(warnings) != 1 || warnings[0].Code != "df-undefined" {
			t.Errorf("SafeDF of an undefined df = %v, %v; want %v and a warning", df, warnings, tt.want)
		}
	}
}
