package study

import (
	"cmp"
	"context"
	"fmt"
	"iter"
	"math"
	"slices"
	"strings"

	"sealbound/cmd/internal/report"
	"sealbound/stats/compare"
	"sealbound/stats/judge"
)

// Compare says which gasket product to take, over many boxes. The error is an
// *InputError, a *UsageError, or one of the system.
func Compare(ctx context.Context, paths []string, s Settings) (*report.Document, error) {
	by := slices.DeleteFunc(slices.Clone(s.By), func(f string) bool { return f == "gasket" })
	t, budget, err := s.asked(s.By)
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
	doc := &report.Document{Version: s.Version, Command: "compare", Settings: s.shownToCompare(by), Inputs: inputRows(c.summary)}
	cells, err := c.comparisons(by, s, t, n)
	if err != nil {
		return nil, err
	}
	settings := compare.Settings{Confidence: s.Confidence, EquivalentDB: s.EquivalentDB, Power: s.Average == "power",
		RaiseDB: s.LimitedRaiseDB, FloorMarginDB: s.FloorMarginDB, Reference: budget}
	for x, err := range cells {
		if err == nil {
			err = ctx.Err()
		}
		if err != nil {
			return nil, err
		}
		y := &contest{cell: x, gaskets: labelsOf(x.closings, func(cl *closing) string { return cl.Gasket }),
			boxes: labelsOf(x.closings, func(cl *closing) string { return cl.Box })}
		d := compare.Data{Data: x.data, Product: coder("product", x.closings, func(cl *closing) string { return cl.Gasket })}
		settings.Against = int32(slices.Index(y.gaskets, s.Against))
		if s.Against == "" {
			settings.Against = -1
		}
		if y.result, err = compare.Compare(d, settings); err != nil {
			return nil, fmt.Errorf("%s: %w", y.name(), err)
		}
		c.choose(y)
		doc.Compare = append(doc.Compare, c.compareRow(y, s))
		c.noteContest(y, s, n)
		if s.Explain {
			doc.Explain = append(doc.Explain, y.explanation())
		}
	}
	doc.Headlines = compareHeadlines(doc.Compare, s)
	doc.Notes = append(n.lines(), c.summary.Notes...)
	doc.Cautions = cautions
	return doc, nil
}

// A contest is the products of one group in one band, with the names behind the
// codes.
type contest struct {
	*cell
	gaskets, boxes []string
	result         compare.Result
	bills          map[int32]bill // by product
	pick           int32          // -1 for none
	pickReason     string
}

// name is that of the group and the band.
func (y *contest) name() string {
	if len(y.group.labels) == 0 {
		return y.band.Name
	}
	return y.group.short() + ", " + y.band.Name
}

// labelsOf lists the distinct values of a key, sorted, as coder codes them.
func labelsOf(closings []*closing, key func(*closing) string) []string {
	labels := make([]string, len(closings))
	for i, cl := range closings {
		labels[i] = key(cl)
	}
	sortLabels(labels)
	return slices.Compact(labels)
}

// comparisons are the groups in their bands, without control boxes, each fitting at
// the age that the question is about.
func (c *campaign) comparisons(by []string, s Settings, t target, n *notebook) (iter.Seq2[*cell, error], error) {
	closings, err := c.chosen(s, n)
	if err != nil {
		return nil, err
	}
	var tested []*closing
	control := make(map[string]int)
	isControl := c.controlBoxes()
	for _, cl := range closings {
		if isControl[cl.Box] {
			control[cl.Box]++
			continue
		}
		tested = append(tested, cl)
	}
	for _, box := range c.distinct("box") {
		if k := control[box]; k > 0 {
			n.add("left out: control boxes, which tell drift of the kit and not products", fmt.Sprintf("%s: %s", box, count(k, "closing")))
		}
	}
	if len(tested) == 0 {
		return nil, c.unusable("only closings of control boxes are left, and these tell nothing of products", n)
	}
	if s.Against != "" && !slices.ContainsFunc(tested, func(cl *closing) bool { return cl.Gasket == s.Against }) {
		return nil, &UsageError{"against", s.Against, "no closing has this gasket; there are " + someOf(labelsOf(tested, func(cl *closing) string { return cl.Gasket }))}
	}
	groups := unpooled(groupBy(tested, by), by, s.Pool, n)
	for i, g := range groups {
		if s.AllDates {
			noteAllDates(g, n)
			continue
		}
		groups[i] = atAge(g, s.AtAgeYears, s.Within, n)
	}
	return c.banded(groups, s, t, n, func(g group) { mixedConditions(g, n) })
}

