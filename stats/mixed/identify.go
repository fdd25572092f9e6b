package mixed

import (
	"fmt"
	"math"
)

// A randomColumn is what one variance multiplies: V_i = Z_i Z_i', Z_i having a
// column per level with the values z of its rows. nil z stands for ones.
type randomColumn struct {
	name   string
	codes  []int32 // per cell
	levels int
	z      []float64
}

func (r randomColumn) value(c int) float64 {
	if r.z == nil {
		return 1
	}
	return r.z[c]
}

// dependenceLimit is the share of a normalised covariance pattern that must be
// left once the patterns before it are taken out.
const dependenceLimit = 1e-9

// A dependence is a column whose covariance pattern the data cannot tell from
// that of others.
type dependence struct {
	column int       // index among the columns given
	weight []float64 // share of the residual, then of each earlier column; nil: of the fixed effects alone
}

// findDependence looks for the first column whose projected covariance pattern
// P V_i P is a combination of the residual's and of those before it. The
// restricted likelihood sees the covariance only through P V P, P = I - QQ'/n
// the projection that takes the fixed effects out, so the variances are
// identified exactly if these patterns are linearly independent. Their Gram
// matrix tr(P V_i P V_j) follows from sums over the pairs of levels that occur
// together, in time linear in the cells. q has orthogonal columns of length n.
func findDependence(cols []randomColumn, count []float64, q [][]float64, n int) (dependence, bool) {
	return dependenceIn(covarianceGram(cols, count, q, n))
}

// covarianceGram returns tr(P V_i P V_j) in full, the residual (V = I) first,
// and tr(V_i V_i) of the columns.
func covarianceGram(cols []randomColumn, count []float64, q [][]float64, n int) (gram, raw []float64) {
	k := len(cols)
	p := len(q)
	nn := float64(n)
	// a[i] = Z_i'Q, row-major; g[i] = a'a.
	a, g := make([][]float64, k), make([][]float64, k)
	raw = make([]float64, k)
	trace := make([]float64, k)
	for i, r := range cols {
		a[i] = make([]float64, r.levels*p)
		for c, w := range count {
			z := r.value(c)
			trace[i] += w * z * z
			for j := range p {
				a[i][int(r.codes[c])*p+j] += w * z * q[j][c]
			}
		}
		g[i] = make([]float64, p*p)
		for l := range r.levels {
			row := a[i][l*p : (l+1)*p]
			for x := range p {
				for y := range p {
					g[i][x*p+y] += row[x] * row[y]
				}
			}
		}
	}
	m := k + 1
	gram = make([]float64, m*m)
	gram[0] = nn - float64(p)
	sorter := newPairSorter(len(count))
	for i := range cols {
		gram[(i+1)*m] = trace[i]
		for x := range p {
			gram[(i+1)*m] -= g[i][x*p+x] / nn
		}
		gram[i+1] = gram[(i+1)*m]
		for j := 0; j <= i; j++ {
			var square, cross, both float64
			sorter.each(cols[i], cols[j], count, func(li, lj int32, sum float64) {
				square += sum * sum
				var dot float64
				for x := range p {
					dot += a[i][int(li)*p+x] * a[j][int(lj)*p+x]
				}
				cross += sum * dot
			})
			for x := range g[i] {
				both += g[i][x] * g[j][x]
			}
			v := square - 2*cross/nn + both/(nn*nn)
			gram[(i+1)*m+j+1], gram[(j+1)*m+i+1] = v, v
			if i == j {
				raw[i] = square
			}
		}
	}
	return gram, raw
}

// dependenceIn is findDependence given the Gram matrix.
func dependenceIn(gram, raw []float64) (dependence, bool) {
	// Normalise, then Cholesky with a look at each pivot.
	m := len(raw) + 1
	scale := make([]float64, m)
	for i := range m {
		d := gram[i*m+i]
		if i > 0 && !(d > 1e-12*raw[i-1]) {
			return dependence{column: i - 1}, true
		}
		scale[i] = 1 / math.Sqrt(d)
	}
	l := make([]float64, m*m)
	for i := range m {
		for j := 0; j <= i; j++ {
			l[i*m+j] = gram[i*m+j] * scale[i] * scale[j]
		}
	}
	for i := range m {
		for j := 0; j <= i; j++ {
			v := l[i*m+j]
			for x := range j {
				v -= l[i*m+x] * l[j*m+x]
			}
			if i > j {
				l[i*m+j] = v / l[j*m+j]
				continue
			}
			if i > 0 && !(v > dependenceLimit) {
				// Weights on the earlier ones: solve L' w = row i of L.
				w := append([]float64(nil), l[i*m:i*m+i]...)
				for x := i - 1; x >= 0; x-- {
					for y := x + 1; y < i; y++ {
						w[x] -= l[y*m+x] * w[y]
					}
					w[x] /= l[x*m+x]
				}
				return dependence{column: i - 1, weight: w}, true
			}
			l[i*m+i] = math.Sqrt(v)
		}
	}
	return dependence{}, false
}

