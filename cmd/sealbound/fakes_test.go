package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"sealbound/cmd/internal/report"
	"sealbound/cmd/internal/study"
)

// fakes is the program with made-up results in the place of analyses: the name
// of the first path says which.
func fakes() program {
	return program{judge: fakeJudge, check: fakeCheck, spread: fakeEmpty("spread"), wear: fakeEmpty("wear"), compare: fakeEmpty("compare")}
}

// fakeEmpty answers without a row.
func fakeEmpty(command string) analysis {
	return func(context.Context, []string, study.Settings) (*report.Document, error) {
		return &report.Document{Command: command}, nil
	}
}

func num(x float64) *float64 { return &x }

func fakeJudge(_ context.Context, paths []string, s study.Settings) (*report.Document, error) {
	doc := &report.Document{
		Version: s.Version, Command: "judge",
		Settings:  []report.Setting{{Name: "confidence", Value: s.Confidence}, {Name: "coverage", Value: s.Coverage}},
		Headlines: []string{"Foil in box 7: see the table."},
		Notes:     []string{"All figures are made up."},
	}
	for _, p := range paths {
		doc.Inputs = append(doc.Inputs, report.Input{Path: p, Rows: 3, Used: 2, Blank: 1})
	}
	verdict := map[string]string{
		"clears.csv": "clears", "short.csv": "falls short", "reach.csv": "out of reach", "open.csv": "undecided",
		"few.csv": "too few", "setup.csv": "clears in this set-up", "none.csv": "", "-": "clears",
	}
	name := filepath.Base(paths[0])
	if name == "-" {
		if os.Getenv(childVariable) != "" {
			fmt.Fprintln(os.Stderr, "reading")
		}
		if _, err := io.ReadAll(s.Stdin); err != nil {
			return nil, err
		}
	}
	switch name {
	case "stuck.csv":
		fmt.Fprintln(os.Stderr, "fitting")
		select {} // deaf to the context
	case "bad.csv":
		return nil, &study.InputError{Problems: problems(), Omitted: 3, Err: errors.New("unusable")}
	case "empty":
		return nil, &study.InputError{Err: errors.New("empty: the folder holds no CSV file; name another\n  runs there would end in .csv")}
	case "nan.csv":
		doc.Judge = []report.JudgeRow{{MeanDB: num(inf())}}
		return doc, nil
	case "norows.csv":
		return doc, nil
	case "field.csv":
		return nil, &study.UsageError{Flag: "by", Text: s.By[0], Allowed: "gasket, box and other columns"}
	}
	v := verdict[name]
	row := report.JudgeRow{
		Group: []report.Label{{Field: "gasket", Value: "foil"}, {Field: "box", Value: "7"}},
		Band:  report.Band{Name: "UHF", LoHz: 3e8, HiHz: 3e9}, Points: 3, Boxes: 1, Fittings: 1, Sessions: 1, Runs: 1, Closings: 5,
		Levels: []string{"closing"}, ValidFor: "this strip in this box, this session",
		MeanDB: num(60), SDDB: num(1), SEDB: num(0.5), DF: num(4), LowerDB: num(58.9), UpperDB: num(61.1),
		TargetDB: &s.TargetDB, MarginDB: num(8.9), On: s.On, Verdict: v,
		Verdicts: report.Verdicts{Mean: v, Weakest: "undecided", Coverage: v, Next: v},
	}
	other := row
	other.Group = []report.Label{{Field: "gasket", Value: "foil"}, {Field: "box", Value: "8"}}
	other.Verdict, other.Verdicts = "clears", report.Verdicts{Mean: "clears", Weakest: "clears", Coverage: "clears", Next: "clears"}
	doc.Judge = []report.JudgeRow{row, other}
	return doc, nil
}

func inf() float64 { var zero float64; return 1 / zero }

func problems() []report.Problem {
	return []report.Problem{
		{File: "bad.csv", Line: 4, Column: 9, Field: "level_dbm", Text: "-6l.5\x1b[2J", What: "is not a number", Mend: "write a number such as -61.5"},
		{File: "bad.csv", Line: 9, What: "has 6 cells where the header has 7", Mend: "add the missing cell"},
	}
}

func fakeCheck(_ context.Context, paths []string, s study.Settings) (*report.Document, error) {
	doc := &report.Document{
		Version: s.Version, Command: "check",
		Inputs: []report.Input{{Path: paths[0], Rows: 3, Used: 2, Blank: 1}},
		Check:  []report.CheckRow{{Files: 1, Rows: 3, Runs: 1, Sessions: 1, Boxes: 1, Gaskets: 1, Closings: 1, Frequencies: 1}},
	}
	if filepath.Base(paths[0]) == "bad.csv" {
		doc.Check[0].Problems = problems()
		return doc, &study.InputError{Problems: problems(), Err: errors.New("unusable")}
	}
	return doc, nil
}
