package report

import (
	"slices"
	"strconv"
	"strings"
)

// A WearRow says what the retests of one group show in one band. Levels in dB, slopes
// in dB per year; lower and upper are one-sided each. Dates are ISO, empty for null.
type WearRow struct {
	Group                                                    []Label
	Band                                                     Band
	Boxes, Fittings, Sessions, Limited                       int
	Method                                                   string
	SpanYears, InterceptDB                                   Number
	Slope, SlopeSE, SlopeDF, SlopeLower, SlopeUpper, P       Number
	Components                                               []WearComponent
	LogLikelihood                                            Number
	AsOf                                                     string
	AgeYears, MeanNowDB, LowerNowDB                          Number
	CrossesOn, CrossesAfter, LowerCrossesOn, LowerCrossesAft string
	RetestBy                                                 string
	RankS, RankP, TheilSen                                   Number
	Verdict, Reason                                          string
	On                                                       string // which bound lower_now_db and the lower crossing are of
	TargetDB                                                 Number
	Points, Closings                                         int
	Against                                                  *WearControl
	Steps                                                    []WearStep
	Strips                                                   []WearStrip

	// For a person.
	Control               bool   // a group of control boxes
	MeanBelow, LowerBelow bool   // below the target at the mean age of the tests
	DueNow                bool   // the bound was below the target at the last test
	Short                 string // why there is no slope, in a few words
	Trend                 *Trend // for a picture; nil: none was asked for
}

// A WearComponent is one variance; of fitting_slope in dB^2 per year^2, without a
// share.
type WearComponent struct {
	Source                      string
	VarianceDB2, SDDB           float64
	SDLowerDB, SDUpperDB, Share Number
}

// A WearControl compares a slope with that of the control boxes, dB per year.
type WearControl struct {
	Boxes                                      int
	Slope, Difference, SE, DF, Lower, Upper, P Number
	Reason                                     string
}

// A WearStep is a change between two sessions beyond what is usual. Box is empty where
// all strips share it.
type WearStep struct {
	Box, Fitting, Before, After string
	ShiftDB, UsualDB            float64
}

// A WearStrip is one strip by itself, from its first test to its last.
type WearStrip struct {
	Box, Fitting, From, To string
	AgeFrom, AgeTo         float64
	Sessions, Closings     int
	MeanDB                 float64
	Slope, Lower, Upper    Number
}

// The tables of wear for a person.
const (
	wearSlope   = "slope"
	wearDates   = "dates"
	wearControl = "control"
)

