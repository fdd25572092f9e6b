package study

import (
	"fmt"
	"strings"

	"sealbound/cmd/internal/report"
	"sealbound/stats/judge"
)

// headlines give the answer in one sentence per group: what clears and what does
// not, by how much, and of what it may be said.
func headlines(rows []report.JudgeRow, s Settings) []string {
	var out []string
	if tally := overview(rows, s); tally != "" {
		out = append(out, tally)
	}
	common := rows[0].ValidFor
	for _, r := range rows {
		if r.ValidFor != common {
			common = ""
		}
	}
	for first := 0; first < len(rows); {
		last := first + 1
		for last < len(rows) && sameGroup(rows[first].Group, rows[last].Group) {
			last++
		}
		out = append(out, headline(rows[first:last], s, common))
		first = last
	}
	if common != "" && len(out) > 1 {
		out = append(out, "Valid for "+common+", each.")
	}
	return out
}

// fewGroups need no overview.
const fewGroups = 3

// overview counts verdicts where there are more groups than one takes in at a glance.
func overview(rows []report.JudgeRow, s Settings) string {
	groups := 0
	counts := make(map[string]int)
	for i, r := range rows {
		if i == 0 || !sameGroup(r.Group, rows[i-1].Group) {
			groups++
		}
		counts[strings.TrimSuffix(r.Verdict, inThisSetup)]++
	}
	if groups <= fewGroups {
		return ""
	}
	var parts []string
	for _, v := range spokenOrder {
		if n := counts[string(v)]; n > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", n, tallied[v]))
		}
	}
	return fmt.Sprintf("%d groups, %d verdicts by %s at %s: %s.", groups, len(rows), s.On, targetText(rows), listed(parts))
}

var tallied = map[judge.Verdict]string{judge.Clears: "clear", judge.FallsShort: "fall short",
	judge.OutOfReach: "out of reach of the set-up", judge.Undecided: "undecided", judge.TooFew: "with too few closings"}

func sameGroup(a, b []report.Label) bool {
	if len(a) != len(b) {
		return false
	}
	for i := range a {
		if a[i] != b[i] {
			return false
		}
	}
	return true
}

// spokenOrder is that of a headline: the good news, then the rest.
var spokenOrder = []judge.Verdict{judge.Clears, judge.FallsShort, judge.OutOfReach, judge.Undecided, judge.TooFew}

func headline(rows []report.JudgeRow, s Settings, common string) string {
	var parts []string
	for _, v := range spokenOrder {
		var names []string
		var in []report.JudgeRow
		for _, r := range rows {
			if strings.TrimSuffix(r.Verdict, inThisSetup) == string(v) {
				names, in = append(names, r.Band.Name), append(in, r)
			}
		}
		if len(in) > 0 {
			parts = append(parts, verdictPhrase(v, names, in, s))
		}
	}
	text := strings.TrimPrefix(group{labels: rows[0].Group}.name(), " ") + ": " + strings.Join(parts, "; ") + "."
	if but := exceptions(rows); but != "" {
		text += " " + but
	}
	scopes := make([]string, 0, 1)
	for _, r := range rows {
		if r.ValidFor != "" && (len(scopes) == 0 || scopes[len(scopes)-1] != r.ValidFor) {
			scopes = append(scopes, r.ValidFor)
		}
	}
	if len(scopes) > 0 && (common == "" || sameGroup(rows[0].Group, nil)) {
		text += " Valid for " + strings.Join(scopes, " / ") + "."
	}
	return strings.ToUpper(text[:1]) + text[1:]
}

// verdictPhrase says one verdict of the bands that share it.
func verdictPhrase(v judge.Verdict, names []string, rows []report.JudgeRow, s Settings) string {
	target := targetText(rows)
	where := listed(names)
	setup := ""
	if strings.HasSuffix(rows[0].Verdict, inThisSetup) {
		setup = inThisSetup
	}
	switch v {
	case judge.Clears:
		m, at := smallestMargin(rows)
		return fmt.Sprintf("clears %s%s in %s (%s; smallest margin %.1f dB, %s)", target, setup, where, s.On, m, at)
	case judge.FallsShort:
		return fmt.Sprintf("falls short of %s%s in %s (%s)", target, setup, where, s.On)
	case judge.OutOfReach:
		return fmt.Sprintf("%s is out of reach of the set-up in %s (headroom %s)", target, where, headroomText(rows))
	case judge.Undecided:
		return fmt.Sprintf("undecided at %s%s in %s%s", target, setup, where, neededText(rows))
	}
	return fmt.Sprintf("too few closings for a bound in %s (%s)", where, fewText(rows))
}

