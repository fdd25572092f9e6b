package study

import (
	"context"
	"fmt"
	"iter"
	"math"
	"slices"
	"strings"

	"sealbound/cmd/internal/report"
	"sealbound/stats/judge"
)

var nan = math.NaN()

// Judge says per group and band whether the lower bound clears the target. The
// error is an *InputError, a *UsageError, or one of the system.
func Judge(ctx context.Context, paths []string, s Settings) (*report.Document, error) {
	by := s.By
	if len(by) == 0 {
		by = []string{"gasket", "box"}
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
	n := &notebook{}
	doc := &report.Document{Version: s.Version, Command: "judge", Settings: s.shown(by), Inputs: inputRows(c.summary)}
	cells, err := c.cells(by, s, t, n)
	if err != nil {
		return nil, err
	}
	if some, _ := c.reduced(); some && s.Average == "power" {
		return nil, &UsageError{"average", "power", "closing-level rows hold means in dB; give the readings for another average"}
	}
	if s.outlines != nil {
		cells = outlining(cells, s.outlines)
	}
	tell := func(x *cell, r judge.Result) {
		doc.Judge = append(doc.Judge, c.judgeRow(x, r, s))
		c.noteResult(x, r, s, n)
		if s.Explain {
			doc.Explain = append(doc.Explain, report.Explanation{
				Title: x.group.name() + ", band " + x.band.Name, Lines: r.Explain})
		}
	}
	settings := judge.Settings{Confidence: s.Confidence, Coverage: s.Coverage,
		Power: s.Average == "power", RaiseDB: s.LimitedRaiseDB, Reference: budget, Seed: s.Seed, Explain: s.Explain}
	if s.Family == "holm" {
		err = c.judgeFamily(ctx, cells, settings, n, tell)
	} else {
		err = c.judgeEach(ctx, cells, settings, tell)
	}
	if err != nil {
		return nil, err
	}
	doc.Headlines = headlines(doc.Judge, s)
	doc.Notes = append(n.lines(), c.summary.Notes...)
	doc.Cautions = cautions
	return doc, nil
}

// check refuses settings that cannot be meant.
func (s Settings) check(by []string) error {
	if err := checkFields("by", by, GroupFields()); err != nil {
		return err
	}
	if err := checkFields("pool", s.Pool, instrumentFields); err != nil {
		return err
	}
	if s.Family != "" && s.On != "mean" && s.On != "weakest" {
		return &UsageError{"family", s.Family, "only with --on mean or weakest: the other bounds have no p value to correct"}
	}
	_, err := bandsFor(s.Bands, nil)
	return err
}

// cells are the groups in their bands, after filters and the choice of the test
// that the question is about.
func (c *campaign) cells(by []string, s Settings, t target, n *notebook) (iter.Seq2[*cell, error], error) {
	closings, err := c.chosen(s, n)
	if err != nil {
		return nil, err
	}
	groups := unpooled(groupBy(closings, by), by, s.Pool, n)
	for i, g := range groups {
		if others, control := c.controls(g); len(control) > 0 && len(others.closings) > 0 && len(s.Box) == 0 {
			n.add("left out: control boxes, which stay shut and are no example of new boxes; --box names what to pool all the same",
				fmt.Sprintf("%s: %s of box %s", g.short(), count(len(control), "closing"), listed(distinct(control, "box"))))
			g, groups[i] = others, others
		}
		if s.AllDates {
			noteAllDates(g, n)
			continue
		}
		groups[i] = lastTest(g, s.Within, n)
	}
	return c.banded(groups, s, t, n, func(g group) {
		mixedConditions(g, n)
		if gaskets := distinct(g.closings, "gasket"); len(gaskets) > 1 {
			n.add("different gasket products are pooled", g.short()+": "+listed(gaskets))
		}
	})
}

// chosen are the closings that the filters leave, their fittings named.
func (c *campaign) chosen(s Settings, n *notebook) ([]*closing, error) {
	for _, text := range c.nameFittings() {
		n.add(text, "")
	}
	c.noteDrift(s, n)
	c.noteFuture(s, n)
	closings, left := c.filtered(s)
	switch {
	case len(c.closings) == 0 && len(c.summary.LeftOut) > 0:
		return nil, c.unusable("every run was left out for the drift of its open readings; --keep-drifted would keep them, or raise --drift", n)
	case len(c.closings) == 0:
		return nil, c.unusable("there is no closed reading to judge", n)
	case len(closings) == 0:
		if len(c.summary.LeftOut) == 0 { // else the notes may tell why
			n = &notebook{}
		}
		return nil, c.unusable(c.nothingLeft(s), n)
	case left > 0:
		n.add(fmt.Sprintf("the filters left out %s", count(left, "closing")), "")
	}
	return closings, nil
}

// banded are the cells of groups in their bands; note says what each group holds.
func (c *campaign) banded(groups []group, s Settings, t target, n *notebook, note func(group)) (iter.Seq2[*cell, error], error) {
	bands, err := c.reducedBands(s.Bands, n)
	if err != nil {
		return nil, err
	}
	if err := fewEnough(groups, len(bands)); err != nil {
		return nil, err
	}
	if len(bands)*len(c.points) > mostPlaces {
		return nil, &UsageError{"bands", s.Bands, fmt.Sprintf("%s over %s are more than memory holds; name wider bands, such as --bands itu", count(len(bands), "band"), count(len(c.points), "point"))}
	}
	var layers []layer
	for b, inside := range c.inside(bands, n) {
		layers = append(layers, layer{bands[b], inside})
	}
	for _, g := range groups {
		note(g)
	}
	return func(yield func(*cell, error) bool) {
		done := 0
		for x, err := range c.each(groups, layers, t) {
			if !yield(x, err) {
				return
			}
			done++
			s.told(done, len(groups)*len(layers))
		}
		if done == 0 {
			yield(nil, c.unusable("no reading lies in the bands asked for; --bands each judges every frequency", n))
		}
	}, nil
}

// mostRows is what a result holds: more would be read by nobody, and take more
// than a gigabyte. A variable for tests.
var mostRows = 100_000

// mostPlaces is for how many bands times points it is told whether a point lies in a
// band, at a byte each. A variable for tests.
var mostPlaces = 400_000_000

// fewEnough refuses groups that would make too many rows.
func fewEnough(groups []group, bands int) error {
	if len(groups)*bands <= mostRows {
		return nil
	}
	var by []string
	for _, l := range groups[0].labels {
		by = append(by, l.Field)
	}
	return &UsageError{"by", strings.Join(by, ","), fmt.Sprintf("%s in %s make %d rows, and a result holds %d at most; group by fewer fields, such as --by gasket, or choose with --box, --gasket or --bands",
		count(len(groups), "group"), count(bands, "band"), len(groups)*bands, mostRows)}
}

// unusable is the error of a campaign that leaves nothing to judge, with the notes
// that may tell why.
func (c *campaign) unusable(reason string, n *notebook) error {
	for _, l := range n.lines() {
		reason += "\n  " + l
	}
	return &InputError{Inputs: inputRows(c.summary), Err: fmt.Errorf("%s", reason)}
}

func (c *campaign) distinct(field string) []string {
	return distinct(c.closings, field)
}

// nothingLeft says what the filters that were given could have let through.
func (c *campaign) nothingLeft(s Settings) string {
	var flags, there []string
	if len(s.Box) > 0 {
		flags, there = append(flags, "--box"), append(there, "boxes: "+someOf(c.distinct("box")))
	}
	if len(s.Gasket) > 0 {
		flags, there = append(flags, "--gasket"), append(there, "gaskets: "+someOf(c.distinct("gasket")))
	}
	if !s.Since.IsZero() {
		flags = append(flags, "--since")
	}
	if !s.Until.IsZero() {
		flags = append(flags, "--until")
	}
	if !s.Since.IsZero() || !s.Until.IsZero() {
		first, last := "", ""
		for _, cl := range c.closings {
			if d := civil(cl.Date); d != "" {
				if first == "" || d < first {
					first = d
				}
				last = max(last, d)
			}
		}
		days := "no closing has a date"
		if first != "" {
			days = "dates: " + first + " to " + last
		}
		there = append(there, days)
	}
	return fmt.Sprintf("the filters leave nothing: none of %s passes %s (%s)", count(len(c.closings), "closing"), listed(flags), strings.Join(there, "; "))
}

// someOf lists a few words and counts the rest.
func someOf(words []string) string {
	const most = 6
	if len(words) <= most {
		return listed(words)
	}
	return fmt.Sprintf("%s and %d more", strings.Join(words[:most], ", "), len(words)-most)
}

// inside tells for each band which points lie in it, and notes those in none.
func (c *campaign) inside(bands []report.Band, n *notebook) [][]bool {
	in := make([][]bool, len(bands))
	somewhere := make([]bool, len(c.points))
	for b := range bands {
		in[b] = make([]bool, len(c.points))
		for p, point := range c.points {
			in[b][p] = lies(point, bands, b)
			somewhere[p] = somewhere[p] || in[b][p]
		}
	}
	var outside []string
	for p, point := range c.points {
		if !somewhere[p] {
			if point.Reduced() {
				outside = append(outside, "the middle of "+spanName(point.Band))
			} else {
				outside = append(outside, megahertz(point.FreqHz))
			}
		}
	}
	if outside = slices.Compact(outside); len(outside) > 0 {
		n.add(fmt.Sprintf("%s in none of the bands and played no part: %s", plural("frequency lies", "frequencies lie", len(outside)), someOf(outside)), "")
	}
	return in
}

// defined turns NaN into the undefined Number.
func defined(x float64) report.Number {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return nil
	}
	return &x
}

