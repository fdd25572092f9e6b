package study

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"sealbound/cmd/internal/report"
)

// Check says whether the data are usable and what is in them. Where the input has
// problems it returns the Document with them and an *InputError.
func Check(ctx context.Context, paths []string, s Settings) (*report.Document, error) {
	if err := s.check(nil); err != nil {
		return nil, err
	}
	c, err := read(ctx, paths, s)
	var bad *InputError
	if err != nil && (!errors.As(err, &bad) || c.summary == nil) {
		return nil, err
	}
	if bad != nil {
		c.settle(c.seen, s.FreqMatchPPM*1e-6)
	}
	n := &notebook{}
	doc := &report.Document{Version: s.Version, Command: "check", Settings: s.readingSettings(), Inputs: inputRows(c.summary)}
	row := c.checkRow()
	for _, text := range c.nameFittings() {
		n.add(text, "")
	}
	c.noteDrift(s, n)
	c.noteFuture(s, n)
	c.noteRuns(n)
	c.noteFloors(n)
	c.noteContext(n)
	c.noteFloorLike(n)
	doc.Check = []report.CheckRow{row}
	doc.Headlines = []string{checkHeadline(row, c.summary.Omitted)}
	doc.Notes = append(n.lines(), c.summary.Notes...)
	doc.Cautions = cautions
	return doc, err
}

// readingSettings are the settings that concern reading alone.
func (s Settings) readingSettings() []report.Setting {
	keep := []string{"floor_margin_db", "floor_dbm", "no_floor", "drift_db", "keep_drifted", "freq_match_ppm", "skip_bad_rows"}
	return slices.DeleteFunc(s.shown(nil), func(x report.Setting) bool { return !slices.Contains(keep, x.Name) })
}

func (c *campaign) checkRow() report.CheckRow {
	row := report.CheckRow{Files: len(c.summary.Inputs), Problems: problemRows(c.summary),
		Closings: len(c.closings), Boxes: len(c.distinct("box")), Gaskets: len(c.distinct("gasket")),
		Sessions: len(c.distinct("session"))}
	for _, in := range c.summary.Inputs {
		row.Rows += in.Rows
	}
	runs := make(map[string]bool)
	drift := nan
	for _, r := range c.runs {
		runs[r.label] = true
		if r.counts.OpenRepeats > 1 && !(drift >= r.driftDB) && !math.IsNaN(r.driftDB) {
			drift = r.driftDB
		}
	}
	for _, l := range c.summary.LeftOut {
		runs[l.Run] = true
		if !(drift >= l.DriftDB) && !math.IsNaN(l.DriftDB) {
			drift = l.DriftDB
		}
	}
	row.Runs, row.DriftDB = len(runs), defined(drift)
	frequencies := make(map[float64]bool)
	type cell struct {
		session string
		point   int32
	}
	headroom := make(map[cell]float64)
	for i := range c.closings {
		cl := &c.closings[i]
		for _, r := range cl.readings {
			frequencies[c.points[r.point].FreqHz] = true
			if r.limited {
				row.Limited++
			}
			k := cell{cl.Session, r.point}
			if h, seen := headroom[k]; !seen || r.headroomDB < h || math.IsNaN(h) {
				headroom[k] = r.headroomDB
			}
		}
	}
	row.Frequencies = len(frequencies)
	low := nan
	for _, session := range c.distinct("session") {
		sum, n := 0.0, 0
		for p := range c.points {
			if h, seen := headroom[cell{session, int32(p)}]; seen && !math.IsNaN(h) {
				sum, n = sum+h, n+1
			}
		}
		if mean := sum / float64(n); n > 0 && !(mean >= low) {
			low = mean
		}
	}
	row.HeadroomDB = defined(low)
	return row
}

func checkHeadline(r report.CheckRow, omitted int) string {
	has := fmt.Sprintf("%s of %s with %s in %s, %s", count(r.Closings, "closing"), count(r.Boxes, "box"),
		count(r.Gaskets, "gasket"), count(r.Sessions, "session"), plural("frequency", "frequencies", r.Frequencies))
	if n := len(r.Problems) + omitted; n > 0 {
		return fmt.Sprintf("Not usable as it is: %s to mend; what could be read: %s.", count(n, "problem"), has)
	}
	return "Usable: " + has + "."
}

