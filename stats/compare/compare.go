package compare

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"sealbound/stats"
	"sealbound/stats/band"
	"sealbound/stats/dist"
	"sealbound/stats/interval"
	"sealbound/stats/judge"
)

// comparison is one comparison in the making.
type comparison struct {
	Data
	s       Settings
	r       Result
	code    []int32         // product of each kept closing
	keep    []bool          // by closing
	used    []bool          // by point
	hidden  []bool          // by reading
	model   model           // of means, and with raised of differences too unless boxes are too few
	raised  map[int32]model // by product: fitted with its hidden readings raised
	within  model           // of differences
	lifted  map[int32]model // as raised, of differences
	factors []stats.Factor  // of the closings in the model
	pairs   []pair          // behind Result.Differences
	shown   *family         // theirs
}

// Compare compares the products of d. Where it could not, the numbers are NaN and
// the reasons say why. The error speaks of malformed Data alone.
func Compare(d Data, s Settings) (Result, error) {
	c := &comparison{Data: d, s: s, raised: map[int32]model{}}
	c.r = Result{LogLikelihood: nan, TargetDB: nan}
	if len(d.Product.Codes) != d.Closings {
		return c.r, fmt.Errorf("compare: %d closings, but products of %d", d.Closings, len(d.Product.Codes))
	}
	v, err := d.Values(d.DB)
	if err != nil {
		return c.r, err
	}
	c.r.Band, c.r.Points = v, v.Used
	c.keep, c.used = make([]bool, d.Closings), make([]bool, d.Points)
	for _, k := range v.Values {
		c.r.Kept, c.r.Values = append(c.r.Kept, k.Closing), append(c.r.Values, k.By(s.average()))
		c.code = append(c.code, d.Product.Codes[k.Closing])
		c.keep[k.Closing] = true
	}
	c.products()
	if v.Reason != band.None {
		c.r.Reason = string(v.Reason)
		c.r.NoPick = c.r.Reason
		for i := range c.r.Products {
			c.r.Products[i].Reason = c.r.Reason
		}
		return c.r, nil
	}
	for _, p := range c.r.Points {
		c.used[p] = true
	}
	c.r.TargetDB = c.target()
	c.hide()
	c.count()
	if err := c.fit(); err != nil {
		return c.r, err
	}
	for i := range c.r.Products {
		c.mean(&c.r.Products[i])
	}
	slices.SortStableFunc(c.r.Products, func(a, b Product) int {
		return cmp.Or(-cmp.Compare(a.Value, b.Value), cmp.Compare(a.Code, b.Code))
	})
	c.differences()
	c.gains()
	c.picking()
	c.explain()
	c.r.Warnings = onceEach(c.r.Warnings)
	return c.r, nil
}

// target is the mean of the targets of the points used, to the bit where they are
// equal.
func (c *comparison) target() float64 {
	first, off := c.Data.TargetDB[c.r.Points[0]], 0.0
	for _, p := range c.r.Points {
		off += (c.Data.TargetDB[p] - first) / float64(len(c.r.Points))
	}
	return first + off
}

func (s Settings) average() band.Average {
	if s.Power {
		return band.ByPower
	}
	return band.ByDB
}

// products lists the products that have a reading, by code.
func (c *comparison) products() {
	seen := make([]bool, c.Product.Levels)
	for _, k := range c.Closing {
		seen[c.Product.Codes[k]] = true
	}
	for p, s := range seen {
		if s {
			c.r.Products = append(c.r.Products, Product{Code: int32(p), Estimate: noEstimate(), SatterthwaiteDF: nan,
				Verdict: judge.TooFew, HeadroomDB: nan, column: -1, plainSE: nan, plainDF: nan})
		}
	}
}

// closingsOf lists the kept closings of a product and their values.
func (c *comparison) closingsOf(product int32) (closings []int32, values []float64) {
	for i, k := range c.r.Kept {
		if c.code[i] == product {
			closings, values = append(closings, k), append(values, c.r.Values[i])
		}
	}
	return closings, values
}

