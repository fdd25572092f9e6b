package ingest

import (
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/array"
)

// A sampled level is one reading of a sample.
type sampled struct {
	hz, level float64
	limited   bool
	sweep     string
}

// sampleFolders are where the files of samples.tsv lie; those of networks serve the
// package of the format too.
var sampleFolders = map[string]string{"traces": "testdata/traces", "networks": "touchstone/testdata/samples"}

// testSample is a file of samples.tsv, by its name there.
func testSample(t *testing.T, name string) string {
	t.Helper()
	kind, file, _ := strings.Cut(name, "/")
	b, err := os.ReadFile(filepath.Join(sampleFolders[kind], file))
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// sample reads a file of samples.tsv through a runs.csv that lists it as a floor.
func sample(t *testing.T, file, profile string) ([]sampled, result) {
	t.Helper()
	header, row := "file,state", filepath.Base(file)+",floor"
	for _, c := range strings.Fields(profile) {
		column, value, _ := strings.Cut(c, "=")
		header, row = header+","+column, row+",\""+value+"\""
	}
	dir := folder(t, map[string]string{"runs.csv": header + "\n" + row + "\n", filepath.Base(file): testSample(t, file)})
	var levels []sampled
	res := readVisiting(t, DefaultOptions(), func(r *Run) { levels = append(levels, levelsOf(r)...) }, dir)
	return levels, res
}

// Facts of the open Touchstone standard, versions 1.1 and 2.0, from memory; the
// package of the format checks them against an outside reader. The level is 20 log10
// of the magnitude that the file gives S21.
func TestListedNetworks(t *testing.T) {
	const header = "[Version] 2.0\n# MHz S MA R 50\n[Number of Ports] 2\n[Number of Frequencies] 1\n"
	const row = "30 0.9 0 0.01 5 0.1 6 0.8 0\n"
	for _, tt := range []struct {
		name, file, text string
		hz, want         float64
		refused          string
	}{
		{"defaults: GHz S MA R 50", "a.s2p", "#\n1 0.9 0 0.01 0 0.1 0 0.8 0\n", 1e9, -40, ""},
		{"two ports: S21 is the second pair", "a.s2p", "# MHz S MA R 75\n" + row, 30e6, -40, ""},
		{"noise behind", "a.s2p", "# MHz S MA R 50\n" + row + "10 1 0.5 30 0.2\n20 1 0.5 30 0.2\n", 30e6, -40, ""},
		{"order 21_12", "a.ts", header + "[Two-Port Data Order] 21_12\n[Network Data]\n" + row + "[End]\n", 30e6, -40, ""},
		{"order 12_21", "a.ts", header + "[Two-Port Data Order] 12_21\n[Network Data]\n" + row + "[End]\n", 30e6, -20, ""},
		{"no order", "a.ts", header + "[Network Data]\n" + row + "[End]\n", 0, 0, "[Two-Port Data Order] is missing"},
		{"four ports, row by row", "a.s4p", "# MHz S MA R 50\n30 0.9 0 0.2 0 0.2 0 0.2 0\n0.001 0 0.9 0 0.2 0 0.2 0\n0.2 0 0.2 0 0.9 0 0.2 0\n0.2 0 0.2 0 0.2 0 0.9 0\n", 30e6, -60, ""},
		{"one port: S11", "a.s1p", "# Hz S RI R 50\n30 0.06 0.08\n", 30, -20, ""},
		{"admittances", "a.s2p", "# MHz Y MA R 50\n" + row, 0, 0, "Y are admittance parameters"},
		{"five ports", "a.s5p", "# MHz S MA R 50\n", 0, 0, "a network of 5 ports"},
	} {
		dir := folder(t, map[string]string{"runs.csv": "file,state\n" + tt.file + ",floor\n", tt.file: tt.text})
		var levels []sampled
		res := readVisiting(t, DefaultOptions(), func(r *Run) { levels = append(levels, levelsOf(r)...) }, dir)
		switch {
		case tt.refused != "" && (res.err == nil || !strings.Contains(res.err.Error(), tt.refused)):
			t.Errorf("%s: %v, want %q", tt.name, res.err, tt.refused)
		case tt.refused == "" && (res.err != nil || len(levels) != 1 || levels[0].hz != tt.hz || math.Abs(levels[0].level-tt.want) > 1e-9):
			t.Errorf("%s: %v, %v, want %v Hz %v dB", tt.name, res.err, levels, tt.hz, tt.want)
		}
	}
}

func levelsOf(r *Run) []sampled {
	column := func(name string) arrow.Array { return r.Readings.Column(r.Readings.Schema().FieldIndices(name)[0]) }
	hz, level, limited := column("freq_hz").(*array.Float64), column("level").(*array.Float64), column("limited").(*array.Boolean)
	sweep := column("sweep").(*array.Dictionary)
	var levels []sampled
	for i := range int(r.Readings.NumRows()) {
		levels = append(levels, sampled{hz.Value(i), level.Value(i), limited.Value(i), sweep.Dictionary().(*array.String).Value(sweep.GetValueIndex(i))})
	}
	return levels
}

// Expected: the numbers that stand in the files, and what is wrong with the
// others; testdata/README.md. Level in dBm of a level in dBuV: less 106.9897,
// which is 90 + 10 log10 of 50 ohm.
func TestListedSamples(t *testing.T) {
	table, err := os.ReadFile("testdata/samples.tsv")
	if err != nil {
		t.Fatal(err)
	}
	seen := map[string]bool{}
	for _, line := range strings.Split(strings.TrimSuffix(string(table), "\n"), "\n")[1:] {
		cells := strings.Split(line, "\t")
		if len(cells) != 6 {
			t.Fatalf("%q: %d cells", line, len(cells))
		}
		file, profile, rows, known, at, says := cells[0], cells[1], cells[2], cells[3], cells[4], cells[5]
		seen[file] = true
		levels, res := sample(t, file, profile)
		if at != "" {
			if res.err == nil || !slices.ContainsFunc(res.sum.Problems, func(p Problem) bool {
				return strconv.Itoa(p.Line) == at && p.Column > 0 && strings.Contains(p.Error(), says)
			}) {
				t.Errorf("%s [%s]: want line %s, %q; got %v", file, profile, at, says, res.sum.Problems)
			}
			continue
		}
		if res.err != nil || strconv.Itoa(len(levels)) != rows {
			t.Errorf("%s [%s]: %d levels, want %s; %v", file, profile, len(levels), rows, res.err)
			continue
		}
		for _, k := range strings.Fields(known) {
			var want sampled
			k, want.sweep, _ = strings.Cut(k, "/")
			hz, level, _ := strings.Cut(k, ":")
			level, want.limited = strings.CutPrefix(level, "<")
			want.hz, want.level = number(t, hz), number(t, level)
			if !slices.ContainsFunc(levels, func(got sampled) bool {
				return got.hz == want.hz && math.Abs(got.level-want.level) < 5e-5 && got.limited == want.limited && got.sweep == want.sweep
			}) {
				t.Errorf("%s [%s]: no %s among %v", file, profile, k, levels)
			}
		}
	}
	for kind, dir := range sampleFolders {
		files, err := os.ReadDir(dir)
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range files {
			if !seen[kind+"/"+f.Name()] {
				t.Errorf("%s/%s is not in samples.tsv", kind, f.Name())
			}
		}
	}
}
