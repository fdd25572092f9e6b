package censored

import (
	"math"
	"slices"

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
	climb      *climb
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

// line is a row of cells with its readings.
func (w *twoWay) line(i int) ([]cell, []float64) {
	return w.kind[i*w.cols : (i+1)*w.cols], w.y[i*w.cols : (i+1)*w.cols]
}

// effects finds the effects of highest likelihood given sigma. It is false where none
// are found.
func (w *twoWay) effects() bool {
	if w.climb == nil {
		w.climb = newClimb(w)
	}
	return w.climb.run(false)
}

// together finds the effects and the sigma of highest likelihood. It is false where
// none are found.
func (w *twoWay) together() bool {
	if w.climb == nil {
		w.climb = newClimb(w)
	}
	return w.climb.run(true)
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
	start, least := w.substitute(), w.rounding()
	if !(start > least) {
		return NoSpread
	}
	w.sigma = start
	if !w.together() { // nearly always it is found so; where not, the search says why
		if st := w.spread(start); st != Estimated {
			return st
		}
	}
	if n <= p || !(w.sigma > least) {
		return NoSpread
	}
	w.sigma *= math.Sqrt(n / (n - p))
	if !w.effects() {
		return NotConverged
	}
	return Estimated
}

// rounding is the largest spread that may come from rounding alone: readings that are sums
// of an effect of their closing and one of their point scatter so much in 64 bits.
func (w *twoWay) rounding() float64 {
	largest := 0.0
	for at, k := range w.kind {
		if k != missing {
			largest = max(largest, math.Abs(w.y[at]))
		}
	}
	return 1e-12 * largest
}

// substitute sets the effects to those with limits taken for values, as a start,
// and returns the root mean square of the residuals.
func (w *twoWay) substitute() float64 {
	if n := w.rows * w.cols; w.seen+w.cut == n { // plain means
		clear(w.row)
		clear(w.col)
		mean := 0.0
		for at, y := range w.y {
			w.row[at/w.cols] += y / float64(w.cols)
			w.col[at%w.cols] += y / float64(w.rows)
			mean += y / float64(n)
		}
		for j := range w.col {
			w.col[j] -= mean
		}
	} else {
		kind := make([]cell, len(w.kind))
		for at, k := range w.kind {
			if k != missing {
				kind[at] = seen
			}
		}
		as := newTwoWay(w.rows, w.cols, w.y, kind)
		as.sigma = 1
		if !as.effects() {
			return math.NaN()
		}
		w.row, w.col = as.row, as.col
	}
	var squares float64
	for at, k := range w.kind {
		if k != missing {
			e := w.y[at] - w.row[at/w.cols] - w.col[at%w.cols]
			squares += e * e
		}
	}
	return math.Sqrt(squares / float64(w.seen+w.cut))
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
	if w.plainlyLinked() {
		return true
	}
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

// plainlyLinked reports whether one closing is seen at every point and each of the
// others somewhere: all effects stand on the scale of that one then.
func (w *twoWay) plainlyLinked() bool {
	full := false
	for i := range w.rows {
		kinds, _ := w.line(i)
		if !slices.Contains(kinds, seen) {
			return false
		}
		full = full || !slices.Contains(kinds, limited) && !slices.Contains(kinds, missing)
	}
	return full
}
