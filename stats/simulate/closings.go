package simulate

import "sealbound/stats"

// A Selection says which closings and which points are wanted. An empty label
// means all of them; the zero value is the whole campaign. Control boxes are
// left out unless Box names one.
type Selection struct {
	Product, Box, Session string // labels
	Band                  string // its name among Settings.Bands
}

// Closings are the band values of the selected closings.
type Closings struct {
	// Sample holds one value (dB) per closing: the mean over the band's points
	// of what was measured, with every point read and without a floor. Its
	// factors are box, fitting, session and visit, each numbered without gaps
	// in the order in which its levels first appear.
	stats.Sample
	Gasket   stats.Factor // the product of each closing, numbered likewise
	Gaskets  []string     // labels of its levels
	Run      stats.Factor // the run of each closing, numbered likewise
	Runs     []int        // index in Campaign.Runs, by level of Run
	AgeYears []float64    // of the strip, by closing
	Visits   []int        // index in Campaign.Visits, by closing
}

// Factors of Closings, as indexes in Sample.Factors.
const (
	BoxFactor = iota
	FittingFactor
	SessionFactor
	VisitFactor
)

// Closings draws the band values of the selected closings. Runs with a drift
// are among them, with the error that the drift leaves in the average of their
// open sweeps.
func (c *Campaign) Closings(want Selection) Closings {
	points := c.pointsOf(want.Band)
	visits, n := c.selected(want, points)
	out := newClosings(n)
	codes := newCoder()
	m := c.newMeter()
	ref := newReferences(c)
	for _, i := range visits {
		v := &c.visits[i]
		shared := m.visit(v) + c.meanOf(v.Product, points) + ref.meanOver(m, v.Run, points)
		for k, name := range v.Closings {
			out.Values = append(out.Values, shared+m.bandOf(v, k, name, points))
			codes.add(&out, c, i)
		}
	}
	codes.finish(&out)
	return out
}

// bandOf is what the k-th closing of a visit adds to its band value.
func (m *meter) bandOf(v *Visit, k, name int, points []int) float64 {
	s := &m.c.settings
	key := m.closingKey(v, name)
	db := m.closing(key) + meanAt(m.residuals(key), points)
	if s.SD.ReadingDB > 0 {
		sum := 0.0
		for sweep := range s.Sweeps {
			sum += meanAt(m.noises(closedNoise, sweepKey(v, name, sweep), s.SD.ReadingDB), points)
		}
		db -= sum / float64(s.Sweeps)
	}
	run := &m.c.runs[v.Run]
	if run.DriftDB != 0 {
		db -= run.DriftDB * run.closedShare(m.c.before(v)+k)
	}
	return db
}

// before counts the closings of the visit's run that precede the visit.
func (c *Campaign) before(v *Visit) int {
	n := 0
	for _, i := range c.runs[v.Run].Visits {
		if &c.visits[i] == v {
			break
		}
		n += len(c.visits[i].Closings)
	}
	return n
}

// references remembers the error of a run's averaged open sweeps, since a run
// that serves many boxes is asked for it once for each.
type references struct {
	c    *Campaign
	run  int
	mean float64
}

func newReferences(c *Campaign) *references { return &references{c: c, run: -1} }

// meanOver is by how much the averaged open sweeps of a run lie above the true
// open level at its start, over the points.
func (r *references) meanOver(m *meter, run int, points []int) float64 {
	if run == r.run {
		return r.mean
	}
	s := &r.c.settings
	sum := 0.0
	for repeat := range s.OpenRepeats {
		key := mix(r.c.runs[run].key, uint64(repeat))
		sum += m.normal(openOffset, key, s.SD.OpenDB) + float64(r.c.runs[run].DriftDB*s.openShare(repeat))
		if s.SD.ReadingDB > 0 {
			sum += meanAt(m.noises(openNoise, key, s.SD.ReadingDB), points)
		}
	}
	r.run, r.mean = run, sum/float64(s.OpenRepeats)
	return r.mean
}

