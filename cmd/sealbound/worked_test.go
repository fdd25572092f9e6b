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
)

// Published worked examples through the command line: file in, JSON out.

type workedRow struct {
	Points, Boxes, Closings int
	Levels                  []string
	ValidFor                string   `json:"valid_for"`
	MeanDB                  *float64 `json:"mean_db"`
	SDDB                    *float64 `json:"sd_db"`
	SEDB                    *float64 `json:"se_db"`
	DF                      *float64 `json:"df"`
	LowerDB                 *float64 `json:"lower_db"`
	NextLowerDB             *float64 `json:"next_lower_db"`
	CoverageLowerDB         *float64 `json:"coverage_lower_db"`
	Verdict                 string
	Reason                  *string
	HeadroomDB              *float64 `json:"headroom_db"`
	Lowest                  *struct {
		AttenDB float64 `json:"atten_db"`
		Limited bool
	}
}

// judgeReadings writes the readings to a file and judges them.
func judgeReadings(t *testing.T, readings string, flags ...string) []workedRow {
	t.Helper()
	path := filepath.Join(t.TempDir(), "readings.csv")
	if err := os.WriteFile(path, []byte(readings), 0o600); err != nil {
		t.Fatal(err)
	}
	var stdout, stderr bytes.Buffer
	args := append([]string{"sealbound", "judge", path, "--format", "json"}, flags...)
	if code := run(args, strings.NewReader(""), &stdout, &stderr); code != 0 {
		t.Fatalf("exit %d: %s", code, stderr.String())
	}
	var doc struct{ Results []workedRow }
	if err := json.Unmarshal(stdout.Bytes(), &doc); err != nil {
		t.Fatal(err)
	}
	return doc.Results
}

func within(t *testing.T, what string, got *float64, want, tol float64) {
	t.Helper()
	if got == nil || math.Abs(*got-want) > tol {
		g := "undefined"
		if got != nil {
			g = fmt.Sprint(*got)
		}
		t.Errorf("%s = %s, want %v within %v", what, g, want, tol)
	}
}

// NIST/SEMATECH e-Handbook 7.2.6.3: n = 43, mean 97.07, s 0.0268, coverage 0.90 at
// confidence 0.99. The handbook's k1 of 1.8752 is approximate; exact, by integration
// with 30 digits (mpmath 1.3.0), it is 1.87395. The handbook gives no raw data:
// these 43 values have its mean and standard deviation.
func TestHandbookToleranceBound(t *testing.T) {
	var b strings.Builder
	b.WriteString("box,gasket,closing,freq_mhz,atten_db\n")
	// 21 pairs at mean -+ d and one at the mean: s^2 = 42 d^2/42.
	for i := range 43 {
		v := 97.07
		switch {
		case i < 21:
			v += 0.0268
		case i < 42:
			v -= 0.0268
		}
		fmt.Fprintf(&b, "osier,wovenfelt,%d,100,%.4f\n", i+1, v)
	}
	r := judgeReadings(t, b.String(), "--confidence", "0.99", "--coverage", "0.90")
	if len(r) != 1 {
		t.Fatalf("%d rows", len(r))
	}
	within(t, "mean", r[0].MeanDB, 97.07, 1e-9)
	within(t, "s", r[0].SDDB, 0.0268, 1e-9)
	within(t, "coverage bound", r[0].CoverageLowerDB, 97.07-1.87395*0.0268, 2e-7)
}

// Dyestuff (Davies & Goldsmith 1972, table 6.1; data set of lme4): six batches as
// boxes, five yields each as closings. Expected: lme4 1.1.31 and lmerTest 3.1.3
// (case c_dyestuff of testdata/reference). Yields, less 1400,
// stand for dB here.
func TestDyestuffByCommand(t *testing.T) {
	f, err := os.Open(filepath.Join("..", "..", "testdata", "reference", "data", "c_dyestuff.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	b.WriteString("box,gasket,closing,freq_mhz,atten_db\n")
	for i, row := range rows[1:] {
		yield, err := strconv.ParseFloat(row[0], 64)
		if err != nil {
			t.Fatal(err)
		}
		fmt.Fprintf(&b, "%s,wovenfelt,%d,100,%g\n", row[1], i%5+1, yield-1400)
	}
	r := judgeReadings(t, b.String(), "--by", "gasket", "--target", "80")
	if len(r) != 1 || r[0].Boxes != 6 || r[0].Closings != 30 {
		t.Fatalf("%+v", r)
	}
	within(t, "mean", r[0].MeanDB, 127.5, 1e-7)
	within(t, "se", r[0].SEDB, math.Sqrt(11271.5/30), 1e-5) // balanced: MSB/30
	within(t, "df", r[0].DF, 5, 1e-4)
	within(t, "lower", r[0].LowerDB, 127.5-2.015048373*math.Sqrt(11271.5/30), 1e-3) // t(0.95; 5)
	within(t, "sd", r[0].SDDB, math.Sqrt(1764.05+2451.25), 1e-3)
	if r[0].Verdict != "clears in this set-up" || r[0].ValidFor != "new boxes with this gasket" {
		t.Errorf("%q, valid for %q", r[0].Verdict, r[0].ValidFor)
	}
}

// From levels to attenuation: common practice, no source.
func TestLevelsToAttenuation(t *testing.T) {
	for _, tt := range []struct {
		open, closed string
		want         float64
	}{{"-31", "-59", 28}, {"-31", "-105", 74}, {"-31", "-81", 50}} {
		readings := "run,state,box,gasket,closing,freq_mhz,level_dbm,floor_dbm\n" +
			"a,open,,,,433.92," + tt.open + ",\n" +
			"a,closed,osier,wovenfelt,1,433.92," + tt.closed + ",-120\n"
		r := judgeReadings(t, readings)
		within(t, "open "+tt.open+" closed "+tt.closed, r[0].MeanDB, tt.want, 1e-9)
		// One closing: the attenuation, no bound, what is needed, what the set-up can show.
		if r[0].LowerDB != nil || r[0].Verdict != "too few" || r[0].Reason == nil {
			t.Errorf("one closing: %+v", r[0])
		}
		within(t, "headroom", r[0].HeadroomDB, -31+120-6, 1e-9)
	}
}
