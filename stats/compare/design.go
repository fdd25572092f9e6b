package compare

import (
	"fmt"
	"slices"

	"sealbound/stats"
)

// A Design says which product was tested in which box, and how much of the
// comparison that replicates.
type Design struct {
	Products, Boxes, Cells int // Cells: pairs of product and box that were tested
	Parts                  int // groups of products and boxes without a box in common; 1 where all hang together
	Kind                   Kind
	// Within is the number of independent comparisons of products inside boxes,
	// cells - boxes - products + parts: (boxes-1)(products-1) where every product
	// saw every box, 0 where each box saw one product.
	Within int
	// Between is the number of independent comparisons of boxes that tell nothing
	// of products: the sum over products of (boxes-1) where each box saw one
	// product. It is boxes less the rank of the table of products by boxes.
	Between int
}

// Kind names a design.
type Kind string

// The designs.
const (
	OneBox     Kind = "one box"
	Complete   Kind = "complete"   // every product in every box
	Nested     Kind = "nested"     // each box saw one product
	Incomplete Kind = "incomplete" // boxes saw some of the products
	// Confounded: each product was seen in one box only, and the boxes are
	// several. The spread between boxes is not in the data at all.
	Confounded Kind = "confounded"
)

// String describes the design in words.
func (d Design) String() string {
	if d.Products == 1 {
		return fmt.Sprintf("one product, number of boxes: %d", d.Boxes)
	}
	switch d.Kind {
	case OneBox:
		return "all products in one box"
	case Complete:
		return fmt.Sprintf("complete: every product in every one of %d boxes", d.Boxes)
	case Nested:
		return fmt.Sprintf("nested: each of %d boxes saw one product", d.Boxes)
	case Incomplete:
		return fmt.Sprintf("incomplete: %d of the %d pairs of product and box were tested", d.Cells, d.Products*d.Boxes)
	case Confounded:
		return "confounded: each product was seen in one box only"
	}
	return ""
}

// An incidence is which of the products met which units (boxes or sessions).
type incidence struct {
	met   [][]bool // by unit, by product
	part  []int    // of each product
	parts int
	cells int
}

// incidenceOf tabulates products (codes below n, one per value) against a factor.
func incidenceOf(product []int32, n int, f stats.Factor) incidence {
	in := incidence{met: make([][]bool, f.Levels), part: make([]int, n)}
	for u := range in.met {
		in.met[u] = make([]bool, n)
	}
	for i, p := range product {
		in.met[f.Codes[i]][p] = true
	}
	for p := range in.part {
		in.part[p] = p
	}
	for _, row := range in.met {
		first := -1
		for p, met := range row {
			if !met {
				continue
			}
			in.cells++
			if first < 0 {
				first = in.part[p]
				continue
			}
			if old := in.part[p]; old != first {
				for q := range in.part {
					if in.part[q] == old {
						in.part[q] = first
					}
				}
			}
		}
	}
	seen := make(map[int]bool)
	for _, p := range in.part {
		seen[p] = true
	}
	in.parts = len(seen)
	return in
}

// single reports whether every product met one unit only.
func (in incidence) single() bool {
	return !slices.ContainsFunc(in.unitsOf(), func(n int) bool { return n > 1 })
}

// unitsOf counts the units that each product met.
func (in incidence) unitsOf() []int {
	units := make([]int, len(in.part))
	for _, row := range in.met {
		for p, met := range row {
			if met {
				units[p]++
			}
		}
	}
	return units
}

// share reports whether two products met in some unit.
func (in incidence) share(a, b int) bool {
	return slices.ContainsFunc(in.met, func(row []bool) bool { return row[a] && row[b] })
}

// rank of the table of units by products, by elimination; entries are 0 and 1, so
// a pivot is either 0 up to rounding or far from it.
func (in incidence) rank() int {
	m := make([][]float64, len(in.met))
	for u, row := range in.met {
		m[u] = make([]float64, len(row))
		for p, met := range row {
			if met {
				m[u][p] = 1
			}
		}
	}
	rank := 0
	for p := range in.part {
		at := -1
		for u := rank; u < len(m); u++ {
			if abs(m[u][p]) > 1e-9 && (at < 0 || abs(m[u][p]) > abs(m[at][p])) {
				at = u
			}
		}
		if at < 0 {
			continue
		}
		m[rank], m[at] = m[at], m[rank]
		for u := rank + 1; u < len(m); u++ {
			w := m[u][p] / m[rank][p]
			for q := p; q < len(in.part); q++ {
				m[u][q] -= w * m[rank][q]
			}
		}
		rank++
	}
	return rank
}

func abs(x float64) float64 { return max(x, -x) }

// design describes products in boxes.
func (in incidence) design() Design {
	d := Design{Products: len(in.part), Boxes: len(in.met), Cells: in.cells, Parts: in.parts}
	d.Within = max(0, d.Cells-d.Boxes-d.Products+d.Parts)
	d.Between = max(0, d.Boxes-in.rank())
	switch {
	case d.Boxes == 1:
		d.Kind = OneBox
	case d.Cells == d.Products*d.Boxes:
		d.Kind = Complete
	case in.single():
		d.Kind = Confounded
	case d.Cells == d.Boxes:
		d.Kind = Nested
	default:
		d.Kind = Incomplete
	}
	return d
}
