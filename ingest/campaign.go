package ingest

import (
	"time"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/memory"

	"sealbound/ingest/sidetable"
)

// A Run is what one open reference serves: its readings, and the attenuations
// paired from them. Both records are released when the visit that received the
// Run returns; a visitor that keeps one must Retain it.
type Run struct {
	Label       string       // as in the data, or made from the file's name and the date
	Readings    arrow.Record // schema Readings, one row per reading; nil with Options.OmitReadings
	Attenuation arrow.Record // schema Attenuation, one row per closing and point; by closing, then point
	Closings    []Closing    // Attenuation's column closing indexes it; by date, session, box, gasket, fitting, label
	Points      []Point      // Attenuation's column point indexes it; by frequency. Some may have open readings alone. Not to be changed: runs may share it
	Reference   Reference
	Counts      Counts
}

// Counts says what a run is made of. Readings that a problem kept from use are
// not counted.
type Counts struct {
	Open, Closed, Floor int // readings; Closed includes attenuations given as such
	// OpenRepeats is how often the open reading of the whole run was repeated, at
	// the point where that is most; 0 where there is none.
	OpenRepeats int
	// GainSettings is how many combinations of tx_dbm and gain_db the open and
	// closed readings have; 1 where none is given.
	GainSettings int
	// Rows of Attenuation by where their floor came from: a floor row, the cell
	// beside the reading, the setting, or nowhere.
	FloorByRow, FloorByColumn, FloorByOption, FloorUnknown int
	Sweeps                                                 int // rows of Attenuation averaged from more than one reading
	Given                                                  int // rows of Attenuation that the data give as such
}

// A Closing is one act of closing and latching the lid. Within a run, closings
// differ in box, gasket, fitting, installed, label, date or session: a label that
// comes again on another day is another closing.
type Closing struct {
	Box, Gasket     string
	Fitting         string    // as written; empty where the data name none
	Installed, Date time.Time // civil dates at midnight UTC; zero where unknown
	Session, Run    string
	Label           string            // within run and fitting
	Context         map[string]string // context columns that are filled, by column name
	File            string            // of its first row
	Line            int               // of its first row, 1-based
	OwnReference    bool              // paired with open readings of this closing alone
}

// A Point is what is compared across closings. Frequencies within FreqMatch of
// each other, or within Summary.FreqToleranceHz, are one point; FreqHz is the lowest of them in this run.
type Point struct {
	FreqHz                 float64
	Position, Polarization string
	Band                   Band // of a mean over a band; zero for a reading
}

// A Band is what a row of a closing-level table speaks of. Such a row makes two
// points, the halves, equal in all but whether they are limited: of a closing that
// was limited at some of its points one of the two is, of one that was limited
// throughout both are. FreqHz of such a point is the band's middle, geometric.
type Band struct {
	LoHz, HiHz float64
	Half       int
}

// Reduced reports whether the point stands for the mean over a band.
func (p Point) Reduced() bool { return p.Band.HiHz > 0 }

// A Reference describes the open readings that serve a whole run, averaged in
// dB where they were repeated.
type Reference struct {
	Run     string      // whose readings they are: this run's, or the one it names
	Date    time.Time   // of those readings; zero where unknown
	Repeats [][]float64 // dB, by repeat and then by index in Points; NaN where a repeat lacks the point
	// DriftDB is the largest over points of (highest - lowest repeat), own readings of
	// a closing among themselves included; 0 with one repeat, NaN without any.
	DriftDB float64
	DriftAt int // the point of that drift, an index in Points; -1 where there is none
}

// The rows of the side tables.
type (
	// A Box is a row of boxes.csv. Lengths are in mm; NaN where not given.
	Box = sidetable.Box
	// A Gasket is a row of gaskets.csv. Lengths in mm; NaN where not given.
	Gasket = sidetable.Gasket
	// An Event is a row of events.csv. Kinds: replaced, repaired, cleaned and
	// adjusted start a new fitting; dropped and note do not.
	Event = sidetable.Event
	// A SetupField is a row of setup.csv, kept verbatim.
	SetupField = sidetable.SetupField
)

// An Input accounts for one file: Rows = Used + Skipped + Blank, always. Rows
// counts the lines of data, the header excluded. Used means read and understood.
type Input struct {
	Path                       string
	Rows, Used, Skipped, Blank int
}

// A LeftOut run had open readings that moved by more than the permitted drift.
type LeftOut struct {
	Run      string
	DriftDB  float64
	FreqHz   float64 // where it moved most
	Readings int     // closed readings that went with it
	Boxes    []string
}

// A Summary is what a whole reading gives beside its runs.
type Summary struct {
	Inputs   []Input
	Problems []Problem // sorted by file, line, column; at most Options.ProblemLimit
	Omitted  int       // problems beyond that limit
	Notes    []string  // ignored columns and the like, each a sentence, sorted
	LeftOut  []LeftOut
	// FreqToleranceHz is the largest freq_tolerance_hz that a usable row of a runs.csv
	// declares, 0 where none does: frequencies this near are one point, in all runs.
	FreqToleranceHz float64
	Boxes           []Box
	Gaskets         []Gasket
	Events          []Event
	Setup           []SetupField
}

// Options are the settings of a reading. The zero value is not usable; start
// from DefaultOptions.
type Options struct {
	FloorMarginDB float64                                // a closed reading nearer to the floor is limited
	FloorDBM      *float64                               // the receiver's floor where the data give none
	NoFloor       bool                                   // the user vouches that readings are clear of the floor
	DriftDB       float64                                // an open reference that moved by more is left out
	KeepDrifted   bool                                   // keep such runs
	FreqMatch     float64                                // relative; frequencies within it are equal
	SkipBadRows   bool                                   // go on without the rows that have a problem
	ProblemLimit  int                                    // list at most so many problems
	Stdin         interface{ Read([]byte) (int, error) } // what the path "-" reads
	OmitReadings  bool                                   // leave Run.Readings nil, which is faster
	Progress      func(done, total int64)                // told bytes now and then, from the calling goroutine; nil: not told
	Allocator     memory.Allocator                       // of the records; nil: the default one
	// Again, if it is not nil, permits Read to take large files to be in order, which
	// is faster. It is called once, between visits, where that was wrong: what was
	// visited is to be discarded, and all runs are visited from the first one on.
	Again func()
	probe bool // small files too
}

// DefaultOptions returns the settings of the command line: margin 6 dB, drift
// 3 dB (IEEE Std 299-2006, 4.4), frequencies equal within 1 ppm.
func DefaultOptions() Options {
	return Options{FloorMarginDB: 6, DriftDB: 3, FreqMatch: 1e-6, ProblemLimit: 100}
}
