package mixed

import "math"

// A workspace holds everything that an evaluation writes, so that evaluating
// allocates nothing. With deriv it computes exact first and second derivatives
// in the variance ratios; without, values alone.
//
// Notation: V is the covariance of the values over the residual variance,
// V = I + sum_k gamma_k Z_k Z_k', and W the columns that are carried along
// (fixed effects, random columns, values, crossed columns). For each unit the
// recursion holds S = W'V^-1 W. A random column u = W_a with ratio gamma takes
// V to V + gamma u u', hence, with d = S_aa,
//
//	S <- S - gamma/(1 + gamma d) S_a S_a',  log|V| <- log|V| + log(1 + gamma d),
//
// and units that share no further effect add up. Source: the matrix
// determinant lemma and the Sherman-Morrison formula, applied once per unit.
type workspace struct {
	s      *system
	deriv  bool
	stride int
	gamma  []float64
	bufs   [][]float64 // one S for each nested level
	top    []float64   // S over base and all crossed columns
	places []int32
	column []float64 // S_a
	e, inv []float64 // 1 + gamma d and its inverse
	f, t   []float64
	gam    []float64
	tmp    [12][]float64
	column2,
	t2 []float64
	poolF, poolInv []float64 // per distinct d: value and two derivatives

	// Results, jets in the order of elimination.
	logV, logX, q []float64 // log|V|, log|X'V^-1 X|, y'Py (of the scaled values)
	xx            []float64 // X'V^-1 X, packed
	xy            []float64 // X'V^-1 y
	fixed         []float64
}

func newWorkspace(s *system, deriv bool) *workspace {
	w := &workspace{s: s, deriv: deriv, stride: 1}
	if deriv {
		w.stride = jetLen(len(s.params))
	}
	r := len(s.cols)
	for l := range s.chain {
		w.bufs = append(w.bufs, make([]float64, packed(r+s.chain[l].touchMax)*w.stride))
	}
	w.top = make([]float64, packed(r+s.dense)*w.stride)
	w.column = make([]float64, (r+s.dense)*w.stride)
	w.column2 = make([]float64, (r+s.dense)*w.stride)
	w.poolF, w.poolInv = make([]float64, 3*len(s.poolD)), make([]float64, 3*len(s.poolD))
	w.places = make([]int32, len(s.crossed))
	small := make([]float64, (10+len(w.tmp))*w.stride)
	cut := func() []float64 {
		out := small[:w.stride:w.stride]
		small = small[w.stride:]
		return out
	}
	w.e, w.inv, w.f, w.t, w.t2, w.gam = cut(), cut(), cut(), cut(), cut(), cut()
	for i := range w.tmp {
		w.tmp[i] = cut()
	}
	w.logV, w.logX, w.q = cut(), cut(), cut()
	w.xx = make([]float64, packed(s.p)*w.stride)
	w.xy = make([]float64, s.p*w.stride)
	w.fixed = make([]float64, packed(s.p+1)*w.stride)
	return w
}

// eval runs the recursion at the ratios gamma.
func (w *workspace) eval(gamma []float64) {
	w.gamma = gamma
	w.sumChain()
	w.eliminateCrossed()
	w.profileFixed()
}

// sumChain fills top with S over all columns, the nested effects taken in.
func (w *workspace) sumChain() {
	s := w.s
	clear(w.top)
	clear(w.logV)
	if s.pools != nil {
		w.preparePools()
	}
	switch {
	case len(s.chain) == 0:
		s.addCells(0, len(s.cells.rows), w.top, w.stride, nil, nil)
	case len(s.chain) == 1 && s.pools != nil:
		w.addPools(0, w.top, len(s.cols)+s.dense)
	default:
		for node := range s.chain[0].nodes() {
			w.unit(0, node, w.top)
		}
	}
}

// before is the number of ratios that the units of a nested level depend on
// before its own effects are taken in.
func (w *workspace) before(l int) int {
	if !w.deriv {
		return 0
	}
	e := w.s.chain[l].effects
	return e[0].jet
}

