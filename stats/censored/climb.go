package censored

import (
	"math"

	"gonum.org/v1/gonum/floats"
)

// A climb looks for the effects of highest likelihood, with sigma given or free. It
// works with effects over sigma and gamma = 1/sigma, in which
//
//	z = gamma y - closing - point
//
// and the log-likelihood, the sum of ln(gamma) - z^2/2 over cells seen and of ln Q(z)
// over cells limited, is concave, so that Newton's steps find its only maximum. Source:
// R. Olsen, Econometrica 46 (1978) 1211-1215, from memory. Nothing in a step allocates.
type climb struct {
	w          *twoWay
	baseRow    []float64 // y stands about baseRow + baseCol, so that effects are small: see rebase
	baseCol    []float64
	gamma      float64
	free       bool // gamma moves
	row, col   []float64
	dRow, dCol []float64
	dGamma     float64

	// Sums over cells seen are those over all cells less the odd ones, which are few as a
	// rule, so a step walks through rows, columns and odd cells alone.
	cells              []oddCell
	weight             []float64 // of the odd cells
	nRow, nCol         []float64 // cells seen
	ySeenRow, ySeenCol []float64 // sums of y over cells seen
	yySeen             float64

	// The longer side is eliminated from the equations of a step.
	kept, gone          int
	odd                 [][]oddPlace // by gone unit
	scoreRow, scoreCol  []float64
	yRow, yCol          []float64 // weighted sums of y
	sumGone             []float64 // weights
	diagonal, lifted    []float64
	matrix, solved, byY []float64
}

// An oddCell is limited or missing.
type oddCell struct {
	row, col int32
	limited  bool
	y        float64
}

// An oddPlace is an odd cell of a gone unit: number among odd cells, place on the kept
// side.
type oddPlace struct{ at, kept int32 }

func newClimb(w *twoWay) *climb {
	c := &climb{w: w, kept: min(w.rows, w.cols), gone: max(w.rows, w.cols)}
	room := make([]float64, 9*(w.rows+w.cols)+c.gone+4*c.kept+c.kept*c.kept)
	take := func(n int) []float64 {
		part := room[:n:n]
		room = room[n:]
		return part
	}
	c.baseRow, c.baseCol = take(w.rows), take(w.cols)
	c.row, c.col = take(w.rows), take(w.cols)
	c.dRow, c.dCol = take(w.rows), take(w.cols)
	c.nRow, c.nCol = take(w.rows), take(w.cols)
	c.ySeenRow, c.ySeenCol = take(w.rows), take(w.cols)
	c.scoreRow, c.scoreCol = take(w.rows), take(w.cols)
	c.yRow, c.yCol = take(w.rows), take(w.cols)
	c.sumGone = take(c.gone)
	c.diagonal, c.lifted, c.solved, c.byY = take(c.kept), take(c.kept), take(c.kept), take(c.kept)
	c.matrix = take(c.kept * c.kept)
	c.center()
	c.odd = make([][]oddPlace, c.gone)
	for i := range w.rows {
		kinds, _ := w.line(i)
		for j, k := range kinds {
			if k == seen {
				continue
			}
			g, kept := i, j
			if c.rowsKept() {
				g, kept = j, i
			}
			c.odd[g] = append(c.odd[g], oddPlace{int32(len(c.cells)), int32(kept)})
			c.cells = append(c.cells, oddCell{row: int32(i), col: int32(j), limited: k == limited})
		}
	}
	c.measure()
	c.weight = make([]float64, len(c.cells))
	return c
}

func (c *climb) rowsKept() bool { return c.w.rows < c.w.cols }

