package study

import (
	"context"
	"fmt"
	"iter"
	"math"
	"slices"
	"strings"
	"time"

	"sealbound/cmd/internal/report"
	"sealbound/stats/judge"
	"sealbound/stats/spread"
)

// Spread says per group and band whether a result is repeatable, and where its spread
// comes from. The error is an *InputError, a *UsageError, or one of the system.
func Spread(ctx context.Context, paths []string, s Settings) (*report.Document, error) {
	by := s.By
	if len(by) == 0 {
		by = []string{"gasket"}
	}
	if err := s.check(by); err != nil {
		return nil, err
	}
	c, err := read(ctx, paths, s)
	defer s.closed(c)
	if err != nil {
		return nil, err
	}
	c.aboutSpread = true
	n := &notebook{}
	doc := &report.Document{Version: s.Version, Command: "spread", Settings: s.shownToSpread(by), Inputs: inputRows(c.summary)}
	cells, err := c.spreads(by, s, n)
	if err != nil {
		return nil, err
	}
	settings := spread.Settings{Confidence: s.Confidence, ToleranceDB: s.ToleranceDB, On: spread.Limit(s.ToleranceOn)}
	var all []*spreadCell
	for x, err := range cells {
		if err == nil {
			err = ctx.Err()
		}
		if err != nil {
			return nil, err
		}
		y := &spreadCell{cell: x}
		d := spread.Data{Data: x.data}
		if s.AllDates {
			d.AgeYears = ages(x)
		}
		if y.result, err = spread.Spread(d, settings); err != nil {
			return nil, fmt.Errorf("%s, band %s: %w", x.group.name(), x.band.Name, err)
		}
		all = append(all, y)
		doc.Spread = append(doc.Spread, y.row(s))
		c.noteSpread(y, s, n)
		if s.Explain {
			doc.Explain = append(doc.Explain, report.Explanation{Title: x.group.name() + ", band " + x.band.Name, Lines: y.result.Explain})
		}
		x.data, y.result.Band = judge.Data{}, nil // what follows asks for the result alone
	}
	noteTests(all, n)
	doc.Headlines = spreadHeadlines(all, s)
	doc.Notes = append(n.lines(), c.summary.Notes...)
	doc.Cautions = cautions
	return doc, nil
}

// A spreadCell is one group in one band with its spread.
type spreadCell struct {
	*cell
	result spread.Result
}

func (y *spreadCell) at() string { return y.group.short() + ", " + y.band.Name }

// spreads are the groups in their bands, of the test that judge speaks of.
func (c *campaign) spreads(by []string, s Settings, n *notebook) (iter.Seq2[*cell, error], error) {
	closings, err := c.chosen(s, n)
	if err != nil {
		return nil, err
	}
	groups := unpooled(groupBy(closings, by), by, s.Pool, n)
	for i, g := range groups {
		g = c.withoutControls(g, n)
		if s.AllDates {
			noteAllDates(g, n)
			groups[i] = g
			continue
		}
		groups[i] = lastTest(g, s.Within, n)
	}
	return c.banded(groups, s, target{flatDB: s.TargetDB}, n, func(g group) {
		mixedConditions(g, n)
		if gaskets := distinct(g.closings, "gasket"); len(gaskets) > 1 {
			n.add("different gasket products are pooled, so what another box adds holds their differences too", g.short()+": "+listed(gaskets))
		}
	})
}

// withoutControls leaves control boxes out of a group that has others: they stay shut,
// so that they show no spread of closings. A group of control boxes alone shows what
// days and instruments add.
func (c *campaign) withoutControls(g group, n *notebook) group {
	kept, left := c.controls(g)
	switch {
	case len(left) == 0:
		return g
	case len(kept.closings) == 0:
		n.add("control boxes alone: a box that is not opened in between shows the spread of days and instruments, without that of closings", g.short())
		return g
	}
	n.add("left out: control boxes, which stay shut and so show no spread of closings", fmt.Sprintf("%s: %s of box %s", g.short(), count(len(left), "reading"), listed(distinct(left, "box"))))
	return kept
}

// controls parts a group into the closings of its other boxes and those of control
// boxes.
func (c *campaign) controls(g group) (others group, control []*closing) {
	others.labels = g.labels
	isControl := c.controlBoxes()
	for _, cl := range g.closings {
		if isControl[cl.Box] {
			control = append(control, cl)
		} else {
			others.closings = append(others.closings, cl)
		}
	}
	return others, control
}

// ages are those of the strip at each closing, in years; NaN without a date.
func ages(x *cell) []float64 {
	start := started(x.group.closings)
	out := make([]float64, len(x.closings))
	for i, cl := range x.closings {
		out[i] = nan
		if from := start[cl.fittingKey()]; !cl.Date.IsZero() && !from.IsZero() {
			out[i] = float64(cl.Date.Sub(from)) / float64(daysOfYear)
		}
	}
	return out
}

