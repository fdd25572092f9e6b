package study

import (
	"fmt"
	"math"
	"slices"

	"sealbound/ingest"
)

// stripsFor is how many strips of a length it takes to seal a box of a perimeter,
// both in mm, common practice without a source: four pieces butted at the corners,
// one along each side, every piece cut whole from one strip, offcuts of one box not
// used for the next.
//
// Of the sides only the perimeter is known, so each is taken as a quarter of it;
// for a strip of at least a quarter of the perimeter an oblong box never takes
// more. A side longer than the strip is butted from several.
//
//	strip >= quarter: 4 / floor(strip/quarter), rounded up
//	strip <  quarter: 4 ceil(quarter/strip)
//
// It returns 0 where a length is not known or not above zero.
func stripsFor(perimeterMM, stripMM float64) int {
	if !(perimeterMM > 0) || !(stripMM > 0) || math.IsInf(perimeterMM/stripMM, 0) || perimeterMM/stripMM > 1e6 {
		return 0
	}
	const hair = 1e-9 // 430 mm out of 1290 mm is three pieces whatever the rounding
	quarter := perimeterMM / 4
	if pieces := math.Floor(stripMM/quarter + hair); pieces >= 1 {
		return int(math.Ceil(4 / pieces))
	}
	return 4 * int(math.Ceil(quarter/stripMM-hair))
}

// A bill is what it takes to fit one product to all boxes of a comparison.
type bill struct {
	strips   int     // 0: not known
	cost     float64 // NaN: not known
	currency string
	missing  string // what the side tables lack
}

// billFor adds up the strips of a product over boxes.
func (c *campaign) billFor(gasket string, boxes []string) bill {
	b := bill{cost: nan}
	at := slices.IndexFunc(c.summary.Gaskets, func(g ingest.Gasket) bool { return g.Label == gasket })
	if len(c.summary.Gaskets) == 0 {
		b.missing = "there is no gaskets.csv to tell strips and prices"
		return b
	}
	if at < 0 {
		b.missing = "gaskets.csv has no row for it"
		return b
	}
	g := c.summary.Gaskets[at]
	if !(g.StripLengthMM > 0) {
		b.missing = "gaskets.csv gives no strip_length_mm"
		return b
	}
	strips := 0
	for _, box := range boxes {
		k := slices.IndexFunc(c.summary.Boxes, func(x ingest.Box) bool { return x.Label == box })
		if k < 0 {
			b.missing = fmt.Sprintf("boxes.csv has no row for box %s", box)
			return b
		}
		n := stripsFor(c.summary.Boxes[k].PerimeterMM, g.StripLengthMM)
		if n == 0 {
			b.missing = fmt.Sprintf("boxes.csv gives no usable perimeter_mm for box %s", box)
			return b
		}
		strips += n
	}
	b.strips = strips
	if !(g.StripPrice >= 0) {
		b.missing = "gaskets.csv gives no strip_price"
		return b
	}
	b.cost, b.currency = float64(strips)*g.StripPrice, g.Currency
	return b
}

// noteFit warns where a product breaks the rule of thumb of its fit: a little
// narrower than the channel, a little thicker than the seal that it replaces
// (common practice, no source). replaced is the product compared against, empty
// where none is named.
func (c *campaign) noteFit(gaskets, boxes []string, replaced string, n *notebook) {
	size := func(label string) (ingest.Gasket, bool) {
		at := slices.IndexFunc(c.summary.Gaskets, func(g ingest.Gasket) bool { return g.Label == label })
		if at < 0 {
			return ingest.Gasket{}, false
		}
		return c.summary.Gaskets[at], true
	}
	old, known := size(replaced)
	for _, label := range gaskets {
		g, ok := size(label)
		if !ok || label == replaced {
			continue
		}
		var tight []string
		for _, b := range c.summary.Boxes {
			if slices.Contains(boxes, b.Label) && b.ChannelWidthMM > 0 && g.WidthMM >= b.ChannelWidthMM {
				tight = append(tight, b.Label)
			}
		}
		if len(tight) > 0 {
			n.once("not narrower than the channel, though a gasket should be a little narrower (common practice, no source)",
				fmt.Sprintf("%s, %g mm wide: %s", label, g.WidthMM, someOf(tight)))
		}
		if known && g.ThicknessMM <= old.ThicknessMM {
			n.once(fmt.Sprintf("not thicker than %s (%g mm), though a gasket should be a little thicker than the seal that it replaces (common practice, no source)",
				replaced, old.ThicknessMM), fmt.Sprintf("%s, %g mm", label, g.ThicknessMM))
		}
	}
}
