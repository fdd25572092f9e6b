package study

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"sealbound/cmd/internal/report"
	"sealbound/ingest"
	"sealbound/stats/band"
	"sealbound/stats/interval"
	"sealbound/stats/judge"
	"sealbound/stats/plan"
)

// daysAYear turns days into years of age.
const daysAYear = 365.25

// pastCases reads the past data and estimates the spread of every product in every
// band.
func (p *planner) pastCases(ctx context.Context) ([]*planCase, error) {
	t, err := p.s.target()
	if err != nil {
		return nil, &InputError{Err: err}
	}
	c, err := read(ctx, p.s.From, p.s.Settings)
	defer p.s.closed(c)
	if err != nil {
		return nil, err
	}
	if err := c.readingsOnly("planning from past data"); err != nil {
		return nil, err
	}
	p.past = c
	closings, err := c.chosen(p.s.Settings, p.n)
	if err != nil {
		return nil, err
	}
	if closings = p.withoutControls(closings); len(closings) == 0 {
		return nil, c.unusable("control boxes alone are left, and they are closed once: name them with --box to plan for them all the same", p.n)
	}
	groups := unpooled(groupBy(closings, []string{"gasket"}), []string{"gasket"}, p.s.Pool, p.n)
	cells, err := c.banded(groups, p.s.Settings, t, p.n, func(g group) { mixedConditions(g, p.n) })
	if err != nil {
		return nil, err
	}
	p.gasket, p.box = distinct(closings, "gasket"), distinct(closings, "box")
	var cases []*planCase
	for x, err := range cells {
		if err == nil {
			err = ctx.Err()
		}
		if err != nil {
			return nil, err
		}
		p.points = append(p.points, x.points...)
		k, err := p.pastCase(x)
		if err != nil {
			return nil, err
		}
		cases = append(cases, k)
	}
	slices.Sort(p.points)
	p.points = slices.Compact(p.points)
	p.borrow(cases)
	for _, k := range cases {
		p.showSpread(k)
	}
	return cases, nil
}

// withoutControls leaves out control boxes, which are closed once, unless --box
// names them.
func (p *planner) withoutControls(closings []*closing) []*closing {
	control := make(map[string]bool)
	for _, b := range p.past.summary.Boxes {
		if strings.EqualFold(b.Role, "control") && !slices.Contains(p.s.Box, b.Label) {
			control[b.Label] = true
		}
	}
	var kept []*closing
	left := make(map[string]bool)
	for _, cl := range closings {
		if control[cl.Box] {
			left[cl.Box] = true
			continue
		}
		kept = append(kept, cl)
	}
	if len(left) > 0 {
		p.n.add("left out: control boxes, which are closed once ("+listed(sortedTrue(left))+")", "")
	}
	return kept
}

// pastCase is one product in one band.
func (p *planner) pastCase(x *cell) (*planCase, error) {
	k := &planCase{name: x.group.name() + ", " + x.band.Name, labels: x.group.labels, band: x.band.Name, marginDB: nan}
	k.past = report.PlanPast{Group: x.group.labels, Band: x.band.Name, Boxes: x.data.Box.Levels, Sessions: x.data.Session.Levels, Closings: len(x.closings)}
	data, hidden := p.clear(x, k.name)
	if hidden {
		k.reason = "limited readings at most points hide how the seal varies and where its mean lies: they show what the set-up can show; give the SDs"
		return k, nil
	}
	values, err := data.Values(data.DB)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", k.name, err)
	}
	if values.Reason != band.None {
		k.reason = string(values.Reason)
		return k, nil
	}
	kept := make([]int32, len(values.Values))
	past := plan.Past{}
	average := band.ByDB
	if p.s.Average == "power" {
		average = band.ByPower
	}
	for i, v := range values.Values {
		kept[i] = v.Closing
		past.Values = append(past.Values, v.By(average))
	}
	levels := x.data.Levels(kept)
	past.Box, past.Fitting, past.Session, past.Visit = levels[0], levels[1], levels[2], levels[3]
	k.past.Boxes, k.past.Sessions, k.past.Closings = past.Box.Levels, past.Session.Levels, len(kept)
	p.ages(&past, x, kept, k.name)
	k.spread, err = past.Estimate(p.known())
	k.marginDB = k.spread.MeanDB - targetOf(x, values.Used)
	if p.s.MarginDB != nil {
		k.marginDB = *p.s.MarginDB
	}
	k.past.MarginDB = defined(k.marginDB)
	switch {
	case errors.Is(err, interval.ErrTooFew):
		k.reason = "one closing shows no spread; give past data with more, or the SDs"
		return k, nil
	case err != nil:
		k.reason = inWords(err)
		return k, nil
	}
	k.estimated = true
	p.notePast(x, k, kept, values.Used)
	if k.marginDB <= 0 {
		k.reason = fmt.Sprintf("the past mean, %.1f dB, does not lie above the target of %.1f dB: no number of closings shows that it does; --margin DB plans for a better seal",
			k.spread.MeanDB, k.spread.MeanDB-k.marginDB)
	}
	return k, nil
}

