package study

import (
	"bytes"
	"context"
	"encoding/csv"
	"math/rand/v2"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"sealbound/cmd/internal/report"
)

// spreadOf writes a table to a file and returns its spread as JSON, without the parts
// that name the file and its lines.
func spreadOf(t *testing.T, x table, change func(*Settings)) ([]report.SpreadRow, string) {
	t.Helper()
	var buf bytes.Buffer
	w := csv.NewWriter(&buf)
	if err := w.Write(x.header); err != nil {
		t.Fatal(err)
	}
	if err := w.WriteAll(x.rows); err != nil {
		t.Fatal(err)
	}
	folder := t.TempDir()
	path := filepath.Join(folder, "readings.csv")
	if err := os.WriteFile(path, buf.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	s := DefaultSettings()
	s.ToleranceDB, s.Explain = 5, true
	change(&s)
	doc, err := Spread(context.Background(), []string{path}, s)
	if err != nil {
		t.Fatal(err)
	}
	var out bytes.Buffer
	if err := report.JSON(&out, doc); err != nil {
		t.Fatal(err)
	}
	text := strings.ReplaceAll(out.String(), folder, "")
	return doc.Spread, regexp.MustCompile(`"line":[0-9]+`).ReplaceAllString(text, "")
}

func TestOrderNeverShowsInSpread(t *testing.T) {
	x := smallCampaign(t)
	for name, change := range map[string]func(*Settings){"last test": asIs, "all dates": func(s *Settings) { s.AllDates = true }} {
		_, want := spreadOf(t, x, change)
		if strings.Contains(want, "NaN") || strings.Contains(want, "Inf") {
			t.Errorf("%s: the result holds a number that is none", name)
		}
		r := rand.New(rand.NewPCG(7, 7))
		for range 3 {
			shuffled := x.with(func([]string) {})
			r.Shuffle(len(shuffled.rows), func(i, j int) {
				shuffled.rows[i], shuffled.rows[j] = shuffled.rows[j], shuffled.rows[i]
			})
			if _, got := spreadOf(t, shuffled, change); got != want {
				t.Fatalf("%s: shuffled rows changed the output: %s", name, firstDifference(want, got))
			}
		}
	}
}

// A campaign of attenuations as such: box b in session s of a year, closings.
func attenuations(rows ...string) table {
	x := table{header: strings.Split("box,gasket,date,closing,freq_mhz,atten_db", ",")}
	for _, r := range rows {
		x.rows = append(x.rows, strings.Split(r, ","))
	}
	return x
}

// spreadFiles spreads files under a folder.
func spreadFiles(t *testing.T, files map[string]string, change func(*Settings)) *report.Document {
	t.Helper()
	folder := t.TempDir()
	for name, text := range files {
		if err := os.WriteFile(filepath.Join(folder, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	s := DefaultSettings()
	change(&s)
	doc, err := Spread(context.Background(), []string{folder}, s)
	if err != nil {
		t.Fatal(err)
	}
	return doc
}

// A control box stays shut: beside others it is left out, alone it is shown.
func TestControlBoxesInSpread(t *testing.T) {
	readings := "box,gasket,session,closing,freq_mhz,atten_db\n" +
		"a,foil,1,1,100,60\na,foil,1,2,100,61\na,foil,2,1,100,59\na,foil,2,2,100,60.5\n" +
		"b,foil,1,1,100,64\nb,foil,1,2,100,63\nb,foil,2,1,100,62\nb,foil,2,2,100,62.5\n" +
		"c,foil,1,1,100,90\nc,foil,2,1,100,89\n"
	files := map[string]string{"readings.csv": readings, "boxes.csv": "box,role\na,test\nb,test\nc,control\n"}
	doc := spreadFiles(t, files, asIs)
	if len(doc.Spread) != 1 || doc.Spread[0].Boxes != 2 || doc.Spread[0].Closings != 8 || *doc.Spread[0].MeanDB > 70 {
		t.Errorf("%+v", doc.Spread)
	}
	if notes := strings.Join(doc.Notes, "\n"); !strings.Contains(notes, "left out: control boxes") || !strings.Contains(notes, "2 readings of box c") {
		t.Errorf("notes: %s", notes)
	}
	doc = spreadFiles(t, files, func(s *Settings) { s.By = []string{"box"} })
	if len(doc.Spread) != 3 || doc.Spread[2].Closings != 2 || !strings.Contains(strings.Join(doc.Notes, "\n"), "control boxes alone") {
		t.Errorf("%+v\n%s", doc.Spread, strings.Join(doc.Notes, "\n"))
	}
}

// Years are pooled only if asked, and then wear is kept apart where it can be.
func TestYearsInSpread(t *testing.T) {
	var rows []string
	for y, date := range []string{"2030-05-04", "2031-05-03", "2032-05-01", "2033-05-07"} {
		for _, box := range []string{"a", "b"} {
			for c, db := range [][]string{{"66.1", "65.2", "65.9"}, {"64.0", "64.3", "63.1"}, {"62.2", "61.0", "61.9"}, {"60.0", "59.2", "59.4"}}[y] {
				rows = append(rows, strings.Join([]string{box, "foil", date, string(rune('1' + c)), "100", db}, ","))
			}
		}
	}
	// Two boxes that read alike to the digit would show no spread between them.
	for i := range rows {
		if i%5 == 1 && strings.HasPrefix(rows[i], "b") {
			rows[i] += "7"
		}
	}
	x := attenuations(rows...)
	last, _ := spreadOf(t, x, asIs)
	if last[0].Sessions != 1 || last[0].Closings != 6 {
		t.Errorf("the last test: %+v", last[0])
	}
	all, text := spreadOf(t, x, func(s *Settings) { s.AllDates = true })
	if all[0].Sessions != 4 || all[0].Closings != 24 || !strings.Contains(text, "wear over the years is kept apart") || !strings.Contains(text, "fitting_slope") {
		t.Errorf("all dates: %+v\n%s", all[0], text)
	}
	// Two dB a year are not taken for spread between days.
	if sd := all[0].ReproducibilitySDDB; sd == nil || *sd > 1 {
		t.Errorf("reproducibility %v", sd)
	}
}

// Without a known floor nothing is called repeatable, unless the user vouches for it.
func TestSpreadWithoutFloor(t *testing.T) {
	readings := "run,state,box,gasket,closing,freq_mhz,level_dbm\nr,open,,,,100,-20\n"
	for i, level := range []string{"-80", "-80.2", "-80.1", "-79.9", "-80.3", "-80.1"} {
		readings += "r,closed,a,foil," + string(rune('1'+i)) + ",100," + level + "\n"
	}
	files := map[string]string{"readings.csv": readings}
	tolerance := func(s *Settings) { s.ToleranceDB = 3 }
	doc := spreadFiles(t, files, tolerance)
	if r := doc.Spread[0]; r.Verdict != "undecided" || !strings.Contains(r.Undecided, "no floor is known") || !strings.Contains(strings.Join(doc.Notes, "\n"), "no floor known") {
		t.Errorf("%+v\n%s", r, strings.Join(doc.Notes, "\n"))
	}
	doc = spreadFiles(t, files, func(s *Settings) { tolerance(s); s.NoFloor = true })
	if r := doc.Spread[0]; r.Verdict != "repeatable" {
		t.Errorf("%+v", r)
	}
}