func targetText(rows []report.JudgeRow) string {
	var lo, hi float64
	for i, r := range rows {
		if r.TargetDB == nil {
			return "the target"
		}
		if i == 0 || *r.TargetDB < lo {
			lo = *r.TargetDB
		}
		if i == 0 || *r.TargetDB > hi {
			hi = *r.TargetDB
		}
	}
	if lo == hi {
		return fmt.Sprintf("%.4g dB", lo)
	}
	return fmt.Sprintf("%.1f to %.1f dB", lo, hi)
}

func smallestMargin(rows []report.JudgeRow) (margin float64, band string) {
	for i, r := range rows {
		if r.MarginDB != nil && (i == 0 || *r.MarginDB < margin) {
			margin, band = *r.MarginDB, r.Band.Name
		}
	}
	return margin, band
}

func headroomText(rows []report.JudgeRow) string {
	var parts []string
	for _, r := range rows {
		if r.HeadroomDB != nil {
			parts = append(parts, fmt.Sprintf("%.1f dB", *r.HeadroomDB))
		}
	}
	return listed(parts)
}

func neededText(rows []report.JudgeRow) string {
	most := report.Needed{}
	for _, r := range rows {
		if r.Needed == nil {
			return ""
		}
		if r.Needed.More > most.More {
			most = *r.Needed
		}
	}
	_, unit, _ := strings.Cut(count(most.More, unitName(most.Unit)), " ")
	return fmt.Sprintf(" (about %d more %s would settle it, power %.2g)", most.More, unit, most.Power)
}

// unitName is what one goes and gets more of: of inseparable levels the top one.
func unitName(unit string) string {
	name, _, _ := strings.Cut(unit, "+")
	return name
}

// fewText says what there is, what the set-up could show, and what to do next.
func fewText(rows []report.JudgeRow) string {
	closings := rows[0].Closings
	text := count(closings, "closing")
	if len(rows) > 1 {
		return text
	}
	r := rows[0]
	if r.MeanDB != nil {
		figure := fmt.Sprintf("the mean is %.1f dB", *r.MeanDB)
		if closings == 1 {
			figure = fmt.Sprintf("it shows %.1f dB", *r.MeanDB)
		}
		if r.Limited > 0 {
			figure += " at least"
		}
		text += "; " + figure
	}
	if r.HeadroomDB != nil {
		text += fmt.Sprintf("; clear of its floor this set-up shows up to %.1f dB", *r.HeadroomDB)
	}
	if closings < advisedClosings {
		if more := advisedClosings - closings; more == 1 {
			text += "; close and read once more"
		} else {
			text += fmt.Sprintf("; close and read %d more times", more)
		}
	}
	return text
}

// advisedClosings is the least number for a bound worth having: common practice, no
// source.
const advisedClosings = 5

// exceptions names what the deciding bound does not tell: weak points and low
// readings in bands that clear.
func exceptions(rows []report.JudgeRow) string {
	var weak, low []string
	for _, r := range rows {
		if strings.TrimSuffix(r.Verdict, inThisSetup) != string(judge.Clears) {
			continue
		}
		switch {
		case r.Weakest != nil && r.Weakest.MarginDB < 0:
			weak = append(weak, fmt.Sprintf("%s in %s (lower bound %.1f dB)", megahertz(r.Weakest.FreqHz), r.Band.Name, r.Weakest.LowerDB))
		case r.ClosingsBelowTarget > 0 && r.Lowest != nil:
			low = append(low, fmt.Sprintf("%.1f dB at %s in %s", r.Lowest.AttenDB, megahertz(r.Lowest.FreqHz), r.Band.Name))
		}
	}
	var parts []string
	if len(weak) > 0 {
		parts = append(parts, "But the weakest point does not clear: "+listed(weak)+".")
	}
	if len(low) > 0 {
		parts = append(parts, "Lowest reading below target: "+listed(low)+".")
	}
	return strings.Join(parts, " ")
}