// mostLimited is the share of limited readings up to which they may stand with what
// they demonstrate: that beyond which a verdict never falls short.
const mostLimited = 0.2

// clear are the readings from which a spread can be told: those at the points that
// were never limited where these are half of all or more, else all of them unless
// too many are limited. hidden says that they are.
func (p *planner) clear(x *cell, name string) (d judge.Data, hidden bool) {
	d = x.data
	at, limited := make([]bool, d.Points), 0
	for i, is := range d.Limited {
		if is {
			at[d.Point[i]] = true
			limited++
		}
	}
	points := 0
	for _, is := range at {
		if is {
			points++
		}
	}
	switch {
	case limited == 0:
		return d, false
	case 2*points <= d.Points:
		d.Closing, d.Point, d.DB, d.Limited, d.FloorKnown, d.HeadroomDB = nil, nil, nil, nil, nil, nil
		for i, point := range x.data.Point {
			if at[point] {
				continue
			}
			d.Closing, d.Point = append(d.Closing, x.data.Closing[i]), append(d.Point, point)
			d.DB, d.Limited = append(d.DB, x.data.DB[i]), append(d.Limited, false)
			d.FloorKnown, d.HeadroomDB = append(d.FloorKnown, x.data.FloorKnown[i]), append(d.HeadroomDB, x.data.HeadroomDB[i])
		}
		p.n.add("points with limited readings are left out of spread and mean", fmt.Sprintf("%s: %d of %d points", name, points, d.Points))
		return d, false
	case float64(limited) > mostLimited*float64(len(d.Limited)):
		return d, true
	}
	p.n.add("limited readings stand with what they demonstrate: the true spread may be larger, the true mean higher",
		fmt.Sprintf("%s: %d of %d readings", name, limited, len(d.Limited)))
	return d, false
}

func targetOf(x *cell, used []int32) float64 {
	sum := 0.0
	for _, point := range used {
		sum += x.data.TargetDB[point] / float64(len(used))
	}
	return sum
}

// ages gives the past the ages of the strips where its tests lie so far apart that
// wear could pass for a spread of sessions: three days of testing or more, over more
// than the window of one test.
func (p *planner) ages(past *plan.Past, x *cell, kept []int32, name string) {
	start := started(x.group.closings)
	days := make(map[time.Time]bool)
	var first, last time.Time
	age := make([]float64, len(kept))
	undated := false
	for i, code := range kept {
		cl := x.closings[code]
		if undated = undated || cl.Date.IsZero(); undated {
			continue
		}
		days[cl.Date] = true
		if first.IsZero() || cl.Date.Before(first) {
			first = cl.Date
		}
		if cl.Date.After(last) {
			last = cl.Date
		}
		age[i] = cl.Date.Sub(start[cl.fittingKey()]).Hours() / 24 / daysAYear
	}
	switch {
	case undated || last.Sub(first) <= p.s.Within:
		return
	case len(days) < 3:
		p.n.add("two days of testing far apart: what wore in between counts as spread of sessions", name)
		return
	}
	// The mean is that of the last test, which is what a new campaign begins from.
	sum, n := 0.0, 0
	for _, cl := range lastTest(x.group, p.s.Within, &notebook{}).closings {
		sum, n = sum+cl.Date.Sub(start[cl.fittingKey()]).Hours()/24/daysAYear, n+1
	}
	past.AgeYears, past.AtYears = age, sum/float64(n)
}

