// Package study is the only place where the readings (ingest) and the statistics
// (stats) meet: it reads a campaign, groups it, selects what a question is
// about, judges it and fills a report.Document.
package study

import (
	"fmt"
	"io"
	"strings"
	"time"

	"sealbound/cmd/internal/report"
	"sealbound/ingest"
)

// Settings are the flags in force. Start from DefaultSettings.
type Settings struct {
	TargetDB             float64 // flat target, dB
	TargetFile           string  // a curve instead: freq_hz (or _mhz ...), target_db
	Bands                string  // itu, each, all, or NAME=LO-HI,... in MHz
	By                   []string
	Confidence, Coverage float64
	On                   string // mean, weakest, coverage or next
	FloorMarginDB        float64
	FloorDBM             *float64
	NoFloor              bool
	DriftDB              float64
	KeepDrifted          bool
	FreqMatchPPM         float64
	Within               time.Duration // whole days
	AllDates             bool
	Box, Gasket          []string
	Since, Until         time.Time
	ThisSetup            bool
	SessionSDDB          *float64
	BudgetFile           string
	Average              string // db or power
	LimitedRaiseDB       float64
	Family               string // empty, or holm
	Pool                 []string
	SkipBadRows          bool
	ProblemLimit         int
	Seed                 uint64
	Explain              bool
	ToleranceDB          float64   // spread: results should differ by no more; 0: not asked
	ToleranceOn          string    // spread: repeatability or reproducibility
	Against              string    // compare: the product that the others are compared with; empty: all pairs
	EquivalentDB         float64   // compare: less apart than this is as good; 0: not asked
	AtAgeYears           *float64  // compare: of each fitting the sessions about this age; nil: about its first
	AsOf                 time.Time // wear: the day that the mean is given for; zero: the group's last test
	IntervalYears        float64   // wear: between retests
	Slopes               string    // wear: varying, or common to all strips
	Today                time.Time // readings dated after it are told; zero: not asked
	Version              string
	Stdin                io.Reader
	Progress             func(stage string, done, total int64) // told how far the work is, from any goroutine; nil: not told

	campaign *campaign    // where several questions are asked of one reading
	curves   bool         // wear: with what a picture needs
	outlines *[]*outlined // judge: filled with the cells that the rows are about; nil: not asked
	memory   memory       // zero: as much as is usual
}

// A memory says how much of a campaign is held at once. It never shows in a result.
type memory struct {
	bytes    int64 // of attenuations that are not written to a temporary file
	readings int   // read back together, unless a single band has more
}

// usual is so much that a small campaign is never written to a file, and so little
// that one of any size is judged in under 100 MB.
var usual = memory{bytes: 4 << 20, readings: 150_000}

// DefaultSettings are those of the command line: target 50 dB (common practice,
// no source), confidence 0.95, coverage 0.90, floor margin 6 dB, drift 3 dB (IEEE
// Std 299-2006, 4.4), the last test within 90 days.
func DefaultSettings() Settings {
	in := ingest.DefaultOptions()
	return Settings{
		TargetDB: 50, Bands: "itu", Confidence: 0.95, Coverage: 0.90, On: "mean",
		FloorMarginDB: in.FloorMarginDB, DriftDB: in.DriftDB, FreqMatchPPM: in.FreqMatch * 1e6,
		Within: 90 * day, Average: "db", LimitedRaiseDB: 20, ProblemLimit: in.ProblemLimit, Seed: 1,
		ToleranceOn: "repeatability", IntervalYears: 1, Slopes: "varying",
	}
}

// told tells how many groups in bands are done.
func (s Settings) told(done, total int) {
	if s.Progress != nil {
		s.Progress("computing", int64(done), int64(total))
	}
}

const day = 24 * time.Hour

// An InputError says that the input cannot be used, with every problem found.
type InputError struct {
	Problems []report.Problem
	Omitted  int // problems beyond the limit
	Inputs   []report.Input
	Err      error
}

func (e *InputError) Error() string {
	if len(e.Problems) == 0 {
		return e.Err.Error()
	}
	return fmt.Sprintf("%d problems in the input", len(e.Problems)+e.Omitted)
}

// Unwrap returns the error of ingest.
func (e *InputError) Unwrap() error { return e.Err }

// A UsageError is a setting that cannot be meant: flag, what stands there, and
// what is allowed.
type UsageError struct{ Flag, Text, Allowed string }

func (e *UsageError) Error() string {
	return fmt.Sprintf("--%s %q: %s", e.Flag, e.Text, e.Allowed)
}

// ingestOptions are the settings that concern reading.
func (s Settings) ingestOptions() ingest.Options {
	o := ingest.DefaultOptions()
	o.FloorMarginDB, o.FloorDBM, o.NoFloor = s.FloorMarginDB, s.FloorDBM, s.NoFloor
	o.DriftDB, o.KeepDrifted = s.DriftDB, s.KeepDrifted
	o.FreqMatch = s.FreqMatchPPM * 1e-6
	o.OmitReadings = true
	o.SkipBadRows, o.ProblemLimit = s.SkipBadRows, s.ProblemLimit
	o.Stdin = s.Stdin
	return o
}

// shown lists the settings for the Document, in a fixed order.
func (s Settings) shown(by []string) []report.Setting {
	var target any = s.TargetDB
	if s.TargetFile != "" {
		target = s.TargetFile
	}
	optional := func(p *float64) any {
		if p == nil {
			return nil
		}
		return *p
	}
	text := func(t string) any {
		if t == "" {
			return nil
		}
		return t
	}
	dates := func(t time.Time) any { return text(civil(t)) }
	var within any = int(s.Within / day)
	if s.AllDates {
		within = nil
	}
	return []report.Setting{
		{Name: "target_db", Value: target}, {Name: "bands", Value: s.Bands}, {Name: "by", Value: by},
		{Name: "confidence", Value: s.Confidence}, {Name: "coverage", Value: s.Coverage}, {Name: "on", Value: s.On},
		{Name: "average", Value: s.Average}, {Name: "floor_margin_db", Value: s.FloorMarginDB},
		{Name: "floor_dbm", Value: optional(s.FloorDBM)}, {Name: "no_floor", Value: s.NoFloor},
		{Name: "drift_db", Value: s.DriftDB}, {Name: "keep_drifted", Value: s.KeepDrifted},
		{Name: "freq_match_ppm", Value: s.FreqMatchPPM},
		{Name: "within_days", Value: within}, {Name: "all_dates", Value: s.AllDates},
		{Name: "box", Value: s.Box}, {Name: "gasket", Value: s.Gasket},
		{Name: "since", Value: dates(s.Since)}, {Name: "until", Value: dates(s.Until)},
		{Name: "this_setup", Value: s.ThisSetup}, {Name: "session_sd_db", Value: optional(s.SessionSDDB)},
		{Name: "budget", Value: text(s.BudgetFile)}, {Name: "limited_raise_db", Value: s.LimitedRaiseDB},
		{Name: "family", Value: text(s.Family)}, {Name: "pool", Value: s.Pool},
		{Name: "skip_bad_rows", Value: s.SkipBadRows}, {Name: "seed", Value: s.Seed},
	}
}

// civil prints a date; empty for none.
func civil(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.Format(time.DateOnly)
}

// listed joins words as in a sentence: a, b and c.
func listed(words []string) string {
	switch n := len(words); n {
	case 0:
		return ""
	case 1:
		return words[0]
	default:
		return strings.Join(words[:n-1], ", ") + " and " + words[n-1]
	}
}
