package censored

import "math"

// farTail is where Mills' ratio begins to come from its continued fraction.
const farTail = 8

var halfLog2Pi = math.Log(2*math.Pi) / 2

// logDensity returns the logarithm of the standard normal density.
func logDensity(z float64) float64 { return -0.5*z*z - halfLog2Pi }

// tail returns the logarithm of Q(z) = P(Z > z) for a standard normal Z, and
// the hazard h(z) = density(z)/Q(z), which is the mean of Z given Z > z. Both
// keep full relative accuracy in the far tail.
//
// In the far tail h = z + 1/(z + 2/(z + 3/(z + ...))). Source: Abramowitz and
// Stegun 26.2.14.
func tail(z float64) (logQ, h float64) {
	if z < farTail {
		q := 0.5 * math.Erfc(z/math.Sqrt2)
		return math.Log(q), math.Exp(logDensity(z)) / q
	}
	h = z
	for k := 40.0; k >= 1; k-- {
		h = z + k/h
	}
	return logDensity(z) - math.Log(h), h
}

// curvature returns -d^2 ln Q/dz^2 = h(h-z), between 0 and 1: the weight of a
// limited reading beside 1 for a reading seen.
func curvature(z, h float64) float64 {
	if z < farTail {
		return min(max(h*(h-z), 0), 1)
	}
	// h - z = 1/(z + 2/(z + ...)); the difference itself would cancel.
	d := z
	for k := 40.0; k >= 2; k-- {
		d = z + k/d
	}
	return min(h/d, 1)
}
