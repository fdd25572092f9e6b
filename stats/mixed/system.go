package mixed

import (
	"fmt"
	"math"
	"slices"
)

// An effect is one random column, or a correlated pair of them, of every
// level of a factor.
type effect struct {
	col, col2 int // base columns; col2 < 0 unless correlated
	param     int // first variance ratio: gamma[param], or var, cov, var
	jet       int // place of that ratio among the derivatives
	crossed   int // columns within a crossed level: first
}

// ratios is the number of variance ratios of the effect.
func (e effect) ratios() int {
	if e.col2 >= 0 {
		return 3
	}
	return 1
}

// A factorEffects is a factor with all its random columns.
type factorEffects struct {
	term    []int // terms of the design that share the factor
	group   grouping
	effects []effect
}

// A nestedLevel is one factor of the chain of nested factors that is eliminated
// unit by unit. Each of its nodes is one level of the factor.
type nestedLevel struct {
	factorEffects
	first []int32 // node -> its first child (a cell at the finest level); one more at the end
	// Crossed columns met by the cells below each node, as places among those
	// of its parent (at the top: among all crossed columns).
	touchStart []int32
	touchTo    []int32
	touchMax   int
}

func (l *nestedLevel) nodes() int { return len(l.first) - 1 }
func (l *nestedLevel) touched(node int) []int32 {
	return l.touchTo[l.touchStart[node]:l.touchStart[node+1]]
}

// A crossedFactor is a factor outside the chain. Its levels are columns of a
// dense block that is eliminated last.
type crossedFactor struct {
	factorEffects
	codes  []int32 // per cell
	values []int   // base column giving the value of each column of a level
	offset int     // first dense column
}

// A system is a design made ready for evaluation: cells, orthogonal fixed
// effects, and the order of elimination. It is not changed by evaluation.
type system struct {
	n, p    int
	cells   *cells
	basis   *basis
	scale   float64     // values were divided by this
	cols    [][]float64 // base columns at the cells: Q, other random columns, y last
	chain   []nestedLevel
	crossed []crossedFactor
	dense   int // crossed columns
	params  []param
	groups  []grouping // of each term
	moments []float64  // moment estimates of the ratios; nil: unknown
	jetOf   []int      // derivative index of each ratio
	leaf    []float64
	leafAt  []int // start of each finest node in leaf; nil: summed on the fly
	// Pools of the finest nodes, see leaves.go; none if leaf is used.
	pools     []pool
	poolStart []int32 // first pool of each parent; one more at the end
	pooled    []float64
	poolD     []float64 // distinct u'u
	poolUnits []float64 // units with that u'u
	// Crossed columns of each finest node, as numbers among all of them.
	leafTouch []int32
}

// A param is one variance ratio gamma = variance/residual variance (or
// covariance/residual variance).
type param struct {
	term  int
	kind  paramKind
	name  string
	scale float64 // mean over levels of the sum of squares of the column
}

type paramKind int

const (
	scalar   paramKind = iota // its own variance, unconnected
	pairVar1                  // correlated pair: variance of the intercept,
	pairCov                   // the covariance,
	pairVar2                  // variance of the slope
)

// denseLimit bounds the memory of the crossed block, in numbers of 8 bytes.
const denseLimit = 1 << 25

func newSystem(d Design) (*system, error) { return newSystemWithin(d, leafLimit) }

// newSystemWithin is newSystem with a limit of its own for the sums that are
// kept; with 0 they are formed anew in each evaluation.
func newSystemWithin(d Design, leaves int) (*system, error) {
	if err := d.check(); err != nil {
		return nil, err
	}
	x := d.fixed()
	s := &system{n: len(d.Y), p: len(x)}
	chain, crossed := splitFactors(d)
	s.groups = make([]grouping, len(d.Terms))
	for _, f := range append(slices.Clone(chain), crossed...) {
		for _, k := range f.term {
			s.groups[k] = f.group
		}
	}
	keys := make([]grouping, 0, len(chain)+len(crossed)+len(x))
	for _, f := range append(slices.Clone(chain), crossed...) {
		keys = append(keys, f.group)
	}
	for _, col := range d.X {
		if g, ok := groupValues(col); ok {
			keys = append(keys, g)
		}
	}
	for _, t := range d.Terms {
		if t.hasSlope() {
			if g, ok := groupValues(t.Slope); ok {
				keys = append(keys, g)
			}
		}
	}
	s.cells = collapse(d.Y, keys)
	var err error
	if s.basis, err = newBasis(x, d.fixedNames(), s.cells); err != nil {
		return nil, err
	}
	if err = s.scaleValues(d); err != nil {
		return nil, err
	}
	s.makeColumns(d, chain, crossed)
	s.linkNodes()
	if size := packed(len(s.cols)+s.dense) * jetLen(len(s.params)); size > denseLimit {
		return nil, fmt.Errorf("%w: %d crossed columns", ErrTooLarge, s.dense)
	}
	s.sumLeaves(leaves)
	return s, nil
}

