package touchstone

import (
	"errors"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"testing/iotest"

	"sealbound/ingest/reading"
)

// parse reads text as a file of the given name.
func parse(t *testing.T, name, text string) (*File, reading.Count, []reading.Problem) {
	t.Helper()
	problems := reading.Problems{Limit: 100}
	f, count, err := Parse(strings.NewReader(text), name, &problems)
	if err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	all, _ := problems.Sorted()
	return f, count, all
}

// table reads a tab-separated table of testdata, without its header.
func table(t *testing.T, name string, columns int) [][]string {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("testdata", name))
	if err != nil {
		t.Fatal(err)
	}
	var rows [][]string
	for i, line := range strings.Split(strings.TrimSuffix(string(text), "\n"), "\n") {
		cells := strings.Split(line, "\t")
		if len(cells) != columns {
			t.Fatalf("%s:%d: %d cells, want %d", name, i+1, len(cells), columns)
		}
		if i > 0 {
			rows = append(rows, cells)
		}
	}
	return rows
}

func number(t *testing.T, text string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(text, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func read(t *testing.T, folder, name string) (*File, reading.Count, []reading.Problem) {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("testdata", folder, name))
	if err != nil {
		t.Fatal(err)
	}
	return parse(t, name, string(text))
}

// Expected: the numbers that stand in the files, and the one thing that is wrong
// with each of the others; testdata/README.md.
func TestSamples(t *testing.T) {
	listed := map[string]bool{}
	for _, row := range table(t, "samples.tsv", 7) {
		name, rows, hz, db, line, says := row[0], row[2], row[3], row[4], row[5], row[6]
		listed[name] = true
		f, _, problems := read(t, "samples", name)
		if line != "" {
			if len(problems) == 0 {
				t.Errorf("%s: no problem, want one on line %s", name, line)
				continue
			}
			for _, p := range problems { // two decimal commas are two problems
				if strconv.Itoa(p.Line) != line || p.Column < 1 || p.Mend == "" || !strings.Contains(p.Error(), says) {
					t.Errorf("%s: %v; want line %s, a column, a mend and %q", name, p, line, says)
				}
			}
			if f != nil && len(f.Rows) > 0 && name != "bad_dup_freq.s2p" {
				t.Errorf("%s: %d rows are left", name, len(f.Rows))
			}
			continue
		}
		if f == nil || len(problems) > 0 || strconv.Itoa(len(f.Rows)) != rows {
			t.Errorf("%s: %+v, problems %v; want %s rows", name, f, problems, rows)
			continue
		}
		if got := f.Rows[0]; got.FreqHz != number(t, hz) || math.Abs(got.DB-number(t, db)) > 1e-6 || got.Zero {
			t.Errorf("%s: %+v, want %s Hz %s dB", name, got, hz, db)
		}
	}
	files, err := os.ReadDir(filepath.Join("testdata", "samples"))
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range files {
		if !listed[f.Name()] {
			t.Errorf("samples/%s is not in samples.tsv", f.Name())
		}
	}
}

// Expected: scikit-rf 0.15.4 on the same files; testdata/reference.py.
func TestReference(t *testing.T) {
	want := map[string][]Row{}
	for _, row := range table(t, "reference.tsv", 3) {
		want[row[0]] = append(want[row[0]], Row{FreqHz: number(t, row[1]), DB: number(t, row[2])})
	}
	if len(want) < 6 {
		t.Fatalf("reference.tsv has %d files", len(want))
	}
	for name, rows := range want {
		f, _, problems := read(t, "reference", name)
		if f == nil || len(problems) > 0 || len(f.Rows) != len(rows) {
			t.Errorf("%s: %+v, problems %v; want %d rows", name, f, problems, len(rows))
			continue
		}
		for i, w := range rows {
			if got := f.Rows[i]; got.FreqHz != w.FreqHz || math.Abs(got.DB-w.DB) > 1e-8 {
				t.Errorf("%s row %d: %+v, want %v Hz %v dB", name, i, got, w.FreqHz, w.DB)
			}
		}
	}
	if f, _, _ := read(t, "reference", "noise.s2p"); f.NoiseRows != 2 {
		t.Errorf("noise.s2p: %d rows of noise, want 2", f.NoiseRows)
	}
	if f, _, _ := read(t, "reference", "version2.ts"); !slices.Equal(f.ReferenceOhm, []float64{50, 75, 50}) {
		t.Errorf("version2.ts: references %v, want 50 75 50", f.ReferenceOhm)
	}
}

// version2 writes a version 2.0 file around its data.
func version2(header, data string) string {
	return "[Version] 2.0\n# MHz S MA R 50\n" + header + "[Network Data]\n" + data + "[End]\n"
}

// Expected: 20 log10 of the magnitude that the file gives S21; where its place
// depends on a keyword, every other magnitude differs.
func TestVersion2(t *testing.T) {
	const two = "[Number of Ports] 2\n[Number of Frequencies] 1\n"
	const three = "[Number of Ports] 3\n[Number of Frequencies] 1\n"
	for _, tt := range []struct {
		name, header, data string
		want               float64
	}{
		{"21_12", two + "[Two-Port Data Order] 21_12\n", "30 0.9 0 0.01 5 0.1 6 0.8 0\n", -40},
		{"12_21", two + "[Two-Port Data Order] 12_21\n", "30 0.9 0 0.01 5 0.1 6 0.8 0\n", -20},
		{"keywords in any case", "[NUMBER OF  ports] 2\n[number of frequencies] 1\n[two-port data order] 12_21\n", "30 0.9 0 0.01 5 0.1 6 0.8 0\n", -20},
		{"two ports, wrapped", two + "[Two-Port Data Order] 21_12\n", "30 0.9 0\n0.01 5 0.1 6\n0.8 0\n", -40},
		{"two ports, lower", two + "[Matrix Format] Lower\n", "30 0.9 0\n0.01 0 0.1 0\n", -40},
		{"two ports, upper", two + "[Matrix Format] Upper\n", "30 0.9 0 0.01 0\n0.1 0\n", -40},
		{"three ports, full", three + "[Matrix Format] Full\n", "30 0.9 0 0.1 0 0.2 0\n0.01 0 0.8 0 0.3 0\n0.4 0 0.5 0 0.7 0\n", -40},
		{"three ports, lower", three + "[Matrix Format] Lower\n", "30 0.9 0\n0.01 0 0.8 0\n0.1 0 0.2 0 0.7 0\n", -40},
		{"three ports, upper", three + "[Matrix Format] Upper\n", "30 0.9 0 0.01 0 0.1 0\n0.8 0 0.2 0\n0.7 0\n", -40},
		{"one port", "[Number of Ports] 1\n[Number of Frequencies] 1\n", "30 0.01 0\n", -40},
		{"references below", two + "[Two-Port Data Order] 21_12\n[Reference]\n50 ! port 1\n75\n", "30 0.9 0 0.01 5 0.1 6 0.8 0\n", -40},
		{"information", two + "[Two-Port Data Order] 21_12\n[Begin Information]\n[Version] 9\n# nonsense, 1 2 3\n[End Information]\n", "30 0.9 0 0.01 5 0.1 6 0.8 0\n", -40},
		{"noise", two + "[Two-Port Data Order] 21_12\n[Number of Noise Frequencies] 2\n", "30 0.9 0 0.01 5 0.1 6 0.8 0\n[Noise Data]\n10 1 0.5 30 0.2\n90 1 0.5 30 0.2\n", -40},
	} {
		f, count, problems := parse(t, "x.ts", version2(tt.header, tt.data))
		if f == nil || len(problems) > 0 || len(f.Rows) != 1 {
			t.Errorf("%s: %+v, problems %v", tt.name, f, problems)
			continue
		}
		if math.Abs(f.Rows[0].DB-tt.want) > 1e-12 || f.Rows[0].FreqHz != 30e6 || f.Version != "2.0" {
			t.Errorf("%s: %+v, want %v dB", tt.name, f.Rows[0], tt.want)
		}
		if f.Ports == 1 && f.Parameter != "S11" || f.Ports > 1 && f.Parameter != "S21" {
			t.Errorf("%s: parameter %s of %d ports", tt.name, f.Parameter, f.Ports)
		}
		if strings.Contains(tt.header, "Noise") != (f.NoiseRows == 2) || count.Refused > 0 {
			t.Errorf("%s: %d rows of noise, count %+v", tt.name, f.NoiseRows, count)
		}
	}
}

func TestVersion1(t *testing.T) {
	for _, tt := range []struct {
		name, file, text string
		want             []Row
	}{
		{"defaults: GHz, MA", "a.s1p", "#\n0.43392 0.1 0\n", []Row{{433.92e6, -20, false, 2}}},
		{"no blank behind #", "a.s1p", "#mhz ri\n0 0.06 -0.08\n", []Row{{0, -20, false, 2}}},
		{"zero magnitude", "a.s1p", "# Hz MA\n1 0 0\n2 1 0\n", []Row{{1, math.Inf(-1), true, 2}, {2, 0, false, 3}}},
		{"zero real and imaginary", "A.S2P", "# Hz RI\n1 1 0 0 0 1 0 1 0\n", []Row{{1, math.Inf(-1), true, 2}}},
		{"CRLF, byte order mark, comments", "a.s1p", "\ufeff! \xe4 comment\r\n# Hz S DB\r\n\r\n1 -3.5 0 ! why not\r\n", []Row{{1, -3.5, false, 4}}},
		{"the same option line again", "a.s1p", "# Hz S DB\n# db hz R 50.0\n1 -3.5 0\n", []Row{{1, -3.5, false, 3}}},
		{"no end of the last line", "a.s1p", "# Hz S DB\n1 -3.5 0", []Row{{1, -3.5, false, 2}}},
		{"kHz are exact", "folder.s9p/a.s2p", "# kHz S DB\n433920.001 0 0 -1 0 -2 0 0 0\n", []Row{{433920001, -1, false, 2}}},
	} {
		f, _, problems := parse(t, tt.file, tt.text)
		if f == nil || len(problems) > 0 || len(f.Rows) != len(tt.want) || f.Version != "1" {
			t.Errorf("%s: %+v, problems %v", tt.name, f, problems)
			continue
		}
		for i, want := range tt.want {
			got := f.Rows[i]
			if math.Abs(got.DB-want.DB) < 1e-12 {
				got.DB = want.DB
			}
			if got != want {
				t.Errorf("%s: row %d: %+v, want %+v", tt.name, i, got, want)
			}
		}
	}
}

func TestFailingSource(t *testing.T) {
	broken := errors.New("the disk is gone")
	var problems reading.Problems
	f, _, err := Parse(io.MultiReader(strings.NewReader("# Hz S DB\n1 "), iotest.ErrReader(broken)), "a.s1p", &problems)
	if f != nil || !errors.Is(err, broken) {
		t.Errorf("%+v, %v; want the source's error", f, err)
	}
}
