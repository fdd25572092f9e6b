package study

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"sealbound/cmd/internal/report"
)

// worn asks wear about files and returns its rows, its JSON without folders, and notes.
func worn(t *testing.T, files map[string]string, change func(*Settings)) (*report.Document, string) {
	t.Helper()
	dir := t.TempDir()
	for name, content := range files {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(content), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	s := DefaultSettings()
	change(&s)
	doc, err := Wear(context.Background(), []string{dir}, s)
	if err != nil {
		t.Fatal(err)
	}
	var out bytes.Buffer
	if err := report.JSON(&out, doc); err != nil {
		t.Fatal(err)
	}
	return doc, strings.ReplaceAll(out.String(), dir, "")
}

// A test is one visit of a made-up campaign, of three closings.
type visitRow struct {
	date, box, gasket, installed, fitting string
	db                                    float64
}

func csvOf(visits []visitRow) string {
	var b strings.Builder
	b.WriteString("date,box,gasket,installed,fitting,closing,freq_mhz,atten_db\n")
	for i, v := range visits {
		for k, off := range []float64{-0.4, 0.1, 0.35} {
			wiggle := 0.05 * float64((i*7+k*3)%5) // so that no two closings agree
			fmt.Fprintf(&b, "%s,%s,%s,%s,%s,%d,100,%.2f\n", v.date, v.box, v.gasket, v.installed, v.fitting, k+1, v.db+off+wiggle)
		}
	}
	return b.String()
}

// yearly are tests of a box on the first of May of each year from 2018.
func yearlyTests(box string, installed string, db ...float64) (out []visitRow) {
	for i, x := range db {
		out = append(out, visitRow{date: fmt.Sprintf("%d-05-01", 2018+i), box: box, gasket: "wovenfelt", installed: installed, db: x})
	}
	return out
}

func noteWith(doc *report.Document, part string) bool {
	for _, n := range doc.Notes {
		if strings.Contains(n, part) {
			return true
		}
	}
	return false
}

// An event that renews the seal splits a history: the fall before it and the rise to
// the new strip are no slope of one strip, and both parts are reported.
func TestEventSplitsHistory(t *testing.T) {
	files := map[string]string{"runs.csv": csvOf(yearlyTests("osier", "", 66, 64.5, 63.2, 68, 66.4, 65.3))}
	whole, _ := worn(t, files, func(*Settings) {})
	files["events.csv"] = "date,box,event,text\n2020-10-01,osier,replaced,a new strip\n2019-01-01,osier,note,nothing\n"
	split, _ := worn(t, files, func(*Settings) {})
	a, b := whole.Wear[0], split.Wear[0]
	if a.Fittings != 1 || b.Fittings != 2 || len(a.Strips) != 1 || len(b.Strips) != 2 {
		t.Fatalf("%d and %d strips", a.Fittings, b.Fittings)
	}
	if *a.Slope < -0.3 || *b.Slope > -1 {
		t.Errorf("slope %v, split %v: about 0 over both strips, about -1.4 within each", *a.Slope, *b.Slope)
	}
	for i, want := range []report.WearStrip{{From: "2018-05-01", To: "2020-05-01"}, {From: "2021-05-01", To: "2023-05-01"}} {
		s := b.Strips[i]
		if s.From != want.From || s.To != want.To || s.Sessions != 3 || s.Box != "osier" || s.Slope == nil || *s.Slope > -1 || s.AgeFrom != 0 {
			t.Errorf("part %d: %+v", i+1, s)
		}
	}
	if *b.AgeYears > 2.1 { // the strip in use is the second
		t.Errorf("age now %v", *b.AgeYears)
	}
	if noteWith(split, "replaced since") {
		t.Error("the strip in use is said to be replaced")
	}
	// Another gasket since: its predecessor is not in use any more.
	later := append(yearlyTests("osier", "", 66, 64.5, 63.2), visitRow{date: "2022-05-01", box: "osier", gasket: "braidcord", db: 70})
	since, _ := worn(t, map[string]string{"runs.csv": csvOf(later)}, func(s *Settings) { s.Gasket = []string{"wovenfelt"} })
	if !noteWith(since, "replaced since") {
		t.Errorf("not said: %q", since.Notes)
	}
	// A strip named in the data splits likewise.
	tests := yearlyTests("osier", "", 66, 64.5, 63.2, 68, 66.4, 65.3)
	for i := range tests {
		tests[i].fitting = []string{"first", "second"}[i/3]
	}
	named, _ := worn(t, map[string]string{"runs.csv": csvOf(tests)}, func(*Settings) {})
	if r := named.Wear[0]; r.Fittings != 2 || *r.Slope != *b.Slope || r.Strips[1].Fitting != "second" {
		t.Errorf("%+v", r.Strips)
	}
}

// Age and calendar: told apart by strips of different days or a control box, else said.
func TestAgeOrCalendar(t *testing.T) {
	const note = "age and calendar cannot be told apart"
	one := append(yearlyTests("osier", "2018-01-01", 66, 65.2, 64.1), yearlyTests("alder", "2018-01-01", 64, 62.6, 62)...)
	doc, _ := worn(t, map[string]string{"runs.csv": csvOf(one)}, func(*Settings) {})
	if !noteWith(doc, note) {
		t.Errorf("not said: %q", doc.Notes)
	}
	other := append(yearlyTests("osier", "2018-01-01", 66, 65.2, 64.1), yearlyTests("alder", "2016-06-01", 64, 62.6, 62)...)
	doc, _ = worn(t, map[string]string{"runs.csv": csvOf(other)}, func(*Settings) {})
	if noteWith(doc, note) {
		t.Error("said of strips of different days")
	}
	if r := doc.Wear[0]; *r.AgeYears < 3.1 || *r.AgeYears > 3.2 || !noteWith(doc, "strips in use differ in age") {
		t.Errorf("age %v: the mean of 2.33 and 3.92 years", *r.AgeYears)
	}
	// A control box, whatever its gasket and whatever is chosen.
	shut := yearlyTests("vault", "2018-01-01", 70, 69.1, 68.2)
	for i := range shut {
		shut[i].gasket = "braidcord"
	}
	files := map[string]string{"runs.csv": csvOf(append(one, shut...)), "boxes.csv": "box,role\nvault,control\nosier,test\nalder,test\n"}
	for _, change := range []func(*Settings){
		func(*Settings) {},
		func(s *Settings) { s.Gasket = []string{"wovenfelt"} },
		func(s *Settings) { s.Box = []string{"osier", "alder"} },
	} {
		doc, _ = worn(t, files, change)
		if noteWith(doc, note) || len(doc.Wear) != 2 {
			t.Fatalf("%d rows, notes %q", len(doc.Wear), doc.Notes)
		}
		test, control := doc.Wear[0], doc.Wear[1]
		if test.Boxes != 2 || test.Against == nil || test.Against.Difference == nil {
			t.Fatalf("%+v", test.Against)
		}
		if !control.Control || control.Boxes != 1 || control.Group[1] != (report.Label{Field: "role", Value: "control"}) {
			t.Errorf("%+v", control.Group)
		}
		if d := *test.Against.Difference; d < -0.4 || d > 0.4 { // both fall by 0.9 dB a year
			t.Errorf("difference %v", d)
		}
	}
}

// Two tests: no slope; mean and bound are what judge says of the last test.
func TestTwoTestsAreTheLastOne(t *testing.T) {
	files := map[string]string{"runs.csv": csvOf(append(yearlyTests("osier", "", 66, 65.2), yearlyTests("alder", "", 64, 62.6)...))}
	doc, text := worn(t, files, func(*Settings) {})
	r := doc.Wear[0]
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "runs.csv"), []byte(files["runs.csv"]), 0o600); err != nil {
		t.Fatal(err)
	}
	s := DefaultSettings()
	s.By = []string{"gasket"}
	want, err := Judge(context.Background(), []string{dir}, s)
	if err != nil {
		t.Fatal(err)
	}
	j := want.Judge[0]
	if r.Slope != nil || r.Verdict != "too few" || *r.MeanNowDB != *j.MeanDB || *r.LowerNowDB != *j.LowerDB || r.Method != "mean of the last test" {
		t.Errorf("mean %v, lower %v; judge %v, %v", *r.MeanNowDB, *r.LowerNowDB, *j.MeanDB, *j.LowerDB)
	}
	if r.RetestBy != "2020-05-01" || r.CrossesOn != "" || r.CrossesAfter != "" || !strings.Contains(text, `"kendall":null`) && r.RankP == nil {
		t.Errorf("%+v", r)
	}
}

