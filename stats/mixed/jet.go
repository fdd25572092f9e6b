package mixed

import "math"

// A jet is a number together with its exact first and second derivatives in
// the k variance ratios that it depends on so far. Layout: the value, then one
// block for each ratio i: d/di, d2/did0, ..., d2/didi. A jet in k ratios is
// thus a prefix of a jet in more, which lets the recursion over the nested
// levels carry only the derivatives that are not zero yet.

// jetLen is the length of a jet in k ratios, and where block k starts.
func jetLen(k int) int { return 1 + k*(k+3)/2 }

// jetMul sets dst = a*b, all jets in k ratios. dst must not overlap a or b.
func jetMul(dst, a, b []float64, k int) {
	a0, b0 := a[0], b[0]
	dst[0] = a0 * b0
	for i, o := 0, 1; i < k; i++ {
		ai, bi := a[o], b[o]
		dst[o] = a0*bi + ai*b0
		for j, oj := 0, 1; j <= i; j++ {
			o2 := o + 1 + j
			dst[o2] = a0*b[o2] + a[o2]*b0 + ai*b[oj] + a[oj]*bi
			oj += j + 2
		}
		o += i + 2
	}
}

// jetSubMul sets dst -= a*b, all jets in k ratios. dst must not overlap a or b.
func jetSubMul(dst, a, b []float64, k int) {
	a0, b0 := a[0], b[0]
	dst[0] -= a0 * b0
	for i, o := 0, 1; i < k; i++ {
		ai, bi := a[o], b[o]
		dst[o] -= a0*bi + ai*b0
		for j, oj := 0, 1; j <= i; j++ {
			o2 := o + 1 + j
			dst[o2] -= a0*b[o2] + a[o2]*b0 + ai*b[oj] + a[oj]*bi
			oj += j + 2
		}
		o += i + 2
	}
}

// jetInv sets dst = 1/a. dst may be a.
func jetInv(dst, a []float64, k int) {
	r := 1 / a[0]
	r2 := r * r
	// Last block first, so that dst may overwrite a.
	for i := k - 1; i >= 0; i-- {
		o := jetLen(i)
		ai := a[o]
		for j := i; j >= 0; j-- {
			aj := a[jetLen(j)]
			dst[o+1+j] = r2 * (2*r*ai*aj - a[o+1+j])
		}
		dst[o] = -r2 * ai
	}
	dst[0] = r
}

// jetAddLog sets dst += log a. dst must not overlap a.
func jetAddLog(dst, a []float64, k int) {
	r := 1 / a[0]
	dst[0] += math.Log(a[0])
	for i, o := 0, 1; i < k; i++ {
		ri := a[o] * r
		dst[o] += ri
		for j, oj := 0, 1; j <= i; j++ {
			dst[o+1+j] += a[o+1+j]*r - ri*(a[oj]*r)
			oj += j + 2
		}
		o += i + 2
	}
}
