package study

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"slices"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/array"

	"sealbound/cmd/internal/report"
	"sealbound/ingest"
)

// A campaign holds what is kept of the runs: closings and their attenuations.
// Order is canonical, so that the order of rows and files never shows.
type campaign struct {
	closings []closing
	points   []ingest.Point // ascending by frequency, position, polarization
	runs     []run
	summary  *ingest.Summary
	seen     []ingest.Point // as the runs gave them, before they are settled
}

// A closing has its attenuations by ascending point.
type closing struct {
	ingest.Closing
	fitting  string // what tells this fitting from others of the box and gasket
	run      int    // index in campaign.runs
	readings []reading
}

type reading struct {
	point               int32
	db, headroomDB      float64 // headroom NaN where not known
	limited, floorKnown bool
}

// A run keeps its open repeats by campaign point.
type run struct {
	label, reference string
	referenceDate    string
	open             []map[int32]float64
	driftDB          float64
	driftAt          ingest.Point
	counts           ingest.Counts
}

// read collects the campaign, or returns an *InputError. A campaign that the
// settings carry was read already.
func read(ctx context.Context, paths []string, s Settings) (*campaign, error) {
	if s.campaign != nil {
		return s.campaign, nil
	}
	return readAlso(ctx, paths, s, nil)
}

// readAlso shows each run to another reader too, with its readings as they stand in
// the data; nil: to none.
func readAlso(ctx context.Context, paths []string, s Settings, also func(*ingest.Run) error) (*campaign, error) {
	c := &campaign{}
	code := make(map[ingest.Point]int32)
	index := func(p ingest.Point) int32 {
		k, ok := code[p]
		if !ok {
			k = int32(len(c.seen))
			code[p] = k
			c.seen = append(c.seen, p)
		}
		return k
	}
	options := s.ingestOptions()
	options.OmitReadings = also == nil
	summary, err := ingest.Read(ctx, paths, options, func(r *ingest.Run) error {
		if also != nil {
			if err := also(r); err != nil {
				return err
			}
		}
		return c.add(r, index)
	})
	c.summary = summary
	if err != nil {
		return c, inputError(summary, err)
	}
	c.settle(c.seen, s.FreqMatchPPM*1e-6)
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

// add keeps one run. The records are released afterwards, so values are copied.
func (c *campaign) add(r *ingest.Run, index func(ingest.Point) int32) error {
	local := make([]int32, len(r.Points))
	for i, p := range r.Points {
		local[i] = index(p)
	}
	k := run{label: r.Label, reference: r.Reference.Run, referenceDate: civil(r.Reference.Date), driftDB: r.Reference.DriftDB, counts: r.Counts}
	if at := r.Reference.DriftAt; at >= 0 && at < len(r.Points) {
		k.driftAt = r.Points[at]
	}
	for _, repeat := range r.Reference.Repeats {
		levels := make(map[int32]float64, len(repeat))
		for i, x := range repeat {
			if !math.IsNaN(x) {
				levels[local[i]] = x
			}
		}
		k.open = append(k.open, levels)
	}
	first := len(c.closings)
	for _, cl := range r.Closings {
		c.closings = append(c.closings, closing{Closing: cl, run: len(c.runs)})
	}
	c.runs = append(c.runs, k)
	return eachAttenuation(r.Attenuation, func(closing, point int32, x reading) {
		x.point = local[point]
		at := &c.closings[first+int(closing)]
		at.readings = append(at.readings, x)
	})
}

// eachAttenuation walks the rows of a record of schema ingest.Attenuation.
func eachAttenuation(rec arrow.Record, visit func(closing, point int32, x reading)) error {
	column := func(name string) arrow.Array {
		at := ingest.Attenuation.FieldIndices(name)
		return rec.Column(at[0])
	}
	closings, ok1 := column("closing").(*array.Int32)
	points, ok2 := column("point").(*array.Int32)
	levels, ok3 := column("attenuation_db").(*array.Float64)
	limited, ok4 := column("limited").(*array.Boolean)
	known, ok5 := column("floor_known").(*array.Boolean)
	headroom, ok6 := column("headroom_db").(*array.Float64)
	if !ok1 || !ok2 || !ok3 || !ok4 || !ok5 || !ok6 {
		return fmt.Errorf("the attenuation table has other columns than its schema: %s", rec.Schema())
	}
	for i := range int(rec.NumRows()) {
		x := reading{db: levels.Value(i), limited: limited.Value(i), floorKnown: known.Value(i), headroomDB: math.NaN()}
		if headroom.IsValid(i) {
			x.headroomDB = headroom.Value(i)
		}
		visit(closings.Value(i), points.Value(i), x)
	}
	return nil
}

// settle makes points of different runs one where their frequencies match, and
// puts points, closings and readings into canonical order.
func (c *campaign) settle(points []ingest.Point, match float64) {
	order := make([]int32, len(points))
	for i := range order {
		order[i] = int32(i)
	}
	byPlace := func(a, b ingest.Point) int {
		return cmp.Or(cmp.Compare(a.Position, b.Position), cmp.Compare(a.Polarization, b.Polarization))
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
			if byPlace(low, points[i]) == 0 && points[i].FreqHz-low.FreqHz <= match*low.FreqHz {
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
	for i := range c.runs {
		for r, levels := range c.runs[i].open {
			moved := make(map[int32]float64, len(levels))
			for p, x := range levels {
				moved[final[p]] = x
			}
			c.runs[i].open[r] = moved
		}
	}
	for i := range c.closings {
		readings := c.closings[i].readings
		for k := range readings {
			readings[k].point = final[readings[k].point]
		}
		slices.SortFunc(readings, func(a, b reading) int { return cmp.Compare(a.point, b.point) })
	}
	slices.SortStableFunc(c.closings, func(a, b closing) int {
		return cmp.Or(cmp.Compare(a.Box, b.Box), cmp.Compare(a.Gasket, b.Gasket), cmp.Compare(a.Fitting, b.Fitting),
			a.Date.Compare(b.Date), cmp.Compare(a.Session, b.Session), cmp.Compare(a.Run, b.Run), cmp.Compare(a.Label, b.Label))
	})
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
