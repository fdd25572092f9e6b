package study

import (
	"context"
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"

	"sealbound/cmd/internal/report"
	"sealbound/stats/plan"
)

// Planned is what plan answers.
type Planned struct {
	Document *report.Document
	Sheet    []byte // the recording sheet that was asked for, as CSV; nil for none
}

// A planner gathers the answer.
type planner struct {
	s     PlanSettings
	asked question
	n     *notebook
	doc   *report.Document
	row   report.PlanRow

	chosen plan.Layout // what is proposed; zero where nothing is
	past   *campaign   // nil without past data
	gasket []string    // products of the past data, after the filters
	box    []string    // their boxes
	points []int32     // their points in the bands asked for
}

// Plan answers what has to be settled before measuring. The error is an
// *InputError, a *UsageError, or one of the system.
func Plan(ctx context.Context, s PlanSettings) (*Planned, error) {
	q, err := s.question()
	if err != nil {
		return nil, err
	}
	if err := s.check([]string{"gasket"}); err != nil {
		return nil, err
	}
	p := &planner{s: s, asked: q, n: &notebook{}, doc: &report.Document{Version: s.Version, Command: "plan", Settings: s.shownPlan(q)}}
	switch q {
	case howManyClosings:
		err = p.closings()
	case whichLayout:
		err = p.layout(ctx)
	case noFailure:
		err = p.failures()
	case sheetOnly:
		p.given()
	}
	if err != nil {
		return nil, err
	}
	if err := p.headroom(); err != nil {
		return nil, err
	}
	if q == noFailure { // one row for each plan
		for i := range p.doc.Plan.Rows {
			p.doc.Plan.Rows[i].HeadroomDB, p.doc.Plan.Rows[i].Reason = p.row.HeadroomDB, p.row.Reason
		}
	} else {
		p.doc.Plan.Rows = append(p.doc.Plan.Rows, p.row)
	}
	out := &Planned{Document: p.doc}
	if s.SheetFile != "" {
		if out.Sheet, err = p.sheet(); err != nil {
			return nil, err
		}
	}
	p.doc.Notes = p.n.lines()
	if p.past != nil {
		p.doc.Inputs = inputRows(p.past.summary)
		p.doc.Notes = append(p.doc.Notes, p.past.summary.Notes...)
	}
	p.doc.Cautions = cautions
	return out, nil
}

func (p *planner) headline(format string, args ...any) {
	text := fmt.Sprintf(format, args...)
	p.doc.Headlines = append(p.doc.Headlines, strings.ToUpper(text[:1])+text[1:])
}

func (p *planner) explain(title string, lines ...string) {
	if p.s.Explain {
		p.doc.Explain = append(p.doc.Explain, report.Explanation{Title: title, Lines: lines})
	}
}

func (p *planner) aim(marginDB, power float64) plan.Aim {
	return plan.Aim{MarginDB: marginDB, Confidence: p.s.Confidence, Power: power}
}

// proposed sets the layout that the answer proposes.
func (p *planner) proposed(l plan.Layout, power float64) {
	p.chosen = l
	p.row.Closings, p.row.Power = &l.Closings, &power
	if p.asked == whichLayout {
		p.row.Boxes, p.row.Sessions = &l.Boxes, &l.Sessions
	}
}

// without sets why there is no plan.
func (p *planner) without(reason string) {
	p.row.Reason = reason
	p.headline("no plan: %s.", reason)
}

