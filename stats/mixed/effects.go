package mixed

// Effects returns the shrunken predictions (BLUPs, dB) of a term's levels: how
// far each level lies from the fixed effects, pulled towards zero by as much as
// its data are few. intercept and slope have one entry per level of the term's
// factor, in the numbering of its codes, and are nil where the term has no such
// column. A level without data, and every level of a dropped component, is
// predicted as 0. term counts the terms of the design; out of range gives nil.
//
//	b = gamma Z'V^-1 (y - X beta)
func (f *Fit) Effects(term int) (intercept, slope []float64) {
	if term < 0 || term >= len(f.terms) {
		return nil, nil
	}
	t := f.terms[term]
	if t.hasIntercept() {
		intercept = make([]float64, t.Factor.Levels)
	}
	if t.hasSlope() {
		slope = make([]float64, t.Factor.Levels)
	}
	p := f.newPredictor()
	for i, param := range f.sys.params {
		if f.termOf[param.term] != term || param.kind == pairCov {
			continue
		}
		into := intercept
		if f.isSlope(i) {
			into = slope
		}
		b := p.effects[i]
		for l, code := range p.present[i] {
			into[code] = b[l] * f.sys.scale
		}
	}
	return intercept, slope
}

// isSlope reports whether ratio i of the fitted design belongs to a slope.
func (f *Fit) isSlope(i int) bool {
	p := f.sys.params[i]
	t := f.design.Terms[p.term]
	return p.kind == pairVar2 || p.kind == scalar &&
		(!t.hasIntercept() || i > 0 && f.sys.params[i-1].term == p.term)
}

// A predictor holds the random effects of a fit (of the scaled values), per
// ratio and present level.
type predictor struct {
	f       *Fit
	effects [][]float64
	present [][]int32
	resid   []float64 // at the cells, less fixed and crossed effects
	columns []int     // base columns of the chain's effects
	at      map[int]int
	s, h    [][]float64 // per nested level and node: S over columns, and S with resid
}

func (f *Fit) newPredictor() *predictor {
	s := f.sys
	p := &predictor{f: f, effects: make([][]float64, len(s.params)), present: make([][]int32, len(s.params)), at: map[int]int{}}
	give := func(fe factorEffects) {
		for _, e := range fe.effects {
			for _, i := range e.variances() {
				p.effects[i] = make([]float64, fe.group.levels())
				p.present[i] = fe.group.present
			}
		}
	}
	for _, l := range s.chain {
		give(l.factorEffects)
	}
	for _, c := range s.crossed {
		give(c.factorEffects)
	}
	y := s.cols[len(s.cols)-1]
	p.resid = append([]float64(nil), y...)
	beta := f.scaledBeta()
	for j, b := range beta {
		for c := range p.resid {
			p.resid[c] -= b * s.cols[j][c]
		}
	}
	if len(s.params) == 0 {
		return p
	}
	if s.dense > 0 {
		p.crossed(beta)
	}
	p.nested()
	return p
}

// variances lists the ratios of the effect that are variances.
func (e effect) variances() []int {
	if e.col2 >= 0 {
		return []int{e.param, e.param + 2}
	}
	return []int{e.param}
}

// columns lists the base columns of the effect.
func (e effect) columns() []int {
	if e.col2 >= 0 {
		return []int{e.col, e.col2}
	}
	return []int{e.col}
}

// scaledBeta is the fixed effects in the orthogonal basis, beyond the least
// squares already taken out, of the scaled values.
func (f *Fit) scaledBeta() []float64 {
	p := f.P
	beta := make([]float64, p)
	for i := range p {
		for j := range p {
			beta[i] += f.xxInv[i*p+j] * f.xy[j]
		}
	}
	return beta
}

