package censored

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"sealbound/stats/dist"
)

// A cell says what is known of one closing at one point.
type cell uint8

const (
	missing cell = iota
	seen
	limited
)

// A twoWay is the readings of one fitting, closings by points in row order:
//
//	y = closing effect + point effect + sigma e, e standard normal
//
// and y a limit that the attenuation is above where the cell is limited.
type twoWay struct {
	rows, cols int
	y          []float64
	kind       []cell
	row, col   []float64 // effects
	sigma      float64
	seen, cut  int // cells seen and limited
}

func newTwoWay(rows, cols int, y []float64, kind []cell) *twoWay {
	w := &twoWay{rows: rows, cols: cols, y: y, kind: kind, row: make([]float64, rows), col: make([]float64, cols)}
	for _, k := range kind {
		switch k {
		case seen:
			w.seen++
		case limited:
			w.cut++
		}
	}
	return w
}

// logLik returns the log-likelihood at effects moved by length times a step,
// sigma given and its share ln(sigma) left out.
func (w *twoWay) logLik(dRow, dCol []float64, length float64) float64 {
	sum := 0.0
	for i := range w.rows {
		a := w.row[i] + length*dRow[i]
		for j := range w.cols {
			k := w.kind[i*w.cols+j]
			if k == missing {
				continue
			}
			z := (w.y[i*w.cols+j] - a - w.col[j] - length*dCol[j]) / w.sigma
			if k == seen {
				sum -= z * z / 2
			} else {
				logQ, _ := tail(z)
				sum += logQ
			}
		}
	}
	return sum
}

// effects finds the effects of highest likelihood given sigma, by Newton steps;
// the function is concave.
func (w *twoWay) effects() bool {
	dRow, dCol := make([]float64, w.rows), make([]float64, w.cols)
	now := w.logLik(dRow, dCol, 0)
	for range 100 {
		gain, ok := w.step(dRow, dCol)
		if !ok {
			return false
		}
		size := 1 + math.Abs(now)
		length := 1.0
		for next := w.logLik(dRow, dCol, 1); ; next = w.logLik(dRow, dCol, length) {
			if next >= now || gain < 1e-9*size { // there the gain drowns in rounding
				now = next
				break
			}
			if length /= 2; length < 1e-12 {
				return false
			}
		}
		for i, d := range dRow {
			w.row[i] += length * d
		}
		for j, d := range dCol {
			w.col[j] += length * d
		}
		if gain < 1e-20*size {
			return true
		}
	}
	return false
}

// step sets the Newton step of the effects, and returns twice the gain that it
// promises. The longer side is eliminated from the equations; a constant that
// can move from one side to the other is held by the term that grounds them.
func (w *twoWay) step(dRow, dCol []float64) (gain float64, ok bool) {
	kept, gone, stepKept, stepGone := w.cols, w.rows, 1, w.cols
	dKept, dGone := dCol, dRow
	if w.rows < w.cols {
		kept, gone, stepKept, stepGone = w.rows, w.cols, w.cols, 1
		dKept, dGone = dRow, dCol
	}
	s := mat.NewSymDense(kept, nil)
	raw := s.RawSymmetric()
	rhs := make([]float64, kept)
	weights := make([]float64, kept*gone) // by gone unit
	sumGone, scoreGone := make([]float64, gone), make([]float64, gone)
	scoreKept := make([]float64, kept)
	trace := 0.0
	for j := range gone {
		wj := weights[j*kept : (j+1)*kept]
		for i := range kept {
			at := i*stepKept + j*stepGone
			if w.kind[at] == missing {
				continue
			}
			z := (w.y[at] - w.row[at/w.cols] - w.col[at%w.cols]) / w.sigma
			score, weight := z, 1.0
			if w.kind[at] == limited {
				_, h := tail(z)
				score, weight = h, curvature(z, h)
			}
			score, weight = score/w.sigma, weight/(w.sigma*w.sigma)
			wj[i] = weight
			sumGone[j] += weight
			scoreGone[j] += score
			scoreKept[i] += score
			raw.Data[i*raw.Stride+i] += weight
			trace += weight
		}
		if !(sumGone[j] > 0) {
			return 0, false
		}
		for i, wi := range wj {
			if wi == 0 {
				continue
			}
			share := wi / sumGone[j]
			rhs[i] -= share * scoreGone[j]
			row := raw.Data[i*raw.Stride:]
			for l := i; l < kept; l++ {
				row[l] -= share * wj[l]
			}
		}
	}
	ground := trace / float64(kept*kept)
	for i := range kept {
		rhs[i] += scoreKept[i]
		row := raw.Data[i*raw.Stride:]
		for l := i; l < kept; l++ {
			row[l] += ground
		}
	}
	var c mat.Cholesky
	if !c.Factorize(s) {
		return 0, false
	}
	if err := c.SolveVecTo(mat.NewVecDense(kept, dKept), mat.NewVecDense(kept, rhs)); err != nil {
		return 0, false
	}
	for j := range gone {
		sum := scoreGone[j]
		for i, wi := range weights[j*kept : (j+1)*kept] {
			sum -= wi * dKept[i]
		}
		dGone[j] = sum / sumGone[j]
		gain += dGone[j] * scoreGone[j]
	}
	for i, d := range dKept {
		gain += d * scoreKept[i]
	}
	return gain, gain >= 0
}

