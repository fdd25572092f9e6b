package judge

import (
	"math"

	"sealbound/stats"
	"sealbound/stats/band"
	"sealbound/stats/dist"
)

// The parts of a judgement that other questions about the same Data share.

// Evidence is what a verdict rests on, dB; what is undefined is NaN.
type Evidence struct {
	LowerDB, UpperDB float64 // one-sided each
	UpperRaisedDB    float64 // UpperDB with every limited reading raised
	TargetDB         float64
	HeadroomDB       float64
	LimitedShare     float64 // of the readings
	FloorUnknown     bool
}

// Verdict decides in the order of the verdicts' declaration.
func (e Evidence) Verdict() Verdict {
	return evidence{lower: e.LowerDB, upper: e.UpperDB, upperRaised: e.UpperRaisedDB, target: e.TargetDB,
		headroom: e.HeadroomDB, limitedShare: e.LimitedShare, floorUnknown: e.FloorUnknown}.verdict()
}

// Values reduces the readings to band values, with the levels given (dB, one per
// reading) in place of the data's own.
func (d Data) Values(levels []float64) (*band.Result, error) { return d.band(levels) }

// Levels are the factors of the given closings, recoded to the levels present:
// box, fitting, session, visit.
func (d Data) Levels(closings []int32) []stats.Factor {
	return newFrames(d).of(closings).g.all()
}

// Headroom takes of each session and point the smallest headroom that one of the
// closings had there. mean is the smallest over sessions of the mean over the
// points, low the smallest of all, dB. Both are NaN where a point has no known
// floor.
func (d Data) Headroom(closings, points []int32) (mean, low float64) {
	r := Result{Points: points, HeadroomDB: math.NaN(), HeadroomLowDB: math.NaN()}
	r.headroom(d, flags(closings, d.Closings))
	return r.HeadroomDB, r.HeadroomLowDB
}

// SharedReference is the standard uncertainty of the open reference that closings
// of one session share, from its repeats at the points given. known is false
// where no run was repeated.
func (d Data) SharedReference(closings, points []int32) (u Source, known bool) {
	return referenceOf(d, closings, points)
}

// Combined adds independent sources in quadrature, with degrees of freedom by
// Welch and Satterthwaite. None gives the zero Source.
func Combined(sources ...Source) Source { return combined(sources) }

// MeanOf estimates the mean of values (dB, one for each of the closings) and its
// one-sided bounds. oneSided says that every reading of every closing is limited,
// which leaves the sign bound alone. ref is added for the reference that all
// share; the zero Source for none.
func (d Data) MeanOf(values []float64, closings []int32, oneSided bool, confidence float64, ref Source) Mean {
	return newFrames(d).of(closings).mean(values, oneSided, confidence, ref)
}

// LowerAt is the lower bound at another confidence; NaN where none exists. The
// sign bound stands where the confidence that it attains is enough.
func (m Mean) LowerAt(confidence float64) float64 {
	switch {
	case m.Method == "sign":
		if !math.IsNaN(m.Lower) && m.Attained >= confidence {
			return m.Lower
		}
		return math.NaN()
	case math.IsNaN(m.Lower):
		return math.NaN()
	}
	return m.Value - dist.TQuantile(confidence, m.DF)*m.SE
}

// OneReference reports whether all the closings rest on the same open readings, so
// that not even several sessions carry their error.
func (d Data) OneReference(closings []int32) bool { return d.oneReference(closings) }
