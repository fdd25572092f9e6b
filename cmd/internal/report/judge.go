package report

import (
	"fmt"
	"strings"
)

// The tables of a judgement for a person.
const (
	answer   = "answer"   // does the lower bound clear the target
	weakness = "weakness" // where it is weakest
	limited  = "limited"  // readings at the floor, modelled
	method   = "method"   // what the bounds rest on
)

type judgeShown = shown[JudgeRow]

// judgeColumns are the columns of judge. Levels are in dB.
var judgeColumns = []column[JudgeRow]{
	{name: "group", of: func(r *JudgeRow) any { return r.Group }},
	{name: "band.name", of: func(r *JudgeRow) any { return r.Band.Name }},
	{name: "band.lo_hz", of: func(r *JudgeRow) any { return r.Band.LoHz }},
	{name: "band.hi_hz", of: func(r *JudgeRow) any { return r.Band.HiHz }},
	tally("points", func(r *JudgeRow) int { return r.Points }, method, "points", nil),
	tally("boxes", func(r *JudgeRow) int { return r.Boxes }, answer, "boxes", some(func(r *JudgeRow) bool { return r.Boxes > 1 })),
	tally("fittings", func(r *JudgeRow) int { return r.Fittings }, method, "fittings", nil),
	tally("sessions", func(r *JudgeRow) int { return r.Sessions }, method, "sessions", nil),
	tally("runs", func(r *JudgeRow) int { return r.Runs }, method, "runs", nil),
	tally("closings", func(r *JudgeRow) int { return r.Closings }, answer, "closings", nil),
	tally("limited", func(r *JudgeRow) int { return r.Limited }, answer, "limi-\nted", some(func(r *JudgeRow) bool { return r.Limited > 0 })),
	{name: "levels", of: func(r *JudgeRow) any { return list(r.Levels) },
		show: &judgeShown{part: method, head: "spread\nover", text: true, lift: "Spread over ",
			cell: func(r *JudgeRow) string { return strings.Join(r.Levels, ", ") }}},
	{name: "valid_for", of: func(r *JudgeRow) any { return word(r.ValidFor) },
		show: &judgeShown{part: answer, head: "valid for", text: true, lift: "Valid for ",
			cell: func(r *JudgeRow) string { return r.ValidFor }}},
	level("mean_db", func(r *JudgeRow) Number { return r.MeanDB }, answer, "mean"),
	level("sd_db", func(r *JudgeRow) Number { return r.SDDB }, method, "SD of one\nclosing"),
	level("se_db", func(r *JudgeRow) Number { return r.SEDB }, method, "SE of\nmean"),
	{name: "df", of: func(r *JudgeRow) any { return number(r.DF) },
		show: &judgeShown{part: method, head: "df", cell: func(r *JudgeRow) string { return optional(r.DF, 1) }}},
	level("lower_db", func(r *JudgeRow) Number { return r.LowerDB }, answer, "mean ≥"),
	level("upper_db", func(r *JudgeRow) Number { return r.UpperDB }, "", ""),
	level("next_lower_db", func(r *JudgeRow) Number { return r.NextLowerDB }, answer, "next ≥"),
	level("coverage_lower_db", func(r *JudgeRow) Number { return r.CoverageLowerDB }, answer, "{coverage} ≥"),
	{name: "coverage_method", of: func(r *JudgeRow) any { return word(r.CoverageMethod) },
		show: &judgeShown{part: method, head: "coverage\nby", text: true, lift: "Coverage by ",
			cell:  func(r *JudgeRow) string { return r.CoverageMethod },
			shows: some(func(r *JudgeRow) bool { return r.CoverageMethod != "" })}},
	{name: "weakest.freq_hz", of: in(weakestOf, func(w *Weakest) any { return w.FreqHz })},
	{name: "weakest.position", of: in(weakestOf, func(w *Weakest) any { return word(w.Position) })},
	{name: "weakest.polarization", of: in(weakestOf, func(w *Weakest) any { return word(w.Polarization) })},
	{name: "weakest.mean_db", of: in(weakestOf, func(w *Weakest) any { return w.MeanDB })},
	{name: "weakest.lower_db", of: in(weakestOf, func(w *Weakest) any { return w.LowerDB }),
		show: shownIn(weakestOf, weakness, "weakest ≥\nat MHz", func(w *Weakest, r *JudgeRow) string {
			return decibels(w.LowerDB, telling(w.MarginDB, digits(r))) + " at " + megahertz(w.FreqHz)
		})},
	{name: "weakest.target_db", of: in(weakestOf, func(w *Weakest) any { return w.TargetDB })},
	{name: "weakest.margin_db", of: in(weakestOf, func(w *Weakest) any { return w.MarginDB }),
		show: shownIn(weakestOf, weakness, "margin", func(w *Weakest, r *JudgeRow) string { return signed(w.MarginDB, digits(r)) })},
	{name: "lowest_mean.freq_hz", of: in(lowestMeanOf, func(l *LowestMean) any { return l.FreqHz })},
	{name: "lowest_mean.mean_db", of: in(lowestMeanOf, func(l *LowestMean) any { return l.MeanDB }),
		show: shownIn(lowestMeanOf, weakness, "lowest mean\nat MHz", func(l *LowestMean, r *JudgeRow) string {
			return decibels(l.MeanDB, digits(r)) + " at " + megahertz(l.FreqHz)
		})},
	{name: "lowest.atten_db", of: in(lowestOf, func(l *Lowest) any { return l.AttenDB }),
		show: shownIn(lowestOf, weakness, "lowest reading\nat MHz", func(l *Lowest, r *JudgeRow) string {
			s := decibels(l.AttenDB, digits(r)) + " at " + megahertz(l.FreqHz)
			if l.Limited {
				return "≥ " + s
			}
			return s
		})},
	{name: "lowest.limited", of: in(lowestOf, func(l *Lowest) any { return l.Limited })},
	{name: "lowest.freq_hz", of: in(lowestOf, func(l *Lowest) any { return l.FreqHz })},
	{name: "lowest.box", of: in(lowestOf, func(l *Lowest) any { return word(l.Box) })},
	{name: "lowest.closing", of: in(lowestOf, func(l *Lowest) any { return word(l.Closing) }),
		show: asText(shownIn(lowestOf, weakness, "in closing", where))},
	{name: "lowest.date", of: in(lowestOf, func(l *Lowest) any { return word(l.Date) })},
	tally("closings_below_target", func(r *JudgeRow) int { return r.ClosingsBelowTarget }, weakness, "closings\nbelow", nil),
	{name: "censored.mean_db", of: in(censoredOf, func(c *Censored) any { return number(c.MeanDB) }),
		show: shownIn(censoredOf, limited, "mean", func(c *Censored, r *JudgeRow) string { return optional(c.MeanDB, digits(r)) })},
	{name: "censored.sd_db", of: in(censoredOf, func(c *Censored) any { return number(c.SDDB) }),
		show: shownIn(censoredOf, limited, "SD of one\nclosing", func(c *Censored, r *JudgeRow) string { return optional(c.SDDB, digits(r)) })},
	{name: "censored.lower_db", of: in(censoredOf, func(c *Censored) any { return number(c.LowerDB) }),
		show: shownIn(censoredOf, limited, "mean ≥", func(c *Censored, r *JudgeRow) string { return optional(c.LowerDB, digits(r)) })},
	{name: "censored.method", of: in(censoredOf, func(c *Censored) any { return word(c.Method) }),
		show: asText(shownIn(censoredOf, limited, "method", func(c *Censored, _ *JudgeRow) string { return c.Method }))},
	level("headroom_db", func(r *JudgeRow) Number { return r.HeadroomDB }, weakness, "head-\nroom"),
	level("headroom_low_db", func(r *JudgeRow) Number { return r.HeadroomLowDB }, method, "lowest\nheadroom"),
	{name: "target_db", of: func(r *JudgeRow) any { return number(r.TargetDB) },
		show: &judgeShown{part: answer, head: "target", lift: "Target, dB: ",
			cell: func(r *JudgeRow) string {
				if r.TargetDB == nil {
					return undefined
				}
				return plainly(*r.TargetDB)
			}}},
	{name: "margin_db", of: func(r *JudgeRow) any { return number(r.MarginDB) },
		show: &judgeShown{part: answer, head: "margin",
			cell: func(r *JudgeRow) string {
				if r.MarginDB == nil {
					return undefined
				}
				return signed(*r.MarginDB, digits(r))
			}}},
	{name: "on", of: func(r *JudgeRow) any { return word(r.On) }},
	{name: "verdict", of: func(r *JudgeRow) any { return word(r.Verdict) },
		show: &judgeShown{part: answer, head: "verdict", text: true, cell: verdict}},
	{name: "verdicts.mean", of: func(r *JudgeRow) any { return word(r.Verdicts.Mean) }},
	{name: "verdicts.weakest", of: func(r *JudgeRow) any { return word(r.Verdicts.Weakest) }},
	{name: "verdicts.coverage", of: func(r *JudgeRow) any { return word(r.Verdicts.Coverage) }},
	{name: "verdicts.next", of: func(r *JudgeRow) any { return word(r.Verdicts.Next) }},
	{name: "needed.unit", of: in(neededOf, func(n *Needed) any { return word(n.Unit) })},
	{name: "needed.more", of: in(neededOf, func(n *Needed) any { return n.More })},
	{name: "needed.power", of: in(neededOf, func(n *Needed) any { return n.Power })},
	{name: "reason", of: func(r *JudgeRow) any { return word(r.Reason) }}, // text has it below the first table
}

