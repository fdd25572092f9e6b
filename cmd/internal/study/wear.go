package study

import (
	"context"
	"fmt"
	"iter"
	"math"
	"slices"
	"time"

	"sealbound/cmd/internal/report"
	"sealbound/stats/judge"
	"sealbound/stats/wear"
)

// Wear says per group and band what the retests show, when the lower bound meets the
// target, and when to test next. The error is an *InputError, a *UsageError, or one
// of the system.
func Wear(ctx context.Context, paths []string, s Settings) (*report.Document, error) {
	by := s.By
	if len(by) == 0 {
		by = []string{"gasket"}
	}
	t, budget, err := s.asked(by)
	if err != nil {
		return nil, err
	}
	c, err := read(ctx, paths, s)
	defer s.closed(c)
	if err != nil {
		return nil, err
	}
	c.aboutSpread = true
	n := &notebook{}
	doc := &report.Document{Version: s.Version, Command: "wear", Settings: s.shownToWear(by), Inputs: inputRows(c.summary)}
	cells, err := c.retests(by, s, t, n)
	if err != nil {
		return nil, err
	}
	for y, err := range cells {
		if err == nil {
			err = ctx.Err()
		}
		if err != nil {
			return nil, err
		}
		if err := c.study(y, s, t, budget); err != nil {
			return nil, fmt.Errorf("%s: %w", y.at(), err)
		}
		doc.Wear = append(doc.Wear, c.wearRow(y, s))
		c.noteWear(y, s, n)
		lines := y.result.Explain
		if y.last != nil {
			lines = y.last.Explain
		}
		if s.Explain && len(lines) > 0 {
			doc.Explain = append(doc.Explain, report.Explanation{Title: y.group.name() + ", band " + y.band.Name, Lines: lines})
		}
	}
	doc.Headlines = wearHeadlines(doc.Wear, s)
	doc.Notes = append(n.lines(), c.summary.Notes...)
	doc.Cautions = cautions
	return doc, nil
}

// A retest is one group in one band over the years, with the names behind the codes.
type retest struct {
	*cell                    // with the closings of control boxes beside those tested
	tests          group     // the group as it is, without controls
	control        bool      // the group is one of control boxes
	data           wear.Data // of the cell
	asOf, lastTest time.Time
	ageNow         float64 // of the strips in use on that date, their mean
	ageLast        float64 // of the same at the last test
	youngest       float64 // of them, on that date
	oldest         float64
	replaced       bool // none of the group's strips is the last one of its box
	result         wear.Result
	last           *judge.Result // of the last test, where there is no slope
	sessions       []string      // by code; see nameCodes
	strips         []stripName   // by code
}

func (y *retest) at() string { return y.group.short() + ", " + y.band.Name }

