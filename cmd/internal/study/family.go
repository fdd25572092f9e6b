package study

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"sealbound/stats/judge"
)

// holm makes a row clear only if it still does after Holm's step-down correction
// for picking the rows that clear out of all of them. The p value of a row is that
// of its one-sided t test; it is corrected for the bounds that have one, the mean
// and the weakest point (there the largest p over points, by intersection-union).
//
// Source: S. Holm, Scandinavian Journal of Statistics 6 (1979) 65-70.
func holm(results []judge.Result, s judge.Settings, n *notebook) {
	for _, on := range []judge.Bound{judge.OnMean, judge.OnWeakest} {
		type row struct {
			at int
			p  float64
		}
		var rows []row
		for i, r := range results {
			if p := pValue(r, on); !math.IsNaN(p) {
				rows = append(rows, row{i, p})
			}
		}
		slices.SortStableFunc(rows, func(a, b row) int { return cmp.Compare(a.p, b.p) })
		undone, stopped := 0, false
		for k, x := range rows {
			stopped = stopped || x.p*float64(len(rows)-k) > 1-s.Confidence
			if stopped && results[x.at].Verdicts[on] == judge.Clears {
				results[x.at].Verdicts[on] = judge.Undecided
				results[x.at].NeededReason = "clears on its own, but not as a pick out of all rows (Holm)"
				undone++
			}
		}
		if undone > 0 {
			n.add(fmt.Sprintf("%d of %d rows clear by %s on their own but not as picks out of all (Holm): undecided", undone, len(rows), on), "")
		}
	}
}

func pValue(r judge.Result, on judge.Bound) float64 {
	switch {
	case on == judge.OnMean:
		return r.MeanP
	case r.Weakest != nil:
		return r.Weakest.LargestP
	}
	return nan
}
