package main

import (
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"sealbound/cmd/internal/report"
)

type spreadRow struct {
	Boxes, Fittings, Sessions, Closings int
	MeanDB                              *float64 `json:"mean_db"`
	Components                          []struct {
		Source    string
		Variance  float64  `json:"variance_db2"`
		SD        float64  `json:"sd_db"`
		SDLowerDB *float64 `json:"sd_lower_db"`
		SDUpperDB *float64 `json:"sd_upper_db"`
		Share     float64
	}
	RepeatabilitySDDB      *float64 `json:"repeatability_sd_db"`
	ReproducibilitySDDB    *float64 `json:"reproducibility_sd_db"`
	UnitSDDB               *float64 `json:"unit_sd_db"`
	RepeatabilityLimitDB   *float64 `json:"repeatability_limit_db"`
	ReproducibilityLimitDB *float64 `json:"reproducibility_limit_db"`
	LogLikelihood          *float64 `json:"log_likelihood"`
	Outliers               []struct {
		Kind  string
		Where struct {
			Box, File    string
			Run, Closing *string
			Line         int
		}
		Statistic, Critical float64
	}
	Verdict, Reason *string
}

// spreadReadings writes readings to a file and spreads them.
func spreadReadings(t *testing.T, readings string, flags ...string) (rows []spreadRow, raw string) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "readings.csv")
	if err := os.WriteFile(path, []byte(readings), 0o600); err != nil {
		t.Fatal(err)
	}
	var stdout, stderr bytes.Buffer
	args := append([]string{"sealbound", "spread", path, "--format", "json"}, flags...)
	if code := run(args, strings.NewReader(""), &stdout, &stderr); code != done {
		t.Fatalf("exit %d: %s", code, stderr.String())
	}
	var doc struct{ Results []spreadRow }
	if err := json.Unmarshal(stdout.Bytes(), &doc); err != nil {
		t.Fatal(err)
	}
	return doc.Results, stdout.String()
}

// referenceRows reads a file of testdata/reference/data, without its header.
func referenceRows(t *testing.T, name string) [][]string {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "..", "testdata", "reference", "data", name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return rows[1:]
}

// Dyestuff (Davies & Goldsmith 1972, section 6.4; data set of lme4 1.1.31): six
// batches, five yields each; yields, less 1400, stand for dB. As sessions of one strip
// the batches are the laboratories of ISO 5725-2: mean squares 11271.50 and 2451.25,
// so s_L^2 = 1764.05, s_r = 49.5101, s_R = 64.9253 (R 4.2.2, case g_dyestuff_iso of
// testdata/reference); log-likelihood by REML -159.8271384 (lme4, case c_dyestuff).
func TestDyestuffSpread(t *testing.T) {
	var b strings.Builder
	b.WriteString("session,box,gasket,closing,freq_mhz,atten_db\n")
	for i, row := range referenceRows(t, "c_dyestuff.csv") {
		yield, err := strconv.ParseFloat(row[0], 64)
		if err != nil {
			t.Fatal(err)
		}
		fmt.Fprintf(&b, "%s,osier,wovenfelt,%d,100,%g\n", row[1], i%5+1, yield-1400)
	}
	r, _ := spreadReadings(t, b.String())
	if len(r) != 1 || r[0].Boxes != 1 || r[0].Sessions != 6 || r[0].Closings != 30 || len(r[0].Components) != 2 {
		t.Fatalf("%+v", r)
	}
	x := r[0]
	if x.Components[0].Source != "session+visit" || x.Components[1].Source != "closing" {
		t.Errorf("components %+v", x.Components)
	}
	within(t, "mean", x.MeanDB, 127.5, 1e-7)
	within(t, "s_L^2", &x.Components[0].Variance, 1764.05, 1e-4)
	within(t, "s_r^2", &x.Components[1].Variance, 2451.25, 1e-4)
	within(t, "s_r", x.RepeatabilitySDDB, 49.51009997970111, 1e-6)
	within(t, "s_R", x.ReproducibilitySDDB, 64.92534173957038, 1e-6)
	within(t, "r", x.RepeatabilityLimitDB, 138.6282799431631, 1e-5)
	within(t, "R", x.ReproducibilityLimitDB, 181.79095687079706, 1e-5)
	within(t, "log-likelihood", x.LogLikelihood, -159.82713842112923, 1e-7)
	within(t, "share", &x.Components[0].Share, 0.4184874148933648, 1e-7)
	// Exact for one level: s_r sqrt(24/chi2), chi2 at 24 degrees of freedom 36.41503 and
	// 13.84843 (any table; R 4.2.2, qchisq).
	within(t, "s_r, lower", x.Components[1].SDLowerDB, 49.5101*math.Sqrt(24/36.41503), 1e-3)
	within(t, "s_r, upper", x.Components[1].SDUpperDB, 49.5101*math.Sqrt(24/13.84843), 1e-3)
	if x.UnitSDDB != nil || x.Reason == nil || !strings.Contains(*x.Reason, "one box only") {
		t.Errorf("one box: %v, %v", x.UnitSDDB, x.Reason)
	}
	if len(x.Outliers) != 0 || x.Verdict != nil {
		t.Errorf("outliers %+v, verdict %v", x.Outliers, x.Verdict)
	}
}

