package study

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"sealbound/ingest"
	"sealbound/stats/band"
	"sealbound/stats/judge"
)

// cautions stand under every result that a person reads.
var cautions = []string{
	"Mind: licence to transmit, RF exposure limits, lead or chromate in old paint, pinching lids.",
	"No reading promises that equipment survives a pulse; qualified engineers and local codes decide.",
}

func plural(one, many string, n int) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

// noteDrift says how far the open references moved, and which runs that cost.
func (c *campaign) noteDrift(s Settings, n *notebook) {
	for _, l := range c.summary.LeftOut {
		n.add(fmt.Sprintf("run %s left out: its open readings moved by %.1f dB at %s (more than %g dB), with it %s; --keep-drifted would keep it",
			l.Run, l.DriftDB, megahertz(l.FreqHz), s.DriftDB, count(l.Readings, "closed reading")), "")
	}
	worst := -1
	for i, r := range c.runs {
		if r.driftDB > 0 && (worst < 0 || r.driftDB > c.runs[worst].driftDB ||
			r.driftDB == c.runs[worst].driftDB && r.label < c.runs[worst].label) {
			worst = i
		}
	}
	switch {
	case worst >= 0:
		r := c.runs[worst]
		n.add(fmt.Sprintf("open readings moved by at most %.2f dB within a run (run %s, %s)", r.driftDB, r.label, megahertz(r.driftAtHz)), "")
	case slices.ContainsFunc(c.runs, func(r run) bool { return r.openRepeats > 1 && r.driftDB == 0 }):
		n.add("open readings did not move within a run", "")
	case slices.ContainsFunc(c.runs, func(r run) bool { return r.driftDB == 0 }):
		n.add("no drift can be told: no open reading was repeated within a run; read the reference again at the end", "")
	}
	var borrowed []string
	for _, r := range c.runs {
		if r.reference != "" && r.reference != r.label {
			date := cmp.Or(r.referenceDate, "no date")
			borrowed = append(borrowed, fmt.Sprintf("%s from %s (%s)", r.label, r.reference, date))
		}
	}
	if sortLabels(borrowed); len(borrowed) > 0 {
		n.add("open readings taken from another run: "+someOf(borrowed), "")
	}
}

// noteFuture tells of closings dated after the day on which this is asked: as a
// rule the clock of an instrument, or day and month changed about.
func (c *campaign) noteFuture(s Settings, n *notebook) {
	if s.Today.IsZero() {
		return
	}
	late, last, where := 0, civil(s.Today), ""
	for _, cl := range c.closings {
		if d := civil(cl.Date); d > civil(s.Today) {
			late++
			if d > last {
				last, where = d, fmt.Sprintf("%s, %s:%d", d, cl.File, cl.Line)
			}
		}
	}
	if late > 0 {
		n.add(fmt.Sprintf("%s dated after today, the latest %s: is the date right?", plural("closing is", "closings are", late), where), "")
	}
}

// noteAllDates says what time a pooled figure speaks of.
func noteAllDates(g group, n *notebook) {
	first, last := "", ""
	for i, cl := range g.closings {
		if i > 0 && g.closings[i-1].occasion == cl.occasion {
			continue
		}
		d := civil(cl.Date)
		if d == "" {
			continue
		}
		if first == "" || d < first {
			first = d
		}
		last = max(last, d)
	}
	if first != last {
		n.add(fmt.Sprintf("average over all tests from %s to %s: where a seal wears, the present level is lower", first, last), g.short())
	}
}

