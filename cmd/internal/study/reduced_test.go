package study

import (
	"bytes"
	"context"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"sealbound/cmd/internal/report"
)

// packed writes what paths lead to into a file of that name in a folder of its own,
// side tables beside it, and returns the file.
func packed(t *testing.T, name string, reduce bool, s Settings, paths ...string) string {
	t.Helper()
	open := OpenPacking
	if reduce {
		open = OpenReducing
	}
	p, err := open(context.Background(), paths, s, name[strings.IndexByte(name, '.'):])
	if err != nil {
		t.Fatal(err)
	}
	defer p.Close()
	var b bytes.Buffer
	if err := p.Write(context.Background(), &b); err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	for _, side := range p.Beside {
		if err := os.WriteFile(filepath.Join(dir, side.Name+".csv"), []byte(side.Text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	file := filepath.Join(dir, name)
	if err := os.WriteFile(file, b.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
	return file
}

// TestReducedAgrees: judged by its closing-level table the demo gives the same mean,
// bounds, next closing, coverage and verdicts; what single points show is null.
func TestReducedAgrees(t *testing.T) {
	const demo = "../../../testdata/demo"
	for _, name := range []string{"d.parquet", "d.arrow", "d.csv", "d.csv.gz"} {
		file := packed(t, name, true, DefaultSettings(), demo)
		for _, allDates := range []bool{false, true} {
			s := DefaultSettings()
			s.AllDates = allDates
			full, err := Judge(context.Background(), []string{demo}, s)
			if err != nil {
				t.Fatal(err)
			}
			got, err := Judge(context.Background(), []string{filepath.Dir(file)}, s)
			if err != nil {
				t.Fatal(name, err)
			}
			if len(got.Judge) != len(full.Judge) {
				t.Fatalf("%s: %d rows, want %d", name, len(got.Judge), len(full.Judge))
			}
			for i := range got.Judge {
				agrees(t, name, &got.Judge[i], &full.Judge[i])
			}
		}
	}
}

func agrees(t *testing.T, name string, g, w *report.JudgeRow) {
	t.Helper()
	at := name + " " + w.Group[0].Value + ", " + w.Group[1].Value + ", " + w.Band.Name
	near := func(what string, a, b report.Number) {
		t.Helper()
		// The open repeats are given by their SD, so the last digits may differ.
		if (a == nil) != (b == nil) || a != nil && math.Abs(*a-*b) > 1e-9*max(1, math.Abs(*b)) {
			t.Errorf("%s: %s %v, want %v", at, what, shownNumber(a), shownNumber(b))
		}
	}
	near("mean", g.MeanDB, w.MeanDB)
	near("SD", g.SDDB, w.SDDB)
	near("SE", g.SEDB, w.SEDB)
	near("df", g.DF, w.DF)
	near("lower", g.LowerDB, w.LowerDB)
	near("upper", g.UpperDB, w.UpperDB)
	near("next", g.NextLowerDB, w.NextLowerDB)
	near("coverage", g.CoverageLowerDB, w.CoverageLowerDB)
	near("headroom", g.HeadroomDB, w.HeadroomDB)
	if g.Band != w.Band || g.Closings != w.Closings || g.Sessions != w.Sessions || g.Fittings != w.Fittings || g.Runs != w.Runs || g.ValidFor != w.ValidFor {
		t.Errorf("%s: %+v, want %+v", at, g, w)
	}
	if g.Verdict != w.Verdict || g.Verdicts.Next != w.Verdicts.Next || g.Verdicts.Coverage != w.Verdicts.Coverage || g.Verdicts.Mean != w.Verdicts.Mean {
		t.Errorf("%s: verdicts %+v, want %+v", at, g.Verdicts, w.Verdicts)
	}
	if g.Weakest != nil || g.LowestMean != nil || g.Lowest != nil || g.HeadroomLowDB != nil || g.Points != 0 || g.Verdicts.Weakest != "too few" {
		t.Errorf("%s: something is said of points that are not there: %+v", at, g)
	}
	if c := g.Censored; c != nil && (c.MeanDB != nil || c.Method != "no estimate") {
		t.Errorf("%s: an estimate from limited means: %+v", at, c)
	}
}

func shownNumber(n report.Number) any {
	if n == nil {
		return nil
	}
	return *n
}

// TestReducedSpeaksOfSpread: spread and wear agree where nothing was limited, and
// where something was they say that they cannot tell.
func TestReducedSpeaksOfSpread(t *testing.T) {
	const demo = "../../../testdata/demo"
	file := packed(t, "d.parquet", true, DefaultSettings(), demo)
	s := DefaultSettings()
	full, err := Spread(context.Background(), []string{demo}, s)
	if err != nil {
		t.Fatal(err)
	}
	got, err := Spread(context.Background(), []string{file}, s)
	if err != nil {
		t.Fatal(err)
	}
	same := 0
	for i := range got.Spread {
		g, w := &got.Spread[i], &full.Spread[i]
		if g.MeanDB == nil {
			if g.Reason == "" {
				t.Errorf("%v, %s: null without a reason", g.Group, g.Band.Name)
			}
			continue
		}
		same++
		if math.Abs(*g.MeanDB-*w.MeanDB) > 1e-9 || len(g.Components) != len(w.Components) {
			t.Errorf("%v, %s: %+v, want %+v", g.Group, g.Band.Name, g, w)
			continue
		}
		for k := range g.Components {
			if g.Components[k].Source != w.Components[k].Source || math.Abs(g.Components[k].VarianceDB2-w.Components[k].VarianceDB2) > 1e-6 {
				t.Errorf("%v, %s: %+v, want %+v", g.Group, g.Band.Name, g.Components[k], w.Components[k])
			}
		}
	}
	if same == 0 || same == len(got.Spread) {
		t.Errorf("%d of %d rows have a mean: the demo has limited closings in some", same, len(got.Spread))
	}
	wear, err := Wear(context.Background(), []string{file}, s)
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range wear.Wear {
		if row.Limited > 0 && row.Slope != nil {
			t.Errorf("%v, %s: a slope from limited means hides wear", row.Group, row.Band.Name)
		}
	}
}

// TestReducedAsAQueryMakesIt: the ten columns alone, bands of one's own.
func TestReducedAsAQueryMakesIt(t *testing.T) {
	text := "box,gasket,fitting,run,date,closing,band_lo_hz,band_hi_hz,atten_db,limited\n"
	for _, c := range []string{"1,100000000,200000000,60.5,false", "2,100000000,200000000,61.5,f", "3,100000000,200000000,61,", "1,30000000,300000000,70,false", "2,30000000,300000000,71,0", "3,30000000,300000000,72,no"} {
		text += "kettle,mesh,,r,2026-05-04," + c + "\n"
	}
	dir := t.TempDir()
	file := filepath.Join(dir, "x.csv")
	if err := os.WriteFile(file, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	for bands, want := range map[string]string{"itu": "VHF 100-200 MHz", "each": "VHF 100-200 MHz", "own=100-200": "own"} {
		s := DefaultSettings()
		s.Bands = bands
		doc, err := Judge(context.Background(), []string{file}, s)
		if err != nil {
			t.Fatal(err)
		}
		var names []string
		for _, row := range doc.Judge {
			names = append(names, row.Band.Name)
			if row.Band.LoHz == 1e8 && (*row.MeanDB != 61 || math.Abs(*row.SDDB-0.5) > 1e-12 || row.Closings != 3 || row.Limited != 0) {
				t.Errorf("--bands %s: %+v", bands, row)
			}
		}
		if got := strings.Join(names, " "); got != want {
			t.Errorf("--bands %s: %s, want %s", bands, got, want)
		}
	}
	if _, err := Report(context.Background(), []string{file}, ReportSettings{Settings: DefaultSettings()}); err == nil || !strings.Contains(err.Error(), "needs the readings") {
		t.Errorf("a report of means over bands: %v", err)
	}
	s := DefaultSettings()
	s.Average = "power"
	if _, err := Judge(context.Background(), []string{file}, s); err == nil || !strings.Contains(err.Error(), "means in dB") {
		t.Errorf("power of means in dB: %v", err)
	}
}

// TestReducedBesideReadings: boxes may be given in either form, side by side; one that
// is given in both is refused, since its closings share no point.
func TestReducedBesideReadings(t *testing.T) {
	readings := "run,date,box,gasket,closing,state,freq_mhz,level_dbm,floor_dbm\nA,2026-05-04,,,,open,100,-30,\n"
	for _, c := range []string{"1", "2", "3"} {
		readings += "A,2026-05-04,kettle,mesh," + c + ",closed,100,-9" + c + ",-130\n"
	}
	means := func(box string) string {
		text := "box,gasket,run,date,closing,band_lo_hz,band_hi_hz,atten_db,limited\n"
		for _, c := range []string{"4", "5"} {
			text += box + ",mesh,B,2026-05-05," + c + ",30000000,300000000,6" + c + ",false\n"
		}
		return text
	}
	for box, want := range map[string]string{"churn": "", "kettle": "share no point"} {
		dir := t.TempDir()
		for name, text := range map[string]string{"a.csv": readings, "b.csv": means(box)} {
			if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		doc, err := Judge(context.Background(), []string{dir}, DefaultSettings())
		if want != "" {
			if err == nil || !strings.Contains(err.Error(), want) {
				t.Errorf("both forms of one box: %v", err)
			}
			continue
		}
		if err != nil {
			t.Fatal(err)
		}
		for _, row := range doc.Judge {
			if mean := map[string]float64{"churn": 64.5, "kettle": 62}[row.Group[1].Value]; row.MeanDB == nil || *row.MeanDB != mean || (row.Weakest == nil) != (row.Group[1].Value == "churn") {
				t.Errorf("%+v", row)
			}
		}
		if len(doc.Judge) != 2 {
			t.Errorf("%d rows", len(doc.Judge))
		}
	}
}
