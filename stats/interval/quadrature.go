package interval

import "math"

// scale divides weights by their sum.
func scale(weight []float64) {
	total := 0.0
	for _, w := range weight {
		total += w
	}
	for k := range weight {
		weight[k] /= total
	}
}

// A quintic is a piece of a smooth function: coefficients of the powers of the place
// in its cell, from 0 to 1.
type quintic [6]float64

// hermite returns the quintic that agrees with a function, its slope and its second
// derivative, all per cell, at both ends of the cell.
func hermite(at func(x float64) (value, slope, bend float64), lo, hi float64) quintic {
	a, b, c := at(lo)
	v, s, h := at(hi)
	c /= 2
	v, s, h = v-a-b-c, s-b-2*c, h-2*c // what the higher terms must bring at the far end
	return quintic{a, b, c, 10*v - 4*s + h/2, -15*v + 7*s - h, 6*v - 3*s + h/2}
}

// normalEnd is where a normal probability counts as nothing.
const normalEnd = 8

// chance is the normal distribution function at z from e = exp(-z^2/2), by a table of
// Mills' ratio (1-Phi(t))/density(t).
func chance(z, e float64) float64 {
	t := math.Abs(z) / millsCell
	upper := 0.0
	if t < normalEnd/millsCell {
		k := int(t)
		t -= float64(k)
		c := &mills[k]
		upper = e * (c[0] + t*(c[1]+t*(c[2]+t*(c[3]+t*(c[4]+t*c[5])))))
	}
	if z > 0 {
		return 1 - upper
	}
	return upper
}

const millsCell = 0.125

// mills is Mills' ratio over sqrt(2 pi).
var mills = func() (m [normalEnd / millsCell]quintic) {
	at := func(t float64) (value, slope, bend float64) {
		const density0 = 0.398942280401432677939946059934381868476 // 1/sqrt(2 pi)
		value = 0.5 * math.Erfc(t/math.Sqrt2) * math.Exp(t*t/2)
		slope = t*value - density0
		bend = value + t*slope
		return value, slope * millsCell, bend * millsCell * millsCell
	}
	for k := range m {
		m[k] = hermite(at, float64(k)*millsCell, float64(k+1)*millsCell)
	}
	return m
}()
