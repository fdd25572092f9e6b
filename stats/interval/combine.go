package interval

import "math"

// A Component is one contribution to an uncertainty: a standard uncertainty in
// dB, already multiplied by its sensitivity, and its degrees of freedom (+Inf
// for one that is taken as known, such as a half-width/sqrt(3)).
type Component struct{ U, DF float64 }

// Combine returns the combined standard uncertainty of independent components
// and its effective degrees of freedom (Welch and Satterthwaite):
//
//	u = sqrt(sum u_i^2), df = u^4 / sum(u_i^4/df_i)
//
// df is +Inf where every component that is not 0 has infinite df, and also where u
// is 0. It returns ErrTooFew without components, ErrDomain for a negative u or
// a df not positive, ErrNotFinite for a u that is not a number.
//
// Source: JCGM 100:2008 (GUM), 5.1.2 and G.4.
func Combine(parts ...Component) (u, df float64, err error) {
	if len(parts) == 0 {
		return math.NaN(), math.NaN(), tooFew(0, 1)
	}
	largest := 0.0
	for _, p := range parts {
		if err := spread("uncertainty", p.U); err != nil {
			return math.NaN(), math.NaN(), err
		}
		if err := freedom(p.DF); err != nil {
			return math.NaN(), math.NaN(), err
		}
		largest = math.Max(largest, p.U)
	}
	if largest == 0 {
		return 0, math.Inf(1), nil
	}
	// Relative to the largest, so that fourth powers neither overflow nor vanish.
	var sum2, sum4 float64
	for _, p := range parts {
		r := p.U / largest
		sum2 += r * r
		sum4 += r * r * r * r / p.DF
	}
	df = math.Inf(1)
	if sum4 > 0 {
		df = sum2 * sum2 / sum4
	}
	u = largest * math.Sqrt(sum2)
	return u, df, finite("uncertainty", u)
}