// splitFactors groups the terms by factor and picks the chain of nested factors
// that leaves the fewest columns to the dense block.
func splitFactors(d Design) (chain, crossed []factorEffects) {
	var all []factorEffects
	for k, t := range d.Terms {
		at := slices.IndexFunc(all, func(f factorEffects) bool {
			return slices.Equal(d.Terms[f.term[0]].Factor.Codes, t.Factor.Codes)
		})
		if at < 0 {
			at = len(all)
			all = append(all, factorEffects{group: newGrouping(t.Factor.Codes, t.Factor.Levels)})
		}
		all[at].term = append(all[at].term, k)
	}
	slices.SortStableFunc(all, func(a, b factorEffects) int { return a.group.levels() - b.group.levels() })
	best, from := make([]int, len(all)), make([]int, len(all))
	end := -1
	for i := range all {
		from[i] = -1
		for j := range i {
			if best[j] > 0 && (from[i] < 0 || best[j] > best[from[i]]) && all[i].group.nestedIn(all[j].group) {
				from[i] = j
			}
		}
		for _, k := range all[i].term {
			best[i] += all[i].group.levels() * len(d.Terms[k].names())
		}
		if from[i] >= 0 {
			best[i] += best[from[i]]
		}
		if end < 0 || best[i] > best[end] {
			end = i
		}
	}
	in := make([]bool, len(all))
	for i := end; i >= 0; i = from[i] {
		in[i] = true
	}
	for i, f := range all {
		if in[i] {
			chain = append(chain, f)
		} else {
			crossed = append(crossed, f)
		}
	}
	return chain, crossed
}

// exactLimit is the residual spread, as a share of the largest value, below
// which the fixed effects count as fitting exactly.
const exactLimit = 1e-12

// scaleValues replaces the values by least-squares residuals of unit spread:
// the likelihood depends on nothing else, and sums of squares of residuals
// lose no digits to a common level.
func (s *system) scaleValues(d Design) error {
	y := s.basis.residuals(s.cells)
	ss := s.cells.within + weightedDot(s.cells.count, y, y)
	var largest float64
	for _, v := range d.Y {
		largest = max(largest, math.Abs(v))
	}
	s.scale = math.Sqrt(ss / float64(s.n-s.p))
	if isConstant(d.Y) || !(s.scale > exactLimit*largest) {
		return fmt.Errorf("%w beyond the fixed effects", ErrConstant)
	}
	for i := range y {
		y[i] /= s.scale
	}
	s.cols = append(slices.Clone(s.basis.q), y)
	return nil
}

// makeColumns lays out the base columns, the effects and the ratios.
func (s *system) makeColumns(d Design, chain, crossed []factorEffects) {
	y := s.cols[s.p]
	s.cols = s.cols[:s.p]
	constant := -1
	if s.basis.constant {
		constant = 0
	}
	slopes := map[*float64]int{}
	column := func(slope []float64) int {
		if slope == nil {
			if constant < 0 {
				ones := make([]float64, len(s.cells.rows))
				for i := range ones {
					ones[i] = 1
				}
				constant = len(s.cols)
				s.cols = append(s.cols, ones)
			}
			return constant
		}
		at, ok := slopes[&slope[0]]
		if !ok {
			at = len(s.cols)
			slopes[&slope[0]] = at
			s.cols = append(s.cols, s.cells.at(slope))
		}
		return at
	}
	effects := make([][]effect, len(d.Terms))
	for k, t := range d.Terms {
		names := t.names()
		param1 := len(s.params)
		if t.correlated() {
			e := effect{col: column(nil), col2: column(t.Slope), param: param1}
			effects[k] = []effect{e}
			s.params = append(s.params, param{k, pairVar1, names[0], s.columnScale(k, e.col)},
				param{k, pairCov, "", 0}, param{k, pairVar2, names[1], s.columnScale(k, e.col2)})
			s.params[param1+1].scale = math.Sqrt(s.params[param1].scale * s.params[param1+2].scale)
			continue
		}
		if t.hasIntercept() {
			effects[k] = append(effects[k], effect{col: column(nil), col2: -1, param: len(s.params)})
		}
		if t.hasSlope() {
			effects[k] = append(effects[k], effect{col: column(t.Slope), col2: -1, param: len(s.params) + len(effects[k])})
		}
		for i, e := range effects[k] {
			s.params = append(s.params, param{k, scalar, names[i], s.columnScale(k, e.col)})
		}
	}
	s.cols = append(s.cols, y)

	s.jetOf = make([]int, len(s.params))
	jets := 0
	give := func(f *factorEffects) {
		for _, k := range f.term {
			for _, e := range effects[k] {
				e.jet = jets
				for i := range e.ratios() {
					s.jetOf[e.param+i] = jets
					jets++
				}
				f.effects = append(f.effects, e)
			}
		}
	}
	for i := len(chain) - 1; i >= 0; i-- { // the finest is eliminated first
		give(&chain[i])
	}
	for _, f := range chain {
		s.chain = append(s.chain, nestedLevel{factorEffects: f})
	}
	for i := range crossed {
		give(&crossed[i])
		c := crossedFactor{factorEffects: crossed[i], codes: s.cells.codesAt(crossed[i].group), offset: s.dense}
		for j, e := range c.effects {
			c.effects[j].crossed = len(c.values)
			c.values = append(c.values, e.col)
			if e.col2 >= 0 {
				c.values = append(c.values, e.col2)
			}
		}
		s.dense += len(c.values) * c.group.levels()
		s.crossed = append(s.crossed, c)
	}
}

// columnScale is the mean over levels of the sum of squares of a random column:
// the number of values per level, for an intercept.
func (s *system) columnScale(term, col int) float64 {
	v := s.cols[col]
	return max(weightedDot(s.cells.count, v, v), 1e-300) / float64(s.groups[term].levels())
}

// packed is the size of the upper triangle of an n x n matrix; entry (i, j)
// with i <= j lies at packed(j)+i.
func packed(n int) int { return n * (n + 1) / 2 }
