package main

import (
	"slices"

	"sealbound/cmd/internal/study"
)

func checkCommand(check analysis) *command {
	s := study.DefaultSettings()
	var out output
	return &command{
		name:      "check",
		summary:   "is this data usable, and what is in it",
		arguments: "PATH...",
		about: "Counts what was read, shows how far the open references drifted and how much headroom there is, and names every problem with its file, line and column.\n" +
			"With problems it exits with 2; --format json prints its report all the same.",
		example: "testdata/demo",
		options: slices.Concat(readingOptions(&s), outputOptions(&out)),
		action: func(c call, paths []string) error {
			doc, err := c.analyse(check, paths, s)
			if err != nil && (doc == nil || out.format != "json") {
				return err
			}
			if failed := out.write(doc, c.stdout, c.stderr); failed != nil {
				return failed
			}
			return err
		},
	}
}
