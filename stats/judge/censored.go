package judge

import (
	"fmt"
	"math"
	"strings"

	"sealbound/stats"
	"sealbound/stats/band"
	"sealbound/stats/censored"
	"sealbound/stats/dist"
)

// A Censored estimate models the limited readings as what they are, known to be
// above their limit, and stands beside the demonstrated figures. Numbers are NaN
// where there is no estimate; Method then says so and Reason why.
type Censored struct {
	MeanDB, SDDB, LowerDB float64
	Method                string
	Reason                string
	PointsOut             []int32 // left the band: limited in every closing of a fitting
}

// The methods of a Censored estimate.
const (
	twoStep     = "two-step"
	likelihood  = "closing-level likelihood"
	noEstimate  = "no estimate"
	mostNesting = 2 // random levels that the closing-level likelihood integrates over
)

// censoredOf estimates the mean of a group with limited readings; nil where none is
// limited. At several points: band values of closings by maximum likelihood within
// each fitting, then the same model and bounds as everywhere. At one point the
// closings themselves are limited: their likelihood, with up to two nested levels.
func censoredOf(of *frames, r *Result, v *band.Result, g groups, s Settings) (*Censored, error) {
	d := of.d
	if r.Limited == 0 {
		return nil, nil
	}
	if len(r.Points) == 1 {
		return r.atOnePoint(d, v, g, s)
	}
	fit, err := censored.TwoStep(band.Table{Closing: d.Closing, Point: d.Point, DB: d.DB, Limited: d.Limited,
		Fitting: d.Fitting, Points: d.Points}, d.HeadroomDB)
	if err != nil {
		return nil, err
	}
	switch {
	case fit.Reason != band.None:
		return none(string(fit.Reason)), nil
	case len(fit.Lost) > 0:
		return none(fmt.Sprintf("%d of %d closings: %s", len(fit.Lost), r.Closings, strings.TrimPrefix(fit.Lost[0].Status.String(), "no estimate: "))), nil
	case fit.Status != censored.Estimated:
		return none(strings.TrimPrefix(fit.Status.String(), "no estimate: ")), nil
	}
	var values []float64
	var kept []int32
	for _, x := range fit.Values {
		values, kept = append(values, x.DB), append(kept, x.Closing)
	}
	m := of.of(kept).mean(values, false, s.Confidence, r.ReferenceU)
	c := &Censored{MeanDB: m.Value, SDDB: m.SD, LowerDB: m.Lower, Method: twoStep, Reason: m.Reason}
	for _, p := range fit.LimitedOut {
		c.PointsOut = append(c.PointsOut, p.Point)
	}
	return c, nil
}

func none(why string) *Censored {
	return &Censored{MeanDB: math.NaN(), SDDB: math.NaN(), LowerDB: math.NaN(), Method: noEstimate, Reason: why}
}

// atOnePoint uses the closings' own likelihood. Sessions that cross the boxes are
// beyond it.
func (r *Result) atOnePoint(d Data, v *band.Result, g groups, s Settings) (*Censored, error) {
	chain, ok := r.Mean.chain(g, len(r.Kept))
	switch {
	case len(r.Mean.levels.Terms) > 0 && !ok:
		return none("sessions that cross the boxes are beyond the likelihood of a single point"), nil
	case len(chain) > mostNesting:
		return none(fmt.Sprintf("%d nested levels are beyond the likelihood of a single point", len(chain))), nil
	}
	p := v.ByPoint()[0]
	limit := make(map[int32]float64, len(p.Closing))
	for i, c := range d.Closing {
		if d.Point[i] == p.Point {
			limit[c] = d.HeadroomDB[i]
		}
	}
	c := censored.Closings{DB: p.DB, Limited: p.Limited, Levels: chain}
	for _, closing := range p.Closing {
		c.LimitDB = append(c.LimitDB, limit[closing])
	}
	fit, err := censored.Nested(c)
	if err != nil {
		return nil, err
	}
	if fit.Status != censored.Estimated {
		return none(strings.TrimPrefix(fit.Status.String(), "no estimate: ")), nil
	}
	e := fit.Mean(s.Confidence, 0, 0)
	return &Censored{MeanDB: e.Value, SDDB: fit.TotalSDDB, LowerDB: withReference(e, r.ReferenceU, s.Confidence), Method: likelihood}, nil
}

// withReference widens a lower bound by the error of a shared reference, half-widths
// in quadrature.
func withReference(e stats.Estimate, ref Source, confidence float64) float64 {
	if ref.UDB == 0 {
		return e.Lower
	}
	return e.Value - math.Hypot(e.Value-e.Lower, dist.TQuantile(confidence, ref.DF)*ref.UDB)
}
