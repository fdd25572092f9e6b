package main

import (
	"slices"

	"sealbound/cmd/internal/report"
	"sealbound/cmd/internal/study"
)

func judgeCommand(judge analysis) *command {
	s := study.DefaultSettings()
	var out output
	var required requirement
	return &command{
		name:      "judge",
		summary:   "does the lower bound clear the target, per group and band",
		arguments: "PATH...",
		about: "Reads closed and open readings, takes the closings as the repeats, and says for each gasket, box and band whether the lower bound of the attenuation clears the target.\n" +
			"A PATH is a CSV file, a folder (read with all below it), a pattern such as 'runs/*.csv', or - for standard input.",
		example: "--target 50 testdata/demo",
		options: slices.Concat(judgingOptions(&s), choosingOptions(&s), readingOptions(&s), outputOptions(&out), []option{requireOption(&required)}),
		action: func(c call, paths []string) error {
			doc, err := c.analyse(judge, paths, s)
			if err != nil {
				return err
			}
			if err := out.write(doc, paths, c.stdout, c.stderr); err != nil {
				return err
			}
			return required.met(doc.Judge, s.ThisSetup)
		},
	}
}

// analyse runs an analysis and returns at once when the call is interrupted,
// also where the analysis waits for standard input. An analysis only reads, so
// nothing is half done when the process then ends.
func (c call) analyse(f analysis, paths []string, s study.Settings) (*report.Document, error) {
	if len(paths) == 0 {
		return nil, usage("no PATH given: name a file, a folder, a pattern or - for standard input")
	}
	if err := contradictions(s); err != nil {
		return nil, err
	}
	s.Version, s.Stdin = version, c.stdin
	var ended func()
	s.Progress, ended = c.progress()
	defer ended()
	type answer struct {
		doc *report.Document
		err error
	}
	answers := make(chan answer, 1)
	go func() {
		doc, err := f(c.ctx, paths, s)
		answers <- answer{doc, err}
	}()
	select {
	case a := <-answers:
		if err := c.ctx.Err(); err != nil {
			return nil, err
		}
		return a.doc, explainPaths(a.err, paths)
	case <-c.ctx.Done():
		return nil, c.ctx.Err()
	}
}
