package main

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"
)

type wornRow struct {
	Group                     map[string]string
	Band                      struct{ Name string }
	Boxes, Fittings, Sessions int
	Limited                   int
	Method                    *string
	SpanYears                 *float64 `json:"span_years"`
	InterceptDB               *float64 `json:"intercept_db"`
	Slope                     *float64 `json:"slope_db_per_year"`
	SlopeSE                   *float64 `json:"slope_se"`
	SlopeDF                   *float64 `json:"slope_df"`
	SlopeLower                *float64 `json:"slope_lower"`
	SlopeUpper                *float64 `json:"slope_upper"`
	P                         *float64 `json:"p_value"`
	Components                []struct {
		Source   string
		Variance float64 `json:"variance_db2"`
	}
	LogLikelihood     *float64 `json:"log_likelihood"`
	AsOf              *string  `json:"as_of"`
	AgeYears          *float64 `json:"age_years"`
	MeanNowDB         *float64 `json:"mean_now_db"`
	LowerNowDB        *float64 `json:"lower_now_db"`
	CrossesOn         *string  `json:"crosses_on"`
	CrossesAfter      *string  `json:"crosses_after"`
	LowerCrossesOn    *string  `json:"lower_crosses_on"`
	LowerCrossesAfter *string  `json:"lower_crosses_after"`
	RetestBy          *string  `json:"retest_by"`
	Kendall           *struct{ S, P *float64 }
	TheilSen          *float64 `json:"theil_sen_db_per_year"`
	Verdict           string
	Reason            *string
	Control           *struct {
		Boxes      int
		Difference *float64 `json:"difference_db_per_year"`
	}
}

