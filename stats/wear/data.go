package wear

import (
	"math"

	"sealbound/stats"
	"sealbound/stats/judge"
)

// Data are the readings of one group in one band with the times of the closings.
// Run does not count, and Reference, OwnReference and Opens (which may be left empty)
// only tell where all sessions rest on the same open readings: else sessions carry the
// error of their reference themselves.
type Data struct {
	judge.Data
	AgeYears []float64 // of the strip, by closing
	Years    []float64 // time on the calendar from any origin, by closing
	Control  []bool    // the closing is of a control box, which is never opened; nil: none is
}

// Settings of a study of wear. Confidence and Coverage lie in (0, 1), Confidence
// at least 0.5.
type Settings struct {
	Confidence, Coverage float64
	On                   judge.Bound // the bound that Now and the lower crossing are of
	Common               bool        // all fittings wear alike: no slopes of their own
	AgeYears             float64     // at which Now is given
	LastAge              float64     // of the same strips at the last test
	Details              bool        // give bounds of the SDs and each strip's own line, which takes time
	OmitSDBounds         bool        // but not bounds of the SDs, which take the most
	StepDB               float64     // a step between two sessions beyond this is pointed out
	Curve                bool        // give the line and its lower bound along the ages, for a picture
}

// A Method says what the slope was taken from.
type Method string

// The methods. The zero value says that there is no slope.
const (
	NoMethod   Method = ""
	Plain      Method = "REML"
	ClearOf    Method = "REML on the points never limited"
	TwoStep    Method = "REML on two-step values of limited readings"
	Likelihood Method = "closing-level likelihood of limited closings"
)

// A Verdict says what the slope tells. The zero value says nothing.
type Verdict string

// The verdicts.
const (
	TooFew   Verdict = "too few"
	Wears    Verdict = "wears"    // upper bound of the slope < 0
	Improves Verdict = "improves" // lower bound of the slope > 0
	NoTrend  Verdict = "no trend shown"
)

// A Component is one variance: dB^2, of the fittings' own slopes dB^2/year^2.
type Component struct {
	Source             string
	Variance, SD       float64
	SDLower, SDUpper   float64 // one-sided bounds at the confidence; NaN where there is none
	Share              float64 // of the variance of one closing; NaN for a slope
	Dropped, OwnSlopes bool
}

// A Status says what became of the search for a crossing.
type Status string

// The statuses of a crossing.
const (
	NotAsked     Status = ""
	Crosses      Status = "crosses"
	AlreadyBelow Status = "already below" // at the mean age of the tests
	Beyond       Status = "does not cross within the horizon"
)

// A Crossing is where a line or bound falls to the target. Age is that of the
// strip, NaN unless Status is Crosses.
type Crossing struct {
	Status Status
	Age    float64
}

// A Rank is the test for a trend by rank and the robust slope, from the means of
// the sessions of each fitting. P is two-sided, Least the smallest that so many
// sessions can give; NaN where undefined.
type Rank struct {
	S         int // pairs of sessions of a fitting that rise less those that fall, over the fittings
	P, Least  float64
	Exact     bool    // P counts all orders of the sessions; else it is the normal approximation
	Sessions  int     // of the fittings that were retested
	Slope     float64 // median over pairs of sessions of a fitting, dB per year (Theil-Sen)
	Undefined string  // why there is none
}

// A Step is a change of the mean from one session to the next beyond what is usual
// from year to year. Fitting is -1 where all fittings of both sessions share it.
type Step struct {
	Fitting       int32
	Before, After int32 // codes of sessions
	ShiftDB       float64
	UsualDB       float64 // what the median rate of change makes of the time between
}

// A Strip is one fitting by itself: a history that a new strip, a repair or a cleaning
// has split is one strip before and another after. Slope is that of its own line, with
// bounds from three sessions on.
type Strip struct {
	Fitting            int32
	Sessions, Closings int
	FirstAge, LastAge  float64
	MeanDB             float64 // of the means of its sessions
	Slope              stats.Estimate
}

// A Control compares the slope with that of boxes that are never opened.
type Control struct {
	Boxes      int
	Points     int
	Slope      float64 // of the control boxes, dB per year
	Difference stats.Estimate
	P          float64 // two-sided, of no difference
	Reason     string
}

// A Result is what the retests show. Undefined numbers are NaN and Reason says
// why.
type Result struct {
	Method                                Method
	Points                                []int32 // used, by code
	Common                                int     // points measured in every fitting
	Kept                                  []int32 // closings, by code
	Values                                []float64
	Boxes, Fittings, Sessions, Closings   int
	Readings, Limited                     int  // of the closings kept at the common points
	FloorUnknown                          bool // no floor: no wear
	FirstAge, LastAge, MeanAge, SpanYears float64
	OneStart                              bool // all strips began on one day: age and calendar are one
	OwnSlopes                             bool // the fittings' own slopes are in the model

	Intercept, Slope stats.Estimate // at age 0, and per year
	P                float64        // two-sided, of no slope
	Components       []Component
	Dropped          []string
	LogLikelihood    float64 // REML's; the full one for the closing-level likelihood

	TargetDB    float64
	Mean        stats.Estimate // of the line at Settings.AgeYears
	Now         float64        // the lower bound that Settings.On names there, dB
	NowReason   string         // why it has none
	Margin      float64        // of that bound at the last test: bound - target
	Horizon     float64        // age beyond which nothing is dated
	Cross       Crossing       // of the line
	LowerCross  Crossing       // of the lower bound that Settings.On names: the earlier one, to go by
	Rank        Rank
	Steps       []Step   // sessions between which something happened
	Against     *Control // nil without control boxes
	Strips      []Strip  // by code; nil unless Settings.Details, and for limited closings of one point
	Verdict     Verdict
	Reason      string
	NoSlope     bool // too few retests for a slope; the mean of the last test may still be had
	ClearPoints bool // no reading at the points used is limited
	Warnings    []stats.Warning
	Explain     []string
	Curve       []CurvePoint // where Settings.Curve asks for it and a line was fitted
	LimitedOut  []int32      // common points left out since a reading there is limited
	ClosingsOut []ClosingOut
	PointsOut   []PointOut
}

// A ClosingOut was left out: it has Points of the Of points, or Why says more.
type ClosingOut struct {
	Closing    int32
	Points, Of int
	Why        string
}

// A PointOut was measured but not in every fitting.
type PointOut struct{ Point int32 }

func undefined(confidence float64) stats.Estimate {
	nan := math.NaN()
	return stats.Estimate{Value: nan, SE: nan, DF: nan, Lower: nan, Upper: nan, Confidence: confidence}
}

func empty(s Settings) Result {
	nan := math.NaN()
	none := undefined(s.Confidence)
	return Result{FirstAge: nan, LastAge: nan, MeanAge: nan, SpanYears: nan, Intercept: none, Slope: none, P: nan,
		LogLikelihood: nan, TargetDB: nan, Mean: none, Now: nan, Margin: nan, Horizon: nan,
		Cross: Crossing{Age: nan}, LowerCross: Crossing{Age: nan},
		Rank: Rank{P: nan, Least: nan, Slope: nan}, Verdict: TooFew}
}
