// Package stats holds the vocabulary that the statistics packages share:
// groupings of observations, estimates with their one-sided bounds, and
// warnings. Attenuations are in dB throughout.
//
// Inside stats an undefined number is NaN (no standard error from one closing,
// say). It never leaves the program as one: what shows results turns it into
// "not defined" and gives the reason.
package stats

import "math"

// A Factor is a grouping of n observations into Levels groups: observation i
// belongs to group Codes[i], 0 <= Codes[i] < Levels. Codes may alias memory of
// an Arrow column and is read-only.
type Factor struct {
	Name   string // a word of the trade: box, fitting, session, visit, closing
	Codes  []int32
	Levels int
}

// A Sample is a set of values (dB) with the factors that group them. Every
// factor has as many codes as there are values.
type Sample struct {
	Values  []float64
	Factors []Factor
}

// An Estimate is a number with its standard error and one-sided bounds.
// Lower and Upper are one-sided each, at Confidence (0 to 1): the value lies
// above Lower with that confidence, and below Upper with that confidence, not
// between the two. What is not defined is NaN.
type Estimate struct {
	Value, SE, DF float64
	Lower, Upper  float64
	Confidence    float64
}

// Defined reports whether both bounds exist.
func (e Estimate) Defined() bool { return !math.IsNaN(e.Lower) && !math.IsNaN(e.Upper) }

// A Warning says what weakens a result and what would mend it, in a sentence
// for the tester. Code is stable and machine-readable, such as "df-at-floor".
type Warning struct {
	Code, Text string
}
