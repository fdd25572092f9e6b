package ingest

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// readAgain reads paths as if they were in order, and counts how often that was wrong.
func readAgain(t *testing.T, visit func(*Run) error, paths ...string) (again int, sum *Summary, err error) {
	t.Helper()
	opt := DefaultOptions()
	opt.probe, opt.Again = true, func() { again++ }
	sum, err = Read(context.Background(), paths, opt, visit)
	return again, sum, err
}

// Files in order are read once, all others twice; what they give is the same.
func TestOrderly(t *testing.T) {
	all := strings.SplitAfter(campaign(12, 6, 9), "\n")
	header, rows := all[0], all[1:len(all)-1]
	run := len(rows) / 12
	of := func(numbers ...int) string { // rows of some runs
		var b strings.Builder
		for _, n := range numbers {
			b.WriteString(strings.Join(rows[n*run:(n+1)*run], ""))
		}
		return b.String()
	}
	everything := of(0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11)
	within := func(with string) string { // one row of run 5 replaced
		at := strings.Index(everything, "run 5,") + len(of(0))/2
		at += strings.IndexByte(everything[at:], '\n') + 1
		end := at + strings.IndexByte(everything[at:], '\n') + 1
		return everything[:at] + strings.ReplaceAll(with, "ROW", everything[at:end]) + everything[end:]
	}
	for name, c := range map[string]struct {
		files map[string]string
		again int
	}{
		"in order":                {map[string]string{"a.csv": everything}, 0},
		"CRLF":                    {map[string]string{"a.csv": strings.ReplaceAll(everything, "\n", "\r\n")}, 0},
		"no line end":             {map[string]string{"a.csv": strings.TrimSuffix(everything, "\n")}, 0},
		"runs of two files":       {map[string]string{"a.csv": of(0, 2, 4, 6), "b.csv": of(1, 3, 5)}, 0},
		"a run in two files":      {map[string]string{"a.csv": of(0, 1), "b.csv": of(2) + of(0)}, 1},
		"no runs":                 {map[string]string{"a.csv": strings.ReplaceAll(of(3), "run 3,", ",")}, 0},
		"no runs, two dates":      {map[string]string{"a.csv": strings.ReplaceAll(of(3), "run 3,", ",") + strings.ReplaceAll(of(4), "run 4,", ",")}, 1},
		"runs in another order":   {map[string]string{"a.csv": of(0, 2, 1)}, 1},
		"a run that comes again":  {map[string]string{"a.csv": of(0, 1, 2) + of(0)}, 1},
		"a row of another run":    {map[string]string{"a.csv": within(strings.SplitAfter(of(7), "\n")[60])}, 1},
		"a row of another date":   {map[string]string{"a.csv": within("run 5,2026-02-28,,,,,,2,open,3000,door,-30,0,0,R1,20\n")}, 1},
		"a blank line":            {map[string]string{"a.csv": within("ROW\n")}, 1},
		"a blank line at the end": {map[string]string{"a.csv": everything + "\n"}, 1},
		"a bad row":               {map[string]string{"a.csv": within("run 5,2026-01-06,x\n")}, 1},
		"quotes":                  {map[string]string{"a.csv": strings.Replace(everything, ",door,", ",\"door\",", 1)}, 1},
		"the header again":        {map[string]string{"a.csv": of(0, 1) + "HEADER" + of(2)}, 1},
		"a row too often":         {map[string]string{"a.csv": within("ROWROW")}, 0}, // told by pairing, which knows the lines
		"another format":          {map[string]string{"a.csv": everything, "b.parquet": "PAR1"}, 1},
	} {
		t.Run(name, func(t *testing.T) {
			files := map[string]string{}
			for f, text := range c.files {
				if files[f] = header + strings.ReplaceAll(text, "HEADER", header); f == "b.parquet" {
					files[f] = text
				}
				if strings.HasSuffix(text, "\r\n") {
					files[f] = strings.TrimSuffix(header, "\n") + "\r\n" + text
				}
			}
			dir := folder(t, files)
			read(t, DefaultOptions(), dir) // compares the two ways
			if again, _, _ := readAgain(t, func(*Run) error { return nil }, dir); again != c.again {
				t.Errorf("begun again %d times, want %d", again, c.again)
			}
		})
	}
}

