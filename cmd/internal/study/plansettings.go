package study

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"sealbound/cmd/internal/report"
	"sealbound/stats/plan"
)

// PlanSettings are the flags of plan in force. Start from DefaultPlanSettings.
// What is nil or empty was not given.
type PlanSettings struct {
	Settings // of reading past data; target, confidence, coverage, seed

	From     []string // paths of past data
	MarginDB *float64 // true mean less target
	Power    float64

	SDDB                                           *float64 // from one closing to the next
	BoxSDDB, FittingSDDB, VisitSDDB, ClosingSDDB   *float64 // with SessionSDDB of Settings
	CostClosing, CostSession, CostBox, CostFitting *float64
	Boxes, Sessions, Closings                      Span
	ZeroFailure                                    bool
	Failures                                       int // most that are allowed
	OpenDBM                                        *float64
	SheetFile                                      string
	Dates                                          []time.Time
	FrequenciesMHz                                 []float64
	Positions, Polarizations                       []string
}

// A Span bounds a number, both ends included; the zero value does not.
type Span struct{ Least, Most int }

func (s Span) free() bool   { return s == Span{} }
func (s Span) single() bool { return s.Least == s.Most && s.Least > 0 }

func (s Span) String() string {
	if s.single() {
		return strconv.Itoa(s.Least)
	}
	return fmt.Sprintf("%d-%d", s.Least, s.Most)
}

// The largest layout that plan looks at.
const (
	MostBoxes            = plan.MostBoxes
	MostSessions         = plan.MostSessions
	MostClosingsEachTime = plan.MostClosingsPerVisit
	MostFailures         = plan.MostFailures
)

// DefaultPlanSettings are those of the command line: power 0.8 (common practice, no
// source), all else as in DefaultSettings.
func DefaultPlanSettings() PlanSettings {
	return PlanSettings{Settings: DefaultSettings(), Power: 0.8}
}

// What plan is asked.
type question int

const (
	sheetOnly question = iota + 1
	headroomOnly
	howManyClosings
	whichLayout
	noFailure
)

func misuse(flag, text, allowed string) error { return &UsageError{flag, text, allowed} }

// question says what is asked, or what contradicts itself or is missing.
func (s PlanSettings) question() (question, error) {
	parts := s.BoxSDDB != nil || s.FittingSDDB != nil || s.SessionSDDB != nil || s.VisitSDDB != nil || s.ClosingSDDB != nil
	layout := parts || len(s.From) > 0
	var q question
	switch {
	case s.SDDB != nil && len(s.From) > 0:
		return 0, misuse("sd", plain(*s.SDDB), "not together with --from, which takes the spread from past data")
	case s.SDDB != nil && parts:
		return 0, misuse("sd", plain(*s.SDDB), "the whole spread of a closing in one visit; not together with --box-sd, --session-sd and the like, which part it")
	case s.ZeroFailure && (s.SDDB != nil || layout):
		return 0, misuse("zero-failure", "true", "counts closings without any spread; ask for it alone, without --sd, --from and the like")
	case s.ZeroFailure:
		q = noFailure
	case s.SDDB != nil:
		q = howManyClosings
	case layout:
		q = whichLayout
	case s.MarginDB != nil:
		return 0, misuse("margin", plain(*s.MarginDB), "needs a spread beside it: --sd DB, or --box-sd, --session-sd, --closing-sd, or --from PATH")
	case s.OpenDBM != nil:
		q = headroomOnly
	case s.SheetFile != "":
		q = sheetOnly
	case s.FloorDBM != nil:
		return 0, misuse("floor", plain(*s.FloorDBM), "needs --open DBM beside it: the level without the box")
	default:
		return 0, misuse("", "", "say what to plan: --sd and --margin (closings), --box-sd ... or --from PATH (boxes, sessions, closings), --zero-failure, --open and --floor (headroom), or --sheet FILE")
	}
	return q, s.missing(q)
}

