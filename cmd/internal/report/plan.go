package report

import (
	"fmt"
	"math"
	"slices"
	"strconv"
)

// A PlanAnswer is what plan says before anything is measured. Rows are the
// results; the tables are for a person.
type PlanAnswer struct {
	Rows     []PlanRow
	Layouts  []PlanLayout   // what is proposed, then what else would do
	WhatIfs  []PlanWhatIf   // the proposed layout where an assumption fails
	Failures []PlanFailures // what may go wrong, and how many closings that takes
	Past     []PlanPast     // what past data say, one row for each product and band
}

// A PlanRow is one plan. What was not asked for, or has no answer, is nil.
type PlanRow struct {
	Closings   *int // of each box in each session
	Sessions   *int
	Boxes      *int
	Power      Number // probability that the lower bound clears the target
	HeadroomDB Number // the most that the set-up can show
	Reason     string // empty: null
}

// A PlanLayout is a plan beside others. Boxes 0: it was not reached, and Power is
// the most that was.
type PlanLayout struct {
	What                      string
	Boxes, Sessions, Closings int // closings of each box in each session
	Cost                      Number
	Power                     float64
}

// A PlanWhatIf is the power that is left where an assumption fails.
type PlanWhatIf struct {
	What  string
	Power float64
}

// PlanFailures is a plan that allows some closings below the target.
type PlanFailures struct {
	Failures, Closings int
	Confidence         float64 // attained
}

// A PlanPast is what past closings of one product say in one band. SDs in dB; nil
// where the past has no word on a level.
type PlanPast struct {
	Group                                         []Label
	Band                                          string
	Boxes, Sessions, Closings                     int
	MarginDB                                      Number
	BoxSD, FittingSD, SessionSD, VisitSD, Closing Number
	Power                                         Number // of the proposed layout
}

var planColumns = []column[PlanRow]{
	{name: "closings", of: func(r *PlanRow) any { return whole(r.Closings) }},
	{name: "sessions", of: func(r *PlanRow) any { return whole(r.Sessions) }},
	{name: "boxes", of: func(r *PlanRow) any { return whole(r.Boxes) }},
	{name: "power", of: func(r *PlanRow) any { return number(r.Power) }},
	{name: "headroom_db", of: func(r *PlanRow) any { return number(r.HeadroomDB) }},
	{name: "reason", of: func(r *PlanRow) any { return word(r.Reason) }},
}

func whole(n *int) any {
	if n == nil {
		return nil
	}
	return *n
}

// planBlocks are the tables of a plan, in the order in which one decides.
func planBlocks(doc *Document) ([]block, error) {
	p := &doc.Plan
	if err := p.finite(); err != nil {
		return nil, err
	}
	var blocks []block
	add := func(title, text string, g *grid) {
		if g.n > 0 {
			blocks = append(blocks, block{title: title, text: text, grid: g})
		}
	}
	add("What would do", "Power is the probability that the lower bound of the mean clears the target.", layoutGrid(p.Layouts))
	add("If it turns out otherwise", "", whatIfGrid(p.WhatIfs))
	fill := levelsOf(doc.Settings)
	add("Closings below the target that are allowed",
		fill.Replace("If no more than these lie below, at least {coverage} of all closings lie above. Which row is followed is settled before the first closing."),
		failureGrid(p.Failures))
	add("What the past data say, SDs in dB", "A dash: not repeated there, or part of the level to its left.", pastGrid(p.Past))
	return blocks, nil
}

