package ingest

import (
	"strings"
	"testing"
)

// A run that is larger than what is held of one, and more runs than are held, are
// refused in words that tell what to do, whichever way the file is read.
func TestTooLarge(t *testing.T) {
	defer func(rows, runs int) { mostRunRows, mostRuns = rows, runs }(mostRunRows, mostRuns)
	for _, probe := range []bool{false, true} {
		opt := DefaultOptions()
		if opt.probe = probe; probe {
			opt.Again = func() {}
		}
		for _, tt := range []struct {
			rows, runs int
			want       string
		}{
			{1, 1000, "has more than 1 rows, and a run is held in memory as a whole; divide it"},
			{1000, 4, "there are more than 4 runs; give fewer files"},
			{1000, 5, ""},
		} {
			mostRunRows, mostRuns = tt.rows, tt.runs
			res := readText(t, opt, shortRuns(5))
			switch {
			case tt.want == "" && res.err != nil, tt.want != "" && (res.err == nil || !strings.Contains(res.err.Error(), tt.want)):
				t.Errorf("probe %v, %d rows, %d runs: %v", probe, tt.rows, tt.runs, res.err)
			}
		}
	}
}
