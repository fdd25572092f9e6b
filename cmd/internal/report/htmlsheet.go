package report

import (
	"fmt"
	"html/template"
	"math"
	"strconv"
	"strings"
)

// sheetView is the sheet of one box, as its template reads it.
type sheetView struct {
	*Sheet
	Style    template.CSS
	Plate    []Fact
	Kind     string
	Result   string
	Table    *htmlTable
	Legend   string
	AllFacts []Fact
	Command  string
	// The files, or one digest for all where they are many.
	Files     []File
	Combined  string
	FileCount int
}

// sheetFiles is how many files a sheet lists.
const sheetFiles = 9

func (s *Sheet) view() *sheetView {
	v := &sheetView{Sheet: s, Style: pageStyle, Kind: verdictKind(s.Verdict), Result: strings.ToUpper(s.Verdict[:1]) + s.Verdict[1:], Table: s.table(), Command: "sealbound " + quoted(s.Account.Command)}
	add := func(name, value string) {
		if value != "" {
			v.Plate = append(v.Plate, Fact{name, value})
		}
	}
	add("Box", s.Box)
	add("Gasket", s.Gasket)
	add("Installed", s.Installed)
	add("Tested", strings.Join(s.Tested, ", "))
	add("Closings", fmt.Sprintf("%d in %s", s.Closings, counted(s.Sessions, "session")))
	add("Requirement", s.TargetText)
	v.AllFacts = append(v.AllFacts, s.Facts...)
	for _, r := range s.Setup {
		name := r.Field
		if r.Run != "" {
			name += " (run " + r.Run + ")"
		}
		v.AllFacts = append(v.AllFacts, Fact{name, r.Value})
	}
	v.Legend = "Margin: lower bound less requirement. Dynamic range: the most that the set-up can show. ≥: limited by the receiver’s floor, at least so much."
	v.Files, v.FileCount = s.Account.Files, len(s.Account.Files)
	if v.FileCount > sheetFiles {
		v.Files, v.Combined = nil, combined(s.Account.Files)
	}
	if s.Merged > 0 {
		v.Legend += fmt.Sprintf(" %d frequencies were tested; each row stands for neighbours and shows the worst of them.", s.Merged)
	}
	return v
}

func (s *Sheet) table() *htmlTable {
	heads := []string{"frequency, MHz", "worst place", "requirement, dB", "mean, dB", "lowest, dB", "lower bound, dB", "margin, dB", "dynamic range, dB", "result"}
	places := false
	for _, r := range s.Rows {
		places = places || r.Place != ""
	}
	t := &htmlTable{Caption: "Attenuation by frequency"}
	for i, h := range heads {
		if i != 1 || places {
			t.Heads = append(t.Heads, htmlHead{Text: h, Num: i != 1 && i != 8})
		}
	}
	for i := range s.Rows {
		r := &s.Rows[i]
		if n := len(t.Groups); n == 0 || t.Groups[n-1].Title != r.Part {
			t.Groups = append(t.Groups, htmlGroup{Title: r.Part})
		}
		d := r.Digits
		if r.MarginDB != nil {
			d = telling(*r.MarginDB, d)
		}
		frequency := megahertz(r.FreqHz)
		if r.LoHz != r.HiHz {
			frequency = roughMHz(r.FreqHz) + " (" + roughMHz(r.LoHz) + " to " + roughMHz(r.HiHz) + ")"
		}
		lowest := optional(r.LowestDB, r.Digits)
		if r.LowestLimited {
			lowest = "≥ " + lowest
		}
		margin := undefined
		if r.MarginDB != nil {
			margin = signed(*r.MarginDB, d)
		}
		want := undefined
		if r.TargetDB != nil {
			want = strconv.FormatFloat(*r.TargetDB, 'f', 1, 64)
		}
		row := []htmlCell{{Text: frequency, Head: true, Num: true}, {Text: nonEmptyDash(r.Place)}, {Text: want, Num: true},
			{Text: optional(r.MeanDB, r.Digits), Num: true}, {Text: lowest, Num: true}, {Text: optional(r.LowerDB, d), Num: true},
			{Text: margin, Num: true}, {Text: optional(r.HeadroomDB, r.Digits), Num: true}, {Text: r.Result, Kind: verdictKind(r.Result)}}
		if !places {
			row = append(row[:1], row[2:]...)
		}
		for k := range row {
			row[k].Label = t.Heads[k].Text
			if row[k].Num {
				row[k].Text = typeset(row[k].Text)
			}
		}
		g := &t.Groups[len(t.Groups)-1]
		g.Rows = append(g.Rows, row)
	}
	return t
}

// roughMHz is a frequency in MHz to four digits, for one among neighbours.
func roughMHz(hz float64) string {
	x := hz / 1e6
	return strconv.FormatFloat(x, 'f', max(0, 3-int(math.Floor(math.Log10(x)))), 64)
}

func nonEmptyDash(s string) string {
	if s == "" {
		return undefined
	}
	return s
}

// finite makes sure that every number of the sheet is one.
func (s *Sheet) finite() error {
	for _, r := range s.Rows {
		for _, n := range []Number{r.TargetDB, r.MeanDB, r.LowestDB, r.LowerDB, r.MarginDB, r.HeadroomDB} {
			if err := finiteValue(number(n)); err != nil {
				return fmt.Errorf("report: a level of the sheet %w", err)
			}
		}
	}
	return finiteValue(s.Confidence)
}
