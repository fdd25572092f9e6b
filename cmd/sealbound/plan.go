package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"sealbound/cmd/internal/atomicfile"
	"sealbound/cmd/internal/report"
	"sealbound/cmd/internal/study"
	"sealbound/cmd/internal/texttab"
)

func planCommand() *command {
	s := study.DefaultPlanSettings()
	var out output
	return &command{
		name:      "plan",
		summary:   "before measuring: how many closings, sessions and boxes; what the set-up can show; a recording sheet",
		arguments: "[--from PATH...]",
		about: "Says how many closings, sessions and boxes it takes until the lower bound of the mean clears the target, if the true mean lies a margin above it. " +
			"The spread is given (--sd for closings of one strip in one session, --box-sd and the like for layouts) or taken from past data (--from).\n" +
			"Asked otherwise, it counts closings without a failure (--zero-failure), tells what a set-up can show at most (--open, --floor), and writes a recording sheet in random order, ready to fill in (--sheet).\n" +
			"Closings of a layout are those of each box in each session.",
		example: "--sd 3 --margin 3",
		options: slices.Concat(planOptions(&s), pastOptions(&s), outputOptions(&out)),
		action:  func(c call, paths []string) error { return c.plan(s, out, paths) },
	}
}

// plan answers, and writes the sheet that was asked for before it says so.
func (c call) plan(s study.PlanSettings, out output, paths []string) error {
	if len(paths) > 0 && len(s.From) == 0 {
		return usage("plan reads past data only after --from, yet %q was given; try: sealbound plan --from %s", paths[0], paths[0])
	}
	s.From = append(s.From, paths...) // what a shell made of a pattern after --from
	if err := contradictions(s.Settings); err != nil {
		return err
	}
	if isStdout(s.SheetFile) {
		return badValue("sheet", s.SheetFile, "the answer goes there; name a file")
	}
	if s.SheetFile != "" && out.file != "" && sameFile(s.SheetFile, out.file) {
		return badValue("sheet", s.SheetFile, "-o names the same file; name another")
	}
	var planned *study.Planned
	answer := func(ctx context.Context, _ []string, read study.Settings) (*report.Document, error) {
		s.Version, s.Stdin, s.Progress = read.Version, read.Stdin, read.Progress
		p, err := study.Plan(ctx, s)
		if err != nil {
			return nil, err
		}
		planned = p
		return p.Document, nil
	}
	doc, err := c.analyse(answer, append([]string{"plan"}, s.From...), s.Settings) // it asks for a path
	if err != nil {
		return missingFlag(err)
	}
	if planned.Sheet != nil {
		if err := (output{file: s.SheetFile}).sparesInputs(doc.Inputs); err != nil {
			return badValue("sheet", s.SheetFile, "it is one of the files that were read; name another")
		}
		for line := range strings.Lines(string(planned.Sheet)) {
			if line = strings.TrimSuffix(line, "\n"); texttab.Clean(line) != line {
				return usage("the sheet would hold a label that could steer a display or hide: %s; mend it in the past data, or name others with --box, --gasket, --positions and --polarizations", line)
			}
		}
		put := func(w io.Writer) error { _, err := w.Write(planned.Sheet); return err }
		if err := atomicfile.Write(s.SheetFile, put); err != nil {
			return err
		}
	}
	return out.write(doc, s.From, c.stdout, c.stderr)
}

// missingFlag words the error of a flag that was not given, or of nothing asked.
func missingFlag(err error) error {
	var value *study.UsageError
	switch {
	case !errors.As(err, &value) || value.Text != "":
		return err
	case value.Flag == "":
		return usage("%s", value.Allowed)
	}
	return usage("--%s %s", value.Flag, value.Allowed)
}

// sameFile tells whether two names are of one file, be it there or not.
func sameFile(a, b string) bool {
	x, errA := os.Stat(a)
	y, errB := os.Stat(b)
	return errA == nil && errB == nil && os.SameFile(x, y) || filepath.Clean(a) == filepath.Clean(b)
}

