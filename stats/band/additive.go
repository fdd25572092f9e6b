package band

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/mat"
)

var errNotLinked = errors.New("band: closings and points are not linked")

// complete replaces each hole (NaN) of y, a rows x cols table in row order, by
// its prediction from the additive model row + column, fitted by least squares
// to the other cells. Rows and columns must be linked through those cells.
//
// One side is eliminated from the normal equations, which leaves a system as
// large as the shorter side. With m the number of cells of an eliminated unit
// and h marking its holes,
//
//	S = D - sum over eliminated units of (1-h)(1-h)'/m
//
// D holding the number of cells of each remaining unit. S 1 = 0: a constant can
// move from one side to the other. Adding sum(1/m) 1 1' fixes it (the solution
// then sums to zero) and cancels the only term that is not sparse in the holes.
func complete(y []float64, rows, cols int) error {
	g := grid{y: y, kept: cols, gone: rows, stepKept: 1, stepGone: cols}
	if rows < cols {
		g = grid{y: y, kept: rows, gone: cols, stepKept: cols, stepGone: 1}
	}
	shift, holes := g.center()
	if holes == 0 {
		for i := range y {
			y[i] += shift
		}
		return nil
	}
	s, ok := g.factorize()
	if !ok {
		return errNotLinked
	}
	kept, gone := make([]float64, g.kept), make([]float64, g.gone)
	step, rhs := mat.NewVecDense(g.kept, nil), mat.NewVecDense(g.kept, nil)
	for range 3 { // the first solves, the others take out rounding
		g.eliminated(kept, gone)
		g.residuals(kept, gone, rhs.RawVector().Data)
		if err := s.SolveVecTo(step, rhs); err != nil {
			return errNotLinked
		}
		for i := range kept {
			kept[i] += step.AtVec(i)
		}
	}
	g.eliminated(kept, gone)
	for j := range g.gone {
		for i := range g.kept {
			if c := g.at(i, j); math.IsNaN(*c) {
				if *c = kept[i] + gone[j]; math.IsNaN(*c) || math.IsInf(*c, 0) {
					return errNotLinked
				}
			}
		}
	}
	for i := range y {
		y[i] += shift
	}
	return nil
}

// A grid is a table seen from the side that remains after elimination.
type grid struct {
	y                  []float64
	kept, gone         int
	stepKept, stepGone int
}

func (g *grid) at(i, j int) *float64 { return &g.y[i*g.stepKept+j*g.stepGone] }

// center subtracts the mean of all cells, which it returns with the number of
// holes, so that effects and not levels are solved for.
func (g *grid) center() (mean float64, holes int) {
	for _, v := range g.y {
		if math.IsNaN(v) {
			holes++
		} else {
			mean += v
		}
	}
	mean /= float64(len(g.y) - holes)
	for i := range g.y {
		g.y[i] -= mean
	}
	return mean, holes
}

// factorize builds S + sum(1/m) 1 1' and its Cholesky factor.
func (g *grid) factorize() (*mat.Cholesky, bool) {
	k := g.kept
	s := mat.NewSymDense(k, nil)
	raw := s.RawSymmetric()
	cells, v := make([]float64, k), make([]float64, k)
	holes := make([]int, 0, k)
	for j := range g.gone {
		holes = holes[:0]
		for i := range k {
			if math.IsNaN(*g.at(i, j)) {
				holes = append(holes, i)
			} else {
				cells[i]++
			}
		}
		if len(holes) == k {
			return nil, false
		}
		w := 1 / float64(k-len(holes))
		for a, i := range holes {
			v[i] += w
			row := raw.Data[i*raw.Stride:]
			for _, l := range holes[a:] {
				row[l] -= w
			}
		}
	}
	for i := range k {
		row := raw.Data[i*raw.Stride:]
		row[i] += cells[i]
		for l := i; l < k; l++ {
			row[l] += v[i] + v[l]
		}
	}
	var c mat.Cholesky
	ok := c.Factorize(s)
	return &c, ok
}

// eliminated sets gone to the best effects given those of the kept side.
func (g *grid) eliminated(kept, gone []float64) {
	for j := range gone {
		sum, n := 0.0, 0.0
		for i, e := range kept {
			if v := *g.at(i, j); !math.IsNaN(v) {
				sum += v - e
				n++
			}
		}
		gone[j] = sum / n
	}
}

// residuals sets r to the sums of the residuals of each kept unit.
func (g *grid) residuals(kept, gone, r []float64) {
	for i, e := range kept {
		r[i] = 0
		for j, f := range gone {
			if v := *g.at(i, j); !math.IsNaN(v) {
				r[i] += v - e - f
			}
		}
	}
}
