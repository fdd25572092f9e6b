package ingest

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"sealbound/ingest/reading"
)

// A result that was written as CSV may lie in a folder that is read again. Its
// columns look like those of a closing-level table at first, so it is known by names
// that no table of readings has.
var resultColumns = []struct {
	command string
	columns []string
}{
	{"judge", []string{"band_name", "closings", "lower_db", "weakest_margin_db", "verdict"}},
	{"spread", []string{"band_name", "component_source", "repeatability_sd_db"}},
	{"wear", []string{"band_name", "slope_db_per_year", "retest_by"}},
	{"compare", []string{"band_name", "record", "letters", "difference_db"}},
	{"check", []string{"files", "rows", "runs", "headroom_db", "problems"}},
	{"plan", []string{"closings", "sessions", "boxes", "power", "headroom_db"}},
}

// resultOf is the command whose result a table with these columns is, empty where it
// is none.
func resultOf(names []string) string {
	lower := make([]string, len(names))
	for i, n := range names {
		lower[i] = strings.ToLower(n)
	}
	for _, r := range resultColumns {
		lacks := func(name string) bool { return !slices.Contains(lower, name) }
		if !slices.ContainsFunc(r.columns, lacks) {
			return r.command
		}
	}
	return ""
}

// refuseResult opens nothing, and says what the file is.
func refuseResult(command string) func(path string, file int32, src io.ReaderAt, size int64) (reading.Table, []reading.Problem, error) {
	return func(path string, _ int32, _ io.ReaderAt, _ int64) (reading.Table, []reading.Problem, error) {
		return nil, []reading.Problem{{File: path, What: fmt.Sprintf("this is a result that %s wrote, no readings", command),
			Mend: "move it out of the folder, or name the files to be read"}}, nil
	}
}
