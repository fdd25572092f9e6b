package study

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"sealbound/cmd/internal/report"
	"sealbound/cmd/internal/spill"
	"sealbound/ingest"
)

// A campaign holds what is kept of the runs: closings, and where their attenuations
// stand. Order is canonical, so that the order of rows and files never shows.
type campaign struct {
	closings []*closing
	points   []ingest.Point // ascending by frequency, position, polarization
	runs     []run
	census   census
	summary  *ingest.Summary
	store    *spill.Store
	atOnce   int     // readings that are read back together
	intake   *intake // while it is read
	scratch  []byte
	shelf    shelf
	patterns patterns
	// aboutSpread: the question is where spread or slopes come from, not a bound
	aboutSpread bool
	control     map[string]bool // see controlBoxes
}

// An occasion is what the closings of one strip in one run share.
type occasion struct {
	*sitting
	Box, Gasket, Fitting string
	Installed            time.Time
	fitting              string // what tells this fitting from others of the box and gasket
	rank                 int    // among the occasions, in canonical order
}

// A sitting is what the occasions of a run mostly share.
type sitting struct {
	Date               time.Time
	Session, Run, File string
	context            *[]labelled
	run                int // index in campaign.runs
}

// A labelled value is one of a context column.
type labelled struct{ field, value string }

// A closing is kept small: an archive may have a million of them.
type closing struct {
	*occasion
	Label        string
	Line         int32
	OwnReference bool
	block        block // its attenuations
}

// A run keeps the levels of its open repeats, one after another, NaN where a repeat
// lacks the point.
type run struct {
	label, reference string
	referenceDate    string
	grid             *grid
	open             int64 // where the levels begin in the store
	repeats          int
	driftDB          float64
	driftAtHz        float64
	openReadings     bool  // it has some of its own
	openRepeats      int32 // as in ingest.Counts
	gainSettings     int32 // as in ingest.Counts
}

// read collects the campaign, or returns an *InputError. A campaign that the
// settings carry was read already. Whoever calls read closes what it returns.
func read(ctx context.Context, paths []string, s Settings) (*campaign, error) {
	if s.campaign != nil {
		return s.campaign, nil
	}
	return readAlso(ctx, paths, s, nil)
}

// closed gives back the store of a campaign that was read for these settings alone.
func (s Settings) closed(c *campaign) {
	if c != nil && s.campaign == nil {
		c.close()
	}
}

func (c *campaign) close() {
	if c.store != nil {
		c.store.Close() // what it held was only read
	}
}

// A witness sees each run too, with its readings as they stand in the data, and is told
// when to forget what it has seen.
type witness struct {
	add   func(*ingest.Run) error
	again func()
}

// readAlso is read with a witness, nil for none.
func readAlso(ctx context.Context, paths []string, s Settings, also *witness) (*campaign, error) {
	m := s.memory
	if m == (memory{}) {
		m = usual
	}
	begin := func() *campaign {
		return &campaign{store: spill.New(m.bytes), atOnce: m.readings, intake: newIntake(), patterns: patterns{}}
	}
	c := begin()
	options := s.ingestOptions()
	options.OmitReadings = also == nil
	options.Again = func() {
		c.close()
		if c = begin(); also != nil {
			also.again()
		}
	}
	if s.Progress != nil {
		options.Progress = func(done, total int64) { s.Progress("reading", done, total) }
	}
	summary, err := ingest.Read(ctx, paths, options, func(r *ingest.Run) error {
		if also != nil {
			if err := also.add(r); err != nil {
				return err
			}
		}
		return c.add(r)
	})
	c.summary = summary
	if err != nil {
		return c, inputError(summary, err)
	}
	c.settle(s.FreqMatchPPM * 1e-6)
	return c, nil
}

func inputError(summary *ingest.Summary, err error) error {
	if errors.Is(err, context.Canceled) {
		return err
	}
	e := &InputError{Err: err}
	if summary != nil {
		e.Problems, e.Omitted, e.Inputs = problemRows(summary), summary.Omitted, inputRows(summary)
	}
	return e
}

// mostClosings is how many closings, and how many runs, a campaign holds: with some
// 700 bytes for both it stays below a gigabyte. A variable for tests.
var mostClosings = 1_250_000

// mostWords is how many bytes of labels a campaign holds. A variable for tests.
var mostWords = 128 << 20

// add keeps one run. The records are released afterwards, so values are copied.
func (c *campaign) add(r *ingest.Run) error {
	if len(c.closings)+len(r.Closings) > mostClosings || len(c.runs) >= mostClosings {
		return fmt.Errorf("there are more than %d closings or runs, which is what fits into memory; give fewer files at a time, or divide them by box or by year", mostClosings)
	}
	in := c.intake
	in.run = strings.Clone(r.Label)
	if in.size += len(in.run); in.size > mostWords {
		return fmt.Errorf("the labels take up more than %d MB, which is what is held of them; shorten them, or give fewer files at a time", mostWords>>20)
	}
	k := run{label: in.run, reference: in.word(r.Reference.Run), referenceDate: in.word(civil(r.Reference.Date)), grid: in.gridOf(r.Points),
		repeats: len(r.Reference.Repeats), driftDB: r.Reference.DriftDB,
		openReadings: r.Counts.Open > 0, openRepeats: int32(r.Counts.OpenRepeats), gainSettings: int32(r.Counts.GainSettings)}
	c.count(r.Counts)
	if at := r.Reference.DriftAt; at >= 0 && at < len(r.Points) {
		k.driftAtHz = r.Points[at].FreqHz
	}
	var err error
	if k.open, err = c.keepOpen(r.Reference.Repeats, len(r.Points)); err != nil {
		return err
	}
	own := in.closings.take(len(r.Closings))
	for i := range r.Closings {
		cl := &r.Closings[i]
		own[i] = closing{occasion: in.occasionOf(cl, len(c.runs)), Label: in.word(cl.Label), Line: int32(cl.Line), OwnReference: cl.OwnReference}
		c.closings = append(c.closings, &own[i])
	}
	c.runs = append(c.runs, k)
	return c.keep(r.Attenuation, len(r.Points), own)
}