// unit computes S of one node, its own effects included, and adds it to the
// parent's.
func (w *workspace) unit(l, node int, parent []float64) {
	s := w.s
	lev := &s.chain[l]
	r := len(s.cols)
	touched := lev.touched(node)
	cols := r + len(touched)
	S := w.bufs[l][:packed(cols)*w.stride]
	switch {
	case l == len(s.chain)-2 && s.pools != nil:
		clear(S)
		w.addPools(node, S, cols)
	case l < len(s.chain)-1:
		clear(S)
		for child := lev.first[node]; child < lev.first[node+1]; child++ {
			w.unit(l+1, int(child), S)
		}
	case s.leafAt != nil:
		leaf := s.leaf[s.leafAt[node]:s.leafAt[node+1]]
		if w.stride == 1 {
			copy(S, leaf)
		} else {
			clear(S)
			for i, v := range leaf {
				S[i*w.stride] = v
			}
		}
	default:
		clear(S)
		s.fillLeaf(node, S, w.stride, w.places)
	}
	k := w.before(l)
	for _, e := range lev.effects {
		k = w.apply(S, cols, e, k)
	}
	w.add(parent, S, touched, jetLen(k))
}

// add adds S to the parent's: base columns keep their place, the crossed ones
// go to the places in touched. size is the length of the jets in use.
func (w *workspace) add(parent, S []float64, touched []int32, size int) {
	r := len(w.s.cols)
	if w.stride == 1 {
		size = 1
	}
	base := packed(r)
	if size == w.stride {
		for i, v := range S[:base*w.stride] {
			parent[i] += v
		}
	} else {
		for i := range base {
			at := i * w.stride
			for j, v := range S[at : at+size] {
				parent[at+j] += v
			}
		}
	}
	for b, to := range touched {
		from, into := packed(r+b), packed(r+int(to))
		for i := range r {
			addJet(parent[(into+i)*w.stride:], S[(from+i)*w.stride:], size)
		}
		for a := 0; a <= b; a++ {
			addJet(parent[(into+r+int(touched[a]))*w.stride:], S[(from+r+a)*w.stride:], size)
		}
	}
}

func addJet(dst, src []float64, size int) {
	for i, v := range src[:size] {
		dst[i] += v
	}
}

// apply takes an effect into S over its first cols columns. k ratios are in
// the jets before it; the number after it is returned.
func (w *workspace) apply(S []float64, cols int, e effect, k int) int {
	return w.applyAt(S, cols, e, e.col, e.col2, k)
}

// applyAt is apply with the columns given.
func (w *workspace) applyAt(S []float64, cols int, e effect, a, b, k int) int {
	if !w.deriv {
		if e.col2 >= 0 {
			w.pairValue(S, cols, a, b, w.gamma[e.param:e.param+3])
		} else if g := w.gamma[e.param]; g != 0 {
			w.value(S, cols, a, g)
		}
		return 0
	}
	after := max(k, e.jet+e.ratios())
	if e.col2 >= 0 {
		w.pairJets(S, cols, a, b, e, after)
	} else {
		w.jets(S, cols, a, e, k, after)
	}
	return after
}

// value is the step for one column, without derivatives.
func (w *workspace) value(S []float64, cols, a int, gamma float64) {
	d := S[packed(a)+a]
	e := 1 + gamma*d
	f := gamma / e
	w.logV[0] += math.Log(e)
	col := w.column[:cols]
	for i := range a {
		col[i] = S[packed(a)+i]
	}
	for i := a; i < cols; i++ {
		col[i] = S[packed(i)+a]
	}
	at := 0
	for c := range cols {
		tc := f * col[c]
		row := S[at : at+c+1]
		for b := range row {
			row[b] -= tc * col[b]
		}
		at += c + 1
	}
	// The pivot column itself, without cancellation.
	inv := 1 / e
	for i := range a {
		S[packed(a)+i] = col[i] * inv
	}
	for i := a; i < cols; i++ {
		S[packed(i)+a] = col[i] * inv
	}
}

