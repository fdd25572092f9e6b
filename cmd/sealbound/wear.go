package main

import (
	"slices"

	"sealbound/cmd/internal/study"
)

func wearCommand(wear analysis) *command {
	s := study.DefaultSettings()
	var out output
	choosing := slices.DeleteFunc(choosingOptions(&s), func(o option) bool { return o.name == "all-dates" || o.name == "within" })
	return &command{
		name:      "wear",
		summary:   "what do retests show, when does the bound meet the target, when to test next",
		arguments: "PATH...",
		about: "Fits a line over the age of the strips to the closings of all sessions, per gasket and band, with boxes, strips, sessions and visits as levels of spread; a session's offset is common to all boxes measured then. Says how fast the attenuation falls, where its mean and lower bound stand, on which dates they meet the target, and when to test next.\n" +
			"Every closing needs a date; age counts from installed, else from the strip's first test. Three sessions give a slope, five can show a trend by rank. A reading at the receiver's floor hides wear: points with such readings are left out, or the readings modelled. A box of role control in boxes.csv, never opened, tells wear from drift of the instruments.",
		example: "testdata/demo",
		options: slices.Concat(wearOptions(&s), choosing, readingOptions(&s), outputOptions(&out),
			idleOptions("within", "all-dates", "this-setup", "seed")),
		action: func(c call, paths []string) error {
			doc, err := c.analyse(wear, paths, s)
			if err != nil {
				return err
			}
			return out.write(doc, paths, c.stdout, c.stderr)
		},
	}
}

// wearOptions are the flags that say what is asked: those of wear alone, and those of
// judge that it has too.
func wearOptions(s *study.Settings) []option {
	options := inSection("Wear",
		date("as-of", "give the mean and its bound for this day (the last test)", &s.AsOf),
		numeral("interval", "YEARS", "between retests, where no bound asks for an earlier one (1)",
			"a number of years above 0 and up to 100, such as 1", 0, 100.000001, true, &s.IntervalYears),
		choice("slopes", "each strip wears at a rate of its own, or all alike (varying)", []string{"varying", "common"}, &s.Slopes),
	)
	for _, o := range judgingOptions(s) {
		switch o.name {
		case "by":
			o.usage = "what makes a group (gasket)"
		case "on":
			o.usage = "the lower bound that is followed to the target (mean)"
		case "target", "bands", "confidence", "coverage", "session-sd", "budget", "pool", "explain":
		default:
			continue
		}
		o.section = "Wear"
		options = append(options, o)
	}
	return options
}