// A visit that fails, and an end that is called for, end a reading that takes files to
// be in order as they end any other.
func TestOrderlyEnds(t *testing.T) {
	path := filepath.Join(folder(t, map[string]string{"a.csv": campaign(12, 6, 9)}), "a.csv")
	full := errors.New("full")
	again, sum, err := readAgain(t, func(*Run) error { return full }, path)
	if again != 0 || sum != nil || err != full {
		t.Errorf("a failed visit: begun again %d times, %v, %v", again, sum, err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	opt := DefaultOptions()
	opt.probe, opt.Again = true, func() { again++ }
	_, err = Read(ctx, []string{path}, opt, func(*Run) error { cancel(); return nil })
	if again != 0 || !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: begun again %d times, %v", again, err)
	}
}

// Small files, and those that cannot be read twice, are not taken to be in order.
func TestWorthProbing(t *testing.T) {
	dir := folder(t, map[string]string{"small.csv": "x", "big.csv": "x", "big.csv.gz": "x"})
	for _, name := range []string{"big.csv", "big.csv.gz"} {
		if err := os.Truncate(filepath.Join(dir, name), orderlyFrom); err != nil {
			t.Fatal(err)
		}
	}
	for _, c := range []struct {
		names string
		want  bool
	}{{"small.csv", false}, {"big.csv", true}, {"small.csv big.csv", true}, {"big.csv.gz", false}, {"big.csv big.csv.gz", false}, {"big.csv -", false}, {"none.csv big.csv", false}} {
		s := search{seen: map[string]bool{}}
		for _, n := range strings.Fields(c.names) {
			var info os.FileInfo
			if n != stdinPath {
				n = filepath.Join(dir, n)
				info, _ = os.Stat(n) // nil for the one that is not there
			}
			s.add(n, info)
		}
		if got := s.worthProbing(); got != c.want {
			t.Errorf("%s: %v, want %v", c.names, got, c.want)
		}
	}
}

// Progress rises to all of the bytes, once over.
func TestOrderlyProgress(t *testing.T) {
	text := campaign(12, 6, 9)
	path := filepath.Join(folder(t, map[string]string{"a.csv": text}), "a.csv")
	opt := DefaultOptions()
	opt.probe, opt.Again = true, func() { t.Error("begun again") }
	var last, steps int64
	opt.Progress = func(done, total int64) {
		if total != int64(len(text)) || done < last || done > total {
			t.Errorf("%d of %d after %d; the file has %d bytes", done, total, last, len(text))
		}
		if done > last {
			steps++
		}
		last = done
	}
	if _, err := Read(context.Background(), []string{path}, opt, func(*Run) error { return nil }); err != nil {
		t.Fatal(err)
	}
	if last != int64(len(text)) || steps < 12 {
		t.Errorf("ended at %d of %d in %d steps", last, len(text), steps)
	}
}

// Large runs are read one at a time, among others, and give the same; what they took is
// given back where a visit fails too.
func TestLargeRuns(t *testing.T) {
	path := filepath.Join(folder(t, map[string]string{"a.csv": campaign(12, 6, 9) + strings.Replace(campaign(1, 9, 20), "run 0,", "run 5,", 1)}), "a.csv")
	small := shown(read(t, DefaultOptions(), path))
	defer func(size int64, rows int) { largeRun, heldRows = size, rows }(largeRun, heldRows)
	for _, size := range []int64{0, 30_000} {
		largeRun, heldRows = size, int(size/50)
		if got := shown(read(t, DefaultOptions(), path)); got != small {
			t.Errorf("runs of more than %d bytes are large: %s\nwant %s", size, got, small)
		}
		full := errors.New("full")
		if _, _, err := readAgain(t, func(*Run) error { return full }, path); err != full {
			t.Errorf("a failed visit: %v", err)
		}
	}
}