// hide marks the readings that may hide more than they show: limited ones, and
// those without a known floor. Of the latter one is clear of the floor all the
// same if, at its point and in its session, another closing showed more by the
// floor margin at least: the set-up could show that much.
func (c *comparison) hide() {
	type cell struct{ session, point int32 }
	most := make(map[cell]float64)
	for i, p := range c.Point {
		k := cell{c.Session.Codes[c.Closing[i]], p}
		if old, ok := most[k]; !ok || c.DB[i] > old {
			most[k] = c.DB[i]
		}
	}
	c.hidden = make([]bool, len(c.DB))
	for i, p := range c.Point {
		k := cell{c.Session.Codes[c.Closing[i]], p}
		c.hidden[i] = c.Limited[i] || !c.FloorKnown[i] && c.DB[i] > most[k]-c.s.FloorMarginDB
	}
}

// count counts what each product rests on.
func (c *comparison) count() {
	at := make(map[int32]*Product)
	for i := range c.r.Products {
		p := &c.r.Products[i]
		at[p.Code] = p
		closings, _ := c.closingsOf(p.Code)
		f := c.Levels(closings)
		p.Boxes, p.Fittings, p.Sessions, p.Closings = f[0].Levels, f[1].Levels, f[2].Levels, len(closings)
		p.HeadroomDB, _ = c.Headroom(closings, c.r.Points)
	}
	for i, k := range c.Closing {
		if !c.keep[k] || !c.used[c.Point[i]] {
			continue
		}
		p := at[c.Product.Codes[k]]
		p.Readings++
		p.Limited += one(c.Limited[i])
		p.hidden += one(c.hidden[i])
		p.FloorUnknown = p.FloorUnknown || !c.FloorKnown[i]
	}
	for i := range c.r.Products {
		p := &c.r.Products[i]
		p.Own = float64(p.hidden) > mostHidden*float64(p.Readings)
	}
}

func one(b bool) int {
	if b {
		return 1
	}
	return 0
}

// fit fits the common model of the products whose spread can be seen, and again
// for each with hidden readings, these raised.
func (c *comparison) fit() error {
	var products, in []int32
	for i := range c.r.Products {
		if p := &c.r.Products[i]; !p.Own && p.Closings > 0 {
			p.column = len(products)
			products = append(products, p.Code)
		}
	}
	var values []float64
	var code []int32
	for i, k := range c.r.Kept {
		if slices.Contains(products, c.code[i]) {
			in, values, code = append(in, k), append(values, c.r.Values[i]), append(code, c.code[i])
		}
	}
	// The design is that of all products, in the model or not.
	all := c.Levels(c.r.Kept)
	of := make([]int32, len(c.code))
	for i, p := range c.code {
		of[i] = int32(slices.IndexFunc(c.r.Products, func(q Product) bool { return q.Code == p }))
	}
	c.r.Design = incidenceOf(of, len(c.r.Products), all[0]).design()
	if len(products) == 0 {
		return nil
	}
	c.factors = c.Levels(in)
	c.model = fitModel(values, code, products, c.factors)
	apart, separate := c.tooFewShared(), slices.Clone(c.factors)
	c.within = c.model
	if apart {
		separate[0] = cells(code, separate[0])
		c.within = fitModel(values, code, products, separate)
		c.r.Apart = true
		c.r.Warnings = append(c.r.Warnings, c.within.warnings...)
		if c.within.fitted() && !c.model.fitted() {
			c.model, c.factors = c.within, separate
		}
	}
	c.r.Levels, c.r.Warnings = c.model.levels, append(c.r.Warnings, c.model.warnings...)
	c.lifted = c.raised
	if !c.model.fitted() {
		return nil
	}
	c.components()
	if c.factors[2].Levels == 2 && c.factors[0].Levels > 2 && c.model.sessionIn {
		c.r.Warnings = append(c.r.Warnings, stats.Warning{Code: "few-sessions",
			Text: "two sessions tell little of how sessions differ: where they differ more than the boxes do, the lower bound of a mean holds less often than asked for (0.90 for 0.95); differences within sessions are not touched"})
	}
	if apart {
		c.lifted = map[int32]model{}
	}
	for _, p := range c.r.Products {
		if p.Own || p.hidden == 0 {
			continue
		}
		up, err := c.raisedValues(p.Code, in)
		if err != nil {
			return err
		}
		if up == nil {
			continue
		}
		c.raised[p.Code] = fitModel(up, code, products, c.factors)
		if apart {
			c.lifted[p.Code] = fitModel(up, code, products, separate)
		}
	}
	return nil
}