var wearColumns = []column[WearRow]{
	{name: "group", of: func(r *WearRow) any { return r.Group }},
	{name: "band.name", of: func(r *WearRow) any { return r.Band.Name }},
	{name: "band.lo_hz", of: func(r *WearRow) any { return r.Band.LoHz }},
	{name: "band.hi_hz", of: func(r *WearRow) any { return r.Band.HiHz }},
	wearCount("boxes", "boxes", func(r *WearRow) int { return r.Boxes }),
	wearCount("fittings", "strips", func(r *WearRow) int { return r.Fittings }),
	wearCount("sessions", "ses-\nsions", func(r *WearRow) int { return r.Sessions }),
	wearCount("limited", "limi-\nted", func(r *WearRow) int { return r.Limited }),
	{name: "method", of: func(r *WearRow) any { return word(r.Method) }},
	wearNumber("span_years", wearSlope, "years", 1, func(r *WearRow) Number { return r.SpanYears }),
	wearNumber("intercept_db", "", "", 1, func(r *WearRow) Number { return r.InterceptDB }),
	wearNumber("slope_db_per_year", wearSlope, "slope", 2, func(r *WearRow) Number { return r.Slope }),
	wearNumber("slope_se", "", "", 2, func(r *WearRow) Number { return r.SlopeSE }),
	wearNumber("slope_df", "", "", 1, func(r *WearRow) Number { return r.SlopeDF }),
	wearNumber("slope_lower", wearSlope, "slope\n≥", 2, func(r *WearRow) Number { return r.SlopeLower }),
	wearNumber("slope_upper", wearSlope, "slope\n≤", 2, func(r *WearRow) Number { return r.SlopeUpper }),
	wearNumber("p_value", wearSlope, "p", 3, func(r *WearRow) Number { return r.P }),
	{name: "components", of: func(r *WearRow) any { return tableOf(wearComponentColumns, r.Components) }},
	{name: "log_likelihood", of: func(r *WearRow) any { return number(r.LogLikelihood) }},
	{name: "as_of", of: func(r *WearRow) any { return word(r.AsOf) },
		show: &shown[WearRow]{part: wearDates, head: "on", text: true, lift: "The mean and its bound are those on ", cell: func(r *WearRow) string { return r.AsOf }}},
	wearNumber("age_years", wearDates, "age,\nyears", 1, func(r *WearRow) Number { return r.AgeYears }),
	wearNumber("mean_now_db", wearDates, "mean", 1, func(r *WearRow) Number { return r.MeanNowDB }),
	{name: "lower_now_db", of: func(r *WearRow) any { return number(r.LowerNowDB) },
		show: &shown[WearRow]{part: wearDates, head: "bound ≥", cell: boundNow,
			shows: func(rows []WearRow) bool {
				return slices.ContainsFunc(rows, func(r WearRow) bool { return r.LowerNowDB != nil })
			}}},
	wearDate("crosses_on", "mean meets\ntarget", func(r *WearRow) string { return r.CrossesOn },
		func(r *WearRow) string { return crossing(r.CrossesOn, r.CrossesAfter, r.MeanBelow) }),
	wearDate("crosses_after", "", func(r *WearRow) string { return r.CrossesAfter }, nil),
	wearDate("lower_crosses_on", "bound meets\ntarget", func(r *WearRow) string { return r.LowerCrossesOn },
		func(r *WearRow) string { return crossing(r.LowerCrossesOn, r.LowerCrossesAft, r.LowerBelow) }),
	wearDate("lower_crosses_after", "", func(r *WearRow) string { return r.LowerCrossesAft }, nil),
	wearDate("retest_by", "retest by", func(r *WearRow) string { return r.RetestBy }, func(r *WearRow) string {
		switch {
		case r.DueNow:
			return "due now"
		case r.Slope == nil && r.RetestBy != "":
			return r.RetestBy + "; no trend yet"
		}
		return r.RetestBy
	}),
	{name: "kendall.s", of: func(r *WearRow) any { return number(r.RankS) }},
	wearNumber("kendall.p", wearSlope, "p by\nrank", 3, func(r *WearRow) Number { return r.RankP }),
	wearNumber("theil_sen_db_per_year", wearSlope, "robust\nslope", 2, func(r *WearRow) Number { return r.TheilSen }),
	{name: "verdict", of: func(r *WearRow) any { return word(r.Verdict) },
		show: &shown[WearRow]{part: wearSlope, head: "trend", text: true, cell: func(r *WearRow) string { return strings.Replace(r.Verdict, "no trend", "none", 1) }}},
	{name: "reason", of: func(r *WearRow) any { return word(r.Reason) }},
	{name: "on", of: func(r *WearRow) any { return word(r.On) }},
	{name: "target_db", of: func(r *WearRow) any { return number(r.TargetDB) },
		show: &shown[WearRow]{part: wearDates, head: "target", lift: "Target, dB: ", cell: func(r *WearRow) string { return optional(r.TargetDB, 1) }}},
	{name: "points", of: func(r *WearRow) any { return r.Points }},
	{name: "closings", of: func(r *WearRow) any { return r.Closings }},
	{name: "control.boxes", of: ofControl(func(c *WearControl) any { return c.Boxes })},
	ofDrift("slope_db_per_year", "slope of\ncontrol", 2, func(c *WearControl) Number { return c.Slope }),
	ofDrift("difference_db_per_year", "slope minus\ncontrol's", 2, func(c *WearControl) Number { return c.Difference }),
	ofDrift("difference_se", "", 2, func(c *WearControl) Number { return c.SE }),
	ofDrift("difference_df", "", 1, func(c *WearControl) Number { return c.DF }),
	ofDrift("difference_lower", "minus ≥", 2, func(c *WearControl) Number { return c.Lower }),
	ofDrift("difference_upper", "minus ≤", 2, func(c *WearControl) Number { return c.Upper }),
	ofDrift("difference_p_value", "p", 3, func(c *WearControl) Number { return c.P }),
	{name: "control.reason", of: ofControl(func(c *WearControl) any { return word(c.Reason) })},
	{name: "steps", of: func(r *WearRow) any { return tableOf(wearStepColumns, r.Steps) }},
	{name: "strips", of: func(r *WearRow) any { return tableOf(wearStripColumns, r.Strips) }},
}

var wearComponentColumns = []column[WearComponent]{
	{name: "source", of: func(c *WearComponent) any { return c.Source }},
	{name: "variance_db2", of: func(c *WearComponent) any { return c.VarianceDB2 }},
	{name: "sd_db", of: func(c *WearComponent) any { return c.SDDB }},
	{name: "sd_lower_db", of: func(c *WearComponent) any { return number(c.SDLowerDB) }},
	{name: "sd_upper_db", of: func(c *WearComponent) any { return number(c.SDUpperDB) }},
	{name: "share", of: func(c *WearComponent) any { return number(c.Share) }},
}

var wearStepColumns = []column[WearStep]{
	{name: "box", of: func(s *WearStep) any { return word(s.Box) }},
	{name: "fitting", of: func(s *WearStep) any { return word(s.Fitting) }},
	{name: "before", of: func(s *WearStep) any { return s.Before }},
	{name: "after", of: func(s *WearStep) any { return s.After }},
	{name: "shift_db", of: func(s *WearStep) any { return s.ShiftDB }},
	{name: "usual_db", of: func(s *WearStep) any { return s.UsualDB }},
}