// worn writes files and asks wear about them.
func worn(t *testing.T, files map[string]string, flags ...string) []wornRow {
	t.Helper()
	dir := t.TempDir()
	for name, content := range files {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(content), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	var stdout, stderr bytes.Buffer
	args := append([]string{"sealbound", "wear", dir, "--format", "json"}, flags...)
	if code := run(args, strings.NewReader(""), &stdout, &stderr); code != 0 {
		t.Fatalf("exit %d: %s", code, stderr.String())
	}
	var doc struct{ Results []wornRow }
	if err := json.Unmarshal(stdout.Bytes(), &doc); err != nil {
		t.Fatal(err)
	}
	return doc.Results
}

// yearsPerDay makes a day of the study four years, which have a whole number of days.
const (
	yearsPerDay = 4
	daysPerDay  = 1461
)

// sleepstudy is the study of sleep deprivation (Belenky and others 2003; data set of
// lme4): subjects stand for boxes, each day of the study for four years, 500 ms less the
// reaction time for dB. Every reading has a session of its own, as the published models
// have no effect of the day.
func sleepstudy(t *testing.T) map[string]string {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "..", "testdata", "reference", "data", "f_sleepstudy_ris.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	b.WriteString("session,date,box,gasket,closing,freq_mhz,atten_db\n")
	for _, row := range rows[1:] {
		days, err := strconv.Atoi(row[1])
		if err != nil {
			t.Fatal(err)
		}
		fmt.Fprintf(&b, "%s-%s,%s,%s,wovenfelt,1,100,%s\n", row[2], row[1], sleepDate(float64(days)), row[2], row[0])
	}
	return map[string]string{"sleep.csv": b.String()}
}

// sleepDate is the date that stands for a day of the study.
func sleepDate(day float64) string {
	return time.Date(1960, 1, 1, 0, 0, 0, 0, time.UTC).AddDate(0, 0, int(math.Floor(day*daysPerDay))).Format(time.DateOnly)
}

func at(t *testing.T, what string, got *string, want string) {
	t.Helper()
	if got == nil || *got != want {
		g := "null"
		if got != nil {
			g = *got
		}
		t.Errorf("%s is %s, want %s", what, g, want)
	}
}

func (r wornRow) variance(source string) *float64 {
	for _, c := range r.Components {
		if c.Source == source {
			return &c.Variance
		}
	}
	return nil
}

// Strips that wear each at its own rate. Balanced data: slope, standard errors and df
// are those of case f_sleepstudy_ris (lme4 1.1.31, lmerTest 3.1.3), which correlates
// level and slope as the bounds of the mean here do; variances and log-likelihood are
// of lme4 1.1.31, lmer(y ~ Days + (1|Subject) + (0+I(Days-4.5)|Subject)), R 4.2.2.
func TestSleepstudyByCommand(t *testing.T) {
	rows := worn(t, sleepstudy(t), "--target", "100")
	if len(rows) != 1 {
		t.Fatalf("%d rows", len(rows))
	}
	r := rows[0]
	if r.Boxes != 18 || r.Fittings != 18 || r.Sessions != 180 || r.Limited != 0 || r.Verdict != "wears" {
		t.Errorf("%+v", r)
	}
	within(t, "span", r.SpanYears, 9*yearsPerDay, 1e-9)
	within(t, "intercept", r.InterceptDB, 248.59489515151418, 1e-6)
	within(t, "slope", r.Slope, -10.467285959595833/yearsPerDay, 1e-8)
	within(t, "se", r.SlopeSE, 1.5457888962947246/yearsPerDay, 1e-6)
	within(t, "df", r.SlopeDF, 17, 1e-4)
	within(t, "p", r.P, 3.263788071332318e-06, 1e-9)
	within(t, "lower", r.SlopeLower, -13.156350720682298/yearsPerDay, 1e-5)
	within(t, "upper", r.SlopeUpper, (-10.467285959595833-(-13.156350720682298)-10.467285959595833)/yearsPerDay, 1e-5)
	within(t, "variance of boxes", r.variance("box+fitting"), 1408.7299, 1e-3)
	within(t, "variance of slopes", r.variance("fitting_slope"), 35.07166/yearsPerDay/yearsPerDay, 1e-5)
	within(t, "residual variance", r.variance("session+visit+closing"), 654.94104, 1e-3)
	within(t, "log-likelihood", r.LogLikelihood, -1753.54884123/2-math.Log(yearsPerDay), 1e-6) // |X'V^-1 X| has the unit of age
	within(t, "age", r.AgeYears, 9*yearsPerDay, 1e-9)
	within(t, "mean now", r.MeanNowDB, 154.3893215151517, 1e-6)
	within(t, "lower now", r.LowerNowDB, 128.94098713884364, 1e-4)
	at(t, "as of", r.AsOf, sleepDate(9))
	at(t, "mean crosses", r.CrossesOn, sleepDate((248.59489515151418-100)/10.467285959595833))
	at(t, "lower bound crosses", r.LowerCrossesOn, sleepDate(11.242072505414962))
	if r.CrossesAfter != nil || r.LowerCrossesAfter != nil {
		t.Error("a crossing has a date and a horizon")
	}
	at(t, "retest", r.RetestBy, "1997-01-01") // a year after the last test, before any crossing
	// At the day of the crossing the bound is the target, whatever the date asked for.
	rows = worn(t, sleepstudy(t), "--target", "100", "--as-of", sleepDate(11.242072505414962), "--interval", "20")
	within(t, "bound on the day of its crossing", rows[0].LowerNowDB, 100, 0.02) // of a begun day
	at(t, "retest", rows[0].RetestBy, sleepDate(11.242072505414962))
}

// All alike: case f_sleepstudy_ri, lme4 1.1.31 and lmerTest 3.1.3. The mean's degrees
// of freedom are kept below the 18 boxes here: its bound is the reference's standard
// error with t(0.95; 17) = 1.739607.
func TestSleepstudyCommonSlope(t *testing.T) {
	r := worn(t, sleepstudy(t), "--target", "100", "--slopes", "common")[0]
	within(t, "slope", r.Slope, -10.467285959596085/yearsPerDay, 1e-8)
	within(t, "se", r.SlopeSE, 0.80422142909943284/yearsPerDay, 1e-7)
	within(t, "df", r.SlopeDF, 161, 2e-3)
	within(t, "p", r.P, 6.4126013697379232e-27, 1e-30)
	within(t, "lower", r.SlopeLower, -11.797768224127527/yearsPerDay, 1e-6)
	within(t, "variance of boxes", r.variance("box+fitting"), 1378.178508418504, 1e-2)
	within(t, "residual variance", r.variance("session+visit+closing"), 960.4565789287592, 1e-3)
	within(t, "log-likelihood", r.LogLikelihood, -893.23254269745996-math.Log(yearsPerDay), 1e-6)
	within(t, "mean now", r.MeanNowDB, 154.38932151515445, 1e-6)
	within(t, "lower now", r.LowerNowDB, 154.38932151515445-1.739607*9.7467162542091739, 1e-3)
	// The bound meets the target where b0 + b1 t - 1.739607 se(t) = 100.
	low, high := 9.0, 27.0
	for range 100 {
		mid := (low + high) / 2
		se := math.Sqrt(9.7467162542092058*9.7467162542092058 + 2*mid*-2.9104744816023387 + mid*mid*0.80422142909943284*0.80422142909943284)
		if 248.59489515151921-10.467285959596085*mid-1.7396067*se > 100 {
			low = mid
		} else {
			high = mid
		}
	}
	at(t, "lower bound crosses", r.LowerCrossesOn, sleepDate(low))
}

// One strip, one closing a session: case f_synthetic_ageing6, a straight line by least
// squares (R 4.2.2: lm, predict, uniroot). A year of the case stands for four.
func TestAgeingSeriesByCommand(t *testing.T) {
	f, err := os.Open(filepath.Join("..", "..", "testdata", "reference", "data", "f_synthetic_ageing6.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	b.WriteString("date,box,gasket,installed,closing,freq_mhz,atten_db\n")
	for _, row := range rows[1:] {
		year, err := strconv.Atoi(row[0])
		if err != nil {
			t.Fatal(err)
		}
		fmt.Fprintf(&b, "%s,osier,wovenfelt,%s,1,100,%s\n", sleepDate(float64(year)), sleepDate(0), row[1])
	}
	files := map[string]string{"a.csv": b.String()}
	r := worn(t, files)[0]
	within(t, "slope", r.Slope, -0.6142857142857163/yearsPerDay, 1e-9)
	within(t, "se", r.SlopeSE, 0.14465534925479626/yearsPerDay, 1e-8)
	within(t, "df", r.SlopeDF, 4, 1e-6)
	within(t, "upper", r.SlopeUpper, -0.3059026728519199/yearsPerDay, 1e-8)
	within(t, "p", r.P, 0.013194381764645713, 1e-7)
	within(t, "residual variance", r.variance("session+visit+closing"), 0.605136741729069*0.605136741729069, 1e-7)
	within(t, "lower now", r.LowerNowDB, 59.21394302302437, 1e-6)
	within(t, "Kendall's S", r.Kendall.S, -11, 0)
	within(t, "exact p", r.Kendall.P, 0.05555555555555555, 1e-12)
	within(t, "Theil-Sen", r.TheilSen, -0.7/yearsPerDay, 1e-9)
	if r.Verdict != "wears" {
		t.Errorf("verdict %q", r.Verdict)
	}
	// The mean crosses 50 dB after 21.52 years and its bound after 15.12, both beyond the
	// horizon of 5 + 2 x 5: neither is dated.
	at(t, "mean crosses after", r.CrossesAfter, sleepDate(15))
	at(t, "bound crosses after", r.LowerCrossesAfter, sleepDate(15))
	if r.CrossesOn != nil || r.LowerCrossesOn != nil {
		t.Error("dated beyond the horizon")
	}
	// The bound of the mean at 7.5 years is a target that it meets then.
	r = worn(t, files, "--target", "56.982525187196295")[0]
	at(t, "bound crosses", r.LowerCrossesOn, sleepDate(7.5))
	// And of the next closing.
	r = worn(t, files, "--target", "56.53365320043623", "--on", "next", "--interval", "50")[0]
	at(t, "bound of the next closing crosses", r.LowerCrossesOn, sleepDate(7.5))
	at(t, "retest", r.RetestBy, sleepDate(7.5))
	// A bound below the target at the last test: due now.
	r = worn(t, files, "--target", "59.5")[0]
	at(t, "retest of a bound below the target", r.RetestBy, sleepDate(5))
}

// Three yearly tests never show a trend by rank: the least p is 2/3! (two orders
// of six).
func TestThreeYearsByRank(t *testing.T) {
	r := worn(t, map[string]string{"a.csv": "date,box,gasket,closing,freq_mhz,atten_db\n" +
		"2020-01-01,osier,wovenfelt,1,100,70\n2021-01-01,osier,wovenfelt,1,100,66\n2022-01-01,osier,wovenfelt,1,100,62.1\n"})[0]
	within(t, "p by rank", r.Kendall.P, 1.0/3, 1e-12)
	within(t, "df", r.SlopeDF, 1, 1e-9)
}

// The demo campaign against what its simulation put in (truth.json): the wear of each
// conductive gasket lies within the bounds of its slope, and of the steepest one in one
// box it is found.
func TestDemoAgainstItsTruth(t *testing.T) {
	data, err := os.ReadFile(filepath.Join("..", "..", "testdata", "demo", "truth.json"))
	if err != nil {
		t.Fatal(err)
	}
	var truth struct {
		Products []struct {
			Gasket string
			Wear   float64 `json:"wear_db_per_year"`
		}
		Fittings []struct {
			Box, Gasket, Installed string
			Slope                  float64 `json:"slope_db_per_year"`
		}
	}
	if err := json.Unmarshal(data, &truth); err != nil {
		t.Fatal(err)
	}
	ask := func(flags ...string) []wornRow {
		var stdout, stderr bytes.Buffer
		args := append([]string{"sealbound", "wear", filepath.Join("..", "..", "testdata", "demo"), "--format", "json"}, flags...)
		if code := run(args, strings.NewReader(""), &stdout, &stderr); code != 0 {
			t.Fatalf("exit %d: %s", code, stderr.String())
		}
		var doc struct{ Results []wornRow }
		if err := json.Unmarshal(stdout.Bytes(), &doc); err != nil {
			t.Fatal(err)
		}
		return doc.Results
	}
	checked := 0
	for _, r := range ask() {
		if r.Slope == nil {
			continue
		}
		want := 0.0 // of a control box, whose strip does not wear
		for _, p := range truth.Products {
			if p.Gasket == r.Group["gasket"] && r.Group["role"] == "" {
				want = p.Wear
			}
		}
		if *r.SlopeLower > want || *r.SlopeUpper < want {
			t.Errorf("%v %s: truth %v, bounds %v and %v", r.Group, r.Band.Name, want, *r.SlopeLower, *r.SlopeUpper)
		}
		checked++
	}
	if checked < 12 {
		t.Errorf("%d rows with a slope", checked)
	}
	for _, r := range ask("--box", "Osmere", "--gasket", "greyfleece cloth", "--bands", "HF=3-30,VHF=30-300") {
		if r.Group["role"] != "" {
			continue
		}
		for _, f := range truth.Fittings {
			if f.Box == "Osmere" && f.Gasket == "greyfleece cloth" && (r.Verdict != "wears" || *r.SlopeLower > f.Slope || *r.SlopeUpper < f.Slope) {
				t.Errorf("%s: %s, truth %v, bounds %v and %v", r.Band.Name, r.Verdict, f.Slope, *r.SlopeLower, *r.SlopeUpper)
			}
		}
	}
}
