package study

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"

	"sealbound/cmd/internal/report"
)

// Check says whether the data are usable and what is in them. Where the input has
// problems it returns the Document with them and an *InputError.
func Check(ctx context.Context, paths []string, s Settings) (*report.Document, error) {
	if err := s.check(nil); err != nil {
		return nil, err
	}
	c, err := read(ctx, paths, s)
	defer s.closed(c)
	var bad *InputError
	if err != nil && (!errors.As(err, &bad) || c.summary == nil) {
		return nil, err
	}
	if bad != nil {
		c.settle(s.FreqMatchPPM * 1e-6)
	}
	n := &notebook{}
	doc := &report.Document{Version: s.Version, Command: "check", Settings: s.readingSettings(), Inputs: inputRows(c.summary)}
	row := c.checkRow()
	alike, unread := c.sift(&row, s)
	if unread != nil {
		return nil, unread
	}
	for _, text := range c.nameFittings() {
		n.add(text, "")
	}
	c.noteDrift(s, n)
	c.noteFuture(s, n)
	c.noteRuns(n)
	c.noteFloors(n)
	c.noteContext(n)
	for _, text := range alike {
		n.add(text, "")
	}
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
		if r.openRepeats > 1 && !(drift >= r.driftDB) && !math.IsNaN(r.driftDB) {
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
	for _, r := range c.runs {
		if r.openReadings && r.openRepeats < 2 {
			single = append(single, r.label)
		}
		if r.gainSettings > 1 {
			steps = append(steps, fmt.Sprintf("%s (%d settings)", r.label, r.gainSettings))
		}
	}
	sortLabels(single)
	sortLabels(steps)
	if len(single) > 0 {
		n.add(fmt.Sprintf("%s with a single open reading, so without a known drift: %s", count(len(single), "run"), someOf(single)), "")
	}
	if len(steps) > 0 {
		n.add("gain or generator level changed, and is accounted for, in "+someOf(steps), "")
	}
	if sweeps := c.census.sweeps; sweeps > 0 {
		n.add(fmt.Sprintf("%s averaged in dB from repeat sweeps; sweeps are not replicates", count(sweeps, "reading")), "")
	}
	if _, whole := c.reduced(); c.census.given > 0 && whole {
		n.add(fmt.Sprintf("%s of a closing-level table: means over the points of a band", count(c.census.given, "row")), "")
	} else if given := c.census.given; given > 0 {
		n.add(fmt.Sprintf("%s given as attenuation: their open reference cannot be looked at", count(given, "reading")), "")
	}
}

// noteFloors tells where the floors come from.
func (c *campaign) noteFloors(n *notebook) {
	var parts []string
	for _, p := range []struct {
		n    int
		from string
	}{{c.census.floorRow, "floor rows"}, {c.census.floorColumn, "a floor column"}, {c.census.option, "--floor"}} {
		if p.n > 0 {
			parts = append(parts, fmt.Sprintf("%d by %s", p.n, p.from))
		}
	}
	if len(parts) > 0 {
		n.add("receiver floor known for closed readings: "+listed(parts), "")
	}
	if unknown := c.census.unknown; unknown > 0 {
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
