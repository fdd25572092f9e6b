package judge

import (
	"math"
	"slices"
	"sync"

	"sealbound/stats"
	"sealbound/stats/band"
)

// Judge judges one group in one band. Where it could not judge, the numbers are
// NaN, every verdict is TooFew and Reason says why. The error speaks of malformed
// Data alone.
func Judge(d Data, s Settings) (Result, error) {
	r := empty()
	v, err := d.band(d.DB)
	if err != nil {
		return r, err
	}
	r.Band = v
	r.lowest(d, v)
	if v.Reason != band.None {
		r.Reason = string(v.Reason)
		return r, nil
	}
	r.Points = v.Used
	for _, k := range v.Values {
		r.Kept = append(r.Kept, k.Closing)
	}
	values := take(v.Values, s.average())
	r.Values = values
	r.TargetDB = d.meanTarget(r.Points)
	of := newFrames(d)
	frame := of.of(r.Kept)
	g := frame.g
	keep, used := flags(r.Kept, d.Closings), flags(r.Points, d.Points)
	r.count(d, g, keep, used)
	r.headroom(d, keep)

	ref := r.scope(d, s, g)
	room := rooms.Get().(*band.Room) // nothing of the result refers to it
	defer rooms.Put(room)
	readings := v.ByPointIn(room)
	r.Mean = frame.mean(values, r.Limited == r.Readings, s.Confidence, ref)
	if r.Mean.Method == "sign" && ref.UDB > 0 && !math.IsNaN(r.Mean.Lower) {
		r.ThisSetup = true // the sign bound has no room for the reference's error
	}
	r.Levels, r.Warnings = r.Mean.Levels, append(r.Warnings, r.Mean.Warnings...)
	if g.session.Levels == 2 && g.box.Levels > 2 {
		r.Warnings = append(r.Warnings, stats.Warning{Code: "few-sessions",
			Text: "two sessions tell little of how sessions differ: where they differ more than the boxes do, a bound at 0.95 holds in about 0.90 of campaigns (coverage in 0.86); a third session mends it"})
	}
	r.OtherAverageDB = plainMean(take(v.Values, 1-s.average())) - plainMean(values) + r.Mean.Value
	r.future(values, g, s)
	switch {
	case !d.Reduced:
		r.Weakest, r.WeakestWithout, r.WeakestReason = weakestOf(of, readings, s, r.pointReference(d))
		r.LowestMean = lowestMeanOf(readings)
		if r.Censored, err = censoredOf(of, &r, v, g, s); err != nil {
			return r, err
		}
	default:
		r.WeakestReason, r.OtherAverageDB, r.HeadroomLowDB = reduced, math.NaN(), math.NaN()
		if r.Limited > 0 {
			r.Censored = none(reduced)
		}
	}
	raised, err := r.verdicts(of, s, frame, readings)
	if err != nil {
		return r, err
	}
	if r.Verdicts[OnMean] == Undecided {
		if r.NeededReason = r.hidden(raised); r.NeededReason == "" {
			r.Needed, r.NeededReason = neededOf(r.Mean, r.TargetDB, s.Confidence)
		}
	}
	r.MeanP = r.Mean.pValue(r.TargetDB)
	r.Reason = r.Mean.Reason
	if s.Explain {
		r.Explain = r.explain(s)
		if text := r.secondOpinion(g, s); text != "" {
			r.Explain = append(r.Explain, text)
		}
	}
	return r, nil
}

// rooms are for readings by point, the largest thing that a judgement lays out.
var rooms = sync.Pool{New: func() any { return new(band.Room) }}

// reduced is why what single points would show is not given.
const reduced = "only means over the points of each closing are given"

func (s Settings) average() band.Average {
	if s.Power {
		return band.ByPower
	}
	return band.ByDB
}

// band reduces the readings, with the levels given in place of the data's own.
func (d Data) band(levels []float64) (*band.Result, error) {
	return band.Values(band.Table{Closing: d.Closing, Point: d.Point, DB: levels, Limited: d.Limited,
		Fitting: d.Fitting, Points: d.Points})
}

func take(values []band.Value, a band.Average) []float64 {
	out := make([]float64, len(values))
	for i, k := range values {
		out[i] = k.By(a)
	}
	return out
}