// run climbs from the effects and the sigma of w and leaves it at the top. It is false,
// and w as it was, where no maximum was found; with sigma free there may be none.
func (c *climb) run(free bool) bool {
	w := c.w
	c.free, c.gamma = free, 1/w.sigma
	for i, a := range w.row {
		c.row[i] = (a - c.baseRow[i]) * c.gamma
	}
	for j, b := range w.col {
		c.col[j] = (b - c.baseCol[j]) * c.gamma
	}
	clear(c.dRow) // a step that failed before may have left what is no number
	clear(c.dCol)
	c.dGamma = 0
	if c.far() {
		c.rebase()
	}
	now := c.logLik(0)
	for range 100 {
		gain, ok := c.step()
		size := 1 + math.Abs(now)
		if !ok || !(gain > -1e-15*size) { // below 0 by rounding alone
			return false
		}
		length := 1.0
		if c.gamma+c.dGamma < c.gamma/10 { // gamma stays above 0
			length = -0.9 * c.gamma / c.dGamma
		}
		for next := c.logLik(length); ; next = c.logLik(length) {
			if next >= now || gain < 1e-9*size { // there the gain drowns in rounding
				now = next
				break
			}
			if length /= 2; length < 1e-12 {
				return false
			}
		}
		for i, d := range c.dRow {
			c.row[i] += length * d
		}
		for j, d := range c.dCol {
			c.col[j] += length * d
		}
		c.gamma += length * c.dGamma
		if c.far() {
			c.rebase()
			now = c.logLik(0)
		}
		if gain < 1e-20*size {
			return c.finish()
		}
	}
	return false
}

// finish hands the effects over.
func (c *climb) finish() bool {
	sigma := 1 / c.gamma
	if math.IsInf(sigma, 0) || math.IsNaN(sigma) {
		return false
	}
	for i, a := range c.row {
		c.w.row[i] = a*sigma + c.baseRow[i]
	}
	for j, b := range c.col {
		c.w.col[j] = b*sigma + c.baseCol[j]
	}
	if c.free {
		c.w.sigma = sigma
	}
	return true
}

// logLik is the log-likelihood moved by length times the step; ln(sigma) is left out
// where sigma is given.
func (c *climb) logLik(length float64) float64 {
	gamma := c.gamma + length*c.dGamma
	var allRows, allCols, squares, cross, sum float64
	for i, a := range c.row {
		a += length * c.dRow[i]
		allRows += a
		squares += a * a * c.nRow[i]
		cross += a * c.ySeenRow[i]
	}
	for j, b := range c.col {
		b += length * c.dCol[j]
		allCols += b
		squares += b * b * c.nCol[j]
		cross += b * c.ySeenCol[j]
	}
	products := allRows * allCols // of the effects of cells seen
	for _, o := range c.cells {
		a, b := c.row[o.row]+length*c.dRow[o.row], c.col[o.col]+length*c.dCol[o.col]
		products -= a * b
		if o.limited {
			logQ, _ := tail(gamma*o.y - a - b)
			sum += logQ
		}
	}
	squares += gamma*gamma*c.yySeen - 2*gamma*cross + 2*products
	if c.free {
		sum += float64(c.w.seen) * math.Log(gamma)
	}
	return sum - squares/2
}

// step sets the Newton step, and returns twice the gain that it promises.
func (c *climb) step() (gain float64, ok bool) {
	w := c.w
	copy(c.yRow, c.ySeenRow)
	copy(c.yCol, c.ySeenCol)
	yy := c.yySeen
	allRows, allCols := floats.Sum(c.row), floats.Sum(c.col)
	scoreGamma := float64(w.seen)/c.gamma - c.gamma*c.yySeen
	for i, a := range c.row {
		c.scoreRow[i] = c.gamma*c.ySeenRow[i] - a*c.nRow[i] - allCols
		scoreGamma += a * c.ySeenRow[i]
	}
	for j, b := range c.col {
		c.scoreCol[j] = c.gamma*c.ySeenCol[j] - b*c.nCol[j] - allRows
		scoreGamma += b * c.ySeenCol[j]
	}
	for at, o := range c.cells {
		a, b := c.row[o.row], c.col[o.col]
		c.scoreRow[o.row] += b
		c.scoreCol[o.col] += a
		c.weight[at] = 0
		if !o.limited {
			continue
		}
		z := c.gamma*o.y - a - b
		_, h := tail(z)
		v := curvature(z, h)
		c.weight[at] = v
		c.scoreRow[o.row] += h
		c.scoreCol[o.col] += h
		scoreGamma -= h * o.y
		c.yRow[o.row] += v * o.y
		c.yCol[o.col] += v * o.y
		yy += v * o.y * o.y
	}
	if !c.factor() {
		return 0, false
	}
	scoreKept, scoreGone, yKept, yGone, dKept, dGone := c.scoreCol, c.scoreRow, c.yCol, c.yRow, c.dCol, c.dRow
	if c.rowsKept() {
		scoreKept, scoreGone, yKept, yGone, dKept, dGone = scoreGone, scoreKept, yGone, yKept, dGone, dKept
	}
	c.solve(c.solved, scoreKept, scoreGone)
	c.dGamma = 0
	if c.free {
		// The scores move by y for each unit of gamma: what the effects make up for.
		c.solve(c.byY, yKept, yGone)
		up, bend := scoreGamma, yy+float64(w.seen)/(c.gamma*c.gamma)
		for i, y := range yKept {
			up += y * c.solved[i]
			bend -= y * c.byY[i]
		}
		bySolved, byY := floats.Sum(c.solved), floats.Sum(c.byY)
		for g, y := range yGone {
			// The gone effect that goes with the kept ones.
			up += y * c.follow(g, scoreGone[g], c.solved, bySolved)
			bend -= y * c.follow(g, y, c.byY, byY)
		}
		if !(bend > 0) {
			return 0, false
		}
		c.dGamma = up / bend
		gain = scoreGamma * c.dGamma
	}
	for i := range dKept {
		dKept[i] = c.solved[i] + c.dGamma*c.byY[i]
		gain += dKept[i] * scoreKept[i]
	}
	sum := floats.Sum(dKept)
	for g := range dGone {
		dGone[g] = c.follow(g, scoreGone[g]+c.dGamma*yGone[g], dKept, sum)
		gain += dGone[g] * scoreGone[g]
	}
	return gain, true
}