// components lists the variances of the model.
func (c *comparison) components() {
	fit := c.model.fit
	c.r.LogLikelihood = fit.LogLikREML
	bounds, err := fit.SDIntervals(2*c.s.Confidence - 1) // one-sided each at the confidence
	total := 0.0
	for _, k := range fit.Components {
		total += k.Variance
	}
	for i, k := range fit.Components {
		x := Component{Source: k.Name, Variance: k.Variance, SD: k.SD, Lower: nan, Upper: nan, Share: k.Variance / total, Dropped: k.Dropped}
		if err == nil {
			x.Lower, x.Upper = bounds[i].Lower, bounds[i].Upper
		}
		c.r.Components = append(c.r.Components, x)
	}
}

// tooFewShared reports whether so few boxes saw several products that a
// comparison within boxes has one degree of freedom or none. Its standard error
// would then rest on a spread that the data hardly show: with one shared box among
// five, differences of products of equal means were found in up to 0.30 of
// campaigns at nominal 0.05. Boxes are then taken as if each product had its own:
// what a shared box has in common only makes the difference surer than is said.
func (c *comparison) tooFewShared() bool {
	d := c.model.box.design()
	return d.Kind == Incomplete && d.Within < 2 && d.Cells-d.Products > 1
}

// raisedValues are the band values of the closings given with the hidden readings
// of a product raised; nil where there are none.
func (c *comparison) raisedValues(product int32, closings []int32) ([]float64, error) {
	db := append([]float64(nil), c.DB...)
	for i, k := range c.Closing {
		if c.hidden[i] && c.Product.Codes[k] == product {
			db[i] += c.s.RaiseDB
		}
	}
	v, err := c.Data.Values(db)
	if err != nil || v.Reason != band.None {
		return nil, err
	}
	at := make(map[int32]float64, len(v.Values))
	for _, k := range v.Values {
		at[k.Closing] = k.By(c.s.average())
	}
	out := make([]float64, len(closings))
	for i, k := range closings {
		out[i] = at[k]
	}
	return out, nil
}

// mean fills in the adjusted mean of a product, its bounds and its verdict.
func (c *comparison) mean(p *Product) {
	closings, values := c.closingsOf(p.Code)
	p.Confidence = c.s.Confidence
	if len(closings) == 0 {
		p.Reason = "no closing has a value"
		return
	}
	ref := c.reference(p, closings)
	limited := float64(p.Limited) / float64(max(p.Readings, 1))
	e := judge.Evidence{TargetDB: c.r.TargetDB, HeadroomDB: p.HeadroomDB, LimitedShare: limited, FloorUnknown: p.FloorUnknown,
		LowerDB: nan, UpperDB: nan, UpperRaisedDB: nan}
	switch {
	case p.Own:
		p.own = c.MeanOf(values, closings, p.Limited == p.Readings, c.s.Confidence, ref)
		p.Estimate, p.Method, p.Reason = p.own.Estimate, p.own.Method, p.own.Reason
		p.plainSE, p.plainDF, p.SatterthwaiteDF = p.own.SE, p.own.DF, p.own.DF
		e.UpperRaisedDB = p.Upper
	case !c.model.fitted():
		p.Value, p.Reason = plainMean(values), c.model.reason
		if c.model.constant { // only the sign bound is left
			p.own = c.MeanOf(values, closings, false, c.s.Confidence, ref)
			p.Estimate, p.Method, p.Reason = p.own.Estimate, p.own.Method, p.own.Reason
			e.UpperRaisedDB = p.Upper
		}
	default:
		units, level := c.model.meanUnits(p.column)
		if !c.modelMean(c.model, p, units, ref) {
			break
		}
		e.UpperRaisedDB = p.Upper
		if up, ok := c.raised[p.Code]; ok {
			q := *p
			e.UpperRaisedDB = nan
			if up.fitted() && c.modelMean(up, &q, units, ref) {
				e.UpperRaisedDB = q.Upper
			}
		}
		if units < 2 && level == "box" {
			c.warn("one-box", "a product seen in one box only has the spread between boxes from the other products, with 1 degree of freedom")
		}
	}
	if p.Fittings < 2 { // one strip says nothing of the next
		p.Lower, p.Upper, p.Method = nan, nan, ""
		p.Reason = joined(p.Reason, "one fitting only: a product needs two, in two boxes if possible, since one strip says nothing of the next")
	}
	e.LowerDB, e.UpperDB = p.Lower, p.Upper
	p.Verdict = e.Verdict()
}

