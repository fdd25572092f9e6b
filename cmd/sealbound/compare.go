package main

import (
	"errors"
	"slices"

	"sealbound/cmd/internal/report"
	"sealbound/cmd/internal/study"
)

func compareCommand(compare analysis) *command {
	s := study.DefaultSettings()
	var out output
	var require []string
	required := words("require", "mean", "exit with 1 unless the mean of every product clears in every band", &require)
	set := required.set
	required.section = "Result"
	required.set = func(text string) error {
		if err := set(text); err != nil || !slices.Equal(require, []string{"mean"}) {
			return errors.New("allowed is mean")
		}
		return nil
	}
	return &command{
		name:      "compare",
		summary:   "which gasket product, over many boxes",
		arguments: "PATH...",
		about: "Compares gasket products over the boxes that carried them: adjusted means against the target, all differences with the error of the whole family kept, and the cheapest product that clears.\n" +
			"A product needs two fittings at least, in different boxes if possible. Best is a campaign where every box carries every product; products tested in boxes of their own need many more boxes. Control boxes are left out. Of each fitting the first tests are taken, or with --at-age those at a given age.\n" +
			"Strips are counted as four pieces of a quarter of the perimeter for each box, each cut whole from a strip (boxes.csv: perimeter_mm; gaskets.csv: strip_length_mm, strip_price, currency).",
		example: "--against 'as-bought rubber' testdata/demo",
		options: slices.Concat(comparingOptions(&s), productOptions(&s), readingOptions(&s), outputOptions(&out), []option{required},
			idleOptions("coverage", "seed")),
		action: func(c call, paths []string) error {
			doc, err := c.analyse(compare, paths, s)
			if err != nil {
				return err
			}
			if err := out.write(doc, paths, c.stdout, c.stderr); err != nil {
				return err
			}
			if require == nil {
				return nil
			}
			return requirement{bounds: require}.met(productRows(doc.Compare), s.ThisSetup)
		},
	}
}

// productRows are the products as rows with a verdict on the mean.
func productRows(rows []report.CompareRow) []report.JudgeRow {
	var out []report.JudgeRow
	for _, r := range rows {
		for _, p := range r.Products {
			out = append(out, report.JudgeRow{Group: append(slices.Clone(r.Group), report.Label{Field: "gasket", Value: p.Gasket}),
				Band: r.Band, Verdicts: report.Verdicts{Mean: p.Verdict}})
		}
	}
	return out
}

// comparingOptions are the flags that say what is asked: those of a comparison
// alone, and those of judge that it has too.
func comparingOptions(s *study.Settings) []option {
	shared := []string{"target", "bands", "confidence", "average", "session-sd", "budget", "this-setup", "limited-raise", "pool", "explain"}
	options := inSection("Comparing",
		text("against", "GASKET", "compare the others with this one, such as the as-bought seal, instead of all pairs", &s.Against),
		numeral("equivalent", "DB", "say which products are as good as each other: less than this apart",
			"a number of dB above 0, such as 3", 0, 400, true, &s.EquivalentDB),
		optionalNumeral("at-age", "YEARS", "of each fitting the sessions about this age (its first session)",
			"a number of years from 0 to 100, such as 2", 0, 100, false, &s.AtAgeYears),
		offering(words("by", "FIELD,...", "compare apart for each value of these fields, such as latch", &s.By), study.GroupFields()...),
	)
	for _, o := range judgingOptions(s) {
		if slices.Contains(shared, o.name) {
			o.section = "Comparing"
			options = append(options, o)
		}
	}
	return options
}

// productOptions are the flags that choose among what was read.
func productOptions(s *study.Settings) []option {
	options := choosingOptions(s)
	for i := range options {
		if options[i].name == "within" {
			options[i].usage = "of each fitting, the sessions this close to the one at the age asked for (90d)"
		}
	}
	return options
}
