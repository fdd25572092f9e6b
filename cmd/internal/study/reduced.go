package study

import (
	"fmt"
	"slices"
	"strconv"

	"sealbound/cmd/internal/report"
	"sealbound/ingest"
	"sealbound/stats/judge"
)

// reduced reports whether some closings are given as means over a band, and whether
// all are.
func (c *campaign) reduced() (some, whole bool) {
	whole = len(c.points) > 0
	for _, p := range c.points {
		some = some || p.Reduced()
		whole = whole && p.Reduced()
	}
	return some, whole
}

// reduces reports whether a cell holds means over a band. One that holds readings
// too is refused: they share no point, so nothing can put the two on one scale.
func (c *campaign) reduces(x *cell) (bool, error) {
	n := 0
	for _, p := range x.points {
		if c.points[p].Reduced() {
			n++
		}
	}
	if n > 0 && n < len(x.points) {
		return true, &InputError{Inputs: inputRows(c.summary), Err: fmt.Errorf("%s has readings and closing-level rows in band %s, which share no point; reduce the readings too (pack --reduce), or give either form alone", x.group.name(), x.band.Name)}
	}
	return n > 0, nil
}

// reduce marks the cell. Where the question is about spread or slopes, a closing that
// was limited at some of its points counts as limited throughout: its mean is made of
// substituted values, and nothing tells which.
func (c *campaign) reduce(x *cell) {
	d := &x.data
	d.Reduced, x.places = true, 0
	if !c.aboutSpread {
		return
	}
	limited := make([]bool, len(x.closings))
	for i, cl := range d.Closing {
		limited[cl] = limited[cl] || d.Limited[i]
	}
	for i, cl := range d.Closing {
		d.Limited[i] = limited[cl]
	}
}

// reducedBands adds to the bands asked for those of the closing-level rows that are
// none of them, unless the bands were given by name. Frequencies of the rows are the
// bands' middles and make no band of their own.
func (c *campaign) reducedBands(setting string, n *notebook) ([]report.Band, error) {
	var used []float64
	var own []report.Band
	for _, p := range c.points {
		if !p.Reduced() {
			if len(used) == 0 || p.FreqHz != used[len(used)-1] {
				used = append(used, p.FreqHz)
			}
			continue
		}
		b := report.Band{Name: spanName(p.Band), LoHz: p.Band.LoHz, HiHz: p.Band.HiHz}
		if len(own) == 0 || own[len(own)-1] != b {
			own = append(own, b)
		}
	}
	bands, err := bandsFor(setting, used)
	if err != nil || len(own) == 0 {
		return bands, err
	}
	n.add("closing-level rows hold means over the points of a band: no weakest point, lowest reading or drift can be told from them, and a target curve is taken at the band's middle", "")
	if setting != "itu" && setting != "each" && setting != "all" {
		return bands, nil
	}
	for _, b := range own {
		same := func(x report.Band) bool { return x.LoHz == b.LoHz && x.HiHz == b.HiHz }
		if slices.ContainsFunc(bands, same) {
			continue
		}
		if i := slices.IndexFunc(ituBands, same); i >= 0 {
			b = ituBands[i]
		}
		bands = append(bands, b)
	}
	slices.SortStableFunc(bands, func(a, b report.Band) int {
		switch {
		case a.LoHz < b.LoHz:
			return -1
		case a.LoHz > b.LoHz:
			return 1
		}
		return 0
	})
	return bands, nil
}

// spanName names a band by its edges in MHz.
func spanName(b ingest.Band) string {
	mhz := func(hz float64) string { return strconv.FormatFloat(hz/1e6, 'f', -1, 64) }
	return fmt.Sprintf("%s-%s MHz", mhz(b.LoHz), mhz(b.HiHz))
}

// lies reports whether a point belongs to band i: one that stands for a band only to
// that very band.
func lies(p ingest.Point, bands []report.Band, i int) bool {
	if p.Reduced() {
		return p.Band.LoHz == bands[i].LoHz && p.Band.HiHz == bands[i].HiHz
	}
	return inBand(p.FreqHz, bands, i)
}

// readingsOnly refuses a campaign of which only means over bands are given.
func (c *campaign) readingsOnly(what string) error {
	if some, _ := c.reduced(); some {
		return &InputError{Inputs: inputRows(c.summary), Err: fmt.Errorf("%s needs the readings, and closing-level rows hold means over bands alone; give the readings, or ask judge, spread, wear or compare", what)}
	}
	return nil
}

// limitedOf is how many readings behind a result were limited; of means over a band,
// how many closings were.
func (c *campaign) limitedOf(x *cell, r judge.Result) int {
	if !x.data.Reduced {
		return r.Limited
	}
	n, kept := 0, make([]bool, len(x.closings))
	for _, code := range r.Kept {
		kept[code] = true
	}
	for i, is := range x.data.Limited {
		if is && c.points[x.points[x.data.Point[i]]].Band.Half == 0 && kept[x.data.Closing[i]] {
			n++
		}
	}
	return n
}

// halves is how many readings stand for one mean over a band; 1 where they are readings.
func (x *cell) halves() int {
	if x.data.Reduced {
		return 2
	}
	return 1
}