// factorOf returns the lower Cholesky factor of the effects' covariance ratios,
// block diagonal, n columns in all, row-major.
func (f *Fit) factorOf(effects []effect) (l []float64, n int) {
	for _, e := range effects {
		n += len(e.columns())
	}
	l = make([]float64, n*n)
	theta := f.sys.factors(f.gamma)
	i := 0
	for _, e := range effects {
		if e.col2 >= 0 {
			l[i*n+i], l[(i+1)*n+i], l[(i+1)*n+i+1] = theta[e.param], theta[e.param+1], theta[e.param+2]
			i += 2
			continue
		}
		l[i*n+i] = theta[e.param]
		i++
	}
	return l, n
}

// shrink returns b = L (I + L'TL)^-1 L' h for the n x n factor L: the
// predictions from T = U'V^-1 U and h = U'V^-1 e. It stays valid where the
// covariance L L' is singular.
func shrink(l, t, h []float64, n int) []float64 {
	m := shrinkFactor(l, t, n)
	z := make([]float64, n)
	for i := range n {
		for j := range n {
			z[i] += l[j*n+i] * h[j]
		}
	}
	cholSolve(m, n, z)
	b := make([]float64, n)
	for i := range n {
		for j := range n {
			b[i] += l[i*n+j] * z[j]
		}
	}
	return b
}

// shrinkFactor is the Cholesky factor of I + L'TL, positive definite always.
func shrinkFactor(l, t []float64, n int) []float64 {
	tl := make([]float64, n*n)
	for i := range n {
		for k := range n {
			if t[i*n+k] == 0 {
				continue
			}
			for j := range n {
				tl[i*n+j] += t[i*n+k] * l[k*n+j]
			}
		}
	}
	m := make([]float64, n*n)
	for i := range n {
		m[i*n+i] = 1
	}
	for k := range n {
		for i := range n {
			if l[k*n+i] == 0 {
				continue
			}
			for j := range n {
				m[i*n+j] += l[k*n+i] * tl[k*n+j]
			}
		}
	}
	cholesky(m, n, 0)
	return m
}

// crossed predicts the crossed effects from the sums left after the nested
// chain, and takes them out of the residuals.
func (p *predictor) crossed(beta []float64) {
	f, s := p.f, p.f.sys
	w := newWorkspace(s, false)
	w.gamma = f.gamma
	w.sumChain()
	r, m := len(s.cols), s.dense
	t, h, l := make([]float64, m*m), make([]float64, m), make([]float64, m*m)
	for j := range m {
		row := w.top[packed(r+j):]
		h[j] = row[r-1]
		for i, b := range beta {
			h[j] -= b * row[i]
		}
		for i := 0; i <= j; i++ {
			t[i*m+j], t[j*m+i] = row[r+i], row[r+i]
		}
	}
	for _, c := range s.crossed {
		block, n := f.factorOf(c.effects)
		for level := range c.group.levels() {
			first := c.offset + level*n
			for i := range n {
				for j := range n {
					l[(first+i)*m+first+j] = block[i*n+j]
				}
			}
		}
	}
	b := shrink(l, t, h, m)
	for _, c := range s.crossed {
		n := len(c.values)
		for level := range c.group.levels() {
			j := 0
			for _, e := range c.effects {
				for _, i := range e.variances() {
					p.effects[i][level] = b[c.offset+level*n+j]
					j++
				}
			}
		}
		for cell, code := range c.codes {
			for j, v := range c.values {
				p.resid[cell] -= b[c.offset+int(code)*n+j] * s.cols[v][cell]
			}
		}
	}
}

