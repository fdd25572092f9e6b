package simulate

import (
	"strconv"
	"time"
)

const day = 24 * time.Hour

// daysPerYear turns days into years of age, here and wherever ages are counted.
const daysPerYear = 365.25

// A Campaign is the plan that Settings lead to: which strip is measured in
// which session, in which closings. It is not changed by use and may be shared.
type Campaign struct {
	settings Settings
	fixed    [][]float64 // dB at age 0, by product and point
	sds      []float64   // dB, point residual by point
	fittings []fitting
	visits   []Visit
	runs     []Run
}

type fitting struct {
	box, product int
	label        string
	key          uint64
	control      bool
}

// A Visit is the closings of one fitting in one session.
type Visit struct {
	Run, Session, Box, Product int    // indexes in Runs and in the lists of Settings
	Fitting                    int    // counts the fittings through all boxes
	FittingLabel               string // unique within box and product
	Installed                  time.Time
	AgeYears                   float64 // of the strip on the session's date
	Closings                   []int   // labels of the closings that took place, unique within run and box
	offset                     int     // of those labels, from earlier strips of the same box and run
	key                        uint64
}

// A Run is what one open reference serves.
type Run struct {
	Label            string
	Session          int
	Visits           []int   // indexes in Visits, in order
	DriftDB          float64 // of the reference from its first to its last open sweep
	OpenDB, ClosedDB float64 // gain in the open and in the closed (and floor) readings
	FloorRiseDB      float64
	closings         int
	key              uint64
}

// New lays out the campaign that the settings describe. Settings must not be
// changed afterwards.
func New(s Settings) (*Campaign, error) {
	if err := s.check(); err != nil {
		return nil, err
	}
	c := &Campaign{settings: s, sds: s.PointSDs}
	if c.sds == nil {
		c.sds = make([]float64, len(s.Points))
		for i := range c.sds {
			c.sds[i] = s.SD.PointDB
		}
	}
	draw := newStreams(s.Seed)
	c.layProfiles(draw)
	first := c.layFittings()
	for i := range s.Sessions {
		c.laySession(i, first, draw)
	}
	return c, nil
}

// Settings returns what the campaign was made from.
func (c *Campaign) Settings() Settings { return c.settings }

// Runs returns the runs in the order in which they were measured. Read-only.
func (c *Campaign) Runs() []Run { return c.runs }

// Visits returns the visits in the order in which they were measured. Read-only.
func (c *Campaign) Visits() []Visit { return c.visits }

// layProfiles fixes the mean of each product at each point.
func (c *Campaign) layProfiles(draw *streams) {
	s := &c.settings
	c.fixed = make([][]float64, len(s.Products))
	for g, p := range s.Products {
		c.fixed[g] = make([]float64, len(s.Points))
		key := label(p.Label)
		for i, pt := range s.Points {
			db := p.MeanDB + p.Shape.At(pt.FreqHz)
			if s.ProfileSDDB > 0 {
				db += float64(s.ProfileSDDB * draw.at(profileDraw, mix(key, pt.key())).NormFloat64())
			}
			c.fixed[g][i] = db
		}
	}
}

// layFittings lists the fittings of all boxes and returns where each box's begin.
func (c *Campaign) layFittings() []int {
	products := map[string]int{}
	for i, p := range c.settings.Products {
		products[p.Label] = i
	}
	var first []int
	for b, box := range c.settings.Boxes {
		first = append(first, len(c.fittings))
		for i, f := range box.Fittings {
			name := f.name(i)
			c.fittings = append(c.fittings, fitting{
				box: b, product: products[f.Product], label: name, control: box.Control,
				key: mix(mix(label(box.Label), label(f.Product)), label(name)),
			})
		}
	}
	return first
}

// laySession adds the runs and visits of one session.
func (c *Campaign) laySession(session int, first []int, draw *streams) {
	s := &c.settings
	e := s.Sessions[session]
	served := map[string]bool{}
	for _, b := range e.Boxes {
		served[b] = true
	}
	key := label(e.Name())
	open := -1 // the run that goes on
	for b, box := range s.Boxes {
		if e.Boxes != nil && !served[box.Label] {
			continue
		}
		if !s.SharedReference {
			open = -1
		}
		offset := 0
		for i, f := range box.Fittings {
			if e.Date.Before(f.Installed) || !f.Removed.IsZero() && f.Removed.Before(e.Date) {
				continue
			}
			if open < 0 {
				open = len(c.runs)
				c.runs = append(c.runs, s.newRun(session, box.Label))
			}
			unit := c.fittings[first[b]+i]
			v := Visit{
				Run: open, Session: session, Box: b, Product: unit.product, Fitting: first[b] + i, FittingLabel: unit.label,
				Installed: f.Installed, AgeYears: float64(e.Date.Sub(f.Installed)/day) / daysPerYear,
				offset: offset, key: mix(unit.key, key),
			}
			v.Closings = s.closings(&v, box.Control, draw)
			offset += s.Closings
			run := &c.runs[open]
			run.Visits = append(run.Visits, len(c.visits))
			run.closings += len(v.Closings)
			c.visits = append(c.visits, v)
		}
	}
}

// newRun names a run and finds its drift and gains.
func (s *Settings) newRun(session int, box string) Run {
	e := s.Sessions[session].Name()
	r := Run{Label: e + "-" + box, Session: session}
	if s.SharedReference {
		r.Label = e
	}
	r.key = label(r.Label)
	for _, d := range s.Drifts {
		if d.Session == e && (s.SharedReference || d.Box == box) {
			r.DriftDB += d.DB
		}
	}
	for _, g := range s.GainSteps {
		if g.Session == e && (s.SharedReference || g.Box == "" || g.Box == box) {
			r.OpenDB, r.ClosedDB, r.FloorRiseDB = g.OpenDB, g.ClosedDB, g.FloorDB
		}
	}
	return r
}

// closings lists the closings of a visit that take place. A control box is not
// closed anew: its one closing is read again.
func (s *Settings) closings(v *Visit, control bool, draw *streams) []int {
	if control {
		return []int{1}
	}
	out := make([]int, 0, s.Closings)
	if s.DroppedShare == 0 {
		for k := 1; k <= s.Closings; k++ {
			out = append(out, v.offset+k)
		}
		return out
	}
	rng := draw.at(droppedDraw, v.key)
	for k := 1; k <= s.Closings; k++ {
		if rng.Float64() >= s.DroppedShare {
			out = append(out, v.offset+k)
		}
	}
	if len(out) == 0 {
		out = append(out, v.offset+1)
	}
	return out
}

// Name returns the session's label, or its date where it has none.
func (e Session) Name() string {
	if e.Label != "" {
		return e.Label
	}
	return e.Date.Format(time.DateOnly)
}

func (f Fitting) name(i int) string {
	if f.Label != "" {
		return f.Label
	}
	return strconv.Itoa(i + 1)
}
