package study

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"sealbound/cmd/internal/report"
	"sealbound/ingest"
)

// contextFields may be named in --by and --pool beside box, gasket, fitting,
// session and run.
var (
	instrumentFields = []string{"method", "receiver", "rbw_hz", "detector", "hold", "antenna", "receiver_in"}
	conditionFields  = []string{"operator", "latch", "torque_nm", "temp_c", "humidity_pct", "battery_v", "note"}
	placeFields      = []string{"gasket", "box", "fitting", "session", "run"}
)

// GroupFields are the columns that may make a group.
func GroupFields() []string {
	return slices.Concat(placeFields, instrumentFields, conditionFields)
}

// PoolFields are the columns in which readings that differ are kept apart unless
// they are pooled.
func PoolFields() []string { return slices.Clone(instrumentFields) }

// field is the value of a closing in a grouping field.
func (c *occasion) field(name string) string {
	switch name {
	case "gasket":
		return c.Gasket
	case "box":
		return c.Box
	case "fitting":
		return c.Fitting
	case "session":
		return c.Session
	case "run":
		return c.Run
	}
	for _, x := range *c.context {
		if x.field == name {
			return x.value
		}
	}
	return ""
}

// A group is a set of closings that one row of the result is about.
type group struct {
	labels   []report.Label
	closings []*closing
}

// short names a group in notes, by its values alone.
func (g group) short() string {
	var parts []string
	for _, l := range g.labels {
		value := l.Value
		if value == "" {
			value = "(no " + l.Field + ")"
		}
		parts = append(parts, value)
	}
	if len(parts) == 0 {
		return "all closings"
	}
	return strings.Join(parts, ", ")
}

func (g group) name() string {
	var parts []string
	for _, l := range g.labels {
		value := l.Value
		if value == "" {
			value = "(none)"
		}
		parts = append(parts, l.Field+" "+value)
	}
	if len(parts) == 0 {
		return "all closings"
	}
	return strings.Join(parts, ", ")
}

// checkFields refuses a grouping field that does not exist.
func checkFields(flag string, fields, allowed []string) error {
	for i, f := range fields {
		if !slices.Contains(allowed, f) {
			return &UsageError{flag, f, "allowed are " + strings.Join(allowed, ", ")}
		}
		if slices.Contains(fields[:i], f) {
			return &UsageError{flag, f, "named twice"}
		}
	}
	return nil
}

// filtered drops the closings that the filters exclude and says how many.
func (c *campaign) filtered(s Settings) (kept []*closing, left int) {
	for _, cl := range c.closings {
		in := (len(s.Box) == 0 || slices.Contains(s.Box, cl.Box)) &&
			(len(s.Gasket) == 0 || slices.Contains(s.Gasket, cl.Gasket)) &&
			(s.Since.IsZero() || !cl.Date.IsZero() && !cl.Date.Before(s.Since)) &&
			(s.Until.IsZero() || !cl.Date.IsZero() && !cl.Date.After(s.Until))
		if in {
			kept = append(kept, cl)
		} else {
			left++
		}
	}
	return kept, left
}

// sortLabels puts labels in the order in which every result lists them: box 2
// before box 10.
func sortLabels(labels []string) { slices.SortFunc(labels, ingest.CompareLabels) }

// groupBy splits closings by the values of fields, in order of those values.
func groupBy(closings []*closing, fields []string) []group {
	at := make(map[string]int)
	var groups []group
	last := -1 // the group of the closing before
	for i, cl := range closings {
		if i > 0 && closings[i-1].occasion == cl.occasion {
			groups[last].closings = append(groups[last].closings, cl)
			continue
		}
		labels := make([]report.Label, len(fields))
		var key strings.Builder
		for i, f := range fields {
			labels[i] = report.Label{Field: f, Value: cl.field(f)}
			fmt.Fprintf(&key, "%d:%s", len(labels[i].Value), labels[i].Value)
		}
		k, ok := at[key.String()]
		if !ok {
			k = len(groups)
			at[key.String()] = k
			groups = append(groups, group{labels: labels})
		}
		groups[k].closings = append(groups[k].closings, cl)
		last = k
	}
	slices.SortStableFunc(groups, func(a, b group) int {
		for i := range a.labels {
			if d := ingest.CompareLabels(a.labels[i].Value, b.labels[i].Value); d != 0 {
				return d
			}
		}
		return 0
	})
	return groups
}

// unpooled splits groups further by each instrument field in which they differ and
// which --pool does not name. An empty cell does not differ from a filled one.
func unpooled(groups []group, by, pool []string, n *notebook) []group {
	for _, f := range instrumentFields {
		if slices.Contains(pool, f) || slices.Contains(by, f) {
			continue
		}
		var next []group
		for _, g := range groups {
			values := distinct(g.closings, f)
			if len(values) < 2 {
				next = append(next, g)
				continue
			}
			n.add(fmt.Sprintf("closings differ in %s and are judged apart; --pool %s would pool them", f, f), g.short()+": "+listed(values))
			for _, part := range groupBy(g.closings, []string{f}) {
				part.labels = append(slices.Clone(g.labels), part.labels...)
				next = append(next, part)
			}
		}
		groups = next
	}
	return groups
}

