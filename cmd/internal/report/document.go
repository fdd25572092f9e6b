// Package report holds the Document that every command fills, and the renderers
// that show it: text, json, csv, markdown. It computes nothing. Each row type
// has one list of columns, so that no format can drift from another.
package report

// A Number is a quantity that may be undefined: nil is null in JSON, empty in
// CSV and a dash in text. It is never NaN or infinite.
type Number = *float64

// A Document is everything a command has to say.
type Document struct {
	Version   string
	Command   string
	Settings  []Setting // in the order in which they are shown
	Inputs    []Input
	Headlines []string // the answer, one sentence per group, first in text and markdown
	Judge     []JudgeRow
	Check     []CheckRow
	Spread    []SpreadRow
	Compare   []CompareRow
	Wear      []WearRow
	Plan      PlanAnswer
	Notes     []string      // assumed, left out, not said by the data
	Explain   []Explanation // with --explain: each number's formula with its values
	Cautions  []string      // text and markdown
}

// A Setting is a flag with the value in force. Value is a string, bool, int,
// float64, []string or nil.
type Setting struct {
	Name  string
	Value any
}

// An Input accounts for one file: Rows = Used + Skipped + Blank.
type Input struct {
	Path                       string
	Rows, Used, Skipped, Blank int
}

// An Explanation shows how the numbers of one group and band came about.
type Explanation struct {
	Title string
	Lines []string
}

// A Label is one part of what names a group: gasket = ..., box = ....
type Label struct{ Field, Value string }

// A Band is a range of frequencies, lower edge excluded, upper included.
type Band struct {
	Name       string
	LoHz, HiHz float64
}

// A JudgeRow is the judgement of one group in one band. Levels in dB; lower and
// upper are one-sided each.
type JudgeRow struct {
	Group                                                      []Label
	Band                                                       Band
	Points, Boxes, Fittings, Sessions, Runs, Closings, Limited int
	Levels                                                     []string
	ValidFor                                                   string
	MeanDB, SDDB, SEDB, DF, LowerDB, UpperDB                   Number
	NextLowerDB, CoverageLowerDB                               Number
	CoverageMethod                                             string // empty: null
	Weakest                                                    *Weakest
	LowestMean                                                 *LowestMean
	Lowest                                                     *Lowest
	ClosingsBelowTarget                                        int
	Censored                                                   *Censored
	HeadroomDB, HeadroomLowDB, TargetDB, MarginDB              Number
	On, Verdict                                                string
	Verdicts                                                   Verdicts
	Needed                                                     *Needed
	Reason                                                     string // empty: null
}

// Weakest is the point with the smallest margin of its own lower bound.
type Weakest struct {
	FreqHz                              float64
	Position, Polarization              string
	MeanDB, LowerDB, TargetDB, MarginDB float64
}

// LowestMean is the point of the lowest mean, often another than the weakest.
type LowestMean struct{ FreqHz, MeanDB float64 }

// Lowest is the lowest single reading.
type Lowest struct {
	AttenDB            float64
	Limited            bool
	FreqHz             float64
	Box, Closing, Date string // Date empty: null
}

// Censored is the estimate that models the limited readings.
type Censored struct {
	MeanDB, SDDB, LowerDB Number
	Method                string
}

// Verdicts holds one verdict per bound, each for itself.
type Verdicts struct{ Mean, Weakest, Coverage, Next string }

// Needed says how many more units settle an undecided verdict.
type Needed struct {
	Unit  string
	More  int
	Power float64
}

// A CheckRow is the state of the data as a whole.
type CheckRow struct {
	Files, Rows, Runs, Sessions, Boxes, Gaskets, Closings, Frequencies, Limited int
	DriftDB, HeadroomDB                                                         Number
	Problems                                                                    []Problem
}

// A Problem mirrors one problem of the input.
type Problem struct {
	File                    string
	Line, Column            int
	Field, Text, What, Mend string
}
