package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"

	"sealbound/cmd/internal/atomicfile"
	"sealbound/cmd/internal/study"
	"sealbound/cmd/internal/texttab"
)

func checkCommand(check analysis) *command {
	s := study.DefaultSettings()
	var out output
	var propose proposing
	return &command{
		name:      "check",
		summary:   "is this data usable, and what is in it",
		arguments: "PATH...",
		about: "Counts what was read, shows how far the open references drifted and how much headroom there is, and names every problem with its file, line and column.\n" +
			"With problems it exits with 2; --format json prints its report all the same.\n" +
			"Traces of an analyser, one sweep in a file, are read from a folder with a table runs.csv: a row for each file, with the columns file, state, box, gasket, closing, run, date " +
			"and any other of the long format that holds for the whole trace, and where a trace is no plain CSV how it is written: " + strings.Join(study.ProfileColumns(), ", ") + ". " +
			"--propose FOLDER looks at the traces and writes such a table to be filled in.",
		example: "testdata/demo",
		options: slices.Concat(readingOptions(&s), outputOptions(&out), propose.options()),
		action: func(c call, paths []string) error {
			if propose.asked {
				return propose.run(c, paths, out)
			}
			if propose.force {
				return badValue("force", "true", "it goes with --propose and -o FILE alone")
			}
			doc, err := c.analyse(check, paths, s)
			if err != nil && (doc == nil || out.format != "json") {
				return err
			}
			if failed := out.write(doc, paths, c.stdout, c.stderr); failed != nil {
				return failed
			}
			return err
		},
	}
}

// proposing is what --propose asks for.
type proposing struct{ asked, force bool }

func (p *proposing) options() []option {
	return inSection("Traces of an analyser",
		toggle("propose", "instead of checking, write a runs.csv for the folder of traces PATH: what each trace needs to be read, to be filled in", &p.asked),
		toggle("force", "let --propose replace an existing FILE", &p.force),
	)
}

// run writes the proposal to standard output or to the file of -o, and why it says
// so to standard error.
func (p *proposing) run(c call, paths []string, out output) error {
	switch {
	case len(paths) != 1 || paths[0] == "-":
		return usage("--propose takes one PATH, the folder of the traces")
	case out.format != "text":
		return badValue("format", out.format, "--propose writes a runs.csv")
	case p.force && out.file == "":
		return badValue("force", "true", "it goes with --propose and -o FILE alone")
	}
	if isStdout(out.file) {
		out.file = ""
	}
	if _, err := os.Lstat(out.file); out.file != "" && !p.force && !errors.Is(err, os.ErrNotExist) {
		return badValue("output", out.file, "it is there already; name another file, or replace it with --force")
	}
	var told func(done, total int64)
	draw, ended := c.progress()
	if draw != nil {
		told = func(done, total int64) { draw("looking at traces", done, total) }
	}
	proposal, err := study.Propose(c.ctx, paths[0], told)
	ended()
	if err != nil {
		return err
	}
	for _, line := range proposal.Said {
		fmt.Fprintln(c.stderr, texttab.Clean(line))
	}
	table := func(w io.Writer) error { _, err := w.Write(proposal.Table); return err }
	if out.file == "" {
		err = table(c.stdout)
	} else {
		err = atomicfile.Write(out.file, table)
	}
	if err != nil {
		return err
	}
	rows := "1 row"
	if proposal.Rows > 1 {
		rows = fmt.Sprintf("%d rows", proposal.Rows)
	}
	there := ""
	if proposal.Kept > 0 {
		there = fmt.Sprintf(", %d of which were there", proposal.Kept)
	}
	_, err = fmt.Fprintf(c.stderr, "%s proposed for runs.csv%s. Fill in what each trace is of, state first (open, closed or floor), then: sealbound check %s\n", rows, there, texttab.Clean(paths[0]))
	return err
}
