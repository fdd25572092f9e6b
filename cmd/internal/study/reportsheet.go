package study

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"sealbound/cmd/internal/report"
	"sealbound/stats/judge"
)

// sheetRows is how many frequencies fit on one page beside so many facts about the
// set-up and files; more are merged, each row then standing for the worst of several.
func sheetRows(facts, files int) int { return min(max(30-facts-files/2, 10), 18) }

// BoxSheet is the record of the last test of one box, frequency by frequency, each
// judged at its worst place. The error is an *InputError, a *UsageError, or one of
// the system.
func BoxSheet(ctx context.Context, paths []string, rs ReportSettings) (*report.Sheet, error) {
	rs.By = []string{"box"}
	rs.Bands, rs.On = "each", string(judge.OnWeakest)
	r, err := startReport(ctx, paths, rs, nil, rs.Box[0])
	defer r.close()
	if err != nil {
		return nil, err
	}
	s, c := r.settings, r.settings.campaign
	var doc *report.Document
	cells, err := r.judge(ctx, paths, &doc)
	if err != nil {
		return nil, err
	}
	out := &report.Sheet{Box: rs.Box[0], Confidence: s.Confidence, Account: r.account(cells),
		ModelledOn: "Modelled on IEEE Std 299-2006 and IEEE Std 299.1-2013: open against closed with the same antennas, cables, levels and receiver settings. No claim is made to fulfil them.",
		Mind:       "An empty box measured at some frequencies is no promise that equipment in it survives a pulse. Decisions about protection belong to a qualified engineer and to local codes."}
	out.TargetText = fmt.Sprintf("%g dB at every frequency", s.TargetDB)
	if s.TargetFile != "" {
		out.TargetText = "the curve in " + s.TargetFile
	}
	out.Explained = fmt.Sprintf("Lower bound: with %s certainty the mean over many closings lies above it; it is the mean of the closings less an allowance for how much they scatter.", percentText(s.Confidence))
	var closings []*closing
	seen := make(map[*closing]bool)
	for i, x := range cells {
		for _, cl := range x.closings {
			if !seen[cl] {
				seen[cl] = true
				closings = append(closings, cl)
			}
		}
		out.Rows = append(out.Rows, c.sheetRow(x, doc.Judge[i]))
	}
	out.Verdict, out.Sentence = overall(out.Rows, out.Box, out.TargetText)
	out.Gasket = listed(distinct(closings, "gasket"))
	for _, cl := range closings {
		if d := civil(cl.Installed); d > out.Installed {
			out.Installed = d
		}
		if d := civil(cl.Date); d != "" && !slices.Contains(out.Tested, d) {
			out.Tested = append(out.Tested, d)
		}
	}
	slices.Sort(out.Tested)
	out.Closings, out.Sessions = len(closings), len(distinct(closings, "session"))
	runs := c.runsOf(closings)
	for _, run := range runs {
		out.Facts = append(out.Facts, r.rig.references(run, c.dateOf(run))...)
	}
	read := len(out.Facts) > 0
	for _, f := range append(r.rig.facts(runs), contextFacts(closings)...) {
		if !read || f.Name != openLevel { // the reference says it
			out.Facts = append(out.Facts, f)
		}
	}
	out.Setup = c.setup(runs)
	if out.Deviations, err = c.deviations(closings, out.Box, s); err != nil {
		return nil, err
	}
	out.Account.Setup, out.Account.Side = nil, nil
	if n, most := len(out.Rows), sheetRows(len(out.Facts)+len(out.Setup), len(out.Account.Files)); n > most {
		out.Rows, out.Merged = merged(out.Rows, most), n
	}
	return out, nil
}

func percentText(share float64) string {
	return strconv.FormatFloat(math.Round(share*1e6)/1e4, 'f', -1, 64) + " %"
}

// dateOf is the day of a run's closings; empty where it has none or several.
func (c *campaign) dateOf(run string) string {
	day := ""
	for _, cl := range c.closings {
		if cl.Run == run {
			d := civil(cl.Date)
			if day != "" && d != day {
				return ""
			}
			day = d
		}
	}
	return day
}

// sheetRow is one frequency at the place where its bound has the smallest margin;
// the lowest reading is that of all places.
func (c *campaign) sheetRow(x *outlined, j report.JudgeRow) report.SheetRow {
	row := report.SheetRow{LoHz: x.band.LoHz, HiHz: x.band.HiHz, FreqHz: x.band.LoHz, TargetDB: j.TargetDB, MeanDB: j.MeanDB, HeadroomDB: j.HeadroomLowDB, Digits: 1}
	for _, l := range x.group.labels {
		if l.Field != "box" {
			row.Part = strings.TrimPrefix(row.Part+", "+l.Field+" "+l.Value, ", ")
		}
	}
	if w := j.Weakest; w != nil {
		row.Place = strings.TrimSpace(w.Position + " " + w.Polarization)
		row.TargetDB, row.MeanDB, row.LowerDB, row.MarginDB = &w.TargetDB, &w.MeanDB, &w.LowerDB, &w.MarginDB
	}
	if l := j.Lowest; l != nil {
		row.LowestDB, row.LowestLimited = &l.AttenDB, l.Limited
	}
	switch judge.Verdict(strings.TrimSuffix(j.Verdicts.Weakest, inThisSetup)) {
	case judge.Clears:
		row.Result = report.Pass
	case judge.FallsShort:
		row.Result = report.Fail
	case judge.OutOfReach:
		row.Result = report.BeyondRange
	default:
		row.Result = report.Inconclusive
		if row.HeadroomDB != nil && row.TargetDB != nil && *row.HeadroomDB < *row.TargetDB {
			row.Result = report.BeyondRange
		}
	}
	return row
}