// borrow takes what one product's past does not tell of a level from the other
// products, of the same band where it can: a session is the same for all of them,
// and so is a box. Of several it is the largest.
func (p *planner) borrow(cases []*planCase) {
	type loan struct {
		to       *planCase
		level    string
		variance float64
	}
	var loans []loan
	for _, k := range cases {
		if !k.estimated {
			continue
		}
		for _, level := range k.spread.Unknown {
			largest := -1.0
			for _, other := range lenders(cases, level, k.band) {
				largest = max(largest, other.spread.Of(level))
			}
			if largest >= 0 {
				loans = append(loans, loan{k, level, largest})
			}
		}
	}
	for _, l := range loans { // after all are settled, so that no loan is lent again
		l.to.spread.Unknown = slices.DeleteFunc(l.to.spread.Unknown, func(level string) bool { return level == l.level })
		l.to.spread.Add(l.level, l.variance)
		if l.variance == 0 && l.level != plan.LevelBox && l.level != plan.LevelSession {
			continue // part of the box or the session there
		}
		l.to.borrowed = append(l.to.borrowed, l.level)
		p.n.add(fmt.Sprintf("spread of %s not in the past data of one product and taken from the others, the largest", levelPlural[l.level]),
			fmt.Sprintf("%s: %.2f dB", l.to.name, math.Sqrt(l.variance)))
	}
}

// lenders are the cases whose past tells of a level, those of the band where there
// are any.
func lenders(cases []*planCase, level, band string) []*planCase {
	var same, any []*planCase
	for _, k := range cases {
		if k.estimated && !slices.Contains(k.spread.Unknown, level) {
			any = append(any, k)
			if k.band == band {
				same = append(same, k)
			}
		}
	}
	if len(same) > 0 {
		return same
	}
	return any
}

// showSpread fills in the row for a person.
func (p *planner) showSpread(k *planCase) {
	sd := func(level string) report.Number {
		v := k.spread.Of(level)
		seen := v > 0 || slices.Contains(k.borrowed, level) || p.known().Of(level) != nil
		for _, s := range k.spread.Sources {
			seen = seen || s.CountedAs == level
		}
		if !seen {
			return nil
		}
		return defined(math.Sqrt(v))
	}
	k.past.BoxSD, k.past.FittingSD, k.past.SessionSD = sd(plan.LevelBox), sd(plan.LevelFitting), sd(plan.LevelSession)
	k.past.VisitSD, k.past.Closing = sd(plan.LevelVisit), sd(plan.LevelClosing)
}

// notePast says what the spread rests on.
func (p *planner) notePast(x *cell, k *planCase, kept, used []int32) {
	if slope := k.spread.SlopeDBPerYear; !math.IsNaN(slope) {
		p.n.add("a straight line over the age of the strips is taken out of the spread; the mean is that of the last test", fmt.Sprintf("%s: %+.2f dB per year", k.name, slope))
	}
	if p.s.OpenDBM != nil || len(used) == 0 {
		return
	}
	target := targetOf(x, used)
	if mean, _ := x.data.Headroom(kept, used); mean < target {
		p.n.add("the past set-up could not show the target at all: no number of closings mends that", fmt.Sprintf("%s: headroom %.1f dB, target %.1f dB", k.name, mean, target))
	}
}

// pastPoints are the points of the past data that a sheet repeats.
func (p *planner) pastPoints() []ingest.Point {
	out := make([]ingest.Point, len(p.points))
	for i, code := range p.points {
		out[i] = p.past.points[code]
	}
	return out
}
