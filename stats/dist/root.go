package dist

import (
	"errors"
	"math"
)

var (
	// ErrNoBracket says that the function has the same sign at both ends of
	// the interval, or that no change of sign was found.
	ErrNoBracket = errors.New("dist: no change of sign in the interval")
	// ErrNotFinite says that the function or an end of the interval is NaN.
	ErrNotFinite = errors.New("dist: function or interval is not a number")
)

// Root returns an x between a and b with f(x) = 0 for a continuous f whose
// signs at a and b differ. The interval is narrowed until it is no wider than
// tol + 4e-16*|x|; tol may be 0. It returns ErrNoBracket if the signs agree and
// ErrNotFinite if f or an end is NaN (f may be infinite). The result never
// leaves the interval, whatever f does.
//
// Method: inverse quadratic interpolation where it is safe, bisection
// elsewhere. Source: T. R. Chandrupatla, Advances in Engineering Software 28
// (1997) 145-149.
func Root(f func(float64) float64, a, b, tol float64) (float64, error) {
	fa, fb := f(a), f(b)
	if math.IsNaN(fa) || math.IsNaN(fb) || math.IsNaN(a) || math.IsNaN(b) || math.IsInf(a, 0) || math.IsInf(b, 0) {
		return math.NaN(), ErrNotFinite
	}
	switch {
	case fa == 0:
		return a, nil
	case fb == 0:
		return b, nil
	case math.Signbit(fa) == math.Signbit(fb):
		return math.NaN(), ErrNoBracket
	}
	c, fc := a, fa
	t := 0.5
	for range 200 { // bisection alone needs fewer than 64+11 in floating point
		x := a + t*(b-a)
		fx := f(x)
		if math.IsNaN(fx) {
			return math.NaN(), ErrNotFinite
		}
		if math.Signbit(fx) == math.Signbit(fa) {
			c, fc = a, fa
		} else {
			c, fc = b, fb
			b, fb = a, fa
		}
		a, fa = x, fx
		best, fbest := a, fa
		if math.Abs(fb) < math.Abs(fa) {
			best, fbest = b, fb
		}
		tl := (0.5*tol + 2e-16*math.Abs(best)) / math.Abs(b-c)
		if tl > 0.5 || fbest == 0 {
			return best, nil
		}
		xi, phi := (a-b)/(c-b), (fa-fb)/(fc-fb)
		t = 0.5
		if phi*phi < xi && (1-phi)*(1-phi) < 1-xi {
			t = fa/(fb-fa)*fc/(fb-fc) + (c-a)/(b-a)*fa/(fc-fa)*fb/(fc-fb)
		}
		if math.IsNaN(t) {
			t = 0.5
		}
		t = math.Min(math.Max(t, tl), 1-tl)
	}
	return a, nil
}

// Bracket widens the interval from a to b, outwards and by at most 2^60 times
// its width, until f changes sign in it, and returns the new ends. It returns
// ErrNoBracket if that does not happen and ErrNotFinite if f or an end is NaN.
func Bracket(f func(float64) float64, a, b float64) (lo, hi float64, err error) {
	if math.IsNaN(a) || math.IsNaN(b) || math.IsInf(a, 0) || math.IsInf(b, 0) || a == b {
		return a, b, ErrNotFinite
	}
	fa, fb := f(a), f(b)
	for range 60 {
		if math.IsNaN(fa) || math.IsNaN(fb) {
			return a, b, ErrNotFinite
		}
		if fa == 0 || fb == 0 || math.Signbit(fa) != math.Signbit(fb) {
			return math.Min(a, b), math.Max(a, b), nil
		}
		if w := b - a; math.Abs(fa) < math.Abs(fb) {
			a -= w
			fa = f(a)
		} else {
			b += w
			fb = f(b)
		}
	}
	return a, b, ErrNoBracket
}