var wearStripColumns = []column[WearStrip]{
	wearStripText("box", "box", func(s *WearStrip) string { return s.Box }),
	{name: "fitting", of: func(s *WearStrip) any { return word(s.Fitting) }}, // its dates tell it in text
	wearStripText("from", "from", func(s *WearStrip) string { return s.From }),
	wearStripText("to", "to", func(s *WearStrip) string { return s.To }),
	{name: "age_from_years", of: func(s *WearStrip) any { return s.AgeFrom }},
	{name: "age_to_years", of: func(s *WearStrip) any { return s.AgeTo },
		show: &shown[WearStrip]{head: "age,\nyears", cell: func(s *WearStrip) string { return decibels(s.AgeTo, 1) }}},
	{name: "sessions", of: func(s *WearStrip) any { return s.Sessions },
		show: &shown[WearStrip]{head: "ses-\nsions", cell: func(s *WearStrip) string { return strconv.Itoa(s.Sessions) }}},
	{name: "closings", of: func(s *WearStrip) any { return s.Closings }},
	{name: "mean_db", of: func(s *WearStrip) any { return s.MeanDB },
		show: &shown[WearStrip]{head: "mean,\ndB", cell: func(s *WearStrip) string { return decibels(s.MeanDB, 1) }}},
	wearStripNumber("slope_db_per_year", "slope", func(s *WearStrip) Number { return s.Slope }),
	wearStripNumber("slope_lower", "slope ≥", func(s *WearStrip) Number { return s.Lower }),
	wearStripNumber("slope_upper", "slope ≤", func(s *WearStrip) Number { return s.Upper }),
}

func wearStripText(name, head string, of func(*WearStrip) string) column[WearStrip] {
	return column[WearStrip]{name: name, of: func(s *WearStrip) any { return word(of(s)) },
		show: &shown[WearStrip]{head: head, text: true, cell: of}}
}

func wearStripNumber(name, head string, of func(*WearStrip) Number) column[WearStrip] {
	return column[WearStrip]{name: name, of: func(s *WearStrip) any { return number(of(s)) },
		show: &shown[WearStrip]{head: head, cell: func(s *WearStrip) string { return rounded(of(s), 2) }}}
}

// boundNow shows the bound in as many digits as tell it from the target.
func boundNow(r *WearRow) string {
	if r.LowerNowDB == nil || r.TargetDB == nil {
		return optional(r.LowerNowDB, 1)
	}
	return decibels(*r.LowerNowDB, telling(*r.LowerNowDB-*r.TargetDB, 1))
}

func crossing(on, after string, below bool) string {
	switch {
	case on != "":
		return on
	case after != "":
		return "> " + after
	case below:
		return "already below"
	}
	return undefined
}

func wearCount(name, head string, of func(*WearRow) int) column[WearRow] {
	return column[WearRow]{name: name, of: func(r *WearRow) any { return of(r) },
		show: &shown[WearRow]{part: wearSlope, head: head, cell: func(r *WearRow) string { return strconv.Itoa(of(r)) },
			shows: func(rows []WearRow) bool {
				return name == "boxes" || name == "sessions" ||
					name == "fittings" && slices.ContainsFunc(rows, func(r WearRow) bool { return r.Fittings != r.Boxes }) ||
					name == "limited" && slices.ContainsFunc(rows, func(r WearRow) bool { return r.Limited > 0 })
			}}}
}

func wearNumber(name, part, head string, digits int, of func(*WearRow) Number) column[WearRow] {
	c := column[WearRow]{name: name, of: func(r *WearRow) any { return number(of(r)) }}
	if part != "" {
		c.show = &shown[WearRow]{part: part, head: head, cell: func(r *WearRow) string { return rounded(of(r), digits) },
			shows: func(rows []WearRow) bool {
				return slices.ContainsFunc(rows, func(r WearRow) bool { return of(&r) != nil }) || name == "slope_db_per_year"
			}}
	}
	return c
}

// rounded shows a number; one that would read as zero, with the digits that tell.
func rounded(n Number, digits int) string {
	if n == nil {
		return undefined
	}
	if digits == 3 && *n > 0 && *n < 0.0005 {
		return "< 0.001"
	}
	return decibels(*n, digits)
}

func wearDate(name, head string, of func(*WearRow) string, cell func(*WearRow) string) column[WearRow] {
	c := column[WearRow]{name: name, of: func(r *WearRow) any { return word(of(r)) }}
	if cell != nil {
		c.show = &shown[WearRow]{part: wearDates, head: head, text: true, cell: cell}
	}
	return c
}

func ofControl(of func(*WearControl) any) func(*WearRow) any {
	return func(r *WearRow) any {
		if r.Against == nil {
			return nil
		}
		return of(r.Against)
	}
}

func ofDrift(name, head string, digits int, of func(*WearControl) Number) column[WearRow] {
	c := column[WearRow]{name: "control." + name, of: ofControl(func(c *WearControl) any { return number(of(c)) })}
	if head != "" {
		c.show = &shown[WearRow]{part: wearControl, head: head, cell: func(r *WearRow) string {
			if r.Against == nil {
				return undefined
			}
			return rounded(of(r.Against), digits)
		}}
	}
	return c
}
