package main

import (
	"errors"
	"slices"
	"strings"

	"sealbound/cmd/internal/report"
	"sealbound/cmd/internal/study"
)

func spreadCommand(spread analysis) *command {
	s := study.DefaultSettings()
	var out output
	var required []string
	require := offering(words("require", "repeatable", "exit with 1 unless the verdict is repeatable in every row; needs --tolerance", &required), "repeatable")
	set := require.set
	require.section = "Result"
	require.set = func(text string) error {
		if err := set(text); err != nil || !slices.Equal(required, []string{"repeatable"}) {
			return errors.New("allowed is repeatable")
		}
		return nil
	}
	return &command{
		name:      "spread",
		summary:   "is a result repeatable, and where does the spread come from",
		arguments: "PATH...",
		about: "Parts the spread of the closings into what boxes, strips, sessions, visits and the closings themselves add, for each gasket and band; says how far two results differ in one visit (repeatability) and from day to day (reproducibility), points at outliers without removing them, and says what one more closing, session, strip or box would bring.\n" +
			"It speaks of the last test of each box, as judge does. With --all-dates it speaks of all years, and keeps wear apart where the strips were followed long enough. Control boxes are left out beside others. Points with readings at the receiver's floor are left out, since a floor hides spread.\n" +
			"With --tolerance: repeatable where the upper bound of the limit (2.8 SDs) is within it, not repeatable where the lower bound is beyond it, else undecided.",
		example: "--all-dates testdata/demo",
		options: slices.Concat(spreadOptions(&s), choosingOptions(&s), readingOptions(&s), outputOptions(&out), []option{require},
			idleOptions("target", "coverage", "this-setup", "seed")),
		action: func(c call, paths []string) error {
			if required != nil && s.ToleranceDB == 0 {
				return usage("--require repeatable needs --tolerance: within how many dB?")
			}
			doc, err := c.analyse(spread, paths, s)
			if err != nil {
				return err
			}
			if err := out.write(doc, paths, c.stdout, c.stderr); err != nil || required == nil {
				return err
			}
			return allRepeatable(doc.Spread)
		},
	}
}

// allRepeatable returns nil if every row is repeatable. A result without any row is
// none.
func allRepeatable(rows []report.SpreadRow) error {
	failed := &errNotCleared{total: len(rows)}
	for _, r := range rows {
		if r.Verdict == "repeatable" {
			continue
		}
		var names []string
		for _, l := range r.Group {
			names = append(names, l.Value)
		}
		failed.rows = append(failed.rows, strings.Join(append(names, r.Band.Name), ", ")+": "+r.Verdict)
	}
	if len(rows) > 0 && len(failed.rows) == 0 {
		return nil
	}
	return failed
}

// spreadOptions are the flags that say what is asked: those of spread alone, and
// those of judge that it has too.
func spreadOptions(s *study.Settings) []option {
	options := inSection("Spread",
		numeral("tolerance", "DB", "say whether two results differ by no more than this",
			"a number of dB above 0, such as 3", 0, 400, true, &s.ToleranceDB),
		choice("on", "the limit that is held against the tolerance (repeatability)", []string{"repeatability", "reproducibility"}, &s.ToleranceOn),
	)
	for _, o := range judgingOptions(s) {
		switch o.name {
		case "by":
			o.usage = "what makes a group (gasket)"
		case "confidence":
			o.usage = "of each bound of an SD, one-sided (0.95)"
		case "bands", "pool", "explain":
		default:
			continue
		}
		o.section = "Spread"
		options = append(options, o)
	}
	return options
}
