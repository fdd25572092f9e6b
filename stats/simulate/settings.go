package simulate

import "time"

// Settings describe a made-up campaign. Start from Defaults or from a Plan;
// New refuses what cannot be simulated and says why. Every quantity in dB may
// be any finite number unless it says otherwise; an SD is at least 0.
type Settings struct {
	Seed     uint64 // equal settings with equal seeds give equal campaigns
	Products []Product
	Boxes    []Box
	Sessions []Session
	Points   []Point
	Bands    []Band // groups of points for Truth and Selection; none: only the whole range

	Closings int // planned closings of each visit, at least 1
	Sweeps   int // closed readings of each closing and point, at least 1

	SD          Spread
	PointSDs    []float64 // dB, one per point, in place of SD.PointDB; nil: SD.PointDB at all points
	ProfileSDDB float64   // SD of the fixed profile over points, drawn once per product and point
	Bad         Bad

	Open        Curve   // dBm that the receiver shows without a box, at gain 0
	Floor       Curve   // dBm that it shows with the generator off; nil: no floor, nothing is limited
	FloorAdds   bool    // the receiver shows the power sum of signal and floor; false: the larger of the two
	OpenRepeats int     // open sweeps of each run, the first at its start and the last at its end; at least 1
	Drifts      []Drift // runs whose reference moves
	GainSteps   []GainStep

	MissingShare float64 // of the closed readings that are lost, each on its own; 0 to below 1
	DroppedShare float64 // of the planned closings that do not take place; 0 to below 1, one per visit is kept

	// SharedReference makes one run of each session, whose open readings serve
	// all its boxes. False: one run for each box in each session.
	SharedReference bool
}

// A Product is a gasket as it is sold; the as-bought seal is one too.
type Product struct {
	Label            string
	MeanDB           float64 // attenuation at age 0, before the shape
	Shape            Curve   // dB added to MeanDB over frequency; nil: flat
	WearDBPerYear    float64 // common slope; negative where the gasket loses attenuation
	SlopeSDDBPerYear float64 // SD of each strip's own slope around it
}

// A Box is one enclosure. A control box is closed once and never opened again:
// all its readings share that closing, and its strip does not wear.
type Box struct {
	Label    string
	Control  bool
	Fittings []Fitting // at least one
}

// A Fitting is one strip in one box. It is measured in every session of its
// box from Installed to Removed, both days included: a strip that is replaced
// on the day of a session is measured first, then its successor.
type Fitting struct {
	Product   string    // a label among Settings.Products
	Label     string    // unique within box and product; empty: its number within the box
	Installed time.Time // civil date at midnight UTC; age counts from it
	Removed   time.Time // likewise; zero: stays to the end
}

// A Session is one setting-up of the instruments.
type Session struct {
	Label string    // empty: the date, as 2006-01-02
	Date  time.Time // civil date at midnight UTC
	Boxes []string  // labels of the boxes it serves; nil: all
}

// A Point is what is compared across closings.
type Point struct {
	FreqHz                 float64 // above 0
	Position, Polarization string
}

// A Band holds the points with LoHz < FreqHz <= HiHz.
type Band struct {
	Name       string
	LoHz, HiHz float64
}

// Holds reports whether the band holds the frequency.
func (b Band) Holds(freqHz float64) bool { return b.LoHz < freqHz && freqHz <= b.HiHz }

// A Spread is the SD of each random term, in dB.
type Spread struct {
	BoxDB     float64 `json:"box_db"`
	FittingDB float64 `json:"fitting_db"`
	SessionDB float64 `json:"session_db"`
	VisitDB   float64 `json:"visit_db"`   // of one fitting in one session
	ClosingDB float64 `json:"closing_db"` // common to the points of a closing
	PointDB   float64 `json:"point_db"`   // of one point in one closing
	OpenDB    float64 `json:"open_db"`    // of one open sweep, common to its points
	ReadingDB float64 `json:"reading_db"` // of one reading, open or closed
	FloorDB   float64 `json:"floor_db"`   // of the floor from one reading to the next, with the generator off or on
}

// Bad closings lose a skewed number of dB at all points alike: a trapped cable,
// a latch left open.
type Bad struct {
	Share  float64 `json:"share"`   // of the closings that are bad, 0 to 1
	LossDB float64 `json:"loss_db"` // mean of the exponential loss, at least 0
}

// A Drift moves what the receiver shows, open and closed, evenly by DB from the
// first open sweep of a run to the last.
type Drift struct {
	Session, Box string // labels; Box is not looked at where one run serves the session
	DB           float64
}

// A GainStep is a preamplifier (+) or attenuator (-) between antenna and
// receiver, put in or taken out between the open and the closed readings. It
// shifts what the receiver shows, is recorded, and leaves every attenuation as
// it was. The floor is the receiver's own, so a gain lifts the signal above it;
// FloorDB says by how much the gain's own noise lifts the floor.
type GainStep struct {
	Session, Box string // labels; Box empty, or one run serving the session: every box of it
	OpenDB       float64
	ClosedDB     float64
	FloorDB      float64
}

// Defaults returns settings to which products, boxes, sessions and points are
// still to be added: five closings of one sweep, two open sweeps in each run,
// an open level of -30 dBm, a floor of -110 dBm, and the spreads of a plausible
// campaign (common practice, no source).
func Defaults() Settings {
	return Settings{
		Seed: 1, Closings: 5, Sweeps: 1, OpenRepeats: 2,
		SD: Spread{
			BoxDB: 2, FittingDB: 1.5, SessionDB: 0.8, VisitDB: 0.5,
			ClosingDB: 1.2, PointDB: 1.5, OpenDB: 0.2, ReadingDB: 0.1, FloorDB: 0.3,
		},
		ProfileSDDB: 3,
		Open:        Flat(-30),
		Floor:       Flat(-110),
		FloorAdds:   true,
	}
}