// Pastes (Davies & Goldsmith 1972, table 6.3; data set of lme4 1.1.31): ten batches as
// boxes, three casks of each as strips, two strengths as closings. Expected: lme4 (case
// c_pastes_nested of testdata/reference); balanced, so the same as by mean squares.
func TestPastesSpread(t *testing.T) {
	var b strings.Builder
	b.WriteString("box,gasket,fitting,session,closing,freq_mhz,atten_db\n")
	for i, row := range referenceRows(t, "c_pastes_nested.csv") {
		fmt.Fprintf(&b, "%s,wovenfelt,%s,one,%d,100,%s\n", row[1], row[2], i%2+1, row[0])
	}
	r, _ := spreadReadings(t, b.String(), "--all-dates")
	if len(r) != 1 || r[0].Boxes != 10 || r[0].Fittings != 30 || r[0].Closings != 60 {
		t.Fatalf("%+v", r)
	}
	x := r[0]
	for i, want := range []struct {
		source          string
		variance, share float64
	}{{"box", 1.657308641975266, 0.15389659595981198}, {"fitting+visit", 8.433666666666712, 0.7831447677198026}, {"closing", 0.678, 0.0629586363203854}} {
		if x.Components[i].Source != want.source {
			t.Fatalf("components %+v", x.Components)
		}
		within(t, want.source, &x.Components[i].Variance, want.variance, 1e-5)
		within(t, want.source+" share", &x.Components[i].Share, want.share, 1e-6)
	}
	within(t, "repeatability", x.RepeatabilitySDDB, 0.8234075540095561, 1e-6)
	within(t, "limit", x.RepeatabilityLimitDB, 2.305541151226757, 1e-6)
	within(t, "log-likelihood", x.LogLikelihood, -123.49537292674188, 1e-7)
	if x.ReproducibilitySDDB != nil || x.UnitSDDB != nil {
		t.Errorf("one session tells nothing of days, nor of strips without their visit: %v, %v", x.ReproducibilitySDDB, x.UnitSDDB)
	}
}

// NIST/SEMATECH e-Handbook 1.3.5.17.1: eight values, of which 245.57 stands out with G =
// 2.46876461; the critical value here is that of both sides, 2.1266 (R 4.2.2).
func TestHandbookOutlier(t *testing.T) {
	readings := "run,session,box,gasket,closing,freq_mhz,atten_db\n"
	for i, x := range []string{"199.31", "199.53", "245.57", "200.19", "200.82", "201.92", "201.95", "202.18"} {
		readings += fmt.Sprintf("R1,one,osier,wovenfelt,%d,100,%s\n", i+1, x)
	}
	r, _ := spreadReadings(t, readings)
	if len(r) != 1 || len(r[0].Outliers) != 1 {
		t.Fatalf("%+v", r)
	}
	o := r[0].Outliers[0]
	if o.Kind != "Grubbs closing" || o.Where.Box != "osier" || o.Where.Run == nil || *o.Where.Run != "R1" ||
		o.Where.Closing == nil || *o.Where.Closing != "3" || o.Where.Line != 4 || filepath.Base(o.Where.File) != "readings.csv" {
		t.Errorf("%+v", o)
	}
	within(t, "G", &o.Statistic, 2.46876461, 1e-8)
	within(t, "critical", &o.Critical, 2.1266, 5e-5)
	if r[0].Closings != 8 {
		t.Errorf("an outlier was removed: %d closings", r[0].Closings)
	}
}

