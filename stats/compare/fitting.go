package compare

import (
	"slices"

	"sealbound/stats"
	"sealbound/stats/band"
)

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
