package mixed

import (
	"cmp"
	"math"
	"slices"
)

// A pool is the sum over finest units, below one parent, that have the same
// d = u'u for their random column u. For each of them, with s = W'u,
//
//	S - f s s',  f = gamma/(1 + gamma d),
//
// and the column of u itself becomes s/(1 + gamma d). So sum S and sum s s' do
// for all of them, and evaluating costs one step per pool instead of one per
// unit: for one-way data one step per distinct group size.
type pool struct {
	d  int // index among the distinct values of d
	at int // where sum S starts in system.pooled; sum s s' and sum s follow
}

// leafLimit bounds the memory of the sums kept for the finest units.
const leafLimit = 1 << 22

// sumLeaves precomputes what does not depend on the variances: pools where the
// finest level has one random column, else the sums of each finest unit. Where
// that would take too much memory nothing is kept.
func (s *system) sumLeaves(limit int) {
	if len(s.chain) == 0 {
		return
	}
	last := len(s.chain) - 1
	lev := &s.chain[last]
	if len(lev.effects) == 1 && lev.effects[0].col2 < 0 && s.makePools(limit) {
		return
	}
	at := make([]int, lev.nodes()+1)
	for node := range lev.nodes() {
		at[node+1] = at[node] + packed(len(s.cols)+len(lev.touched(node)))
	}
	if at[lev.nodes()] > limit {
		return
	}
	s.leafAt = at
	s.leaf = make([]float64, at[lev.nodes()])
	places := make([]int32, len(s.crossed))
	for node := range lev.nodes() {
		s.fillLeaf(node, s.leaf[at[node]:at[node+1]], 1, places)
	}
}

// makePools groups the finest units below each parent; false if that would
// take too much memory.
func (s *system) makePools(limit int) bool {
	last := len(s.chain) - 1
	lev := &s.chain[last]
	col := s.cols[lev.effects[0].col]
	nodes := lev.nodes()
	d := make([]float64, nodes)
	for node := range nodes {
		for c := lev.first[node]; c < lev.first[node+1]; c++ {
			d[node] += s.cells.count[c] * col[c] * col[c]
		}
	}
	distinct := slices.Clone(d)
	slices.Sort(distinct)
	distinct = slices.Compact(distinct)
	parents := []int32{0, int32(nodes)}
	columns := func(int) int { return len(s.cols) + s.dense }
	if last > 0 {
		parents = s.chain[last-1].first
		columns = func(p int) int { return len(s.cols) + len(s.chain[last-1].touched(p)) }
	}
	// Size first: the distinct d below each parent.
	order := make([]int32, nodes)
	index := make([]int32, nodes)
	size := 0
	for p := range len(parents) - 1 {
		below := order[parents[p]:parents[p+1]]
		for i := range below {
			below[i] = parents[p] + int32(i)
			at, _ := slices.BinarySearch(distinct, d[below[i]])
			index[below[i]] = int32(at)
		}
		slices.SortStableFunc(below, func(a, b int32) int { return cmp.Compare(index[a], index[b]) })
		for i, node := range below {
			if i == 0 || index[node] != index[below[i-1]] {
				size += 2*packed(columns(p)) + columns(p)
			}
		}
	}
	if size > limit {
		return false
	}
	s.pooled = make([]float64, size)
	s.poolStart = make([]int32, 1, len(parents))
	s.poolD, s.poolUnits = distinct, make([]float64, len(distinct))
	r := len(s.cols)
	leaf := make([]float64, packed(r+lev.touchMax))
	places := make([]int32, len(s.crossed))
	size = 0
	for p := range len(parents) - 1 {
		below := order[parents[p]:parents[p+1]]
		half := packed(columns(p))
		for i, node := range below {
			if i == 0 || index[node] != index[below[i-1]] {
				s.pools = append(s.pools, pool{int(index[node]), size})
				size += 2*half + columns(p)
			}
			at := s.pools[len(s.pools)-1].at
			s.poolUnits[index[node]]++
			touched := lev.touched(int(node))
			S := leaf[:packed(r+len(touched))]
			clear(S)
			s.fillLeaf(int(node), S, 1, places)
			s.addToPool(s.pooled[at:at+half], s.pooled[at+half:at+2*half], s.pooled[at+2*half:at+2*half+columns(p)], S, touched)
		}
		s.poolStart = append(s.poolStart, int32(len(s.pools)))
	}
	return true
}

// addToPool adds a unit's S, s s' and s to the sums of its pool.
func (s *system) addToPool(sum, outer, pivot, S []float64, touched []int32) {
	r := len(s.cols)
	a := s.chain[len(s.chain)-1].effects[0].col
	place := func(i int) int {
		if i < r {
			return i
		}
		return r + int(touched[i-r])
	}
	for j := range r + len(touched) {
		sj := S[packed(max(j, a))+min(j, a)]
		pivot[place(j)] += sj
		if j == a {
			continue
		}
		to := packed(place(j))
		for i := 0; i <= j; i++ {
			if i != a {
				sum[to+place(i)] += S[packed(j)+i]
				outer[to+place(i)] += sj * S[packed(max(i, a))+min(i, a)]
			}
		}
	}
}

// preparePools computes 1/(1 + gamma d) and gamma/(1 + gamma d), three numbers
// each with derivatives, for every distinct d, and adds their log-determinants.
func (w *workspace) preparePools() {
	s := w.s
	gamma := w.gamma[s.chain[len(s.chain)-1].effects[0].param]
	for i, d := range s.poolD {
		e := 1 + gamma*d
		inv := 1 / e
		units := s.poolUnits[i]
		w.logV[0] += units * math.Log(e)
		w.poolInv[3*i], w.poolF[3*i] = inv, gamma*inv
		if w.deriv {
			w.logV[1] += units * d * inv
			w.logV[2] -= units * d * inv * d * inv
			i2 := inv * inv
			w.poolInv[3*i+1], w.poolInv[3*i+2] = -d*i2, 2*d*d*i2*inv
			w.poolF[3*i+1], w.poolF[3*i+2] = i2, -2*d*i2*inv
		}
	}
}

// addPools adds the finest units below a parent to its S, over cols columns.
func (w *workspace) addPools(parent int, S []float64, cols int) {
	s, st := w.s, w.stride
	a := s.chain[len(s.chain)-1].effects[0].col
	half := packed(cols)
	for _, p := range s.pools[s.poolStart[parent]:s.poolStart[parent+1]] {
		sum, outer, pivot := s.pooled[p.at:p.at+half], s.pooled[p.at+half:p.at+2*half], s.pooled[p.at+2*half:p.at+2*half+cols]
		f, inv := w.poolF[3*p.d:3*p.d+3], w.poolInv[3*p.d:3*p.d+3]
		if !w.deriv {
			for i, v := range sum {
				S[i] += v - f[0]*outer[i]
			}
			for i, v := range pivot {
				S[packed(max(i, a))+min(i, a)] += inv[0] * v
			}
			continue
		}
		f0, f1, f2 := f[0], f[1], f[2]
		at := 0
		for i, v := range sum {
			o := outer[i]
			dst := S[at : at+3]
			dst[0] += v - f0*o
			dst[1] -= f1 * o
			dst[2] -= f2 * o
			at += st
		}
		for i, v := range pivot {
			j := (packed(max(i, a)) + min(i, a)) * st
			dst := S[j : j+3]
			dst[0] += inv[0] * v
			dst[1] += inv[1] * v
			dst[2] += inv[2] * v
		}
	}
}
