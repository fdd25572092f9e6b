package study

import (
	"context"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"

	"sealbound/cmd/internal/report"
)

const demoFolder = "../../../testdata/demo"

func demoReport(t *testing.T, s Settings) *report.Campaign {
	t.Helper()
	c, err := Report(context.Background(), []string{demoFolder}, ReportSettings{Settings: s, Command: []string{"report"}})
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// A report says what the commands say: one reading for all questions changes nothing.
func TestReportAgreesWithTheCommands(t *testing.T) {
	s := DefaultSettings()
	c := demoReport(t, s)
	ctx, paths := context.Background(), []string{demoFolder}
	s.By = []string{"gasket"}
	judge, err := Judge(ctx, paths, s)
	if err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(c.Judge, judge) {
		t.Error("the judgement differs")
	}
	pooled := s
	pooled.AllDates = true
	spread, err := Spread(ctx, paths, pooled)
	if err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(c.Spread.Doc, spread) {
		t.Error("the spread differs")
	}
	wear, err := Wear(ctx, paths, s)
	if err != nil {
		t.Fatal(err)
	}
	for i := range c.Wear.Doc.Wear { // the pictures are the report's own
		c.Wear.Doc.Wear[i].Trend = nil
		for k := range wear.Wear[i].Components { // no page shows bounds of the SDs, and a report leaves them out
			x := &wear.Wear[i].Components[k]
			x.SDLowerDB, x.SDUpperDB = nil, nil
		}
	}
	if !reflect.DeepEqual(c.Wear.Doc, wear) {
		t.Error("wear differs")
	}
	s.By = nil
	compare, err := Compare(ctx, paths, s)
	if err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(c.Compare.Doc.Compare, compare.Compare) {
		t.Error("the comparison differs")
	}
	s.By = []string{"gasket", "box"}
	boxes, err := Judge(ctx, paths, s)
	if err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(c.ByBox, boxes) {
		t.Error("the judgement of boxes differs")
	}
}

// The curves hold every reading of the rows they stand beside, and their mean over
// the points of a band is that of the row where nothing is missing.
func TestCurves(t *testing.T) {
	c := demoReport(t, DefaultSettings())
	if len(c.Curves) != 4 {
		t.Fatalf("%d groups drawn, want 4", len(c.Curves))
	}
	k := 0
	for _, set := range c.Curves {
		for _, band := range set.Bands {
			row := c.Judge.Judge[k]
			k++
			if row.Band != band || row.Closings != set.Closings {
				t.Fatalf("%v of %d closings beside %v of %d", band, set.Closings, row.Band, row.Closings)
			}
			limited, sum, n, low := 0, 0.0, 0, math.Inf(1)
			for _, line := range set.Lines {
				for i, at := range line.At {
					if hz := set.FreqHz[at]; hz <= band.LoHz || hz > band.HiHz {
						continue
					}
					sum, n, low = sum+line.DB[i], n+1, min(low, line.DB[i])
					if line.Limited != nil && line.Limited[i] {
						limited++
					}
				}
			}
			if limited != row.Limited || low != row.Lowest.AttenDB {
				t.Errorf("%v %s: %d limited and lowest %v, the row has %d and %v", set.Group, band.Name, limited, low, row.Limited, row.Lowest.AttenDB)
			}
			if n != row.Points*row.Closings {
				continue
			}
			if row.Boxes == 5 && math.Abs(sum/float64(n)-*row.MeanDB) > 0.2 { // five boxes of five closings, one of four
				t.Errorf("%v %s: the readings average %v, the row %v", set.Group, band.Name, sum/float64(n), *row.MeanDB)
			}
		}
	}
	if k != len(c.Judge.Judge) {
		t.Errorf("%d rows drawn of %d", k, len(c.Judge.Judge))
	}
}

// FIPS 180-4, the examples of SHA-256: the digest of "abc".
func TestDigest(t *testing.T) {
	path := filepath.Join(t.TempDir(), "abc")
	if err := os.WriteFile(path, []byte("abc"), 0o600); err != nil {
		t.Fatal(err)
	}
	got, err := digest(path)
	if want := "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"; err != nil || got != want {
		t.Errorf("%q, %v, want %q", got, err, want)
	}
	d := &digests{}
	r := d.listen(strings.NewReader("abc"))
	if _, err := r.Read(make([]byte, 2)); err != nil {
		t.Fatal(err)
	}
	if _, err := r.Read(make([]byte, 2)); err != nil {
		t.Fatal(err)
	}
	if got := fmt.Sprintf("%x", d.stdin.Sum(nil)); got != "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad" {
		t.Errorf("standard input: %s", got)
	}
	if got, err := digest(t.TempDir()); err != nil || got != "" {
		t.Errorf("a folder has the digest %q, %v", got, err)
	}
}

// sheetOf makes the sheet of box b from a CSV.
func sheetOf(t *testing.T, csv string, change func(*Settings)) *report.Sheet {
	t.Helper()
	s := DefaultSettings()
	s.Box, s.Stdin = []string{"b"}, strings.NewReader(csv)
	if change != nil {
		change(&s)
	}
	sheet, err := BoxSheet(context.Background(), []string{"-"}, ReportSettings{Settings: s})
	if err != nil {
		t.Fatal(err)
	}
	return sheet
}

// Five closings at two places: at the worse of them the bound is mean - t s/sqrt(n),
// t(0.95, 4) = 2.131847 (R 4.2.2, qt). By hand: latch 55, 56, 57, 58, 59 has mean 57
// and s 1.581139, so the bound is 55.4926; hinge is 3 dB higher.
func TestSheetByHand(t *testing.T) {
	csv := "box,gasket,closing,freq_mhz,position,atten_db\n"
	for i := range 5 {
		csv += fmt.Sprintf("b,g,%d,100,latch,%d\nb,g,%d,100,hinge,%d\n", i+1, 55+i, i+1, 58+i)
	}
	for _, tt := range []struct {
		target float64
		result string
	}{{50, report.Pass}, {55.49, report.Pass}, {55.50, report.Inconclusive}, {62, report.Fail}} {
		sheet := sheetOf(t, csv, func(s *Settings) { s.TargetDB, s.NoFloor = tt.target, true })
		if len(sheet.Rows) != 1 {
			t.Fatalf("%d rows", len(sheet.Rows))
		}
		r := sheet.Rows[0]
		if r.Place != "latch" || *r.MeanDB != 57 || *r.LowestDB != 55 || math.Abs(*r.LowerDB-55.49256) > 1e-5 || math.Abs(*r.MarginDB-(55.49256-tt.target)) > 1e-5 {
			t.Errorf("place %s, mean %v, lowest %v, lower %v, margin %v", r.Place, *r.MeanDB, *r.LowestDB, *r.LowerDB, *r.MarginDB)
		}
		if r.Result != tt.result || sheet.Verdict != tt.result {
			t.Errorf("target %v: %s, overall %s, want %s", tt.target, r.Result, sheet.Verdict, tt.result)
		}
	}
}

// What the set-up could not show is beyond its range, whatever the readings are.
func TestSheetBeyondRange(t *testing.T) {
	csv := "box,gasket,closing,state,freq_mhz,level_dbm\n"
	for _, f := range []int{100, 200} {
		floor := -100
		if f == 200 {
			floor = -60
		}
		csv += fmt.Sprintf(",,,open,%d,-20\nb,g,,floor,%d,%d\n", f, f, floor)
		for i := range 5 {
			csv += fmt.Sprintf("b,g,%d,closed,%d,%d\n", i+1, f, max(floor+i%2, -80-i))
		}
	}
	sheet := sheetOf(t, csv, nil)
	if len(sheet.Rows) != 2 || sheet.Rows[0].Result != report.Pass || sheet.Rows[1].Result != report.BeyondRange || sheet.Verdict != report.BeyondRange {
		t.Errorf("%+v, overall %s", sheet.Rows, sheet.Verdict)
	}
	if r := sheet.Rows[1]; !r.LowestLimited || r.HeadroomDB == nil || *r.HeadroomDB != 34 { // -20 - -60 - 6
		t.Errorf("dynamic range %v, limited %v", r.HeadroomDB, r.LowestLimited)
	}
	if !strings.Contains(sheet.Sentence, "at 1 of 2 frequencies") {
		t.Errorf("%q", sheet.Sentence)
	}
}

// Many frequencies are merged so that no row hides the worst of them.
func TestMerged(t *testing.T) {
	var rows []report.SheetRow
	for i := range 100 {
		margin, low := 5+float64(i%7), 50+float64(i%11)
		r := report.SheetRow{LoHz: float64(i + 1), HiHz: float64(i + 1), FreqHz: float64(i + 1), MarginDB: &margin, LowestDB: &low, HeadroomDB: &low, Result: report.Pass}
		if i == 33 {
			r.Result = report.Fail
		}
		if i == 66 {
			r.MarginDB, r.Result = nil, report.Inconclusive
		}
		rows = append(rows, r)
	}
	got := merged(rows, 18)
	if len(got) > 18 || got[0].LoHz != 1 || got[len(got)-1].HiHz != 100 {
		t.Fatalf("%d rows from %v to %v", len(got), got[0].LoHz, got[len(got)-1].HiHz)
	}
	end := 0.0
	for _, m := range got {
		if m.LoHz != end+1 {
			t.Errorf("a row begins at %v after %v", m.LoHz, end)
		}
		end = m.HiHz
		low := math.Inf(1)
		for _, r := range rows[int(m.LoHz)-1 : int(m.HiHz)] {
			low = min(low, *r.LowestDB)
			if slices.Index(severity, r.Result) < slices.Index(severity, m.Result) {
				t.Errorf("a row says %s where one of it is %s", m.Result, r.Result)
			}
			if m.MarginDB != nil && r.MarginDB != nil && m.Result == report.Pass && *r.MarginDB < *m.MarginDB {
				t.Errorf("a margin of %v hides one of %v", *m.MarginDB, *r.MarginDB)
			}
		}
		if *m.LowestDB != low || *m.HeadroomDB != low {
			t.Errorf("lowest %v and dynamic range %v, want %v", *m.LowestDB, *m.HeadroomDB, low)
		}
	}
}

// The reference before and after, the gain and the floor come from the readings: by
// hand, the end lies 0.2 dB below the start at 100 MHz and 0.6 dB at 200 MHz.
func TestRig(t *testing.T) {
	csv := `run,date,box,gasket,closing,sweep,state,freq_mhz,level_dbm,gain_db,receiver
r1,2024-05-01,,,,end,open,100,-30.2,0,HX
r1,2024-05-01,,,,end,open,200,-31.6,0,HX
r1,2024-05-01,,,,start,open,100,-30.0,0,HX
r1,2024-05-01,,,,start,open,200,-31.0,0,HX
r1,2024-05-01,b,g,,,floor,100,-80,20,HX
r1,2024-05-01,b,g,,,floor,200,-82,20,HX
`
	for i := range 5 {
		csv += fmt.Sprintf("r1,2024-05-01,b,g,%d,,closed,100,%d,20,HX\nr1,2024-05-01,b,g,%d,,closed,200,%d,20,HX\n", i+1, -70-i, i+1, -71-i)
	}
	facts := map[string]string{}
	sheet := sheetOf(t, csv, nil)
	for _, f := range sheet.Facts {
		facts[f.Name] = f.Value
	}
	for name, want := range map[string]string{
		"Open reference, run r1, 2024-05-01": "start −31.0 to −30.0 dBm; end −31.6 to −30.2 dBm; end less start: −0.4 dB on average, at most −0.6 dB, at 200 MHz",
		"Gain before the receiver":           "open 0 dB; closed 20 dB; floor 20 dB",
		"Receiver’s floor, as received":      "−82.0 to −80.0 dBm",
		"Gain steps":                         "gain or generator level changed, and is accounted for, in 1 run",
		"Receiver":                           "HX",
	} {
		if facts[name] != want {
			t.Errorf("%s: %q, want %q", name, facts[name], want)
		}
	}
	if sheet.Tested[0] != "2024-05-01" || sheet.Closings != 5 {
		t.Errorf("tested %v, %d closings", sheet.Tested, sheet.Closings)
	}
}

// A question that the data do not answer is left with its reason.
func TestReportWithoutDates(t *testing.T) {
	s := DefaultSettings()
	s.Stdin = strings.NewReader("box,gasket,closing,freq_mhz,atten_db\nb,g,1,100,60\nb,g,2,100,61\nb,g,3,100,62\n")
	c, err := Report(context.Background(), []string{"-"}, ReportSettings{Settings: s})
	if err != nil {
		t.Fatal(err)
	}
	if c.Wear.Doc != nil || !strings.Contains(c.Wear.Why, "dates") {
		t.Errorf("wear: %+v", c.Wear)
	}
	if c.Judge == nil || len(c.Judge.Judge) != 1 || len(c.Account.Files) != 1 || len(c.Account.Files[0].SHA256) != 64 {
		t.Errorf("%+v", c.Account.Files)
	}
}
