package study

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"sealbound/stats/judge"
	"sealbound/stats/spread"
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
		n.add("wear over the years is kept apart from the spread; the wear command judges it",
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
	var single []string
	for _, l := range r.Constant {
		if l != "visit" {
			single = append(single, l)
		}
	}
	if len(single) > 0 {
		n.add("levels with one unit only, whose spread is not in the data", at+": "+listed(single))
	}
	for _, w := range r.Warnings {
		if w.Code != droppedCode { // the table has them at 0
			n.add(w.Text, at)
		}
	}
	if r.Tests > 0 {
		n.add("tests for outliers, each at 5 %: Grubbs (two-sided; closings within their visit, visits within their strip, boxes), Cochran (upper; variances of visits and of boxes), Mandel's h and k (each box, or each visit of a single strip); one test in twenty flags by chance alone, and nothing is removed",
			fmt.Sprintf("%s: %s, %d flagged", at, count(r.Tests, "test"), len(r.Outliers)))
	}
	if text := moreText(r); text != "" {
		n.add("standard error of the mean in dB, now and with one more of each, from these components and for a campaign laid out evenly", at+": "+text)
	}
}

// moreText lists what one more of each brings.
func moreText(r spread.Result) string {
	if math.IsNaN(r.SEDB) {
		return ""
	}
	parts := []string{fmt.Sprintf("%.2f now", r.SEDB)}
	var unknown []string
	for _, m := range r.More {
		if m.Reason == "" {
			parts = append(parts, fmt.Sprintf("%.2f with %s", m.SEDB, m.What))
		} else {
			unknown = append(unknown, m.Unit)
		}
	}
	text := strings.Join(parts, ", ")
	if slices.Sort(unknown); len(unknown) > 0 {
		text += "; not known for " + listed(unknown)
	}
	return text
}
