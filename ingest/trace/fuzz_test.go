package trace

import (
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"sealbound/ingest/reading"
)

// complain checks that problems have their parts.
func complain(t *testing.T, problems []reading.Problem, name string, lines int) {
	t.Helper()
	for _, p := range problems {
		if p.What == "" || p.Mend == "" || p.Line < 0 || p.Column < 0 || p.File != name {
			t.Errorf("a problem without its parts: %+v", p)
		}
		if p.Line > lines && !strings.Contains(p.What, "the file has no line") && !strings.Contains(p.What, "row of units") {
			t.Errorf("a problem behind the last of %d lines: %+v", lines, p)
		}
	}
}

// FuzzParse holds Parse and Propose to their word on any bytes under any profile:
// they end, rows have finite numbers and each frequency once in a sweep, lines add
// up, and a file without problems has rows.
func FuzzParse(f *testing.F) {
	table, err := os.ReadFile(filepath.Join("testdata", "samples.tsv"))
	if err != nil {
		f.Fatal(err)
	}
	for _, line := range strings.Split(strings.TrimSuffix(string(table), "\n"), "\n")[1:] {
		cells := strings.Split(line, "\t")
		text, err := os.ReadFile(filepath.Join("..", "testdata", "traces", cells[0]))
		if err != nil {
			f.Fatal(err)
		}
		f.Add(text, strings.ReplaceAll(cells[1], " ", "\n"))
	}
	f.Add([]byte("\ufeffa,b,c\n\"1 000,5\",<-3,\n"), "decimal=comma\nthousands=space\nlimited=yes\nfreq_column=a\nlevel_column=#2\nfreq_unit=hz\nlevel_unit=dbuv")
	f.Add([]byte("f MHz  level/dBm\n 1  -\n2 -3\nend"), "delimiter=space\nmissing=-|\nfooter_lines=1\npoints=2")
	f.Fuzz(func(t *testing.T, data []byte, cells string) {
		var profile Profile
		for _, c := range strings.Split(cells, "\n") {
			column, value, _ := strings.Cut(c, "=")
			profile.Set(column, value)
		}
		lines := 2 + strings.Count(string(data), "\n") // "\n" at odd bytes of UTF-16 makes it fewer
		check := func(profile Profile) {
			problems := reading.Problems{Limit: 50}
			file, count, err := Parse(strings.NewReader(string(data)), "a.csv", profile, &problems)
			if err != nil {
				t.Fatalf("an error without a failing source: %v", err)
			}
			all, _ := problems.Sorted()
			complain(t, all, "a.csv", lines)
			if count.Rows > lines || count.Blank+count.Refused > count.Rows {
				t.Errorf("count %+v of %d lines", count, lines)
			}
			if file == nil {
				if len(all) == 0 || count.Blank+count.Refused != count.Rows {
					t.Errorf("neither a file nor a problem; count %+v", count)
				}
				return
			}
			if used := count.Rows - count.Blank - count.Refused; len(file.Rows)+file.Excluded+file.Missing != used || used == 0 && len(all) == 0 || len(file.LeftOutHz) > file.Excluded+file.Missing {
				t.Errorf("%d rows, %d excluded, %d missing; count %+v", len(file.Rows), file.Excluded, file.Missing, count)
			}
			type point struct {
				hz    float64
				sweep int32
			}
			seen, limited := map[point]bool{}, 0
			for _, r := range file.Rows {
				if !(r.FreqHz > 0) || math.IsInf(r.FreqHz, 0) || !(math.Abs(r.LevelDBm) <= reading.MostDB) || r.Sweep < 1 || int(r.Sweep) > file.Sweeps || seen[point{r.FreqHz, r.Sweep}] {
					t.Errorf("row %+v", r)
				}
				seen[point{r.FreqHz, r.Sweep}] = true
				if at := Place(data, profile, int(r.Line), reading.Freq); len(seen) < 5 && (at.Line != int(r.Line) || at.Text == "") {
					t.Errorf("the frequency of %+v stands at %+v", r, at)
				}
				if r.Limited {
					limited++
				}
			}
			if limited != file.Limited {
				t.Errorf("%d limited rows, counted %d", limited, file.Limited)
			}
		}
		check(profile)
		check(Profile{})
		proposed, reasons := Propose(data)
		if len(proposed.Cells()) > 0 && len(reasons) == 0 {
			t.Errorf("proposed %v without a reason", proposed.Cells())
		}
		for _, r := range reasons {
			if r.Line < 1 || r.Column < 1 || r.Why == "" {
				t.Errorf("a reason without its parts: %+v", r)
			}
		}
		check(proposed)
	})
}

// FuzzParseRuns does the same for runs.csv.
func FuzzParseRuns(f *testing.F) {
	f.Add("file,run,date,box,delimiter,header_line\na.csv,R1,2026-05-04,007,;,8\nb.csv,R1,,,tab,\n")
	f.Add("file,units_row,missing,\"status_column\",status_good\na.csv,yes,---|,Status,OK|ok\n\n")
	f.Fuzz(func(t *testing.T, text string) {
		problems := reading.Problems{Limit: 50}
		runs, count, err := ParseRuns(strings.NewReader(text), "runs.csv", nil, &problems)
		if err != nil {
			t.Fatalf("an error without a failing source: %v", err)
		}
		all, _ := problems.Sorted()
		complain(t, all, "runs.csv", 1+strings.Count(text, "\n"))
		switch {
		case runs == nil && (len(all) == 0 || count.Blank+count.Refused != count.Rows),
			runs != nil && (len(runs.Rows)+count.Blank+count.Refused != count.Rows || len(all) == 0 && len(runs.Rows) == 0):
			t.Errorf("%+v, count %+v, %d problems", runs, count, len(all))
		}
		if runs == nil {
			return
		}
		table, whole := runs.Cells()
		if len(table) == 0 || whole && len(table) != 1+count.Rows-count.Blank && len(all) == 0 {
			t.Errorf("%d rows of cells, count %+v", len(table), count)
		}
		before := len(runs.Rows)
		var lacking reading.Problems
		lacking.Limit = 50
		if gone := runs.Complete(&lacking); gone != before-len(runs.Rows) || gone > 0 && lacking.Count() == 0 {
			t.Errorf("%d rows are incomplete, of %d are left %d, %d problems", gone, before, len(runs.Rows), lacking.Count())
		}
		for _, r := range runs.Rows {
			if r.State == "" || r.State == "closed" && (r.Box == "" || r.Gasket == "" || r.Closing == "") {
				t.Errorf("a row that is not complete: %+v", r)
			}
			for c := reading.Column(0); c < reading.Columns; c++ {
				if at := runs.Place(r.Line, c); at.Line != r.Line || at.Column < 1 {
					t.Errorf("%s stands at %+v", c.Name(), at)
				}
			}
			if at := runs.File(r.Line); at.Text == "" || at.Field != "file" {
				t.Errorf("the file stands at %+v", at)
			}
		}
		seen := map[string]bool{}
		for _, r := range runs.Rows {
			if r.File == "" || seen[r.File] || strings.HasPrefix(r.File, "/") || strings.HasPrefix(r.File, "..") && strings.HasPrefix(r.File, "../") {
				t.Errorf("file %q", r.File)
			}
			seen[r.File] = true
			if what := r.Profile.contradiction(); what != "" {
				t.Errorf("a profile against itself: %s", what)
			}
		}
	})
}
