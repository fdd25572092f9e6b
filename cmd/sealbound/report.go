package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"

	"sealbound/cmd/internal/atomicfile"
	"sealbound/cmd/internal/report"
	"sealbound/cmd/internal/study"
	"sealbound/cmd/internal/texttab"
)

func reportCommand() *command {
	s := study.DefaultSettings()
	var o reportOutput
	cmd := &command{
		name:      "report",
		summary:   "the whole campaign, or one box on one sheet, as a page to publish or hand over",
		arguments: "-o FILE PATH...",
		about: "Writes one HTML file that stands alone: no script, nothing to load, under 1.5 MB, to be read on paper, on a phone, in the dark or by a screen reader. It holds the answer, the figures, pictures, what was assumed, what the data cannot say, how it was measured, cautions, and the inputs with their SHA-256 and the command line, so that anyone can redo it.\n" +
			"With --box and one name it is the sheet of that box for a customer: one A4 page, frequency by frequency, each judged at its worst place.\n" +
			"Pictures are SVG; there is no PNG, for no browser or word processor needs it.",
		example: "testdata/demo -o report.html",
		options: slices.Concat(reportOptions(&o), reportJudging(&s), reportFurther(&s), choosingOptions(&s), readingOptions(&s)),
	}
	cmd.action = func(c call, paths []string) error {
		if o.file == "" {
			return usage("no file given; say where to write with -o FILE")
		}
		rs := study.ReportSettings{Settings: s, Title: o.title, Command: cmd.words}
		if len(s.Box) == 1 {
			return o.sheet(c, paths, rs)
		}
		return o.campaign(c, paths, rs)
	}
	return cmd
}

// reportOutput is where a report goes.
type reportOutput struct {
	file, figures, title string
}

func reportOptions(o *reportOutput) []option {
	options := inSection("Report",
		text("output", "FILE", "write the page to FILE, whole or not at all", &o.file),
		text("figures", "DIR", "write each picture as SVG into this folder too; it is made", &o.figures),
		text("title", "TEXT", "of the page", &o.title))
	options[0].short = "o"
	return options
}

// reportJudging are the flags of judge that a report has too.
func reportJudging(s *study.Settings) []option {
	options := slices.DeleteFunc(judgingOptions(s), func(o option) bool { return o.name == "explain" || o.name == "this-setup" })
	for i := range options {
		if options[i].name == "by" {
			options[i].usage = "what makes a group (gasket)"
		}
	}
	return options
}

// reportFurther are the flags of the other questions that a report asks.
func reportFurther(s *study.Settings) []option {
	var options []option
	for _, o := range slices.Concat(wearOptions(s), comparingOptions(s)) {
		switch o.name {
		case "as-of":
			o.usage = "wear: the mean and its bound for this day (the last test)"
		case "interval", "slopes":
			o.usage = "wear: " + o.usage
		case "against":
			o.usage = "products: compare the others with this one instead of all pairs"
		case "equivalent", "at-age":
			o.usage = "products: " + o.usage
		default:
			continue
		}
		options = append(options, o)
	}
	return inSection("Further questions", options...)
}

func (o reportOutput) campaign(c call, paths []string, rs study.ReportSettings) error {
	var result *report.Campaign
	_, err := c.analyse(func(ctx context.Context, paths []string, s study.Settings) (_ *report.Document, err error) {
		rs.Settings = s
		result, err = study.Report(ctx, paths, rs)
		return nil, err
	}, paths, rs.Settings)
	if err != nil {
		return err
	}
	if err := o.spares(result.Account.Files, o.file); err != nil {
		return err
	}
	said := "Wrote " + o.file
	if o.figures != "" {
		figures, err := report.Figures(result)
		if err != nil {
			return err
		}
		if err := o.draw(figures, result.Account.Files); err != nil {
			return err
		}
		said += fmt.Sprintf(" and %d pictures in %s", len(figures), o.figures)
	}
	if err := c.place(o.file, func(w io.Writer) error { return report.HTML(w, result) }); err != nil {
		return err
	}
	return o.tell(c, said)
}

// draw writes the pictures, each whole or not at all.
func (o reportOutput) draw(figures []report.Figure, inputs []report.File) error {
	if err := os.MkdirAll(o.figures, 0o777); err != nil {
		return fmt.Errorf("--figures %s: %w", o.figures, err)
	}
	for _, f := range figures {
		path := filepath.Join(o.figures, f.Name)
		if err := o.spares(inputs, path); err != nil {
			return err
		}
		err := atomicfile.Write(path, func(w io.Writer) error { _, err := f.WriteTo(w); return err })
		if err != nil {
			return err
		}
	}
	return nil
}

func (o reportOutput) sheet(c call, paths []string, rs study.ReportSettings) error {
	switch {
	case o.figures != "":
		return usage("--figures has nothing to write here: the sheet of one box has no pictures")
	case o.title != "":
		return usage("--title is for the page of a campaign: the sheet of one box is named by its box")
	case len(rs.By) > 0, rs.Bands != study.DefaultSettings().Bands, rs.On != study.DefaultSettings().On:
		return usage("--by, --bands and --on are for the page of a campaign: the sheet of one box has a row for each frequency, judged at its weakest")
	}
	var result *report.Sheet
	_, err := c.analyse(func(ctx context.Context, paths []string, s study.Settings) (_ *report.Document, err error) {
		rs.Settings = s
		result, err = study.BoxSheet(ctx, paths, rs)
		return nil, err
	}, paths, rs.Settings)
	if err != nil {
		return err
	}
	if err := o.spares(result.Account.Files, o.file); err != nil {
		return err
	}
	if err := c.place(o.file, func(w io.Writer) error { return report.SheetHTML(w, result) }); err != nil {
		return err
	}
	return o.tell(c, "Wrote "+o.file)
}

// tell says what was written, unless the page itself went to standard output.
func (o reportOutput) tell(c call, said string) error {
	if isStdout(o.file) {
		return nil
	}
	return put(c.stdout, texttab.Clean(said)+".\n")
}

// spares refuses to write over one of the files that were read.
func (o reportOutput) spares(inputs []report.File, path string) error {
	var rows []report.Input
	for _, in := range inputs {
		rows = append(rows, in.Input)
	}
	return output{file: path}.sparesInputs(rows)
}
