package dist

import "math"

// chiMean returns the mean of f(S) over S = sqrt(V/nu), V chi-square with nu > 0
// degrees of freedom, nu = +Inf included. f is smooth on the scale of ln s,
// not negative, and evaluated in a fixed order.
//
// Method: the trapezoidal rule, which converges exponentially for smooth
// integrands that die out at both ends. With u = ln s = x - exp(-x) they die out
// doubly exponentially at the left end also for few degrees of freedom. The
// step is halved until the sum stands still to 1e-10, when its error is about the
// square of that.
func chiMean(nu float64, f func(s float64) float64) float64 {
	if nu > 1e14 { // S is 1 to within the accuracy
		return f(1)
	}
	const fall = 62 // the density is followed down to exp(-62) of its peak
	place := func(x float64) (u, e float64) {
		u = x - math.Exp(-x)
		return u, math.Exp(u)
	}
	const middle = 0.567143290409783873 // x = exp(-x), so that u = 0
	edge := func(sign float64) float64 {
		near, far := 0.0, 1/math.Sqrt(nu+1)
		for {
			if u, e := place(middle + sign*far); nu*chiDrop(u, e) > fall {
				break
			}
			near, far = far, 2*far
		}
		for range 6 { // a rough edge will do
			d := 0.5 * (near + far)
			if u, e := place(middle + sign*d); nu*chiDrop(u, e) > fall {
				far = d
			} else {
				near = d
			}
		}
		return middle + sign*far
	}
	lo, hi := edge(-1), edge(1)
	term := func(x float64) float64 {
		u, e := place(x)
		w := math.Exp(-nu*chiDrop(u, e)) * (1 + math.Exp(-x))
		if w == 0 {
			return 0
		}
		return w * f(e)
	}
	n := 32
	var sum float64 // of the terms inside; those at the edges are exp(-62)
	for i := 1; i < n; i++ {
		sum += term(lo + (hi-lo)*float64(i)/float64(n))
	}
	total := sum / float64(n)
	for n < 6000 {
		var between float64
		for i := range n {
			between += term(lo + (hi-lo)*(float64(i)+0.5)/float64(n))
		}
		n *= 2
		sum += between
		last := total
		total = sum / float64(n)
		if math.Abs(total-last) <= 1e-10*total {
			break
		}
	}
	return math.Exp(logChiPeak(nu)) * (hi - lo) * total
}

// smallerTailRoot returns the x in [lo, hi] at which the distribution with these tails has
// CDF p, searching on the logarithm of the smaller tail. The ends may miss the
// root by rounding only. NaN if no root is found.
func smallerTailRoot(p, lo, hi float64, cdf, survival func(float64) float64) float64 {
	f := func(x float64) float64 { return math.Log(cdf(x)) - math.Log(p) }
	if p > 0.5 {
		f = func(x float64) float64 { return math.Log(1-p) - math.Log(survival(x)) }
	}
	pad := 1e-9 * (hi - lo + math.Abs(hi))
	x, err := Root(f, lo-pad, hi+pad, 1e-12*math.Abs(hi))
	if err != nil {
		return math.NaN()
	}
	return x
}