// planOptions are the flags that say what is asked.
func planOptions(s *study.PlanSettings) []option {
	sd := func(name, usage string, dst **float64) option {
		return optionalNumeral(name, "DB", usage, "a number of dB from 0 to 1000, such as 1.5", 0, 1000, false, dst)
	}
	cost := func(name, usage string, dst **float64) option {
		return optionalNumeral(name, "COST", usage, "a number from 0 to 1e9, in any one unit, such as 12", 0, 1e9, false, dst)
	}
	what := inSection("What is wanted",
		optionalNumeral("margin", "DB", "how far the true mean lies above the target",
			"a number of dB above 0, such as 3; no number of closings shows a mean to lie above a target that it does not exceed", 0, 1000, true, &s.MarginDB),
		numeral("confidence", "SHARE", "of the lower bound, one-sided (0.95)",
			"a share from 0.5 to below 1, such as 0.95", math.Nextafter(0.5, 0), 1, true, &s.Confidence),
		numeral("power", "SHARE", "wanted probability that the bound clears the target (0.8)",
			"a share between 0 and 1, such as 0.8; nothing is sure", 0, 1, true, &s.Power),
	)
	one := inSection("Closings of one strip in one session",
		optionalNumeral("sd", "DB", "spread from closing to closing",
			"a number of dB above 0 up to 1000, such as 1.5; without spread there is nothing to plan", math.SmallestNonzeroFloat64, 1000, false, &s.SDDB),
	)
	layout := inSection("Boxes, sessions and closings",
		sd("box-sd", "spread from box to box", &s.BoxSDDB), sd("fitting-sd", "from strip to strip in one box", &s.FittingSDDB),
		sd("session-sd", "from session to session, common to all boxes", &s.SessionSDDB), sd("visit-sd", "from session to session, of one box alone", &s.VisitSDDB),
		sd("closing-sd", "from closing to closing in one visit", &s.ClosingSDDB),
		cost("cost-closing", "of a closing with its readings (1; 0 where another cost is given)", &s.CostClosing),
		cost("cost-session", "of setting up once (20; likewise)", &s.CostSession),
		cost("cost-box", "of a box (5; likewise)", &s.CostBox), cost("cost-fitting", "of a strip and its installation (5; likewise)", &s.CostFitting),
		span("boxes", "this many, or from LO to HI", study.MostBoxes, &s.Boxes),
		span("sessions", "this many, or from LO to HI", study.MostSessions, &s.Sessions),
		span("closings", "of each box in each session: this many, or from LO to HI", study.MostClosingsEachTime, &s.Closings),
	)
	zero := inSection("Without a spread",
		toggle("zero-failure", "closings of which none may lie below the target", &s.ZeroFailure),
		numeral("coverage", "SHARE", "of all closings that shall lie above the target (0.90)",
			"a share between 0 and 1, such as 0.90", 0, 1, true, &s.Coverage),
		whole("failures", "also with up to N closings below (0)", 0, study.MostFailures, &s.Failures),
	)
	setup := inSection("What the set-up can show",
		optionalNumeral("open", "DBM", "level without the box", "a level in dBm, such as -30", -400, 400, false, &s.OpenDBM),
		optionalNumeral("floor", "DBM", "level with the generator off, and the floor of past data that give none",
			"a level in dBm, such as -110", -400, 400, false, &s.FloorDBM),
		numeral("floor-margin", "DB", "how far a closed reading must stand above the floor (6)",
			"a number of dB from 0 to 100, such as 6", 0, 100, false, &s.FloorMarginDB),
		option{name: "target", value: "DB|FILE", usage: "attenuation wanted, or a file with a curve of it (50)", set: func(text string) error {
			return setTarget(text, &s.Settings)
		}},
	)
	sheet := inSection("Recording sheet",
		text("sheet", "FILE", "write a sheet for this plan, whole or not at all", &s.SheetFile),
		dates("dates", "the days of its sessions", &s.Dates),
		frequencies("frequencies", "those to read (else those of the past data)", &s.FrequenciesMHz),
		words("positions", "NAME,...", "positions of the antenna", &s.Positions),
		words("polarizations", "NAME,...", "polarizations, such as H,V", &s.Polarizations),
		words("box", "BOX,...", "its boxes; with --from, the boxes to take the spread from", &s.Box),
		words("gasket", "GASKET,...", "its products; with --from, those to take the spread from", &s.Gasket),
		seed("seed", "of its random order (1)", &s.Seed),
	)
	return slices.Concat(what, one, layout, zero, setup, sheet)
}