// Names and order of the JSON are stable; what is undefined is null.
func TestSpreadNames(t *testing.T) {
	_, raw := spreadReadings(t, "box,gasket,closing,freq_mhz,atten_db\nosier,wovenfelt,1,100,60\n", "--tolerance", "3")
	at := strings.Index(raw, `{"group"`)
	names := []string{"group", "band", "boxes", "fittings", "sessions", "closings", "mean_db", "components", "repeatability_sd_db",
		"reproducibility_sd_db", "unit_sd_db", "repeatability_limit_db", "reproducibility_limit_db", "log_likelihood", "outliers", "verdict", "reason", "se_db", "more"}
	for _, name := range names {
		next := strings.Index(raw[at:], `"`+name+`":`)
		if next < 0 {
			t.Fatalf("%s is missing, or stands before its place, in %s", name, raw)
		}
		at += next
	}
	for _, part := range []string{`"components":[]`, `"repeatability_sd_db":null`, `"log_likelihood":null`, `"outliers":[]`, `"verdict":"too few"`, "one closing shows no spread"} {
		if !strings.Contains(raw, part) {
			t.Errorf("%s is not in %s", part, raw)
		}
	}
}

// For a spreadsheet a line stands for each component.
func TestSpreadLines(t *testing.T) {
	readings := "box,session,gasket,closing,freq_mhz,atten_db\n"
	for i, x := range []string{"60", "61.5", "58", "59", "64", "63", "62", "62.5", "57", "58", "59.5", "59"} {
		readings += fmt.Sprintf("b%d,s%d,foil,%d,100,%s\n", i/4, i/2%2, i%2+1, x)
	}
	var stdout, stderr bytes.Buffer
	if code := run([]string{"sealbound", "spread", "-", "--format", "csv"}, strings.NewReader(readings), &stdout, &stderr); code != done {
		t.Fatal(stderr.String())
	}
	rows, err := csv.NewReader(&stdout).ReadAll()
	if err != nil || len(rows) != 5 {
		t.Fatalf("%d lines, %v", len(rows), err)
	}
	var sources []string
	for _, row := range rows[1:] {
		for i, name := range rows[0] {
			switch {
			case name == "component_source":
				sources = append(sources, row[i])
			case name == "repeatability_sd_db" && row[i] != rows[1][i]:
				t.Errorf("%s differs between the lines of one result", name)
			}
		}
	}
	if got := strings.Join(sources, " "); got != "box+fitting session visit closing" {
		t.Errorf("lines for %s", got)
	}
}

// A figure that is none is never written, wherever it stands in a row.
func TestSpreadNeverWritesNaN(t *testing.T) {
	for name, row := range map[string]report.SpreadRow{
		"component": {Components: []report.SpreadComponent{{SDDB: math.NaN()}}},
		"outlier":   {Outliers: []report.SpreadOutlier{{Statistic: math.Inf(1)}}},
		"more":      {More: []report.SpreadMore{{SEDB: num(math.NaN())}}},
		"number":    {MeanDB: num(math.NaN())},
	} {
		doc := &report.Document{Command: "spread", Spread: []report.SpreadRow{row}}
		for format, write := range map[string]func(*bytes.Buffer) error{
			"json": func(b *bytes.Buffer) error { return report.JSON(b, doc) },
			"csv":  func(b *bytes.Buffer) error { return report.CSV(b, doc, b) },
			"text": func(b *bytes.Buffer) error { return report.Text(b, doc, 100) },
		} {
			var b bytes.Buffer
			if err := write(&b); err == nil || b.Len() > 0 {
				t.Errorf("%s in %s: written %q, %v", name, format, b.String(), err)
			}
		}
	}
}

// Fewer flags than judge, and a requirement that needs its tolerance.
func TestSpreadUse(t *testing.T) {
	for args, want := range map[string]int{
		"--require repeatable x.csv":                         wrongUse,
		"--require mean --tolerance 3 x.csv":                 wrongUse,
		"--tolerance 0 x.csv":                                wrongUse,
		"--on mean x.csv":                                    wrongUse,
		"--target 50 x.csv":                                  wrongUse,
		"--require repeatable --tolerance 300 testdata/demo": notCleared, // the floor hides what the highest bands would show
		"--require repeatable --tolerance 300 --bands hf=3-30 testdata/demo":        done,
		"--require repeatable --tolerance 0.01 --bands hf=3-30 testdata/demo":       notCleared,
		"--by gasket,box --on reproducibility --tolerance 2 testdata/demo":          done,
		"--all-dates --by box --bands all --explain --confidence 0.5 testdata/demo": done,
	} {
		t.Run(args, func(t *testing.T) {
			t.Chdir("../..")
			var stdout, stderr bytes.Buffer
			p := realProgram()
			if code := p.run(call{context.Background(), strings.NewReader(""), &stdout, &stderr}, append([]string{"sealbound", "spread"}, strings.Fields(args)...)); code != want {
				t.Errorf("exit %d, want %d: %s", code, want, stderr.String())
			}
			if want == wrongUse && stdout.Len() > 0 {
				t.Errorf("wrong use printed %s", stdout.String())
			}
		})
	}
}