// retests are the groups in their bands, control boxes in groups of their own after
// the others. The filters by box and gasket leave the controls: they tell the drift
// of the instruments, whatever is tested.
func (c *campaign) retests(by []string, s Settings, t target, n *notebook) (iter.Seq2[*retest, error], error) {
	closings, err := c.chosen(s, n)
	if err != nil {
		return nil, err
	}
	isControl := c.controlBoxes()
	everything := s
	everything.Box, everything.Gasket = nil, nil
	all, _ := c.filtered(everything)
	var tests, controls []*closing
	undated := make(map[string]int)
	keep := func(list []*closing, cl *closing) []*closing {
		if cl.Date.IsZero() {
			undated[cl.Box]++
			return list
		}
		return append(list, cl)
	}
	for _, cl := range closings {
		if !isControl[cl.Box] {
			tests = keep(tests, cl)
		}
	}
	for _, cl := range all {
		if isControl[cl.Box] {
			controls = keep(controls, cl)
		}
	}
	for _, box := range c.distinct("box") {
		if k := undated[box]; k > 0 {
			n.add("left out: closings without a date, which have no age", fmt.Sprintf("box %s: %s", box, count(k, "closing")))
		}
	}
	if len(tests)+len(controls) == 0 {
		return nil, c.unusable("wear needs dates: no closing has one; fill the column date (and installed, where it is known)", n)
	}
	groups := unpooled(groupBy(tests, by), by, s.Pool, n)
	var whole []group // with the controls beside those tested
	for _, g := range groups {
		whole = append(whole, group{g.labels, slices.Concat(g.closings, sameInstruments(controls, g))})
	}
	for _, g := range unpooled(groupBy(controls, by), by, s.Pool, &notebook{}) {
		g.labels = append(slices.Clone(g.labels), report.Label{Field: "role", Value: "control"})
		groups, whole = append(groups, g), append(whole, g)
	}
	at := -1
	cells, err := c.banded(whole, s, t, n, func(group) {
		at++
		mixedConditions(groups[at], n)
		if gaskets := distinct(groups[at].closings, "gasket"); len(gaskets) > 1 {
			n.add("different gasket products are pooled: their strips are taken to wear alike", groups[at].short()+": "+listed(gaskets))
		}
	})
	if err != nil {
		return nil, err
	}
	start := started(c.closings)
	inUse := installedLast(c.closings, start)
	return func(yield func(*retest, error) bool) {
		at, none := 0, true
		for x, err := range cells {
			if err != nil {
				yield(nil, err)
				return
			}
			for !sameGroup(x.group.labels, groups[at].labels) {
				at++
			}
			if y := retestOf(x, groups[at], isControl, start, inUse, s); y != nil {
				none = false
				if !yield(y, nil) {
					return
				}
			}
		}
		if none {
			yield(nil, c.unusable("no reading lies in the bands asked for; --bands each looks at every frequency", n))
		}
	}, nil
}

// controlBoxes are the boxes of role control; looked up once.
func (c *campaign) controlBoxes() map[string]bool {
	if c.control == nil {
		c.control = make(map[string]bool)
		for _, b := range c.summary.Boxes {
			if b.Role == "control" {
				c.control[b.Label] = true
			}
		}
	}
	return c.control
}

// sameInstruments are the closings of control boxes that were measured as the group
// was, where groups are parted by instruments.
func sameInstruments(controls []*closing, g group) (out []*closing) {
	for _, cl := range controls {
		same := true
		for _, l := range g.labels {
			if slices.Contains(instrumentFields, l.Field) && cl.field(l.Field) != l.Value {
				same = false
			}
		}
		if same {
			out = append(out, cl)
		}
	}
	return out
}

// retestOf gives the cell its times; nil where only control boxes have readings.
func retestOf(x *cell, g group, isControl map[string]bool, start map[fittingKey]time.Time, inUse map[string]fittingKey, s Settings) *retest {
	control := isControl[g.closings[0].Box] // a group is of controls or has none
	y := &retest{cell: x, tests: g, control: control}
	y.cell.group = g
	y.data.Data = x.data
	origin := x.closings[0].Date
	any := false
	for _, cl := range x.closings {
		k := start[cl.fittingKey()]
		y.data.AgeYears = append(y.data.AgeYears, years(cl.Date.Sub(k)))
		y.data.Years = append(y.data.Years, years(cl.Date.Sub(origin)))
		is := isControl[cl.Box] && !control
		y.data.Control = append(y.data.Control, is)
		if !is {
			any = true
			if cl.Date.After(y.lastTest) {
				y.lastTest = cl.Date
			}
		}
	}
	if !any {
		return nil
	}
	if !slices.Contains(y.data.Control, true) {
		y.data.Control = nil
	}
	y.asOf = s.AsOf
	if y.asOf.IsZero() {
		y.asOf = y.lastTest
	}
	y.setAges(start, inUse)
	return y
}

func years(d time.Duration) float64 { return float64(d) / float64(year) }

// installedLast is of each box the strip that went in last.
func installedLast(closings []*closing, start map[fittingKey]time.Time) map[string]fittingKey {
	last := make(map[string]fittingKey)
	for _, cl := range closings {
		k := cl.fittingKey()
		if old, ok := last[k.box]; !ok || start[k].After(start[old]) {
			last[k.box] = k
		}
	}
	return last
}

