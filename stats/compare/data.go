// Package compare tells gasket products apart over many boxes: adjusted means,
// their differences with the error of the whole family kept, which are best and
// which are as good as each other.
//
// # Model
//
//	band value = product (fixed) + box + fitting + session (crossed) + visit + closing
//
// by REML, with the random levels that the data identify once the products are
// in the model (stats/mixed). A product's mean speaks of new boxes with this
// gasket; a difference of products that shared boxes is free of the boxes.
//
// # Degrees of freedom
//
// By Satterthwaite from the observed information, kept within what the design
// replicates: a product's mean by its own boxes less one; a difference by
// (boxes-1)(products-1) where every product saw every box, by the sum over
// products of (boxes-1) where each box saw one product. Where boxes saw some of
// the products, products that hang together by boxes are compared within them
// (Design.Within); with less than two such comparisons boxes are taken as if each
// product had its own.
//
// # Families of differences
//
// All pairs: Tukey and Kramer, the studentized range at each difference's degrees
// of freedom. Against one product: Dunnett, where the correlations of the
// differences have product form, else Holm. See Family.
//
// # Limited readings
//
// A limited reading shows at least its figure, so a product with limited readings
// is at least as good as it reads. What is said of a difference holds for every
// way in which the limited readings may hide more; see Difference.
package compare

import (
	"math"

	"sealbound/stats"
	"sealbound/stats/band"
	"sealbound/stats/judge"
)

// Data are the readings of the products compared, in one band. Product has one
// code per closing; a fitting holds one product.
type Data struct {
	judge.Data
	Product stats.Factor
}

// Settings of a comparison.
type Settings struct {
	Confidence    float64        // of one-sided bounds and of the family of differences, in (0, 1)
	Against       int32          // the product that the others are compared with; -1: all pairs
	EquivalentDB  float64        // products less apart than this are as good as each other; 0: not asked
	Power         bool           // average leaked power over points instead of dB
	RaiseDB       float64        // what a limited reading may hide
	FloorMarginDB float64        // a reading this far from the highest of its session and point is clear of the floor, be that known or not
	Reference     []judge.Source // given by the user for a single session; nil: from the open repeats
}

// Family says how differences are kept together at the confidence asked for.
type Family string

// The families. Holm's p values come with Bonferroni's intervals, which are the
// wider ones: where an interval just includes zero the p value may be the
// sharper.
const (
	Tukey   Family = "Tukey-Kramer"
	Dunnett Family = "Dunnett"
	Holm    Family = "Holm"
)

// A Result is the comparison. Undefined numbers are NaN and Reason says why.
type Result struct {
	Band          *band.Result // values, and what was left out of them
	Points        []int32      // used, by code
	TargetDB      float64      // mean of the targets of the points used
	Products      []Product    // those with readings in the band, by falling mean
	Differences   []Difference // all pairs, the higher mean first; or each product less Settings.Against
	Family        Family       // of Differences; empty where there are none
	PairsFamily   Family       // of Letters and Best, which always rest on all pairs
	Best          []int32      // products not shown worse than the best, by falling mean
	Gains         []Gain       // with Settings.Against: box by box
	Components    []Component
	LogLikelihood float64 // REML's; NaN without a model
	Levels        []string
	Design        Design
	Apart         bool   // too few boxes saw several products: differences take boxes as if each product had its own
	Reason        string // why there are no differences at all
	NoPick        string // why no product can be picked from these data; empty where one can
	Warnings      []stats.Warning
	Explain       []Line
	Kept          []int32 // codes of the closings used
	Values        []float64
}

// A Product is one gasket product, seen over the boxes that carried it.
type Product struct {
	Code                                int32
	Boxes, Fittings, Sessions, Closings int
	Readings, Limited                   int
	stats.Estimate                              // the adjusted mean, dB, with one-sided bounds
	SatterthwaiteDF                     float64 // before it is kept within what the boxes replicate
	Letters                             string  // products with a letter in common are not shown to differ
	Verdict                             judge.Verdict
	ThisSetup                           bool    // nothing carries the error of the shared reference
	HeadroomDB                          float64 // the most that the set-up could show
	FloorUnknown                        bool    // some reading has no known floor
	Own                                 bool    // too many limited readings: kept out of the common model, bounded by its own closings
	Method                              string  // "REML", "t" or "sign"; empty without a bound
	ReferenceU                          judge.Source
	Reason                              string

	hidden  int // readings that may hide more: limited, or without a known floor and near the highest
	column  int // in the model; -1 for none
	own     judge.Mean
	plainSE float64 // without the shared reference
	plainDF float64
}

// A Difference is the mean of A less that of B, dB. Lower and Upper are
// simultaneous and two-sided; P is adjusted for the family.
//
// AtLeast says that A has readings that may hide more, so that the difference is
// at least the figure as far as A goes; AtMost that B has. Bounds and P then hold
// for whatever up to Settings.RaiseDB is hidden. Where over a fifth of a
// product's readings are hidden, its side is open: of a difference A - B with
// such an A there is no Upper, with such a B no Lower, and P speaks only for the
// side that can be shown.
type Difference struct {
	A, B            int32
	DB, SE, DF      float64
	SatterthwaiteDF float64
	Lower, Upper    float64
	P               float64
	AtLeast, AtMost bool
	EquivalentP     float64 // of the two one-sided tests, adjusted by Holm; NaN where not asked or not to be had
	Equivalent      bool
	Reason          string // why something is not defined
}

// A Component is one variance of the model, dB^2, with its SD and the one-sided
// bounds of that, dB. Source is the level, or levels joined by +. A component at
// the boundary has Variance and Lower exactly 0.
type Component struct {
	Source                     string
	Variance, SD, Lower, Upper float64
	Share                      float64 // of the sum of all variances
	Dropped                    bool
}

// A Gain is what a product adds in one box over the product compared against:
// mean of its fittings there less mean of the other's, dB, without a bound.
type Gain struct {
	Box, Product    int32
	FromDB, ToDB    float64
	DB              float64
	AtLeast, AtMost bool // as in Difference
}

// mostHidden is the share of a product's readings that may hide more before its
// open side can no longer be bounded, and before its spread tells too little to
// be pooled with that of other products. Common practice, no source.
const mostHidden = 0.2

var nan = math.NaN()

func noEstimate() stats.Estimate {
	return stats.Estimate{Value: nan, SE: nan, DF: nan, Lower: nan, Upper: nan}
}
