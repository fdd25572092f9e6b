package study

import (
	"errors"
	"fmt"
	"math"

	"sealbound/cmd/internal/report"
	"sealbound/stats/plan"
)

// alternatives are the cheapest layouts with one session, box or closing more or
// fewer, within the limits.
func (p *planner) alternatives(search *plan.Search, limits plan.Limits, o plan.Outcome) {
	l := o.Layout
	rows := []report.PlanLayout{layoutRow("proposed", o, true)}
	try := func(what string, n int, bounds func(*plan.Limits) (least, most *int), most int) {
		within := limits
		lo, hi := bounds(&within)
		if *hi > 0 {
			most = *hi
		}
		if n < max(1, *lo) || n > most {
			return
		}
		*lo, *hi = n, n
		outcomes, err := search.Cheapest(within)
		if len(outcomes) == 0 || err != nil && !errors.Is(err, plan.ErrOutOfReach) {
			return
		}
		least := outcomes[0]
		for _, x := range outcomes {
			if x.Power < least.Power {
				least = x
			}
		}
		r := layoutRow(what, least, err == nil)
		for _, known := range rows {
			if r.Boxes > 0 && known.Boxes == r.Boxes && known.Sessions == r.Sessions && known.Closings == r.Closings {
				return
			}
		}
		rows = append(rows, r)
	}
	sessions := func(l *plan.Limits) (*int, *int) { return &l.Least.Sessions, &l.Most.Sessions }
	boxes := func(l *plan.Limits) (*int, *int) { return &l.Least.Boxes, &l.Most.Boxes }
	closings := func(l *plan.Limits) (*int, *int) { return &l.Least.Closings, &l.Most.Closings }
	try("one session fewer", l.Sessions-1, sessions, MostSessions)
	try("one session more", l.Sessions+1, sessions, MostSessions)
	try("one box fewer", l.Boxes-1, boxes, MostBoxes)
	try("one box more", l.Boxes+1, boxes, MostBoxes)
	try("one closing fewer each time", l.Closings-1, closings, MostClosingsEachTime)
	try("one closing more each time", l.Closings+1, closings, MostClosingsEachTime)
	p.doc.Plan.Layouts = rows
}

// layoutRow shows an outcome; of one that does not reach the power only that.
func layoutRow(what string, o plan.Outcome, reached bool) report.PlanLayout {
	r := report.PlanLayout{What: what, Power: o.Power}
	if reached {
		r.Boxes, r.Sessions, r.Closings, r.Cost = o.Layout.Boxes, o.Layout.Sessions, o.Layout.Closings, defined(o.Cost)
	}
	return r
}

// whatIfs are the powers that are left of the plan where the margin is smaller, or
// what weighs most in the variance of the mean larger, than was taken.
func (p *planner) whatIfs(c *planCase) {
	add := func(what string, v plan.Variances, margin float64) {
		if margin <= 0 { // at no margin the bound clears the target only where it errs
			p.doc.Plan.WhatIfs = append(p.doc.Plan.WhatIfs, report.PlanWhatIf{What: what + ", so none is left: at most", Power: 1 - p.s.Confidence})
			return
		}
		if o, err := plan.Evaluate(c.outcome.Layout, v, p.aim(margin, p.s.Power)); err == nil {
			p.doc.Plan.WhatIfs = append(p.doc.Plan.WhatIfs, report.PlanWhatIf{What: what, Power: o.Power})
		}
	}
	v := c.spread.Variances
	if p.s.MarginDB == nil && !math.IsNaN(c.spread.MeanSE) {
		left := c.marginDB - c.spread.MeanSE
		add(fmt.Sprintf("the margin is one standard error of the past mean smaller (%.1f dB)", left), v, left)
	} else {
		add("the margin is smaller by a quarter", v, 0.75*c.marginDB)
	}
	level := heaviest(c.outcome.Layout, v)
	now := math.Sqrt(v.Of(level))
	what, sd := "the spread of "+levelPlural[level]+" is larger by a quarter", 1.25*now
	for _, source := range c.spread.Sources {
		if upper := math.Sqrt(math.Max(0, source.UpperSDDB*source.UpperSDDB-source.LessKnownDB2)); source.CountedAs == level && upper > now {
			what, sd = fmt.Sprintf("the spread of %s is %.2g dB, not %.2g dB (its upper 95 %% bound)", source.Name, upper, now), upper
		}
	}
	v.Add(level, sd*sd-now*now)
	add(what, v, c.marginDB)
}

// heaviest is the level with the largest part in the variance of the mean.
func heaviest(l plan.Layout, v plan.Variances) string {
	b, s, n := float64(l.Boxes), float64(l.Sessions), float64(l.Closings)
	level, largest := plan.LevelClosing, v.Closing/(b*s*n)
	for _, k := range []struct {
		level string
		part  float64
	}{{plan.LevelBox, v.Box / b}, {plan.LevelFitting, v.Fitting / b}, {plan.LevelSession, v.Session / s}, {plan.LevelVisit, v.Visit / (b * s)}} {
		if k.part > largest {
			level, largest = k.level, k.part
		}
	}
	return level
}

var levelPlural = map[string]string{plan.LevelBox: "boxes", plan.LevelFitting: "fittings", plan.LevelSession: "sessions",
	plan.LevelVisit: "visits", plan.LevelClosing: "closings"}
