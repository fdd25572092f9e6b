package compare

import (
	"cmp"
	"math"
	"slices"

	"sealbound/stats/dist"
)

// A family turns single t statistics into statements that hold together.
type family struct {
	name   Family
	alpha  float64
	pairs  int       // differences in it
	k      int       // products, for Tukey
	lambda []float64 // of the differences, for Dunnett
	cache  map[float64]float64
}

// critical is the t beyond which a difference is shown, at its degrees of
// freedom, so that the chance of any false one is alpha.
//
//	Tukey-Kramer: q(1-alpha; k, df)/sqrt(2)
//	Dunnett:      the two-sided quantile of the largest |t|
//	Holm:         t(1 - alpha/(2 pairs); df), Bonferroni's
func (f *family) critical(df float64) float64 {
	if t, ok := f.cache[df]; ok {
		return t
	}
	var t float64
	switch f.name {
	case Tukey:
		t = dist.StudentizedRange{K: f.k, Nu: df}.Quantile(1-f.alpha) / math.Sqrt2
	case Dunnett:
		t = dist.Dunnett{Lambda: f.lambda, Nu: df, TwoSided: true}.Quantile(1 - f.alpha)
	default:
		t = -dist.TQuantile(f.alpha/2/float64(max(f.pairs, 1)), df)
	}
	if f.cache == nil {
		f.cache = make(map[float64]float64)
	}
	f.cache[df] = t
	return t
}

// adjusted is the p value of |t|: for Tukey and Dunnett that of the family, for
// Holm the single one, which holm then steps down.
func (f *family) adjusted(t, df float64) float64 {
	t = math.Abs(t)
	switch f.name {
	case Tukey:
		return dist.StudentizedRange{K: f.k, Nu: df}.Survival(t * math.Sqrt2)
	case Dunnett:
		return dist.Dunnett{Lambda: f.lambda, Nu: df, TwoSided: true}.Survival(t)
	}
	return math.Min(1, 2*dist.TSurvival(t, df))
}

// stepDown turns single p values into Holm's adjusted ones. NaN entries, of pairs
// that are not compared, stay and do not count.
//
// Source: S. Holm, Scandinavian Journal of Statistics 6 (1979) 65-70.
func stepDown(p []float64) []float64 {
	order := make([]int, 0, len(p))
	for i, x := range p {
		if !math.IsNaN(x) {
			order = append(order, i)
		}
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(p[a], p[b]) })
	out := append([]float64(nil), p...)
	last := 0.0
	for k, i := range order {
		last = math.Max(last, math.Min(1, p[i]*float64(len(order)-k)))
		out[i] = last
	}
	return out
}

// formTolerance is how far a correlation may lie from product form. A change of
// all correlations by so much moves Dunnett's critical value by less than 0.2 %.
const formTolerance = 0.002

// productForm finds lambda with rho_ij = lambda_i lambda_j, |lambda| at most 0.99,
// for a correlation matrix; ok is false where there is none.
func productForm(rho [][]float64) (lambda []float64, ok bool) {
	k := len(rho)
	lambda = make([]float64, k)
	switch k {
	case 0:
		return nil, false
	case 1:
		return lambda, true // one difference: plain t
	case 2:
		r := rho[0][1]
		lambda[0] = math.Sqrt(math.Abs(r))
		lambda[1] = math.Copysign(lambda[0], r)
	default:
		// Start from the triple of the first three, then let each follow the others.
		for i := range lambda {
			a, b := (i+1)%k, (i+2)%k
			if r := rho[a][b]; r != 0 {
				lambda[i] = math.Sqrt(math.Abs(rho[i][a] * rho[i][b] / r))
			}
			if i > 0 {
				lambda[i] = math.Copysign(lambda[i], rho[0][i])
			}
		}
		for range 200 {
			for i := range lambda {
				var cross, square float64
				for j := range lambda {
					if j != i {
						cross += rho[i][j] * lambda[j]
						square += lambda[j] * lambda[j]
					}
				}
				if square > 0 {
					lambda[i] = cross / square
				}
			}
		}
	}
	for i := range lambda {
		if !(math.Abs(lambda[i]) <= 0.99) {
			return nil, false
		}
		for j := range i {
			if !(math.Abs(rho[i][j]-lambda[i]*lambda[j]) <= formTolerance) {
				return nil, false
			}
		}
	}
	return lambda, true
}