// nested predicts the effects of the chain: sums go up, predictions come down.
func (p *predictor) nested() {
	s := p.f.sys
	for _, l := range s.chain {
		for _, e := range l.effects {
			for _, c := range e.columns() {
				if _, ok := p.at[c]; !ok {
					p.at[c] = len(p.columns)
					p.columns = append(p.columns, c)
				}
			}
		}
	}
	n := len(p.columns)
	p.s, p.h = make([][]float64, len(s.chain)), make([][]float64, len(s.chain))
	for l := len(s.chain) - 1; l >= 0; l-- {
		lev := &s.chain[l]
		p.s[l], p.h[l] = make([]float64, lev.nodes()*n*n), make([]float64, lev.nodes()*n)
		for node := range lev.nodes() {
			S, h := p.node(l, node)
			for child := lev.first[node]; child < lev.first[node+1]; child++ {
				if l == len(s.chain)-1 {
					p.addCell(S, h, int(child))
				} else {
					p.addChild(S, h, l+1, int(child))
				}
			}
		}
	}
	above := make([]float64, n)
	for node := range s.chain[0].nodes() {
		p.descend(0, node, above)
	}
}

func (p *predictor) node(l, node int) (S, h []float64) {
	n := len(p.columns)
	return p.s[l][node*n*n : (node+1)*n*n], p.h[l][node*n : (node+1)*n]
}

func (p *predictor) addCell(S, h []float64, cell int) {
	s, n := p.f.sys, len(p.columns)
	w := s.cells.count[cell]
	for i, a := range p.columns {
		va := w * s.cols[a][cell]
		h[i] += va * p.resid[cell]
		for j, b := range p.columns {
			S[i*n+j] += va * s.cols[b][cell]
		}
	}
}

// own picks T = U'V^-1 U and h_U of a node's own effects.
func (p *predictor) own(S, h []float64, effects []effect) (t, hu []float64, cols []int) {
	for _, e := range effects {
		for _, c := range e.columns() {
			cols = append(cols, p.at[c])
		}
	}
	n := len(p.columns)
	for _, i := range cols {
		hu = append(hu, h[i])
		for _, j := range cols {
			t = append(t, S[i*n+j])
		}
	}
	return t, hu, cols
}

// addChild adds a child's sums with its own effects taken in.
func (p *predictor) addChild(S, h []float64, l, child int) {
	n := len(p.columns)
	cs, ch := p.node(l, child)
	effects := p.f.sys.chain[l].effects
	t, hu, cols := p.own(cs, ch, effects)
	factor, m := p.f.factorOf(effects)
	bh := shrink(factor, t, hu, m)
	column := make([]float64, m)
	for j := range n {
		for a, i := range cols {
			column[a] = cs[i*n+j]
		}
		b := shrink(factor, t, column, m)
		for i := range n {
			S[i*n+j] += cs[i*n+j]
			for a, c := range cols {
				S[i*n+j] -= cs[i*n+c] * b[a]
			}
		}
	}
	for i := range n {
		h[i] += ch[i]
		for a, c := range cols {
			h[i] -= cs[i*n+c] * bh[a]
		}
	}
}

// descend predicts a node's effects, above being the sum of those over it.
func (p *predictor) descend(l, node int, above []float64) {
	s, n := p.f.sys, len(p.columns)
	S, h := p.node(l, node)
	left := append([]float64(nil), h...)
	for i := range n {
		for j := range n {
			left[i] -= S[i*n+j] * above[j]
		}
	}
	lev := &s.chain[l]
	t, hu, cols := p.own(S, left, lev.effects)
	factor, m := p.f.factorOf(lev.effects)
	b := shrink(factor, t, hu, m)
	mine := append([]float64(nil), above...)
	j := 0
	for _, e := range lev.effects {
		for _, i := range e.variances() {
			p.effects[i][p.level(l, node)] = b[j]
			mine[cols[j]] += b[j]
			j++
		}
	}
	if l == len(s.chain)-1 {
		return
	}
	for child := lev.first[node]; child < lev.first[node+1]; child++ {
		p.descend(l+1, int(child), mine)
	}
}

// level is the level of its factor that a node stands for.
func (p *predictor) level(l, node int) int32 {
	chain := p.f.sys.chain
	at := int32(node)
	for k := l; k < len(chain); k++ {
		at = chain[k].first[at]
	}
	return chain[l].group.codes[p.f.sys.cells.rows[at]]
}