// missing names what the question needs and lacks, or has and does not need.
func (s PlanSettings) missing(q question) error {
	switch {
	case s.OpenDBM != nil && s.FloorDBM == nil:
		return misuse("open", plain(*s.OpenDBM), "needs --floor DBM beside it: what the receiver shows with the generator off")
	case q == howManyClosings && s.MarginDB == nil:
		return misuse("sd", plain(*s.SDDB), "needs --margin DB beside it: how far the true mean lies above the target")
	case q == whichLayout && len(s.From) == 0 && s.MarginDB == nil:
		return misuse("margin", "", "is missing: how far, in dB, the true mean lies above the target")
	case q == whichLayout && len(s.From) == 0 && s.ClosingSDDB == nil:
		return misuse("closing-sd", "", "is missing: closings always vary; give their SD in dB, or --from PATH")
	case q != noFailure && s.Failures > 0:
		return misuse("failures", strconv.Itoa(s.Failures), "belongs to --zero-failure")
	}
	for _, c := range []struct {
		flag string
		cost *float64
	}{{"cost-closing", s.CostClosing}, {"cost-session", s.CostSession}, {"cost-box", s.CostBox}, {"cost-fitting", s.CostFitting}} {
		if c.cost != nil && q != whichLayout {
			return misuse(c.flag, plain(*c.cost), "costs choose among layouts: give --box-sd, --session-sd, --closing-sd or --from PATH")
		}
	}
	for _, c := range []struct {
		flag string
		span Span
	}{{"boxes", s.Boxes}, {"sessions", s.Sessions}, {"closings", s.Closings}} {
		switch {
		case c.span.free():
		case q == sheetOnly && !c.span.single():
			return misuse(c.flag, c.span.String(), "a sheet needs one number, such as 4")
		case q != sheetOnly && q != whichLayout:
			return misuse(c.flag, c.span.String(), "bounds a layout: give --box-sd, --session-sd, --closing-sd or --from PATH, or ask for --sheet alone")
		}
	}
	return s.checkSheet(q)
}

func (s PlanSettings) checkSheet(q question) error {
	if s.SheetFile == "" {
		for _, c := range []struct {
			flag  string
			given int
		}{{"dates", len(s.Dates)}, {"frequencies", len(s.FrequenciesMHz)}, {"positions", len(s.Positions)}, {"polarizations", len(s.Polarizations)}} {
			if c.given > 0 {
				return misuse(c.flag, "", "belongs to a recording sheet: give --sheet FILE")
			}
		}
		for _, c := range s.names()[:2] {
			if len(c.names) > 0 && len(s.From) == 0 {
				return misuse(c.flag, strings.Join(c.names, ","), "chooses among past data (--from PATH) or names what a recording sheet is for (--sheet FILE)")
			}
		}
		return nil
	}
	for i, d := range s.Dates {
		if slices.ContainsFunc(s.Dates[:i], d.Equal) {
			return misuse("dates", civil(d), "stands there twice; one session a day")
		}
	}
	switch n := len(s.Dates); {
	case n == 0:
	case !s.Sessions.free() && (n < s.Sessions.Least || n > s.Sessions.Most):
		return misuse("dates", strconv.Itoa(n)+" dates", "--sessions "+s.Sessions.String()+" asks for another number")
	case n > MostSessions && q == whichLayout:
		return misuse("dates", strconv.Itoa(n)+" dates", fmt.Sprintf("at most %d sessions", MostSessions))
	case n > 1 && (q == howManyClosings || q == noFailure):
		return misuse("dates", strconv.Itoa(n)+" dates", "this plan has one session: give one date, or plan a layout with --session-sd")
	}
	if len(s.From) == 0 {
		switch {
		case len(s.FrequenciesMHz) == 0:
			return misuse("frequencies", "", "is missing: name those of the sheet in MHz, such as 30,100,433.92")
		case len(s.Gasket) == 0:
			return misuse("gasket", "", "is missing: name the products that the sheet is for")
		}
	}
	for _, c := range s.names() {
		for i, name := range c.names {
			if slices.Contains(c.names[:i], name) {
				return misuse(c.flag, name, "named twice")
			}
		}
	}
	for i, f := range s.FrequenciesMHz {
		if slices.Contains(s.FrequenciesMHz[:i], f) {
			return misuse("frequencies", plain(f), "named twice")
		}
	}
	if q == sheetOnly {
		switch {
		case s.Boxes.free() && len(s.Box) == 0:
			return misuse("boxes", "", "is missing: how many, or their names after --box")
		case s.Sessions.free() && len(s.Dates) == 0:
			return misuse("sessions", "", "is missing: how many, or their days after --dates")
		case s.Closings.free():
			return misuse("closings", "", "is missing: how often each box is closed in each session; five or more are advised")
		}
	}
	return nil
}