// spreadScore returns the sum over cells seen of z^2 and over cells limited of
// z h(z). At the sigma of maximum likelihood it equals the number of cells seen.
func (w *twoWay) spreadScore() float64 {
	sum := 0.0
	for at, k := range w.kind {
		if k == missing {
			continue
		}
		z := (w.y[at] - w.row[at/w.cols] - w.col[at%w.cols]) / w.sigma
		if k == seen {
			sum += z * z
		} else {
			_, h := tail(z)
			sum += z * h
		}
	}
	return sum
}

// fit finds effects and sigma. Sigma is that of maximum likelihood, raised by
// sqrt(N/(N-p)) with N readings and p = rows+cols-1 effects, and the effects are
// those of highest likelihood given it.
//
// Without the factor the spread comes out far too small where a fitting has few
// closings (its square by half with two), the limited readings are then put too
// close to their limits, and wear is understated. Dividing by N-p inside the
// estimating equation instead, as residual degrees of freedom would suggest,
// leaves it without a root when many readings are limited.
func (w *twoWay) fit() Status {
	n, p := float64(w.seen+w.cut), float64(w.rows+w.cols-1)
	start := w.substitute()
	if !(start > 0) {
		return NoSpread
	}
	if st := w.spread(start); st != Estimated {
		return st
	}
	if n <= p {
		return NoSpread
	}
	w.sigma *= math.Sqrt(n / (n - p))
	if !w.effects() {
		return NotConverged
	}
	return Estimated
}

// substitute sets the effects to those with limits taken for values, as a start,
// and returns the root mean square of the residuals.
func (w *twoWay) substitute() float64 {
	as := newTwoWay(w.rows, w.cols, w.y, make([]cell, len(w.kind)))
	for at, k := range w.kind {
		if k != missing {
			as.kind[at] = seen
		}
	}
	as.sigma = 1
	if !as.effects() {
		return math.NaN()
	}
	w.row, w.col = as.row, as.col
	return math.Sqrt(as.spreadScore() / float64(w.seen+w.cut))
}

// spread finds the sigma of maximum likelihood with the best effects at each
// sigma tried. There is none where the spread can shrink to nothing: effects
// meet every reading seen exactly and pass no limit from above.
func (w *twoWay) spread(start float64) Status {
	failed := false
	excess := func(logSigma float64) float64 {
		w.sigma = math.Exp(logSigma)
		if !w.effects() {
			failed = true
			return math.NaN()
		}
		return w.spreadScore() - float64(w.seen)
	}
	lo := math.Log(start)
	hi := lo
	if f := excess(lo); f < 0 { // too wide
		for k := 0; f < 0; k++ {
			if k == 30 {
				return NoSpread
			}
			hi, lo = lo, lo-math.Ln2
			if f = excess(lo); failed { // limits far below the fit no longer hold anything
				return NoSpread
			}
		}
	} else {
		for k := 0; f > 0; k++ {
			if k == 60 {
				return NotConverged
			}
			lo, hi = hi, hi+math.Ln2
			f = excess(hi)
		}
	}
	if failed {
		return NotConverged
	}
	at := lo
	if lo < hi {
		var err error
		if at, err = dist.Root(excess, lo, hi, 1e-10); err != nil {
			return NotConverged
		}
	}
	w.sigma = math.Exp(at)
	if failed || !w.effects() {
		return NotConverged
	}
	return Estimated
}

// linked reports whether the readings hold all effects on one scale. Readings
// seen link a closing with a point both ways; a limited one only keeps its
// closing's effect from falling behind its point's. Parts linked by readings
// seen must hold each other in a circle, or some can rise for ever.
func (w *twoWay) linked() bool {
	part := make([]int, w.rows+w.cols) // by union-find over closings, then points
	for i := range part {
		part[i] = i
	}
	find := func(i int) int {
		for part[i] != i {
			part[i] = part[part[i]]
			i = part[i]
		}
		return i
	}
	for at, k := range w.kind {
		if k == seen {
			part[find(at/w.cols)] = find(w.rows + at%w.cols)
		}
	}
	holds := map[[2]int]bool{} // only asked for, never walked in its own order
	parts := []int{}
	for i := range part {
		if find(i) == i {
			parts = append(parts, i)
		}
	}
	for at, k := range w.kind {
		if k == limited {
			holds[[2]int{find(at / w.cols), find(w.rows + at%w.cols)}] = true
		}
	}
	reaches := func(forward bool) bool {
		reached := map[int]bool{parts[0]: true}
		for queue := []int{parts[0]}; len(queue) > 0; queue = queue[1:] {
			for _, other := range parts {
				edge := [2]int{queue[0], other}
				if !forward {
					edge = [2]int{other, queue[0]}
				}
				if holds[edge] && !reached[other] {
					reached[other] = true
					queue = append(queue, other)
				}
			}
		}
		return len(reached) == len(parts)
	}
	return reaches(true) && reaches(false)
}
