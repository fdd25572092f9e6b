package wear

import (
	"math"

	"sealbound/stats"
)

// stripsOf looks at every fitting by itself.
func stripsOf(d Data, kept []int32, values []float64, confidence float64) []Strip {
	visits, _, _ := visitsOf(d, kept, values)
	codes := fittingCodes(d, kept)
	places := make([][]int, len(codes)) // in kept, of the closings of each
	for i, f := range subset(d.Fitting, kept, "fitting").Codes {
		places[f] = append(places[f], i)
	}
	var out []Strip
	for f, code := range codes {
		s := Strip{Fitting: code, Sessions: len(visits[f]), FirstAge: math.Inf(1), LastAge: math.Inf(-1), Slope: undefined(confidence)}
		for _, v := range visits[f] {
			s.MeanDB += v.mean / float64(len(visits[f]))
			s.Closings += v.n
		}
		var own []int32
		var y []float64
		for _, i := range places[f] {
			c := kept[i]
			own, y = append(own, c), append(y, values[i])
			s.FirstAge, s.LastAge = math.Min(s.FirstAge, d.AgeYears[c]), math.Max(s.LastAge, d.AgeYears[c])
		}
		s.Slope = ownSlope(sampleOf(d, own, y, true), visits[f], confidence)
		out = append(out, s)
	}
	return out
}

// ownSlope is the slope of one strip's line; of two sessions, which have no bounds, that
// of their difference.
func ownSlope(s *sample, visits []visited, confidence float64) stats.Estimate {
	if s.sessions >= leastSessions {
		if l, why := fitLine(s); why == "" {
			return l.slope(confidence)
		}
	}
	e := undefined(confidence)
	if len(visits) == 2 && visits[0].age != visits[1].age {
		e.Value = (visits[1].mean - visits[0].mean) / (visits[1].age - visits[0].age)
	}
	return e
}
