package dist

import "math"

// NoncentralT is the distribution of (Z + Delta)/sqrt(V/Nu), where Z is
// standard normal and V is chi-square with Nu degrees of freedom, independent
// of Z. Its quantiles are the factors of one-sided tolerance bounds, its
// survival function is the power of a t test.
//
// Domain: Nu > 0, +Inf allowed (then normal with mean Delta and variance 1);
// Delta finite. Outside it every method returns NaN.
//
// Accuracy: within 1e-12 relative of integration with 40 digits, in both tails down
// to 1e-46, for Nu from 0.5 to 1e6 and |Delta| up to 400; tolerance factors within
// 1e-12. Sources that sum series of beta functions stop at |Delta| about 37.6,
// where exp(-Delta^2/2) underflows: gonum's distuv.NoncentralT and R 4.2's pt and qt
// among them.
//
// Method: with u = ln S,
//
//	P(T <= t) = integral of Phi(t*exp(u) - Delta) h(u) du
//
// where h is the density of ln S, by Gauss-Legendre on panels that follow the
// logarithm of the integrand down from its mode. Each tail is integrated for itself,
// never taken as one minus the other.
type NoncentralT struct {
	Nu    float64 // degrees of freedom
	Delta float64 // noncentrality
}

func (d NoncentralT) valid() bool {
	return d.Nu > 0 && !math.IsNaN(d.Delta) && !math.IsInf(d.Delta, 0)
}

// CDF returns P(T <= t).
func (d NoncentralT) CDF(t float64) float64 { return d.tail(t, false, fine).prob }

// Survival returns P(T > t), accurate also where it is tiny.
func (d NoncentralT) Survival(t float64) float64 { return d.tail(t, true, fine).prob }

// Prob returns the density at t.
func (d NoncentralT) Prob(t float64) float64 {
	// The density comes with the smaller tail, where it is accurate.
	at := d.tail(t, false, fine)
	if at.prob > 0.5 {
		at = d.tail(t, true, fine)
	}
	return at.density
}

// A tailAt is the probability on one side of t, with the density there and the slope of
// the density. These two are accurate only when the probability is not near 1.
type tailAt struct{ prob, density, slope float64 }

// tail integrates with that rule on each panel.
func (d NoncentralT) tail(t float64, upper bool, with rule) tailAt {
	nan := math.NaN()
	switch {
	case !d.valid() || math.IsNaN(t):
		return tailAt{nan, nan, nan}
	case math.IsInf(t, 1) && upper, math.IsInf(t, -1) && !upper:
		return tailAt{}
	case math.IsInf(t, 0):
		return tailAt{prob: 1}
	case t < 0: // mirror: -T has noncentrality -Delta
		at := NoncentralT{d.Nu, -d.Delta}.tail(-t, !upper, with)
		at.slope = -at.slope
		return at
	}
	sign := 1.0
	if upper {
		sign = -1
	}
	if math.IsInf(d.Nu, 1) {
		z := t - d.Delta
		density := invSqrt2Pi * math.Exp(-0.5*z*z)
		return tailAt{normCDF(sign * z), density, -z * density}
	}
	if t == 0 {
		// The density at 0 is phi(Delta) E S, its slope Delta phi(Delta) E S^2.
		lg1, _ := math.Lgamma((d.Nu + 1) / 2)
		lg0, _ := math.Lgamma(d.Nu / 2)
		es := math.Exp(lg1-lg0) * math.Sqrt(2/d.Nu)
		phi := invSqrt2Pi * math.Exp(-0.5*d.Delta*d.Delta)
		return tailAt{normCDF(-sign * d.Delta), es * phi, d.Delta * phi}
	}
	k := tailIntegrand{nu: d.Nu, delta: d.Delta, t: t, sign: sign}
	return k.integrate(with)
}

// tailIntegrand is Phi(sign*(t*exp(u) - delta)) * exp(-nu*chiDrop(u)), t > 0.
type tailIntegrand struct{ nu, delta, t, sign float64 }

func (k tailIntegrand) log(u float64) float64 {
	e := math.Exp(u)
	return logNormCDF(k.sign*(k.t*e-k.delta)) - k.nu*chiDrop(u, e)
}

// mode returns the place of the integrand's maximum (it has one: as a function
// of s = exp(u) it is log-concave) and its width there, 1/sqrt(-curvature).
// Neither needs to be exact.
func (k tailIntegrand) mode() (u, width float64) {
	slope := func(u float64) (first, second float64) {
		e := math.Exp(u)
		y := k.t * e
		z := k.sign * (y - k.delta)
		m := normHazard(z)
		first = k.sign*y*m - k.nu*math.Expm1(2*u)
		second = k.sign*y*m - y*y*m*(z+m) - 2*k.nu*e*e
		return first, second
	}
	// Phi pulls the mode from u = 0 to the side of sign.
	a, b := 0.0, k.sign/math.Sqrt(2*k.nu)
	for range 200 {
		if f, _ := slope(b); f*k.sign <= 0 {
			break
		}
		a, b = b, 2*b
	}
	u = 0.5 * (a + b)
	width = math.Abs(b - a)
	for range 200 {
		f, c := slope(u)
		if f*k.sign > 0 {
			a = u
		} else {
			b = u
		}
		if c < 0 {
			width = 1 / math.Sqrt(-c)
			if next := u - f/c; (next-a)*(next-b) < 0 {
				// Not next itself: where Phi turns, there may be another curvature there.
				if math.Abs(next-u) <= 0.02*width {
					return u, width
				}
				u = next
				continue
			}
		}
		u = 0.5 * (a + b)
		if math.Abs(b-a) <= 1e-14*math.Abs(u) {
			break
		}
	}
	return u, width
}

