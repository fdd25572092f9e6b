package judge

import "math"

// A Verdict says what a bound tells about the target. The zero value is never a
// pass.
type Verdict string

// The verdicts, in the order in which they are decided.
const (
	TooFew     Verdict = "too few"      // no bound exists
	Clears     Verdict = "clears"       // lower bound >= target
	FallsShort Verdict = "falls short"  // upper bound < target, whatever the limited readings hide
	OutOfReach Verdict = "out of reach" // the set-up could not have shown the target
	Undecided  Verdict = "undecided"
)

// evidence is what one verdict rests on; undefined numbers are NaN.
type evidence struct {
	lower, upper float64 // of the quantity, one-sided each
	upperRaised  float64 // upper with every limited reading raised
	target       float64
	headroom     float64
	limitedShare float64 // of the readings
	floorUnknown bool
}

// maxLimitedShare is the share of limited readings beyond which nothing can be
// said to fall short: too much of the upper side is hidden. Common practice, no
// source.
const maxLimitedShare = 0.2

func (e evidence) verdict() Verdict {
	switch {
	case math.IsNaN(e.lower), math.IsNaN(e.target):
		return TooFew
	case e.lower >= e.target:
		return Clears
	case e.upper < e.target && e.upperRaised < e.target &&
		e.limitedShare <= maxLimitedShare && !e.floorUnknown:
		return FallsShort
	case e.headroom < e.target: // false where the headroom is not known
		return OutOfReach
	}
	return Undecided
}
