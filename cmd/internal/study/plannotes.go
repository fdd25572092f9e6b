package study

import (
	"fmt"
	"slices"
	"strings"

	"sealbound/stats/plan"
)

// noteLayout says what a layout rests on and does not speak of.
func (p *planner) noteLayout(serve, all []*planCase, costsGiven bool) {
	if !costsGiven {
		c := defaultCosts
		p.n.add(fmt.Sprintf("no costs given: a session is taken to cost as much as %g closings, a box %g and a strip %g (an assumption without a source); --cost-closing, --cost-session, --cost-box and --cost-fitting say otherwise",
			c.Session, c.Box, c.Fitting), "")
	} else {
		var zero []string
		for _, k := range []struct {
			flag string
			cost *float64
		}{{"closing", p.s.CostClosing}, {"session", p.s.CostSession}, {"box", p.s.CostBox}, {"fitting", p.s.CostFitting}} {
			if k.cost == nil {
				zero = append(zero, k.flag)
			}
		}
		if len(zero) > 0 {
			p.n.add("costs not given count as 0: "+listed(zero), "")
		}
	}
	p.n.add("the plan is for the lower bound of the mean; those of the weakest point, the next closing and the coverage ask for more closings", "")
	for _, c := range serve {
		p.noteUnknown(c)
		p.noteSources(c)
	}
}

// noteUnknown says what is assumed of levels that nobody knows.
func (p *planner) noteUnknown(c *planCase) {
	unknown := c.spread.Unknown
	from := "not given"
	if c.name != "" {
		from = "unknown"
	}
	if slices.Contains(unknown, plan.LevelBox) {
		why := "no --box-sd"
		if c.name != "" {
			why = "the past data have one box"
		}
		text := fmt.Sprintf("spread from box to box and strip to strip %s (%s): one box with the strip that is in it is planned for, and the answer speaks of that alone; --box-sd DB plans for more", from, why)
		if !p.s.Boxes.free() && p.s.Boxes.Most > 1 {
			text = fmt.Sprintf("spread from box to box and strip to strip %s (%s) and taken as 0, although several boxes are asked for: the power is too high if boxes differ; give --box-sd DB", from, why)
		}
		p.n.add(text, c.name)
	}
	if slices.Contains(unknown, plan.LevelSession) {
		why := "no --session-sd"
		if c.name != "" {
			why = "the past data have one session"
		}
		text := fmt.Sprintf("spread from session to session %s (%s): one session is planned for, and the answer speaks of that set-up alone; --session-sd DB plans for more", from, why)
		if !p.s.Sessions.free() && p.s.Sessions.Most > 1 || len(p.s.Dates) > 1 {
			text = fmt.Sprintf("spread from session to session %s (%s) and taken as 0, although several sessions are asked for: the power is too high if sessions differ; give --session-sd DB", from, why)
		}
		p.n.add(text, c.name)
	}
	if c.name == "" {
		var zero []string
		for _, k := range []struct {
			name  string
			given *float64
			with  string // said above where this is unknown
		}{{"fitting", p.s.FittingSDDB, plan.LevelBox}, {"box", p.s.BoxSDDB, plan.LevelBox}, {"session", p.s.SessionSDDB, plan.LevelSession}, {"visit", p.s.VisitSDDB, plan.LevelSession}} {
			if k.given == nil && !slices.Contains(unknown, k.with) {
				zero = append(zero, k.name)
			}
		}
		if len(zero) > 0 {
			p.n.add("spread taken as 0, since it is not given: "+listed(zero), "")
		}
	}
}

// noteSources says what past data could not tell apart.
func (p *planner) noteSources(c *planCase) {
	for _, s := range c.spread.Sources {
		switch {
		case s.CountedAs == "" && s.LessKnownDB2 > 0:
			p.n.add("an SD given stands in place of what the past data say", fmt.Sprintf("%s: %s, %.2f dB", c.name, s.Name, s.SDDB))
		case s.CountedAs == "":
			p.n.add("the past spread from strip to strip is set aside: the plan keeps the strip that is in the box", fmt.Sprintf("%s: %s, %.2f dB", c.name, s.Name, s.SDDB))
		case strings.Contains(s.Name, "+") && strings.TrimPrefix(s.Name, "box+fitting") != "":
			p.n.add("levels that the past data cannot tell apart count as the first of them: repeating a later one alone is not relied on",
				fmt.Sprintf("%s: %s as %s", c.name, s.Name, s.CountedAs))
		}
	}
	if c.spread.Reason != "" {
		p.n.add("wear is not taken out of the spread: "+c.spread.Reason, c.name)
	}
}

