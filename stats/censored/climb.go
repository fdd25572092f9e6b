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
	y          []float64 // about center
	center     float64
	gamma      float64
	free       bool // gamma moves
	row, col   []float64
	dRow, dCol []float64
	dGamma     float64

	// The longer side is eliminated from the equations of a step.
	kept, gone          int
	odd                 [][]oddCell // by gone unit: cells whose weight is not 1
	weight              []float64   // of the odd cells
	scoreRow, scoreCol  []float64
	ySeenRow, ySeenCol  []float64 // sums of y over cells seen
	yySeen              float64
	yRow, yCol          []float64 // weighted sums of y
	sumGone             []float64 // weights
	diagonal, lifted    []float64
	matrix, solved, byY []float64
}

// An oddCell is limited or missing: number among odd cells, place on the kept side.
type oddCell struct{ at, kept int32 }

func newClimb(w *twoWay) *climb {
	n := w.rows + w.cols
	c := &climb{w: w, y: make([]float64, len(w.y)), kept: min(w.rows, w.cols), gone: max(w.rows, w.cols)}
	for at, k := range w.kind {
		if k == seen {
			c.center += w.y[at] / float64(w.seen)
		}
	}
	room := make([]float64, 6*n+c.gone+4*c.kept+c.kept*c.kept)
	take := func(n int) []float64 {
		part := room[:n:n]
		room = room[n:]
		return part
	}
	c.row, c.col = take(w.rows), take(w.cols)
	c.dRow, c.dCol = take(w.rows), take(w.cols)
	c.scoreRow, c.scoreCol = take(w.rows), take(w.cols)
	c.ySeenRow, c.ySeenCol = take(w.rows), take(w.cols)
	c.yRow, c.yCol = take(w.rows), take(w.cols)
	c.sumGone = take(c.gone)
	c.diagonal, c.lifted, c.solved, c.byY = take(c.kept), take(c.kept), take(c.kept), take(c.kept)
	c.matrix = take(c.kept * c.kept)
	c.odd = make([][]oddCell, c.gone)
	number := int32(0)
	for at, k := range w.kind {
		i, j := at/w.cols, at%w.cols
		if k != missing {
			c.y[at] = w.y[at] - c.center
		}
		if k == seen {
			c.ySeenRow[i] += c.y[at]
			c.ySeenCol[j] += c.y[at]
			c.yySeen += c.y[at] * c.y[at]
			continue
		}
		if c.rowsKept() {
			i, j = j, i
		}
		c.odd[i] = append(c.odd[i], oddCell{number, int32(j)})
		number++
	}
	c.weight = make([]float64, number)
	return c
}

func (c *climb) rowsKept() bool { return c.w.rows < c.w.cols }

// run climbs from the effects and the sigma of w and leaves it at the top. It is false,
// and w as it was, where no maximum was found; with sigma free there may be none.
func (c *climb) run(free bool) bool {
	w := c.w
	c.free, c.gamma = free, 1/w.sigma
	for i, a := range w.row {
		c.row[i] = (a - c.center) * c.gamma
	}
	for j, b := range w.col {
		c.col[j] = b * c.gamma
	}
	clear(c.dRow) // a step that failed before may have left what is no number
	clear(c.dCol)
	c.dGamma = 0
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
		c.w.row[i] = a*sigma + c.center
	}
	for j, b := range c.col {
		c.w.col[j] = b * sigma
	}
	if c.free {
		c.w.sigma = sigma
	}
	return true
}

// logLik is the log-likelihood moved by length times the step; ln(sigma) is left out
// where sigma is given.
func (c *climb) logLik(length float64) float64 {
	w := c.w
	gamma := c.gamma + length*c.dGamma
	var squares, sum float64
	for i := range w.rows {
		a := c.row[i] + length*c.dRow[i]
		kinds, y := w.kind[i*w.cols:(i+1)*w.cols], c.y[i*w.cols:(i+1)*w.cols]
		for j, k := range kinds {
			z := gamma*y[j] - a - c.col[j] - length*c.dCol[j]
			switch k {
			case seen:
				squares += z * z
			case limited:
				logQ, _ := tail(z)
				sum += logQ
			}
		}
	}
	if c.free {
		sum += float64(w.seen) * math.Log(gamma)
	}
	return sum - squares/2
}

// step sets the Newton step, and returns twice the gain that it promises.
func (c *climb) step() (gain float64, ok bool) {
	w := c.w
	copy(c.yRow, c.ySeenRow)
	copy(c.yCol, c.ySeenCol)
	yy := c.yySeen
	scoreGamma := float64(w.seen) / c.gamma
	clear(c.scoreCol)
	for i := range w.rows {
		a, score := c.row[i], 0.0
		kinds, y := w.kind[i*w.cols:(i+1)*w.cols], c.y[i*w.cols:(i+1)*w.cols]
		for j, k := range kinds {
			if k == seen {
				z := c.gamma*y[j] - a - c.col[j]
				score += z
				c.scoreCol[j] += z
				scoreGamma -= z * y[j]
			}
		}
		c.scoreRow[i] = score
	}
	for g, cells := range c.odd {
		for _, o := range cells {
			i, j := g, int(o.kept)
			if c.rowsKept() {
				i, j = j, i
			}
			at := i*w.cols + j
			if w.kind[at] == missing {
				c.weight[o.at] = 0
				continue
			}
			y := c.y[at]
			z := c.gamma*y - c.row[i] - c.col[j]
			_, h := tail(z)
			v := curvature(z, h)
			c.weight[o.at] = v
			c.scoreRow[i] += h
			c.scoreCol[j] += h
			scoreGamma -= h * y
			c.yRow[i] += v * y
			c.yCol[j] += v * y
			yy += v * y * y
		}
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
		for g, y := range yGone {
			// The gone effect that goes with the kept ones.
			up += y * c.follow(g, scoreGone[g], c.solved)
			bend -= y * c.follow(g, y, c.byY)
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
	for g := range dGone {
		dGone[g] = c.follow(g, scoreGone[g]+c.dGamma*yGone[g], dKept)
		gain += dGone[g] * scoreGone[g]
	}
	return gain, true
}

// follow is the effect of a gone unit that solves its own equation for right-hand side
// right, given the kept ones.
func (c *climb) follow(g int, right float64, kept []float64) float64 {
	for _, k := range kept {
		right -= k
	}
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
