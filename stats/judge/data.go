// Package judge decides whether a lower bound of the attenuation still clears
// the target, for one group of closings in one band.
//
// The unit of replication is the closing: one act of closing and latching the
// lid. Points (frequencies, positions, polarizations) of one closing share its
// luck, so they are averaged first and never counted as replicates.
//
// Four bounds are given, each one-sided and lower, in dB:
//
//	mean      what closings show on average (confidence)
//	next      what the next closing shows (prediction)
//	coverage  what a share of all closings exceeds (tolerance)
//	weakest   the mean at the tested point with the smallest margin
package judge

import (
	"math"

	"sealbound/stats"
	"sealbound/stats/band"
)

// Data are the readings of one group in one band. Closings and points carry
// codes from 0; the caller keeps their names. Slices may alias Arrow memory and
// are read-only.
type Data struct {
	// By closing.
	Closings                   int
	Box, Fitting, Session, Run stats.Factor // one code per closing
	Reference                  stats.Factor // which open readings serve the closing; codes index Opens
	OwnReference               []bool       // the closing had open readings of its own

	// By reading: one per closing and point, attenuation in dB. A limited
	// reading is at least its figure. HeadroomDB is the most the set-up could
	// show there, NaN where that is not known.
	Closing, Point []int32
	DB             []float64
	Limited        []bool
	FloorKnown     []bool
	HeadroomDB     []float64

	// By point, in ascending order of frequency.
	Points   int
	TargetDB []float64

	// By reference: its repeated open readings.
	Opens []Open

	// Reduced says that the readings are means of the closings over the band's points,
	// which are gone: no point can be the weakest, and nothing models limited ones.
	Reduced bool
}

// Open holds the repeated open readings of one run by repeat and point, dB; NaN
// where a repeat lacks the point. Nil where the run has none.
type Open [][]float64

// A Source is one contribution to the uncertainty of the shared reference:
// standard uncertainty in dB with its degrees of freedom (+Inf where it is
// taken as known).
type Source struct {
	Name string
	UDB  float64
	DF   float64
}

// Bound names one of the four lower bounds.
type Bound string

// The bounds a verdict can rest on.
const (
	OnMean     Bound = "mean"
	OnWeakest  Bound = "weakest"
	OnCoverage Bound = "coverage"
	OnNext     Bound = "next"
)

// Settings of a judgement. All four bounds are given; which of them decides is the
// caller's. Confidence (of each bound, one-sided) and Coverage (the share of
// closings that the coverage bound speaks of) lie in (0, 1); the command line
// takes 0.95, 0.90 and a RaiseDB of 20.
type Settings struct {
	Confidence, Coverage float64
	Power                bool     // average leaked power over points instead of dB
	RaiseDB              float64  // "falls short" must survive limited readings raised by so much
	Reference            []Source // given by the user for a single session; nil: from the open repeats
	Seed                 uint64   // of the second opinion's draws, and of those behind coverage bounds of many nested levels
	Draws                int      // of such coverage bounds; 0: 100,000
	Explain              bool     // write out the formulas, with a second opinion
}

// Scope says what a result may be said of.
type Scope string

// The three scopes, from narrow to wide.
const (
	ThisSession Scope = "this strip in this box, this session"
	AnySession  Scope = "this box, any session"
	NewBoxes    Scope = "new boxes with this gasket"
)

// A Result is the judgement. Undefined numbers are NaN and Reason says why; what
// ends in DB is in dB.
type Result struct {
	Band                            *band.Result // values, and what was left out of them; it reads the columns of Data, so it lasts as long as they do
	Points                          []int32      // used, by code
	Boxes, Fittings, Sessions, Runs int          // among the closings kept
	Closings, Readings, Limited     int          // kept, at the points used
	Levels                          []string     // of spread, as the data tell them apart, from the top; joined by + where they do not
	ValidFor                        Scope
	ThisSetup                       bool // nothing carries the error of the shared reference
	FloorUnknown                    bool // some reading has no known floor: figures are at least these
	Mean                            Mean
	Next                            Bounds   // of the next closing, of a new unit of the topmost level
	Coverage                        Bounds   // of the level that the share Settings.Coverage of closings exceeds
	CoverageMethod                  string   // how that was worked out, in words
	Weakest                         *Weakest // nil where some point has no bound
	WeakestReason                   string
	WeakestWithout                  int32     // the point without a bound; -1 for none
	NextDF                          float64   // degrees of freedom behind Next
	MeanP                           float64   // p value of the mean against the target, one-sided
	LowestMean                      PointMean // often another point than Weakest
	Lowest                          Lowest    // over all readings, used or not
	ClosingsBelow                   int       // closings with a reading below target that is not limited
	Censored                        *Censored // nil where nothing is limited
	OtherAverageDB                  float64   // mean with the other average over points
	HeadroomDB, HeadroomLowDB       float64   // see Data.Headroom
	TargetDB                        float64   // mean of the targets of the points used
	Verdicts                        map[Bound]Verdict
	Needed                          *Needed // where the mean is undecided and more units would settle it
	NeededReason                    string  // why there is no number of them
	Reason                          string  // why there is no judgement
	Warnings                        []stats.Warning
	Explain                         []string  // the formulas with their values, a line each, with Settings.Explain
	ReferenceU                      Source    // what was added for the shared reference; UDB 0 where nothing was
	Values                          []float64 // band value by kept closing, dB
	Kept                            []int32   // codes of those closings

	fromRepeats   bool      // the uncertainty of the reference is that of its repeats
	pointHeadroom []float64 // by place in Points: the smallest that a closing had, dB; NaN where not known
}

// Bounds are one-sided lower and upper bounds of the same quantity, dB.
type Bounds struct {
	LowerDB, UpperDB float64
	Reason           string // why they are not defined
}

var noBounds = Bounds{LowerDB: math.NaN(), UpperDB: math.NaN()}

// Weakest is the point with the smallest margin of its own lower bound. That bound
// is not corrected for the number of points: it lies at or below the bound of the
// point that is truly weakest, whichever that is.
type Weakest struct {
	Point                               int32
	MeanDB, LowerDB, TargetDB, MarginDB float64 // MarginDB = LowerDB - TargetDB
	UpperMarginDB                       float64 // smallest over points of upper bound - target, corrected for their number; NaN if undefined
	LargestP                            float64 // over points, of the one-sided test against the target

	detail Mean
}

// PointMean is a point with its mean over closings, dB.
type PointMean struct {
	Point  int32
	MeanDB float64
}

// Lowest is the lowest single reading.
type Lowest struct {
	Closing, Point int32
	DB             float64
	Limited        bool
}

// meanTarget is the mean of the targets of the points, dB; a flat one stays what it
// is to the last digit.
func (d Data) meanTarget(points []int32) float64 {
	first, sum, flat := d.TargetDB[points[0]], 0.0, true
	for _, p := range points {
		sum += d.TargetDB[p]
		flat = flat && d.TargetDB[p] == first
	}
	if flat {
		return first
	}
	return sum / float64(len(points))
}

func plainMean(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v
	}
	return sum / float64(len(x))
}