// digits returns how many decimals the levels of r deserve: one, two where the
// standard error is below 0.05 dB, more where the margin would read as zero.
func digits(r *JudgeRow) int {
	d := 1
	if r.SEDB != nil && *r.SEDB < 0.05 {
		d = 2
	}
	if r.MarginDB != nil {
		d = telling(*r.MarginDB, d)
	}
	return d
}

// verdict names the bound that decided and says on the same line what goes below
// the target all the same.
func verdict(r *JudgeRow) string {
	s := r.Verdict
	if s == "" {
		s = "no verdict"
	}
	if r.On != "" {
		s += " (" + r.On + ")"
	}
	if n := r.Needed; n != nil {
		s += fmt.Sprintf("; about %s more would settle it", counted(n.More, n.Unit))
	}
	if !strings.HasPrefix(r.Verdict, "clears") && !strings.HasPrefix(r.Verdict, "undecided") {
		return s // the others say so themselves
	}
	if w := r.Weakest; w != nil && w.MarginDB < 0 {
		s += "; weakest point " + signed(w.MarginDB, digits(r))
	}
	if r.ClosingsBelowTarget > 0 {
		s += fmt.Sprintf("; closings with a point below: %d of %d", r.ClosingsBelowTarget, r.Closings)
	}
	return s
}

// where says in which closing the lowest reading was taken; the box is named
// where the group does not name it.
func where(l *Lowest, r *JudgeRow) string {
	if l.Box != "" && labelValue(r.Group, "box") != l.Box {
		return strings.TrimSuffix(l.Closing+", box "+l.Box, ", ")
	}
	return l.Closing
}
