package censored

import "math"

// The sums of a climb are of squares that mostly cancel where effects are many sigmas
// large: at 1e8 sigmas nothing is left of them. So y stands about a base near the
// effects, and the base follows them.

// center counts the cells seen and sets the base to the mean of those of a row, and of a
// column what is left then.
func (c *climb) center() {
	w := c.w
	for i := range w.rows {
		kinds, values := w.line(i)
		for j, k := range kinds {
			if k == seen {
				c.nRow[i]++
				c.nCol[j]++
				c.baseRow[i] += values[j]
			}
		}
		c.baseRow[i] /= max(c.nRow[i], 1)
	}
	for i := range w.rows {
		kinds, values := w.line(i)
		for j, k := range kinds {
			if k == seen {
				c.baseCol[j] += (values[j] - c.baseRow[i]) / c.nCol[j]
			}
		}
	}
	// A line without a cell seen stands where the others do on average.
	mean, lines := 0.0, 0.0
	for i, n := range c.nRow {
		if n > 0 {
			mean, lines = mean+c.baseRow[i], lines+1
		}
	}
	for i, n := range c.nRow {
		if n == 0 {
			c.baseRow[i] = mean / max(lines, 1)
		}
	}
}

// measure sums up the cells seen about the base, and sets y of the limited ones.
func (c *climb) measure() {
	w := c.w
	clear(c.ySeenRow)
	clear(c.ySeenCol)
	c.yySeen = 0
	for i := range w.rows {
		kinds, values := w.line(i)
		for j, k := range kinds {
			if k == seen {
				y := values[j] - c.baseRow[i] - c.baseCol[j]
				c.ySeenRow[i] += y
				c.ySeenCol[j] += y
				c.yySeen += y * y
			}
		}
	}
	for at := range c.cells {
		if o := &c.cells[at]; o.limited {
			o.y = w.y[int(o.row)*w.cols+int(o.col)] - c.baseRow[o.row] - c.baseCol[o.col]
		}
	}
}

// farSigmas is how far effects may lie from the base: their squares cost six digits.
// Readings that differ by more than rounding seldom lead so far.
const farSigmas = 1000

// far reports whether the base is to follow the effects.
func (c *climb) far() bool {
	for _, side := range [][]float64{c.row, c.col} {
		for _, a := range side {
			if math.Abs(a) > farSigmas {
				return true
			}
		}
	}
	return false
}

// rebase moves the base to where the effects are, which costs a walk through all cells.
func (c *climb) rebase() {
	for i, a := range c.row {
		c.baseRow[i] += a / c.gamma
	}
	for j, b := range c.col {
		c.baseCol[j] += b / c.gamma
	}
	clear(c.row)
	clear(c.col)
	c.measure()
}
