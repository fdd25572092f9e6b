package touchstone

import (
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"sealbound/ingest/reading"
)

// FuzzParse holds Parse to its word on any text: it ends, rows increase in
// frequency, numbers are finite where they are not flagged, and lines add up.
func FuzzParse(f *testing.F) {
	for _, folder := range []string{"samples", "reference"} {
		files, err := filepath.Glob(filepath.Join("testdata", folder, "*"))
		if err != nil || len(files) == 0 {
			f.Fatalf("%s: %v", folder, err)
		}
		for _, name := range files {
			text, err := os.ReadFile(name)
			if err != nil {
				f.Fatal(err)
			}
			f.Add(filepath.Base(name), string(text))
		}
	}
	f.Fuzz(func(t *testing.T, name, text string) {
		problems := reading.Problems{Limit: 20}
		file, count, err := Parse(strings.NewReader(text), name, &problems)
		if err != nil {
			t.Fatalf("an error without a failing source: %v", err)
		}
		all, _ := problems.Sorted()
		lines := 1 + strings.Count(text, "\n")
		for _, p := range all {
			if p.What == "" || p.Mend == "" || p.Line < 0 || p.Line > lines || p.Column < 0 || p.File != name {
				t.Errorf("a problem without its parts: %+v of %d lines", p, lines)
			}
		}
		if count.Refused > count.Rows || count.Rows > lines || count.Blank != 0 {
			t.Errorf("count %+v of %d lines", count, lines)
		}
		if file == nil {
			if len(all) == 0 {
				t.Error("neither a file nor a problem")
			}
			return
		}
		if file.Ports < 1 || file.Ports > MaxPorts || len(file.ReferenceOhm) != file.Ports || len(file.Rows) > count.Rows-count.Refused {
			t.Errorf("%+v, count %+v", file, count)
		}
		if len(all) == 0 && (len(file.Rows) == 0 || count.Refused > 0) {
			t.Errorf("no problem, and %d rows, count %+v", len(file.Rows), count)
		}
		last := -1.0
		for _, r := range file.Rows {
			if r.FreqHz <= last || !r.Zero && math.Abs(r.DB) > reading.MostDB || math.IsInf(r.FreqHz, 0) || r.Zero != math.IsInf(r.DB, -1) || math.IsNaN(r.DB) || math.IsInf(r.DB, 1) {
				t.Errorf("row %+v behind %v Hz", r, last)
			}
			last = r.FreqHz
		}
	})
}