// A census counts the readings of all runs by how they came about.
type census struct {
	sweeps, given                          int
	floorRow, floorColumn, option, unknown int
}

func (c *campaign) count(k ingest.Counts) {
	n := &c.census
	n.sweeps, n.given = n.sweeps+k.Sweeps, n.given+k.Given
	n.floorRow, n.floorColumn = n.floorRow+k.FloorByRow, n.floorColumn+k.FloorByColumn
	n.option, n.unknown = n.option+k.FloorByOption, n.unknown+k.FloorUnknown
}

// settle makes points of different runs one where their frequencies match, and
// puts points and closings into canonical order.
func (c *campaign) settle(match float64) {
	if c.intake == nil {
		return
	}
	points := c.intake.points
	order := make([]int32, len(points))
	for i := range order {
		order[i] = int32(i)
	}
	byPlace := func(a, b ingest.Point) int {
		return cmp.Or(ingest.CompareLabels(a.Position, b.Position), ingest.CompareLabels(a.Polarization, b.Polarization),
			cmp.Compare(a.Band.LoHz, b.Band.LoHz), cmp.Compare(a.Band.HiHz, b.Band.HiHz), cmp.Compare(a.Band.Half, b.Band.Half))
	}
	slices.SortFunc(order, func(i, j int32) int {
		a, b := points[i], points[j]
		return cmp.Or(byPlace(a, b), cmp.Compare(a.FreqHz, b.FreqHz))
	})
	// Within a place, a frequency joins the lowest one that it matches.
	joined := make([]ingest.Point, len(points))
	for k, i := range order {
		joined[i] = points[i]
		if k > 0 {
			low := joined[order[k-1]]
			if byPlace(low, points[i]) == 0 && points[i].FreqHz-low.FreqHz <= max(match*low.FreqHz, c.summary.FreqToleranceHz) {
				joined[i] = low
			}
		}
	}
	c.points = slices.Clone(joined)
	byFrequency := func(a, b ingest.Point) int {
		return cmp.Or(cmp.Compare(a.FreqHz, b.FreqHz), byPlace(a, b))
	}
	slices.SortFunc(c.points, byFrequency)
	c.points = slices.Compact(c.points)
	final := make([]int32, len(points))
	for i, p := range joined {
		at, _ := slices.BinarySearchFunc(c.points, p, byFrequency)
		final[i] = int32(at)
	}
	for _, g := range c.intake.grids {
		g.settle(final)
	}
	c.order(c.intake.occasions)
	c.intake = nil
}

// order sorts the closings by what is written of them, of equal ones by when they
// were read. Occasions are far fewer, so these are compared, and closings counted.
func (c *campaign) order(occasions []*occasion) {
	compare := func(a, b *occasion) int {
		return cmp.Or(ingest.CompareLabels(a.Box, b.Box), ingest.CompareLabels(a.Gasket, b.Gasket), ingest.CompareLabels(a.Fitting, b.Fitting),
			a.Date.Compare(b.Date), ingest.CompareLabels(a.Session, b.Session), ingest.CompareLabels(a.Run, b.Run))
	}
	slices.SortFunc(occasions, compare)
	rank := 0
	for i, o := range occasions {
		if i > 0 && compare(occasions[i-1], o) != 0 {
			rank++
		}
		o.rank = rank
	}
	next := make([]int, rank+2)
	for _, cl := range c.closings {
		next[cl.rank+1]++
	}
	for i := range rank + 1 {
		next[i+1] += next[i]
	}
	starts := slices.Clone(next)
	sorted := make([]*closing, len(c.closings))
	for _, cl := range c.closings {
		sorted[next[cl.rank]] = cl
		next[cl.rank]++
	}
	for i := range rank + 1 {
		slices.SortStableFunc(sorted[starts[i]:starts[i+1]], func(a, b *closing) int { return ingest.CompareLabels(a.Label, b.Label) })
	}
	c.closings = sorted
}

func problemRows(s *ingest.Summary) []report.Problem {
	var rows []report.Problem
	for _, p := range s.Problems {
		rows = append(rows, report.Problem{File: p.File, Line: p.Line, Column: p.Column,
			Field: p.Field, Text: p.Text, What: p.What, Mend: p.Mend})
	}
	return rows
}

func inputRows(s *ingest.Summary) []report.Input {
	var rows []report.Input
	for _, in := range s.Inputs {
		rows = append(rows, report.Input{Path: in.Path, Rows: in.Rows, Used: in.Used, Skipped: in.Skipped, Blank: in.Blank})
	}
	return rows
}
