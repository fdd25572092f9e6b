package study

import (
	"cmp"
	"math"
	"slices"
	"time"

	"sealbound/cmd/internal/report"
	"sealbound/ingest"
)

// trend is what a picture of the retests shows: each session's mean of each strip, the
// line and its bound as far as there is something to see, and the days that matter.
func (y *retest) trend(row report.WearRow) *report.Trend {
	r := y.result
	if len(r.Kept) == 0 {
		return nil
	}
	out := &report.Trend{}
	type visit struct {
		key     fittingKey
		session string
	}
	sums, first := make(map[visit]*tally), make(map[visit]*closing)
	age := make(map[visit]float64)
	var visits []visit
	for i, code := range r.Kept {
		cl := y.closings[code]
		v := visit{cl.fittingKey(), cl.Session}
		if sums[v] == nil {
			sums[v], first[v], age[v] = &tally{}, cl, y.data.AgeYears[code]
			visits = append(visits, v)
		}
		sums[v].add(r.Values[i])
	}
	slices.SortFunc(visits, func(a, b visit) int {
		return cmp.Or(ingest.CompareLabels(a.key.box, b.key.box), cmp.Compare(age[a], age[b]), ingest.CompareLabels(a.key.gasket, b.key.gasket),
			ingest.CompareLabels(a.key.fitting, b.key.fitting), cmp.Compare(a.session, b.session))
	})
	strips := make(map[fittingKey]int)
	perBox := make(map[string]int)
	end := 0.0
	for _, v := range visits {
		if _, seen := strips[v.key]; !seen {
			strips[v.key] = len(out.Strips)
			name := v.key.box
			if perBox[name]++; perBox[name] > 1 {
				name += ", a later strip"
			}
			out.Strips = append(out.Strips, name)
		}
		out.Points = append(out.Points, report.TrendPoint{Strip: strips[v.key], Date: civil(first[v].Date), Years: age[v], DB: sums[v].mean()})
		end = max(end, age[v])
	}
	mark := func(day, label string) {
		t, err := time.Parse(time.DateOnly, day)
		if err != nil {
			return
		}
		at := y.ageNow + years(t.Sub(y.asOf))
		end = max(end, at)
		out.Moments = append(out.Moments, report.Moment{Years: at, Label: label + " " + day})
	}
	mark(row.CrossesOn, "mean meets target")
	mark(row.LowerCrossesOn, "bound meets target")
	if row.DueNow {
		mark(row.RetestBy, "retest due since")
	} else {
		mark(row.RetestBy, "retest by")
	}
	slices.SortStableFunc(out.Moments, func(a, b report.Moment) int { return cmp.Compare(a.Years, b.Years) })
	if len(r.Curve) == 0 {
		return out
	}
	end += 0.05 * r.SpanYears
	for _, p := range r.Curve {
		if p.AgeYears > end {
			break
		}
		out.Fit = append(out.Fit, report.AgeDB{Years: p.AgeYears, DB: p.MeanDB})
		if !math.IsNaN(p.LowerDB) {
			out.Lower = append(out.Lower, report.AgeDB{Years: p.AgeYears, DB: p.LowerDB})
		}
	}
	return out
}