// A pairSorter sums over the pairs of levels of two columns that occur together.
type pairSorter struct{ order, next, at []int32 }

func newPairSorter(cells int) *pairSorter {
	return &pairSorter{order: make([]int32, cells), next: make([]int32, cells)}
}

// each calls visit for every pair of levels with cells in common, with the sum
// of count*z*z over those cells.
func (p *pairSorter) each(a, b randomColumn, count []float64, visit func(la, lb int32, sum float64)) {
	for i := range p.order {
		p.order[i] = int32(i)
	}
	for _, r := range []randomColumn{b, a} {
		if cap(p.at) < r.levels+1 {
			p.at = make([]int32, r.levels+1)
		}
		at := p.at[:r.levels+1]
		clear(at)
		for _, c := range r.codes {
			at[c+1]++
		}
		for l := 1; l < len(at); l++ {
			at[l] += at[l-1]
		}
		for _, c := range p.order {
			l := r.codes[c]
			p.next[at[l]] = c
			at[l]++
		}
		p.order, p.next = p.next, p.order
	}
	for lo := 0; lo < len(p.order); {
		first := p.order[lo]
		la, lb := a.codes[first], b.codes[first]
		var sum float64
		hi := lo
		for hi < len(p.order) && a.codes[p.order[hi]] == la && b.codes[p.order[hi]] == lb {
			c := int(p.order[hi])
			sum += count[c] * a.value(c) * b.value(c)
			hi++
		}
		visit(la, lb, sum)
		lo = hi
	}
}

// momentRatios estimates the variance ratios by setting the quadratic forms
// y'P V_i P y to their expectations, sum_j sigma2_j tr(P V_i P V_j): the moment
// estimates where data are balanced, and a good place to start elsewhere.
// Those that are not positive come out as zero.
func (s *system) momentRatios(cols []randomColumn, gram []float64) []float64 {
	m := len(cols) + 1
	y := s.cols[len(s.cols)-1]
	form := make([]float64, m)
	form[0] = s.cells.within/(s.scale*s.scale) + weightedDot(s.cells.count, y, y)
	for i, r := range cols {
		sums := make([]float64, r.levels)
		for c, w := range s.cells.count {
			sums[r.codes[c]] += w * r.value(c) * y[c]
		}
		for _, v := range sums {
			form[i+1] += v * v
		}
	}
	l := append([]float64(nil), gram...)
	gamma := make([]float64, len(s.params))
	if !cholesky(l, m, 0) {
		return gamma
	}
	cholSolve(l, m, form)
	residual := max(form[0], 0.02) // of a total of about one
	k := 0
	for i, p := range s.params {
		if p.kind != pairCov {
			k++
			gamma[i] = max(0, form[k]/residual)
		}
	}
	return gamma
}

// identified returns an error unless the data can tell the variances apart.
func (s *system) identified(d Design) error {
	var cols []randomColumn
	for i, p := range s.params {
		if p.kind == pairCov {
			continue
		}
		t := d.Terms[p.term]
		g := s.groups[p.term]
		r := randomColumn{name: p.name, codes: s.cells.codesAt(g), levels: g.levels()}
		if slope := !t.hasIntercept() || p.kind == pairVar2 || i > 0 && s.params[i-1].term == p.term; slope {
			r.z = s.cells.at(t.Slope)
		}
		cols = append(cols, r)
	}
	if len(cols) == 0 {
		return nil
	}
	gram, raw := covarianceGram(cols, s.cells.count, s.basis.q, s.n)
	dep, found := dependenceIn(gram, raw)
	if !found {
		s.moments = s.momentRatios(cols, gram)
		return nil
	}
	name := cols[dep.column].name
	if dep.weight == nil {
		return fmt.Errorf("%w: %s is part of the fixed effects", ErrAliased, name)
	}
	with := ""
	for i, w := range dep.weight {
		if math.Abs(w) > 1e-6 {
			other := d.residual()
			if i > 0 {
				other = cols[i-1].name
			}
			with += " " + other
		}
	}
	return fmt.Errorf("%w: %s cannot be told from%s", ErrAliased, name, with)
}
