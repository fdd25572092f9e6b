package study

import (
	"math"
	"slices"
	"strings"
	"time"

	"sealbound/cmd/internal/report"
	"sealbound/stats/judge"
	"sealbound/stats/wear"
)

// wearRow puts a result into a row.
func (c *campaign) wearRow(y *retest, s Settings) report.WearRow {
	r := y.result
	row := report.WearRow{
		Group: y.group.labels, Band: y.band, Control: y.control,
		Boxes: r.Boxes, Fittings: r.Fittings, Sessions: r.Sessions, Limited: r.Limited / y.halves(),
		Method: string(r.Method), SpanYears: defined(r.SpanYears), InterceptDB: defined(r.Intercept.Value),
		Slope: defined(r.Slope.Value), SlopeSE: defined(r.Slope.SE), SlopeDF: defined(r.Slope.DF),
		SlopeLower: defined(r.Slope.Lower), SlopeUpper: defined(r.Slope.Upper), P: defined(r.P),
		LogLikelihood: defined(r.LogLikelihood), AsOf: civil(y.asOf), AgeYears: defined(y.ageNow),
		MeanNowDB: defined(r.Mean.Value), LowerNowDB: defined(r.Now),
		RankP: defined(r.Rank.P), TheilSen: defined(r.Rank.Slope),
		Verdict: string(r.Verdict), On: s.On, TargetDB: defined(r.TargetDB), Points: min(len(r.Points), y.places), Closings: r.Closings,
	}
	if !math.IsNaN(r.Rank.P) {
		row.RankS = defined(float64(r.Rank.S))
	}
	for _, k := range r.Components {
		row.Components = append(row.Components, report.WearComponent{Source: k.Source, VarianceDB2: k.Variance, SDDB: k.SD,
			SDLowerDB: defined(k.SDLower), SDUpperDB: defined(k.SDUpper), Share: defined(k.Share)})
	}
	if y.last != nil {
		row.Method = "mean of the last test"
		row.MeanNowDB, row.LowerNowDB, row.TargetDB = defined(y.last.Mean.Value), defined(lowerOf(*y.last, s)), defined(y.last.TargetDB)
	}
	if y.ageNow < 0 {
		row.MeanNowDB, row.LowerNowDB = nil, nil
	}
	row.CrossesOn, row.CrossesAfter = y.dates(r.Cross)
	row.LowerCrossesOn, row.LowerCrossesAft = y.dates(r.LowerCross)
	row.MeanBelow, row.LowerBelow = r.Cross.Status == wear.AlreadyBelow, r.LowerCross.Status == wear.AlreadyBelow
	retestBy, due := y.retestBy(s)
	row.RetestBy, row.DueNow = civil(retestBy), due
	if k := r.Against; k != nil {
		row.Against = &report.WearControl{Boxes: k.Boxes, Slope: defined(k.Slope), Difference: defined(k.Difference.Value),
			SE: defined(k.Difference.SE), DF: defined(k.Difference.DF), Lower: defined(k.Difference.Lower),
			Upper: defined(k.Difference.Upper), P: defined(k.P), Reason: k.Reason}
	}
	for _, step := range r.Steps {
		x := report.WearStep{Before: y.session(step.Before), After: y.session(step.After), ShiftDB: step.ShiftDB, UsualDB: step.UsualDB}
		if step.Fitting >= 0 {
			is := y.strip(step.Fitting)
			x.Box, x.Fitting = is.box, is.fitting
		}
		row.Steps = append(row.Steps, x)
	}
	for _, p := range r.Strips {
		row.Strips = append(row.Strips, y.stripRow(p))
	}
	row.Reason, row.Short = y.reasons(s), y.short()
	if s.curves {
		row.Trend = y.trend(row)
	}
	if row.TargetDB == nil && slices.Min(y.cell.data.TargetDB) == slices.Max(y.cell.data.TargetDB) {
		row.TargetDB = defined(y.cell.data.TargetDB[0])
	}
	return row
}

// short says in a few words why there is no slope.
func (y *retest) short() string {
	r := y.result
	switch {
	case r.Method != wear.NoMethod:
		return ""
	case r.FloorUnknown:
		return "no slope without a known floor"
	case r.NoSlope && r.Sessions < 3:
		return "too few retests for a slope"
	case r.Limited > 0:
		return "no slope behind the receiver's floor"
	}
	return "no slope"
}

