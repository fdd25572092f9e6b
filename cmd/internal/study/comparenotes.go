package study

import (
	"fmt"
	"slices"
	"strings"

	"sealbound/cmd/internal/report"
	"sealbound/stats/band"
	"sealbound/stats/compare"
	"sealbound/stats/judge"
)

// compareHeadlines answer in one sentence per group and band: what to take, what is
// as good, what is shown to be worse. Where a group has several bands a sentence
// before says what clears in all of them.
func compareHeadlines(rows []report.CompareRow, s Settings) []string {
	var out []string
	for first := 0; first < len(rows); {
		last := first + 1
		for last < len(rows) && sameGroup(rows[first].Group, rows[last].Group) {
			last++
		}
		of := ""
		if len(rows[first].Group) > 0 {
			of = group{labels: rows[first].Group}.name() + ", "
		}
		if last-first > 1 {
			out = append(out, upperFirst(of+inAllBands(rows[first:last])))
		}
		for _, r := range rows[first:last] {
			if of != "" { // the name of a band stands as it was given
				of = upperFirst(of)
			}
			out = append(out, of+r.Band.Name+": "+answerOf(r, s)+".")
		}
		first = last
	}
	return out
}

func upperFirst(s string) string { return strings.ToUpper(s[:1]) + s[1:] }

// inAllBands says which products clear in every band. That needs no correction for
// the number of bands: all of them must clear. Of several the cheapest is named.
func inAllBands(rows []report.CompareRow) string {
	cleared := make(map[string]int)
	cost := make(map[string]report.CompareProduct)
	setup := ""
	for _, r := range rows {
		for _, p := range r.Products {
			if strings.HasPrefix(p.Verdict, string(judge.Clears)) {
				cleared[p.Gasket]++
				cost[p.Gasket] = p
				if strings.HasSuffix(p.Verdict, inThisSetup) {
					setup = inThisSetup
				}
			}
		}
	}
	var names []string
	for name, n := range cleared {
		if n == len(rows) {
			names = append(names, name)
		}
	}
	sortLabels(names)
	target := "the target"
	if t := rows[0].TargetDB; t != nil && !slices.ContainsFunc(rows, func(r report.CompareRow) bool { return r.TargetDB == nil || *r.TargetDB != *t }) {
		target = fmt.Sprintf("%.4g dB", *t)
	}
	if len(names) == 0 {
		return fmt.Sprintf("in all %d bands: no product's lower bound clears %s in every one.", len(rows), target)
	}
	verb := "clears"
	if len(names) > 1 {
		verb = "clear"
	}
	text := fmt.Sprintf("in all %d bands: %s %s %s%s", len(rows), listed(names), verb, target, setup)
	if len(names) > 1 && !slices.ContainsFunc(names, func(name string) bool {
		return cost[name].Cost == nil || cost[name].Currency != cost[names[0]].Currency
	}) {
		best := names[0]
		for _, name := range names[1:] {
			if *cost[name].Cost < *cost[best].Cost {
				best = name
			}
		}
		text += fmt.Sprintf("; the cheapest of them is %s, %s", best, money(*cost[best].Cost, cost[best].Currency))
	}
	return text + "."
}

func answerOf(r report.CompareRow, s Settings) string {
	var parts []string
	if r.Pick != "" {
		parts = append(parts, "take "+r.Pick+" ("+pickText(r, s)+")")
	}
	var worse []string
	in := make(map[string]bool)
	for _, b := range r.Best {
		in[b] = true
	}
	for _, p := range r.Products {
		if p.Letters != "" && !in[p.Gasket] {
			worse = append(worse, p.Gasket)
		}
	}
	switch {
	case len(r.Best) == 0:
	case len(worse) > 0:
		verb := "is"
		if len(worse) > 1 {
			verb = "are"
		}
		parts = append(parts, fmt.Sprintf("%s %s shown worse than the best, %s", listed(worse), verb, r.Best[0]))
		if len(r.Best) > 1 {
			parts = append(parts, listed(r.Best[1:])+notShown(len(r.Best)-1))
		}
	default:
		parts = append(parts, "no product is shown worse than the best, "+r.Best[0])
	}
	if r.Reason != "" {
		parts = append(parts, r.Reason)
	}
	return strings.Join(parts, "; ")
}

func notShown(n int) string {
	if n == 1 {
		return " is not"
	}
	return " are not"
}