func (k tailIntegrand) integrate(with rule) tailAt {
	mode, width := k.mode()
	peak := k.log(mode)
	if math.IsInf(peak, -1) || math.IsNaN(peak) {
		return tailAt{}
	}
	var room [24]float64
	breaks := append(room[:0], mode)
	breaks = append(breaks, panelEnds(k.log, mode, peak, 4*width, false, 10, 40)...)
	lo := breaks[len(breaks)-1]
	breaks = append(breaks, panelEnds(k.log, mode, peak, 4*width, true, 10, 40)...)
	hi := breaks[len(breaks)-1]
	// Phi may turn from 0 to 1 in a small part of a panel.
	for _, z := range [...]float64{-8, -4, 0, 4, 8} {
		if y := k.delta + z; y > 0 {
			if u := math.Log(y / k.t); u > lo && u < hi {
				breaks = append(breaks, u)
			}
		}
	}
	breaks = splitLong(breaks)
	var p, f, bend float64
	for i := 1; i < len(breaks); i++ {
		h, c := 0.5*(breaks[i]-breaks[i-1]), 0.5*(breaks[i]+breaks[i-1])
		if h == 0 {
			continue
		}
		var sp, sf, sb float64
		for j, x := range with.x {
			weight := with.w[j]
			u := c + h*x
			e := math.Exp(u)
			z := k.sign * (k.t*e - k.delta)
			g := -k.nu*chiDrop(u, e) - peak
			if z > -14 {
				sp += weight * normCDF(z) * math.Exp(g)
			} else {
				sp += weight * math.Exp(g+logNormCDF(z))
			}
			density := weight * e * math.Exp(g-0.5*z*z)
			sf += density
			sb -= density * e * k.sign * z
		}
		p += h * sp
		f += h * sf
		bend += h * sb
	}
	scale := math.Exp(peak + logChiPeak(k.nu))
	return tailAt{math.Min(scale*p, 1), scale * f * invSqrt2Pi, scale * bend * invSqrt2Pi}
}

// Quantile returns the t with CDF(t) = p: -Inf at p = 0 and +Inf at p = 1. A p
// outside [0, 1] gives NaN.
func (d NoncentralT) Quantile(p float64) float64 {
	switch {
	case !d.valid() || math.IsNaN(p) || p < 0 || p > 1:
		return math.NaN()
	case p == 0:
		return math.Inf(-1)
	case p == 1:
		return math.Inf(1)
	}
	if math.IsInf(d.Nu, 1) {
		return d.Delta + NormalQuantile(p)
	}
	// Solve for the smaller tail, in logarithms, over x = asinh(t): nearly
	// straight in the tails of few degrees of freedom, concave in a normal one.
	upper, want := p > 0.5, p
	if upper {
		want = 1 - p
	}
	at := func(with rule) func(x float64) slant {
		return func(x float64) slant {
			y := d.tail(math.Sinh(x), upper, with)
			cosh := math.Cosh(x)
			slope := y.density * cosh
			rise := slope / y.prob // of the logarithm
			if upper {
				rise = -rise
			}
			bend := rise*(y.slope/y.density*cosh+math.Tanh(x)) - rise*rise
			return slant{y.prob, slope, bend}
		}
	}
	// A coarser rule finds the place.
	x := solveTail(math.Asinh(d.guess(p)), math.Log(want), !upper, 0.02, at(coarse))
	x = solveTail(x, math.Log(want), !upper, nearHalley, at(fine))
	if math.Abs(x) >= quantileLimit { // beyond what a float64 holds
		return math.Copysign(math.Inf(1), x)
	}
	return math.Sinh(x)
}

// guess starts the search: the normal approximation of Jennett and Welch where
// its denominator is safe, else Delta plus a t quantile over a typical S.
func (d NoncentralT) guess(p float64) float64 {
	z := NormalQuantile(p)
	g := 1 - z*z/(2*d.Nu)
	if g > 0.3 {
		if r := g + d.Delta*d.Delta/(2*d.Nu); r > 0 {
			return (d.Delta + z*math.Sqrt(r)) / g
		}
	}
	if (z > 0) == (d.Delta > 0) {
		if s := math.Sqrt(ChiSquareQuantile(1-p, d.Nu) / d.Nu); s > 1e-100 {
			return d.Delta / s
		}
	}
	return d.Delta + TQuantile(p, d.Nu)
}