// noteRuns tells of repeated references, gain steps and sweeps.
func (c *campaign) noteRuns(n *notebook) {
	var single, steps []string
	sweeps, given := 0, 0
	for _, r := range c.runs {
		if r.counts.Open > 0 && r.counts.OpenRepeats < 2 {
			single = append(single, r.label)
		}
		if r.counts.GainSettings > 1 {
			steps = append(steps, fmt.Sprintf("%s (%d settings)", r.label, r.counts.GainSettings))
		}
		sweeps += r.counts.Sweeps
		given += r.counts.Given
	}
	slices.Sort(single)
	slices.Sort(steps)
	if len(single) > 0 {
		n.add(fmt.Sprintf("%s with a single open reading, so without a known drift: %s", count(len(single), "run"), someOf(single)), "")
	}
	if len(steps) > 0 {
		n.add("gain or generator level changed, and is accounted for, in "+someOf(steps), "")
	}
	if sweeps > 0 {
		n.add(fmt.Sprintf("%s averaged in dB from repeat sweeps; sweeps are not replicates", count(sweeps, "reading")), "")
	}
	if given > 0 {
		n.add(fmt.Sprintf("%s given as attenuation: their open reference cannot be looked at", count(given, "reading")), "")
	}
}

// noteFloors tells where the floors come from.
func (c *campaign) noteFloors(n *notebook) {
	var rows, columns, option, unknown int
	for _, r := range c.runs {
		rows += r.counts.FloorByRow
		columns += r.counts.FloorByColumn
		option += r.counts.FloorByOption
		unknown += r.counts.FloorUnknown
	}
	var parts []string
	for _, p := range []struct {
		n    int
		from string
	}{{rows, "floor rows"}, {columns, "a floor column"}, {option, "--floor"}} {
		if p.n > 0 {
			parts = append(parts, fmt.Sprintf("%d by %s", p.n, p.from))
		}
	}
	if len(parts) > 0 {
		n.add("receiver floor known for closed readings: "+listed(parts), "")
	}
	if unknown > 0 {
		n.add(fmt.Sprintf("no floor known for %s: their figures are at least these; read the floor with the generator off and the box closed, or give --floor, or vouch with --no-floor",
			count(unknown, "closed reading")), "")
	}
}

// noteContext counts the values of the columns that describe how it was measured.
func (c *campaign) noteContext(n *notebook) {
	for _, f := range slices.Concat(instrumentFields, conditionFields) {
		if values := c.distinct(f); len(values) > 0 {
			n.add(fmt.Sprintf("%s: %s (%s)", f, plural("value", "values", len(values)), someOf(values)), "")
		}
	}
}

// floorLikeDB is how near closed levels of different boxes must lie to look like
// one and the same receiver floor.
const floorLikeDB = 1

// noteFloorLike warns where closed levels of different boxes agree at the same
// points: boxes differ, a floor does not. Readings known to be limited are left out.
func (c *campaign) noteFloorLike(n *notebook) {
	type place struct{ session, box string }
	type level struct {
		sum float64
		n   int
	}
	levels := make(map[place]map[int32]*level)
	for i := range c.closings {
		cl := &c.closings[i]
		k := place{cl.Session, cl.Box}
		for _, r := range cl.readings {
			open, ok := c.runs[cl.run].openMean(r.point)
			if r.limited || !ok {
				continue
			}
			if levels[k] == nil {
				levels[k] = make(map[int32]*level)
			}
			l := levels[k][r.point]
			if l == nil {
				l = &level{}
				levels[k][r.point] = l
			}
			l.sum, l.n = l.sum+open-r.db, l.n+1
		}
	}
	boxes := c.distinct("box")
	for _, session := range c.distinct("session") {
		var alike []string
		for i, a := range boxes {
			for _, b := range boxes[i+1:] {
				same, common := 0, 0
				for p, x := range levels[place{session, a}] {
					y := levels[place{session, b}][p]
					if y == nil {
						continue
					}
					common++
					if math.Abs(x.sum/float64(x.n)-y.sum/float64(y.n)) <= floorLikeDB {
						same++
					}
				}
				if common >= 3 && same == common {
					alike = append(alike, a+" and "+b)
				}
			}
		}
		if len(alike) > 0 {
			n.add(fmt.Sprintf("session %s: closed levels agree within %d dB at every common point for boxes %s: that is what a receiver's floor looks like; read it with the generator off",
				session, floorLikeDB, strings.Join(alike, ", ")), "")
		}
	}
}

// openMean is the run's open level at a point, averaged over its repeats in dB.
func (r run) openMean(point int32) (float64, bool) {
	sum, n := 0.0, 0
	for _, levels := range r.open {
		if x, ok := levels[point]; ok {
			sum, n = sum+x, n+1
		}
	}
	return sum / float64(n), n > 0
}
