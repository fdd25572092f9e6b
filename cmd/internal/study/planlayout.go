package study

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"sealbound/cmd/internal/report"
	"sealbound/stats/plan"
)

// A planCase is one product in one band that the layout has to serve.
type planCase struct {
	name      string // empty where the spread was given
	labels    []report.Label
	band      string
	spread    plan.Spread
	marginDB  float64  // not above 0 where no plan helps
	reason    string   // why it is left out
	estimated bool     // its spread is known from the past
	borrowed  []string // levels whose spread is that of other products
	past      report.PlanPast
	outcome   plan.Outcome
}

func (c planCase) statistics(p *planner) plan.Case {
	return plan.Case{Variances: c.spread.Variances, Aim: p.aim(c.marginDB, p.s.Power)}
}

// layout finds the cheapest boxes, sessions and closings.
func (p *planner) layout(ctx context.Context) error {
	var cases []*planCase
	var err error
	if len(p.s.From) > 0 {
		if cases, err = p.pastCases(ctx); err != nil {
			return err
		}
	} else {
		if cases, err = p.givenCase(); err != nil {
			return err
		}
	}
	var serve []*planCase
	for _, c := range cases {
		if c.reason == "" {
			serve = append(serve, c)
		}
	}
	defer func() {
		for _, c := range cases {
			if c.name != "" {
				p.doc.Plan.Past = append(p.doc.Plan.Past, c.past)
			}
		}
	}()
	if len(serve) == 0 {
		p.without(allReasons(cases))
		return nil
	}
	return p.cheapest(serve, cases)
}

// allReasons says why cases are left out, each reason once.
func allReasons(cases []*planCase) string {
	var reasons []string
	names := make(map[string][]string)
	for _, c := range cases {
		if !slices.Contains(reasons, c.reason) {
			reasons = append(reasons, c.reason)
		}
		if c.name != "" {
			names[c.reason] = append(names[c.reason], c.name)
		}
	}
	var parts []string
	for _, reason := range reasons {
		about := names[reason]
		if n := len(about) - mostNamed; n > 1 {
			about = append(slices.Clone(about[:mostNamed]), fmt.Sprintf("%d more", n))
		}
		parts = append(parts, strings.TrimPrefix(strings.Join(about, "; ")+": "+reason, ": "))
	}
	if n := len(parts) - mostNamed; n > 1 {
		parts = append(parts[:mostNamed], fmt.Sprintf("and %d more reasons", n))
	}
	return strings.Join(parts, ". ")
}

// givenCase is the spread that the flags give.
func (p *planner) givenCase() ([]*planCase, error) {
	c := &planCase{marginDB: *p.s.MarginDB}
	v := &c.spread.Variances
	known := p.known()
	for _, level := range []struct {
		of  *float64
		set *float64
	}{{known.Box, &v.Box}, {known.Fitting, &v.Fitting}, {known.Session, &v.Session}, {known.Visit, &v.Visit}, {known.Closing, &v.Closing}} {
		if level.of != nil {
			*level.set = *level.of * *level.of
		}
	}
	if *v == (plan.Variances{}) {
		return nil, misuse("closing-sd", "0", "without any spread one closing is enough, and there is nothing to plan")
	}
	if known.Box == nil && known.Fitting == nil {
		c.spread.Unknown = append(c.spread.Unknown, plan.LevelBox, plan.LevelFitting)
	}
	if known.Session == nil && known.Visit == nil {
		c.spread.Unknown = append(c.spread.Unknown, plan.LevelSession, plan.LevelVisit)
	}
	return []*planCase{c}, nil
}

func (p *planner) known() plan.Known {
	return plan.Known{Box: p.s.BoxSDDB, Fitting: p.s.FittingSDDB, Session: p.s.SessionSDDB, Visit: p.s.VisitSDDB, Closing: p.s.ClosingSDDB}
}

// defaultCosts stand where no cost is given, counted in closings: common practice,
// no source.
var defaultCosts = plan.Costs{Closing: 1, Session: 20, Box: 5, Fitting: 5}

// costs are those given; given tells whether any was.
func (s PlanSettings) costs() (c plan.Costs, given bool) {
	for _, k := range []struct {
		from *float64
		to   *float64
	}{{s.CostClosing, &c.Closing}, {s.CostSession, &c.Session}, {s.CostBox, &c.Box}, {s.CostFitting, &c.Fitting}} {
		if k.from != nil {
			*k.to, given = *k.from, true
		}
	}
	if !given {
		return defaultCosts, false
	}
	return c, true
}