func flags(codes []int32, n int) []bool {
	f := make([]bool, n)
	for _, c := range codes {
		f[c] = true
	}
	return f
}

func empty() Result {
	nan := math.NaN()
	none := stats.Estimate{Value: nan, SE: nan, DF: nan, Lower: nan, Upper: nan}
	return Result{
		Mean: Mean{Estimate: none, SD: nan, Attained: nan}, Next: noBounds, Coverage: noBounds, NextDF: nan, MeanP: nan,
		WeakestWithout: -1, LowestMean: PointMean{-1, nan}, Lowest: Lowest{-1, -1, nan, false},
		OtherAverageDB: nan, HeadroomDB: nan, HeadroomLowDB: nan,
		Verdicts: map[Bound]Verdict{OnMean: TooFew, OnWeakest: TooFew, OnCoverage: TooFew, OnNext: TooFew},
	}
}

// count counts units and limited readings among what is used.
func (r *Result) count(d Data, g groups, keep, used []bool) {
	r.Closings = len(r.Kept)
	r.Boxes, r.Fittings, r.Sessions = g.box.Levels, g.fitting.Levels, g.session.Levels
	r.Runs = subset(d.Run, r.Kept, "run").Levels
	for _, v := range r.Band.Values {
		r.Readings += v.Points
		r.Limited += v.Limited
	}
	if !slices.Contains(d.FloorKnown, false) {
		return
	}
	for i, known := range d.FloorKnown {
		if !known && keep[d.Closing[i]] && used[d.Point[i]] {
			r.FloorUnknown = true
		}
	}
}

// scope says what the result may be said of, and what carries the error of the
// open reference: the session term where there are several sessions, else an
// uncertainty that is added, else nothing.
func (r *Result) scope(d Data, s Settings, g groups) Source {
	switch {
	case g.box.Levels > 1:
		r.ValidFor = NewBoxes
	case g.session.Levels > 1:
		r.ValidFor = AnySession
	default:
		r.ValidFor = ThisSession
	}
	if g.session.Levels > 1 && !d.oneReference(r.Kept) {
		if len(s.Reference) > 0 {
			r.Warnings = append(r.Warnings, stats.Warning{Code: "reference-not-added",
				Text: "several sessions carry the error of the open reference themselves; the uncertainty given for it was not added"})
		}
		return Source{}
	}
	u, known := referenceOf(d, r.Kept, r.Points)
	r.fromRepeats = known
	if given := combined(s.Reference); len(s.Reference) > 0 && (!known || given.UDB >= u.UDB) {
		// The larger of what was measured and what is given: repeats of one day do not
		// tell of another, and a small figure given does not undo a measured one.
		u, known, r.fromRepeats = given, true, false
	}
	r.ReferenceU, r.ThisSetup = u, !known
	return u
}

// pointReference is the uncertainty of the reference at a single point: of its own
// repeats where the band's is from repeats, else as given.
func (r *Result) pointReference(d Data) func(band.PointReadings) Source {
	return func(p band.PointReadings) Source {
		if !r.fromRepeats {
			return r.ReferenceU
		}
		u, _ := referenceOf(d, p.Closing, []int32{p.Point})
		return u
	}
}

// oneReference reports whether all the closings rest on the same open readings, so
// that not even several sessions carry their error.
func (d Data) oneReference(kept []int32) bool {
	for _, c := range kept {
		if len(d.OwnReference) > 0 && d.OwnReference[c] || d.Reference.Codes[c] != d.Reference.Codes[kept[0]] {
			return false
		}
	}
	return len(d.Opens[d.Reference.Codes[kept[0]]]) > 0
}

// future sets the bounds of the next closing and of a share of closings. They
// speak of what closings show, so no reading may be limited and every floor must
// be known.
func (r *Result) future(values []float64, g groups, s Settings) {
	switch {
	case r.FloorUnknown:
		r.Next.Reason = "no floor is known: the figures are at least these, and say nothing of single closings"
		r.Coverage.Reason = r.Next.Reason
	case r.Limited > 0:
		r.Next.Reason = "limited readings hide the spread of single closings"
		r.Coverage, r.CoverageMethod = limitedCoverage(r.Mean, values, s)
		r.Coverage = r.Mean.within(r.Coverage)
	default:
		r.Next, r.NextDF = nextOf(r.Mean)
		r.Coverage, r.CoverageMethod = coverageOf(r.Mean, values, g, s)
	}
}