// choose adds up strips and costs and picks the cheapest product that clears.
func (c *campaign) choose(y *contest) {
	y.pick, y.bills = -1, make(map[int32]bill)
	var clear []compare.Product
	for _, p := range y.result.Products {
		y.bills[p.Code] = c.billFor(y.gaskets[p.Code], y.boxes)
		if p.Verdict == judge.Clears {
			clear = append(clear, p)
		}
	}
	switch {
	case y.result.NoPick != "":
		y.pickReason = y.result.NoPick
		return
	case len(clear) == 0:
		y.pickReason = "no product's lower bound clears the target"
		return
	case len(clear) == 1:
		y.pick = clear[0].Code
		return
	}
	currency := y.bills[clear[0].Code].currency
	for _, p := range clear {
		switch b := y.bills[p.Code]; {
		case math.IsNaN(b.cost):
			y.pickReason = fmt.Sprintf("several products clear, and which is the cheapest is not known: %s, %s", y.gaskets[p.Code], b.missing)
			return
		case b.currency != currency:
			y.pickReason = "several products clear, and their prices are in different currencies"
			return
		}
	}
	slices.SortStableFunc(clear, func(a, b compare.Product) int {
		return cmp.Or(cmp.Compare(y.bills[a.Code].cost, y.bills[b.Code].cost), -cmp.Compare(a.Lower, b.Lower))
	})
	y.pick = clear[0].Code
}

func (c *campaign) compareRow(y *contest, s Settings) report.CompareRow {
	r := y.result
	row := report.CompareRow{Group: y.group.labels, Band: y.band, Points: min(len(r.Points), y.places), Closings: len(r.Kept),
		Boxes: len(y.boxes), Levels: r.Levels, Design: r.Design.String(), Against: s.Against,
		Method: string(r.Family), LettersMethod: string(r.PairsFamily), EquivalentDB: defined(nan),
		TargetDB: defined(r.TargetDB), LogLikelihood: defined(r.LogLikelihood)}
	if s.EquivalentDB > 0 {
		row.EquivalentDB = defined(s.EquivalentDB)
	}
	for _, p := range r.Products {
		b := y.bills[p.Code]
		q := report.CompareProduct{Gasket: y.gaskets[p.Code], Boxes: p.Boxes, Fittings: p.Fittings, Closings: p.Closings,
			Limited: p.Limited / y.halves(), Readings: p.Readings / y.halves(),
			MeanDB: defined(p.Value), SEDB: defined(p.SE), DF: defined(p.DF), LowerDB: defined(p.Lower), UpperDB: defined(p.Upper),
			Letters: p.Letters, Verdict: string(p.Verdict), Strips: b.strips, Cost: defined(b.cost), Currency: b.currency, Reason: p.Reason}
		if p.ThisSetup && p.Verdict != judge.TooFew && p.Verdict != judge.OutOfReach {
			q.Verdict += inThisSetup
		}
		row.Products = append(row.Products, q)
	}
	for _, d := range r.Differences {
		x := report.CompareDifference{A: y.gaskets[d.A], B: y.gaskets[d.B], DifferenceDB: defined(d.DB), SEDB: defined(d.SE), DF: defined(d.DF),
			LowerDB: defined(d.Lower), UpperDB: defined(d.Upper), PAdjusted: defined(d.P), AtLeast: d.AtLeast, AtMost: d.AtMost, Reason: d.Reason}
		if s.EquivalentDB > 0 {
			x.EquivalentP, x.Equivalent = defined(d.EquivalentP), "no"
			switch {
			case d.Equivalent:
				x.Equivalent = "yes"
			case math.IsNaN(d.EquivalentP):
				x.Equivalent = ""
			}
		}
		row.Differences = append(row.Differences, x)
	}
	for _, k := range r.Components {
		row.Components = append(row.Components, report.CompareComponent{Source: k.Source, VarianceDB2: defined(k.Variance), SDDB: defined(k.SD),
			SDLowerDB: defined(k.Lower), SDUpperDB: defined(k.Upper), Share: defined(k.Share)})
	}
	for _, g := range r.Gains {
		row.Gains = append(row.Gains, report.CompareGain{Box: y.boxes[g.Box], Gasket: y.gaskets[g.Product], FromDB: g.FromDB, ToDB: g.ToDB,
			GainDB: g.DB, AtLeast: g.AtLeast, AtMost: g.AtMost})
	}
	for _, code := range r.Best {
		row.Best = append(row.Best, y.gaskets[code])
	}
	var reasons []string
	if r.Reason != "" {
		reasons = append(reasons, r.Reason)
	}
	if y.pick >= 0 {
		row.Pick = y.gaskets[y.pick]
	} else if y.pickReason != r.Reason {
		reasons = append(reasons, "no pick: "+y.pickReason)
	}
	row.Reason = strings.Join(reasons, "; ")
	return row
}

