package compare

import (
	"math"

	"sealbound/stats/dist"
	"sealbound/stats/interval"
	"sealbound/stats/judge"
)

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