// pastOptions are the flags that concern past data: those of the other commands,
// but for the ones that planOptions has.
func pastOptions(s *study.PlanSettings) []option {
	own := inSection("Past data",
		option{name: "from", value: "PATH", usage: "take the spread, and unless --margin is given the margin, from past data", set: func(text string) error {
			if text == "" {
				return errors.New("it must not be empty")
			}
			s.From = append(s.From, text)
			return nil
		}},
		offering(text("bands", "BANDS", "itu, each, all, or NAME=LO-HI,... in MHz (itu)", &s.Bands), "itu", "each", "all"),
		choice("average", "over the points of a band, of dB or of leaked power (db)", []string{"db", "power"}, &s.Average),
		date("since", "only from this day on", &s.Since),
		date("until", "only up to this day", &s.Until),
		days("within", "tests further apart are not one test: wear between them is taken out (90d)", &s.Within),
		offering(words("pool", "FIELD,...", "pool readings that differ in these fields, such as receiver", &s.Pool), study.PoolFields()...),
	)
	taken := []string{"floor", "floor-margin"}
	reading := slices.DeleteFunc(readingOptions(&s.Settings), func(o option) bool { return slices.Contains(taken, o.name) })
	explain := inSection("Result", toggle("explain", "show each number's formula with its values", &s.Explain))
	return slices.Concat(own, reading, explain)
}

// span is a whole number, or two of them that bound it.
func span(name, usage string, most int, dst *study.Span) option {
	return option{name: name, value: "N|LO-HI", usage: usage, set: func(text string) error {
		lo, hi, two := strings.Cut(text, "-")
		if !two {
			hi = lo
		}
		a, errA := strconv.Atoi(strings.TrimSpace(lo))
		b, errB := strconv.Atoi(strings.TrimSpace(hi))
		if errA != nil || errB != nil || a < 1 || b < a || b > most {
			return fmt.Errorf("a whole number from 1 to %d, or two such as 2-6", most)
		}
		*dst = study.Span{Least: a, Most: b}
		return nil
	}}
}

// dates is a list of days joined by commas.
func dates(name, usage string, dst *[]time.Time) option {
	return option{name: name, value: "DATE,...", usage: usage, set: func(text string) error {
		var list []time.Time
		for part := range strings.SplitSeq(text, ",") {
			t, err := time.Parse(time.DateOnly, strings.TrimSpace(part))
			if err != nil {
				return errors.New("days as in 2024-05-31, joined by commas")
			}
			list = append(list, t)
		}
		*dst = list
		return nil
	}}
}

// frequencies is a list of MHz joined by commas.
func frequencies(name, usage string, dst *[]float64) option {
	return option{name: name, value: "MHZ,...", usage: usage, set: func(text string) error {
		var list []float64
		for part := range strings.SplitSeq(text, ",") {
			x, err := parseNumber(strings.TrimSpace(part))
			if err != nil || x <= 0 || x > 1e6 {
				return errors.New("frequencies in MHz, above 0 up to 1000000, joined by commas, such as 30,100,433.92")
			}
			list = append(list, x)
		}
		*dst = list
		return nil
	}}
}