func (y *contest) explanation() report.Explanation {
	e := report.Explanation{Title: "Band " + y.band.Name}
	if len(y.group.labels) > 0 {
		e.Title = y.group.name() + ", band " + y.band.Name
	}
	for _, l := range y.result.Explain {
		switch {
		case l.A < 0:
			e.Lines = append(e.Lines, l.Text)
		case l.B < 0:
			e.Lines = append(e.Lines, y.gaskets[l.A]+": "+l.Text)
		default:
			e.Lines = append(e.Lines, y.gaskets[l.A]+" less "+y.gaskets[l.B]+": "+l.Text)
		}
	}
	for _, p := range y.result.Products {
		if b := y.bills[p.Code]; b.strips > 0 {
			line := fmt.Sprintf("%s: %s for %s: four pieces of a quarter of the perimeter for each box, every piece from one strip", y.gaskets[p.Code], count(b.strips, "strip"), count(len(y.boxes), "box"))
			if !math.IsNaN(b.cost) {
				line += fmt.Sprintf("; cost = %d x price = %s", b.strips, money(b.cost, b.currency))
			}
			e.Lines = append(e.Lines, line)
		}
	}
	return e
}

// money prints a sum with its currency.
func money(x float64, currency string) string {
	return strings.TrimSpace(fmt.Sprintf("%.2f %s", x, currency))
}

// shownToCompare lists the settings that a comparison uses.
func (s Settings) shownToCompare(by []string) []report.Setting {
	unused := []string{"coverage", "on", "family", "seed", "by"}
	out := slices.DeleteFunc(s.shown(by), func(x report.Setting) bool { return slices.Contains(unused, x.Name) })
	var against, equivalent, age any
	if s.Against != "" {
		against = s.Against
	}
	if s.EquivalentDB > 0 {
		equivalent = s.EquivalentDB
	}
	if s.AtAgeYears != nil {
		age = *s.AtAgeYears
	}
	return append(out, report.Setting{Name: "by", Value: by}, report.Setting{Name: "against", Value: against},
		report.Setting{Name: "equivalent_db", Value: equivalent}, report.Setting{Name: "at_age_years", Value: age})
}
