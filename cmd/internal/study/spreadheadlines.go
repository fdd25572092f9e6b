package study

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"sealbound/stats/spread"
)

// spreadHeadlines give the answer in one sentence per group: how far results differ,
// what that comes from, and what would make the mean more precise.
func spreadHeadlines(cells []*spreadCell, s Settings) []string {
	var out []string
	for first := 0; first < len(cells); {
		last := first + 1
		for last < len(cells) && sameGroup(cells[first].group.labels, cells[last].group.labels) {
			last++
		}
		out = append(out, spreadHeadline(cells[first:last], s))
		first = last
	}
	return out
}

func spreadHeadline(cells []*spreadCell, s Settings) string {
	parts := verdictParts(cells, s)
	if text := differ(cells); text != "" {
		parts = append(parts, text)
	}
	if text := byBand(cells, func(y *spreadCell) string { return largest(y.result.Components) }); text != "" {
		parts = append(parts, "the spread comes mostly from "+text)
	}
	parts = append(parts, advice(cells)...)
	tests, flagged := testsOf(cells)
	if flagged > 0 {
		parts = append(parts, fmt.Sprintf("%d of %d tests for outliers flag something, see below", flagged, tests))
	}
	reasons := byBand(cells, func(y *spreadCell) string {
		if y.result.Reason == "" {
			return ""
		}
		return "nothing to tell: " + y.result.Reason
	})
	if reasons != "" {
		parts = append(parts, reasons)
	}
	text := cells[0].group.name() + ": " + strings.Join(parts, "; ") + "."
	return strings.ToUpper(text[:1]) + text[1:]
}

// verdictParts says the verdicts, where a tolerance was given.
func verdictParts(cells []*spreadCell, s Settings) (parts []string) {
	if !(s.ToleranceDB > 0) {
		return nil
	}
	on := "in the same visit"
	if spread.Limit(s.ToleranceOn) == spread.Reproducibility {
		on = "of the same box on another day"
	}
	for _, v := range []spread.Verdict{spread.Repeatable, spread.NotRepeatable, spread.Undecided, spread.TooFew} {
		var bands []string
		for _, y := range cells {
			if y.result.Verdict == v {
				bands = append(bands, y.band.Name)
			}
		}
		if len(bands) == 0 {
			continue
		}
		where := " in " + listed(bands)
		switch v {
		case spread.Repeatable, spread.NotRepeatable:
			parts = append(parts, fmt.Sprintf("%s within %g dB%s (%s)", v, s.ToleranceDB, where, on))
		case spread.Undecided:
			parts = append(parts, fmt.Sprintf("undecided at %g dB%s", s.ToleranceDB, where))
		default:
			parts = append(parts, "too few repeats"+where)
		}
	}
	return parts
}

// differ says by how much two results differ at most in 19 of 20 pairs.
func differ(cells []*spreadCell) string {
	of := func(q func(spread.Result) spread.Quantity) string {
		low, high := math.Inf(1), math.Inf(-1)
		for _, y := range cells {
			if l := q(y.result).LimitDB(); l > 0 { // 0: the closings read alike, which a note says
				low, high = math.Min(low, l), math.Max(high, l)
			}
		}
		switch a, b := fmt.Sprintf("%.1f", low), fmt.Sprintf("%.1f", high); {
		case math.IsInf(low, 0):
			return ""
		case a == b:
			return a + " dB"
		default:
			return a + " to " + b + " dB"
		}
	}
	same := of(func(r spread.Result) spread.Quantity { return r.Repeatability })
	day := of(func(r spread.Result) spread.Quantity { return r.Reproducibility })
	if day != "" {
		day += " from day to day"
	}
	if same != "" {
		same += " in one visit"
	}
	if same == "" && day == "" {
		return ""
	}
	return "19 of 20 pairs of closings of a strip differ by less than " + strings.Trim(same+", "+day, ", ")
}

// largest is the source of the largest share; empty where there is no component.
func largest(parts []spread.Component) string {
	best := -1
	for i, c := range parts {
		if best < 0 || c.Share > parts[best].Share {
			best = i
		}
	}
	if best < 0 || len(parts) == 1 {
		return ""
	}
	return parts[best].Source
}

// advice says what would make the mean more precise.
func advice(cells []*spreadCell) (parts []string) {
	if slices.ContainsFunc(cells, func(y *spreadCell) bool { return slices.Contains(y.result.Constant, "session") }) {
		parts = append(parts, "what another day adds is not in the data, so test in another session first")
	}
	best := byBand(cells, func(y *spreadCell) string {
		if m, ok := y.result.Best(); ok {
			return m.What
		}
		return ""
	})
	if best != "" {
		parts = append(parts, best+" would sharpen the mean most")
	}
	return parts
}

// byBand says a word for the bands that share it; bands are named where they differ.
func byBand(cells []*spreadCell, of func(*spreadCell) string) string {
	var words []string
	bands := make(map[string][]string)
	for _, y := range cells {
		w := of(y)
		if w == "" {
			continue
		}
		if !slices.Contains(words, w) {
			words = append(words, w)
		}
		bands[w] = append(bands[w], y.band.Name)
	}
	var parts []string
	for _, w := range words {
		if len(bands[w]) == len(cells) {
			return w
		}
		parts = append(parts, w+" ("+listed(bands[w])+")")
	}
	return listed(parts)
}