// pickText says why a product is taken.
func pickText(r report.CompareRow, s Settings) string {
	clear := 0
	var p report.CompareProduct
	for _, q := range r.Products {
		if strings.HasPrefix(q.Verdict, string(judge.Clears)) {
			clear++
		}
		if q.Gasket == r.Pick {
			p = q
		}
	}
	text := "the only one whose lower bound clears"
	if clear > 1 {
		text = fmt.Sprintf("the cheapest of %d whose lower bound clears", clear)
	}
	if r.TargetDB != nil {
		text += fmt.Sprintf(" %.4g dB", *r.TargetDB)
	}
	if strings.HasSuffix(p.Verdict, inThisSetup) {
		text += inThisSetup
	}
	if p.LowerDB != nil {
		text += fmt.Sprintf(", at %.1f dB", *p.LowerDB)
	}
	if p.Strips > 0 {
		text += "; " + count(p.Strips, "strip") + " for " + count(r.Boxes, "box")
		if p.Cost != nil {
			text += ", " + money(*p.Cost, p.Currency)
		}
	}
	return text
}

// once notes text about a name unless that was said before.
func (n *notebook) once(text, about string) {
	if !slices.Contains(n.about[text], about) {
		n.add(text, about)
	}
}

// noteContest says what a comparison rests on and what it leaves out.
func (c *campaign) noteContest(y *contest, s Settings, n *notebook) {
	r, at := y.result, y.name()
	c.noteBand(y.cell, r.Band, len(r.Points), at, n)
	n.add("design: "+r.Design.String(), at)
	if r.Design.Kind == compare.Incomplete {
		for _, text := range y.tested() {
			n.once("boxes saw only some of the products, so the means are adjusted for the boxes", text)
		}
	}
	if r.Apart {
		n.add("too few boxes saw several products to compare within them: boxes are taken as if each product had its own, which makes the bounds wider", at)
	}
	if r.Family == compare.Holm {
		why := "the correlations of the differences have no product form"
		for _, p := range r.Products {
			if p.Own {
				why = "a product has over a fifth of its readings hidden"
			}
		}
		n.add(fmt.Sprintf("Holm's p values with Bonferroni's intervals (%s)", why), at)
	}
	c.noteProducts(y, s, n)
	for _, w := range r.Warnings {
		if w.Code == droppedCode {
			continue
		}
		n.add(w.Text, at)
	}
	for _, k := range r.Components {
		if k.Dropped {
			n.add("levels that show no spread are left out of the model, which is then fitted again", at+": "+k.Source)
		}
	}
	c.noteFit(y.gaskets, y.boxes, s.Against, n)
}

// noteProducts says what is peculiar to single products.
func (c *campaign) noteProducts(y *contest, s Settings, n *notebook) {
	for _, p := range y.result.Products {
		at := y.name() + ": " + y.gaskets[p.Code]
		if p.Closings == 0 {
			continue
		}
		if p.Reason != "" && p.Reason != y.result.Reason {
			n.add(p.Reason, at)
		}
		switch {
		case p.ThisSetup:
			n.add("one session and no repeated open reading: nothing carries the error of the reference, so the means hold in this set-up only; differences of products read against the same open reading are free of it", y.name())
		case p.ReferenceU.UDB > 0:
			n.add(fmt.Sprintf("one session: the uncertainty of the open reference (%s) is in the bounds of the means; differences of products read against the same open reading are free of it", p.ReferenceU.Name), y.name())
		}
		if p.FloorUnknown {
			n.add("no floor known: figures are at least these, and no product is said to fall short; give floor readings or --floor, or vouch for the readings with --no-floor", at)
		}
		if p.Limited > 0 {
			n.add("limited readings stand with what they demonstrate, so a product is at least as good as it reads; differences are marked with the side on which they may be larger",
				fmt.Sprintf("%s: %d of %d readings", at, p.Limited, p.Readings))
		}
		if p.Own {
			n.add("over a fifth of the readings may hide more: the product stays out of the common spread, its mean is bounded by its own closings, and only that it is better can be shown", at)
		}
		if b := y.bills[p.Code]; b.missing != "" && len(c.summary.Gaskets) > 0 {
			n.add("strips or cost not known: "+b.missing, at)
		}
	}
}

// noteBand says which points and closings were left out of the band values.
func (c *campaign) noteBand(x *cell, v *band.Result, used int, at string, n *notebook) {
	c.noteLeftOut(x, judge.Result{Band: v, Points: make([]int32, used)}, at, n)
}

// tested lists the products of each box that did not see all.
func (y *contest) tested() []string {
	met := make(map[int32]map[int32]bool)
	for _, k := range y.result.Kept {
		b := y.data.Box.Codes[k]
		if met[b] == nil {
			met[b] = make(map[int32]bool)
		}
		for code, g := range y.gaskets {
			if y.closings[k].Gasket == g {
				met[b][int32(code)] = true
			}
		}
	}
	var out []string
	for b, box := range y.boxes {
		var names []string
		for code, g := range y.gaskets {
			if met[int32(b)][int32(code)] {
				names = append(names, g)
			}
		}
		if len(names) > 0 && len(names) < len(y.result.Products) {
			out = append(out, box+": "+listed(names))
		}
	}
	return out
}
