package compare

import "slices"

// gains lists box by box what each product adds over the one compared against.
func (c *comparison) gains() {
	if c.indexOf(c.s.Against) < 0 {
		return
	}
	type place struct{ box, product int32 }
	fitting := make(map[place]map[int32][]float64)
	hidden := make(map[place]bool)
	for i, k := range c.r.Kept {
		at := place{c.Box.Codes[k], c.code[i]}
		if fitting[at] == nil {
			fitting[at] = make(map[int32][]float64)
		}
		f := c.Fitting.Codes[k]
		fitting[at][f] = append(fitting[at][f], c.r.Values[i])
	}
	for i, k := range c.Closing {
		if c.keep[k] && c.used[c.Point[i]] && c.hidden[i] {
			hidden[place{c.Box.Codes[k], c.Product.Codes[k]}] = true
		}
	}
	mean := func(at place) float64 {
		var codes []int32
		for f := range fitting[at] {
			codes = append(codes, f)
		}
		slices.Sort(codes)
		var means []float64
		for _, f := range codes {
			means = append(means, plainMean(fitting[at][f]))
		}
		return plainMean(means)
	}
	for box := range int32(c.Box.Levels) {
		from := place{box, c.s.Against}
		if fitting[from] == nil {
			continue
		}
		for _, p := range c.r.Products {
			to := place{box, p.Code}
			if p.Code == c.s.Against || fitting[to] == nil {
				continue
			}
			g := Gain{Box: box, Product: p.Code, FromDB: mean(from), ToDB: mean(to), AtLeast: hidden[to], AtMost: hidden[from]}
			g.DB = g.ToDB - g.FromDB
			c.r.Gains = append(c.r.Gains, g)
		}
	}
}
