package mixed

import "math"

// A correlated pair of columns a, b with covariance ratios G = [g1 c; c g2]
// takes V to V + U G U', U = [W_a W_b], and S to S - S_U M S_U' with
//
//	M = (G^-1 + T)^-1 = (G + |G| adj T)/D,  D = |I + T G| = 1 + tr(T G) + |T||G|,
//
// T = U'V^-1 U. The closed form stays valid where G is singular.

// pairValue is the step without derivatives.
func (w *workspace) pairValue(S []float64, cols, a, b int, g []float64) {
	if g[0] == 0 && g[1] == 0 && g[2] == 0 {
		return
	}
	t1, tc, t2 := S[packed(a)+a], S[packed(max(a, b))+min(a, b)], S[packed(b)+b]
	det := g[0]*g[2] - g[1]*g[1]
	D := 1 + t1*g[0] + 2*tc*g[1] + t2*g[2] + (t1*t2-tc*tc)*det
	w.logV[0] += math.Log(D)
	m1, mc, m2 := (g[0]+det*t2)/D, (g[1]-det*tc)/D, (g[2]+det*t1)/D
	ca, cb := w.column[:cols], w.column2[:cols]
	for i := range cols {
		ca[i] = S[packed(max(i, a))+min(i, a)]
		cb[i] = S[packed(max(i, b))+min(i, b)]
	}
	at := 0
	for c := range cols {
		ta, tb := m1*ca[c]+mc*cb[c], mc*ca[c]+m2*cb[c]
		for i := 0; i <= c; i++ {
			S[at] -= ta*ca[i] + tb*cb[i]
			at++
		}
	}
}

// pairJets is the step with derivatives, after ratios in the jets.
func (w *workspace) pairJets(S []float64, cols, a, b int, e effect, after int) {
	st, size := w.stride, jetLen(after)
	for i := range cols {
		at := packed(max(i, a)) + min(i, a)
		copy(w.column[i*st:i*st+size], S[at*st:at*st+size])
		at = packed(max(i, b)) + min(i, b)
		copy(w.column2[i*st:i*st+size], S[at*st:at*st+size])
	}
	var t [12][]float64
	for i := range t {
		t[i] = w.tmp[i][:size]
	}
	g1, gc, g2, det, D, inv, m1, mc, m2, x, y, minus := t[0], t[1], t[2], t[3], t[4], t[5], t[6], t[7], t[8], t[9], t[10], t[11]
	for i, g := range [][]float64{g1, gc, g2} {
		clear(g)
		g[0] = w.gamma[e.param+i]
		g[jetLen(e.jet+i)] = 1
	}
	t1, tc, t2 := w.column[a*st:a*st+size], w.column[b*st:b*st+size], w.column2[b*st:b*st+size]
	jetMul(det, g1, g2, after)
	jetSubMul(det, gc, gc, after)
	// D = 1 + t1 g1 + 2 tc gc + t2 g2 + (t1 t2 - tc^2) det
	jetMul(x, t1, t2, after)
	jetSubMul(x, tc, tc, after)
	jetMul(D, x, det, after)
	jetMul(x, t1, g1, after)
	jetMul(y, t2, g2, after)
	jetMul(minus, tc, gc, after)
	for i := range D {
		D[i] += x[i] + y[i] + 2*minus[i]
	}
	D[0]++
	jetAddLog(w.logV, D, after)
	jetInv(inv, D, after)
	combine := func(m, g, t []float64, sign float64) {
		jetMul(x, det, t, after)
		for i := range x {
			x[i] = g[i] + sign*x[i]
		}
		jetMul(m, x, inv, after)
	}
	combine(m1, g1, t2, 1)
	combine(mc, gc, tc, -1)
	combine(m2, g2, t1, 1)
	at := 0
	for c := range cols {
		ca, cb := w.column[c*st:c*st+size], w.column2[c*st:c*st+size]
		ta, tb := w.t[:size], w.t2[:size]
		jetMul(ta, m1, ca, after)
		jetMul(x, mc, cb, after)
		jetMul(tb, mc, ca, after)
		jetMul(y, m2, cb, after)
		for i := range ta {
			ta[i] += x[i]
			tb[i] += y[i]
		}
		for i := 0; i <= c; i++ {
			jetSubMul(S[at:at+size], ta, w.column[i*st:i*st+size], after)
			jetSubMul(S[at:at+size], tb, w.column2[i*st:i*st+size], after)
			at += st
		}
	}
}