// noteResult says what a result rests on and what it leaves out.
func (c *campaign) noteResult(x *cell, r judge.Result, s Settings, n *notebook) {
	at := x.group.short() + ", " + x.band.Name
	c.noteLeftOut(x, r, at, n)
	if r.Closings == 0 {
		return
	}
	switch u := r.ReferenceU; {
	case r.ThisSetup && u.UDB > 0:
		n.add("the sign bound has no room for the error of the one reference: it holds in this set-up only", at)
	case r.ThisSetup:
		n.add("one session, or one reference for several, and no repeated open reading: nothing carries the error of the reference, so the verdict holds in this set-up only; read the open reference again at the end, test in another session, or give --session-sd", at)
	case u.UDB > 0 && r.Mean.Method != "sign":
		n.add(fmt.Sprintf("one session or one reference: its uncertainty (%s) is in the bounds", u.Name), at)
	}
	if r.FloorUnknown {
		n.add("no floor known: figures are at least these; give floor readings or --floor, or vouch for the readings with --no-floor", at)
	}
	if r.Limited > 0 {
		n.add("limited readings stand with what they demonstrate, so the mean is at least the figure; they allow no next-closing bound",
			fmt.Sprintf("%s: %d of %d readings", at, r.Limited, r.Readings))
	}
	if k := r.Censored; k != nil && len(k.PointsOut) > 0 {
		var names []string
		for _, p := range k.PointsOut {
			names = append(names, place(c.points[x.points[p]]))
		}
		n.add("points limited in every closing are not in the modelled estimate, which is therefore of another band", at+": "+someOf(names))
	}
	if k := r.Censored; k != nil && k.Reason != "" {
		n.add("no modelled estimate of the limited readings", at+": "+k.Reason)
	}
	if len(r.Mean.Dropped) > 0 {
		n.add("levels that show no spread are left out of the model, which is then fitted again", at+": "+listed(r.Mean.Dropped))
	}
	if d := math.Abs(r.OtherAverageDB - r.Mean.Value); d > 1 {
		dB, power := r.Mean.Value, r.OtherAverageDB
		if s.Average == "power" {
			dB, power = power, dB
		}
		n.add("averages over points differ by more than 1 dB between dB and leaked power", fmt.Sprintf("%s: %.1f dB, %.1f dB", at, dB, power))
	}
	if len(r.Points) > 20 && r.Closings < 5 {
		n.add("five closings or more are advised for the weakest of more than 20 points", at)
	}
	if r.Weakest == nil && r.WeakestWithout >= 0 && r.Closings > 1 {
		p := c.points[x.points[r.WeakestWithout]]
		n.add("weakest point not given where a point has no bound of its own", fmt.Sprintf("%s: %s, %s", at, place(p), r.WeakestReason))
	}
	for _, w := range r.Warnings {
		if w.Code == droppedCode { // said above, with the levels that it concerns
			continue
		}
		n.add(w.Text, at)
	}
	if r.Closings > 1 && r.Closings < 3 {
		n.add("two closings bound hardly anything; three are the least, five or more advised", at)
	}
}

func (c *campaign) noteLeftOut(x *cell, r judge.Result, at string, n *notebook) {
	if r.Band == nil {
		return
	}
	if k := len(r.Band.PointsOut); k > 0 {
		var names []string
		for _, p := range r.Band.PointsOut {
			names = append(names, place(c.points[x.points[p.Point]]))
		}
		n.add("points left out because not every fitting compared has them",
			fmt.Sprintf("%s: %s used, %s left out: %s", at, count(len(r.Points), "point"), plural("point", "points", k), someOf(names)))
	}
	for _, out := range r.Band.ClosingsOut {
		cl := x.closings[out.Closing]
		why := string(out.Reason)
		if out.Reason == band.FewPoints {
			why = fmt.Sprintf("%d of %d points", out.Points, out.Of)
		}
		n.add("closings left out", fmt.Sprintf("%s: closing %s of box %s in run %s, %s", at, cl.Label, cl.Box, cl.Run, why))
	}
}

// place names a point.
func place(p ingest.Point) string {
	parts := []string{megahertz(p.FreqHz)}
	if p.Position != "" {
		parts = append(parts, p.Position)
	}
	if p.Polarization != "" {
		parts = append(parts, p.Polarization)
	}
	return strings.Join(parts, " ")
}

// droppedCode is the model's own warning of a level without spread.
const droppedCode = "component-at-zero"