// jets is the step for one column with derivatives; k ratios before, after
// ratios after it.
func (w *workspace) jets(S []float64, cols, a int, e effect, k, after int) {
	st, size := w.stride, jetLen(after)
	column := w.column
	for i := range cols {
		at := packed(max(i, a)) + min(i, a)
		copy(column[i*st:i*st+size], S[at*st:at*st+size])
	}
	d := column[a*st : a*st+size]
	g := w.gam[:size]
	clear(g)
	g[0] = w.gamma[e.param]
	g[jetLen(e.jet)] = 1
	one := w.e[:size]
	jetMul(one, g, d, after)
	one[0]++
	jetAddLog(w.logV, one, after)
	inv, f, t := w.inv[:size], w.f[:size], w.t[:size]
	jetInv(inv, one, after)
	jetMul(f, g, inv, after)
	if k == 0 {
		// Nothing in S depends on a ratio yet, so only f has derivatives.
		at := 0
		for c := range cols {
			cc := column[c*st]
			for b := 0; b <= c; b++ {
				x := cc * column[b*st]
				dst := S[at : at+size]
				for j, fj := range f {
					dst[j] -= x * fj
				}
				at += st
			}
		}
	} else {
		at := 0
		for c := range cols {
			jetMul(t, f, column[c*st:c*st+size], after)
			for b := 0; b <= c; b++ {
				jetSubMul(S[at:at+size], t, column[b*st:b*st+size], after)
				at += st
			}
		}
	}
	for i := range cols {
		at := packed(max(i, a)) + min(i, a)
		jetMul(S[at*st:at*st+size], column[i*st:i*st+size], inv, after)
	}
}

// eliminateCrossed takes in the crossed effects, last column first, so that
// what is left is always the first columns of S.
func (w *workspace) eliminateCrossed() {
	s := w.s
	r := len(s.cols)
	k := 0
	if w.deriv && len(s.chain) > 0 {
		e := s.chain[0].effects
		last := e[len(e)-1]
		k = last.jet + last.ratios()
	}
	for i := len(s.crossed) - 1; i >= 0; i-- {
		f := &s.crossed[i]
		if w.deriv {
			k = len(s.params)
		}
		for level := f.group.levels() - 1; level >= 0; level-- {
			first := r + f.offset + level*len(f.values)
			for j := len(f.effects) - 1; j >= 0; j-- {
				e := f.effects[j]
				a, b, cols := first+e.crossed, -1, first+e.crossed+1
				if e.col2 >= 0 {
					b = a + 1
					cols++
				}
				w.applyAt(w.top, cols, e, a, b, k)
			}
		}
	}
}

// profileFixed keeps X'V^-1 X and X'V^-1 y and profiles the fixed effects out.
func (w *workspace) profileFixed() {
	s, st := w.s, w.stride
	p, y := s.p, len(s.cols)-1
	copy(w.xx, w.top[:packed(p)*st])
	copy(w.xy, w.top[packed(y)*st:(packed(y)+p)*st])
	// Values last, directly after the fixed effects.
	copy(w.fixed, w.xx)
	copy(w.fixed[packed(p)*st:], w.xy)
	copy(w.fixed[(packed(p)+p)*st:], w.top[(packed(y)+y)*st:(packed(y)+y+1)*st])
	k := 0
	if w.deriv {
		k = len(s.params)
	}
	clear(w.logX)
	for a := range p {
		d := w.fixed[(packed(a)+a)*st : (packed(a)+a+1)*st]
		jetAddLog(w.logX, d, k)
		jetInv(w.inv, d, k)
		for c := a + 1; c <= p; c++ {
			ac := w.fixed[(packed(c)+a)*st : (packed(c)+a+1)*st]
			jetMul(w.t, ac, w.inv, k)
			for b := a + 1; b <= c; b++ {
				ab := w.fixed[(packed(b)+a)*st : (packed(b)+a+1)*st]
				at := (packed(c) + b) * st
				jetSubMul(w.fixed[at:at+st], w.t, ab, k)
			}
		}
	}
	copy(w.q, w.fixed[(packed(p)+p)*st:])
	w.q[0] += s.cells.within / (s.scale * s.scale)
}