// severity orders results from the worst for the verdict of several rows.
var severity = []string{report.Fail, report.BeyondRange, report.Inconclusive, report.Pass}

// overall is the verdict of all rows together: they all pass, or the worst of them.
func overall(rows []report.SheetRow, box, target string) (verdict, sentence string) {
	counts := make(map[string]int)
	for _, r := range rows {
		counts[r.Result]++
	}
	n := plural("frequency", "frequencies", len(rows))
	for _, result := range severity {
		k := counts[result]
		if k == 0 {
			continue
		}
		of := fmt.Sprintf("at %d of %s", k, n)
		if k == len(rows) {
			of = "at all " + n
			if k == 1 {
				of = "at the one frequency tested"
			}
		}
		switch result {
		case report.Fail:
			return result, fmt.Sprintf("Box %s fails: it takes off less than the requirement (%s) %s.", box, target, of)
		case report.BeyondRange:
			return result, fmt.Sprintf("Box %s: the set-up could not show the requirement (%s) %s; %s.", box, target, of, rest(counts, result))
		case report.Inconclusive:
			return result, fmt.Sprintf("Box %s: inconclusive %s against the requirement (%s); %s.", box, of, target, rest(counts, result))
		default:
			return result, fmt.Sprintf("Box %s passes: it takes off at least the requirement (%s) %s, at the worst place of the antenna.", box, target, of)
		}
	}
	return report.Inconclusive, fmt.Sprintf("Box %s: nothing was judged.", box)
}

// rest counts the other results.
func rest(counts map[string]int, but string) string {
	var parts []string
	for i := len(severity) - 1; i >= 0; i-- {
		if k := counts[severity[i]]; k > 0 && severity[i] != but {
			parts = append(parts, fmt.Sprintf("%d %s", k, severity[i]))
		}
	}
	if len(parts) == 0 {
		return "more readings, or a stronger set-up, would tell"
	}
	return "the others: " + listed(parts)
}

// merged makes at most so many rows of neighbours, each with the figures of its
// worst frequency and the result that is worst for the box.
func merged(rows []report.SheetRow, most int) []report.SheetRow {
	worse := func(a, b report.SheetRow) bool { // a is worse than b
		ka, kb := slices.Index(severity, a.Result), slices.Index(severity, b.Result)
		switch {
		case ka != kb:
			return ka < kb
		case a.MarginDB == nil || b.MarginDB == nil:
			return a.MarginDB == nil && b.MarginDB != nil
		}
		return *a.MarginDB < *b.MarginDB
	}
	var out []report.SheetRow
	each := (len(rows) + most - 1) / most
	for first := 0; first < len(rows); {
		last := first + 1
		for last < len(rows) && last-first < each && rows[last].Part == rows[first].Part {
			last++
		}
		worst := rows[first]
		for _, r := range rows[first+1 : last] {
			if worse(r, worst) {
				worst = r
			}
		}
		lowest := worst
		for _, r := range rows[first:last] {
			if r.LowestDB != nil && (lowest.LowestDB == nil || *r.LowestDB < *lowest.LowestDB) {
				lowest = r
			}
			if r.HeadroomDB == nil {
				worst.HeadroomDB = nil
			} else if worst.HeadroomDB != nil && *r.HeadroomDB < *worst.HeadroomDB {
				worst.HeadroomDB = r.HeadroomDB
			}
		}
		worst.LowestDB, worst.LowestLimited = lowest.LowestDB, lowest.LowestLimited
		worst.LoHz, worst.HiHz = rows[first].LoHz, rows[last-1].HiHz
		out = append(out, worst)
		first = last
	}
	return out
}

// deviations are what departed from the plan of a test of this box, as far as the
// data tell.
func (c *campaign) deviations(closings []*closing, box string, s Settings) ([]string, error) {
	var out []string
	for _, l := range c.summary.LeftOut {
		if slices.Contains(l.Boxes, box) {
			out = append(out, fmt.Sprintf("run %s is left out: its open reference moved by %s dB at %s (more than %g dB)", l.Run, level1(l.DriftDB), megahertz(l.FreqHz), s.DriftDB))
		}
	}
	reads := make(map[int32]int)
	limited := 0
	var r readings
	for _, cl := range closings {
		if err := c.load(cl, &r); err != nil {
			return nil, err
		}
		for i, p := range r.point {
			reads[p]++
			if r.limited[i] {
				limited++
			}
		}
	}
	missing := 0
	for _, n := range reads {
		missing += len(closings) - n
	}
	if missing > 0 {
		out = append(out, fmt.Sprintf("%s missing from %s", plural("reading is", "readings are", missing), count(len(closings), "closing")))
	}
	if limited > 0 {
		out = append(out, fmt.Sprintf("%s at the receiver’s floor and show at least their figures", plural("reading stood", "readings stood", limited)))
	}
	for _, run := range c.runsOf(closings) {
		for _, k := range c.runs {
			if k.label == run && k.reference != "" && k.reference != k.label {
				out = append(out, fmt.Sprintf("run %s uses the open readings of run %s", run, k.reference))
			}
		}
	}
	notes := distinct(closings, "note")
	for _, text := range notes {
		out = append(out, "noted: "+text)
	}
	return out, nil
}
