package study

import (
	"fmt"
	"math"

	"sealbound/stats/judge"
)

// noteSpread says what a spread rests on and what it leaves out.
func (c *campaign) noteSpread(y *spreadCell, s Settings, n *notebook) {
	r, at := y.result, y.at()
	c.noteLeftOut(y.cell, judge.Result{Band: r.Band, Points: r.Points}, at, n)
	if k := len(r.LimitedPoints); k > 0 && r.Reason == "" {
		n.add("left out: points with a reading at the receiver's floor, where spread cannot be seen",
			fmt.Sprintf("%s: %d of %d points", at, k, k+len(r.Points)))
	}
	if r.FloorUnknown && r.Reason == "" {
		n.add("no floor known: a floor would hide spread, so it is at least the figure and nothing is called repeatable; give floor readings or --floor, or vouch for the readings with --no-floor", at)
	}
	if w := r.Wear; w != nil {
		n.add("wear over the years is kept apart from the spread (and visits and boxes are compared for outliers at the mean age); the wear command judges it",
			fmt.Sprintf("%s: %.2f dB per year, standard error %.2f, about a mean age of %.1f years", at, w.DBPerYear, w.SE, w.MeanAgeYears))
	} else if s.AllDates && r.Reason == "" && r.Sessions > 1 {
		n.add("sessions are pooled as they stand: wear can be kept apart from strips with dates, seen in three sessions or more over a year or more", at)
	}
	for _, k := range r.Components {
		if !math.IsNaN(k.PerYear) && k.SD > 0 {
			n.add("strips wear each at a rate of its own: fitting_slope is what that adds to a closing, averaged over the ages in the data",
				fmt.Sprintf("%s: SD of the rates %.2f dB per year", at, k.PerYear))
		}
	}
	if sd := r.Repeatability.SD; r.Pairs >= robustPairs && sd > robustFactor*r.RobustSD {
		n.add("a few closings make much of the spread in one visit: its SD, and the SD from the median difference of pairs, which they hardly move",
			fmt.Sprintf("%s: %.2f dB, %.2f dB", at, sd, r.RobustSD))
	}
	var single []string
	for _, l := range r.Constant {
		if l != "visit" {
			single = append(single, l)
		}
	}
	if len(single) > 0 {
		n.add("levels with one unit only, whose spread is not in the data", y.group.short()+": "+listed(single))
	}
	for _, w := range r.Warnings {
		if w.Code != droppedCode { // the table has them at 0
			n.add(w.Text, at)
		}
	}
}

// noteTests says how many tests looked for outliers.
func noteTests(cells []*spreadCell, n *notebook) {
	tests, flagged := testsOf(cells)
	if tests > 0 {
		n.add(fmt.Sprintf("%s for outliers at 5 %% each, %d flagged, none removed; one in twenty flags by chance: Grubbs (two-sided; closings in their visit, visits of their strip, boxes), Cochran (upper; variances of visits and boxes), Mandel's h and k (boxes, or the visits of a single strip)",
			count(tests, "test"), flagged), "")
	}
}

// testsOf counts the tests for outliers and those that flag something.
func testsOf(cells []*spreadCell) (tests, flagged int) {
	for _, y := range cells {
		tests, flagged = tests+y.result.Tests, flagged+len(y.result.Outliers)
	}
	return tests, flagged
}

// The SD is held against the robust one from so many pairs on, and told where it is
// larger by such a factor: common practice, no source.
const (
	robustPairs  = 20
	robustFactor = 1.4
)