// mixed notes the conditions in which the closings of a group differ.
func mixedConditions(g group, n *notebook) {
	for _, f := range conditionFields {
		if values := distinct(g.closings, f); len(values) > 1 && f != "note" {
			shown := listed(values)
			if len(values) > 4 {
				shown = fmt.Sprintf("%d values from %s to %s", len(values), values[0], values[len(values)-1])
			}
			n.add(fmt.Sprintf("closings with different %s are pooled", f), g.short()+": "+shown)
		}
	}
}

// distinct lists the filled values of a field, sorted.
func distinct(closings []*closing, f string) []string {
	var values []string
	for i, cl := range closings {
		if i > 0 && closings[i-1].occasion == cl.occasion {
			continue
		}
		if v := cl.field(f); v != "" && (len(values) == 0 || values[len(values)-1] != v) {
			values = append(values, v)
		}
	}
	sortLabels(values)
	return slices.Compact(values)
}

// A fitting is one installation of a gasket in a box.
type fittingKey struct{ box, gasket, fitting string }

func (c *occasion) fittingKey() fittingKey { return fittingKey{c.Box, c.Gasket, c.fitting} }

// started is when a fitting went in: its installation, else its first test; zero
// where neither has a date.
func started(closings []*closing) map[fittingKey]time.Time {
	first, installed := make(map[fittingKey]time.Time), make(map[fittingKey]time.Time)
	for _, cl := range closings {
		k := cl.fittingKey()
		if t, ok := first[k]; !ok || !cl.Date.IsZero() && (t.IsZero() || cl.Date.Before(t)) {
			first[k] = cl.Date
		}
		if cl.Installed.After(installed[k]) {
			installed[k] = cl.Installed
		}
	}
	for k, t := range installed {
		if !t.IsZero() && (first[k].IsZero() || !t.After(first[k])) {
			first[k] = t
		}
	}
	return first
}

// lastTest keeps, of each box, the fitting installed last, and of that the closings
// in sessions within the window of its last one.
func lastTest(g group, within time.Duration, n *notebook) group {
	start := started(g.closings)
	last := make(map[string]fittingKey)
	unclear := make(map[string]bool)
	for _, cl := range g.closings {
		k := cl.fittingKey()
		old, ok := last[k.box]
		switch {
		case !ok:
			last[k.box] = k
		case old == k:
		case start[old].Equal(start[k]):
			unclear[k.box] = true
		case start[k].After(start[old]):
			last[k.box] = k
		}
	}
	for box := range unclear { // only a tie at the latest start leaves two fittings
		unclear[box] = false
		for k, t := range start {
			if k.box == box && k != last[box] && t.Equal(start[last[box]]) {
				unclear[box] = true
			}
		}
	}
	isLast := func(cl *closing) bool {
		k := cl.fittingKey()
		return k == last[k.box] || unclear[k.box] && start[k].Equal(start[last[k.box]])
	}
	end := make(map[fittingKey]time.Time) // the last session of a fitting
	sessionEnd := make(map[fittingKey]map[string]time.Time)
	for _, cl := range g.closings {
		k := cl.fittingKey()
		if sessionEnd[k] == nil {
			sessionEnd[k] = make(map[string]time.Time)
		}
		if cl.Date.After(sessionEnd[k][cl.Session]) {
			sessionEnd[k][cl.Session] = cl.Date
		}
		if cl.Date.After(end[k]) {
			end[k] = cl.Date
		}
	}
	kept := group{labels: g.labels}
	earlierFittings, earlierSessions := make(map[fittingKey]bool), make(map[string]bool)
	var fittingClosings, sessionClosings int
	for _, cl := range g.closings {
		k := cl.fittingKey()
		t := sessionEnd[k][cl.Session]
		switch {
		case !isLast(cl):
			earlierFittings[k] = true
			fittingClosings++
		case !t.IsZero() && end[k].Sub(t) > within:
			earlierSessions[cl.Session] = true
			sessionClosings++
		default:
			kept.closings = append(kept.closings, cl)
		}
	}
	if fittingClosings > 0 {
		n.add("left out: fittings installed before the last one of their box",
			fmt.Sprintf("%s: %s of %s", g.short(), count(fittingClosings, "closing"), count(len(earlierFittings), "fitting")))
	}
	if sessionClosings > 0 {
		n.add(fmt.Sprintf("left out: sessions more than %d days before the last one of their fitting; --all-dates would pool them", int(within/day)),
			fmt.Sprintf("%s: %s in %s", g.short(), count(sessionClosings, "closing"), count(len(earlierSessions), "session")))
	}
	for _, box := range sortedTrue(unclear) {
		n.add("fittings of one box that nothing tells apart in time are all taken: give dates or installed", g.short()+": box "+box)
	}
	return kept
}

func sortedTrue(m map[string]bool) []string {
	var keys []string
	for k, v := range m {
		if v {
			keys = append(keys, k)
		}
	}
	sortLabels(keys)
	return keys
}

func count(n int, word string) string {
	switch {
	case n == 1:
	case word == "box":
		word = "boxes"
	default:
		word += "s"
	}
	return fmt.Sprintf("%d %s", n, word)
}
