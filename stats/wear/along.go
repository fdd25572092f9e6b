package wear

import "math"

// curvePoints is how many points a curve has.
const curvePoints = 49

// A CurvePoint is the line at an age, and the lower bound that Settings.On names
// there; LowerDB is NaN where it has none.
type CurvePoint struct{ AgeYears, MeanDB, LowerDB float64 }

// along follows the line and its bound from the first test to the horizon; bound is
// nil where there is none.
func (r *Result) along(l *line, bound curve, s Settings) []CurvePoint {
	if !s.Curve || !(r.Horizon > r.FirstAge) {
		return nil
	}
	out := make([]CurvePoint, curvePoints)
	for i := range out {
		age := r.FirstAge + (r.Horizon-r.FirstAge)*float64(i)/(curvePoints-1)
		out[i] = CurvePoint{AgeYears: age, MeanDB: l.at(age, s.Confidence).Value, LowerDB: math.NaN()}
		if bound != nil {
			out[i].LowerDB, _ = bound(age)
		}
	}
	return out
}