// lowerOf is the lower bound of a judgement that decides.
func lowerOf(r judge.Result, s Settings) float64 {
	switch judge.Bound(s.On) {
	case judge.OnNext:
		return r.Next.LowerDB
	case judge.OnCoverage:
		return r.Coverage.LowerDB
	case judge.OnWeakest:
		if r.Weakest == nil {
			return nan
		}
		return r.Weakest.LowerDB
	}
	return r.Mean.Lower
}

// dates are the day of a crossing, or the horizon before which there is none.
func (y *retest) dates(x wear.Crossing) (on, after string) {
	switch x.Status {
	case wear.Crosses:
		return civil(y.dateAt(x.Age)), ""
	case wear.Beyond:
		return "", civil(y.horizon())
	}
	return "", ""
}

// retestBy is when to test next: at once where the lower bound was below the target at
// the last test, else where it meets the target or an interval after the last test,
// whichever comes first.
func (y *retest) retestBy(s Settings) (day time.Time, due bool) {
	margin := y.result.Margin
	if y.last != nil {
		margin = lowerOf(*y.last, s) - y.last.TargetDB
		if w := y.last.Weakest; s.On == string(judge.OnWeakest) && w != nil {
			margin = w.MarginDB
		}
	}
	if margin < 0 {
		return y.lastTest, true
	}
	day = after(y.lastTest, s.IntervalYears)
	if x := y.result.LowerCross; x.Status == wear.Crosses {
		if at := y.dateAt(x.Age); at.Before(day) {
			day = at
		}
	}
	return day, false
}

func (y *retest) stripRow(p wear.Strip) report.WearStrip {
	x := report.WearStrip{AgeFrom: p.FirstAge, AgeTo: p.LastAge, Sessions: p.Sessions, Closings: p.Closings, MeanDB: p.MeanDB,
		Slope: defined(p.Slope.Value), Lower: defined(p.Slope.Lower), Upper: defined(p.Slope.Upper)}
	is := y.strip(p.Fitting)
	x.Box, x.Fitting, x.From, x.To = is.box, is.fitting, is.from, is.to
	return x
}

// session names a session code.
func (y *retest) session(code int32) string {
	y.nameCodes()
	return y.sessions[code]
}

// A stripName tells a strip: its box, its label where the box had several, and the first
// and the last day on which it was tested.
type stripName struct{ box, fitting, from, to string }

// strip names a fitting code.
func (y *retest) strip(code int32) stripName {
	y.nameCodes()
	return y.strips[code]
}

// nameCodes names all codes at once: there may be as many strips as closings.
func (y *retest) nameCodes() {
	if y.strips != nil {
		return
	}
	session, fitting := y.cell.data.Session, y.cell.data.Fitting
	y.sessions, y.strips = make([]string, session.Levels), make([]stripName, fitting.Levels)
	inBox := make(map[string]int) // strips
	for i, cl := range y.closings {
		y.sessions[session.Codes[i]] = cl.Session
		x, day := &y.strips[fitting.Codes[i]], civil(cl.Date)
		if x.from == "" {
			*x = stripName{cl.Box, strings.TrimSpace(cl.fitting), day, day}
			inBox[cl.Box]++
		}
		x.from, x.to = min(x.from, day), max(x.to, day)
	}
	for i := range y.strips {
		if x := &y.strips[i]; inBox[x.box] < 2 {
			x.fitting = ""
		}
	}
}

// reasons says why something that the row could have said is not defined.
func (y *retest) reasons(s Settings) string {
	r := y.result
	parts := []string{r.Reason, r.NowReason}
	if y.last != nil {
		parts = append(parts, y.last.Reason)
		if math.IsNaN(lowerOf(*y.last, s)) && y.last.Reason == "" {
			parts = append(parts, "the last test has no such bound")
		}
	}
	if y.ageNow < 0 {
		parts = append(parts, "no strip was in place on "+civil(y.asOf))
	}
	if r.Cross.Status == wear.AlreadyBelow {
		parts = append(parts, "the mean was below the target throughout the tests")
	}
	if r.LowerCross.Status == wear.AlreadyBelow {
		parts = append(parts, "the lower bound is below the target at the mean age of the tests already, so no crossing is dated")
	}
	if k := r.Against; k != nil && k.Reason != "" {
		parts = append(parts, "no difference from the control box: "+k.Reason)
	}
	parts = slices.DeleteFunc(parts, func(p string) bool { return p == "" })
	return strings.Join(slices.Compact(parts), "; ")
}
