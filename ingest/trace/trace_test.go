package trace

import (
	"errors"
	"io"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"testing/iotest"

	"sealbound/ingest/reading"
)

// declared makes a profile of cells, written column=value.
func declared(t *testing.T, cells ...string) Profile {
	t.Helper()
	var p Profile
	for _, c := range cells {
		column, value, _ := strings.Cut(c, "=")
		if fault := p.Set(column, value); fault != nil {
			t.Fatalf("%s: %+v", c, fault)
		}
	}
	return p
}

func parse(t *testing.T, text string, profile Profile) (*File, reading.Count, []reading.Problem) {
	t.Helper()
	problems := reading.Problems{Limit: 100}
	f, count, err := Parse(strings.NewReader(text), "a.csv", profile, &problems)
	if err != nil {
		t.Fatal(err)
	}
	all, _ := problems.Sorted()
	return f, count, all
}

// joined puts problems on lines of their own.
func joined(problems []reading.Problem) string {
	var b strings.Builder
	for _, p := range problems {
		b.WriteString("\t" + p.Error() + "\n")
	}
	return b.String()
}

func sample(t *testing.T, name string) string {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("..", "testdata", "traces", name))
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// known reads Hz:dBm, with < before a limit and / before the sweep.
func known(t *testing.T, text string) Row {
	t.Helper()
	hz, db, _ := strings.Cut(text, ":")
	db, sweep, _ := strings.Cut(db, "/")
	r := Row{Sweep: 1}
	if sweep != "" {
		n, err := strconv.Atoi(sweep)
		if err != nil {
			t.Fatal(err)
		}
		r.Sweep = int32(n)
	}
	db, r.Limited = strings.CutPrefix(db, "<")
	var err error
	if r.FreqHz, err = strconv.ParseFloat(hz, 64); err != nil {
		t.Fatal(err)
	}
	if r.LevelDBm, err = strconv.ParseFloat(db, 64); err != nil {
		t.Fatal(err)
	}
	return r
}

// Expected: the numbers that stand in the files; dBuV less 106.9897, which is
// 90 + 10 log10 of 50 ohm.
func TestSamples(t *testing.T) {
	text, err := os.ReadFile(filepath.Join("testdata", "samples.tsv"))
	if err != nil {
		t.Fatal(err)
	}
	listed := map[string]bool{}
	for _, line := range strings.Split(strings.TrimSuffix(string(text), "\n"), "\n")[1:] {
		cells := strings.Split(line, "\t")
		if len(cells) != 6 {
			t.Fatalf("%q: %d cells", line, len(cells))
		}
		name, profile, rows, levels, at, says := cells[0], cells[1], cells[2], cells[3], cells[4], cells[5]
		listed[name] = true
		f, _, problems := parse(t, sample(t, name), declared(t, strings.Fields(profile)...))
		for _, p := range problems {
			if p.Mend == "" || p.Line < 1 || p.Column < 1 || p.File != "a.csv" {
				t.Errorf("%s [%s]: no mend or no place: %+v", name, profile, p)
			}
		}
		if at != "" {
			found := false
			for _, p := range problems {
				found = found || strconv.Itoa(p.Line) == at && strings.Contains(p.Error(), says)
			}
			if !found {
				t.Errorf("%s [%s]: want line %s, %q; got\n%s", name, profile, at, says, joined(problems))
			}
			continue
		}
		if f == nil || len(problems) > 0 || strconv.Itoa(len(f.Rows)) != rows {
			t.Errorf("%s [%s]: want %s rows; got %+v\n%s", name, profile, rows, f, joined(problems))
			continue
		}
		for _, k := range strings.Fields(levels) {
			want, found := known(t, k), false
			for _, got := range f.Rows {
				found = found || got.FreqHz == want.FreqHz && math.Abs(got.LevelDBm-want.LevelDBm) < 5e-5 && got.Limited == want.Limited && got.Sweep == want.Sweep
			}
			if !found {
				t.Errorf("%s [%s]: no row %s in %+v", name, profile, k, f.Rows)
			}
		}
	}
	files, err := os.ReadDir(filepath.Join("..", "testdata", "traces"))
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range files {
		if !listed[f.Name()] {
			t.Errorf("testdata/traces/%s is not in samples.tsv", f.Name())
		}
	}
}

func TestFailingSource(t *testing.T) {
	broken := errors.New("the disk is gone")
	var problems reading.Problems
	f, _, err := Parse(io.MultiReader(strings.NewReader("freq_hz,"), iotest.ErrReader(broken)), "a.csv", Profile{}, &problems)
	if f != nil || !errors.Is(err, broken) {
		t.Errorf("%+v, %v; want the source's error", f, err)
	}
}
