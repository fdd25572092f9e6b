package trend

import (
	"fmt"
	"math"

	"sealbound/stats/dist"
	"sealbound/stats/interval"
)

// A CrossingStatus says whether a curve falls to the target after the mean time
// of the data.
type CrossingStatus int

const (
	// NotAsked is the zero value: nothing was computed.
	NotAsked CrossingStatus = iota
	// Crosses: the curve is above the target at the mean time and falls to it
	// once, at Crossing.At.
	Crosses
	// AlreadyBelow: the curve is at or below the target at the mean time.
	AlreadyBelow
	// NeverCrosses: the curve is above the target at the mean time and stays there.
	NeverCrosses
)

// String gives the status in words.
func (s CrossingStatus) String() string {
	switch s {
	case Crosses:
		return "crosses"
	case AlreadyBelow:
		return "already below"
	case NeverCrosses:
		return "never crosses"
	}
	return "not asked"
}

// A Crossing is where a curve falls to the target.
type Crossing struct {
	Status CrossingStatus
	At     float64 // time in years; NaN unless Status is Crosses
}

// Crossings are the times at which a line and its bounds fall to a target.
//
// Lower and Next can be dated even for a rising or level line, since their
// bounds widen with time; that is arithmetic, and whoever shows such a time says
// that it lies far beyond the data. Only where Datable is true do Lower and
// Upper enclose the crossing of the true line (Fieller's interval).
type Crossings struct {
	Target, Confidence float64 // dB; of each one-sided bound

	Fit   Crossing // of the line itself
	Lower Crossing // of the lower bound of the mean: the earliest crossing
	Upper Crossing // from when on the upper bound of the mean stays below: the latest crossing; NeverCrosses unless Datable
	Next  Crossing // of the lower bound of one new value of weight 1

	Intersection float64 // where the line meets the target, at any time; NaN for a level line
	G            float64 // Fieller's g; +Inf for a level line
	Datable      bool    // G < 1
}

// Crossings returns when the line and its one-sided bounds fall to target (dB).
//
//	g = (t(confidence; df) * SESlope / Slope)^2
//
// With g >= 1 the slope is not told from 0 at that confidence, and the crossing
// of the true line cannot be dated: it may lie anywhere or nowhere.
//
// The bounds are a hyperbola, so each crossing is the root of a quadratic: with
// u the time after the mean time, d the fit there less the target, b the slope,
// A and B the squared half-widths that stay and that grow with u^2,
//
//	(d + b*u)^2 = A + B*u^2
//
// It returns ErrDomain for a confidence not between 0.5 and 1 and ErrNotFinite
// for a target that is not a number.
//
// Source: E. C. Fieller, Journal of the Royal Statistical Society B 16 (1954)
// 175-185 (from memory).
func (l *Line) Crossings(target, confidence float64) (Crossings, error) {
	if notFinite(target) {
		return Crossings{}, fmt.Errorf("trend: %w: target %v", interval.ErrNotFinite, target)
	}
	if !(confidence >= 0.5 && confidence < 1) {
		return Crossings{}, fmt.Errorf("trend: %w: confidence %v is not between 0.5 and 1", interval.ErrDomain, confidence)
	}
	middle, err := l.At(l.MeanTime, confidence)
	if err != nil {
		return Crossings{}, err
	}
	t := dist.TQuantile(confidence, l.DF)
	d, b := middle.Value-target, l.Slope
	fixed, grows := square(t*middle.SE), square(t*l.SESlope)
	c := Crossings{
		Target: target, Confidence: confidence, G: math.Inf(1), Intersection: math.NaN(),
		Fit:   l.crossing(lowerRoot(d, b, 0, 0)),
		Lower: l.crossing(lowerRoot(d, b, fixed, grows)),
		Upper: l.crossing(upperRoot(d, b, fixed, grows)),
		Next:  l.crossing(lowerRoot(d, b, fixed+square(t*l.SD), grows)),
	}
	if b != 0 {
		c.Intersection = l.MeanTime - d/b
		c.G = square(t * l.SESlope / b)
		if math.IsInf(c.Intersection, 0) {
			c.Intersection = math.NaN()
		}
	}
	c.Datable = c.G < 1
	return c, nil
}

func square(x float64) float64 { return x * x }

// crossing turns a time after the mean time into one of the series. A time too
// far away to be a number is never reached.
func (l *Line) crossing(u float64, s CrossingStatus) Crossing {
	at := l.MeanTime + u
	switch {
	case s != Crosses:
		return Crossing{Status: s, At: math.NaN()}
	case notFinite(at):
		return Crossing{Status: NeverCrosses, At: math.NaN()}
	}
	return Crossing{Status: Crosses, At: at}
}

// lowerRoot finds the u > 0 with d + b*u = sqrt(fixed + grows*u^2). The lower
// bound is concave, so there is one root at most once it starts above.
func lowerRoot(d, b, fixed, grows float64) (u float64, s CrossingStatus) {
	if d <= math.Sqrt(fixed) {
		return math.NaN(), AlreadyBelow
	}
	if b >= math.Sqrt(grows) {
		return math.NaN(), NeverCrosses
	}
	// The form in which the two terms below never cancel, whichever the sign of
	// b: |b|*d <= root where grows >= b^2, and -b*d > 0 otherwise.
	root := math.Sqrt(b*b*fixed + grows*(d*d-fixed))
	if b > 0 {
		return (b*d + root) / (grows - b*b), Crosses
	}
	return (d*d - fixed) / (root - b*d), Crosses
}

// upperRoot finds the last u > 0 with d + b*u = -sqrt(fixed + grows*u^2). The
// upper bound is convex: unless the slope outweighs its widening it may dip below
// and comes back.
func upperRoot(d, b, fixed, grows float64) (u float64, s CrossingStatus) {
	level := b == 0 && grows == 0
	if b >= -math.Sqrt(grows) && !level {
		return math.NaN(), NeverCrosses
	}
	if d <= -math.Sqrt(fixed) {
		return math.NaN(), AlreadyBelow
	}
	if level {
		return math.NaN(), NeverCrosses
	}
	root := math.Sqrt(math.Max(0, b*b*fixed+grows*(d*d-fixed)))
	if d > 0 {
		return (root - b*d) / (b*b - grows), Crosses
	}
	// d < 0: the sum above would cancel; the other root's reciprocal does not.
	return (fixed - d*d) / (root + b*d), Crosses
}
