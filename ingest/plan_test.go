package ingest

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
)

// shortRuns are so many runs of two rows each, one after another.
func shortRuns(n int) string {
	var b strings.Builder
	b.WriteString("run,date,box,gasket,closing,state,freq_hz,level_dbm\n")
	for i := range n {
		fmt.Fprintf(&b, "r%06d,2026-01-05,,,,open,10000000,-20\nr%06d,2026-01-05,b%d,foil,1,closed,10000000,-80\n", i, i, i)
	}
	return b.String()
}

// live is how many bytes are in use.
func live() int64 {
	runtime.GC()
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return int64(m.HeapAlloc)
}

// What is kept of where a run stands is small, and given back as the runs are visited:
// a file may have a million. It was 500 bytes, kept to the end.
func TestPlanSmall(t *testing.T) {
	const n = 20_000
	path := filepath.Join(t.TempDir(), "data.csv")
	if err := os.WriteFile(path, []byte(shortRuns(n)), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, again := range []func(){nil, func() {}} { // read row by row; taken to be orderly
		opt := DefaultOptions()
		opt.OmitReadings, opt.Again, opt.probe = true, again, again != nil
		before, visited := live(), 0
		var first, last int64
		if _, err := Read(context.Background(), []string{path}, opt, func(*Run) error {
			if visited++; visited == 1 {
				first = live() - before
			}
			if visited == n {
				last = live() - before
			}
			return nil
		}); err != nil {
			t.Fatal(err)
		}
		if visited != n || first > 350*n || last > 100*n {
			t.Errorf("%d runs visited; %d bytes a run before, %d after", visited, first/n, last/n)
		}
	}
}

// Runs of a few rows do not take turns for that.
func TestShortRunsDoNotTakeTurns(t *testing.T) {
	text := shortRuns(2 * mixedLeast)
	if len(text) <= cacheFile {
		t.Fatal("too small to be copied")
	}
	got := good(t, DefaultOptions(), text)
	if notes := strings.Join(got.sum.Notes, " "); strings.Contains(notes, "take turns") {
		t.Errorf("notes: %q", notes)
	}
	if len(got.runs) != 2*mixedLeast {
		t.Errorf("%d runs", len(got.runs))
	}
}
