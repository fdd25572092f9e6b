package report

// The documents of the tests. All figures are made up, also where they look
// like results: the renderers compute nothing from them.

func num(x float64) Number { return &x }

func judged() *Document {
	return &Document{
		Version: "0.0.0", Command: "judge",
		Settings: []Setting{
			{"target_db", 50.0}, {"bands", "itu"}, {"by", []string{"gasket", "box"}},
			{"confidence", 0.95}, {"coverage", 0.9}, {"no_floor", false}, {"floor_dbm", nil}, {"seed", 1},
		},
		Inputs: []Input{
			{Path: "runs/2031-05-04.csv", Rows: 1212, Used: 1200, Skipped: 0, Blank: 12},
			{Path: "runs/2031-05-05.csv", Rows: 606, Used: 600, Skipped: 6, Blank: 0},
		},
		Headlines: []string{
			"Copper mesh in box 007: clears 50 dB in UHF (mean; smallest margin 11.8 dB, UHF). But the weakest point does not clear: 433.92 MHz in UHF (lower bound 48.3 dB).",
			"Rubber cord in box 007: falls short of 50 dB in UHF (mean).",
		},
		Judge: []JudgeRow{clear(), short(), few()},
		Notes: []string{
			"Run 2031-05-05 was left out: its open readings moved by 3.4 dB at 433.92 MHz, which is more than the 3 dB that --drift permits.",
			"The mean is at least the figure where readings are limited.",
		},
		Cautions: []string{"Transmitting needs a licence or an exemption.", "An empty box promises nothing."},
	}
}

func clear() JudgeRow {
	return JudgeRow{
		Group:  []Label{{"gasket", "copper mesh"}, {"box", "007"}},
		Band:   Band{"UHF", 3e8, 3e9},
		Points: 21, Boxes: 1, Fittings: 1, Sessions: 1, Runs: 1, Closings: 10, Limited: 3,
		Levels: []string{"visit+closing"}, ValidFor: "this strip in this box, this session",
		MeanDB: num(63.25), SDDB: num(2.5), SEDB: num(0.7905694150420949), DF: num(9), LowerDB: num(61.800), UpperDB: num(64.7),
		NextLowerDB: num(58.44), CoverageLowerDB: num(57.36), CoverageMethod: "exact noncentral t",
		Weakest:             &Weakest{FreqHz: 433.92e6, Position: "lid edge", MeanDB: 55.5, LowerDB: 48.25, TargetDB: 50, MarginDB: -1.75},
		LowestMean:          &LowestMean{FreqHz: 868.3e6, MeanDB: 54.1},
		Lowest:              &Lowest{AttenDB: 46.2, Limited: true, FreqHz: 868.3e6, Box: "007", Closing: "4", Date: "2031-05-04"},
		ClosingsBelowTarget: 2,
		Censored:            &Censored{MeanDB: num(64.0), SDDB: num(2.9), LowerDB: num(62.3), Method: "closing + point"},
		HeadroomDB:          num(74.1), HeadroomLowDB: num(70), TargetDB: num(50), MarginDB: num(11.8),
		On: "mean", Verdict: "clears", Verdicts: Verdicts{"clears", "undecided", "clears", "clears"},
	}
}

func short() JudgeRow {
	r := clear()
	r.Group = []Label{{"gasket", "rubber cord"}, {"box", "007"}}
	r.Limited, r.Closings = 0, 5
	r.MeanDB, r.SEDB, r.LowerDB, r.UpperDB = num(24.0), num(0.04), num(23.915), num(24.085)
	r.NextLowerDB, r.CoverageLowerDB, r.CoverageMethod = nil, nil, ""
	r.Weakest, r.Censored = nil, nil
	r.Lowest = &Lowest{AttenDB: 23.5, FreqHz: 315e6, Box: "007", Closing: "2"}
	r.ClosingsBelowTarget = 5
	r.MarginDB = num(-26.085)
	r.Verdict, r.Verdicts = "falls short", Verdicts{"falls short", "too few", "too few", "too few"}
	return r
}

func few() JudgeRow {
	return JudgeRow{
		Group:  []Label{{"gasket", "=cmd|'/c calc'!A1"}, {"box", "-5 <b>|_x_"}},
		Band:   Band{"UHF", 3e8, 3e9},
		Points: 21, Boxes: 1, Fittings: 1, Sessions: 1, Runs: 1, Closings: 1,
		Levels: []string{}, ValidFor: "this strip in this box, this session",
		TargetDB: num(50), On: "mean", Verdict: "too few", Verdicts: Verdicts{"too few", "too few", "too few", "too few"},
		Needed: &Needed{Unit: "closing", More: 4, Power: 0.8}, Reason: "one closing shows no spread",
	}
}

func checked() *Document {
	return &Document{
		Version: "0.0.0", Command: "check",
		Settings:  []Setting{{"floor_margin_db", 6.0}},
		Inputs:    []Input{{Path: "runs.csv", Rows: 9, Used: 6, Skipped: 2, Blank: 1}},
		Headlines: []string{"Not usable yet: 2 problems."},
		Check: []CheckRow{{
			Files: 1, Rows: 9, Runs: 1, Sessions: 1, Boxes: 1, Gaskets: 1, Closings: 2, Frequencies: 3, DriftDB: num(0.4),
			Problems: []Problem{
				{File: "runs.csv", Line: 4, Column: 17, Field: "level_dbm", Text: "-61,5", What: "is not a number", Mend: "write -61.5"},
				{File: "runs.csv", Line: 7, What: "has 6 cells where the header has 7", Mend: "add the missing cell"},
			},
		}},
		Notes: []string{"Run runs: the open readings moved by 0.4 dB at 868.3 MHz."},
	}
}