func layoutGrid(rows []PlanLayout) *grid {
	g := &grid{n: len(rows)}
	if g.n == 0 {
		return g
	}
	count := func(head string, of func(PlanLayout) int) {
		g.add(gridColumn{head: head}, func(i int) string {
			if rows[i].Boxes == 0 {
				return undefined
			}
			return strconv.Itoa(of(rows[i]))
		})
	}
	some := func(of func(PlanLayout) bool) bool { return slices.ContainsFunc(rows, of) }
	g.add(gridColumn{head: "plan", text: true}, func(i int) string { return rows[i].What })
	layouts := some(func(r PlanLayout) bool { return r.Boxes != 1 || r.Sessions != 1 })
	if layouts {
		count("boxes", func(r PlanLayout) int { return r.Boxes })
		count("sessions", func(r PlanLayout) int { return r.Sessions })
		count("closings\neach time", func(r PlanLayout) int { return r.Closings })
	}
	count("closings\nin all", func(r PlanLayout) int { return r.Boxes * r.Sessions * r.Closings })
	if some(func(r PlanLayout) bool { return r.Cost != nil }) {
		g.add(gridColumn{head: "cost"}, func(i int) string {
			if rows[i].Cost == nil {
				return undefined
			}
			return strconv.FormatFloat(*rows[i].Cost, 'g', 6, 64)
		})
	}
	g.add(gridColumn{head: "power", text: true}, func(i int) string {
		if rows[i].Boxes == 0 {
			return "at most " + probability(rows[i].Power)
		}
		return probability(rows[i].Power)
	})
	return g
}

func whatIfGrid(rows []PlanWhatIf) *grid {
	g := &grid{n: len(rows)}
	g.add(gridColumn{head: "if", text: true}, func(i int) string { return rows[i].What })
	g.add(gridColumn{head: "power of\nthe plan"}, func(i int) string { return probability(rows[i].Power) })
	return g
}

func failureGrid(rows []PlanFailures) *grid {
	g := &grid{n: len(rows)}
	g.add(gridColumn{head: "below"}, func(i int) string { return strconv.Itoa(rows[i].Failures) })
	g.add(gridColumn{head: "closings"}, func(i int) string { return strconv.Itoa(rows[i].Closings) })
	g.add(gridColumn{head: "confidence"}, func(i int) string { return strconv.FormatFloat(math.Floor(rows[i].Confidence*1e4)/1e4, 'f', 4, 64) })
	return g
}

func pastGrid(rows []PlanPast) *grid {
	places := make([]place, len(rows))
	for i, r := range rows {
		places[i] = place{group: r.Group, band: r.Band}
	}
	g := gridOf(places)
	g.add(gridColumn{head: "boxes"}, func(i int) string { return strconv.Itoa(rows[i].Boxes) })
	g.add(gridColumn{head: "ses-\nsions"}, func(i int) string { return strconv.Itoa(rows[i].Sessions) })
	g.add(gridColumn{head: "clos-\nings"}, func(i int) string { return strconv.Itoa(rows[i].Closings) })
	for _, c := range []struct {
		head string
		of   func(PlanPast) Number
	}{
		{"margin", func(r PlanPast) Number { return r.MarginDB }}, {"box", func(r PlanPast) Number { return r.BoxSD }},
		{"fitting", func(r PlanPast) Number { return r.FittingSD }}, {"session", func(r PlanPast) Number { return r.SessionSD }},
		{"visit", func(r PlanPast) Number { return r.VisitSD }}, {"closing", func(r PlanPast) Number { return r.Closing }},
	} {
		g.add(gridColumn{head: c.head}, func(i int) string { return optional(c.of(rows[i]), 2) })
	}
	g.add(gridColumn{head: "power of\nthe plan"}, func(i int) string {
		if rows[i].Power == nil {
			return undefined
		}
		return probability(*rows[i].Power)
	})
	return g
}

// probability in two decimals; what is not certain never reads as 0 or 1.
func probability(p float64) string {
	s := strconv.FormatFloat(p, 'f', 2, 64)
	switch {
	case s == "1.00":
		return "> 0.99"
	case s == "0.00":
		return "< 0.01"
	}
	return s
}

// finite returns an error if a table holds a number that is none.
func (p *PlanAnswer) finite() error {
	var all []Number
	for i := range p.Layouts {
		all = append(all, p.Layouts[i].Cost, &p.Layouts[i].Power)
	}
	for i := range p.WhatIfs {
		all = append(all, &p.WhatIfs[i].Power)
	}
	for i := range p.Failures {
		all = append(all, &p.Failures[i].Confidence)
	}
	for _, r := range p.Past {
		all = append(all, r.MarginDB, r.BoxSD, r.FittingSD, r.SessionSD, r.VisitSD, r.Closing, r.Power)
	}
	for _, n := range all {
		if err := finiteValue(number(n)); err != nil {
			return fmt.Errorf("report: a number of the plan %w", err)
		}
	}
	return nil
}
