package ingest

import (
	"bytes"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// FuzzRead reads arbitrary bytes as one file. Nothing may panic or leak, every row
// is accounted for, no number is NaN or infinite, and where the rows are plain
// lines without a problem, their order does not matter.
func FuzzRead(f *testing.F) {
	for _, d := range damage {
		f.Add([]byte(d.text), true)
	}
	f.Add([]byte(ok), false)
	f.Add([]byte(campaign(2, 2, 2)), false)
	f.Add([]byte(zipped(f, ok)), false)
	traces, err := filepath.Glob("testdata/traces/*.csv")
	if err != nil || len(traces) == 0 {
		f.Fatal("no traces", err)
	}
	for _, p := range traces {
		b, err := os.ReadFile(p)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(b, false)
	}
	f.Fuzz(func(t *testing.T, data []byte, skip bool) {
		floor := -100.0
		opt := DefaultOptions()
		opt.SkipBadRows, opt.FloorDBM, opt.ProblemLimit = skip, &floor, 10
		opt.Stdin = bytes.NewReader(data)
		res := read(t, opt, "-") // read checks what holds for any input
		if res.err != nil || len(res.sum.Problems) > 0 || bytes.ContainsAny(data, "\"\x1f") {
			return
		}
		// A run may be split in two by the order of rows only where the data say
		// nothing that tells repeats apart; a note tells of that.
		if strings.Contains(strings.Join(res.sum.Notes, " "), "the order of the rows") {
			return
		}
		lines := strings.Split(strings.TrimSuffix(string(data), "\n"), "\n")
		first := 0
		for first < len(lines)-1 && strings.Trim(strings.TrimPrefix(lines[first], "\ufeff"), ", \t\r") == "" {
			first++
		}
		if strings.HasSuffix(string(data), "\r\n") != strings.HasSuffix(lines[0], "\r") {
			return
		}
		for i, l := range lines {
			lines[i] = strings.TrimSuffix(l, "\r")
		}
		slices.Reverse(lines[first+1:])
		opt.Stdin = strings.NewReader(strings.Join(lines, "\n") + "\n")
		if turned := read(t, opt, "-"); turned.err != nil || shown(turned) != shown(res) {
			t.Errorf("the order of rows matters: %v\n%s\nagainst\n%s\n%q", turned.err, shown(turned), shown(res), data)
		}
	})
}