func sweepKey(v *Visit, name, sweep int) uint64 {
	return mix(mix(v.key, uint64(name-v.offset)), uint64(sweep))
}

// selected lists the wanted visits and counts their closings; none where there
// is no point to read.
func (c *Campaign) selected(want Selection, points []int) (visits []int, closings int) {
	if len(points) == 0 {
		return nil, 0
	}
	s := &c.settings
	for i := range c.visits {
		v := &c.visits[i]
		switch box := &s.Boxes[v.Box]; {
		case want.Box != "" && box.Label != want.Box, want.Box == "" && box.Control:
		case want.Product != "" && s.Products[v.Product].Label != want.Product:
		case want.Session != "" && s.Sessions[v.Session].Name() != want.Session:
		default:
			visits = append(visits, i)
			closings += len(v.Closings)
		}
	}
	return visits, closings
}

// pointsOf lists the points of a band; of all points where it has no name.
func (c *Campaign) pointsOf(band string) []int {
	var out []int
	for i, p := range c.settings.Points {
		if band == "" {
			out = append(out, i)
			continue
		}
		for _, b := range c.settings.Bands {
			if b.Name == band && b.Holds(p.FreqHz) {
				out = append(out, i)
			}
		}
	}
	return out
}

// meanOf is a product's true mean over the points at age 0, dB.
func (c *Campaign) meanOf(product int, points []int) float64 { return meanAt(c.fixed[product], points) }

// meanAt averages the values at the indexes, of which there is at least one.
func meanAt(values []float64, at []int) float64 {
	sum := 0.0
	for _, i := range at {
		sum += values[i]
	}
	return sum / float64(len(at))
}

func newClosings(n int) Closings {
	out := Closings{
		Gasket:   stats.Factor{Name: "gasket", Codes: make([]int32, 0, n)},
		Run:      stats.Factor{Name: "run", Codes: make([]int32, 0, n)},
		AgeYears: make([]float64, 0, n),
		Visits:   make([]int, 0, n),
	}
	out.Values = make([]float64, 0, n)
	for _, name := range [...]string{"box", "fitting", "session", "visit"} {
		out.Factors = append(out.Factors, stats.Factor{Name: name, Codes: make([]int32, 0, n)})
	}
	return out
}

// A coder numbers the levels of each factor in the order of their appearance.
type coder struct {
	codes       [4]map[int]int32
	gasket, run map[int]int32
}

func newCoder() *coder {
	c := &coder{gasket: map[int]int32{}, run: map[int]int32{}}
	for i := range c.codes {
		c.codes[i] = map[int]int32{}
	}
	return c
}

func (k *coder) add(out *Closings, c *Campaign, visit int) {
	v := &c.visits[visit]
	for i, level := range [...]int{v.Box, v.Fitting, v.Session, visit} {
		out.Factors[i].Codes = append(out.Factors[i].Codes, code(k.codes[i], level))
	}
	out.Gasket.Codes = append(out.Gasket.Codes, code(k.gasket, v.Product))
	if len(k.gasket) > len(out.Gaskets) {
		out.Gaskets = append(out.Gaskets, c.settings.Products[v.Product].Label)
	}
	out.Run.Codes = append(out.Run.Codes, code(k.run, v.Run))
	if len(k.run) > len(out.Runs) {
		out.Runs = append(out.Runs, v.Run)
	}
	out.AgeYears = append(out.AgeYears, v.AgeYears)
	out.Visits = append(out.Visits, visit)
}

func (k *coder) finish(out *Closings) {
	for i := range out.Factors {
		out.Factors[i].Levels = len(k.codes[i])
	}
	out.Gasket.Levels, out.Run.Levels = len(k.gasket), len(k.run)
}

func code(of map[int]int32, level int) int32 {
	n, known := of[level]
	if !known {
		n = int32(len(of))
		of[level] = n
	}
	return n
}