// closings counts closings of one strip in one box in one session.
func (p *planner) closings() error {
	sd, aim := *p.s.SDDB, p.aim(*p.s.MarginDB, p.s.Power)
	c, err := plan.Closings(sd, aim)
	switch {
	case errors.Is(err, plan.ErrOutOfReach):
		p.without(fmt.Sprintf("%d closings reach a power of %s only; a margin of %g dB is too small beside a spread of %g dB", c.Closings, percentage(c.Power), aim.MarginDB, sd))
		return nil
	case err != nil:
		return misuse("sd", plain(sd), inWords(err))
	}
	p.proposed(plan.Layout{Boxes: 1, Sessions: 1, Closings: c.Closings}, c.Power)
	p.headline("close %s: if the true mean lies %g dB above the target and closings vary by %g dB (SD), its lower bound (%s confidence) clears the target with a power of %s.",
		times(c.Closings), aim.MarginDB, sd, inPercent(p.s.Confidence), percentage(c.Power))
	p.n.add("it speaks of one strip in one box in one session; for boxes and sessions give --box-sd, --session-sd and --closing-sd, or past data after --from", "")
	rows := []report.PlanLayout{{What: "proposed", Boxes: 1, Sessions: 1, Closings: c.Closings, Power: c.Power}}
	for _, power := range []float64{0.5, 0.8, 0.9, 0.95} {
		if power == p.s.Power {
			continue
		}
		other, err := plan.Closings(sd, p.aim(aim.MarginDB, power))
		if err != nil {
			continue
		}
		rows = append(rows, report.PlanLayout{What: "for a power of " + inPercent(power), Boxes: 1, Sessions: 1, Closings: other.Closings, Power: other.Power})
	}
	p.doc.Plan.Layouts = rows
	for _, k := range []struct {
		what       string
		sd, margin float64
	}{{"the spread is larger by a quarter", 1.25, 1}, {"the margin is smaller by a quarter", 1, 0.75}} {
		if power, ok := powerOf(c.Closings, k.sd*sd, p.aim(k.margin*aim.MarginDB, p.s.Power)); ok {
			p.doc.Plan.WhatIfs = append(p.doc.Plan.WhatIfs, report.PlanWhatIf{What: k.what, Power: power})
		}
	}
	n := float64(c.Closings)
	p.explain("Closings",
		"closings = the fewest n with power >= "+plain(p.s.Power),
		"power = P(T > t(confidence; n-1)), T noncentral t with n-1 degrees of freedom and noncentrality sqrt(n) x margin/SD",
		fmt.Sprintf("n = %d: noncentrality = sqrt(%d) x %g/%g = %.4g, t(%g; %d), power = %.4f", c.Closings, c.Closings, aim.MarginDB, sd,
			math.Sqrt(n)*aim.MarginDB/sd, p.s.Confidence, c.Closings-1, c.Power))
	return nil
}

// powerOf is the power of n closings of one visit.
func powerOf(n int, sd float64, aim plan.Aim) (float64, bool) {
	if n > plan.MostClosingsPerVisit {
		return 0, false
	}
	o, err := plan.Evaluate(plan.Layout{Boxes: 1, Sessions: 1, Closings: n}, plan.Variances{Closing: sd * sd}, aim)
	return o.Power, err == nil
}

// failures plans without any spread.
func (p *planner) failures() error {
	plans, err := plan.Failures(p.s.Coverage, p.s.Confidence, p.s.Failures)
	if err != nil {
		return misuse("coverage", plain(p.s.Coverage), inWords(err))
	}
	for _, f := range plans {
		n := f.Closings
		p.doc.Plan.Rows = append(p.doc.Plan.Rows, report.PlanRow{Closings: &n})
		p.doc.Plan.Failures = append(p.doc.Plan.Failures, report.PlanFailures{Failures: f.Failures, Closings: f.Closings, Confidence: f.Attained})
	}
	first := plans[0]
	p.chosen = plan.Layout{Boxes: 1, Sessions: 1, Closings: first.Closings}
	p.headline("close %s, none of them below the target: then at least %s of all closings lie above it, with %s confidence (attained %s), whatever their distribution.",
		times(first.Closings), inPercent(p.s.Coverage), inPercent(p.s.Confidence), percentage(first.Attained))
	if len(plans) > 1 {
		last := plans[len(plans)-1]
		p.headline("or, settled beforehand, close %s and allow up to %s below.", times(last.Closings), count(last.Failures, "closing"))
		p.chosen.Closings = last.Closings
	}
	p.n.add("closings count as independent: of one strip in one box in one session they speak of that; for new boxes close each box once", "")
	p.n.add("the plan is settled before the first closing: going on after a failure until a later row fits is no plan, and its confidence is lower", "")
	p.explain("Closings without a failure",
		"n = ceil(ln(1 - confidence)/ln(coverage))",
		fmt.Sprintf("  = ceil(ln(%g)/ln(%g)) = ceil(%.4f) = %d", 1-p.s.Confidence, p.s.Coverage, math.Log(1-p.s.Confidence)/math.Log(p.s.Coverage), first.Closings),
		fmt.Sprintf("attained confidence = 1 - %g^%d = %.4f", p.s.Coverage, first.Closings, first.Attained),
		"with k failures: the fewest n for which the chance of k or fewer among n, each below with probability 1 - coverage, is at most 1 - confidence")
	return nil
}