func TestAsOf(t *testing.T) {
	files := map[string]string{"runs.csv": csvOf(yearlyTests("osier", "2018-05-01", 66, 64.8, 64.1, 62.9))}
	day := func(s string) time.Time {
		d, err := time.Parse(time.DateOnly, s)
		if err != nil {
			t.Fatal(err)
		}
		return d
	}
	doc, _ := worn(t, files, func(*Settings) {})
	now := doc.Wear[0]
	doc, _ = worn(t, files, func(s *Settings) { s.AsOf = day("2022-05-01") })
	later := doc.Wear[0]
	if d := *later.MeanNowDB - (*now.MeanNowDB + *now.Slope*365/365.25); d > 1e-9 || d < -1e-9 {
		t.Errorf("a year on the mean is %v, from %v at %v a year", *later.MeanNowDB, *now.MeanNowDB, *now.Slope)
	}
	if later.LowerCrossesOn != now.LowerCrossesOn || later.CrossesOn != now.CrossesOn || later.RetestBy != now.RetestBy || *later.Slope != *now.Slope {
		t.Errorf("dates depend on the day that was asked for: %s and %s", later.LowerCrossesOn, now.LowerCrossesOn)
	}
	// Before the strip went in there is no mean.
	doc, _ = worn(t, files, func(s *Settings) { s.AsOf = day("2017-01-01") })
	if r := doc.Wear[0]; r.MeanNowDB != nil || r.LowerNowDB != nil || !strings.Contains(r.Reason, "no strip was in place") {
		t.Errorf("%+v", r)
	}
}