// limits are the spans asked for. A level that varies by an unknown amount is not
// repeated unless the user asks for it: what is not known cannot be planned for.
func (p *planner) limits(cases []*planCase) plan.Limits {
	var l plan.Limits
	bound := func(s Span, least, most *int) {
		if !s.free() {
			*least, *most = s.Least, s.Most
		}
	}
	for _, c := range cases {
		if slices.Contains(c.spread.Unknown, plan.LevelBox) {
			l.Most.Boxes = 1
		}
		if slices.Contains(c.spread.Unknown, plan.LevelSession) {
			l.Most.Sessions = 1
		}
	}
	// Where the past speaks of several boxes or sessions, so shall the plan, even if
	// they are estimated not to differ.
	for _, c := range cases {
		if c.estimated && l.Most.Boxes != 1 && p.s.BoxSDDB == nil {
			l.Least.Boxes = 2
		}
		if c.estimated && l.Most.Sessions != 1 && p.s.SessionSDDB == nil {
			l.Least.Sessions = 2
		}
	}
	bound(p.s.Boxes, &l.Least.Boxes, &l.Most.Boxes)
	bound(p.s.Sessions, &l.Least.Sessions, &l.Most.Sessions)
	bound(p.s.Closings, &l.Least.Closings, &l.Most.Closings)
	if n := len(p.s.Dates); n > 0 {
		l.Least.Sessions, l.Most.Sessions = n, n
	}
	if n := len(p.s.Box); n > 0 && len(p.s.From) == 0 && p.s.Boxes.free() && n <= MostBoxes {
		l.Least.Boxes, l.Most.Boxes = n, n
	}
	return l
}

// cheapest proposes a layout for the cases to serve; all are those beside them.
func (p *planner) cheapest(serve, all []*planCase) error {
	costs, given := p.s.costs()
	limits := p.limits(serve)
	question := make([]plan.Case, len(serve))
	for i, c := range serve {
		question[i] = c.statistics(p)
	}
	search, err := plan.NewSearch(question, costs)
	if err != nil {
		return misuse("closing-sd", "", inWords(err))
	}
	outcomes, err := search.Cheapest(limits)
	if err != nil && !errors.Is(err, plan.ErrOutOfReach) {
		return misuse("closing-sd", "", inWords(err))
	}
	p.noteLayout(serve, all, given)
	for i := range outcomes {
		serve[i].outcome = outcomes[i]
		serve[i].past.Power = defined(outcomes[i].Power)
	}
	hardest := 0
	for i := range outcomes {
		if outcomes[i].Power < outcomes[hardest].Power {
			hardest = i
		}
	}
	if err != nil {
		p.without(unreached(outcomes, serve, hardest, limits, p.s.Power, inWords(err)))
		p.explainLayout(serve, len(outcomes) > 0)
		return nil
	}
	c := serve[hardest]
	o := c.outcome
	p.proposed(o.Layout, o.Power)
	where, more := "", ""
	if len(serve) > 1 {
		where, more = " in "+c.name, "; in the others it is at least that"
	}
	p.headline("%s: if the true mean lies %s above the target%s, its lower bound (%s confidence) clears the target with a power of %s%s.",
		layoutSentence(o.Layout), p.marginText(c), where, inPercent(p.s.Confidence), percentage(o.Power), more)
	if len(serve) < len(all) {
		p.setReason("not served: " + allReasons(slices.DeleteFunc(slices.Clone(all), func(c *planCase) bool { return c.reason == "" })))
		p.headline("%s.", p.row.Reason)
	}
	p.noteScope(o.Layout, serve)
	p.alternatives(search, limits, o)
	p.whatIfs(c)
	p.explainLayout(serve, true)
	return nil
}

func (p *planner) marginText(c *planCase) string {
	if p.s.MarginDB != nil {
		return fmt.Sprintf("%g dB", c.marginDB)
	}
	return fmt.Sprintf("as far (%.1f dB) as the past one", c.marginDB)
}

// unreached says what the largest layout attains.
func unreached(outcomes []plan.Outcome, serve []*planCase, hardest int, l plan.Limits, power float64, otherwise string) string {
	if len(outcomes) == 0 {
		return strings.TrimPrefix(otherwise, plan.ErrOutOfReach.Error()+": ") + "; more of them are needed, or an SD of 0 said for it"
	}
	o := outcomes[hardest]
	where := ""
	if serve[hardest].name != "" {
		where = " in " + serve[hardest].name
	}
	text := fmt.Sprintf("a power of %s is out of reach: %s, the most that was looked at, give %s%s at a margin of %.3g dB", inPercent(power), sizeOf(o.Layout),
		percentage(o.Power), where, serve[hardest].marginDB)
	if l.Most != (plan.Layout{}) {
		text += "; allow more boxes, sessions or closings, or"
	} else {
		text += ";"
	}
	return text + " look for a larger margin or a smaller spread"
}

// sizeOf counts a layout.
func sizeOf(l plan.Layout) string {
	return fmt.Sprintf("%s in %s closed %s each", count(l.Boxes, "box"), count(l.Sessions, "session"), times(l.Closings))
}

// times says how often.
func times(n int) string {
	if n == 1 {
		return "once"
	}
	return fmt.Sprintf("%d times", n)
}

// layoutSentence says what to do.
func layoutSentence(l plan.Layout) string {
	boxes, each := "one box", "it"
	if l.Boxes > 1 {
		boxes, each = count(l.Boxes, "box"), "each"
	}
	sessions, in := "one session", ""
	if l.Sessions > 1 {
		sessions, in = count(l.Sessions, "session"), " in each of them"
	}
	total := ""
	if l.Total() != l.Closings {
		total = fmt.Sprintf(" (%s in all)", count(l.Total(), "closing"))
	}
	return fmt.Sprintf("measure %s in %s and close %s %s%s%s", boxes, sessions, each, times(l.Closings), in, total)
}