// follow is the effect of a gone unit that solves its own equation for right-hand side
// right, given the kept ones and their sum.
func (c *climb) follow(g int, right float64, kept []float64, sum float64) float64 {
	right -= sum
	for _, o := range c.odd[g] {
		right += (1 - c.weight[o.at]) * kept[o.kept]
	}
	return right / c.sumGone[g]
}

// factor forms the equations of the kept side and factors them. Weights are 1 but for
// the odd cells, which alone cost work: with u = 1 - weight, unit g takes away
//
//	(1 - u)(1 - u)'/sum = (11' - u1' - 1u' + uu')/sum
//
// A constant that can move from one side to the other is held by a term that grounds it.
func (c *climb) factor() bool {
	n := c.kept
	for i := range c.diagonal {
		c.diagonal[i], c.lifted[i] = float64(c.gone), 0
	}
	clear(c.matrix)
	var all, trace float64
	for g, cells := range c.odd {
		sum := float64(n)
		for _, o := range cells {
			sum -= 1 - c.weight[o.at]
			c.diagonal[o.kept] -= 1 - c.weight[o.at]
		}
		if !(sum > 0) {
			return false
		}
		c.sumGone[g] = sum
		all += 1 / sum
		trace += sum
		for k, o := range cells {
			u := (1 - c.weight[o.at]) / sum
			c.lifted[o.kept] += u
			row := c.matrix[int(o.kept)*n:]
			for _, p := range cells[:k+1] { // places rise along cells
				row[p.kept] -= u * (1 - c.weight[p.at])
			}
		}
	}
	ground := trace/float64(n*n) - all
	for i := range n {
		row := c.matrix[i*n : i*n+i+1]
		for l := range row {
			row[l] += ground + c.lifted[i] + c.lifted[l]
		}
		row[i] += c.diagonal[i]
	}
	for i := range n {
		row := c.matrix[i*n : i*n+i+1]
		for l := range i {
			above := c.matrix[l*n : l*n+l+1]
			row[l] = (row[l] - floats.Dot(row[:l], above[:l])) / above[l]
		}
		rest := row[i] - floats.Dot(row[:i], row[:i])
		if !(rest > 0) {
			return false
		}
		row[i] = math.Sqrt(rest)
	}
	return true
}

// solve solves the equations of the kept side for right-hand sides given by side.
func (c *climb) solve(x, kept, gone []float64) {
	copy(x, kept)
	for g, cells := range c.odd {
		share := gone[g] / c.sumGone[g]
		for i := range x {
			x[i] -= share
		}
		for _, o := range cells {
			x[o.kept] += share * (1 - c.weight[o.at])
		}
	}
	n := c.kept
	for i := range n {
		x[i] = (x[i] - floats.Dot(c.matrix[i*n:i*n+i], x[:i])) / c.matrix[i*n+i]
	}
	for i := n - 1; i >= 0; i-- {
		x[i] /= c.matrix[i*n+i]
		floats.AddScaled(x[:i], -x[i], c.matrix[i*n:i*n+i])
	}
}
