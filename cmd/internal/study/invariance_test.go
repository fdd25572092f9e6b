package study

import (
	"bytes"
	"context"
	"encoding/csv"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"regexp"
	"runtime"
	"strconv"
	"strings"
	"testing"
	"time"

	madeup "sealbound/cmd/internal/campaign"
	"sealbound/cmd/internal/report"
)

// A table is a CSV file in memory.
type table struct {
	header []string
	rows   [][]string
}

// smallCampaign writes a made-up campaign as one file and returns it as a table.
func smallCampaign(t *testing.T) table {
	t.Helper()
	o := madeup.DefaultOptions()
	o.Boxes, o.Sessions, o.Closings, o.Frequencies, o.Products = 3, 3, 4, 9, 2
	o.LoMHz, o.HiMHz, o.EveryDay = 20, 5000, 30
	o.MeanDB, o.FloorDBM, o.MissingShare, o.DroppedShare = 66, -105, 0.02, 0.1
	o.Files = madeup.OneFile
	settings, layout, err := o.Settings()
	if err != nil {
		t.Fatal(err)
	}
	layout.Gain = true
	dir := t.TempDir()
	if err := madeup.Write(dir, settings, layout, false); err != nil {
		t.Fatal(err)
	}
	name := layout.Name
	if !strings.HasSuffix(name, ".csv") {
		name += ".csv"
	}
	data, err := os.ReadFile(filepath.Join(dir, name))
	if err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(bytes.NewReader(data)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return table{rows[0], rows[1:]}
}

func (x table) column(t *testing.T, name string) int {
	t.Helper()
	for i, h := range x.header {
		if h == name {
			return i
		}
	}
	t.Fatalf("no column %s in %v", name, x.header)
	return -1
}

// with returns a copy in which change has worked on every row.
func (x table) with(change func(row []string)) table {
	out := table{header: x.header}
	for _, r := range x.rows {
		r = append([]string(nil), r...)
		change(r)
		out.rows = append(out.rows, r)
	}
	return out
}

// judged writes the table to a file and returns the JSON of its judgement, without
// the parts that name the file.
func judged(t *testing.T, x table, change func(*Settings)) ([]report.JudgeRow, string) {
	t.Helper()
	var buf bytes.Buffer
	w := csv.NewWriter(&buf)
	if err := w.Write(x.header); err != nil {
		t.Fatal(err)
	}
	if err := w.WriteAll(x.rows); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "readings.csv")
	if err := os.WriteFile(path, buf.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	s := DefaultSettings()
	s.By = []string{"gasket"}
	change(&s)
	doc, err := Judge(context.Background(), []string{path}, s)
	if err != nil {
		t.Fatal(err)
	}
	var out bytes.Buffer
	if err := report.JSON(&out, doc); err != nil {
		t.Fatal(err)
	}
	return doc.Judge, strings.ReplaceAll(out.String(), filepath.Dir(path), "")
}

func asIs(*Settings) {}

func TestOrderNeverShows(t *testing.T) {
	x := smallCampaign(t)
	_, want := judged(t, x, asIs)
	if strings.Contains(want, "NaN") || strings.Contains(want, "Inf") {
		t.Error("the result holds a number that is none")
	}
	r := rand.New(rand.NewPCG(7, 7))
	for range 3 {
		shuffled := x.with(func([]string) {})
		r.Shuffle(len(shuffled.rows), func(i, j int) {
			shuffled.rows[i], shuffled.rows[j] = shuffled.rows[j], shuffled.rows[i]
		})
		if _, got := judged(t, shuffled, asIs); got != want {
			t.Fatal("shuffled rows changed the output: " + firstDifference(want, got))
		}
	}
	t.Run("columns", func(t *testing.T) {
		turned := table{}
		for i := len(x.header) - 1; i >= 0; i-- {
			turned.header = append(turned.header, strings.ToUpper(x.header[i]))
		}
		for _, row := range x.rows {
			var back []string
			for i := len(row) - 1; i >= 0; i-- {
				back = append(back, row[i])
			}
			turned.rows = append(turned.rows, back)
		}
		if _, got := judged(t, turned, asIs); got != want {
			t.Error("turned columns changed the output: " + firstDifference(want, got))
		}
	})
	t.Run("processors", func(t *testing.T) {
		old := runtime.GOMAXPROCS(1)
		_, one := judged(t, x, asIs)
		runtime.GOMAXPROCS(8)
		_, eight := judged(t, x, asIs)
		runtime.GOMAXPROCS(old)
		if one != want || eight != want {
			t.Error("the number of processors changed the output")
		}
	})
	t.Run("surroundings", func(t *testing.T) {
		zone := time.Local
		defer func() { time.Local = zone }()
		time.Local = time.FixedZone("far", -11*3600)
		t.Setenv("TZ", "Pacific/Kiritimati")
		t.Setenv("LC_ALL", "de_DE.UTF-8")
		if _, got := judged(t, x, asIs); got != want {
			t.Error("time zone or locale changed the output")
		}
	})
}

// What is common to open and closed cancels: common practice, no source.
func TestLevelsCancel(t *testing.T) {
	x := smallCampaign(t)
	level, gain, state := x.column(t, "level_dbm"), x.column(t, "gain_db"), x.column(t, "state")
	_, want := judged(t, x, asIs)
	for name, change := range map[string]func(row []string){
		"10 dB on every level": func(row []string) { row[level] = plus(t, row[level], 10) },
		"a recorded gain step on open readings": func(row []string) {
			if row[state] == "open" {
				row[level], row[gain] = plus(t, row[level], 13), plus(t, row[gain], 13)
			}
		},
		"a recorded gain step on closed readings and their floor": func(row []string) {
			if row[state] != "open" {
				row[level], row[gain] = plus(t, row[level], -20), plus(t, row[gain], -20)
			}
		},
	} {
		if _, got := judged(t, x.with(change), asIs); !sameNumbers(want, got) {
			t.Errorf("%s changed the result: %s", name, firstDifference(want, got))
		}
	}
}

// Seven dB on every attenuation move every bound by seven.
func TestShiftOfAttenuations(t *testing.T) {
	x := smallCampaign(t)
	level, state := x.column(t, "level_dbm"), x.column(t, "state")
	clear := func(s *Settings) { s.NoFloor, s.TargetDB = true, 200 }
	x = x.with(func(row []string) {
		if row[state] == "floor" {
			row[level] = "-300"
		}
	})
	before, _ := judged(t, x, clear)
	after, _ := judged(t, x.with(func(row []string) {
		if row[state] == "closed" {
			row[level] = plus(t, row[level], -7)
		}
	}), clear)
	for i := range before {
		a, b := before[i], after[i]
		for name, pair := range map[string][2]report.Number{
			"mean": {a.MeanDB, b.MeanDB}, "lower": {a.LowerDB, b.LowerDB}, "upper": {a.UpperDB, b.UpperDB},
			"next": {a.NextLowerDB, b.NextLowerDB}, "coverage": {a.CoverageLowerDB, b.CoverageLowerDB},
			"weakest": {&a.Weakest.LowerDB, &b.Weakest.LowerDB}, "lowest": {&a.Lowest.AttenDB, &b.Lowest.AttenDB},
		} {
			if pair[0] == nil || pair[1] == nil {
				t.Errorf("%s %s: %s is not defined", a.Group[0].Value, a.Band.Name, name)
				continue
			}
			if d := *pair[1] - *pair[0]; d < 7-1e-6 || d > 7+1e-6 {
				t.Errorf("%s %s: %s moved by %v", a.Group[0].Value, a.Band.Name, name, d)
			}
		}
	}
}

// plus adds to a level of two decimals without leaving the decimal grid.
func plus(t *testing.T, text string, db int) string {
	t.Helper()
	if text == "" {
		text = "0"
	}
	x, err := strconv.ParseFloat(text, 64)
	if err != nil {
		t.Fatal(err)
	}
	return fmt.Sprintf("%.2f", x+float64(db))
}

var numeral = regexp.MustCompile(`-?[0-9]+\.[0-9]+(e-?[0-9]+)?`)

// sameNumbers compares two outputs, numbers within 1e-9: levels are binary
// fractions, so a common shift may touch the last bit of a difference.
func sameNumbers(a, b string) bool {
	if numeral.ReplaceAllString(a, "#") != numeral.ReplaceAllString(b, "#") {
		return false
	}
	x, y := numeral.FindAllString(a, -1), numeral.FindAllString(b, -1)
	for i := range x {
		u, err1 := strconv.ParseFloat(x[i], 64)
		v, err2 := strconv.ParseFloat(y[i], 64)
		if err1 != nil || err2 != nil || math.Abs(u-v) > 1e-9 {
			return false
		}
	}
	return true
}

func firstDifference(a, b string) string {
	la, lb := strings.Split(a, ","), strings.Split(b, ",")
	for i := range min(len(la), len(lb)) {
		if la[i] != lb[i] {
			return fmt.Sprintf("%q against %q", la[i], lb[i])
		}
	}
	return "lengths differ"
}
