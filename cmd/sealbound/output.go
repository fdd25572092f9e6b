package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"sealbound/cmd/internal/atomicfile"
	"sealbound/cmd/internal/report"
)

// output is where a result goes and in which form.
type output struct {
	format string
	file   string // empty: standard output
}

func outputOptions(o *output) []option {
	o.format = "text"
	options := inSection("Result",
		choice("format", "how the result is written (text)", []string{"text", "json", "csv", "markdown"}, &o.format),
		text("output", "FILE", "write to FILE, whole or not at all, instead of standard output", &o.file),
	)
	options[1].short = "o"
	return options
}

// lineWidth is what a person's terminal or a sheet of paper takes.
const lineWidth = 100

// write renders doc and writes it. Nothing is written if anything fails.
func (o output) write(doc *report.Document, paths []string, stdout, stderr io.Writer) error {
	if isStdout(o.file) {
		o.file = ""
	}
	if o.file != "" {
		if err := o.sparesInputs(doc.Inputs); err != nil {
			return err
		}
	}
	var result, notes bytes.Buffer
	var err error
	switch o.format {
	case "json":
		err = report.JSON(&result, doc)
	case "csv":
		err = report.CSV(&result, doc, &notes)
	case "markdown":
		err = report.Markdown(&result, doc)
	default:
		err = report.Text(&result, doc, lineWidth)
	}
	if err != nil {
		return err
	}
	put := func(w io.Writer) error { _, err := w.Write(result.Bytes()); return err }
	if o.file != "" {
		err = atomicfile.Write(o.file, put)
	} else {
		err = put(stdout)
	}
	if err != nil {
		return err
	}
	if _, err = stderr.Write(notes.Bytes()); err != nil {
		return err
	}
	if folder := folderAround(o.file, paths); folder != "" && isTable(o.file) {
		complain(stderr, fmt.Sprintf("%s lies in %s, and is refused where that folder is read again; put it elsewhere.", o.file, folder))
	}
	return nil
}

// isTable tells whether a file would be read as readings by its name.
func isTable(file string) bool {
	return slices.Contains([]string{".csv", ".parquet", ".arrow"}, filepath.Ext(strings.TrimSuffix(strings.ToLower(file), ".gz")))
}

// isStdout reports whether a file's name stands for standard output. Written as
// a file it would be replaced where it was redirected.
func isStdout(file string) bool {
	return file == "-" || file == "/dev/stdout" || file == "/dev/fd/1" || file == "/proc/self/fd/1"
}

// place puts what fill writes into a file, whole or not at all, or on standard
// output where the name stands for that.
func (c call) place(file string, fill func(io.Writer) error) error {
	if !isStdout(file) {
		return atomicfile.Write(file, fill)
	}
	var whole bytes.Buffer
	if err := fill(&whole); err != nil {
		return err
	}
	return put(c.stdout, whole.String())
}

// sparesInputs refuses an output file that was an input.
func (o output) sparesInputs(inputs []report.Input) error {
	out, err := os.Stat(o.file)
	if errors.Is(err, os.ErrNotExist) {
		return nil
	}
	if err != nil {
		return nil // writing will tell
	}
	for _, in := range inputs {
		stat := func() (os.FileInfo, error) { return os.Stat(in.Path) }
		if in.Path == "-" {
			stat = os.Stdin.Stat // a file may stand behind it
		}
		if info, err := stat(); err == nil && os.SameFile(out, info) {
			return badValue("output", o.file, "it is one of the files that were read; name another")
		}
	}
	return nil
}

// requirement is what --require asks of every row.
type requirement struct {
	bounds []string
}

func requireOption(r *requirement) option {
	o := offering(words("require", "BOUND,...", "exit with 1 unless the verdicts on these bounds are clears in every row", &r.bounds), bounds...)
	set := o.set
	o.section = "Result"
	o.set = func(text string) error {
		if err := set(text); err != nil {
			return errRequire
		}
		for _, b := range r.bounds {
			if !slices.Contains(bounds, b) {
				return errRequire
			}
		}
		return nil
	}
	return o
}

var errRequire = errors.New("allowed are " + strings.Join(bounds, ", ") + ", several joined by commas")

// errNotCleared says which rows do not fulfil --require.
type errNotCleared struct {
	total int
	rows  []string
}

func (e *errNotCleared) Error() string {
	const most = 10
	s := fmt.Sprintf("--require is not met by %d of %d", len(e.rows), e.total)
	if e.total == 0 {
		return "--require is not met: there is no row"
	}
	for i, row := range e.rows {
		if i == most {
			return s + fmt.Sprintf("\n  and %d more", len(e.rows)-most)
		}
		s += "\n  " + row
	}
	return s
}

// met returns nil if all verdicts that are required are passes: "clears" and,
// where the user accepts a verdict of this set-up, "clears in this set-up". A
// result without any row is none.
func (r requirement) met(rows []report.JudgeRow, thisSetup bool) error {
	if len(r.bounds) == 0 {
		return nil
	}
	failed := &errNotCleared{total: len(rows)}
	for _, row := range rows {
		var not []string
		for _, b := range bounds {
			if v := verdictOn(row.Verdicts, b); slices.Contains(r.bounds, b) && !passes(v, thisSetup) {
				if v == "" {
					v = "no verdict"
				}
				not = append(not, b+" "+v)
			}
		}
		if len(not) == 0 {
			continue
		}
		var names []string
		for _, l := range row.Group {
			names = append(names, l.Value)
		}
		names = append(names, row.Band.Name)
		failed.rows = append(failed.rows, strings.Join(names, ", ")+": "+strings.Join(not, ", "))
	}
	if len(rows) > 0 && len(failed.rows) == 0 {
		return nil
	}
	return failed
}

func passes(verdict string, thisSetup bool) bool {
	return verdict == "clears" || thisSetup && verdict == "clears in this set-up"
}

func verdictOn(v report.Verdicts, bound string) string {
	switch bound {
	case "mean":
		return v.Mean
	case "weakest":
		return v.Weakest
	case "coverage":
		return v.Coverage
	case "next":
		return v.Next
	}
	return ""
}