// The order of rows never shows.
func TestWearOrderOfRows(t *testing.T) {
	tests := append(yearlyTests("osier", "2018-01-01", 66, 65.2, 64.1), yearlyTests("alder", "2017-01-01", 64, 62.6, 62, 61.5)...)
	content := csvOf(tests)
	_, want := worn(t, map[string]string{"runs.csv": content}, func(*Settings) {})
	lines := strings.Split(strings.TrimSuffix(content, "\n"), "\n")
	rng := rand.New(rand.NewPCG(5, 5))
	rng.Shuffle(len(lines)-1, func(i, j int) { lines[i+1], lines[j+1] = lines[j+1], lines[i+1] })
	_, got := worn(t, map[string]string{"runs.csv": strings.Join(lines, "\n") + "\n"}, func(*Settings) {})
	if got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
}

// Closings without a date are left out and counted; none with one is an error.
func TestUndated(t *testing.T) {
	tests := yearlyTests("osier", "", 66, 65.2, 64.1)
	tests = append(tests, visitRow{box: "osier", gasket: "wovenfelt", db: 50})
	doc, _ := worn(t, map[string]string{"runs.csv": csvOf(tests)}, func(*Settings) {})
	if doc.Wear[0].Closings != 9 || !noteWith(doc, "closings without a date") {
		t.Errorf("%d closings, %q", doc.Wear[0].Closings, doc.Notes)
	}
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "runs.csv"), []byte(csvOf(tests[3:])), 0o600); err != nil {
		t.Fatal(err)
	}
	_, err := Wear(context.Background(), []string{dir}, DefaultSettings())
	var input *InputError
	if !errors.As(err, &input) || !strings.Contains(err.Error(), "wear needs dates") {
		t.Errorf("%v", err)
	}
}

// A signal 6 dB above the floor as the receiver shows it, noise and signal added in
// power, is itself 1.26 dB lower: 10 lg(10^0.6) - 10 lg(10^0.6 - 1), plain arithmetic.
func TestNoiseNearTheFloor(t *testing.T) {
	if got := addedNoise(6); math.Abs(got-1.2563) > 1e-4 {
		t.Errorf("6 dB above the floor: %.4f dB", got)
	}
	var levels strings.Builder
	levels.WriteString("run,date,box,gasket,closing,state,freq_mhz,level_dbm,floor_dbm\n")
	for year := range 5 {
		date := fmt.Sprintf("%d-05-01", 2018+year)
		fmt.Fprintf(&levels, "r%d,%s,,,,open,100,-30,\n", year, date)
		for k, off := range []float64{-0.4, 0.15, 0.35} {
			fmt.Fprintf(&levels, "r%d,%s,Larch,wovenfelt,%d,closed,100,%.2f,-100\n", year, date, k+1, -95.5+float64(year)+off)
		}
	}
	const note = "a receiver adds its own noise"
	for _, tt := range []struct {
		text   string
		margin float64
		want   bool
	}{
		{levels.String(), 6, true},
		{levels.String(), 10, false},
		{strings.ReplaceAll(csvOf(yearlyTests("Larch", "", 65.5, 64.5, 63.5, 62.5)), ",65.", ",>65."), 6, false}, // no floor to hold them against
	} {
		doc, _ := worn(t, map[string]string{"a.csv": tt.text}, func(s *Settings) { s.FloorMarginDB = tt.margin })
		if doc.Wear[0].Limited == 0 || noteWith(doc, note) != tt.want {
			t.Errorf("margin %g, %d limited: notes %q", tt.margin, doc.Wear[0].Limited, doc.Notes)
		}
	}
}
