package study

import (
	"fmt"
	"math"
	"strings"

	"sealbound/cmd/internal/report"
	"sealbound/stats/wear"
)

// wearHeadlines give the answer in one sentence per group: what wears and how fast,
// when the bound meets the target, and when to test next.
func wearHeadlines(rows []report.WearRow, s Settings) []string {
	var out []string
	for first := 0; first < len(rows); {
		last := first + 1
		for last < len(rows) && sameGroup(rows[first].Group, rows[last].Group) {
			last++
		}
		out = append(out, wearHeadline(rows[first:last], s))
		first = last
	}
	return out
}

// wearOrder is that of a headline: what matters first.
var wearOrder = []wear.Verdict{wear.Wears, wear.Improves, wear.NoTrend, wear.TooFew}

func wearHeadline(rows []report.WearRow, s Settings) string {
	var parts []string
	for _, v := range wearOrder {
		var in []report.WearRow
		var names []string
		for _, r := range rows {
			if r.Verdict == string(v) {
				in, names = append(in, r), append(names, r.Band.Name)
			}
		}
		if len(in) == 0 {
			continue
		}
		where := " in " + listed(names)
		switch v {
		case wear.Wears, wear.Improves:
			parts = append(parts, string(v)+where+" ("+speeds(in)+")")
		case wear.NoTrend:
			parts = append(parts, "no trend shown"+where)
		default:
			for len(in) > 0 { // bands that share a reason together
				why, same := in[0].Short, []string{}
				var rest []report.WearRow
				for _, r := range in {
					if r.Short == why {
						same = append(same, r.Band.Name)
					} else {
						rest = append(rest, r)
					}
				}
				parts, in = append(parts, why+" in "+listed(same)), rest
			}
		}
	}
	if !rows[0].Control {
		parts = append(parts, whenBelow(rows, s)...)
	}
	text := group{labels: rows[0].Group}.name() + ": " + strings.Join(parts, "; ") + "."
	return strings.ToUpper(text[:1]) + text[1:]
}

// speeds is the range of slopes, and what they are at the least.
func speeds(rows []report.WearRow) string {
	low, high := math.Inf(1), math.Inf(-1)
	for _, r := range rows {
		low, high = math.Min(low, math.Abs(*r.Slope)), math.Max(high, math.Abs(*r.Slope))
	}
	a, b := fmt.Sprintf("%.2f", low), fmt.Sprintf("%.2f", high)
	if a == b {
		return a + " dB a year"
	}
	return a + " to " + b + " dB a year"
}

// whenBelow says where the bound stands and when to test next.
func whenBelow(rows []report.WearRow, s Settings) (parts []string) {
	var due []string
	first, firstBand, retest := "", "", ""
	for _, r := range rows {
		if r.DueNow {
			due = append(due, r.Band.Name)
		} else if r.RetestBy != "" && (retest == "" || r.RetestBy < retest) {
			retest = r.RetestBy
		}
		if on := r.LowerCrossesOn; on != "" && !r.DueNow && (first == "" || on < first) {
			first, firstBand = on, r.Band.Name
		}
	}
	if len(due) > 0 {
		parts = append(parts, fmt.Sprintf("due now in %s: the lower bound (%s) is below %s already", listed(due), s.On, wearTarget(rows)))
	}
	if first != "" {
		parts = append(parts, fmt.Sprintf("the lower bound (%s) meets %s on %s in %s at the earliest", s.On, wearTarget(rows), first, firstBand))
	}
	if len(due) < len(rows) && retest != "" {
		parts = append(parts, "retest by "+retest)
	}
	return parts
}

func wearTarget(rows []report.WearRow) string {
	value := math.NaN()
	for _, r := range rows {
		if r.TargetDB == nil {
			continue
		}
		if !math.IsNaN(value) && value != *r.TargetDB {
			return "the target"
		}
		value = *r.TargetDB
	}
	if math.IsNaN(value) {
		return "the target"
	}
	return fmt.Sprintf("%.4g dB", value)
}