// modelMean takes the mean of p from a model, with the shared reference added.
//
//	mean -+ t(confidence, df) sqrt(se^2 + u^2)
//
// df by Welch and Satterthwaite of the mean's own, kept within [1, units-1], and
// the reference's. The bound is never bolder than without the reference.
func (c *comparison) modelMean(m model, p *Product, units int, ref judge.Source) bool {
	k, err := m.contrast(p.column, -1)
	if err != nil {
		p.Reason = err.Error()
		return false
	}
	p.Method = "REML"
	if len(m.fit.Components) == 1 {
		p.Method = "t"
	}
	df, warnings := m.fit.SafeDF(k.DF, units)
	c.r.Warnings = append(c.r.Warnings, warnings...)
	p.Value, p.SatterthwaiteDF, p.plainSE, p.plainDF = k.Value, k.DF, k.SE, df
	p.SE, p.DF = k.SE, df
	half := dist.TQuantile(c.s.Confidence, df) * k.SE
	if ref.UDB > 0 {
		p.SE, p.DF = withReference(k.SE, df, ref)
		half = math.Max(half, dist.TQuantile(c.s.Confidence, p.DF)*p.SE)
	}
	p.Lower, p.Upper = p.Value-half, p.Value+half
	return true
}

// reference is the uncertainty of the open reference to be added to the mean of a
// product: that of closings in one session which no level of the model carries,
// and that of one reference for all sessions.
func (c *comparison) reference(p *Product, closings []int32) judge.Source {
	if (p.Sessions > 1 || !p.Own && c.model.sessionIn) && !c.OneReference(c.r.Kept) {
		if len(c.s.Reference) > 0 {
			c.warn("reference-not-added", "several sessions carry the error of the open reference themselves; the uncertainty given for it was not added")
		}
		return judge.Source{}
	}
	u, known := judge.Combined(c.s.Reference...), len(c.s.Reference) > 0
	if !known {
		u, known = c.SharedReference(closings, c.r.Points)
	}
	p.ReferenceU, p.ThisSetup = u, !known
	return u
}

func withReference(se, df float64, ref judge.Source) (u, nu float64) {
	u, nu, err := interval.Combine(interval.Component{U: se, DF: df}, interval.Component{U: ref.UDB, DF: ref.DF})
	if err != nil {
		return nan, nan
	}
	return u, nu
}

// onceEach drops warnings said before; several fits say the same.
func onceEach(warnings []stats.Warning) []stats.Warning {
	var out []stats.Warning
	for _, w := range warnings {
		if !slices.Contains(out, w) {
			out = append(out, w)
		}
	}
	return out
}

func (c *comparison) warn(code, text string) {
	c.r.Warnings = append(c.r.Warnings, stats.Warning{Code: code, Text: text})
}

func plainMean(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v
	}
	return sum / float64(len(x))
}

func joined(a, b string) string {
	if a == "" || a == b {
		return b
	}
	return a + "; " + b
}

// picking says why no product can be picked.
func (c *comparison) picking() {
	switch {
	case len(c.r.Products) < 2:
		c.r.NoPick = oneProduct
	case c.model.boxConfounded:
		c.r.NoPick = "products and boxes are confounded: a mean speaks of the boxes of that product alone"
	case c.model.sessionConfounded:
		c.r.NoPick = "products and sessions are confounded: a mean speaks of the session of that product alone"
	}
	for _, p := range c.r.Products {
		if p.Fittings < 2 {
			c.r.NoPick = tooFew
			return
		}
	}
}

// oneProduct is the reason of a comparison of one.
const oneProduct = "one product only: there is nothing to compare it with"

// tooFew is the reason of all that a product with one fitting leaves undefined.
const tooFew = "too few fittings: a product needs two"
