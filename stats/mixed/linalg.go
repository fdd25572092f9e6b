package mixed

import "math"

// Small dense matrices, row-major in one slice. The sizes here are the number
// of variance parameters or of fixed effects.

// cholesky replaces the lower triangle of the n x n matrix a by its factor L.
// It reports false, leaving a unusable, unless a is positive definite beyond
// rounding: each pivot must keep at least tol of its diagonal entry.
func cholesky(a []float64, n int, tol float64) bool {
	for j := range n {
		d := a[j*n+j]
		whole := d
		for k := range j {
			d -= a[j*n+k] * a[j*n+k]
		}
		if !(d > tol*whole) || math.IsInf(d, 0) {
			return false
		}
		d = math.Sqrt(d)
		a[j*n+j] = d
		for i := j + 1; i < n; i++ {
			v := a[i*n+j]
			for k := range j {
				v -= a[i*n+k] * a[j*n+k]
			}
			a[i*n+j] = v / d
		}
	}
	return true
}

// cholSolve solves L L' x = b in place.
func cholSolve(l []float64, n int, b []float64) {
	for i := range n {
		for k := range i {
			b[i] -= l[i*n+k] * b[k]
		}
		b[i] /= l[i*n+i]
	}
	for i := n - 1; i >= 0; i-- {
		for k := i + 1; k < n; k++ {
			b[i] -= l[k*n+i] * b[k]
		}
		b[i] /= l[i*n+i]
	}
}

// invert returns the inverse of a positive definite matrix; ok is false if it
// is not one.
func invert(a []float64, n int, tol float64) (inv []float64, ok bool) {
	l := append([]float64(nil), a...)
	if !cholesky(l, n, tol) {
		return nil, false
	}
	inv = make([]float64, n*n)
	col := make([]float64, n)
	for j := range n {
		clear(col)
		col[j] = 1
		cholSolve(l, n, col)
		for i := range n {
			inv[i*n+j] = col[i]
		}
	}
	for i := range n { // symmetric to the bit
		for j := range i {
			m := (inv[i*n+j] + inv[j*n+i]) / 2
			inv[i*n+j], inv[j*n+i] = m, m
		}
	}
	return inv, true
}

// quadratic is x'Ax.
func quadratic(a []float64, n int, x []float64) float64 {
	var s float64
	for i := range n {
		var r float64
		for j := range n {
			r += a[i*n+j] * x[j]
		}
		s += x[i] * r
	}
	return s
}

// symmetric unpacks an upper triangle (value part of jets with the stride) into
// a full matrix; at is the derivative wanted, 0 for the value.
func symmetric(tri []float64, n, stride, at int) []float64 {
	out := make([]float64, n*n)
	for j := range n {
		for i := 0; i <= j; i++ {
			v := tri[(packed(j)+i)*stride+at]
			out[i*n+j], out[j*n+i] = v, v
		}
	}
	return out
}
