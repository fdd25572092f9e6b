package ingest

import (
	"fmt"
	"strings"
	"testing"
)

// A run that is larger than what is held of one, and more runs than are held, are
// refused in words that tell what to do, whichever way the file is read.
func TestTooLarge(t *testing.T) {
	defer func(rows, runs, text, labels int) {
		mostRunRows, mostRuns, mostRunText, mostLabels = rows, runs, text, labels
	}(mostRunRows, mostRuns, mostRunText, mostLabels)
	for _, probe := range []bool{false, true} {
		opt := DefaultOptions()
		if opt.probe = probe; probe {
			opt.Again = func() {}
		}
		for _, tt := range []struct {
			rows, runs   int
			text, labels int
			want         string
		}{
			{1000, 1000, 5, 1000, "the labels of run \"r000000\" take up more than 0 MB; shorten them"},
			{1000, 1000, 1000, 5, "the labels of the runs take up more than 0 MB; shorten them"},
			{1, 1000, 1000, 1000, "has more than 1 rows, and a run is held in memory as a whole; divide it"},
			{1000, 4, 1000, 1000, "there are more than 4 runs; give fewer files"},
			{1000, 5, 1000, 1000, ""},
		} {
			mostRunRows, mostRuns, mostRunText, mostLabels = tt.rows, tt.runs, tt.text, tt.labels
			res := readText(t, opt, shortRuns(5))
			switch {
			case tt.want == "" && res.err != nil, tt.want != "" && (res.err == nil || !strings.Contains(res.err.Error(), tt.want)):
				t.Errorf("probe %v, %d rows, %d runs: %v", probe, tt.rows, tt.runs, res.err)
			}
		}
	}
}

// A run that has rows at both ends of a file, those of another between them, is taken for
// the whole file at first. That is no reason to refuse a run that is not too large.
func TestTooLargeByMistake(t *testing.T) {
	defer func(rows int) { mostRunRows = rows }(mostRunRows)
	all := strings.SplitAfter(campaign(2, 2, 4), "\n")
	rows := all[1 : len(all)-1]
	mostRunRows = len(rows) / 2
	text := all[0] + strings.Join(rows[:mostRunRows-1], "") + strings.Join(rows[mostRunRows:], "") + rows[mostRunRows-1]
	res := good(t, DefaultOptions(), text) // compares the two ways
	if len(res.runs) != 2 {
		t.Errorf("%d runs, want 2", len(res.runs))
	}
}

// A reference that is too large to be held beside each run that takes its readings is
// refused; one that takes turns in memory gives what it gives otherwise.
func TestLargeReference(t *testing.T) {
	defer func(rows int, size int64) { mostBorrowed, largeRun = rows, size }(mostBorrowed, largeRun)
	var b strings.Builder
	b.WriteString("run,date,box,gasket,closing,state,freq_hz,level_dbm,reference\n")
	for i := range 9 {
		fmt.Fprintf(&b, "ref,2026-01-05,,,,open,%d,-20,\n", 1000000*(1+i))
	}
	for i := range 12 {
		fmt.Fprintf(&b, "r%d,2026-01-05,b%d,foil,1,closed,3000000,-8%d,ref\n", i, i, i%10)
	}
	want := good(t, DefaultOptions(), b.String())
	largeRun = 10
	if got := good(t, DefaultOptions(), b.String()); shown(got) != shown(want) {
		t.Errorf("one at a time:\n%s\nwant\n%s", shown(got), shown(want))
	}
	mostBorrowed = 8
	res := readText(t, DefaultOptions(), b.String())
	if res.err == nil || !strings.Contains(res.err.Error(), `from run "ref", which has more than 8 rows; put the open readings`) {
		t.Errorf("too large: %v", res.err)
	}
}
