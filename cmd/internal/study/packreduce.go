package study

import (
	"context"
	"fmt"
	"io"
	"math"
	"slices"

	"sealbound/ingest"
	"sealbound/stats/band"
	"sealbound/stats/interval"
	"sealbound/stats/judge"
)

// OpenReducing reads what paths lead to and reduces it to one row per closing and
// band: the closing's point-adjusted mean attenuation. Points are those measured in
// every fitting of the campaign, so that whatever is compared later rests on the same
// ones; closings read at fewer than half of them are left out and named. Drift,
// floors and filters are those of the settings.
func OpenReducing(ctx context.Context, paths []string, s Settings, ending string) (*Packing, error) {
	if err := s.check(nil); err != nil {
		return nil, err
	}
	c, err := read(ctx, paths, s)
	defer s.closed(c)
	if err != nil {
		return nil, err
	}
	if err := c.readingsOnly("reducing"); err != nil {
		return nil, err
	}
	n := &notebook{}
	closings, err := c.chosen(s, n)
	if err != nil {
		return nil, err
	}
	cells, err := c.banded([]group{{closings: closings}}, s, target{flatDB: s.TargetDB}, n, func(group) {})
	if err != nil {
		return nil, err
	}
	rows := ingest.NewClosingRows()
	for x, err := range cells {
		if err != nil {
			return nil, err
		}
		if err = c.reducedRows(rows, x, n); err != nil {
			return nil, err
		}
	}
	if rows.Len() == 0 {
		return nil, c.unusable("nothing is left to reduce", n)
	}
	reducing := ingest.NewReducing(rows, c.summary, ending)
	return &Packing{Rows: rows.Len(), Inputs: inputRows(c.summary), Notes: append(n.lines(), c.summary.Notes...), Beside: reducing.Beside,
		write: func(_ context.Context, w io.Writer) error { return reducing.Write(w) }, close: func() {}}, nil
}

// reducedRows adds the rows of one band.
func (c *campaign) reducedRows(rows *ingest.ClosingRows, x *cell, n *notebook) error {
	d := &x.data
	if slices.Contains(d.FloorKnown, false) {
		return c.unusable(fmt.Sprintf("band %s has readings of which no floor is known, which a mean over the band could not say; give --floor, or vouch with --no-floor", x.band.Name), n)
	}
	v, err := band.Values(band.Table{Closing: d.Closing, Point: d.Point, DB: d.DB, Limited: d.Limited, Fitting: d.Fitting, Points: d.Points})
	if err != nil {
		return err
	}
	if v.Reason != band.None {
		return c.unusable(fmt.Sprintf("band %s cannot be reduced over the whole campaign: %s; choose a part with --box, --gasket, --since or --until, or other --bands", x.band.Name, v.Reason), n)
	}
	for _, out := range v.ClosingsOut {
		n.add("closings read at fewer than half of the points are not in the table", fmt.Sprintf("%s: %s", x.band.Name, closingName(x.closings[out.Closing])))
	}
	if k := len(v.PointsOut); k > 0 {
		n.add("points that some fitting lacks are not in the means", fmt.Sprintf("%s: %d of %d", x.band.Name, k, d.Points))
	}
	headroom := meanHeadrooms(d, v)
	opens := make(map[int32]openSpread)
	for _, value := range v.Values {
		cl := x.closings[value.Closing]
		row := ingest.NewClosingRow(cl.Box, cl.Gasket, cl.Fitting, cl.Run, cl.Session, cl.Label, cl.Date, cl.Installed)
		row.LoHz, row.HiHz, row.AttenDB = x.band.LoHz, x.band.HiHz, value.DB
		row.Limited = value.Limited > 0
		if row.Limited {
			row.LimitedShare = float64(value.Limited) / float64(value.Points)
		}
		row.HeadroomDB = headroom[value.Closing]
		for _, l := range *cl.context {
			row.SetContext(l.field, l.value)
		}
		if !cl.OwnReference {
			at := d.Reference.Codes[value.Closing]
			if _, known := opens[at]; !known {
				opens[at] = spreadOfOpens(d.Opens[at], v.Used)
			}
			row.OpenRepeats, row.OpenSDDB = opens[at].repeats, opens[at].sd
			if reference := c.runs[cl.run].reference; reference != cl.Run {
				row.SetReference(reference)
			}
		}
		if err := rows.Add(&row); err != nil {
			return inputError(nil, err)
		}
	}
	return nil
}

func closingName(cl *closing) string {
	return fmt.Sprintf("closing %s of box %s in run %s", cl.Label, cl.Box, cl.Run)
}

// meanHeadrooms is each closing's headroom, the mean over the points used; NaN where
// one is not known.
func meanHeadrooms(d *judge.Data, v *band.Result) []float64 {
	used := make([]bool, d.Points)
	for _, p := range v.Used {
		used[p] = true
	}
	sum, n := make([]float64, d.Closings), make([]int, d.Closings)
	for i, p := range d.Point {
		if used[p] {
			sum[d.Closing[i]] += d.HeadroomDB[i]
			n[d.Closing[i]]++
		}
	}
	for i := range sum {
		if sum[i] /= float64(n[i]); math.IsInf(sum[i], 0) {
			sum[i] = nan
		}
	}
	return sum
}

// openSpread is how the repeats of a run's open readings differ, each averaged over
// points.
type openSpread struct {
	repeats int
	sd      float64 // dB, NaN for one
}

func spreadOfOpens(o judge.Open, points []int32) openSpread {
	levels := judge.RepeatLevels(o, points)
	if len(levels) == 0 {
		return openSpread{0, nan}
	}
	_, sd, err := interval.MeanSD(levels)
	if err != nil {
		sd = nan
	}
	return openSpread{len(levels), sd}
}
