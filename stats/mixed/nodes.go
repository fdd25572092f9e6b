package mixed

import "slices"

// linkNodes finds the units of each nested level among the sorted cells, and
// which crossed columns each of them touches.
func (s *system) linkNodes() {
	n := len(s.cells.rows)
	// First cell of each node, per level.
	starts := make([][]int32, len(s.chain))
	for l := range s.chain {
		codes := s.cells.codesAt(s.chain[l].group)
		for c := range n {
			if c == 0 || codes[c] != codes[c-1] {
				starts[l] = append(starts[l], int32(c))
			}
		}
		starts[l] = append(starts[l], int32(n))
	}
	for l := range s.chain {
		if l == len(s.chain)-1 {
			s.chain[l].first = starts[l]
			break
		}
		// A level's boundaries are boundaries of the finer level too.
		first := make([]int32, len(starts[l]))
		child := 0
		for i, cell := range starts[l] {
			for starts[l+1][child] != cell {
				child++
			}
			first[i] = int32(child)
		}
		s.chain[l].first = first
	}
	if s.dense == 0 {
		for l := range s.chain {
			s.chain[l].touchStart = make([]int32, s.chain[l].nodes()+1)
		}
		return
	}
	// Crossed columns of each node, first as numbers among all of them.
	stamp := make([]int32, s.dense)
	var round int32
	for l := range s.chain {
		lev := &s.chain[l]
		lev.touchStart = make([]int32, 1, lev.nodes()+1)
		for node := range lev.nodes() {
			round++
			begin := len(lev.touchTo)
			for c := starts[l][node]; c < starts[l][node+1]; c++ {
				for k := range s.crossed {
					f := &s.crossed[k]
					w := len(f.values)
					at := f.offset + int(f.codes[c])*w
					if stamp[at] == round {
						continue
					}
					for j := range w {
						stamp[at+j] = round
						lev.touchTo = append(lev.touchTo, int32(at+j))
					}
				}
			}
			slices.Sort(lev.touchTo[begin:])
			lev.touchMax = max(lev.touchMax, len(lev.touchTo)-begin)
			lev.touchStart = append(lev.touchStart, int32(len(lev.touchTo)))
		}
		stamp = make([]int32, s.dense)
		round = 0
	}
	s.leafTouch = slices.Clone(s.chain[len(s.chain)-1].touchTo)
	// Then as places among the parent's, finest level first while the parent
	// still holds numbers.
	place := make([]int32, s.dense)
	for l := len(s.chain) - 1; l >= 1; l-- {
		parent, lev := &s.chain[l-1], &s.chain[l]
		for node := range parent.nodes() {
			for i, col := range parent.touched(node) {
				place[col] = int32(i)
			}
			for child := parent.first[node]; child < parent.first[node+1]; child++ {
				mine := lev.touched(int(child))
				for i, col := range mine {
					mine[i] = place[col]
				}
			}
		}
	}
}

// fillLeaf adds the cross-products of the cells of a finest node to S, packed
// with the given stride, over the base columns and then its crossed columns.
// places, one per crossed factor, is scratch.
func (s *system) fillLeaf(node int, S []float64, stride int, places []int32) {
	lev := &s.chain[len(s.chain)-1]
	numbers := s.leafTouch[lev.touchStart[node]:lev.touchStart[node+1]]
	s.addCells(int(lev.first[node]), int(lev.first[node+1]), S, stride, places, numbers)
}

// addCells is fillLeaf for a range of cells; numbers lists the crossed columns
// in the order of S.
func (s *system) addCells(lo, hi int, S []float64, stride int, places []int32, numbers []int32) {
	r := len(s.cols)
	for c := lo; c < hi; c++ {
		w := s.cells.count[c]
		for j, col := range s.cols {
			wj := w * col[c]
			at := packed(j)
			for i := 0; i <= j; i++ {
				S[(at+i)*stride] += wj * s.cols[i][c]
			}
		}
		for k := range s.crossed {
			f := &s.crossed[k]
			col := int32(f.offset + int(f.codes[c])*len(f.values))
			place, _ := slices.BinarySearch(numbers, col)
			places[k] = int32(place)
			for j, v := range f.values {
				wj := w * s.cols[v][c]
				at := packed(r + place + j)
				for i := range r {
					S[(at+i)*stride] += wj * s.cols[i][c]
				}
				for k2 := 0; k2 <= k; k2++ {
					for i, v2 := range s.crossed[k2].values {
						if k2 == k && i > j {
							break
						}
						// Columns of an earlier factor have lower numbers.
						S[(at+r+int(places[k2])+i)*stride] += wj * s.cols[v2][c]
					}
				}
			}
		}
	}
}
