package compare

import (
	"cmp"
	"fmt"
	"slices"

	"sealbound/stats"
	"sealbound/stats/band"
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
	c, err := begin(d, s)
	if err != nil || c.r.Reason != "" {
		return c.r, err
	}
	c.differences()
	c.gains()
	c.picking()
	c.explain()
	c.r.Warnings = onceEach(c.r.Warnings)
	return c.r, nil
}

// begin goes as far as the means of the products; without values it stops with a
// reason.
func begin(d Data, s Settings) (*comparison, error) {
	c := &comparison{Data: d, s: s, raised: map[int32]model{}}
	c.r = Result{LogLikelihood: nan, TargetDB: nan}
	if len(d.Product.Codes) != d.Closings {
		return c, fmt.Errorf("compare: %d closings, but products of %d", d.Closings, len(d.Product.Codes))
	}
	v, err := d.Values(d.DB)
	if err != nil {
		return c, err
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
		return c, nil
	}
	for _, p := range c.r.Points {
		c.used[p] = true
	}
	c.r.TargetDB = c.target()
	c.hide()
	c.count()
	if err := c.fit(); err != nil {
		return c, err
	}
	for i := range c.r.Products {
		c.mean(&c.r.Products[i])
	}
	slices.SortStableFunc(c.r.Products, func(a, b Product) int {
		return cmp.Or(-cmp.Compare(a.Value, b.Value), cmp.Compare(a.Code, b.Code))
	})
	return c, nil
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
			c.r.NoPick = c.tooFew()
			return
		}
	}
}

// oneProduct is the reason of a comparison of one.
const oneProduct = "one product only: there is nothing to compare it with"

// tooFew is the reason of all that a product with one fitting leaves undefined.
const tooFew = "too few fittings: a product needs two"

// tooFew tells also where products cannot be told from their boxes.
func (c *comparison) tooFew() string {
	if c.r.Design.Kind == Confounded {
		return tooFew + ", and with each product in a box of its own products and boxes are confounded; test both products in the same box, or each in two boxes or more"
	}
	return tooFew
}