// setAges sets the age of the strips in use: of each box the strip installed last, as
// far as it is one of the group. Where all have been replaced since, the last of the
// group in each box stand for them.
func (y *retest) setAges(start map[fittingKey]time.Time, overall map[string]fittingKey) {
	inGroup := installedLast(y.tests.closings, start)
	var ages []float64
	gather := func(inUse bool) {
		for _, cl := range y.tests.closings {
			k := cl.fittingKey()
			if inGroup[k.box] != k || inUse && overall[k.box] != k {
				continue
			}
			ages = append(ages, years(y.asOf.Sub(start[k])))
			delete(inGroup, k.box)
		}
	}
	gather(true)
	if y.replaced = len(ages) == 0; y.replaced {
		inGroup = installedLast(y.tests.closings, start)
		gather(false)
	}
	y.youngest, y.oldest = slices.Min(ages), slices.Max(ages)
	for _, a := range ages {
		y.ageNow += a / float64(len(ages))
	}
	y.ageLast = y.ageNow - years(y.asOf.Sub(y.lastTest))
}

// study asks what the retests show; where there is no slope, what the last test shows.
func (c *campaign) study(y *retest, s Settings, t target, budget []judge.Source) error {
	settings := wear.Settings{Confidence: s.Confidence, Coverage: s.Coverage, On: judge.Bound(s.On),
		Common: s.Slopes == "common", AgeYears: y.ageNow, LastAge: y.ageLast, Details: true, StepDB: s.DriftDB,
		Curve: s.curves, OmitSDBounds: s.curves} // a page shows no bounds of the SDs
	var err error
	if y.result, err = wear.Wear(y.data, settings); err != nil {
		return err
	}
	if !y.result.NoSlope || !y.result.ClearPoints {
		return nil
	}
	used := make([]bool, len(c.points))
	for _, p := range y.result.Points {
		used[y.points[p]] = true
	}
	g := lastTest(y.tests, s.Within, &notebook{})
	x, err := c.cellOf(g, layer{y.band, used}, t)
	if err != nil || x == nil {
		return err
	}
	r, err := judge.Judge(x.data, judge.Settings{Confidence: s.Confidence, Coverage: s.Coverage,
		RaiseDB: s.LimitedRaiseDB, Reference: budget, Seed: s.Seed, Explain: s.Explain})
	if err != nil {
		return err
	}
	y.last = &r
	return nil
}

// dateAt is the day on which the strips in use have an age, begun days not counted.
// Ages are days over 365.25 and back: an age of whole days may lie a rounding error
// below them, which a tenth of a second makes good.
func (y *retest) dateAt(age float64) time.Time {
	days := math.Floor((age-y.ageNow)*float64(year)/float64(day) + 1e-6)
	return y.asOf.AddDate(0, 0, int(days))
}

// horizon is the day beyond which nothing is dated.
func (y *retest) horizon() time.Time { return y.dateAt(y.result.Horizon) }

// after adds the interval between retests to a day: whole years by the calendar, the
// rest in days.
func after(from time.Time, interval float64) time.Time {
	whole, part := math.Modf(interval)
	return from.AddDate(int(whole), 0, int(math.Round(part*float64(year)/float64(day))))
}

// shownToWear lists the settings that wear uses.
func (s Settings) shownToWear(by []string) []report.Setting {
	used := []string{"target_db", "bands", "by", "confidence", "coverage", "on", "floor_margin_db", "floor_dbm", "no_floor", "drift_db",
		"keep_drifted", "freq_match_ppm", "box", "gasket", "since", "until", "session_sd_db", "budget", "pool", "skip_bad_rows"}
	out := slices.DeleteFunc(s.shown(by), func(x report.Setting) bool { return !slices.Contains(used, x.Name) })
	var asOf any
	if !s.AsOf.IsZero() {
		asOf = civil(s.AsOf)
	}
	return append([]report.Setting{{Name: "as_of", Value: asOf}, {Name: "interval_years", Value: s.IntervalYears}, {Name: "slopes", Value: s.Slopes}}, out...)
}