// names are the flags that list names, those that choose among past data first.
func (s PlanSettings) names() []namesOf {
	return []namesOf{{"box", s.Box}, {"gasket", s.Gasket}, {"positions", s.Positions}, {"polarizations", s.Polarizations}}
}

type namesOf struct {
	flag  string
	names []string
}

// plain is a number in the fewest digits.
func plain(x float64) string { return strconv.FormatFloat(x, 'f', -1, 64) }

// shownPlan lists the settings that the question uses, in a fixed order.
func (s PlanSettings) shownPlan(q question) []report.Setting {
	optional := func(p *float64) any {
		if p == nil {
			return nil
		}
		return *p
	}
	span := func(s Span) any {
		if s.free() {
			return nil
		}
		return s.String()
	}
	out := []report.Setting{{Name: "confidence", Value: s.Confidence}}
	switch q {
	case howManyClosings, whichLayout:
		out = append(out, report.Setting{Name: "power", Value: s.Power}, report.Setting{Name: "margin_db", Value: optional(s.MarginDB)})
	case noFailure:
		out = append(out, report.Setting{Name: "coverage", Value: s.Coverage}, report.Setting{Name: "zero_failure", Value: true},
			report.Setting{Name: "failures", Value: s.Failures})
	}
	if q == howManyClosings {
		out = append(out, report.Setting{Name: "sd_db", Value: optional(s.SDDB)})
	}
	if q == whichLayout {
		out = append(out, report.Setting{Name: "from", Value: s.From},
			report.Setting{Name: "box_sd_db", Value: optional(s.BoxSDDB)}, report.Setting{Name: "fitting_sd_db", Value: optional(s.FittingSDDB)},
			report.Setting{Name: "session_sd_db", Value: optional(s.SessionSDDB)}, report.Setting{Name: "visit_sd_db", Value: optional(s.VisitSDDB)},
			report.Setting{Name: "closing_sd_db", Value: optional(s.ClosingSDDB)})
		costs, _ := s.costs()
		out = append(out, report.Setting{Name: "cost_closing", Value: costs.Closing}, report.Setting{Name: "cost_session", Value: costs.Session},
			report.Setting{Name: "cost_box", Value: costs.Box}, report.Setting{Name: "cost_fitting", Value: costs.Fitting})
	}
	if q == whichLayout || q == sheetOnly {
		out = append(out, report.Setting{Name: "boxes", Value: span(s.Boxes)}, report.Setting{Name: "sessions", Value: span(s.Sessions)},
			report.Setting{Name: "closings", Value: span(s.Closings)})
	}
	if s.OpenDBM != nil {
		out = append(out, report.Setting{Name: "open_dbm", Value: optional(s.OpenDBM)})
	}
	if s.SheetFile != "" {
		out = append(out, report.Setting{Name: "sheet", Value: s.SheetFile}, report.Setting{Name: "seed", Value: s.Seed})
	}
	read := []string{}
	if s.OpenDBM != nil {
		read = append(read, "target_db", "floor_margin_db", "floor_dbm")
	}
	if len(s.From) > 0 {
		read = append(read, "target_db", "bands", "average", "floor_margin_db", "floor_dbm", "no_floor", "drift_db", "keep_drifted",
			"freq_match_ppm", "within_days", "since", "until", "pool", "skip_bad_rows")
	}
	if len(s.From) > 0 || s.SheetFile != "" {
		read = append(read, "box", "gasket")
	}
	for _, x := range s.Settings.shown(nil) {
		if slices.Contains(read, x.Name) {
			out = append(out, x)
		}
	}
	return out
}