// given takes the layout from the flags, for a sheet alone.
func (p *planner) given() {
	l := plan.Layout{Boxes: p.s.Boxes.Least, Sessions: p.s.Sessions.Least, Closings: p.s.Closings.Least}
	if p.s.Boxes.free() {
		l.Boxes = len(p.s.Box)
	}
	if p.s.Sessions.free() {
		l.Sessions = len(p.s.Dates)
	}
	p.chosen = l
	p.row.Boxes, p.row.Sessions, p.row.Closings = &l.Boxes, &l.Sessions, &l.Closings
}

// headroom says what the set-up can show at most.
func (p *planner) headroom() error {
	if p.s.OpenDBM == nil {
		return nil
	}
	open, floor, margin := *p.s.OpenDBM, *p.s.FloorDBM, p.s.FloorMarginDB
	t, err := p.s.target()
	if err != nil {
		return &InputError{Err: err}
	}
	target := t.highest()
	r, err := plan.Headroom(open, floor, margin, target)
	if err != nil {
		return misuse("open", plain(open), inWords(err))
	}
	head := r.HeadroomDB
	p.row.HeadroomDB = &head
	is := fmt.Sprintf("open %g dBm, floor %g dBm, less %g dB above the floor", open, floor, margin)
	switch {
	case head <= 0:
		p.setReason(fmt.Sprintf("the open level stands no more than %g dB above the floor, so this set-up shows no attenuation at all", margin))
		p.headline("out of reach: %s.", p.row.Reason)
	case len(r.OutOfReach) > 0:
		p.setReason(fmt.Sprintf("the target of %g dB is out of reach of the set-up, which shows at most %g dB", target, rounded(head)))
		p.headline("out of reach: %s (%s). It lacks %g dB of generator level, antenna gain or a lower floor; no number of closings mends that.", p.row.Reason, is, rounded(r.MissingDB))
	default:
		p.headline("this set-up shows at most %g dB (%s): the target of %g dB is within reach, with %g dB to spare.", rounded(head), is, target, rounded(head-target))
	}
	p.n.add("headroom is for both levels taken with the same generator level and gain; a gain added for the closed readings raises the floor with them", "")
	p.explain("Headroom", "headroom = open - floor - floor margin", fmt.Sprintf("  = %g dBm - %g dBm - %g dB = %g dB", open, floor, margin, rounded(head)))
	return nil
}

// setReason adds a reason to the row.
func (p *planner) setReason(text string) {
	if p.row.Reason != "" {
		text = p.row.Reason + "; " + text
	}
	p.row.Reason = text
}

// highest is the highest target.
func (t target) highest() float64 {
	if t.curve == nil {
		return t.flatDB
	}
	high := t.curve[0].db
	for _, k := range t.curve {
		high = max(high, k.db)
	}
	return high
}

// rounded is x to a hundredth, for sentences.
func rounded(x float64) float64 { return math.Round(x*100) / 100 }

// inPercent is a share that was given, in all its digits.
func inPercent(p float64) string { return strconv.FormatFloat(100*p, 'g', 12, 64) + " %" }

// percentage is a share that was computed, in up to one decimal; nothing is certain,
// so it never reads as 0 or 100.
func percentage(p float64) string {
	x := math.Round(p*1000) / 10
	switch {
	case x >= 100:
		return "more than 99.9 %"
	case x <= 0:
		return "less than 0.1 %"
	}
	return plain(x) + " %"
}

// inWords is an error of the statistics without the name of its package.
func inWords(err error) string {
	text := strings.TrimPrefix(err.Error(), "plan: ")
	return strings.TrimPrefix(text, "argument outside its domain: ")
}
