package censored

import (
	"math"

	"sealbound/stats/dist"
)

// end finds where a profile log-likelihood has fallen by drop from its maximum
// top at best, going down from it (direction -1) or up (+1). step is a first
// guess of the distance, tol the accuracy in steps. NaN if there is no such
// place within 2^60 steps, or a profile fails.
//
// The root of the fall is close to a straight line, and so is what is solved.
func end(profile func(float64) float64, best, top, drop, step, tol, direction float64) float64 {
	if !(drop > 0) || !(step > 0) {
		return math.NaN()
	}
	excess := func(distance float64) float64 {
		if distance == 0 {
			return -math.Sqrt(drop)
		}
		fall := top - profile(best+direction*distance)
		return math.Copysign(math.Sqrt(math.Abs(fall)), fall) - math.Sqrt(drop)
	}
	near, far := 0.0, step
	for range 60 {
		f := excess(far)
		if math.IsNaN(f) {
			return math.NaN()
		}
		if f >= 0 {
			x, err := dist.Root(excess, near, far, tol*step)
			if err != nil {
				return math.NaN()
			}
			return best + direction*x
		}
		near, far = far, 2*far
	}
	return math.NaN()
}

// chiDrop is the fall of the log-likelihood at a one-sided profile bound: half
// the square of the normal quantile (for 0.95 half of chi-square(1) at 0.90).
// NaN unless confidence is above 1/2 and below 1.
func chiDrop(confidence float64) float64 {
	if !(confidence > 0.5 && confidence < 1) {
		return math.NaN()
	}
	q := dist.NormalQuantile(confidence)
	return q * q / 2
}

// tDrop is the fall of the log-likelihood that makes the bound of a mean or
// slope from units independent values and p fixed effects, none limited,
// exactly the one of Student's t with units-p degrees of freedom:
//
//	2 drop = units ln(1 + t^2/(units - p))
func tDrop(confidence float64, units, p int) float64 {
	if !(confidence > 0.5 && confidence < 1) || units <= p {
		return math.NaN()
	}
	t := dist.TQuantile(confidence, float64(units-p))
	return float64(units) / 2 * math.Log1p(t*t/float64(units-p))
}

// bounds returns where the profile log-likelihood of coefficient j has fallen by
// drop.
func (r *regression) bounds(j int, drop float64) (lower, upper float64) {
	at, top, ok := r.maximize()
	cov, ok2 := r.covariance(at)
	if !ok || !ok2 {
		return math.NaN(), math.NaN()
	}
	profile := func(value float64) float64 {
		_, logLik, ok := r.without(j, value).maximize()
		if !ok {
			return math.NaN()
		}
		return logLik
	}
	best, step := at[j]/at[len(r.x)], 2*math.Sqrt(cov[j][j])
	return end(profile, best, top, drop, step, 1e-13, -1), end(profile, best, top, drop, step, 1e-13, 1)
}