// noteScope says of what a proposed layout speaks.
func (p *planner) noteScope(l plan.Layout, serve []*planCase) {
	if l.Sessions == 1 {
		p.n.add("one session: the error of its open reference is not in the power; read the open reference at the start and at the end of every run, so that the judgement can add it, or plan at least two sessions (--sessions 2-12)", "")
	}
	if l.Sessions == 2 && slices.ContainsFunc(serve, func(c *planCase) bool { return c.spread.Session > 0 }) {
		p.n.add("two sessions tell little of how sessions differ; a third makes the bound hold better", "")
	}
	if l.Total() < advisedClosings {
		p.n.add(fmt.Sprintf("%s in all rest on normally distributed values more than on data, and tell little beside the mean; five or more are advised", count(l.Total(), "closing")), "")
	}
	if l.Boxes == 1 {
		p.n.add("one box: the answer will speak of this strip in this box", "")
	}
	for _, c := range serve {
		if c.estimated && l.Boxes == 2 && p.s.Boxes.free() && c.spread.Box+c.spread.Fitting == 0 {
			p.n.add("the past data show no spread from box to box; two boxes are planned for all the same, so that the answer speaks of new boxes (--boxes 1 plans for one)", c.name)
		}
		if c.estimated && l.Sessions == 2 && p.s.Sessions.free() && c.spread.Session == 0 {
			p.n.add("the past data show no spread from session to session; two are planned for all the same, so that the answer speaks of any session (--sessions 1 plans for one)", c.name)
		}
	}
	if slices.ContainsFunc(serve, func(c *planCase) bool { return c.name != "" }) {
		p.n.add("the power is that at the spread which the past data show, an estimate: in simulated archives of 4 boxes in 3 sessions plans for a power of 80 % met 50 to 96 %, of 12 boxes in 8 sessions 66 to 91 %", "")
	}
}

// explainLayout shows how variance, degrees of freedom and power come about.
func (p *planner) explainLayout(cases []*planCase, evaluated bool) {
	if !p.s.Explain {
		return
	}
	for _, c := range cases {
		v := c.spread.Variances
		title := "Layout"
		if c.name != "" {
			title = c.name
		}
		var lines []string
		for _, s := range c.spread.Sources {
			as := s.CountedAs
			if as == "" {
				as = "set aside"
			}
			lines = append(lines, fmt.Sprintf("past spread of %s: SD %.4g dB, from %d (REML); counted as: %s", s.Name, s.SDDB, s.Units, as))
		}
		lines = append(lines, fmt.Sprintf("variances, dB^2: box %.4g, fitting %.4g, session %.4g, visit %.4g, closing %.4g", v.Box, v.Fitting, v.Session, v.Visit, v.Closing))
		if evaluated {
			o := c.outcome
			l := o.Layout
			b, s, n := l.Boxes, l.Sessions, l.Closings
			lines = append(lines,
				"variance of the mean = (box + fitting)/boxes + session/sessions + visit/(boxes x sessions) + closing/(boxes x sessions x closings)",
				fmt.Sprintf("  = (%.4g + %.4g)/%d + %.4g/%d + %.4g/(%d x %d) + %.4g/(%d x %d x %d) = %.4g dB^2, standard error %.4g dB",
					v.Box, v.Fitting, b, v.Session, s, v.Visit, b, s, v.Closing, b, s, n, o.VarianceDB2, o.SEDB),
				fmt.Sprintf("degrees of freedom (Satterthwaite, expected mean squares, within 1 and units - 1): %.3g", o.DF),
				fmt.Sprintf("power = P(mean - t(%g; df) x se >= target), averaged over what the mean squares of %s may turn out to be: %.4f at a margin of %.4g dB",
					p.s.Confidence, sizeOf(l), o.Power, c.marginDB))
			costs, _ := p.s.costs()
			lines = append(lines, fmt.Sprintf("cost = %g x %d closings + %g x %d sessions + (%g + %g) x %d boxes and strips = %.6g",
				costs.Closing, l.Total(), costs.Session, s, costs.Box, costs.Fitting, b, o.Cost))
		}
		p.explain(title, lines...)
	}
}
