package report

// A Campaign is what the page of a whole campaign shows: the answers of the
// commands on one reading of the data, pictures of the data behind them, and how
// it all came about.
type Campaign struct {
	Title   string
	Judge   *Document // per group
	ByBox   *Document // per box and gasket; nil where Judge says it already
	Spread  Part
	Wear    Part
	Compare Part
	Curves  []CurveSet // of the groups of Judge
	Account Account
}

// A Part is the answer to a further question, or why there is none.
type Part struct {
	Doc *Document // nil: there is none
	Why string
}

// A CurveSet is the attenuation of one group over frequency.
type CurveSet struct {
	Group               []Label
	Bands               []Band
	FreqHz              []float64
	Closings            int
	Lines, Means        []Curve
	Range               *CurveRange // instead of Lines, where these are too many to be drawn
	HeadroomDB          Curve       // the smallest of the closings
	TargetDB            Curve
	Weakest             *Weakest // of all bands; nil: none has one
	WeakestBand, Places string   // places: the positions and polarizations, in words
}

// A CurveRange is what many lines fill together.
type CurveRange struct {
	Lines           int
	Lowest, Highest Curve
	Limited         int // readings that are at least their figure
}

// A Curve runs along the frequencies of its set: At indexes them, ascending, and
// DB holds a level for each.
type Curve struct {
	Label   string
	At      []int32
	DB      []float64
	Limited []bool // nil: none
}

// A Trend is what a row of wear looks like over the age of the strips, in years and
// dB.
type Trend struct {
	Strips     []string
	Points     []TrendPoint
	Fit, Lower []AgeDB
	Moments    []Moment
}

// A TrendPoint is the mean of one strip in one session.
type TrendPoint struct {
	Strip     int
	Date      string
	Years, DB float64
}

// AgeDB is a level at an age.
type AgeDB struct{ Years, DB float64 }

// A Moment is an age that matters, and why.
type Moment struct {
	Years float64
	Label string
}

// An Account says how a result came about, so that anyone can redo it.
type Account struct {
	Version         string
	Command         []string // the words of the command line, the program's name left out
	First, Last     string   // dates of the tests shown; empty: not known
	Facts           []Fact   // how it was measured
	Setup           []SetupRow
	Side            []SideTable
	Assumed, Unsaid []string
	Cautions        []string // in full
	Files           []File
}

// A Fact is a thing and what it was.
type Fact struct{ Name, Value string }

// A SetupRow is a row of setup.csv, verbatim.
type SetupRow struct{ Run, Field, Value string }

// A SideTable is one of the other tables that stand beside the readings.
type SideTable struct {
	Title string
	Heads []string
	Rows  [][]string
}

// A File is an input with its digest; SHA256 is empty for what cannot be read
// again.
type File struct {
	Input
	Table  bool // it has rows that were counted
	SHA256 string
}

// A Sheet is the record of one box that is handed to a customer.
type Sheet struct {
	Box, Gasket, Installed      string
	Tested                      []string // dates
	Closings, Sessions          int
	TargetText                  string // the requirement in words
	Confidence                  float64
	Verdict                     string // pass, fail, inconclusive or beyond dynamic range, of all rows together
	Sentence                    string // the same as a sentence
	Rows                        []SheetRow
	Merged                      int // frequencies that the rows stand for, where they stand for more than one each
	Facts                       []Fact
	Setup                       []SetupRow
	Deviations                  []string
	ModelledOn, Explained, Mind string
	Account                     Account
}

// A SheetRow is one frequency at its worst place, or the worst of several
// frequencies. Levels in dB.
type SheetRow struct {
	Part                                string // what the readings of this row have of their own, such as a receiver; usually empty
	LoHz, HiHz                          float64
	FreqHz                              float64
	Place                               string
	TargetDB, MeanDB, LowestDB, LowerDB Number
	MarginDB, HeadroomDB                Number
	LowestLimited                       bool
	Digits                              int
	Result                              string
}

// The results of a SheetRow.
const (
	Pass         = "pass"
	Fail         = "fail"
	Inconclusive = "inconclusive"
	BeyondRange  = "beyond dynamic range"
)
