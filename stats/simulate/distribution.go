package simulate

import "math"

// A Distribution is that of one closing's value in dB: normal, less an
// exponential loss in the share of closings that are bad.
type Distribution struct {
	CentreDB float64 // of the closings that are not bad
	SDDB     float64 // likewise, at least 0
	Bad      Bad
}

// Mean is the mean over all closings, dB.
func (d Distribution) Mean() float64 { return d.CentreDB - float64(d.Bad.Share*d.Bad.LossDB) }

// SD is the standard deviation over all closings, dB.
func (d Distribution) SD() float64 {
	q, m := d.Bad.Share, d.Bad.LossDB
	return math.Sqrt(d.SDDB*d.SDDB + q*(2-q)*m*m)
}

// Above is the share of closings whose value exceeds db.
func (d Distribution) Above(db float64) float64 {
	return (1-d.Bad.Share)*d.normalAbove(db) + d.Bad.Share*d.lossyAbove(db)
}

// Level is the value in dB that the given share of closings exceeds, what a
// coverage (tolerance) bound aims at; NaN unless 0 < share < 1.
func (d Distribution) Level(share float64) float64 {
	if !(share > 0 && share < 1) {
		return math.NaN()
	}
	step := d.SDDB + d.Bad.LossDB
	if step == 0 {
		return d.CentreDB
	}
	lo, hi := d.CentreDB-step, d.CentreDB+step
	for d.Above(lo) < share {
		lo -= step
	}
	for d.Above(hi) > share {
		hi += step
	}
	for {
		mid := lo + (hi-lo)/2
		if mid <= lo || mid >= hi {
			return mid
		}
		if d.Above(mid) > share {
			lo = mid
		} else {
			hi = mid
		}
	}
}

func (d Distribution) normalAbove(db float64) float64 {
	if d.SDDB == 0 {
		if db < d.CentreDB {
			return 1
		}
		return 0
	}
	return lowerTail((d.CentreDB - db) / d.SDDB)
}

// lossyAbove is P(normal - loss > db). With u = (centre - db)/sd and r = sd/loss,
//
//	Phi(u) - exp(r²/2 - u r) Phi(u - r),
//
// the exponentially modified normal distribution mirrored.
func (d Distribution) lossyAbove(db float64) float64 {
	switch {
	case d.Bad.LossDB == 0:
		return d.normalAbove(db)
	case d.SDDB == 0:
		return math.Max(0, -math.Expm1((db-d.CentreDB)/d.Bad.LossDB))
	}
	u, r := (d.CentreDB-db)/d.SDDB, d.SDDB/d.Bad.LossDB
	z := u - r
	// The exponent is (z² - u²)/2. Far out Phi(z) underflows while exp(z²/2)
	// overflows; there their product is the first terms of Mills' ratio.
	if z < -30 {
		w := 1 / (z * z)
		return math.Max(0, lowerTail(u)-math.Exp(-u*u/2)/(-z*math.Sqrt(2*math.Pi))*(1-w*(1-3*w)))
	}
	return math.Max(0, lowerTail(u)-math.Exp((z*z-u*u)/2)*lowerTail(z))
}

// lowerTail is the standard normal distribution function.
func lowerTail(z float64) float64 { return math.Erfc(-z/math.Sqrt2) / 2 }