// daysOfYear is the mean length of a year.
const daysOfYear = time.Duration(365.25 * float64(day))

func (y *spreadCell) row(s Settings) report.SpreadRow {
	r := y.result
	row := report.SpreadRow{Group: y.group.labels, Band: y.band,
		Boxes: r.Boxes, Fittings: r.Fittings, Sessions: r.Sessions, Closings: r.Closings,
		MeanDB: defined(r.MeanDB), LogLikelihood: defined(r.LogLikelihood),
		RepeatabilitySDDB: defined(r.Repeatability.SD), ReproducibilitySDDB: defined(r.Reproducibility.SD), UnitSDDB: defined(r.Unit.SD),
		RepeatabilityLimitDB: defined(r.Repeatability.LimitDB()), ReproducibilityLimit: defined(r.Reproducibility.LimitDB()),
		Verdict: string(r.Verdict)}
	decided := y.decided(s)
	row.LimitDB = defined(decided.LimitDB())
	row.LimitLowerDB, row.LimitUpperDB = defined(spread.LimitFactor*decided.Lower), defined(spread.LimitFactor*decided.Upper)
	for _, k := range r.Components {
		row.Components = append(row.Components, report.SpreadComponent{Source: k.Source, VarianceDB2: k.Variance, SDDB: k.SD,
			SDLowerDB: defined(k.Lower), SDUpperDB: defined(k.Upper), Share: k.Share})
	}
	for _, o := range r.Outliers {
		cl := y.closings[o.Closing]
		x := report.SpreadOutlier{Kind: string(o.Kind), Box: cl.Box, File: cl.File, Line: int(cl.Line), DB: o.DB, Statistic: o.Statistic, Critical: o.Critical}
		switch o.Kind {
		case spread.GrubbsClosing:
			x.Run, x.Closing = cl.Run, cl.Label
		case spread.GrubbsVisit, spread.CochranVisit, spread.MandelHVisit, spread.MandelKVisit:
			x.Run = cl.Run
		}
		row.Outliers = append(row.Outliers, x)
	}
	row.SEDB = defined(r.SEDB)
	for _, m := range r.More {
		row.More = append(row.More, report.SpreadMore{Unit: m.Unit, SEDB: defined(m.SEDB), Reason: m.Reason})
	}
	row.Reason, row.Undecided = y.reasons(), y.undecided(s)
	return row
}

// decided is the quantity whose limit is held against the tolerance.
func (y *spreadCell) decided(s Settings) spread.Quantity {
	if spread.Limit(s.ToleranceOn) == spread.Reproducibility {
		return y.result.Reproducibility
	}
	return y.result.Repeatability
}

// reasons says why something that the row could have said is not defined.
func (y *spreadCell) reasons() string {
	r := y.result
	if r.Reason != "" {
		return r.Reason
	}
	var parts, names []string
	quantities := []struct{ name, reason string }{{"repeatability", r.Repeatability.Reason}, {"reproducibility", r.Reproducibility.Reason}, {"what another box adds", r.Unit.Reason}}
	for i, q := range quantities { // those that share a reason share its words
		names = append(names, q.name)
		if i+1 < len(quantities) && quantities[i+1].reason == q.reason {
			continue
		}
		if q.reason != "" {
			parts = append(parts, listed(names)+": "+q.reason)
		}
		names = nil
	}
	return strings.Join(parts, "; ")
}

// undecided says what keeps a verdict from being one.
func (y *spreadCell) undecided(s Settings) string {
	d := y.decided(s)
	if y.result.Verdict != spread.Undecided || math.IsNaN(d.SD) {
		return ""
	}
	low, high := spread.LimitFactor*d.Lower, spread.LimitFactor*d.Upper
	switch {
	case math.IsNaN(high):
		return "undecided: the limit has no upper bound, since the closings read alike"
	case high <= s.ToleranceDB:
		return "undecided: no floor is known, and a floor would hide spread"
	}
	return fmt.Sprintf("undecided: the limit lies between %.2f and %.2f dB", low, high)
}

// shownToSpread lists the settings that a spread uses.
func (s Settings) shownToSpread(by []string) []report.Setting {
	used := []string{"bands", "by", "confidence", "floor_margin_db", "floor_dbm", "no_floor", "drift_db", "keep_drifted", "freq_match_ppm",
		"within_days", "all_dates", "box", "gasket", "since", "until", "pool", "skip_bad_rows"}
	out := slices.DeleteFunc(s.shown(by), func(x report.Setting) bool { return !slices.Contains(used, x.Name) })
	var tolerance, on any
	if s.ToleranceDB > 0 {
		tolerance, on = s.ToleranceDB, s.ToleranceOn
	}
	return append([]report.Setting{{Name: "tolerance_db", Value: tolerance}, {Name: "tolerance_on", Value: on}}, out...)
}
