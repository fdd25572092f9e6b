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

// sample reads a file of testdata through a runs.csv that lists it as a floor.
func sample(t *testing.T, file, profile string) ([]sampled, result) {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("testdata", file))
	if err != nil {
		t.Fatal(err)
	}
	header, row := "file,state", filepath.Base(file)+",floor"
	for _, c := range strings.Fields(profile) {
		column, value, _ := strings.Cut(c, "=")
		header, row = header+","+column, row+",\""+value+"\""
	}
	dir := folder(t, map[string]string{"runs.csv": header + "\n" + row + "\n", filepath.Base(file): string(text)})
	var levels []sampled
	res := readVisiting(t, DefaultOptions(), func(r *Run) { levels = append(levels, levelsOf(r)...) }, dir)
	return levels, res
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
	for _, dir := range []string{"traces", "networks"} {
		files, err := os.ReadDir(filepath.Join("testdata", dir))
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range files {
			if !seen[dir+"/"+f.Name()] {
				t.Errorf("%s/%s is not in samples.tsv", dir, f.Name())
			}
		}
	}
}
