// Package spread says whether a result is repeatable, and where its spread comes
// from: from the boxes, the strips in them, the days, the visits, or the closing
// itself.
//
// # Components
//
//	band value = mean + box + fitting + session (crossed) + visit + closing
//
// by REML, with the levels that the data tell apart (stats/mixed). Levels that
// they do not tell apart are one term whose name lists them, such as box+fitting.
// A level with one unit only (one session, say) is not in the data at all.
//
// # Quantities
//
//	repeatability    closing                     the same visit
//	reproducibility  closing + visit + session   the same box and strip, another day
//	unit             box + fitting               another box with another strip
//
// each the square root of a sum of variances. A limit is 2.8 times the SD: two
// results differ by more in one of twenty pairs (ISO 5725-6, from memory). A quantity that
// would need to split a joined term is not defined.
//
// # Years
//
// Where strips are followed over a year or more, the age of the strip is a fixed
// effect, so that wear is not taken for spread between days; from two strips each
// seen in three sessions their own wear is a component, fitting_slope.
//
// # Limited readings
//
// What stands at the receiver's floor hides its spread, so only points that are
// never limited are used; if fewer than half are left, nothing is said.
package spread

import (
	"math"

	"sealbound/stats"
	"sealbound/stats/band"
	"sealbound/stats/judge"
)

// Data are the readings of one group in one band. AgeYears is the age of the strip
// at each closing, in years; nil, or NaN at any closing used, keeps age out of the
// model.
type Data struct {
	judge.Data
	AgeYears []float64
}

// Limit names the limit that a tolerance is held against.
type Limit string

// The two limits. The zero value means Repeatability.
const (
	Repeatability   Limit = "repeatability"
	Reproducibility Limit = "reproducibility"
)

// Settings of an analysis.
type Settings struct {
	Confidence  float64 // of each bound, one-sided, in (0.5, 1)
	ToleranceDB float64 // two results should differ by no more; 0: not asked
	On          Limit   // which limit is held against it
}

// Verdict says whether a limit is within the tolerance.
type Verdict string

// The verdicts. Empty where no tolerance was given.
const (
	Repeatable    Verdict = "repeatable"     // the upper bound of the limit is within the tolerance
	NotRepeatable Verdict = "not repeatable" // its lower bound is beyond it
	Undecided     Verdict = "undecided"
	TooFew        Verdict = "too few" // the data lack the repeats that the limit rests on
)

// LimitFactor times an SD is the limit that two results exceed in one of twenty
// pairs: 1.96 sqrt(2) = 2.77, rounded as in ISO 5725-6:1994, 4.1 (clause from memory).
const LimitFactor = 2.8

// A Component is one variance, dB^2, with its SD and the one-sided bounds of that,
// dB. Source is the level, or levels joined by +. A component at the boundary has
// Variance and Lower exactly 0.
//
// The source fitting_slope is what the strips' own wear adds to a closing, averaged
// over the ages in the data: variance of the slopes times the mean squared distance
// of the ages from their mean. PerYear is the SD of the slopes themselves, dB/year;
// NaN for other sources.
type Component struct {
	Source                     string
	Variance, SD, Lower, Upper float64
	Share                      float64 // of the sum of all variances
	PerYear                    float64
}

// A Quantity is the SD of a sum of components, dB, with one-sided bounds.
// Undefined numbers are NaN and Reason says why.
type Quantity struct {
	SD, Lower, Upper float64
	Sources          []string // the components summed
	Reason           string
	lacking          bool // the data lack the repeats, rather than a model for them
}

// LimitDB is LimitFactor times the SD.
func (q Quantity) LimitDB() float64 { return LimitFactor * q.SD }

// A Result is the analysis. Undefined numbers are NaN and Reason says why.
type Result struct {
	Band                                        *band.Result // values, and what was left out of them
	Points                                      []int32      // used, by code
	LimitedPoints                               []int32      // left out because a reading is limited there, by code
	Kept                                        []int32      // codes of the closings used
	Values                                      []float64    // band value by closing used, dB
	Boxes, Fittings, Sessions, Visits, Closings int
	FloorUnknown                                bool // some reading has no known floor: a floor would hide spread

	MeanDB          float64 // over the closings, at the mean age where age is in the model
	Components      []Component
	Repeatability   Quantity
	Reproducibility Quantity
	Unit            Quantity
	LogLikelihood   float64  // REML's
	Wear            *Wear    // nil where age is not in the model
	Constant        []string // levels with one unit: their spread is not in the data
	Outliers        []Outlier
	Tests           int     // that Outliers were sought with
	RobustSD        float64 // of closings in a visit, hardly moved by a few bad ones; dB, NaN without repeats
	Pairs           int     // of closings behind RobustSD
	SEDB            float64 // of the mean, from the components of a campaign laid out evenly
	More            []More
	Verdict         Verdict
	Reason          string // why there are no components
	Warnings        []stats.Warning
	Explain         []string
}

// Wear is the effect of the strip's age, kept apart from the spread.
type Wear struct {
	DBPerYear, SE float64
	MeanAgeYears  float64
	Own           bool // strips may wear each at its own rate: fitting_slope is a component
}

var nan = math.NaN()

func undefined(reason string, lacking bool) Quantity {
	return Quantity{SD: nan, Lower: nan, Upper: nan, Reason: reason, lacking: lacking}
}