// inThisSetup is appended to a verdict that nothing carries beyond the one setting-up
// of the instruments.
const inThisSetup = " in this set-up"

// spoken is the verdict as it is shown.
func spoken(v judge.Verdict, r judge.Result, s Settings) string {
	if r.ThisSetup && v != judge.TooFew && v != judge.OutOfReach {
		return string(v) + inThisSetup
	}
	return string(v)
}

func (c *campaign) judgeRow(x *cell, r judge.Result, s Settings) report.JudgeRow {
	row := report.JudgeRow{
		Group: x.group.labels, Band: x.band,
		Points: min(len(r.Points), x.places), Boxes: r.Boxes, Fittings: r.Fittings, Sessions: r.Sessions, Runs: r.Runs,
		Closings: r.Closings, Limited: c.limitedOf(x, r), Levels: r.Levels, ValidFor: string(r.ValidFor),
		MeanDB: defined(r.Mean.Value), SDDB: defined(r.Mean.SD), SEDB: defined(r.Mean.SE), DF: defined(r.Mean.DF),
		LowerDB: defined(r.Mean.Lower), UpperDB: defined(r.Mean.Upper),
		NextLowerDB: defined(r.Next.LowerDB), CoverageLowerDB: defined(r.Coverage.LowerDB), CoverageMethod: r.CoverageMethod,
		ClosingsBelowTarget: r.ClosingsBelow,
		HeadroomDB:          defined(r.HeadroomDB), HeadroomLowDB: defined(r.HeadroomLowDB),
		On: s.On, Verdict: spoken(r.Verdicts[judge.Bound(s.On)], r, s),
		Verdicts: report.Verdicts{
			Mean: spoken(r.Verdicts[judge.OnMean], r, s), Weakest: spoken(r.Verdicts[judge.OnWeakest], r, s),
			Coverage: spoken(r.Verdicts[judge.OnCoverage], r, s), Next: spoken(r.Verdicts[judge.OnNext], r, s)},
	}
	if len(r.Points) > 0 {
		row.TargetDB = defined(r.TargetDB)
	}
	margin := nan
	switch judge.Bound(s.On) {
	case judge.OnMean:
		margin = r.Mean.Lower - r.TargetDB
	case judge.OnNext:
		margin = r.Next.LowerDB - r.TargetDB
	case judge.OnCoverage:
		margin = r.Coverage.LowerDB - r.TargetDB
	case judge.OnWeakest:
		if r.Weakest != nil {
			margin = r.Weakest.MarginDB
		}
	}
	row.MarginDB = defined(margin)
	if w := r.Weakest; w != nil {
		p := c.points[x.points[w.Point]]
		row.Weakest = &report.Weakest{FreqHz: p.FreqHz, Position: p.Position, Polarization: p.Polarization,
			MeanDB: w.MeanDB, LowerDB: w.LowerDB, TargetDB: w.TargetDB, MarginDB: w.MarginDB}
	}
	if l := r.LowestMean; l.Point >= 0 {
		row.LowestMean = &report.LowestMean{FreqHz: c.points[x.points[l.Point]].FreqHz, MeanDB: l.MeanDB}
	}
	if l := r.Lowest; l.Point >= 0 {
		cl := x.closings[l.Closing]
		row.Lowest = &report.Lowest{AttenDB: l.DB, Limited: l.Limited, FreqHz: c.points[x.points[l.Point]].FreqHz,
			Box: cl.Box, Closing: cl.Label, Date: civil(cl.Date)}
	}
	if k := r.Censored; k != nil {
		row.Censored = &report.Censored{MeanDB: defined(k.MeanDB), SDDB: defined(k.SDDB), LowerDB: defined(k.LowerDB), Method: k.Method}
	}
	if n := r.Needed; n != nil {
		row.Needed = &report.Needed{Unit: n.Unit, More: n.More, Power: n.Power}
	}
	row.Reason = reasons(r, judge.Bound(s.On))
	return row
}

// reasons says why something that the row could have said is not defined.
func reasons(r judge.Result, on judge.Bound) string {
	parts := []string{r.Reason}
	switch on {
	case judge.OnNext:
		parts = append(parts, r.Next.Reason)
	case judge.OnCoverage:
		parts = append(parts, r.Coverage.Reason)
	}
	if r.Weakest == nil && on == judge.OnWeakest {
		parts = append(parts, r.WeakestReason)
	}
	parts = append(parts, r.NeededReason)
	parts = slices.DeleteFunc(parts, func(p string) bool { return p == "" })
	return strings.Join(slices.Compact(parts), "; ")
}
