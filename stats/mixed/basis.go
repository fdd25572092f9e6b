package mixed

import (
	"fmt"
	"math"
)

// A basis is the fixed-effect columns made orthogonal over the rows:
// X[:, perm] = Q R with Q'Q = n I over rows (count-weighted over cells). A
// constant column comes first, so that q[0] is exactly one where X has one.
// Working in Q keeps covariates such as a year number from costing digits.
type basis struct {
	q        [][]float64 // per column, at the cells
	r        []float64   // p x p, row-major, upper triangular
	perm     []int       // column of X behind each column of q
	constant bool        // q[0] is the constant 1
	ols      []float64   // coefficients in Q of the least-squares fit
}

// rankLimit is the share of a column's length that must be left once the
// columns before it are taken out.
const rankLimit = 1e-10

func newBasis(x [][]float64, names []string, c *cells) (*basis, error) {
	p, n := len(x), float64(c.n)
	b := &basis{r: make([]float64, p*p), perm: make([]int, 0, p)}
	for j := range x {
		if constant := isConstant(x[j]); constant && !b.constant && x[j][0] != 0 {
			b.constant = true
			b.perm = append([]int{j}, b.perm...)
		} else {
			b.perm = append(b.perm, j)
		}
	}
	for k, j := range b.perm {
		v := c.at(x[j])
		length := math.Sqrt(weightedDot(c.count, v, v))
		for range 2 { // a second pass restores orthogonality to rounding
			for i, q := range b.q {
				h := weightedDot(c.count, q, v) / n
				b.r[i*p+k] += h
				for l := range v {
					v[l] -= h * q[l]
				}
			}
		}
		left := math.Sqrt(weightedDot(c.count, v, v))
		if !(left > rankLimit*length) {
			return nil, fmt.Errorf("%w: %s", ErrRank, names[j])
		}
		scale := left / math.Sqrt(n)
		if k == 0 && b.constant {
			scale = v[0]
		}
		b.r[k*p+k] = scale
		for l := range v {
			v[l] /= scale
		}
		b.q = append(b.q, v)
	}
	return b, nil
}

// residuals returns the least-squares residuals of the cell means and keeps
// the coefficients.
func (b *basis) residuals(c *cells) []float64 {
	v := append([]float64(nil), c.mean...)
	b.ols = make([]float64, len(b.q))
	for range 2 {
		for i, q := range b.q {
			h := weightedDot(c.count, q, v) / float64(c.n)
			b.ols[i] += h
			for l := range v {
				v[l] -= h * q[l]
			}
		}
	}
	return v
}

// logDet is log |R'R|.
func (b *basis) logDet() float64 {
	var s float64
	for k := range b.perm {
		s += 2 * math.Log(math.Abs(b.r[k*len(b.perm)+k]))
	}
	return s
}

// coefficients turns coefficients in Q into coefficients in X: beta = R^-1 c.
func (b *basis) coefficients(c []float64) []float64 {
	p := len(c)
	beta := make([]float64, p)
	z := append([]float64(nil), c...)
	for k := p - 1; k >= 0; k-- {
		z[k] /= b.r[k*p+k]
		for i := range k {
			z[i] -= b.r[i*p+k] * z[k]
		}
		beta[b.perm[k]] = z[k]
	}
	return beta
}

// contrast turns a contrast l of beta into the same contrast of the
// coefficients in Q: R^-T l.
func (b *basis) contrast(l []float64) []float64 {
	p := len(b.perm)
	z := make([]float64, p)
	for k := range p {
		s := l[b.perm[k]]
		for i := range k {
			s -= b.r[i*p+k] * z[i]
		}
		z[k] = s / b.r[k*p+k]
	}
	return z
}

func weightedDot(w, a, b []float64) float64 {
	var s float64
	for i := range w {
		s += w[i] * a[i] * b[i]
	}
	return s
}

func isConstant(x []float64) bool {
	for _, v := range x {
		if v != x[0] {
			return false
		}
	}
	return len(x) > 0
}
