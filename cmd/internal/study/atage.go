package study

import (
	"fmt"
	"math"
	"time"
)

const year = 365*day + day/4

// atAge keeps, of each fitting, the closings of the sessions within a span of the
// one that is nearest to an age: years since the fitting was installed, else since
// its first test. Without an age that is the fitting's first session. Of two
// sessions equally near the earlier one counts. Closings without a date are kept.
func atAge(g group, years *float64, within time.Duration, n *notebook) group {
	start := started(g.closings)
	dates := make(map[fittingKey]map[string]time.Time) // of each session, its last day
	for _, cl := range g.closings {
		k := cl.fittingKey()
		if dates[k] == nil {
			dates[k] = make(map[string]time.Time)
		}
		if cl.Date.After(dates[k][cl.Session]) {
			dates[k][cl.Session] = cl.Date
		}
	}
	anchor := make(map[fittingKey]time.Time)
	for k, sessions := range dates {
		want := time.Time{}
		if years != nil && !start[k].IsZero() {
			want = start[k].Add(time.Duration(*years * float64(year)))
		}
		var best time.Time
		for _, d := range sessions {
			if d.IsZero() {
				continue
			}
			near, old := d.Sub(want).Abs(), best.Sub(want).Abs()
			if want.IsZero() { // the first
				near, old = d.Sub(time.Time{}), best.Sub(time.Time{})
			}
			if best.IsZero() || near < old || near == old && d.Before(best) {
				best = d
			}
		}
		anchor[k] = best
	}
	kept := group{labels: g.labels}
	type left struct {
		k       fittingKey
		session string
	}
	out := make(map[left]bool)
	closings := 0
	ages := make(map[string][2]float64)
	for _, cl := range g.closings {
		k := cl.fittingKey()
		d := dates[k][cl.Session]
		if !d.IsZero() && d.Sub(anchor[k]).Abs() > within {
			out[left{k, cl.Session}] = true
			closings++
			continue
		}
		kept.closings = append(kept.closings, cl)
		if cl.Date.IsZero() || start[k].IsZero() {
			continue
		}
		age := float64(cl.Date.Sub(start[k])) / float64(year)
		span, seen := ages[cl.Gasket]
		if !seen {
			span = [2]float64{age, age}
		}
		ages[cl.Gasket] = [2]float64{math.Min(span[0], age), math.Max(span[1], age)}
	}
	if closings > 0 {
		what := "its first one"
		if years != nil {
			what = fmt.Sprintf("the one nearest to an age of %.4g years", *years)
		}
		n.add(fmt.Sprintf("left out: sessions of a fitting more than %d days from %s; --at-age chooses another age", int(within/day), what),
			g.about(fmt.Sprintf("%s in %s", count(closings, "closing"), count(len(out), "visit"))))
	}
	noteAges(g, kept, ages, n)
	return kept
}

// about puts the name of a group before what is said of it; a group of all closings
// needs none.
func (g group) about(text string) string {
	switch {
	case len(g.labels) == 0:
		return text
	case text == "":
		return g.short()
	}
	return g.short() + ": " + text
}

// noteAges says how old the strips were where that is not zero for all.
func noteAges(g, kept group, ages map[string][2]float64, n *notebook) {
	low, high := math.Inf(1), 0.0
	for _, span := range ages {
		low, high = math.Min(low, span[0]), math.Max(high, span[1])
	}
	if high < 0.05 || math.IsInf(low, 0) {
		return
	}
	for _, gasket := range distinct(kept.closings, "gasket") {
		if span, ok := ages[gasket]; ok {
			text := fmt.Sprintf("%.1f", span[0])
			if fmt.Sprintf("%.1f", span[1]) != text {
				text += fmt.Sprintf(" to %.1f", span[1])
			}
			n.add("age of the strips compared, in years since they were installed (or first tested)", gasket+" "+text)
		}
	}
	if high-low > 1 {
		n.add("strips of different age are compared: where a gasket wears, the older ones stand lower for that alone; --at-age puts them nearer together", g.about(""))
	}
}