// lowest takes the lowest reading, be its point used or not: a leak is a leak.
func (r *Result) lowest(d Data, v *band.Result) {
	if low, ok := v.Lowest(); ok && !d.Reduced {
		r.Lowest = Lowest{low.Closing, low.Point, low.DB, low.Limited}
	}
	_, r.ClosingsBelow = v.Below(d.TargetDB)
}

// verdicts sets them, and returns the mean with every limited reading raised.
func (r *Result) verdicts(frames *frames, s Settings, f *frame, readings []band.PointReadings) (raised Mean, err error) {
	d := frames.d
	e := evidence{target: r.TargetDB, headroom: r.HeadroomDB, floorUnknown: r.FloorUnknown, limitedShare: r.limitedShare()}
	of := func(lower, upper, raised float64) Verdict {
		e.lower, e.upper, e.upperRaised = lower, upper, raised
		return e.verdict()
	}
	if raised, err = r.raisedMean(d, s, f); err != nil {
		return raised, err
	}
	r.Verdicts[OnMean] = of(r.Mean.Lower, r.Mean.Upper, raised.Upper)
	// With limited readings these two have no upper bound, so they never fall short.
	r.Verdicts[OnNext] = of(r.Next.LowerDB, r.Next.UpperDB, r.Next.UpperDB)
	r.Verdicts[OnCoverage] = of(r.Coverage.LowerDB, r.Coverage.UpperDB, r.Coverage.UpperDB)
	if w := r.Weakest; w != nil {
		e.target, e.headroom = 0, r.headroomMargin(d)
		r.Verdicts[OnWeakest] = of(w.MarginDB, w.UpperMarginDB, r.raisedWeakest(frames, s, readings))
	}
	return raised, nil
}

// limitedShare is that of the readings.
func (r *Result) limitedShare() float64 { return float64(r.Limited) / float64(max(r.Readings, 1)) }

// raisedMean is the mean with every limited reading raised.
func (r *Result) raisedMean(d Data, s Settings, f *frame) (Mean, error) {
	if r.Limited == 0 {
		return r.Mean, nil
	}
	values, err := r.Band.At(raise(d.DB, d.Limited, s.RaiseDB))
	if err != nil {
		return Mean{}, err
	}
	return f.mean(take(values, s.average()), false, s.Confidence, r.ReferenceU), nil
}

// hidden tells why more of the same cannot settle a mean below the target: it does
// not clear, and to fall short it would have to be known how much the readings hide.
func (r *Result) hidden(raised Mean) string {
	switch {
	case r.Mean.Value >= r.TargetDB:
	case r.FloorUnknown:
		return "the mean lies below the target, and as no floor is known more readings of this kind cannot show that it falls short"
	case r.limitedShare() > maxLimitedShare, !(raised.Value < r.TargetDB):
		return "the mean lies below the target, but limited readings may hide enough to reach it: not more of them but a lower floor decides"
	}
	return ""
}

// raise returns levels with the limited ones raised; db itself where there are none.
func raise(db []float64, limited []bool, by float64) []float64 {
	if !slices.Contains(limited, true) {
		return db
	}
	out := append([]float64(nil), db...)
	for i, l := range limited {
		if l {
			out[i] += by
		}
	}
	return out
}

// raisedWeakest is the smallest upper margin over points, limited readings raised.
func (r *Result) raisedWeakest(frames *frames, s Settings, readings []band.PointReadings) float64 {
	d := frames.d
	if r.Limited == 0 {
		return r.Weakest.UpperMarginDB
	}
	upper := math.NaN()
	share := s.bonferroni(len(readings))
	ref := r.pointReference(d)
	for _, p := range readings {
		f := frames.of(p.Closing)
		m := f.mean(raise(p.DB, p.Limited, s.RaiseDB), false, s.Confidence, ref(p))
		if u := f.upper(m, share) - d.TargetDB[p.Point]; !(u >= upper) && !math.IsNaN(u) {
			upper = u
		}
	}
	return upper
}
