package censored

// A heap is closings of one inner unit at one age.
type heap struct {
	x, n, mean, ss float64 // closings seen: number, mean, sum of squares about it
	cuts           []cut
}

// A cut is a limit and the number of closings known to be above it.
type cut struct{ limit, n float64 }

// An inner unit: whether any closing of it is limited, or seen, and where the
// mode of its random effect was found last, to begin the next search.
type inner struct {
	heaps         []heap
	limited, seen bool
	mode          float64
}

// An outer unit.
type outer struct {
	units         []inner
	limited, seen bool
	mode          float64
}

// clusters are the data of a fit. They are for one goroutine.
type clusters struct {
	outers             []outer
	hasOuter, hasInner bool // the level exists
	left               int  // evaluations of an inner unit that may still be spent
}

// budget is how many evaluations each inner unit may cost. Fits and bounds of
// made-up campaigns in two levels took a quarter of it at most.
const budget = 1_000_000

// newClusters gathers closings, which are in order of unit, age, limited or not,
// and value. outerOf and innerOf are unit codes, nil where there is no such level;
// inner units are told apart within outers.
func newClusters(y, x []float64, limited []bool, outerOf, innerOf []int32) *clusters {
	c := &clusters{hasOuter: outerOf != nil, hasInner: innerOf != nil}
	changes := func(of []int32, i int) bool { return i == 0 || of != nil && of[i] != of[i-1] }
	for i, v := range y {
		newOuter := changes(outerOf, i)
		newInner := newOuter || changes(innerOf, i)
		if newOuter {
			c.outers = append(c.outers, outer{})
		}
		o := &c.outers[len(c.outers)-1]
		if newInner {
			o.units = append(o.units, inner{})
		}
		u := &o.units[len(o.units)-1]
		if newInner || x[i] != x[i-1] {
			u.heaps = append(u.heaps, heap{x: x[i]})
		}
		h := &u.heaps[len(u.heaps)-1]
		if !limited[i] {
			o.seen, u.seen = true, true
			h.n++
			d := v - h.mean
			h.mean += d / h.n
			h.ss += d * (v - h.mean)
			continue
		}
		o.limited, u.limited = true, true
		if n := len(h.cuts); n > 0 && h.cuts[n-1].limit == v {
			h.cuts[n-1].n++
		} else {
			h.cuts = append(h.cuts, cut{v, 1})
		}
	}
	for _, o := range c.outers {
		c.left += budget * len(o.units)
	}
	return c
}
